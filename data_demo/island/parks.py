"""The parks: the main register, the forest office's own file, and the trail and river corridors."""

import random
from functools import cache

from shapely.affinity import translate
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon
from shapely.ops import nearest_points

from . import ground
from .frame import (
    SUBSQUARE_X,
    SUBSQUARE_Y,
    Record,
    clipped,
    footpath,
    km,
    natural,
    ribbon,
    rounded,
    wander,
)

OPEN = "always"
NEAR_MISS_LINE_M = 200.0  # from the nearest edge of lark-11 to the square-level parallel
NEAR_MISS_CORNER_M = 150.0  # from the nearest edge of plover-9 to a subsquare corner


def record(shape: Polygon | MultiPolygon, ref: str, name: str, hours: str, permit: str = "no") -> Record:
    """A park as the island's register writes it down."""
    tags = {"id": ref, "name": name, "hours": hours, "permit": permit, "contact": "ranger hut, Tarrow Quay"}
    return Record(shape, tags)


def moor_and_lake() -> tuple[Polygon, Polygon]:
    """Two neighbours, heron-1 and grebe-2, whose common border was digitised twice.

    The second digitising is some metres off, so that thin gaps and overlaps remain.
    """
    border = wander(km((2.7, 2.4), (1.4, 3.2), (0.2, 2.9), (-1.3, 3.5), (-2.6, 3.1)), "border", 0.1)
    south = km(
        (-2.6, 3.1), (-2.9, 4.2), (-3.9, 5.0), (-5.3, 4.6), (-6.5, 4.9), (-6.7, 3.0), (-5.9, 1.9),
        (-6.4, 0.6), (-5.6, -0.3), (-5.5, -1.6), (-3.7, -1.8), (-2.9, -1.1), (-1.3, -0.85), (0.5, -0.6),
        (1.7, -0.8), (2.6, -0.5), (2.5, 0.5), (3.2, 1.1), (2.7, 2.4),
    )  # fmt: skip
    moor = Polygon([*border, *wander(south, "heron-1", 0.14)[1:]])
    rng = random.Random("second digitising")
    again = [(x + rng.uniform(-6, 6), y + rng.uniform(-6, 6)) for x, y in border]
    north = km(
        (-2.6, 3.1), (-2.2, 4.1), (-2.7, 4.9), (-1.9, 5.6), (-1.4, 6.6), (0.1, 6.9), (0.9, 6.3), (2.3, 6.4),
        (2.4, 5.4), (3.3, 4.6), (2.6, 3.7), (2.7, 2.4),
    )  # fmt: skip
    return moor, Polygon([*again, *wander(north, "grebe-2", 0.16)[1:-1]])


def dale_with_farm() -> Polygon:
    """otter-5, with an inholding that lies right on the parallel."""
    ring = km(
        (-11.3, 1.2), (-12.1, 0.3), (-11.6, -0.9), (-10.5, -1.2), (-10.1, -2.3), (-8.7, -1.8), (-8.0, -2.2),
        (-7.2, -0.9), (-6.7, -0.8), (-7.1, 0.6), (-8.0, 1.1), (-8.2, 2.3), (-9.4, 1.9), (-10.2, 2.6),
    )  # fmt: skip
    farm = km((-9.44, 0.21), (-9.36, -0.19), (-8.93, -0.14), (-8.9, 0.07), (-9.07, 0.25))
    return Polygon(natural(ring, "otter-5").exterior, [farm])


def just_short_of_the_line() -> Polygon:
    """lark-11, whose nearest edge stops ``NEAR_MISS_LINE_M`` short of the parallel."""
    ring = km(
        (8.1, 0.9), (9.0, 0.7), (9.7, 0.2), (10.4, 0.7), (11.3, 0.6), (11.5, 1.5), (12.1, 1.9), (11.1, 2.9),
        (10.2, 2.5), (9.1, 2.9), (8.7, 2.1), (7.9, 1.8),
    )  # fmt: skip
    park = natural(ring, "lark-11", 0.16)
    return translate(park, 0, NEAR_MISS_LINE_M - park.bounds[1])


def just_short_of_the_corner() -> Polygon:
    """plover-9, whose nearest edge stops ``NEAR_MISS_CORNER_M`` short of a subsquare corner."""
    ring = km(
        (6.8, -4.6), (6.2, -4.1), (5.7, -4.4), (5.2, -4.2), (4.5, -5.0), (4.9, -5.5), (4.7, -6.1),
        (5.8, -6.3), (6.3, -5.7), (7.0, -5.8), (6.6, -5.1),
    )  # fmt: skip
    park = natural(ring, "plover-9", 0.12)
    corner = Point(SUBSQUARE_X, -SUBSQUARE_Y)
    while abs(park.distance(corner) - NEAR_MISS_CORNER_M) > 0.01:
        edge = nearest_points(park, corner)[0]
        step = 1 - NEAR_MISS_CORNER_M / edge.distance(corner)
        park = translate(park, step * (corner.x - edge.x), step * (corner.y - edge.y))
    return park


@cache
def strand() -> Polygon:
    """wren-10, a strip 150 m wide and some 15 km long behind the west coast."""
    line = km(
        (-13.6, -6.3), (-14.9, -5.6), (-15.1, -4.3), (-14.2, -3.2), (-14.5, -2.2), (-14.3, -1.3),
        (-15.3, -0.7), (-15.45, 0.4), (-14.9, 0.9), (-14.7, 2.1), (-13.3, 3.1), (-12.9, 4.2), (-11.6, 5.0),
        (-11.0, 6.5), (-11.3, 7.7), (-10.4, 8.5),
    )  # fmt: skip
    return ribbon(LineString(wander(rounded(line, 3), "wren-10", 0.05, 130)), 75)


def crossed_survey() -> Polygon:
    """finch-12, four survey points of which two were written down in the wrong order: its edges cross."""
    return Polygon(km((-0.62, 8.42), (1.0, 8.53), (-0.45, 9.74), (0.84, 9.61)))


def closed_ground() -> Polygon:
    """The military range inside dunlin-6, astride the meridian."""
    return natural(km((-0.95, -7.7), (1.3, -7.6), (1.75, -8.9), (0.5, -9.9), (-1.2, -9.3)), "range", 0.05)


def register() -> list[Record]:
    """The main register: areas in longitude and latitude, one of them invalid, one without an id."""
    moor, lake_park = moor_and_lake()
    wood = km(
        (-2.5, 0.7), (-2.6, -0.6), (-3.3, -1.7), (-2.7, -2.4), (-3.1, -3.6), (-1.7, -3.9), (-0.7, -4.7),
        (0.9, -4.0), (2.3, -4.4), (3.3, -3.4), (4.6, -3.3), (4.9, -2.1), (5.9, -1.3), (5.5, -0.4),
        (6.0, 0.8), (4.7, 0.8), (4.2, 1.4), (2.9, 0.6), (1.5, 0.9), (0.2, 0.6), (-1.3, 0.9),
    )  # fmt: skip
    fen = km(
        (-4.5, 0.4), (-4.0, -0.4), (-4.3, -1.1), (-3.1, -1.0), (-2.6, -1.6), (-1.7, -0.7), (-2.0, 0.1),
        (-1.5, 0.5), (-2.4, 1.3), (-3.3, 0.9), (-3.9, 1.3),
    )  # fmt: skip
    dunes = km(
        (-3.4, -7.6), (-1.9, -6.9), (-0.9, -7.2), (0.4, -6.6), (1.9, -7.1), (3.1, -6.9), (3.6, -8.0),
        (5.0, -8.6), (4.6, -9.9), (5.1, -13), (-4.4, -13), (-3.7, -10.3), (-4.4, -8.9),
    )  # fmt: skip
    fort = km((-0.31, -8.5), (0.27, -8.46), (0.36, -8.86), (0.02, -9.02), (-0.35, -8.88))
    lookout = km((14.3, 1.0), (13.9, 0.2), (14.2, -0.6), (14.8, -1.6), (17.5, -1.2), (17.5, 1.9))
    islets = ground.islets()
    return [
        record(moor, "heron-1", "Bellows Moor", OPEN),
        record(lake_park, "grebe-2", "Glimmerwater", "dawn to dusk"),
        record(natural(wood, "kestrel-3"), "kestrel-3", "Thimblewood", OPEN),
        record(islets["inner"], "tern-4", "Τερνόνησος", "closed in the nesting season", "yes"),
        record(MultiPolygon([islets["outer"], islets["stack"]]), "tern-4", "Τερνόνησος", "as above", "yes"),
        record(dale_with_farm(), "otter-5", "Crumbdale", OPEN),
        record(clipped(natural(dunes, "dunlin-6"), ground.mainland()), "dunlin-6", "Sandrevel Dunes", OPEN),
        record(natural(fen, "siskin-8"), "siskin-8", "Ysmölt Fen", "keep to the path", "yes"),
        record(just_short_of_the_corner(), "plover-9", "Selkmarsh", OPEN),
        record(strand(), "wren-10", "Long Selvage", OPEN),
        record(just_short_of_the_line(), "lark-11", "Larkenfold", "dawn to dusk"),
        record(crossed_survey(), "finch-12", "مرج تيرفالن", OPEN),
        record(natural(fort, "rook-13", 0.06), "rook-13", "Fort Dullmoor", "closed to the public", "yes"),
        record(clipped(natural(lookout, "lookout"), ground.mainland()), "", "East Lookout", OPEN),
    ]


def forest() -> list[Record]:
    """The forest office's stands: straight survey lines and column names of its own."""
    north = km(
        (-1.9, 7.9), (-1.8, 7.1), (-0.9, 7.05), (-0.8, 6.35), (1.3, 6.5), (1.2, 7.2), (2.1, 7.25), (2, 8.05)
    )
    middle = km((-1.3, -2.1), (-1.2, -3.4), (0.3, -3.5), (0.35, -3.0), (1.6, -3.05), (1.5, -2.2))
    west = km(
        (-10.9, -1.5), (-10.8, -3.0), (-9.5, -2.9), (-9.5, -2.6), (-8.1, -2.5), (-8.3, -1.1), (-9.4, -1.2)
    )
    east = km((8.2, -2.4), (9.8, -2.9), (11.0, -1.9), (10.2, -0.8), (9.5, -1.3), (8.6, -1.1))
    stands = {
        ("alder-1", "Hëlgrim Wood"): north,
        ("alder-2", "Thimble Plantation"): middle,
        ("alder-3", "ミルヴェの森"): west,
        ("alder-4", "Stand at Quillet Bend"): east,
    }
    return [
        Record(Polygon(ring), {"park_id": ref, "park_name": name, "manager": "Forest Office, Ombrewick"})
        for (ref, name), ring in stands.items()
    ]


@cache
def trail() -> LineString:
    """The long-distance path from the harbour over the moor to the west village."""
    points = km(
        (9.14, -4.84), (8.1, -3.4), (7.2, -1.7), (6.2, 0.4), (5.2, 1.5), (3.4, 1.75), (2.0, 1.25), (0.6, 1.5),
        (-0.9, 1.4), (-2.3, 0.75), (-3.2, -0.1), (-4.6, -1.1), (-6.2, -2.1), (-8.3, -3.3), (-10.7, -3.3),
        (-12.5, -3.9),
    )  # fmt: skip
    return footpath(points, "trail")


def corridors() -> list[Record]:
    """Line records that count as parks within a stated distance: the trail and the river."""
    water = MultiLineString([ground.headwater(), ground.river()])
    return [
        Record(trail(), {"id": "vole-1", "name": "The Cairnwalk", "kind": "trail"}),
        Record(water, {"id": "dipper-2", "name": "River Sallow", "kind": "river"}),
    ]
