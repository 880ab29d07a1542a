"""``fixstats query``: the questions that ship with fixstats."""

from __future__ import annotations

from typing import Annotated

import typer

from fixstats.cli.options import FormatOption, OutOption, ShopOption, pairs


def query(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="A question; without it: list them.")
    ] = None,
    values: Annotated[
        list[str] | None, typer.Option("--set", metavar="KEY=VALUE", help="A parameter's value.")
    ] = None,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """List the questions that ship with fixstats, or run one.

    \b
    Examples:
      fixstats query
      fixstats query minutes_by_method --set step=opening
    """
    from fixstats.cli.emit import emit
    from fixstats.cli.sql import rows_text
    from fixstats.shop import open_shop, questions_finding, sql_finding
    from fixstats.tallies.questions import run_question

    if name is None:
        emit(questions_finding(), rows_text, form=form, out=out)
        return 0
    opened = open_shop(shop)
    with opened.session() as con:
        result = run_question(con, name, dict(pairs(values, "--set")))
    emit(sql_finding(name, result), rows_text, form=form, out=out)
    return 0
