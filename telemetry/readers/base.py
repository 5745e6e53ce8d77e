"""What a reader is: the pair of functions and the options that every format shares."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from telemetry.core.frames import Log
from telemetry.readers.saved_columns import ExplainedTable, SavedColumnMap, table_id


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the user may have to tell a reader.

    Attributes
    ----------
    headings : mapping of str to str
        The user's heading map for tables: a heading as it stands in the file to ``"column"`` or
        ``"column:unit"`` (``{"U batt": "voltage_v", "V GPS": "speed_mps:km/h"}``), or to ``"ignore"``. Beside
        the names of the frames a column may be ``utc``, ``clock``, ``date``, ``host`` or ``elapsed`` (times)
        and ``motor_rpm`` or ``erpm``. What it does not name is left to the built-in spellings.
    pole_pairs : int or None
        Pole pairs of the motor, to turn electrical rpm into motor rpm.
    gear_ratio : float or None
        Motor turns per propeller-shaft turn; where nobody says, 1 for direct drive.
    kept : mapping of str to SavedColumnMap
        What was said before, by :func:`telemetry.readers.saved_columns.table_id`. It completes what is said
        now, which goes before it.
    """

    headings: Mapping[str, str] = field(default_factory=dict)
    pole_pairs: int | None = None
    gear_ratio: float | None = None
    kept: Mapping[str, SavedColumnMap] = field(default_factory=dict)

    def about(self, headings: tuple[str, ...], units: tuple[str, ...]) -> ExplainedTable:
        """Gather what is said of a table with these headings and this row of units."""
        there = {heading.strip() for heading in headings}
        given = {h.strip(): column for h, column in self.headings.items() if h.strip() in there}
        kept = self.kept.get(table_id(headings, units))
        if kept is None:
            return ExplainedTable(headings, units, given, self.pole_pairs, self.gear_ratio, None)
        remembered = kept.columns_of(headings)
        poles = kept.pole_pairs if self.pole_pairs is None else self.pole_pairs
        gear = kept.gear_ratio if self.gear_ratio is None else self.gear_ratio
        used = (
            remembered.keys() - given.keys()
            or (kept.pole_pairs is not None and self.pole_pairs is None)
            or (kept.gear_ratio is not None and self.gear_ratio is None)
        )
        return ExplainedTable(headings, units, remembered | given, poles, gear, kept if used else None)


@dataclass(frozen=True, slots=True)
class LogReader:
    """One format.

    Attributes
    ----------
    name : str
        The format's name in reports.
    suffixes : tuple of str
        Usual file endings, lower case with the dot: for file choosers only, never to decide the format.
    sniff : callable
        ``sniff(head) -> bool`` on the first 4 KiB; must never raise.
    read : callable
        ``read(data, file, options) -> tuple of Track or MotorLog``: usually one; a table that carries GPS and
        motor columns yields both, on one clock. Raises only :class:`telemetry.core.errors.LogError`.
    """

    name: str
    suffixes: tuple[str, ...]
    sniff: Callable[[bytes], bool]
    read: Callable[[bytes, str, ReadOptions], tuple[Log, ...]]
