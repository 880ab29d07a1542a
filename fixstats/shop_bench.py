"""Single jobs of a shop: recorded at the bench, corrected, told."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.findings.base import Finding, Note
from fixstats.shop_result import Result
from fixstats.shop_trial import TrialQuestions

if TYPE_CHECKING:
    from fixstats.records.amend import Amended
    from fixstats.records.bench import BenchTrial, LastJob
    from fixstats.records.story import Story


class BenchWork(TrialQuestions):
    """Mixed into ``Shop``."""

    def add(self, cells: Mapping[str, str], *, new_names: bool = False) -> Path:
        """Record one job: the file in the inbox, which the next writing command takes in.

        Parameters
        ----------
        cells : column of a job sheet -> what it holds; blank ``failures`` mean that all modes were
            looked for and none was seen, as in a sheet of ours.
        new_names : take models, technicians, branches and suppliers that no record has, though one
            is like them.

        Raises
        ------
        fixstats.errors.FixstatsError
            If an import would hold the job back, its number is taken, or the inbox cannot be
            written; nothing is kept.
        """
        from fixstats.records.bench import record, remember, settle_names, tidy_cells

        catalogue = self.folder.catalogue
        row = settle_names(
            catalogue,
            remember(self.folder),
            tidy_cells(catalogue, cells),
            (lambda *_: True) if new_names else _unlike_any,
        )
        return record(self.folder, row)

    def amend(self, job: str, cells: Mapping[str, str], *, branch: str | None = None) -> Amended:
        """Correct cells of a job, "" for not recorded; its version before that is kept.

        Raises
        ------
        fixstats.errors.FixstatsError
            If there is no such job, the corrected one would be held back, or the records cannot be
            written; nothing is changed.
        """
        from fixstats.records.amend import amend

        return amend(self.folder, job, cells, branch)

    def last_like(self, model: str, repair: str, technician: str | None = None) -> LastJob | None:
        """How the last job of these three was done: methods, grades, suppliers, nothing else."""
        from fixstats.records.bench import last_job

        return last_job(self.folder, model, repair, technician)

    def running_trials(self, job: str | None = None) -> list[BenchTrial]:
        """Trials that still take devices in, and those that drew for this job or kept it out."""
        from fixstats.records.bench import bench_trials

        found = bench_trials(self.folder, job)
        settled = [one for one in found if one.assigned or one.kept_out]
        # how a trial stands takes a moment to compute: only for those with room
        return settled + [
            one
            for one in found
            if one not in settled and one.room and self.trial(one.trial).rows[-1]["verdict"]
            == "go on"
        ]  # fmt: skip

    def story(self, job: str, *, branch: str | None = None) -> Story:
        """Everything that is recorded of a job, as one object.

        Raises
        ------
        fixstats.errors.FixstatsError
            If nothing is known of it, or several branches have one of this number.
        """
        from fixstats.records.story import story

        return story(self.folder, job, branch)

    def show(self, job: str, *, branch: str | None = None) -> Result:
        """The story of a job: a row for each version, oldest first; come-backs in the settings.

        Raises
        ------
        fixstats.errors.FixstatsError
            As for ``story``.
        """
        told = self.story(job, branch=branch)
        rows = [
            {"job": told.job, "branch": told.branch, "version": number, **vars(one)}
            | {"cells": dict(one.cells)}
            for number, one in enumerate(told.versions, 1)
        ]
        settings = {
            "job": told.job,
            "branch": told.branch,
            "come_backs": [vars(one) for one in told.come_backs],
            "drawn": [vars(one) for one in told.drawn],
            "catalogue_hash": self.folder.catalogue.hash,
        }
        notes = _notes(told)
        labels = self.folder.catalogue.labels
        return Result(Finding("show", settings, tuple(rows), notes=notes, labels=labels))


def _unlike_any(kind: str, word: str, hint: str) -> bool:
    """A name that is like none is new; one that is like a known one is likely a slip."""
    if "did you mean" in hint:
        raise UsageError(
            f"nothing was kept: no record has the {kind} '{word}'{hint}\n"
            "if it is new here, add --new"
        )
    return True


def _notes(told: Story) -> tuple[Note, ...]:
    states = [one.state for one in told.versions]
    texts = {
        "waiting": ("inbox_waiting", "an entry of it waits in the inbox: the next writing command "
                    "takes it in"),
        "held_back": ("held_back", "a row of it is held back: fixstats heldback shows why"),
    }  # fmt: skip
    found = [Note(*texts[state]) for state in texts if state in states]
    if "standing" not in states:
        found.append(Note("not_counted", "no version of it counts in any figure"))
    return tuple(found)
