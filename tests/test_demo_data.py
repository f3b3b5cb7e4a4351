"""The files of the demo island: its script makes them again, and they hold what later work needs."""

import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pynmea2
import pyogrio
import pytest
import rasterio
import shapely
from demo_island import (
    CELL_M,
    CORNER,
    DEMO,
    LAT,
    LON,
    MERIDIAN,
    features,
    frame,
    geodesic_m,
    heights_at,
    park,
    tagged,
)
from pyproj import Transformer
from shapely.geometry import box

TEXTS = ["parks", "corridors", "access", "barriers", "hazards"]
FILES = [f"{name}.geojson" for name in TEXTS] + ["forest.gpkg", "heights.tif", "sea.tif", "standstill.nmea"]


@pytest.fixture(scope="module")
def remade(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folders = tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second")
    runs = [subprocess.Popen([sys.executable, str(DEMO / "make_demo.py"), str(f)]) for f in folders]
    assert [run.wait(timeout=120) for run in runs] == [0, 0]
    return folders


@pytest.fixture(scope="module")
def heights() -> Iterator[rasterio.io.DatasetReader]:
    with rasterio.open(DEMO / "heights.tif") as raster:
        yield raster


def test_two_runs_write_the_same_bytes(remade: tuple[Path, Path]) -> None:
    first, second = remade
    assert sorted(p.name for p in first.iterdir()) == sorted(FILES)
    for name in FILES:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


@pytest.mark.parametrize("name", TEXTS)
def test_the_script_remakes_the_text_files_that_are_kept(name: str, remade: tuple[Path, Path]) -> None:
    kept, made = features(name), features(name, remade[0])
    assert [tags for tags, _ in kept] == [tags for tags, _ in made]
    # Another build of GEOS may round the last digit of a cut; nothing else may differ.
    assert all(shapely.equals_exact(a, b, 2e-7) for (_, a), (_, b) in zip(kept, made, strict=True))


def test_the_script_remakes_the_forest_and_the_heights(remade: tuple[Path, Path]) -> None:
    kept, made = (gpd.read_file(folder / "forest.gpkg") for folder in (DEMO, remade[0]))
    assert kept.drop(columns="geometry").equals(made.drop(columns="geometry"))
    assert shapely.equals_exact(kept.geometry.values, made.geometry.values, 0.002).all()
    with rasterio.open(DEMO / "heights.tif") as a, rasterio.open(remade[0] / "heights.tif") as b:
        assert a.profile == b.profile
        differing = a.read(1) != b.read(1)
    assert differing.mean() < 1e-4  # a height half-way between two steps may round either way


def test_the_script_remakes_the_recording(remade: tuple[Path, Path]) -> None:
    assert (remade[0] / "standstill.nmea").read_bytes() == (DEMO / "standstill.nmea").read_bytes()


def test_the_recording_is_ten_minutes_on_the_corner_with_sound_checksums() -> None:
    # Read with pynmea2, which checks the checksums.
    lines = (DEMO / "standstill.nmea").read_bytes().decode("ascii").split("\r\n")
    assert lines.pop() == ""
    sentences = [pynmea2.parse(line, check=True) for line in lines]
    fixes = [s for s in sentences if s.sentence_type == "GGA"]
    assert [s.sentence_type for s in sentences[:3]] == ["GGA", "RMC", "GSA"]
    assert len(fixes) == 600
    off = np.array([geodesic_m(CORNER, shapely.Point(s.longitude, s.latitude)) for s in fixes])
    assert np.count_nonzero(off > 6) == 5
    assert np.median(off) < 4


def test_the_folder_stays_small() -> None:
    assert (DEMO / "standstill.nmea").stat().st_size < 80_000
    assert (DEMO / "heights.tif").stat().st_size < 300_000
    assert (DEMO / "sea.tif").stat().st_size < 50_000
    assert sum(p.stat().st_size for p in DEMO.rglob("*") if "__pycache__" not in p.parts) < 1_500_000


@pytest.mark.parametrize("name", TEXTS)
def test_geojson_has_seven_decimals_and_rings_turn_the_right_way(name: str) -> None:
    for tags, geometry in features(name):
        xy = shapely.get_coordinates(geometry)
        assert np.array_equal(xy, np.round(xy, 7))
        assert box(LON - 0.21, LAT - 0.12, LON + 0.2, LAT + 0.12).covers(geometry), tags
        assert geometry.is_valid == (tags.get("id") != "finch-12"), tags
        if geometry.is_valid:  # RFC 7946, 3.1.6
            assert shapely.equals_exact(geometry, shapely.orient_polygons(geometry), 0)


def test_the_forest_file_is_projected_and_names_its_columns_otherwise() -> None:
    forest = gpd.read_file(DEMO / "forest.gpkg")
    assert forest.crs.to_epsg() == 32712
    assert list(forest.columns) == ["park_id", "park_name", "manager", "geometry"]
    assert forest.is_valid.all()


def test_the_island_lies_more_than_1000_km_from_any_land() -> None:
    # Natural Earth 1:110m countries, public domain, in the test data of the pyogrio wheel.
    countries = Path(pyogrio.__file__).parent / "tests/fixtures/naturalearth_lowres/naturalearth_lowres.shp"
    if not countries.exists():
        pytest.skip("this build of pyogrio comes without its test data")
    _, back = frame(CORNER)
    azimuth = np.linspace(0, 2 * np.pi, 361)
    circle = back.transform(1e6 * np.sin(azimuth), 1e6 * np.cos(azimuth))
    assert not gpd.read_file(countries).intersects(shapely.Polygon(zip(*circle, strict=True))).any()


def test_ids_are_invented_words_one_is_empty_and_one_stands_twice() -> None:
    count = Counter(tags["id"] for tags, _ in features("parks"))
    assert count[""] == 1
    assert [ref for ref, n in count.items() if n > 1] == ["tern-4"]
    assert count["tern-4"] == 2


def test_names_go_beyond_latin_letters() -> None:
    names = " ".join(tags["name"] for tags, _ in features("parks"))
    names += "".join(gpd.read_file(DEMO / "forest.gpkg")["park_name"])
    for sample in ("Τερνόνησος", "مرج تيرفالن", "ミルヴェの森", "Ysmölt", "Hëlgrim"):
        assert sample in names


def test_the_crossed_survey_becomes_two_triangles_on_the_meridian() -> None:
    repaired = shapely.make_valid(park("finch-12"))
    assert len(repaired.geoms) == 2
    assert all(part.intersects(MERIDIAN) for part in repaired.geoms)


def test_the_lake_is_flat_and_the_river_runs_down_to_the_sea(heights: rasterio.io.DatasetReader) -> None:
    (lake,) = tagged("barriers", water="lake")
    across = shapely.intersection(lake.buffer(-0.0012), shapely.segmentize(MERIDIAN, 0.0002))
    assert np.ptp(heights_at(heights, across)) == 0
    (river,) = tagged("barriers", waterway="river")
    profile = heights_at(heights, river)
    assert profile[0] > 200
    assert profile[-1] < 2
    assert all(b < a + 2 for a, b in pairwise(profile))


def test_heights_cover_the_land_but_for_one_hole_and_end_at_sea(heights: rasterio.io.DatasetReader) -> None:
    assert heights.res == (CELL_M, CELL_M)
    assert heights.crs.to_epsg() == 32712
    grid = heights.read(1, masked=True)
    there = Transformer.from_crs("EPSG:4326", heights.crs, always_xy=True)
    shores = [
        shapely.Polygon(np.column_stack(there.transform(*shapely.get_coordinates(s).T)))
        for s in tagged("barriers", natural="coastline")
    ]
    rows, columns = np.indices(grid.shape)
    x, y = heights.bounds.left + CELL_M * (columns + 0.5), heights.bounds.top - CELL_M * (rows + 0.5)
    ashore = np.any([shapely.contains_xy(s, x, y) for s in shores], axis=0)
    hole = ashore & grid.mask
    assert 50 < hole.sum() < 400  # 50 m cells: a hole of some tenths of a square kilometre
    assert np.ptp(x[hole]) < 1500
    assert grid[ashore].min() > 0
    assert 600 < grid.max() < 900
    assert set(np.unique(grid[~ashore].compressed())) == {0.0}
    assert (~ashore & ~grid.mask).sum() > 1000  # a margin of sea
    assert grid.mask.sum() > 50_000  # and nothing farther out
