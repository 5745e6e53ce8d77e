from dataclasses import replace
from itertools import pairwise

import analysis_fixture as made
import numpy as np
import pytest

from dashboard.features.run.power_figure import ROW_POINTS, power_time
from dashboard.ui.palette import DARK, LIGHT, with_alpha
from telemetry.core.frames import LogMeta, make_motor_log
from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS
from telemetry.motor.channels import Channels, channels
from telemetry.motor.sync.clock import MotorClock

MPH, FAHRENHEIT = SPEED_UNITS["mph"], TEMPERATURE_UNITS["°F"]
CLOCK = MotorClock(
    offset_s=-5.0,
    drift_ppm=0.0,
    u95_s=0.02,
    method="rpm against speed",
    trusted=True,
    why="",
    start_s=0.0,
    end_s=115.0,
)


def motor(samples: int = 3000, *columns: str) -> Channels:
    t_s = np.arange(samples) / 25.0
    whole = {
        "rpm": 30000.0 + 10.0 * np.sin(t_s),
        "current_a": 100.0 + np.cos(t_s),
        "voltage_v": 22.0 + 0.1 * np.sin(3 * t_s),
        "motor_temp_c": 40.0 + 0.1 * t_s,
        "esc_temp_c": 35.0 + 0.05 * t_s,
    }
    chosen = {name: whole[name] for name in (columns or whole)}
    return channels(make_motor_log(chosen, t_s, LogMeta("motor.csv", "table")))


def drawn(told: Channels, clock: MotorClock = CLOCK, palette=LIGHT):
    return power_time(made.analysis(), 0, told, clock, MPH, FAHRENHEIT, palette)


def named(figure, name):
    return next(trace for trace in figure.data if trace.name == name)


def test_every_quantity_has_a_row_on_one_time_axis() -> None:
    figure = drawn(motor())
    assert [t.name for t in figure.data] == ["speed", "shaft", "current", "pack", "motor", "controller"]
    assert [t.yaxis for t in figure.data] == ["y", "y2", "y3", "y4", "y5", "y5"]
    assert {t.xaxis for t in figure.data} == {None}
    domains = [figure.layout[f"yaxis{n}"].domain for n in ("", 2, 3, 4, 5)]
    assert domains[0][1] == 1.0
    assert all(lower[1] < upper[0] for upper, lower in pairwise(domains))
    assert domains[-1][0] == pytest.approx(0.0, abs=1e-9)
    assert figure.layout.xaxis.anchor == "y5"


def test_motor_times_stand_on_the_speed_logs_clock() -> None:
    figure = drawn(motor())
    start_ms = made.START.timestamp() * 1000.0
    assert named(figure, "speed").x[0] == start_ms
    assert named(figure, "shaft").x[0] == pytest.approx(start_ms - 5000.0)


def test_units_are_the_users() -> None:
    figure = drawn(motor())
    assert max(named(figure, "speed").y) == pytest.approx(30.0 / 0.44704)
    assert named(figure, "motor").y[0] == pytest.approx(104.0)
    assert figure.layout.yaxis5.title.text == "Temperature [°F]"
    assert named(figure, "shaft").y.max() == pytest.approx(30.01, abs=0.01)


def test_what_was_not_logged_takes_no_room() -> None:
    figure = drawn(motor(3000, "current_a"))
    assert [t.name for t in figure.data] == ["speed", "current"]
    assert figure.layout.yaxis2.title.text == "Current [A]"
    assert figure.layout.height < drawn(motor()).layout.height


def test_passes_are_shaded_through_all_rows_by_direction() -> None:
    figure = drawn(motor(), palette=DARK)
    assert [s.yref for s in figure.layout.shapes] == ["paper", "paper"]
    assert figure.layout.shapes[0].fillcolor == with_alpha(DARK.out, 0.13)
    assert figure.layout.shapes[1].fillcolor == with_alpha(DARK.back, 0.13)
    assert [a.text for a in figure.layout.annotations] == ["<b>P1</b> →", "<b>P2</b> ←"]


def test_motor_and_controller_differ_by_more_than_colour() -> None:
    figure = drawn(motor())
    assert named(figure, "motor").line.dash != named(figure, "controller").line.dash


def test_a_long_log_is_thinned_with_its_peaks() -> None:
    told = motor(200_000)
    assert told.current_a is not None
    current = told.current_a.copy()
    current[123_456] = 250.0
    figure = drawn(replace(told, current_a=current))
    shown = named(figure, "current").y
    assert shown.size <= 2 * ROW_POINTS
    assert shown.max() == 250.0


def test_an_untrusted_clock_shows_why_and_nothing_else() -> None:
    figure = drawn(motor(), replace(CLOCK, trusted=False, why="it is of another outing"))
    assert len(figure.data) == 0
    assert "another outing" in figure.layout.annotations[0].text
