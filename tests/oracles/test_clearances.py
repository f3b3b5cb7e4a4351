"""Clearances against PyPI `geographiclib` 2.1: geodesics to the nearest point of every near edge (R).

The promise: right to 0.1 m + 0.01 % below 10 km, latitudes up to 80, edges straight in longitude and
latitude.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import affinity

from oracles import metric
from scout.geo.boundaries import Boundaries

quick = settings(deadline=None, derandomize=True, max_examples=120)
bearings = st.floats(0, 360, exclude_max=True)


def holds(got: float, expected: float) -> bool:
    return abs(got - expected) <= 0.1 + 1e-4 * abs(expected)


@st.composite
def parks_in_metres(draw: st.DrawFn) -> tuple[shapely.Geometry, float, float]:
    """A park 50 m to 200 km across, with holes or parts, somewhere up to 80 N or S, and its middle."""
    lat = draw(st.floats(-80, 80))
    lon = draw(st.one_of(st.floats(-180, 180), st.sampled_from([179.99, -180.0, 180.0])))
    size_m = 10 ** draw(st.floats(1.7, 5.3))
    east, north = metric.degree_lengths(lat)
    shape = draw(st.one_of(_stars(), st.builds(_ring, _stars()), st.builds(_pair, _stars(), _stars())))
    assume(shape.is_valid and shape.area > 0)
    placed = affinity.affine_transform(shape, [size_m / east, 0, 0, size_m / north, lon, lat])
    west, south, _, top = placed.bounds
    assume(top < 82 and south > -82)
    turn = 360.0 * np.floor((west + 180) / 360)
    return shapely.transform(placed, lambda xy: xy - (turn, 0.0)), lon, lat


@st.composite
def _stars(draw: st.DrawFn) -> shapely.Polygon:
    reach = draw(st.lists(st.floats(0.1, 1.0), min_size=3, max_size=8))
    at = draw(st.floats(0, 6)) + np.arange(len(reach)) * 2 * np.pi / len(reach)
    return shapely.Polygon(np.column_stack([reach * np.cos(at), reach * np.sin(at)]))


def _ring(star: shapely.Polygon) -> shapely.Polygon:
    return shapely.Polygon(
        star.exterior.coords, [affinity.scale(star, 0.5, 0.5, origin=(0, 0)).exterior.coords]
    )


def _pair(one: shapely.Polygon, other: shapely.Polygon) -> shapely.MultiPolygon:
    return shapely.MultiPolygon([one, affinity.translate(other, 2.1, 0.3)])


@given(parks_in_metres(), bearings, st.one_of(st.floats(0, 60), st.floats(0, 9900)), st.data())
@quick
def test_the_clearance_near_a_boundary_is_the_geodesic_to_it(drawn, bearing, away_m, data):
    park, _, _ = drawn
    share = data.draw(st.floats(0, 1))
    on_edge = park.boundary.interpolate(share, normalized=True)
    lon, lat = metric.moved(on_edge.x, on_edge.y, bearing, away_m)
    assume(abs(lat) <= 80)
    expected = metric.clearance_m(park, lon, lat)
    got = float(Boundaries([park]).clearance(np.array([0]), np.array([lon]), np.array([lat]))[0])
    assert holds(got, expected), f"{got} for {expected}"


@given(parks_in_metres())
@quick
def test_the_middle_and_the_vertices_have_their_clearance(drawn):
    park, lon, lat = drawn
    vertices = shapely.get_coordinates(park)[:6]
    lon, lat = np.array([lon, *vertices[:, 0]]), np.array([lat, *vertices[:, 1]])
    got = Boundaries([park]).clearance(np.zeros(len(lon), dtype=int), lon, lat)
    expected = metric.clearance_m(park, lon[0], lat[0])
    assume(abs(lat[0]) <= 80)
    if abs(expected) < 10_000:
        assert holds(got[0], expected)
    else:
        assert np.sign(got[0]) == np.sign(expected)
        assert abs(got[0]) > 9_990
    assert np.all(np.abs(got[1:]) <= 0.1)


@given(st.lists(parks_in_metres(), min_size=1, max_size=4), st.data())
@settings(deadline=None, derandomize=True, max_examples=30)
def test_pairs_of_parks_and_points_are_answered_in_their_order(drawn, data):
    parks = [park for park, _, _ in drawn]
    pick = np.array(data.draw(st.lists(st.integers(0, len(parks) - 1), min_size=1, max_size=5)))
    at = np.array([drawn[k][1:] for k in pick])
    boundaries = Boundaries(parks)
    got = boundaries.clearance(pick, at[:, 0], at[:, 1])
    assert got.shape == pick.shape
    for k, park in enumerate(pick):
        alone = boundaries.clearance(pick[k : k + 1], at[k : k + 1, 0], at[k : k + 1, 1])
        assert got[k] == pytest.approx(float(alone[0]), abs=1e-6)
        assert (got[k] > 0) == bool(
            shapely.contains_xy(parks[park], metric.turned(parks[park], at[k, 0]), at[k, 1])
        )


@pytest.mark.parametrize("lat", [0.0, 35.0, 60.0, 79.0])
@pytest.mark.parametrize("offset_m", [3.0, -250.0, 5000.0])
def test_a_long_edge_along_a_parallel_is_the_parallel_not_the_geodesic(lat, offset_m):
    park = shapely.box(9.0, lat - 1, 11.0, lat)
    _, north = metric.degree_lengths(lat)
    point = 10.0, lat - offset_m / north
    expected = metric.clearance_m(park, *point)
    assert expected == pytest.approx(offset_m, rel=1e-3)
    got = float(Boundaries([park]).clearance(np.array([0]), np.array([point[0]]), np.array([point[1]]))[0])
    assert holds(got, expected)


def test_a_point_may_be_written_with_either_longitude_at_the_antimeridian():
    park = shapely.box(179.99, -17.0, 180.02, -16.98)
    expected = metric.clearance_m(park, -179.99, -16.99)
    assert expected > 1000
    got = Boundaries([park]).clearance(
        np.zeros(2, dtype=int), np.array([-179.99, 180.01]), np.array([-16.99, -16.99])
    )
    assert holds(got[0], expected)
    assert holds(got[1], expected)


def test_an_inholding_is_outside():
    hole = [(10.001, 45.001), (10.002, 45.001), (10.002, 45.002), (10.001, 45.002)]
    park = shapely.Polygon(shapely.box(10, 45, 10.01, 45.01).exterior.coords, [hole])
    expected = metric.clearance_m(park, 10.0015, 45.0014)
    assert expected < -30
    got = float(Boundaries([park]).clearance(np.array([0]), np.array([10.0015]), np.array([45.0014]))[0])
    assert holds(got, expected)
