"""Ride: published numbers, and scipy and statsmodels as references for what is computed here."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import signal, stats

from telemetry.ride.detrend import aliases_hz, detrend, even_grid, noise_coherency, noise_floor, spectrum
from telemetry.ride.judge import log_decrement
from telemetry.ride.line_detector import (
    Spectrum,
    _log_p,
    _rounded,
    _standard_error,
    correlate_signals,
    most_significant,
)

RATE_HZ = 10.0
T_S = np.arange(1200) / RATE_HZ
BAND = (1.2, 4.5)


def ripple_of(values: np.ndarray, end_s: float = 118.0):
    ok = np.ones(T_S.size, dtype=np.bool_)
    ripple = detrend("speed_mps", T_S, values, ok, even_grid(T_S, (2.0, end_s), 0.1))
    assert ripple is not None
    return ripple


@pytest.mark.parametrize(
    ("first", "last", "cycles", "decrement", "damping"),
    [(2.0, 1.0, 4.0, 0.173, 0.0276), (1.0, 2.0, 3.0, -0.231, -0.0367)],
)
def test_logarithmic_decrement(
    first: float, last: float, cycles: float, decrement: float, damping: float
) -> None:
    # d = ln(x0 / xn) / n, damping = d / sqrt(4 pi² + d²): any handbook of vibration; numbers worked by hand.
    assert log_decrement(first, last, cycles) == pytest.approx((decrement, damping), abs=6e-4)


def test_a_fitted_growth_rate_is_the_logarithmic_decrement() -> None:
    # Peaks 2 to 1 in 4 cycles at 2.5 Hz: the decrement 0.173 a cycle is a growth of -0.433 a second.
    growth = -2.5 * np.log(2.0) / 4.0
    inside = (T_S >= 4.0) & (T_S < 8.0)
    swing = np.where(inside, np.exp(growth * (T_S - 4.0)), 0.0) * np.cos(2 * np.pi * 2.5 * (T_S - 4.0))
    noise = np.random.default_rng(1).normal(0.0, 0.01, T_S.size)
    line = most_significant(correlate_signals([Spectrum.of(ripple_of(swing + noise, 12.0), BAND)], BAND), [0])
    assert line is not None
    decrement, _ = log_decrement(2.0, 1.0, 4.0)
    assert -line.growth_per_s / line.frequency_hz == pytest.approx(decrement, rel=0.05)


@pytest.mark.parametrize(("true_hz", "apparent_hz"), [(6.0, 4.0), (7.5, 2.5), (9.0, 1.0)])
def test_aliases_at_ten_hertz(true_hz: float, apparent_hz: float) -> None:
    # Shannon 1949: folding about half the sampling rate. The samples themselves are the proof.
    n = np.arange(50)
    assert np.cos(2 * np.pi * true_hz * n / 10.0) == pytest.approx(np.cos(2 * np.pi * apparent_hz * n / 10.0))
    assert true_hz in aliases_hz(apparent_hz, 10.0)


def test_the_search_covers_froude_scaled_hulls() -> None:
    # Froude: times scale with the root of the length. A 10 m planing craft that porpoises at 0.8 Hz (in the
    # range of full-size craft, from memory) makes a hull of 0.85 m one at 2.7 Hz, inside a 10 Hz log's band.
    model_hz = 0.8 * np.sqrt(10.0 / 0.85)
    assert model_hz == pytest.approx(2.744, abs=0.001)
    assert BAND[0] < model_hz < BAND[1]


def test_the_spectrum_agrees_with_welch() -> None:
    rng = np.random.default_rng(2)
    noise = signal.lfilter([1.0], [1.0, -0.5], rng.standard_normal(T_S.size))
    ripple = ripple_of(noise)
    f, density, _ = spectrum(ripple)
    f_welch, welch = signal.welch(ripple.values, RATE_HZ, nperseg=128)
    for low, high in ((1.2, 2.2), (2.2, 3.3), (3.3, 4.5)):
        ours = density[(f >= low) & (f < high)].mean()
        theirs = welch[(f_welch >= low) & (f_welch < high)].mean()
        assert ours == pytest.approx(theirs, rel=0.08)
    assert np.trapezoid(density, f) == pytest.approx(np.var(ripple.values), rel=0.02)  # Parseval


def test_the_coherency_agrees_with_scipys_coherence() -> None:
    rng = np.random.default_rng(3)
    common = rng.standard_normal(T_S.size)
    a, b = (ripple_of(0.8 * common + 0.6 * rng.standard_normal(T_S.size)) for _ in range(2))
    floors = [noise_floor(r, BAND) for r in (a, b)]
    ours = np.abs(noise_coherency(floors[0], floors[1], BAND)) ** 2
    f, theirs = signal.coherence(a.values, b.values, RATE_HZ, nperseg=128)
    inside, f_ours = (f > 1.5) & (f < 4.3), floors[0].f_hz
    assert ours[(f_ours > 1.5) & (f_ours < 4.3)].mean() == pytest.approx(theirs[inside].mean(), abs=0.06)


@pytest.mark.parametrize("signals", [1, 2])
def test_the_chance_of_a_score_is_hotellings_by_scipys_f(signals: int) -> None:
    # Giri 1965: T² (cells - p + 1) / (cells p) follows F(2 p, 2 (cells - p + 1)) for complex data.
    for cells in (4.0, 9.5, 30.0):
        left = cells - signals + 1
        for score in (0.5, 5.0, 40.0):
            expected = stats.f.logsf(score * left / (cells * signals), 2 * signals, 2 * left)
            assert float(_log_p(np.array(score), signals, np.array(cells))) == pytest.approx(
                expected, rel=1e-9
            )


def test_standard_errors_are_those_of_a_linearised_regression() -> None:
    # statsmodels' least squares on the model's derivatives at the truth gives the same Cramér-Rao bound.
    t = np.arange(-1.6, 1.6, 0.01)
    omega, growth, a, b, sd = 2 * np.pi * 3.0, 0.5, 0.7, -0.3, 0.2
    envelope, c, s = np.exp(growth * t), np.cos(omega * t), np.sin(omega * t)
    model = envelope * (a * c + b * s)
    jacobian = np.column_stack([envelope * c, envelope * s, t * model, t * envelope * (b * c - a * s)])
    covariance = np.asarray(sm.OLS(model, jacobian).fit().normalized_cov_params) * sd**2
    score = (a * a + b * b) * np.sum(envelope**2) / (4.0 * sd**2)
    ours = _standard_error(t, growth, score)
    assert np.sqrt(covariance[2, 2]) == pytest.approx(ours, rel=0.02)
    assert np.sqrt(covariance[3, 3]) == pytest.approx(ours, rel=0.02)


@pytest.mark.parametrize("width", [8, 9, 40, 101])
def test_the_window_of_the_search_is_scipys_tukey_window(width: int) -> None:
    np.testing.assert_allclose(_rounded(width), signal.windows.tukey(width, 0.5), atol=1e-15)
