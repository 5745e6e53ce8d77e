"""The model that ties a motor log to a speed log, on forces and corners that are made here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from telemetry.core.frames import FloatArray, LogMeta, make_motor_log
from telemetry.motor.sync.clock import _settled
from telemetry.motor.sync.drive_signal import choose_drive_signal
from telemetry.motor.sync.speed_steps import SpeedSteps, integrate_drive
from telemetry.motor.sync.surge_model import SurgeProblem, _freed

TOP_MPS = 25.0
A, B, DRAG = 60.0, 35.0, 25.0


def shaft(t_s: FloatArray) -> FloatArray:
    """Idle, a ramp of two seconds, full, and off at once, four times over."""
    since = np.asarray(t_s) % 29.7  # so that each run meets the samples elsewhere
    return np.where(
        since < 5.0, 0.3, np.where(since < 15.37, np.clip(0.3 + 0.35 * (since - 5.0), 0.0, 1.0), 0.3)
    )


def run(step_s: float) -> tuple[SurgeProblem, FloatArray]:
    """A hull of exactly the model's form, sampled without noise every ``step_s``."""
    t = np.arange(0.0, 120.0, step_s)

    def pull(at: float, v: FloatArray) -> FloatArray:
        u = float(shaft(np.array(at)))
        return (A * u**2 - B * u * v - DRAG * v**2) / TOP_MPS

    told = solve_ivp(pull, (0.0, 120.0), [0.3], t_eval=t, max_step=0.01, rtol=1e-8, atol=1e-10)
    v = told.y[0]
    parts = max(1, round(step_s / 0.05))
    node_s = t[:-1, None] + step_s * np.linspace(0.0, 1.0, parts + 1)
    increments = SpeedSteps(
        start_s=t[:-1],
        end_s=t[1:],
        rise_mps=np.diff(v) * TOP_MPS,
        node_s=node_s,
        node_speed=np.interp(node_s, t, v),
        joined=np.ones(t.size - 2, dtype=np.int64),
        top_mps=TOP_MPS,
        noise_var=1e-4,
        loose=np.ones(t.size - 1),
    )
    motor_s = np.arange(0.0, 120.0, 0.02)
    return SurgeProblem(increments, integrate_drive(motor_s, shaft(motor_s))), t


def settled_s(problem: SurgeProblem, rounds: int) -> float:
    """Where the offset settles, from 0.1 s beside the truth, which is nought."""
    rest_s, drift = 0.1, 0.0
    for _ in range(rounds):
        found = _settled(problem, rest_s, drift)
        assert found is not None
        fit = found[0]
        rest_s, drift = fit.rest_s, fit.drift
        problem = problem.following(fit)
    return rest_s


def test_a_speed_that_follows_the_forces_places_a_corner_inside_a_slow_logs_second() -> None:
    problem, _ = run(1.0)
    assert abs(settled_s(problem, 1)) > 0.1  # along a straight line between the samples
    assert abs(settled_s(problem, 8)) < 0.02


@pytest.mark.parametrize("step_s", [0.1, 0.2])
def test_a_quick_log_settles_at_the_truth(step_s: float) -> None:
    assert abs(settled_s(run(step_s)[0], 3)) < 0.01


def test_the_path_between_samples_keeps_to_both() -> None:
    problem, _ = run(1.0)
    fit = problem.at(0.0, 0.0)
    assert fit is not None
    path = problem.following(fit).inc.node_speed
    before = problem.inc.node_speed
    np.testing.assert_allclose(path[:, [0, -1]], before[:, [0, -1]], atol=1e-9)
    assert np.abs(path - before).max() > 0.01


def test_a_place_that_is_loosened_already_is_no_odd_one_anew() -> None:
    """A tumble that the speeds themselves showed neither uses up a place nor spreads further."""
    problem, t = run(0.1)
    rise, loose = problem.inc.rise_mps.copy(), problem.inc.loose.copy()
    tumble, jolts = 250, (600, 900)
    loose[tumble - 5 : tumble + 5] = 1e6
    rise[[tumble, *jolts]] -= 8.0
    inc = replace(problem.inc, rise_mps=rise, loose=loose)
    fit = SurgeProblem(inc, problem.drive).at(0.0, 0.0)
    assert fit is not None
    told = SurgeProblem(inc, problem.drive).without_outliers(fit).inc.loose
    at_s = t[:-1]
    near = np.any([np.abs(at_s - at_s[k]) < 0.45 for k in jolts], axis=0)
    assert (told[near] > 1.0).all()
    around = np.abs(at_s - at_s[tumble]) < 2.0
    np.testing.assert_array_equal(told[around], loose[around])


def test_clusters_that_share_the_fit_evenly_are_freed_by_the_root_of_what_is_left() -> None:
    rng = np.random.default_rng(4)
    columns = rng.standard_normal((40, 3))
    normal = columns.T @ columns
    scores = rng.standard_normal((4, 3))
    even = np.repeat(normal[None] / 4.0, 4, axis=0)
    np.testing.assert_allclose(_freed(normal, even, scores), scores / np.sqrt(0.75), rtol=1e-9)
    nothing = np.zeros((4, 3, 3))
    np.testing.assert_allclose(_freed(normal, nothing, scores), scores, rtol=1e-9)


@pytest.mark.parametrize(
    ("column", "power"), [("rpm", 1.0), ("current_a", 1.0 / 3.0), ("throttle_pct", 0.85)]
)
def test_each_quantity_stands_for_the_shaft_by_its_power(column: str, power: float) -> None:
    t = np.arange(0.0, 60.0, 0.05)
    values = 90.0 * (0.01 + np.clip(np.sin(t), 0.0, None))
    log = make_motor_log({column: values}, t, LogMeta("made.csv", "table"))
    chosen = choose_drive_signal(log)
    assert chosen is not None
    assert chosen[0].power == power
    ratio = values[40] / values[10]
    assert chosen[1].value[40] / chosen[1].value[10] == pytest.approx(ratio**power, rel=1e-6)
