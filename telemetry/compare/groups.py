"""One side of a comparison out of a boat's evidence: a sheet, outings, or some outings of a sheet."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from telemetry.compare.evidence import Evidence
from telemetry.setup import SetupSheet


@dataclass(frozen=True)
class Side:
    """What stands on one side.

    Attributes
    ----------
    evidence : tuple of Evidence
    sheet : SetupSheet or None
        The tune, where the side has one alone.
    name : str
        What to call it.
    """

    evidence: tuple[Evidence, ...]
    sheet: SetupSheet | None
    name: str


def side_of(
    evidence: Sequence[Evidence],
    sheets: Mapping[str, SetupSheet],
    sheet_id: str | None = None,
    outings: Collection[str | int] = (),
) -> Side:
    """Take one side out of a boat's evidence.

    Parameters
    ----------
    evidence : sequence of Evidence
        Of the boat.
    sheets : mapping of str to SetupSheet
        By ``sheet_id``.
    sheet_id : str, optional
        Only what was run on this sheet.
    outings : collection, optional
        Only these outings; all where there are none.
    """
    mine = tuple(
        e for e in evidence if sheet_id in (None, e.sheet_id) and (not outings or e.outing_id in outings)
    )
    ids = {sheet_id} if sheet_id is not None else {e.sheet_id for e in mine}
    sheet = sheets.get(next(iter(ids))) if len(ids) == 1 else None
    told = [sheet.name] if sheet is not None else []
    if outings:
        listed = ", ".join(str(outing) for outing in sorted(outings, key=str))
        told.insert(0, f"outing {listed}" if len(outings) == 1 else f"outings {listed}")
    return Side(mine, sheet, " of ".join(told))
