"""What lies in the way and what can hurt: water, cliffs, fences, closed ground, overhead power lines."""

from functools import cache

from shapely import get_coordinates
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import substring

from . import access, ground, parks
from .frame import Record, km, ribbon, wander

POWER_LINE_M = 35.0  # from the parallel, where the line passes the strip wren-10
SPAN_M = 260.0  # the longest between two towers


def water() -> list[Record]:
    """Lake, river, streams, bogs and the coast."""
    river = ground.river()
    lower = ribbon(substring(river, 0.62, 1, normalized=True), 9).intersection(ground.mainland()).normalize()
    register = {r.tags["id"]: r.shape for r in parks.register()}
    return [
        Record(ground.lake(), {"natural": "water", "water": "lake", "name": "Glimmerwater"}),
        Record(lower, {"natural": "water", "water": "river", "name": "River Sallow"}),
        Record(river, {"waterway": "river", "name": "River Sallow"}),
        Record(ground.headwater(), {"waterway": "stream", "name": "Bellows Water"}),
        Record(ground.beck(), {"waterway": "stream", "name": "Thimble Beck"}),
        Record(register["siskin-8"], {"natural": "wetland", "wetland": "bog", "name": "Ysmölt Fen"}),
        *(
            Record(LineString(shore.exterior.coords), {"natural": "coastline"})
            for shore in (ground.mainland(), *ground.islets().values())
        ),
    ]


def cliffs() -> list[Record]:
    """The scarp's rock face, low ground on its right, with the one gap the Ladder climbs through."""
    west = km((-1.5, -0.62), (-0.9, -0.52), (-0.3, -0.6), (0.11, -0.56))
    east = km((0.21, -0.55), (0.8, -0.5), (1.5, -0.57), (2.2, -0.5))
    return [
        Record(LineString(wander(edge, f"cliff {side}", 0.1, 90)), {"natural": "cliff", "name": "The Bench"})
        for side, edge in (("west", west), ("east", east))
    ]


def walls() -> list[Record]:
    """Moor wall, farm wall and range fence, with their gates."""
    gate = access.fork(next(r.shape for r in access.ways() if r.tags["name"] == "Green Way"), (1600, 1000))
    stile = access.fork(parks.trail(), (1400, 1350))
    moor_wall = wander([*km((1.85, -0.3)), gate, stile, *km((1.2, 2.7))], "moor wall", 0.06)
    farm = Polygon(parks.dale_with_farm().interiors[0]).exterior
    track = next(r.shape for r in access.ways() if r.tags["name"] == "Farm track")
    farm_gate = track.intersection(farm)
    return [
        Record(LineString(moor_wall), {"barrier": "wall"}),
        Record(Point(gate), {"barrier": "kissing_gate", "name": "Moor Gate"}),
        Record(Point(stile), {"barrier": "stile"}),
        Record(LineString(farm.coords), {"barrier": "wall"}),
        Record(farm_gate, {"barrier": "gate", "access": "private"}),
        Record(LineString(parks.closed_ground().exterior.coords), {"barrier": "fence"}),
        Record(Point(access.range_gate()), {"barrier": "gate", "access": "no", "locked": "yes"}),
    ]


def barriers() -> list[Record]:
    """Everything a walk must go round, or cross where a crossing is mapped."""
    closed = {"landuse": "military", "military": "range", "access": "no", "name": "Dullmoor Range"}
    return [*water(), *cliffs(), *walls(), Record(parks.closed_ground(), closed)]


@cache
def power_line() -> LineString:
    """The overhead line from the harbour to the lighthouse; its last leg runs beside the parallel."""
    bends = km(
        (8.2, -5.9), (6.9, -7.3), (4.3, -6.7), (3.0, -5.9), (0.0, -5.6), (-2.6, -5.7), (-5.0, -4.9),
        (-8.6, -3.1), (-11.4, -3.2), (-12.6, -3.4), (-13.0, -1.7),
    )  # fmt: skip
    line = [*bends, (-13100.0, POWER_LINE_M), (-15800.0, POWER_LINE_M)]
    return LineString(wander(line, "power line", 0, SPAN_M))


def hazards() -> list[Record]:
    """The overhead line with its towers, a lighter line to the farm, and the substation."""
    line = power_line()
    farm_line = wander(km((-13.03, -1.2), (-11.5, -0.75), (-9.2, -0.05)), "farm line", 0, 90)
    return [
        Record(line, {"power": "line", "voltage": "33000", "cables": "3"}),
        Record(LineString(farm_line), {"power": "minor_line"}),
        *(Record(Point(xy), {"power": "tower"}) for xy in get_coordinates(line)),
        Record(Point(line.coords[0]).buffer(30, quad_segs=1), {"power": "substation", "name": "Tarrow Quay"}),
    ]
