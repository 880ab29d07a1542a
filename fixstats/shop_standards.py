"""House standards of a shop: what was adopted, and how that went."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.folder import Catalogue, fold
from fixstats.shop_open import OpenShop
from fixstats.shop_result import Result, Words, words_of
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

    from fixstats.findings.compare_plan import Choice
    from fixstats.findings.safety import OptionSafety
    from fixstats.findings.standards import StandardsAsk
    from fixstats.records.standards import Adopted


@dataclass(frozen=True)
class Adoption:
    """A standard as it was recorded, and the safety state of its option.

    ``ruled_out_on``: models that it holds for, on which the option is worse.
    """

    adopted: Adopted
    safety: OptionSafety
    ruled_out_on: tuple[str, ...] = ()


class Standards(OpenShop):
    """Mixed into ``Shop``."""

    def standards(
        self,
        choice: Words = (),
        *,
        until: date | None = None,
        confidence: float | None = None,
    ) -> Result:
        """How well each house standard is followed, and what failed before it and since.

        Parameters
        ----------
        choice : only the standards of these choices.
        until : as it was on that day; default: the end of the records.
        confidence : two-sided level of the intervals; default: the shop's.

        Raises
        ------
        fixstats.errors.FixstatsError
            If a choice is unknown, or the records cannot be read just now.
        """
        from fixstats.findings.standards import StandardsAsk

        return self.ask_standards(StandardsAsk(words_of(choice), until, confidence))

    def ask_standards(self, ask: StandardsAsk) -> Result:
        """``standards`` with the question put as one object."""
        from fixstats.findings.standards import standards

        with self.session(digging=False) as con:
            return self._result(standards(con, self.folder, ask))

    def adopt(
        self,
        choice: str,
        option: str,
        *,
        since: date,
        model: str | None = None,
        new_names: bool = False,
    ) -> Adoption:
        """Record what the workshop adopted, at the end of ``catalogue.toml``.

        Parameters
        ----------
        choice : a step, ``<part>_grade`` or ``<part>_supplier``; option : one that it has.
        since : the day from which it holds.
        model : only for this device model; ``new_names`` : no record need know it.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, the option's safety state is ``worse``, it holds already, or
            the file cannot be written; nothing was changed.
        """
        from fixstats.findings.compare_plan import find_choice
        from fixstats.findings.safety import WORSE, safety_states
        from fixstats.findings.standards import safety_among_used
        from fixstats.folder.catalogue import Standard
        from fixstats.records.standards import adopt

        # the owner may have edited the catalogue since it was read
        self.folder.__dict__.pop("catalogue", None)
        catalogue = self.folder.catalogue
        place = find_choice(choice, catalogue)
        # An import that adds codes to the catalogue keeps all readers out: while this one reads,
        # nobody else writes that file.
        with self.session(digging=False) as con:
            known = _known_option(con, catalogue, place, option)
            if model is not None:
                model = _known_model(con, model, new_names=new_names)
            states = safety_states(con, self.folder, place, (known,))
            (safety,) = safety_among_used(con, self.folder, place, (known,), model)
            if safety.state == WORSE:
                raise UsageError(_refused(choice, safety))
            out = () if model else tuple(sorted(one for one in states if one is not None))
            done = adopt(self.folder, Standard(choice, known, since, model))
            return Adoption(done, safety, out)


def _known_option(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, choice: Choice, option: str
) -> str:
    """The option as the catalogue or the records spell it."""
    from fixstats.tallies.values import known_names

    if choice.is_step:
        known = list(catalogue.methods_of(choice.place))
    elif choice.name.endswith("_grade"):
        known = [grade.code for grade in catalogue.grades]
    else:
        known = list(known_names(con, "supplier").values())
    by_fold = {fold(one): one for one in known}
    if fold(option) not in by_fold:
        raise UsageError(f"'{option}' is no option of {choice.name}{did_you_mean(option, known)}")
    return by_fold[fold(option)]


def _known_model(con: duckdb.DuckDBPyConnection, model: str, *, new_names: bool) -> str:
    from fixstats.tallies.values import known_names

    known = known_names(con, "model")
    if fold(model) in known:
        return known[fold(model)]
    if not new_names:
        near = did_you_mean(model, known.values())
        raise UsageError(f"no record has the model '{model}'{near}\nif it is new here, add --new")
    return " ".join(model.split())


def _refused(choice: str, safety: OptionSafety) -> str:
    where = f" on {safety.on_model}" if safety.on_model else ""
    return (
        f"{choice}: {safety.option} is not adopted{where}: it has more safety failures than the "
        f"shop's limit or its most used option allows ({safety.told})\n"
        "no saving is weighed against that; nothing was changed"
    )
