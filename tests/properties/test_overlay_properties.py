"""What holds for any passes laid over one another: no sample is lost, moved or made, and nought is exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from analysis_fixture import START, one_pass
from hypothesis import given
from hypothesis import strategies as st

from telemetry.core.geo import CourseLine, LocalFrame
from telemetry.pass_overlay import SPEED, PassCurves, Signal, align, read_at
from telemetry.passes.find import TakeOff

FRAME = LocalFrame(47.4, 8.2)
WHOLE = st.sampled_from([("distance", a) for a in ("take-off", "on plane", "start", "peak", "course")])
ANYHOW = WHOLE | st.sampled_from(
    [("time", a) for a in ("take-off", "on plane", "start", "peak")] + [("day", "start")]
)


@st.composite
def made(draw: st.DrawFn) -> PassCurves:
    """A pass of any length and rate, its moments on samples of its own, out or back over one line."""
    n = draw(st.integers(30, 400))
    rate_hz = draw(st.sampled_from([1.0, 5.0, 10.0, 25.0]))
    begins_s = draw(st.floats(0.0, 3e4))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    t_s = begins_s + np.arange(n) / rate_hz
    speed = rng.uniform(5.0, 45.0, n)
    way_m = np.r_[0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]) / rate_hz)]
    takeoff_k, plane_k, start_k, peak_k, end_k = sorted(rng.choice(n, 5, replace=False))
    back = draw(st.booleans())
    course = CourseLine(0.0, 0.0, 270.0 if back else 90.0)
    east_m, north_m = course.points(way_m - way_m[start_k], np.zeros(n))
    whole = replace(
        one_pass("P1", 20.0, course.heading_deg, 30.0),
        start_s=float(t_s[start_k]),
        end_s=float(t_s[end_k]),
        peak_s=float(t_s[peak_k]),
        takeoff=draw(st.sampled_from([TakeOff(float(t_s[takeoff_k]), float(t_s[plane_k])), None])),
    )
    u95 = np.where(np.arange(n) < takeoff_k, np.nan, 0.1)
    return PassCurves(
        one=whole,
        start_utc=START + pd.Timedelta(days=draw(st.integers(0, 2))),
        t_s=t_s,
        way_m=way_m - way_m[start_k],
        way_source="positions",
        course=course,
        frame=FRAME,
        east_m=east_m,
        north_m=north_m,
        signals={SPEED: Signal(t_s, speed, u95)},
        notes=(),
    )


@given(st.lists(made(), min_size=1, max_size=4), ANYHOW)
def test_every_sample_of_every_pass_is_kept_where_it_was(
    curves: list[PassCurves], how: tuple[str, str]
) -> None:
    overlay = align(curves, *how)  # type: ignore[arg-type]
    assert sorted([one.index for one in overlay.laid] + [k for k, _ in overlay.left_out]) == list(
        range(len(curves))
    )
    for one in overlay.laid:
        assert one.curves is curves[one.index]
        assert one.x.shape == one.curves.t_s.shape
        assert np.array_equal(one.at(one.curves.t_s), one.x)
        low, high = overlay.span
        assert low <= one.x.min() <= one.x.max() <= high


@given(st.lists(made(), min_size=1, max_size=4), ANYHOW)
def test_distances_and_times_between_samples_are_what_they_were(
    curves: list[PassCurves], how: tuple[str, str]
) -> None:
    overlay = align(curves, *how)  # type: ignore[arg-type]
    for one in overlay.laid:
        own = one.curves.way_m if how[0] == "distance" else one.curves.t_s
        against = how[1] == "course" and one.curves.course != overlay.laid[0].curves.course
        assert np.diff(one.x) * (-1.0 if against else 1.0) == pytest.approx(np.diff(own), abs=1e-6)


@given(st.lists(made(), min_size=1, max_size=4), ANYHOW)
def test_nought_is_exactly_at_the_anchor(curves: list[PassCurves], how: tuple[str, str]) -> None:
    for one in align(curves, *how).laid:  # type: ignore[arg-type]
        if one.origin_s is not None:
            assert one.at(one.origin_s) == 0.0


@given(made(), ANYHOW, st.integers(0, 10_000))
def test_a_reading_at_a_sample_is_that_sample(curves: PassCurves, how: tuple[str, str], where: int) -> None:
    (one,) = align([curves], *how).laid  # type: ignore[arg-type]
    k = where % curves.t_s.size
    told = read_at(one, SPEED, float(one.x[k]))
    assert told is not None
    assert told.value == pytest.approx(curves.signals[SPEED].value[k], rel=1e-9)
