"""The tables of the logbook.

What a user wrote or logged is in ``boats``, ``sheets``, ``founds``, ``outings``, ``logs``, ``outing_logs``,
``corrections``, ``services`` and ``services_done``; the program never changes it by itself. ``analyses``
holds what each version of the program made of it; ``passes`` and ``two_ways`` repeat the latest as numbers to
search and compare by.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

_NAMES = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Utc(TypeDecorator[datetime]):
    """A moment in UTC to the microsecond, on databases with time zones and without."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a time without a zone; hand over UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the zone back."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """What all tables share: names of constraints that migrations can rely on, and one type for each kind."""

    metadata = MetaData(naming_convention=_NAMES)
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy reads it as a class attribute
        str: Text,
        float: Double,
        bytes: LargeBinary,
        datetime: Utc,
        dict[str, Any]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
    }


class BoatRow(Base):
    """A boat; ``folded`` is its name as searches compare it."""

    __tablename__ = "boats"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    folded: Mapped[str] = mapped_column(unique=True)
    hull_kind: Mapped[str]
    length_m: Mapped[float | None]
    note: Mapped[str]
    limits: Mapped[dict[str, Any]]
    own_items: Mapped[list[Any]]
    made_utc: Mapped[datetime]


class SheetRow(Base):
    """A setup sheet: what it says never changes, its id is the hash of that."""

    __tablename__ = "sheets"

    id: Mapped[str] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(ForeignKey("boats.id"), index=True)
    parent_id: Mapped[str | None] = mapped_column(ForeignKey("sheets.id"))
    name: Mapped[str]
    made_utc: Mapped[datetime]
    document: Mapped[dict[str, Any]]


class FoundRow(Base):
    """What was measured on a boat at the bench, as found."""

    __tablename__ = "founds"

    id: Mapped[int] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(ForeignKey("boats.id"), index=True)
    found_utc: Mapped[datetime]
    document: Mapped[dict[str, Any]]


class LogRow(Base):
    """A log, byte for byte, under the SHA-256 of its bytes."""

    __tablename__ = "logs"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    size_bytes: Mapped[int]
    packing: Mapped[str]
    content: Mapped[bytes] = mapped_column(deferred=True)


class OutingRow(Base):
    """One visit to the water with one boat.

    ``when_utc`` is its start, or when it was added where nobody knows; ``place_folded`` and ``words`` are
    what searches compare; the last columns repeat the analysis for lists.
    """

    __tablename__ = "outings"
    __table_args__ = (
        Index("ix_outings_boat_id_when_utc", "boat_id", "when_utc"),
        Index("ix_outings_boat_id_best_two_way_mps", "boat_id", "best_two_way_mps"),
        {"sqlite_autoincrement": True},  # the number of an outing that was taken out is never given again
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(ForeignKey("boats.id"))
    sheet_id: Mapped[str] = mapped_column(ForeignKey("sheets.id"), index=True)
    start_utc: Mapped[datetime | None] = mapped_column(index=True)
    when_utc: Mapped[datetime] = mapped_column(index=True)
    place: Mapped[str]
    place_folded: Mapped[str] = mapped_column(index=True)
    words: Mapped[str]
    wind_mps: Mapped[float | None]
    wind_from_deg: Mapped[float | None]
    water: Mapped[str]
    air_c: Mapped[float | None]
    water_c: Mapped[float | None]
    pack: Mapped[str]
    note: Mapped[str]
    added_utc: Mapped[datetime]
    program_version: Mapped[str] = mapped_column(index=True)
    pass_count: Mapped[int]
    two_way_count: Mapped[int]
    best_two_way_mps: Mapped[float | None] = mapped_column(index=True)
    best_two_way_u95_mps: Mapped[float | None]
    best_verdict: Mapped[str | None]
    best_peak_mps: Mapped[float | None] = mapped_column(index=True)
    best_peak_u95_mps: Mapped[float | None]
    under_way_s: Mapped[float | None]


class OutingLogRow(Base):
    """Which logs an outing has; a log belongs to one outing only."""

    __tablename__ = "outing_logs"

    sha256: Mapped[str] = mapped_column(ForeignKey("logs.sha256"), primary_key=True)
    outing_id: Mapped[int] = mapped_column(ForeignKey("outings.id", ondelete="CASCADE"), index=True)
    position: Mapped[int]
    file: Mapped[str]


class CorrectionRow(Base):
    """What a person corrected by hand in a log of an outing; one taken back stays, with when and by whom.

    ``kind`` is ``cut`` or ``restored`` with a span, or ``clock`` with the rest; ``sha256`` names the log.
    """

    __tablename__ = "corrections"
    __table_args__ = ({"sqlite_autoincrement": True},)  # a number once told is never another correction's

    id: Mapped[int] = mapped_column(primary_key=True)
    outing_id: Mapped[int] = mapped_column(ForeignKey("outings.id", ondelete="CASCADE"), index=True)
    sha256: Mapped[str]
    kind: Mapped[str]
    start_s: Mapped[float | None]
    end_s: Mapped[float | None]
    speed_sha256: Mapped[str | None]
    offset_s: Mapped[float | None]
    drift_ppm: Mapped[float | None]
    u95_s: Mapped[float | None]
    why: Mapped[str]
    who: Mapped[str]
    made_utc: Mapped[datetime]
    back_utc: Mapped[datetime | None]
    back_who: Mapped[str]
    back_why: Mapped[str]


class AnalysisRow(Base):
    """What one version of the program made of an outing, and what it had been asked."""

    __tablename__ = "analyses"
    __table_args__ = (UniqueConstraint("outing_id", "program_version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    outing_id: Mapped[int] = mapped_column(ForeignKey("outings.id", ondelete="CASCADE"))
    program_version: Mapped[str]
    made_utc: Mapped[datetime]
    request: Mapped[dict[str, Any]]
    document: Mapped[bytes] = mapped_column(deferred=True)


class PassRow(Base):
    """One pass of an outing's latest analysis, as numbers.

    ``distances`` lists measured distances with the best average over each and half its 95 % interval.
    """

    __tablename__ = "passes"

    outing_id: Mapped[int] = mapped_column(ForeignKey("outings.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    pass_id: Mapped[str]
    start_utc: Mapped[datetime | None]
    heading_deg: Mapped[float | None]
    way: Mapped[str]
    length_m: Mapped[float]
    peak_mps: Mapped[float]
    peak_u95_mps: Mapped[float]
    held_1s_mps: Mapped[float | None]
    held_1s_u95_mps: Mapped[float | None]
    distances: Mapped[list[Any]]
    ripple_mps: Mapped[float | None]
    slip: Mapped[float | None]
    slip_u95: Mapped[float | None]
    peak_current_a: Mapped[float | None]
    motor_temp_c: Mapped[float | None]
    esc_temp_c: Mapped[float | None]
    rest_voltage_v: Mapped[float | None]


class TwoWayRow(Base):
    """One two-way of an outing's latest analysis; ``apart`` marks those that share no pass."""

    __tablename__ = "two_ways"

    outing_id: Mapped[int] = mapped_column(ForeignKey("outings.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    two_way_id: Mapped[str]
    first_position: Mapped[int]
    second_position: Mapped[int]
    rule: Mapped[str]
    mean: Mapped[str]
    distance_m: Mapped[float]
    average_mps: Mapped[float]
    u95_mps: Mapped[float]
    u_independent_mps: Mapped[float]
    u_shared_mps: Mapped[float]
    verdict: Mapped[str]
    apart: Mapped[bool]


class ServiceRow(Base):
    """What is to be looked after on a boat, with its interval."""

    __tablename__ = "services"
    __table_args__ = (UniqueConstraint("boat_id", "task"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(ForeignKey("boats.id"))
    task: Mapped[str]
    document: Mapped[dict[str, Any]]


class ServiceDoneRow(Base):
    """What was done on a boat, and when."""

    __tablename__ = "services_done"
    __table_args__ = (Index("ix_services_done_boat_id_task", "boat_id", "task"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(ForeignKey("boats.id"))
    task: Mapped[str]
    done_utc: Mapped[datetime]
    note: Mapped[str]
