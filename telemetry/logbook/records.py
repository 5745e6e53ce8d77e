"""What the logbook hands out and takes: plain frozen records."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from telemetry.analysis import Analysis
from telemetry.cleaning.corrections import Correction
from telemetry.core.errors import LogError
from telemetry.motor.power import Limits
from telemetry.setup import OwnItem

Sort = Literal["date", "two-way", "peak", "place", "boat"]


@dataclass(frozen=True, slots=True)
class Boat:
    """A boat.

    Attributes
    ----------
    name : str
        What its owner calls it; the logbook knows it by this.
    hull_kind : str
        Such as ``catamaran``, ``outrigger`` or ``deep-V``.
    length_m : float or None
        Of the hull [m].
    note : str
    limits : Limits
        What its motor, controller and pack must not exceed.
    own_items : tuple of OwnItem
        Setup items that only this boat has.
    """

    name: str
    hull_kind: str = ""
    length_m: float | None = None
    note: str = ""
    limits: Limits = field(default_factory=Limits)
    own_items: tuple[OwnItem, ...] = ()


@dataclass(frozen=True, slots=True)
class Conditions:
    """What an outing was like, as its driver saw it; None and empty where nobody said.

    Attributes
    ----------
    place : str
    wind_mps, wind_from_deg : float or None
        Mean wind, and where it came from, clockwise from north [m/s, deg].
    water : str
        Such as ``flat``, ``ripples`` or ``chop``.
    air_c, water_c : float or None
        Temperatures [°C].
    pack : str
        Which pack was aboard.
    note : str
    """

    place: str = ""
    wind_mps: float | None = None
    wind_from_deg: float | None = None
    water: str = ""
    air_c: float | None = None
    water_c: float | None = None
    pack: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class NamedLog:
    """A log's bytes with the name of the file they came in."""

    file: str
    data: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class StoredLog:
    """A log in the logbook: the file's name, the SHA-256 of its bytes, and their number."""

    file: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Outing:
    """One outing as lists show it; speeds are those of its latest analysis [m/s].

    Attributes
    ----------
    id : int
    boat, sheet_id, sheet_name : str
    start_utc : datetime or None
        None when no log says which day it was and nobody did.
    conditions : Conditions
    logs : tuple of StoredLog
        In the order in which they were given.
    passes, two_ways : int
        How many were found.
    best_two_way_mps, best_two_way_u95_mps, best_verdict
        The best by the rule asked for, with its verdict; None without a two-way.
    best_peak_mps, best_peak_u95_mps
        Of all passes; None without a pass.
    program_version : str
        Which version of the program made the analysis.
    added_utc : datetime
    """

    id: int
    boat: str
    sheet_id: str
    sheet_name: str
    start_utc: datetime | None
    conditions: Conditions
    logs: tuple[StoredLog, ...]
    passes: int
    two_ways: int
    best_two_way_mps: float | None
    best_two_way_u95_mps: float | None
    best_verdict: str | None
    best_peak_mps: float | None
    best_peak_u95_mps: float | None
    program_version: str
    added_utc: datetime


@dataclass(frozen=True, slots=True)
class SavedTwoWay:
    """One two-way of an outing's latest analysis.

    Attributes
    ----------
    outing_id : int
    two_way_id, rule : str
        As the outing's analysis calls it, and by which rule it was judged.
    start_utc : datetime or None
        When its first pass began.
    distance_m, average_mps, u95_mps : float
        The measured distance, the figure, and half its 95 % interval [m, m/s].
    verdict : str
    """

    outing_id: int
    two_way_id: str
    rule: str
    start_utc: datetime | None
    distance_m: float
    average_mps: float
    u95_mps: float
    verdict: str


@dataclass(frozen=True, slots=True)
class SavedIncident:
    """A blow-over or a veer that an outing's latest analysis tells of.

    Attributes
    ----------
    outing_id : int
    kind : {"blow-over", "veer"}
    pass_id, verdict, why : str
        ``shown`` or ``possible``, with the evidence.
    start_utc : datetime or None
    """

    outing_id: int
    kind: str
    pass_id: str
    verdict: str
    why: str
    start_utc: datetime | None


@dataclass(frozen=True, slots=True)
class SavedCorrection:
    """What was corrected by hand in an outing, by whom and when; it stays when it is taken back.

    Attributes
    ----------
    id : int
    correction : Correction
        With the reason given.
    file : str
        The name of its log.
    made_utc : datetime
    who : str
        Empty where nobody said.
    back_utc : datetime or None
        When it was taken back; None while it holds.
    back_who, back_why : str
        By whom and why.
    """

    id: int
    correction: Correction
    file: str
    made_utc: datetime
    who: str
    back_utc: datetime | None = None
    back_who: str = ""
    back_why: str = ""


@dataclass(frozen=True, slots=True)
class OutingSearch:
    """Which outings, in which order.

    Attributes
    ----------
    text : str
        Words that must each occur in the place, the boat's or sheet's name, the pack or the note.
    boat, place, sheet_id : str
        Exactly these; empty for any.
    since, until : datetime or None
        Started at or after, and before.
    two_way_mps, peak_mps : (float or None, float or None)
        Lowest and highest best two-way or peak [m/s].
    sort : {"date", "two-way", "peak", "place", "boat"}
        Those without the speed come last either way; an undated one stands where it was added.
    descending : bool
    limit, offset : int or None and int
        Which part of the answer.
    """

    text: str = ""
    boat: str = ""
    place: str = ""
    sheet_id: str = ""
    since: datetime | None = None
    until: datetime | None = None
    two_way_mps: tuple[float | None, float | None] = (None, None)
    peak_mps: tuple[float | None, float | None] = (None, None)
    sort: Sort = "date"
    descending: bool = True
    limit: int | None = None
    offset: int = 0


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did.

    Attributes
    ----------
    outing : Outing
        As it now stands in the logbook.
    analysis : Analysis
        What was made of its logs.
    unused : tuple of LogError
        Logs that could not be used, and are not in the logbook.
    """

    outing: Outing
    analysis: Analysis
    unused: tuple[LogError, ...]
