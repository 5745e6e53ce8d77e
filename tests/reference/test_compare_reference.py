"""Comparisons against certified values (NIST StRD), statsmodels and exact special cases."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from nist_strd import ANOVA, REGRESSION
from scipy.stats import ttest_ind, ttest_rel

from telemetry.compare.model import drift_columns
from telemetry.compare.posterior import DAY, OUTING, Axis, Block, DesignLayout, Factored, fixed_axis
from telemetry.compare.voltage import calibrate
from telemetry.core.frames import FloatArray, IntArray


def digits(value: float, certified: float) -> float:
    """Count the correct digits as NIST does: log relative error, absolute where the certified value is 0."""
    error = abs(value - certified) / (abs(certified) or 1.0)
    return 15.0 if error == 0.0 else min(-math.log10(error), 15.0)


@pytest.mark.parametrize("name", [n for n in ANOVA if n not in ("SmLs07", "SmLs08", "SmLs09")])
def test_without_days_the_scatter_is_the_certified_one(name: str) -> None:
    """Flat effects of the treatments: what is left is the residual of the one-way analysis of variance."""
    groups, _, within, _, _, least = ANOVA[name]
    values = np.concatenate([np.array(group) for group in groups])
    member = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    x = (member[:, None] == np.arange(len(groups))).astype(float)
    every = np.arange(values.size) // 2
    layout = laid_out(x, every, np.arange(int(every.max()) + 1), (0.0, 0.0))
    found = Factored(layout).posterior(values - values[0])
    certified = within / (values.size - len(groups))
    # Sums of squares and products keep half the digits that an orthogonal factorisation would.
    assert digits(float(found.variance[0, 0]), certified) >= min(least, 7.0)


@pytest.mark.parametrize("name", ["Norris"])
def test_a_straight_line_meets_the_certified_values(name: str) -> None:
    x, y, estimates, sds, residual_sd, _ = REGRESSION[name]
    layout = laid_out(x, np.arange(y.size), np.arange(y.size), (0.0, 0.0))
    found = Factored(layout).posterior(y)
    for k, (estimate, sd) in enumerate(zip(estimates, sds, strict=True)):
        middle, scale = found.contrasts(np.eye(2)[k])
        assert digits(float(middle[0, 0]), estimate) >= 6.0
        assert digits(float(scale[0, 0]), sd) >= 6.0
    assert digits(math.sqrt(float(found.variance[0, 0])), residual_sd) >= 6.0


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


def laid_out(x: FloatArray, outing: IntArray, day: IntArray, ratios: tuple[float, float]) -> DesignLayout:
    """The model with both ratios held: outings, then days."""
    axes = {OUTING: fixed_axis(ratios[0]), DAY: fixed_axis(ratios[1])}
    return DesignLayout(x=x, outing=outing, day=day, blocks=(), axes=axes)


@pytest.mark.parametrize("sizes", [(4,) * 8, (3, 1, 5, 2, 6, 4, 3), (2, 8, 1, 5, 2, 2, 7, 3, 1, 4)])
@pytest.mark.parametrize("seed", range(3))
def test_given_the_ratio_the_model_agrees_with_statsmodels(sizes: tuple[int, ...], seed: int) -> None:
    """MixedLM by restricted maximum likelihood: at its ratio, coefficients, errors and scatter are ours."""
    x, y, outing = outings(sizes, np.random.default_rng(seed), 0.5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.MixedLM(y, x, outing).fit(reml=True)
    ratio = math.sqrt(float(theirs.cov_re[0, 0]) / theirs.scale)
    layout = laid_out(x, outing, np.arange(len(sizes)), (0.0, ratio))
    found = Factored(layout).posterior(y)
    assert found.variance[0, 0] == pytest.approx(theirs.scale, rel=2e-4)
    assert found.mean[0, :, 0] == pytest.approx(np.asarray(theirs.fe_params), rel=1e-4, abs=1e-5)
    for k, bse in enumerate(theirs.bse_fe):
        _, scale = found.contrasts(np.eye(3)[k])
        assert scale[0, 0] == pytest.approx(float(bse), rel=0.02)  # theirs add the ratio's own doubt


@pytest.mark.parametrize("seed", range(3))
def test_the_evidence_of_ratios_is_the_restricted_likelihood_of_statsmodels(seed: int) -> None:
    """Its maximum over a fine grid of ratios lies where MixedLM finds it."""
    x, y, outing = outings((4,) * 8, np.random.default_rng(seed), 0.5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.MixedLM(y, x, outing).fit(reml=True)
    ratio = math.sqrt(float(theirs.cov_re[0, 0]) / theirs.scale)
    values = tuple(np.linspace(0.2, 3.0, 561).tolist())
    axes = {OUTING: fixed_axis(), DAY: Axis(values=values, log_prior=(0.0,) * len(values))}
    layout = DesignLayout(x=x, outing=outing, day=np.arange(8), blocks=(), axes=axes)
    found = Factored(layout).posterior(y)
    assert values[found.likeliest] == pytest.approx(ratio, abs=0.006)


def test_nested_days_agree_with_the_dense_model() -> None:
    """Coefficients, their covariance and the evidence against the covariance matrix itself."""
    rng = np.random.default_rng(3)
    outing = np.repeat(np.arange(7), (3, 1, 4, 2, 2, 5, 3))
    day = np.array([0, 0, 1, 1, 1, 2, 3])
    x = np.column_stack([np.ones(outing.size), outing % 2, rng.normal(size=outing.size)])
    y = rng.normal(25.0, 0.4, outing.size)
    block = Block(columns=slice(2, 3), axis=None)
    axes = {
        OUTING: Axis(values=(0.3, 1.1), log_prior=(0.0, 0.0)),
        DAY: Axis(values=(0.0, 0.8), log_prior=(0.0, 0.0)),
    }
    found = Factored(DesignLayout(x=x, outing=outing, day=day, blocks=(block,), axes=axes)).posterior(y)
    grid = found.factored.grid
    evidence = []
    for point in range(4):
        r, d = grid.ratios[OUTING][point], grid.ratios[DAY][point]
        same_outing = outing[:, None] == outing
        same_day = day[outing][:, None] == day[outing]
        v = np.eye(outing.size) + r**2 * same_outing + d**2 * same_day
        inverse = np.linalg.inv(v)
        precision = x.T @ inverse @ x + np.diag([0.0, 0.0, 1.0])
        mean = np.linalg.solve(precision, x.T @ inverse @ y)
        left = y @ inverse @ y - mean @ x.T @ inverse @ y
        assert found.mean[point, :, 0] == pytest.approx(mean, rel=1e-6, abs=1e-8)
        assert found.factored.covariance[point] == pytest.approx(np.linalg.inv(precision), rel=1e-6, abs=1e-9)
        df = outing.size - 2
        assert found.variance[point, 0] == pytest.approx(left / df, rel=1e-5)
        log_det = np.linalg.slogdet(v)[1] + np.linalg.slogdet(precision)[1]
        evidence.append(-0.5 * log_det - 0.5 * df * math.log(left))
    ours = found.log_weight[:, 0]
    assert ours - ours[0] == pytest.approx(np.array(evidence) - evidence[0], abs=1e-5)


def test_balanced_outings_give_the_t_test_over_their_means() -> None:
    """With one figure for each outing's mean the interval is the t-test's, whatever the ratio."""
    rng = np.random.default_rng(4)
    y = rng.normal(24.0, 0.4, 8)
    outing = np.arange(8)
    x = np.column_stack([np.ones(8), outing % 2])
    found = Factored(laid_out(x, outing, outing, (0.0, 1.3))).posterior(y).contrast(np.array([0.0, 1.0]))
    theirs = ttest_ind(y[1::2], y[0::2]).confidence_interval(0.95)
    assert found.quantile(0.025) == pytest.approx(theirs.low, rel=1e-6)
    assert found.quantile(0.975) == pytest.approx(theirs.high, rel=1e-6)


def test_sheets_in_turn_give_the_paired_t_test() -> None:
    """Both sheets on each of seven days that differ without limit: the paired t-test."""
    rng = np.random.default_rng(5)
    days = rng.normal(0.0, 5.0, 7)
    first, second = days + rng.normal(24.0, 0.3, 7), days + rng.normal(24.4, 0.3, 7)
    y = np.concatenate([first, second])
    x = np.column_stack([np.repeat([1.0, 0.0], 7), np.repeat([0.0, 1.0], 7)])
    layout = laid_out(x, np.arange(14), np.tile(np.arange(7), 2), (0.0, 1e4))
    found = Factored(layout).posterior(y)
    middle, scale = found.contrasts(np.array([-1.0, 1.0]))
    theirs = ttest_rel(second, first)
    assert middle[0, 0] == pytest.approx(float((second - first).mean()), rel=1e-4)
    # The days' six degrees of freedom are the model's to judge days by, the other six judge the scatter.
    assert scale[0, 0] * math.sqrt(layout.df / 6.0) == pytest.approx(
        middle[0, 0] / theirs.statistic, rel=1e-3
    )


def test_a_slope_with_a_noisy_regressor_is_not_drawn_to_zero() -> None:
    """Carroll et al. 2006, chapter 3: the naive slope is low by the reliability, the calibrated is not."""
    rng = np.random.default_rng(6)
    naive, calibrated = [], []
    for _ in range(200):
        outing = np.repeat(np.arange(12), 4)
        order = np.tile(np.arange(4.0), 12)
        group = (np.arange(12) % 2)[outing]
        true = 25.0 + rng.normal(0.0, 0.15, 12)[outing] - 0.1 * order
        logged = true + rng.normal(0.0, 0.15, true.size)
        y = 1.2 * true + rng.normal(0.0, 0.05, true.size)
        used = calibrate(logged, order, outing, group)
        naive.append(np.polyfit(logged, y, 1)[0])
        calibrated.append(np.polyfit(used.expected, y, 1)[0])
    assert np.mean(naive) < 0.85
    assert np.mean(calibrated) == pytest.approx(1.2, abs=0.06)


def test_the_walks_expansion_has_a_random_walks_variance() -> None:
    """Karhunen and Loève: of n steps the variance at the end is n, at half-way half of it."""
    day = np.arange(200)
    columns = drift_columns(day)[:, 1:]
    told = columns @ columns.T
    apart = told[199, 199] + told[0, 0] - 2.0 * told[199, 0]
    assert apart == pytest.approx(200.0, rel=0.1)
    half = told[100, 100] + told[0, 0] - 2.0 * told[100, 0]
    assert half == pytest.approx(100.0, rel=0.15)
