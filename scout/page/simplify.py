"""Vertices that a drawn outline can do without: none near a spot, those within a tolerance elsewhere.

A segment of the data is straight in longitude and latitude; on a Mercator map a long one is curved (142 m
over a degree each way at 45 N), so long segments get vertices of their own before anything is left out.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scout.page.frame import MAP_EDGE_LAT

__all__ = ["FULL_DETAIL_KM", "simplify"]

FULL_DETAIL_KM = 2.0  # an outline this near a spot keeps every vertex
_LONGEST_DEG = 0.04  # leaves 0.2 m at most between a segment and its curve, up to 80 N
_VERTICES = 60_000  # what a phone draws without delay; the tolerance grows until it is met
_FINEST_M, _COARSEST_M = 1.0, 1024.0
_EARTH_M = 6_371_000.0  # enough for "near" and for a tolerance
_METRES_PER_DEG = 111_200.0


def simplify(
    rings: NDArray[Any], near: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64], float]:
    """Vertices of rings that are drawn.

    Parameters
    ----------
    rings : array of LinearRing, shape (n,)
        Longitude and latitude, degrees.
    near : array, shape (m, 2)
        Places, longitude and latitude, near which every vertex stays.

    Returns
    -------
    xy : array, shape (k, 2)
        The vertices that stay, ring by ring, three or more each, the closing one left out.
    ring_of : array of int, shape (k,)
    tolerance_m : float
        How far a drawn outline may stray away from those places.
    """
    xy, ring_of = shapely.get_coordinates(shapely.segmentize(rings, _LONGEST_DEG), return_index=True)
    edges = np.searchsorted(ring_of, np.arange(len(rings) + 1))
    first, last = edges[:-1], edges[1:] - 1
    fixed = _is_near(xy, near)
    # Three vertices and the closing one stay in every ring, so that none can vanish.
    for third in (0, 1, 2):
        fixed[first + third * (last - first) // 3] = True
    fixed[last] = True
    pieces, scale = _pieces(xy, ring_of, fixed)
    tolerance_m = _FINEST_M
    keep = _kept(pieces, scale * tolerance_m, fixed)
    while keep.sum() > _VERTICES and tolerance_m < _COARSEST_M:
        tolerance_m *= 2
        keep = _kept(pieces, scale * tolerance_m, fixed)
    keep[last] = False
    return xy[keep], ring_of[keep], tolerance_m


def _is_near(xy: NDArray[np.float64], near: NDArray[np.float64]) -> NDArray[np.bool_]:
    if not len(near):
        return np.zeros(len(xy), dtype=bool)
    # Half a longest segment more, so that a segment passing a spot keeps both its ends.
    reach_m = FULL_DETAIL_KM * 1000 + _LONGEST_DEG / 2 * _METRES_PER_DEG
    tree = cKDTree(_on_sphere(near))
    away, _ = tree.query(_on_sphere(xy), distance_upper_bound=reach_m / _EARTH_M)
    return np.asarray(np.isfinite(away))


def _on_sphere(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
    lon, lat = np.radians(lonlat).T
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def _pieces(
    xy: NDArray[np.float64], ring_of: NDArray[np.int64], fixed: NDArray[np.bool_]
) -> tuple[NDArray[Any], NDArray[np.float64]]:
    """Runs between fixed vertices, on the map's own plane, and map metres per metre on the ground.

    Each vertex carries its number as its height, which says afterwards which of them stayed.
    """
    at = np.flatnonzero(fixed)
    runs = (ring_of[at[:-1]] == ring_of[at[1:]]) & (np.diff(at) > 1)
    start, counts = at[:-1][runs], np.diff(at)[runs] + 1
    piece = np.repeat(np.arange(len(counts)), counts)
    number = np.arange(counts.sum()) + np.repeat(start - np.cumsum(counts) + counts, counts)
    lat = np.radians(np.clip(xy[:, 1], -MAP_EDGE_LAT, MAP_EDGE_LAT))
    plane = np.column_stack(
        [np.radians(xy[:, 0]) * _EARTH_M, np.arcsinh(np.tan(lat)) * _EARTH_M, np.arange(len(xy))]
    )
    pieces: NDArray[Any] = shapely.linestrings(plane[number], indices=piece)
    return pieces, 1 / np.cos(lat[start])


def _kept(pieces: NDArray[Any], slack: NDArray[np.float64], fixed: NDArray[np.bool_]) -> NDArray[np.bool_]:
    keep = fixed.copy()
    left = shapely.simplify(pieces, slack, preserve_topology=False)
    keep[shapely.get_coordinates(left, include_z=True)[:, 2].astype(np.int64)] = True
    return keep
