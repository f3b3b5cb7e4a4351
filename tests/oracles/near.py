"""Near misses by brute force: corners just outside every park, and lines just outside one park's bounds.

Places where a centimetre would decide are marked as open: either answer will do there.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from oracles import arrangement, exact, metric
from oracles.arrangement import Node, across, numbers, upward

SIDES = ("west", "east", "south", "north")


def slack(distance_m: float) -> float:
    """How far a distance may be off by what is promised."""
    return 0.1 + 1e-4 * distance_m


@dataclass(frozen=True)
class NearCorner:
    """A corner outside every park, how far the nearest park is, and whether it must be reported."""

    node: Node
    distance_m: float
    parks: frozenset[int]  # those at that distance, give or take the slack
    certain: bool


def corners(parks: list[shapely.Geometry], level: int, near_m: float) -> dict[Node, NearCorner]:
    """Every corner strictly inside no park and within near_m of one."""
    found = {}
    for i, j in sorted(_around(parks, level, near_m)):
        lon, lat = exact.edge_lon(i, level), exact.edge_lat(j, level)
        rough = np.array([metric.rough_distance_m(park, lon, lat) for park in parks])
        if rough.min() > 1.1 * near_m + 1:
            continue
        held, open_ = arrangement.holding((i, j), parks, level)
        if held:
            continue
        close = np.flatnonzero(rough <= 1.1 * rough.min() + 1)
        away = {int(n): metric.nearest(parks[n], lon, lat)[0] for n in close}
        least = min(away.values())
        if least <= near_m + slack(near_m):
            tied = frozenset(n for n, metres in away.items() if metres <= least + 2 * slack(least))
            certain = least < near_m - slack(near_m) and not open_
            found[(i, j)] = NearCorner((i, j), least, tied, certain)
    return found


def _around(parks: list[shapely.Geometry], level: int, near_m: float) -> set[Node]:
    """Corners in the bounds of any park widened by a little more than near_m."""
    found = set()
    for park in parks:
        west, south, east, north = park.bounds
        _, per_lat = metric.degree_lengths(0.0)
        up = 1.1 * near_m / per_lat
        per_lon, _ = metric.degree_lengths(min(max(abs(south), abs(north)) + up, 89.99))
        wide = shapely.box(
            west - 1.1 * near_m / per_lon, south - up, east + 1.1 * near_m / per_lon, north + up
        )
        found |= {(i % exact.columns(level), j) for i in across(wide, level) for j in upward(wide, level)}
    return found


@dataclass(frozen=True)
class NearLine:
    """The next line beyond one side of one park, and how near it comes."""

    park: int
    side: str
    meridian: bool
    line: int
    distance_m: float
    certain: bool  # it must be reported
    possible: bool  # it may be reported


def lines(parks: list[shapely.Geometry], level: int, near_m: float) -> list[NearLine]:
    """For each park and side, the line next to its bounds, where it is within near_m."""
    found = []
    for number, park in enumerate(parks):
        for side in SIDES:
            line = _beyond(park, side, level)
            if line is not None:
                found.extend(_near_line(parks, number, side, line, level, near_m))
    return found


def _beyond(park: shapely.Geometry, side: str, level: int) -> int | None:
    """Number of the first line that the bounds neither reach nor touch; a pole is no line."""
    at = dict(zip(("west", "south", "east", "north"), park.bounds, strict=True))[side]
    if side in ("west", "east"):
        edge, step, origin = exact.edge_lon, exact.width(level), 180
    else:
        edge, step, origin = exact.edge_lat, exact.height(level), 90
    around = numbers(at, at, step, origin)
    if side in ("west", "south"):
        line = max(k for k in around if edge(k, level) < at)
    else:
        line = min(k for k in around if edge(k, level) > at)
    if side in ("south", "north") and not 0 < line < exact.rows(level):
        return None
    return line


def _near_line(
    parks: list[shapely.Geometry], number: int, side: str, line: int, level: int, near_m: float
) -> list[NearLine]:
    meridian = side in ("west", "east")
    value = exact.edge_lon(line, level) if meridian else exact.edge_lat(line, level)
    tried = _feet(parks[number], meridian, value, near_m)
    least = min((distance for distance, _, _ in tried), default=np.inf)
    if least > near_m + slack(near_m):
        return []
    tied = [(lon, lat) for distance, lon, lat in tried if distance <= least + slack(least)]
    clear = [_outside_all(parks, lon, lat) for lon, lat in tied]
    certain = all(c == "outside" for c in clear) and least < near_m - slack(near_m)
    possible = any(c != "inside" for c in clear)
    return [NearLine(number, side, meridian, line, least, certain, possible)]


def _feet(
    park: shapely.Geometry, meridian: bool, value: float, near_m: float
) -> list[tuple[float, float, float]]:
    """Distance to the line and the point of the line, from points all along the near part of the boundary."""
    poleward = max(abs(park.bounds[1]), abs(park.bounds[3]))
    east, north = metric.degree_lengths(min(poleward, 89.0))
    reach = 1.5 * near_m / (east if meridian else north) + 1e-6
    part = (
        shapely.box(value - reach, -90, value + reach, 90)
        if meridian
        else shapely.box(park.bounds[0] - 1, value - reach, park.bounds[2] + 1, value + reach)
    )
    close = shapely.intersection(park.boundary, part)
    found = []
    for line in shapely.get_parts(close):
        coords = shapely.get_coordinates(line)
        for (x1, y1), (x2, y2) in pairwise(coords):
            for share in np.linspace(0, 1, 41):
                lon, lat = x1 + share * (x2 - x1), y1 + share * (y2 - y1)
                found.append(_foot(lon, lat, meridian, value))
    return found


def _foot(lon: float, lat: float, meridian: bool, value: float) -> tuple[float, float, float]:
    """Nearest point of a meridian or parallel to a point close by.

    On a parallel it is the point due north or south; on a meridian it lies poleward of due east or west by
    d^2 tan(lat) / 2R, as a great circle does.
    """
    if not meridian:
        return metric.distance_m(lon, lat, lon, value), lon, value
    away, north = metric.degree_lengths(lat)[0] * abs(value - lon), metric.degree_lengths(lat)[1]
    foot = lat + away**2 * np.tan(np.radians(lat)) / (2 * metric.A_M) / north
    return metric.distance_m(lon, lat, value, foot), value, float(foot)


def _outside_all(parks: list[shapely.Geometry], lon: float, lat: float) -> str:
    """Whether a point is outside every park, inside one, or too close to a boundary to say."""
    clear = []
    for park in parks:
        distance = metric.rough_distance_m(park, lon, lat)
        held = shapely.contains_xy(park, metric.turned(park, lon), lat)
        clear.append(distance if held else -distance)
    best = max(clear)
    return "outside" if best < -1 else "inside" if best > 1 else "open"


def folded(line: NearLine, level: int) -> int:
    """Line number round the globe."""
    return line.line % exact.columns(level) if line.meridian else line.line


def line_numbers(lon: float, lat: float, level: int) -> tuple[float, float]:
    """A point in cells from 180 W and 90 S: whole where it lies on a line."""
    return (lon + 180) / float(exact.width(level)), (lat + 90) / float(exact.height(level))


def is_on(line: NearLine, lon: float, lat: float, level: int) -> bool:
    """Whether a point lies on that line."""
    column, row = line_numbers(lon, lat, level)
    value = column if line.meridian else row
    near = round(value) % exact.columns(level) if line.meridian else round(value)
    return near == folded(line, level) and abs(value - round(value)) * float(exact.height(level)) < 1e-8
