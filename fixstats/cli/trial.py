"""``fixstats trial``: plan a trial of two options, begin it, hand out its options, follow it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fixstats.cli import complete
from fixstats.cli.options import (
    ChartOption,
    ChoiceArgument,
    FormatOption,
    OutOption,
    ShopOption,
    split,
)

trial = typer.Typer(
    name="trial",
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

NameArgument = Annotated[
    str,
    typer.Argument(
        metavar="NAME",
        help="The trial.",
        autocompletion=complete.trials,
        show_default=False,
    ),
]
OptionsOption = Annotated[
    list[str],
    typer.Option("--options", metavar="PRESENT,NEW", help="Two options, the present one first."),
]
ModeOption = Annotated[
    str | None,
    typer.Option(
        metavar="MODE",
        help="What counts: a failure mode or family (default: any that can occur there).",
        autocompletion=complete.modes_and_families,
    ),
]
DifferenceOption = Annotated[
    float | None,
    typer.Option(
        metavar="RATE",
        help="Smallest difference worth having, 0.05 for 5 in 100 (default: the shop's).",
    ),
]


@trial.callback()
def about() -> None:
    """A trial of two options of a choice: plan it, begin it, follow it, stop it in time.

    \b
    Examples:
      fixstats trial plan opening --options heat_plate,heat_pad --mode display_damage
      fixstats trial status pads
    """


@trial.command()
def plan(
    choice: ChoiceArgument,
    options: OptionsOption,
    mode: ModeOption = None,
    difference: DifferenceOption = None,
    power: Annotated[
        float, typer.Option(metavar="SHARE", help="Power of the designs of fixed size.")
    ] = 0.8,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """What a trial would take: jobs, weeks at this shop's pace, money; refused where it is unsafe.

    \b
    Examples:
      fixstats trial plan opening --options heat_plate,heat_pad --difference 0.05
      fixstats trial plan opening --options heat_plate,heat_pad --mode display_damage
    """
    from fixstats.cli.emit import emit
    from fixstats.cli.trial_text import plan_text
    from fixstats.shop import open_shop

    found = open_shop(shop).trial_plan(
        choice, options=split(options), mode=mode, difference=difference, power=power
    )
    emit(found.finding, plan_text, form=form, out=out)
    return 0


@trial.command()
def start(
    name: Annotated[
        str,
        typer.Argument(metavar="NAME", help="How the job sheet will call it.", show_default=False),
    ],
    choice: ChoiceArgument,
    options: OptionsOption,
    mode: ModeOption = None,
    difference: DifferenceOption = None,
    max_jobs: Annotated[
        int | None,
        typer.Option(
            "--max-jobs", metavar="N", help="Where it ends (default: what 9 of 10 trials need)."
        ),
    ] = None,
    seed: Annotated[
        str | None, typer.Option(metavar="WORD", help="Seed of the schedule (default: by lot).")
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Sheet to write: .html to print, or .csv (default: in reports/)."
        ),
    ] = None,
    shop: ShopOption = None,
) -> int:
    """Begin a trial: draw its schedule by lot, store it, write it as a sheet to print.

    Options are drawn in blocks for each technician and group of models apart.

    \b
    Examples:
      fixstats trial start pads opening --options heat_plate,heat_pad --difference 0.05
    """
    from fixstats.cli.trial_text import begun_text
    from fixstats.shop import open_shop

    begun = open_shop(shop).trial_start(
        name, choice, options=split(options), mode=mode, difference=difference,
        max_jobs=max_jobs, seed=seed, sheet=sheet,
    )  # fmt: skip
    print(begun_text(begun))
    return 0


@trial.command(name="next")
def next_(
    name: NameArgument,
    technician: Annotated[str, typer.Option(metavar="T", help="Who is at the bench.")],
    model: Annotated[str, typer.Option(metavar="M", help="Model of the device.")],
    job: Annotated[
        str | None,
        typer.Option(metavar="JOB", help="Its job: asked again, the same option is told."),
    ] = None,
    exclude: Annotated[
        str | None,
        typer.Option(metavar="REASON", help="Keep this device out instead; nothing is drawn."),
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="The technician or model is new to the records.")
    ] = False,
    shop: ShopOption = None,
) -> int:
    """Hand out the next option of a trial, for one device on the bench.

    \b
    Examples:
      fixstats trial next pads --technician T1 --model "Brask One"
      fixstats trial next pads --technician T1 --model "Brask One" --exclude "swollen cell"
    """
    from fixstats.cli.trial_text import excluded_text, handed_text
    from fixstats.shop import open_shop

    opened = open_shop(shop)
    if exclude is not None:
        opened.trial_exclude(
            name, technician=technician, model=model, reason=exclude, job=job, new_names=new
        )
        print(excluded_text(name, exclude))
        return 0
    handed = opened.trial_next(name, technician=technician, model=model, job=job, new_names=new)
    print(handed_text(handed, opened.folder.catalogue))
    return 0


@trial.command()
def status(
    name: NameArgument,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """How a trial stands and whether it may stop: look as often as you like.

    \b
    Examples:
      fixstats trial status pads
      fixstats trial status pads --chart pads.png
    """
    from fixstats.cli.emit import emit
    from fixstats.cli.trial_text import status_text
    from fixstats.shop import open_shop

    emit(open_shop(shop).trial(name).finding, status_text, form=form, out=out, chart=chart)
    return 0


@trial.command(name="list")
def list_(
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """Every trial with how far it is.

    \b
    Examples:
      fixstats trial list
    """
    from fixstats.cli.emit import emit
    from fixstats.cli.trial_text import list_text
    from fixstats.shop import open_shop

    emit(open_shop(shop).trials().finding, list_text, form=form, out=out)
    return 0
