"""The bank view: an outing in at most ten lines, to read in the sun before the next pass."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Final

from telemetry.analysis import Analysis
from telemetry.core.sanitize import shortened
from telemetry.core.units import CELSIUS, TEMPERATURE_UNITS, distance_text, speed_text
from telemetry.motor.power import PassPower
from telemetry.ride.judge import RideEvent
from telemetry.text.ride_power import exceeded_text, seen_events
from telemetry.text.run import ESTIMATE, verdict_text

_LINE: Final = 160  # characters of one line


def brief_text(analysis: Analysis, unit: str, *, temperature_unit: str = CELSIUS) -> str:
    """Format an analysis in at most ten lines.

    Parameters
    ----------
    analysis : Analysis
    unit : str
        The reader's speed unit, a key of :data:`telemetry.core.units.SPEED_UNITS`.
    temperature_unit : str
        A key of :data:`telemetry.core.units.TEMPERATURE_UNITS`.

    Returns
    -------
    str
        Top speed; best two-way, its verdict and what prevents one; the ride; lowest voltage, hottest part and
        charge used where a motor log says; what to look at before the next pass.
    """
    power = [p for motor in analysis.motors for p in motor.power.passes]
    lines = [
        _top_speed(analysis, unit),
        _two_way(analysis, unit),
        _ride(analysis.ride),
        _volts(power),
        _heat(power, temperature_unit),
        _charge(power),
        _look_at(analysis, power, temperature_unit),
        ESTIMATE,
    ]
    return "\n".join(shortened(line, _LINE) for line in lines if line)


def _top_speed(analysis: Analysis, unit: str) -> str:
    fastest = max(analysis.passes, key=lambda p: p.peak_mps, default=None)
    if fastest is None:
        why = "no speed log was given" if analysis.motor_logs else "no log could be used"
        why = analysis.notes[0] if analysis.notes else why
        return f"Top speed: cannot tell ({why.rstrip('.')})"
    return f"Top speed: {speed_text(fastest.peak_mps, unit, fastest.peak_u95_mps)} in {fastest.id}"


def _two_way(analysis: Analysis, unit: str) -> str:
    best = analysis.leading_two_way
    if best is None:
        return ""
    average = speed_text(best.average_mps, unit, best.u95_mps)
    where = f"over {distance_text(best.distance_m)}, {' + '.join(best.passes)}"
    return f"Best two-way: {average} {where}: {verdict_text(best)}"


def _ride(events: Sequence[RideEvent]) -> str:
    """Name what was seen with its passes; what cannot be told stands last."""
    if not events:
        return ""
    seen = seen_events(events)
    words = []
    for (kind, phase, verdict), same in groupby(sorted(seen, key=_kind_of), key=_kind_of):
        sure = "possible " if verdict == "possible" else ""
        where = f" {'at take-off' if phase == 'take-off' else 'at speed'}" if kind == "porpoising" else ""
        words.append(f"{sure}{kind}{where} in {_listed(e.pass_id for e in same)}")
    unknown = [e for e in events if e.verdict == "cannot tell"]
    kinds = sorted({e.kind for e in unknown})
    if kinds:
        words.append(f"cannot tell {', '.join(kinds)} ({unknown[0].why})")
    elif not seen:
        words.append("nothing seen that should not be there")
    return f"Ride: {'; '.join(words)}"


def _kind_of(event: RideEvent) -> tuple[str, str, str]:
    return event.kind, event.phase, event.verdict


def _listed(ids: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(ids))


def _volts(power: Sequence[PassPower]) -> str:
    cells = [p for p in power if p.lowest_cell_v is not None]
    if cells:
        low = min(cells, key=lambda p: p.lowest_cell_v or 0.0)
        return f"Lowest cell: {low.lowest_cell_v:.2f} V in {low.pass_id}"
    packs = [p for p in power if p.lowest_voltage_v is not None]
    if not packs:
        return ""
    low = min(packs, key=lambda p: p.lowest_voltage_v or 0.0)
    return (
        f"Lowest pack voltage: {low.lowest_voltage_v:.1f} V in {low.pass_id} (--cells gives the lowest cell)"
    )


def _heat(power: Sequence[PassPower], temperature_unit: str) -> str:
    hottest = max(
        (
            (heat.highest_after_c, part, p.pass_id)
            for p in power
            for part, heat in (("motor", p.motor_heat), ("controller", p.esc_heat))
            if heat is not None
        ),
        default=None,
    )
    if hottest is None:
        return ""
    value = TEMPERATURE_UNITS[temperature_unit].from_si(hottest[0])
    return f"Hottest part: {hottest[1]} {value:.0f} {temperature_unit}, after {hottest[2]}"


def _charge(power: Sequence[PassPower]) -> str:
    used = [p.charge_mah for p in power if p.charge_mah is not None]
    return f"Charge used in the passes: {sum(used):.0f} mAh" if used else ""


def _look_at(analysis: Analysis, power: Sequence[PassPower], temperature_unit: str) -> str:
    """Name what needs a look before the next pass, the worst first; common practice, no source."""
    looks = []
    seen = seen_events(analysis.ride)
    crashed = _listed(e.pass_id for e in seen if e.kind == "blow-over")
    if crashed:
        looks.append(
            f"the boat, after the stop in {crashed} (`reciprocal bench --crash` lists what to measure)"
        )
    looks += [f"{p.pass_id}: {exceeded_text(e, temperature_unit)}" for p in power for e in p.exceeded][:2]
    growing = _listed(e.pass_id for e in seen if e.kind == "porpoising" and e.growing)
    if growing:
        looks.append(f"porpoising that grew in {growing}")
    return f"Before the next pass, look at: {'; '.join(looks)}" if looks else ""
