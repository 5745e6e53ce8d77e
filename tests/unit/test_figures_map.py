from dataclasses import replace

import analysis_fixture as made
import numpy as np
import pytest

from dashboard.features.run.map_figure import aspect, place_at, plan
from dashboard.ui.palette import LIGHT
from telemetry.core.geo import LocalFrame


def named(figure, name):
    return next(trace for trace in figure.data if trace.name == name)


def test_metres_are_drawn_alike_in_both_directions() -> None:
    whole = made.analysis()
    figure = plan(whole, whole.two_ways[0])
    assert (figure.layout.yaxis.scaleanchor, figure.layout.yaxis.scaleratio) == ("x", 1)
    assert figure.layout.xaxis.title.text == "East [m]"


def test_gates_stand_across_the_course_at_the_measured_distance() -> None:
    whole = made.analysis()
    figure = plan(whole, whole.two_ways[0])
    a, b = named(figure, "gate A"), named(figure, "gate B")
    assert a.x == pytest.approx((0.0, 0.0), abs=1e-9)
    assert b.x[0] - a.x[0] == pytest.approx(100.584)
    assert a.y[0] == pytest.approx(-a.y[1])
    assert a.line.dash != "solid"  # placed by the program
    given = replace(whole.two_ways[0], gates_given=True)
    assert named(plan(whole, given), "gate A").line.dash == "solid"
    assert not [t for t in plan(whole, None).data if t.name.startswith("gate")]


def test_each_pass_starts_with_an_arrow_in_its_direction() -> None:
    figure = plan(made.analysis(), None)
    assert named(figure, "passes out").line.color == LIGHT.out
    assert named(figure, "passes back").line.color == LIGHT.back
    start = named(figure, "starts back")
    assert (start.marker.symbol, [a % 360 for a in start.marker.angle]) == ("arrow", [270.0])
    assert start.text[0] == "P2 starts ←"


def test_a_press_on_the_plan_gives_latitude_and_longitude() -> None:
    place = place_at(made.analysis(), 100.0, -4.0)
    assert place is not None
    assert made.FRAME.to_local(*place) == pytest.approx((100.0, -4.0), abs=1e-6)


def test_a_second_log_is_drawn_in_the_first_ones_metres() -> None:
    whole = made.analysis()
    log = whole.speed_logs[0]
    other = LocalFrame(47.401, 8.2)
    lat, lon = made.FRAME.to_geodetic(log.motion.east_m, log.motion.north_m)
    east, north = other.to_local(lat, lon)
    moved = replace(log, motion=replace(log.motion, frame=other, east_m=east, north_m=north))
    figure = plan(replace(whole, speed_logs=(log, moved)), None)
    first, second = (t for t in figure.data if t.name == "track")
    assert np.allclose(first.x, second.x, atol=1e-6)
    assert np.allclose(first.y, second.y, atol=1e-6)


def test_a_cut_position_far_away_is_counted_and_not_drawn() -> None:
    whole = made.analysis()
    log = whole.speed_logs[0]
    cut = log.cleaned.cut.copy()
    cut.loc[0, "lat_deg"] += 1.0
    far = replace(log, cleaned=replace(log.cleaned, cut=cut))
    figure = plan(replace(whole, speed_logs=(far,)), None)
    assert len(named(figure, "cut out").x) == 1
    assert figure.layout.annotations[0].text == "1 cut-out position beyond this view"


def test_a_log_without_positions_says_why_there_is_no_plan() -> None:
    whole = made.analysis()
    log = whole.speed_logs[0]
    blind = replace(log, motion=replace(log.motion, has_positions=False))
    figure = plan(replace(whole, speed_logs=(blind,)), None)
    assert "No positions" in figure.layout.annotations[0].text


def test_picked_points_are_shown() -> None:
    lat, lon = made.FRAME.to_geodetic(10.0, 20.0)
    mark = named(plan(made.analysis(), None, picked=((float(lat), float(lon)),)), "picked")
    assert (mark.x[0], mark.y[0]) == pytest.approx((10.0, 20.0), abs=1e-6)


def test_a_long_narrow_course_gets_a_wide_plot() -> None:
    assert aspect(made.analysis()) == 2.6
    log = made.speed_log()
    turned = replace(log.motion, east_m=log.motion.north_m, north_m=log.motion.east_m)
    assert aspect(replace(made.analysis(), speed_logs=(replace(log, motion=turned),))) == 0.6
