"""Vertices that an outline in the page can do without: none near a spot, those within a tolerance elsewhere.

Edges are straight in longitude and latitude, here and in the page; so a stray is measured in degrees scaled
to metres, never too few of them.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scout.outlines import ragged

__all__ = ["FULL_DETAIL_KM", "Kept", "simplify"]

FULL_DETAIL_KM = 2.0  # an outline this near a spot keeps every vertex
_VERTICES = 11_000  # away from spots, 7 to 8 bytes each; the tolerance grows until it is met
_FINEST_M, _COARSEST_M = 1.0, 1024.0
_LONGEST_DEG = 0.04  # edges are sampled this densely when looking for those near a spot
_EARTH_M = 6_371_000.0  # enough for "near"
_MOST_M_PER_DEG = 111_700.0  # no degree of longitude or latitude is longer (111,694 m at the poles)


class Kept(NamedTuple):
    """The vertices of rings that stay."""

    xy: NDArray[np.float64]  # shape (k, 2), ring by ring, three or more each, the closing one left out
    ring_of: NDArray[np.int64]
    loose: NDArray[np.bool_]  # something was left out between this vertex and the next of its ring
    tolerance_m: float  # how far a loose edge may stray from the outline; 0 when nothing was left out


def simplify(rings: NDArray[Any], near: NDArray[np.float64]) -> Kept:
    """Vertices of rings that go into the page.

    Parameters
    ----------
    rings : array of LinearRing, shape (n,)
        Longitude and latitude, degrees.
    near : array, shape (m, 2)
        Places, longitude and latitude, near which every edge stays as it is.
    """
    xy, ring_of = shapely.get_coordinates(rings, return_index=True)
    edges = np.searchsorted(ring_of, np.arange(len(rings) + 1))
    first, last = edges[:-1], edges[1:] - 1
    is_last = np.zeros(len(xy), dtype=bool)
    is_last[last] = True
    fixed = _near_edges(xy, np.flatnonzero(~is_last), near)
    # Three vertices and the closing one stay in every ring, so that none can vanish.
    for third in (0, 1, 2):
        fixed[first + third * (last - first) // 3] = True
    fixed[last] = True
    fixed = _alike(xy, ring_of, fixed)
    tolerance_m, keep = 0.0, np.ones(len(xy), dtype=bool)
    if np.count_nonzero(~fixed) > _VERTICES:
        pieces = _pieces(xy, ring_of, fixed)
        while np.count_nonzero(keep & ~fixed) > _VERTICES and tolerance_m < _COARSEST_M:
            tolerance_m = max(2 * tolerance_m, _FINEST_M)
            keep = _kept(pieces, tolerance_m, fixed)
    at = np.flatnonzero(keep)
    loose = np.diff(at, append=0) > 1
    stays = ~is_last[at]
    return Kept(xy[at[stays]], ring_of[at[stays]], loose[stays], tolerance_m)


def _alike(
    xy: NDArray[np.float64], ring_of: NDArray[np.int64], fixed: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Fixed vertices so that neighbours along a shared edge are simplified alike.

    Where rings meet or part their common vertex stays, and what stays in one ring stays in all: a shared
    edge then falls into the same pieces on both sides.
    """
    _, point = np.unique(xy, axis=0, return_inverse=True)
    point = point.reshape(-1)
    inside = ring_of[:-1] == ring_of[1:]
    edges = np.unique(np.sort(np.column_stack([point[:-1], point[1:]])[inside], axis=1), axis=0)
    edges = edges[edges[:, 0] != edges[:, 1]]
    # On a plain stretch, shared or not, a point has two neighbours.
    neighbours = np.bincount(edges.ravel(), minlength=int(point.max(initial=-1)) + 1)
    stays = neighbours != 2
    stays[point[fixed]] = True
    alike: NDArray[np.bool_] = stays[point]
    return alike


def _near_edges(
    xy: NDArray[np.float64], start: NDArray[np.int64], near: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Vertices at either end of an edge that comes near a place."""
    found = np.zeros(len(xy), dtype=bool)
    if not len(near):
        return found
    step = xy[start + 1] - xy[start]
    size = np.hypot(*step.T)
    parts = np.maximum(np.ceil(size / _LONGEST_DEG), 1).astype(np.int64)
    edge, part = ragged(np.zeros_like(parts), parts + 1)
    samples = xy[start[edge]] + (part / parts[edge])[:, None] * step[edge]
    # Half a part more, so that what lies between two samples is not missed.
    reach_m = FULL_DETAIL_KM * 1000 + (size / parts / 2 * _MOST_M_PER_DEG)[edge]
    away, _ = cKDTree(_on_sphere(near)).query(
        _on_sphere(samples), distance_upper_bound=reach_m.max() / _EARTH_M
    )
    hit = start[edge[away * _EARTH_M <= reach_m]]
    found[hit] = found[hit + 1] = True
    return found


def _on_sphere(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
    lon, lat = np.radians(lonlat).T
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def _pieces(xy: NDArray[np.float64], ring_of: NDArray[np.int64], fixed: NDArray[np.bool_]) -> NDArray[Any]:
    """Runs between fixed vertices, in metres.

    Each vertex carries its number as its height, which says afterwards which of them stayed.
    """
    at = np.flatnonzero(fixed)
    runs = (ring_of[at[:-1]] == ring_of[at[1:]]) & (np.diff(at) > 1)
    start, counts = at[:-1][runs], np.diff(at)[runs] + 1
    piece, number = ragged(start, counts)
    # One direction for both sides of a shared edge: where two vertices stray alike, the first one counts.
    one, other = xy[start], xy[start + counts - 1]
    turned = (one[:, 0] > other[:, 0]) | ((one[:, 0] == other[:, 0]) & (one[:, 1] > other[:, 1]))
    number = np.where(turned[piece], (2 * start + counts - 1)[piece] - number, number)
    nearest_equator = np.minimum.reduceat(np.abs(xy[number, 1]), np.cumsum(counts) - counts)
    wide = _MOST_M_PER_DEG * np.cos(np.radians(nearest_equator))[piece]
    plane = np.column_stack([xy[number, 0] * wide, xy[number, 1] * _MOST_M_PER_DEG, number])
    pieces: NDArray[Any] = shapely.linestrings(plane, indices=piece)
    return pieces


def _kept(pieces: NDArray[Any], slack_m: float, fixed: NDArray[np.bool_]) -> NDArray[np.bool_]:
    keep = fixed.copy()
    left = shapely.simplify(pieces, slack_m, preserve_topology=False)
    keep[shapely.get_coordinates(left, include_z=True)[:, 2].astype(np.int64)] = True
    return keep
