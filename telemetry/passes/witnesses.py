"""A log's own witnesses held against one another: speed, way, course, and figure against figure.

What is found becomes a finding with a code. Those in :data:`CONTRADICTIONS` mean that speed or positions are
not what they are said to be: no verdict rests on such a log.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations
from typing import Final

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import Finding, FloatArray, IntArray, cumulative_integral
from telemetry.core.geo import LocalFrame, wrap_deg
from telemetry.core.stats import Z95
from telemetry.core.units import SPEED_UNITS
from telemetry.kinematics.models import Response

SPEED_SCALE: Final = "speed-scale"
SPEED_LATE: Final = "speed-late"
VERY_LATE: Final = "speed-very-late"
SPEED_FILTERED: Final = "speed-filtered"
SWAPPED: Final = "positions-swapped"
MIRRORED: Final = "positions-mirrored"
COARSE: Final = "positions-coarse"
ZERO: Final = "positions-zero"
DISAGREE: Final = "speed-way-differ"
IMPLAUSIBLE: Final = "implausible-speed"
ORDER: Final = "figures-disagree"
UNCHECKED: Final = "speed-unchecked"
CONTRADICTIONS: Final = frozenset(
    {SPEED_SCALE, SWAPPED, MIRRORED, COARSE, ZERO, DISAGREE, ORDER, VERY_LATE, IMPLAUSIBLE}
)
RESPONSE_CODES: Final = frozenset({SPEED_LATE, SPEED_FILTERED, UNCHECKED})
# What no model boat is known to reach (our assumption, from memory; the fastest passes are told of in the
# trade and not published by a sanctioning body we could read).
PLAUSIBLE_MPS: Final = 110.0

_OVER_S = 2.0
_MIN_MPS = 4.0
_MIN_WINDOWS = 8
_STRAIGHT_DEG = 10.0
_SCALE_TOLERANCE = 0.02
_SPREAD_TOLERANCE = 0.04
_COARSE_M = 3.0  # of a position's printed step: 4 decimals of a degree are 11 m
_TOLD_S = 0.12
_VERY_LATE_S = 0.9  # a delay that no receiver has (our assumption, no source)
_MISFIT = 8.0


def _ratio_cause(ratio: float) -> str:
    """Name what makes a speed so many times the way."""
    best, said = 0.006, ""
    for true, taken in permutations(SPEED_UNITS.values(), 2):
        off = abs(ratio / (taken.factor_si / true.factor_si) - 1.0)
        if off < best:
            best, said = off, f": numbers in {true.name} read as {taken.name}?"
    if said:
        return said
    side = "high" if ratio > 1.0 else "low"
    return f": a speed {100.0 * abs(ratio - 1.0):.1f} % too {side}, or a wrong scale?"


def _windows(cleaned: Cleaned) -> tuple[IntArray, IntArray, FloatArray, FloatArray] | None:
    """First and last sample, way by speed and course of straight windows under way, shape (w,) each."""
    track = cleaned.track
    v, lat, lon = (track.column(c) for c in ("speed_mps", "lat_deg", "lon_deg"))
    if v is None or lat is None or lon is None or track.meta.speed_source != "measured":
        return None
    # What the judges set aside is in it: they hold a wrong unit for false spikes.
    ok = np.flatnonzero(~np.isnan(v) & ~np.isnan(lat) & ~np.isnan(lon))
    if ok.size < 3:
        return None
    t_s = track.t_s[ok]
    summed = cumulative_integral(t_s, v[ok])
    per = max(1, round(_OVER_S / float(np.median(np.diff(t_s)))))
    first = np.arange(0, ok.size - per, max(1, per // 2))
    last = first + per
    lasts = t_s[last] - t_s[first]
    way = summed[last] - summed[first]
    good = (lasts < 1.5 * max(_OVER_S, per * np.median(np.diff(t_s)))) & (way > _MIN_MPS * lasts)
    course = track.column("course_deg")
    if course is not None:
        turned = np.abs(wrap_deg(course[ok][last] - course[ok][first]))
        good &= ~(turned > _STRAIGHT_DEG)
    first, last, way = first[good], last[good], way[good]
    if first.size < _MIN_WINDOWS:
        return None
    mid = ok[(first + last) // 2]
    heading = np.full(first.size, np.nan) if course is None else course[mid]
    return ok[first], ok[last], way, heading


def _made(lat: FloatArray, lon: FloatArray, first: IntArray, last: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return how far east and north each window leads, shape (w,) each [m]."""
    frame = LocalFrame(float(np.clip(np.median(lat), -89.0, 89.0)), float(np.median(lon)))
    east, north = frame.to_local(np.clip(lat, -89.9, 89.9), lon)
    return east[last] - east[first], north[last] - north[first]


def _spread(ratio: FloatArray) -> tuple[float, float]:
    low, middle, high = np.quantile(ratio, [0.2, 0.5, 0.8]).tolist()
    return middle, (high - low) / max(middle, 1e-6)


def position_findings(cleaned: Cleaned) -> list[Finding]:
    """Check positions by themselves and against course and summed speed, over the whole log."""
    track = cleaned.track
    lat, lon = track.column("lat_deg"), track.column("lon_deg")
    if lat is None or lon is None:
        return []
    known = ~(np.isnan(lat) | np.isnan(lon))
    if known.sum() < 3:
        return []
    at_zero = known & (np.abs(lat) < 1e-6) & (np.abs(lon) < 1e-6)
    if at_zero.sum() > 0.5 * known.sum():
        return [Finding(ZERO, "positions are 0, 0: this log holds no places", int(at_zero.sum()), None, None)]
    out = []
    step_m = _printed_step_m(lat[known])
    if step_m > _COARSE_M:
        text = f"positions come in steps of {step_m:.0f} m: too coarse for a measured distance"
        out.append(Finding(COARSE, text, int(known.sum()), None, None))
    seen = _windows(cleaned)
    if seen is None:
        return out
    first, last, way, heading = seen
    east, north = _made(lat, lon, first, last)
    middle, spread = _spread(np.hypot(east, north) / way)
    logged = ~np.isnan(heading)
    if abs(middle - 1.0) > _SCALE_TOLERANCE or spread > _SPREAD_TOLERANCE:
        e2, n2 = _made(lon, lat, first, last)
        middle2, spread2 = _spread(np.hypot(e2, n2) / way)
        better = abs(middle2 - 1.0) < _SCALE_TOLERANCE and spread2 < min(
            0.6 * spread + 0.01, _SPREAD_TOLERANCE
        )
        if better and abs(middle2 - 1.0) + spread2 < abs(middle - 1.0) + spread:
            text = "latitude and longitude look swapped: only so does the way fit the speed"
            return [*out, Finding(SWAPPED, text, int(known.sum()), None, None)]
        if spread < _SPREAD_TOLERANCE and middle > 0.0:
            out.append(scale_finding(1.0 / middle, 0.5 * spread / middle))
    if logged.sum() >= _MIN_WINDOWS:
        c = np.radians(heading[logged])
        h = np.arctan2(east[logged], north[logged])
        fits = {name: float(np.mean(np.cos(c - angle))) for name, angle in _mirrors(h).items()}
        name = max(fits, key=lambda k: fits[k])
        if name and fits[""] < 0.7 and fits[name] > 0.95:
            text = f"courses and positions fit only if {name}"
            out.append(Finding(MIRRORED, text, int(known.sum()), None, None))
    return out


def _mirrors(h: FloatArray) -> dict[str, FloatArray]:
    return {
        "": h,
        "east and west are exchanged (a lost sign or hemisphere of the longitude?)": -h,
        "north and south are exchanged (a lost sign or hemisphere of the latitude?)": np.pi - h,
    }


def _printed_step_m(lat_deg: FloatArray) -> float:
    """Step in which latitudes are printed [m]; 0 where they move in no common step."""
    steps = np.unique(np.round(np.abs(np.diff(np.unique(lat_deg))), 9))
    steps = steps[steps > 0.0]
    if steps.size == 0:
        return 0.0
    least = float(steps[0])
    whole = np.abs(steps / least - np.round(steps / least)) < 0.02
    return least * 111_200.0 if whole.mean() > 0.95 else 0.0


def scale_finding(ratio: float, u95: float) -> Finding:
    """Tell by how much the speeds differ from the way, and what it looks like."""
    text = f"the speeds are {ratio:.3f} ± {u95:.3f} of what the positions cover{_ratio_cause(ratio)}"
    return Finding(SPEED_SCALE, text, 1, None, None)


def response_findings(response: Response) -> list[Finding]:
    """Tell what the passes say of the receiver: scale, delay, low-pass; or that nothing can be said."""
    out = []
    if response.scale:
        out.append(scale_finding(1.0 + response.scale, Z95 * float(np.linalg.norm(response.root[3]))))
    against = response.delay_s + response.filter_s
    sd = float(np.linalg.norm(np.array(response.root)[0] + np.array(response.root)[1]))
    if against > max(_TOLD_S, 3.0 * sd):
        u95 = Z95 * sd
        if against > _VERY_LATE_S:
            text = (
                f"the speed comes {against:.2f} ± {u95:.2f} s after the positions: too late for any receiver"
            )
            out.append(Finding(VERY_LATE, text, 1, None, None))
        elif response.filter_s > response.delay_s:
            text = f"this receiver smooths its speed over about {against:.2f} ± {u95:.2f} s: corrected"
            out.append(Finding(SPEED_FILTERED, text, 1, None, None))
        else:
            text = f"the speed comes {against:.2f} ± {u95:.2f} s after the positions: corrected"
            out.append(Finding(SPEED_LATE, text, 1, None, None))
    elif response.common_sd_s > _TOLD_S and response.common_s + response.common_sd_s > 0.2:
        text = (
            f"speed and positions may both be smoothed over up to {response.low_pass_s[1]:.1f} s, which "
            "nothing in this log can tell: the intervals hold it"
        )
        out.append(Finding(SPEED_FILTERED, text, 1, None, None))
    if not response.checked:
        text = "speed or positions are missing: nothing in this log checks the other"
        out.append(Finding(UNCHECKED, text, 1, None, None))
    return [*out, *misfit_finding(response.misfit)]


def misfit_finding(misfit: float) -> list[Finding]:
    """Tell where positions wander from the summed speed by far more than they can."""
    if misfit <= _MISFIT:
        return []
    text = (
        f"positions and summed speed part by {np.sqrt(misfit):.1f} times what their errors explain: "
        "reflections, uneven stamps or a filter of another kind?"
    )
    return [Finding(DISAGREE, text, 1, None, None)]


def implausible_finding(peak_mps: float, most_mps: float = PLAUSIBLE_MPS) -> list[Finding]:
    """Ask about a speed that no such boat is known to reach."""
    if peak_mps <= most_mps:
        return []
    text = (
        f"a peak of {peak_mps:.0f} m/s is above the {most_mps:.0f} m/s that no such boat is known to reach: "
        "is a unit wrong, or the ceiling?"
    )
    return [Finding(IMPLAUSIBLE, text, 1, None, None)]


def contradictions(findings: Sequence[Finding]) -> list[Finding]:
    """Keep the findings on which no verdict may rest."""
    return [f for f in findings if f.code in CONTRADICTIONS]
