"""Brute force over a park set: which corners, stretches and overlap regions there are.

Parks are polygons in degrees with straight edges, longitudes continuous (past 180 where a park crosses it).
Each park is looked at in its own longitudes, edge by edge; only cell numbers are folded round the globe, so
nothing is rounded by a shift. Sides of an edge are decided in floats where the sign is certain, else in
exact fractions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from itertools import pairwise
from math import ceil, floor

import numpy as np
import shapely

from oracles import exact

HAIR_DEG = 2e-9  # twice the snap: a boundary that near a corner may be taken either way
SHORTEST_DEG = 1e-9  # intervals and faces thinner than this do not count


def segments(geometry: shapely.Geometry) -> np.ndarray:
    """All boundary edges, shape (n, 4): lon, lat of one end and of the other."""
    rings = [
        np.asarray(ring.coords)[:, :2]
        for part in shapely.get_parts(geometry)
        for ring in (part.exterior, *part.interiors)
    ]
    return np.concatenate([np.hstack([r[:-1], r[1:]]) for r in rings])


def is_inside(edges: np.ndarray, lon: float, lat: float) -> bool:
    """Strictly inside by the even-odd rule, decided exactly; a point on an edge is not inside."""
    x1, y1, x2, y2 = edges.T
    a, b = (x2 - x1) * (lat - y1), (lon - x1) * (y2 - y1)
    side = np.sign(a - b)
    for k in np.flatnonzero(np.abs(a - b) <= 1e-15 * (np.abs(a) + np.abs(b))):
        fx1, fy1, fx2, fy2 = (Fraction(float(v)) for v in edges[k])
        det = (fx2 - fx1) * (Fraction(lat) - fy1) - (Fraction(lon) - fx1) * (fy2 - fy1)
        side[k] = (det > 0) - (det < 0)
    in_box = (np.minimum(x1, x2) <= lon) & (lon <= np.maximum(x1, x2))
    in_box &= (np.minimum(y1, y2) <= lat) & (lat <= np.maximum(y1, y2))
    if np.any(in_box & (side == 0)):
        return False
    upward, downward = (y1 <= lat) & (lat < y2), (y2 <= lat) & (lat < y1)
    crossings = np.count_nonzero(upward & (side < 0)) + np.count_nonzero(downward & (side > 0))
    return crossings % 2 == 1


def numbers(low: float, high: float, step: Fraction, origin: int) -> range:
    """Every line number that could lie in [low, high], one to spare at each end."""
    return range(floor((Fraction(low) + origin) / step) - 1, ceil((Fraction(high) + origin) / step) + 2)


def across(geometry: shapely.Geometry, level: int) -> range:
    """Meridian numbers round a park, one to spare."""
    west, _, east, _ = geometry.bounds
    return numbers(west, east, exact.width(level), 180)


def upward(geometry: shapely.Geometry, level: int) -> range:
    """Parallel numbers round a park, one to spare, without the poles: no line, no corner."""
    _, south, _, north = geometry.bounds
    found = numbers(south, north, exact.height(level), 90)
    return range(max(found.start, 1), min(found.stop, exact.rows(level)))


Node = tuple[int, int]


def corners(parks: list[shapely.Geometry], level: int) -> dict[Node, frozenset[int]]:
    """Every lattice corner strictly inside a park, with the parks that hold it."""
    found: dict[Node, set[int]] = {}
    for number, park in enumerate(parks):
        edges = segments(park)
        for i in across(park, level):
            for j in upward(park, level):
                if is_inside(edges, exact.edge_lon(i, level), exact.edge_lat(j, level)):
                    found.setdefault((i % exact.columns(level), j), set()).add(number)
    return {node: frozenset(held) for node, held in found.items()}


def holding(node: Node, parks: list[shapely.Geometry], level: int) -> tuple[frozenset[int], frozenset[int]]:
    """Parks that hold a corner for sure, and parks whose boundary runs a hair beside it, inside or out.

    A boundary through the very corner leaves it outside for sure.
    """
    lon, lat = exact.edge_lon(node[0], level), exact.edge_lat(node[1], level)
    held, hair = set(), set()
    for number, park in enumerate(parks):
        west, _, east, _ = park.bounds
        at = lon + 360.0 * round(((west + east) / 2 - lon) / 360)
        if 0 < park.boundary.distance(shapely.Point(at, lat)) < HAIR_DEG:
            hair.add(number)
        elif is_inside(segments(park), at, lat):
            held.add(number)
    return frozenset(held), frozenset(hair)


@dataclass(frozen=True)
class Interval:
    """Part of one cell edge. ``line`` numbers the meridian or parallel, ``cell`` the cell edge along it."""

    meridian: bool
    line: int
    cell: int
    start_deg: float
    end_deg: float
    parks: frozenset[int]


def crossings(edges: np.ndarray, value: float, along: int) -> list[float]:
    """Where a meridian (along=1) or a parallel (along=0) of the given value meets the edges."""
    across_axis = 1 - along
    a1, a2 = edges[:, across_axis], edges[:, across_axis + 2]
    b1, b2 = edges[:, along], edges[:, along + 2]
    on_line = (a1 == value) & (a2 == value)
    cut = (np.minimum(a1, a2) <= value) & (value <= np.maximum(a1, a2)) & ~on_line
    share = (value - a1[cut]) / (a2[cut] - a1[cut])
    return [*(b1[cut] + share * (b2[cut] - b1[cut])), *b1[on_line], *b2[on_line]]


def pieces(park: shapely.Geometry, meridian: bool, k: int, level: int) -> list[tuple[float, float]]:
    """Strictly inside parts of one whole line in one park, between its crossings with the boundary."""
    value = exact.edge_lon(k, level) if meridian else exact.edge_lat(k, level)
    edges = segments(park)
    cuts = sorted(crossings(edges, value, along=1 if meridian else 0))
    found = []
    for start, end in pairwise(cuts):
        if end - start > SHORTEST_DEG:
            middle = (start + end) / 2
            if is_inside(edges, *((value, middle) if meridian else (middle, value))):
                found.append((float(start), float(end)))
    return found


def folded(park: shapely.Geometry, meridian: bool, k: int, level: int) -> list[tuple[int, float, float]]:
    """Pieces cut at the corners of the line: (cell edge number round the globe, start, end)."""
    step, origin = (exact.height(level), 90) if meridian else (exact.width(level), 180)
    edge = exact.edge_lat if meridian else exact.edge_lon
    found = []
    for start, end in pieces(park, meridian, k, level):
        for n in numbers(start, end, step, origin):
            low, high = max(start, edge(n, level)), min(end, edge(n + 1, level))
            if high - low > SHORTEST_DEG:
                turns = 0 if meridian else n // exact.columns(level)
                cell = n if meridian else n % exact.columns(level)
                found.append((cell, low - 360.0 * turns, high - 360.0 * turns))
    return found


def sweep(marked: list[tuple[int, float, float]]) -> list[tuple[float, float, frozenset[int]]]:
    """Elementary parts of one cell edge from (park, start, end).

    Where a park's boundary only touches the line, the point itself is not inside: a stretch ends there and
    the next begins.
    """
    cuts = sorted({value for _, start, end in marked for value in (start, end)})
    found = []
    for start, end in pairwise(cuts):
        middle = (start + end) / 2
        held = frozenset(park for park, low, high in marked if low < middle < high)
        if end - start > SHORTEST_DEG and held:
            found.append((start, end, held))
    return found


def intervals(parks: list[shapely.Geometry], level: int) -> list[Interval]:
    """Every part of every cell edge along which one set of parks holds, longest possible each."""
    marked: dict[tuple[bool, int, int], list[tuple[int, float, float]]] = {}
    for number, park in enumerate(parks):
        for meridian, lines in ((True, across(park, level)), (False, upward(park, level))):
            for k in lines:
                line = k % exact.columns(level) if meridian else k
                for cell, start, end in folded(park, meridian, k, level):
                    marked.setdefault((meridian, line, cell), []).append((number, start, end))
    return [
        Interval(*key, start, end, held)
        for key, parts in sorted(marked.items())
        for start, end, held in sweep(parts)
    ]


def runs(parts: list[Interval], like: Interval) -> list[Interval]:
    """On the edge of the cell of one interval, the longest along which its parks hold, whatever others do."""
    mine = sorted(
        (part.start_deg, part.end_deg)
        for part in parts
        if (part.meridian, part.line, part.cell) == (like.meridian, like.line, like.cell)
        and part.parks >= like.parks
    )
    found: list[tuple[float, float]] = []
    for start, end in mine:
        if found and start - found[-1][1] < HAIR_DEG:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return [replace(like, start_deg=start, end_deg=end) for start, end in found]


def brought_together(parks: list[shapely.Geometry]) -> list[shapely.Geometry]:
    """The same parks with longitudes turned by 360 where that brings them nearest to the first."""
    here = parks[0].bounds[0]
    turns = [round((here - park.bounds[0]) / 360) for park in parks]
    return [
        shapely.transform(park, lambda xy, t=turn: xy + np.array([360.0 * t, 0.0])) if turn else park
        for park, turn in zip(parks, turns, strict=True)
    ]


@dataclass(frozen=True)
class Face:
    """A connected region inside all of its parks and outside all others, and its rough half width."""

    polygon: shapely.Polygon
    parks: frozenset[int]

    @property
    def thin(self) -> bool:
        """Too thin to count."""
        return bool(self.polygon.area / self.polygon.length < SHORTEST_DEG)


def faces(parks: list[shapely.Geometry]) -> list[Face]:
    """Every face of the arrangement of all boundaries that lies inside two parks or more."""
    parks = brought_together(parks)
    edges = [segments(park) for park in parks]
    net = shapely.union_all([park.boundary for park in parks])
    found = []
    for polygon in shapely.get_parts(shapely.polygonize(shapely.get_parts(net))):
        # the middle of the largest circle: a point "on the surface" may fall into a sliver of rounding
        x, y = shapely.maximum_inscribed_circle(polygon).coords[0]
        held = frozenset(n for n, e in enumerate(edges) if is_inside(e, x, y))
        if len(held) > 1:
            found.append(Face(polygon, held))
    return found


def shared(parks: list[shapely.Geometry], held: frozenset[int]) -> list[shapely.Polygon]:
    """The connected pieces of what some parks share, whatever others do there."""
    together = brought_together(parks)
    ground = reduce(shapely.intersection, [together[n] for n in sorted(held)])
    return [part for part in shapely.get_parts(ground).tolist() if part.area > 0]
