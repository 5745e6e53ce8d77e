"""Centre of gravity from masses and places, and the moves that restore a balance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from telemetry.core.errors import SetupError
from telemetry.setup.estimate import Estimate

Parts = Sequence["Part"]
_NOTHING_MM = 1e-9


@dataclass(frozen=True, slots=True)
class Part:
    """One mass in the boat.

    Attributes
    ----------
    name : str
    mass_kg : Estimate
        [kg].
    place_mm : Estimate
        Of the part's own centre, ahead of the transom [mm].
    low_mm, high_mm : float or None
        The places it can be moved to; None, None for one that stays [mm].

    Raises
    ------
    SetupError
        If the mass is not positive or the range is the wrong way round.
    """

    name: str
    mass_kg: Estimate
    place_mm: Estimate
    low_mm: float | None = None
    high_mm: float | None = None

    def __post_init__(self) -> None:
        """Raise for an impossible part."""
        if not (0.0 < self.mass_kg.value < math.inf and math.isfinite(self.place_mm.value)):
            raise SetupError(
                f"a part of {self.mass_kg.value:g} kg at {self.place_mm.value:g} mm is not possible",
                place=self.name,
                hint="write its mass above zero, and its place in mm ahead of the transom",
            )
        if (self.low_mm is None) != (self.high_mm is None):
            raise SetupError(
                "only one end of its range is given", place=self.name, hint="write both ends, or none"
            )
        if self.low_mm is not None and self.high_mm is not None and not self.low_mm <= self.high_mm:
            raise SetupError(
                f"it cannot be moved from {self.low_mm:g} up to {self.high_mm:g} mm",
                place=self.name,
                hint="write the aft end of its range first",
            )

    @property
    def range_mm(self) -> tuple[float, float] | None:
        """The range it can be moved in [mm]; None for a part that stays."""
        return None if self.low_mm is None or self.high_mm is None else (self.low_mm, self.high_mm)


@dataclass(frozen=True, slots=True)
class Balance:
    """All-up mass [kg] and centre of gravity ahead of the transom [mm]."""

    mass_kg: Estimate
    cog_mm: Estimate

    def percent(self, hull_length_mm: float) -> Estimate:
        """Convert the centre of gravity to percent of the hull's length from the transom."""
        return Estimate(100.0 * self.cog_mm.value / hull_length_mm, 100.0 * self.cog_mm.u / hull_length_mm)


def balance(parts: Parts) -> Balance:
    """Add up masses and moments.

    Parameters
    ----------
    parts : sequence of Part
        Everything in the boat, each with its own name.

    Returns
    -------
    Balance
        The uncertainty of the centre of gravity covers that of every mass, by (place - centre) / all-up mass,
        and of every place, by mass / all-up mass.

    Raises
    ------
    SetupError
        If there is no part, or two of one name.

    References
    ----------
    JCGM 100:2008, 5.1.2.

    Examples
    --------
    >>> hull = Part("hull", Estimate(1.2), Estimate(330.0))
    >>> pack = Part("pack", Estimate(1.1), Estimate(180.0))
    >>> round(balance([hull, pack]).cog_mm.value, 2)
    258.26
    """
    masses, cog = _sums(parts)
    terms = [
        (weight, u)
        for part in parts
        for weight, u in zip(_weights(part, masses, cog), (part.mass_kg.u, part.place_mm.u), strict=True)
    ]
    mass = Estimate(masses, math.hypot(*(part.mass_kg.u for part in parts)))
    return Balance(mass, Estimate.from_sensitivities(cog, *terms))


def _sums(parts: Parts) -> tuple[float, float]:
    if not parts:
        raise SetupError("no part is given", place="balance", hint="give each part its mass and its place")
    names = [part.name for part in parts]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise SetupError("two parts have this name", place=twice, hint="give each a name of its own")
    mass = math.fsum(part.mass_kg.value for part in parts)
    return mass, math.fsum(part.mass_kg.value * part.place_mm.value for part in parts) / mass


def _weights(part: Part, mass_kg: float, cog_mm: float) -> tuple[float, float]:
    """Sensitivity of the centre of gravity to a part's mass [mm/kg] and to its place [1]."""
    return (part.place_mm.value - cog_mm) / mass_kg, part.mass_kg.value / mass_kg


def moved(parts: Parts, name: str, to_mm: float) -> tuple[Part, ...]:
    """Move one part; its place stays as uncertain as it was.

    Parameters
    ----------
    parts : sequence of Part
        The parts before.
    name : str
        The part to move.
    to_mm : float
        Its new place ahead of the transom [mm].

    Raises
    ------
    SetupError
        If there is no such part.
    """
    part = part_named(parts, name)
    return swapped(parts, replace(part, place_mm=Estimate(to_mm, part.place_mm.u)))


def swapped(parts: Parts, other: Part) -> tuple[Part, ...]:
    """Replace the part of the same name.

    Raises
    ------
    SetupError
        If there is none of its name.
    """
    part_named(parts, other.name)
    return tuple(other if part.name == other.name else part for part in parts)


def part_named(parts: Parts, name: str) -> Part:
    """Find a part.

    Raises
    ------
    SetupError
        If there is none of this name.
    """
    found = next((part for part in parts if part.name == name), None)
    if found is None:
        known = ", ".join(part.name for part in parts)
        raise SetupError("there is no such part", place=name, hint=f"choose {known}")
    return found


@dataclass(frozen=True, slots=True)
class BalanceEffect:
    """Effect of a change of parts: both balances, and how far the centre of gravity moves forward [mm]."""

    before: Balance
    after: Balance
    shift_mm: Estimate


def balance_effect(before: Parts, after: Parts) -> BalanceEffect:
    """Compare two loadings of one boat.

    What both share (a part that stayed, the mass of one that moved) is the same unknown in both and hardly
    affects the shift, which is therefore far more certain than either centre of gravity.

    Raises
    ------
    SetupError
        As for :func:`balance`.

    References
    ----------
    JCGM 100:2008, 5.1.2 and F.1.2.3 (a shared input is one input, taken once).
    """
    sides = [(parts, *_sums(parts)) for parts in (before, after)]
    weights: dict[tuple[str, str, Estimate], float] = {}
    for sign, (parts, mass, cog) in zip((-1.0, 1.0), sides, strict=True):
        for part in parts:
            by_mass, by_place = _weights(part, mass, cog)
            place = ("place", part.place_mm)
            for (what, estimate), weight in zip(
                (("mass", part.mass_kg), place), (by_mass, by_place), strict=True
            ):
                key = (part.name, what, estimate)
                weights[key] = weights.get(key, 0.0) + sign * weight
    shift = sides[1][2] - sides[0][2]
    terms = ((weight, estimate.u) for (_, _, estimate), weight in weights.items())
    return BalanceEffect(balance(before), balance(after), Estimate.from_sensitivities(shift, *terms))


@dataclass(frozen=True, slots=True)
class Move:
    """One part moved from one place to another, ahead of the transom [mm]."""

    name: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True, slots=True)
class Restoration:
    """The moves that give a wanted balance.

    Attributes
    ----------
    wanted_mm : float
        [mm].
    start : Balance
        The present balance.
    alone : tuple of Move
        Each of these, by itself, gives the wanted balance; the shortest first.
    together : tuple of Move
        What to do: the shortest single move, or the fewest moves together that come nearest.
    reached_mm, miss_mm : float
        Centre of gravity after ``together``, and wanted less reached [mm].
    """

    wanted_mm: float
    start: Balance
    alone: tuple[Move, ...]
    together: tuple[Move, ...]
    reached_mm: float
    miss_mm: float

    @property
    def possible(self) -> bool:
        """Whether the wanted balance is within the ranges of the parts."""
        return abs(self.miss_mm) <= 1e-6

    @property
    def within_doubt(self) -> bool:
        """Whether the boat may be there already, within the uncertainty of its masses and places."""
        return abs(self.wanted_mm - self.start.cog_mm.value) <= self.start.cog_mm.u95


def restoring_move(parts: Parts, wanted_mm: float) -> Restoration:
    """Find the move that gives a wanted centre of gravity.

    Parameters
    ----------
    parts : sequence of Part
        Those with a range may be moved within it.
    wanted_mm : float
        Centre of gravity ahead of the transom [mm].

    Returns
    -------
    Restoration
        Every part that can do it alone; else as few parts as can do it together, those with most range first;
        else how near all of them get.

    Raises
    ------
    SetupError
        As for :func:`balance`.
    """
    start = balance(parts)
    mass, cog = start.mass_kg.value, start.cog_mm.value
    missing = (wanted_mm - cog) * mass  # kg mm of moment
    if abs(wanted_mm - cog) <= _NOTHING_MM:
        return Restoration(wanted_mm, start, (), (), cog, 0.0)
    reach = sorted(_reaches(parts, ahead=missing > 0.0), key=lambda r: -abs(r[0]))
    alone = sorted(
        (_move(part, missing) for moment, part in reach if abs(moment) >= abs(missing) * (1.0 - 1e-12)),
        key=lambda move: abs(move.to_mm - move.from_mm),
    )
    if alone:
        return Restoration(wanted_mm, start, tuple(alone), (alone[0],), wanted_mm, 0.0)
    together = []
    for moment, part in reach:
        share = moment if abs(moment) < abs(missing) else missing
        if abs(share) > _NOTHING_MM:
            together.append(_move(part, share))
            missing -= share
    miss_mm = missing / mass
    return Restoration(wanted_mm, start, (), tuple(together), wanted_mm - miss_mm, miss_mm)


def _reaches(parts: Parts, *, ahead: bool) -> list[tuple[float, Part]]:
    """Compute the moment that each part can add in one direction [kg mm]."""
    reaches = []
    for part in parts:
        if part.range_mm is not None:
            low, high = part.range_mm
            way = max(high - part.place_mm.value, 0.0) if ahead else min(low - part.place_mm.value, 0.0)
            reaches.append((part.mass_kg.value * way, part))
    return reaches


def _move(part: Part, moment: float) -> Move:
    return Move(part.name, part.place_mm.value, part.place_mm.value + moment / part.mass_kg.value)
