"""The summary of an archive: one row for each item, in the order of their names."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from telemetry.archive.discover import ArchiveItem
from telemetry.core.paths import atomic_write
from telemetry.core.sanitize import csv_cell

DONE = "done"
NOT_USED = "could not be used"


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFacts:
    """One row of the summary; SI, and empty where the analysis has no value.

    Attributes
    ----------
    outcome : {"done", "could not be used"}
    error : str
        Why it could not be used; for an item that is done, the first error of its logs.
    unused_logs : int
        How many logs of the item could not be used.
    speed_logs, motor_logs, joined_motor_logs : int
        How many were read, and how many motor logs were matched to a speed log.
    start_utc : str or None
        Of the first log that states it.
    passes : int
    peak_mps, peak_u95_mps : float or None
        Of the fastest pass.
    two_ways : int
    verdict, rule, distance_m, average_mps, u95_mps
        Of the best two-way by the rule.
    ride_events : str
        What was shown or possible, such as ``P2 porpoising shown``.
    """

    outcome: str
    error: str = ""
    unused_logs: int = 0
    speed_logs: int = 0
    motor_logs: int = 0
    joined_motor_logs: int = 0
    start_utc: str | None = None
    passes: int = 0
    peak_mps: float | None = None
    peak_u95_mps: float | None = None
    two_ways: int = 0
    verdict: str | None = None
    rule: str | None = None
    distance_m: float | None = None
    average_mps: float | None = None
    u95_mps: float | None = None
    ride_events: str = ""

    @staticmethod
    def unusable(error: str) -> RowFacts:
        """Build the row of an item without a result."""
        return RowFacts(outcome=NOT_USED, error=error)


def facts_of(contract: dict[str, Any]) -> RowFacts:
    """Build the row from a result."""
    logs, passes, two_ways = contract["logs"], contract["passes"], contract["two_ways"]
    kinds = [log["kind"] for log in logs]
    fastest: dict[str, Any] = max(passes, key=lambda p: p["peak_mps"], default={})
    best: dict[str, Any] = next(iter(two_ways), {})
    return RowFacts(
        outcome=DONE if logs else NOT_USED,
        error=next(iter(contract["errors"]), ""),
        unused_logs=len(contract["errors"]),
        speed_logs=kinds.count("speed"),
        motor_logs=kinds.count("motor"),
        joined_motor_logs=sum(motor["clock"]["trusted"] for motor in contract["motors"]),
        start_utc=min((log["start_utc"] for log in logs if log["start_utc"]), default=None),
        passes=len(passes),
        peak_mps=fastest.get("peak_mps"),
        peak_u95_mps=fastest.get("peak_u95_mps"),
        two_ways=len(two_ways),
        verdict=best.get("verdict"),
        rule=best.get("rule"),
        distance_m=best.get("distance_m"),
        average_mps=best.get("average_mps"),
        u95_mps=best.get("u95_mps"),
        ride_events="; ".join(
            f"{event['pass_id']} {event['kind']} {event['verdict']}"
            for event in contract["ride"]
            if event["verdict"] in {"shown", "possible"}
        ),
    )


COLUMNS = ("item", "result", *(field.name for field in fields(RowFacts)))


def write_table(file: Path, rows: Iterable[tuple[ArchiveItem, str, RowFacts]]) -> None:
    """Write the summary as CSV: each item with its result's file, if any, and its facts.

    Raises
    ------
    OSError
        If it cannot be written; an existing file is then unchanged.
    """
    with atomic_write(file) as stream:
        text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
        writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
        writer.writeheader()
        for item, result, facts in rows:
            row = {"item": item.name, "result": result} | asdict(facts)
            writer.writerow({name: csv_cell(value) for name, value in row.items()})
        text.detach()
