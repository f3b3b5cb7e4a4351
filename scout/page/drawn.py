"""Park outlines as they are drawn: whole near the spots, simplified elsewhere, and where they overlap.

A segment of the data is straight in longitude and latitude; on a Mercator map a long one is curved (242 m
over one degree at 45 N), so long segments get vertices of their own before anything is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scout.page.frame import MAP_EDGE_LAT, UNITS_PER_DEG, Frame, whole

__all__ = ["FULL_DETAIL_KM", "Drawn", "draw"]

FULL_DETAIL_KM = 2.0  # an outline this near a spot keeps every vertex
_LONGEST_DEG = 0.04  # leaves 0.4 m between a segment and its curve at 45 N
_VERTICES = 60_000  # what a phone draws without delay; the tolerance grows until it is met
_COARSEST_M = 2_000.0
_EARTH_KM = 6371.0  # enough for "near"
_METRES_PER_DEG = 111_320.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """Polygons in whole millionths of a degree: for each, its rings, shell first, open, shape (n, 2)."""

    parks: list[list[list[NDArray[np.int64]]]]
    labels: list[tuple[float, float]]  # a point well inside each park
    twice: list[list[NDArray[np.int64]]]  # where exactly two parks overlap
    thrice: list[list[NDArray[np.int64]]]  # where three or more do
    tolerance_m: float


def draw(geometries: NDArray[Any], near: NDArray[np.float64], frame: Frame) -> Drawn:
    """Drawn of parks as one page draws them.

    Parameters
    ----------
    geometries : array of Polygon or MultiPolygon, shape (n,)
        Longitude and latitude, degrees.
    near : array, shape (m, 2)
        Places, longitude and latitude, near which nothing may be left out.
    frame : Frame
        The page's longitudes.
    """
    if not len(geometries):
        return Drawn([], [], [], [], 0.0)
    placed = _in_frame(geometries, frame)
    parts, park_of = shapely.get_parts(placed, return_index=True)
    rings, part_of = shapely.get_rings(shapely.segmentize(parts, _LONGEST_DEG), return_index=True)
    kept, ring_of, tolerance_m = _simplify(rings, near)
    units = whole(kept)
    drawn = [units[span] for span in _spans(ring_of, len(rings))]
    polygons: list[list[NDArray[np.int64]]] = [[] for _ in parts]
    for ring, part in zip(drawn, part_of, strict=True):
        polygons[part].append(ring)
    parks: list[list[list[NDArray[np.int64]]]] = [[] for _ in geometries]
    for polygon, park in zip(polygons, park_of, strict=True):
        parks[park].append(polygon)
    shapes = shapely.make_valid(np.array([_shape(park) for park in parks], dtype=object))
    _, twice, thrice = _depths(_overlapping(shapes))
    return Drawn(
        parks=parks,
        labels=[(float(p.x), float(p.y)) for p in shapely.point_on_surface(placed)],
        twice=_rings(shapely.difference(twice, thrice), tolerance_m),
        thrice=_rings(thrice, tolerance_m),
        tolerance_m=tolerance_m,
    )


def _in_frame(geometries: NDArray[Any], frame: Frame) -> NDArray[Any]:
    west, _, east, _ = shapely.bounds(geometries).T
    turns = frame.turns((west + east) / 2)
    xy, of = shapely.get_coordinates(geometries, return_index=True)
    placed: NDArray[Any] = shapely.set_coordinates(
        geometries.copy(), np.column_stack([xy[:, 0] + turns[of], xy[:, 1]])
    )
    return placed


def _simplify(
    rings: NDArray[Any], near: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64], float]:
    """Vertices that stay, the ring of each, and the tolerance in metres that it took."""
    xy, ring_of = shapely.get_coordinates(rings, return_index=True)
    first = np.r_[True, ring_of[1:] != ring_of[:-1]]
    last = np.r_[first[1:], True]
    fixed = _is_near(xy, near) | first | last
    pieces, closed, scale = _pieces(xy, ring_of, fixed)
    tolerance_m = 0.5
    while True:
        tolerance_m *= 2
        keep = fixed.copy()
        # A closed ring must stay one; an open run only keeps its ends.
        for whole_ring in (True, False):
            some = pieces[closed == whole_ring]
            slack = tolerance_m * scale[closed == whole_ring]
            left = shapely.simplify(some, slack, preserve_topology=whole_ring)
            number = shapely.get_coordinates(left, include_z=True)[:, 2].astype(np.int64)
            keep[number] = True
        if keep.sum() <= _VERTICES or tolerance_m >= _COARSEST_M:
            break
    keep &= ~last  # the closing vertex is the first once more
    thin = np.bincount(ring_of[keep], minlength=len(rings)) < 3
    keep |= thin[ring_of] & ~last
    return xy[keep], ring_of[keep], tolerance_m


def _is_near(xy: NDArray[np.float64], near: NDArray[np.float64]) -> NDArray[np.bool_]:
    if not len(near):
        return np.zeros(len(xy), dtype=bool)
    # Half a longest segment more, so that a segment passing a spot keeps both its ends.
    reach_km = FULL_DETAIL_KM + _LONGEST_DEG / 2 * _METRES_PER_DEG / 1000
    tree = cKDTree(_on_sphere(near))
    away, _ = tree.query(_on_sphere(xy), distance_upper_bound=reach_km / _EARTH_KM)
    return np.asarray(np.isfinite(away))


def _on_sphere(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
    lon, lat = np.radians(lonlat).T
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def _pieces(
    xy: NDArray[np.float64], ring_of: NDArray[np.int64], fixed: NDArray[np.bool_]
) -> tuple[NDArray[Any], NDArray[np.bool_], NDArray[np.float64]]:
    """Runs between fixed vertices, on the map's own plane, each vertex with its number as height.

    Returns
    -------
    pieces : array of LineString or LinearRing
    closed : array of bool
        Whether the piece is a whole ring.
    scale : array
        Map metres per metre on the ground at each piece.
    """
    at = np.flatnonzero(fixed)
    start, end = at[:-1], at[1:]
    runs = (ring_of[start] == ring_of[end]) & (end - start > 1)
    start, end = start[runs], end[runs]
    counts = end - start + 1
    number = np.repeat(start - np.r_[0, np.cumsum(counts)[:-1]], counts) + np.arange(counts.sum())
    lat = np.clip(xy[:, 1], -MAP_EDGE_LAT, MAP_EDGE_LAT)
    x = np.radians(xy[:, 0]) * _EARTH_KM * 1000
    y = np.arcsinh(np.tan(np.radians(lat))) * _EARTH_KM * 1000
    plane = np.column_stack([x, y, np.arange(len(xy))])[number]
    piece_of = np.repeat(np.arange(len(counts)), counts)
    closed = np.all(xy[start] == xy[end], axis=1) if len(start) else np.zeros(0, dtype=bool)
    pieces = np.empty(len(counts), dtype=object)
    for whole_ring, make in ((True, shapely.linearrings), (False, shapely.linestrings)):
        mine = closed[piece_of] == whole_ring
        if mine.any():
            _, renumbered = np.unique(piece_of[mine], return_inverse=True)
            pieces[closed == whole_ring] = make(plane[mine], indices=renumbered)
    return pieces, closed, 1 / np.cos(np.radians(lat[start]))


def _spans(ring_of: NDArray[np.int64], rings: int) -> list[slice]:
    edges = np.searchsorted(ring_of, np.arange(rings + 1))
    return [slice(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def _shape(polygons: list[list[NDArray[np.int64]]]) -> Any:
    return shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in _in_degrees(polygons)])


def _in_degrees(polygons: list[list[NDArray[np.int64]]]) -> list[list[NDArray[np.float64]]]:
    return [[ring / UNITS_PER_DEG for ring in rings] for rings in polygons]


def _overlapping(shapes: NDArray[Any]) -> list[Any]:
    """The shapes that share area with another, from west to east."""
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, other = one[one < other], other[one < other]
    shared = shapely.area(shapely.intersection(shapes[one], shapes[other])) > 0
    some = np.unique(np.concatenate([one[shared], other[shared]]))
    return list(shapes[some[np.argsort(shapely.bounds(shapes[some])[:, 0], kind="stable")]])


def _depths(shapes: list[Any]) -> tuple[Any, Any, Any]:
    """Ground covered at least once, twice and three times."""
    nothing = shapely.Polygon()
    if not shapes:
        return nothing, nothing, nothing
    if len(shapes) == 1:
        return shapes[0], nothing, nothing
    middle = len(shapes) // 2
    a1, a2, a3 = _depths(shapes[:middle])
    b1, b2, b3 = _depths(shapes[middle:])
    both = shapely.intersection(a1, b1)
    return (
        shapely.union(a1, b1),
        shapely.union_all([a2, b2, both]),
        shapely.union_all([a3, b3, shapely.intersection(a2, b1), shapely.intersection(a1, b2)]),
    )


def _rings(geometry: Any, tolerance_m: float) -> list[list[NDArray[np.int64]]]:
    """Polygons of a geometry wide enough not to come from simplifying two outlines apart."""
    parts = [p for p in shapely.get_parts(geometry) if p.geom_type == "Polygon" and not p.is_empty]
    return [
        [whole(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
        for part in parts
        if _width_m(part) > 2 * tolerance_m
    ]


def _width_m(polygon: Any) -> float:
    shrink = np.cos(np.radians(polygon.centroid.y))
    flat = shapely.transform(polygon, lambda xy: xy * [shrink * _METRES_PER_DEG, _METRES_PER_DEG])
    return float(2 * flat.area / flat.length)
