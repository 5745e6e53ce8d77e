"""The search for a line, on noise and on oscillations made here."""

import tracemalloc

import numpy as np
import pytest
from scipy.stats import binom

from telemetry.core.frames import FloatArray
from telemetry.ride.damped_sinusoid import SinusoidLikelihood
from telemetry.ride.detrend import (
    Ripple,
    _passed,
    _trend_kernel,
    aliases_hz,
    detrend,
    detrend_gain,
    even_grid,
    noise_floor,
    searched_band,
    undo_detrend,
)
from telemetry.ride.line_detector import (
    Oscillation,
    Spectrum,
    _basis,
    correlate_signals,
    detectable_amplitude,
    most_significant,
)

RATE_HZ = 10.0
T_S = np.arange(130) / RATE_HZ
BAND = (1.2, 4.5)


def ripple_of(values: FloatArray, name: str = "speed_mps"):
    ok = np.ones(T_S.size, dtype=np.bool_)
    ripple = detrend(name, T_S, values, ok, even_grid(T_S, (2.0, 10.0), 1.0 / RATE_HZ))
    assert ripple is not None
    return ripple


def search(*signals: FloatArray, chance: float = 1.0) -> Oscillation | None:
    witnesses = [Spectrum.of(ripple_of(s), BAND) for s in signals]
    return most_significant(correlate_signals(witnesses, BAND), range(len(signals)), None, chance)


def swing(f_hz: float, growth: float, amplitude: float) -> FloatArray:
    inside = (T_S >= 4.0) & (T_S <= 8.0)
    return np.where(inside, amplitude * np.exp(growth * (T_S - 6.0)), 0.0) * np.cos(2 * np.pi * f_hz * T_S)


def test_any_smooth_acceleration_leaves_no_ripple() -> None:
    cubic = 3.0 + 8.0 * T_S - 0.4 * T_S**2 + 0.02 * T_S**3
    assert np.abs(ripple_of(cubic).values).max() < 1e-9


def test_a_take_off_leaks_hardly_anything_into_the_band() -> None:
    run_up = 12.5 * (1.0 + np.tanh((T_S - 6.0) / 1.2))  # 0 to 25 m/s, at most 1 g
    band = ripple_of(run_up)
    floor = noise_floor(band, BAND)
    inside = floor.f_hz >= BAND[0]
    in_band = np.sqrt(np.sum(floor.spectrum[inside]) * floor.f_hz[1])
    assert in_band < 0.03


def test_amplitudes_pass_the_removal_of_the_slow_motion() -> None:
    assert detrend_gain(np.array([1.2, 2.0, 3.0, 4.5]), 0.1) == pytest.approx(1.0, abs=0.12)
    assert float(detrend_gain(0.3, 0.1)) < 0.05


@pytest.mark.parametrize("growth", [-0.6, 0.0, 0.6])
def test_frequency_growth_amplitude_and_span_come_back(growth: float) -> None:
    rng = np.random.default_rng(3)
    clean = swing(2.7, growth, 1.0)
    line = search(clean + rng.normal(0.0, 0.2, T_S.size), 0.5 * clean + rng.normal(0.0, 0.2, T_S.size))
    assert line is not None
    assert line.p_value < 1e-6
    assert line.is_oscillation
    assert line.frequency_hz == pytest.approx(2.7, abs=3 * line.frequency_u95_hz / 1.96)
    assert line.growth_per_s == pytest.approx(growth, abs=3 * line.growth_u95_per_s / 1.96)
    # The amplitude is that in the middle of the span found, which need not be 6 s.
    there = np.exp(growth * (line.middle_s - 6.0))
    assert [s.amplitude for s in line.shares] == pytest.approx([there, 0.5 * there], rel=0.25)
    # Where it is weak its end is hard to see.
    assert line.start_s == pytest.approx(4.0, abs=1.2 if growth > 0 else 0.5)
    assert line.end_s == pytest.approx(8.0, abs=1.2 if growth < 0 else 0.5)
    assert all(s.dominance > 0.7 for s in line.shares)


def test_noise_of_any_colour_seldom_shows_a_line() -> None:
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(60):
        white = rng.standard_normal((2, T_S.size))
        for pair in (white, np.cumsum(white, axis=1), np.diff(white, axis=1, prepend=0.0)):
            hits += search(*pair, chance=0.02) is not None
    # The chance stated is right within a factor of two: 180 searches at up to four in a hundred.
    assert hits <= binom.ppf(0.999, 180, 0.04)


def test_noise_common_to_both_signals_is_not_counted_twice() -> None:
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(100):
        common = rng.standard_normal(T_S.size)
        own = 0.3 * rng.standard_normal((2, T_S.size))
        hits += search(common + own[0], common + own[1], chance=0.02) is not None
    assert hits <= binom.ppf(0.999, 100, 0.04)


def test_a_jolt_is_no_oscillation() -> None:
    rng = np.random.default_rng(6)
    jolt = np.where(T_S > 6.0, 4.0 * np.exp(-6.0 * (T_S - 6.0)) * np.cos(2 * np.pi * 2.0 * T_S), 0.0)
    line = search(jolt + rng.normal(0.0, 0.1, T_S.size))
    assert line is None or not line.is_oscillation or line.p_value > 0.01


def test_the_amplitude_said_to_be_detectable_is_found_about_half_the_time() -> None:
    found = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        noise = rng.normal(0.0, 0.3, T_S.size)
        quiet = correlate_signals([Spectrum.of(ripple_of(noise), BAND)], BAND)
        amplitude = detectable_amplitude(quiet, 0, 0.01, 4.0)
        found += search(noise + swing(3.0, 0.0, amplitude), chance=0.01) is not None
    assert 8 <= found <= 36


@pytest.mark.parametrize(("rate_hz", "searched"), [(1.0, False), (2.0, False), (5.0, True), (10.0, True)])
def test_what_sampling_allows(rate_hz: float, searched: bool) -> None:
    band = searched_band(rate_hz)
    assert (band is not None) is searched
    if band:
        assert band[1] <= 0.9 * rate_hz / 2.0


def test_a_dropout_is_bridged_but_not_searched() -> None:
    rng = np.random.default_rng(7)
    values = swing(2.7, 0.0, 1.0) + rng.normal(0.0, 0.1, T_S.size)
    ok = ~((T_S > 5.0) & (T_S < 5.6))
    ripple = detrend("speed_mps", T_S, values, ok, even_grid(T_S, (2.0, 10.0), 0.1))
    assert ripple is not None
    assert not ripple.ok[(ripple.t_s > 5.05) & (ripple.t_s < 5.55)].any()
    assert (ripple.values[~ripple.ok] == 0.0).all()
    line = most_significant(correlate_signals([Spectrum.of(ripple, BAND)], BAND), [0])
    assert line is not None
    assert line.frequency_hz == pytest.approx(2.7, abs=0.05)


def test_aliases_stop_where_no_hull_swings() -> None:
    assert aliases_hz(3.0, 10.0) == (7.0,)
    assert aliases_hz(3.0, 25.0) == ()
    assert aliases_hz(2.0, 5.0) == (3.0, 7.0, 8.0, 12.0)


@pytest.mark.parametrize(("rate_hz", "kept"), [(50.0, True), (1000.0, False)])
def test_what_is_remembered_of_a_search_does_not_grow_with_the_density_of_logs(
    rate_hz: float, kept: bool
) -> None:
    t_s = np.arange(0.0, 8.0, 1.0 / rate_hz)
    values = np.random.default_rng(0).normal(0.0, 0.05, t_s.size)
    grid_s = even_grid(t_s, (2.0, 6.0), 1.0 / rate_hz)
    ripple = detrend("speed_mps", t_s, values, np.ones(t_s.size, dtype=np.bool_), grid_s)
    assert ripple is not None
    _basis.remembered.cache_clear()
    correlate_signals([Spectrum.of(ripple, BAND)], BAND)
    held = _basis.remembered.cache_info().currsize
    assert (held == 4) is kept  # one for each length of window


def test_a_dense_logs_spectrum_takes_memory_by_its_samples_alone() -> None:
    rate_hz = 2000.0
    t_s = np.arange(0.0, 4.0, 1.0 / rate_hz)
    values = 20.0 + np.random.default_rng(3).normal(0.0, 0.1, t_s.size)
    grid_s = even_grid(t_s, (1.0, 3.0), 1.0 / rate_hz)
    ripple = detrend("speed_mps", t_s, values, np.ones(t_s.size, dtype=np.bool_), grid_s)
    assert ripple is not None
    tracemalloc.start()
    floor = noise_floor(ripple, BAND)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 1000 * ripple.values.size
    # What the removal of the slow motion lets through is its gain at each frequency.
    few = np.array([0, 1, 7, 100, floor.f_hz.size - 1])
    passed = np.maximum(detrend_gain(floor.f_hz[few], ripple.step_s) ** 2, 1e-3)
    assert _passed(floor.f_hz.size, 2000)[few] == pytest.approx(passed, abs=1e-12)


@pytest.mark.parametrize("n", range(8, 30))
def test_what_detrending_took_comes_back_where_it_was_taken(n: int) -> None:
    step_s = 0.1
    t_s = step_s * np.arange(n)
    swing = np.cos(2.0 * np.pi * 1.4 * t_s)
    none = Ripple("speed_mps", t_s, np.zeros(n), np.ones(n, dtype=np.bool_))
    kernel = _trend_kernel(10)
    padded = np.r_[np.zeros(10), swing, np.zeros(10)]
    slow = [float(kernel @ padded[k : k + 21]) for k in range(n)]
    assert undo_detrend(none, swing).values == pytest.approx(slow, abs=1e-12)


def test_a_fit_stands_on_the_very_summit_of_the_likelihood() -> None:
    t_s = np.arange(40) * 0.1
    rng = np.random.default_rng(3)
    for f_hz, growth in ((1.7, 0.4), (2.6, -0.5), (3.9, 0.0)):
        oscillation = np.exp(growth * (t_s - 2.0)) * np.cos(2 * np.pi * f_hz * t_s + 0.4)
        values = oscillation + rng.normal(0.0, 0.3, (2, t_s.size))
        fit = SinusoidLikelihood(t_s, values, np.ones((2, t_s.size)), np.full(2, 0.09))
        found = fit.peak(0, t_s.size, f_hz + 0.1, growth - 0.3, (1.2, 4.5))
        around_hz, around = found[0] + np.linspace(-0.02, 0.02, 161), found[1] + np.linspace(-0.1, 0.1, 161)
        score = fit.explained(0, t_s.size, around_hz, around)
        k, m = np.unravel_index(int(score.argmax()), score.shape)
        # Far closer than a hundredth of what the span resolves: a quarter of a hertz, and of 1/s.
        assert found == pytest.approx((around_hz[k], around[m]), abs=0.0025)
