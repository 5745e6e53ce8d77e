"""From WGS 84 to local metres, headings, and the course line with its gates.

Track points are converted to east/north metres on the tangent plane at a log's middle point by the exact
geodetic -> geocentric -> topocentric chain; a kilometre from the origin the plane differs from the ellipsoid
by 4 µm. Distances between two given gates are geodesics (geographiclib).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from geographiclib.geodesic import Geodesic

from telemetry.core.frames import FloatArray

_A_M = 6378137.0  # WGS 84 semi-major axis; with the flattening, the defining constants of NIMA TR8350.2
_F = 1 / 298.257223563
_E2 = _F * (2 - _F)


def _ecef_m(lat_rad: FloatArray, lon_rad: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    sin_lat = np.sin(lat_rad)
    n_m = _A_M / np.sqrt(1 - _E2 * sin_lat**2)
    cos_lat = np.cos(lat_rad)
    return n_m * cos_lat * np.cos(lon_rad), n_m * cos_lat * np.sin(lon_rad), n_m * (1 - _E2) * sin_lat


@dataclass(frozen=True, slots=True)
class LocalFrame:
    """East/north metres on the plane that touches the ellipsoid at an origin.

    Parameters
    ----------
    lat0_deg, lon0_deg : float
        The origin [deg].

    References
    ----------
    .. [1] IOGP Guidance Note 373-7-2, section 4.1: geographic/geocentric (EPSG 9602) and
       geocentric/topocentric (EPSG 9836) conversions.

    Examples
    --------
    >>> frame = LocalFrame(46.0, 8.0)
    >>> east_m, north_m = frame.to_local(46.0, 8.001)
    >>> round(float(east_m), 3), bool(abs(north_m) < 0.001)
    (77.463, True)
    """

    lat0_deg: float
    lon0_deg: float

    def to_local(self, lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Convert degrees, any shape, to east and north metres of the same shape; NaN stays NaN."""
        lat_rad = np.radians(np.asarray(lat_deg, dtype=np.float64))
        lon_rad = np.radians(np.asarray(lon_deg, dtype=np.float64))
        x, y, z = _ecef_m(lat_rad, lon_rad)
        lat0, lon0 = np.radians(self.lat0_deg), np.radians(self.lon0_deg)
        x0, y0, z0 = _ecef_m(np.asarray(lat0), np.asarray(lon0))
        dx, dy, dz = x - x0, y - y0, z - z0
        east_m = -np.sin(lon0) * dx + np.cos(lon0) * dy
        north_m = -np.sin(lat0) * (np.cos(lon0) * dx + np.sin(lon0) * dy) + np.cos(lat0) * dz
        return np.asarray(east_m), np.asarray(north_m)

    def to_geodetic(self, east_m: npt.ArrayLike, north_m: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Invert :meth:`to_local` for points within tens of kilometres of the origin [deg]."""
        east = np.asarray(east_m, dtype=np.float64)
        north = np.asarray(north_m, dtype=np.float64)
        lat0 = np.radians(self.lat0_deg)
        w = np.sqrt(1 - _E2 * np.sin(lat0) ** 2)
        dlat = np.degrees(w**3 / (_A_M * (1 - _E2)))
        dlon = np.degrees(w / (_A_M * np.cos(lat0)))
        lat = self.lat0_deg + north * dlat
        lon = self.lon0_deg + east * dlon
        # The linear guess is good to d²/R; each correction gains the factor d/R again.
        for _ in range(3):
            e, n = self.to_local(lat, lon)
            lat = lat + (north - n) * dlat
            lon = lon + (east - e) * dlon
        return np.asarray(lat), np.asarray(lon)


def geodesic_m(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> float:
    """Length of the geodesic between two points on WGS 84 [m].

    Parameters
    ----------
    lat1_deg, lon1_deg, lat2_deg, lon2_deg : float
        The two points [deg].

    References
    ----------
    .. [1] C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55,
       doi:10.1007/s00190-012-0578-z.
    """
    return float(Geodesic.WGS84.Inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg)["s12"])


def wrap_deg(angle_deg: npt.ArrayLike) -> FloatArray:
    """Wrap angles into [-180, 180) [deg], any shape.

    Examples
    --------
    >>> float(wrap_deg(350.0 - 10.0))
    -20.0
    """
    return np.asarray((np.asarray(angle_deg, dtype=np.float64) + 180.0) % 360.0 - 180.0)


@dataclass(frozen=True, slots=True)
class CourseLine:
    """A straight line over the water: along-course and cross-course metres.

    Attributes
    ----------
    east0_m, north0_m : float
        A point on the line, the origin of the along-course coordinate [m].
    heading_deg : float
        Direction of increasing along-course coordinate, clockwise from north [deg].
    """

    east0_m: float
    north0_m: float
    heading_deg: float

    def along_across(self, east_m: npt.ArrayLike, north_m: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Along-course and cross-course (starboard positive) coordinates of points, any shape [m]."""
        de = np.asarray(east_m, dtype=np.float64) - self.east0_m
        dn = np.asarray(north_m, dtype=np.float64) - self.north0_m
        h = np.radians(self.heading_deg)
        return np.asarray(de * np.sin(h) + dn * np.cos(h)), np.asarray(de * np.cos(h) - dn * np.sin(h))

    def points(self, along_m: npt.ArrayLike, across_m: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Invert :meth:`along_across`: east and north of points given along and across, any shape [m]."""
        along, across = np.asarray(along_m, dtype=np.float64), np.asarray(across_m, dtype=np.float64)
        h = np.radians(self.heading_deg)
        return (
            np.asarray(self.east0_m + along * np.sin(h) + across * np.cos(h)),
            np.asarray(self.north0_m + along * np.cos(h) - across * np.sin(h)),
        )

    def point(self, along_m: float, across_m: float = 0.0) -> tuple[float, float]:
        """East and north of a point given along and across [m]."""
        east_m, north_m = self.points(along_m, across_m)
        return float(east_m), float(north_m)


def fit_course(east_m: FloatArray, north_m: FloatArray, heading_hint_deg: float) -> CourseLine:
    """Fit a straight line to points by total least squares.

    Parameters
    ----------
    east_m, north_m : ndarray, shape (n,)
        Points, n >= 2 [m].
    heading_hint_deg : float
        Which of the line's two directions to take [deg].

    Returns
    -------
    CourseLine
        Through the points' mean.

    Notes
    -----
    Both coordinates carry equal error, so the perpendicular distances are what is minimised: the line is the
    principal axis of the scatter (K. Pearson, Phil. Mag. 2 (1901) 559-572, doi:10.1080/14786440109462720).
    """
    e0, n0 = float(np.mean(east_m)), float(np.mean(north_m))
    de, dn = east_m - e0, north_m - n0
    see, snn, sen = float(de @ de), float(dn @ dn), float(de @ dn)
    angle = 0.5 * np.arctan2(2 * sen, see - snn)  # of the principal axis, anticlockwise from east
    heading = (90.0 - np.degrees(angle)) % 360.0
    if abs(float(wrap_deg(heading - heading_hint_deg))) > 90.0:
        heading = (heading + 180.0) % 360.0
    return CourseLine(e0, n0, float(heading))


def parse_gates(text: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Parse two gates written as ``LAT1,LON1,LAT2,LON2`` [deg].

    Raises
    ------
    ValueError
        If these are not two different places on Earth; the message is for the user.

    Examples
    --------
    >>> parse_gates("47.4, 8.2, 47.4, 8.2013")
    ((47.4, 8.2), (47.4, 8.2013))
    """
    try:
        lat1, lon1, lat2, lon2 = (float(part) for part in text.split(","))
    except ValueError:
        raise ValueError("write four numbers in degrees: LAT1,LON1,LAT2,LON2") from None
    if not all(abs(lat) <= 90 for lat in (lat1, lat2)) or not all(abs(lon) <= 180 for lon in (lon1, lon2)):
        raise ValueError("latitudes lie within ±90, longitudes within ±180; latitude comes first")
    if (lat1, lon1) == (lat2, lon2):
        raise ValueError("the two gates are the same point")
    return (lat1, lon1), (lat2, lon2)
