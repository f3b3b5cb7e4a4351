"""Metres by two independent ways: the ellipsoid's radii close by, PyPI `geographiclib` up to 10 km.

Close by (some 100 m) longitude and latitude times the length of a degree at the point is right to a few
centimetres up to 80 N, and keeps an edge that is straight in longitude/latitude straight.
"""

from __future__ import annotations

from math import atan2, cos, degrees, hypot, radians, sin, sqrt

import numpy as np
import shapely
from geographiclib.geodesic import Geodesic
from scipy.optimize import minimize_scalar

from oracles.arrangement import segments

A_M, INVERSE_F = 6378137.0, 298.257223563  # WGS 84, NIMA TR8350.2 (from memory; geographiclib agrees, read)
E2 = (2 - 1 / INVERSE_F) / INVERSE_F
WGS84 = Geodesic.WGS84


def degree_lengths(lat: float) -> tuple[float, float]:
    """Metres per degree of longitude and of latitude: radii of curvature of the ellipsoid (any handbook)."""
    w = 1 - E2 * sin(radians(lat)) ** 2
    normal, meridian = A_M / sqrt(w), A_M * (1 - E2) / w**1.5
    return radians(1) * normal * cos(radians(lat)), radians(1) * meridian


def turned(geometry: shapely.Geometry, lon: float) -> float:
    """The same longitude in the turn round the globe that is nearest to the middle of the geometry."""
    west, _, east, _ = geometry.bounds
    return lon + 360.0 * round(((west + east) / 2 - lon) / 360)


def distance_m(lon1: float, lat1: float, lon2: float, lat2: float) -> float:
    """Geodesic, by PyPI `geographiclib`."""
    return float(WGS84.Inverse(lat1, lon1, lat2, lon2, Geodesic.DISTANCE)["s12"])


def bearing_deg(lon1: float, lat1: float, lon2: float, lat2: float) -> float:
    """Azimuth at the first point, 0 to 360."""
    return float(WGS84.Inverse(lat1, lon1, lat2, lon2, Geodesic.AZIMUTH)["azi1"] % 360)


def moved(lon: float, lat: float, bearing: float, metres: float) -> tuple[float, float]:
    """Where a bearing and a distance lead."""
    end = WGS84.Direct(lat, lon, bearing, metres)
    return float(end["lon2"]), float(end["lat2"])


def plane(geometry_edges: np.ndarray, lon: float, lat: float) -> np.ndarray:
    """Edges in metres east and north of a point, shape (n, 4)."""
    east, north = degree_lengths(lat)
    return (geometry_edges - (lon, lat, lon, lat)) * (east, north, east, north)


def to_edges(edges_m: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance from every point to every edge and where along it, 0 to 1; both of shape (points, edges)."""
    x1, y1, x2, y2 = edges_m.T
    px, py = np.asarray(x)[:, None] - x1, np.asarray(y)[:, None] - y1
    run, rise = x2 - x1, y2 - y1
    with np.errstate(invalid="ignore"):
        share = np.nan_to_num(np.clip((px * run + py * rise) / (run**2 + rise**2), 0, 1))
    return np.hypot(px - share * run, py - share * rise), share


def to_nearest_edge(edges_m: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Distance from every point to the nearest of few edges; x and y may be the axes of a grid."""
    least = np.full(np.broadcast_shapes(np.shape(x), np.shape(y)), np.inf)
    for x1, y1, x2, y2 in edges_m:
        length = hypot(x2 - x1, y2 - y1)
        run, rise = ((x2 - x1) / length, (y2 - y1) / length) if length else (1.0, 0.0)
        along = (x - x1) * run + (y - y1) * rise
        off = (y - y1) * run - (x - x1) * rise
        past = along - np.clip(along, 0.0, length)
        least = np.minimum(least, off**2 + past**2)
    return np.sqrt(least)


def clearances_close_by(
    park: shapely.Geometry, lon: float, lat: float, x: np.ndarray, y: np.ndarray
) -> np.ndarray:
    """Signed metres from points x, y metres off (lon, lat) to the nearest boundary, positive inside.

    The shape is that of x and y together: a row and a column are the axes of a grid.
    """
    lon = turned(park, lon)
    distance = to_nearest_edge(plane(segments(park), lon, lat), x, y)
    east, north = degree_lengths(lat)
    held = shapely.contains_xy(park, lon + np.asarray(x) / east, lat + np.asarray(y) / north)
    return np.where(held, 1.0, -1.0) * distance


def rough_distance_m(park: shapely.Geometry, lon: float, lat: float) -> float:
    """Distance to the boundary in the plane at the point: within a percent up to some 10 km."""
    edges = plane(segments(park), turned(park, lon), lat)
    return float(to_edges(edges, np.zeros(1), np.zeros(1))[0].min())


def nearest(park: shapely.Geometry, lon: float, lat: float) -> tuple[float, float, float]:
    """Geodesic distance to the boundary and the nearest point of it: right for distances up to some 10 km.

    The plane picks the edges that may be nearest; along each a search finds the shortest geodesic.
    """
    lon = turned(park, lon)
    edges = segments(park)
    rough, share = to_edges(plane(edges, lon, lat), np.zeros(1), np.zeros(1))
    best = (np.inf, lon, lat)
    for k in np.flatnonzero(rough[0] <= 1.05 * rough[0].min() + 0.5):
        best = min(best, _along(edges[k], float(share[0, k]), float(rough[0, k]), lon, lat))
    return best


def _along(
    edge: np.ndarray, share: float, rough_m: float, lon: float, lat: float
) -> tuple[float, float, float]:
    x1, y1, x2, y2 = (float(v) for v in edge)
    east, north = degree_lengths(lat)
    length_m = hypot((x2 - x1) * east, (y2 - y1) * north)
    around = (0.1 * rough_m + 5.0) / length_m if length_m else 1.0

    def at(t: float) -> tuple[float, float, float]:
        there = x1 + t * (x2 - x1), y1 + t * (y2 - y1)
        return distance_m(lon, lat, *there), *there

    low, high = max(0.0, share - around), min(1.0, share + around)
    inner = minimize_scalar(
        lambda t: at(t)[0], bounds=(low, high), method="bounded", options={"xatol": 1e-3 * around}
    )
    return min(at(low), at(high), at(float(inner.x)), at(share))


def clearance_m(park: shapely.Geometry, lon: float, lat: float) -> float:
    """Signed geodesic clearance: distance to the boundary, positive inside."""
    held = shapely.contains_xy(park, turned(park, lon), lat)
    return (1.0 if held else -1.0) * nearest(park, lon, lat)[0]


def seen_from(lon0: float, lat0: float, lon: float, lat: float) -> tuple[float, float]:
    """Metres east and north of the first point, for points close by."""
    east, north = degree_lengths(lat0)
    return (((lon - lon0) + 180) % 360 - 180) * east, (lat - lat0) * north


def compass(x: float, y: float) -> float:
    """Bearing of an offset, degrees."""
    return degrees(atan2(x, y)) % 360
