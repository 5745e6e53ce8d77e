"""What is to be looked after on a boat, and what was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from telemetry.core.errors import LogbookError
from telemetry.logbook.corrections import Correcting
from telemetry.logbook.importing import now_utc
from telemetry.logbook.queries import storable, storable_parts
from telemetry.logbook.tables import OutingRow, ServiceDoneRow, ServiceRow
from telemetry.setup.service import Due, ServiceTask, Use, due, tasks_for

_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class ServiceDone:
    """One thing that was done on a boat."""

    task: str
    done_utc: datetime
    note: str = ""


class Services(Correcting):
    """The boats' service."""

    def service_tasks(self, boat: str) -> tuple[ServiceTask, ...]:
        """List what is looked after on a boat: the usual tasks, with its own in their place or beside them.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._reading() as session:
            return self._tasks(session, self._boat_row(session, boat).id)

    def set_service_tasks(self, boat: str, tasks: Sequence[ServiceTask]) -> tuple[ServiceTask, ...]:
        """Give a boat tasks and intervals of its own, in place of those it had.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        tasks = [ServiceTask(**storable_parts(task.to_dict())) for task in tasks]
        with self._writing() as session:
            boat_id = self._boat_row(session, boat).id
            session.execute(delete(ServiceRow).where(ServiceRow.boat_id == boat_id))
            for task in tasks_for(tasks):
                if task in tasks:
                    session.add(ServiceRow(boat_id=boat_id, task=task.name, document=task.to_dict()))
            session.flush()
            return self._tasks(session, boat_id)

    def _tasks(self, session: Session, boat_id: int) -> tuple[ServiceTask, ...]:
        own = session.scalars(
            select(ServiceRow.document).where(ServiceRow.boat_id == boat_id).order_by(ServiceRow.id)
        )
        return tasks_for(ServiceTask(**document) for document in own)

    def service_done(
        self, boat: str, task: str, done_utc: datetime | None = None, note: str = ""
    ) -> ServiceDone:
        """Record that something was done on a boat, now where no time is given.

        Raises
        ------
        LogbookError
            If there is no such boat or task.
        """
        with self._writing() as session:
            row = self._boat_row(session, boat)
            task = storable(task)
            known = [one.name for one in self._tasks(session, row.id)]
            if task not in known:
                raise LogbookError(
                    f"there is no task '{task}' for {row.name}", hint=f"choose {', '.join(known)}"
                )
            done = ServiceDone(task, done_utc or now_utc(), storable(note))
            session.add(ServiceDoneRow(boat_id=row.id, **asdict(done)))
            return done

    def services_done(self, boat: str) -> tuple[ServiceDone, ...]:
        """List everything that was done on a boat, the latest first.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._reading() as session:
            rows = session.scalars(
                select(ServiceDoneRow)
                .where(ServiceDoneRow.boat_id == self._boat_row(session, boat).id)
                .order_by(ServiceDoneRow.done_utc.desc(), ServiceDoneRow.id.desc())
            )
            return tuple(ServiceDone(row.task, row.done_utc, row.note) for row in rows)

    def service(self, boat: str, at_utc: datetime | None = None) -> tuple[Due, ...]:
        """Say what is due on a boat, now where no time is given.

        An outing counts as one run, with the hours that its speed log shows the boat under way.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        at_utc = at_utc or now_utc()
        with self._reading() as session:
            boat_id = self._boat_row(session, boat).id
            tasks = self._tasks(session, boat_id)
            outings = session.execute(
                select(OutingRow.when_utc, OutingRow.under_way_s).where(OutingRow.boat_id == boat_id)
            )
            uses = [
                Use(when, 1.0, None if under_way_s is None else under_way_s / _HOUR_S)
                for when, under_way_s in outings
            ]
            latest = session.execute(
                select(ServiceDoneRow.task, func.max(ServiceDoneRow.done_utc))
                .where(ServiceDoneRow.boat_id == boat_id, ServiceDoneRow.done_utc <= at_utc)
                .group_by(ServiceDoneRow.task)
            )
            done: dict[str, datetime] = {task: when for task, when in latest}
            return due(tasks, uses, done, at_utc)
