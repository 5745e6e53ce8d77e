"""One two-way, or one pass, of a boat's history as numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Final

from telemetry.compare.measures import Kind

NOTHING: Final[Mapping[str, float]] = MappingProxyType({})
Covariate = float | str | None


@dataclass(frozen=True)
class Evidence:
    """One two-way, or one pass, of a boat's history as numbers.

    Attributes
    ----------
    boat : str
    sheet_id : str
        The tune it was run on.
    outing_id : str or int
        What it shares water, wind and pack with.
    outing_utc : datetime or None
        When the outing began.
    order : int
        Its position within the outing, counted from 0 over everything of its kind.
    kind : {"two-way", "pass"}
        Which of the two it is; the figures of each are never mixed.
    values : mapping of str to (float or None)
        Figures by the keys of :data:`~telemetry.compare.measures.MEASURES`, SI; None or absent where the
        logs could not say. A ripple of 0 is a pass that was examined and found clean.
    u95 : mapping of str to float
        Half-widths of the 95 % intervals of these figures, where known.
    covariates : mapping of str to (float, str or None)
        ``place``, ``wind_mps``, ``water``, ``air_c``, ``water_c``, ``pack``, ``rest_voltage_v``, ``run_h``
        (hours that the boat had been under way before the outing), and ``way`` ("out" or "back") of a pass,
        where known.
    """

    boat: str
    sheet_id: str
    outing_id: str | int
    outing_utc: datetime | None
    order: int
    kind: Kind
    values: Mapping[str, float | None]
    u95: Mapping[str, float] = field(default_factory=lambda: NOTHING)
    covariates: Mapping[str, Covariate] = field(default_factory=lambda: NOTHING)

    @property
    def key(self) -> tuple[str | int, str, Kind, int]:
        """Tell it apart from all other evidence of its boat."""
        return self.outing_id, self.sheet_id, self.kind, self.order

    def has(self, key: str) -> bool:
        """Whether a figure is known."""
        return self.values.get(key) is not None


def of_measure(evidence: Sequence[Evidence], key: str, kind: Kind) -> tuple[Evidence, ...]:
    """Keep the evidence that can speak about one measure, in its order."""
    return tuple(e for e in evidence if e.kind == kind and e.has(key))
