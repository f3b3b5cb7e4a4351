"""Drives over small nets of roads, worked out by hand, from a GeoJSON file and as OpenStreetMap's own.

They lie at the equator, where a degree of longitude has 111,319.49 m, one of latitude 110,574.28 m (WGS 84).
A limit of 40 km/h is driven at 36, 10 m a second, so that metres over ten are seconds.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from road_nets import Line, degrees, write_geojson, write_osm

from scout.drive.drives import StraightDriving, measure_drives
from scout.drive.network import Roads
from scout.drive.read import make_box, read_roads
from scout.drive.rules import CLASSES, JUNCTION_S, SIGNAL_S, read_limit
from scout.walk.ways import TagMapping

STREET = {"highway": "residential", "maxspeed": "40"}
WEST, EAST, SOUTH, NORTH = (0.0, 0.0), (2000.0, 0.0), (1000.0, -1000.0), (1000.0, 1000.0)


@pytest.fixture(params=["geojson", "osm"])
def read(request: Any, tmp_path: Path) -> Any:
    """Reads a net from a file of either kind."""

    def read(things: list[Line], around: tuple[float, float] = WEST) -> Roads:
        write = write_geojson if request.param == "geojson" else write_osm
        return read_roads(write(tmp_path / f"net.{request.param}", things), degrees(around), 50.0)

    return read


def seconds(roads: Roads, *places: tuple[float, float]) -> Any:
    return measure_drives(degrees(places), roads).minutes * 60


def test_against_a_one_way_street_one_drives_round(read: Any) -> None:
    block = [WEST, (1000, 0), (1000, 1000), (0, 1000), WEST]
    roads = read([(block, {**STREET, "oneway": "yes"})])
    there = seconds(roads, (200, 0), (500, 0))
    assert there == pytest.approx(np.array([[0, 30], [370, 0]]), abs=0.1)


def test_oneway_minus_one_runs_against_the_line(read: Any) -> None:
    block = [WEST, (1000, 0), (1000, 1000), (0, 1000), WEST]
    roads = read([(block, {**STREET, "oneway": "-1"})])
    assert seconds(roads, (200, 0), (500, 0)) == pytest.approx(np.array([[0, 370], [30, 0]]), abs=0.1)


@pytest.mark.parametrize(
    ("tags", "round_only"),
    [
        ({"junction": "roundabout"}, True),
        ({"junction": "roundabout", "oneway": "no"}, False),
        ({"highway": "motorway"}, True),
        ({"highway": "motorway_link"}, False),
        ({"oneway": "no"}, False),
    ],
)
def test_roundabouts_and_motorways_are_one_way(read: Any, tags: dict[str, str], round_only: bool) -> None:
    """Counterclockwise, as it is drawn: from the east arm to the north arm a quarter, and back the rest."""
    ring = [(100, 0), (0, 100), (-100, 0), (0, -100), (100, 0)]
    arms: list[Line] = [([(100, 0), (600, 0)], STREET), ([(0, 100), (0, 600)], STREET)]
    roads = read([(ring, {**STREET, **tags}), *arms])
    times = seconds(roads, (350, 0), (0, 350))
    kind = CLASSES[tags.get("highway", "residential")]
    quarter = np.hypot(100, 100) / 10
    # One junction is come to along the street, the other along the ring.
    delay = JUNCTION_S + (0.0 if kind.free else JUNCTION_S)
    assert times[0, 1] == pytest.approx(50 + quarter + delay, abs=0.1)
    assert times[1, 0] == pytest.approx(50 + (3 if round_only else 1) * quarter + delay, abs=0.1)


@pytest.mark.parametrize(
    ("gate", "closed"),
    [
        ({"barrier": "gate"}, True),
        ({"barrier": "bollard"}, True),
        ({"barrier": "lift_gate", "access": "private"}, True),
        ({"barrier": "gate", "access": "yes", "locked": "yes"}, True),
        ({"barrier": "gate", "access": "no", "motor_vehicle": "yes"}, False),
        ({"barrier": "gate", "locked": "no"}, False),
        ({"barrier": "cattle_grid"}, False),
        ({"barrier": "toll_booth"}, False),
    ],
)
def test_a_gate_closes_a_road_unless_it_lets_cars_through(
    read: Any, gate: dict[str, str], closed: bool
) -> None:
    short = [WEST, (1000, 0), EAST]
    long = [WEST, (0, 1000), (2000, 1000), EAST]
    roads = read([(short, STREET), (long, STREET), ([(1000, 0)], gate)])
    times = seconds(roads, (500, 0), (1500, 0))
    assert times[[0, 1], [1, 0]] == pytest.approx(500 if closed else 100, abs=0.1)
    assert (roads.gates == 1) == closed
    assert any("close a road to cars: 1" in note for note in roads.notes) == closed


def test_a_gate_beside_the_vertices_of_another_schema_closes_what_it_lies_on(tmp_path: Path) -> None:
    short: Line = ([WEST, EAST], STREET)
    long: Line = ([WEST, (0, 1000), (2000, 1000), EAST], STREET)
    for gate, expected in (((1000, 0.5), 500), ((1000, 3), 100)):
        path = write_geojson(tmp_path / "net.geojson", [short, long, ([gate], {"barrier": "gate"})])
        roads = read_roads(path, degrees(WEST))
        # The places are beside the segment that the gate closes.
        times = seconds(roads, (0, 100), (2000, 100))
        assert times[0, 1] == pytest.approx({500: 380, 100: 220}[expected], abs=0.1)


@pytest.mark.parametrize(
    ("tags", "through"),
    [
        ({"access": "destination"}, False),
        ({"motor_vehicle": "customers"}, False),
        ({"vehicle": "private", "motor_vehicle": "destination"}, False),
        ({"access": "permissive"}, True),
        ({"access": "no", "motorcar": "yes"}, True),
    ],
)
def test_a_destination_only_road_is_no_short_cut(read: Any, tags: dict[str, str], through: bool) -> None:
    long: Line = ([WEST, (0, 1000), (2000, 1000), EAST], STREET)
    roads = read([long, ([WEST, (1000, 0), EAST], {**STREET, **tags})])
    times = seconds(roads, (0, 100), (2000, 100), (500, 0), (1500, 0))
    assert times[[0, 1], [1, 0]] == pytest.approx(220 if through else 380, abs=0.1)
    # To a place on it from either side, and along it from one to another.
    assert times[[0, 1, 2, 3], [2, 3, 0, 1]] == pytest.approx(60, abs=0.1)
    assert times[[0, 3], [3, 0]] == pytest.approx(160, abs=0.1)
    assert times[[2, 3], [3, 2]] == pytest.approx(100, abs=0.1)


def test_streets_reached_by_a_destination_only_road_alone_are_reached(read: Any) -> None:
    """Two colonies with open streets, a longer open road round both: nobody drives through them."""
    private = {**STREET, "access": "destination"}
    roads = read(
        [
            ([WEST, (0, 3000), (4000, 3000), (4000, 0)], STREET),
            ([WEST, (500, 0)], private),
            ([(500, 0), (1500, 0)], STREET),
            ([(1500, 0), (4000, 0)], private),
        ]
    )
    times = seconds(roads, (0, 100), (1000, 0), (4000, 100))
    assert times[0, 1] == pytest.approx(10 + 100, abs=0.1)
    assert times[1, 2] == pytest.approx(300 + 10, abs=0.1)
    assert times[0, 2] == pytest.approx(290 + 400 + 290, abs=0.1)


@pytest.mark.parametrize(
    "closed", [{"access": "private"}, {"motor_vehicle": "no"}, {"vehicle": "forestry;agricultural"}]
)
def test_closed_roads_are_not_driven(read: Any, closed: dict[str, str]) -> None:
    roads = read([([WEST, EAST], {**STREET, **closed}), ([WEST, (0, 1000), (2000, 1000), EAST], STREET)])
    assert seconds(roads, (0, 100), (2000, 100))[0, 1] == pytest.approx(380, abs=0.1)
    assert "roads closed to cars, not used: 1" in roads.notes


def test_limits_in_miles_an_hour(read: Any) -> None:
    """25 mph are 40.2336 km/h (a mile is 1,609.344 m)."""
    roads = read([([WEST, EAST], {"highway": "tertiary", "maxspeed": "25 mph"})])
    assert seconds(roads, (500, 0), (1500, 0))[0, 1] == pytest.approx(1000 / (0.9 * 40.2336 / 3.6), abs=0.1)


@pytest.mark.parametrize(
    ("text", "kmh"),
    [
        ("50", 50), ("50 km/h", 50), ("30 mph", 48.28032), ("10 knots", 18.52), ("DE:urban", 50),
        ("FR:zone30", 30),
        ("DE:zone:30", 30), ("XX:rural", 90), ("none", 200), ("walk", 7), ("signals", np.nan), ("0", np.nan),
        ("50;30", np.nan), ("", np.nan), ("-3", np.nan), ("fast", np.nan), ("٣٠", np.nan),
    ],
)  # fmt: skip
def test_values_of_maxspeed(text: str, kmh: float) -> None:
    assert read_limit(text) == pytest.approx(kmh, nan_ok=True)


def test_surfaces_and_grades_slow(read: Any) -> None:
    for tags, kmh in (
        ({"surface": "gravel"}, 30),
        ({"tracktype": "grade2", "motor_vehicle": "yes"}, 25),
        ({"smoothness": "very_bad"}, 15),
        ({"surface": "asphalt"}, 36),
    ):
        roads = read([([WEST, EAST], {**STREET, **tags})])
        assert seconds(roads, (500, 0), (1500, 0))[0, 1] == pytest.approx(3600 / kmh, abs=0.1)


def test_ferries_are_told_of_and_not_used(read: Any) -> None:
    roads = read(
        [
            ([WEST, (12_000, 0)], STREET),
            ([(12_000, 0), (15_000, 0)], {"route": "ferry", "name": "Tern Ferry", "motor_vehicle": "yes"}),
            ([(15_000, 0), (26_000, 0)], STREET),
        ]
    )
    drives = measure_drives(degrees([(1000, 0), (16_000, 0), (17_000, 0)]), roads)
    assert np.isinf(drives.minutes[0, 1:]).all()
    assert np.isinf(drives.km[1:, 0]).all()
    assert drives.minutes[1, 2] == pytest.approx(100 / 60, abs=0.01)
    assert drives.by_road.all()
    assert drives.trace(0, 1).shape == (0, 2)
    assert "ferries, not used, for their times are not known: 1 (Tern Ferry)" in drives.notes
    assert "drives that no road known leads along: 4 of 6" in drives.notes


def test_junctions_and_signals_take_time(read: Any) -> None:
    cross: list[Line] = [([WEST, (1000, 0), EAST], STREET), ([SOUTH, (1000, 0), NORTH], STREET)]
    assert seconds(read(cross), (500, 0), (1500, 0))[0, 1] == pytest.approx(100 + JUNCTION_S, abs=0.1)
    lit = [*cross, ([(1000.0, 0.0)], {"highway": "traffic_signals"})]
    assert seconds(read(lit), (500, 0), (1500, 0))[0, 1] == pytest.approx(100 + SIGNAL_S, abs=0.1)
    drive: Line = ([(1000, 0), NORTH], {"highway": "service"})
    assert seconds(read([cross[0], drive]), (500, 0), (1500, 0))[0, 1] == pytest.approx(100, abs=0.1)


def test_two_roads_between_the_same_places_are_two(read: Any) -> None:
    """Where they part three roads meet, though both have as many vertices."""
    north: Line = ([(1000, 0), (1500, 400), EAST], STREET)
    south: Line = ([(1000, 0), (1500, -300), EAST], STREET)
    times = seconds(read([([WEST, (1000, 0)], STREET), north, south]), (500, 0), EAST)
    assert times[0, 1] == pytest.approx(50 + JUNCTION_S + 2 * np.hypot(500, 300) / 10, abs=0.1)


def test_a_place_where_roads_meet_is_on_all_of_them(read: Any) -> None:
    """The street that it is nearest to is any of them, also one that leads away only."""
    away: Line = ([(1000, 0), (1500, 400), EAST], {**STREET, "oneway": "yes"})
    back: Line = ([EAST, (1500, -400), (1000, 0)], {**STREET, "oneway": "yes"})
    for net in ([away, back, ([WEST, (1000, 0)], STREET)], [([WEST, (1000, 0)], STREET), back, away]):
        times = seconds(read(net), (1000, 0), (500, 0))
        assert times[[0, 1], [1, 0]] == pytest.approx(50, abs=JUNCTION_S + 0.1)


def test_roads_that_cross_without_a_vertex_do_not_meet(read: Any) -> None:
    roads = read([([WEST, EAST], STREET), ([SOUTH, NORTH], STREET)])
    assert np.isinf(seconds(roads, (100, 0), (1000, 900))[0, 1])


def test_tracks_serve_the_last_bit(read: Any) -> None:
    long: Line = ([WEST, (0, 1000), (2000, 1000), EAST], STREET)
    for tags, through in (({}, False), ({"motor_vehicle": "yes"}, True), ({"tracktype": "grade1"}, True)):
        track: Line = ([WEST, (1000, 0), EAST], {"highway": "track", "maxspeed": "33 km/h", **tags})
        times = seconds(read([long, track]), (0, 100), (2000, 100), (500, 0))
        assert times[0, 1] == pytest.approx(20 + 2000 / (29.7 / 3.6) if through else 380, abs=0.1)
        assert times[0, 2] == pytest.approx(10 + 500 / (29.7 / 3.6), abs=0.1)


def test_roads_too_rough_for_a_car_are_told_of(read: Any) -> None:
    for tags in (
        {"tracktype": "grade5"},
        {"smoothness": "horrible"},
        {"4wd_only": "yes"},
        {"ice_road": "yes"},
    ):
        roads = read([([WEST, EAST], {"highway": "track", "name": "Rut Lane", **tags})])
        assert not len(roads)
        assert "roads too rough for an ordinary car, not used: 1 (Rut Lane)" in roads.notes
    roads = read(
        [([WEST, EAST], {**STREET, "motor_vehicle:conditional": "no @ (Nov-Apr)", "name": "High Pass"})]
    )
    assert "roads with times or seasons of their own, taken as open: 1 (High Pass)" in roads.notes


def test_a_place_is_not_taken_to_a_scrap_of_road_nor_to_a_motorway(read: Any) -> None:
    roads = read(
        [
            ([WEST, (12_000, 0)], STREET),
            ([(5000, 110), (6000, 110)], STREET),  # ends in fields
            ([(4000, 205), (8000, 205)], {"highway": "motorway", "oneway": "no"}),
            ([(8000, 205), (8000, 0)], {"highway": "motorway_link", "oneway": "no"}),
        ]
    )
    drives = measure_drives(degrees([(5500, 200), (6500, 0), (5500, 5000)]), roads)
    assert drives.snap_m == pytest.approx([200, 0, np.nan], abs=0.1, nan_ok=True)
    # The way to the road is driven at 15 km/h.
    assert drives.minutes[0, 1] * 60 == pytest.approx(100 + 200 / 15 * 3.6, abs=0.1)
    assert drives.km[0, 1] == pytest.approx(1.2, abs=0.001)
    assert drives.by_road.tolist() == [[True, True, False], [True, True, False], [False, False, False]]
    assert drives.km[0, 2] == pytest.approx(4.8 * 1.3, abs=0.001)
    assert any(note.endswith("1.3 times the straight distance at 50 km/h: 1 of 3") for note in drives.notes)


def test_where_no_large_road_is_near_a_scrap_serves(read: Any) -> None:
    roads = read([([WEST, (12_000, 0)], STREET), ([(5000, 5000), (6000, 5000)], STREET)])
    drives = measure_drives(degrees([(5500, 5100), (6000, 0), (5100, 5000)]), roads)
    assert np.isinf(drives.minutes[0, 1])
    assert drives.minutes[0, 2] == pytest.approx((40 + 24) / 60, abs=0.01)


def test_the_line_driven_is_that_of_the_road(read: Any) -> None:
    roads = read(
        [
            ([WEST, (1000, 0), (1000, 1000)], STREET),
            ([(1000, 1000), (1000, 2000)], {**STREET, "oneway": "-1"}),
        ]
    )
    drives = measure_drives(degrees([(500, 30), (1030, 500), (400, 0)]), roads)
    assert drives.trace(0, 1) == pytest.approx(
        np.array(degrees([(500, 30), (500, 0), (1000, 0), (1000, 500), (1030, 500)])), abs=1e-6
    )
    assert drives.trace(1, 0) == pytest.approx(drives.trace(0, 1)[::-1], abs=1e-6)
    assert drives.trace(0, 0).tolist() == 2 * degrees([(500, 30)])
    assert drives.trace(0, 2) == pytest.approx(
        np.array(degrees([(500, 30), (500, 0), (400, 0), (400, 0)])), abs=1e-6
    )


def test_two_files_join_where_their_vertices_are_equal(tmp_path: Path) -> None:
    """Of what both have, whole or cut, one is taken: no junction is made of it."""
    left: Line = ([WEST, (500, 0), (1000, 0)], STREET)
    right: Line = ([(1000, 0), (1500, 0), EAST], STREET)
    plain = write_geojson(tmp_path / "left.geojson", [left])
    extract = write_osm(tmp_path / "right.osm", [right, ([EAST, (2000, 900)], STREET)])
    roads = read_roads([plain, extract], degrees(WEST))
    assert seconds(roads, WEST, (2000, 900))[0, 1] == pytest.approx(290, abs=0.1)
    assert len(roads.sources) == 2
    assert [credit.text for source in roads.sources for credit in source.credits]
    again = write_osm(tmp_path / "again.osm", [right])  # the same way, by its id
    cut = write_geojson(
        tmp_path / "cut.geojson", [([WEST, (500, 0)], STREET), ([(1000, 0), (1500, 0)], STREET)]
    )
    more = read_roads([plain, extract, again, cut], degrees(WEST))
    assert seconds(more, WEST, (2000, 900))[0, 1] == pytest.approx(290, abs=0.1)
    assert not more.junction.any()


def test_roads_on_both_sides_of_180_are_one(tmp_path: Path) -> None:
    parts: list[Line] = [([(-1000, 0), (0, 0)], STREET)]
    east = write_geojson(tmp_path / "east.geojson", parts, 180.0)
    west = write_geojson(tmp_path / "west.geojson", [([(0, 0), (1000, 0)], STREET)], -180.0)
    places = [*degrees([(-500, 0)], 180.0), *degrees([(500, 0)], -180.0)]
    roads = read_roads([east, west], places)
    drives = measure_drives(places, roads)
    assert drives.minutes[0, 1] * 60 == pytest.approx(100, abs=0.1)
    assert np.abs(drives.trace(0, 1)[:, 0]).max() <= 180.0
    assert make_box(np.array(places), 10.0)[2] > 180.0


def test_without_roads_drives_are_estimated_and_say_so() -> None:
    places = degrees([(0, 0), (10_000, 0)])
    for drives in (
        measure_drives(places, None),
        measure_drives(places, None, StraightDriving(1.5, 60.0)),
        measure_drives([], None),
        measure_drives(places[:1], None),
    ):
        n = len(drives.places)
        assert drives.minutes.shape == (n, n)
        assert not drives.by_road.any()
        assert np.isnan(drives.snap_m).all()
        assert len(drives.notes) == (n > 1)
    drives = measure_drives(places, None)
    assert drives.km[0, 1] == pytest.approx(13.0, abs=1e-3)
    assert drives.minutes[1, 0] == pytest.approx(13 / 50 * 60, abs=1e-2)
    assert drives.trace(0, 1) == pytest.approx(np.array(places))
    assert drives.notes == (
        "no road is known near the places: driving is estimated, 1.3 times the straight distance at 50 km/h",
    )


def test_roads_that_lead_nowhere_leave_estimates(read: Any) -> None:
    drives = measure_drives(
        degrees([(500, 0), (1500, 0)]), read([([WEST, EAST], {**STREET, "oneway": "yes"})])
    )
    assert not drives.by_road.any()
    assert np.isnan(drives.snap_m).all()
    assert drives.km[0, 1] == pytest.approx(1.3, abs=1e-3)


def test_a_file_without_roads_leaves_estimates(tmp_path: Path) -> None:
    path = write_geojson(tmp_path / "net.geojson", [([WEST, EAST], {"highway": "footway"})])
    roads = read_roads(path, degrees([WEST, EAST]))
    drives = measure_drives(degrees([WEST, EAST]), roads)
    assert not drives.by_road.any()
    assert drives.km[0, 1] == pytest.approx(2.6, abs=1e-3)
    assert "the access data holds no road for cars near the places" in drives.notes


def test_other_schemas_are_read_by_tags_of_the_outing(tmp_path: Path) -> None:
    path = write_geojson(tmp_path / "net.geojson", [([WEST, EAST], {"CLASS": "Minor"})])
    mapped = TagMapping("net.geojson", column="CLASS", values={"Minor": "highway=residential; maxspeed=40"})
    roads = read_roads(path, degrees(WEST), readings=[mapped])
    assert seconds(roads, (500, 0), (1500, 0))[0, 1] == pytest.approx(100, abs=0.1)


def test_two_places_at_one_spot_and_on_one_loop(read: Any) -> None:
    loop = [WEST, (1000, 0), (1000, 1000), (0, 1000), WEST]
    roads = read([(loop, STREET)])
    times = seconds(roads, (100, 0), (100, 0), (0, 100), (500, 1000))
    assert times[0, 1] == pytest.approx(0, abs=1e-3)
    assert times[[0, 2], [2, 0]] == pytest.approx(20, abs=0.1)
    assert times[0, 3] == pytest.approx(160, abs=0.1)
