"""Propeller, motor, controller and pack at one instant, and their heat over time.

propeller
    The open-water form of naval architecture handbooks with K_T and K_Q linear in the advance ratio,
    J = v / (n D), T = K_T rho n² D⁴, Q = K_Q rho n² D⁵, K_T = K_T0 (1 - J / J_T), K_Q = K_Q0 (1 - J / J_Q);
    J_T and J_Q lie a little above pitch/diameter (J. Carlton, *Marine Propellers and Propulsion*, from
    memory).
motor and controller
    Permanent-magnet DC equations, the controller as a loss-free chopper of duty d: d V = I_m R_m + 60 n / kV,
    Q = 60 / (2 pi kV) (I_m - I_0), I_pack = d I_m. It does not brake: the current is never negative.
pack
    V = cells (3.60 V + 0.58 V x state of charge) - I_pack R_pack; a straight line through the usual discharge
    curve (common practice, no source).
heat
    C dT/dt = loss - (T - T_water) / R_th (common practice, no source, for the sizes).

Torque balance is a quadratic in n, so the rotor needs no equation of its own; its inertia (settling in a few
hundredths of a second) is neglected.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy.signal import lfilter

from sample_logs.boats import Boat
from telemetry.core.frames import FloatArray

WATER_KGPM3: Final = 998.0
CELL_EMPTY_V: Final = 3.60
CELL_SLOPE_V: Final = 0.58
MOTOR_JPK: Final = 75.0  # heat capacity; with the resistance to the cooling water, half a minute
MOTOR_KPW: Final = 0.35
CONTROLLER_JPK: Final = 45.0
CONTROLLER_KPW: Final = 0.5
CONTROLLER_OHM: Final = 0.0016


class PowerTrain:
    """The power train of one boat, as constants ready for an inner loop."""

    __slots__ = (
        "_friction_nm",
        "_no_load_a",
        "_r_motor",
        "_r_pack",
        "_thrust_j",
        "_thrust_n2",
        "_torque_j",
        "_torque_n2",
        "_torque_per_a",
        "_volt_per_turn",
    )

    def __init__(self, boat: Boat) -> None:
        d_m = boat.diameter_mm / 1000.0
        pitch_ratio = boat.pitch_mm / boat.diameter_mm
        self._thrust_n2 = boat.thrust_coefficient * WATER_KGPM3 * d_m**4
        self._thrust_j = self._thrust_n2 / (d_m * boat.thrust_zero * pitch_ratio)
        self._torque_n2 = boat.torque_coefficient * WATER_KGPM3 * d_m**5
        self._torque_j = self._torque_n2 / (d_m * boat.torque_zero * pitch_ratio)
        self._volt_per_turn = 60.0 / boat.kv_rpm_per_v
        self._torque_per_a = self._volt_per_turn / (2 * math.pi)
        self._friction_nm = self._torque_per_a * boat.no_load_current_a
        self._no_load_a = boat.no_load_current_a
        self._r_motor = boat.motor_resistance_ohm
        self._r_pack = boat.pack_resistance_ohm

    def operating_point(self, duty: float, open_v: float, water_mps: float) -> tuple[float, float, float]:
        """Solve the torque balance of motor and propeller.

        Parameters
        ----------
        duty : float
            Controller's duty, 0 to 1.
        open_v : float
            Open-circuit voltage of the pack [V].
        water_mps : float
            Speed of the propeller through the water [m/s].

        Returns
        -------
        turns_per_s, motor_current_a, thrust_n : float
        """
        r = self._r_motor + duty * duty * self._r_pack
        a = self._torque_n2
        drag = self._torque_j * water_mps
        b = self._torque_per_a * self._volt_per_turn / r - drag
        inside = b * b + 4.0 * a * (self._torque_per_a * duty * open_v / r - self._friction_nm)
        n = (math.sqrt(inside) - b) / (2.0 * a) if inside > 0.0 else 0.0
        current = (duty * open_v - self._volt_per_turn * n) / r
        if current < 0.0 or n <= 0.0:
            # The water turns the propeller faster than the motor would.
            inside = drag * drag - 4.0 * a * self._friction_nm
            n = (drag + math.sqrt(inside)) / (2.0 * a) if inside > 0.0 else 0.0
            current = 0.0
        return n, current, self._thrust_n2 * n * n - self._thrust_j * n * water_mps

    def in_air(self, duty: float, open_v: float) -> tuple[float, float, float]:
        """Solve the same with the propeller out of the water: only the motor's own friction is left."""
        r = self._r_motor + duty * duty * self._r_pack
        n = max(0.0, duty * open_v - self._no_load_a * r) / self._volt_per_turn
        return n, self._no_load_a if n > 0.0 else 0.0, 0.0


def open_voltage_v(boat: Boat, state_of_charge: float) -> float:
    """Open-circuit voltage of the pack [V]."""
    return boat.cells * (CELL_EMPTY_V + CELL_SLOPE_V * state_of_charge)


def temperatures_c(
    boat: Boat, turns_per_s: FloatArray, motor_a: FloatArray, duty: FloatArray, water_c: float, step_s: float
) -> tuple[FloatArray, FloatArray]:
    """Temperatures of motor and controller, which start at the water's; arrays of shape (n,) [°C]."""
    friction_w = 0.6 * boat.no_load_current_a * 60.0 * turns_per_s / boat.kv_rpm_per_v
    motor_w = motor_a**2 * boat.motor_resistance_ohm + friction_w
    controller_w = motor_a**2 * CONTROLLER_OHM + 0.012 * duty**2 * motor_a

    def warmed(loss_w: FloatArray, capacity: float, resistance: float) -> FloatArray:
        keep = math.exp(-step_s / (capacity * resistance))
        return np.asarray(water_c + lfilter([0.0, (1 - keep) * resistance], [1.0, -keep], loss_w))

    return warmed(motor_w, MOTOR_JPK, MOTOR_KPW), warmed(controller_w, CONTROLLER_JPK, CONTROLLER_KPW)
