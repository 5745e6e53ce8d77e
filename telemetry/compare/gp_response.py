"""The prior of the sheets' effects: a smooth response to the items that were varied, and a part of its own.

A hull's answer to a tune is mostly a parabola near its best; a Gaussian process allows for what is not [1]_,
and a part of its own for what no number of the sheet says. Their sum has one unknown spread, which the model
integrates over; equal sheets make it small.

References
----------
.. [1] C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, sections
   2.7 (explicit basis functions) and 4.2 (kernels and their sums).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from telemetry.compare.model import SheetPrior
from telemetry.compare.priors import RESPONSE_AXIS
from telemetry.core.frames import BoolArray, FloatArray
from telemetry.setup import SetupSheet

LENGTHS: Final = (0.5, 1.0)
"""Length scales in spans of the values tried, equally likely: a response bends over the range people try."""
_LINEAR, _BENT, _PROCESS, _OWN = 0.6, 0.15, 0.2, 0.05
_OWN_NAMED: Final = 0.5  # where the sheets also differ by what is not a number
_BEND_MEAN: Final = 0.9  # standard deviations by which a parabola is expected to bend downward
"""Shares of the variance at half a span from the middle (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class ItemResponse:
    """Where some sheets lie among the numbers tried.

    Attributes
    ----------
    names : tuple of str
        Items whose numbers vary.
    low, high : ndarray, shape (items,)
        Ends of the values tried.
    places : ndarray, shape (sheets, items)
        From -1/2 to 1/2 over the values tried.
    known : ndarray of bool, shape (sheets,)
        Whether all of these numbers are stated.
    own : float
        Share of a sheet's effect that the numbers do not explain.
    """

    names: tuple[str, ...]
    low: FloatArray
    high: FloatArray
    places: FloatArray
    known: BoolArray
    own: float

    @classmethod
    def of(cls, sheets: Sequence[SetupSheet | None]) -> ItemResponse:
        """Place sheets; None is one whose numbers are unknown, which is unrelated to the others."""
        present = [sheet for sheet in sheets if sheet is not None]
        names, ends = [], []
        for name in sorted({name for sheet in present for name in sheet.tune}):
            stated = [v for sheet in present if (v := sheet.value(name)) is not None]
            if len(set(stated)) > 1:
                names.append(name)
                ends.append((min(stated), max(stated)))
        values = [[None if s is None else s.value(name) for name in names] for s in sheets]
        known = np.array([s is not None and None not in v for s, v in zip(sheets, values, strict=True)])
        low, high = np.array(ends, dtype=float).reshape(-1, 2).T
        filled = np.array([[m if v is None else v for v, m in zip(row, low, strict=True)] for row in values])
        places = (filled.reshape(len(sheets), len(names)) - 0.5 * (low + high)) / (high - low)
        own = _OWN_NAMED if _differ_in_names(present) else _OWN
        return cls(names=tuple(names), low=low, high=high, places=places, known=known, own=own)

    def place(self, sheet: SetupSheet, name: str, values: Sequence[float]) -> FloatArray:
        """Place a sheet with other values of one item, shape (values, items)."""
        (row,) = [self.places_of(sheet)]
        told = np.repeat(row[None], len(values), axis=0)
        k = self.names.index(name)
        told[:, k] = (np.array(values) - 0.5 * (self.low[k] + self.high[k])) / (self.high[k] - self.low[k])
        return np.asarray(told)

    def places_of(self, sheet: SetupSheet) -> FloatArray:
        """Place one sheet, shape (items,)."""
        values = [sheet.value(name) for name in self.names]
        filled = np.array([m if v is None else v for v, m in zip(values, self.low, strict=True)], dtype=float)
        return np.asarray((filled - 0.5 * (self.low + self.high)) / (self.high - self.low))

    def root(self, extra: FloatArray | None = None) -> FloatArray:
        """Return a square root of the prior covariance of the sheets' effects at unit spread.

        Parameters
        ----------
        extra : ndarray, shape (m, items), optional
            Further tunes that were not run.

        Returns
        -------
        ndarray, shape (sheets + m, terms)
        """
        sheets = self.known.size
        if not self.names:
            return np.eye(sheets)
        places = self.places if extra is None else np.vstack([self.places, extra])
        known = np.concatenate([self.known, np.ones(places.shape[0] - sheets, dtype=bool)])
        smooth = process_covariance(places)
        smooth[~known] = smooth[:, ~known] = 0.0
        # A tune that was not run is asked for its smooth response: what is its own nobody can foresee.
        own = np.where(known, self.own, 1.0) * (np.arange(known.size) < sheets)
        bent = bent_columns(places) * known[:, None]
        return np.column_stack([bent, covariance_root(smooth + np.diag(own))])

    def prior(self, extra: FloatArray | None = None, *, peaked: bool) -> SheetPrior:
        """Return the prior of the sheets' effects.

        Parameters
        ----------
        extra : ndarray, shape (m, items), optional
            Further tunes that were not run.
        peaked : bool
            Whether the response has a best value within reach, as a speed has, so that it bends downward.
        """
        root = self.root(extra)
        if not self.names:
            return SheetPrior(root=root)
        mean = np.zeros(root.shape[1])
        mean[: len(self.names)] = -_BEND_MEAN if peaked else 0.0
        return SheetPrior(root=root, mean=mean, axis=RESPONSE_AXIS)


def _differ_in_names(present: Sequence[SetupSheet]) -> bool:
    """Whether any item that is not a number varies."""
    names = {name for sheet in present for name in sheet.tune}
    named = {
        name: {
            sheet.tune[name].value for sheet in present if name in sheet.tune and sheet.value(name) is None
        }
        for name in names
    }
    return any(len(values) > 1 for values in named.values())


def bent_columns(places: FloatArray) -> FloatArray:
    """Return the parabola of each item at unit spread, shape (n, items).

    Parameters
    ----------
    places : ndarray, shape (n, items)
        In spans of the values tried; a step beyond them lies outside -1/2 to 1/2.
    """
    return np.asarray(np.sqrt(_BENT / places.shape[1]) * (4.0 * places**2 - 0.5))


def process_covariance(places: FloatArray) -> FloatArray:
    """Compute the covariance of slopes and Gaussian process at unit spread, shape (n, n).

    Parameters
    ----------
    places : ndarray, shape (n, items)
    """
    linear = 4.0 * places @ places.T / places.shape[1]
    distance = np.sum((places[:, None, :] - places[None, :, :]) ** 2, axis=2)
    process = np.mean([np.exp(-0.5 * distance / length**2) for length in LENGTHS], axis=0)
    return np.asarray(_LINEAR * linear + _PROCESS * process)


def covariance_root(covariance: FloatArray) -> FloatArray:
    """Return a square root of a covariance by its eigenvectors, without what is zero to rounding."""
    size, vectors = np.linalg.eigh(covariance)
    keep = size > 1e-10 * max(float(size.max()), 1e-300)
    return np.asarray(vectors[:, keep] * np.sqrt(size[keep]))
