import numpy as np
import pytest

from dashboard.features.run.ride_figure import ripple_spectrum, ripple_time
from sample_logs.simulator import CATAMARAN, Porpoising, Receiver, RideScript, simulate_outing
from telemetry.analysis import analyse
from telemetry.ride.judge import judge_ride
from telemetry.ride.spectrum_view import RippleView, ripple_view


def view_of(rate_hz: float) -> RippleView:
    script = RideScript(porpoising=(Porpoising(0, "at speed", 3.0, 0.3, 0.5, 0.6, 3.0),))
    outing = simulate_outing(4, boat=CATAMARAN, receiver=Receiver(rate_hz=rate_hz), passes=1, ride=script)
    analysis = analyse([outing.track])
    log = analysis.speed_logs[0]
    events = judge_ride(log.cleaned, log.motion, analysis.passes)
    return ripple_view(log.cleaned, log.motion, analysis.passes[0], events)


@pytest.fixture(scope="module")
def view() -> RippleView:
    return view_of(10.0)


def test_the_ripple_is_drawn_with_the_outline_of_what_was_found(view: RippleView) -> None:
    figure = ripple_time(view)
    names = [t.name for t in figure.data]
    assert names == ["Speed", "shown", "Vertical speed", "shown"]
    outline = figure.data[1]
    inside = (view.curves[0].t_s >= outline.x.min()) & (view.curves[0].t_s <= outline.x.max())
    ripple = view.curves[0].values[inside]
    # The outline touches the ripple's crests: it is its amplitude, not a decoration.
    assert 0.6 < np.sqrt(2.0) * ripple.std() / np.abs(outline.y).mean() < 1.4


def test_the_searched_band_and_what_sampling_hides_are_shaded(view: RippleView) -> None:
    figure = ripple_spectrum(view)
    spans = [(s.x0, s.x1) for s in figure.layout.shapes if s.type == "rect"]
    assert spans[0] == view.band_hz == pytest.approx((1.2, 4.5))
    assert spans[1][0] == view.nyquist_hz == pytest.approx(5.0)
    texts = [a.text for a in figure.layout.annotations]
    assert texts[:2] == ["searched", "hidden by sampling"]
    f, density = figure.data[0].x, figure.data[0].y
    assert f[np.argmax(density)] == pytest.approx(3.0, abs=0.3)


def test_a_slow_log_says_in_words_why_there_is_no_spectrum() -> None:
    slow = RippleView("P1", (), (), 1.0, 0.5, None, None)
    assert "too few" in ripple_spectrum(slow).layout.annotations[0].text
    assert ripple_time(slow).layout.annotations[0].text
