"""Asks a person at the terminal: one line a question, completion by the tab key, again if wrong."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fixstats.cli.text import printable
from fixstats.errors import UsageError

# Shows what may be answered, where the question itself does not.
LIST = "/"


class Asker:
    """Questions on standard output, answers from standard input.

    ``left``: said when Ctrl-C or the end of the input stops the questions.
    """

    def __init__(self, left: str) -> None:
        self.left = left
        self._readline = _readline()

    def say(self, text: str) -> None:
        """A line that asks nothing; nothing of the records steers the terminal."""
        print("\n".join(printable(line) for line in text.split("\n")))

    def ask(
        self,
        question: str,
        read: Callable[[str], str],
        *,
        known: Sequence[str] = (),
        labels: Mapping[str, str] | None = None,
        default: str = "",
        names: bool = False,
    ) -> str:
        """What ``read`` makes of the answer; what it refuses is said and asked again.

        Parameters
        ----------
        known : offered by the tab key, and listed for ``/``; ``names``: they may hold spaces.
        labels : shown beside them in the list.
        default : taken for an empty answer, shown in brackets.
        """
        shown = f" [{default}]" if default else ""
        while True:
            self._offer(known, names=names)
            answer = self._line(f"{printable(question)}{printable(shown)}: ").strip()
            if answer == LIST and known:
                for number, word in enumerate(known, 1):
                    label = (labels or {}).get(word, "")
                    self.say(f"  {number:3} {word:24} {label}".rstrip())
                continue
            try:
                return read(answer or default)
            except UsageError as wrong:
                self.say("\n".join(f"  {line}" for line in str(wrong).split("\n")))

    def _line(self, prompt: str) -> str:
        try:
            return input(prompt)
        except (KeyboardInterrupt, EOFError) as stop:
            print()
            raise KeyboardInterrupt(self.left) from stop

    def _offer(self, known: Sequence[str], *, names: bool) -> None:
        """What the tab key completes while this question stands."""
        if self._readline is None:
            return
        self._readline.set_completer_delims(">;" if names else " >;,@=")
        self._readline.set_completer(completer(known))


def completer(known: Sequence[str]) -> Callable[[str, int], str | None]:
    """The nth of the known words that begin so, whatever their case."""

    def complete(begun: str, place: int) -> str | None:
        word = begun.lstrip()
        room = begun[: len(begun) - len(word)]
        found = [one for one in known if one.casefold().startswith(word.casefold())]
        return room + found[place] if place < len(found) else None

    return complete


def _readline() -> Any:
    """The module that edits lines; None where there is no terminal, or the system has none."""
    if not sys.stdin.isatty():
        return None
    try:
        import readline
    except ImportError:
        return None
    readline.parse_and_bind("tab: complete")
    return readline


def numbered(words: Sequence[str]) -> str:
    """``1 pull_tab, 2 thread_cut``: what may be answered by number."""
    return ", ".join(f"{number} {word}" for number, word in enumerate(words, 1))


def picked(text: str, words: Sequence[str]) -> list[str]:
    """The words that an answer names, by number or as they are, in the order of ``words``.

    Raises
    ------
    UsageError
        If one of them is none of these.
    """
    from fixstats.words import did_you_mean

    found = set()
    for part in text.replace(";", " ").replace(",", " ").split():
        if part.isdigit() and 0 < int(part) <= len(words):
            found.add(words[int(part) - 1])
        elif part in words:
            found.add(part)
        else:
            raise UsageError(f"'{part}' is none of these{did_you_mean(part, words)}")
    return [word for word in words if word in found]
