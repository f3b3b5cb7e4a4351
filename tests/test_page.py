"""The text of the page: alone, repeatable, safe, and telling everything."""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64encode
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from builders import (
    bay,
    box,
    corner_spot,
    findings,
    line_spot,
    parks_frame,
    source,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from page_reader import Reader, words
from walked import LAKE, WARNING, harbour, route

from scout import cautions
from scout.model import Findings, ParkReport, Ranked, Route, Station
from scout.page.data import format_script_json
from scout.page.document import build_map

quick = settings(deadline=None, derandomize=True, max_examples=60)


# The file


def test_same_findings_give_the_same_bytes():
    assert build_map(bay()) == build_map(bay())


def test_nothing_in_the_file_points_outside_but_credit_and_background():
    text = build_map(bay())
    outside = set(re.findall(r"https?://[^\s\"'<>)\\]+", text))
    # Leaflet's own comments name two bug trackers; a comment asks nobody.
    known = (
        "https://bugzilla.mozilla.org",
        "https://bugs.chromium.org",
        "http://www.w3.org/",
        # Names of formats that the page writes.
        "http://www.topografix.com/GPX/1/1",
        "http://www.opengis.net/kml/2.2",
        "https://leafletjs.com",
        "https://tile.openstreetmap.org",
        "https://www.openstreetmap.org",
    )
    assert {url for url in outside if not url.startswith(known)} == set()
    for tag, attrs in Reader(text).elements:
        assert not str(attrs.get("src", "data:")).startswith("http"), tag
        assert tag not in ("iframe", "object", "embed", "base")
        if tag == "link":
            assert attrs["href"] == "data:,"
    assert "sourceMappingURL" not in text
    assert set(re.findall(r"url\(([^)]{0,30})", Reader(text).texts[0][2])) <= {
        "#default#VML",
        "data:image/png;base64,iVBORw0K",
    }


def test_policy_stands_first_and_names_our_script_and_style_only():
    reader = Reader(build_map(bay()))
    policy = reader.policy()
    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    run = [(tag, t) for tag, attrs, t in reader.texts if attrs.get("type") != "application/json"]
    assert sorted(tag for tag, _ in run) == ["script", "script", "script", "style"]
    for tag, text in run:
        digest = b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in re.search(rf"{tag}-src ([^;]*)", policy)[1]
    assert re.search(r"img-src ([^;]*)", policy)[1] == "data: https://tile.openstreetmap.org"


def test_no_element_carries_inline_style_or_handler():
    for _, attrs in Reader(build_map(bay())).elements:
        assert "style" not in attrs
        assert not [name for name in attrs if name.startswith("on")]


def test_folium_keeps_its_own_lists():
    import folium

    build_map(bay())
    assert folium.Map.default_js
    assert folium.Map.default_css


NAMES = ("<img src=x onerror=alert(1)>", "</script><script>", "${1}`{{7*7}}", "a\u2028b", "\"'&", "ends\\")


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_text_wherever_it_stands(name: str):
    tame, label = build_map(bay()), ("id " + name, name)
    found = findings(
        [corner_spot(-20.0, 45.0, ["HN95", "IN05", "HN94", "IN04"], [label], notes=(name,))],
        parks_frame((label, box(-20.2, 44.9, -19.9, 45.1))),
        title=name,
        made_by=name,
        sources=(source(path=name, layer=name, crs=name, operation=name, warnings=(name,)),),
        report=ParkReport(1, 1, (name,), (name,), repaired=(name,), refused=(name,), skipped=(name,)),
    )
    text = build_map(found)
    reader = Reader(text)
    kinds = [tag for tag, _ in reader.elements]
    assert kinds.count("script") == [tag for tag, _ in Reader(tame).elements].count("script")
    assert "img" not in kinds
    written = name.encode("utf-8", "replace").decode()
    assert sum(data.count(written) for data in reader.shown) >= 12
    assert reader.data()["parks"][0]["name"] == written
    text.encode("utf-8")


def test_half_a_surrogate_pair_from_a_command_line_does_not_stop_the_page():
    text = build_map(replace(bay(), made_by="scout find \udcff.gpkg"))
    assert "scout find ?.gpkg" in text


@given(
    st.recursive(
        st.text() | st.integers() | st.none(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
@quick
def test_json_of_anything_is_safe_in_a_script_and_unchanged(value: Any):
    text = format_script_json(value)
    assert not set(text) & set("<>&\u2028\u2029")
    assert json.loads(text) == value


def test_json_refuses_what_is_no_number():
    with pytest.raises(ValueError, match="Out of range float"):
        format_script_json([float("nan")])


# What it says


def test_every_spot_is_in_the_list_without_script():
    text = words(build_map(bay()))
    for said in (
        "HN95 IN05 HN94 IN04",
        "Quiet Cove QX-001, Tern Marsh QX-002",
        "8 pairs (4 grids × 2 parks), 250 m inside (plenty), home 68.2 km",
        "45.000000, -20.000000",
        "the park is 120 m to the south-west (225°)",
    ):
        assert said in text


def test_settings_sources_and_what_was_left_out_are_told():
    found = replace(
        bay(),
        station=Station(7.0, 8.0, 20.0),
        remarks=("The fix error is large.",),
        sources=(source(accuracy_m=None, warnings=("ballpark: 100 m or worse",)),),
        report=ParkReport(
            9, 3, ("ref",), ("",), 4, ("a.gpkg record 2: mended",), tuple(f"record {n}" for n in range(205))
        ),
    )
    text = words(build_map(found))
    for said in (
        "a disc of 7 m radius",
        "8 m (95 % radius)",
        "20 m (95 % radius)",
        "within 250 km",
        "scout find parks.gpkg",
        "2026-03-01",
        "stated accuracy unknown",
        "ballpark: 100 m or worse",
        "Found and not listed: 4",
        "farther from home than asked",
        "Repaired: 1",
        "Refused: 205",
        "and 5 more.",
        "Skipped: none",
        "The fix error is large.",
        *cautions.ALWAYS,
    ):
        assert said in text, said


def test_walks_warnings_and_whose_data_it_is_are_told_without_script():
    text = words(build_map(harbour()))
    for said in (
        "walk 24 min out, 22 min back",
        f"Take care: {WARNING}",
        f"out of reach on foot: {LAKE}",
        "walking time not worked out: walks are worked out for the best 500 spots only",
        "Centre the station 5.2 m north-east (45°) of the corner.",
        "by Quill Marrow, 2026-03-01",
        "Invented Map Makers",
        "ODbL 1.0",
        "2026-02-01",
        "up to 2 h 00 min one way",
        "2 records without a known tag were left aside",
    ):
        assert said in text, said


def synthetic(spots: int, parks: int, vertices: int) -> Findings:
    """Parks of many vertices in a row, some spots in each, as a search lists them."""
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    wave = 1 + 0.2 * np.sin(7 * turn) + 0.02 * np.sin(123 * turn)
    shapes = []
    for n in range(parks):
        x, y = -100 + 0.2 * (n % 25), 40 + 0.2 * (n // 25)
        ring = np.column_stack([x + 0.07 * wave * np.cos(turn), y + 0.07 * wave * np.sin(turn)])
        shapes.append(((f"QX-{n:04d}", f"Invented Park {n} of the Long Name"), shapely.Polygon(ring)))
    frame = parks_frame(*shapes)
    found = []
    for n in range(spots):
        label, shape = shapes[n % parks]
        lon, lat = shape.centroid.x + 0.001 * (n // parks), shape.centroid.y
        found.append(
            replace(line_spot(lon, lat, ["EN00aa", "EN00ba"], label), notes=("Two lines end here.",))
        )
    made = findings(found, frame, home=(-99.0, 41.0), home_km=[100.0 + n / 7 for n in range(spots)])
    rng = np.random.default_rng(5)
    ranked = tuple(replace(r, route=wandering(r, rng), warnings=(WARNING,)) for r in made.spots)
    return replace(made, spots=ranked)


def wandering(ranked: Ranked, rng: np.random.Generator) -> Route:
    """A walk of 150 steps of 10 m, now and then off paths, up and down."""
    heading = np.cumsum(rng.normal(0, 0.25, 150))
    steps = 9e-5 * np.column_stack([1.3 * np.cos(heading), np.sin(heading)])
    line = np.array([ranked.spot.lon, ranked.spot.lat]) - np.cumsum(steps, axis=0)[::-1]
    heights = 300 + np.cumsum(rng.normal(0, 3, 150))
    return replace(
        route(),
        start=tuple(line[0].tolist()),
        line=tuple(map(tuple, line.tolist())),
        on_path=tuple((rng.uniform(size=149) < 0.95).tolist()),
        profile=tuple(zip(range(0, 1500, 10), heights.tolist(), strict=True)),
    )


@pytest.mark.parametrize(("spots", "parks", "most_bytes"), [(100, 100, 700_000), (2000, 100, 5_000_000)])
def test_a_page_is_small_enough_to_mail(spots: int, parks: int, most_bytes: int):
    assert len(build_map(synthetic(spots, parks, 1000)).encode()) < most_bytes


def test_no_parks_and_no_spots_still_make_a_page():
    text = words(build_map(findings([], parks_frame(), left_out=(), home=None)))
    assert "No spot was found" in text
    assert "Everything that was found is listed." in text
