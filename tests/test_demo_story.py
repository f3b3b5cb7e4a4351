"""The demo island tells the story its README promises: every number in it is measured here.

Areas and cuts come from shapely, distances from geographiclib's geodesics (Karney 2013).
"""

from collections import Counter
from collections.abc import Iterator

import pytest
import rasterio
import shapely
from demo_island import (
    CORNER,
    DEMO,
    LAKE_CORNER,
    LAT,
    LON,
    MERIDIAN,
    PARALLEL,
    SUB_LAT,
    SUB_LON,
    distance_m,
    features,
    geodesic_m,
    in_metres,
    park,
    parks_in_metres,
    stretches,
    tagged,
    walk_min,
)
from shapely import Point
from shapely.geometry.base import BaseGeometry


@pytest.fixture(scope="module")
def all_parks() -> dict[str, BaseGeometry]:
    return parks_in_metres()


@pytest.fixture(scope="module")
def heights() -> Iterator[rasterio.io.DatasetReader]:
    with rasterio.open(DEMO / "heights.tif") as raster:
        yield raster


def test_the_corner_of_four_squares_lies_deep_inside_two_parks(all_parks: dict[str, BaseGeometry]) -> None:
    at = in_metres(CORNER)
    assert {ref for ref, polygon in all_parks.items() if polygon.contains(at)} == {"heron-1", "kestrel-3"}
    assert park("heron-1").contains(CORNER)
    assert park("kestrel-3").contains(CORNER)
    assert distance_m(CORNER, park("heron-1").boundary) == pytest.approx(614, abs=1)
    assert distance_m(CORNER, park("kestrel-3").boundary) == pytest.approx(561, abs=1)


def test_along_the_parallel_up_to_three_parks_count(all_parks: dict[str, BaseGeometry]) -> None:
    found = [(set(refs), length) for refs, length in stretches("parallel", all_parks) if length > 20]
    assert [refs for refs, _ in found] == [
        {"wren-10"},
        {"otter-5"},
        {"otter-5"},  # east of the inholding
        {"heron-1"},
        {"heron-1", "siskin-8"},
        {"heron-1", "siskin-8", "vole-1"},
        {"heron-1", "siskin-8"},
        {"heron-1", "siskin-8", "kestrel-3"},
        {"heron-1", "kestrel-3"},  # through the corner
        {"kestrel-3"},
        {"kestrel-3", "dipper-2"},
        {"kestrel-3"},
        {"vole-1"},
        {"no id"},
    ]


def test_along_the_meridian_the_parks_follow_the_story(all_parks: dict[str, BaseGeometry]) -> None:
    found = [(set(refs), length) for refs, length in stretches("meridian", all_parks) if length > 20]
    assert [refs for refs, _ in found] == [
        {"dunlin-6"},
        {"dunlin-6", "rook-13"},
        {"dunlin-6"},
        {"kestrel-3"},
        {"kestrel-3", "alder-2"},
        {"kestrel-3"},
        {"heron-1", "kestrel-3"},  # through the corner
        {"heron-1"},
        {"heron-1", "vole-1"},
        {"heron-1"},
        {"grebe-2"},
        {"grebe-2", "alder-1"},
        {"alder-1"},
        {"finch-12"},
        {"finch-12"},
    ]


def test_the_inholding_lies_right_on_the_parallel() -> None:
    dale = park("otter-5")
    (farm,) = (shapely.Polygon(ring) for ring in dale.interiors)
    west, east = farm.intersection(PARALLEL).coords
    assert 400 < geodesic_m(Point(west), Point(east)) < 600
    assert len(shapely.get_parts(dale.intersection(PARALLEL))) == 2


def test_the_lake_corner_lies_far_out_in_the_water() -> None:
    (lake,) = tagged("barriers", natural="water", water="lake")
    assert lake.contains(LAKE_CORNER)
    assert distance_m(LAKE_CORNER, lake.boundary) == pytest.approx(458, abs=1)
    assert park("grebe-2").contains(lake)


def test_one_park_stops_200_m_short_of_the_parallel() -> None:
    edge = park("lark-11")
    south = min(shapely.get_coordinates(edge), key=lambda xy: xy[1])
    assert geodesic_m(Point(south), Point(south[0], LAT)) == pytest.approx(200, abs=1)
    assert not edge.intersects(PARALLEL)


def test_one_park_stops_150_m_short_of_a_subsquare_corner(all_parks: dict[str, BaseGeometry]) -> None:
    corner = Point(LON + SUB_LON, LAT - SUB_LAT)
    assert distance_m(corner, park("plover-9")) == pytest.approx(150, abs=1)
    assert not any(polygon.contains(in_metres(corner)) for polygon in all_parks.values())


def test_an_islet_holds_a_subsquare_corner_that_only_a_boat_reaches() -> None:
    corner = Point(LON + 2 * SUB_LON, LAT + 2 * SUB_LAT)
    outer = [s for tags, s in features("parks") if tags["id"] == "tern-4" and s.contains(corner)]
    assert len(outer) == 1
    assert distance_m(corner, outer[0].boundary) > 60
    roads = [s for tags, s in features("access") if tags.get("highway") == "secondary"]
    assert min(distance_m(corner, s) for s in roads) > 2000


def test_a_fort_on_the_meridian_is_wholly_inside_closed_ground(all_parks: dict[str, BaseGeometry]) -> None:
    (closed,) = tagged("barriers", landuse="military")
    assert closed.contains(park("rook-13"))
    dunes = park("dunlin-6").intersection(MERIDIAN)
    assert closed.contains(dunes.interpolate(0.5, normalized=True))
    outside = shapely.get_parts(dunes.difference(closed))
    assert len(outside) == 2
    assert all(in_metres(piece).length > 500 for piece in outside)


def test_the_power_line_runs_35_m_from_the_parallel_in_the_strip() -> None:
    (line,) = tagged("hazards", power="line")
    for at in shapely.get_coordinates(shapely.segmentize(park("wren-10").intersection(PARALLEL), 2e-4)):
        assert distance_m(Point(at), line) == pytest.approx(35, abs=0.5)
    assert distance_m(CORNER, line) > 2000
    towers = {tuple(s.coords[0]) for s in tagged("hazards", power="tower")}
    assert towers == set(line.coords)


def test_the_neighbours_share_a_border_with_slivers(all_parks: dict[str, BaseGeometry]) -> None:
    moor, lake = all_parks["heron-1"], all_parks["grebe-2"]
    doubled = moor & lake
    assert 3 < len(shapely.get_parts(doubled)) < 60
    assert doubled.buffer(-10).is_empty  # nowhere wider than 20 m
    gaps = [shapely.Polygon(ring) for ring in (moor | lake).interiors]
    assert 3 < len(gaps) < 60
    assert all(gap.buffer(-10).is_empty for gap in gaps)


def test_one_park_is_long_and_narrow(all_parks: dict[str, BaseGeometry]) -> None:
    strip = all_parks["wren-10"]
    assert strip.area / (strip.length / 2) == pytest.approx(150, rel=0.02)  # mean width
    assert strip.length / 2 == pytest.approx(18_100, abs=100)


def test_two_parks_overlap_where_no_square_level_line_runs(all_parks: dict[str, BaseGeometry]) -> None:
    both = all_parks["otter-5"] & all_parks["alder-3"]
    assert both.area > 500_000
    assert not both.intersects(in_metres(shapely.segmentize(PARALLEL, 0.001)))


def test_the_steep_short_way_to_the_corner_loses_to_the_gentle_long_one(
    heights: rasterio.io.DatasetReader,
) -> None:
    (steep,), (gentle,) = tagged("access", name="The Ladder"), tagged("access", name="Green Way")
    for line, car_park in ((steep, "Scarp Foot"), (gentle, "Moor Gate")):
        (place,) = tagged("access", amenity="parking", name=car_park)
        assert distance_m(Point(line.coords[0]), place) < 25
        assert distance_m(CORNER, Point(line.coords[-1])) < 10
    (steep_m, steep_min), (gentle_m, gentle_min) = walk_min(heights, steep), walk_min(heights, gentle)
    assert (steep_m, gentle_m) == (pytest.approx(1377, abs=10), pytest.approx(2587, abs=10))
    assert (steep_min, gentle_min) == (pytest.approx(53, abs=1), pytest.approx(34, abs=1))


def test_ways_cross_running_water_only_by_bridge_or_ford() -> None:
    waters = shapely.union_all([s for tags, s in features("barriers") if "waterway" in tags])
    lake = tagged("barriers", water="lake")[0]
    kinds = Counter()
    for tags, line in features("access"):
        if tags.get("highway") in (None, "proposed", "trailhead"):
            continue
        assert not line.intersects(lake), tags
        crossing = tags.get("bridge") or tags.get("ford")
        assert line.intersects(waters) == bool(crossing), tags
        kinds.update(key for key in ("bridge", "ford") if key in tags)
    assert kinds["bridge"] >= 5
    assert kinds["ford"] == 2


def test_ways_cross_walls_and_fences_only_at_gates_and_never_a_cliff() -> None:
    gates = [s for tags, s in features("barriers") if s.geom_type == "Point" and "barrier" in tags]
    lines = [s for tags, s in features("barriers") if tags.get("barrier") in ("wall", "fence")]
    cliff = shapely.union_all(tagged("barriers", natural="cliff"))
    used = set()
    for tags, line in features("access"):
        if line.geom_type != "LineString":
            continue
        assert not line.intersects(cliff), tags
        crossings = line.intersection(shapely.union_all(lines))
        for crossing in [] if crossings.is_empty else shapely.get_parts(crossings):
            near = [k for k, gate in enumerate(gates) if distance_m(crossing, gate) < 0.1]
            assert near, tags
            used.update(near)
    assert used == set(range(len(gates)))


def test_private_closed_and_open_parking_all_occur() -> None:
    parking = [(tags, s) for tags, s in features("access") if tags.get("amenity") == "parking"]
    assert {tags.get("access", "open") for tags, _ in parking} == {"open", "private", "customers", "no"}
    assert {s.geom_type for _, s in parking} == {"Point", "Polygon"}
    (farm,) = (shapely.Polygon(ring) for ring in park("otter-5").interiors)
    assert [tags["access"] for tags, s in parking if farm.intersects(s)] == ["private"]
