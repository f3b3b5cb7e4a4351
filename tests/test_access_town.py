"""Towns: walks go round buildings, and cars are left beside busy roads only where there is room for one."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from conftest import REPOSITORY
from plains import Plain

from scout.model import DRIVE, GEOMETRY, NAME, RECORD, Layer, Route, Source, Surroundings, Walking
from scout.walk.read import read_tagged
from scout.walk.routes import WalkTargets, find_walks
from scout.walk.ways import TaggedLayers, classify_access

PATH, OFF = 5.0365 * 1000 / 60, 3.0219 * 1000 / 60  # metres a minute on level ground
NEAR = Walking(reach_m=800.0)
LANE = (True, False, False)


def walk_to(plain: Plain, around: Surroundings, *points: tuple[float, float], walking: Walking = NEAR) -> Any:
    lon, lat = plain.degrees(*points)
    return [w.route for w in find_walks(WalkTargets(lon, lat, np.arange(len(points))), around, [], walking)]


def town(plain: Plain, *buildings: Any, ways: Any = (), starts: Any = ((0, 0),)) -> Surroundings:
    around = plain.surroundings(ways, [shapely.Point(p) for p in starts])
    return replace(around, buildings=[plain.placed(building) for building in buildings])


def inside_m(plain: Plain, route: Route, *buildings: Any) -> float:
    """Metres of the drawn walk inside buildings, by plain geometry."""
    line = shapely.LineString(np.column_stack(plain.metres(*np.transpose(route.line))))
    return shapely.length(shapely.intersection(line, shapely.union_all(buildings)))


def test_a_walk_goes_round_a_building() -> None:
    plain, house = Plain(), shapely.box(100, -60, 140, 60)
    (open_,) = walk_to(plain, town(plain), (240, 0))
    (round_,) = walk_to(plain, town(plain, house), (240, 0))
    assert open_.out_min == pytest.approx(240 / OFF, rel=0.03)
    way = math.hypot(100, 60) * 2 + 40
    assert round_.out_min == pytest.approx(way / OFF, rel=0.05)
    assert inside_m(plain, round_, house) < 1.0


@pytest.mark.parametrize("turn", range(0, 90, 13))
def test_no_shed_is_too_small_and_no_wall_too_thin_to_be_gone_round(turn: int) -> None:
    plain = Plain()
    row = [shapely.box(120, y, 122, y + 6.5) for y in np.arange(-90, 90, 7)]
    row = [shapely.affinity.rotate(shed, turn, origin=(120, 0)) for shed in row]
    (route,) = walk_to(plain, town(plain, *row), (240, 10))
    assert inside_m(plain, route, *row) < 0.5


def test_a_mapped_way_through_a_building_stays_open_and_has_no_doors_on_the_side() -> None:
    plain, block = Plain(), shapely.box(-400, 100, 400, 130)
    passage = (shapely.LineString([(0, 0), (0, 90), (0, 140), (0, 200)]), *LANE)
    (route,) = walk_to(plain, town(plain, block, ways=[passage]), (0, 220))
    assert route.out_min == pytest.approx(200 / PATH + 20 / OFF, rel=0.05)
    court = shapely.Polygon(block.exterior, [shapely.box(-20, 108, 20, 122).exterior.coords])
    (yard,) = walk_to(plain, town(plain, court, ways=[passage]), (15, 115))
    assert yard.state == "walked"
    (shut,) = walk_to(plain, town(plain, court), (15, 115))
    assert shut.state == "out of reach"
    assert "barriers all round" in shut.reason


def test_nobody_enters_from_a_way_that_ends_at_the_wall() -> None:
    plain, house = Plain(), shapely.box(-300, 100, 300, 117)
    lanes = [(shapely.LineString(points), *LANE) for points in ([(3, 0), (3, 100)], [(3, 117), (3, 200)])]
    (route,) = walk_to(plain, town(plain, house, ways=lanes), (3, 210))
    assert route.length_m > 600
    lake = plain.surroundings(lanes, [shapely.Point(0, 0)], [(house, "water", "")])
    (route,) = walk_to(plain, lake, (3, 210))
    assert route.length_m > 600


def test_a_place_in_a_building_says_so() -> None:
    plain = Plain()
    (route,) = walk_to(plain, town(plain, shapely.box(100, -60, 140, 60)), (120, 10))
    assert (route.state, route.reason) == ("out of reach", "in a building")


def test_walls_at_the_antimeridian_are_walls_from_both_sides() -> None:
    plain, house = Plain(lon=179.9999), shapely.box(20, -60, 60, 60)
    past = replace(
        town(plain), buildings=[shapely.transform(plain.placed(house), lambda p: p % [360.0, 360.0])]
    )
    (route,) = walk_to(plain, past, (120, 0))
    assert route.out_min > 1.2 * 120 / OFF


# --- what tags say ------------------------------------------------------------------------------------------


def tagged(*records: tuple[Any, str]) -> Surroundings:
    """Shapes in metres with tags such as "building=yes layer=1"."""
    plain = Plain()
    rows = [
        {key: value for key, _, value in (word.partition("=") for word in text.split())}
        for _, text in records
    ]
    keys = sorted({key for row in rows for key in row})
    frame = plain.frame([(shape, "", "") for shape, _ in records]).drop(columns=["what", "name"])
    for key in keys:
        frame[key] = [row.get(key) for row in rows]
    frame.insert(0, RECORD, np.arange(1, len(rows) + 1))
    assert frame.geometry.name == GEOMETRY
    source = Source("land.gpkg", "land", len(rows), "EPSG:4326", "none", 0.0)
    return classify_access([TaggedLayers([Layer(frame, source)], "access")])


HOUSE = shapely.box(0, 0, 20, 10)


@pytest.mark.parametrize(
    ("text", "walled"),
    [
        ("building=yes", True),
        ("building=house layer=1", True),
        ("building=barn access=private", True),
        *((f"building={kind}", False) for kind in ("no", "roof", "carport", "canopy", "bridge")),
        ("building=yes location=underground", False),
        ("building=yes layer=-1", False),
        ("building=garage amenity=parking", False),
        ("amenity=shelter", False),
    ],
)
def test_buildings_are_what_has_walls(text: str, walled: bool) -> None:
    """Values of the wiki's page on `building`: M."""
    for shape in (HOUSE, shapely.LineString(HOUSE.exterior.coords)):
        assert len(tagged((shape, text)).buildings) == walled


def test_a_car_park_inside_a_building_has_a_way_out() -> None:
    around = tagged((HOUSE, "building=yes"), (shapely.Point(5, 5), "amenity=parking"))
    assert len(around.buildings) == 0
    around = tagged((HOUSE, "building=yes"), (shapely.Point(5, 50), "amenity=parking"))
    assert len(around.buildings) == 1


MAIN = shapely.LineString([(-900, 0), (0, 0), (900, 0)])


@pytest.mark.parametrize("kind", ["primary", "trunk", "primary_link", "trunk_link"])
@pytest.mark.parametrize(
    ("beside", "starts_m"),
    [
        ((shapely.LineString([(0, 0), (0, 300)]), "highway=track"), 0),
        ((shapely.LineString([(0, 300), (0, 0)]), "highway=track tracktype=grade3"), 0),
        ((shapely.LineString([(300, -90), (300, 90)]), "highway=path"), None),
        ((shapely.LineString([(0, 0), (0, 300)]), "highway=track motor_vehicle=no"), None),
        ((shapely.LineString([(0, 0), (0, 300)]), "highway=track access=private"), None),
        ((shapely.LineString([(0, 0), (0, 300)]), "highway=track bridge=yes"), None),
        ((shapely.LineString([(0, 0), (0, 300)]), "highway=service service=driveway"), None),
        ((shapely.LineString([(0, 40), (0, 300)]), "highway=track"), None),
        ((shapely.Point(200, 10), "amenity=parking parking=layby"), 200),
        ((shapely.Point(200, 10), "highway=rest_area"), 200),
        ((shapely.LineString([(0, 0), (90, 90)]), "highway=service"), 0),
    ],
)
def test_a_car_is_left_beside_a_busy_road_where_there_is_room_for_it(
    kind: str, beside: Any, starts_m: float | None
) -> None:
    """Not on the road itself, but at the mouth of a track, in a lay-by, on a side road (common practice)."""
    plain = Plain()
    around = tagged((MAIN, f"highway={kind} foot=yes name=Main"), beside)
    (route,) = walk_to(plain, around, (-100, 420))
    if starts_m is None:
        assert route.state != "walked"
    else:
        assert route.state == "walked"
        x, y = plain.metres(*route.start)
        assert abs(x - starts_m) < 100
        assert abs(y) < 100


@pytest.mark.parametrize(
    "tag", ["parking:right=lane", "parking:both=street_side", "parking:lane:left=parallel"]
)
def test_lanes_for_parking_make_a_busy_road_one_to_stop_on(tag: str) -> None:
    around = tagged((MAIN, f"highway=primary {tag}"))
    assert around.ways[DRIVE].tolist() == [True]
    assert len(around.busy_roads) == 0
    assert not tagged((MAIN, "highway=primary parking:right=no")).ways[DRIVE].any()


def test_the_mouth_of_a_track_goes_by_the_name_of_the_road() -> None:
    around = tagged(
        (MAIN, "highway=primary name=Main"), (shapely.LineString([(0, 0), (0, 300)]), "highway=track")
    )
    mouth = around.ways[around.ways[DRIVE]]
    assert mouth[NAME].tolist() == ["Main"]
    (route,) = walk_to(Plain(), around, (0, 350))
    assert (route.start_kind, route.start_name) == ("roadside", "Main")
    assert route.length_m == pytest.approx(335, abs=12)


def test_beside_a_busy_road_without_a_place_for_a_car_the_reason_says_so() -> None:
    plain = Plain()
    around = tagged((MAIN, "highway=primary name=Main"), (shapely.Point(5000, 0), "amenity=parking"))
    (route,) = walk_to(plain, around, (0, 412))
    assert route.reason == (
        "no parking or road within 800 m; the busy road 412 m away (Main) has no mapped place to leave a car"
    )
    (far,) = walk_to(plain, around, (0, 900))
    assert far.reason == "no parking or road within 800 m"
    (only,) = walk_to(plain, tagged((MAIN, "highway=trunk ref=T9")), (0, 300))
    assert (only.state, only.reason) == (
        "unknown",
        "the access data holds no parking and no road but busy ones, "
        "along which no place to leave a car is mapped",
    )


# --- real towns ---------------------------------------------------------------------------------------------

EXTRACTS = REPOSITORY.parent / "shared/data/osm"
PLACES = {
    "Helsinki.osm.pbf": (24.9450, 60.1720),
    "liechtenstein-2013-08-03.osm.pbf": (9.5210, 47.1410),
}


@pytest.mark.parametrize("name", PLACES)
def test_in_a_real_town_walks_pass_through_no_building_but_along_ways(name: str) -> None:
    """Off the mapped ways no metre lies in a building that the extract holds, by plain geometry."""
    path = EXTRACTS / name
    if not path.exists():
        pytest.skip(f"no {name} in ../shared/data/osm")
    lon0, lat0 = PLACES[name]
    rng = np.random.default_rng(3)
    lon, lat = lon0 + rng.uniform(-0.005, 0.005, 25), lat0 + rng.uniform(-0.003, 0.003, 25)
    layers = read_tagged([path], [(lon0 - 0.02, lat0 - 0.01, lon0 + 0.02, lat0 + 0.01)])
    around = classify_access([TaggedLayers(layers, "access")])
    assert len(around.buildings) > 20
    houses = shapely.union_all(shapely.make_valid(np.array(around.buildings, dtype=object)))
    done = find_walks(WalkTargets(lon, lat, np.arange(len(lon))), around, [], NEAR)
    walked = 0
    for one in done:
        line = np.array(one.route.line)
        if one.route.state != "walked":
            continue
        walked += 1
        off = [k for k, on in enumerate(one.route.on_path) if not on]
        pieces = shapely.linestrings([line[k : k + 2] for k in off]) if off else np.empty(0, dtype=object)
        east = math.cos(math.radians(lat0)) * 111_320
        crossed = shapely.length(shapely.intersection(pieces, houses)).sum() * east
        assert crossed < 3.0, one.route.start_name  # the drawn line leaves the walked one by a metre
    assert walked > 10
