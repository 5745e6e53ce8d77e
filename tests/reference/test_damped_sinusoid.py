"""Intervals of frequency and growth, in noise whose level is known exactly.

Reference: the definition of a 95 % interval (JCGM 100, 6.2); the truth is drawn here, not by the simulator.
"""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.ride.damped_sinusoid import SinusoidLikelihood, most_growth

TRIALS = 120


def one_trial(
    rng: np.random.Generator, rate_hz: float, fade_cycles: float, amplitude: float
) -> tuple[float, float]:
    """Errors of frequency and growth in units of their stated standard deviations."""
    t_s = np.arange(0.0, 10.0, 1.0 / rate_hz)
    f_hz = rng.uniform(1.5, min(0.42 * rate_hz, 6.0))
    growth = rng.uniform(-0.8, 0.8)
    span_s = max(rng.uniform(2.8, 4.0), 6.0 / f_hz)
    start_s = rng.uniform(1.0, 9.0 - span_s)
    since = t_s - start_s
    edge_s = max(fade_cycles / f_hz, 1e-9)
    fade = np.sin(0.5 * np.pi * np.clip(np.minimum(since, span_s - since) / edge_s, 0.0, 1.0)) ** 2
    envelope = amplitude * fade * np.exp(growth * (since - 0.5 * span_s))
    phase = rng.uniform(0.0, 2.0 * np.pi, 2)[:, None]
    # White noise with a standard deviation of one in the octave about the line.
    variance = 0.5 * rate_hz / (f_hz * (np.sqrt(2.0) - np.sqrt(0.5)))
    values = envelope * np.cos(2.0 * np.pi * f_hz * since + phase)
    values += rng.normal(0.0, np.sqrt(variance), values.shape)
    fit = SinusoidLikelihood(t_s, values, np.ones_like(values), np.full(2, variance))
    a, b = (int(np.searchsorted(t_s, x)) for x in (start_s, start_s + span_s))
    likeliest = (f_hz, growth)
    for _ in range(3):
        likeliest = fit.peak(a, b, *likeliest, (1.2, 0.45 * rate_hz))
        a, b = fit.span(a, b, *likeliest)
    known = fit.sure(a, b, *likeliest, sd=0.36 / amplitude)
    return (known.f_hz - f_hz) / known.f_sd_hz, (known.growth_per_s - growth) / known.growth_sd_per_s


@pytest.mark.parametrize("amplitude", [3.0, 12.0])
@pytest.mark.parametrize("fade_cycles", [0.0, 0.4, 0.75])
def test_intervals_cover_whether_an_oscillation_sets_in_at_once_or_slowly(
    fade_cycles: float, amplitude: float
) -> None:
    rng = np.random.default_rng(20261125)
    errors = np.abs([one_trial(rng, 10.0, fade_cycles, amplitude) for _ in range(TRIALS)])
    covered = np.mean(errors <= 1.96, axis=0)
    # Three standard deviations of a share of 0.95 in 120 trials are 0.06.
    assert np.all(covered >= 0.89), covered
    # Nor are the intervals idle: errors fill them.
    assert np.all(np.sqrt(np.mean(errors**2, axis=0)) >= 0.7)


def test_less_is_known_where_the_noise_itself_is_an_estimate() -> None:
    rng = np.random.default_rng(3)
    t_s = np.arange(0.0, 8.0, 0.1)
    wave = np.where((t_s > 2) & (t_s < 5.5), np.cos(2 * np.pi * 2.5 * t_s), 0.0)
    values = wave + rng.normal(0.0, 0.8, (1, t_s.size))
    ok, variance = np.ones_like(values), np.array([0.64])
    sharp = SinusoidLikelihood(t_s, values, ok, variance).sure(20, 55, 2.5, 0.0, 0.2)
    vague = SinusoidLikelihood(t_s, values, ok, variance, cells=4.0).sure(20, 55, 2.5, 0.0, 0.2)
    assert vague.growth_sd_per_s > sharp.growth_sd_per_s
    assert vague.f_sd_hz > sharp.f_sd_hz


def test_growth_stays_within_an_oscillations_own() -> None:
    assert most_growth(2.0) == pytest.approx(1.0)
    assert most_growth(9.0) == pytest.approx(2.5)
