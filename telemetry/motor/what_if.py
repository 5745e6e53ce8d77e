"""Estimate what another propeller, pack or motor would do, from a measured pass of this boat.

The power train is modelled at one operating point, the best second of a pass at full throttle:

pack      V = V0 - R I
motor     V = n / kV + Rm I,   Q = 60 / (2 pi kV) (I - I0)
propeller Q = q n² D⁴ P (s + s1),   T = t n² D⁴ (s + s0),   s the slip
hull      T in proportion to speed squared, near the measured speed

with R from the log's own regression, V0, kV, q and t from the second itself, and Rm and I0 as given or,
if not given, at usual values with wide uncertainty. D⁴ P is the propeller law's n² D⁵ with torque in
proportion to pitch over diameter. Thrust and torque fall linearly with the advance and vanish at a slip
slightly below zero (s0, s1), as in the open-water charts of any propeller series: that is why a larger
propeller slips less and loads the motor less than its size alone would suggest. No drag coefficient is
needed, since only ratios to the measured point enter; so no answer is given far from it, and the interval
widens with every step away.

References
----------
.. [1] D. Gerr, Propeller Handbook, 1989 (from memory): power with the cube of shaft speed in the ideal, with
   the power 2.7 on average; power with the diameter's fifth power at given shaft speed and pitch ratio.
.. [2] M. W. C. Oosterveld, P. van Oossanen, Further computer-analyzed data of the Wageningen B-screw series,
   Int. Shipbuilding Progress 22 (1975) (from memory: where thrust and torque vanish).
.. [3] JCGM 100:2008, section 5.1 (propagation of uncertainty).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from telemetry.core.stats import Z95
from telemetry.motor.pack import PackEstimate
from telemetry.motor.power import PassPower, PowerOptions

_FULL_THROTTLE_PCT: Final = 95.0

# Relative standard deviations of what is not measured (common practice, no source).
_USUAL_DROP_SHARE: Final = 0.04  # of the volts, lost in motor and controller, where Rm is not given
_USUAL_NO_LOAD_SHARE: Final = 0.03  # of the current, where I0 is not given
_GUESS_SD: Final = 0.5
_GIVEN_SD: Final = 0.15
_MAKER_SD: Final = 0.02  # of a motor constant as printed, for a motor not yet measured
_MEASURED_SD: Final = 0.01  # of a logged current's and shaft speed's scale against each other

# Errors of the model's exponents, for each unit of the natural logarithm of a change.
_SHAFT_POWER_SD: Final = 0.15  # torque with n to the power 2, against 1.7 on average (reference 1)
_SIZE_POWER_SD: Final = 0.30  # D to the power 4
_PITCH_POWER_SD: Final = 0.50  # P to the power 1; open-water charts give values on both sides of it
_THRUST_POWER_SD: Final = 0.30  # thrust with P to the power 0
_DRAG_POWER: Final = 2.0
_DRAG_POWER_SD: Final = 0.4
# Slip at which thrust and torque vanish, below zero (reference 2), and the uncertainty of each.
_THRUST_GONE, _THRUST_GONE_SD = 0.06, 0.03
_TORQUE_GONE, _TORQUE_GONE_SD = 0.14, 0.05

# Outside these ranges no answer is given (common practice, no source).
SIZE_RANGE: Final = (0.80, 1.25)
NO_LOAD_SPEED_RANGE: Final = (0.70, 1.40)
_MIN_SLIP, _MAX_SLIP = -0.05, 0.5
_MAX_CURRENT_RATIO = 2.0
# A motor that turned more than this of its volts or current to heat would not last a pass: a larger value
# was given in another unit (common practice, no source).
_MAX_DROP_SHARE, _MAX_IDLE_SHARE = 0.3, 0.3


@dataclass(frozen=True, slots=True)
class PowerTrainChange:
    """Changes of the power train; None is unchanged.

    Attributes
    ----------
    diameter_mm, pitch_mm : float or None
        Propeller.
    cells : int or None
        In series, of the same kind of cell.
    kv_rpm_per_v : float or None
        Motor constant. Resistance and no-load current are scaled as for the same motor with another winding,
        unless given.
    motor_resistance_ohm, no_load_current_a : float or None
    """

    diameter_mm: float | None = None
    pitch_mm: float | None = None
    cells: int | None = None
    kv_rpm_per_v: float | None = None
    motor_resistance_ohm: float | None = None
    no_load_current_a: float | None = None


@dataclass(frozen=True, slots=True)
class WhatIfEstimate:
    """A figure, half its 95 % interval, and what was measured in the pass."""

    value: float
    u95: float
    measured: float


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """The answer of a what-if.

    Attributes
    ----------
    rpm, current_a, speed_mps, motor_heat_w, pack_heat_w : WhatIfEstimate or None
        At full throttle; None where refused.
    refused : str
        Why there is no answer; empty if there is one.
    assumptions : tuple of str
        Assumptions of the answer, for the user.
    """

    rpm: WhatIfEstimate | None
    current_a: WhatIfEstimate | None
    speed_mps: WhatIfEstimate | None
    motor_heat_w: WhatIfEstimate | None
    pack_heat_w: WhatIfEstimate | None
    refused: str
    assumptions: tuple[str, ...]

    @classmethod
    def refusal(cls, why: str, assumptions: tuple[str, ...] = ()) -> WhatIf:
        """Return a refusal with its reason."""
        return cls(
            rpm=None,
            current_a=None,
            speed_mps=None,
            motor_heat_w=None,
            pack_heat_w=None,
            refused=why,
            assumptions=assumptions,
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain types."""
        figures = ("rpm", "current_a", "speed_mps", "motor_heat_w", "pack_heat_w")

        def one(estimate: WhatIfEstimate | None) -> dict[str, float] | None:
            if estimate is None:
                return None
            return {"value": estimate.value, "u95": estimate.u95, "measured": estimate.measured}

        table: dict[str, Any] = {name: one(getattr(self, name)) for name in figures}
        return table | {"refused": self.refused, "assumptions": list(self.assumptions)}


@dataclass(frozen=True)
class OperatingPoint:
    """A measured operating point at full throttle, with everything needed to extrapolate from it.

    Attributes
    ----------
    rpm, current_a, speed_mps : float
        Measured means of a pass's best second.
    rest_voltage_v, pack_resistance_ohm, pack_resistance_sd : float
        Pack without load at that charge, and its resistance with the relative standard deviation.
    motor_resistance_ohm, motor_resistance_sd, no_load_current_a, no_load_sd : float
        With relative standard deviations.
    diameter_mm, pitch_mm, cells, kv_rpm_per_v
        From the sheet.
    speed_sd_mps : float
    assumptions : tuple of str
    """

    rpm: float
    current_a: float
    speed_mps: float
    rest_voltage_v: float
    pack_resistance_ohm: float
    pack_resistance_sd: float
    motor_resistance_ohm: float
    motor_resistance_sd: float
    no_load_current_a: float
    no_load_sd: float
    diameter_mm: float
    pitch_mm: float
    cells: int | None
    kv_rpm_per_v: float | None
    speed_sd_mps: float
    assumptions: tuple[str, ...]

    @property
    def loaded_v(self) -> float:
        """The pack's voltage at the measured current [V]."""
        return self.rest_voltage_v - self.pack_resistance_ohm * self.current_a


def operating_point(one: PassPower, pack: PackEstimate | None, options: PowerOptions) -> OperatingPoint | str:
    """Use a pass's best second as an operating point.

    Parameters
    ----------
    one : PassPower
        Power figures of the pass.
    pack : PackEstimate or None
        Estimate from the same motor log.
    options : PowerOptions
        Propeller, motor and pack as measured.

    Returns
    -------
    OperatingPoint or str
        The reason in a sentence if the pass does not give one.
    """
    if pack is None:
        return "it needs the pack's resistance, which this motor log does not give"
    if (
        one.rpm is None
        or one.current_a is None
        or one.voltage_v is None
        or not min(one.rpm, one.current_a) > 0.0
    ):
        return "it needs shaft speed, current and voltage in the pass's best second"
    if options.diameter_mm is None or options.pitch_mm is None:
        return "it needs the propeller's diameter and pitch"
    if one.throttle_pct is not None and one.throttle_pct < _FULL_THROTTLE_PCT:
        return f"the best second was driven at {one.throttle_pct:.0f} % throttle, not at full throttle"
    said = [
        "torque grows with shaft speed squared, diameter to the fourth power, and pitch",
        "near the measured speed the hull's drag grows with speed squared",
        "the propeller's shape stays the same, and so do water, trim and weight",
    ]
    if one.throttle_pct is None:
        said.append("the throttle was fully open (it is not logged)")
    resistance, resistance_sd = options.motor_resistance_ohm, _GIVEN_SD
    if resistance is None:
        resistance, resistance_sd = _USUAL_DROP_SHARE * one.voltage_v / one.current_a, _GUESS_SD
        said.append(
            "motor and controller lose about 4 % of the volts (usual; the motor's resistance would help)"
        )
    idle, idle_sd = options.no_load_current_a, _GIVEN_SD
    if idle is None:
        idle, idle_sd = _USUAL_NO_LOAD_SHARE * one.current_a, _GUESS_SD
        said.append(
            "the motor draws about 3 % of the current without load (usual; the motor's own value is better)"
        )
    # The rest voltage follows from that of the same second, whatever the regression gives for the charge.
    return OperatingPoint(
        one.rpm,
        one.current_a,
        one.speed_mps,
        one.voltage_v + pack.resistance_ohm * one.current_a,
        pack.resistance_ohm,
        pack.u95_ohm / Z95 / pack.resistance_ohm,
        resistance,
        resistance_sd,
        idle,
        idle_sd,
        options.diameter_mm,
        options.pitch_mm,
        options.cells,
        options.kv_rpm_per_v,
        one.speed_u95_mps / Z95,
        tuple(said),
    )


def what_if(point: OperatingPoint, change: PowerTrainChange) -> WhatIf:
    """Estimate the effect of a change from a measured operating point.

    Parameters
    ----------
    point : OperatingPoint
    change : PowerTrainChange
        Any number of changes at once.

    Returns
    -------
    WhatIf
        A refusal outside the stated ranges.

    Examples
    --------
    No change gives the measured values:

    >>> pack, motor, idle, propeller = (24.0, 0.02, 0.01), (0.008, 0.15), (4.0, 0.15), (45.0, 63.0)
    >>> point = OperatingPoint(28000.0, 110.0, 26.0, *pack, *motor, *idle, *propeller, 6, 1600.0, 0.05, ())
    >>> same = what_if(point, PowerTrainChange())
    >>> round(same.rpm.value), round(same.current_a.value, 6), round(same.speed_mps.value, 6)
    (28000, 110.0, 26.0)
    """
    refused = _out_of_range(point, change)
    said = list(point.assumptions)
    if change.cells is not None:
        said.append("the cells are of the same kind, and their weight is neglected")
    if change.kv_rpm_per_v is not None and (
        change.motor_resistance_ohm is None or change.no_load_current_a is None
    ):
        said.append("the other motor is the same one with another winding")
    if refused:
        return WhatIf.refusal(refused, tuple(said))
    plain = _moved(point, change, {})
    if plain["current_a"] > _MAX_CURRENT_RATIO * point.current_a:
        refused = "the current would be more than twice what was measured: too far to estimate"
        return WhatIf.refusal(refused, tuple(said))
    before = _moved(point, PowerTrainChange(), {})
    u95 = _intervals(point, change, plain)
    figures = {name: WhatIfEstimate(plain[name], u95[name], before[name]) for name in plain}
    return WhatIf(**figures, refused="", assumptions=tuple(said))


def _ratios(point: OperatingPoint, change: PowerTrainChange) -> tuple[float, float, float, float]:
    """Diameter, pitch, cells and motor constant as ratios of what was measured."""
    return (
        (change.diameter_mm or point.diameter_mm) / point.diameter_mm,
        (change.pitch_mm or point.pitch_mm) / point.pitch_mm,
        change.cells / point.cells if change.cells and point.cells else 1.0,
        change.kv_rpm_per_v / point.kv_rpm_per_v if change.kv_rpm_per_v and point.kv_rpm_per_v else 1.0,
    )


def _out_of_range(point: OperatingPoint, change: PowerTrainChange) -> str:
    if change.cells is not None and point.cells is None:
        return "another cell count needs the number of cells in the measured pack"
    if change.kv_rpm_per_v is not None and point.kv_rpm_per_v is None:
        return "another motor constant needs the measured motor's"
    diameter, pitch, cells, kv = _ratios(point, change)
    for name, ratio in (("diameter", diameter), ("pitch", pitch)):
        if not SIZE_RANGE[0] <= ratio <= SIZE_RANGE[1]:
            return (
                f"a {name} of {100 * ratio:.0f} % of the measured one is outside "
                f"{100 * SIZE_RANGE[0]:.0f} to {100 * SIZE_RANGE[1]:.0f} %: too far to estimate"
            )
    if not NO_LOAD_SPEED_RANGE[0] <= cells * kv <= NO_LOAD_SPEED_RANGE[1]:
        return (
            f"volts times motor constant of {100 * cells * kv:.0f} % of the measured are outside "
            f"{100 * NO_LOAD_SPEED_RANGE[0]:.0f} to {100 * NO_LOAD_SPEED_RANGE[1]:.0f} %: too far to estimate"
        )
    resistances = (point.motor_resistance_ohm, change.motor_resistance_ohm or 0.0)
    if max(resistances) * point.current_a > _MAX_DROP_SHARE * point.loaded_v:
        return "no motor loses so much of the volts under load: check the unit of its resistance"
    if max(point.no_load_current_a, change.no_load_current_a or 0.0) > _MAX_IDLE_SHARE * point.current_a:
        return "the no-load current is too close to the full-load current: one of the two is wrong"
    slip = _slip(point)
    if not _MIN_SLIP <= slip <= _MAX_SLIP:
        return f"a measured slip of {100 * slip:.0f} % shows that pitch or shaft speed is wrong"
    return ""


def _slip(point: OperatingPoint) -> float:
    return 1.0 - point.speed_mps / (point.pitch_mm / 1000.0 * point.rpm / 60.0)


def _moved(point: OperatingPoint, change: PowerTrainChange, off: dict[str, float]) -> dict[str, float]:
    """Solve the operating point after a change, with the model shifted by its named uncertainties.

    ``off`` holds relative amounts for measured and given quantities, standard deviations for the model's own.
    """

    def scaled(name: str) -> float:
        return 1.0 + off.get(name, 0.0)

    diameter, pitch, cells, kv_ratio = _ratios(point, change)
    pack_r = point.pack_resistance_ohm * scaled("pack")
    motor_r, idle = point.motor_resistance_ohm * scaled("motor"), point.no_load_current_a * scaled("idle")
    current = point.current_a * scaled("current")
    kv = point.rpm / (point.loaded_v - motor_r * current)

    new_kv = kv * kv_ratio * scaled("maker")
    given_r, given_idle = change.motor_resistance_ohm, change.no_load_current_a
    new_motor_r = given_r * scaled("new motor") if given_r else motor_r / kv_ratio**2
    new_idle = given_idle * scaled("new idle") if given_idle else idle * kv_ratio
    rest_v = (point.loaded_v + pack_r * current) * cells
    r = new_motor_r + pack_r * cells

    slip = _slip(point)
    gone_t = max(_THRUST_GONE + off.get("thrust", 0.0) * _THRUST_GONE_SD, 0.01 - slip)
    gone_q = max(_TORQUE_GONE + off.get("torque", 0.0) * _TORQUE_GONE_SD, 0.01 - slip)
    size, along = float(np.log(diameter)), float(np.log(pitch))
    size_power = 4.0 + off.get("size", 0.0) * _SIZE_POWER_SD
    pitch_power = 1.0 + off.get("pitch", 0.0) * _PITCH_POWER_SD
    thrust_scale = np.exp(size_power * size + off.get("push", 0.0) * _THRUST_POWER_SD * along)
    torque_scale = np.exp(size_power * size + pitch_power * along)
    torque = (current - idle) / (kv * point.rpm**2) * torque_scale
    shaft_power = off.get("shaft", 0.0) * _SHAFT_POWER_SD
    drag_power = _DRAG_POWER + off.get("drag", 0.0) * _DRAG_POWER_SD

    from scipy.optimize import brentq  # slow to import, and only a what-if needs it

    def shaft(at_slip: float) -> tuple[float, float]:
        """Balance torque: n = kV (V0 - r I) with I = I0 + load kV n²; shaft speed and current."""
        load = torque * (at_slip + gone_q) / (slip + gone_q)
        unloaded = new_kv * (rest_v - r * new_idle)
        rpm = 2.0 * unloaded / (1.0 + np.sqrt(1.0 + 4.0 * new_kv**2 * r * load * unloaded))
        if shaft_power:
            load *= (rpm / point.rpm) ** shaft_power
            rpm = 2.0 * unloaded / (1.0 + np.sqrt(1.0 + 4.0 * new_kv**2 * r * load * unloaded))
        return float(rpm), float(new_idle + load * new_kv * rpm**2)

    def surplus(at_slip: float) -> float:
        """Thrust over drag, as shares of the measured thrust."""
        turns = shaft(at_slip)[0] / point.rpm
        thrust = turns**2 * thrust_scale * (at_slip + gone_t) / (slip + gone_t)
        return float(thrust - (turns * pitch * (1.0 - at_slip) / (1.0 - slip)) ** drag_power)

    new_slip = float(brentq(surplus, -gone_t + 1e-6, 0.95))
    rpm, amps = shaft(new_slip)
    speed = point.speed_mps * scaled("speed") * rpm / point.rpm * pitch * (1.0 - new_slip) / (1.0 - slip)
    return {
        "rpm": rpm,
        "current_a": amps,
        "speed_mps": speed,
        "motor_heat_w": amps**2 * new_motor_r + new_idle * rpm / new_kv,
        "pack_heat_w": amps**2 * pack_r * cells,
    }


def _intervals(point: OperatingPoint, change: PowerTrainChange, plain: dict[str, float]) -> dict[str, float]:
    """Propagate the uncertainties by shifting one input at a time by its standard deviation."""
    doubts: dict[str, float] = {
        "pack": point.pack_resistance_sd,
        "motor": point.motor_resistance_sd,
        "idle": point.no_load_sd,
        "current": _MEASURED_SD,
        "speed": point.speed_sd_mps / point.speed_mps,
        "new motor": _GIVEN_SD,
        "new idle": _GIVEN_SD,
        "maker": _MAKER_SD if change.kv_rpm_per_v is not None else 0.0,
        **dict.fromkeys(("size", "pitch", "push", "thrust", "torque", "shaft", "drag"), 1.0),
    }
    spread = dict.fromkeys(plain, 0.0)
    for name, sd in doubts.items():
        moved = _moved(point, change, {name: sd})
        for figure, value in plain.items():
            spread[figure] += (moved[figure] - value) ** 2
    return {figure: Z95 * float(np.sqrt(var)) for figure, var in spread.items()}
