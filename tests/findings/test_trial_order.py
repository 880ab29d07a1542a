"""What one look showed is the beginning of what the next one shows, whatever comes in late."""

from __future__ import annotations

import itertools
import random
from collections import defaultdict
from datetime import timedelta

import pytest

from fixstats.errors import UsageError
from fixstats.records.amend import amend
from fixstats.records.batches import undo

from .trial_shop import FIRST, MODELS, MODES, NEW, PADS, begun, job_row, take_in, trial_jobs


def path_of(shop):
    return list(shop.trial("pads").finding.parts["path"])


def steps(path):
    """Where pairs became complete."""
    told = [(point["batch"], point["jobs"], point["difference"]) for point in path]
    return [one for n, one in enumerate(told) if not n or one[1] > told[n - 1][1]]


def notes_of(shop):
    return {note.code: note.text for note in shop.trial("pads").notes}


BAD = {"failures": "display_lines"}
WAIT = 5
WAITING = type(NEW)(**vars(NEW) | {"wait_days": WAIT})


def naive_path(files, *, by_intake=False):
    """(import, pairs, difference so far) by plain Python; a job counts WAIT days after intake."""
    reach = list(itertools.accumulate((max(row["finished"] for row in one) for one in files), max))
    jobs = []
    for at, rows in enumerate(files):
        for row in rows:
            over = [n for n in range(at, len(files)) if (reach[n] - row["received"]).days >= WAIT]
            if over and not row["unchecked"]:
                jobs.append((over[0] + 1, row["received"], row["job"], row))
    queues = defaultdict(list)
    for number, *_, row in sorted(jobs, key=lambda job: job[1:3] if by_intake else job[:3]):
        queue = row["technician"], MODELS[row["model"]], row["assigned"]
        failed = any(mode in MODES for mode in row["failures"].split("; "))
        queues[queue].append((number, failed))
    scores = defaultdict(list)
    for (who, group, drawn), mine in queues.items():
        if drawn == NEW.option:
            for one, other in zip(mine, queues[who, group, NEW.baseline], strict=False):
                scores[max(one[0], other[0])].append(int(one[1]) - int(other[1]))
    path, told = [], []
    for number in sorted(scores):
        told += scores[number]
        path.append((number, len(told), sum(told) / len(told)))
    return path


@pytest.fixture(scope="module")
def looks(tmp_path_factory):
    """A shop after each of six imports, every job recorded when somebody came to it."""
    rng = random.Random(4)
    files = [[] for _ in range(6)]
    for number, row in enumerate(trial_jobs(150, {"heat_plate": 0.5, "heat_pad": 0.2})):
        files[min(number // 25 + rng.choice((0, 0, 1, 3)), 5)].append(row)
    shop = begun(tmp_path_factory.mktemp("looks"), new=WAITING)
    paths = []
    for rows in files:
        # A file may be sorted by anything, also by how the jobs went.
        take_in(shop, sorted(rows, key=lambda row: (row["failures"], row["job"])))
        paths.append(path_of(shop))
    return shop, files, paths


def test_each_look_is_the_beginning_of_the_next(looks):
    _, files, paths = looks
    assert paths[0]
    for one, more in itertools.pairwise(paths):
        assert len(one) < len(more) and more[: len(one)] == one
    # By day of intake they would not be.
    before, after = (naive_path(files[:n], by_intake=True) for n in (5, 6))
    assert after[: len(before)] != before


def test_pairs_are_those_of_the_naive_twin_in_order_of_recording(looks):
    _, files, paths = looks
    last = {point["batch"]: point for point in paths[-1]}
    expected = naive_path(files)
    assert [number for number, *_ in expected] == [*last]
    for number, pairs, difference in expected:
        assert last[number]["jobs"] == 2 * pairs
        assert last[number]["difference"] == pytest.approx(difference)


def test_jobs_wait_and_are_told(looks):
    shop, files, paths = looks
    status = shop.trial("pads")
    reach = max(row["finished"] for rows in files for row in rows)
    late = [row for rows in files for row in rows if (reach - row["received"]).days < WAIT]
    waiting = sum(not row["unchecked"] for row in late)
    assert waiting > 5
    assert notes_of(shop)["wait_days"].startswith(
        f"{waiting} recorded jobs will be paired 5 days after intake, once the records reach so far"
    )
    # They are in the counts by option, and in no pair.
    known = sum(row["opportunities"] for row in status.rows)
    assert paths[-1][-1]["jobs"] <= known - waiting


def test_dangers_do_not_wait_and_quick_jobs_do(tmp_path):
    """On the first days only what went well is done; by itself it would say: no difference."""
    shop = begun(tmp_path, new=WAITING)
    quick = [job_row(n, PADS[n % 2], finished=FIRST) for n in range(8)]
    take_in(shop, [*quick[:-1], quick[-1] | {"failures": "cell_pierced"}])
    row = shop.trial("pads").rows[-1]
    assert (row["pairs"], row["opportunities"], row["safety_failures"]) == (0, 4, 1)
    assert row["harm_evidence"] > 1
    slow = [job_row(n, PADS[n % 2], finished=FIRST + timedelta(days=4)) for n in range(8, 12)]
    take_in(shop, [job | BAD for job in slow])
    assert shop.trial("pads").rows[-1]["pairs"] == 0
    take_in(shop, [job_row(12, PADS[0], trial="", finished=FIRST + timedelta(days=WAIT))])
    assert [(one["jobs"], one["difference"]) for one in path_of(shop)] == [(12, 0)]
    assert "wait_days" not in notes_of(shop)


def test_a_trial_does_not_end_while_jobs_wait(tmp_path):
    short = type(NEW)(**vars(WAITING) | {"max_jobs": 4})
    shop = begun(tmp_path, new=short)
    take_in(shop, [job_row(n, PADS[n % 2]) for n in range(4)])
    status = shop.trial("pads")
    assert status.rows[-1]["verdict"] == "go on"
    assert status.notes[0].text == (
        "all 4 jobs are recorded, and some wait to be paired: draw no more, and look again"
    )
    with pytest.raises(UsageError, match="all 4 jobs are recorded: no more devices go into it"):
        shop.trial_next("pads", technician="T1", model="Tarn 9")
    take_in(shop, [job_row(9, "", trial="")])
    assert shop.trial("pads").rows[-1]["verdict"] == "ended (not shown)"


def test_a_job_without_a_day_of_intake_does_not_wait(tmp_path):
    shop = begun(tmp_path, new=WAITING)
    take_in(shop, [job_row(n, PADS[n % 2], received="") for n in range(2)])
    assert shop.trial("pads").rows[-1]["pairs"] == 1
    assert notes_of(shop)["wait_days"].startswith("2 jobs without a day of intake paired at once")


def test_a_correction_before_a_job_counts_is_none(tmp_path):
    shop = begun(tmp_path, new=WAITING)
    take_in(shop, [job_row(n, PADS[n % 2], finished=FIRST) for n in range(2)])
    amend(shop.folder, "J1", BAD)
    take_in(shop, [job_row(9, "", trial="")])
    assert steps(path_of(shop)) == [(3, 2, 1)]
    assert "corrected_jobs" not in notes_of(shop)


def test_the_same_records_give_the_same_answer(looks):
    shop, _, paths = looks
    assert path_of(shop) == paths[-1]
    assert shop.trial("pads").finding == shop.trial("pads").finding


# ---------------------------------------------------------------- corrections


@pytest.fixture
def shop(tmp_path):
    """Four pairs by two imports: the option alone failed in the second, nothing in the others."""
    shop = begun(tmp_path)
    drawn = ["heat_plate", "heat_pad"] * 4
    rows = [job_row(n, option, **(BAD if n == 3 else {})) for n, option in enumerate(drawn)]
    take_in(shop, rows[:4])
    take_in(shop, rows[4:])
    return shop


def test_what_does_not_bear_on_the_outcome_changes_nothing(shop):
    before = path_of(shop)
    amend(shop.folder, "J3", {"price": "80"})
    assert path_of(shop) == before
    assert "corrected_jobs" not in notes_of(shop)


def test_a_corrected_outcome_counts_where_it_stood(shop):
    before = path_of(shop)
    assert steps(before) == [(1, 2, 0), (1, 4, 1 / 2), (2, 6, 1 / 3), (2, 8, 1 / 4)]
    amend(shop.folder, "J3", {"failures": "none"})
    assert steps(path_of(shop)) == [(1, 2, 0), (1, 4, 0), (2, 6, 0), (2, 8, 0)]
    assert notes_of(shop)["corrected_jobs"].startswith("the outcome of 1 job was corrected after")
    undo(shop.folder, 3)
    assert path_of(shop) == before and "corrected_jobs" not in notes_of(shop)


@pytest.mark.parametrize(
    "cells",
    [{"unchecked": "all", "failures": "none"}, {"trial": ""}, {"finished": "2026-01-04"}],
    ids=["outcome taken back", "trial taken back", "before the start"],
)
def test_a_job_that_no_longer_counts_takes_its_pair_along_and_no_other(shop, cells):
    cells = cells | ({"received": "2026-01-04"} if "finished" in cells else {})
    amend(shop.folder, "J3", cells)
    assert steps(path_of(shop)) == [(1, 2, 0), (2, 4, 0), (2, 6, 0)]
    assert "1 job no longer count" in notes_of(shop)["corrected_jobs"]


@pytest.mark.parametrize(
    ("cells", "partner"),
    [({"technician": "T2"}, {"technician": "T2"}), ({"assigned": "heat_plate"}, {})],
    ids=["technician", "option"],
)
def test_a_job_that_changes_its_place_goes_to_the_end(shop, cells, partner):
    amend(shop.folder, "J3", cells)
    assert steps(path_of(shop)) == [(1, 2, 0), (2, 4, 0), (2, 6, 0)]
    other = "heat_pad" if "assigned" in cells else "heat_plate"
    number = take_in(shop, [job_row(9, other, **partner)])
    told = [(1, 2, 0), (2, 4, 0), (2, 6, 0), (number, 8, -1 / 4 if "assigned" in cells else 1 / 4)]
    assert steps(path_of(shop)) == told


def test_an_outcome_that_becomes_known_later_counts_from_then_on(shop):
    rows = [
        job_row(8, "heat_pad", unchecked="all", received=FIRST - timedelta(days=9)),
        job_row(9, "heat_plate"),
        job_row(10, "heat_pad", **BAD),
    ]
    take_in(shop, rows)
    before = path_of(shop)
    # J8 came in first of all, but J9 is taken already by J10.
    assert steps(before)[-1] == (3, 10, 2 / 5)
    amend(shop.folder, "J8", {"unchecked": "", "failures": "none"})
    assert path_of(shop) == before
    take_in(shop, [job_row(11, "heat_plate")])
    assert path_of(shop)[: len(before)] == before
    assert steps(path_of(shop))[-1] == (5, 12, 1 / 3)
    assert "corrected_jobs" not in notes_of(shop)


def test_an_import_taken_back_is_as_if_it_had_never_been(shop):
    before = path_of(shop)
    mistaken = [job_row(3, "heat_pad"), job_row(20, "heat_pad"), job_row(21, "heat_plate", **BAD)]
    undo(shop.folder, take_in(shop, mistaken))
    assert path_of(shop) == before
    take_in(shop, [job_row(20, "heat_pad"), job_row(21, "heat_plate")])
    assert path_of(shop)[: len(before)] == before
