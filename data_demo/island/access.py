"""Roads, paths and parking, with OpenStreetMap's published tags, as an export of open data carries them."""

import math
from functools import cache
from itertools import pairwise

from shapely.affinity import scale
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from . import ground, parks
from .frame import XY, Record, footpath, km, road, rounded

CORNER_CAIRN = (6.0, -4.0)  # where the two ways to the square-level corner end, 7 m from it
SCARP_FOOT, MOOR_GATE = km((0.42, -1.28), (2.15, 1.02))
FERRY = (9140.0, -5080.0)
BRIDGE_M = 60.0

RING = km(
    (9.35, -4.75), (10.6, -4.0), (12.6, -4.1), (14.1, -2.6), (14.3, -0.6), (14.6, 0.8), (13.9, 2.9),
    (12.2, 4.3), (12.1, 6.3), (10.2, 7.0), (8.3, 9.2), (6.0, 9.6), (4.1, 8.5), (2.2, 8.35), (0.2, 8.2),
    (-1.8, 9.4), (-3.4, 9.6), (-5.0, 8.2), (-7.6, 8.4), (-9.9, 9.2), (-11.0, 8.8), (-11.2, 7.3),
    (-10.2, 5.8), (-11.9, 4.1), (-13.6, 2.6), (-14.4, 1.1), (-14.2, -0.6), (-13.2, -2.2), (-13.4, -4.0),
    (-12.3, -4.4), (-10.8, -3.6), (-9.0, -3.5), (-8.2, -4.8), (-8.3, -6.7), (-7.8, -8.8), (-5.6, -9.9),
    (-4.7, -8.4), (-3.7, -6.9), (-2.0, -6.2), (0.2, -6.0), (3.0, -6.3), (4.4, -7.6), (7.0, -8.9),
    (9.0, -8.6), (9.7, -7.7), (8.6, -6.4), (8.55, -5.7), (9.0, -5.0), (9.35, -4.75),
)  # fmt: skip


@cache
def ring_road() -> LineString:
    """The road round the island."""
    return road(RING, "ring road")


@cache
def moor_road() -> LineString:
    """The long, gentle road up to the moor, ending at the car park Moor Gate."""
    points = km((9.6, -4.5), (9.2, -2.9), (7.9, -1.2), (7.2, 0.6), (6.2, 1.9), (4.8, 2.3), (2.8, 1.6))
    return road([fork(ring_road(), points[0]), *points[1:], MOOR_GATE], "moor road")


@cache
def valley_lane() -> LineString:
    """The lane up the valley below the scarp, ending at the car park Scarp Foot."""
    points = km((3.0, -6.3), (3.1, -5.1), (2.4, -4.0), (2.5, -2.9), (1.4, -1.9))
    return road([fork(ring_road(), points[0]), *points[1:], SCARP_FOOT], "valley lane")


def fork(line: LineString, near: XY) -> XY:
    """The vertex of a road nearest to a point: where another way leaves it."""
    x, y = min(line.coords, key=lambda xy: math.dist(xy, near))
    return x, y


def roads() -> list[Record]:
    """What can be driven, and two that cannot."""
    ring, lane = ring_road(), valley_lane()
    lake_road = km((2.2, 8.35), (2.5, 7.4), (1.8, 6.5), (1.25, 5.6))
    light_road = km((-14.4, 1.0), (-15.0, 0.75), (-15.35, 0.3), (-15.75, 0.1))
    farm_track = km((-14.0, -1.0), (-12.6, -0.5), (-11.2, -0.55), (-10.2, 0.0), (-9.4, 0.01), (-9.15, 0.02))
    dale_lane = km((-9.9, -3.5), (-10.0, -2.9), (-9.6, -2.35))
    dune_lane = km((-3.5, -6.7), (-2.6, -7.1), (-2.45, -7.7))
    range_track = km((0.7, -6.05), (0.8, -6.9))
    estate_track = km((2.5, -3.2), (1.2, -2.75), (0.1, -2.8), (-0.9, -2.6), (-2.2, -2.7))
    bypass = km((5.0, 2.3), (4.4, 3.2), (3.6, 4.3), (2.9, 6.0), (2.4, 7.4))
    return [
        *way("secondary", "Island Road", ring),
        *way("unclassified", "Moor Road", moor_road(), surface="gravel"),
        *way("unclassified", "Valley Lane", lane),
        *way("unclassified", "Lake Road", spur(ring, lake_road), surface="gravel"),
        *way("service", "Lamp Road", spur(ring, light_road)),
        *way("service", "Dale Lane", spur(ring, dale_lane)),
        *way("track", "Dune Lane", spur(ring, dune_lane)),
        *way("track", "Farm track", spur(ring, farm_track), access="private"),
        *way("track", "Range track", spur(ring, [*range_track, range_gate()]), access="no", military="range"),
        *way("track", "Estate track", spur(lane, estate_track), access="no", foot="yes"),
        Record(
            road(bypass, "bypass"), {"highway": "proposed", "proposed": "tertiary", "name": "Moor bypass"}
        ),
    ]


def spur(main: LineString, points: list[XY]) -> LineString:
    """A road that leaves another one near its first point."""
    return road([fork(main, points[0]), *points[1:]], f"spur at {points[0]}")


def paths() -> list[Record]:
    """What can be walked only."""
    lane, ring, trail = valley_lane(), ring_road(), parks.trail()
    ladder = [SCARP_FOOT, *km((0.3, -0.95), (0.16, -0.55), (0.06, -0.2)), CORNER_CAIRN]
    green_way = [MOOR_GATE, *km((1.7, 1.05), (1.1, 0.7), (0.7, 0.62), (0.3, 0.25)), CORNER_CAIRN]
    ford_way = [fork(lane, (2500, -2700)), *km((3.4, -2.4), (4.4, -1.0), (5.6, -0.6)), fork(trail, (6400, 0))]
    fen_way = [fork(trail, (-2300, 700)), *km((-2.5, 0.1), (-2.2, -0.7))]
    dale_way = km((-9.6, -2.35), (-9.9, -1.4), (-10.2, -0.5), (-10.3, 0.6), (-9.7, 1.3))
    dune_way = km((-2.45, -7.7), (-2.1, -8.8), (-1.6, -10.0), (-0.2, -10.5), (0.6, -11.2))
    look_way = [fork(ring, (14450, 300)), *km((14.9, 0.25), (15.4, 0.02))]
    meadow_way = [fork(ring, (300, 8200)), *km((0.25, 8.7), (0.15, 9.5), (-0.3, 10.6))]
    return [
        *way("path", "The Ladder", footpath(ladder, "ladder"), surface="rock"),
        *way("path", "Green Way", footpath(green_way, "green way"), surface="ground"),
        *way("path", "The Cairnwalk", trail),
        *way("bridleway", "Ford Way", footpath(ford_way, "ford way"), "ford"),
        *way("path", "Fen boardwalk", footpath(fen_way, "fen way"), surface="wood"),
        *way("path", "Lake Round", lake_round()),
        *way("path", "Lake Round", LineString([(1250, 5600), fork(lake_round(), (1000, 5300))])),
        *way("footway", "Dale path", footpath(dale_way, "dale way")),
        *way("path", "Dune path", footpath(dune_way, "dune way"), surface="sand"),
        *way("path", "Lookout path", footpath(look_way, "look way")),
        *way("path", "Meadow path", footpath(meadow_way, "meadow way")),
        *way("footway", "Fort walk", LineString([range_gate(), *km((0.9, -8.2), (0.3, -8.65))]), access="no"),
    ]


def lake_round() -> LineString:
    """The path round the lake, past the car park at its north end."""
    shore = list(scale(ground.lake().exterior, 1.25, 1.25).coords)
    return LineString(rounded([*shore[::5], shore[0]], 2))


def range_gate() -> XY:
    """The gate in the fence round the military range."""
    return fork(parks.closed_ground().exterior, (900, -7650))


def way(highway: str, name: str, line: LineString, crossing: str = "bridge", **tags: str) -> list[Record]:
    """One way, cut where it crosses running water: the piece across is tagged as a bridge or a ford."""
    waters = [line.intersection(water) for water in (ground.river(), ground.headwater(), ground.beck())]
    places = sorted(line.project(point) for water in waters for point in parts(water))
    across = {"ford": "yes"} if crossing == "ford" else {"bridge": "yes", "layer": "1"}
    cuts = [0.0, *(at + side for at in places for side in (-BRIDGE_M / 2, BRIDGE_M / 2)), line.length]
    tags = {"highway": highway, "name": name, **tags}
    return [
        Record(substring(line, start, end), {**tags, **across} if i % 2 else tags)
        for i, (start, end) in enumerate(pairwise(cuts))
    ]


def parts(shape: BaseGeometry) -> list[BaseGeometry]:
    """The single points of a point, a multipoint or nothing."""
    return list(getattr(shape, "geoms", [shape])) if not shape.is_empty else []


def ways() -> list[Record]:
    """Every road and path."""
    return [*roads(), *paths()]


def places() -> list[Record]:
    """Where a walk can start, and where the ferry lands."""

    def area(x: float, y: float, **tags: str) -> Record:
        return Record(box(x - 35, y - 22, x + 35, y + 22), {"amenity": "parking", **tags})

    def point(x: float, y: float, **tags: str) -> Record:
        return Record(Point(x, y), {"amenity": "parking", **tags})

    return [
        Record(Point(FERRY), {"amenity": "ferry_terminal", "name": "Tarrow Quay"}),
        area(9240, -4900, name="Tarrow Quay", fee="yes"),
        area(*MOOR_GATE, name="Moor Gate"),
        point(*SCARP_FOOT, name="Scarp Foot"),
        point(1250, 5600, name="Glimmerwater North"),
        point(-15350, 300, name="Last Lamp"),
        area(-9600, -2350, name="Crumbdale"),
        point(-2450, -7700, name="Sandrevel"),
        point(-9150, 20, name="Upper Crumb", access="private"),
        area(range_gate()[0], range_gate()[1] + 60, name="Range", access="no"),
        point(-12350, -4350, name="Ombrewick inn", access="customers"),
        Record(Point(parks.trail().coords[-1]), {"highway": "trailhead", "name": "The Cairnwalk, west end"}),
    ]
