"""A boat's whole history: a measure against any one item, its best sheet, and how its tune drifted."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache, cached_property
from typing import Any, Final

import numpy as np

from telemetry.compare.covariates import barred_by
from telemetry.compare.display import Units
from telemetry.compare.evidence import Evidence, of_measure
from telemetry.compare.gp_response import ItemResponse
from telemetry.compare.grouping import components, day_of_outings
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.model import Fit, fit
from telemetry.compare.posterior import Mixture
from telemetry.compare.summary import history_summary
from telemetry.core.errors import CallError
from telemetry.core.frames import FloatArray
from telemetry.setup import Reading, SetupSheet, item_changes

HISTORY_SCHEMA: Final = "reciprocal-history/1"
_DRAWS: Final = 2000
_NO_DATE: Final = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Level:
    """One sheet's mean of a measure.

    Attributes
    ----------
    sheet_id : str
    count, outings, days : int
        The evidence behind it.
    mean : float
        Of the measure, SI, on the average of the season and drawn towards the other sheets as far as chance
        alone may have parted them; the plain mean where ``found`` is None.
    found : Mixture or None
        Posterior distribution of the mean; None where the history cannot judge it.
    first_utc : datetime or None
        When the sheet was first run.
    chance_best : float or None
        Probability that no other sheet is better.
    """

    sheet_id: str
    count: int
    outings: int
    days: int
    mean: float
    found: Mixture | None
    first_utc: datetime | None
    chance_best: float | None = None

    @cached_property
    def u95(self) -> float | None:
        """Half the 95 % interval of the mean, SI."""
        return None if self.found is None else self.found.half_width()


@dataclass(frozen=True, kw_only=True)
class Levels:
    """The sheets' means with the model that they come from.

    Attributes
    ----------
    of_sheets : tuple of Level
        In order of the sheets' first outing.
    fit : Fit or None
        None where the history cannot judge the scatter.
    """

    of_sheets: tuple[Level, ...]
    fit: Fit | None


def levels(
    measure: Measure,
    evidence: Sequence[Evidence],
    sheets: Mapping[str, SetupSheet] | None = None,
    barred: Collection[str] = (),
    *,
    chances: bool = True,
) -> Levels:
    """Estimate each sheet's mean in one hierarchical model of all sheets.

    The sheets' effects are drawn from one distribution whose spread is unknown, and where the sheets differ
    by numbers they are drawn from a smooth response; the best of several is thereby no better than it is.

    Parameters
    ----------
    measure : Measure
    evidence : sequence of Evidence
        What does not have the figure is left aside.
    sheets : mapping of str to SetupSheet, optional
        Their numbers make the response smooth; without them sheets are taken for unrelated.
    barred : collection of str
        Conditions that the sheets' differences move themselves, see :func:`barred_among`.
    chances : bool
        Whether to work out each sheet's chance of being the best.

    Returns
    -------
    Levels
    """
    rows = of_measure(evidence, measure.key, measure.kind)
    ids = list(dict.fromkeys(e.sheet_id for e in rows))
    if not ids:
        return Levels(of_sheets=(), fit=None)
    response = ItemResponse.of([None if sheets is None else sheets.get(one) for one in ids])
    prior = response.prior(peaked=measure.up == "faster")
    found: Fit | None = None
    try:
        found = fit(measure, rows, [e.sheet_id for e in rows], barred=barred, sheet_prior=prior)
    except ValueError:
        found = None
    if found is not None and not _can_judge(found):
        found = None
    days = day_of_outings(rows)
    best = None
    if found is not None and chances:
        best = _chances_best(found, len(ids), rising=measure.up == "faster")
    told = []
    for k, sheet in enumerate(ids):
        own = [e for e in rows if e.sheet_id == sheet]
        outings = {e.outing_id for e in own}
        effect = None if found is None else found.effect(np.eye(len(ids))[k])
        plain = float(np.mean([e.values[measure.key] for e in own if e.values[measure.key] is not None]))
        if found is not None and effect is not None:
            effect = replace(effect, middle=effect.middle + found.offset)
        told.append(
            Level(
                sheet_id=sheet,
                count=len(own),
                outings=len(outings),
                days=len({days[outing] for outing in outings}),
                mean=plain if effect is None else effect.mean,
                found=effect,
                first_utc=min((e.outing_utc for e in own if e.outing_utc is not None), default=None),
                chance_best=None if best is None else float(best[k]),
            )
        )
    return Levels(of_sheets=tuple(told), fit=found)


def _can_judge(found: Fit) -> bool:
    """Whether some days or outings are alike in their sheet, so that their scatter shows."""
    rows = found.rows
    if float(np.ptp(rows.y)) == 0.0:
        return False
    count, _ = components(rows.group, rows.row_day)
    days = int(rows.day.max()) + 1
    if days - count >= 1:
        return True
    return rows.day.size - (int(rows.group.max()) + 1 + days - count) >= 1 and count == 1


def _chances_best(found: Fit, sheets: int, *, rising: bool) -> FloatArray:
    """Draw the sheets' effects and count how often each is the best, shape (sheets,)."""
    drawn = found.draw(_DRAWS, np.random.default_rng(7)) @ found.sheet_root[:sheets].T
    best = np.argmax(drawn if rising else -drawn, axis=1)
    return np.bincount(best, minlength=sheets) / _DRAWS


def barred_among(sheets: Mapping[str, SetupSheet], evidence: Sequence[Evidence]) -> frozenset[str]:
    """Name the conditions that the differences among the sheets run move themselves."""
    run = [sheets[key] for key in dict.fromkeys(e.sheet_id for e in evidence) if key in sheets]
    return barred_by({c.item.name for sheet in run[1:] for c in item_changes(run[0], sheet)})


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
            "schema": HISTORY_SCHEMA,
            "summary": history_summary(self, Units("m/s")),
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
        "days": level.days,
        "mean": level.mean,
        "u95": level.u95,
        "chance_best": level.chance_best,
        "also_differs": list(point.also),
    }


def boat_history(
    evidence: Sequence[Evidence],
    sheets: Mapping[str, SetupSheet],
    item: str | None = None,
    measure: str = "two_way_mps",
) -> History:
    """Collect a measure of a boat's history by sheet, with the value of one item.

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
        If no sheet states the item, or there is no such measure.
    """
    if measure not in MEASURES:
        raise CallError(f"{measure} is not a measure", place="measure", hint=f"one of {', '.join(MEASURES)}")
    if item is not None and not any(item in sheet.tune for sheet in sheets.values()):
        stated = sorted({name for sheet in sheets.values() for name in sheet.tune})
        raise CallError(
            f"no sheet of this boat states {item}",
            place="item",
            hint=f"one of {', '.join(stated)}" if stated else "write the boat's sheets first",
        )
    asked = MEASURES[measure]
    known = [e for e in evidence if e.sheet_id in sheets]
    found = levels(asked, known, sheets, barred_among(sheets, known)).of_sheets
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
    """Choose the sheet that is most likely good, not the one that was lucky once.

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
    return tuple(c.item.title for c in item_changes(a, b) if c.item.name != besides)


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
