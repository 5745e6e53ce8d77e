"""How two speeds become one figure, and how it is printed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telemetry.core.units import MPH_MPS
from telemetry.twoway.mean import (
    average_of,
    gate_speed_u_mps,
    mean_of_speeds,
    mean_of_times,
    printed_figure,
    sensitivities,
)
from telemetry.twoway.rules import load_rule

WATER = load_rule("water")


@pytest.mark.parametrize(("v1", "v2"), [(25.0, 24.0), (60.0, 30.0), (40.0, 40.0)])
def test_the_means_differ_by_the_square_of_the_difference(v1: float, v2: float) -> None:
    lower = mean_of_speeds(v1, v2) - mean_of_times(v1, v2)
    assert lower == pytest.approx((v1 - v2) ** 2 / (2 * (v1 + v2)), abs=1e-12)


def test_a_mean_of_times_is_the_distance_over_the_mean_time() -> None:
    distance = 100.584
    t1, t2 = 2.2, 2.6
    assert mean_of_times(distance / t1, distance / t2) == pytest.approx(distance / ((t1 + t2) / 2))


@pytest.mark.parametrize("mean", ["of speeds", "of times"])
def test_the_sensitivities_are_the_slopes_of_the_mean(mean: str) -> None:
    v1, v2, d = 31.0, 27.0, 1e-5
    c1, c2 = sensitivities(mean, v1, v2)
    assert c1 == pytest.approx(
        (average_of(mean, v1 + d, v2) - average_of(mean, v1 - d, v2)) / (2 * d), rel=1e-6
    )
    assert c2 == pytest.approx(
        (average_of(mean, v1, v2 + d) - average_of(mean, v1, v2 - d)) / (2 * d), rel=1e-6
    )


def test_errors_of_distance_and_time_add_in_squares() -> None:
    both = gate_speed_u_mps(100.0, 4.0, 0.003, 0.05)
    time_only, distance_only = gate_speed_u_mps(100.0, 4.0, 0.003), gate_speed_u_mps(100.0, 4.0, 0.0, 0.05)
    assert time_only == pytest.approx(25.0 * 0.003 / 4.0)
    assert distance_only == pytest.approx(25.0 * 0.05 / 100.0)
    assert both**2 == pytest.approx(time_only**2 + distance_only**2)


@pytest.mark.parametrize(
    ("mph", "rounding", "decimals", "printed"),
    [
        (178.4985, "down", 3, "178.498 mph"),
        (178.4985, "nearest", 3, "178.499 mph"),
        (100.0, "down", 3, "100.000 mph"),  # a cut must not fall to 99.999 for the last bit of a float
        (99.96, "nearest", 1, "100.0 mph"),
        (99.96, "down", 0, "99 mph"),
    ],
)
def test_a_figure_is_cut_or_rounded_as_the_rule_says(
    mph: float, rounding: str, decimals: int, printed: str
) -> None:
    rule = replace(WATER, rounding=rounding, decimals=decimals)
    assert printed_figure(mph * MPH_MPS, rule) == printed


def test_the_rule_names_the_unit() -> None:
    assert printed_figure(10.0, replace(WATER, unit="km/h", decimals=1)) == "36.0 km/h"
