"""What is dangerous or closed at some places: the nearest hazard, and ground where no station may stand.

Lines are straight in longitude and latitude (RFC 7946, section 3.1.1). Cut into pieces of half a kilometre
they are straight in the Cassini series of `scout.geo.geodesy` as well, to 0.01 m up to latitude 80.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cautions import HAZARDS
from scout.geo.geodesy import compute_degree_lengths, make_polynomial_frame, measure_geodesic, wrap_lon
from scout.model import HAZARD, NAME, WHAT, Surroundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_PIECE_DEG = 0.005
_SERIES_M = 10_000.0  # beyond it a geodesic gives the distance
_TURNS = (-360.0, 0.0, 360.0)
_AREAS = (3, 6)  # GEOS's numbers of types
_SLACK = 1.02  # boxes are measured by the degree at the place
_BATCH = 200  # places looked at together


def find_nearest(lon: Floats, lat: Floats, hazards: gpd.GeoDataFrame) -> tuple[Floats, list[str]]:
    """Find the nearest hazard of each place.

    Parameters
    ----------
    lon, lat : arrays, shape (n,)
        Degrees.
    hazards : GeoDataFrame
        Lines and areas, as `scout.model.Surroundings` has them.

    Returns
    -------
    distance_m : array, shape (n,)
        To the line on the map, or from outside an area to its edge, right to 0.1 m + 0.01 % under 10 km; 0
        inside an area, infinite where there is none at all. The wires of an overhead line hang some metres
        to either side of it.
    names : list of str
        Kind and name of it, such as "power line: Harbour line"; empty where there is none.
    """
    lon, lat = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
    shapes = hazards.geometry.to_numpy()
    distance, row = _find_nearest_edges(_collect_edges(_draw_as_lines(shapes)), lon, lat)
    place, inside = _find_inside(shapes, lon, lat)
    distance[place], row[place] = 0.0, inside
    texts = _list_titles(hazards)
    return distance, [texts[k] if k >= 0 else "" for k in row.tolist()]


def find_closures(lon: Floats, lat: Floats, radius_m: float, surroundings: Surroundings) -> list[str]:
    """Find what closes the ground within a radius of each place.

    Parameters
    ----------
    lon, lat : arrays, shape (n,)
        Degrees.
    radius_m : float
        Of the station.
    surroundings : Surroundings

    Returns
    -------
    list of str
        Kind and name of the closed area, such as "military range: Fort Dullmoor"; several are parted by
        semicolons; empty where the ground is open.
    """
    lon, lat = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
    closing = [kind.key for kind in HAZARDS if kind.closes]
    closed = surroundings.hazards[surroundings.hazards[HAZARD].isin(closing)]
    shapes = closed.geometry.to_numpy()
    texts, found = _list_titles(closed), [dict[str, None]() for _ in range(len(lon))]
    for k, row in zip(*(pairs.tolist() for pairs in _find_inside(shapes, lon, lat)), strict=True):
        found[k][texts[row]] = None
    outside = np.array([k for k, names in enumerate(found) if not names], dtype=np.int64)
    edges = _collect_edges(_draw_as_lines(shapes))
    distance, row = _find_nearest_edges(edges, lon[outside], lat[outside])
    for k in np.flatnonzero(distance <= radius_m).tolist():
        found[int(outside[k])][texts[int(row[k])]] = None
    return ["; ".join(names) for names in found]


def _find_inside(shapes: Any, lon: Floats, lat: Floats) -> tuple[Ints, Ints]:
    """Pairs of a place and an area that it lies in, on whatever turn of the globe."""
    areas = np.flatnonzero(np.isin(shapely.get_type_id(shapes), _AREAS))
    tree = shapely.STRtree(shapes[areas])
    pairs = [tree.query(shapely.points(wrap_lon(lon) + t, lat), predicate="intersects") for t in _TURNS]
    place, area = np.concatenate(pairs, axis=1)
    return place, areas[area]


def _draw_as_lines(shapes: Any) -> Any:
    """Lines as they are, areas by their outlines."""
    lines = shapes.copy()
    areas = np.isin(shapely.get_type_id(shapes), _AREAS)
    lines[areas] = shapely.boundary(shapes[areas])
    return lines


def _list_titles(frame: gpd.GeoDataFrame) -> list[str]:
    return [
        f"{what}: {name}" if name else str(what) for what, name in zip(frame[WHAT], frame[NAME], strict=True)
    ]


class _LineEdges:
    """Straight pieces of lines, and the rows they belong to."""

    def __init__(self, start: Floats, end: Floats, row: Ints) -> None:
        self.start, self.end, self.row = start, end, row
        self.tree = shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1)))


def _collect_edges(lines: Any) -> _LineEdges:
    parts, row = shapely.get_parts(lines, return_index=True)
    points, part = shapely.get_coordinates(shapely.segmentize(parts, _PIECE_DEG), return_index=True)
    inner = part[1:] == part[:-1]
    start, end = points[:-1][inner], points[1:][inner]
    turn = wrap_lon(start[:, :1]) - start[:, :1]
    shift = np.concatenate([turn, np.zeros_like(turn)], axis=1)
    return _LineEdges(start + shift, end + shift, row[part[:-1][inner]])


def _find_nearest_edges(edges: _LineEdges, lon: Floats, lat: Floats) -> tuple[Floats, Ints]:
    """Metres to the nearest edge and the row it belongs to; infinite and -1 where there are no edges."""
    distance, row = np.full(len(lon), np.inf), np.full(len(lon), -1, dtype=np.int64)
    if not len(edges.row):
        return distance, row
    for first in range(0, len(lon), _BATCH):
        rows = slice(first, first + _BATCH)
        distance[rows], row[rows] = _find_nearest_in_batch(edges, wrap_lon(lon[rows]), lat[rows])
    return distance, row


def _find_nearest_in_batch(edges: _LineEdges, lon: Floats, lat: Floats) -> tuple[Floats, Ints]:
    count = len(lon)
    some = np.stack([edges.tree.nearest(shapely.points(lon + turn, lat)) for turn in _TURNS])
    place = np.tile(np.arange(count), len(_TURNS))
    bound = _measure_distances(edges, some.ravel(), lon, lat, place).reshape(len(_TURNS), count).min(axis=0)
    # Nothing further than that can be nearer: what a box of that size meets is measured.
    east, north = compute_degree_lengths(lat)
    reach_y = _SLACK * bound / north + 1e-9
    reach_x = np.minimum(
        _SLACK**2 * bound / np.maximum(east - np.radians(reach_y) * north, 1.0) + 1e-9, 360.0
    )
    boxes = [shapely.box(lon + t - reach_x, lat - reach_y, lon + t + reach_x, lat + reach_y) for t in _TURNS]
    place, edge = edges.tree.query(np.concatenate(boxes))
    place = place % count
    metres = _measure_distances(edges, edge, lon, lat, place)
    order = np.lexsort((edge, metres, place))
    heads = order[np.flatnonzero(np.diff(place[order], prepend=-1))]
    return metres[heads], edges.row[edge[heads]]


def _measure_distances(edges: _LineEdges, edge: Ints, lon: Floats, lat: Floats, place: Ints) -> Floats:
    """Metres from places to edges, pair by pair."""
    x0, y0 = lon[place], lat[place]
    start, end = edges.start[edge], edges.end[edge]
    turn = 360.0 * np.rint((start[:, 0] - x0) / 360.0)
    frame = make_polynomial_frame(y0)
    ax, ay = frame.forward(start[:, 0] - turn - x0, start[:, 1] - y0)
    bx, by = frame.forward(end[:, 0] - turn - x0, end[:, 1] - y0)
    dx, dy = bx - ax, by - ay
    along = np.clip(-(ax * dx + ay * dy) / np.maximum(dx * dx + dy * dy, 1e-12), 0.0, 1.0)
    metres: Floats = np.hypot(ax + along * dx, ay + along * dy)
    far = np.flatnonzero((metres > _SERIES_M) | (np.abs(y0) > 80.0))
    if far.size:
        foot = start[far] + along[far, None] * (end[far] - start[far])
        metres[far], _ = measure_geodesic(x0[far], y0[far], foot[:, 0], foot[:, 1])
    return metres
