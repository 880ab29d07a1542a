"""``fixstats demo``: an invented workshop to look around in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli.imports import progress_line, report_text
from fixstats.errors import UsageError

if TYPE_CHECKING:
    from fixstats.shop import Shop

FAMILIES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Where to make it.", show_default=False)
    ] = Path("demo-shop"),
    jobs: Annotated[
        int | None, typer.Option(metavar="N", help="Jobs of the sheet to write.")
    ] = None,
    seed: Annotated[int, typer.Option(metavar="S", help="Seed of the sheet to write.")] = 1,
    sheet: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Only write a job sheet (CSV) here.")
    ] = None,
) -> int:
    """Make an invented workshop with 18 months of records and show what they say.

    \b
    Examples:
      fixstats demo
      fixstats demo --jobs 100000 --seed 7 --sheet big.csv
    """
    if sheet is not None:
        return _write_sheet(sheet, 10_000 if jobs is None else jobs, seed)
    if jobs is not None:
        raise UsageError("--jobs goes with --sheet FILE: it is the size of the sheet to write")
    from fixstats.demo.run import make_demo
    from fixstats.shop import Shop

    made, reports = make_demo(folder, progress_line())
    print(f"made {folder}, an invented workshop; its records were drawn, not measured\n")
    print("\n".join(report_text(report) for report in reports))
    shop = Shop(made)
    _headlines(shop)
    _pictures(shop, folder)
    print(
        "\nworth trying next:\n"
        f"  fixstats rates --family display_damage --by model,opening --shop {folder}\n"
        f"  fixstats rates --mode calibration_refused --by charge --shop {folder}\n"
        f"  fixstats check --shop {folder}"
    )
    return 0


def _write_sheet(sheet: Path, jobs: int, seed: int) -> int:
    from fixstats.demo.sheets import write_sheet

    if jobs < 1:
        raise UsageError(f"--jobs {jobs} must be 1 or more")
    try:
        write_sheet(sheet, jobs, seed)
    except OSError as trouble:
        raise UsageError(f"{sheet}: cannot be written ({trouble.strerror})") from trouble
    print(f"wrote {sheet}: {jobs:,} jobs, seed {seed}")
    return 0


def _headlines(shop: Shop) -> None:
    from fixstats.cli.rates import rates_text

    print()
    print(rates_text(shop.rates(family=FAMILIES).finding))


def _pictures(shop: Shop, folder: Path) -> None:
    """Three pictures into the shop's reports."""
    from fixstats.charts.save import save

    by_method = shop.rates(mode="display_flex_torn", by=["model", "display_handling"])
    by_month = shop.rates(family="display_damage", by="month")
    reports = folder / "reports"
    pictures = {
        "display_by_method.png": by_method,
        "costs.png": shop.costs(),
        "display_by_month.png": by_month,
    }
    for name, result in pictures.items():
        save(result.chart(), reports / name)
    print("\npictures: " + ", ".join(str(reports / name) for name in pictures))
