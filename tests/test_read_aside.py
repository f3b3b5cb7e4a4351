"""Large layers without an index: outlines laid aside on disk, and the same spots as when all is held."""

from __future__ import annotations

import pickle
import sqlite3
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from test_read_shelf import SEARCHES, country, same, whole, written

from scout.app.find import SearchOptions, find_spots
from scout.errors import InputError
from scout.io import gathering
from scout.io.layers import read_layers
from scout.model import Findings
from scout.parks.indexed import IndexedParks, ParkReading, open_indexed
from scout.parks.spilled import SpilledLayer

NEVER = 10**9


def opened(path: Path, **reading: str) -> IndexedParks:
    shelf = open_indexed([path], ParkReading(**reading), least=NEVER, large=1)
    assert shelf is not None
    assert all(isinstance(one.layer, SpilledLayer) for one in shelf.layers)
    return shelf


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("large")
    frame = country()
    metres = frame.to_crs(3832)  # PDC Mercator, centred on 150 E
    return {
        "GeoJSON": written(folder / "isles.geojson", frame),
        "GeoPackage in metres": written(folder / "isles.gpkg", metres),
        "Shapefile in metres": written(folder / "isles.shp", metres),
        "FlatGeobuf": written(folder / "isles.fgb", frame),
        "GeoParquet": written(folder / "isles.parquet", frame),
    }


@lru_cache(maxsize=1)
def whole_once(path: Path, options: SearchOptions, reader: str) -> Findings:
    """What is found where the file is read whole, by the reader that is switched on."""
    return whole([path], options)


@pytest.mark.parametrize("options", SEARCHES, ids=["lines", "overlaps", "home", "area"])
@pytest.mark.parametrize(
    ("name", "reader"),
    [
        ("GeoJSON", "simdjson"),  # which reads nothing else
        *((name, "GDAL") for name in ("GeoJSON", "GeoPackage in metres", "Shapefile in metres")),
        *((name, "GDAL") for name in ("FlatGeobuf", "GeoParquet")),
    ],
)
def test_laid_aside_the_same_is_found(files, name, options, reader, monkeypatch) -> None:
    if reader == "GDAL":
        monkeypatch.setattr(gathering, "is_worth_trying", lambda _: False)
    expected = whole_once(files[name], options, reader)
    assert len(expected.spots) > 20
    same(find_spots(opened(files[name]), options), expected)
    same(find_spots(opened(files[name]), options, most=50), expected)


def test_ids_names_and_details_as_asked_for(files) -> None:
    reading = {"id_column": "permit", "name_column": "code"}
    for name in ("GeoJSON", "GeoPackage in metres"):
        expected = whole([files[name]], SEARCHES[0], keep=["permit"], **reading)
        found = find_spots(opened(files[name], keep=("permit",), **reading), SEARCHES[0])
        same(found, expected)
        assert found.parks.attributes.tolist() == expected.parks.attributes.tolist()


def test_what_is_refused_and_mended_is_told(files, tmp_path: Path) -> None:
    frame = country(seed=3, count=80)
    frame.loc[11, "geometry"] = frame.geometry[11].buffer(300)
    path = written(tmp_path / "isles.geojson", frame)
    expected, found = whole([path], SEARCHES[1]), find_spots(opened(path), SEARCHES[1])
    assert len(expected.report.refused) == 1
    assert found.report.refused == expected.report.refused
    assert set(found.report.repaired) <= set(expected.report.repaired)
    assert any("bow" in line or "self" in line for line in found.report.repaired)


def test_an_order_takes_its_outlines_along(files) -> None:
    order = opened(files["GeoJSON"]).query(np.arange(40))
    assert pickle.loads(pickle.dumps(order)).load().frame.equals(order.load().frame)


def test_a_full_disk_is_one_line(files, monkeypatch: pytest.MonkeyPatch) -> None:
    real = sqlite3.connect

    def small(*words: object, **options: object) -> sqlite3.Connection:
        database = real(*words, **options)
        database.execute("pragma max_page_count = 8")
        return database

    monkeypatch.setattr(sqlite3, "connect", small)
    with pytest.raises(
        InputError,
        match=r"isles\.geojson: there is no room on the disk for its outlines \(.*full\); free some",
    ):
        opened(files["GeoJSON"])


@pytest.mark.parametrize("large", [1, NEVER], ids=["large", "small"])
def test_a_file_without_one_usable_record_says_why(files, tmp_path: Path, large: int) -> None:
    """Also beside files that know where their records lie."""
    frame = country(count=60).to_crs(3832).set_crs(4326, allow_override=True)
    path = written(tmp_path / "metres.geojson", frame)
    with pytest.raises(InputError) as told:
        read_layers([path])
    with pytest.raises(InputError) as also:
        open_indexed([files["FlatGeobuf"], path], ParkReading(), least=1, large=large)
    assert str(also.value) == str(told.value)


def test_a_file_without_records_says_so(files, tmp_path: Path) -> None:
    path = tmp_path / "none.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}')
    with pytest.raises(InputError, match="holds no records"):
        open_indexed([files["FlatGeobuf"], path], ParkReading(), least=1)


def test_a_file_of_broken_rings_alone_is_left_to_the_reading_of_everything(tmp_path: Path) -> None:
    path = tmp_path / "rings.geojson"
    ring = '{"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}'
    path.write_text(
        f'{{"type": "FeatureCollection", "features": [{{"type": "Feature", "geometry": {ring} }}]}}'
    )
    assert open_indexed([path], ParkReading(), least=1, large=1) is None
