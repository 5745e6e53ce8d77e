"""What a motor log cannot be trusted on: false, held and offset values.

False values are set aside (NaN) with a finding; held values and an offset are reported and left as they
stand. The thresholds are common practice, no source: they ask for departures that no pack, motor or propeller
makes between two samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from telemetry.core.frames import MOTOR_COLUMNS, BoolArray, Finding, FloatArray
from telemetry.readers.notes import spanning

# A single sample that leaves both neighbours by this share of the column's usual high value, and by this much
# at least, is a bad reading where the neighbours stand this close: a rotor and a pack are slower than that.
_LONE_JUMP: Final = {"voltage_v": (0.4, 2.0), "rpm": (0.5, 5000.0), "current_a": (1.0, 40.0)}
_CLOSEST_S: Final = 0.25
_MIN_HELD_S: Final = 2.0
_MIN_HELD_SAMPLES: Final = 10
_HELD_COLUMNS: Final = ("voltage_v", "current_a", "rpm")
_MIN_OFFSET_A: Final = 0.5
_MIN_REST_SAMPLES: Final = 10


def check_motor(
    columns: Mapping[str, FloatArray], t_s: FloatArray
) -> tuple[dict[str, FloatArray], list[Finding]]:
    """Set false values aside and report held values and a current offset.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
        Motor columns in their frame units.
    t_s : ndarray, shape (n,)
        Times [s].

    Returns
    -------
    columns : dict of str to ndarray, shape (n,)
        With NaN for the false values.
    findings : list of Finding
        Codes ``false-value``, ``held-value`` and ``current-offset``.
    """
    kept = {name: np.array(values, dtype=np.float64) for name, values in columns.items()}
    findings: list[Finding] = []
    for name, values in kept.items():
        spec = MOTOR_COLUMNS[name]
        impossible = (values < spec.low) | (values > spec.high)
        values[impossible] = np.nan
        lone = (
            _lone(values, t_s, *_LONE_JUMP[name])
            if name in _LONE_JUMP
            else np.zeros(values.size, dtype=np.bool_)
        )
        values[lone] = np.nan
        message = f"{name}: values that the power train cannot have were set aside"
        findings += spanning("false-value", message, impossible | lone, t_s)
    for name in _HELD_COLUMNS:
        if name in kept:
            held = _held(name, kept, t_s)
            message = f"{name}: the value stands still for seconds while the rest of the log moves"
            findings += spanning("held-value", message, held, t_s)
    return kept, findings + _current_offset(kept, t_s)


def _lone(values: FloatArray, t_s: FloatArray, share: float, least: float) -> BoolArray:
    """Mark samples that leave both neighbours to the same side, where the neighbours agree."""
    lone = np.zeros(values.size, dtype=np.bool_)
    finite = values[np.isfinite(values)]
    if finite.size < 20:
        return lone
    jump = max(least, share * float(np.quantile(np.abs(finite), 0.9)))
    before, here, after = values[:-2], values[1:-1], values[2:]
    one, other = here - before, here - after
    with np.errstate(invalid="ignore"):
        lone[1:-1] = (
            (one * other > 0)
            & (np.minimum(np.abs(one), np.abs(other)) > jump)
            & (np.abs(after - before) < jump / 4.0)
            & (np.abs(t_s[2:] - t_s[:-2]) <= 2.0 * _CLOSEST_S)
        )
    return lone


def _held(name: str, columns: Mapping[str, FloatArray], t_s: FloatArray) -> BoolArray:
    """Mark long runs of one value other than zero during which another column moves clearly."""
    values = columns[name]
    held = np.zeros(values.size, dtype=np.bool_)
    others = [columns[other] for other in _HELD_COLUMNS if other != name and other in columns]
    if not others:
        return held
    change = np.flatnonzero(np.diff(values) != 0) + 1  # NaN differs from everything, itself included
    starts, ends = np.concatenate([[0], change]), np.concatenate([change, [values.size]])
    long = (ends - starts >= _MIN_HELD_SAMPLES) & (values[starts] != 0.0) & np.isfinite(values[starts])
    for start, end in zip(starts[long], ends[long], strict=True):
        if abs(t_s[end - 1] - t_s[start]) < _MIN_HELD_S:
            continue
        for other in others:
            stretch = other[start:end][np.isfinite(other[start:end])]
            usual = np.nanquantile(np.abs(other), 0.9) if np.isfinite(other).any() else 0.0
            if stretch.size and np.ptp(stretch) > 0.2 * usual > 0.0:
                held[start:end] = True
                break
    return held


def _current_offset(columns: Mapping[str, FloatArray], t_s: FloatArray) -> list[Finding]:
    """Report a current that stays away from zero, by the same amount, whenever the shaft stands still."""
    if "current_a" not in columns or "rpm" not in columns:
        return []
    current, rpm = columns["current_a"], columns["rpm"]
    rest = np.isfinite(current) & (rpm < 1.0)
    if "throttle_pct" in columns:
        rest &= ~(np.abs(columns["throttle_pct"]) > 3.0)
    if int(rest.sum()) < _MIN_REST_SAMPLES:
        return []
    offset_a = float(np.median(current[rest]))
    spread_a = float(np.quantile(current[rest], 0.75) - np.quantile(current[rest], 0.25))
    if abs(offset_a) < max(_MIN_OFFSET_A, 2.0 * spread_a):
        return []
    message = (
        f"current_a reads {offset_a:.1f} A with the shaft at rest: every current is off by about that much"
    )
    return spanning("current-offset", message, rest, t_s)
