"""Hill shading, roads, woods and names of access data: right, in their places and within their bytes."""

from __future__ import annotations

import json
from base64 import b64decode
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from builders import box
from page_reader import Reader, words
from test_access_ways import tagged
from test_page import synthetic
from test_page_ground import unpacked
from walked import ground_frame, harbour, surroundings

from scout.model import CROSSING, DRIVE, WALK, Relief
from scout.output.saved import dump_findings, load_findings
from scout.page.data import make_page_data
from scout.page.document import build_map
from scout.page.packing import UNITS_PER_DEG, PageFrame
from scout.page.shading import (
    ROOM_FOR_SHADING,
    add_shading,
    compute_shade,
    draw_hills,
    make_shading_data,
)
from scout.walk.ways import classify_access

cv2 = pytest.importorskip("cv2", reason="the pictures are read back by OpenCV")


def relief(west: float, south: float, cell_deg: float, heights: Any) -> Relief:
    """Heights in degrees, rows from the north."""
    rows = len(heights)
    to_pixel = (1 / cell_deg, 0.0, -west / cell_deg, 0.0, -1 / cell_deg, south / cell_deg + rows)
    return Relief(np.asarray(heights, dtype=np.float32), to_pixel, "EPSG:4326", "made.tif")


def drawn_hills(reliefs: list[Relief], places: Any, middle: float) -> list[list[Any]]:
    return make_shading_data(draw_hills(reliefs, places), PageFrame(middle))


def picture_of(drawn: list[Any]) -> tuple[np.ndarray, np.ndarray]:
    """White or black and opacity of each element, read by OpenCV."""
    assert drawn[4].startswith("data:image/png;base64,")
    bytes_ = np.frombuffer(b64decode(drawn[4].split(",")[1]), dtype=np.uint8)
    found = cv2.imdecode(bytes_, cv2.IMREAD_UNCHANGED)
    return found[..., 0].astype(int), found[..., 3].astype(int)


# The light


def plane(azimuth_deg: float, slope_deg: float) -> np.ndarray:
    """Metres, a metre apart, of ground that faces an azimuth."""
    y, x = np.mgrid[0:5, 0:5].astype(float)
    rise = np.tan(np.radians(slope_deg))
    towards = np.radians(azimuth_deg)
    return -rise * (x * np.sin(towards) - y * np.cos(towards))


@pytest.mark.parametrize("slope", [5, 20, 40])
@pytest.mark.parametrize("azimuth", range(0, 360, 30))
def test_light_is_that_of_the_cosine_law(azimuth: int, slope: int):
    # Common practice of hill shading: light from 315 degrees, 45 degrees up, and Lambert's cosine law.
    zenith, steep = np.radians(45), np.radians(slope)
    turn = np.radians(315 - azimuth)
    light = np.cos(zenith) * np.cos(steep) + np.sin(zenith) * np.sin(steep) * np.cos(turn)
    level = np.cos(zenith)
    share = (light - level) / (level if light < level else 1 - level)
    assert compute_shade(plane(azimuth, slope), 1.0, 1.0)[2, 2] == pytest.approx(7 + 7 * share, abs=0.51)


def test_level_and_unknown_ground_stay_as_they_are():
    assert np.all(compute_shade(np.full((4, 4), 812.0), 10.0, 10.0) == 7)
    assert np.all(compute_shade(np.full((4, 4), np.nan), 10.0, 10.0) == 7)


# The picture


def test_a_ridge_lies_where_it_is_and_is_light_to_the_north_west():
    # At 60 degrees north, where rows of latitude and of the map part: a ridge from west to east at 60.01.
    lat = 60.05 - (np.arange(1000) + 0.5) * 1e-4
    heights = np.repeat(400 - 40_000 * np.abs(lat - 60.01)[:, None], 2000, axis=1)
    made = drawn_hills([relief(9.9, 59.95, 1e-4, heights)], np.array([(10.0, 60.0)]), 10.0)
    (drawn,) = made
    west, south, east, north = np.divide(drawn[:4], UNITS_PER_DEG)
    assert (west + east) / 2 == pytest.approx(10.0, abs=1e-5)
    assert (north - south) * 111.2 == pytest.approx(5.0, rel=0.02)
    white, opacity = picture_of(drawn)
    middle = white.shape[1] // 2
    lit = np.flatnonzero((white[:, middle] == 255) & (opacity[:, middle] > 0))
    dark = np.flatnonzero((white[:, middle] == 0) & (opacity[:, middle] > 0))
    assert lit.max() < dark.min()
    edge = np.asinh(np.tan(np.radians([south, north])))
    ridge = edge[1] - (lit.max() + 1) / len(white) * (edge[1] - edge[0])
    assert np.degrees(np.arctan(np.sinh(ridge))) == pytest.approx(60.01, abs=2e-4)


def test_unknown_ground_is_clear():
    heights = np.full((200, 200), np.nan)
    heights[:, :100] = 10 * np.arange(100)
    (drawn,) = drawn_hills([relief(9.97, 49.99, 3e-4, heights)], np.array([(10.0, 50.0)]), 10.0)
    _, opacity = picture_of(drawn)
    assert opacity[:, : opacity.shape[1] // 4].max() > 0
    assert opacity[:, -opacity.shape[1] // 4 :].max() == 0


def test_nothing_is_drawn_without_heights():
    place = np.array([(10.0, 50.0)])
    assert drawn_hills([], place, 10.0) == []
    assert drawn_hills([relief(9.9, 49.9, 1e-3, np.full((200, 200), 7.0))], place, 10.0) == []


@pytest.mark.parametrize("count", [1, 40, 400])
def test_pictures_keep_within_their_bytes(count: int):
    rng = np.random.default_rng(count)
    # Rough ground, which packs worst.
    ground = relief(-100.0, 40.0, 2e-3, rng.normal(300, 60, (1600, 2400)))
    places = np.column_stack([rng.uniform(-99.9, -95.4, count), rng.uniform(40.1, 43.0, count)])
    made = drawn_hills([ground], places, -98.0)
    assert made
    assert len(json.dumps(made, separators=(",", ":"))) <= ROOM_FOR_SHADING
    if count == 40:
        for lon, lat in places:
            assert any(
                w <= lon * UNITS_PER_DEG <= e and s <= lat * UNITS_PER_DEG <= n for w, s, e, n, _ in made
            )


def test_a_picture_follows_the_page_over_the_antimeridian():
    ground = relief(179.9, 49.9, 1e-3, 30 * np.abs(np.sin(np.arange(200) / 9))[None, :] * np.ones((200, 1)))
    east = relief(-180.0, 49.9, 1e-3, 30 * np.abs(np.sin(np.arange(100) / 9))[None, :] * np.ones((200, 1)))
    (drawn,) = drawn_hills([ground, east], np.array([(-179.999, 50.0)]), 180.0)
    assert 179.9 < drawn[0] / UNITS_PER_DEG < 180 < drawn[2] / UNITS_PER_DEG < 180.2


# Roads, woods, names


def with_ways(rows: list[tuple[str, str, Any]], **more: Any) -> Any:
    found = harbour()
    flags = {WALK: [True] * len(rows), DRIVE: [False] * len(rows), CROSSING: [False] * len(rows)}
    return replace(found, surroundings=replace(surroundings(), ways=ground_frame(rows, **flags), **more))


def roads_of(found: Any) -> dict[str, Any]:
    data, _ = make_page_data(found)
    roads: dict[str, Any] = data["around"]["roads"]
    return roads


def test_roads_go_by_class_and_pieces_of_one_name_are_one_line():
    lines = [
        ("secondary road", "Moor Road", shapely.LineString([(-20.01, 45.0), (-20.005, 45.001)])),
        ("secondary road", "Moor Road", shapely.LineString([(-20.005, 45.001), (-20.0, 45.0)])),
        ("residential road", "Low Lane", shapely.LineString([(-20.01, 45.002), (-20.0, 45.002)])),
        ("track", "", shapely.LineString([(-20.01, 45.003), (-20.0, 45.003)])),
        ("steps", "", shapely.LineString([(-20.01, 45.004), (-20.009, 45.004)])),
    ]
    busy = [shapely.LineString([(-20.01, 44.999), (-20.0, 44.999)])]
    roads = roads_of(with_ways(lines, busy_roads=busy, busy_names=["Q1"]))
    assert {name: len(roads[name]["lines"]) for name in ("main", "lesser", "track", "path")} == {
        "main": 2,
        "lesser": 1,
        "track": 1,
        "path": 1,
    }
    assert sorted(roads["called"][k] for k in roads["main"]["names"]) == ["Moor Road", "Q1"]
    joined = unpacked(
        roads["main"]["lines"][roads["main"]["names"].index(roads["called"].index("Moor Road"))]
    )
    assert joined[0][[0, -1], 0].tolist() == [-20_010_000, -20_000_000]
    assert roads["left"] == 0


def test_roads_are_cut_to_what_lies_near():
    far = ("track", "", shapely.LineString([(-20.0, 45.0), (-19.0, 45.0)]))
    roads = roads_of(with_ways([far]))
    (line,) = roads["track"]["lines"]
    east = unpacked(line)[0][:, 0].max() / UNITS_PER_DEG
    assert -19.98 < east < -19.9


def test_woods_and_names_are_drawn_where_they_lie():
    marks = ground_frame(
        [
            ("wood", "", box(-20.005, 45.0, -20.0, 45.004)),
            ("peak", "Crow Top", shapely.Point(-20.002, 45.001)),
            ("village", "Nether Quay", shapely.Point(-20.006, 45.003)),
            ("village", "Far Quay", shapely.Point(-10.0, 45.003)),
        ]
    )
    data, _ = make_page_data(with_ways([], landmarks=marks))
    assert len(data["around"]["woods"]["areas"]) == 1
    named = {(what, name): (x, y) for x, y, what, name in data["around"]["names"]}
    assert named[("peak", "Crow Top")] == (-20_002_000, 45_001_000)
    assert ("village", "Nether Quay") in named
    assert ("village", "Far Quay") not in named
    assert ("water", "Still Lake") in named


def test_landmarks_are_read_from_their_tags():
    found = classify_access(
        [
            tagged(
                (box(0, 0, 1, 1), {"natural": "wood"}),
                (box(1, 0, 2, 1), {"landuse": "forest", "name": "Dark Forest"}),
                (shapely.Point(0, 0), {"natural": "peak", "name": "Crow Top"}),
                (shapely.Point(0, 1), {"natural": "peak"}),
                (shapely.Point(1, 1), {"place": "village", "name": "Nether Quay"}),
                (shapely.Point(1, 1), {"place": "country", "name": "Everywhere"}),
            )
        ]
    ).landmarks
    assert found is not None
    assert sorted(zip(found["what"], found["name"], strict=True)) == [
        ("peak", "Crow Top"),
        ("village", "Nether Quay"),
        ("wood", ""),
        ("wood", "Dark Forest"),
    ]


def test_a_saved_result_has_its_hills_and_landmarks_still():
    rough = relief(-20.1, 44.9, 1e-3, np.random.default_rng(3).normal(300, 60, (200, 200)))
    marks = ground_frame([("peak", "Crow Top", shapely.Point(-20.002, 45.001))])
    found = add_shading(
        replace(harbour(), surroundings=replace(surroundings(), reliefs=(rough,), landmarks=marks))
    )
    back = load_findings(dump_findings(found), "here")
    assert back.surroundings is not None
    assert found.surroundings is not None
    assert back.surroundings.shading == found.surroundings.shading
    assert back.surroundings.shading
    assert back.surroundings.landmarks["name"].tolist() == ["Crow Top"]


# All together


def test_a_page_with_roads_and_heights_is_under_its_bytes():
    found = synthetic(100, 100, 1000)
    at = np.array([(r.spot.lon, r.spot.lat) for r in found.spots])
    rng = np.random.default_rng(11)

    def streets(count: int, kind: str) -> list[tuple[str, str, Any]]:
        begin = at[rng.integers(0, len(at), count)] + rng.uniform(-0.015, 0.015, (count, 2))
        return [
            (
                kind,
                f"Lane {k % 900}",
                shapely.LineString(xy + np.cumsum(rng.normal(0, 2e-4, (30, 2)), axis=0)),
            )
            for k, xy in enumerate(begin)
        ]

    ways = [row for kind in ("primary road", "service road", "track", "path") for row in streets(4000, kind)]
    marks = ground_frame(
        [("wood", "", shapely.Point(x, y).buffer(3e-3)) for x, y in at[rng.integers(0, len(at), 500)]]
        + [
            ("peak", f"Top {k}", shapely.Point(x, y))
            for k, (x, y) in enumerate(at[rng.integers(0, 100, 900)])
        ]
    )
    flags = {name: [True] * len(ways) for name in (WALK, DRIVE, CROSSING)}
    rough = relief(-101.0, 39.0, 2e-3, rng.normal(300, 60, (2000, 3500)))
    ground = replace(surroundings(), ways=ground_frame(ways, **flags), landmarks=marks, reliefs=(rough,))
    full = add_shading(replace(found, surroundings=ground))
    assert full.surroundings is not None
    assert full.surroundings.reliefs == ()
    text = build_map(full)
    assert len(text.encode()) < 1_500_000
    data = Reader(text).data()
    assert data["around"]["roads"]["left"] > 0
    assert f"{data['around']['roads']['left']:,} of roads and paths" in words(text)
    assert len(data["shading"]) > 10
    assert build_map(full) == text
