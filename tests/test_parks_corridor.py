"""A corridor's edge lies at its half-width from the line, to 0.1 m + 0.01 %, everywhere on the Earth.

Distances by straight chords between Earth-centred coordinates (WGS 84, formula of any geodesy handbook),
which fall short of the geodesic by d^3 / 24 a^2: 1 mm at 10 km. No code of the corridor is used.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import layer
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from scout.parks.build import build_parks
from scout.parks.usable import make_corridor

A, F = 6378137.0, 1 / 298.257223563


def earth_centred(lonlat: Any) -> Any:
    lon, lat = np.radians(np.asarray(lonlat, dtype=float)).T
    e2 = F * (2 - F)
    n = A / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    return np.column_stack(
        [n * np.cos(lat) * np.cos(lon), n * np.cos(lat) * np.sin(lon), n * (1 - e2) * np.sin(lat)]
    )


def test_the_chords_of_this_test_agree_with_geographiclib() -> None:
    line = Geodesic.WGS84.Direct(60.0, 10.0, 30.0, 1000.0)
    a, b = earth_centred([(10.0, 60.0), (line["lon2"], line["lat2"])])
    assert np.linalg.norm(a - b) == pytest.approx(1000.0, abs=1e-5)


def along(line: Any, step_m: float) -> Any:
    """Points of the line, straight in longitude and latitude, not farther apart than the step."""
    points = []
    for part in shapely.get_parts(line):
        run = shapely.get_coordinates(part)
        chord = np.linalg.norm(np.diff(earth_centred(run), axis=0), axis=1)
        for start, end, length in zip(run[:-1], run[1:], chord, strict=True):
            share = np.linspace(0, 1, int(1.01 * length / step_m) + 2)[:, None]
            points.append(start + (end - start) * share)
    return np.concatenate(points)


def distances(line: Any, lonlat: Any, step_m: float) -> Any:
    return cKDTree(earth_centred(along(line, step_m))).query(earth_centred(lonlat))[0]


def check(line: Any, half_width_m: float) -> Any:
    made = make_corridor(line, half_width_m)
    assert made is not None
    assert made.is_valid
    edge = shapely.segmentize(shapely.boundary(made), half_width_m / 111_000 / 4)
    step = max(half_width_m / 60, 0.5)
    away = distances(line, shapely.get_coordinates(edge), step)
    allowed = 0.1 + 1e-4 * half_width_m
    between = step**2 / 8 / half_width_m  # the nearest of the points may be this much farther than the line
    assert away.min() > half_width_m - allowed
    assert away.max() < half_width_m + allowed + between
    assert made.covers(line) or shapely.difference(line, made).length < 1e-9
    return made


@pytest.mark.parametrize("lat", [0.0, -33.0, 45.0, 60.0, -75.0, 85.0, 89.0])
@pytest.mark.parametrize("half_width_m", [5.0, 30.48, 300.0, 5000.0])
@pytest.mark.parametrize("bearing", [0, 50, 90])
def test_the_edge_lies_at_the_half_width_at_any_latitude(
    lat: float, half_width_m: float, bearing: int
) -> None:
    per_lon = 111_320 * np.cos(np.radians(lat))
    dx, dy = 4000 * np.sin(np.radians(bearing)) / per_lon, 4000 * np.cos(np.radians(bearing)) / 111_320
    check(shapely.LineString([(20, lat), (20 + dx, lat + dy)]), half_width_m)


@pytest.mark.parametrize(
    "line",
    [
        shapely.LineString([(0, 60), (4, 60)]),  # one edge of 223 km along a parallel
        shapely.LineString([(0, 60), (2, 61), (2.1, 59.5)]),
        shapely.LineString([(178, -40), (182, -41)]),
        shapely.LineString([(-181, 10), (-179, 10)]),
        shapely.LineString([(10, 80), (30, 80)]),
    ],
)
def test_long_edges_follow_longitude_and_latitude(line: Any) -> None:
    made = check(line, 1000.0)
    assert made.bounds[0] == pytest.approx(line.bounds[0], abs=0.2), "longitudes stay where they are"


def winding(points: int, step_m: float, turn: float, seed: int, lat: float = 47.0) -> Any:
    random = np.random.default_rng(seed)
    angle = np.cumsum(random.normal(0, turn, points))
    xy = np.cumsum(np.column_stack([np.cos(angle), np.sin(angle)]) * step_m, axis=0)
    return shapely.LineString(
        np.column_stack([8 + xy[:, 0] / (111_320 * np.cos(np.radians(lat))), lat + xy[:, 1] / 111_320])
    )


@pytest.mark.parametrize(("step_m", "turn"), [(20.0, 0.4), (5.0, 0.3), (60.0, 0.8), (200.0, 1.2)])
@pytest.mark.parametrize("half_width_m", [30.48, 1000.0])
def test_a_winding_trail_is_kept_to_in_every_bend(step_m: float, turn: float, half_width_m: float) -> None:
    check(winding(400, step_m, turn, 7), half_width_m)


def test_a_gentle_curve_of_many_vertices_is_not_thinned_too_far() -> None:
    angle = np.arange(0, 3, 0.02)
    bend = np.column_stack([8 + 0.05 * np.cos(angle), 47 + 0.04 * np.sin(angle)])
    for half_width_m in (30.48, 1000.0, 2500.0):
        check(shapely.LineString(bend), half_width_m)


def test_a_loop_leaves_its_middle_out() -> None:
    loop = shapely.LineString(shapely.Point(8, 47).buffer(0.02).exterior.coords)
    made = check(loop, 100.0)
    assert not made.intersects(shapely.Point(8, 47))
    assert len(made.interiors) == 1


def test_ends_are_round() -> None:
    made = check(shapely.LineString([(8, 47), (8.001, 47)]), 100.0)
    end = Geodesic.WGS84.Direct(47, 8, 270, 99.8)
    corner = Geodesic.WGS84.Direct(47, 8, 315, 100.3)
    assert made.contains(shapely.Point(end["lon2"], end["lat2"]))
    assert not made.contains(shapely.Point(corner["lon2"], corner["lat2"]))


@pytest.mark.parametrize(
    "line",
    [
        shapely.LineString([(8, 47), (8, 47)]),
        shapely.LineString([(8, 47), (8, 47), (8.001, 47), (8.001, 47)]),
        shapely.LineString([(8, 47), (8.001, 47), (8, 47)]),
        shapely.MultiLineString([[(8, 47), (8.001, 47)], [(9, 47), (9.001, 47)]]),
    ],
)
def test_odd_lines_have_corridors_too(line: Any) -> None:
    check(line, 50.0)


@given(
    st.integers(0, 2**32 - 1),
    st.floats(1.0, 3000.0),
    st.floats(-85, 85),
    st.floats(5, 500),
    st.floats(0, 1.5),
)
@settings(deadline=None, max_examples=25)
def test_places_are_inside_exactly_within_the_half_width(
    seed: int, half_width_m: float, lat: float, step_m: float, turn: float
) -> None:
    line = winding(30, step_m, turn, seed, lat)
    made = make_corridor(line, half_width_m)
    random = np.random.default_rng(seed)
    near = along(line, step_m)[random.integers(0, 30, 400)]
    reach = 1.5 * half_width_m / 111_320
    places = near + random.uniform(-reach, reach, near.shape) / [np.cos(np.radians(lat)), 1]
    step = max(half_width_m / 60, 0.3)
    away = distances(line, places, step)
    allowed = 0.1 + 1e-4 * half_width_m + step**2 / 8 / half_width_m
    inside = shapely.contains_xy(made, places)
    sure = np.abs(away - half_width_m) > allowed + step / 2
    assert (inside == (away < half_width_m))[sure].all()


def test_a_line_at_a_pole_is_refused_in_one_line() -> None:
    lines = [shapely.LineString([(0, 89.4), (10, 89.9)]), shapely.LineString([(0, 47), (0.01, 47)])]
    parks = build_parks([layer(lines)], corridor_m=30.48)
    assert parks.report.refused == ("parks.gpkg: record 1: too near a pole for a corridor",)
    assert len(parks.frame) == 1
