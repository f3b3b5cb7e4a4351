"""The drawing board of the island, and the seeded strokes it is drawn with.

Everything is drawn in metres east and north of one real lattice corner, on a board on which meridians and
parallels are straight: x is longitude times the length of a degree at the corner's latitude, y likewise. So
the square-level lines are x = 0 and y = 0. Over the island the board stretches distances by less than 0.3 %,
which does not matter for drawing; what the story promises is measured on the ellipsoid by the tests.
"""

import math
import random
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from shapely import get_coordinates, transform
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

CORNER_LON, CORNER_LAT = -112.0, -41.0  # open water, more than 1,000 km from any land
DECIMALS = 7  # of a degree: 11 mm

# WGS 84 lengths of a degree at the corner, from a = 6378137 m, 1/f = 298.257223563.
_E2 = (2 - 1 / 298.257223563) / 298.257223563
_W2 = 1 - _E2 * math.sin(math.radians(CORNER_LAT)) ** 2
M_PER_DEG_LON = math.radians(6378137 / math.sqrt(_W2) * math.cos(math.radians(CORNER_LAT)))
M_PER_DEG_LAT = math.radians(6378137 * (1 - _E2) / _W2**1.5)

# Subsquare lines are this far apart on the board: 5' of longitude, 2.5' of latitude.
SUBSQUARE_X, SUBSQUARE_Y = M_PER_DEG_LON / 12, M_PER_DEG_LAT / 24

XY = tuple[float, float]  # metres east and north of the corner


@dataclass(frozen=True)
class Record:
    """One record of a layer: a shape on the board and its attributes."""

    shape: BaseGeometry
    tags: dict[str, str]


def to_degrees(shape: BaseGeometry) -> BaseGeometry:
    """Longitude and latitude of a shape on the board, to ``DECIMALS`` places."""
    scale, corner = np.array([M_PER_DEG_LON, M_PER_DEG_LAT]), np.array([CORNER_LON, CORNER_LAT])
    return transform(shape, lambda xy: np.round(xy / scale + corner, DECIMALS))


def km(*pairs: XY) -> list[XY]:
    """Points given in kilometres from the corner, in metres."""
    return [(x * 1000, y * 1000) for x, y in pairs]


def wander(points: list[XY], seed: str, roughness: float = 0.2, least: float = 140) -> list[XY]:
    """A line grown rough: every piece longer than ``least`` metres is halved and its middle pushed sideways.

    ``roughness`` is the largest push as a share of the piece's length. The same seed draws the same line.
    """
    rng = random.Random(seed)
    while any(math.dist(a, b) > least for a, b in pairwise(points)):
        grown = points[:1]
        for (ax, ay), (bx, by) in pairwise(points):
            if math.hypot(bx - ax, by - ay) > least:
                push = roughness * rng.uniform(-1, 1)
                grown.append(((ax + bx) / 2 - push * (by - ay), (ay + by) / 2 + push * (bx - ax)))
            grown.append((bx, by))
        points = grown
    return points


def rounded(points: list[XY], times: int = 3) -> list[XY]:
    """The same line with its corners cut ``times`` times; its ends stay, and a ring stays a ring."""
    ring = points[0] == points[-1]
    for _ in range(times):
        cut = [
            (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
            for a, b in pairwise(points)
            for t in (0.25, 0.75)
        ]
        points = [*cut, cut[0]] if ring else [points[0], *cut[1:-1], points[-1]]
    return points


def natural(points: list[XY], seed: str, roughness: float = 0.2, least: float = 140) -> Polygon:
    """A polygon with a rough edge through an open list of points."""
    return Polygon(wander([*points, points[0]], seed, roughness, least))


def road(points: list[XY], seed: str) -> LineString:
    """A line with gentle bends that sways a little."""
    return LineString(wander(rounded(points, 1), seed, 0.1, 170))


def footpath(points: list[XY], seed: str) -> LineString:
    """A line with gentle bends that winds more than a road."""
    return LineString(wander(rounded(points, 1), seed, 0.15, 90))


def ribbon(line: LineString, half_width: float) -> Polygon:
    """A strip of even width along a line, with square ends."""
    xy = get_coordinates(line)
    along = np.gradient(xy, axis=0)
    side = half_width * np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
    return Polygon(np.vstack([xy + side, (xy - side)[::-1]]))


def clipped(shape: Polygon, land: BaseGeometry) -> Polygon | MultiPolygon:
    """The part of a shape on land, its vertices in one order whatever the library that cut it."""
    return shape.intersection(land).normalize()
