"""The ground: coast, lake, river and heights. Everything else lies on it."""

import math
import random
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from .frame import SUBSQUARE_Y, km, natural, rounded, wander

Metres = NDArray[np.float64]

LAKE_HEIGHT = 205.0
SHELF_HEIGHT, FOOT_HEIGHT = 402.0, 96.0  # above and below the scarp south of the corner
VALLEY = 900.0  # metres from a stream to where its valley ends
SHORE = 150.0
NO_DATA = -9999.0

COAST = km(
    (16.2, 1.0), (15.2, 3.4), (13.0, 4.9), (12.9, 7.0), (10.6, 7.7), (8.7, 10.1), (5.8, 10.7), (3.7, 9.3),
    (1.5, 10.2), (-0.9, 11.8), (-3.7, 11.1), (-5.2, 9.1), (-7.9, 9.4), (-10.2, 11.6), (-13.3, 12.5),
    (-13.8, 10.9), (-11.9, 8.9), (-11.7, 6.4), (-13.7, 4.6), (-15.3, 2.4), (-16.4, 0.2), (-15.0, -2.3),
    (-15.8, -5.1), (-13.8, -7.3), (-11.5, -7.3), (-11.0, -5.6), (-10.2, -4.1), (-9.4, -4.3), (-9.0, -6.1),
    (-8.9, -9.4), (-5.9, -11.4), (-2.7, -10.6), (0.5, -11.7), (4.0, -10.8), (6.7, -11.9), (9.3, -10.1),
    (11.4, -8.9), (10.9, -7.1), (9.3, -6.3), (9.2, -5.2), (10.8, -4.5), (13.0, -5.1), (14.9, -3.4),
    (15.4, -1.2),
)  # fmt: skip
ISLETS = {
    "inner": km((11.9, 9.2), (12.7, 8.9), (13.0, 9.6), (12.5, 10.2), (11.8, 9.9)),
    "outer": km((13.6, 9.0), (14.3, 8.7), (14.6, 9.4), (14.2, 9.9), (13.6, 9.6)),
    "stack": km((14.0, 10.6), (14.4, 10.5), (14.5, 10.9), (14.1, 11.0)),
}

# Hills as (x km, y km, height m, spread east-west km, spread north-south km).
HILLS = [
    (-4.4, 2.7, 400, 1.6, 1.5), (-6.9, 4.3, 300, 1.7, 1.3), (-1.6, 2.8, 235, 4.8, 2.9),
    (8.7, 4.4, 330, 2.1, 1.6), (-6.3, -6.6, 300, 1.5, 1.9), (4.6, 7.4, 190, 1.5, 1.2),
    (12.2, -0.6, 160, 1.5, 1.4), (-12.3, 1.3, 120, 1.4, 1.7), (2.9, -8.9, 90, 2.0, 1.2),
    (-11.9, 10.9, 130, 1.0, 0.8), (-2.6, -3.6, 150, 2.2, 1.3),
]  # fmt: skip


@cache
def mainland() -> Polygon:
    """The island itself, rough-coasted."""
    return Polygon(wander([*COAST, COAST[0]], "coast", 0.23, 200))


@cache
def islets() -> dict[str, Polygon]:
    """The three islets off the north-east, by name."""
    return {
        name: Polygon(wander(rounded([*ring, ring[0]], 1), f"islet {name}", 0.2, 80))
        for name, ring in ISLETS.items()
    }


@cache
def land() -> MultiPolygon:
    """All that is not sea."""
    return MultiPolygon([mainland(), *islets().values()])


@cache
def lake() -> Polygon:
    """The lake, drawn round a subsquare corner on the meridian of the square-level corner."""
    y = SUBSQUARE_Y / 1000
    ring = km(
        (-1.0, y + 0.15), (-0.72, y - 0.1), (-0.8, y - 0.45), (-0.3, y - 0.5), (0.1, y - 0.68),
        (0.55, y - 0.42), (0.6, y - 0.2), (1.05, y - 0.1), (0.75, y + 0.22), (0.35, y + 0.3), (0.2, y + 0.7),
        (-0.2, y + 0.44), (-0.6, y + 0.62),
    )  # fmt: skip
    return natural(ring, "lake", 0.18, 60)


@cache
def headwater() -> LineString:
    """The stream that feeds the lake, from the north side of the mountain."""
    return LineString(wander(km((-3.4, 5.6), (-2.3, 5.5), (-1.5, 4.9), (-0.7, 4.7)), "headwater", 0.14, 90))


@cache
def river() -> LineString:
    """The river, from the lake to the sea."""
    points = km(
        (0.7, 4.65), (1.7, 5.0), (3.0, 4.9), (4.2, 4.0), (4.5, 2.2), (5.3, 0.6), (4.7, -1.4), (5.9, -2.5),
        (6.6, -3.9), (7.9, -4.2), (8.5, -5.3), (9.8, -5.75),
    )  # fmt: skip
    line = LineString(wander(rounded(points, 2), "river", 0.13, 80))
    mouth = shapely.get_parts(line.intersection(mainland().exterior))
    return substring(line, 0, min(line.project(point) for point in mouth))


@cache
def beck() -> LineString:
    """A stream below the scarp, joining the river."""
    end = river().interpolate(river().project(shapely.Point(4700, -1500)))
    points = [*km((-2.2, -1.35), (-0.9, -1.75), (0.8, -1.6), (2.6, -1.95), (3.9, -1.5)), (end.x, end.y)]
    return LineString(wander(rounded(points, 2), "beck", 0.12, 80))


def smooth(t: Metres) -> Metres:
    """0 below 0, 1 above 1, with level ends in between."""
    t = np.clip(t, 0, 1)
    return t * t * (3 - 2 * t)


def rolling(x: Metres, y: Metres) -> Metres:
    """Uneven ground between -1 and 1: a sum of waves with seeded directions, ridged a little."""
    rng = random.Random("rolling")
    total, weight = np.zeros_like(x), 0.0
    for octave in range(5):
        for _ in range(4):
            angle, phase = rng.uniform(0, math.tau), rng.uniform(0, math.tau)
            wave = math.tau / (5200 / 1.9**octave)
            bend = 0.8 * np.sin(wave * 0.6 * (x * math.sin(angle) - y * math.cos(angle)) + phase)
            ridge = np.sin(wave * (x * math.cos(angle) + y * math.sin(angle)) + phase + bend)
            total += 0.44**octave * (1 - 2 * np.abs(ridge))
            weight += 0.44**octave
    return total / weight


def scarp(x: Metres, y: Metres, rough: Metres) -> tuple[Metres, Metres]:
    """The shelf north of the scarp and the ground at its foot, and how far they shape the ground (0 to 1)."""
    edge = -880 + 90 * np.sin(x / 700) + 40 * np.sin(x / 260 + 1)
    rise = smooth((y - edge) / 700)
    height = FOOT_HEIGHT + (SHELF_HEIGHT - FOOT_HEIGHT) * rise + (10 * rough + 0.006 * x)
    reach = np.hypot((x - 400) / 3100, (y + 300) / 2200)
    return height, 1 - smooth((reach - 0.4) / 0.7)


def near_water(height: Metres, points: NDArray[np.object_]) -> Metres:
    """Heights with valleys that lead down to the river and the streams, and the lake lying flat."""
    surface = {
        river(): lambda s: LAKE_HEIGHT * (1 - s) ** 1.25,
        headwater(): lambda s: LAKE_HEIGHT + 90 * (1 - s),
        beck(): lambda s: 70 + 60 * (1 - s),
    }
    for line, profile in surface.items():
        near = close_to(line, points, VALLEY)
        level = profile(shapely.line_locate_point(line, points[near], normalized=True))
        bank = smooth(shapely.distance(points[near], line) / VALLEY)
        height[near] = level + (height[near] - level) * bank
    near = close_to(lake(), points, VALLEY)
    bank = smooth(shapely.distance(points[near], lake()) / VALLEY)
    height[near] = LAKE_HEIGHT + (height[near] - LAKE_HEIGHT) * bank
    return height


def close_to(shape: BaseGeometry, points: NDArray[np.object_], metres: float) -> NDArray[np.bool_]:
    """Which points lie within a distance of a shape."""
    shapely.prepare(shape)
    return shapely.dwithin(shape, points, metres)


def on_land(x: Metres, y: Metres, points: NDArray[np.object_]) -> Metres:
    """Heights of points on land."""
    shore = shapely.distance(points, land().boundary)
    rough = rolling(x, y)
    height = 150 * (1 - np.exp(-shore / 1100)) * (1 + 0.6 * rough) + 0.008 * shore
    for hx, hy, top, wide, high in HILLS:
        bump = np.exp(-(((x / 1000 - hx) / wide) ** 2) - ((y / 1000 - hy) / high) ** 2)
        height += top * bump * (1 + 0.7 * rough)
    shaped, share = scarp(x, y, rough)
    height = near_water(height + share * (shaped - height), points)
    return np.maximum(height * smooth(shore / 260 + 0.15), 0.5)


def heights(x: Metres, y: Metres) -> Metres:
    """Height in metres at points on the board; no data out at sea and in one hole.

    Within ``SHORE`` of the coast the sea is 0, so that the shore itself has heights.
    """
    points = shapely.points(x, y)
    ashore = shapely.contains_xy(land(), x, y)
    height = np.where(close_to(land(), points, SHORE), 0.0, NO_DATA)
    height[ashore] = on_land(x[ashore], y[ashore], points[ashore])
    height[shapely.contains_xy(radar_shadow(), x, y)] = NO_DATA
    return height


@cache
def radar_shadow() -> Polygon:
    """Where the height data has a hole, as behind steep mountains."""
    return natural(km((-5.2, 3.9), (-4.7, 3.7), (-4.2, 4.0), (-4.4, 4.3), (-5.0, 4.3)), "hole", 0.1, 100)
