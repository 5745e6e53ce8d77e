"""CSV and its relatives: any table of text whose headings can be named.

Delimiter, decimal mark, encoding, lines before the headings and a row of units are found out from the file;
what the headings mean is settled by :mod:`telemetry.readers.headings` and the user's own heading map. A table
with GPS and motor columns yields a speed log and a motor log on one clock.

A speed without a unit is never assumed: its unit follows from the positions, or is asked for.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from typing import Final

import numpy as np
import pandas as pd

from telemetry.core.errors import (
    ColumnMapNeededError,
    DamagedLogError,
    NothingUsableError,
    PolePairsNeededError,
)
from telemetry.core.frames import (
    MOTOR_COLUMNS,
    TRACK_COLUMNS,
    Finding,
    FloatArray,
    Log,
    LogMeta,
    make_motor_log,
    make_track,
)
from telemetry.core.progress import report
from telemetry.core.sanitize import LABEL, LONG, cut, shortened
from telemetry.readers import motion_rows, motor_sanity, notes, speed_unit, stamps, table_cells
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.heading_form import example_line, form_hint
from telemetry.readers.headings import IGNORE, RPM_COLUMNS, TIME_COLUMNS, Match, best, match
from telemetry.readers.saved_columns import ExplainedTable
from telemetry.readers.table_clock import RowClock, find_clock
from telemetry.readers.table_layout import Layout, find_layout
from telemetry.readers.table_samples import Samples, look_at_cells
from telemetry.readers.text import decode, table_text

_SENTENCE: Final = re.compile(r"\$[A-Z]{5},|![A-Z]{2}VD[MO],")
_CONTROL: Final = re.compile(r"[\x01-\x08\x0e-\x1f]")
# Quantities whose customary unit is beyond doubt even where none is stated.
_CUSTOMARY_UNITS: Final = {"alt_m", "esc_temp_c", "motor_temp_c", "ax_mps2", "ay_mps2", "az_mps2"}
_LIKELY_SPEED: Final = ("speed", "spd", "v", "km", "mph", "tempo", "fahrt")
_LIKELY_TIME: Final = ("time", "wann", "when", "clock", "stamp")
_ANGLES: Final = ("lat_deg", "lon_deg")
_MAX_LISTED: Final = 25


def _sniff(head: bytes) -> bool:
    text = decode(head)[0].replace("\0", "")
    if text.lstrip()[:1] in ("", "<", "{") or _CONTROL.search(text) or _SENTENCE.search(text):
        return False
    lines = text.splitlines()
    return any(delimiter in line for line in lines for delimiter in ",;\t")


def explain_table(data: bytes, file: str, options: ReadOptions) -> ExplainedTable:
    """Return what the options say about one table.

    Raises
    ------
    DamagedLogError, ColumnMapNeededError
        If the table has no line of headings that could be found.
    """
    layout = find_layout(table_text(data), file)
    return options.about(layout.headings, layout.units)


def _read(data: bytes, file: str, options: ReadOptions) -> tuple[Log, ...]:
    text = table_text(data)
    layout = find_layout(text, file)
    said = options.about(layout.headings, layout.units)
    try:
        matches = match(layout.headings, layout.units, said.columns)
    except ValueError as error:
        raise ColumnMapNeededError(
            f"the heading map does not fit: {error}",
            headings=layout.headings,
            file=file,
            hint=form_hint(file),
        ) from error
    columns = best(matches)
    left = frozenset(
        at for at, heading in enumerate(layout.headings) if said.columns.get(heading.strip()) == IGNORE
    )
    samples = look_at_cells(text, layout, columns, left)
    matches += samples.matches
    columns |= {m.column: m for m in samples.matches}
    findings = _remembered(said) + _unread(layout, matches, columns, samples)
    is_speed_log = {"lat_deg", "lon_deg"} <= columns.keys() or "speed_mps" in columns
    if not is_speed_log and not (columns.keys() & MOTOR_COLUMNS.keys() or columns.keys() & set(RPM_COLUMNS)):
        raise _map_needed("no heading names a position, a speed or a motor quantity", layout, file)
    if not columns.keys() & set(TIME_COLUMNS):
        raise _map_needed("no heading names the time", layout, file, "clock")

    report(0.1)
    positions = {m.position for m in columns.values()} | samples.positions
    frame, bad_lines = _parse(text, layout, positions, file)
    report(0.7)
    if bad_lines:
        findings.append(Finding("bad-lines", "lines with too many cells were skipped", bad_lines))
    beside = None if samples.milliseconds is None else frame[samples.milliseconds]
    clock = find_clock(columns, lambda m: frame[m.position], is_speed_log, beside)
    if clock is None:
        raise NothingUsableError(
            "none of its rows has a time that can be read", file=file, hint=form_hint(file)
        )
    return _Table(frame, layout, columns, samples, clock, findings, file).logs(said)


def _map_needed(
    reason: str, layout: Layout, file: str, column: str = "speed_mps:km/h"
) -> ColumnMapNeededError:
    # The heading that most likely means the column, as an example that can be copied.
    hints = _LIKELY_TIME if column == "clock" else _LIKELY_SPEED
    likely = [h for h in layout.headings if any(word in h.lower() for word in hints)]
    heading = (likely or [h for h in layout.headings if h] or ["V GPS"])[0]
    return ColumnMapNeededError(
        f"{reason}; its headings are: {_listed(layout.headings)}",
        headings=layout.headings,
        file=file,
        place=f"line {layout.heading_line}",
        hint=form_hint(file, example_line(shortened(heading, LABEL), column)),
    )


def _listed(headings: Iterable[str]) -> str:
    return ", ".join(cut(headings, _MAX_LISTED, LABEL))


def _remembered(said: ExplainedTable) -> list[Finding]:
    if said.kept is None:
        return []
    when, what = shortened(said.kept.kept_utc[:10], LABEL), shortened(said.kept.text(), LONG)
    return [
        Finding("heading-map-kept", f"read as tables with these headings were explained on {when}: {what}")
    ]


def _unread(
    layout: Layout, matches: list[Match], columns: dict[str, Match], samples: Samples
) -> list[Finding]:
    findings = []
    second = [m for m in matches if columns[m.column] is not m and m.column not in TIME_COLUMNS]
    if second:
        left = _listed(m.heading for m in second)
        used = _listed(sorted({columns[m.column].heading for m in second}))
        message = f"{left}: left aside for {used}, which says the same more plainly"
        findings.append(Finding("column-chosen", message, len(second)))
    named = {m.position for m in matches} | samples.positions
    unknown = [h for i, h in enumerate(layout.headings) if i not in named and h]
    if unknown:
        findings.append(Finding("columns-unread", f"headings not read: {_listed(unknown)}", len(unknown)))
    return findings


def _parse(text: str, layout: Layout, positions: set[int], file: str) -> tuple[pd.DataFrame, int]:
    """Read the columns at some positions; returns them by position, and how many lines had too many cells."""
    body = text[layout.body_at :]
    if not body.endswith("\n"):
        body += "\n"
    for quoting in (0, 3):  # csv.QUOTE_MINIMAL; then csv.QUOTE_NONE, for a table with a lone quotation mark
        try:
            frame = pd.read_csv(
                io.StringIO(body),
                sep=layout.delimiter,
                decimal=layout.decimal,
                header=None,
                names=list(range(layout.width)),
                usecols=sorted(positions),
                index_col=False,
                engine="c",
                low_memory=False,
                skipinitialspace=True,
                on_bad_lines="skip",
                quoting=quoting,
            )
        except pd.errors.ParserError:
            continue
        lines = sum(1 for _ in re.finditer(r"[^\n]+", body))
        return frame, max(0, lines - len(frame))
    raise DamagedLogError("its rows cannot be told apart", file=file, hint="export the table again")


def _left_aside(present: list[Match], chosen: Match) -> list[Finding]:
    """Report the columns of rpm that are not read, and why."""
    at = present.index(chosen)
    without, farther = present[:at], present[at + 1 :]
    findings = []
    for others, why in ((without, "which has numbers"), (farther, "which is nearer the shaft")):
        if others:
            left = _listed(m.heading for m in others)
            message = f"{left}: left aside for {chosen.shown}, {why}"
            findings.append(Finding("column-chosen", message, len(others)))
    return findings


class _Table:
    """A parsed table on its way to one or two logs."""

    def __init__(
        self,
        frame: pd.DataFrame,
        layout: Layout,
        columns: dict[str, Match],
        samples: Samples,
        clock: RowClock,
        findings: list[Finding],
        file: str,
    ) -> None:
        self._frame = frame
        self._layout = layout
        self._columns = columns
        self._hemispheres = samples.hemispheres
        self._units_in_cells: set[str] = set()
        self._clock = clock
        self._file = file
        self._decimal = layout.decimal
        self._findings = [*findings, *clock.findings]
        kept = clock.timed.copy()
        untimed = int((~kept).sum())
        if untimed:
            self._findings.append(Finding("no-time", "rows without a time were left out", untimed))
        if clock.dated:
            believed = stamps.believable(clock.stamp_us[kept])
            self._findings += notes.odd_stamps(clock.stamp_us[kept], believed)
            kept[kept] = believed
            self._findings += notes.before_gps(clock.stamp_us[kept])
        rows = np.flatnonzero(kept)
        order = stamps.chronological(clock.stamp_us[rows]) if clock.dated else None
        if order is not None:
            self._findings += notes.sorted_by_time(clock.stamp_us[rows])
            rows = rows[order]
        self._rows = rows
        self._stamp_us = clock.stamp_us[rows]
        self._t_s = stamps.seconds(self._stamp_us)

    def logs(self, said: ExplainedTable) -> tuple[Log, ...]:
        """Build the speed log and the motor log, whichever the table holds."""
        track = {name: self._values(m) for name, m in self._columns.items() if name in TRACK_COLUMNS}
        motor = {
            name: self._values(m)
            for name, m in self._columns.items()
            if name in MOTOR_COLUMNS and name not in RPM_COLUMNS
        }
        motor_findings: list[Finding] = []
        rpm = self._shaft_rpm(said, motor_findings)
        if rpm is not None:
            motor["rpm"] = rpm
        has_motor = any(np.isfinite(values).any() for values in motor.values())
        track = self._with_speed_unit(track, has_motor)
        if "fix" in track:
            track["fix"] = np.clip(track["fix"], 0.0, 1.0)
        has_track = {"lat_deg", "lon_deg"} <= track.keys() or "speed_mps" in track
        start_utc = stamps.utc(int(self._stamp_us[0])) if self._clock.dated else None
        logs: list[Log] = []
        if motor_findings and not has_motor and not has_track:
            asked = motor_findings[0].message
            raise PolePairsNeededError(asked, file=self._file, hint="say how many pole pairs the motor has")
        if has_track:
            # What the motor lacks is told of the speed log where it is all that the table yields.
            lacking = [] if has_motor else motor_findings
            findings = [*self._findings, *notes.no_fix(track, self._t_s), *lacking]
            meta = LogMeta(self._file, "table", start_utc=start_utc, clock=self._clock.source)
            logs.append(self._track(track, meta, findings))
        if has_motor or not has_track:
            source = self._clock.source if has_track else "controller"
            motor, sanity = motor_sanity.check_motor(motor, self._t_s)
            meta = LogMeta(self._file, "table", start_utc=start_utc, clock=source)
            logs.append(make_motor_log(motor, self._t_s, meta, [*self._findings, *motor_findings, *sanity]))
        return tuple(logs)

    def _track(self, track: dict[str, FloatArray], meta: LogMeta, findings: list[Finding]) -> Log:
        """Build the speed log, with the motion at its own rate where the fixes are sparse."""
        rows = motion_rows.fix_rows(track)
        if rows is None:
            return make_track(track, self._t_s, meta, findings)
        track, motion = motion_rows.split_motion(track, self._t_s, rows)
        message = "accelerations and turn rates are kept at their own rate beside the fixes; rows"
        told = Finding("motion-rate", message, len(motion))
        return make_track(track, self._t_s[rows], meta, [*findings, told], motion)

    def _values(self, m: Match) -> FloatArray:
        """Return a column in its frame unit; cells that are not numbers become NaN, with a finding."""
        cells = self._frame[m.position].iloc[self._rows]
        if m.part >= 0:
            return self._counted(m, cells, table_cells.pair_part(cells.astype("str"), m.part))
        if not pd.api.types.is_numeric_dtype(cells):
            texts = cells.astype("str").str.strip()
            if self._decimal == ",":
                texts = texts.str.replace(",", ".", regex=False)
            numbers = pd.to_numeric(texts, errors="coerce").to_numpy(dtype=np.float64)
            values = self._scaled(m, numbers)
            rest = np.isnan(numbers)
            if rest.any():
                is_angle = m.column in _ANGLES
                more = table_cells.angles_deg(texts) if is_angle else table_cells.with_units(texts, m.column)
                values = np.where(rest, more, values)
                if not is_angle and np.isfinite(more).any():
                    self._units_in_cells.add(m.column)
            values = self._counted(m, cells, values)
        else:
            values = self._scaled(m, cells.to_numpy(dtype=np.float64))
        if not m.unit and m.column in _CUSTOMARY_UNITS and m.column not in self._units_in_cells:
            spec = {**TRACK_COLUMNS, **MOTOR_COLUMNS}[m.column]
            self._findings.append(
                Finding("unit-assumed", f"{m.shown!r} states no unit; {spec.unit} was assumed")
            )
        return self._with_hemisphere(m, values)

    @staticmethod
    def _scaled(m: Match, numbers: FloatArray) -> FloatArray:
        with np.errstate(over="ignore"):  # what no float holds becomes infinite, and so out of any range
            return np.asarray(numbers * m.factor + m.offset, dtype=np.float64)

    def _counted(self, m: Match, cells: pd.Series, values: FloatArray) -> FloatArray:
        """Report the cells that hold something and could not be read."""
        filled = cells.notna() & (cells.astype("str").str.strip() != "")
        bad = int((filled.to_numpy(dtype=np.bool_) & np.isnan(values)).sum())
        if bad:
            self._findings.append(
                Finding("bad-number", f"{m.shown!r}: cells that are no number were left out", bad)
            )
        return values

    def _with_hemisphere(self, m: Match, values: FloatArray) -> FloatArray:
        """Apply the hemisphere that stands in a column of its own."""
        position = self._hemispheres.get(m.column)
        if position is None:
            return values
        limit = 90.0 if m.column == "lat_deg" else 180.0
        known = values[np.isfinite(values) & (values != 0.0)]
        if known.size and float(np.median(np.abs(known))) > limit:
            values = table_cells.degrees_of_nmea(values)
            message = f"{m.shown!r}: degrees and minutes in one number, as receivers write them, were assumed"
            self._findings.append(Finding("unit-assumed", message))
        signs = table_cells.hemisphere_signs(self._frame[position].iloc[self._rows])
        return np.where(np.isnan(signs), values, np.abs(values) * np.nan_to_num(signs))

    def _shaft_rpm(self, said: ExplainedTable, findings: list[Finding]) -> FloatArray | None:
        """Propeller-shaft rpm from the first that has numbers: the shaft's, the motor's or electrical rpm."""
        present = [self._columns[name] for name in RPM_COLUMNS if name in self._columns]
        if not present:
            return None
        numbers = {m.column: self._values(m) for m in present}
        m = next((m for m in present if np.isfinite(numbers[m.column]).any()), present[0])
        self._findings += _left_aside(present, m)
        gear_ratio = 1.0 if said.gear_ratio is None else said.gear_ratio
        if m.column == "rpm":
            return numbers["rpm"]
        if m.column == "motor_rpm":
            return numbers["motor_rpm"] / gear_ratio
        if said.pole_pairs is None:
            findings.append(
                Finding(
                    "pole-pairs-unknown",
                    f"{m.shown!r} counts electrical turns; give the motor's pole pairs to get rpm",
                )
            )
            return None
        return numbers["erpm"] / said.pole_pairs / gear_ratio

    def _with_speed_unit(self, track: dict[str, FloatArray], has_motor: bool) -> dict[str, FloatArray]:
        """Bring a speed without a unit to m/s by the positions, or refuse to guess."""
        m = self._columns.get("speed_mps")
        if m is None or m.unit or m.column in self._units_in_cells:
            return track
        if not np.isfinite(track["speed_mps"]).any():
            return track
        ratio = float("nan")
        if {"lat_deg", "lon_deg"} <= track.keys():
            unit, ratio = speed_unit.from_positions(
                track["speed_mps"], self._t_s, track["lat_deg"], track["lon_deg"]
            )
            if unit is not None:
                message = (
                    f"{m.shown!r} states no unit; against the positions it is in {unit} (ratio {ratio:.3f})"
                )
                self._findings.append(Finding("speed-unit", message))
                return {**track, "speed_mps": track["speed_mps"] * speed_unit.UNITS_MPS[unit]}
        elif has_motor:
            self._findings.append(Finding("speed-unit", f"{m.shown!r} states no unit and was left out"))
            return {name: values for name, values in track.items() if name != "speed_mps"}
        why = (
            "nothing tells which it is" if np.isnan(ratio) else f"it is {ratio:.2f} times the positions' m/s"
        )
        raise ColumnMapNeededError(
            f"the speed {m.shown!r} states no unit and {why}",
            headings=self._layout.headings,
            file=self._file,
            hint=form_hint(self._file, example_line(m.shown, "speed_mps:km/h")),
        )


READER = LogReader("table", (".csv", ".txt", ".tsv"), _sniff, _read)
