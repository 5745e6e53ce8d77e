"""The passes of all outings, as lists to choose from show them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select

from telemetry.logbook.history import BoatHistory
from telemetry.logbook.tables import BoatRow, OutingRow, PassRow, SheetRow


@dataclass(frozen=True, slots=True)
class SavedPass:
    """One pass of an outing's latest analysis.

    Attributes
    ----------
    outing_id : int
    pass_id : str
        As the outing's analysis calls it.
    boat, sheet_name : str
    start_utc : datetime or None
        When the pass began; the outing's beginning where only that is known.
    heading_deg : float or None
    peak_mps : float
    """

    outing_id: int
    pass_id: str
    boat: str
    sheet_name: str
    start_utc: datetime | None
    heading_deg: float | None
    peak_mps: float


class PassList(BoatHistory):
    """Lists of passes."""

    def passes(self, *, outing_id: int | None = None, limit: int | None = None) -> tuple[SavedPass, ...]:
        """List passes, those of the latest outing first, in each outing in order of time.

        Parameters
        ----------
        outing_id : int, optional
            Of this outing alone.
        limit : int, optional
            At most so many.
        """
        query = (
            select(
                PassRow.outing_id,
                PassRow.pass_id,
                BoatRow.name,
                SheetRow.name,
                func.coalesce(PassRow.start_utc, OutingRow.start_utc),
                PassRow.heading_deg,
                PassRow.peak_mps,
            )
            .join(OutingRow, OutingRow.id == PassRow.outing_id)
            .join(BoatRow, BoatRow.id == OutingRow.boat_id)
            .join(SheetRow, SheetRow.id == OutingRow.sheet_id)
            .order_by(OutingRow.when_utc.desc(), OutingRow.id.desc(), PassRow.position)
            .limit(limit)
        )
        if outing_id is not None:
            query = query.where(PassRow.outing_id == outing_id)
        with self._reading() as session:
            return tuple(SavedPass(*row) for row in session.execute(query))

    def count_passes(self) -> int:
        """Count the passes of all outings."""
        with self._reading() as session:
            return session.scalar(select(func.count()).select_from(PassRow)) or 0
