"""The base geography: packed as its sources have it, in the page within its bytes and where it belongs."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from builders import bay, box, corner_spot, findings, parks_frame
from page_reader import Reader, words
from test_page import synthetic
from test_page_ground import unpacked

from scout.output import base_geography
from scout.output.base_geography import BASE_UNITS_PER_DEG, load_base
from scout.page.document import build_map
from scout.page.geography import ROOM, make_geography_data
from scout.page.packing import PageFrame

PACKED = Path(base_geography.__file__).with_name(base_geography.PACKED_FILE)

# West, south, east, north of what a page may show, and the middle of its longitudes.
WORLD = ((-170, -80, 170, 80), 0.0)
SHOWN = {
    "alps": ((9.4, 47.0, 9.7, 47.3), 9.5),
    "utah": ((-118, 32, -108, 42), -113.0),
    "fiji": ((177, -19, 181.5, -16), 179.0),
    "pole": ((0, 88, 90, 89), 45.0),
    "continent": ((-10, 35, 30, 65), 10.0),
    "world": WORLD,
}


def drawn_around(name: str) -> dict[str, Any]:
    (west, south, east, north), middle = SHOWN[name]
    return make_geography_data(np.array([(west, south), (east, north)], dtype=float), PageFrame(middle))


def lines_of(records: list[list[Any]]) -> list[Any]:
    return [shapely.LineString(unpacked(record[0])[0] / BASE_UNITS_PER_DEG) for record in records]


def written_bytes(value: Any) -> int:
    return len(json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode("utf-8"))


# The packed file


def test_the_packed_file_is_small():
    assert PACKED.stat().st_size < 700_000


def test_land_has_the_area_that_land_has():
    # 148.9 million km2, the figure of the common almanacs; a sphere of 6,371 km, rings even-odd.
    land = load_base().layers["land"]
    lon, lat = np.radians(land.lonlat).T
    begin = np.cumsum(land.sizes) - land.sizes
    area = []
    for first, size in zip(begin, land.sizes, strict=True):
        x, y = lon[first : first + size], lat[first : first + size]
        area.append(abs(np.sum(np.diff(x) * (np.sin(y[1:]) + np.sin(y[:-1])) / 2)) * 6371.0**2)
    assert sum(area) == pytest.approx(148.9e6, rel=0.02)


@pytest.mark.parametrize(
    ("layer", "file"),
    [
        ("land", "land"),
        ("lakes", "lakes"),
        ("rivers", "rivers_lake_centerlines"),
        ("states", "admin_1_states_provinces_lines"),
    ],
)
def test_every_vertex_is_as_in_the_source(layer: str, file: str, shared_data: Callable[[str], Path]):
    text = shared_data(f"natural_earth/ne_50m_{file}.geojson").read_text(encoding="utf-8")
    shapes = [shapely.geometry.shape(f["geometry"]) for f in json.loads(text)["features"] if f["geometry"]]
    source = shapely.get_coordinates(shapes)
    tree = shapely.STRtree(shapely.points(source))
    packed = load_base().layers[layer]
    _, away = tree.query_nearest(shapely.points(packed.lonlat), return_distance=True, all_matches=False)
    assert away.max() < 0.75 / BASE_UNITS_PER_DEG
    # And none is lost but those that are rounded to the one before.
    back = shapely.STRtree(shapely.points(packed.lonlat))
    _, away = back.query_nearest(shapely.points(source), return_distance=True, all_matches=False)
    assert away.max() < 1.5 / BASE_UNITS_PER_DEG


def test_towns_come_by_rank_and_where_they_are():
    base = load_base()
    assert np.all(np.diff(base.town_ranks) >= 0)
    assert all(base.town_names)
    # 48.857 N 2.352 E: the position that encyclopedias give of Paris.
    at = base.towns[base.town_names.index("Paris")]
    assert at == pytest.approx((2.352, 48.857), abs=0.05)


# In the page


@pytest.mark.parametrize("name", SHOWN)
def test_no_layer_takes_more_bytes_than_it_has(name: str):
    drawn = drawn_around(name)
    for layer, room in ROOM.items():
        assert written_bytes(drawn[layer]) <= room + 2, layer
    assert sum(ROOM.values()) <= 150_000
    assert written_bytes(drawn) <= 150_000


def test_the_least_towns_make_way_first():
    shown = SHOWN["world"]
    everywhere = make_geography_data(np.array([shown[0][:2], shown[0][2:]], dtype=float), PageFrame(0.0))
    kept = [rank for _, _, rank, _ in everywhere["towns"]]
    assert kept == sorted(kept)
    base = load_base()
    assert len(kept) < len(base.towns)
    assert kept == base.town_ranks[: len(kept)].tolist()


def test_the_least_rivers_make_way_first():
    ranks = load_base().layers["rivers"].ranks
    drawn = [record[1] for record in drawn_around("world")["rivers"]]
    assert drawn == sorted(drawn)
    least = max(drawn)
    assert drawn.count(least) < 0.9 * np.count_nonzero(ranks == least)
    # Of the others only loops that are smaller than a pixel are left out.
    for rank in range(1, least):
        assert drawn.count(rank) > 0.97 * np.count_nonzero(ranks == rank)


def test_around_its_places_a_page_has_the_coast_in_full_and_the_world_coarse():
    drawn = drawn_around("utah")
    land = shapely.MultiLineString(lines_of(drawn["land"]))
    base = load_base().layers["land"].lonlat
    near = base[(np.abs(base[:, 0] + 113) < 10) & (np.abs(base[:, 1] - 37) < 10)]
    assert len(near) > 100
    # 0.004 degree on the projection, and half a unit for rounding.
    assert shapely.distance(land, shapely.points(near)).max() < 0.005
    far = base[(np.abs(base[:, 0] - 15) < 5) & (np.abs(base[:, 1] - 42) < 3)]
    assert len(far) > 100
    off = shapely.distance(land, shapely.points(far))
    assert off.max() > 0.05
    assert np.median(off) < 0.4


def test_both_sides_of_the_antimeridian_are_near():
    towns = {name for _, _, _, name in drawn_around("fiji")["towns"]}
    assert "Suva" in towns
    land = shapely.MultiLineString(lines_of(drawn_around("fiji")["land"]))
    base = load_base().layers["land"].lonlat
    for west, east in ((177.0, 180.0), (-180.0, -178.0)):
        near = base[(base[:, 0] >= west) & (base[:, 0] <= east) & (np.abs(base[:, 1] + 17.5) < 2)]
        assert len(near)
        assert shapely.distance(land, shapely.points(near)).max() < 0.005


def test_the_edge_of_the_world_is_no_coast():
    for record in drawn_around("fiji")["land"]:
        units, loose = unpacked(record[0])
        at_edge = np.abs(units[:, 0]) >= 180 * BASE_UNITS_PER_DEG - 1
        for k in np.flatnonzero(at_edge[:-1] & at_edge[1:]):
            assert loose[k]
        assert not np.any(np.array(loose)[~at_edge])


def test_a_page_knows_where_the_base_has_no_land():
    assert drawn_around("alps")["lacksLand"] is False
    at_sea = make_geography_data(np.array([(-111.9, -41.0)]), PageFrame(-111.9))
    assert at_sea["lacksLand"] is True


def test_a_page_of_nothing_has_the_coarse_world_alone():
    data = Reader(build_map(findings([], parks_frame(), left_out=(), home=None))).data()
    base = data["geography"]
    assert 100 < len(base["land"]) < 1000
    assert base["lacksLand"] is False
    assert len(json.dumps(base)) < 60_000


def test_the_same_place_counted_from_either_side_has_the_same_geography():
    east, west = (make_geography_data(np.array([(lon, 50.0)]), PageFrame(180.0)) for lon in (179.5, -180.5))
    assert east == west


def test_a_page_without_access_data_is_under_its_bytes_and_names_the_source():
    text = build_map(synthetic(100, 100, 1000))
    assert len(text.encode()) < 700_000
    assert Reader(text).data()["geography"]["land"]
    assert "Natural Earth" in words(build_map(bay()))


def test_a_spot_at_the_pole_is_drawn_around():
    found = findings(
        [corner_spot(0.0, 89.5, ["JR09"], [("QX-1", "Cap")])],
        parks_frame((("QX-1", "Cap"), box(-1, 89, 1, 89.9))),
    )
    data = Reader(build_map(replace(found, home=None))).data()
    assert data["geography"]["land"]
