"""Drag of the hull through water and air, and how far it has risen."""

from __future__ import annotations

from typing import Final

from sample_logs.boats import GRAVITY_MPS2, Boat
from sample_logs.powertrain import WATER_KGPM3

AIR_KGPM3: Final = 1.2
ADDED_MASS: Final = 1.08  # of a slender hull in surge, a few percent to a tenth (common practice, no source)
RISING_S: Final = 0.6  # how long a hull takes to follow its speed; it makes the end of acceleration slow
STILL_WET: Final = 0.07  # share of the static wetted area left on plane


class Hull:
    """Resistance of one hull.

    R = ½ rho v² (C_f S w + A_app) + W (trim + hump) + ½ rho_air v_air² A_air, with v_air the speed through
    the air. The share w of the static wetted area falls as the hull rises; the hump of take-off peaks
    when it is half out.
    """

    __slots__ = ("_air", "_appendage", "_hump", "_planing4", "_skin", "_trim", "mass_kg")

    def __init__(self, boat: Boat) -> None:
        weight_n = boat.mass_kg * GRAVITY_MPS2
        self.mass_kg = boat.mass_kg * ADDED_MASS
        self._skin = 0.5 * WATER_KGPM3 * boat.friction * boat.wetted_m2
        self._appendage = 0.5 * WATER_KGPM3 * boat.appendage_m2
        self._air = 0.5 * AIR_KGPM3 * boat.air_m2
        self._trim = weight_n * boat.trim
        self._hump = weight_n * boat.hump
        self._planing4 = boat.planing_mps**4

    def steady_lift(self, water_mps: float) -> float:
        """Share of the wetting that a steady speed lifts out: 0 afloat, 1 fully planing."""
        v4 = water_mps**4
        return v4 / (v4 + self._planing4)

    def drag_n(self, water_mps: float, air_mps: float, lift: float) -> float:
        """Drag at a speed through the water and through the air, the hull risen by ``lift`` [N]."""
        v2 = water_mps * water_mps
        wetted = 1.0 - (1.0 - STILL_WET) * lift
        # Trim and hump need speed to arise at all; below walking pace they fade out.
        lifted = v2 / (v2 + 1.0) * (self._trim + self._hump * 4.0 * lift * (1.0 - lift))
        return (self._skin * wetted + self._appendage) * v2 + lifted + self._air * air_mps * abs(air_mps)
