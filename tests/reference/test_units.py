"""Units against NIST SP 811 (2008), appendix B.8, "Factors for units listed alphabetically".

The factors are the table's printed figures, written from memory of it; those that the table sets in bold are
exact, the others are rounded there to seven digits.
"""

from __future__ import annotations

import pytest

from telemetry.core.units import (
    LENGTH_UNITS,
    MILE_M,
    NAUTICAL_MILE_M,
    SIXTEENTH_MILE_M,
    SPEED_UNITS,
    TEMPERATURE_UNITS,
)

EXACT = 1e-15
SEVEN_DIGITS = 1.1e-7


@pytest.mark.parametrize(
    ("unit", "factor", "tolerance"),
    [
        ("mph", 4.4704e-01, EXACT),  # mile per hour (mi/h) to m/s
        ("kn", 5.144444e-01, SEVEN_DIGITS),  # knot (nautical mile per hour) to m/s
        ("km/h", 2.777778e-01, SEVEN_DIGITS),  # kilometer per hour to m/s
        ("m/s", 1.0, EXACT),
    ],
)
def test_speed_factors(unit: str, factor: float, tolerance: float) -> None:
    assert SPEED_UNITS[unit].to_si(1.0) == pytest.approx(factor, rel=tolerance)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [
        ("ft", 3.048e-01),  # foot to m
        ("in", 2.54e-02),  # inch to m
        ("thou", 2.54e-05),  # mil (0.001 in) to m
        ("mm", 1e-03),
        ("m", 1.0),
    ],
)
def test_length_factors(unit: str, factor: float) -> None:
    assert LENGTH_UNITS[unit].to_si(1.0) == pytest.approx(factor, rel=EXACT)


def test_miles() -> None:
    assert MILE_M == 1.609344e03  # mile to m
    assert NAUTICAL_MILE_M == 1.852e03  # mile, nautical, to m
    sixteenth_mile_m = SIXTEENTH_MILE_M
    assert sixteenth_mile_m == pytest.approx(330 * 0.3048, rel=EXACT)  # 1/16 mile is 330 ft


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # t/°C = (t/°F - 32)/1.8; the fixed points of the two scales.
    [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0), (122.0, 50.0)],
)
def test_fahrenheit(fahrenheit: float, celsius: float) -> None:
    assert TEMPERATURE_UNITS["°F"].to_si(fahrenheit) == pytest.approx(celsius, abs=1e-12)
    assert TEMPERATURE_UNITS["°F"].from_si(celsius) == pytest.approx(fahrenheit, abs=1e-12)


@pytest.mark.parametrize(
    ("time_s", "mph"),
    # 330 ft in a time, worked by hand from 3600/16 = 225: mph = 225/t.
    [(2.250, 100.000), (1.999, 112.556), (1.948, 115.503)],
)
def test_sixteenth_mile_times(time_s: float, mph: float) -> None:
    assert SPEED_UNITS["mph"].from_si(330 * 0.3048 / time_s) == pytest.approx(mph, abs=5e-4)
