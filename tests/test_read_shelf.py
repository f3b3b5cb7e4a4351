"""Parks taken by the index of their file: the same spots, bit for bit, as when all of it is read."""

from __future__ import annotations

import pickle
import sqlite3
import struct
import warnings
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from scout.app.find import SearchOptions, find_spots
from scout.app.outputs import export_findings
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.model import Findings, Ranked
from scout.parks.build import build_parks
from scout.parks.indexed import IndexedLayer, ParkReading, open_indexed
from scout.search.scan import CellWindow
from scout.search.tiles import Tile, narrow_tile

SUFFIXES = (".gpkg", ".fgb", ".shp", ".parquet")
SEARCHES = (
    SearchOptions(level=2, min_grids=2),
    SearchOptions(level=2),
    SearchOptions(level=3, home=(179.9, 0.4), within_km=60.0),
    SearchOptions(level=2, bbox=(177.0, -2.0, -178.0, 2.0), near_m=3000.0),
)


def country(seed: int = 1, count: int = 400) -> gpd.GeoDataFrame:
    """Islands on both sides of 180: ids that come twice, ids missing, islands cut there, a broken ring."""
    rng = np.random.default_rng(seed)
    lon, lat = rng.uniform(176, 184, count), rng.uniform(-3, 3, count)
    size = rng.uniform(0.01, 0.25, count)
    turn = np.linspace(0, 2 * np.pi, 12)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1) * rng.uniform(0.4, 1.0, (count, 12, 1))
    ring[:, -1] = ring[:, 0]
    shapes = shapely.polygons(ring * size[:, None, None] + np.stack([lon, lat], axis=1)[:, None])
    shapes = np.array([_cut(shapely.make_valid(shape)) for shape in shapes], dtype=object)
    shapes[5] = shapely.Polygon([(-178, 0.2), (-177.6, -0.2), (-177.6, 0.2), (-178, -0.2)])  # a bow tie
    ids = np.array([f"X-{k % (count - 40)}" for k in range(count)], dtype=object)
    ids[7::50] = None
    names = np.array([f"Isle {k}" for k in range(count)], dtype=object)
    names[-25:] = [f"ISLE {k % (count - 40)}." for k in range(count - 25, count)]  # of 40 ids 25 agree
    names[::9] = None
    frame = {"code": ids, "name": names, "permit": [f"until {k}" for k in range(count)]}
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=4326)


def _cut(shape: shapely.Geometry) -> shapely.Geometry:
    """Cut at 180 as RFC 7946 asks."""
    west = shapely.intersection(shape, shapely.box(0, -90, 180, 90))
    east = shapely.intersection(shape, shapely.box(180, -90, 360, 90))
    parts = [west, shapely.transform(east, lambda xy: xy - [360.0, 0.0])]
    areas = [one for part in parts for one in shapely.get_parts(part) if one.geom_type == "Polygon"]
    return shapely.MultiPolygon(areas)


def written(path: Path, frame: gpd.GeoDataFrame) -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if path.suffix == ".parquet":
            frame.to_parquet(path, write_covering_bbox=True, schema_version="1.1.0", row_group_size=100)
        else:
            frame.to_file(path, engine="pyogrio")
    return path


def whole(paths: list[Path], options: SearchOptions, **reading) -> Findings:
    return find_spots(build_parks(read_layers(paths), **reading), options)


def shelved(
    paths: list[Path], options: SearchOptions, least: int = 1, most: int = 10**9, **reading
) -> Findings:
    shelf = open_indexed(paths, ParkReading(**reading), least=least)
    assert shelf is not None
    return find_spots(shelf, options, most=most)


def told(findings: Findings) -> tuple[list[Ranked], list[str | bytes]]:
    """What some findings list, and three files of them."""
    files = [export_findings(findings, f"a{suffix}") for suffix in (".geojson", ".csv", ".kml")]
    return list(findings.spots), files


_expected: list[Any] = []  # the findings compared with last, and what they tell: the next are often the same


def same(one: Findings, other: Findings) -> None:
    if not _expected or _expected[0] is not other:
        _expected[:] = [other, told(other)]
    assert told(one) == _expected[1]
    assert one.left_out == other.left_out
    assert one.parks.equals(other.parks)
    assert one.sources == other.sources


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("countries")
    for suffix in SUFFIXES:
        written(folder / f"isles{suffix}", country())
    return folder


@pytest.mark.parametrize("options", SEARCHES, ids=["lines", "overlaps", "home", "area"])
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_the_index_the_same_is_found(folder, suffix, options):
    path = [folder / f"isles{suffix}"]
    expected = whole(path, options)
    assert len(expected.spots) > 20
    same(shelved(path, options), expected)
    same(shelved(path, options, most=50), expected)


def test_without_pyarrow_the_same_is_found(folder, monkeypatch):
    path, options = [folder / "isles.gpkg"], SEARCHES[0]
    expected = whole(path, options)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    same(shelved(path, options), expected)


def test_only_what_the_search_may_need_is_read(folder):
    shelf = open_indexed([folder / "isles.gpkg"], ParkReading(), least=1)
    taken = shelf.load(np.array([3, 8, 11]))
    assert taken.frame.park_id.tolist() == [shelf.ids[3], shelf.ids[8], shelf.ids[11]]
    assert taken.numbers.tolist() == [3, 8, 11]


def test_an_order_can_be_sent_to_another_process(folder):
    for suffix in SUFFIXES:
        shelf = open_indexed([folder / f"isles{suffix}"], ParkReading(), least=1)
        order = shelf.query(np.arange(40))
        sent = pickle.dumps(order)
        assert pickle.loads(sent).load().frame.equals(order.load().frame)
        assert len(sent) < 20_000


def test_layers_with_and_without_an_index_together(folder, tmp_path):
    frame = country(seed=2, count=200)
    plain = written(tmp_path / "more.geojson", frame)
    options, paths = SEARCHES[1], [folder / "isles.gpkg", plain, folder / "isles.fgb"]
    same(shelved(paths, options), whole(paths, options))


def test_ids_names_and_details_as_asked_for(folder):
    reading = {"id_column": "NAME", "name_column": "code", "keep": ("permit", "missing")}
    paths, options = [folder / "isles.gpkg"], SEARCHES[0]
    found = open_indexed(paths, ParkReading(**reading), least=1)
    assert found is None  # the missing column is told by reading everything
    with pytest.raises(InputError, match="'missing'"):
        whole(paths, options, **reading)
    reading["keep"] = ("permit",)
    same(shelved(paths, options, **reading), whole(paths, options, **reading))


def test_degrees_on_another_datum(tmp_path):
    frame = country().set_crs(4269, allow_override=True)
    for suffix in (".gpkg", ".parquet"):
        path = [written(tmp_path / f"old{suffix}", frame)]
        expected = whole(path, SEARCHES[0])
        assert expected.parks.datum_error_m.min() > 0
        same(shelved(path, SEARCHES[0]), expected)


def test_a_shifted_datum_is_searched_where_its_parks_come_to_lie(tmp_path):
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(-110, -80, 400), rng.uniform(30, 45, 400)
    frame = gpd.GeoDataFrame(
        {"code": [f"N{k}" for k in range(400)]},
        geometry=shapely.box(lon, lat, lon + 0.2, lat + 0.2),
        crs=4267,
    )
    path = [written(tmp_path / "nad27.gpkg", frame)]
    same(shelved(path, SEARCHES[0]), whole(path, SEARCHES[0]))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: gpd.read_file(path).to_crs(3832).to_file(path),
        lambda path: gpd.read_file(path).set_geometry(gpd.read_file(path).boundary).to_file(path),
    ],
    ids=["metres", "lines"],
)
def test_what_no_index_serves_is_read_whole(tmp_path, spoil):
    path = written(tmp_path / "isles.gpkg", country(count=60))
    spoil(path)
    assert open_indexed([path], ParkReading(), least=1) is None


def test_small_layers_are_read_whole(folder):
    assert open_indexed([folder / "isles.gpkg"], ParkReading()) is None


def test_a_file_is_named_once(folder):
    path = folder / "isles.gpkg"
    with pytest.raises(InputError, match="is named twice"):
        open_indexed([path, path], ParkReading(), least=1)


def test_records_that_the_rtree_does_not_know_of(tmp_path):
    path = written(tmp_path / "isles.gpkg", country(count=80))
    expected = whole([path], SEARCHES[1])
    with closing(sqlite3.connect(path)) as database:
        database.execute("delete from rtree_isles_geom where id < 9")
        database.execute("delete from gpkg_extensions")
        database.commit()
    same(shelved([path], SEARCHES[1]), expected)


def with_head(path, record, bounds):
    """Give a record of a GeoPackage other bounds in the head of its geometry (OGC 12-128 2.1.3.1.1)."""
    with closing(sqlite3.connect(path)) as database:
        for name, value in (
            ("ST_IsEmpty", 0),
            ("ST_MinX", 0),
            ("ST_MaxX", 0),
            ("ST_MinY", 0),
            ("ST_MaxY", 0),
        ):
            database.create_function(name, 1, lambda _, value=value: value)  # for the triggers of the R-tree
        (blob,) = database.execute("select geom from isles where fid = ?", (record,)).fetchone()
        assert blob[3] >> 1 & 7 == 1
        database.execute(
            "update isles set geom = ? where fid = ?",
            (blob[:8] + struct.pack("<4d", *bounds) + blob[40:], record),
        )
        database.commit()


def test_an_index_that_lies_is_found_out(tmp_path, monkeypatch):
    path = written(tmp_path / "isles.gpkg", country(count=80))
    expected = whole([path], SEARCHES[1])
    with_head(path, 21, (170.0, 170.1, 80.0, 80.1))
    shelf = open_indexed([path], ParkReading(), least=1)
    assert not any(isinstance(drawer.layer, IndexedLayer) for drawer in shelf.layers)
    told = "its spatial index is not used: record 21 does not lie where it says; the file is read whole"
    assert shelf.sources[0].warnings[0] == told
    found = find_spots(shelf, SEARCHES[1])
    assert list(found.spots) == list(expected.spots)
    # Where the record is none of those compared, reading it tells.
    monkeypatch.setattr("scout.io.heads._LEAST", 2)
    shelf = open_indexed([path], ParkReading(), least=1)
    with pytest.raises(InputError, match="record 21: does not lie where the file's spatial index says"):
        shelf.load(np.arange(len(shelf.ids)))


def test_what_was_not_compared_is_told(folder):
    shelf = open_indexed([folder / "isles.gpkg"], ParkReading(), least=1)
    assert "isles.gpkg: where its 400 records lie is taken from what the file says" in shelf.report.notes[-1]
    assert "compared with 200 outlines" in shelf.report.notes[-1]
    for suffix in (".fgb", ".shp"):  # whose outlines are run through
        shelf = open_indexed([folder / f"isles{suffix}"], ParkReading(), least=1)
        assert not any("is taken from" in note for note in shelf.report.notes)


def test_a_tile_is_searched_with_the_parks_whose_parts_matter_there():
    """What the bounds of two parks share, each of two isles far apart, holds all between the isles."""
    isles = shapely.box([0.1, 40.1, 0.3, 40.3], 0.1, [0.5, 40.5, 0.7, 40.7], 0.5)
    one, other = shapely.union_all(isles[:2]), shapely.union_all(isles[2:])
    parks = np.array([shapely.box(20.3, 0.1, 20.7, 0.5), one, other], dtype=object)
    tile = Tile(CellWindow(90, 90, 91, 91), CellWindow(88, 88, 93, 93), np.arange(3), np.ones(3, dtype=bool))
    narrow = narrow_tile(tile, tile.core, parks, 2, 500.0)
    assert narrow.parks.tolist() == [1, 2]
    assert narrow.overlapping.all()
    assert narrow[:2] == tile[:2]


def test_the_report_says_that_not_all_was_checked(folder):
    report = shelved([folder / "isles.gpkg"], SEARCHES[0]).report
    assert report.records == 400
    assert report.parks == len(build_parks(read_layers([folder / "isles.gpkg"])).frame)
    assert any("only the parks that this search may need" in note for note in report.notes)
