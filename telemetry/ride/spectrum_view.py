"""What a drawing of one pass's ripple shows: the ripple, the oscillation found in it, spectrum and floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import BoolArray, FloatArray
from telemetry.kinematics.whole_log import Motion
from telemetry.passes.find import Pass
from telemetry.ride.incidents import blow_over
from telemetry.ride.judge import RideEvent, powered_run, ride_spectra


@dataclass(frozen=True)
class RippleCurve:
    """One signal's ripple and spectrum.

    Attributes
    ----------
    name : str
        Column of the track it comes from.
    t_s, values : ndarray, shape (n,)
        Ripple on the log's clock; NaN inside gaps [s, the column's unit].
    f_hz, density, floor : ndarray, shape (m,)
        One-sided spectrum and the smooth curve that an oscillation must stand out of [Hz, unit²/Hz].
    """

    name: str
    t_s: FloatArray
    values: FloatArray
    f_hz: FloatArray
    density: FloatArray
    floor: FloatArray


@dataclass(frozen=True)
class Envelope:
    """Outline of one oscillation in the speed's or the vertical speed's ripple.

    Attributes
    ----------
    event : RideEvent
    name : str
        Column it belongs to.
    t_s, upper : ndarray, shape (k,)
        The lower edge is ``-upper`` [s, m/s].
    """

    event: RideEvent
    name: str
    t_s: FloatArray
    upper: FloatArray


@dataclass(frozen=True)
class RippleView:
    """Everything the ride view draws of one pass.

    Attributes
    ----------
    pass_id : str
    curves : tuple of RippleCurve
        Speed first, then the vertical signal, as far as the log has them.
    envelopes : tuple of Envelope
        Of the oscillations reported for the pass.
    rate_hz, nyquist_hz : float
        Sampling rate and half of it; what lies above the latter is hidden, and may show below it mirrored.
    band_hz : (float, float) or None
        Searched; None where the sampling allows no search.
    takeoff_end_s : float or None
        Where take-off ends on the log's clock.
    """

    pass_id: str
    curves: tuple[RippleCurve, ...]
    envelopes: tuple[Envelope, ...]
    rate_hz: float
    nyquist_hz: float
    band_hz: tuple[float, float] | None
    takeoff_end_s: float | None


_SPEED_AMPLITUDE = {"speed_mps": "speed_amplitude_mps", "vertical_mps": "vertical_amplitude_mps"}


def _gaps(values: FloatArray, ok: BoolArray) -> FloatArray:
    return np.where(ok, values, np.nan)


def _envelope(event: RideEvent, name: str) -> Envelope | None:
    amplitude = getattr(event, _SPEED_AMPLITUDE[name]) if name in _SPEED_AMPLITUDE else None
    if amplitude is None or event.growth_per_s is None:
        return None
    t = np.linspace(event.start_s, event.end_s, 60)
    middle = 0.5 * (event.start_s + event.end_s)
    return Envelope(event, name, t, amplitude * np.exp(event.growth_per_s * (t - middle)))


def ripple_view(
    cleaned: Cleaned, motion: Motion, a_pass: Pass, events: tuple[RideEvent, ...] = ()
) -> RippleView:
    """Gather what is drawn of a pass's ripple.

    Parameters
    ----------
    cleaned, motion
        Of the log.
    a_pass : Pass
    events : tuple of RideEvent
        As :func:`telemetry.ride.judge.judge_ride` gave them, of this pass or of all.
    """
    run = powered_run(motion, a_pass, blow_over(cleaned, motion, a_pass))
    found = [] if run.band is None else [w for w in ride_spectra(cleaned, run) if w is not None]
    curves = tuple(
        RippleCurve(
            w.ripple.name,
            w.ripple.t_s,
            _gaps(w.ripple.values, w.ripple.ok),
            w.floor.f_hz,
            w.floor.spectrum,
            w.floor.smooth,
        )
        for w in found
    )
    mine = [e for e in events if e.pass_id == a_pass.id and e.kind == "porpoising"]
    drawn = (_envelope(e, c.name) for e in mine for c in curves)
    return RippleView(
        a_pass.id,
        curves,
        tuple(x for x in drawn if x is not None),
        run.rate_hz,
        run.rate_hz / 2.0,
        run.band,
        run.boundary_s,
    )
