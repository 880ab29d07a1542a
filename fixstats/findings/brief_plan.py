"""What a bench brief is about, and what was counted for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fixstats.errors import UsageError
from fixstats.findings.compare_plan import Choice, find_choice, modes_at
from fixstats.folder import Catalogue, FailureMode, Settings
from fixstats.folder.catalogue import Repair
from fixstats.tallies.brief import RepairCounts
from fixstats.words import did_you_mean

# Model -> (failures, opportunities).
ByModel = Mapping[str, tuple[float, float]]
# Mode -> option -> model -> (failures, opportunities).
Cells = Mapping[str, Mapping[str | None, ByModel]]


@dataclass(frozen=True)
class Subject:
    """One repair on one model: ``known``: the records know the model; ``day``: they end on."""

    repair: Repair
    model: str
    known: bool
    catalogue: Catalogue
    settings: Settings
    day: date

    @property
    def level(self) -> float:
        """The two-sided level of all intervals."""
        return self.settings.confidence_level

    @property
    def choices(self) -> tuple[Choice, ...]:
        """Its steps in bench order, then the grades of its parts."""
        steps = [step for step in self.catalogue.step_codes if step in self.repair.steps]
        names = [*steps, *(f"{part}_grade" for part in self.parts)]
        return tuple(find_choice(name, self.catalogue) for name in names)

    @property
    def parts(self) -> tuple[str, ...]:
        """Codes of its parts."""
        return tuple(part for part in self.catalogue.part_codes if part in self.repair.parts)

    def modes_at(self, choice: Choice) -> tuple[FailureMode, ...]:
        """Failure modes that belong to a choice; those of mixed parts belong to each part."""
        return tuple(self.catalogue.modes[code] for code in modes_at(choice, self.catalogue))

    @property
    def modes(self) -> tuple[FailureMode, ...]:
        """Failure modes that the repair can bring about."""
        found = {mode.code for choice in self.choices for mode in self.modes_at(choice)}
        return tuple(mode for mode in self.catalogue.failure_modes if mode.code in found)


@dataclass(frozen=True)
class Counted:
    """What was counted: failures at each choice, of the whole repair, harm, and the rest.

    ``of_repair``: mode -> model -> (jobs with it, jobs of which that is known), jobs of this
    repair alone; ``harmed``: the same for any grave failure at its steps; ``unknown``: modes of
    which more than a tenth of the units are unknown.
    """

    at: Mapping[str, Cells]
    unknown: Sequence[str]
    of_repair: Mapping[str, ByModel]
    harmed: ByModel
    repair: RepairCounts


def find_repair(name: str, catalogue: Catalogue) -> Repair:
    """The repair of that code, or of that label.

    Raises
    ------
    UsageError
        If there is none; the nearest one is named.
    """
    known = {word.casefold(): one for one in catalogue.repairs for word in (one.label, one.code)}
    found = known.get(" ".join(name.split()).casefold())
    if found is None:
        codes = [one.code for one in catalogue.repairs]
        raise UsageError(
            f"unknown repair '{name}'{did_you_mean(name, codes)}\n"
            f"repairs of the catalogue: {', '.join(codes)}"
        )
    return found
