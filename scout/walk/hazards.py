"""What is dangerous or closed at some places: the nearest overhead line, and ground where none may stand.

Lines are straight in longitude and latitude (RFC 7946, section 3.1.1). Cut into pieces of half a kilometre
they are straight in the Cassini series of `scout.geo.geodesy` as well, to 0.01 m up to latitude 80.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.geodesy import compute_degree_lengths, make_polynomial_frame, measure_geodesic, wrap_lon
from scout.model import NAME, WHAT, Surroundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_PIECE_DEG = 0.005
_SERIES_M = 10_000.0  # beyond it a geodesic gives the distance
_TURNS = (-360.0, 0.0, 360.0)
_SLACK = 1.02  # boxes are measured by the degree at the place
_BATCH = 200  # places looked at together


def find_power_lines_near(lon: Floats, lat: Floats, surroundings: Surroundings) -> tuple[Floats, list[str]]:
    """The nearest overhead line of each place.

    Parameters
    ----------
    lon, lat : arrays, shape (n,)
        Degrees.
    surroundings : Surroundings

    Returns
    -------
    distance_m : array, shape (n,)
        To the line on the map, right to 0.1 m + 0.01 % under 10 km; infinite where there is none at all. The
        wires hang some metres to either side of it.
    names : list of str
        Kind and name of it, such as "power line: Harbour line"; empty where there is none.
    """
    lines = surroundings.power_lines
    distance, row = _find_nearest_edges(
        _collect_edges(lines.geometry.to_numpy()), np.asarray(lon), np.asarray(lat)
    )
    texts = _list_titles(lines)
    return distance, [texts[k] if k >= 0 else "" for k in row.tolist()]


def find_closures(lon: Floats, lat: Floats, radius_m: float, surroundings: Surroundings) -> list[str]:
    """What closes the ground within a radius of each place.

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
    areas = surroundings.closed.geometry.to_numpy()
    texts, found = _list_titles(surroundings.closed), [dict[str, None]() for _ in range(len(lon))]
    tree = shapely.STRtree(areas)
    for turn in _TURNS:
        place, area = tree.query(shapely.points(wrap_lon(lon) + turn, lat), predicate="intersects")
        for k, text in zip(place.tolist(), (texts[row] for row in area.tolist()), strict=True):
            found[k][text] = None
    edges = _collect_edges(shapely.boundary(areas))
    outside = np.array([k for k, names in enumerate(found) if not names], dtype=np.int64)
    distance, row = _find_nearest_edges(edges, lon[outside], lat[outside])
    for k in np.flatnonzero(distance <= radius_m).tolist():
        found[int(outside[k])][texts[int(row[k])]] = None
    return ["; ".join(names) for names in found]


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
