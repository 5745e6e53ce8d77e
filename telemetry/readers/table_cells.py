"""Cells of a table that hold more than a number: a unit, a hemisphere, degrees and minutes, two values."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import pandas as pd

from telemetry.core.frames import FloatArray
from telemetry.readers.headings import unit_factor

_NUMBER: Final = r"[-+−]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_WITH_UNIT: Final = re.compile(rf"^\s*({_NUMBER})\s*([^\d\s.,+-].*?)\s*$")
_NORTH_OR_EAST: Final = ("n", "e", "north", "east", "nord", "norte", "noord", "ost", "est", "este", "oost")
_SOUTH_OR_WEST: Final = (
    "s",
    "w",
    "south",
    "west",
    "sud",
    "sued",
    "sur",
    "zuid",
    "ouest",
    "oeste",
    "ovest",
    "süd",
)
_WORDS: Final = "|".join(sorted((*_NORTH_OR_EAST, *_SOUTH_OR_WEST), key=len, reverse=True))
_ANGLE: Final = re.compile(
    rf"""^\s*(?P<before>{_WORDS})?[\s.]*(?P<sign>[-+−])?\s*(?P<degrees>\d+(?:\.\d*)?)\s*(?:°|º|deg\b|:)?
    \s*(?:(?P<minutes>\d+(?:\.\d*)?)\s*['′:]?\s*(?:(?P<seconds>\d+(?:\.\d*)?)\s*(?:"|″|'')?)?)?
    \s*(?P<after>{_WORDS})?\s*$""",
    re.IGNORECASE | re.VERBOSE,
)
_HALF: Final = rf"(?:(?:{_WORDS})\s*)?[-+−]?\d{{1,3}}[.,]\d{{2,}}\s*°?\s*(?:{_WORDS})?"
_PAIR: Final = re.compile(rf"^\s*[(\[]?\s*({_HALF})\s*[\s,;/|]\s*({_HALF})\s*[)\]]?\s*$", re.IGNORECASE)


def with_units(texts: pd.Series, column: str) -> FloatArray:
    """Read cells such as ``0.865 km/h`` in the column's own unit, shape (n,); NaN where none fits.

    Parameters
    ----------
    texts : Series of str, shape (n,)
        With decimal points.
    column : str
        A column of the frames.
    """
    parts = texts.str.extract(_WITH_UNIT)
    factor = np.full(len(texts), np.nan)
    offset = np.zeros(len(texts))
    for unit in parts[1].dropna().unique()[:100]:
        known = unit_factor(column, unit)
        if known is not None:
            here = (parts[1] == unit).to_numpy(dtype=np.bool_)
            factor[here], offset[here] = known
    numbers = pd.to_numeric(parts[0].str.replace("−", "-", regex=False), errors="coerce")
    return np.asarray(numbers.to_numpy(dtype=np.float64) * factor + offset)


def angles_deg(texts: pd.Series) -> FloatArray:
    """Read angles such as ``49.0733N``, ``W 125° 45.6'`` or ``33.9 south`` [deg], shape (n,)."""
    parts = texts.str.extract(_ANGLE)

    def number(name: str) -> FloatArray:
        return np.asarray(pd.to_numeric(parts[name], errors="coerce"), dtype=np.float64)

    minutes, seconds = np.nan_to_num(number("minutes")), np.nan_to_num(number("seconds"))
    angle = number("degrees") + minutes / 60.0 + seconds / 3600.0
    angle[(minutes >= 60.0) | (seconds >= 60.0)] = np.nan
    word = parts["before"].fillna(parts["after"]).fillna("").str.lower()
    negative = parts["sign"].isin(("-", "−")) ^ word.isin(_SOUTH_OR_WEST)
    return np.where(negative.to_numpy(dtype=np.bool_), -angle, angle)


def pair_part(texts: pd.Series, part: int) -> FloatArray:
    """Read the latitude (part 0) or longitude (part 1) of cells that hold both [deg], shape (n,)."""
    halves = texts.str.extract(_PAIR)[part]
    return angles_deg(halves.fillna("").str.replace(",", ".", regex=False))


def is_pair(cell: str) -> bool:
    """Check whether a cell holds a latitude and a longitude."""
    return _PAIR.match(cell) is not None


def hemisphere_signs(cells: pd.Series) -> FloatArray:
    """Sign of each row from a column of hemispheres, shape (n,): 1 for north or east, -1, NaN for neither."""
    words = cells.astype("str").str.strip().str.lower()
    return np.where(words.isin(_SOUTH_OR_WEST), -1.0, np.where(words.isin(_NORTH_OR_EAST), 1.0, np.nan))


def hemisphere_axis(cells: list[str]) -> str | None:
    """Name the column that a list of hemispheres belongs to; None where the cells are not hemispheres."""
    words = {cell.strip().lower() for cell in cells if cell.strip()}
    latitude = {"n", "s", "north", "south", "nord", "norte", "noord", "sud", "sued", "süd", "sur", "zuid"}
    if words and words <= latitude:
        return "lat_deg"
    if words and words <= {*_NORTH_OR_EAST, *_SOUTH_OR_WEST} - latitude:
        return "lon_deg"
    return None


def degrees_of_nmea(values: FloatArray) -> FloatArray:
    """Convert ``dddmm.mmm`` to degrees, shape (n,), keeping the sign."""
    whole = np.floor(np.abs(values) / 100.0)
    return np.asarray(np.sign(values) * (whole + (np.abs(values) - 100.0 * whole) / 60.0))
