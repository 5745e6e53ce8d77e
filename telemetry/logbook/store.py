"""A logbook's database with the two ways of using it: to read, and to write all or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from sqlalchemy import select
from sqlalchemy.orm import Session

from telemetry.core.errors import LogbookError
from telemetry.logbook.db_errors import as_logbook_errors
from telemetry.logbook.engine import WRITES, open_engine
from telemetry.logbook.queries import fold
from telemetry.logbook.sqlite_file import refuse_parts_of
from telemetry.logbook.tables import BoatRow
from telemetry.logbook.url import resolve, shown


class Store:
    """An open database.

    Parameters
    ----------
    url : str or Path, optional
        As :func:`telemetry.logbook.url.resolve` takes it.

    Attributes
    ----------
    where : str
        Its name in messages.
    """

    def __init__(self, url: str | Path | None = None) -> None:
        self._url = resolve(url)
        self.where = shown(self._url)
        self._engine = open_engine(self._url)
        self._writer = self._engine.execution_options(**{WRITES: True})
        at_one_moment = {"isolation_level": "REPEATABLE READ"} if self._engine.name == "postgresql" else {}
        self._reader = self._engine.execution_options(**at_one_moment)

    def close(self) -> None:
        """Let go of the database."""
        with as_logbook_errors(self.where):
            self._engine.dispose()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of the database."""
        self.close()

    def _refuse_own_files(self, files: Iterable[object], what: str) -> None:
        """Refuse paths of the logbook's own files: opened by hand, they would drop its locks."""
        refuse_parts_of(self._url, (file for file in files if isinstance(file, Path)), what)

    @contextmanager
    def _reading(self) -> Iterator[Session]:
        """Look at the logbook as it is at one moment."""
        with as_logbook_errors(self.where), Session(self._reader) as session:
            yield session

    @contextmanager
    def _writing(self) -> Iterator[Session]:
        """Write; what the block does is kept whole at its end, or not at all."""
        with as_logbook_errors(self.where), Session(self._writer) as session, session.begin():
            session.connection()  # takes the writer's turn now, before anything is looked at
            yield session

    def _boat_row(self, session: Session, name: str) -> BoatRow:
        row = session.scalar(select(BoatRow).where(BoatRow.folded == fold(name)))
        if row is None:
            known = ", ".join(session.scalars(select(BoatRow.name).order_by(BoatRow.folded).limit(8)))
            raise LogbookError(
                f"there is no boat '{name}'",
                file=self.where,
                hint=f"add it first (`reciprocal boats --add`){f', or choose {known}' if known else ''}",
            )
        return row
