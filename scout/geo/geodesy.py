"""Metres on the WGS 84 ellipsoid: distance, bearing, moving a point, a local frame.

Geodesics are pyproj's (Karney 2013). Vectorised clearances cannot afford a geodesic for every vertex of
every park, so `polynomial_frame` gives the Cassini-Soldner series about a point, which tens of millions of
vertices go through in a second.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray

A_M = 6378137.0  # WGS 84 semi-major axis, NIMA TR8350.2
_F = 1 / 298.257223563  # WGS 84 flattening, same
E2 = _F * (2 - _F)

_GEOD = pyproj.Geod(ellps="WGS84")


def wrap_lon(lon: ArrayLike) -> Any:
    """Longitude in [-180, 180)."""
    return (np.asarray(lon, dtype=float) + 180.0) % 360.0 - 180.0


def measure_geodesic(lon1: ArrayLike, lat1: ArrayLike, lon2: ArrayLike, lat2: ArrayLike) -> tuple[Any, Any]:
    """Geodesic distance and bearing from point 1 to point 2.

    Returns
    -------
    distance_m, bearing_deg : float or array
        Bearing at point 1, 0 to 360, clockwise from true north.
    """
    points = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (lon1, lat1, lon2, lat2)))
    x1, y1, x2, y2 = (p.ravel() for p in points)
    bearing, _, distance = _GEOD.inv(x1, y1, x2, y2)
    shape = points[0].shape
    distance, bearing = np.reshape(distance, shape), np.reshape(bearing, shape) % 360.0
    return (float(distance), float(bearing)) if shape == () else (distance, bearing)


def move_point(
    lon: ArrayLike, lat: ArrayLike, bearing_deg: ArrayLike, distance_m: ArrayLike
) -> tuple[Any, Any]:
    """Point reached from another by a geodesic; longitude in [-180, 180)."""
    args = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (lon, lat, bearing_deg, distance_m)))
    x, y, azimuth, reach = (a.ravel() for a in args)
    east, north, _ = _GEOD.fwd(x, y, azimuth, reach)
    shape = args[0].shape
    east, north = wrap_lon(np.reshape(east, shape)), np.reshape(north, shape)
    return (float(east), float(north)) if shape == () else (east, north)


def compute_degree_lengths(lat: ArrayLike) -> tuple[Any, Any]:
    """Metres per degree of longitude and of latitude at a latitude (radii of curvature of the ellipsoid).

    Examples
    --------
    >>> [round(float(m), 3) for m in compute_degree_lengths(45)]
    [78846.835, 111131.777]
    """
    phi = np.radians(lat)
    w2 = 1 - E2 * np.sin(phi) ** 2
    prime = A_M / np.sqrt(w2)
    meridian = prime * (1 - E2) / w2
    return np.radians(prime * np.cos(phi)), np.radians(meridian)


class LocalFrame:
    """Azimuthal equidistant frame about one point: x east, y north, metres; exact from the centre."""

    def __init__(self, lon: float, lat: float) -> None:
        self._crs = pyproj.CRS.from_proj4(f"+proj=aeqd +lat_0={lat!r} +lon_0={lon!r} +ellps=WGS84 +units=m")
        self._proj = pyproj.Proj(self._crs)

    def forward(self, lon: ArrayLike, lat: ArrayLike) -> tuple[Any, Any]:
        """Degrees to metres east and north of the centre."""
        x, y = self._proj(np.asarray(lon, dtype=float), np.asarray(lat, dtype=float))
        return x, y

    def inverse(self, x_m: ArrayLike, y_m: ArrayLike) -> tuple[Any, Any]:
        """Metres east and north of the centre to degrees."""
        lon, lat = self._proj(np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float), inverse=True)
        return lon, lat


class Series(NamedTuple):
    """Coefficients of `make_polynomial_frame`: arrays shaped as the latitudes, metres per power of degree."""

    x1: NDArray[np.float64]  # x = dlon (x1 + x2 dlat + x3 dlat^2 + x4 dlon^2)
    x2: NDArray[np.float64]
    x3: NDArray[np.float64]
    x4: NDArray[np.float64]
    y1: NDArray[np.float64]  # y = dlat (y1 + y2 dlat + y3 dlat^2) + dlon^2 (y4 + y5 dlat)
    y2: NDArray[np.float64]
    y3: NDArray[np.float64]
    y4: NDArray[np.float64]
    y5: NDArray[np.float64]

    def forward(self, dlon: Any, dlat: Any) -> tuple[Any, Any]:
        """Metres east and north for differences in degrees from the centres."""
        dlon2 = dlon * dlon
        x = dlon * (self.x1 + dlat * (self.x2 + dlat * self.x3) + self.x4 * dlon2)
        y = dlat * (self.y1 + dlat * (self.y2 + dlat * self.y3)) + dlon2 * (self.y4 + dlat * self.y5)
        return x, y


def make_polynomial_frame(lat: ArrayLike) -> Series:
    """Cassini-Soldner coordinates about points, as a series in the differences of longitude and latitude.

    With nu and rho the radii of curvature, T = tan^2, A = dlon cos(lat): x = nu (A - T A^3 / 6 ...),
    y = M(lat) - M(lat0) + nu tan(lat) A^2 / 2 ... (Snyder 1987, USGS Professional Paper 1395, section 13),
    expanded about lat0. From the centre, distances under 10 km are right to 0.01 % up to latitude 80.
    """
    phi = np.radians(np.asarray(lat, dtype=float))
    s, c, r = np.sin(phi), np.cos(phi), np.pi / 180
    w2 = 1 - E2 * s * s
    nu = A_M / np.sqrt(w2)
    rho = nu * (1 - E2) / w2
    # d(nu cos)/dlat = -rho sin;  d(rho)/dlat = 3 e2 s c rho / w2
    drho = 3 * E2 * s * c * rho / w2
    ddrho = 3 * E2 * rho * ((c * c - s * s) / w2 + 5 * E2 * (s * c / w2) ** 2)
    return Series(
        x1=nu * c * r,
        x2=-rho * s * r**2,
        x3=-(rho * c + drho * s) / 2 * r**3,
        x4=-nu * s * s * c / 6 * r**3,
        y1=rho * r,
        y2=drho / 2 * r**2,
        y3=ddrho / 6 * r**3,
        y4=nu * s * c / 2 * r**2,
        # d(nu s c / 2)/dlat
        y5=(nu * c * c - rho * s * s) / 2 * r**3,
    )
