"""The bench page's balance: masses and places, the effect of a change, and the restoring move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from telemetry.core.errors import SetupError
from telemetry.setup import (
    ITEMS,
    Balance,
    BenchDisplay,
    Estimate,
    Part,
    Restoration,
    SetupSheet,
    balance,
    balance_effect,
    balance_text,
    effect_text,
    length_text,
    parts_of_sheet,
    restoration_text,
    restoring_move,
)
from telemetry.setup.gauges import SCALE, TAPE

FIELDS: Final = ("name", "mass", "place", "low", "high", "then_mass", "then_place")
"""The fields of each part, in the order of the table."""
FIRST_PARTS: Final = ("hull", "pack", "motor", "controller")
_PLACE, _MASS = ITEMS["pack_place_mm"], ITEMS["pack_mass_kg"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """Results for the typed parts.

    Attributes
    ----------
    sentences : tuple of str
        In reading order; empty without entries.
    error : str
        The entry that cannot be used.
    before, after : tuple of Part
    now, then : Balance or None
        Before and after the change.
    restoration : Restoration or None
        If a wanted place was typed.
    hull_length_mm : float or None
    as_set_mm : Estimate or None
        The sheet's centre of gravity [mm].
    """

    sentences: tuple[str, ...] = ()
    error: str = ""
    before: tuple[Part, ...] = ()
    after: tuple[Part, ...] = ()
    now: Balance | None = None
    then: Balance | None = None
    restoration: Restoration | None = None
    hull_length_mm: float | None = None
    as_set_mm: Estimate | None = None


def as_set_of(sheet: SetupSheet | None) -> Estimate | None:
    """Return a sheet's centre of gravity: from its masses, for the same parts, else as measured."""
    if sheet is None:
        return None
    try:
        return balance(parts_of_sheet(sheet)).cog_mm
    except SetupError:
        reading, item = sheet.tune.get("cog_mm"), ITEMS["cog_mm"]
        return None if reading is None else Estimate.of(reading, item.gauge, item.unit)


def first_rows(sheet: SetupSheet | None, showing: BenchDisplay) -> list[dict[str, str]]:
    """Start the table with the masses of a sheet, or with the names of the usual parts."""
    try:
        parts = parts_of_sheet(sheet) if sheet is not None else ()
    except SetupError:
        parts = ()
    if not parts:
        return [dict.fromkeys(FIELDS, "") | {"name": name} for name in FIRST_PARTS]
    return [
        dict.fromkeys(FIELDS, "")
        | {
            "name": part.name,
            "mass": f"{showing.size(_MASS, part.mass_kg.value):.6g}",
            "place": f"{showing.size(_PLACE, part.place_mm.value):.6g}",
        }
        for part in parts
    ]


def in_old_units(
    rows: Sequence[Mapping[str, Any]], old: BenchDisplay, new: BenchDisplay
) -> list[dict[str, str]]:
    """Append the old unit to bare numbers, so that a change of units changes no mass and no place."""
    return [
        {
            field: _with_unit(_typed(row, field), field, old, new) if field != "name" else _typed(row, field)
            for field in FIELDS
        }
        for row in rows
    ]


def _with_unit(text: str, field: str, old: BenchDisplay, new: BenchDisplay) -> str:
    was, now = (old.mass, new.mass) if field in ("mass", "then_mass") else (old.length, new.length)
    return f"{text} {was}" if text and was != now and text[-1].isdigit() else text


def weigh(
    rows: Sequence[Mapping[str, Any]],
    wanted: str,
    hull_length: str,
    showing: BenchDisplay,
    as_set_mm: Estimate | None = None,
) -> Weighed:
    """Compute the balance of the entries; rows without a mass and a place do not count.

    Without a wanted place the sheet's is used, if any part can be moved.
    """
    try:
        length = _length(hull_length, showing, "hull length")
        before = tuple(_part(row, showing) for row in rows if _typed(row, "mass") or _typed(row, "place"))
        if not before:
            return Weighed()
        changed = {str(row["name"]).strip(): row for row in rows}
        after = tuple(_changed(part, changed[part.name], showing) for part in before)
        effect = balance_effect(before, after)
        aim = _length(wanted, showing, "wanted place")
        if aim is None and as_set_mm is not None and any(part.range_mm for part in after):
            aim = as_set_mm.value
        restoration = None if aim is None else restoring_move(after, aim)
    except SetupError as error:
        return Weighed(error=f"{error.place}: {error.reason}" if error.place else error.reason)
    said = [f"Now: {balance_text(effect.before, showing, length)}"]
    if as_set_mm is not None:
        said.insert(0, f"As set: centre of gravity {length_text(as_set_mm, showing)} ahead of the transom.")
    if after != before:
        said += [effect_text(effect, showing), f"Then: {balance_text(effect.after, showing, length)}"]
    if restoration is not None:
        said.append(restoration_text(restoration, showing))
    return Weighed(
        sentences=tuple(said),
        error="",
        before=before,
        after=after,
        now=effect.before,
        then=effect.after,
        restoration=restoration,
        hull_length_mm=length,
        as_set_mm=as_set_mm,
    )


def _typed(row: Mapping[str, Any], key: str) -> str:
    return str(row.get(key) or "").strip()


def _part(row: Mapping[str, Any], showing: BenchDisplay) -> Part:
    name = _typed(row, "name")
    if not name:
        raise SetupError("a part has no name", place="parts", hint="name it")
    mass, place = _mass(_typed(row, "mass"), showing, name), _length(_typed(row, "place"), showing, name)
    if mass is None or place is None:
        raise SetupError("its mass or its place is missing", place=name, hint="fill in both")
    low, high = (_length(_typed(row, key), showing, name) for key in ("low", "high"))
    return Part(name, Estimate(mass, SCALE.u("kg")), Estimate(place, TAPE.u("mm")), low, high)


def _changed(part: Part, row: Mapping[str, Any], showing: BenchDisplay) -> Part:
    mass = _mass(_typed(row, "then_mass"), showing, part.name)
    place = _length(_typed(row, "then_place"), showing, part.name)
    return replace(
        part,
        mass_kg=part.mass_kg if mass is None else Estimate(mass, SCALE.u("kg")),
        place_mm=part.place_mm if place is None else Estimate(place, TAPE.u("mm")),
    )


def _length(text: str, showing: BenchDisplay, place: str) -> float | None:
    return _inside(text, showing, place, mass=False)


def _mass(text: str, showing: BenchDisplay, place: str) -> float | None:
    return _inside(text, showing, place, mass=True)


def _inside(text: str, showing: BenchDisplay, place: str, *, mass: bool) -> float | None:
    if not text.strip():
        return None
    try:
        return showing.inside(_MASS if mass else _PLACE, text)
    except SetupError as error:
        raise SetupError(error.reason, place=place, hint=error.hint) from None
