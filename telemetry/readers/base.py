"""What a reader is: the pair of functions and the options that every format shares."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from telemetry.frames import Log


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
    pole_pairs : int
        Pole pairs of the motor, to turn electrical rpm into motor rpm.
    gear_ratio : float
        Motor turns per propeller-shaft turn; 1 for direct drive.
    """

    headings: Mapping[str, str] = field(default_factory=dict)
    pole_pairs: int | None = None
    gear_ratio: float = 1.0


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
        motor columns yields both, on one clock. Raises only :class:`telemetry.errors.LogError`.
    """

    name: str
    suffixes: tuple[str, ...]
    sniff: Callable[[bytes], bool]
    read: Callable[[bytes, str, ReadOptions], tuple[Log, ...]]
