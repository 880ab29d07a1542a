"""A workshop of `decision_shops` as `decide` counts it, and as sheets that could be imported."""

from __future__ import annotations

import json

import numpy as np

from fixstats import stats
from fixstats.findings.comebacks_figures import Followed
from fixstats.findings.decide_cells import Counted
from fixstats.findings.decide_costs import EachCost
from fixstats.findings.decide_figures import Known
from fixstats.findings.safety import judge_safety
from fixstats.folder.settings import Settings

from . import decision_shops as shops

SETTINGS = Settings(name="invented", currency="EUR", labour_rate=shops.LABOUR,
                    warranty_days=shops.WARRANTY)  # fmt: skip
BANDS = ("0-9", "10-29", "30-99", "practised")
LEFT_OUT, YEAR, RECENT = 20, 365, 90


def option_name(code):
    return f"way_{'abcdefgh'[code]}"


def model_name(code):
    return f"Aster {code + 1}"


def technician_name(code):
    return f"T{code + 1}"


def quarter_names(day):
    dates = [shops.day_of(one) for one in range(shops.DAYS + 1)]
    names = np.array([f"{one.year}-Q{(one.month + 2) // 3}" for one in dates])
    return names[day]


def question(shop, day):
    """Counts and what else is known when this day is over: the two arguments of `weigh_choice`."""
    seen = shop.seen(day)
    order = _by_jobs(seen.option, option_name), _by_jobs(seen.model, model_name)
    return _counted(seen, day), _known(seen, day, *order)


def _by_jobs(codes, name):
    """Codes, most jobs first, a tie by name."""
    values, jobs = np.unique(codes, return_counts=True)
    return sorted(values, key=lambda one: (-jobs[list(values).index(one)], name(one)))


def _counted(seen, day):
    learning = not _settled(seen).all()
    keys = ("technician", "quarter") + (("opening_practice",) if learning else ())
    clean = seen.timed & ~(seen.failed.any(axis=1) & seen.checked)
    ones = np.ones(len(seen.day))
    minutes = _table(seen, learning, clean, jobs=ones, minutes=seen.minutes,
                     squares=seen.minutes**2)  # fmt: skip
    parts = []
    for number, mode in enumerate(shops.MODES):
        mine = seen.failed[:, number] & seen.checked
        table = _table(seen, learning, mine, failures=ones)
        parts.append({"mode": [mode.code] * len(table["option"])} | table)
    failures = {name: [value for one in parts for value in one[name]] for name in parts[0]}
    hidden = np.bincount(seen.option[~seen.checked], minlength=seen.kind.options)
    unlooked = [
        (mode.code, option_name(n), jobs)
        for mode in shops.MODES
        for n, jobs in enumerate(hidden.tolist())
        if jobs
    ]
    names = ("mode", "option", "jobs")
    return Counted(
        choice="opening",
        keys=keys,
        jobs=_table(seen, learning, np.ones(len(seen.day), bool), jobs=ones),
        failures=failures,
        unlooked=dict(zip(names, zip(*unlooked, strict=True), strict=True)) if unlooked else {},
        minutes=minutes,
        returns=_followed(seen, day),
        practice="opening_practice" if learning else None,
        whole_minutes=True,
    )


def _table(seen, learning, kept, **sums):
    """Sums of the jobs kept, by option, model, the keys and late."""
    later = np.zeros(len(seen.day), dtype=np.int64)
    for code in np.unique(seen.model):
        own = np.flatnonzero(seen.model == code)
        later[own] = np.arange(len(own))[::-1]
    band = np.searchsorted([10, 30, 100], seen.uses, side="right")
    band[_settled(seen)] = BANDS.index("practised")
    quarter, quarters = _coded(quarter_names(seen.day))
    codes = np.stack([seen.option, seen.model, seen.who, quarter, band, later < LEFT_OUT])
    found, place = np.unique(codes[:, kept], axis=1, return_inverse=True)
    names = [
        ("option", [option_name(n) for n in range(seen.kind.options)]),
        ("model", [model_name(n) for n in range(seen.kind.models)]),
        ("technician", [technician_name(n) for n in range(seen.kind.technicians)]),
        ("quarter", quarters),
        ("opening_practice", list(BANDS)),
        ("late", [False, True]),
    ]
    table = {
        key: [words[code] for code in row]
        for (key, words), row in zip(names, found.tolist(), strict=True)
        if learning or key != "opening_practice"
    }
    for name, values in sums.items():
        total = np.bincount(place.ravel(), values[kept], found.shape[1])
        table[name] = total.tolist()
    return table


def _settled(seen):
    """Who used an option within the first 90 days of the records is practised from the start."""
    both = seen.option * seen.kind.technicians + seen.who
    begun = np.bincount(both[seen.day < seen.day.min() + shops.SETTLED], minlength=both.max() + 1)
    return begun[both] > 0


def _coded(words):
    values, codes = np.unique(words, return_inverse=True)
    return codes, values.tolist()


def _followed(seen, day):
    """Follow-up to the come-back, the end of the warranty or the last day."""
    kind = seen.kind
    both = (seen.option * kind.models + seen.model) * kind.technicians + seen.who
    groups, place = np.unique(both, return_inverse=True)
    last = np.minimum(day - seen.day, shops.WARRANTY)
    came = seen.returned <= last
    left = np.where(came, seen.returned, last).astype(np.int64)
    days = shops.WARRANTY + 1
    events, censored = np.zeros((2, len(groups), days)), np.zeros((len(groups), days))
    np.add.at(events[0], (place[came], left[came]), 1)
    np.add.at(censored, (place[~came], left[~came]), 1)
    gone = np.cumsum(events.sum(axis=0) + censored, axis=1)
    at_risk = np.bincount(place)[:, None] - np.concatenate(
        [np.zeros((len(groups), 1)), gone[:, :-1]], axis=1
    )
    names = [np.unravel_index(one, (kind.options, kind.models, kind.technicians)) for one in groups]
    named = tuple((option_name(o), model_name(m), technician_name(t)) for o, m, t in names)
    table = stats.AtRisk(np.arange(days), at_risk, events, censored)
    return Followed(named, ("own", "unrelated"), table)


def _known(seen, day, options, models):
    kind = seen.kind
    used = np.array(kind.consumables)[options]
    safety = {}
    for code in options:
        mine = (seen.option == code) & seen.checked
        safety[option_name(code)] = (int(seen.failed[mine, -1].sum()), int(mine.sum()))
    first = int(seen.day.min())
    span = min(YEAR, max(30, day - first + 1))
    year = np.bincount(seen.model[seen.day > day - YEAR], minlength=kind.models)
    recent = seen.day > day - RECENT
    current = {None: _most(seen.option[recent])}
    for code in models:
        own = seen.model == code
        pick = recent & own if (recent & own).any() else own
        current[model_name(code)] = _most(seen.option[pick])
    return Known(
        used=np.repeat(used[:, None], len(models), axis=1),
        costs={mode.code: EachCost(mode.cost, mode.minutes) for mode in shops.MODES},
        safety=judge_safety(safety, safety_limit=SETTINGS.safety_limit,
                            confidence_level=SETTINGS.confidence_level),
        pace={model_name(n): jobs / span for n, jobs in enumerate(year.tolist())},
        current=current,
        standards={},
        comeback=EachCost(shops.RETURN.cost, shops.RETURN.minutes),
    )  # fmt: skip


def _most(options):
    return option_name(int(np.bincount(options).argmax())) if len(options) else None


# ---------------------------------------------------------------- as sheets


def catalogue(kind):
    """The catalogue of such a workshop, as text."""
    entries = [
        ("step", {"code": "opening", "label": "Opening", "order": 1}),
        ("repair", {"code": "battery_swap", "label": "Battery", "steps": ["opening"]}),
    ]
    entries += [
        ("method", {"step": "opening", "code": option_name(n), "label": option_name(n),
                    "consumables": kind.consumables[n]})
        for n in range(kind.options)
    ]  # fmt: skip
    families = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")
    for n, mode in enumerate((*shops.MODES, shops.RETURN)):
        fields = {"code": mode.code, "label": mode.code, "family": families[n % 4]}
        fields |= {"severity": 2, "cost_minutes": mode.minutes, "cost_money": mode.money}
        fields["steps"] = ["opening"]
        entries.append(("failure_mode", fields | ({"safety": True} if mode.safety else {})))
    text = "".join(
        f"[[{name}]]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in one.items())
        for name, one in entries
    )
    return f"format = 1\n{text}"


def sheet(shop, day):
    """Job sheet of the jobs up to this day, one mapping a row."""
    seen = shop.seen(day)
    for n in range(len(seen.day)):
        failures = [m.code for m, one in zip(shops.MODES, seen.failed[n], strict=True) if one]
        finished = shops.day_of(seen.day[n])
        came = np.isfinite(seen.returned[n])
        yield {
            "job": f"J{n:05}",
            "finished": finished.isoformat(),
            "model": model_name(seen.model[n]),
            "repair": "battery_swap",
            "technician": technician_name(seen.who[n]),
            "opening": option_name(seen.option[n]),
            "minutes": float(seen.minutes[n]) if seen.timed[n] else None,
            "failures": "; ".join(failures) if seen.checked[n] else None,
            "unchecked": None if seen.checked[n] else "all",
            "returned": shops.day_of(seen.day[n] + seen.returned[n]).isoformat() if came else None,
            "return_reason": shops.RETURN.code if came else None,
        }
