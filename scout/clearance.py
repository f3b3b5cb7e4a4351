"""Signed distance from points to park boundaries, exact on the ellipsoid, for many pairs at once.

Boxes of segment runs first, vertices of the runs that can matter second, the exact foot of the
perpendicular on the nearest edge last. Under 10 km the Cassini series of `geodesy` is good to 1e-7;
beyond, and near the poles, the distance to that foot is a geodesic.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cores import on_cores
from scout.geodesy import Series, inverse, polynomial_frame
from scout.outlines import Floats, Ints, Outlines, ragged

__all__ = ["Boundaries"]

_BATCH = 100_000  # rows held at once
_SERIES_M = 10_000.0  # beyond this, and beyond _SERIES_LAT, a geodesic gives the distance
_SERIES_LAT = 80.0
_SLACK = 0.97  # boxes are measured on a sphere: none is dropped that could hold the nearest edge
_SPHERE_M = 111_000.0  # metres per degree of longitude at the equator, at the least


class Boundaries:
    """Boundaries of an array of (multi)polygons in degrees; a park may run past longitude 180.

    Edges along a pole (latitude 90) are no boundary: all meridians meet there.
    """

    def __init__(self, geometries: NDArray[Any]) -> None:
        self._geometries = np.asarray(geometries, dtype=object)
        shapely.prepare(self._geometries)
        self.outlines = Outlines(self._geometries).with_short_edges()
        self._first, self._count, run_park = self.outlines.runs
        self._box = self.outlines.boxes
        south, north = self._box[1], self._box[3]
        self._shrink = np.cos(np.radians(np.minimum(np.maximum(np.abs(south), np.abs(north)), 90.0)))
        at_pole = (np.abs(south) >= 90.0) & (south == north)
        self._count = np.where(at_pole, 0, self._count)
        self._park_first = np.searchsorted(run_park, np.arange(self.outlines.parks + 1))
        bounds = shapely.bounds(self._geometries).reshape(-1, 4)
        self._middle = (bounds[:, 0] + bounds[:, 2]) / 2

    def near_side(self, park: Ints, lon: Floats) -> Floats:
        """Longitudes shifted by whole turns to the side of the globe where the park's numbers are."""
        shifted: Floats = lon + 360.0 * np.rint((self._middle[park] - lon) / 360.0)
        return shifted

    def contains(self, park: Ints, lon: Floats, lat: Floats) -> NDArray[np.bool_]:
        """Whether each point lies strictly inside its park."""
        inside: NDArray[np.bool_] = shapely.contains_xy(
            self._geometries[park], self.near_side(park, lon), lat
        )
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
        distance, _, _ = self.nearest(park, lon, lat)
        return np.where(self.contains(park, lon, lat), distance, -distance)

    def nearest(self, park: Ints, lon: Floats, lat: Floats) -> tuple[Floats, Floats, Floats]:
        """Distance in metres to the nearest boundary point of each park, and that point's lon, lat."""
        lon = self.near_side(park, lon)
        runs = self._park_first[park + 1] - self._park_first[park]
        batch = (np.cumsum(runs) - 1) // _BATCH
        cuts = [0, *(np.flatnonzero(np.diff(batch)) + 1).tolist(), len(park)]
        pieces = [slice(i, j) for i, j in pairwise(cuts) if j > i]
        found = on_cores(lambda rows: self._nearest_batch(park[rows], lon[rows], lat[rows]), pieces)
        distance, at_lon, at_lat = (
            np.concatenate([f[k] for f in found]) if found else np.empty(0) for k in range(3)
        )
        far = (distance > _SERIES_M) | (np.abs(lat) > _SERIES_LAT)
        if np.any(far):
            distance[far], _ = inverse(lon[far], lat[far], at_lon[far], at_lat[far])
        return distance, at_lon, at_lat

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
        frame = polynomial_frame(lat)
        pair, run = ragged(self._park_first[park], self._park_first[park + 1] - self._park_first[park])
        close = self._box_distance(pair, run, lon, lat, frame) <= reach_m[pair]
        pair, run = pair[close], run[close]
        row, first = ragged(self._first[run], self._count[run])
        pair = pair[row]
        start = np.stack(self._offsets(first, pair, lon, lat, frame), axis=1)
        end = np.stack(self._offsets(first + 1, pair, lon, lat, frame), axis=1)
        step = end - start
        size = np.maximum((step * step).sum(axis=1), 1e-12)
        along = np.clip(-(start * step).sum(axis=1) / size, 0.0, 1.0)
        near = np.hypot(*(start + along[:, None] * step).T) <= reach_m[pair]
        return pair[near], start[near], end[near]

    def _nearest_batch(self, park: Ints, lon: Floats, lat: Floats) -> tuple[Floats, Floats, Floats]:
        frame = polynomial_frame(lat)
        pair, run = self._runs_that_matter(park, lon, lat, frame)
        row, start = ragged(self._first[run], self._count[run])
        pair = pair[row]
        x0, y0 = self._offsets(start, pair, lon, lat, frame)
        x1, y1 = self._offsets(start + 1, pair, lon, lat, frame)
        dx, dy = x1 - x0, y1 - y0
        along = np.clip(-(x0 * dx + y0 * dy) / np.maximum(dx * dx + dy * dy, 1e-12), 0.0, 1.0)
        squared = (x0 + along * dx) ** 2 + (y0 + along * dy) ** 2
        heads = np.flatnonzero(np.diff(pair, prepend=-1))
        least = np.repeat(np.minimum.reduceat(squared, heads), np.diff(heads, append=len(pair)))
        winner = np.flatnonzero(squared == least)
        winner = winner[np.flatnonzero(np.diff(pair[winner], prepend=-1))]
        return self._foot(start[winner], along[winner], lon, lat, frame)

    def _runs_that_matter(self, park: Ints, lon: Floats, lat: Floats, frame: Series) -> tuple[Ints, Ints]:
        pair, run = ragged(self._park_first[park], self._park_first[park + 1] - self._park_first[park])
        lower = self._box_distance(pair, run, lon, lat, frame)
        x, y = self._offsets(self._first[run], pair, lon, lat, frame)
        upper = np.where(self._count[run] > 0, np.hypot(x, y), np.inf)
        heads = np.flatnonzero(np.diff(pair, prepend=-1))
        reach = np.repeat(np.minimum.reduceat(upper, heads), np.diff(heads, append=len(pair)))
        keep = (lower <= reach) & (self._count[run] > 0)
        return pair[keep], run[keep]

    def _box_distance(self, pair: Ints, run: Ints, lon: Floats, lat: Floats, frame: Series) -> Floats:
        """Metres to the boxes of runs, never too many."""
        west, south, east, north = (side[run] for side in self._box)
        scale = np.minimum(frame.x1[pair], _SPHERE_M * self._shrink[run])
        dx = scale * np.maximum(0.0, np.maximum(west - lon[pair], lon[pair] - east))
        dy = frame.y1[pair] * np.maximum(0.0, np.maximum(south - lat[pair], lat[pair] - north))
        distance: Floats = _SLACK * np.hypot(dx, dy)
        return distance

    def _offsets(
        self, vertex: Ints, pair: Ints, lon: Floats, lat: Floats, frame: Series
    ) -> tuple[Floats, Floats]:
        """Metres east and north of vertices to second order: 0.1 m at 10 km, enough to pick an edge."""
        dlon, dlat = self.outlines.lon[vertex] - lon[pair], self.outlines.lat[vertex] - lat[pair]
        x = dlon * (frame.x1[pair] + frame.x2[pair] * dlat)
        y = dlat * frame.y1[pair] + frame.y4[pair] * (dlon * dlon)
        return x, y

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
