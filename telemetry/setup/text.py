"""Balance, strut and service as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from telemetry.core.text_table import text_table
from telemetry.core.units import LENGTH_UNITS, MASS_UNITS, convert
from telemetry.setup.balance import Balance, BalanceEffect, Move, Parts, Restoration
from telemetry.setup.display_units import BenchDisplay
from telemetry.setup.estimate import Estimate
from telemetry.setup.items import COMMON_PRACTICE
from telemetry.setup.service import Due
from telemetry.setup.strut import StrutGeometry


def length_text(length_mm: Estimate | float, showing: BenchDisplay, *, signed: bool = False) -> str:
    """Format a length in the user's unit, with its 95 % interval if it has one.

    Parameters
    ----------
    length_mm : Estimate or float
        The length [mm].
    showing : BenchDisplay
        The user's units.
    signed : bool
        Whether a plus sign is written.

    Examples
    --------
    >>> length_text(Estimate(269.17, 0.18), BenchDisplay())
    '269.2 ± 0.4 mm'
    >>> length_text(25.4, BenchDisplay("in"), signed=True)
    '+1.000 in'
    """
    decimals = 1 if showing.length == "mm" else LENGTH_UNITS[showing.length].decimals
    return _quantity(length_mm, "mm", showing.length, decimals, signed=signed)


def mass_text(mass_kg: Estimate | float, showing: BenchDisplay, *, signed: bool = False) -> str:
    """Format a mass in the user's unit, with its 95 % interval if it has one.

    Parameters
    ----------
    mass_kg : Estimate or float
        The mass [kg].
    showing : BenchDisplay
        The user's units.
    signed : bool
        Whether a plus sign is written.
    """
    return _quantity(mass_kg, "kg", showing.mass, MASS_UNITS[showing.mass].decimals, signed=signed)


def _quantity(amount: Estimate | float, unit: str, into: str, decimals: int, *, signed: bool) -> str:
    estimate = amount if isinstance(amount, Estimate) else Estimate(amount)
    value = convert(estimate.value, unit, into)
    text = f"{value:{'+' if signed else ''}.{decimals}f}"
    return (
        f"{text} ± {convert(estimate.u95, unit, into):.{decimals}f} {into}"
        if estimate.u
        else f"{text} {into}"
    )


def parts_text(parts: Parts, showing: BenchDisplay | None = None) -> str:
    """Format the masses as a table."""
    show = showing or BenchDisplay()
    rows = [["part", "mass", "place", "may go to"]]
    for part in parts:
        low, high = part.range_mm or (None, None)
        reach = "stays" if low is None or high is None else f"{_bare(low, show)} to {length_text(high, show)}"
        rows.append([part.name, mass_text(part.mass_kg, show), length_text(part.place_mm, show), reach])
    return "\n".join(text_table(rows, right=(1, 2)))


def _bare(length_mm: float, showing: BenchDisplay) -> str:
    return length_text(length_mm, showing).partition(" ")[0]


def balance_text(
    balance: Balance, showing: BenchDisplay | None = None, hull_length_mm: float | None = None
) -> str:
    """Format all-up mass and centre of gravity in one sentence."""
    show = showing or BenchDisplay()
    share = f", {balance.percent(hull_length_mm).text('%')} of the hull" if hull_length_mm else ""
    return (
        f"All-up {mass_text(balance.mass_kg, show)}; centre of gravity {length_text(balance.cog_mm, show)} "
        f"ahead of the transom{share}."
    )


def effect_text(effect: BalanceEffect, showing: BenchDisplay | None = None) -> str:
    """Describe the effect of a change of parts in one sentence."""
    show, shift = showing or BenchDisplay(), effect.shift_mm
    heavier = effect.after.mass_kg.value - effect.before.mass_kg.value
    mass = f" All-up mass {mass_text(heavier, show, signed=True)}." if abs(heavier) > 1e-9 else ""
    if abs(shift.value) <= shift.u95 or shift.value == 0.0:
        return f"The centre of gravity does not move measurably: {length_text(shift, show)}.{mass}"
    way = "forward" if shift.value > 0 else "back"
    size = Estimate(abs(shift.value), shift.u)
    return f"The centre of gravity moves {way} by {length_text(size, show)}.{mass}"


def restoration_text(restoration: Restoration, showing: BenchDisplay | None = None) -> str:
    """Describe the moves that give a wanted balance, or come nearest to it."""
    show = showing or BenchDisplay()
    wanted = length_text(restoration.wanted_mm, show)
    doubt = (
        " Within the uncertainty of masses and places the boat may be there already."
        if restoration.within_doubt
        else ""
    )
    if not restoration.together and restoration.possible:
        return f"The centre of gravity is at {wanted} already."
    if restoration.alone:
        ways = "; or ".join(_move_text(move, show) for move in restoration.alone)
        return f"To get it to {wanted}: {ways}.{doubt}"
    moves = (
        " and ".join(_move_text(move, show) for move in restoration.together)
        or "no part can be moved that way"
    )
    if restoration.possible:
        return f"No single part can do it. To get it to {wanted}: {moves}.{doubt}"
    missing = (
        f"{length_text(abs(restoration.miss_mm), show)} {'behind' if restoration.miss_mm > 0 else 'ahead of'}"
    )
    return (
        f"No move within the ranges gives {wanted}. Nearest: {moves}; the centre of gravity is "
        f"then at {length_text(restoration.reached_mm, show)}, {missing} the wanted place.{doubt}"
    )


def _move_text(move: Move, showing: BenchDisplay) -> str:
    way = "forward" if move.to_mm > move.from_mm else "back"
    by = length_text(abs(move.to_mm - move.from_mm), showing)
    to = length_text(move.to_mm, showing)
    return f"{move.name} {way} by {by}, from {_bare(move.from_mm, showing)} to {to}"


def strut_text(geometry: StrutGeometry, showing: BenchDisplay | None = None) -> str:
    """Describe a strut's geometry."""
    show = showing or BenchDisplay()
    turned = -1.0 if "strut-angle" in show.turned else 1.0
    angle = Estimate(turned * geometry.angle_deg.value, geometry.angle_deg.u)
    lines = [f"Strut angle {angle.text('deg')}: {geometry.attitude}."]
    for where, depth in (
        ("its rear", geometry.depth_rear_mm),
        ("the propeller", geometry.depth_propeller_mm),
    ):
        if depth is not None:
            side = "below" if depth.value >= 0.0 else "above"
            size = length_text(Estimate(abs(depth.value), depth.u), show)
            lines.append(f"Depth at {where} {size} {side} the ride surfaces.")
    return "\n".join(lines)


def service_text(rows: Sequence[Due]) -> str:
    """Format what is due as a table, with the source of the intervals."""
    if not rows:
        return "No service task is set."
    cells = [["", "task", "", "since", "last done"]]
    marks = {"due": "!", "soon": "~", "cannot tell": "?", "not due": "="}
    cells += [
        [marks[row.verdict], row.task.title, row.verdict, row.why.partition(";")[0], _day(row.last_utc)]
        for row in rows
    ]
    unsourced = [row.task.title for row in rows if row.task.source == COMMON_PRACTICE]
    lines = text_table(cells)
    lines += [
        f"  {row.task.title}: {row.task.look}" for row in rows if row.verdict == "due" and row.task.look
    ]
    if unsourced:
        lines.append(f"  Intervals are {COMMON_PRACTICE}, except the boat's own. Set your own.")
    return "\n".join(lines)


def _day(moment: datetime | None) -> str:
    return "never recorded" if moment is None else f"{moment:%Y-%m-%d}"
