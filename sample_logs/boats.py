"""What the simulator needs to know about a boat, and three invented ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

GRAVITY_MPS2: Final = 9.81


@dataclass(frozen=True, slots=True)
class Boat:
    """Hull, propeller, motor and pack of one model boat.

    Attributes
    ----------
    name : str
        What it is called.
    length_m, mass_kg : float
        Hull length and all-up mass.
    wetted_m2, friction : float
        Wetted area afloat [m²] and friction coefficient; the area shrinks as the hull rises.
    appendage_m2 : float
        Drag area (Cd x A) of strut, rudder and the planing surfaces still wet at speed [m²].
    air_m2 : float
        Drag area in air [m²].
    hump : float
        Extra drag at the hump of take-off as a share of the weight.
    trim : float
        Drag of the planing lift as a share of the weight (the tangent of the running angle).
    diameter_mm, pitch_mm, blades
        Propeller.
    thrust_coefficient, torque_coefficient : float
        K_T and K_Q at rest.
    thrust_zero, torque_zero : float
        Advance ratio at which each falls to nothing, as a multiple of pitch/diameter.
    kv_rpm_per_v, motor_resistance_ohm, no_load_current_a, pole_pairs
        Motor.
    cells, cell_resistance_ohm, wiring_ohm, capacity_ah
        Pack; ``wiring_ohm`` is leads and plugs on the pack's side of where voltage is measured.
    """

    name: str
    length_m: float = 0.85
    mass_kg: float = 3.4
    wetted_m2: float = 0.14
    friction: float = 0.004
    appendage_m2: float = 2.6e-5
    air_m2: float = 0.011
    hump: float = 0.10
    trim: float = 0.10
    diameter_mm: float = 45.0
    pitch_mm: float = 63.0
    blades: int = 2
    thrust_coefficient: float = 0.20
    torque_coefficient: float = 0.048
    thrust_zero: float = 1.04
    torque_zero: float = 1.14
    kv_rpm_per_v: float = 1600.0
    motor_resistance_ohm: float = 0.008
    no_load_current_a: float = 4.0
    pole_pairs: int = 2
    cells: int = 6
    cell_resistance_ohm: float = 0.003
    wiring_ohm: float = 0.002
    capacity_ah: float = 5.0

    @property
    def pack_resistance_ohm(self) -> float:
        """Resistance between the cells' open-circuit voltage and where the controller measures it [ohm]."""
        return self.cells * self.cell_resistance_ohm + self.wiring_ohm

    @property
    def planing_mps(self) -> float:
        """Speed at which half the static wetting is gone [m/s].

        Taken at a volume Froude number v / sqrt(g V^(1/3)) of 3, where semi-planing ends in the usual
        division of speed ranges (O. M. Faltinsen, *Hydrodynamics of High-Speed Marine Vehicles*, 2005, from
        memory).
        """
        volume_m3 = self.mass_kg / 1000.0
        return float(3.0 * (GRAVITY_MPS2 * volume_m3 ** (1 / 3)) ** 0.5)


# Invented. Between them they span about 22 to 46 m/s and 2 to 6 kg.
MONO: Final = Boat(
    name="Ondal",
    length_m=0.70,
    mass_kg=2.1,
    wetted_m2=0.09,
    appendage_m2=3.2e-5,
    air_m2=0.008,
    diameter_mm=40.0,
    pitch_mm=56.0,
    kv_rpm_per_v=1900.0,
    motor_resistance_ohm=0.020,
    no_load_current_a=3.5,
    cells=4,
    cell_resistance_ohm=0.0036,
)
CATAMARAN: Final = Boat(name="Quorrel")
HYDROPLANE: Final = Boat(
    name="Vessimer",
    length_m=1.05,
    mass_kg=5.8,
    wetted_m2=0.20,
    appendage_m2=2.0e-5,
    air_m2=0.016,
    diameter_mm=48.0,
    pitch_mm=74.0,
    kv_rpm_per_v=1020.0,
    motor_resistance_ohm=0.007,
    no_load_current_a=5.0,
    pole_pairs=3,
    cells=12,
    cell_resistance_ohm=0.0022,
    capacity_ah=5.5,
)
BOATS: Final = (MONO, CATAMARAN, HYDROPLANE)
