"""Service due on a boat by runs, by hours and by date."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final, Literal

from telemetry.core.errors import SetupError
from telemetry.setup.items import COMMON_PRACTICE
from telemetry.setup.parse import keys_of, located, moment_of, parse_measure_value, text_of

DueVerdict = Literal["due", "soon", "not due", "cannot tell"]
SOON_SHARE: Final = 0.8
OWN_INTERVAL: Final = "the boat's own"
# A sum of outings' hours may fall short of a limit that it reaches by a rounding error.
_ROUNDING: Final = 1e-9
_DAY_S: Final = 86400.0


@dataclass(frozen=True, slots=True)
class ServiceTask:
    """One recurring service task.

    Attributes
    ----------
    name, title, look : str
        Its key, its title, and what to do.
    every_runs, every_hours, every_days : float or None
        Intervals, the first one reached counts; all None switches the task off. A run is one pack through
        the boat.
    source : str
        Source of these intervals.

    Raises
    ------
    SetupError
        If an interval is not positive.
    """

    name: str
    title: str
    look: str = ""
    every_runs: float | None = None
    every_hours: float | None = None
    every_days: float | None = None
    source: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        """Raise for intervals that are not positive."""
        for what, every in self.intervals():
            if not 0.0 < every < math.inf:
                raise SetupError(
                    f"an interval of {every:g} {what} is not possible",
                    place=f"service: {self.name}",
                    hint="write a positive number, or leave it out",
                )

    def intervals(self) -> list[tuple[str, float]]:
        """List the intervals that are set, by their unit."""
        pairs = (("runs", self.every_runs), ("hours", self.every_hours), ("days", self.every_days))
        return [(what, every) for what, every in pairs if every is not None]

    def interval_text(self) -> str:
        """Format the intervals.

        Examples
        --------
        >>> ServiceTask("grease", "Driveline", every_runs=1, every_days=30).interval_text()
        'every run or 30 days'
        """
        intervals = " or ".join(
            what.removesuffix("s") if every == 1 else f"{every:g} {what}" for what, every in self.intervals()
        )
        return f"every {intervals}" if intervals else "not kept"

    def to_dict(self) -> dict[str, Any]:
        """Convert to plain types."""
        return {name: getattr(self, name) for name in self.__slots__}


USUAL_TASKS: Final = (
    ServiceTask(
        "fail-safe", "Fail-safe", "transmitter off: the motor must stop", every_runs=1,
    ),
    ServiceTask(
        "driveline-grease", "Driveline grease", "draw the shaft, wipe, grease, look at the strands",
        every_runs=3, every_days=30,
    ),
    ServiceTask(
        "propeller", "Propeller", "nicks, bent tips, cracks at the hub; dog and nut", every_runs=1,
    ),
    ServiceTask(
        "fasteners", "Fasteners and thread locker",
        "every screw of strut, rudder, tabs, mounts; fresh locker", every_runs=10, every_days=90,
    ),
    ServiceTask(
        "hinge-slop", "Hinge slop", "play in the hinges of rudder and tabs; renew pins", every_runs=10,
    ),
    ServiceTask(
        "cooling-line", "Cooling line and nipples", "blow through; soft, kinked or loose lines out",
        every_runs=10, every_days=90,
    ),
    ServiceTask(
        "bushings", "Bushings", "play of the shaft in strut and stuffing tube; renew",
        every_runs=20, every_hours=3,
    ),
    ServiceTask(
        "motor-bearings", "Motor bearings", "turn by hand: smooth, quiet, no play; oil or renew",
        every_runs=30, every_hours=5,
    ),
    ServiceTask(
        "plugs", "Plugs and solder joints", "discoloured, loose or hot ones out",
        every_runs=20, every_days=180,
    ),
    ServiceTask(
        "pack", "Pack", "resistance of each cell, swelling, chafed leads", every_runs=20, every_days=90,
    ),
    ServiceTask(
        "flotation", "Flotation and seals", "foam dry and fixed; hatch seal and tape", every_days=90,
    ),
)  # fmt: skip
"""Intervals that many keep; common practice, no source. Set your own for each boat."""


def tasks_for(own: Iterable[ServiceTask] = ()) -> tuple[ServiceTask, ...]:
    """Return a boat's tasks: the usual ones, replaced or extended by its own."""
    by_name = {task.name: task for task in USUAL_TASKS} | {task.name: task for task in own}
    return tuple(by_name.values())


def tasks_from_table(table: object, file: str = "") -> tuple[ServiceTask, ...]:
    """Parse a boat's own tasks, one table a task by its name.

    A usual task keeps its title; the intervals given replace all its own, none of them switches it off.

    Raises
    ------
    SetupError
        With the task, the key and the fix.
    """
    usual = {task.name: task for task in USUAL_TASKS}
    if not isinstance(table, Mapping):
        raise SetupError(
            "it is not a table of tasks", file=file, place="service", hint="write [service.NAME]"
        )
    tasks = []
    keys = ("title", "look", "every_runs", "every_hours", "every_days", "source")
    for name, written in table.items():
        place = f"service: {name}"
        row = keys_of(written, (*keys, "name"), place, file)
        runs, hours, days = (
            None
            if row.get(f"every_{unit}") is None
            else parse_measure_value(row[f"every_{unit}"], unit, f"{place}: every_{unit}", file)
            for unit in ("runs", "hours", "days")
        )
        base = usual.get(name, ServiceTask(name, name))
        with located(file):
            task = replace(
                base,
                title=text_of(row, "title", file) or base.title,
                look=text_of(row, "look", file) or base.look,
                source=text_of(row, "source", file) or OWN_INTERVAL,
                every_runs=runs,
                every_hours=hours,
                every_days=days,
            )
        tasks.append(task)
    return tuple(tasks)


@dataclass(frozen=True, slots=True)
class Use:
    """One outing as wear: when, how many runs, how many hours under way (None if no log states it).

    Raises
    ------
    SetupError
        If runs or hours are not numbers from zero.
    """

    utc: datetime
    runs: float = 1.0
    hours: float | None = None

    def __post_init__(self) -> None:
        """Raise for wear that cannot be counted: a single NaN would hide everything that is due."""
        for what, amount in (("runs", self.runs), ("hours", self.hours)):
            if amount is not None and not 0.0 <= amount < math.inf:
                place = f"outing of {self.utc:%Y-%m-%d %H:%M}"
                raise SetupError(
                    f"{amount:g} {what} are not possible",
                    place=place,
                    hint="write a number from 0, or leave it out",
                )


def uses_from_table(table: Mapping[str, Any], file: str = "") -> tuple[tuple[Use, ...], dict[str, datetime]]:
    """Parse ``[[outings]]`` (utc, runs, hours) and ``[done]`` (a time by task) for a boat without a logbook.

    Raises
    ------
    SetupError
        With the outing or task, and the fix.
    """
    outings, written = table.get("outings", []), table.get("done", {})
    if not isinstance(outings, list) or not isinstance(written, Mapping):
        raise SetupError(
            "outings are a list and done is a table", file=file, hint="write [[outings]] and [done]"
        )
    uses = []
    for number, outing in enumerate(outings, 1):
        place = f"outing {number}"
        row = keys_of(outing, ("utc", "runs", "hours"), place, file)
        utc = moment_of(row.get("utc"), place, file)
        if utc is None:
            raise SetupError(
                "it has no time", file=file, place=place, hint="write utc = 2025-06-14T08:30:00Z"
            )
        hours = None if row.get("hours") is None else parse_measure_value(row["hours"], "hours", place, file)
        runs = parse_measure_value(row.get("runs", 1), "runs", place, file)
        with located(file):
            uses.append(Use(utc, runs, hours))
    done = {
        task: moment for task, when in written.items() if (moment := moment_of(when, f"done: {task}", file))
    }
    return tuple(uses), done


@dataclass(frozen=True, slots=True)
class Due:
    """One task with the used share of its interval.

    Attributes
    ----------
    task : ServiceTask
    verdict : {"due", "soon", "not due", "cannot tell"}
    last_utc : datetime or None
        When it was last done; None if that is not recorded.
    why : str
        The evidence, as part of a sentence.
    """

    task: ServiceTask
    verdict: DueVerdict
    last_utc: datetime | None
    why: str


def due(
    tasks: Iterable[ServiceTask], uses: Sequence[Use], done: Mapping[str, datetime], now_utc: datetime
) -> tuple[Due, ...]:
    """List what is due.

    Parameters
    ----------
    tasks : iterable of ServiceTask
        Those without an interval are left out.
    uses : sequence of Use
        The boat's outings, in any order.
    done : mapping of str to datetime
        When each task was last done, by its name. A task that was never recorded is counted from the first
        outing.
    now_utc : datetime
        The time of the question [UTC]; later outings do not count.

    Returns
    -------
    tuple of Due
        Due first, then soon, then cannot tell, then the rest; inside each the order of the tasks.
    """
    order = ("due", "soon", "cannot tell", "not due")
    uses = [use for use in uses if use.utc <= now_utc]
    done = {task: when for task, when in done.items() if when <= now_utc}
    rows = [_due(task, uses, done.get(task.name), now_utc) for task in tasks if task.intervals()]
    return tuple(sorted(rows, key=lambda row: order.index(row.verdict)))


def _due(task: ServiceTask, uses: Sequence[Use], last: datetime | None, now: datetime) -> Due:
    first = min((use.utc for use in uses), default=None)
    start = last or first
    if start is None:
        return Due(task, "cannot tell", None, "never recorded, and no outing to count from")
    since = [use for use in uses if (use.utc > start if last else True)]
    unknown = any(use.hours is None for use in since)
    spent: dict[str, float] = {
        "runs": sum(use.runs for use in since),
        "hours": sum(use.hours or 0.0 for use in since),
        "days": (now - start).total_seconds() / _DAY_S,
    }
    share = max(spent[what] / every for what, every in task.intervals())
    spent_text = ", ".join(
        f"{_whole(spent[what])}{'+' if what == 'hours' and unknown else ''} of {every:g} {what}"
        for what, every in task.intervals()
    )
    spent_text += "" if last else "; never recorded, counted from the first outing"
    if share >= 1.0 - _ROUNDING:
        return Due(task, "due", last, spent_text)
    if unknown and task.every_hours is not None:
        return Due(task, "cannot tell", last, f"{spent_text}; some outings have no log to count the hours")
    return Due(task, "soon" if share >= SOON_SHARE - _ROUNDING else "not due", last, spent_text)


def _whole(amount: float) -> str:
    return f"{amount:.1f}".removesuffix(".0")
