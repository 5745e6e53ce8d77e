"""Boats, their setup sheets, and what was found on them at the bench."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from telemetry.core.errors import LogbookError
from telemetry.logbook.importing import now_utc
from telemetry.logbook.queries import fold, storable, storable_parts
from telemetry.logbook.records import Boat
from telemetry.logbook.store import Store
from telemetry.logbook.tables import BoatRow, FoundRow, SheetRow
from telemetry.motor.power import Limits
from telemetry.setup import FoundMeasure, SetupSheet
from telemetry.setup.parse import own_item_of, own_item_table

_MIN_ID_LETTERS = 4


class Boats(Store):
    """Boats and what belongs to one boat."""

    def add_boat(self, boat: Boat | str) -> Boat:
        """Add a boat.

        Raises
        ------
        LogbookError
            If one of that name is there already, whatever its case.
        """
        with self._writing() as session:
            return boat_of(self._add_boat(session, Boat(boat) if isinstance(boat, str) else boat))

    def _add_boat(self, session: Session, boat: Boat) -> BoatRow:
        name = _name_of(boat)
        if not name:
            raise LogbookError("the boat has no name", file=self.where, hint="say what it is called")
        if session.scalar(select(BoatRow.id).where(BoatRow.folded == fold(name))) is not None:
            raise LogbookError(
                f"a boat '{name}' is there already", file=self.where, hint="choose another name"
            )
        row = BoatRow(folded=fold(name), made_utc=now_utc(), **_columns(replace(boat, name=name)))
        session.add(row)
        session.flush()
        return row

    def boats(self) -> tuple[Boat, ...]:
        """List all boats by name."""
        with self._reading() as session:
            return tuple(map(boat_of, session.scalars(select(BoatRow).order_by(BoatRow.folded))))

    def boat(self, name: str) -> Boat:
        """Return one boat.

        Raises
        ------
        LogbookError
            If there is none of that name.
        """
        with self._reading() as session:
            return boat_of(self._boat_row(session, name))

    def edit_boat(self, name: str, boat: Boat) -> Boat:
        """Replace what is said of a boat; its name may change as long as no sheet bears it.

        Raises
        ------
        LogbookError
            If there is no such boat, or the new name cannot be.
        """
        with self._writing() as session:
            row = self._boat_row(session, name)
            new = _name_of(boat)
            if new != row.name:
                taken = select(BoatRow.id).where(BoatRow.folded == fold(new), BoatRow.id != row.id)
                if not new or session.scalar(taken) is not None:
                    raise LogbookError(f"the name '{new}' is taken or empty", hint="choose another name")
                if session.scalar(select(func.count()).where(SheetRow.boat_id == row.id)):
                    raise LogbookError(
                        f"'{row.name}' has setup sheets, which bear its name and never change",
                        hint="keep the name",
                    )
            for column, value in _columns(replace(boat, name=new)).items():
                setattr(row, column, value)
            row.folded = fold(new)
            return boat_of(row)

    def add_sheet(self, sheet: SetupSheet) -> SetupSheet:
        """Add a setup sheet to its boat; one of the same content that is there already is returned.

        Raises
        ------
        LogbookError
            If the boat, or the sheet that it was made from, is not in the logbook.
        """
        with self._writing() as session:
            return sheet_of(self._add_sheet(session, sheet))

    def _add_sheet(self, session: Session, sheet: SetupSheet) -> SheetRow:
        sheet = SetupSheet.from_dict(storable_parts(sheet.to_dict()))
        known = session.get(SheetRow, sheet.sheet_id)
        if known is not None:
            return known
        boat = self._boat_row(session, sheet.boat)
        if boat.name != sheet.boat:
            raise LogbookError(
                f"the sheet says the boat is '{sheet.boat}', the logbook says '{boat.name}'",
                hint="write the name as the logbook does",
            )
        if sheet.parent is not None and session.get(SheetRow, sheet.parent) is None:
            raise LogbookError(
                f"the sheet was made from {sheet.parent}, which is not in the logbook",
                hint="add that sheet first",
            )
        made_utc = sheet.made_utc or now_utc()
        row = SheetRow(
            id=sheet.sheet_id,
            boat_id=boat.id,
            parent_id=sheet.parent,
            name=sheet.name,
            made_utc=made_utc,
            document=replace(sheet, made_utc=made_utc).to_dict(),
        )
        session.add(row)
        session.flush()
        return row

    def sheets(self, boat: str) -> tuple[SetupSheet, ...]:
        """List a boat's setup sheets, the oldest first.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._reading() as session:
            row = self._boat_row(session, boat)
            query = (
                select(SheetRow).where(SheetRow.boat_id == row.id).order_by(SheetRow.made_utc, SheetRow.id)
            )
            return tuple(map(sheet_of, session.scalars(query)))

    def sheet(self, named: str, boat: str | None = None) -> SetupSheet:
        """Return one sheet.

        Parameters
        ----------
        named : str
            Its id or the beginning of it; with ``boat`` also its name, which means the latest of that name.
        boat : str, optional

        Raises
        ------
        LogbookError
            If there is none, or several are meant.
        """
        with self._reading() as session:
            return sheet_of(self._sheet_row(session, named, boat))

    def _sheet_row(self, session: Session, named: str, boat: str | None) -> SheetRow:
        named = storable(named)
        exact = session.get(SheetRow, named)
        if exact is not None:
            return exact
        query = select(SheetRow).order_by(SheetRow.made_utc.desc(), SheetRow.id)
        if boat is not None:
            mine = query.where(SheetRow.boat_id == self._boat_row(session, boat).id)
            latest = session.scalar(mine.where(SheetRow.name == named).limit(1))
            if latest is not None:
                return latest
            query = mine
        by_id = query.where(SheetRow.id.startswith(named, autoescape=True)).limit(2)
        found = session.scalars(by_id).all() if len(named) >= _MIN_ID_LETTERS else []
        if len(found) != 1:
            reason = "several sheets begin" if found else "there is no sheet that is called or begins"
            of = f" of {boat}" if boat else ""
            raise LogbookError(f"{reason} with '{named}'{of}", file=self.where, hint="give more of its id")
        return found[0]

    def add_found(self, found: FoundMeasure) -> FoundMeasure:
        """Keep what was measured on a boat at the bench, under the name that the logbook has for it.

        Raises
        ------
        LogbookError
            If the boat is not in the logbook.
        """
        with self._writing() as session:
            boat = self._boat_row(session, found.boat)
            found = FoundMeasure.from_dict(storable_parts(found.to_dict()))
            found_utc = found.found_utc or now_utc()
            kept = replace(found, boat=boat.name, found_utc=found_utc)
            session.add(FoundRow(boat_id=boat.id, found_utc=found_utc, document=kept.to_dict()))
            return kept

    def founds(self, boat: str) -> tuple[FoundMeasure, ...]:
        """List what was measured on a boat at the bench, the oldest first.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._reading() as session:
            row = self._boat_row(session, boat)
            query = (
                select(FoundRow.document)
                .where(FoundRow.boat_id == row.id)
                .order_by(FoundRow.found_utc, FoundRow.id)
            )
            # A boat may be renamed after it was measured; its sheets bear the new name only.
            return tuple(
                replace(FoundMeasure.from_dict(document), boat=row.name)
                for document in session.scalars(query)
            )


def _name_of(boat: Boat) -> str:
    return " ".join(storable(boat.name).split())


def _columns(boat: Boat) -> dict[str, Any]:
    return {
        "name": boat.name,
        "hull_kind": storable(boat.hull_kind),
        "length_m": boat.length_m,
        "note": storable(boat.note),
        "limits": asdict(boat.limits),
        "own_items": storable_parts([own_item_table(item) for item in boat.own_items]),
    }


def boat_of(row: BoatRow) -> Boat:
    """Tell a row as a record."""
    own_items = tuple(own_item_of(table) for table in row.own_items)
    return Boat(row.name, row.hull_kind, row.length_m, row.note, Limits(**row.limits), own_items)


def sheet_of(row: SheetRow) -> SetupSheet:
    """Tell a row as a sheet."""
    return SetupSheet.from_dict(row.document)
