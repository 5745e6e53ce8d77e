"""Prepare a motor log for computations: offsets removed, held values excluded, charge summed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.core.frames import BoolArray, FloatArray, MotorLog, cumulative_integral

_REST_RPM = 1.0
_REST_THROTTLE_PCT = 3.0
_MIN_REST_SAMPLES = 10
_MIN_OFFSET_A = 0.3
_MIN_REST_RPM_READING = 50.0


@dataclass(frozen=True, kw_only=True)
class Channels:
    """Channels of a motor log on its own clock, arrays of shape (n,); None where not logged.

    Attributes
    ----------
    t_s : ndarray
        Times [s].
    voltage_v, current_a, rpm, throttle_pct, esc_temp_c, motor_temp_c, cell_min_v, charge_mah
        ndarray or None, as in the motor frame; NaN where unknown.
    drawn_ah : ndarray or None
        Charge drawn since the first sample [A h]: the controller's own count if it is logged, else the
        integral of the current.
    current_offset_a : float
        Current reading at rest, which was subtracted [A].
    rest_rpm : float
        Shaft speed read while current and throttle show that the motor stood still [1/min]; 0 if it is sound.
    """

    t_s: FloatArray
    voltage_v: FloatArray | None
    current_a: FloatArray | None
    rpm: FloatArray | None
    throttle_pct: FloatArray | None
    esc_temp_c: FloatArray | None
    motor_temp_c: FloatArray | None
    cell_min_v: FloatArray | None
    charge_mah: FloatArray | None
    drawn_ah: FloatArray | None
    current_offset_a: float
    rest_rpm: float

    def span(self, start_s: float, end_s: float) -> slice:
        """Return the samples from one time to another on the motor log's clock, both included."""
        return slice(
            int(np.searchsorted(self.t_s, start_s - 1e-9)),
            int(np.searchsorted(self.t_s, end_s + 1e-9, "right")),
        )


def channels(motor: MotorLog) -> Channels:
    """Extract the channels of a motor log.

    Parameters
    ----------
    motor : MotorLog
        As read; values that its findings mark as held are not used.

    Returns
    -------
    Channels
        Times strictly increasing.
    """
    t_s = motor.t_s
    keep = np.r_[True, t_s[1:] > np.maximum.accumulate(t_s)[:-1]]

    def column(name: str) -> FloatArray | None:
        values = motor.column(name)
        if values is None:
            return None
        values = values.copy()
        for finding in motor.findings:
            if (
                finding.code == "held-value"
                and finding.message.startswith(name)
                and finding.start_s is not None
            ):
                values[(t_s >= finding.start_s) & (t_s <= (finding.end_s or finding.start_s))] = np.nan
        return values[keep]

    current, rpm, throttle = column("current_a"), column("rpm"), column("throttle_pct")
    offset_a, rest_rpm = 0.0, 0.0
    rest = _at_rest(rpm, throttle)
    if current is not None and rest is not None and int(rest.sum()) >= _MIN_REST_SAMPLES:
        reads_a = float(np.nanmedian(current[rest]))
        if abs(reads_a) >= _MIN_OFFSET_A:
            offset_a = reads_a
            current = current - offset_a
    if rpm is not None and throttle is not None and current is not None:
        still = (np.abs(throttle) <= _REST_THROTTLE_PCT) & (
            np.abs(current) < 0.02 * np.nanmax(np.abs(current))
        )
        # Only the first stretch counts: later the water may turn the propeller with the power off.
        still &= np.cumsum(~still) == 0
        if int(still.sum()) >= _MIN_REST_SAMPLES:
            reads = float(np.nanmedian(rpm[still]))
            rest_rpm = reads if reads > _MIN_REST_RPM_READING else 0.0
    charge = column("charge_mah")
    drawn: FloatArray | None = None
    if charge is not None and _counts(charge):
        known = np.isfinite(charge)
        drawn = np.interp(t_s[keep], t_s[keep][known], charge[known] - charge[known][0]) / 1000.0
    elif current is not None:
        drawn = _summed_ah(t_s[keep], current)
    return Channels(
        t_s=t_s[keep],
        voltage_v=column("voltage_v"),
        current_a=current,
        rpm=rpm,
        throttle_pct=throttle,
        esc_temp_c=column("esc_temp_c"),
        motor_temp_c=column("motor_temp_c"),
        cell_min_v=column("cell_min_v"),
        charge_mah=charge,
        drawn_ah=drawn,
        current_offset_a=offset_a,
        rest_rpm=rest_rpm,
    )


def _at_rest(rpm: FloatArray | None, throttle: FloatArray | None) -> BoolArray | None:
    if rpm is not None and (rpm < _REST_RPM).any():
        still = rpm < _REST_RPM
        return np.asarray(still if throttle is None else still & ~(np.abs(throttle) > _REST_THROTTLE_PCT))
    if throttle is not None:
        return np.asarray(np.abs(throttle) <= _REST_THROTTLE_PCT)
    return None


def _counts(charge_mah: FloatArray) -> bool:
    """Return whether a column is a running count: it rises and never falls by more than one step."""
    known = charge_mah[np.isfinite(charge_mah)]
    return known.size > 1 and bool(known[-1] > known[0]) and bool(np.diff(known).min() >= -1.0)


def _summed_ah(t_s: FloatArray, current_a: FloatArray) -> FloatArray:
    known = np.isfinite(current_a)
    if known.sum() < 2:
        return np.full(t_s.size, np.nan)
    i = np.interp(t_s, t_s[known], current_a[known])
    return cumulative_integral(t_s, i) / 3600.0
