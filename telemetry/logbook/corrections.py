"""An outing's logs corrected by hand, and corrections taken back: recorded, and analysed again at once."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from telemetry.analysis import Analysis
from telemetry.cleaning.corrections import ByHand, Correction, group_corrections
from telemetry.core.errors import LogbookError
from telemetry.logbook.correction_rows import (
    end_corrections,
    rows_in_force,
    saved_corrections,
    write_corrections,
)
from telemetry.logbook.importing import digest, prepare, read_outing_logs, storable_correction
from telemetry.logbook.outings import Outings
from telemetry.logbook.records import SavedCorrection
from telemetry.logbook.tables import OutingLogRow
from telemetry.logbook.writing import write_analysis


class Correcting(Outings):
    """What was corrected by hand in outings."""

    def corrections(self, outing_id: int) -> tuple[SavedCorrection, ...]:
        """List what was ever corrected in an outing, taken back or not, the oldest first.

        Raises
        ------
        LogbookError
            If there is no such outing.
        """
        with self._reading() as session:
            self._found(session, outing_id)
            return saved_corrections(session, outing_id)

    def correct_by_hand(
        self, outing_id: int, corrections: Sequence[Correction], *, who: str = ""
    ) -> Analysis:
        """Correct an outing's logs by hand and analyse it again: both are kept, or neither.

        Parameters
        ----------
        outing_id : int
        corrections : sequence of Correction
        who : str
            Who says so.

        Raises
        ------
        LogbookError
            If there is no such outing, or it does not have a log that is to be corrected.
        CallError
            If a correction cannot be meant.
        """
        with self._reading() as session:
            self._found(session, outing_id)
            hashes = {digest(log.data) for log in self._logs(session, outing_id)}
        if not {log for one in corrections for log in one.logs} <= hashes:
            raise LogbookError(
                f"outing {outing_id} has no such log", file=self.where, hint="correct one of its own logs"
            )
        return self._analysed_with(
            outing_id,
            lambda before: before.with_(*corrections),
            lambda session: write_corrections(session, outing_id, corrections, who),
        )

    def take_back(self, outing_id: int, ids: Sequence[int], *, who: str = "", why: str = "") -> Analysis:
        """Take corrections back and analyse the outing again; the record of them stays.

        Raises
        ------
        LogbookError
            If there is no such outing, or a correction of it by that number does not hold.
        """
        kept = {one.id: one for one in self.corrections(outing_id) if one.back_utc is None}
        unknown = [number for number in ids if number not in kept]
        if unknown or not ids:
            raise LogbookError(
                f"no correction {', '.join(map(str, unknown))} of outing {outing_id} holds",
                file=self.where,
                hint=f"list them with `reciprocal show {outing_id}`",
            )
        return self._analysed_with(
            outing_id,
            lambda before: before.without(*(kept[number].correction for number in ids)),
            lambda session: end_corrections(rows_in_force(session, outing_id, ids), who, why),
        )

    def outing_with(self, hashes: Collection[str]) -> int | None:
        """Return the outing that has one of these logs, the first; None where none has."""
        with self._reading() as session:
            query = select(OutingLogRow.outing_id).where(OutingLogRow.sha256.in_(hashes))
            return session.scalar(query.order_by(OutingLogRow.outing_id).limit(1))

    def hold_to(self, outing_id: int, by_hand: ByHand, *, who: str = "") -> Analysis:
        """Make these an outing's corrections: others that hold are taken back, new ones recorded.

        Parameters
        ----------
        outing_id : int
        by_hand : ByHand
            What is of logs that the outing does not have is left out.
        who : str

        Raises
        ------
        LogbookError
            If there is no such outing.
        """
        with self._reading() as session:
            self._found(session, outing_id)
            hashes = {digest(log.data) for log in self._logs(session, outing_id)}
        mine = group_corrections(
            [storable_correction(one) for one in by_hand.all if hashes.issuperset(one.logs)]
        )

        def write(session: Session) -> None:
            kept = saved_corrections(session, outing_id)
            gone = [k.id for k in kept if k.back_utc is None and k.correction not in mine.all]
            end_corrections(rows_in_force(session, outing_id, gone), who, "")
            write_corrections(session, outing_id, mine.all, who)

        return self._analysed_with(outing_id, lambda _: mine, write)

    def _analysed_with(
        self, outing_id: int, change: Callable[[ByHand], ByHand], write: Callable[[Session], None]
    ) -> Analysis:
        """Analyse with other corrections, then write them and the analysis together."""
        with self._reading() as session:
            basis = self._basis(session, outing_id)
            logs = self._logs(session, outing_id)
            request, options = self._asked(session, outing_id)
        request = replace(request, by_hand=change(request.by_hand))
        prepared = prepare(read_outing_logs(logs, options).read, request, options)
        with self._writing() as session:
            outing, _, _ = self._found(session, outing_id)
            self._hold_to_basis(session, outing_id, basis)
            write(session)
            write_analysis(session, outing, prepared)
        return prepared.analysis
