"""The whole globe: islands over 180, parks at the poles, a park that is everywhere, searches kept bounded.

What must be found is counted over plain lists of all corners of a level, with shapely's own test of points.
"""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import geojson, layer
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.app.find import SearchOptions, find_spots
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.parks.build import build_parks
from scout.search import run
from scout.search.overlaps import find_regions

_SIZES = {1: (20.0, 10.0), 2: (2.0, 1.0), 3: (1 / 12, 1 / 24)}
GLOBE = shapely.box(-180, -90, 180, 90)


def corners_of(found: Any) -> set[tuple[float, float]]:
    """Corners at which a park was found, to a millionth of a degree."""
    rows = [ranked.spot for ranked in found.spots if ranked.spot.kind == "corner"]
    return {(round(spot.corner[0], 6), round(spot.corner[1], 6)) for spot in rows}


def corners_inside(
    shape: Any, level: int, box: tuple[float, float, float, float]
) -> set[tuple[float, float]]:
    """All corners of a level strictly inside a shape, of those in a box; poles are none."""
    width, height = _SIZES[level]
    west, south, east, north = box
    lon = np.arange(np.ceil(west / width), np.floor(east / width) + 1) * width
    lat = np.arange(np.ceil(south / height), np.floor(north / height) + 1) * height
    x, y = (part.ravel() for part in np.meshgrid(lon, lat[np.abs(lat) < 89.9999]))
    held = shapely.contains_xy(shape, x, y)
    turned = (x[held] + 180) % 360 - 180
    return set(zip(turned.round(6).tolist(), y[held].round(6).tolist(), strict=True))


def parks_of(*shapes: Any) -> Any:
    return build_parks([layer(list(shapes))])


def told(path: Path, level: int) -> list[Any]:
    """Everything told of the spots of a file, to the last bit."""
    found = find_spots(build_parks(read_layers([path])), SearchOptions(level=level, near_m=2000.0))
    return [ranked.spot for ranked in found.spots]


@pytest.mark.parametrize("level", [1, 2, 3])
def test_islands_cut_at_180_and_run_past_it_give_the_same_spots(level: int, tmp_path: Path) -> None:
    past = [shapely.Point(180.0, -16.0).buffer(0.31, 24), shapely.box(179.95, -20.03, 180.04, -19.98)]
    cut = []
    for shape in past:
        east = shapely.intersection(shape, shapely.box(0, -90, 180, 90))
        west = shapely.intersection(shape, shapely.box(180, -90, 360, 90))
        cut.append(shapely.MultiPolygon([east, shapely.transform(west, lambda xy: xy - [360, 0])]))
    before = [shapely.transform(shape, lambda xy: xy - [360, 0]) for shape in past]
    one, two, three = (
        told(geojson(tmp_path / "islands.geojson", shapes), level) for shapes in (past, cut, before)
    )
    assert {spot.corner for spot in one if spot.kind == "corner"}
    assert len(one) == len(two) == len(three)
    for a, b, c in zip(one, two, three, strict=True):
        assert a.verdict.locators == b.verdict.locators == c.verdict.locators
        assert a.verdict.parks == b.verdict.parks == c.verdict.parks
        # Cutting and turning round off the last digits of a vertex: a few nanometres.
        assert (a.lon, a.lat) == pytest.approx((b.lon, b.lat), abs=1e-9)
        assert (a.lon, a.lat) == pytest.approx((c.lon, c.lat), abs=1e-9)
        assert a.verdict.confidence == pytest.approx(b.verdict.confidence, abs=1e-6)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("south", [60.5, 84.2, 88.5])
def test_a_cap_round_a_pole_has_the_corners_of_its_parallels_and_none_at_the_pole(
    side: int, south: float
) -> None:
    cap = shapely.box(-180, south, 180, 90)
    if side < 0:
        cap = shapely.transform(cap, lambda xy: xy * [1, -1])
    found = find_spots(parks_of(cap), SearchOptions(near_m=0.0))
    low, high = sorted((side * south, side * 90.0))
    inside = corners_inside(shapely.box(-181, -90, 181, 90), 2, (-180, low, 179, high))
    assert corners_of(found) == inside
    assert len(inside) == 180 * (89 - int(np.floor(south)))
    assert all(abs(ranked.spot.lat) < 90 for ranked in found.spots)


def test_a_wedge_that_ends_at_the_pole_counts_what_is_strictly_inside() -> None:
    wedge = shapely.Polygon([(10.5, 80.2), (33.7, 80.2), (33.7, 90.0), (10.5, 90.0)])
    found = find_spots(parks_of(wedge), SearchOptions(near_m=0.0))
    assert corners_of(found) == corners_inside(wedge, 2, (10, 80, 34, 90))


def test_a_park_over_many_squares_and_180_has_all_of_their_corners() -> None:
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    reach = 1 + 0.3 * np.sin(7 * angle)
    star = shapely.Polygon(
        np.column_stack([175 + 30 * reach * np.cos(angle), 20 + 25 * reach * np.sin(angle)])
    )
    found = find_spots(parks_of(star), SearchOptions(near_m=0.0, min_confidence=0.0))
    assert corners_of(found) == corners_inside(star, 2, (130, -20, 220, 60))
    assert len(corners_of(found)) > 1000


@given(st.integers(-179, 178), st.integers(-89, 88))
@settings(max_examples=12)
def test_a_park_that_is_everywhere_is_searched_a_piece_at_a_time(lon: int, lat: int) -> None:
    area = (lon + 0.01, lat + 0.01, lon + 0.51, lat + 0.26)
    found = find_spots(parks_of(GLOBE), SearchOptions(level=3, near_m=500.0, bbox=area))
    assert corners_of(found) == corners_inside(shapely.box(-181, -90, 181, 90), 3, area)


def test_a_park_that_is_everywhere_has_every_corner_of_the_fields() -> None:
    found = find_spots(parks_of(GLOBE), SearchOptions(level=1, near_m=0.0))
    assert corners_of(found) == set(itertools.product(np.arange(-180.0, 180, 20), np.arange(-80.0, 90, 10)))


@pytest.mark.parametrize("level", [3, 4, 5])
@pytest.mark.parametrize("shape", [GLOBE, shapely.segmentize(shapely.box(-180, -90, 180, 90), 0.5)])
def test_more_than_one_search_holds_is_said_before_any_place_is_judged(
    level: int, shape: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def judged(*_: Any) -> None:
        raise AssertionError("it went on")

    monkeypatch.setattr(run, "judge_corners", judged)
    with pytest.raises(InputError, match="narrow the search with --home and --within or --area"):
        find_spots(parks_of(shape), SearchOptions(level=level))


def test_the_finest_level_of_a_park_that_is_everywhere_can_be_searched_near_home() -> None:
    found = find_spots(parks_of(GLOBE), SearchOptions(level=5, home=(10.001, 50.001), within_km=0.05))
    assert found.spots
    assert len(found.spots) < 50


def test_regions_of_a_crowd_are_the_same_at_the_antimeridian():
    """Seven parks over each other: some run past 180, and those that lie beyond it bear the other numbers."""
    rng = np.random.default_rng(4)
    corner = rng.uniform(-0.5, 0.3, (7, 2))
    corner += np.array([20.0, 40.0])
    size = rng.uniform(0.4, 0.9, (7, 2))
    beyond = corner[:, 0] > 20.0
    assert 0 < beyond.sum() < 7
    shift = np.where(beyond, -200.0, 160.0)[:, None] * np.array([1.0, 0.0])
    found = []
    for south_west in (corner, corner + shift):
        parks = shapely.box(*south_west.T, *(south_west + size).T)
        regions, _ = find_regions(parks, shapely.STRtree(parks))
        sets = [tuple(regions.park[i:j].tolist()) for i, j in itertools.pairwise(regions.first.tolist())]
        found.append(sorted(zip(sets, shapely.area(regions.shape).round(9).tolist(), strict=True)))
    assert found[0] == found[1]
    assert max(len(parks) for parks, _ in found[0]) >= 4
