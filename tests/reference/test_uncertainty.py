"""Uncertainties against the worked relations of the guide (JCGM 100:2008)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from study import Study, study

from telemetry.passes.measure import averaging_factor
from telemetry.twoway.mean import gate_speed_u_mps, sensitivities


def test_light_gates_over_330_ft() -> None:
    # v = D / t with D = 100.584 ± 0.02 m and t = 2.250 ± 0.001 s, both standard uncertainties; 44.704 m/s
    # with an expanded uncertainty (k = 2) of 0.044 m/s by JCGM 100, 5.1.2, relative form.
    u = gate_speed_u_mps(100.584, 2.250, 0.001, 0.02)
    speed_mps = 100.584 / 2.250
    assert speed_mps == pytest.approx(44.704, abs=5e-4)
    assert 2.0 * u == pytest.approx(0.044, abs=0.0005)


def test_sensitivities_are_the_slopes_of_the_mean() -> None:
    # JCGM 100, 5.1.3: by finite differences.
    v1, v2, h = 40.0, 46.0, 1e-4
    for mean, average in (
        ("of speeds", lambda a, b: (a + b) / 2.0),
        ("of times", lambda a, b: 2.0 / (1.0 / a + 1.0 / b)),
    ):
        expected = (
            (average(v1 + h, v2) - average(v1 - h, v2)) / (2 * h),
            (average(v1, v2 + h) - average(v1, v2 - h)) / (2 * h),
        )
        assert sensitivities(mean, v1, v2) == pytest.approx(expected, rel=1e-6)  # type: ignore[arg-type]


@pytest.mark.parametrize(("span_s", "tau_s"), [(1.0, 8.0), (5.0, 2.0), (20.0, 8.0)])
def test_averaging_a_wandering_error(span_s: float, tau_s: float) -> None:
    # The double integral of exp(-|t - s| / tau) over the span, numerically.
    t = np.linspace(0.0, span_s, 801)
    kernel = np.exp(-np.abs(t[:, None] - t[None, :]) / tau_s)
    expected = np.trapezoid(np.trapezoid(kernel, t, axis=1), t) / span_s**2
    assert averaging_factor(span_s, tau_s) == pytest.approx(expected, rel=1e-4)


@pytest.fixture(scope="module")
def short_study() -> Study:
    return study(10.0, range(5000, 5030))


def test_no_pass_missed_none_invented_no_spike_a_peak(short_study: Study) -> None:
    assert (short_study.missed, short_study.invented, short_study.spikes_as_peak) == (0, 0, 0)


@pytest.mark.parametrize(
    ("name", "rmse_mps"),
    [("peak", 0.12), ("held 1 s", 0.12), ("best 330 ft", 0.08), ("two-way, given gates", 0.05)],
)
def test_errors_stay_small_and_intervals_hold_them(short_study: Study, name: str, rmse_mps: float) -> None:
    figure = short_study.figures[name]
    assert figure.rmse <= rmse_mps
    # Passes of one outing share errors: with 30 outings of 4 as few as 30 independent trials stand behind the
    # share. It must not be so low that a true 95 % would give it less than once in a thousand.
    least = stats.binom.ppf(0.001, 30, 0.95) / 30
    assert figure.coverage >= least
