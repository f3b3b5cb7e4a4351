"""Walks: what stops them, what lets them through, and what is said of them."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from conftest import REPOSITORY
from plains import Plain

from scout.io.rasters import read_heights
from scout.model import DRIVE, NAME, Walking
from scout.walk.read import read_tagged
from scout.walk.routes import WalkTargets, find_walks
from scout.walk.ways import TaggedLayers, classify_access

PATH, OFF = 5.0367 * 1000 / 60, 3.0220 * 1000 / 60  # metres a minute on level ground (Tobler 1993)
NEAR = Walking(reach_m=600.0)
HERE = [shapely.Point(0, 0)]
DEMO = REPOSITORY / "data_demo"
LANE = (True, False, False)  # walked, not driven, no crossing
BRIDGE = (True, False, True)


def line(*points):
    return shapely.LineString(points)


def walk_to(plain, around, *points, reliefs=(), walking=NEAR):
    lon, lat = plain.degrees(*points)
    return [
        w.route
        for w in find_walks(WalkTargets(lon, lat, np.arange(len(points))), around, list(reliefs), walking)
    ]


def lane_east(plain, barriers, *ways, openings=()):
    """A lane from the start to a place 300 m east, as far as barriers let it."""
    ways = ways or ((line((0, 0), (150, 0), (300, 0)), *LANE),)
    around = plain.surroundings(ways, HERE, [(shape, "barrier", "") for shape in barriers], openings)
    (route,) = walk_to(plain, around, (300, 0))
    return route


def whole_way(route):
    return route.state == "walked" and route.off_path_m < 1 and abs(route.length_m - 300) < 3


def test_a_hedge_that_ends_at_the_lane_does_not_close_it():
    assert whole_way(lane_east(Plain(), [line((150, 0), (150, 700))]))


def test_a_hedge_across_the_lane_closes_it_also_where_it_is_drawn_in_two():
    plain = Plain()
    for hedge in (
        [line((150, -900), (150, 0), (150, 900))],
        [line((150, -900), (150, 0)), line((150, 0), (150, 900))],
    ):
        assert lane_east(plain, hedge).state == "out of reach"


def test_a_gate_lets_the_lane_through_a_wall_and_nothing_further_off():
    plain = Plain()
    wall = [line((150, -900), (150, 900))]
    assert whole_way(lane_east(plain, wall, openings=[shapely.Point(151, 1)]))
    assert lane_east(plain, wall, openings=[shapely.Point(155, 0)]).state == "out of reach"
    two = [*wall, line((158, -900), (158, 900))]
    assert lane_east(plain, two, openings=[shapely.Point(150, 0)]).state == "out of reach"


def test_a_lane_along_the_edge_of_closed_ground_stays_open_and_so_does_the_land_beside_it():
    plain = Plain()
    ground = shapely.Polygon([(-900, 0), (0, 0), (150, 0), (300, 0), (900, 0), (900, -900), (-900, -900)])
    assert whole_way(lane_east(plain, [ground]))
    around = plain.surroundings([(line((0, 0), (150, 0), (300, 0)), *LANE)], HERE, [(ground, "range", "")])
    beside, inside = walk_to(plain, around, (250, 60), (250, -60))
    assert beside.out_min == pytest.approx(_shortest_beside(250, 60), rel=0.03)
    assert beside.out_min < math.hypot(250, 60) / OFF
    assert (inside.state, inside.reason) == ("out of reach", "in range")


def _shortest_beside(along, aside):
    """Minutes by lane and then straight over open ground, leaving the lane where it is best."""
    left = np.linspace(0, along, 1001)
    return float((left / PATH + np.hypot(along - left, aside) / OFF).min())


def test_water_in_two_pieces_does_not_leak_along_the_seam():
    plain = Plain()
    pieces = [shapely.box(100, 0, 200, 900), shapely.box(100, -900, 200, 0)]
    around = plain.surroundings(starts=HERE, barriers=[(piece, "water", "") for piece in pieces])
    for y in (0, 3, -40):
        assert walk_to(plain, around, (300, y))[0].state == "out of reach"


def test_a_bridge_drawn_a_little_short_still_spans_the_river():
    plain, river = Plain(), shapely.box(120, -900, 180, 900)
    short = [
        (line((0, 0), (122, 0)), *LANE),
        (line((122, 0), (177, 0)), *BRIDGE),
        (line((177, 0), (300, 0)), *LANE),
    ]
    assert whole_way(lane_east(plain, [river], *short))
    long_gap = [(line((0, 0), (150, 0)), *LANE), (line((150, 0), (177, 0)), *BRIDGE), short[2]]
    assert lane_east(plain, [river], *long_gap).state == "out of reach"


def test_a_bridge_that_shares_its_ends_with_the_shores_is_open():
    """As shores are drawn in OpenStreetMap; a lane that meets them without a bridge is not."""
    shores = [line((x, -900), (x, 0), (x, 900)) for x in (120, 180)]
    parts = [line((0, 0), (120, 0)), line((120, 0), (180, 0)), line((180, 0), (300, 0))]
    spanned = [(part, *kind) for part, kind in zip(parts, (LANE, BRIDGE, LANE), strict=True)]
    assert whole_way(lane_east(Plain(), shores, *spanned))
    assert lane_east(Plain(), shores, *((part, *LANE) for part in parts)).state == "out of reach"
    nearer = line((119, -900), (119, 900))
    assert lane_east(Plain(), [*shores, nearer], *spanned).state == "out of reach"


def test_nobody_swims_from_one_broken_bridge_to_the_other():
    ends = [(line((0, 0), (122, 0)), *LANE), (line((122, 0), (140, 0)), *BRIDGE)]
    ends += [(line((160, 0), (178, 0)), *BRIDGE), (line((178, 0), (300, 0)), *LANE)]
    assert lane_east(Plain(), [shapely.box(120, -900, 180, 900)], *ends).state == "out of reach"


def test_a_bridge_in_two_pieces_has_no_way_down_in_the_middle():
    plain = Plain()
    river = [line((140, -900), (140, 900)), line((160, -900), (160, 900))]
    ways = [
        (line((0, 0), (130, 0)), *LANE),
        (line((130, 0), (150, 0)), *BRIDGE),
        (line((150, 0), (170, 0)), *BRIDGE),
        (line((170, 0), (300, 0)), *LANE),
    ]
    assert whole_way(lane_east(plain, river, *ways))
    around = plain.surroundings(ways, HERE, [(bank, "river", "") for bank in river])
    assert walk_to(plain, around, (150, 30))[0].state == "out of reach"


@pytest.mark.parametrize("angle", [0, 13, 45, 71, 90, 118])
def test_no_wall_leaks_at_any_angle_nor_where_the_grid_lies_on_it(angle):
    plain, turn = Plain(), math.radians(angle)
    for off in (0.0, 5.0, 47.3):
        wall = shapely.affinity.rotate(line((-2000, off), (2000, off)), angle, origin=(0, 0))
        beyond = (-math.sin(turn) * 200, math.cos(turn) * 200)
        before = (math.sin(turn) * 100, -math.cos(turn) * 100)
        around = plain.surroundings(starts=[shapely.Point(before)], barriers=[(wall, "wall", "")])
        assert walk_to(plain, around, beyond)[0].state == "out of reach"


def test_nobody_walks_through_a_place_that_stands_on_a_wall():
    plain, wall = Plain(), line((-2000, 100), (0, 100), (2000, 100))
    around = plain.surroundings(starts=HERE, barriers=[(wall, "wall", "")])
    on_it, beyond = walk_to(plain, around, (0, 100), (0, 104))
    assert on_it.out_min == pytest.approx(100 / OFF, rel=0.03)
    assert beyond.state == "out of reach"


def test_a_car_is_left_anywhere_along_a_road_but_not_on_a_bridge():
    plain = Plain()
    road = line((-500, 100), (500, 140))
    (route,) = walk_to(plain, plain.surroundings([(road, True, True, False)]), (200, 400))
    straight = shapely.Point(200, 400).distance(road)
    assert (route.start_kind, route.straight_m) == ("roadside", pytest.approx(straight, rel=0.02))
    assert route.out_min == pytest.approx(straight / OFF, rel=0.03)
    (none,) = walk_to(plain, plain.surroundings([(road, True, True, True)]), (200, 400))
    assert none.state == "unknown"


def test_a_road_that_nobody_may_walk_along_is_a_start_and_no_way():
    plain = Plain()
    around = plain.surroundings([(line((0, 0), (0, 400)), False, True, False)])
    (route,) = walk_to(plain, around, (150, 200))
    assert route.off_path_m == pytest.approx(route.length_m)
    assert route.out_min == pytest.approx(150 / OFF, rel=0.03)


def test_without_starts_nothing_can_be_said():
    plain = Plain()
    (route,) = walk_to(plain, plain.surroundings([(line((0, 0), (9, 9)), *LANE)]), (10, 10))
    assert (route.state, route.reason) == ("unknown", "the access data holds no parking and no road")


def test_too_far_too_long_and_no_height_are_told_apart():
    plain = Plain()
    around = plain.surroundings(starts=[(shapely.Point(0, 0), "trailhead", "Foot")])
    far, long_ = walk_to(plain, around, (700, 0), (550, 0), walking=Walking(limit_min=8, reach_m=600.0))
    assert (far.state, far.reason) == ("out of reach", "no parking or road within 600 m")
    assert (far.start_kind, far.start_name, round(far.straight_m)) == ("trailhead", "Foot", 700)
    assert (long_.state, long_.reason) == ("out of reach", "the walk takes over 8 min")
    ground = plain.relief(lambda x, y: np.where(x > 200, np.nan, 5.0), half_m=800)
    known, unknown = walk_to(plain, around, (100, 0), (400, 0), reliefs=[ground])
    assert (known.state, known.climb_m) == ("walked", pytest.approx(0, abs=1e-9))
    assert (unknown.state, unknown.reason) == ("unknown", "the heights do not cover it")


def test_ground_without_heights_is_walked_round_and_named_where_nothing_else_is_left():
    plain = Plain()
    around = plain.surroundings(starts=HERE)

    def height(x, y):
        return np.where((abs(x - 150) < 25) & (y < 100), np.nan, 5.0)

    (round_,) = walk_to(plain, around, (300, 0), reliefs=[plain.relief(height, 800, 10)])
    way = 2 * math.hypot(125, 100) + 50
    assert round_.out_min == pytest.approx(way / OFF, rel=0.08)
    gap = plain.relief(lambda x, y: np.where(abs(x - 150) < 25, np.nan, 5.0), 900)
    (cut,) = walk_to(plain, around, (300, 0), reliefs=[gap])
    assert cut.reason.endswith("barriers or missing heights all round")


def test_without_heights_there_is_no_climb_and_no_profile():
    plain = Plain()
    (route,) = walk_to(plain, plain.surroundings(starts=HERE), (100, 0))
    assert (route.climb_m, route.profile) == (None, ())
    assert route.out_min == route.back_min


def test_a_start_further_than_the_reach_is_not_looked_at():
    plain = Plain()
    road = (line((590, 0), (660, 0), (660, 120), (-100, 300), (-60, 20)), *LANE)
    near, far = (shapely.Point(0, -590), "parking", "near"), (shapely.Point(640, 0), "parking", "far")
    around = plain.surroundings([road, (line((640, 0), (0, 0)), *LANE)], [near, far])
    (route,) = walk_to(plain, around, (0, 0))
    assert route.start_name == "near"
    (route,) = walk_to(plain, around, (0, 0), walking=Walking(reach_m=700.0))
    assert route.start_name == "far"


def test_a_load_slows_the_walk_by_its_factor_and_too_much_of_it_stops_it():
    plain, around = Plain(), Plain().surroundings(starts=HERE)
    (free,) = walk_to(plain, around, (300, 0))
    (laden,) = walk_to(plain, around, (300, 0), walking=replace(NEAR, load_kg=20.0))
    assert free.out_min / laden.out_min == pytest.approx(
        0.8703, abs=1e-4
    )  # by hand: sqrt(222.4 / 150) / 1.3991
    (crushed,) = walk_to(plain, around, (300, 0), walking=replace(NEAR, load_kg=90.0))
    assert crushed.reason == "the walk takes over 120 min"


def _past_180(lonlat):
    return np.column_stack([lonlat[:, 0] % 360.0, lonlat[:, 1]])


def _cut_at_180(shape):
    """A shape that runs past 180, in the pieces RFC 7946 asks for."""
    west = shapely.intersection(shape, shapely.box(0, -90, 180, 90))
    east = shapely.intersection(shape, shapely.box(180, -90, 360, 90))
    turned = shapely.transform(east, lambda lonlat: lonlat - [360, 0])
    return [piece for piece in (west, turned) if not piece.is_empty]


@pytest.mark.parametrize("lon", [179.9999, -180.0, -179.9993])
@pytest.mark.parametrize("cut", [False, True])
def test_the_antimeridian_is_no_barrier_and_hides_none(lon, cut):
    bend = [(-250, 0), (-20, 0), (40, 0), (250, 80)]
    things = (
        [(line(*bend), *LANE)],
        [shapely.Point(-250, 0)],
        [(shapely.box(-60, 30, 60, 160), "water", "")],
    )

    def walked(plain, around):
        relief = plain.relief(lambda x, y: 50 + 0.05 * x)
        return [route.out_min for route in walk_to(plain, around, (250, 80), (-50, 190), reliefs=[relief])]

    plain, usual = Plain(lon=lon, lat=-17), Plain(lat=-17)
    around = plain.surroundings(*things)
    for name in ("ways", "starts", "barriers"):
        frame = getattr(around, name)
        frame = frame.set_geometry(shapely.transform(frame.geometry.to_numpy(), _past_180))
        if cut:
            frame = frame.set_geometry(
                frame.geometry.apply(lambda g: shapely.GeometryCollection(_cut_at_180(g)))
            )
            frame = frame.explode(ignore_index=True)
        around = replace(around, **{name: frame})
    assert walked(plain, around) == pytest.approx(walked(usual, usual.surroundings(*things)), rel=0.01)


def test_what_is_told_of_a_walk_agrees_with_itself():
    plain = Plain()
    ways = [(line((20, 10), (200, 160), (210, 300)), *LANE)]
    hill = plain.relief(lambda x, y: 0.2 * np.abs(y - 150))
    (route,) = walk_to(plain, plain.surroundings(ways, HERE), (300, 330), reliefs=[hill])
    xy = np.array([plain.metres(*point) for point in route.line])
    steps = np.hypot(*np.diff(xy, axis=0).T)
    assert len(route.on_path) == len(route.line) - 1
    assert steps.sum() == pytest.approx(route.length_m, rel=0.02)
    assert steps[~np.array(route.on_path)].sum() == pytest.approx(route.off_path_m, rel=0.03)
    assert route.start == route.line[0]
    assert xy[0] == pytest.approx([0, 0], abs=0.02)
    assert xy[-1] == pytest.approx([300, 330], abs=0.02)
    along, height = np.array(route.profile).T
    assert along[[0, -1]] == pytest.approx([0, route.length_m], abs=0.1)
    assert height[[0, -1]] == pytest.approx([30, 36], abs=0.6)
    assert route.climb_m == pytest.approx(36, abs=3)
    assert route.back_min != pytest.approx(route.out_min, rel=0.01)


def test_the_walk_to_a_place_does_not_depend_on_which_others_are_asked_for():
    plain = Plain()
    hills = plain.relief(lambda x, y: 20 * np.sin(x / 70) + 15 * np.cos(y / 55))
    around = plain.surroundings(starts=HERE)
    (alone,) = walk_to(plain, around, (300, 280), reliefs=[hills])
    among = walk_to(plain, around, (310, 270), (300, 280), (-80, 500), (299, 281), reliefs=[hills])
    assert among[1] == alone


def test_nothing_given_is_left_changed_and_nothing_asked_gives_nothing():
    plain = Plain()
    around = plain.surroundings([(line((0, 0), (90, 90)), *LANE)], HERE)
    before = {name: getattr(around, name).copy() for name in ("ways", "starts", "barriers")}
    assert find_walks(WalkTargets(np.empty(0), np.empty(0), np.empty(0, dtype=int)), around, [], NEAR) == []
    walk_to(plain, around, (50, 50))
    assert all(getattr(around, name).equals(frame) for name, frame in before.items())


@pytest.fixture(scope="module")
def island():
    boxes = [(-112.08, -41.05, -111.92, -40.94)]
    groups = [
        TaggedLayers(read_tagged([str(DEMO / f"{role}.geojson")], boxes), role)
        for role in ("access", "barriers")
    ]
    return classify_access(groups), read_heights([str(DEMO / "heights.tif")], boxes).reliefs


def to_corner(island, name):
    """The walk to the corner when one parking is the only start."""
    around, reliefs = island
    only = replace(
        around, starts=around.starts[around.starts[NAME] == name], ways=around.ways.assign(**{DRIVE: False})
    )
    at = WalkTargets(np.array([-112.0]), np.array([-41.0]), np.array([0]))
    return find_walks(at, only, reliefs, Walking())[0].route


def test_on_the_island_the_ladder_takes_53_minutes_and_the_green_way_34(island):
    ladder, green = to_corner(island, "Scarp Foot"), to_corner(island, "Moor Gate")
    assert (ladder.out_min, ladder.length_m) == (pytest.approx(53, abs=1), pytest.approx(1400, rel=0.05))
    assert (green.out_min, green.length_m) == (pytest.approx(34, abs=1), pytest.approx(2600, rel=0.02))
    assert ladder.climb_m > 250


def test_on_the_island_the_corner_in_the_lake_is_out_of_reach(island):
    at = WalkTargets(np.array([-112.0]), np.array([-41.0 + 2.5 / 60]), np.array([0]))
    (lake,) = find_walks(at, island[0], island[1], Walking())
    assert (lake.route.state, lake.route.reason) == ("out of reach", "in water: Glimmerwater")
