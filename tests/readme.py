"""The guide as code: its commands, what they print, its pictures and its table of options.

``python tests/readme.py`` writes what commands print now into README.md and makes its pictures
anew; ``tests/test_readme.py`` finds out where that is due. A line ``...`` in the guide stands for
lines left out, also from what is filled in; where it is the only one, all is filled in.
"""

from __future__ import annotations

import io
import os
import re
import shlex
import sys
from collections.abc import Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from difflib import SequenceMatcher, unified_diff
from itertools import groupby
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
PICTURES = ROOT / "demo_data" / "pictures"
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
# Stands for any number of lines of what a command prints.
LEFT_OUT = "..."
OPTIONS = ("<!-- options -->\n", "<!-- end of options -->")
# An option that so many commands have, in the same words, is told once.
SHARED = 4
# What a person at the bench types; the guide shows the command only.
TYPED = {
    "fixstats add --technician T2": (
        "Mill bench", "4712", "Brask One", "battery_swap", "y", "", "", "", "",
        "n", "", "60", "2", "n", "n", "42", "",
    ),
}  # fmt: skip


# Takes seconds: the rehearsal of the cron line runs it, and looks at what it prints.
REHEARSED = "fixstats report --month last"


@dataclass(frozen=True)
class Shown:
    """A command of the guide and the lines that it says are printed; none: not shown."""

    command: str
    lines: tuple[str, ...]

    @property
    def words(self) -> list[str]:
        """The command line as the shell parts it, without ``fixstats``."""
        return shlex.split(self.command, comments=True)[1:]

    @property
    def exit_code(self) -> int:
        """As a comment behind the command says, else 0."""
        said = re.search(r"# exit code (\d+)", self.command)
        return int(said[1]) if said else 0

    def matches(self, printed: Sequence[str]) -> bool:
        """True where the lines are those printed; ``...`` stands for any."""
        parts = [".*" if one == LEFT_OUT else re.escape(one) for one in self.lines]
        return (
            not self.lines
            or re.fullmatch("\n".join(parts), "\n".join(printed), re.DOTALL) is not None
        )


class Terminal(io.StringIO):
    """Answers as typed at a terminal."""

    def isatty(self) -> bool:
        return True


def blocks(text: str, language: str = "") -> list[str]:
    """The fenced blocks of one language."""
    return [body for name, body in BLOCK.findall(text) if name == language]


def commands(body: str) -> Iterator[Shown]:
    """The fixstats commands of a block, with what each prints where the block shows it."""
    body = body.replace("\\\n", " ")
    if "$ " not in body:
        for line in body.splitlines():
            if line.startswith("fixstats "):
                yield Shown(line, ())
        return
    for part in re.split(r"^\$ ", body, flags=re.MULTILINE)[1:]:
        command, *lines = part.rstrip("\n").split("\n")
        if command.startswith("fixstats "):
            yield Shown(command, tuple(line.rstrip() for line in lines))


def answers(text: str, demo_shop: Path) -> Iterator[tuple[str, list[tuple[Shown, int, list[str]]]]]:
    """Each block of the guide with its commands, their exit codes and what they printed.

    Every block finds the demo shop as it was made. The block that installs is left to CI.
    """
    for body in blocks(text):
        told = [one for one in commands(body) if one.command != REHEARSED]
        if told and "pip install" not in body:
            lay_out(Path.cwd(), demo_shop)
            yield body, [(shown, *run(shown)) for shown in told]


def rehearsed(text: str) -> Shown:
    """The command that the cron line runs, as the guide shows it."""
    shown = (one for body in blocks(text) for one in commands(body))
    return next(one for one in shown if one.command == REHEARSED)


def run(shown: Shown) -> tuple[int, list[str]]:
    """Exit code and printed lines of a command, in this process."""
    from fixstats.cli import ask
    from fixstats.cli.app import app
    from fixstats.cli.door import through_the_door

    out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    before, reader = sys.stdin, ask._readline
    typed = TYPED.get(shown.command)
    try:
        if typed:
            sys.stdin, ask._readline = Terminal("\n".join(typed) + "\n"), lambda: None
        with redirect_stdout(out), redirect_stderr(out):
            code = through_the_door(app, shown.words)
    finally:
        sys.stdin, ask._readline = before, reader
    out.seek(0)
    return code, [line.rstrip() for line in out.read().rstrip("\n").split("\n")]


def lay_out(folder: Path, demo_shop: Path) -> None:
    """What the commands of the guide find: the demo shop, and a sheet of somebody's own."""
    import shutil

    import polars as pl

    shutil.rmtree(folder / "demo-shop", ignore_errors=True)
    shutil.copytree(demo_shop, folder / "demo-shop")
    if (folder / "ours.xlsx").exists():
        return
    sheet = pl.read_csv(ROOT / "demo_data" / "harbour_bench.csv", infer_schema=False)
    sheet.head(150).write_excel(folder / "ours.xlsx")


def words_of(picture: Path) -> list[str]:
    """The words of an SVG file: where they are the same, the picture shows the same figures.

    Where lines are broken, and so the bytes, depends on the fonts of the machine.
    """
    texts = re.findall(r"<(?:text|title|desc)[^>]*>([^<]*)<", picture.read_text(encoding="utf-8"))
    return " ".join(texts).split()


# ---------------------------------------------------------------- the table of options


def option_table() -> str:
    """Every command with its options as ``--help`` has them."""
    import typer

    from fixstats.cli.app import app

    found = list(_commands(typer.main.get_command(app)))
    every = [_option(one) for _, command in found for one in _params(command)]
    shared = [one for one in dict.fromkeys(every) if every.count(one) >= SHARED]
    lines = ["| options of several commands | |", "|---|---|"]
    lines += [f"| {name} | {text} |" for name, text in shared]
    lines += ["", "| command | option | |", "|---|---|---|"]
    for name, command in found:
        options = [_option(one) for one in _params(command)]
        own = [one for one in options if one not in shared]
        also = [one for one in options if one in shared]
        if also:
            own.append((" ".join(_flag(one) for one, _ in also), "as above"))
        for n, (option, text) in enumerate(own):
            lines.append(f"| {f'`{name}`' if n == 0 else ''} | {option} | {text} |")
    return "\n".join(lines) + "\n"


def _commands(group: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _commands(command, f"{before}{name} ")
        else:
            yield f"{before}{name}", command


def _params(command: Any) -> list[Any]:
    return [one for one in command.params if one.param_type_name == "option" and one.name != "help"]


def _option(option: Any) -> tuple[str, str]:
    """How it is written, and its help."""
    value = "" if option.is_flag else f" {option.metavar or option.type.name.upper()}"
    text = " ".join((option.help or "").split()).replace("|", "\\|").replace("<", "&lt;")
    if option.show_default and option.default not in (None, False):
        text += f" Default: {option.default}."
    return f"`{max(option.opts, key=len)}{value}`".replace("|", "\\|"), text


def _flag(written: str) -> str:
    return written.split(" ", 1)[0].rstrip("`") + "`"


# ---------------------------------------------------------------- bringing it up to date


def brought_up_to_date(text: str, demo_shop: Path) -> str:
    """The guide with what its commands print now, run in the present folder."""
    for body, told in answers(text, demo_shop):
        new = body
        for shown, code, printed in told:
            if code != shown.exit_code:
                print(f"exit code {code}: {shown.command}\n" + "\n".join(printed))
            elif shown.lines == (LEFT_OUT,) or not shown.matches(printed):
                before = "\n".join([f"$ {shown.command}", *shown.lines])
                after = "\n".join([f"$ {shown.command}", *shortened(printed, shown.lines)])
                new = new.replace(before, after)
        text = text.replace(body, new)
    begin, end = (text.index(mark) for mark in OPTIONS)
    return text[: begin + len(OPTIONS[0])] + option_table() + text[end:]


def shortened(printed: Sequence[str], before: Sequence[str]) -> list[str]:
    """The new lines, with as much left out as before: parts begin at the line most like theirs."""
    if set(before) <= {LEFT_OUT}:
        return list(printed)
    kept: list[str] = []
    at = 0
    for left_out, part in groupby(before, key=lambda line: line == LEFT_OUT):
        if left_out:
            kept.append(LEFT_OUT)
            continue
        lines = list(part)
        if kept:
            rest = range(at, len(printed))
            at = max(rest, key=lambda n: SequenceMatcher(None, lines[0], printed[n]).ratio())
        kept += printed[at : at + len(lines)]
        at += len(lines)
    return kept


def difference(before: Sequence[str], after: Sequence[str]) -> str:
    """What differs, line by line."""
    return "\n".join(unified_diff(before, after, lineterm="", n=1))


def main() -> None:
    """Write README.md and its pictures anew."""
    import shutil
    import tempfile

    from fixstats.cli.main import add_up_one_way
    from fixstats.demo.run import make_demo

    add_up_one_way()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_demo(folder / "made")
        os.environ["FIXSTATS_SHOP"] = str(folder / "demo-shop")
        os.chdir(folder)
        text = brought_up_to_date(README.read_text(encoding="utf-8"), folder / "made")
        README.write_text(text, encoding="utf-8")
        PICTURES.mkdir(exist_ok=True)
        for picture in folder.glob("*.svg"):
            shutil.copy(picture, PICTURES / picture.name)


if __name__ == "__main__":
    main()
