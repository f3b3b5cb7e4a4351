"""Park outlines as flat vertex arrays, which the search and the clearances run over.

Vertices of park 0 come first, ring after ring, then those of park 1. Segment ``k`` joins vertex ``k`` to
``k + 1`` unless ``k`` ends a ring. Runs of up to ``RUN`` segments have a bounding box each, so that most of
an outline is dismissed without looking at its vertices.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geodesy import degree_lengths

__all__ = ["MAX_EDGE_M", "RUN", "Outlines", "polygonal_parts", "ragged"]

RUN = 16  # segments per box: 8 to 32 time alike on parks of 100 to 10,000 vertices

# An edge is straight in longitude and latitude; at 70 N a chord of 1 km strays 0.05 m from it.
MAX_EDGE_M = 1000.0

_ROWS, _BLOCK = 1000, 50_000  # geometries and vertices handled at once: few enough for the cache

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def polygonal_parts(geometry: Any) -> Any:
    """Return the polygons of a geometry, without the lines and points that repairs and overlays leave.

    Parameters
    ----------
    geometry : Geometry
        A collection may hold collections.

    Returns
    -------
    Polygon or MultiPolygon
        Empty where there is no area.
    """
    if geometry.geom_type in ("Polygon", "MultiPolygon"):
        return geometry
    parts = shapely.get_parts(shapely.get_parts(geometry))
    parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)]
    if not len(parts):
        return shapely.Polygon()
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def ragged(starts: Ints, counts: Ints) -> tuple[Ints, Ints]:
    """Rows and members of consecutive ranges: row ``r`` repeated for ``starts[r]``, ``starts[r] + 1`` ...

    Examples
    --------
    >>> rows, members = ragged(np.array([5, 9]), np.array([2, 1]))
    >>> rows.tolist(), members.tolist()
    ([0, 0, 1], [5, 6, 9])
    """
    rows = np.repeat(np.arange(len(counts)), counts)
    firsts = np.cumsum(counts) - counts
    return rows, np.arange(len(rows)) - np.repeat(firsts - starts, counts)


class Outlines:
    """Vertices, rings and segment runs of an array of (multi)polygons.

    Attributes
    ----------
    lon, lat : arrays, shape (vertices,)
        Degrees; longitude as in the geometries, so it may pass 180.
    ring_start, ring_size : arrays, shape (rings,)
        First vertex and number of vertices; the last repeats the first.
    ring_park : array, shape (rings,)
    """

    def __init__(self, geometries: NDArray[Any]) -> None:
        self.parks = len(geometries)
        size, park = _rings(geometries)
        lon, lat = np.empty(int(size.sum())), np.empty(int(size.sum()))
        at = 0
        for first in range(0, len(geometries), _ROWS):
            xy = shapely.get_coordinates(geometries[first : first + _ROWS])
            lon[at : at + len(xy)], lat[at : at + len(xy)] = xy[:, 0], xy[:, 1]
            at += len(xy)
        self._set(lon, lat, size, park)

    def _set(self, lon: Floats, lat: Floats, ring_size: Any, ring_park: Ints) -> None:
        self.lon, self.lat = lon, lat
        self.ring_size = np.asarray(ring_size, dtype=np.int64)
        self.ring_start = np.cumsum(self.ring_size) - self.ring_size
        self.ring_park = ring_park

    @cached_property
    def park_first(self) -> Ints:
        """First vertex of each park, and the number of vertices at the end."""
        ring = np.searchsorted(self.ring_park, np.arange(self.parks + 1))
        return np.append(self.ring_start, len(self.lon))[ring]

    def with_short_edges(self) -> Outlines:
        """These outlines with no edge over `MAX_EDGE_M`; itself when there is none."""
        start = self._long_edges()
        if len(start) == 0:
            return self
        dlon, dlat = self.lon[start + 1] - self.lon[start], self.lat[start + 1] - self.lat[start]
        per_lon, per_lat = degree_lengths(self.lat[start])
        pieces = np.ceil(np.hypot(dlon * per_lon, dlat * per_lat) / MAX_EDGE_M).astype(np.int64)
        rows, step = ragged(np.ones_like(pieces), np.maximum(pieces - 1, 0))
        along, at = step / pieces[rows], start[rows] + 1
        longer = object.__new__(Outlines)
        longer.parks = self.parks
        longer._set(
            np.insert(self.lon, at, self.lon[start][rows] + along * dlon[rows]),
            np.insert(self.lat, at, self.lat[start][rows] + along * dlat[rows]),
            self.ring_size
            + np.bincount(
                np.searchsorted(self.ring_start, at - 1, "right") - 1, minlength=len(self.ring_size)
            ),
            self.ring_park,
        )
        return longer

    def _long_edges(self) -> Ints:
        """First vertices of the edges that may be over `MAX_EDGE_M`: no degree is longer than 112 km."""
        far = MAX_EDGE_M / 112_000 / np.sqrt(2)
        long = np.zeros(len(self.lon), dtype=bool)
        for first in range(0, len(long), _BLOCK):
            block = slice(first, first + _BLOCK)
            for degrees in (self.lon, self.lat):
                step = np.diff(degrees[first : first + _BLOCK + 1])
                long[block][: len(step)] |= np.abs(step) > far
        long[self.ring_start + self.ring_size - 1] = False
        return np.flatnonzero(long)

    @cached_property
    def runs(self) -> tuple[Ints, Ints, Ints]:
        """Segment runs: first vertex, number of segments, park; no run leaves its ring."""
        per_ring = -(-(self.ring_size - 1) // RUN)
        ring, at = ragged(np.zeros_like(per_ring), per_ring)
        first = self.ring_start[ring] + RUN * at
        count = np.minimum(RUN, self.ring_size[ring] - 1 - RUN * at)
        return first, count, self.ring_park[ring]

    @cached_property
    def boxes(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Bounds of the runs: west, south, east, north."""
        first, count, _ = self.runs
        if len(first) == 0:
            return np.empty(0), np.empty(0), np.empty(0), np.empty(0)
        last = first + count
        return (
            np.minimum(np.minimum.reduceat(self.lon, first), self.lon[last]),
            np.minimum(np.minimum.reduceat(self.lat, first), self.lat[last]),
            np.maximum(np.maximum.reduceat(self.lon, first), self.lon[last]),
            np.maximum(np.maximum.reduceat(self.lat, first), self.lat[last]),
        )

    @cached_property
    def bounds(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Bounds of the parks: west, south, east, north."""
        if self.parks == 0:
            return self.boxes
        heads = np.searchsorted(self.runs[2], np.arange(self.parks))
        west, south, east, north = self.boxes
        return (
            np.minimum.reduceat(west, heads),
            np.minimum.reduceat(south, heads),
            np.maximum.reduceat(east, heads),
            np.maximum.reduceat(north, heads),
        )


def _rings(geometries: NDArray[Any]) -> tuple[Ints, Ints]:
    """Vertices and park of each ring, in the order of the coordinates."""
    plain = (shapely.get_type_id(geometries) == 3) & (shapely.get_num_interior_rings(geometries) == 0)
    whole, other = np.flatnonzero(plain), np.flatnonzero(~plain)
    parts, part_park = shapely.get_parts(geometries[other], return_index=True)
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    park = np.concatenate([whole, other[part_park[ring_part]]])
    size = np.concatenate(
        [shapely.get_num_coordinates(geometries[whole]), shapely.get_num_coordinates(rings)]
    ).astype(np.int64)
    order = np.argsort(park, kind="stable")
    return size[order], park[order]
