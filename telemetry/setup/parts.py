"""The masses of a sheet, as parts of a balance."""

from __future__ import annotations

from collections.abc import Mapping

from telemetry.core.errors import SetupError
from telemetry.setup.balance import Part
from telemetry.setup.estimate import Estimate
from telemetry.setup.sheet import Measures

_MASS, _PLACE = "_mass_kg", "_place_mm"


def parts_of_sheet(
    measures: Measures, ranges: Mapping[str, tuple[float, float]] | None = None
) -> tuple[Part, ...]:
    """Collect every mass of a sheet that has a place: ``pack_mass_kg`` with ``pack_place_mm``, own items too.

    Parameters
    ----------
    measures : SetupSheet or FoundMeasure
    ranges : mapping of str to (float, float), optional
        The places that a part can be moved to, by its name such as ``pack`` [mm].

    Returns
    -------
    tuple of Part
        In the order of a sheet, each with its gauges' uncertainty.

    Raises
    ------
    SetupError
        If the sheet has no such pair, or a range is given for an unknown part.
    """
    names = [name.removesuffix(_MASS) for name in measures.tune if name.endswith(_MASS)]
    parts = []
    for name in names:
        if name + _PLACE in measures.tune:
            mass, place = _estimate(measures, name + _MASS), _estimate(measures, name + _PLACE)
            parts.append(Part(name, mass, place, *(ranges or {}).get(name, (None, None))))
    if not parts:
        raise SetupError(
            "the sheet has no mass with its place",
            place=measures.boat,
            hint="give pairs such as pack_mass_kg and pack_place_mm",
        )
    strange = next((name for name in ranges or {} if name not in {part.name for part in parts}), None)
    if strange is not None:
        known = ", ".join(part.name for part in parts)
        raise SetupError("the sheet has no such part", place=strange, hint=f"choose {known}")
    return tuple(parts)


def _estimate(measures: Measures, name: str) -> Estimate:
    item = measures.item(name)
    return Estimate.of(measures.tune[name], item.gauge, item.unit)
