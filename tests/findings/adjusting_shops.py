"""Small shops in cells, as a tally hands them out, and what is asked of their adjustment."""

import itertools

from fixstats.findings.adjusting import adjust

MODELS, TECHNICIANS = ("M1", "M2", "M3", "M4"), ("T1", "T2", "T3")


def columns(rows, keys=("opening", "model", "technician")):
    """Rows (values of the keys, failures, opportunities) as a tally hands them out."""
    names = (*keys, "failures", "opportunities")
    return {name: list(values) for name, values in zip(names, zip(*rows, strict=True), strict=True)}


def rounded(rate, jobs):
    return round(rate * jobs)


def shop(rates, jobs):
    """Cells with as many failures as their rate says: `rates`, `jobs` by (option, place)."""
    rows = []
    for option, (i, model), (j, technician) in itertools.product(
        ("heat", "cold"), enumerate(MODELS), enumerate(TECHNICIANS)
    ):
        n = jobs(option, i, j)
        rows.append((option, model, technician, rounded(rates(option, i, j), n), n))
    return columns(rows)


def asked(cells, keys=("model", "technician"), **settings):
    settings = {"by_model": True, "confidence_level": 0.95, **settings}
    options = settings.pop("options", ("heat", "cold"))
    return adjust(cells, "opening", options, "heat", keys, **settings)
