"""Findings as a GeoPackage, read by GDAL. The standard is held in published/test_geopackage_standard.py."""

from __future__ import annotations

import json
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import exported
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.cautions import ALWAYS
from scout.io.plain_text import clean_text
from scout.output.features import to_gpkg


@contextmanager
def on_disk(data):
    """A file of these bytes: GDAL minds the suffix."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "plan.gpkg")
        path.write_bytes(data)
        yield path


def layer(findings, name):
    with on_disk(to_gpkg(findings)) as path:
        return pyogrio.read_dataframe(path, layer=name)


@pytest.mark.parametrize(
    ("findings", "rows"), [(exported.bay(), [5, 2, 3, 1]), (exported.at([]), [0, 0, 1, 0])]
)
def test_gdal_lists_the_four_layers_in_wgs_84_even_when_nothing_is_in_them(findings, rows):
    with on_disk(to_gpkg(findings)) as path:
        assert pyogrio.list_layers(path).tolist() == [
            ["spots", "Point"],
            ["stretches", "MultiLineString"],
            ["parks", "MultiPolygon"],
            ["routes", "MultiLineString"],
        ]
        infos = [pyogrio.read_info(path, layer=name) for name in ("spots", "stretches", "parks", "routes")]
    assert {info["crs"] for info in infos} == {"EPSG:4326"}
    assert [info["features"] for info in infos] == rows


@given(exported.places)
@settings(max_examples=30)
def test_gdal_reads_the_same_places(places):
    frame = layer(exported.at(places), "spots")
    assert frame["rank"].to_list() == list(range(1, len(places) + 1))
    for point, (lon, lat) in zip(frame.geometry, places, strict=True):
        assert abs((point.x - lon + 180) % 360 - 180) < 1e-7
        assert point.y == pytest.approx(lat, abs=1e-7)


def test_spots_carry_what_the_other_formats_say():
    first, second, *_ = layer(exported.bay(), "spots").itertuples()
    assert (first.kind, first.verdict, first.parks) == ("corner", "firm", "QX-001; QX-002")
    assert (first.walk_min, first.back_min, first.slope_deg) == (12.3, 10.2, 7.3)
    assert (first.parking_latitude, first.parking_longitude) == (45.001, -20.006)
    assert first.warnings == "Power line 30 m north; Cliff"
    assert second.walk_note == "more than 120 min"


def test_columns_have_the_types_of_their_values():
    types = layer(exported.bay(), "spots").dtypes.astype(str)
    assert {types[name] for name in ("rank", "n_grids", "n_parks", "yield")} == {"int64"}
    assert {types[name] for name in ("clearance_m", "confidence", "walk_min", "corner_latitude")} == {
        "float64"
    }


def test_stretches_parks_and_routes_are_where_they_are():
    findings = exported.bay()
    stretches, parks, routes = (layer(findings, name) for name in ("stretches", "parks", "routes"))
    assert stretches["rank"].to_list() == [2, 4]
    (stretch,) = findings.spots[1].spot.stretches
    assert stretches.geometry[0].equals(shapely.LineString([stretch.start, stretch.end]))
    assert parks["park"].to_list() == ["QX-001", "QX-002", "QX-003"]
    assert parks["kind"].to_list() == ["area", "area", "corridor"]
    assert all(a.equals(b) for a, b in zip(parks.geometry, findings.parks.geometry, strict=True))
    assert (routes["rank"][0], routes["start_kind"][0], routes["start_name"][0]) == (
        1,
        "parking",
        "Gull car park",
    )
    assert routes.geometry[0].equals(shapely.LineString(exported.WALKED.line))


def test_what_crosses_the_antimeridian_is_cut_there():
    findings = exported.seam()
    isle, cap = layer(findings, "parks").geometry
    assert isle.area == pytest.approx(1 - 0.04)
    assert (isle.bounds, cap.bounds) == ((-180.0, -10.5, 180.0, -9.5), (-180.0, 85.0, 180.0, 90.0))
    for name in ("stretches", "routes"):
        assert len(layer(findings, name).geometry[0].geoms) == 2


def test_layers_carry_cautions_and_credits():
    with closing(sqlite3.connect(":memory:")) as base:
        base.deserialize(to_gpkg(exported.bay()))
        told = dict(base.execute("SELECT table_name, description FROM gpkg_contents"))
    assert all(caution in told[name] for name in ("spots", "routes") for caution in ALWAYS)
    assert all("Data: Quiet Bay mapping club" in told[name] for name in ("spots", "parks"))


def test_without_a_day_the_bytes_still_repeat():
    findings = replace(exported.bay(), made_on="")
    assert to_gpkg(findings) == to_gpkg(findings)


@given(st.one_of(st.sampled_from(exported.HOSTILE), exported.texts))
@settings(max_examples=60)
def test_text_comes_back_as_it_went_but_for_what_no_file_holds(text):
    """GDAL reads an empty text as a text, sqlite3 tells that the tables are whole."""
    data = to_gpkg(exported.named(text))
    with on_disk(data) as path:
        parks, spots = (pyogrio.read_dataframe(path, layer=name) for name in ("parks", "spots"))
    assert set(parks["name"]) == {clean_text(text)}
    assert [json.loads(told) for told in parks["attributes"]] == [{clean_text(text): clean_text(text)}] * 3
    assert set(spots["notes"]) == {clean_text(text)}
    with closing(sqlite3.connect(":memory:")) as base:
        base.deserialize(data)
        assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
