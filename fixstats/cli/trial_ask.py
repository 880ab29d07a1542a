"""Where a trial runs, the bench is asked about it before anything is said of the work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixstats.cli.ask import Asker
from fixstats.errors import FixstatsError, UsageError

if TYPE_CHECKING:
    from fixstats.records.bench import BenchTrial
    from fixstats.shop import Shop

DRAW, OUTSIDE = "d", "n"


@dataclass(frozen=True)
class Assigned:
    """What a trial drew for the job, and which choice it is about."""

    trial: str
    choice: str
    assigned: str


def ask_trial(
    shop: Shop, row: dict[str, str], choices: Sequence[str], asker: Asker
) -> Assigned | None:
    """What was drawn for this job, by now or before; None where it is in no trial."""
    for one in shop.running_trials(row.get("job")):
        if one.choice not in choices:
            continue
        if one.kept_out:
            asker.say(f"trial {one.trial}: this device was kept out of it")
        elif one.assigned is not None:
            asker.say(f"trial {one.trial}: {one.assigned} was drawn for this job")
            return Assigned(one.trial, one.choice, one.assigned)
        else:
            found = _asked(shop, one, row, asker)
            if found is not None:
                return found
    return None


def _asked(shop: Shop, one: BenchTrial, row: dict[str, str], asker: Asker) -> Assigned | None:
    options = (one.baseline, one.option)

    def read(text: str) -> str:
        if text in (DRAW, OUTSIDE, *options):
            return text
        raise UsageError(f"{DRAW}, {options[0]}, {options[1]} or {OUTSIDE}")

    asker.say(f"trial {one.trial} runs: {one.choice}, {options[0]} or {options[1]}")
    question = (
        f"{DRAW} draws now (only before that step is begun); what the printed sheet drew; "
        f"{OUTSIDE} not in the trial"
    )
    answer = asker.ask(question, read, known=[DRAW, *options, OUTSIDE])
    if answer == OUTSIDE:
        return None
    if answer in options:
        return Assigned(one.trial, one.choice, answer)
    return _draw(shop, one, row, asker)


def _draw(shop: Shop, one: BenchTrial, row: dict[str, str], asker: Asker) -> Assigned | None:
    """The next option, handed out for good: for the same job it is the same again."""
    from fixstats.cli.trial_text import handed_text

    if not row.get("technician"):
        asker.say("a draw needs the technician: nothing was drawn")
        return None
    try:
        handed = shop.trial_next(
            one.trial, technician=row["technician"], model=row["model"], job=row["job"],
            new_names=True,  # the bench has answered for new names already
        )  # fmt: skip
    except FixstatsError as refused:
        asker.say(f"nothing was drawn: {refused}")
        return None
    asker.say(handed_text(handed, shop.folder.catalogue))
    asker.say("do the step, then go on here; or stop, and fixstats add takes it over for this job")
    asker.left += f"; {handed.slot.assigned} stays drawn for it in trial {one.trial}"
    return Assigned(one.trial, one.choice, handed.slot.assigned)
