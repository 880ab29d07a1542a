"""Comparisons and pooled rates made by hand, as hard on a picture as real ones can be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats import stats
from fixstats.findings.base import Finding, Note
from fixstats.findings.compare import KEYS
from fixstats.findings.compare_words import Wording, sentence, unused, verdict

Counts = tuple[int, int]
LABELS = {
    "opening": "Opening the device",
    "heat_plate": "Heated plate, timed",
    "heat_gun": "Hot-air gun",
    "warm_pad": "Warm pad",
    "display_lines": "Lines in the picture",
    "glass_cracked": "Front glass cracked",
}
LONG = "An extraordinarily long model name with edition, market and colour, year 2024, "
SAY = Wording(0.02, False, ("model", "technician"), "jobs", "")
# Failures of jobs, from Charig et al. 1986 (BMJ 292:879-882): stones that treatment failed to
# clear, small and large ones, by open surgery and by percutaneous nephrolithotomy.
STONES = {"small": ((36, 270), (6, 87)), "large": ((25, 80), (71, 263))}


def versus(
    counts: tuple[Counts, Counts],
    adjusted: tuple[float, float, float] | None = None,
    option: str = "heat_gun",
    *,
    model: str | None = None,
    mode: str | None = "display_lines",
    turns: str = "none",
    strata: tuple[float, float, float] | None = None,
) -> dict[str, Any]:
    """A row of a comparison; ``counts``: (failures, opportunities) of the baseline, of the option.

    ``adjusted`` and ``strata``: difference, low, high.
    """
    (bk, bn), (k, n) = counts
    row: dict[str, Any] = dict.fromkeys(KEYS)
    row |= {"choice": "opening", "option": option, "baseline": "heat_plate", "model": model}
    row |= {"scope": "model" if model else "all", "mode": mode, "reversal": turns}
    row |= {"family": "display_damage" if mode else None, "failures": k, "opportunities": n}
    row |= {"baseline_failures": bk, "baseline_opportunities": bn}
    if n and bn:
        raw = stats.newcombe_difference(k, n, bk, bn, confidence_level=0.95)
        row["difference"] = k / n - bk / bn
        row |= {"difference_low": float(raw.low), "difference_high": float(raw.high)}
    if adjusted:
        row |= {"baseline_adjusted_rate": 0.2, "adjusted_rate": 0.2 + adjusted[0]}
        row |= dict(
            zip(("adjusted_difference", "adjusted_low", "adjusted_high"), adjusted, strict=True)
        )
    if strata:
        row |= dict(zip(("strata_difference", "strata_low", "strata_high"), strata, strict=True))
    return row


def comparison(
    rows: Sequence[dict[str, Any]],
    table: Mapping[tuple[str, ...], tuple[Counts, Counts]] | None = None,
    notes: Sequence[Note] = (),
    **settings: Any,
) -> Finding:
    """A finding of rows; ``table``: values of the strata keys -> counts as in ``versus``."""
    common: dict[str, Any] = {
        "confidence_level": 0.95, "view": "first", "unit": "jobs", "choice": "opening",
        "baseline": "heat_plate", "by": [], "adjusted_for": ["model", "technician"],
        "strata": ["model", "technician"], "include_rework": False, "worth_knowing": 0.02,
        "where": ["rework=no"], "since": None, "until": None, "as_of": "2025-06-17",
    }  # fmt: skip
    common |= settings
    first = rows[0] if rows else {}
    parts = [
        dict(zip(common["strata"], values, strict=True))
        | {"mode": first["mode"], "family": first["family"], "option": option}
        | {"failures": k, "opportunities": n}
        for values, counts in (table or {}).items()
        for option, (k, n) in zip((first["baseline"], first["option"]), counts, strict=True)
    ]
    sentences = [
        {name: row[name] for name in ("option", "model", "mode", "family")}
        | {"sentence": sentence(row, SAY), "verdict": verdict(row), "unused": unused(row)}
        for row in rows
    ]
    keys = ("model",) if any(row["model"] for row in rows) else ()
    tables = {"strata": parts, "sentences": sentences}
    return Finding("compare", common, tuple(rows), keys, tuple(notes), (), LABELS, tables)


def stones() -> Finding:
    """Kidney stones as a bench would see them: large ones are the hard jobs."""
    everything = tuple(
        tuple(sum(STONES[size][side][n] for size in STONES) for n in (0, 1)) for side in (0, 1)
    )
    row = versus(everything, (-0.06, -0.11, -0.01), turns="sure")  # type: ignore[arg-type]
    return comparison([row], {(size,): STONES[size] for size in STONES}, strata=["model"])


def models(names: Sequence[str], option: str = "heat_gun") -> list[dict[str, Any]]:
    """A row for every model and one for all, counts from their places."""
    rows = [
        versus(
            ((2 + n % 5, 60 + 9 * n), ((3 * n) % 11, 40 + 7 * n)),
            (0.004 * (n % 7 - 3), 0.004 * (n % 7 - 3) - 0.04, 0.004 * (n % 7 - 3) + 0.05),
            option,
            model=name,
        )
        for n, name in enumerate(names)
    ]
    return [*rows, versus(((30, 900), (60, 700)), (0.03, 0.01, 0.055), option)]


def many_strata() -> Finding:
    """Sixty strata of 12 models and 5 technicians, some with one option only."""
    table = {
        (f"Alder {m}", f"T{t}"): ((m % 4, 5 * (12 - m) + t), (m // 2 % 5, 3 * m + t // 2))
        for m in range(12)
        for t in range(5)
    }
    return comparison([versus(((70, 2100), (90, 1500)), (-0.02, -0.05, 0.01), turns="sure")], table)


TWELVE = [f"Alder {n}" for n in range(12)]
OPTIONS = ("heat_gun", "warm_pad", "a", "b", "c")
ZERO = ((0, 90), (0, 80))
NOTHING = Note("nothing", "no job in the records had a choice of two options")
COMPARISONS = {
    "compared": comparison([
        versus(((30, 900), (60, 700)), (0.03, 0.01, 0.055)),
        versus(((30, 900), (20, 700)), (-0.002, -0.02, 0.015), "warm_pad"),
    ]),
    "compared, one row": comparison([versus(((30, 900), (60, 700)), (0.03, 0.01, 0.055))]),
    "compared, zeros": comparison([
        versus(ZERO, (0.0, -0.01, 0.02)), versus(ZERO, (0.001, -0.01, 0.02), "warm_pad"),
    ]),
    "compared, no fit": comparison([
        versus(((30, 900), (60, 700)), strata=(0.02, -0.01, 0.05)),
        versus(((30, 900), (2, 7)), None, "warm_pad"),
        versus(((30, 900), (0, 0)), None, "x" * 70),
    ], adjusted_for=[]),
    "compared, no rows": comparison([], notes=[NOTHING]),
    "compared by model": comparison(models(["Tarn 10", "Tarn 9", "Alder 2"])),
    "compared, 65 rows": comparison(
        [one for option in OPTIONS for one in models(TWELVE, option)]
    ),
    "compared, long names": comparison(
        models([f"{LONG}A", f"{LONG}B"], "y" * 90), where=[f"technician={LONG}"]
    ),
    "compared, never used": comparison([
        versus(((5, 60), (0, 0)), (0.01, -0.03, 0.05), model="Tarn 9"),
        versus(((5, 60), (9, 80)), (0.01, -0.03, 0.05), turns="possible"),
    ]),
    "compared, two modes": comparison([
        versus(((5, 60), (9, 80)), (0.01, -0.03, 0.05)),
        versus(((5, 60), (9, 80)), (0.01, -0.03, 0.05), mode="glass_cracked"),
    ]),
    "turned round": stones(),
    "turned, 60 strata": many_strata(),
    "turned, no strata": comparison(
        [versus(((9, 90), (12, 80)), (-0.02, -0.06, 0.02), turns="possible")], strata=[]
    ),
    "turned, several": comparison([
        versus(((30, 900), (60, 700)), (-0.02, -0.03, -0.01), turns="sure"),
        *(versus(((30, 900), (20, 700)), strata=(0.01, -0.02, 0.04), option=o, turns="possible")
          for o in ("warm_pad", "z" * 60, "c")),
    ], {("Tarn 9", "T1"): ((10, 90), (9, 70)), (LONG, "T2"): ((0, 9), (3, 4))}),
}  # fmt: skip
