"""Trials of a shop: planned, begun, followed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.folder import ShopFolder
from fixstats.shop_open import OpenShop
from fixstats.shop_result import Result, Words, words_of
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.findings.base import Finding
    from fixstats.findings.trial_plan import TrialAsk, TrialDesign
    from fixstats.records.trial_sheet import SheetWords
    from fixstats.records.trials import Handed, NewTrial, Slot

# The printed sheet has so many times the lines that a stratum is expected to need.
SPARE = 1.25
FEWEST_LINES = 8


@dataclass(frozen=True)
class Begun:
    """A trial that has begun: what is settled, its first schedule, where the sheet lies."""

    settled: NewTrial
    slots: Sequence[Slot]
    sheet: Path
    plan: Finding


class TrialQuestions(OpenShop):
    """Mixed into ``Shop``."""

    def trial(self, name: str) -> Result:
        """How a trial stands: drawn against used, the confidence sequence, the verdict.

        Raises
        ------
        fixstats.errors.FixstatsError
            If there is no such trial, or the records cannot be read just now.
        """
        from fixstats.findings.trial import trial_status

        with self.session(digging=False) as con:
            return self._result(trial_status(con, self.folder, name))

    def trials(self) -> Result:
        """Every trial with how far it is."""
        from fixstats.findings.trial import trial_list

        with self.session(digging=False) as con:
            return self._result(trial_list(con, self.folder))

    def trial_plan(
        self,
        choice: str,
        *,
        options: Words,
        mode: str | None = None,
        difference: float | None = None,
        power: float = 0.8,
    ) -> Result:
        """Jobs, weeks and money that a trial of two options takes.

        Parameters
        ----------
        choice : a step, ``<part>_grade`` or ``<part>_supplier``.
        options : two, the present one first.
        mode : the failure mode or family that counts; default: any that can occur at the choice.
        difference : the smallest worth having; default: ``worth_knowing`` of the shop.
        power : of the designs with a fixed number of jobs.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown or does not fit, or an option is worse in safety.
        """
        from fixstats.findings.trial_plan import TrialAsk

        ask = TrialAsk(choice, words_of(options), mode, difference, power)
        return self._result(self._design(ask).finding)

    def _design(self, ask: TrialAsk) -> TrialDesign:
        from fixstats.findings.trial_plan import plan_trial

        with self.session(digging=False) as con:
            return plan_trial(con, self.folder, ask)

    def trial_start(
        self,
        name: str,
        choice: str,
        *,
        options: Words,
        mode: str | None = None,
        difference: float | None = None,
        max_jobs: int | None = None,
        seed: str | None = None,
        sheet: Path | None = None,
    ) -> Begun:
        """Begin a trial: draw its schedule, store it, write the sheet to print.

        Parameters
        ----------
        name : how it is called in the job sheet.
        choice, options, mode, difference : as for ``trial_plan``.
        max_jobs : where it ends; default: what nine of ten such trials need.
        seed : the schedule follows from it; default: drawn by lot.
        sheet : file to write, ``.html`` or ``.csv``; default: in ``reports/``.

        Raises
        ------
        fixstats.errors.FixstatsError
            As for ``trial_plan``; also if the name is taken or is no code, or no number of jobs is
            given where the default is out of reach.
        """
        from fixstats.findings.trial_plan import TrialAsk
        from fixstats.records.trial_sheet import check_sheet_ending, write_trial_sheet
        from fixstats.records.trials import NewTrial, start_trial

        path = sheet or self.folder.path / "reports" / f"trial_{name}.html"
        check_sheet_ending(path)
        design = self._design(TrialAsk(choice, words_of(options), mode, difference))
        most = design.max_jobs if max_jobs is None else max_jobs
        if most is None or most < 2:
            raise UsageError(
                "how many jobs at most? Nine of ten such trials would need more than is worked out"
                "\nname it with --max-jobs, or look for a larger --difference"
                if most is None
                else f"--max-jobs {most}: a trial needs at least 2 jobs"
            )
        modes = design.modes
        new = NewTrial(
            name, choice, design.baseline, design.option, modes.mode, modes.family, modes.codes,
            design.difference, most, seed or _lot(), self.folder.settings.safety_limit,
            design.safety_modes, design.wait_days,
        )  # fmt: skip
        if not design.strata:
            raise UsageError(
                "no technician is recorded in the last year, and options are drawn for each one "
                "apart\nfill in the column technician of the job sheet (a code will do), then start"
            )
        strata = {
            stratum: min(max(math.ceil(SPARE * share * most), FEWEST_LINES), most)
            for stratum, share in design.strata.items()
        }
        slots = start_trial(self.folder, new, strata, design.groups)
        path.parent.mkdir(exist_ok=True)
        write_trial_sheet(path, new, slots, _words(design, self.folder))
        return Begun(new, slots, path, design.finding)

    def trial_next(
        self,
        name: str,
        *,
        technician: str,
        model: str,
        job: str | None = None,
        new_names: bool = False,
    ) -> Handed:
        """Hand out the next option of a trial for one device, for good.

        Parameters
        ----------
        name : the trial.
        technician, model : who is at the bench, and the device.
        job : its identifier; asked again for the same job, the same option is told, also after
            the trial has stopped.
        new_names : take names that no record has yet.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, the job was kept out, the trial has stopped or ended, an
            option has been ruled out for its safety failures, or the database stays locked.
        """
        from fixstats.records.trials import drawn_before, next_assignment

        rows = self.trial(name).rows
        row, recorded = rows[-1], sum(one["jobs"] for one in rows)
        before = drawn_before(self.folder, name, job) if job is not None else None
        out = self._ruled_out(name, model)
        if before is not None:
            harmful = row["verdict"] == "stop (harm)"
            use = before.baseline if harmful else before.slot.assigned
            _refuse(name, out, {use} & set(out))
            return replace(before, harmful=harmful)
        if row["verdict"] != "go on":
            raise UsageError(
                f"trial {name}: {row['verdict']}: no more devices go into it\n"
                f"fixstats trial status {name} says why"
            )
        if recorded >= row["max_jobs"]:
            raise UsageError(
                f"trial {name}: all {counted(row['max_jobs'], 'job')} are recorded: no more "
                f"devices go into it\nfixstats trial status {name} says how it stands"
            )
        _refuse(name, out, out)
        return next_assignment(self.folder, name, technician, model, job=job, new_names=new_names)

    def _ruled_out(self, name: str, model: str) -> dict[str, str]:
        from fixstats.findings.trial import ruled_out
        from fixstats.findings.trial_notes import out_words

        with self.session(digging=False) as con:
            return {one.option: out_words(one) for one in ruled_out(con, self.folder, name, model)}

    def trial_exclude(
        self,
        name: str,
        *,
        technician: str,
        model: str,
        reason: str,
        job: str | None = None,
        new_names: bool = False,
    ) -> None:
        """Keep a device out of a trial, before anything is drawn for it.

        ``reason`` is stored; other parameters as for ``trial_next``.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, or an option was drawn for this job already.
        """
        from fixstats.records.trials import exclude

        exclude(self.folder, name, technician, model, reason, job=job, new_names=new_names)


def _refuse(name: str, out: Mapping[str, str], options: Iterable[str]) -> None:
    for option in options:
        raise UsageError(
            f"trial {name}: {option} is {out[option]}\n"
            f"fixstats trial status {name} says how it stands"
        )


def _lot() -> str:
    """A seed that nobody chose."""
    import secrets

    return str(secrets.randbelow(10**9))


def _words(design: TrialDesign, folder: ShopFolder) -> SheetWords:
    from fixstats.records.trial_sheet import SheetWords

    models: dict[str, list[str]] = {}
    for model, group in design.groups.items():
        models.setdefault(group, []).append(model)
    catalogue = folder.catalogue
    outcome = (
        catalogue.label(design.modes.mode)
        if design.modes.mode
        else f"any of {', '.join(catalogue.label(code) for code in design.modes.codes)}"
    )
    out = [note.text for note in design.finding.notes if note.code == "ruled_out"]
    return SheetWords(catalogue.labels, models, outcome, [*out, *design.finding.cautions])
