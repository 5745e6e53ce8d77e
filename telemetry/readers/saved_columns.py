"""What a user once said of a table, found again by the table's headings.

A logger writes the same line of headings every time, so one explanation serves all its tables. Two tables are
of one kind where their headings and their row of units agree in order, apart from case and spacing: a logger
that is switched to another unit is asked about again.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from telemetry.readers.headings import match

_ID_LETTERS: Final = 12
_MAX_POLE_PAIRS: Final = 100


def table_id(headings: Sequence[str], units: Sequence[str] = ()) -> str:
    """Name a kind of table by its headings and row of units.

    Examples
    --------
    >>> table_id(["V  GPS", "U batt"]) == table_id(["v gps ", "u Batt"])
    True
    >>> table_id(["V GPS"], ["km/h"]) == table_id(["V GPS"], ["mph"])
    False
    """
    plain = [
        [" ".join(unicodedata.normalize("NFC", cell).casefold().split()) for cell in row]
        for row in (headings, units)
    ]
    return hashlib.sha256(json.dumps(plain).encode()).hexdigest()[:_ID_LETTERS]


@dataclass(frozen=True, slots=True)
class SavedColumnMap:
    """An explanation of one kind of table.

    Attributes
    ----------
    headings, units : tuple of str
        As they stood in the table that was explained.
    columns : mapping of str to str
        As in :class:`telemetry.readers.base.ReadOptions`.
    pole_pairs : int or None
    gear_ratio : float or None
        None where it was not said.
    kept_utc : str
        When it was said, ISO 8601.
    """

    headings: tuple[str, ...]
    units: tuple[str, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)
    pole_pairs: int | None = None
    gear_ratio: float | None = None
    kept_utc: str = ""

    @property
    def id(self) -> str:
        """The table's :func:`table_id`."""
        return table_id(self.headings, self.units)

    def says_the_same(self, other: SavedColumnMap) -> bool:
        """Compare with another explanation, whenever it was given."""
        return replace(self, kept_utc="") == replace(other, kept_utc="")

    def text(self) -> str:
        """Describe the map in one line.

        Examples
        --------
        >>> SavedColumnMap(("wann", "umdr"), (), {"umdr": "erpm"}, 3, 1.5).text()
        'umdr as erpm, pole pairs 3, gear ratio 1.5'
        """
        said = [f"{heading} as {column}" for heading, column in self.columns.items()]
        said += [f"pole pairs {self.pole_pairs}"] if self.pole_pairs is not None else []
        said += [f"gear ratio {self.gear_ratio:g}"] if self.gear_ratio is not None else []
        return ", ".join(said)

    def columns_of(self, headings: Sequence[str]) -> dict[str, str]:
        """Return the columns in the spelling of another table of the same kind."""
        pairs = zip(headings, self.headings, strict=True)
        return {heading.strip(): self.columns[old] for heading, old in pairs if old in self.columns}

    def to_dict(self) -> dict[str, Any]:
        """Return plain types."""
        return {
            "headings": list(self.headings),
            "units": list(self.units),
            "columns": dict(self.columns),
            "pole_pairs": self.pole_pairs,
            "gear_ratio": self.gear_ratio,
            "kept_utc": self.kept_utc,
        }

    @classmethod
    def from_dict(cls, told: Any) -> SavedColumnMap:
        """Take an explanation from plain types of unknown origin.

        Raises
        ------
        ValueError
            If they are not what :meth:`to_dict` makes, or name a column that there is not.
        """
        try:
            rows = [told["headings"], told["units"], list(told["columns"]), list(told["columns"].values())]
            if not all(isinstance(cell, str) for row in (*rows, [told["kept_utc"]]) for cell in row):
                raise ValueError("a heading, unit or column is no text")
            poles, gear = told["pole_pairs"], told["gear_ratio"]
            if poles is not None and not (type(poles) is int and 1 <= poles <= _MAX_POLE_PAIRS):
                raise ValueError(f"{poles!r} is no count of pole pairs")
            if gear is not None and not (type(gear) in (int, float) and 0.0 < gear < float("inf")):
                raise ValueError(f"{gear!r} is no gear ratio")
            kept = cls(tuple(rows[0]), tuple(rows[1]), dict(told["columns"]), poles, gear, told["kept_utc"])
            match(kept.headings, kept.units, kept.columns)
        except (KeyError, TypeError, AttributeError) as error:
            raise ValueError(f"it lacks {error}") from error
        return kept


@dataclass(frozen=True, slots=True)
class ExplainedTable:
    """A table with everything that is said of it: what is given now, completed by what was kept.

    Attributes
    ----------
    headings, units : tuple of str
        As they stand in the file.
    columns : mapping of str to str
        Of the headings that the table has.
    pole_pairs : int or None
    gear_ratio : float or None
    kept : SavedColumnMap or None
        The kept map, where anything of it is used.
    """

    headings: tuple[str, ...]
    units: tuple[str, ...]
    columns: Mapping[str, str]
    pole_pairs: int | None
    gear_ratio: float | None
    kept: SavedColumnMap | None

    def worth_keeping(self, kept_utc: str) -> SavedColumnMap | None:
        """Return what is said as a map to keep; None where nothing is."""
        named = {m.column for m in match(self.headings, self.units, self.columns)}
        shaft_told, turns = "rpm" in named, {"erpm", "motor_rpm"} & named
        poles = self.pole_pairs if turns == {"erpm"} and not shaft_told else None
        gear = self.gear_ratio if turns and not shaft_told else None
        if not self.columns and poles is None and gear is None:
            return None
        return SavedColumnMap(self.headings, self.units, dict(self.columns), poles, gear, kept_utc)
