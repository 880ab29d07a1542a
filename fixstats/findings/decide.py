"""Which option of each choice should be the standard, which needs a trial, what to wait for?"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import Finding, Note, common_settings
from fixstats.findings.decide_count import count_choices, plan_of
from fixstats.findings.decide_figures import ChoiceWeighed, weigh_choice
from fixstats.findings.decide_lines import line_rows
from fixstats.findings.decide_plan import DecideAsk, changed_words, settled, standard_on
from fixstats.findings.decide_rows import flip_rows, mode_rows, option_rows, rival_of, rows_of
from fixstats.findings.decide_words import cautions_of, notes_of, picked_notes, sentence
from fixstats.findings.safety import WORSE
from fixstats.folder import ShopFolder
from fixstats.folder.settings import Settings
from fixstats.tallies.counts import Period, period

if TYPE_CHECKING:
    import duckdb


def decide(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: DecideAsk) -> Finding:
    """A verdict on every choice, over all models and for each model.

    ``con`` is a session with the catalogue and views of ``folder``. Parts: ``options`` (what a job
    of each costs, part by part), ``modes`` (what each failure mode adds), ``sentences`` (with
    ``rival``, what the option of a trial is tried against, and ``adopted``, whether the leader is
    the latest house standard, be it to come), ``flips`` (the value of each input at
    which the leader changes), ``lines`` (cost along each input).

    Raises
    ------
    UsageError
        If the question names something unknown or a value makes no sense.
    """
    settings = settled(ask, folder)
    covered = period(con)
    answers: list[ChoiceWeighed] = []
    if covered.jobs:
        # While one choice is weighed, the database counts the next; and that one only, since the
        # counts of a choice are large.
        with ThreadPoolExecutor(max_workers=1) as pool:
            pool.submit(_make_ready)
            asked: list[Future[ChoiceWeighed]] = []
            for one in count_choices(con, plan_of(con, folder, ask, settings, covered)):
                answers.extend(before.result() for before in asked)
                asked = [pool.submit(weigh_choice, *one, settings)]
            answers.extend(before.result() for before in asked)
    return _finding(folder, ask, settings, covered, answers)


def _make_ready() -> None:
    """Load what fits compute with: a fifth of a second, in which the database begins to count."""
    from scipy import linalg, optimize, sparse, special  # noqa: F401


def _finding(
    folder: ShopFolder,
    ask: DecideAsk,
    settings: Settings,
    covered: Period,
    answers: Sequence[ChoiceWeighed],
) -> Finding:
    level, name = settings.confidence_level, folder.catalogue.label
    rows = [row for answer in answers for row in rows_of(answer, level)]
    money = answers[0].known.money if answers else str
    missing = dict.fromkeys(mode for answer in answers for mode, _ in answer.costing.missing)
    by_answer = [list(option_rows(answer, level)) for answer in answers]
    options = [row for found in by_answer for row in found]
    worse = [
        (answer.counted.choice, state)
        for answer in answers
        for states in (answer.known.safety, *answer.known.safety_on.values())
        for option, state in states.items()
        if state.state == WORSE and option in answer.options
    ]
    notes = list(
        notes_of(
            rows,
            options,
            worse,
            [*missing],
            changed_words(ask),
            name,
            every=bool(rows) and not ask.choices,
        )
    )
    notes[:0] = picked_notes(ask, [answer.counted.choice for answer in answers], folder.catalogue)
    if not rows:
        notes.insert(0, Note("nothing", "no job asked about has an option of such a choice"))
    seen = [mode for answer in answers for mode in answer.known.costs]
    return Finding(
        question="decide",
        settings=_stated(folder, ask, settings, covered, answers),
        rows=tuple(rows),
        keys=("choice", "model"),
        notes=tuple(notes),
        cautions=cautions_of(rows, seen, folder.catalogue),
        labels=folder.catalogue.labels,
        parts={
            "options": options,
            "modes": [row for answer in answers for row in mode_rows(answer)],
            "sentences": [
                {"choice": row["choice"], "model": row["model"], "text": sentence(row, name, money)}
                | {"rival": rival_of(weighed)}
                | {"adopted": standard_on(answer.known.adopted, row["model"]) == row["option"]}
                for row, (answer, weighed) in zip(
                    rows,
                    ((answer, one) for answer in answers for one in answer.weighed),
                    strict=True,
                )
            ],
            "flips": [row for answer in answers for row in flip_rows(answer)],
            "lines": [
                row
                for answer, found in zip(answers, by_answer, strict=True)
                for row in line_rows(answer, found)
            ],
        },
    )


def _stated(
    folder: ShopFolder,
    ask: DecideAsk,
    settings: Settings,
    covered: Period,
    answers: Sequence[ChoiceWeighed],
) -> dict[str, Any]:
    return common_settings(
        folder,
        covered,
        confidence_level=settings.confidence_level,
        view="first",
        since=ask.since.isoformat() if ask.since else None,
        until=ask.until.isoformat() if ask.until else None,
        where=[f"{key}={value}" for key, value in ask.where],
        choices=[answer.counted.choice for answer in answers],
        models=list(ask.models),
        labour_rate=settings.labour_rate,
        warranty_days=settings.warranty_days,
        tolerance=settings.tolerance,
        standardise_at=settings.standardise_at,
        safety_limit=settings.safety_limit,
        horizon_months=settings.horizon_months,
        adjusted_for={answer.counted.choice: list(answer.ground.used_for) for answer in answers},
        changed=changed_words(ask),
    )
