"""How a trial stands: pairs against a naive twin, counts, verdicts, and what is said."""

from __future__ import annotations

from collections import defaultdict

import pytest

from fixstats import stats
from fixstats.cli.trial_text import status_text
from fixstats.errors import UsageError

from .trial_shop import MODELS, MODES, NEW, shop_with, trial_jobs


def naive_pairs(rows):
    """The same in plain Python: (day, option failed, baseline failed) of each pair of one file."""
    queues = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row["received"], row["job"])):
        if not row["unchecked"]:
            queue = row["technician"], MODELS[row["model"]], row["assigned"]
            queues[queue].append(row)
    pairs = []
    for (who, group, drawn), mine in queues.items():
        if drawn == NEW.option:
            for one, other in zip(mine, queues[who, group, NEW.baseline], strict=False):
                failed = [
                    any(mode in MODES for mode in row["failures"].split("; "))
                    for row in (one, other)
                ]
                pairs.append((max(one["finished"], other["finished"]), *failed))
    return pairs


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    rows = trial_jobs(320, {"heat_plate": 0.6, "heat_pad": 0.15})
    return shop_with(tmp_path_factory.mktemp("shown"), rows), rows


def test_pairs_are_those_of_the_naive_twin(shown):
    shop, rows = shown
    pairs = naive_pairs(rows)
    row = shop.trial("pads").rows[-1]
    more = sum(failed and not other for _, failed, other in pairs)
    fewer = sum(other and not failed for _, failed, other in pairs)
    assert row["pairs"] == len(pairs) > 100
    assert row["difference"] == pytest.approx((more - fewer) / len(pairs))
    evidence = stats.pair_evidence(more, fewer, len(pairs) - more - fewer)
    assert row["evidence"] == pytest.approx(float(evidence))


def test_counts_are_by_what_was_drawn(shown):
    shop, rows = shown
    for row in shop.trial("pads").rows:
        drawn = [one for one in rows if one["assigned"] == row["option"]]
        known = [one for one in drawn if not one["unchecked"]]
        assert row["jobs"] == len(drawn)
        assert row["used_as_drawn"] == sum(one["opening"] == row["option"] for one in drawn)
        assert row["used_otherwise"] == row["jobs"] - row["used_as_drawn"] > 0
        assert row["unknown"] == len(drawn) - len(known) > 0
        assert row["failures"] == sum(bool(one["failures"]) for one in known)
        assert row["low"] < row["rate"] < row["high"]


def test_the_union_counts_as_rates_do(shown):
    shop, _ = shown
    rates = {row["assigned"]: row for row in shop.rates(any=MODES, by="assigned").rows}
    for row in shop.trial("pads").rows:
        same = rates[row["option"]]
        for name in ("failures", "opportunities", "unknown"):
            assert row[name] == same[name]


def test_a_shown_difference(shown):
    shop, _ = shown
    status = shop.trial("pads")
    row = status.rows[-1]
    assert row["verdict"] == "stop (shown)"
    assert row["difference_low"] <= row["difference_high"] < 0
    first = status.notes[0].text
    assert (
        first.startswith("stop since 2026-01-27 (import 1): ")
        and "heat_pad has fewer such failures" in first
    )
    assert {"by_drawing", "unknown", "how_to_read"} <= {note.code for note in status.notes}
    assert any("stop first" in text for text in status.cautions)
    told = status_text(status.finding)
    assert " (25 stops the trial), of harm 0." in told and " (100 stops it)" in told
    path = status.finding.parts["path"]
    lows = [point["low"] for point in path]
    assert lows == sorted(lows) and path[-1]["jobs"] == 2 * row["pairs"]
    with pytest.raises(UsageError, match=r"stop \(shown\): no more devices go into it"):
        shop.trial_next("pads", technician="T1", model="Tarn 9")


@pytest.mark.parametrize(
    ("jobs", "rates", "harm", "verdict"),
    [
        (320, {"heat_plate": 0.05, "heat_pad": 0.05}, None, "stop (no difference worth having)"),
        (200, {"heat_plate": 0.3, "heat_pad": 0.3}, {"heat_pad": 0.3}, "stop (harm)"),
        (20, {"heat_plate": 0.3, "heat_pad": 0.3}, None, "go on"),
        (400, {"heat_plate": 0.5, "heat_pad": 0.5}, None, "ended (not shown)"),
    ],
)
def test_verdicts(tmp_path, jobs, rates, harm, verdict):
    shop = shop_with(tmp_path, trial_jobs(jobs, rates, unchecked=0, harm=harm))
    status = shop.trial("pads")
    assert status.rows[-1]["verdict"] == verdict
    words = {"go on": "go on", "ended (not shown)": "nothing is shown"}
    assert words.get(verdict, "stop since") in status.notes[0].text
    small = verdict == "stop (no difference worth having)"
    assert ("worth having (with 96 % confidence)" in status.notes[0].text) == small
    assert [row["trial"] for row in shop.trials().rows] == ["pads"]


def test_a_danger_seen_counts_though_another_was_not_looked_for(tmp_path):
    rows = trial_jobs(60, {"heat_plate": 0, "heat_pad": 0}, unchecked=0, switched=0)
    seen = [row for row in rows if row["assigned"] == "heat_pad"][:3]
    for row in seen:
        row |= {"failures": "cell_pierced", "unchecked": "cell_hot"}
    option = shop_with(tmp_path, rows).trial("pads").rows[-1]
    pads = sum(row["assigned"] == "heat_pad" for row in rows)
    assert option["safety_failures"] == 3
    # Half of the evidence is that all jobs drawn for the option are above the limit.
    alone = float(stats.evidence_above(3, pads, 0.02)) / 2
    assert alone < option["harm_evidence"] < alone + float(stats.pair_evidence_above(3, 0, 10))
    assert option["harm_evidence"] > 1 > float(stats.evidence_above(0, pads, 0.02))


def test_nothing_recorded_yet(tmp_path):
    rows = trial_jobs(6, {"heat_plate": 0, "heat_pad": 0})
    shop = shop_with(tmp_path, [row | {"trial": "", "assigned": ""} for row in rows])
    assert shop.trial_next("pads", technician="T1", model="Tarn 9").slot.number == 1
    status = shop.trial("pads")
    row = status.rows[-1]
    assert (row["verdict"], row["pairs"], row["difference"], row["rate"]) == (
        "go on",
        0,
        None,
        None,
    )
    assert (row["evidence"], row["harm_evidence"]) == (1, 1)
    assert "not_yet_recorded" in {note.code for note in status.notes}
    with pytest.raises(UsageError, match="there is no trial 'pad'; did you mean 'pads'"):
        shop.trial("pad")
