"""Geodesy against published figures, PROJ (through pyproj) and the geodesic library's own inverse."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod, Transformer

from telemetry.core.geo import LocalFrame, fit_course, geodesic_m

# Places all over the globe, none of them meant as a real course: (lat, lon) [deg].
ORIGINS = [(0.0, 0.0), (46.5, 8.0), (-33.9, 151.2), (64.1, -21.9), (-54.8, -68.3), (12.0, 179.9995)]


def dms(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


# Flinders Peak and Buninyong, the worked example of Vincenty's inverse in the Geocentric Datum of Australia
# Technical Manual (ICSM). The figures are written from memory of the manual; PROJ confirms below that they
# belong together.
FLINDERS_PEAK = (-dms(37, 57, 3.72030), dms(144, 25, 29.52440))
BUNINYONG = (-dms(37, 39, 10.15610), dms(143, 55, 35.38390))
LINE_M = 54972.271


def test_flinders_peak_to_buninyong() -> None:
    # The manual's ellipsoid is GRS 80, ours WGS 84; over this line they differ by less than the last digit.
    assert geodesic_m(*FLINDERS_PEAK, *BUNINYONG) == pytest.approx(LINE_M, abs=0.001)


def test_the_published_coordinates_belong_to_the_published_length() -> None:
    (lat1, lon1), (lat2, lon2) = FLINDERS_PEAK, BUNINYONG
    forward_deg, back_deg, length_m = Geod(ellps="GRS80").inv(lon1, lat1, lon2, lat2)
    assert length_m == pytest.approx(LINE_M, abs=0.0005)
    assert forward_deg % 360 == pytest.approx(dms(306, 52, 5.37), abs=0.01 / 3600)
    assert back_deg % 360 == pytest.approx(dms(127, 10, 25.07), abs=0.01 / 3600)


@pytest.mark.parametrize(("lat0", "lon0"), ORIGINS)
def test_local_metres_against_proj(lat0: float, lon0: float) -> None:
    proj = Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=WGS84"
        f" +step +proj=topocentric +ellps=WGS84 +lon_0={lon0} +lat_0={lat0} +h_0=0"
    )
    offsets = np.linspace(-0.02, 0.02, 9)
    lat, lon = (a.ravel() for a in np.meshgrid(lat0 + offsets, lon0 + offsets))
    east_ref, north_ref, _ = proj.transform(lon, lat, np.zeros_like(lat))
    east_m, north_m = LocalFrame(lat0, lon0).to_local(lat, lon)
    np.testing.assert_allclose(east_m, east_ref, atol=1e-6)
    np.testing.assert_allclose(north_m, north_ref, atol=1e-6)


@pytest.mark.parametrize(("lat0", "lon0"), ORIGINS)
def test_local_metres_and_back(lat0: float, lon0: float) -> None:
    frame = LocalFrame(lat0, lon0)
    east_m, north_m = (
        a.ravel() for a in np.meshgrid(np.linspace(-2000, 2000, 9), np.linspace(-2000, 2000, 9))
    )
    again_east_m, again_north_m = frame.to_local(*frame.to_geodetic(east_m, north_m))
    np.testing.assert_allclose(again_east_m, east_m, atol=1e-6)
    np.testing.assert_allclose(again_north_m, north_m, atol=1e-6)


@pytest.mark.parametrize(("lat0", "lon0"), ORIGINS)
@pytest.mark.parametrize("heading_deg", [0.0, 45.0, 123.4, 270.0])
def test_the_plane_keeps_a_measured_distance(lat0: float, lon0: float, heading_deg: float) -> None:
    geod = Geod(ellps="WGS84")
    lon1, lat1, _ = geod.fwd(lon0, lat0, heading_deg, -200.0)
    lon2, lat2, _ = geod.fwd(lon0, lat0, heading_deg, 200.0)
    assert geodesic_m(lat1, lon1, lat2, lon2) == pytest.approx(geod.inv(lon1, lat1, lon2, lat2)[2], abs=1e-6)
    east_m, north_m = LocalFrame(lat0, lon0).to_local([lat1, lat2], [lon1, lon2])
    assert float(np.hypot(np.diff(east_m), np.diff(north_m))[0]) == pytest.approx(400.0, abs=1e-6)
    course = fit_course(east_m, north_m, heading_deg)
    assert course.heading_deg % 360 == pytest.approx(heading_deg, abs=1e-4)
