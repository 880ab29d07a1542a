"""What the harm stop of a trial goes by: what stood at its start, whatever is set by now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fixstats.findings.base import Note
from fixstats.findings.compare_plan import Choice
from fixstats.findings.safety import safety_modes
from fixstats.folder import ShopFolder
from fixstats.tallies.trials import Trial
from fixstats.words import listed


@dataclass(frozen=True)
class Settled:
    """What a trial goes by; ``note``: where that is not what is set by now."""

    safety_limit: float
    safety_modes: tuple[str, ...]
    note: Note | None


def settled_for(trial: Trial, choice: Choice, folder: ShopFolder) -> Settled:
    """What a trial goes by.

    A limit that could be moved while the trial runs would rewrite what was seen at earlier looks,
    and the error budget holds for one rule only. So it is that of the start. Of a trial from
    before this was kept nobody knows it: that one goes by the settings as they are, and says so.
    """
    limit, modes = folder.settings.safety_limit, safety_modes(choice, folder.catalogue)
    if trial.safety_limit is None or trial.safety_modes is None:
        text = (
            "this trial began before its safety limit was kept with it: its harm stop goes by the "
            f"settings as they are now ({100 * limit:g} %), so a change of safety_limit, or of the "
            "catalogue's safety modes, also changes what it says of earlier days"
        )
        return Settled(limit, modes, Note("never_settled", text))
    known = tuple(mode for mode in trial.safety_modes if mode in folder.catalogue.modes)
    told = "; ".join(_changes(trial, trial.safety_limit, trial.safety_modes, limit, modes, folder))
    text = f"the harm stop goes by what stood when the trial began: {told}"
    return Settled(trial.safety_limit, known, Note("settings_changed", text) if told else None)


def _changes(
    trial: Trial,
    limit: float,
    watched: tuple[str, ...],
    limit_now: float,
    modes_now: tuple[str, ...],
    folder: ShopFolder,
) -> Iterator[str]:
    if limit != limit_now:
        yield (
            f"a safety limit of {100 * limit:g} %, though shop.toml now says {100 * limit_now:g} %"
        )
    new = [mode for mode in modes_now if mode not in watched]
    if new:
        yield (
            f"it does not watch {listed(new)}, now {_safety(new)} in the catalogue; look there "
            f"yourself: fixstats rates --mode {new[0]} --by assigned --where trial={trial.trial}"
        )
    gone = [mode for mode in watched if mode not in folder.catalogue.modes]
    if gone:
        yield f"it can no longer count {listed(gone)}, which the catalogue lacks by now"
    others = [mode for mode in watched if mode not in modes_now and mode not in gone]
    if others:
        yield f"it still watches {listed(others)}, no longer {_safety(others)} in the catalogue"


def _safety(modes: list[str]) -> str:
    return "a safety mode" if len(modes) == 1 else "safety modes"
