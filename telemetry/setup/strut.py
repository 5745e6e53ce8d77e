"""Compute strut angle and depth from two heights over a base.

The hull stands with its ride surfaces on blocks of one height on a flat base. The height of one edge of the
strut over the base is measured at two points, front and rear, a known distance apart along the strut; the
propeller is a known distance behind the rear point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from telemetry.core.errors import SetupError
from telemetry.setup.estimate import Estimate
from telemetry.setup.gauges import CALIPER, RULE, Gauge, Reading


@dataclass(frozen=True, slots=True)
class StrutGeometry:
    """A strut's geometry from two heights.

    Attributes
    ----------
    angle_deg : Estimate
        Positive when the propeller end is the higher end [deg].
    depth_rear_mm, depth_propeller_mm : Estimate or None
        Below the ride surfaces, positive below [mm]; None if the blocks, or the distance to the propeller,
        are not given.
    """

    angle_deg: Estimate
    depth_rear_mm: Estimate | None
    depth_propeller_mm: Estimate | None

    @property
    def attitude(self) -> str:
        """Which end is higher, within the gauges' resolution."""
        if abs(self.angle_deg.value) <= self.angle_deg.u95:
            return "level within the gauges' resolution"
        return f"the propeller end is the {'higher' if self.angle_deg.value > 0 else 'lower'} end"


def strut_from_heights(
    front_mm: Estimate,
    rear_mm: Estimate,
    span_mm: Estimate,
    block_mm: Estimate | None = None,
    overhang_mm: Estimate | None = None,
) -> StrutGeometry:
    """Compute a strut's angle and depth from two heights.

    Parameters
    ----------
    front_mm, rear_mm : Estimate
        Heights over the base of the same edge of the strut, at its front and at its rear [mm].
    span_mm : Estimate
        Distance between the two points along the strut [mm].
    block_mm : Estimate, optional
        Height of the ride surfaces over the base [mm].
    overhang_mm : Estimate, optional
        From the rear point to the propeller along the strut, positive towards the propeller [mm].

    Returns
    -------
    StrutGeometry
        With uncertainties from those of the inputs.

    Raises
    ------
    SetupError
        If the span is not positive or shorter than the heights differ.

    References
    ----------
    JCGM 100:2008, 5.1.2: first-order propagation through angle = asin((rear - front) / span) and
    depth at the propeller = block - rear - overhang (rear - front) / span.

    Examples
    --------
    >>> found = strut_from_heights(Estimate(20.0), Estimate(21.0), Estimate(60.0), Estimate(24.0))
    >>> round(found.angle_deg.value, 3), found.depth_rear_mm.value
    (0.955, 3.0)
    """
    rise, span = rear_mm.value - front_mm.value, span_mm.value
    if not span > abs(rise):
        raise SetupError(
            f"two points {span:g} mm apart cannot differ by {rise:g} mm in height",
            place="strut heights",
            hint="measure the span along the strut, and both heights from the same base",
        )
    slope = rise / span
    per_slope = math.degrees(1.0 / math.sqrt(1.0 - slope * slope))
    angle = Estimate.from_sensitivities(
        math.degrees(math.asin(slope)),
        (per_slope / span, front_mm.u),
        (per_slope / span, rear_mm.u),
        (per_slope * slope / span, span_mm.u),
    )
    if block_mm is None:
        return StrutGeometry(angle, None, None)
    rear_depth = block_mm.value - rear_mm.value
    at_rear = Estimate.from_sensitivities(rear_depth, (1.0, block_mm.u), (1.0, rear_mm.u))
    if overhang_mm is None:
        return StrutGeometry(angle, at_rear, None)
    share = overhang_mm.value / span
    at_propeller = Estimate.from_sensitivities(
        rear_depth - overhang_mm.value * slope,
        (1.0, block_mm.u),
        (1.0 + share, rear_mm.u),
        (share, front_mm.u),
        (share * slope, span_mm.u),
        (slope, overhang_mm.u),
    )
    return StrutGeometry(angle, at_rear, at_propeller)


_HEIGHTS: Mapping[str, Gauge] = {
    "strut_height_front_mm": CALIPER,
    "strut_height_rear_mm": CALIPER,
    "strut_span_mm": RULE,
    "base_block_mm": CALIPER,
    "strut_overhang_mm": RULE,
}


def strut_of(readings: Mapping[str, Reading]) -> StrutGeometry | None:
    """Compute the strut from the heights among a boat's readings; None if they are not complete.

    Raises
    ------
    SetupError
        If the heights contradict the span.
    """
    front, rear, span, block, overhang = (
        Estimate.of(readings[name], usual, "mm") if name in readings else None
        for name, usual in _HEIGHTS.items()
    )
    if front is None or rear is None or span is None:
        return None
    return strut_from_heights(front, rear, span, block, overhang)


def derived_readings(readings: Mapping[str, Reading]) -> dict[str, Reading]:
    """Return strut angle and depth as readings if only the heights were measured.

    Raises
    ------
    SetupError
        If the heights contradict the span.
    """
    geometry = strut_of(readings)
    if geometry is None:
        return {}
    derived = {
        "strut_angle_deg": (geometry.angle_deg, "deg"),
        "strut_depth_mm": (geometry.depth_rear_mm, "mm"),
    }
    return {
        name: Reading(estimate.value, Gauge("two heights", 0.0, unit, estimate.u))
        for name, (estimate, unit) in derived.items()
        if estimate is not None and name not in readings
    }
