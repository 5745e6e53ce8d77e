"""What the logbook knows of a boat's speed, as evidence for comparisons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, Final

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from telemetry.compare import Evidence
from telemetry.logbook.importing import open_document
from telemetry.logbook.queries import storable
from telemetry.logbook.records import SavedIncident, SavedTwoWay
from telemetry.logbook.services import Services
from telemetry.logbook.summary import parse_utc
from telemetry.logbook.tables import AnalysisRow, BoatRow, OutingRow, PassRow, TwoWayRow

_PASS_VALUES: Final = (
    "peak_mps",
    "held_1s_mps",
    "ripple_mps",
    "slip",
    "peak_current_a",
    "motor_temp_c",
    "esc_temp_c",
)
_PASS_U95: Final = {"peak_mps": "peak_u95_mps", "held_1s_mps": "held_1s_u95_mps", "slip": "slip_u95"}
_UPSETS: Final = ("blow-over", "veer")
_SAME_DISTANCE: Final = 0.01  # of it
_OF_OUTING: Final = ("place", "wind_mps", "water", "air_c", "water_c", "pack")


class BoatHistory(Services):
    """Evidence out of many outings."""

    def evidence(
        self,
        boat: str | None = None,
        *,
        outing_ids: Collection[int] | None = None,
        sheet_ids: Collection[str] | None = None,
        distance_m: float | None = None,
    ) -> tuple[Evidence, ...]:
        """Return two-ways and passes as numbers, outing by outing in order of time.

        Two-ways that share a pass are not separate evidence: of each outing those are taken that share none,
        chosen by their order in time. Figures of different measured distances are not mixed either.

        Parameters
        ----------
        boat : str, optional
        outing_ids, sheet_ids : collection, optional
            Only these.
        distance_m : float, optional
            The measured distance of the two-ways and of ``distance_mps`` [m]; without it the one that most of
            the two-ways have, the shorter of two.

        Returns
        -------
        tuple of Evidence
            Analyses that another version of the program made are made again first.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._reading() as session:
            asked = []
            if boat is not None:
                asked.append(OutingRow.boat_id == self._boat_row(session, boat).id)
            if outing_ids is not None:
                asked.append(OutingRow.id.in_(outing_ids))
            if sheet_ids is not None:
                asked.append(OutingRow.sheet_id.in_(map(storable, sheet_ids)))
            ids = set(session.scalars(select(OutingRow.id).where(*asked)))
        for outing_id in ids.intersection(self.stale()):
            self._analyse_again(outing_id)
        with self._reading() as session:
            return _evidence(session, asked, distance_m)

    def two_ways(self, boat: str) -> tuple[SavedTwoWay, ...]:
        """List every two-way of a boat, as its outings' latest analyses have them, in order of time.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        first = (PassRow.outing_id == TwoWayRow.outing_id) & (PassRow.position == TwoWayRow.first_position)
        with self._reading() as session:
            rows = session.execute(
                select(
                    TwoWayRow.outing_id,
                    TwoWayRow.two_way_id,
                    TwoWayRow.rule,
                    PassRow.start_utc,
                    TwoWayRow.distance_m,
                    TwoWayRow.average_mps,
                    TwoWayRow.u95_mps,
                    TwoWayRow.verdict,
                )
                .join(OutingRow, OutingRow.id == TwoWayRow.outing_id)
                .join(PassRow, first)
                .where(OutingRow.boat_id == self._boat_row(session, boat).id)
                .order_by(OutingRow.when_utc, OutingRow.id, TwoWayRow.position)
            )
            return tuple(SavedTwoWay(*row) for row in rows)

    def upsets(self, boat: str) -> tuple[SavedIncident, ...]:
        """List the blow-overs and veers that a boat's outings show or may have, in order of time.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._reading() as session:
            documents = session.execute(
                select(AnalysisRow.outing_id, AnalysisRow.document)
                .join(OutingRow, OutingRow.id == AnalysisRow.outing_id)
                .where(
                    OutingRow.boat_id == self._boat_row(session, boat).id,
                    AnalysisRow.program_version == OutingRow.program_version,
                )
                .order_by(OutingRow.when_utc, OutingRow.id)
            )
            return tuple(
                SavedIncident(
                    outing_id,
                    event["kind"],
                    event["pass_id"],
                    event["verdict"],
                    event["why"],
                    parse_utc(event["start_utc"]),
                )
                for outing_id, document in documents
                for event in open_document(document).get("ride", ())
                if event["kind"] in _UPSETS and event["verdict"] in ("shown", "possible")
            )


def _evidence(session: Session, asked: Sequence[Any], distance_m: float | None) -> tuple[Evidence, ...]:
    outings = {
        row.id: row
        for row in session.execute(
            select(
                OutingRow.id,
                OutingRow.sheet_id,
                OutingRow.start_utc,
                OutingRow.under_way_s,
                BoatRow.name,
                *(getattr(OutingRow, name) for name in _OF_OUTING),
            )
            .join(BoatRow, BoatRow.id == OutingRow.boat_id)
            .where(*asked)
            .order_by(OutingRow.when_utc, OutingRow.id)
        )
    }

    def of(table: type[PassRow] | type[TwoWayRow]) -> Select[Any]:
        columns = table.__table__.columns
        joined = select(*columns).join(OutingRow, OutingRow.id == table.outing_id)
        return joined.where(*asked).order_by(table.outing_id, table.position)

    passes: dict[int, list[Row[Any]]] = {outing_id: [] for outing_id in outings}
    for row in session.execute(of(PassRow)):
        passes[row.outing_id].append(row)
    two_ways: dict[int, list[Row[Any]]] = {outing_id: [] for outing_id in outings}
    for row in session.execute(of(TwoWayRow).where(TwoWayRow.apart)):
        two_ways[row.outing_id].append(row)
    if distance_m is None:
        distance_m = _usual_distance(two_ways)
    hours = _hours_run(outings.values())
    evidence: list[Evidence] = []
    for outing_id, outing in outings.items():
        mine = passes[outing_id]
        told = sorted(
            (w for w in two_ways[outing_id] if _same(w.distance_m, distance_m)),
            key=lambda w: (w.first_position, w.second_position),
        )
        run_h = hours[outing_id]
        evidence += [_of_two_way(outing, k, w, mine, run_h) for k, w in enumerate(told)]
        evidence += [_of_pass(outing, p, distance_m, run_h) for p in mine]
    return tuple(evidence)


def _usual_distance(two_ways: Mapping[int, Sequence[Row[Any]]]) -> float | None:
    """Find the measured distance of most two-ways; None without one."""
    counts = Counter(w.distance_m for some in two_ways.values() for w in some)

    def alike(d: float) -> int:
        return sum(n for other, n in counts.items() if _same(other, d))

    return min(counts, key=lambda d: (-alike(d), -counts[d], d), default=None)


def _same(distance_m: float, wanted_m: float | None) -> bool:
    """Whether two measured distances are one: gates marked anew never stand to the millimetre."""
    return wanted_m is not None and abs(distance_m - wanted_m) <= _SAME_DISTANCE * wanted_m


def _hours_run(outings: Iterable[Row[Any]]) -> dict[int, float | None]:
    """Sum the hours under way of each boat before each of its outings, which come in order of time.

    None from the first outing on whose hours are not known.
    """
    so_far: dict[str, float | None] = {}
    told: dict[int, float | None] = {}
    for outing in outings:
        before = so_far.get(outing.name, 0.0)
        told[outing.id] = before
        known = before is not None and outing.under_way_s is not None
        so_far[outing.name] = before + outing.under_way_s / 3600.0 if known else None
    return told


def _of_two_way(
    outing: Row[Any], order: int, w: Row[Any], passes: Sequence[Row[Any]], run_h: float | None
) -> Evidence:
    first = passes[w.first_position]
    more = {"rest_voltage_v": first.rest_voltage_v, "distance_m": w.distance_m, "run_h": run_h}
    return Evidence(
        boat=outing.name,
        sheet_id=outing.sheet_id,
        outing_id=outing.id,
        outing_utc=outing.start_utc,
        order=order,
        kind="two-way",
        values={"two_way_mps": w.average_mps},
        u95={"two_way_mps": w.u95_mps},
        covariates=_covariates(outing) | more,
    )


def _of_pass(outing: Row[Any], p: Row[Any], distance_m: float | None, run_h: float | None) -> Evidence:
    values = {name: getattr(p, name) for name in _PASS_VALUES}
    u95 = {name: getattr(p, half) for name, half in _PASS_U95.items()}
    over = [told for told in p.distances if _same(told[0], distance_m)]
    if distance_m is not None and over:  # 330 ft are 100 m within what gates marked anew may differ by
        _, values["distance_mps"], u95["distance_mps"] = min(over, key=lambda told: abs(told[0] - distance_m))
    return Evidence(
        boat=outing.name,
        sheet_id=outing.sheet_id,
        outing_id=outing.id,
        outing_utc=outing.start_utc,
        order=p.position,
        kind="pass",
        values=values,
        u95={name: half for name, half in u95.items() if half is not None},
        covariates=_covariates(outing) | {"rest_voltage_v": p.rest_voltage_v, "way": p.way, "run_h": run_h},
    )


def _covariates(outing: Row[Any]) -> dict[str, float | str | None]:
    told = {name: getattr(outing, name) for name in _OF_OUTING}
    return {name: None if value == "" else value for name, value in told.items()}
