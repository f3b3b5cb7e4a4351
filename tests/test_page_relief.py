"""Hills, contour lines, roads, woods, buildings, names: right, in their places, within their bytes."""

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
from scipy.interpolate import RegularGridInterpolator
from test_access_ways import tagged
from test_page import synthetic
from test_page_ground import unpacked
from walked import ground_frame, harbour, surroundings

from scout.model import CROSSING, DRIVE, WALK, Relief
from scout.output.saved import dump_findings, load_findings
from scout.page import around
from scout.page.contours import ROOM_FOR_CONTOURS, draw_contours, make_contour_data, trace_contour
from scout.page.data import make_page_data
from scout.page.document import build_map
from scout.page.packing import UNITS_PER_DEG, PageFrame
from scout.page.shading import (
    ROOM_FOR_SHADING,
    add_relief,
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


# Contour lines


def test_contours_of_a_cone_are_circles():
    x, y = np.linspace(-10, 10, 161), np.linspace(-8, 8, 129)
    cone = 10 - np.hypot(*np.meshgrid(x, y))
    for level in (3.0, 5.5, 9.0):
        (line,) = trace_contour(cone, x, y, level).geoms
        assert line.is_closed
        radii = np.hypot(*shapely.get_coordinates(line).T)
        assert radii == pytest.approx(np.full(len(radii), 10 - level), abs=0.01)
    assert trace_contour(cone, x, y, 11.0).is_empty


@pytest.mark.parametrize("whole", [False, True])
def test_contours_lie_at_their_level_and_cross_every_side_that_parts_high_from_low(whole: bool):
    rng = np.random.default_rng(7)
    # Whole numbers lie on the level again and again.
    heights = rng.integers(-2, 3, (40, 50)).astype(float) if whole else rng.normal(0, 1, (40, 50))
    x, y = np.cumsum(rng.uniform(0.5, 2, 50)), np.cumsum(rng.uniform(0.5, 2, 40))
    traced = trace_contour(heights, x, y, 0.0)
    assert traced.is_simple
    points = np.unique(shapely.get_coordinates(traced), axis=0)
    # The oracle is scipy's interpolation; on the sides of cells it is linear.
    between = RegularGridInterpolator((y, x), heights)(np.clip(points, [x[0], y[0]], [x[-1], y[-1]])[:, ::-1])
    assert np.abs(between).max() < 1e-6
    above = heights >= 0
    assert len(points) == (above[:, 1:] != above[:, :-1]).sum() + (above[1:] != above[:-1]).sum()


def test_contours_end_where_nothing_is_known():
    heights = np.tile(np.arange(6.0), (9, 1))
    heights[4, 3] = np.nan
    low, high = trace_contour(heights, np.arange(6.0), np.arange(9.0), 2.5).geoms
    assert sorted([low.bounds, high.bounds]) == [(2.5, 0.0, 2.5, 3.0), (2.5, 5.0, 2.5, 8.0)]


def test_contours_say_their_interval_and_height_and_stay_near_places():
    lat = 50.0 + (np.arange(800)[::-1] + 0.5) * 5e-4
    slope = np.repeat(1000 * (lat - 50.0)[:, None], 800, axis=1)  # a metre for a thousandth of a degree
    places = np.array([(10.2, 50.2)])
    box = np.array([10.15, 50.15, 10.25, 50.25])
    drawn = draw_contours([relief(10.0, 50.0, 5e-4, slope)], places, [box])
    (group,) = drawn
    assert group.interval_m == 5.0
    assert set(group.heights_m) == {195.0, 200.0, 205.0, 190.0, 210.0}
    for line, height in zip(group.lines, group.heights_m, strict=True):
        x, y = shapely.get_coordinates(line).T
        assert y == pytest.approx(np.full(len(y), 50 + height / 1000), abs=1e-6)
        assert np.hypot((x - 10.2) * np.cos(np.radians(50.2)), y - 50.2).max() * 111.2 < 1.2
    ((interval, levels),) = make_contour_data(drawn, PageFrame(10.0))
    assert interval == 5
    assert [level[0] for level in levels] == [190, 195, 200, 205, 210]
    ring, _ = unpacked(levels[2][1])
    assert ring[:, 1] == pytest.approx(np.full(len(ring), 50_200_000), abs=2)


def test_contours_follow_the_page_over_the_antimeridian():
    heights = 200 * np.abs(np.sin(np.arange(200) / 9))[None, :] * np.ones((200, 1))
    ground = [relief(179.9, 49.9, 1e-3, heights), relief(-180.0, 49.9, 1e-3, heights[:, 100:])]
    (group,) = draw_contours(ground, np.array([(-179.999, 50.0)]), [np.array([179.97, 49.97, 180.03, 50.03])])
    lons = np.concatenate([shapely.get_coordinates(line)[:, 0] for line in group.lines])
    assert 179.97 < lons.min() < 180 < lons.max() < 180.03


@pytest.mark.parametrize("count", [1, 40])
def test_contours_keep_within_their_bytes(count: int):
    rng = np.random.default_rng(count)
    rough = relief(-100.0, 40.0, 2e-3, rng.normal(300, 60, (1600, 2400)))
    places = np.column_stack([rng.uniform(-99.9, -95.4, count), rng.uniform(40.1, 43.0, count)])
    boxes = [np.array([x - 0.03, y - 0.02, x + 0.03, y + 0.02]) for x, y in places]
    made = make_contour_data(draw_contours([rough], places, boxes), PageFrame(-98.0))
    assert made
    assert len(json.dumps(made, separators=(",", ":"))) <= ROOM_FOR_CONTOURS


# Roads, woods, buildings, names


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


def test_buildings_near_spots_are_drawn_where_other_ground_leaves_room(monkeypatch: pytest.MonkeyPatch):
    lon, lat = -19.999934, 45.000033  # the first spot
    norths = [lat + away / 111_200 for away in (120, 200)]
    houses = [shapely.Point(lon, north).buffer(1e-4, quad_segs=1) for north in norths]
    data, _ = make_page_data(with_ways([], buildings=houses))
    (drawn,) = data["around"]["buildings"]["areas"]
    middle = unpacked(drawn[0])[0].mean(axis=0)
    assert middle == pytest.approx((1e6 * lon, 1e6 * norths[0]), abs=30)
    monkeypatch.setattr(around, "_ROOM_FOR_ALL", 1000)
    data, _ = make_page_data(with_ways([], buildings=houses))
    assert data["around"]["buildings"] == {"lines": [], "areas": [], "left": 1}


def test_water_and_other_barriers_are_drawn_apart():
    data, _ = make_page_data(harbour())
    assert len(data["around"]["barriers"]["areas"]) == 1
    assert data["around"]["barriers"]["lines"] == []
    assert data["around"]["walls"]["areas"] == []
    assert len(data["around"]["walls"]["lines"]) == 1


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
    found = add_relief(
        replace(harbour(), surroundings=replace(surroundings(), reliefs=(rough,), landmarks=marks))
    )
    back = load_findings(dump_findings(found), "here")
    assert back.surroundings is not None
    assert found.surroundings is not None
    assert back.surroundings.shading == found.surroundings.shading
    assert back.surroundings.shading
    assert back.surroundings.contours == found.surroundings.contours
    assert back.surroundings.contours
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
    full = add_relief(replace(found, surroundings=ground))
    assert full.surroundings is not None
    assert full.surroundings.reliefs == ()
    text = build_map(full)
    assert len(text.encode()) < 1_500_000
    data = Reader(text).data()
    assert data["around"]["roads"]["left"] > 0
    assert f"{data['around']['roads']['left']:,} of roads and paths" in words(text)
    assert len(data["shading"]) > 10
    assert build_map(full) == text
