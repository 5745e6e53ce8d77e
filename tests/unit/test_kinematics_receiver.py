"""The receiver as the passes of a log show it: delay, low-pass, scale, corners, noise at rest."""

from __future__ import annotations

import numpy as np
import pytest
from receiver_study import CONDITIONS, track_of

from sample_logs.receivers_real import low_pass
from telemetry.analysis import analyse
from telemetry.core.frames import FloatArray
from telemetry.kinematics.corners import fit_corner, usual_corner
from telemetry.kinematics.models import ReceiverModel
from telemetry.kinematics.receiver import PassWay, fit_way, response_of
from telemetry.kinematics.rest_noise import speed_step_mps

FINE = np.arange(0.0, 16.0, 0.005)
T = np.arange(0.0, 16.0, 0.1)


def true_speed() -> FloatArray:
    """Speed of a pass: away within four seconds, flat out, throttle shut within a quarter of a second."""
    gain = np.interp(FINE, [1.0, 1.2, 5.0, 6.5, 10.0, 10.25, 12.0, 15.0], [0, 6, 5, 0, 0, -10, -5, -1])
    return np.asarray(6.0 + np.cumsum(gain) * 0.005)


def ways(
    delay_s: float, filter_s: float, scale: float = 1.0, n: int = 4, noise_m: float = 0.05
) -> list[PassWay]:
    v = true_speed()
    seen = low_pass(v, filter_s, 1, 200.0) * scale
    m = np.interp(T - delay_s, FINE, seen)
    gain = np.gradient(m, T)
    out = []
    for k in range(n):
        rng = np.random.default_rng(k)
        wander = np.cumsum(0.15 * np.sqrt(0.1) * rng.standard_normal(T.size))
        along = np.interp(T, FINE, np.cumsum(v) * 0.005) + wander + 0.05 * rng.standard_normal(T.size)
        summed = np.r_[0.0, np.cumsum(0.05 * (m[1:] + m[:-1]))]
        out.append(PassWay(T, m, gain, summed, T, along))
    return out


@pytest.mark.parametrize(
    ("delay_s", "filter_s"), [(0.0, 0.0), (0.3, 0.0), (0.5, 0.0), (0.0, 0.2), (0.0, 0.8), (0.2, 0.3)]
)
def test_delay_and_low_pass_are_found_and_their_intervals_hold(delay_s: float, filter_s: float) -> None:
    fit = fit_way(ways(delay_s, filter_s), 0.05, ReceiverModel())
    assert fit is not None
    response = response_of(fit, None, 0.1)
    root = np.array(response.root)
    sds = np.linalg.norm(root, axis=1)
    assert response.delay_s + response.filter_s == pytest.approx(delay_s + filter_s, abs=0.05)
    assert abs(response.delay_s - delay_s) < 3.0 * sds[0] + 0.06
    assert abs(response.filter_s - filter_s) < 3.0 * sds[1] + 0.06
    assert not fit.scale_free
    assert response.scale == 0.0


@pytest.mark.parametrize("scale", [0.6214, 0.97, 1.03])
def test_a_scale_that_the_positions_contradict_is_found(scale: float) -> None:
    fit = fit_way(ways(0.0, 0.0, scale), 0.05, ReceiverModel())
    assert fit is not None
    assert fit.scale_free
    assert fit.scale == pytest.approx(scale - 1.0, abs=0.01)


def test_without_positions_nothing_is_fitted_and_a_low_pass_may_be() -> None:
    assert fit_way([], 0.05, ReceiverModel()) is None
    response = response_of(None, None, 0.1)
    assert not response.checked
    assert response.common_sd_s > 0.3


@pytest.mark.parametrize(("tau_s", "low", "high"), [(0.0, 0.0, 0.12), (0.2, 0.08, 0.3), (0.6, 0.3, 1.0)])
def test_a_corner_tells_the_low_pass(tau_s: float, low: float, high: float) -> None:
    v = np.interp(T, FINE, low_pass(true_speed(), tau_s, 1, 200.0))
    noisy = v + 0.03 * np.random.default_rng(1).standard_normal(T.size)
    corner = fit_corner(T, noisy, 0.03, 10.2 + tau_s)
    assert corner is not None
    assert low <= corner.time_s <= high


def test_a_sharp_corner_bounds_what_speed_and_positions_share() -> None:
    v = np.interp(T, FINE, true_speed())
    sharp = usual_corner([c for c in [fit_corner(T, v, 0.03, 10.2)] if c])
    fit = fit_way(ways(0.0, 0.0), 0.05, ReceiverModel())
    assert response_of(fit, sharp, 0.1).low_pass_s[1] < 0.5 * response_of(fit, None, 0.1).low_pass_s[1]


def test_a_driver_who_never_lifts_shows_no_corner() -> None:
    assert fit_corner(T, np.full(T.size, 20.0), 0.03, 8.0) is None
    assert usual_corner([]) is None


@pytest.mark.parametrize("step", [1.0 / 3.6, 0.1 / 3.6, 0.5])
def test_a_printed_step_is_seen(step: float) -> None:
    v = np.round(true_speed()[::20] / step) * step
    assert speed_step_mps(v) == pytest.approx(step)


def test_three_decimals_are_no_step() -> None:
    assert speed_step_mps(np.round(true_speed()[::20] + 0.01 * np.sin(T), 3)) == 0.0


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("speed low-passed 0.4 s", "speed-filtered"),
        ("speed late 0.5 s", "speed-late"),
        ("reflections, position follows", "reflection"),
        ("phone, fused, 1 Hz", "speed-filtered"),
        ("speed only", "speed-unchecked"),
        ("positions only, 10 Hz", "speed-unchecked"),
    ],
)
def test_what_the_receiver_does_is_named_and_the_intervals_hold(name: str, code: str) -> None:
    """On the old program none was named, and most intervals of these missed the truth."""
    truth, track = track_of(7, CONDITIONS[name])
    analysis = analyse([track])
    assert code in {f.code for log in analysis.speed_logs for f in log.cleaned.findings}
    assert len(analysis.passes) == len(truth.passes)
    for p, true in zip(analysis.passes, truth.passes, strict=True):
        assert abs(p.peak_mps - true.peak_mps) <= 1.3 * p.peak_u95_mps
        assert abs(p.held_1s_mps - true.held_1s_mps) <= 1.3 * p.held_1s_u95_mps


def test_an_honest_receiver_is_told_nothing() -> None:
    for seed in (7, 8, 9):
        _, track = track_of(seed, CONDITIONS["clean 10 Hz"])
        codes = {f.code for log in analyse([track]).speed_logs for f in log.cleaned.findings}
        assert not codes & {"speed-filtered", "speed-late", "speed-scale", "speed-way-differ", "reflection"}
