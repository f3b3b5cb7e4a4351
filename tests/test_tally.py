"""What has been done and what is missing, against counts by brute force."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from itertools import product

import numpy as np
import pytest
import shapely
from builders import parks_frame
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.cli import main
from scout.errors import InputError
from scout.geo.locator import decode, encode, get_index, make_locator, parse
from scout.model import ParkReport, Parks, ParkVisited, Visit
from scout.visits.notebook import Notebook
from scout.visits.tally import (
    collect_done,
    count_added,
    count_by_year,
    find_missing,
    list_grids_at,
    make_cell_keys,
    measure_distance_km,
)

START = datetime(2026, 2, 14, 18, tzinfo=UTC)


def visit(locators=(), parks=(), year=2026, lon=-112.0, lat=-41.0, **more) -> Visit:
    start = START.replace(year=year)
    return Visit(lon, lat, start, locators=tuple(locators), parks=tuple(map(ParkVisited, parks)), **more)


def test_a_pair_is_every_grid_of_a_visit_with_every_park_of_it():
    found = collect_done([visit(["DE39", "DE49"], ["A", "B"]), visit(["DE39"], ["C"])], 2)
    assert found.grids == {"DE39", "DE49"}
    assert found.parks == {"A", "B", "C"}
    assert found.pairs == {("DE39", "A"), ("DE39", "B"), ("DE49", "A"), ("DE49", "B"), ("DE39", "C")}


def test_a_visit_without_a_contact_has_done_nothing_and_one_uncounted_has():
    assert collect_done([visit(["DE39"], ["A"], contacts=0)], 2).grids == set()
    assert collect_done([visit(["DE39"], ["A"], contacts=None)], 2).parks == {"A"}


def test_a_coarser_level_cuts_and_a_finer_one_takes_the_ground_nearest_to_the_station():
    corner = visit(["DE39", "DE49", "DE38", "DE48"])
    assert list_grids_at(corner, 1) == ("DE",)
    # round the corner at 41 S 112 W, by the cells' own edges
    near = [encode(-112 + dx, -41 + dy, 3) for dy, dx in product((1e-3, -1e-3), (-1e-3, 1e-3))]
    assert list(list_grids_at(corner, 3)) == near
    off = visit(["DE49"], lon=-111.3, lat=-40.4)
    assert list_grids_at(off, 4) == (encode(-111.3, -40.4, 4),)


@given(
    st.floats(-180, 180, exclude_max=True),
    st.floats(-89, 89),
    st.integers(1, 3),
    st.integers(-1, 1),
    st.integers(-1, 1),
)
def test_the_finer_cell_is_the_one_nearest_to_the_station_wherever_it_stands(lon, lat, level, east, north):
    i, j = get_index(lon, lat, level)
    j = min(max(int(j) + north, 0), 18 * (1, 10, 240)[level - 1] - 1)
    claimed = str(make_locator(int(i) + east, j, level))
    (fine,) = list_grids_at(visit([claimed], lon=lon, lat=lat), level + 1)
    assert fine.startswith(claimed)
    # No other part of the claimed cell is nearer, east to west and south to north each by itself.
    parts = [decode(claimed + end) for end in ends_of(level)]
    mine = decode(fine)
    assert span(lon, mine.west, mine.east, 360) <= min(span(lon, p.west, p.east, 360) for p in parts) + 1e-9
    assert span(lat, mine.south, mine.north) <= min(span(lat, p.south, p.north) for p in parts) + 1e-9


@pytest.mark.parametrize("fields", range(-8, 9))
def test_the_nearer_end_of_a_far_cell_is_taken_round_the_globe(fields):
    """A position at 5 W and a claim up to 160 degrees away, east or west."""
    i, j = get_index(-5.0, 45.0, 1)
    claimed = str(make_locator(int(i) + fields, j, 1))
    (fine,) = list_grids_at(visit([claimed], lon=-5.0, lat=45.0), 2)
    # JN75 is at home; a field to the east is nearest at its west end, column 0.
    assert fine == claimed + ("75" if fields == 0 else "05" if fields > 0 else "95")


def ends_of(level):
    letters = "0123456789" if level in (1, 3) else "abcdefghijklmnopqrstuvwx"
    return [a + a for a in letters]


def span(value, low, high, round_=None):
    """How far a value lies outside an interval."""
    turns = (0,) if round_ is None else (-round_, 0, round_)
    return min(max(low - value - t, value + t - high, 0.0) for t in turns)


def test_a_year_tells_what_was_new_in_it():
    visits = [visit(["DE39"], ["A"], 2024, contacts=5), visit(["DE39", "DE49"], ["A"], 2026, contacts=2)]
    first, last = count_by_year(visits, 2)
    assert (first.year, first.visits, first.contacts, first.new.pairs) == (2024, 1, 5, {("DE39", "A")})
    assert (last.year, last.done.grids, last.new.grids) == (2026, {"DE39", "DE49"}, {"DE49"})
    assert (last.new.parks, last.new.pairs) == (set(), {("DE49", "A")})
    assert {part.level for year in (first, last) for part in (year.done, year.new)} == {2}


GRIDS = [str(make_locator(i, j, 2)) for i, j in product(range(3), range(90, 93))] + ["RJ90"]
IDS = ["A", "B", "C", "D"]
CLAIMS = st.tuples(st.sets(st.sampled_from(GRIDS), max_size=4), st.sets(st.sampled_from([*IDS, "gone"])))


@given(st.lists(CLAIMS, max_size=6), st.lists(CLAIMS, min_size=1, max_size=8))
def test_what_a_place_adds_is_what_a_count_by_hand_finds_on_any_notebook(visits, places):
    so_far = collect_done([visit(sorted(grids), sorted(parks)) for grids, parks in visits], 2)
    places = [(sorted(grids), sorted(parks - {"gone"})) for grids, parks in places]
    cells = np.full((len(places), 4), -1, dtype=np.int64)
    for row, (grids, _) in enumerate(places):
        for k, grid in enumerate(grids):
            i, j = get_index(decode(grid).lon, decode(grid).lat, 2)
            cells[row, k] = make_cell_keys(np.array(int(i) + 180 * (k % 2)), np.array(j), 2)
    first = np.cumsum([0, *(len(parks) for _, parks in places)])
    park = np.array([IDS.index(p) for _, parks in places for p in parks], dtype=np.int64)
    found = count_added(so_far, cells, first, park, np.array(IDS, dtype=object))
    for row, (grids, parks) in enumerate(places):
        grids_done = {g for some, _ in visits for g in some}
        parks_done = {p for _, some in visits for p in some}
        pairs_done = {pair for some, held in visits for pair in product(some, held)}
        assert found.grids[row] == len(set(grids) - grids_done)
        assert found.parks[row] == len(set(parks) - parks_done)
        assert found.pairs[row] == len(set(product(grids, parks)) - pairs_done)


def parks_of(*shapes) -> Parks:
    named = [((f"Q-{k}", f"Park {k}"), shape) for k, shape in enumerate(shapes)]
    return Parks(parks_frame(*named), (), ParkReport())


@settings(max_examples=40)
@given(st.data())
def test_what_is_missing_is_what_looking_at_every_cell_finds(data):
    lon0, lat0 = data.draw(st.sampled_from([(10.0, 45.0), (-179.9, -17.0), (179.95, 63.0)]))
    number = st.floats(-1.5, 1.5).map(lambda v: round(v, 2))
    corners = data.draw(st.lists(st.tuples(number, number), min_size=1, max_size=4))
    size = data.draw(st.sampled_from([0.05, 0.4]))
    shapes = [shapely.box(lon0 + x, lat0 + y, lon0 + x + size, lat0 + y + size) for x, y in corners]
    radius_km = data.draw(st.sampled_from([20.0, 90.0]))
    so_far = collect_done([visit([encode(lon0, lat0, 2)], ["Q-0"])], 2)
    # Home is told the other way round the globe from the parks, where that matters.
    found = {
        r.park: r
        for r in find_missing(parks_of(*shapes), so_far, ((lon0 + 180) % 360 - 180, lat0), radius_km)
    }
    for k, shape in enumerate(shapes):
        # A fine net of points in the park, each with its geodesic distance from home.
        west, south, east, north = shape.bounds
        net = [(x, y) for x in np.linspace(west, east, 15) for y in np.linspace(south, north, 15)]
        far = [Geodesic.WGS84.Inverse(lat0, lon0, y, x)["s12"] / 1000 for x, y in net]
        inside = [p for p, d in zip(net, far, strict=True) if d <= radius_km]
        cells = {
            encode((x + dx + 180) % 360 - 180, y + dy, 2)
            for x, y in inside
            for dx, dy in ((1e-6, 1e-6), (-1e-6, -1e-6), (1e-6, -1e-6), (-1e-6, 1e-6))
            if shape.contains(shapely.Point(x + dx, y + dy))
        }
        reach = found.get(f"Q-{k}")
        if reach is None:
            assert not cells
            continue
        assert cells <= set(reach.grids)
        assert reach.open_grids == tuple(g for g in reach.grids if (g, reach.park) not in so_far.pairs)
        assert reach.visited == (k == 0)
        # The nearest ground is no further than the net's nearest point, nor nearer than a mesh from it.
        mesh_km = size / 14 * 111.4
        assert min(far) - mesh_km * 1.5 <= reach.distance_km <= min(far) + 0.02 * min(far) + 1e-6
        assert reach.distance_km <= radius_km * 1.001
        for grid in set(reach.grids) - cells:
            cell = decode(grid)
            turned = min(abs(cell.lon + t - lon0) for t in (-360, 0, 360))
            assert turned <= 2.0 + 1.9 + size  # no cell from the other side of the globe


def test_a_cell_that_is_only_touched_is_not_reached():
    (reach,) = find_missing(
        parks_of(shapely.box(8.0, 45.0, 10.0, 46.0)), collect_done([], 2), (9.0, 45.5), 500.0
    )
    assert reach.grids == ("JN45",)
    assert reach.distance_km == 0.0


def test_a_cell_that_the_ground_touches_on_any_side_is_not_reached():
    """One whole square, and a little of each of the four that meet it in a corner only."""
    corners = [shapely.box(x, y, x + 0.5, y + 0.5) for x in (7.0, 10.5) for y in (44.2, 46.3)]
    ground = shapely.MultiPolygon([shapely.box(8.0, 45.0, 10.0, 46.0), *corners])
    (reach,) = find_missing(parks_of(ground), collect_done([], 2), (9.0, 45.5), 500.0)
    assert reach.grids == ("JN34", "JN54", "JN45", "JN36", "JN56")


@pytest.mark.parametrize("side", [1, -1])
def test_parks_beyond_the_antimeridian_are_near_by_whichever_longitude_they_go(side):
    beyond = [(-179.9, -179.8), (180.1, 180.2)] if side > 0 else [(179.8, 179.9), (-180.2, -180.1)]
    parks = parks_of(*(shapely.box(west, 10.0, east, 10.1) for west, east in beyond))
    found = find_missing(parks, collect_done([], 2), (side * 179.95, 10.05), 60.0)
    far = Geodesic.WGS84.Inverse(10.05, side * 179.95, 10.05, -side * 179.9)["s12"] / 1000
    assert [reach.distance_km for reach in found] == pytest.approx([far, far], rel=1e-4)
    assert {reach.grids for reach in found} == {("AK00",) if side > 0 else ("RK90",)}


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("turn", [0.0, 360.0])
def test_the_nearest_ground_beyond_the_antimeridian_is_sought_from_this_side(side, turn):
    """A slanted shore: the least of the geodesics to places along it."""
    shore = np.array([(179.9, 10.0), (179.0, 12.0)]) * [-side, 1.0]
    ground = shapely.Polygon([*shore, (-side * 178.5, 10.0)])
    home = side * 179.95, 11.0
    along = [shore[0] + t * (shore[1] - shore[0]) for t in np.linspace(0.0, 1.0, 2001)]
    far = min(Geodesic.WGS84.Inverse(home[1], home[0], y, x)["s12"] for x, y in along) / 1000
    turned = shapely.transform(ground, lambda xy: xy + np.array([side * turn, 0.0]))
    assert measure_distance_km(home, turned) == pytest.approx(far, rel=2e-3)


def test_round_a_pole_every_longitude_is_near():
    parks = parks_of(shapely.box(-170.0, 88.9, -165.0, 89.5), shapely.box(0.0, 60.0, 1.0, 61.0))
    (reach,) = find_missing(parks, collect_done([], 1), (10.0, 89.5), 300.0)
    assert reach.park == "Q-0"


def test_a_level_too_fine_for_a_park_says_so():
    with pytest.raises(InputError, match=r"level extended: Q-0 spans 2,883,601 cells; take a coarser level"):
        find_missing(parks_of(shapely.box(0.0, 40.0, 10.0, 50.0)), collect_done([], 4), (5.0, 45.0), 900.0)


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    book = Notebook("visits.gpkg")
    book.add(visit(["JN44", "JN54"], ["Q-1"], 2025, contacts=40))
    book.add(visit(["JN54"], ["Q-1", "Q-2"], 2026))
    shapes = {
        "Q-1": (9.9, 44.9, 10.1, 45.1),
        "Q-2": (10.3, 44.2, 10.4, 44.3),
        "Q-3": (11.0, 44.0, 11.1, 44.1),
    }
    features = [
        {
            "type": "Feature",
            "properties": {"id": k, "name": f"\x1b[31m{k}"},
            "geometry": shapely.box(*box).__geo_interface__,
        }
        for k, box in shapes.items()
    ]
    (tmp_path / "parks.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return tmp_path


def test_the_tally_is_told_per_year_and_in_all(place, capsys):
    assert main(["tally"]) == 0
    lines = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert lines[2] == ["2025", "1", "40", "2", "(2", "new)", "1", "(1", "new)", "2", "(2", "new)"]
    assert lines[3] == ["2026", "1", "0", "1", "(0", "new)", "2", "(1", "new)", "2", "(1", "new)"]
    assert lines[4] == ["all", "2", "40", "2", "2", "3"]


def test_what_is_missing_is_told_park_by_park_the_nearest_first(place, capsys):
    assert main(["tally", "parks.geojson", "--home", "45,10", "--within", "120"]) == 0
    out = capsys.readouterr().out
    assert "Within 120 km: 2 parks, 0 not yet visited; they reach into 4 grids, 2 not yet done" in out
    assert "5 pairs, 2 missing." in out
    (row,) = [line for line in out.splitlines() if "Q-1" in line]
    assert row.startswith("\ufffd[31mQ-1 (Q-1)  0.0 m")
    assert row.endswith("visited  JN45* JN55*")
    assert "Q-2" not in out
    main(["tally", "parks.geojson", "--home", "45,10", "--within", "200", "--all"])
    out = capsys.readouterr().out
    assert [line.split()[0][-3:] for line in out.splitlines() if re.search(r"\d k?m  ", line)] == [
        "Q-1",
        "Q-2",
        "Q-3",
    ]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (
            ["parks.geojson"],
            "what is missing needs parks, home and radius; give --parks, --home and --within",
        ),
        (["--within", "10"], "what is missing needs parks, home and radius"),
        (["parks.geojson", "--within", "10"], "what is missing needs parks, home and radius"),
        (["--level", "county"], "there is no such level"),
        (["--notebook", "none.gpkg"], "none.gpkg: there is no such notebook"),
    ],
)
def test_what_cannot_be_tallied_gives_one_line(place, capsys, words, line):
    assert main(["tally", *words]) == 2
    err = capsys.readouterr().err
    assert line in err
    assert err.count("\n") == 1


def far_from(home, west, south, east, north):
    """Kilometres by geographiclib to the nearest ground of a box, looked for along its edges."""
    if west <= home[0] <= east and south <= home[1] <= north:
        return 0.0
    xs, ys = np.linspace(west, east, 201), np.linspace(south, north, 201)
    rim_lon = np.concatenate([xs, xs, np.full(201, west), np.full(201, east)])
    rim_lat = np.concatenate([np.full(201, south), np.full(201, north), ys, ys])
    # What is nearest by the chord through a sphere, then by the geodesic.
    chord = np.sum((put_on_sphere(rim_lon, rim_lat) - put_on_sphere(*home)[:, None]) ** 2, axis=0)
    near = [(rim_lon[k], rim_lat[k]) for k in np.argsort(chord)[:3]]
    return min(Geodesic.WGS84.Inverse(home[1], home[0], y, x)["s12"] for x, y in near) / 1000


def put_on_sphere(lon, lat):
    lon, lat = np.radians(lon), np.radians(lat)
    return np.array([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


@pytest.mark.parametrize(
    ("home", "level", "within_km"),
    [
        ((10.3, 45.4), 3, 25.0),
        ((10.3, 45.4), 2, 400.0),
        ((-179.97, -16.8), 3, 30.0),
        ((179.95, 63.02), 3, 20.0),
        ((25.0, 78.5), 3, 15.0),
        ((-70.02, -54.01), 4, 2.5),
    ],
)
def test_the_parks_and_cells_within_a_radius_are_those_whose_nearest_ground_is(home, level, within_km):
    """Parks are boxes, and so is what a cell has of one; only what is 0.2 % from the radius is left open."""
    reach_deg = within_km / 111.0
    wide = reach_deg / np.cos(np.radians(home[1]))
    places = product((-2.2, -1.15, -0.6, 0.3, 0.75, 0.93), (-1.3, -0.85, -0.2, 0.72, 0.94))
    boxes = [
        (
            home[0] + x * wide,
            home[1] + y * reach_deg,
            home[0] + (x + 0.5) * wide,
            home[1] + (y + 0.4) * reach_deg,
        )
        for x, y in places
    ]
    found = find_missing(
        parks_of(*(shapely.box(*b) for b in boxes)), collect_done([], level), home, within_km
    )
    assert [r.distance_km for r in found] == sorted(r.distance_km for r in found)
    by_park = {reach.park: reach for reach in found}
    decided = 0
    for k, (west, south, east, north) in enumerate(boxes):
        far = far_from(home, west, south, east, north)
        if abs(far - within_km) > 0.002 * within_km:
            assert (f"Q-{k}" in by_park) == (far < within_km)
        if f"Q-{k}" not in by_park:
            continue
        assert by_park[f"Q-{k}"].distance_km == pytest.approx(far, rel=0.002, abs=0.002)
        grids = set(by_park[f"Q-{k}"].grids)
        xs, ys = np.arange(west, east, 1e-3 * wide), np.arange(south, north, 1e-3 * reach_deg)
        lons, lats = np.append(xs, east - 1e-7), np.append(ys, north - 1e-7)
        rows = np.unique(get_index(np.full(len(lats), 0.0), lats, level)[1])
        _, once = np.unique(get_index(lons, np.full(len(lons), 0.0), level)[0], return_index=True)
        for x, j in product(lons[once], rows):
            cell = decode(encode(x, decode(str(make_locator(0, int(j), level))).lat, level))
            turn = 360.0 * round((x - cell.lon) / 360.0)
            part = (
                max(west, cell.west + turn),
                max(south, cell.south),
                min(east, cell.east + turn),
                min(north, cell.north),
            )
            far = far_from(home, *part)
            if abs(far - within_km) > 0.002 * within_km and min(part[2] - part[0], part[3] - part[1]) > 1e-6:
                decided += 1
                assert (cell.locator in grids) == (far < within_km), (cell.locator, far)
    assert decided > 50


def test_cells_are_listed_row_by_row_from_the_south_and_parks_at_one_distance_by_their_ids():
    wide = shapely.box(8.5, 44.5, 11.5, 46.5)
    found = find_missing(parks_of(wide, wide, wide), collect_done([], 2), (9.0, 45.0), 1000.0)
    assert [(reach.park, reach.distance_km) for reach in found] == [("Q-0", 0.0), ("Q-1", 0.0), ("Q-2", 0.0)]
    assert found[0].grids == ("JN44", "JN54", "JN45", "JN55", "JN46", "JN56")
    assert found[0].name == "Park 0"


def test_the_southern_pole_is_like_the_northern():
    parks = parks_of(shapely.box(-170.0, -89.5, -165.0, -88.9), shapely.box(0.0, -61.0, 1.0, -60.0))
    (reach,) = find_missing(parks, collect_done([], 1), (10.0, -89.5), 300.0)
    assert reach.park == "Q-0"  # half a degree to the pole and half beyond it, all but 5 degrees of turn
    assert reach.distance_km == pytest.approx(
        Geodesic.WGS84.Inverse(-89.5, 10.0, -89.5, -165.0)["s12"] / 1000
    )
    assert reach.grids == ("AA",)


def test_where_no_park_is_known_a_place_adds_its_cells_alone():
    cells = make_cell_keys(np.array([[3, 4], [3, 3]]), np.array([[90, 90], [91, 92]]), 2)
    cells[1, 1] = -1
    so_far = collect_done([visit([str(make_locator(3, 90, 2))], ["gone"])], 2)
    found = count_added(so_far, cells, np.zeros(3, dtype=np.int64), np.empty(0, dtype=np.int64), np.array([]))
    assert (found.grids.tolist(), found.parks.tolist(), found.pairs.tolist()) == ([1, 1], [0, 0], [0, 0])


def test_a_year_counts_visits_and_contacts_and_the_level_of_a_visit_may_be_any():
    visits = [visit(["DE39"], contacts=3), visit(["DE39aa"], contacts=None), visit(["DE"], contacts=4)]
    (year,) = count_by_year(visits, 2)
    assert (year.visits, year.contacts) == (3, 7)
    assert collect_done(visits, 1).grids == {"DE"}
    assert list_grids_at(visit(["DE39", "DE39aa", "DE48"]), 2) == ("DE39", "DE48")
    assert list_grids_at(visit(["de39AA"]), 3) == ("DE39aa",)


def test_the_first_cells_of_the_world_count_like_others():
    """AA00 begins at 180 W 90 S: its columns, rows and key are 0."""
    i, j, _ = parse(np.array(["AA00", "AA01", "BA00"]))
    cells = make_cell_keys(i, j, 2)[None, :]
    one_park, ids = np.array([0]), np.array(["A"], dtype=object)
    found = count_added(collect_done([], 2), cells, np.array([0, 1]), one_park, ids)
    assert (found.grids.tolist(), found.parks.tolist(), found.pairs.tolist()) == ([3], [1], [3])
    assert {column.dtype.kind for column in found} == {"i"}  # counts
    so_far = collect_done([visit(["AA00", "BA00"], ["A"])], 2)
    found = count_added(so_far, cells, np.array([0, 1]), one_park, ids)
    assert (found.grids.tolist(), found.parks.tolist(), found.pairs.tolist()) == ([1], [0], [1])
    # a park is known only by its own number, whatever the cell
    found = count_added(so_far, np.array([[1, 0]]), np.array([0, 2]), np.array([0, 1]), np.array(["B", "A"]))
    assert (found.parks.tolist(), found.pairs.tolist()) == ([1], [3])
