"""Strut, balance and resolution against figures worked out elsewhere."""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.stats import norm

from telemetry.setup import (
    Estimate,
    Gauge,
    Part,
    Reading,
    SetupSheet,
    balance,
    balance_effect,
    detection_limit,
    restoring_move,
    strut_from_heights,
)
from telemetry.setup.balance import moved, swapped
from telemetry.setup.catalogue import ITEMS

DEPTH = ITEMS["strut_depth_mm"]


@pytest.mark.parametrize(("rise_mm", "span_mm", "angle_deg"), [(1.0, 60.0, 0.955), (0.5, 50.0, 0.573)])
def test_strut_angles(rise_mm: float, span_mm: float, angle_deg: float) -> None:
    # CHECKS.md, "Strut angle asin(h/L)" (computed there); three decimals are printed.
    found = strut_from_heights(Estimate(20.0), Estimate(20.0 + rise_mm), Estimate(span_mm))
    assert found.angle_deg.value == pytest.approx(angle_deg, abs=5e-4)


def test_pitch_from_a_ratio() -> None:
    # CHECKS.md: "45 mm prop at pitch/diameter 1.4 = 63.0 mm" (computed there).
    told = {"prop_diameter_mm": Reading(45.0), "prop_pitch_ratio": Reading(1.4)}
    sheet = SetupSheet(boat="K", name="x", readings=told)
    assert sheet.value("prop_pitch_mm") == pytest.approx(63.0)
    assert "prop_pitch_mm" not in sheet.tune
    assert sheet.edit({"prop_pitch_mm": Reading(62.0)}).value("prop_pitch_mm") == 62.0
    assert sheet.edit({"prop_pitch_ratio": None}).value("prop_pitch_mm") is None


def parts() -> list[Part]:
    # CHECKS.md, "Centre of gravity: hull 1.2 kg at 330 mm, pack 1.1 at 180, ..." (computed there).
    rows = (("hull", 1.2, 330.0), ("pack", 1.1, 180.0), ("motor", 0.45, 330.0), ("controller", 0.25, 260.0))
    return [Part(name, Estimate(mass, 0.001), Estimate(place, 1.0)) for name, mass, place in rows]


def test_centre_of_gravity() -> None:
    found = balance(parts())
    assert found.mass_kg.value == pytest.approx(3.0)
    assert found.cog_mm.value == pytest.approx(269.17, abs=5e-3)
    assert found.percent(800.0).value == pytest.approx(33.65, abs=5e-3)


def test_pack_twenty_millimetres_forward() -> None:
    after = balance(moved(parts(), "pack", 200.0))
    assert after.cog_mm.value == pytest.approx(276.5, abs=5e-3)  # CHECKS.md
    # A catamaran's usual place, 30-35 % (CHECKS.md, arrowshark.com), holds the boat of that example.
    assert 30.0 < after.percent(800.0).value < 35.0


def test_a_lighter_motor_moves_the_balance_and_the_pack_takes_it_back() -> None:
    # CHECKS.md: "a motor 60-70 g lighter moving the balance", common practice, no source: for plausibility.
    lighter = swapped(parts(), Part("motor", Estimate(0.385, 0.001), Estimate(330.0, 1.0)))
    told = balance_effect(parts(), lighter)
    # By hand: (807.5 - 0.065 x 330) / 2.935 - 807.5 / 3 = 786.05 / 2.935 - 269.1667 = -1.3469 mm.
    assert told.shift_mm.value == pytest.approx(-1.3469, abs=5e-4)
    pack = Part("pack", Estimate(1.1, 0.001), Estimate(180.0, 1.0), 150.0, 220.0)
    back = restoring_move(swapped(lighter, pack), balance(parts()).cog_mm.value)
    # 1.3469 mm x 2.935 kg / 1.1 kg = 3.594 mm forward.
    assert back.alone[0].to_mm == pytest.approx(183.594, abs=5e-3)


def test_resolution_is_rectangular() -> None:
    # JCGM 100:2008, F.2.2.1: a resolution of δx gives u = 0.29 δx (δx / √12).
    assert Gauge("any", 1.0, "mm").u("mm") == pytest.approx(0.29, abs=2e-3)
    limit = detection_limit(DEPTH, Reading(3.0, Gauge("a", 0.3, "mm")), Reading(3.0, Gauge("b", 0.4, "mm")))
    # JCGM 100, 5.1.2: u = √(0.3²/12 + 0.4²/12) = 0.5/√12; times 1.96 (G.3.3, normal; scipy has more digits).
    assert limit.u95 == pytest.approx(norm.ppf(0.975) * 0.5 / math.sqrt(12.0))


@pytest.mark.parametrize("ratio", [0.0, 0.2, 0.5, 1.0])
def test_the_bound_holds_at_least_95_percent_of_a_trapezoid(ratio: float) -> None:
    """Two rectangular errors differ by a trapezoid (JCGM 101:2008, 6.4.4); scipy gives its share."""
    a, b = 1.0, ratio
    limit = detection_limit(DEPTH, Reading(0.0, Gauge("a", a, "mm")), Reading(0.0, Gauge("b", b, "mm")))
    half, flat = (a + b) / 2.0, (a - b) / 2.0
    c, d = (half - flat) / (2 * half), (half + flat) / (2 * half)
    trapezoid = stats.trapezoid(c, d, loc=-half, scale=2 * half)
    assert trapezoid.cdf(limit.u95) - trapezoid.cdf(-limit.u95) >= 0.95
    assert limit.value <= limit.u95 * 1.3  # wide, not wasteful


def test_strut_uncertainty_against_a_simulation() -> None:
    """JCGM 101:2008, clause 7: propagation by Monte Carlo as the reference for the first-order formula."""
    inputs = [
        Estimate(20.0, 0.05),
        Estimate(21.5, 0.05),
        Estimate(60.0, 0.2),
        Estimate(24.0, 0.03),
        Estimate(25.0, 0.3),
    ]
    told = strut_from_heights(*inputs)
    rng = np.random.default_rng(4)
    front, rear, span, block, overhang = (rng.normal(i.value, i.u, 200_000) for i in inputs)
    slope = (rear - front) / span
    assert told.depth_rear_mm is not None
    assert told.depth_propeller_mm is not None
    for estimate, drawn in (
        (told.angle_deg, np.degrees(np.arcsin(slope))),
        (told.depth_rear_mm, block - rear),
        (told.depth_propeller_mm, block - rear - overhang * slope),
    ):
        assert estimate.value == pytest.approx(drawn.mean(), abs=4 * estimate.u / np.sqrt(drawn.size) + 1e-4)
        assert estimate.u == pytest.approx(drawn.std(), rel=0.01)


def test_balance_uncertainty_against_a_simulation() -> None:
    """The same for the centre of gravity, and for a shift in which both loadings share their inputs."""
    after = moved(parts(), "pack", 200.0)
    rng = np.random.default_rng(5)
    mass = np.array([rng.normal(p.mass_kg.value, p.mass_kg.u, 200_000) for p in parts()])
    place = np.array([rng.normal(p.place_mm.value, p.place_mm.u, 200_000) for p in parts()])
    elsewhere = place.copy()
    elsewhere[1] = rng.normal(200.0, 1.0, 200_000)
    before_mm = (mass * place).sum(axis=0) / mass.sum(axis=0)
    after_mm = (mass * elsewhere).sum(axis=0) / mass.sum(axis=0)
    told = balance_effect(parts(), after)
    assert told.before.cog_mm.u == pytest.approx(before_mm.std(), rel=0.01)
    assert told.after.cog_mm.u == pytest.approx(after_mm.std(), rel=0.01)
    assert told.shift_mm.u == pytest.approx((after_mm - before_mm).std(), rel=0.01)
    assert told.shift_mm.value == pytest.approx((after_mm - before_mm).mean(), abs=0.01)
