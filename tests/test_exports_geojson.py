"""Spots as GeoJSON, read by GDAL as well as by json."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import exported
import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.app.find import SearchOptions, find_spots
from scout.app.outputs import export_findings
from scout.io.layers import read_frame
from scout.io.plain_text import clean_text
from scout.model import Route
from scout.output.features import round_values, to_csv, to_geojson, to_gpkg
from scout.parks.build import build_parks


def properties(findings):
    return [feature["properties"] for feature in json.loads(to_geojson(findings))["features"]]


def test_every_spot_is_there_with_the_agreed_properties():
    findings = exported.bay()
    rows = properties(findings)
    assert [row["rank"] for row in rows] == [1, 2, 3, 4, 5]
    first = rows[0]
    assert first["kind"] == "corner"
    assert first["corner"] == [-20.0, 45.0]
    assert first["locators"] == ["HN95", "IN05", "HN94", "IN04"]
    assert first["parks"] == ["QX-001", "QX-002"]
    assert first["park_names"] == ["Quiet Cove", "Tern Marsh"]
    assert first["yield"] == first["n_grids"] * first["n_parks"] == 8
    assert first["verdict"] == "firm"
    assert first["home_km"] == 68.2
    assert set(first) >= {"clearance_m", "confidence", "stretch_m", "notes"}


def test_a_walk_is_told_in_minutes_and_metres_with_where_it_begins():
    first = properties(exported.bay())[0]
    assert (first["walk_min"], first["back_min"]) == (12.3, 10.2)
    assert (first["walk_m"], first["climb_m"], first["off_path_m"]) == (812.1, 31.0, 120.0)
    assert first["parking"] == [-20.006, 45.001]
    assert first["walk_note"] is None
    assert first["slope_deg"] == 7.3
    assert first["warnings"] == ["Power line 30 m north", "Cliff"]


def test_without_a_walk_the_values_are_null_and_the_note_says_why():
    _, blocked, unknown, *_ = properties(exported.bay())
    assert blocked["walk_note"] == "more than 120 min"
    assert blocked["parking"] == [-20.4, 45.2]
    for row in (blocked, unknown):
        assert [row[k] for k in ("walk_min", "back_min", "walk_m", "climb_m", "off_path_m")] == [None] * 5
        assert row["slope_deg"] is None
        assert row["warnings"] == []
    assert unknown["walk_note"] is unknown["parking"] is None


def test_a_walk_nobody_could_work_out_says_so_without_a_reason_too():
    findings = exported.bay()
    spots = tuple(replace(r, route=Route("unknown")) for r in findings.spots)
    assert {row["walk_note"] for row in properties(replace(findings, spots=spots))} == {"unknown"}


def test_a_near_miss_has_no_parks_but_names_the_one_it_misses():
    (miss,) = (row for row in properties(exported.bay()) if row["kind"] == "near-miss")
    assert (miss["near_park"], miss["near_park_name"]) == ("QX-003", "Long Spit")
    assert (miss["parks"], miss["yield"]) == ([], 0)
    assert miss["clearance_m"] == -miss["near_m"] == -120.0


@given(exported.places)
@settings(max_examples=40)
def test_gdal_reads_the_same_places(places):
    frame = pyogrio.read_dataframe(io.BytesIO(export_findings(exported.at(places), "x.geojson")))
    assert frame["rank"].to_list() == list(range(1, len(places) + 1))
    for point, (lon, lat) in zip(frame.geometry, places, strict=True):
        assert -180 <= point.x < 180
        assert abs((point.x - lon + 180) % 360 - 180) < 1e-7
        assert point.y == pytest.approx(lat, abs=1e-7)


@given(st.one_of(st.sampled_from(exported.HOSTILE), exported.texts))
def test_any_text_comes_back_as_it_went_but_for_what_no_file_holds(text):
    for row in json.loads(export_findings(exported.named(text), "x.geojson"))["features"]:
        assert set(row["properties"]["park_names"]) <= {clean_text(text)}
        assert row["properties"]["warnings"] == [clean_text(text)]


def test_a_member_is_a_position_as_rfc_7946_has_it():
    """Sections 3.1.1, 4 (M): longitude first, two numbers, no crs member."""
    data = json.loads(to_geojson(exported.seam()))
    assert set(data) == {"type", "features"}
    positions = np.array([f["geometry"]["coordinates"] for f in data["features"]])
    assert positions.tolist() == [[-180.0, -10.0], [-179.8, -10.2]]


@given(
    st.lists(st.floats(-1e12, 1e12) | st.integers(-(10**7), 10**7).map(lambda k: k / 2e4)), st.integers(0, 8)
)
def test_columns_are_rounded_as_python_rounds_each_number(numbers, digits):
    """Python's `round`, which works on decimal digits, is the oracle."""
    columns = np.array([*numbers, np.nan, np.inf, 2.675, 0.5, -0.001], dtype=float)
    oracle = [round(one, digits) if np.isfinite(one) else None for one in columns.tolist()]
    assert list(map(repr, round_values(columns, digits))) == list(map(repr, oracle))


def test_a_listing_gives_the_same_as_columns_and_as_objects():
    rng = np.random.default_rng(3)
    corners = rng.uniform(0, 3, (300, 2))
    boxes = shapely.box(*corners.T, *(corners + rng.uniform(0.02, 0.3, (300, 2))).T)
    frame = gpd.GeoDataFrame({"id": [f"Q-{k}" for k in range(300)]}, geometry=boxes, crs=4326)
    found = find_spots(build_parks([read_frame(frame, "made")]), SearchOptions(level=3, home=(1.0, 1.0)))
    objects = replace(found, spots=tuple(found.spots))
    assert {one.spot.kind for one in objects.spots} == {"corner", "line", "overlap", "near-miss"}
    assert any(len(one.spot.stretches) > 1 for one in objects.spots)
    assert to_geojson(found) == to_geojson(objects)
    assert to_csv(found) == to_csv(objects)
    assert to_gpkg(found) == to_gpkg(objects)
