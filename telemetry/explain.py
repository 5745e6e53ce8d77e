"""How the passes rode and what the power train did, as plain text."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.joining import JoinedMotor
from telemetry.power import Heat, PassPower
from telemetry.ride import RideEvent
from telemetry.texttable import text_table
from telemetry.units import speed_text


def ride_text(events: Sequence[RideEvent], unit: str) -> str:
    """Tell the ride events that were seen, and in one line each what was not and what cannot be told.

    Parameters
    ----------
    events : sequence of RideEvent
        In order of the passes.
    unit : str
        The reader's speed unit.
    """
    lines = ["How it rode"]
    for event in events:
        if event.verdict in ("shown", "possible"):
            lines += _seen(event, unit)
    for verdict, text in (("not seen", "examined and not seen"), ("cannot tell", "cannot tell")):
        of_it = [e for e in events if e.verdict == verdict]
        for why in dict.fromkeys(e.why if verdict == "cannot tell" else "" for e in of_it):
            those = [e for e in of_it if not why or e.why == why]
            lines.append(f"  {text}: {_listed(those)}" + (f": {why}" if why else ""))
    return "\n".join(lines)


def _listed(events: Sequence[RideEvent]) -> str:
    """Gather events of a kind and phase: ``porpoising at speed (P1, P2)``."""
    passes: dict[str, list[str]] = {}
    for e in events:
        name = (
            f"{e.kind} {'at ' if e.phase == 'take-off' else ''}{e.phase}"
            if e.kind == "porpoising"
            else e.kind
        )
        passes.setdefault(name, []).append(e.pass_id)
    return ", ".join(f"{name} ({' '.join(ids)})" for name, ids in passes.items())


def _seen(event: RideEvent, unit: str) -> list[str]:
    where = "at take-off" if event.phase == "take-off" else "at speed"
    head = (
        f"  {event.pass_id} {event.kind} {where}, {event.verdict}, {event.start_s:.1f} to {event.end_s:.1f} s"
    )
    facts = []
    if event.frequency_hz is not None and event.frequency_u95_hz is not None:
        facts.append(f"{event.frequency_hz:.2f} ± {event.frequency_u95_hz:.2f} Hz")
    if event.growth_per_s is not None and event.growth_u95_per_s is not None:
        facts.append(f"growth {event.growth_per_s:+.2f} ± {event.growth_u95_per_s:.2f} per second")
    if event.speed_amplitude_mps is not None:
        facts.append(f"speed ± {speed_text(event.speed_amplitude_mps, unit)}")
    if event.vertical_amplitude_mps is not None:
        facts.append(f"vertical ± {event.vertical_amplitude_mps:.2f} m/s")
    return [head + (": " + ", ".join(facts) if facts else ""), f"    {event.why}"]


def power_text(motors: Sequence[JoinedMotor]) -> str:
    """Tell each motor log: how its clock was joined, its pack, and every pass."""
    return "\n\n".join(_motor_text(j) for j in motors)


def _motor_text(joined: JoinedMotor) -> str:
    clock, power = joined.clock, joined.power
    lines = [f"Power train, from {joined.log.meta.file}"]
    if clock.trusted:
        lines.append(
            f"  clock joined by {clock.method}: {clock.offset_s:+.2f} ± {clock.u95_s:.2f} s, "
            f"drift {clock.drift_ppm:+.0f} ppm; {clock.why}"
        )
    else:
        lines.append(f"  clock not joined, cannot tell what the power train did in the passes: {clock.why}")
    if power.pack is not None:
        pack = power.pack.to_dict()
        lines.append(
            f"  pack resistance {1000 * pack['pack_resistance_ohm']:.1f} ± {1000 * pack['u95_ohm']:.1f} mohm"
            + (
                f" ({1000 * pack['cell_resistance_ohm']:.1f} mohm a cell)"
                if pack.get("cell_resistance_ohm")
                else ""
            )
            + f", at rest {pack['rest_voltage_v']:.2f} V"
        )
    if power.passes:
        lines += text_table(_rows(power.passes), right=tuple(range(1, 13)))
    for p in power.passes:
        lines += [
            f"  {p.pass_id}: {e.name} {e.value:.4g} {e.unit}, limit {e.limit:g} {e.unit} ({e.source})"
            for e in p.exceeded
        ]
        lines += [f"  {p.pass_id}: {note}" for note in p.notes]
    lines += [f"  {note}" for note in power.notes]
    return "\n".join(lines)


def _rows(passes: Sequence[PassPower]) -> list[tuple[str, ...]]:
    head = (
        *("pass", "slip", "rpm", "of rpm/V x V", "mean A", "peak A", "peak W", "sag V", "lowest V"),
        *("Wh", "Wh/km", "mAh", "motor °C", "controller °C"),
    )
    rows: list[tuple[str, ...]] = [head]
    for p in passes:
        slip = "cannot tell" if p.slip is None else _share(p.slip, p.slip_u95)
        rows.append(
            (
                p.pass_id,
                slip,
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
                _heat(p.motor_heat),
                _heat(p.esc_heat),
            )
        )
    return rows


def _share(value: float, u95: float | None) -> str:
    return f"{100 * value:.1f} %" if u95 is None else f"{100 * value:.1f} ± {100 * u95:.1f} %"


def _figure(value: float | None, decimals: int) -> str:
    return "cannot tell" if value is None else f"{value:.{decimals}f}"


def _heat(heat: Heat | None) -> str:
    """Start, end, and the highest after: what soaks in once the cooling water stops."""
    return (
        "cannot tell" if heat is None else f"{heat.start_c:.0f} {heat.end_c:.0f} {heat.highest_after_c:.0f}"
    )
