"""How strongly a condition goes with a failure, other things being equal: cells in, figures out.

Odds ratios come from Firth's logistic regression with profile penalised-likelihood intervals and
tests. The penalty draws rates towards one half, by half a failure a column: for risks the
intercept is set anew, so that the fit expects as many failures as there were (FLIC).

A risk difference sets everybody with the level against everybody at the reference, over the units
of the fit; the share due compares the failures expected as things were with those expected if the
units with the level had been at the reference. Their intervals follow the profile of the odds
ratio, the other coefficients moving along; the squares of what those other coefficients leave
uncertain are added to the squares of the distances to either end. So all three intervals agree on
whether there is an effect.

The odds ratio is that among units alike in everything in the fit. It grows with what is adjusted
for even where nothing is confounded; risk difference and share due do not.

Sources: Heinze and Schemper 2002, Stat Med 21:2409-2419; Puhr and others 2017, Stat Med
36:2302-2317 (FLIC); Greenland and Drescher 1993, Biometrics 49:865-872 (share due from a logistic
fit); Zou and Donner 2008, Stat Med 27:1693-1702 (adding squared distances). Where units were drawn
by outcome: Prentice and Pyke 1979, Biometrika 66:403-411. What odds ratios depend on: Greenland,
Robins and Pearl 1999, Stat Sci 14:29-46.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from fixstats import stats
from fixstats.findings.causes_design import Design

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

NAN = float("nan")


@dataclass(frozen=True)
class LevelFit:
    """A level against the reference; NaN where there is no figure.

    Odds ratio, risk difference and share of all failures due to it, each with its interval, and
    the p-value of the penalised likelihood-ratio test. A negative share: so many more failures
    would be expected without it.
    """

    odds_ratio: float = NAN
    odds_low: float = NAN
    odds_high: float = NAN
    risk_difference: float = NAN
    risk_low: float = NAN
    risk_high: float = NAN
    p_value: float = NAN
    share_due: float = NAN
    share_low: float = NAN
    share_high: float = NAN


FIGURES = tuple(one.name for one in fields(LevelFit))


def fit_levels(design: Design, *, confidence_level: float) -> list[LevelFit] | None:
    """One fit of all levels of a condition, the own columns of the design, in their order.

    A level that follows from the adjusters has no figure. None where the fit did not converge.
    """
    own = [column for column in design.own if column is not None]
    if not own:
        return [LevelFit() for _ in design.own]
    units = design.failures + design.others
    fit = stats.firth(design.x, design.failures, units)
    if not fit.converged:
        return None
    profile = stats.firth_profile(
        design.x, design.failures, units, confidence_level=confidence_level, columns=own
    )
    quantile = NormalDist().inv_cdf((1 + confidence_level) / 2)
    ends = dict(zip(own, zip(profile.low, profile.high, profile.p_value, strict=True), strict=True))
    return [
        LevelFit() if column is None else _level(design, fit, column, ends[column], quantile)
        for column in design.own
    ]


def fit_product(design: Design) -> tuple[float, float]:
    """Odds ratio by which the last own column multiplies the others, and its p-value.

    For the product of two conditions: above 1, together they go with more failures than their
    odds ratios multiplied. NaN where it follows from the other columns or the fit did not converge.
    """
    column = design.own[-1]
    if column is None:
        return NAN, NAN
    units = design.failures + design.others
    fit = stats.firth(design.x, design.failures, units)
    p_value = stats.firth_test(design.x, design.failures, units, columns=[column])
    return float(np.exp(fit.coefficients[column])), p_value


def _level(
    design: Design,
    fit: stats.FirthFit,
    column: int,
    profile: tuple[float, float, float],
    quantile: float,
) -> LevelFit:
    low, high, p_value = (float(one) for one in profile)
    best = float(fit.coefficients[column])
    at = [_Risks.at(design, fit, column, value) for value in (best, low, high)]
    risk = _interval([one.risk for one in at], quantile)
    share = _interval([one.share for one in at], quantile)
    odds = [float(np.exp(one)) for one in (best, low, high)]
    return LevelFit(
        odds[0], odds[1], odds[2],
        risk[0], max(risk[1], -1.0), min(risk[2], 1.0),
        p_value,
        share[0], share[1], min(share[2], 1.0),
    )  # fmt: skip


@dataclass(frozen=True)
class _Risks:
    """Risk difference and share due, each with the deviation that the other coefficients leave."""

    risk: tuple[float, float]
    share: tuple[float, float]

    @classmethod
    def at(cls, design: Design, fit: stats.FirthFit, column: int, value: float) -> _Risks:
        """With this logarithm of the odds ratio, the other coefficients along its profile."""
        if not np.isfinite(value):
            return cls((NAN, NAN), (NAN, NAN))
        covariance, x, weight = fit.covariance, design.x, design.weight
        ridge = covariance[:, column] / covariance[column, column]
        coefficients = fit.coefficients + ridge * (value - fit.coefficients[column])
        without = x.copy()
        without[:, [one for one in design.own if one is not None]] = 0.0
        everybody = without.copy()
        everybody[:, column] = 1.0
        shift = _shift(x @ coefficients, weight, design.failed)
        as_is, none, all_of = (
            _Expected.of(one, coefficients, shift, weight) for one in (x, without, everybody)
        )
        there = x[:, column] == 1
        due = float((as_is.failures - none.failures)[there].sum()) / design.failed
        change = as_is.slope(there) - none.slope(there)
        return cls(
            (
                float((all_of.failures - none.failures).sum() / weight.sum()),
                _left((all_of.slope() - none.slope()) / weight.sum(), covariance, column),
            ),
            (due, _left((change - due * as_is.slope()) / design.failed, covariance, column)),
        )


@dataclass(frozen=True)
class _Expected:
    """Failures that the fit expects in each row of ``x``, and their variance there."""

    x: FloatArray
    failures: FloatArray
    variance: FloatArray

    @classmethod
    def of(
        cls, x: FloatArray, coefficients: FloatArray, shift: float, weight: FloatArray
    ) -> _Expected:
        rate = _rate(x @ coefficients + shift)
        return cls(x, weight * rate, weight * rate * (1 - rate))

    def slope(self, rows: NDArray[np.bool_] | slice = slice(None)) -> FloatArray:
        """How the sum over the rows changes with each coefficient."""
        return np.asarray(self.x[rows].T @ self.variance[rows], dtype=np.float64)


def _rate(logit: FloatArray) -> FloatArray:
    return np.asarray(1 / (1 + np.exp(-np.clip(logit, -700, 700))), dtype=np.float64)


def _shift(logit: FloatArray, weight: FloatArray, failed: float) -> float:
    """What to add to the intercept for as many expected failures as there were."""
    total, shift = float(weight.sum()), 0.0
    wanted = np.log(failed / (total - failed))
    for _ in range(100):
        expected = float(weight @ _rate(logit + shift))
        step = wanted - float(np.log(expected / (total - expected)))
        shift += step
        if abs(step) < 1e-12:
            break
    return shift


def _left(slope: FloatArray, covariance: FloatArray, column: int) -> float:
    """Standard deviation that the other coefficients leave once this one is known."""
    along = float(slope @ covariance[:, column])
    variance = float(slope @ covariance @ slope) - along * along / covariance[column, column]
    return float(np.sqrt(max(variance, 0.0)))


def _interval(values: Sequence[tuple[float, float]], quantile: float) -> tuple[float, float, float]:
    """Estimate and interval from (value, deviation left) at the best value and both ends."""
    (best, _), (low, left_low), (high, left_high) = values
    return (
        best,
        best - float(np.hypot(best - low, quantile * left_low)),
        best + float(np.hypot(high - best, quantile * left_high)),
    )
