"""The two tables that carry all log data, and the single list of their columns.

A :class:`Track` is a speed log, a :class:`MotorLog` the controller's. Both keep their data in a pandas frame
indexed by ``t_s`` (float64 seconds from the log's first sample, on the log's own clock) and carry what the
reader noticed as :class:`Finding` objects. An absent quantity is an absent column, never a column of zeros.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from telemetry.core.errors import NothingUsableError

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]


def true_runs(mask: BoolArray) -> list[tuple[int, int]]:
    """List the runs of True in a mask as half-open index ranges.

    Examples
    --------
    >>> true_runs(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8))).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def cumulative_integral(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """Integrate by trapezoids from the first sample on, shape (n,).

    Examples
    --------
    >>> cumulative_integral(np.array([0.0, 1.0, 3.0]), np.array([2.0, 4.0, 4.0])).tolist()
    [0.0, 3.0, 11.0]
    """
    return np.asarray(np.r_[0.0, np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t_s))])


def utc_text(utc: pd.Timestamp | None) -> str | None:
    """Write a time as ISO 8601 with Z and fractions; None stays None.

    Examples
    --------
    >>> utc_text(pd.Timestamp("2025-06-14T08:30:00.25Z"))
    '2025-06-14T08:30:00.250000Z'
    """
    if utc is None:
        return None
    return utc.tz_convert("UTC").strftime("%Y-%m-%dT%H:%M:%S.%fZ")


SpeedSource = Literal["measured", "differenced"]
ClockSource = Literal["receiver", "host", "controller"]


@dataclass(frozen=True, slots=True)
class Column:
    """Name, unit, plausible range and meaning of one column."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str


def _table(*columns: Column) -> dict[str, Column]:
    return {c.name: c for c in columns}


TRACK_COLUMNS: Final = _table(
    Column("lat_deg", "deg", -90.0, 90.0, "geodetic latitude, WGS 84"),
    Column("lon_deg", "deg", -180.0, 180.0, "geodetic longitude, WGS 84"),
    Column("alt_m", "m", -500.0, 9000.0, "altitude as the receiver states it"),
    Column("speed_mps", "m/s", 0.0, 150.0, "speed over ground as the receiver measured it"),
    Column("course_deg", "deg", 0.0, 360.0, "course over ground, true, clockwise from north"),
    Column("vertical_mps", "m/s", -50.0, 50.0, "vertical speed, up positive"),
    Column("speed_sd_mps", "m/s", 0.0, 100.0, "the receiver's own estimate of its speed error"),
    Column("horizontal_sd_m", "m", 0.0, 10000.0, "the receiver's own estimate of its position error"),
    Column("hdop", "1", 0.0, 100.0, "horizontal dilution of precision"),
    Column("satellites", "1", 0.0, 200.0, "satellites used in the fix"),
    Column("fix", "1", 0.0, 1.0, "1 where the receiver says its fix is valid, 0 where it says it is not"),
    Column("ax_mps2", "m/s²", -500.0, 500.0, "acceleration along the hull, forward positive"),
    Column("ay_mps2", "m/s²", -500.0, 500.0, "acceleration across the hull, port positive"),
    Column("az_mps2", "m/s²", -500.0, 500.0, "acceleration upwards, gravity included or not as logged"),
    Column("gx_dps", "deg/s", -5000.0, 5000.0, "roll rate"),
    Column("gy_dps", "deg/s", -5000.0, 5000.0, "pitch rate"),
    Column("gz_dps", "deg/s", -5000.0, 5000.0, "yaw rate"),
)
MOTION_COLUMNS: Final = ("ax_mps2", "ay_mps2", "az_mps2", "gx_dps", "gy_dps", "gz_dps")
"""Accelerations and turn rates, which a log may hold at a higher rate than its fixes."""

MOTOR_COLUMNS: Final = _table(
    Column("voltage_v", "V", 0.0, 200.0, "pack voltage at the controller"),
    Column("current_a", "A", -500.0, 2000.0, "pack current, positive out of the pack"),
    Column("rpm", "1/min", 0.0, 150000.0, "shaft speed, after pole pairs and gear"),
    Column("throttle_pct", "%", -100.0, 100.0, "throttle command"),
    Column("esc_temp_c", "°C", -40.0, 250.0, "controller temperature"),
    Column("motor_temp_c", "°C", -40.0, 300.0, "motor temperature"),
    Column("charge_mah", "mAh", 0.0, 1e6, "charge drawn since power-on"),
    Column("cell_min_v", "V", 0.0, 6.0, "lowest cell voltage"),
)


@dataclass(frozen=True, slots=True)
class Finding:
    """Something odd in a log, kept so that every result it touches can show it.

    Attributes
    ----------
    code : str
        Short stable name, lower case with hyphens (``false-spike``, ``dropout``).
    message : str
        One sentence for the user.
    count : int
        How many samples, lines or records it concerns.
    start_s, end_s : float or None
        Span on the log's clock [s]; None when the finding has no place in time.
    """

    code: str
    message: str
    count: int = 1
    start_s: float | None = None
    end_s: float | None = None

    def touches(self, start_s: float, end_s: float) -> bool:
        """Return whether the finding's span meets ``[start_s, end_s]``."""
        if self.start_s is None or self.end_s is None:
            return False
        return self.start_s <= end_s and self.end_s >= start_s

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract's form."""
        return {
            "code": self.code,
            "message": self.message,
            "count": self.count,
            "start_s": self.start_s,
            "end_s": self.end_s,
        }


def group_by_code(findings: Iterable[Finding]) -> dict[str, list[Finding]]:
    """Group findings by code, in order of first appearance."""
    kinds: dict[str, list[Finding]] = {}
    for finding in findings:
        kinds.setdefault(finding.code, []).append(finding)
    return kinds


@dataclass(frozen=True, slots=True)
class LogMeta:
    """Where a log came from and what its clock is.

    Attributes
    ----------
    file : str
        The name the user knows it by.
    format : str
        The reader's name (``gpx``, ``fit``, ``nmea``, ``table``).
    start_utc : pandas.Timestamp or None
        UTC of ``t_s = 0``, timezone-aware; None if the log does not state the day.
    clock : {"receiver", "host", "controller"}
        Whose clock ``t_s`` follows.
    speed_source : {"measured", "differenced"} or None
        Whether the log carries the receiver's own speed or only positions; None for a motor log.
    sha256 : str
        Hash of the file's bytes, the log's identity.
    """

    file: str
    format: str
    start_utc: pd.Timestamp | None = None
    clock: ClockSource = "receiver"
    speed_source: SpeedSource | None = None
    sha256: str = ""


@dataclass(frozen=True)
class _Log:
    frame: pd.DataFrame
    meta: LogMeta
    findings: tuple[Finding, ...] = field(default=())

    @property
    def t_s(self) -> FloatArray:
        """Sample times on the log's clock, shape (n,) [s]."""
        return np.asarray(self.frame.index.to_numpy(), dtype=np.float64)

    @property
    def rate_hz(self) -> float:
        """Usual sampling rate: one over the median step between distinct stamps [Hz]; 0 if unknown."""
        steps = np.diff(self.t_s)
        steps = steps[steps > 0]
        return float(1.0 / np.median(steps)) if steps.size else 0.0

    @cached_property
    def usual_step_s(self) -> float:
        """Median step between stamps [s], cached; 0 for fewer than two stamps."""
        return float(np.median(np.diff(self.t_s))) if len(self.frame) > 1 else 0.0

    def column(self, name: str) -> FloatArray | None:
        """Return a column as float64, shape (n,), or None where the log does not have it."""
        if name not in self.frame.columns:
            return None
        return np.asarray(self.frame[name].to_numpy(), dtype=np.float64)

    def utc(self, t_s: float) -> pd.Timestamp | None:
        """UTC of a time on the log's clock, to the microsecond; None when unknown or off the calendar."""
        if self.meta.start_utc is None:
            return None
        utc = self.meta.start_utc + pd.Timedelta(round(t_s * 1e6), unit="us")
        return utc if 1 <= utc.year <= 9999 else None

    @property
    def span_utc(self) -> tuple[pd.Timestamp | None, pd.Timestamp | None]:
        """UTC of the first and of the last sample, as the log has them; None when the day is unknown."""
        return self.utc(float(self.t_s[0])), self.utc(float(self.t_s[-1]))


@dataclass(frozen=True)
class Track(_Log):
    """A speed log. Readers return it in file order; ``cleaning`` makes its time strictly increasing.

    Attributes
    ----------
    motion : DataFrame or None
        Accelerations and turn rates at their own, higher rate, indexed by ``t_s`` on this log's clock; None
        where the log has none or has them in its own rows.
    """

    motion: pd.DataFrame | None = field(default=None, compare=False)

    def with_findings(self, findings: Iterable[Finding]) -> Track:
        """Return the same track with more findings."""
        return replace(self, findings=self.findings + tuple(findings))


@dataclass(frozen=True)
class MotorLog(_Log):
    """A motor-controller log, on the controller's own clock."""

    def with_findings(self, findings: Iterable[Finding]) -> MotorLog:
        """Return the same log with more findings."""
        return replace(self, findings=self.findings + tuple(findings))


Log = Track | MotorLog


def _build(
    data: dict[str, Any], t_s: npt.ArrayLike, columns: dict[str, Column], file: str
) -> tuple[pd.DataFrame, list[Finding]]:
    index = pd.Index(np.asarray(t_s, dtype=np.float64), name="t_s")
    if len(index) == 0:
        raise NothingUsableError("it holds no sample", file=file, hint="export the log again from the device")
    if index.isna().all():
        raise NothingUsableError("no sample has a time", file=file, hint="export the log with its times")
    unknown = sorted(set(data) - set(columns))
    if unknown:
        raise KeyError(f"no such column: {unknown}; add it to telemetry.core.frames first")
    kept: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for name, spec in columns.items():
        if name not in data:
            continue
        values = np.array(data[name], dtype=np.float64)
        outside = (values < spec.low) | (values > spec.high)
        if outside.any():
            values[outside] = np.nan
            where = index.to_numpy()[outside]
            where = where[~np.isnan(where)]  # an unreadable stamp has no place in time
            findings.append(
                Finding(
                    "out-of-range",
                    f"{name}: values outside {spec.low:g} to {spec.high:g} {spec.unit} excluded",
                    int(outside.sum()),
                    float(where.min()) if where.size else None,
                    float(where.max()) if where.size else None,
                )
            )
        if not np.isnan(values).all():
            kept[name] = values
    return pd.DataFrame(kept, index=index), findings


def make_track(
    data: dict[str, Any],
    t_s: npt.ArrayLike,
    meta: LogMeta,
    findings: Iterable[Finding] = (),
    motion: pd.DataFrame | None = None,
) -> Track:
    """Build a validated track from columns.

    Parameters
    ----------
    data : dict of str to array_like, shape (n,)
        Columns by their names in :data:`TRACK_COLUMNS`, in their stated units; NaN for a missing value.
        Columns that are NaN throughout are left out.
    t_s : array_like, shape (n,)
        Seconds from the first sample [s]; may repeat or step back, as in the file.
    meta : LogMeta
        ``speed_source`` is set here from the columns present.
    findings : iterable of Finding
        What the reader noticed.
    motion : DataFrame, optional
        Accelerations and turn rates at their own rate, see :class:`Track`.

    Raises
    ------
    NothingUsableError
        If there is no sample or none with a time, or neither a speed nor a position.
    """
    frame, more = _build(data, t_s, TRACK_COLUMNS, meta.file)
    if {"lat_deg", "lon_deg"} - set(frame.columns) and "speed_mps" not in frame.columns:
        raise NothingUsableError(
            "it holds neither positions nor speeds", file=meta.file, hint="export the log with its GPS fields"
        )
    source: SpeedSource = "measured" if "speed_mps" in frame.columns else "differenced"
    if motion is not None:
        motion, beside = _build(
            {str(name): motion[name] for name in motion.columns},
            motion.index,
            columns=TRACK_COLUMNS,
            file=meta.file,
        )
        more += beside
    return Track(frame, replace(meta, speed_source=source), (*findings, *more), motion)


def make_motor_log(
    data: dict[str, Any], t_s: npt.ArrayLike, meta: LogMeta, findings: Iterable[Finding] = ()
) -> MotorLog:
    """Build a validated motor log from columns named in :data:`MOTOR_COLUMNS`.

    Parameters
    ----------
    data : dict of str to array_like, shape (n,)
        Columns in their stated units; NaN for a missing value.
    t_s : array_like, shape (n,)
        Seconds from the first sample, on the controller's clock [s].
    meta : LogMeta
        Where the log came from.
    findings : iterable of Finding
        What the reader noticed.

    Raises
    ------
    NothingUsableError
        If no sample has a time, or none of voltage, current, rpm, throttle or a temperature has a value.
    """
    frame, more = _build(data, t_s, MOTOR_COLUMNS, meta.file)
    if frame.shape[1] == 0:
        raise NothingUsableError(
            "it holds no voltage, current, rpm, throttle or temperature",
            file=meta.file,
            hint="say which column means what",
        )
    return MotorLog(frame, replace(meta, speed_source=None), (*findings, *more))
