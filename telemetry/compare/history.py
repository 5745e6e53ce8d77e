"""A boat's whole history: a measure against any one item, its best sheet, and how its tune drifted."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any, Final

import numpy as np

from telemetry.compare.covariates import ORDER, VOLTAGE, barred_by, columns_of
from telemetry.compare.evidence import Evidence, of_measure
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.mixed import Contrast, OutingModel
from telemetry.errors import CallError
from telemetry.frames import FloatArray
from telemetry.setup import Reading, SetupSheet, changes

SCHEMA: Final = "reciprocal-history/1"
_NO_DATE: Final = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Level:
    """One sheet's mean of a measure.

    Attributes
    ----------
    sheet_id : str
    count, outings : int
        The evidence behind it.
    mean : float
        Of the measure, SI; adjusted for the pack's running down where that is known.
    found : Contrast or None
        The mean with its scatter; None where the history cannot judge it.
    first_utc : datetime or None
        When the sheet was first run.
    """

    sheet_id: str
    count: int
    outings: int
    mean: float
    found: Contrast | None
    first_utc: datetime | None

    @property
    def u95(self) -> float | None:
        """Half the 95 % interval of the mean, SI."""
        return None if self.found is None else self.found.half_width()


def levels(measure: Measure, evidence: Sequence[Evidence], barred: Collection[str] = ()) -> tuple[Level, ...]:
    """Estimate each sheet's mean, all sheets sharing one scatter between outings and one within them.

    Parameters
    ----------
    measure : Measure
    evidence : sequence of Evidence
        What does not speak about the measure is left aside.
    barred : collection of str
        Covariates that the sheets' differences move themselves, see :func:`barred_among`.

    Returns
    -------
    tuple of Level
        In order of the sheets' first outing.
    """
    rows = of_measure(evidence, measure.key, measure.kind)
    sheets = list(dict.fromkeys(e.sheet_id for e in rows))
    if not sheets:
        return ()
    y = np.array([e.values[measure.key] for e in rows], dtype=float)
    number = {sheet: k for k, sheet in enumerate(sheets)}
    of_sheet = np.array([number[e.sheet_id] for e in rows])
    member = (of_sheet[:, None] == np.arange(len(sheets))).astype(float)
    model = _model(measure, rows, member, y, barred)
    told = []
    for k, sheet in enumerate(sheets):
        mine = [rows[i] for i in np.flatnonzero(of_sheet == k)]
        found = None if model is None else model.contrast(np.eye(model.coefficients.size)[k])
        mean = float(y[of_sheet == k].mean()) if found is None else found.estimate
        first = min((e.outing_utc for e in mine if e.outing_utc is not None), default=None)
        told.append(Level(sheet, len(mine), len({e.outing_id for e in mine}), mean, found, first))
    return tuple(told)


def barred_among(sheets: Mapping[str, SetupSheet], evidence: Sequence[Evidence]) -> frozenset[str]:
    """Name the covariates that the differences among the sheets run move themselves."""
    run = [sheets[key] for key in dict.fromkeys(e.sheet_id for e in evidence) if key in sheets]
    return barred_by({c.item.name for sheet in run[1:] for c in changes(run[0], sheet)})


def _model(
    measure: Measure,
    rows: Sequence[Evidence],
    member: FloatArray,
    y: FloatArray,
    barred: Collection[str],
) -> OutingModel | None:
    """Fit the sheets' means, with the pack's running down where that leaves enough to judge scatter by."""
    number = {outing: k for k, outing in enumerate(dict.fromkeys(e.outing_id for e in rows))}
    outing = np.array([number[e.outing_id] for e in rows])
    u = np.array([e.u95.get(measure.key) or 0.0 for e in rows]) / 1.96
    drifts = (c for c in (VOLTAGE, ORDER) if c.key not in barred)
    drift = next((c for c in drifts if all(c.of(e) is not None for e in rows)), None)
    wider = member if drift is None else np.column_stack([member, columns_of(drift, rows)])
    for columns in (wider, member):
        try:
            model = OutingModel(columns, y, outing, u)
        except ValueError:
            continue
        if columns is member or model.within_df >= 3.0:
            return model
    return None


@dataclass(frozen=True, slots=True)
class Point:
    """One sheet in a plot of a measure against an item.

    Attributes
    ----------
    level : Level
        The measure's mean with the evidence behind it.
    sheet : str
        The sheet's name.
    reading : Reading or None
        The item on this sheet; None where it does not say, or where no item was asked for.
    reading_u : float or None
        Standard uncertainty of the reading by its gauge, in the item's unit.
    also : tuple of str
        Titles of the other items that differ from the best sheet: such a point does not show the item alone.
    """

    level: Level
    sheet: str
    reading: Reading | None
    reading_u: float | None
    also: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TuneStep:
    """One outing in the story of a tune.

    Attributes
    ----------
    outing_utc : datetime or None
    sheet_id, sheet : str
    reading : Reading or None
        The item asked for.
    changed : tuple of str
        Titles of the items that differ from the outing before.
    """

    outing_utc: datetime | None
    sheet_id: str
    sheet: str
    reading: Reading | None
    changed: tuple[str, ...]


@dataclass(frozen=True)
class History:
    """A measure over a boat's sheets.

    Attributes
    ----------
    measure : Measure
    item : str or None
        Name of the item that the points lie against.
    points : tuple of Point
        By the item's value where it is a number, else in order of time.
    best : Point or None
        The sheet whose interval has the better end furthest out; None where no sheet has an interval.
    steps : tuple of TuneStep
        Outing by outing.
    """

    measure: Measure
    item: str | None
    points: tuple[Point, ...]
    best: Point | None
    steps: tuple[TuneStep, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the contract ``reciprocal-history/1``: plain types, SI."""
        return {
            "schema": SCHEMA,
            "measure": self.measure.key,
            "item": self.item,
            "points": [_point(p) for p in self.points],
            "best_sheet": self.best and self.best.sheet,
            "steps": [
                {
                    "outing_utc": s.outing_utc and s.outing_utc.isoformat(),
                    "sheet": s.sheet,
                    "value": s.reading and s.reading.value,
                    "changed": list(s.changed),
                }
                for s in self.steps
            ],
        }


def _point(point: Point) -> dict[str, Any]:
    level = point.level
    return {
        "sheet": point.sheet,
        "sheet_id": level.sheet_id,
        "value": point.reading and point.reading.value,
        "value_u": point.reading_u,
        "count": level.count,
        "outings": level.outings,
        "mean": level.mean,
        "u95": level.u95,
        "also_differs": list(point.also),
    }


def boat_history(
    evidence: Sequence[Evidence],
    sheets: Mapping[str, SetupSheet],
    item: str | None = None,
    measure: str = "two_way_mps",
) -> History:
    """Lay a measure of a boat's history against one item of its sheets.

    Parameters
    ----------
    evidence : sequence of Evidence
        Of one boat.
    sheets : mapping of str to SetupSheet
        By ``sheet_id``.
    item : str, optional
        Name of the item; without it the points stand in order of time.
    measure : str
        A key of :data:`~telemetry.compare.measures.MEASURES`.

    Returns
    -------
    History

    Raises
    ------
    CallError
        If no sheet states the item, or the measure is none.
    """
    if measure not in MEASURES:
        raise CallError(f"{measure} is no measure", place="measure", mend=f"one of {', '.join(MEASURES)}")
    if item is not None and not any(item in sheet.tune for sheet in sheets.values()):
        stated = sorted({name for sheet in sheets.values() for name in sheet.tune})
        raise CallError(
            f"no sheet of this boat states {item}",
            place="item",
            mend=f"one of {', '.join(stated)}" if stated else "write the boat's sheets first",
        )
    asked = MEASURES[measure]
    found = [
        level for level in levels(asked, evidence, barred_among(sheets, evidence)) if level.sheet_id in sheets
    ]
    best = best_level(asked, found)
    points = [_at(level, sheets, item, best) for level in found]
    if item is not None and all(isinstance(p.reading.value, float) for p in points if p.reading):
        points.sort(key=lambda p: (p.reading is None, float(p.reading.value) if p.reading else 0.0))
    return History(
        asked,
        item,
        tuple(points),
        next((p for p in points if best is not None and p.level is best), None),
        _steps(evidence, sheets, item),
    )


def best_level(measure: Measure, found: Sequence[Level]) -> Level | None:
    """Choose the sheet that is surely good, not the one that was lucky once.

    For a speed the highest lower end of the intervals; for ripple, slip, current and heat the lowest upper
    end.
    """
    sure = [(level, half) for level in found if (half := level.u95) is not None]
    if measure.up == "faster":
        return max(sure, key=lambda s: s[0].mean - s[1], default=(None, 0.0))[0]
    return min(sure, key=lambda s: s[0].mean + s[1], default=(None, 0.0))[0]


def _at(level: Level, sheets: Mapping[str, SetupSheet], item: str | None, best: Level | None) -> Point:
    sheet = sheets[level.sheet_id]
    reading = sheet.tune.get(item) if item is not None else None
    reading_u = None
    if item is not None and reading is not None and sheet.item(item).is_measured:
        of_item = sheet.item(item)
        reading_u = of_item.gauge_of(reading).u(of_item.unit)
    others = () if best is None else differing(sheets[best.sheet_id], sheet, besides=item)
    return Point(level, sheet.name, reading, reading_u, others)


def differing(a: SetupSheet, b: SetupSheet, *, besides: str | None = None) -> tuple[str, ...]:
    """Name the items by which two sheets differ, one left aside."""
    return tuple(c.item.title for c in changes(a, b) if c.item.name != besides)


def _steps(
    evidence: Sequence[Evidence], sheets: Mapping[str, SetupSheet], item: str | None
) -> tuple[TuneStep, ...]:
    outings = {e.outing_id: e for e in evidence if e.sheet_id in sheets}
    ordered = sorted(outings.values(), key=lambda e: (e.outing_utc is None, e.outing_utc or _NO_DATE))
    told = cache(lambda before, after: differing(sheets[before], sheets[after]))  # years repeat few pairs
    steps: list[TuneStep] = []
    for k, e in enumerate(ordered):
        sheet = sheets[e.sheet_id]
        reading = None if item is None else sheet.tune.get(item)
        changed = told(ordered[k - 1].sheet_id, e.sheet_id) if k else ()
        steps.append(TuneStep(e.outing_utc, e.sheet_id, sheet.name, reading, changed))
    return tuple(steps)
