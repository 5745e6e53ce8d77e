"""GPX against the values that a bare lxml pass finds in the same recorded files."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from lxml import etree

from telemetry.readers import gpx, read_bytes
from telemetry.readers.gpx_points import points_of_elements, points_of_gpxpy
from telemetry.readers.gpx_shapes import points_of_shapes
from telemetry.readers.text import decode

REAL = Path(__file__).parents[2].parent / "shared" / "real_logs" / "gpx"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the recorded logs are not here")
NAMES = [
    "all_one_timestamp",
    "bare_speed_in_extensions",
    "camera_18hz_no_speed",
    "car_10hz_speed_extension",
    "no_version_no_namespace",
    "offset_plus_0100",
    "segments_months_apart",
    "some_points_without_time",
]


@pytest.mark.parametrize("name", NAMES)
def test_values_equal_the_bare_elements(name: str) -> None:
    data = (REAL / f"{name}.gpx").read_bytes()
    (log,) = read_bytes(data, name)
    points = [p for p in etree.fromstring(data).iter("{*}trkpt") if p.find("{*}time") is not None]
    if name == "segments_months_apart":  # its tracks are not in the order of time
        points.sort(key=lambda p: p.find("{*}time").text)
    assert len(log.frame) == len(points)
    np.testing.assert_array_equal(log.column("lat_deg"), [float(p.get("lat")) for p in points])
    np.testing.assert_array_equal(log.column("lon_deg"), [float(p.get("lon")) for p in points])
    for column, element in (
        ("speed_mps", "speed"),
        ("course_deg", "course"),
        ("alt_m", "ele"),
        ("hdop", "hdop"),
    ):
        found = [next(p.iter("{*}" + element), None) for p in points]
        values = [np.nan if e is None else float(e.text) for e in found]
        if np.isnan(values).all():
            assert log.column(column) is None
        else:
            np.testing.assert_array_equal(log.column(column), values)
    # Times by the standard library; it reads six decimals at most.
    texts = [p.find("{*}time").text for p in points]
    moments = [dt.datetime.fromisoformat(t.replace(".2073437Z", ".207343Z")) for t in texts]
    np.testing.assert_allclose(
        log.t_s, [(m - moments[0]).total_seconds() for m in moments], atol=1e-6, rtol=0
    )
    assert log.meta.start_utc == moments[0]


@pytest.mark.parametrize("name", NAMES)
def test_all_decoders_return_the_same_points(name: str) -> None:
    text = decode((REAL / f"{name}.gpx").read_bytes())[0]
    text = gpx._DECLARATION.sub("", text, count=1)
    walked, damage = points_of_elements(text)
    assert damage == ""
    fast = points_of_shapes(text)
    assert (fast is None) == (name == "segments_months_apart")  # its points hold CDATA sections
    for other in (points_of_gpxpy(text), walked if fast is None else fast):
        np.testing.assert_array_equal(other.stamp_us, walked.stamp_us)
        assert (other.misplaced, other.tracks) == (walked.misplaced, walked.tracks)
        assert other.columns.keys() == walked.columns.keys()
        for column, values in walked.columns.items():
            np.testing.assert_array_equal(other.columns[column], values)
