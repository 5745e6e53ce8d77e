"""The logbook as one object."""

from __future__ import annotations

from pathlib import Path

from telemetry.logbook.backup import Backup, open_backup, write_backup
from telemetry.logbook.export import write_export
from telemetry.logbook.pass_list import PassList
from telemetry.logbook.restore import put_in, refuse_filled


class Logbook(PassList):
    """Everything that is kept.

    Boats, sheets and bench measures are in :class:`~telemetry.logbook.boats.Boats`, outings in
    :class:`~telemetry.logbook.outings.Outings`, their corrections by hand in
    :class:`~telemetry.logbook.corrections.Correcting`, service in
    :class:`~telemetry.logbook.services.Services`, evidence in :class:`~telemetry.logbook.history.History`.
    """

    def backup(self, file: str | Path, *, overwrite: bool = False) -> Backup:
        """Write the whole logbook into one file that another machine takes.

        It shows the logbook at one moment, whoever writes meanwhile, and is read back before it has its name.

        Raises
        ------
        LogbookError
            If the file is there already, or cannot be written.
        """
        self._refuse_own_files([Path(file)], "a file for its backup")
        with self._reading() as session:
            return write_backup(session, Path(file), self.where, overwrite=overwrite)

    def restore(self, file: str | Path, *, replace: bool = False) -> Backup:
        """Take a backup in: all of it, or nothing.

        Parameters
        ----------
        file : str or Path
            Every byte is held to its hash before anything is written.
        replace : bool
            Whether what is in this logbook may be lost for it.

        Raises
        ------
        LogbookError
            If it is no backup, is damaged or newer than this program, or something would be lost.
        """
        self._refuse_own_files([Path(file)], "a backup of one")
        archive, told, manifest = open_backup(Path(file))
        with archive, self._writing() as session:
            connection = session.connection()
            if not replace:
                refuse_filled(connection, self.where)
            put_in(connection, archive, manifest, self.where)
        return told

    def export(self, folder: str | Path) -> tuple[Path, ...]:
        """Write flat tables as CSV and everything as one JSON document into a new folder; return the files.

        Raises
        ------
        LogbookError
            If the folder is there already and not empty, or cannot be written.
        """
        with self._reading() as session:
            return write_export(session, Path(folder))
