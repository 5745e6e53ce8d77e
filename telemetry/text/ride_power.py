"""How the passes rode, what the power train did, and the what-if, as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import Final

from telemetry.core.text_table import text_table
from telemetry.core.units import CELSIUS, SPEED_UNITS, TEMPERATURE_UNITS, speed_text
from telemetry.motor.pack import PackEstimate
from telemetry.motor.power import Exceeded, Heat, PassPower, PowerReport
from telemetry.motor.sync.assign import CLOCK_SET_BY_HAND, MotorAssignment
from telemetry.motor.sync.clock import MotorClock
from telemetry.motor.what_if import WhatIf, WhatIfEstimate
from telemetry.ride.judge import RideEvent


def ride_text(events: Sequence[RideEvent], unit: str) -> str:
    """Format the ride events: those seen in full, the rest in one line each.

    Parameters
    ----------
    events : sequence of RideEvent
        In order of the passes.
    unit : str
        The reader's speed unit.
    """
    lines = ["How it rode"]
    for event in seen_events(events):
        facts = event_facts(event, unit)
        lines += [
            f"  {event_title(event)}, {event.verdict}" + (f": {facts}" if facts else ""),
            f"    {event.why}",
        ]
    return "\n".join(lines + [f"  {line}" for line in unseen_lines(events)])


def seen_events(events: Sequence[RideEvent]) -> list[RideEvent]:
    """Return the events that were shown or possible."""
    return [e for e in events if e.verdict in ("shown", "possible")]


def unseen_lines(events: Sequence[RideEvent]) -> list[str]:
    """Format in one line each what was not seen, and what cannot be told, with the reason."""
    lines = []
    for verdict, text in (("not seen", "not seen"), ("cannot tell", "cannot tell")):
        of_it = [e for e in events if e.verdict == verdict]
        for why in dict.fromkeys(e.why if verdict == "cannot tell" else "" for e in of_it):
            those = [e for e in of_it if not why or e.why == why]
            lines.append(f"{text}: {_listed(those)}" + (f": {why}" if why else ""))
    return lines


def _listed(events: Sequence[RideEvent]) -> str:
    """Group passes by kind of event and phase: ``porpoising at speed (P1 P2), veer (P1)``."""
    passes: dict[str, list[str]] = {}
    for e in events:
        name = (
            f"{e.kind} {'at ' if e.phase == 'take-off' else ''}{e.phase}"
            if e.kind == "porpoising"
            else e.kind
        )
        passes.setdefault(name, []).append(e.pass_id)
    return ", ".join(f"{name} ({' '.join(ids)})" for name, ids in passes.items())


def event_title(event: RideEvent) -> str:
    """Format an event's title with its pass, phase and time."""
    where = "at take-off" if event.phase == "take-off" else "at speed"
    return f"{event.pass_id} {event.kind} {where}, {event.start_s:.1f} to {event.end_s:.1f} s"


def event_facts(event: RideEvent, unit: str) -> str:
    """Format an event's figures with their 95 % uncertainty; empty if it has none."""
    facts = []
    if event.frequency_hz is not None and event.frequency_u95_hz is not None:
        facts.append(f"{event.frequency_hz:.2f} ± {event.frequency_u95_hz:.2f} Hz")
    if event.growth_per_s is not None and event.growth_u95_per_s is not None:
        facts.append(f"growth {event.growth_per_s:+.2f} ± {event.growth_u95_per_s:.2f} per second")
    if event.speed_amplitude_mps is not None:
        facts.append(f"swing of speed {speed_text(event.speed_amplitude_mps, unit)}")
    if event.vertical_amplitude_mps is not None:
        facts.append(f"of vertical speed {event.vertical_amplitude_mps:.2f} m/s")
    return ", ".join(facts)


def power_text(motors: Sequence[MotorAssignment], temperature_unit: str = CELSIUS) -> str:
    """Format each motor log: its clock, its pack, and every pass."""
    return "\n\n".join(_motor_text(j, temperature_unit) for j in motors)


def _motor_text(joined: MotorAssignment, temperature_unit: str) -> str:
    power = joined.power
    lines = [f"Power train, from {PurePath(joined.log.meta.file).name}", f"  {clock_text(joined.clock)}"]
    if power.pack is not None:
        lines.append(f"  {pack_text(power.pack)}")
    if power.passes:
        rows = power_rows(power.passes, temperature_unit)
        lines += text_table(rows, right=tuple(range(1, len(rows[0]))))
    return "\n".join(lines + [f"  {note}" for note in power_notes(power, temperature_unit)])


def clock_text(clock: MotorClock) -> str:
    """Describe how a motor log's clock was matched, or why it was not."""
    if not clock.trusted:
        return f"No power figures: the motor log could not be matched to the speed log ({clock.why})"
    how = clock.method if clock.method == CLOCK_SET_BY_HAND else f"by {clock.method}"
    return (
        f"clock matched {how}: {clock.offset_s:+.2f} ± {clock.u95_s:.2f} s, "
        f"drift {clock.drift_ppm:+.0f} ppm; {clock.why}"
    )


def pack_text(pack: PackEstimate) -> str:
    """Format the pack's resistance and its voltage at rest."""
    figures = pack.to_dict()
    cell = figures.get("cell_resistance_ohm")
    a_cell = f" ({1000 * cell:.1f} mohm a cell)" if cell else ""
    mohm, u95_mohm = 1000 * figures["pack_resistance_ohm"], 1000 * figures["u95_ohm"]
    return (
        f"pack resistance {mohm:.1f} ± {u95_mohm:.1f} mohm{a_cell}, at rest {figures['rest_voltage_v']:.2f} V"
    )


def power_notes(power: PowerReport, temperature_unit: str = CELSIUS) -> list[str]:
    """List the limits exceeded and what cannot be told."""
    notes = []
    for p in power.passes:
        notes += [f"{p.pass_id}: {exceeded_text(e, temperature_unit)}" for e in p.exceeded]
        notes += [f"{p.pass_id}: {note}" for note in p.notes]
    return [*notes, *power.notes]


def exceeded_text(e: Exceeded, temperature_unit: str) -> str:
    """Format a limit that was exceeded: value, limit and whose limit it is."""
    value, limit, unit = e.value, e.limit, e.unit
    if unit == CELSIUS:
        value, limit = (TEMPERATURE_UNITS[temperature_unit].from_si(x) for x in (value, limit))
        unit = temperature_unit
    return f"{e.name} {value:.4g} {unit}, limit {limit:g} {unit} ({e.source})"


_POWER_HEADS: Final = (
    *("pass", "slip", "rpm", "% of no-load rpm", "mean A", "peak A", "peak W", "sag V", "lowest V"),
    *("Wh", "Wh/km", "mAh"),
)


def power_rows(passes: Sequence[PassPower], temperature_unit: str = CELSIUS) -> list[tuple[str, ...]]:
    """Format the passes' power figures as cells; the first row holds the headings.

    Temperatures are those at the start and the end of the pass, and the highest after it.
    """
    heated = (f"{part} {temperature_unit}: start, end, after" for part in ("motor", "controller"))
    rows: list[tuple[str, ...]] = [(*_POWER_HEADS, *heated)]
    for p in passes:
        rows.append(
            (
                p.pass_id,
                "cannot tell" if p.slip is None else _share(p.slip, p.slip_u95),
                _figure(p.rpm, 0),
                "cannot tell" if p.rpm_share is None else f"{100 * p.rpm_share:.0f} %",
                _figure(p.mean_current_a, 0),
                _figure(p.peak_current_a, 0),
                _figure(p.peak_power_w, 0),
                _figure(p.sag_v, 2),
                _figure(p.lowest_voltage_v, 2),
                _figure(p.energy_wh, 2),
                _figure(p.wh_per_km, 1),
                _figure(p.charge_mah, 0),
                _heat(p.motor_heat, temperature_unit),
                _heat(p.esc_heat, temperature_unit),
            )
        )
    return rows


def _share(value: float, u95: float | None) -> str:
    return f"{100 * value:.1f} %" if u95 is None else f"{100 * value:.1f} ± {100 * u95:.1f} %"


def _figure(value: float | None, decimals: int) -> str:
    return "cannot tell" if value is None else f"{value:.{decimals}f}"


def _heat(heat: Heat | None, temperature_unit: str) -> str:
    """Format the temperature at the start and end, and its highest after the pass (heat soak)."""
    if heat is None:
        return "cannot tell"
    unit = TEMPERATURE_UNITS[temperature_unit]
    return " ".join(f"{unit.from_si(c):.0f}" for c in (heat.start_c, heat.end_c, heat.highest_after_c))


def what_if_text(pass_id: str, answer: WhatIf, unit: str) -> str:
    """Format the effect of a change on a pass's best second, and its assumptions.

    Parameters
    ----------
    pass_id : str
    answer : WhatIf
    unit : str
        The reader's speed unit.
    """
    heading = f"What if, from the best second of {pass_id} (± is the 95 % interval)"
    if answer.refused:
        return f"{heading}\n  cannot tell: {answer.refused}"
    assumed = [f"    {text}" for text in answer.assumptions]
    table = text_table(what_if_rows(answer, unit), right=(1, 2))
    return "\n".join([heading, *table, "  Assumptions:", *assumed])


def what_if_rows(answer: WhatIf, unit: str) -> list[tuple[str, str, str]]:
    """Format the figures as cells, as measured and as estimated; the first row holds the headings."""
    speed = SPEED_UNITS[unit]
    figures = (
        ("shaft rpm", answer.rpm, 1.0, 0),
        ("current [A]", answer.current_a, 1.0, 1),
        (f"speed [{unit}]", answer.speed_mps, speed.factor_si, speed.decimals),
        ("heat of the motor [W]", answer.motor_heat_w, 1.0, 0),
        ("heat of the pack [W]", answer.pack_heat_w, 1.0, 0),
    )
    rows = [(name, *_estimate(e, factor, digits)) for name, e, factor, digits in figures if e is not None]
    return [("", "measured", "estimate"), *rows]


def _estimate(estimate: WhatIfEstimate, factor: float, digits: int) -> tuple[str, str]:
    was, value, u95 = (x / factor for x in (estimate.measured, estimate.value, estimate.u95))
    return f"{was:.{digits}f}", f"{value:.{digits}f} ± {u95:.{digits}f}"
