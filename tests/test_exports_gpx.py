"""Spots as GPX, read by gpxpy and by GDAL. The schema is held in published/test_gpx_schema.py."""

from __future__ import annotations

import io
from dataclasses import replace

import exported
import gpxpy
import pyogrio
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from lxml import etree

from scout.cautions import ALWAYS
from scout.io.plain_text import make_one_line
from scout.model import Credit
from scout.output.gpx import to_gpx

GPX = "{http://www.topografix.com/GPX/1/1}"


def read(findings):
    return gpxpy.parse(to_gpx(findings).decode("utf-8"))


@given(exported.places)
@settings(max_examples=40)
def test_gpxpy_reads_the_same_places(places):
    points = read(exported.at(places)).waypoints
    assert len(points) == len(places)
    for point, (lon, lat) in zip(points, places, strict=True):
        assert -180 <= point.longitude < 180
        assert abs((point.longitude - lon + 180) % 360 - 180) < 1e-7
        assert point.latitude == pytest.approx(lat, abs=1e-7)


@given(exported.places)
@settings(max_examples=20)
def test_gdal_reads_the_same_places(places):
    frame = pyogrio.read_dataframe(io.BytesIO(to_gpx(exported.at(places))), layer="waypoints")
    for point, (lon, lat) in zip(frame.geometry, places, strict=True):
        assert abs((point.x - lon + 180) % 360 - 180) < 1e-7
        assert point.y == pytest.approx(lat, abs=1e-7)


def test_a_waypoint_says_what_it_is_worth_and_what_to_mind():
    first = read(exported.bay()).waypoints[0]
    assert first.name == "01 HN95 IN05 HN94 IN04"
    assert (first.symbol, first.type) == ("Flag", "corner")
    assert first.description.startswith("Warning: Power line 30 m north. Warning: Cliff. Yield 8:")
    for said in (
        "4 grids x 2 parks",
        "firm, confidence 96.0 %",
        "QX-001 (Quiet Cove); QX-002 (Tern Marsh)",
        "12 min out, 10 min back, 812 m, 31 m of climb",
        "From parking Gull car park at 45.001000, -20.006000",
        *ALWAYS,
    ):
        assert said in first.description


def test_a_near_miss_says_that_nothing_counts_there():
    miss = read(exported.bay()).waypoints[-1]
    assert miss.name == "05 near miss HN84 HN94 HN83 HN93"
    assert miss.description.startswith("Near miss: outside every park, nothing counts here.")
    assert "QX-003 (Long Spit): 120 m to the south-west (225°)" in miss.description


def test_names_sort_in_rank_order():
    names = [p.name for p in read(exported.at([(n / 10, 1.0) for n in range(120)])).waypoints]
    assert names[0].startswith("001 ")
    assert sorted(names) == names


def test_a_walk_is_a_track_with_the_points_it_has():
    gpx = read(exported.bay())
    assert gpx.routes == []
    (track,) = gpx.tracks
    assert track.name == "01 walk"
    assert "12 min out" in track.description
    points = [(p.longitude, p.latitude) for p in track.segments[0].points]
    assert points == list(exported.WALKED.line)


def test_metadata_says_whose_it_is_from_which_day_and_where():
    gpx = read(exported.bay())
    assert gpx.creator == "scout"
    assert gpx.name == "Spots round the bay"
    assert gpx.author_name == "Quiet Bay club"
    assert gpx.time.isoformat() == "2026-03-01T00:00:00+00:00"
    assert gpx.copyright_author == "Quiet Bay mapping club"
    assert (gpx.copyright_year, gpx.copyright_license) == ("2026", "https://licence.example/by/4.0/")
    assert all(caution in gpx.description for caution in ALWAYS)
    assert "Data: Quiet Bay mapping club, https://licence.example/by/4.0/, 2026-01-31." in gpx.description
    box = gpx.bounds
    assert (box.min_longitude, box.max_longitude) == (-22.0, -19.95)
    assert (box.min_latitude, box.max_latitude) == (44.0, 45.2)


def test_the_bounds_hold_the_walks_too():
    findings = exported.bay()
    far = replace(exported.WALKED, line=((-25.0, 50.0), (-20.0, 45.0)))
    first, *rest = findings.spots
    box = read(replace(findings, spots=(replace(first, route=far), *rest))).bounds
    assert (box.min_longitude, box.max_latitude) == (-25.0, 50.0)


def test_a_licence_that_is_no_address_is_told_in_the_description_only():
    plain = replace(exported.bay(), credits=(Credit(("a.gpkg",), "Cove survey", "Open licence 1", "spring"),))
    gpx = read(plain)
    assert gpx.copyright_author == "Cove survey"
    assert (gpx.copyright_year, gpx.copyright_license) == (None, None)
    assert "Data: a.gpkg: Cove survey, Open licence 1, spring." in gpx.description


def test_two_credits_with_their_own_licences_share_no_licence():
    one, two = (
        Credit((), "One", "https://a.example/", "2025-01-01"),
        Credit((), "Two", "https://b.example/", "2026-01-01"),
    )
    gpx = read(replace(exported.bay(), credits=(one, two)))
    assert gpx.copyright_author == "One; Two"
    assert (gpx.copyright_year, gpx.copyright_license) == (None, None)


def test_without_a_day_there_is_no_time():
    assert read(replace(exported.bay(), made_on="")).time is None


@given(st.one_of(st.sampled_from(exported.HOSTILE), exported.texts))
@example("</desc></wpt><wpt lat='0' lon='0'><name>x</name>")
def test_text_stays_text_where_it_was_put(text):
    tree, harmless = (etree.fromstring(to_gpx(exported.named(name))) for name in (text, "Cove"))
    for tag in (f"{GPX}wpt", f"{GPX}trk"):
        assert [e.tag for e in tree.iterfind(f"{tag}//*")] == [e.tag for e in harmless.iterfind(f"{tag}//*")]
    assert {e.tag for e in tree} == {f"{GPX}{name}" for name in ("metadata", "wpt", "trk")}
    for point in tree.iterfind(f"{GPX}wpt"):
        assert f"Warning: {make_one_line(text, 300)}" in point.findtext(f"{GPX}desc")
