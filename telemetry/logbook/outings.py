"""Outings: added with their logs, found again, analysed again by a newer program."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session, undefer

from telemetry.analysis import Analysis, AnalysisProgress, Request
from telemetry.cleaning.corrections import ByHand
from telemetry.core.errors import LogbookError
from telemetry.core.sanitize import safe_file_name
from telemetry.logbook import request as asked
from telemetry.logbook.boats import Boats, boat_of
from telemetry.logbook.correction_rows import by_hand_of, write_corrections
from telemetry.logbook.importing import (
    PROGRAM_VERSION,
    Prepared,
    complete_options,
    digest,
    drop_unused_maps,
    now_utc,
    open_document,
    prepare,
    read_outing_logs,
    take_in,
    unpacked,
)
from telemetry.logbook.queries import (
    FoundOutings,
    conditions_to_columns,
    count_query,
    found_outings,
    outing_records,
    search_query,
    words_of,
)
from telemetry.logbook.records import Boat, Conditions, Imported, NamedLog, Outing, OutingSearch
from telemetry.logbook.tables import AnalysisRow, BoatRow, LogRow, OutingLogRow, OutingRow, SheetRow
from telemetry.logbook.writing import refuse_known, write_analysis, write_logs
from telemetry.motor.power import PowerOptions
from telemetry.readers import ReadOptions
from telemetry.setup import SetupSheet

Basis = tuple[str, int, datetime, ByHand]
"""What an analysis stands on: the sheet, the latest analysis by number and time, and the corrections."""


class Outings(Boats):
    """Outings with their logs and analyses."""

    def import_outing(
        self,
        logs: Iterable[Path | NamedLog],
        boat: str | Boat,
        sheet: str | SetupSheet,
        conditions: Conditions | None = None,
        *,
        request: Request | None = None,
        options: ReadOptions | None = None,
        start_utc: datetime | None = None,
        who: str = "",
        progress: AnalysisProgress | None = None,
    ) -> Imported:
        """Add an outing: its logs are read and analysed, then all is written at once or not at all.

        Parameters
        ----------
        logs : iterable of Path or NamedLog
        boat : str or Boat
            One of the logbook by its name, or a new one.
        sheet : str or SetupSheet
            One of the logbook as :meth:`sheet` takes it, or one to add.
        conditions : Conditions, optional
        request, options : optional
            What is asked of the analysis and what the readers have to be told; what they leave open of the
            power train is taken from the sheet, and limits from the boat.
        start_utc : datetime, optional
            When the outing began, where no log says so.
        who : str
            Who corrected by hand what the request says was corrected; it is recorded with the outing.
        progress : callable, optional
            Called with a step's name and the share done, 0 to 1.

        Returns
        -------
        Imported

        Raises
        ------
        LogError
            If no log can be used.
        LogbookError
            If a log is in the logbook already, or boat or sheet are not.
        """
        conditions = conditions or Conditions()
        logs = list(logs)
        self._refuse_own_files(logs, "a log")
        taken, unread = take_in(logs)
        with self._reading() as session:  # said before the long work, and checked again before the writing
            refuse_known(session, taken)
            items, its_boat = self._what_is_known(session, boat, sheet)
        request, options = asked.completed(
            request or Request(), options or ReadOptions(), items, its_boat.limits
        )
        intake = read_outing_logs(taken, options, unread, progress)
        prepared = prepare(intake.read, request, drop_unused_maps(intake.named, options), progress)
        if progress:
            progress("writing", 1.0)
        with self._writing() as session:
            refuse_known(session, intake.named)
            added_utc = now_utc()
            start_utc = prepared.start_utc or start_utc
            boat_row = (
                self._add_boat(session, boat) if isinstance(boat, Boat) else self._boat_row(session, boat)
            )
            sheet_row = self._sheet_for(session, sheet, boat_row)
            outing = OutingRow(
                boat_id=boat_row.id,
                sheet_id=sheet_row.id,
                start_utc=start_utc,
                when_utc=start_utc or added_utc,
                words=words_of(boat_row.name, sheet_row.name, conditions),
                added_utc=added_utc,
                program_version=PROGRAM_VERSION,
                **prepared.figures.summary,
                **conditions_to_columns(conditions),
            )
            session.add(outing)
            session.flush()
            write_logs(session, outing.id, intake.named)
            ours = {digest(log.data) for log in intake.named}
            write_corrections(session, outing.id, [c for c in request.by_hand.all if c.log in ours], who)
            write_analysis(session, outing, prepared)
            session.flush()
            (record,) = outing_records(session, [(outing, boat_row.name, sheet_row.name)])
        return Imported(record, prepared.analysis, intake.unused)

    def add_logs(
        self,
        outing_id: int,
        logs: Iterable[Path | NamedLog],
        *,
        options: ReadOptions | None = None,
        progress: AnalysisProgress | None = None,
    ) -> Imported:
        """Add logs to an outing that is there, such as the motor log found later, and analyse it again.

        Parameters
        ----------
        options : ReadOptions, optional
            What the readers have to be told now; what it leaves open is as they were told before.

        Raises
        ------
        LogError
            If none of them can be used.
        LogbookError
            If there is no such outing, or it or another has one of them.
        """
        logs = list(logs)
        self._refuse_own_files(logs, "a log")
        taken, unread = take_in(logs)
        with self._reading() as session:
            refuse_known(session, taken, outing_id)
            before, _, _ = self._found(session, outing_id)
            basis = self._basis(session, outing_id)
            former = self._logs(session, outing_id)
            request, told_before = self._asked(session, outing_id)
        options = complete_options(told_before, options)
        intake = read_outing_logs(taken, options, unread, progress)
        read = (*read_outing_logs(former, options).read, *intake.read)
        prepared = prepare(read, request, drop_unused_maps((*former, *intake.named), options), progress)
        with self._writing() as session:
            refuse_known(session, intake.named, outing_id)
            outing, boat, sheet = self._found(session, outing_id)
            self._hold_to_basis(session, outing_id, basis)
            outing.start_utc = prepared.start_utc or before.start_utc
            outing.when_utc = outing.start_utc or before.added_utc
            write_logs(session, outing.id, intake.named, first=len(former))
            write_analysis(session, outing, prepared)
            session.flush()
            (record,) = outing_records(session, [(outing, boat, sheet)])
        return Imported(record, prepared.analysis, intake.unused)

    def outings(self, search: OutingSearch | None = None) -> tuple[Outing, ...]:
        """List the outings that a search finds, in its order; without one all, the latest first."""
        with self._reading() as session:
            found = session.execute(search_query(search or OutingSearch())).all()
            return outing_records(session, [(row, boat, sheet) for row, boat, sheet in found])

    def count_outings(self, search: OutingSearch | None = None) -> int:
        """Count the outings that a search finds, whatever part of them it asks for."""
        with self._reading() as session:
            return session.scalar(count_query(search or OutingSearch())) or 0

    def outing(self, outing_id: int) -> Outing:
        """Return one outing.

        Raises
        ------
        LogbookError
            If there is none of that number.
        """
        with self._reading() as session:
            return outing_records(session, [self._found(session, outing_id)])[0]

    def places(self) -> tuple[str, ...]:
        """List the places that outings name, in order."""
        with self._reading() as session:
            query = select(OutingRow.place).distinct().where(OutingRow.place != "").order_by(OutingRow.place)
            return tuple(session.scalars(query))

    def edit_outing(
        self, outing_id: int, *, conditions: Conditions | None = None, sheet: str | None = None
    ) -> Outing:
        """Correct what is said of an outing, or which of its boat's sheets it was run on.

        Another sheet changes the power train, so the outing is analysed again.

        Raises
        ------
        LogbookError
            If there is no such outing or sheet.
        """
        again: tuple[str, Prepared, Basis] | None = None
        if sheet is not None:
            with self._reading() as session:
                outing, _, _ = self._found(session, outing_id)
                wanted = self._sheet_for(session, sheet, session.get_one(BoatRow, outing.boat_id)).id
                is_another = wanted != outing.sheet_id
            # Before anything is written: a sheet is never kept without the analysis that follows from it.
            if is_another:
                again = wanted, *self._prepared_again(outing_id, wanted)
        with self._writing() as session:
            outing, boat, sheet_name = self._found(session, outing_id)
            if again is not None:
                wanted, prepared, basis = again
                self._hold_to_basis(session, outing_id, basis)
                write_analysis(session, outing, prepared)
                row = session.get_one(SheetRow, wanted)
                outing.sheet_id, sheet_name = row.id, row.name
            if conditions is not None:
                for column, value in conditions_to_columns(conditions).items():
                    setattr(outing, column, value)
            said = Conditions(**{n: getattr(outing, n) for n in Conditions.__dataclass_fields__})
            outing.words = words_of(boat, sheet_name, said)
        return self.outing(outing_id)

    def remove_outing(self, outing_id: int) -> None:
        """Take an outing out, with its logs and analyses.

        Raises
        ------
        LogbookError
            If there is none of that number.
        """
        with self._writing() as session:
            outing, _, _ = self._found(session, outing_id)
            hashes = list(
                session.scalars(select(OutingLogRow.sha256).where(OutingLogRow.outing_id == outing_id))
            )
            session.delete(outing)
            session.flush()
            session.execute(delete(LogRow).where(LogRow.sha256.in_(hashes)))

    def logs(self, outing_id: int) -> tuple[NamedLog, ...]:
        """Return an outing's logs, byte for byte.

        Raises
        ------
        LogbookError
            If there is no such outing, or a log's bytes no longer give its hash.
        """
        with self._reading() as session:
            self._found(session, outing_id)
            return self._logs(session, outing_id)

    def asked(self, outing_id: int) -> tuple[Request, ReadOptions]:
        """Return what an outing's latest analysis was asked, and what its readers were told.

        Raises
        ------
        LogbookError
            If there is no such outing.
        """
        with self._reading() as session:
            return self._asked(session, outing_id)

    def analysis(self, outing_id: int) -> dict[str, Any]:
        """Return an outing's analysis as the output contract writes it.

        One that another version of the program made is made again first; the former one is kept beside it.

        Raises
        ------
        LogbookError
            If there is no such outing.
        """
        with self._reading() as session:
            row = self._analysis_row(session, outing_id)
            if row.program_version == PROGRAM_VERSION:
                return open_document(row.document)
        return self._analyse_again(outing_id)

    def analysed(self, outing_id: int) -> Analysis:
        """Analyse an outing's logs as they were asked about, for those who need more than the document.

        Raises
        ------
        LogbookError
            If there is no such outing.
        """
        with self._reading() as session:
            self._found(session, outing_id)
            logs = self._logs(session, outing_id)
            request, options = self._asked(session, outing_id)
        return prepare(read_outing_logs(logs, options).read, request, options).analysis

    def stale(self) -> tuple[int, ...]:
        """List the outings whose latest analysis another version of the program made."""
        with self._reading() as session:
            query = select(OutingRow.id).where(OutingRow.program_version != PROGRAM_VERSION)
            return tuple(session.scalars(query.order_by(OutingRow.id)))

    def refresh(self, progress: AnalysisProgress | None = None) -> int:
        """Analyse again what another version of the program analysed; return how many outings that was."""
        waiting = self.stale()
        for k, outing_id in enumerate(waiting):
            if progress:
                progress(f"analysing outing {outing_id}", k / len(waiting))
            self._analyse_again(outing_id)
        return len(waiting)

    def _analyse_again(self, outing_id: int) -> dict[str, Any]:
        """Analyse stored logs and keep the result; once more where the outing was changed meanwhile."""
        while True:
            prepared, basis = self._prepared_again(outing_id)
            with self._writing() as session:
                outing, _, _ = self._found(session, outing_id)
                if self._basis(session, outing_id) == basis:
                    write_analysis(session, outing, prepared)
                    return prepared.document

    def _prepared_again(self, outing_id: int, sheet_id: str | None = None) -> tuple[Prepared, Basis]:
        """Analyse stored logs, and say on what basis; with a sheet, its power train is taken anew."""
        with self._reading() as session:
            _, boat, _ = self._found(session, outing_id)
            basis = self._basis(session, outing_id)
            logs = self._logs(session, outing_id)
            request, options = self._asked(session, outing_id)
            if sheet_id is not None:
                items, its_boat = self._what_is_known(session, boat, sheet_id)
                request = replace(request, power=PowerOptions())
                options = replace(options, pole_pairs=None, gear_ratio=None)
                request, options = asked.completed(request, options, items, its_boat.limits)
        return prepare(read_outing_logs(logs, options).read, request, options), basis

    def _basis(self, session: Session, outing_id: int) -> Basis:
        """Tell what an analysis made now stands on: whoever writes it holds that nothing of it changed."""
        outing, _, _ = self._found(session, outing_id)
        latest = select(AnalysisRow.id, AnalysisRow.made_utc).where(AnalysisRow.outing_id == outing_id)
        number, made_utc = session.execute(latest.order_by(AnalysisRow.id.desc()).limit(1)).one()
        return outing.sheet_id, number, made_utc, by_hand_of(session, outing_id)

    def _hold_to_basis(self, session: Session, outing_id: int, basis: Basis) -> None:
        if self._basis(session, outing_id) != basis:
            raise LogbookError("the outing was changed meanwhile", file=self.where, hint="do it again")

    def _asked(self, session: Session, outing_id: int) -> tuple[Request, ReadOptions]:
        """Return what the latest analysis was asked, with the corrections that hold now."""
        request, options = asked.from_dict(self._analysis_row(session, outing_id).request)
        return replace(request, by_hand=by_hand_of(session, outing_id)), options

    def _found(self, session: Session, outing_id: int) -> FoundOutings:
        found = session.execute(found_outings().where(OutingRow.id == outing_id)).one_or_none()
        if found is None:
            raise LogbookError(
                f"there is no outing {outing_id}", file=self.where, hint="list them with `reciprocal outings`"
            )
        return found[0], found[1], found[2]

    def _logs(self, session: Session, outing_id: int) -> tuple[NamedLog, ...]:
        query = (
            select(OutingLogRow.file, LogRow.packing, LogRow.content, LogRow.sha256)
            .join(LogRow, LogRow.sha256 == OutingLogRow.sha256)
            .where(OutingLogRow.outing_id == outing_id)
            .order_by(OutingLogRow.position)
        )
        return tuple(
            NamedLog(safe_file_name(file), unpacked(packing, content, sha256))
            for file, packing, content, sha256 in session.execute(query)
        )

    def _analysis_row(self, session: Session, outing_id: int) -> AnalysisRow:
        """Return the latest analysis of an outing."""
        self._found(session, outing_id)
        query = select(AnalysisRow).where(AnalysisRow.outing_id == outing_id).options(undefer("*"))
        return session.scalars(query.order_by(AnalysisRow.id.desc()).limit(1)).one()

    def _what_is_known(
        self, session: Session, boat: str | Boat, sheet: str | SetupSheet
    ) -> tuple[dict[str, Any], Boat]:
        """Return the sheet's values by item, and the boat."""
        its_boat = boat_of(self._boat_row(session, boat)) if isinstance(boat, str) else boat
        if isinstance(sheet, str):
            sheet = SetupSheet.from_dict(self._sheet_row(session, sheet, its_boat.name).document)
        return {name: reading.value for name, reading in sheet.readings.items()}, its_boat

    def _sheet_for(self, session: Session, sheet: str | SetupSheet, boat: BoatRow) -> SheetRow:
        row = (
            self._sheet_row(session, sheet, boat.name)
            if isinstance(sheet, str)
            else self._add_sheet(session, sheet)
        )
        if row.boat_id != boat.id:
            raise LogbookError(
                f"the setup sheet '{row.name}' is of another boat than {boat.name}",
                file=self.where,
                hint="name a sheet of this boat",
            )
        return row
