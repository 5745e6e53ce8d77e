"""Select from an analysis the data of the ride and power views."""

from __future__ import annotations

from telemetry.analysis import Analysis
from telemetry.motor.channels import Channels, channels
from telemetry.motor.sync.assign import MotorAssignment
from telemetry.ride.spectrum_view import RippleView, ripple_view
from telemetry.text.ride_power import seen_events


def ripple_of(analysis: Analysis, pass_id: str | None) -> RippleView | None:
    """Return the ripple of the chosen pass; by default of the first that oscillates."""
    if not analysis.passes:
        return None
    swings = {e.pass_id for e in seen_events(analysis.ride) if e.kind == "porpoising"}
    chosen = min(analysis.passes, key=lambda p: (p.id != pass_id, p.id not in swings))
    log = analysis.speed_logs[chosen.log]
    return ripple_view(log.cleaned, log.motion, chosen, analysis.ride)


def drawn_motor(analysis: Analysis) -> tuple[MotorAssignment, Channels] | None:
    """Choose the motor log that is drawn: the first that is matched, else the first."""
    ordered = sorted(analysis.motors, key=lambda j: not j.clock.trusted)
    return (ordered[0], channels(ordered[0].log)) if ordered else None
