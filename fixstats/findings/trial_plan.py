"""What would a trial of two options of a choice take: jobs, weeks, money, and is it safe to try?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from fixstats import stats
from fixstats.errors import UsageError
from fixstats.findings.base import Finding, Note, common_settings
from fixstats.findings.compare_plan import (
    Choice,
    CompareAsk,
    ModeSet,
    find_choice,
    mode_sets,
    options_of,
)
from fixstats.findings.safety import WORSE, OptionSafety, safety_modes, safety_states, worse_of
from fixstats.findings.trial_notes import out_notes
from fixstats.findings.trial_size import Before, plan_notes, plan_rows
from fixstats.findings.trial_wait import planned_note, wait_for
from fixstats.findings.trial_words import trial_cautions
from fixstats.folder import Catalogue, ShopFolder, fold
from fixstats.stats.trial_rule import HARM_ERROR, MAIN_ERROR
from fixstats.tallies.ask import Ask
from fixstats.tallies.choices import jobs_by, use_of_choice
from fixstats.tallies.counts import Period, count_modes, count_union, period
from fixstats.tallies.trials import comebacks_by_mode
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

# Jobs of so many days tell the pace, and who is at the bench; fewer than a month's tell no pace.
PACE_DAYS, FEWEST_DAYS = 364, 28
# Groups of models, about a third of the recent jobs each, by how often the main outcome happens.
GROUPS = ("easier", "middle", "harder")
_PACE_RULED_OUT = (
    "jobs a week, and so the weeks, count devices of the models ruled out, too: without them a "
    "trial takes longer"
)
NO_REWORK = (("rework", "no"),)


@dataclass(frozen=True)
class TrialAsk:
    """What a person asks of a trial; every field has the option's name.

    ``options``: the baseline (what the bench does now), then the option to try. ``mode``: a
    failure mode or family; None for any that can occur at the choice. ``difference``: the
    smallest worth having; None for ``worth_knowing`` of the shop. ``power``: of the designs with
    a fixed number of jobs.
    """

    choice: str
    options: tuple[str, ...]
    mode: str | None = None
    difference: float | None = None
    power: float = 0.8


@dataclass(frozen=True)
class TrialDesign:
    """A plan with all that a start needs.

    ``groups``: model -> group; ``strata``: (technician, group) -> its share of recent jobs;
    ``max_jobs``: what nine of ten trials need, None where that is out of reach; ``safety_modes``:
    those that the harm stop is to watch; ``wait_days``: from its intake until a job is to count.
    """

    ask: TrialAsk
    modes: ModeSet
    baseline: str
    option: str
    difference: float
    groups: Mapping[str, str]
    strata: Mapping[tuple[str, str], float]
    max_jobs: int | None
    safety_modes: tuple[str, ...]
    wait_days: int | None
    finding: Finding


def plan_trial(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: TrialAsk) -> TrialDesign:
    """Plan a trial of two options; ``con`` is a session with the catalogue and views.

    Raises
    ------
    UsageError
        If something is unknown or does not fit together, an option is in safety state ``worse``,
        or nothing is known of the baseline.
    """
    catalogue = folder.catalogue
    choice = find_choice(ask.choice, catalogue)
    worth = folder.settings.worth_knowing if ask.difference is None else ask.difference
    _check_numbers(ask, worth)
    modes = outcome_of(ask.mode, choice, catalogue)
    jobs = Ask(modes.codes, (choice.name,), where=NO_REWORK, place=choice.place)
    used = options_of(use_of_choice(con, catalogue, jobs))
    baseline, option = _options(ask, choice, used, catalogue)
    known = tuple(dict.fromkeys((*used, baseline, option)))
    states = safety_states(con, folder, choice, known)
    safety = states[None]
    _refuse_worse(choice, (safety[baseline], safety[option]))
    out = [one for one in worse_of(states) if one.option in (baseline, option)]
    covered = period(con)
    recent = _recent(con, catalogue, jobs, covered)
    by_model = count_union(con, catalogue, _by(jobs, (choice.name, "model"))).columns
    before = _before(con, folder, jobs, by_model, baseline, option, safety, _pace(recent, covered))
    groups = model_groups(by_model, recent)
    wait = wait_for(con, catalogue, jobs, covered)
    rows = plan_rows(choice, modes, baseline, option, worth, ask.power, before, folder.settings)
    finding = Finding(
        question="trial plan",
        settings=common_settings(
            folder,
            covered,
            confidence_level=folder.settings.confidence_level,
            view="first",
            since=None,
            until=None,
            main_error=MAIN_ERROR,
            harm_error=HARM_ERROR,
            difference=worth,
            modes=list(modes.codes),
            jobs_a_week=before.pace,
        ),
        rows=tuple(rows),
        notes=(
            *out_notes(out),
            *([Note("pace_ruled_out", _PACE_RULED_OUT)] if out else []),
            *plan_notes(rows, before, modes, worth, folder.settings, planned_note(wait)),
        ),
        cautions=trial_cautions(modes.codes, choice, (baseline, option), catalogue),
        labels=catalogue.labels,
        parts={"groups": tuple({"model": name, "group": one} for name, one in groups.items())},
    )
    most = rows[-1]["jobs_90"]
    strata = _strata(recent, groups)
    watched = safety_modes(choice, catalogue)
    return TrialDesign(
        ask, modes, baseline, option, worth, groups, strata, most, watched, wait.days, finding
    )


def outcome_of(name: str | None, choice: Choice, catalogue: Catalogue) -> ModeSet:
    """The main outcome: a mode, the union of a family, or of all that can occur at the choice.

    Raises
    ------
    UsageError
        If there is no such mode or family; the nearest one is named.
    """
    ask = CompareAsk(choice.name)
    if name in catalogue.families:
        ask = CompareAsk(choice.name, family=(str(name),))
    elif name is not None:
        if name not in catalogue.modes:
            near = did_you_mean(name, [*catalogue.modes, *catalogue.families])
            raise UsageError(f"unknown failure mode or family '{name}'{near}")
        ask = CompareAsk(choice.name, mode=(name,))
    (modes,) = mode_sets(choice, ask, catalogue)
    return modes


def _check_numbers(ask: TrialAsk, worth: float) -> None:
    if not 0 < worth < 1:
        raise UsageError(
            f"--difference {worth:g}: a difference of rates lies between 0 and 1, such as 0.05"
        )
    if not 0.5 <= ask.power < 1:
        raise UsageError(f"--power {ask.power:g} must lie between 0.5 and 1, such as 0.8")


def _options(
    ask: TrialAsk, choice: Choice, used: Sequence[str], catalogue: Catalogue
) -> tuple[str, str]:
    """Baseline and option as the catalogue or the records spell them."""
    if len(ask.options) != 2:
        raise UsageError(
            f"--options {','.join(ask.options) or '?'}: a trial has two options, the present one "
            "first\nwrite --options PRESENT,NEW; try a third one afterwards"
        )
    names = list(used)
    if choice.is_step:
        names = list(catalogue.methods_of(choice.name))
    elif choice.name.endswith("_grade"):
        names = [grade.code for grade in catalogue.grades]
    known = {fold(name): name for name in names}
    for name in ask.options:
        if fold(name) not in known:
            near = did_you_mean(name, names)
            raise UsageError(f"--options {name}: no option of {choice.name}{near}")
    baseline, option = (known[fold(name)] for name in ask.options)
    if baseline == option:
        raise UsageError(f"--options {baseline},{option}: name two different options")
    if baseline not in used:
        raise UsageError(
            f"--options {baseline},{option}: nothing is recorded of {baseline} yet, so no trial "
            "can be planned against it\nname what the bench does now first"
        )
    return baseline, option


def _refuse_worse(choice: Choice, options: Sequence[OptionSafety]) -> None:
    for one in options:
        if one.state == WORSE:
            raise UsageError(
                f"{choice.name}: {one.option} is worse in safety ({one.told}) and is not put into "
                "a trial\n"
                "a trial may not trade safety for anything: keep it off the bench"
            )


def _by(jobs: Ask, keys: tuple[str, ...]) -> Ask:
    return Ask(jobs.modes, keys, where=jobs.where, since=jobs.since, place=jobs.place)


def _recent(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, jobs: Ask, covered: Period
) -> list[tuple[str | None, str, int]]:
    """(technician, model, jobs) of the last year on which the choice arose."""
    since = covered.as_of - timedelta(days=PACE_DAYS - 1)
    (name,) = jobs.by
    ask = Ask(jobs.modes, ("technician", "model", name), where=jobs.where, since=since)
    found = jobs_by(con, catalogue, ask)
    rows = zip(found["technician"], found["model"], found[name], found["jobs"], strict=True)
    return [(who, model, number) for who, model, used, number in rows if used not in (None, "-")]


def _pace(recent: Sequence[tuple[str | None, str, int]], covered: Period) -> float:
    """Jobs a week on which the choice arises: of the last year, or since the records began."""
    known: int = (covered.as_of - covered.first).days + 1
    days = min(max(known, FEWEST_DAYS), PACE_DAYS)
    return sum(number for *_, number in recent) / (days / 7)


def _before(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    jobs: Ask,
    by_model: Mapping[str, Sequence[Any]],
    baseline: str,
    option: str,
    safety: Mapping[str, OptionSafety],
    pace: float,
) -> Before:
    """What the records say before the trial; ``pace``: jobs a week.

    Raises
    ------
    UsageError
        If no job with the baseline was ever checked for the main outcome.
    """
    (name,) = jobs.by
    mine = [at for at, one in enumerate(by_model[name]) if one == baseline]
    failures, opportunities = (
        sum(by_model[column][at] for at in mine) for column in ("failures", "opportunities")
    )
    if not opportunities:
        raise UsageError(
            f"no job with {baseline} at {name} was checked for the main outcome: its rate is not "
            "known\nsee fixstats check"
        )
    each = count_modes(con, folder.catalogue, _by(jobs, ())).columns
    return Before(
        failures=failures,
        opportunities=opportunities,
        pace=pace,
        failures_by_mode=dict(zip(each["mode"], each["failures"], strict=True)),
        baseline_price=_price(name, baseline, folder.catalogue),
        option_price=_price(name, option, folder.catalogue),
        baseline_safety=safety[baseline],
        option_safety=safety[option],
        modes=folder.catalogue.modes,
        returns_by_mode=comebacks_by_mode(con),
    )


def _price(choice: str, option: str, catalogue: Catalogue) -> float | None:
    """Money for one use: consumables of a method; the latest general price of a grade."""
    for method in catalogue.methods:
        if (method.step, method.code) == (choice, option):
            return method.consumables
    prices = [
        one
        for one in catalogue.prices
        if f"{one.part}_grade" == choice and one.grade == option and one.model is None
    ]
    return max(prices, key=lambda one: one.since).money if prices else None


def model_groups(
    by_model: Mapping[str, Sequence[Any]], recent: Sequence[tuple[str | None, str, int]]
) -> dict[str, str]:
    """Model -> group; pure: thirds of the recent jobs by the partially pooled rate of the model.

    Strata are few, so that each fills its blocks, and unlike in what matters: how often devices
    of that model fail, whatever the option. A model seen once or never goes where its pooled rate
    puts it, near the middle.
    """
    failures: dict[str, int] = {}
    opportunities: dict[str, int] = {}
    for model, failed, jobs in zip(
        by_model["model"], by_model["failures"], by_model["opportunities"], strict=True
    ):
        failures[model] = failures.get(model, 0) + failed
        opportunities[model] = opportunities.get(model, 0) + jobs
    models = sorted(failures)
    if len(models) < len(GROUPS):
        return dict.fromkeys(models, GROUPS[1])
    pooled = stats.pool_rates([failures[m] for m in models], [opportunities[m] for m in models])
    rates = dict(zip(models, pooled.pooled_rate.tolist(), strict=True))
    weights = dict.fromkeys(models, 0)
    for _, model, jobs in recent:
        weights[model] = weights.get(model, 0) + jobs
    whole = sum(weights.values())
    groups, below = {}, 0.0
    for model in sorted(models, key=lambda one: (rates[one], one)):
        middle = (below + weights[model] / 2) / whole if whole else 0.5
        groups[model] = GROUPS[min(int(3 * middle), 2)]
        below += weights[model]
    return groups


def _strata(
    recent: Sequence[tuple[str | None, str, int]], groups: Mapping[str, str]
) -> dict[tuple[str, str], float]:
    """(technician, group) -> share of the recent jobs, technicians and groups in order."""
    whole = sum(jobs for *_, jobs in recent)
    shares: dict[tuple[str, str], float] = {}
    for who, model, jobs in recent:
        if who is not None:
            stratum = (who, groups.get(model, GROUPS[1]))
            shares[stratum] = shares.get(stratum, 0.0) + jobs / whole
    return dict(sorted(shares.items(), key=lambda one: (one[0][0], GROUPS.index(one[0][1]))))
