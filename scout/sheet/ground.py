"""What lies round a place, in metres east and north of it: lattice lines, cells, park boundaries."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely

from scout.clearance import Boundaries
from scout.geodesy import LocalFrame, degree_lengths
from scout.lattice import meridians, parallels
from scout.locator import columns, edge_lat, edge_lon, index, locator
from scout.model import PARK_ID, ParkAt, Parks
from scout.outlines import Floats

__all__ = ["CellAt", "Ground", "LatticeLine", "ParkGround"]

_MOST_LINES = 12  # of one direction; more would be a hatching
_SAMPLES = np.linspace(-1.0, 1.0, 33)  # a parallel bends, near a pole visibly


class LatticeLine(NamedTuple):
    """A lattice line in the view."""

    name: str  # such as 112° W
    upright: bool  # a meridian
    at_m: float  # east or north of the place
    points: Floats  # shape (n, 2)


class CellAt(NamedTuple):
    """A cell in the view and the part of the view it takes up, metres."""

    locator: str
    west: float
    south: float
    east: float
    north: float


class ParkGround(NamedTuple):
    """One park in the view."""

    park: str
    name: str
    chains: tuple[Floats, ...]  # boundary edges, end to end where they join; each of shape (n, 2)
    rings: tuple[Floats, ...]  # of its area in the view; inside is where an odd number of them is around
    covers: bool  # the view lies wholly inside


class Ground:
    """The surroundings of one place."""

    def __init__(self, lon: float, lat: float, level: int, near: Sequence[ParkAt], parks: Parks) -> None:
        self._lon, self._lat, self._level = lon, lat, level
        self._frame = LocalFrame(lon, lat)
        per_lon, per_lat = degree_lengths(lat)
        self._per_lon, self._per_lat = float(per_lon), float(per_lat)
        self._near = tuple(near)
        row = {name: k for k, name in enumerate(parks.frame[PARK_ID])}
        shapes = parks.frame.geometry.to_numpy()[[row[park.park] for park in near]]
        self._boundaries = Boundaries(shapes)
        numbers = np.arange(len(shapes))
        lons = self._boundaries.near_side(numbers, np.full(len(shapes), lon))
        self._shapes, self._lons = shapes, lons

    def _bounds(self, half_m: float) -> tuple[float, float, float, float]:
        """Degrees that hold a square of this half side, with room to spare."""
        wide = min(1.5 * half_m / max(self._per_lon, 1e-6), 180.0)
        high = 1.5 * half_m / self._per_lat
        return (
            self._lon - wide,
            max(self._lat - high, -90.0),
            self._lon + wide,
            min(self._lat + high, 90.0),
        )

    def lines(self, half_m: float) -> list[LatticeLine] | None:
        """Lattice lines that cross a square of this half side; None where they would be a hatching."""
        west, south, east, north = self._bounds(half_m)
        upright, level = meridians(west, east, self._level), parallels(south, north, self._level)
        if max(len(upright), len(level)) > _MOST_LINES:
            return None
        n, found = columns(self._level), []
        lats = np.clip(self._lat + 1.5 * half_m / self._per_lat * _SAMPLES, -90.0, 90.0)
        for i in upright.tolist():
            lon = float(edge_lon(i, self._level))
            (at, _), *points = self._metres(np.full(len(lats) + 1, lon), np.append(self._lat, lats))
            name = _angle(i % n * 360 / n - 180, "EW")
            found.append(LatticeLine(name, True, float(at), np.array(points)))
        lons = self._lon + (east - west) / 2 * _SAMPLES
        for j in level.tolist():
            lat = float(edge_lat(j, self._level))
            (_, at), *points = self._metres(np.append(self._lon, lons), np.full(len(lons) + 1, lat))
            found.append(LatticeLine(_angle(lat, "NS"), False, float(at), np.array(points)))
        return [line for line in found if abs(line.at_m) < half_m]

    def cells(self, half_m: float) -> list[CellAt]:
        """Cells in a square of this half side, lines taken as straight; none where `lines` gives none."""
        lines = self.lines(half_m)
        if lines is None:
            return []
        xs = [-half_m, *sorted(line.at_m for line in lines if line.upright), half_m]
        ys = [-half_m, *sorted(line.at_m for line in lines if not line.upright), half_m]
        found = []
        for west, east in pairwise(xs):
            for south, north in pairwise(ys):
                lon, lat = self._frame.inverse((west + east) / 2, (south + north) / 2)
                name = locator(*index(float(lon), float(lat), self._level), self._level)
                found.append(CellAt(name, west, south, east, north))
        return found

    def parks(self, half_m: float) -> list[ParkGround]:
        """Parks that reach into a square of this half side."""
        number = np.arange(len(self._shapes))
        lon, lat, reach = (np.full(len(number), v) for v in (self._lon, self._lat, 1.5 * half_m))
        pair, start, end = self._boundaries.edges_within(number, lon, lat, reach)
        west, south, east, north = self._bounds(half_m)
        found = []
        for k, park in enumerate(self._near):
            turn = float(self._lons[k]) - self._lon
            shape = shapely.clip_by_rect(self._shapes[k], west + turn, south, east + turn, north)
            mine = pair == k
            chains = _chains(start[mine], end[mine])
            if not chains and shape.is_empty:
                continue
            rings = tuple(self._metres(xy[:, 0] - turn, xy[:, 1]) for xy in _rings(shape))
            covers = not chains and park.clearance_m > 0
            found.append(ParkGround(park.park, park.park_name, chains, rings, covers))
        return found

    def _metres(self, lon: Floats, lat: Floats) -> Floats:
        return np.column_stack(self._frame.forward(lon, lat))


def _chains(start: Floats, end: Floats) -> tuple[Floats, ...]:
    """Edges that follow each other joined to lines."""
    if len(start) == 0:
        return ()
    breaks = np.flatnonzero(np.abs(start[1:] - end[:-1]).max(axis=1) > 1e-6) + 1
    cuts = [0, *breaks.tolist(), len(start)]
    return tuple(np.vstack([start[a:b], end[b - 1 : b]]) for a, b in pairwise(cuts))


def _rings(shape: Any) -> list[Floats]:
    polygons = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return [shapely.get_coordinates(ring) for ring in shapely.get_rings(polygons)]


def _angle(degrees: float, letters: str) -> str:
    """A lattice coordinate in full: degrees, and minutes and seconds where it has them.

    Examples
    --------
    >>> print(_angle(-112.0, "EW"), _angle(-40.958333333333336, "NS"), _angle(0.010416666666666666, "NS"))
    112° W 40° 57' 30" S 0° 0' 37.5" N
    """
    thousandths = round(abs(degrees) * 3_600_000)
    whole, rest = divmod(thousandths, 3_600_000)
    minute, second = divmod(rest, 60_000)
    text = f"{whole}°"
    if rest:
        text += f" {minute}'"
    if second:
        text += f' {second / 1000:g}"'
    return f"{text} {letters[degrees < 0]}" if thousandths else text
