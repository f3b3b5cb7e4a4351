"""Park outlines as flat vertex arrays, and signed distances to them.

Park outlines as flat vertex arrays, which the search and the clearances run over.

Vertices of park 0 come first, ring after ring, then those of park 1. Segment ``k`` joins vertex ``k`` to
``k + 1`` unless ``k`` ends a ring. Runs of up to ``RUN`` segments have a bounding box each, so that most of
an outline is dismissed without looking at its vertices.

Signed distance from points to park boundaries, exact on the ellipsoid, for many pairs at once.

Boxes of segment runs first, vertices of the runs that can matter second, the exact foot of the
perpendicular on the nearest edge last. Under 10 km the Cassini series of `geodesy` is good to 1e-7;
beyond, and near the poles, the distance to that foot is a geodesic.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from scout import kernels
from scout.geo.geodesy import Series, compute_degree_lengths, make_polynomial_frame, measure_geodesic
from scout.kernels import CompiledOutlines
from scout.table import expand_ranges
from scout.threads import map_on_threads

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
        size, park = list_rings(geometries)
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
        per_lon, per_lat = compute_degree_lengths(self.lat[start])
        pieces = np.ceil(np.hypot(dlon * per_lon, dlat * per_lat) / MAX_EDGE_M).astype(np.int64)
        rows, step = expand_ranges(np.ones_like(pieces), np.maximum(pieces - 1, 0))
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
        ring, at = expand_ranges(np.zeros_like(per_ring), per_ring)
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


def list_rings(geometries: NDArray[Any]) -> tuple[Ints, Ints]:
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


Bools = NDArray[np.bool_]

_BATCH, _FEW = 20_000, 4  # rows held at once: few enough for the cache; batches not worth a thread
_COMPILED_BATCH = 500_000  # rows looked at by one call, where none is held
_SERIES_M = 10_000.0  # beyond this, and beyond _SERIES_LAT, a geodesic gives the distance
_SERIES_LAT = 80.0
_STRAY_M = 0.1  # to either side of a chord: twice what the longest strays
_NUDGE = 1e-6  # of the way to a place whose side is known
_HALF = 0.7071067811865476
_EIGHT_WAYS = np.array(
    [(1, 0), (_HALF, _HALF), (0, 1), (-_HALF, _HALF), (-1, 0), (-_HALF, -_HALF), (0, -1), (_HALF, -_HALF)]
)
_SLACK = 0.97  # boxes are measured on a sphere: none is dropped that could hold the nearest edge
_SPHERE_M = 111_000.0  # metres per degree of longitude at the equator, at the least


def side_of(clearance_m: float) -> str:
    """Say on which side of a boundary a place lies; what rounds to 0.0 m lies on it, and counts as outside.

    Examples
    --------
    >>> side_of(6.0), side_of(-6.0), side_of(-0.0)
    ('inside', 'outside', 'on the boundary')
    """
    if abs(clearance_m) < 0.05:
        return "on the boundary"
    return "inside" if clearance_m > 0 else "outside"


class Boundaries:
    """Boundaries of an array of (multi)polygons in degrees; a park may run past longitude 180.

    Edges along a pole (latitude 90) are no boundary: all meridians meet there.
    """

    def __init__(self, geometries: NDArray[Any]) -> None:
        self.outlines = Outlines(np.asarray(geometries, dtype=object)).with_short_edges()
        self._first, self._count, run_park = self.outlines.runs
        self._box = self.outlines.boxes
        south, north = self._box[1], self._box[3]
        self._shrink = np.cos(np.radians(np.minimum(np.maximum(np.abs(south), np.abs(north)), 90.0)))
        at_pole = (np.abs(south) >= 90.0) & (south == north)
        self._count = np.where(at_pole, 0, self._count)
        self._park_first = np.searchsorted(run_park, np.arange(self.outlines.parks + 1))
        west, _, east, _ = self.outlines.bounds
        self._middle = (west + east) / 2
        self.compiled = self._compile()

    def _compile(self) -> CompiledOutlines | None:
        """Lay the outlines out for the compiled loops; None where these were not built."""
        if kernels.LIBRARY is None:
            return None
        lines = self.outlines
        ring = np.searchsorted(lines.ring_start, self._first, "right") - 1
        boxes = (*self._box, self._shrink)
        return CompiledOutlines(lines.lon, lines.lat, self._first, self._count, ring, boxes, self._park_first)

    def near_side(self, park: Ints, lon: Floats) -> Floats:
        """Longitudes shifted by whole turns to the side of the globe where the park's numbers are."""
        shifted: Floats = lon + 360.0 * np.rint((self._middle[park] - lon) / 360.0)
        return shifted

    def contains(self, park: Ints, lon: Floats, lat: Floats) -> NDArray[np.bool_]:
        """Whether each point lies strictly inside its park."""
        inside: NDArray[np.bool_] = self.clearance(park, lon, lat) > 0.0
        return inside

    def clearance(self, park: Ints, lon: Floats, lat: Floats) -> Floats:
        """Signed distance in metres from points to the nearest boundary of their parks.

        Parameters
        ----------
        park : array of int, shape (n,)
        lon, lat : arrays, shape (n,)
            Degrees.

        Returns
        -------
        array, shape (n,)
            Positive inside; right to 0.1 m + 0.01 % under 10 km.
        """
        distance, _, _, inside = self._measured(park, lon, lat)
        return np.where(inside, distance, -distance)

    def know_side(
        self, park: Ints, lon: Floats, lat: Floats, clearance_m: Floats, within_m: ArrayLike
    ) -> Floats:
        """A place at or near each point, and whether it lies inside.

        In the plane an edge is its chord. Nearer to it than that strays (0.05 m), the point may lie on its
        other side: there the place is a metre off, where the clearance is greatest.

        Parameters
        ----------
        clearance_m : array, shape (n,)
            As `clearance` gives it.
        within_m : float or array
            How far off the place may be.

        Returns
        -------
        array, shape (n, 3)
            Metres east and north of the point, and 1 for inside, else 0: `find_sides` takes it.
        """
        known = np.stack([np.zeros(len(park)), np.zeros(len(park)), clearance_m > 0.0], axis=1)
        close = np.flatnonzero(np.abs(clearance_m) < _STRAY_M)
        if len(close):
            away = np.minimum(np.broadcast_to(within_m, len(park))[close], 1.0)
            ways = away[:, None, None] * _EIGHT_WAYS
            per = np.stack(compute_degree_lengths(lat[close]), axis=1)
            x, y = (
                (np.stack([lon[close], lat[close]], axis=1)[:, None] + ways / per[:, None]).reshape(-1, 2).T
            )
            clear = self.clearance(np.repeat(park[close], len(_EIGHT_WAYS)), x, y).reshape(len(close), -1)
            best = np.argmax(np.abs(clear), axis=1)
            rows = np.arange(len(close))
            known[close] = np.concatenate([ways[rows, best], (clear[rows, best] > 0.0)[:, None]], axis=1)
        return known

    def nearest(self, park: Ints, lon: Floats, lat: Floats) -> tuple[Floats, Floats, Floats]:
        """Distance in metres to the nearest boundary point of each park, and that point's lon, lat."""
        return self._measured(park, lon, lat)[:3]

    def _measured(self, park: Ints, lon: Floats, lat: Floats) -> tuple[Floats, Floats, Floats, Bools]:
        """Distance, nearest boundary point, and whether the point lies inside: one look at the edges."""
        lon = self.near_side(park, lon)
        pieces = self._batches(park)
        # A few batches are done before threads are under way.
        each = map_on_threads if len(pieces) > _FEW else _run_in_turn
        found = each(lambda rows: self._measured_batch(park[rows], lon[rows], lat[rows]), pieces)
        if not found:
            return np.empty(0), np.empty(0), np.empty(0), np.empty(0, dtype=bool)
        distance, at_lon, at_lat, inside = (np.concatenate(column) for column in zip(*found, strict=True))
        far = (distance > _SERIES_M) | (np.abs(lat) > _SERIES_LAT)
        if np.any(far):
            distance[far], _ = measure_geodesic(lon[far], lat[far], at_lon[far], at_lat[far])
        return distance, at_lon, at_lat, inside

    def _batches(self, park: Ints) -> list[slice]:
        """Pairs cut where their parks' runs come to as many as are looked at, or held, at once."""
        runs = self._park_first[park + 1] - self._park_first[park]
        batch = (np.cumsum(runs) - 1) // (_BATCH if self.compiled is None else _COMPILED_BATCH)
        cuts = [0, *(np.flatnonzero(np.diff(batch)) + 1).tolist(), len(park)]
        return [slice(i, j) for i, j in pairwise(cuts) if j > i]

    def edges_within(
        self, park: Ints, lon: Floats, lat: Floats, reach_m: Floats
    ) -> tuple[Ints, Floats, Floats]:
        """Edges that come within reach of each point, in metres east and north of it.

        Parameters
        ----------
        park, lon, lat, reach_m : arrays, shape (n,)
            A few hundred metres at most: the frame is flat.

        Returns
        -------
        pair : array of int, shape (m,)
            Which of the n each edge is for, in order.
        start, end : arrays, shape (m, 2)
        """
        lon = self.near_side(park, lon)
        parts = [
            (rows.start, self._edges_within(park[rows], lon[rows], lat[rows], reach_m[rows]))
            for rows in self._batches(park)
        ]
        if not parts:
            return np.empty(0, dtype=np.int64), np.empty((0, 2)), np.empty((0, 2))
        return (
            np.concatenate([first + pair for first, (pair, _, _) in parts]),
            np.concatenate([start for _, (_, start, _) in parts]),
            np.concatenate([end for _, (_, _, end) in parts]),
        )

    def _edges_within(
        self, park: Ints, lon: Floats, lat: Floats, reach_m: Floats
    ) -> tuple[Ints, Floats, Floats]:
        frame = make_polynomial_frame(lat)
        pair, run = expand_ranges(self._park_first[park], self._park_first[park + 1] - self._park_first[park])
        close = self._box_distance(pair, run, lon, lat, frame) <= reach_m[pair]
        pair, run = pair[close], run[close]
        row, first = expand_ranges(self._first[run], self._count[run])
        pair = pair[row]
        start, end = (
            np.stack(
                _project_second_order(
                    self.outlines.lon[vertex] - lon[pair], self.outlines.lat[vertex] - lat[pair], pair, frame
                ),
                axis=1,
            )
            for vertex in (first, first + 1)
        )
        step = end - start
        size = np.maximum((step * step).sum(axis=1), 1e-12)
        along = np.clip(-(start * step).sum(axis=1) / size, 0.0, 1.0)
        near = np.hypot(*(start + along[:, None] * step).T) <= reach_m[pair]
        return pair[near], start[near], end[near]

    def edges_in_box(self, park: Ints, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        """Edges whose own box meets a box in degrees for each park.

        Parameters
        ----------
        park : array of int, shape (n,)
        low, high : arrays, shape (n, 2)
            Longitude, as `near_side` gives it, and latitude.

        Returns
        -------
        pair : array of int, shape (m,)
            Which of the n each edge is for, in order.
        vertex : array of int, shape (m,)
            Where the edge starts.
        """
        pieces = self._batches(park)
        each = map_on_threads if len(pieces) > _FEW else _run_in_turn
        found = each(lambda rows: self._edges_in_box(park[rows], low[rows], high[rows]), pieces)
        if not found:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        pair = np.concatenate([rows.start + pair for rows, (pair, _) in zip(pieces, found, strict=True)])
        return pair, np.concatenate([vertex for _, vertex in found])

    def _edges_in_box(self, park: Ints, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        if self.compiled is not None:
            return self.compiled.list_in_boxes(park, low, high)
        pair, run = expand_ranges(self._park_first[park], self._park_first[park + 1] - self._park_first[park])
        west, south, east, north = (side[run] for side in self._box)
        meets = (west <= high[pair, 0]) & (east >= low[pair, 0])
        meets &= (south <= high[pair, 1]) & (north >= low[pair, 1])
        pair, run = pair[meets], run[meets]
        row, vertex = expand_ranges(self._first[run], self._count[run])
        pair = pair[row]
        meets = np.ones(len(pair), dtype=bool)
        for axis, degrees in enumerate((self.outlines.lon, self.outlines.lat)):
            a, b = degrees[vertex], degrees[vertex + 1]
            meets &= (np.minimum(a, b) <= high[pair, axis]) & (np.maximum(a, b) >= low[pair, axis])
        return pair[meets], vertex[meets]

    def _measured_batch(self, park: Ints, lon: Floats, lat: Floats) -> tuple[Floats, Floats, Floats, Bools]:
        frame = make_polynomial_frame(lat)
        if self.compiled is not None:
            vertex, along, inside = self.compiled.find_nearest(park, lon, lat, frame)
            return *self._foot(vertex, along, lon, lat, frame), inside & (np.abs(lat) < 90.0)
        pair, run, odd = self._runs_that_matter(park, lon, lat, frame)
        size = self._count[run] + 1
        row, vertex = expand_ranges(self._first[run], size)
        of = pair[row]
        dlon, dlat = self.outlines.lon[vertex] - lon[of], self.outlines.lat[vertex] - lat[of]
        x, y = _project_second_order(dlon, dlat, of, frame)
        # Vertices of a run follow each other: its edges are the steps but the one to the next run.
        x0, y0, dx, dy = x[:-1], y[:-1], np.diff(x), np.diff(y)
        along = np.clip(-(x0 * dx + y0 * dy) / np.maximum(dx * dx + dy * dy, 1e-12), 0.0, 1.0)
        squared = (x0 + along * dx) ** 2 + (y0 + along * dy) ** 2
        last = np.cumsum(size) - 1
        squared[last[:-1]] = np.inf
        heads = (last - self._count[run])[np.flatnonzero(np.diff(pair, prepend=-1))]
        sizes = np.diff(heads, append=len(squared))
        winner = np.flatnonzero(squared == np.repeat(np.minimum.reduceat(squared, heads), sizes))
        winner = winner[np.flatnonzero(np.diff(of[winner], prepend=-1))]
        odd ^= self._odd_crossings(run, pair, row, last, dlon, dlat, lon)
        foot = self._foot(vertex[winner], along[winner], lon, lat, frame)
        return *foot, odd & (np.abs(lat) < 90.0)

    def _odd_crossings(
        self, run: Ints, pair: Ints, row: Ints, last: Ints, dlon: Floats, dlat: Floats, lon: Floats
    ) -> Bools:
        """Whether a ray due east meets an odd number of edges, of the runs whose box it starts in."""
        spans = (self._box[0][run] <= lon[pair]) & (lon[pair] <= self._box[2][run])
        above = dlat > 0.0
        steps = above[:-1] != above[1:]
        steps[last[:-1]] = False
        edge = np.flatnonzero(steps)
        edge = edge[spans[row[edge]]]
        turn = dlon[edge] * dlat[edge + 1] - dlat[edge] * dlon[edge + 1]
        edge = edge[(turn > 0.0) == above[edge + 1]]
        odd: Bools = np.bincount(pair[row[edge]], minlength=len(lon)) % 2 == 1
        return odd

    def _runs_that_matter(
        self, park: Ints, lon: Floats, lat: Floats, frame: Series
    ) -> tuple[Ints, Ints, Bools]:
        """Runs that may hold the nearest edge; and whether a ray due east crosses the rest oddly."""
        pair, run = expand_ranges(self._park_first[park], self._park_first[park + 1] - self._park_first[park])
        lower = self._box_distance(pair, run, lon, lat, frame)
        first, count = self._first[run], self._count[run]
        dlat = self.outlines.lat[first] - lat[pair]
        upper = np.hypot(*_project_second_order(self.outlines.lon[first] - lon[pair], dlat, pair, frame))
        upper[count == 0] = np.inf
        heads = np.flatnonzero(np.diff(pair, prepend=-1))
        reach = np.repeat(np.minimum.reduceat(upper, heads), np.diff(heads, append=len(pair)))
        # A run wholly east of the point is crossed oddly when its ends lie on either side of the ray.
        flips = (dlat > 0.0) != (self.outlines.lat[first + count] > lat[pair])
        flips &= self._box[0][run] > lon[pair]
        odd: Bools = np.bincount(pair[flips], minlength=len(park)) % 2 == 1
        keep = (lower <= reach) & (count > 0)
        return pair[keep], run[keep], odd

    def _box_distance(self, pair: Ints, run: Ints, lon: Floats, lat: Floats, frame: Series) -> Floats:
        """Metres to the boxes of runs, never too many."""
        west, south, east, north = (side[run] for side in self._box)
        scale = np.minimum(frame.x1[pair], _SPHERE_M * self._shrink[run])
        dx = scale * np.maximum(0.0, np.maximum(west - lon[pair], lon[pair] - east))
        dy = frame.y1[pair] * np.maximum(0.0, np.maximum(south - lat[pair], lat[pair] - north))
        distance: Floats = _SLACK * np.hypot(dx, dy)
        return distance

    def _foot(
        self, start: Ints, along: Floats, lon: Floats, lat: Floats, frame: Series
    ) -> tuple[Floats, Floats, Floats]:
        """Distance, lon, lat of the nearest point of one edge per pair, by two Gauss-Newton steps."""
        lines = self.outlines
        lon0, lat0 = lines.lon[start] - lon, lines.lat[start] - lat
        dlon, dlat = lines.lon[start + 1] - lines.lon[start], lines.lat[start + 1] - lines.lat[start]
        x0, y0 = frame.forward(lon0, lat0)
        x1, y1 = frame.forward(lon0 + dlon, lat0 + dlat)
        dx, dy = x1 - x0, y1 - y0
        size = np.maximum(dx * dx + dy * dy, 1e-12)
        for _ in range(2):
            x, y = frame.forward(lon0 + along * dlon, lat0 + along * dlat)
            along = np.clip(along - (x * dx + y * dy) / size, 0.0, 1.0)
        x, y = frame.forward(lon0 + along * dlon, lat0 + along * dlat)
        return np.hypot(x, y), lon + lon0 + along * dlon, lat + lat0 + along * dlat


def find_sides(
    edges: tuple[Ints, Floats, Floats], known: Floats
) -> tuple[tuple[Ints, Floats, Floats], Bools]:
    """Whether points lie inside, told from places whose side is known.

    Points that have a place of their own go a millionth of the way there, so that they lie on no edge: the
    edges seen from there come back as well.

    Parameters
    ----------
    edges : tuple
        As `Boundaries.edges_within` gives them.
    known : array, shape (n, 3)
        As `Boundaries.know_side` gives it.
    """
    pair, nudge = edges[0], _NUDGE * known[:, :2]
    start, end = edges[1] - nudge[pair], edges[2] - nudge[pair]
    (x0, y0), (x1, y1), (x, y) = start.T, end.T, (known[:, :2] - nudge)[pair].T
    ax, ay, bx, by = x0 - x, y0 - y, x1 - x, y1 - y
    apart = (x * ay - y * ax > 0.0) != (x * by - y * bx > 0.0)
    met = pair[apart & ((ax * by - ay * bx > 0.0) != (x0 * y1 - y0 * x1 > 0.0))]
    inside: Bools = (known[:, 2] > 0.0) ^ (np.bincount(met, minlength=len(known)) % 2 == 1)
    return (pair, start, end), inside


def _run_in_turn(work: Callable[[slice], Any], pieces: list[slice]) -> list[Any]:
    return [work(piece) for piece in pieces]


def _project_second_order(dlon: Floats, dlat: Floats, pair: Ints, frame: Series) -> tuple[Floats, Floats]:
    """Metres east and north for differences in degrees: 0.1 m at 10 km, enough to pick an edge."""
    x = dlon * (frame.x1[pair] + frame.x2[pair] * dlat)
    y = dlat * frame.y1[pair] + frame.y4[pair] * (dlon * dlon)
    return x, y
