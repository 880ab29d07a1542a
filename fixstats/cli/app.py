"""The parser: which commands there are. It only parses; each command has a file of its own."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from fixstats.cli.add import add
from fixstats.cli.adopt import adopt
from fixstats.cli.amend import amend
from fixstats.cli.batches import batches
from fixstats.cli.brief import brief
from fixstats.cli.causes import causes
from fixstats.cli.check import check
from fixstats.cli.comebacks import comebacks
from fixstats.cli.compare import compare
from fixstats.cli.costs import costs
from fixstats.cli.decide import decide
from fixstats.cli.demo import demo
from fixstats.cli.explain import explain
from fixstats.cli.forget import forget
from fixstats.cli.heldback import heldback
from fixstats.cli.imports import import_
from fixstats.cli.init import init
from fixstats.cli.practice import practice
from fixstats.cli.query import query
from fixstats.cli.rates import rates
from fixstats.cli.report import report
from fixstats.cli.show import show
from fixstats.cli.sql import sql
from fixstats.cli.trial import trial
from fixstats.cli.watch import watch


class _Group(TyperGroup):
    def invoke(self, ctx: Any) -> Any:
        # The parser would turn Ctrl-C into a bare exit code; its words must reach the door.
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as stop:
            raise typer.Abort from stop


# Plain help: the boxed one loads a library of its own and takes three times as long.
app = typer.Typer(
    name="fixstats",
    cls=_Group,
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

for command in (
    demo, init, add, amend, show, rates, compare, causes, practice, comebacks, watch, decide, adopt,
    brief, costs, report, check, heldback, batches, forget, query, sql, explain,
):  # fmt: skip
    app.command()(command)
app.command(name="import")(import_)
app.add_typer(trial)


def _version(wanted: bool) -> None:
    if wanted:
        from fixstats import __version__

        print(f"fixstats {__version__}")
        raise typer.Exit


@app.callback()
def fixstats(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """What goes wrong in your repairs, how often, by model and method, and how sure that is.

    \b
    Start with the invented workshop:   fixstats demo
    or with your own:                   fixstats init SHOP, then fixstats import SHEET
    """
