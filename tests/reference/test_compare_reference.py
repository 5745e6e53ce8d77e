"""Comparisons against certified values (NIST StRD), statsmodels and exact special cases."""

from __future__ import annotations

import math
import warnings
from itertools import product

import numpy as np
import pytest
import statsmodels.api as sm
from nist_strd import ANOVA, REGRESSION
from scipy.stats import multivariate_normal, ttest_ind, ttest_rel
from statsmodels.stats.power import TTestIndPower

from telemetry.compare.gp_response import _one
from telemetry.compare.linear import least_squares, one_way
from telemetry.compare.mixed import OutingModel
from telemetry.compare.planning import t_power, two_sample_power, two_sample_size
from telemetry.frames import FloatArray, IntArray


def digits(value: float, certified: float) -> float:
    """Count the correct digits as NIST does: log relative error, absolute where the certified value is 0."""
    error = abs(value - certified) / (abs(certified) or 1.0)
    return 15.0 if error == 0.0 else min(-math.log10(error), 15.0)


@pytest.mark.parametrize("name", ANOVA)
def test_one_way_meets_the_certified_values(name: str) -> None:
    groups, between, within, f, r_squared, least = ANOVA[name]
    found = one_way([np.array(group) for group in groups])
    count = sum(len(group) for group in groups)
    assert (found.between_df, found.within_df) == (len(groups) - 1, count - len(groups))
    pairs = [
        (found.between_ss, between),
        (found.within_ss, within),
        (found.f, f),
        (found.r_squared, r_squared),
    ]
    assert min(digits(a, b) for a, b in pairs) >= least
    assert digits(math.sqrt(found.within_ms), math.sqrt(within / found.within_df)) >= least


@pytest.mark.parametrize("name", REGRESSION)
def test_least_squares_meets_the_certified_values(name: str) -> None:
    x, y, estimates, sds, residual_sd, least = REGRESSION[name]
    fit = least_squares(x, y)
    assert min(digits(a, b) for a, b in zip(fit.coefficients, estimates, strict=True)) >= least
    if residual_sd:
        assert min(digits(a, b) for a, b in zip(fit.standard_errors, sds, strict=True)) >= least
        assert digits(math.sqrt(fit.residual_variance), residual_sd) >= least
    else:
        assert max(fit.standard_errors) < 1e-5


def outings(
    sizes: tuple[int, ...], rng: np.random.Generator, outing_sd: float
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Regressors (constant, sheet by outing, order), values and outings of a made season."""
    outing = np.repeat(np.arange(len(sizes)), sizes)
    order = np.concatenate([np.arange(n) for n in sizes])
    x = np.column_stack([np.ones(outing.size), outing % 2, order - order.mean()])
    shared = rng.normal(0.0, outing_sd, len(sizes))
    y = 24.0 + 0.4 * x[:, 1] - 0.1 * x[:, 2] + shared[outing] + rng.normal(0.0, 0.3, outing.size)
    return x, y, outing


@pytest.mark.parametrize("sizes", [(4,) * 8, (3, 1, 5, 2, 6, 4, 3), (2, 8, 1, 5, 2, 2, 7, 3, 1, 4)])
@pytest.mark.parametrize("seed", range(3))
def test_the_mixed_model_agrees_with_statsmodels(sizes: tuple[int, ...], seed: int) -> None:
    x, y, outing = outings(sizes, np.random.default_rng(seed), 0.5)
    ours = OutingModel(x, y, outing)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.MixedLM(y, x, outing).fit(reml=True)
    assert ours.ratio > 0.25  # so that weights go by the estimate
    assert ours.within_variance == pytest.approx(theirs.scale, rel=2e-4)
    assert ours.outing_variance == pytest.approx(float(theirs.cov_re[0, 0]), rel=1e-3)
    assert ours.coefficients == pytest.approx(np.asarray(theirs.fe_params), rel=1e-5, abs=1e-5)
    # Standard errors by the likelihood differ from ours, which come from the scatter at each level.
    between = ours.contrast(np.array([0.0, 1.0, 0.0]))
    assert between is not None
    assert between.standard_error == pytest.approx(float(theirs.bse[1]), rel=0.25)


def test_no_ratio_is_likelier_than_the_one_found() -> None:
    for seed in range(5):
        x, y, outing = outings((3, 1, 5, 2, 6, 4, 3), np.random.default_rng(seed), 0.3)
        model = OutingModel(x, y, outing)
        assert all(
            model.likelihood(r) >= model.likelihood(model.ratio) - 1e-9 for r in np.geomspace(1e-6, 1e6, 301)
        )


def test_balanced_outings_give_the_t_test_over_their_means() -> None:
    rng = np.random.default_rng(4)
    x, y, outing = outings((4,) * 8, rng, 0.4)
    found = OutingModel(x, y, outing).contrast(np.array([0.0, 1.0, 0.0]))
    means = np.array([y[outing == k].mean() for k in range(8)])
    theirs = ttest_ind(means[1::2], means[0::2]).confidence_interval(0.95)
    assert found is not None
    assert found.df == pytest.approx(6.0)
    assert found.estimate - found.half_width() == pytest.approx(theirs.low, rel=1e-9)
    assert found.estimate + found.half_width() == pytest.approx(theirs.high, rel=1e-9)


def test_sheets_in_turn_give_the_paired_t_test() -> None:
    rng = np.random.default_rng(5)
    first, second = rng.normal(24.0, 0.3, 7), rng.normal(24.4, 0.3, 7)
    y = np.concatenate([first, second])
    outing = np.tile(np.arange(7), 2)
    found = OutingModel(np.repeat([0.0, 1.0], 7)[:, None], y, outing, fixed=True).contrast(np.array([1.0]))
    theirs = ttest_rel(second, first).confidence_interval(0.95)
    assert found is not None
    assert found.df == pytest.approx(6.0)
    assert found.estimate - found.half_width() == pytest.approx(theirs.low, rel=1e-9)


@pytest.mark.parametrize(
    ("effect", "n", "ratio", "alpha"),
    list(product((0.2, 0.5, 1.2), (3, 8, 40), (0.5, 1.0, 3.0), (0.05, 0.03))),
)
def test_power_agrees_with_statsmodels(effect: float, n: int, ratio: float, alpha: float) -> None:
    theirs = TTestIndPower().power(effect, n, alpha, ratio, alternative="two-sided")
    assert two_sample_power(2.0 * effect, 2.0, n, ratio, 1.0 - alpha) == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize(("effect", "ratio", "power"), list(product((0.3, 0.8, 1.5), (1.0, 2.0), (0.8, 0.9))))
def test_sample_size_agrees_with_statsmodels(effect: float, ratio: float, power: float) -> None:
    theirs = TTestIndPower().solve_power(effect, alpha=0.05, power=power, ratio=ratio)
    assert two_sample_size(effect, 1.0, power, ratio) == pytest.approx(theirs, rel=1e-6)


def test_power_of_no_difference_is_the_level_and_of_a_huge_one_is_certain() -> None:
    assert t_power(0.0, 7.0, 0.97) == pytest.approx(0.03)
    assert t_power(80.0, 3.0) == pytest.approx(1.0)


def test_the_process_agrees_with_the_normal_distribution_of_scipy() -> None:
    """Rasmussen and Williams 2006, equations 2.25 to 2.40, against the joint normal distribution itself."""
    x, y, u = np.array([1.0, 1.5, 2.0, 3.0]), np.array([20.1, 20.6, 20.4, 19.8]), np.full(4, 0.2)
    at = np.array([1.25, 3.5])
    length, amplitude, care = 0.9, 0.6, 0.2
    everything = np.concatenate([x, at])
    z = (everything - x.mean()) / 2.0
    trend = 200.0**2 + 2.0**2 * np.outer(z, z) + 2.0**2 * np.outer(z, z) ** 2
    prior = amplitude**2 * np.exp(-0.5 * ((everything[:, None] - everything) / length) ** 2) + trend
    noisy = prior[:4, :4] + np.diag(u**2)
    log_likelihood, mean, covariance = _one(x, y, u, at, length, amplitude, care)
    centred = multivariate_normal(np.full(4, y.mean()), noisy)
    assert log_likelihood == pytest.approx(float(centred.logpdf(y)), rel=1e-7)
    gain = prior[4:, :4] @ np.linalg.inv(noisy)
    assert mean == pytest.approx(y.mean() + gain @ (y - y.mean()), rel=1e-8)
    assert covariance == pytest.approx(prior[4:, 4:] - gain @ prior[:4, 4:], abs=1e-6)
