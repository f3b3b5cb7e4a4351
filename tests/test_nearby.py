"""What is kept of the boundaries while a centre is sought: the same distances, from fewer edges."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from scout.geo.boundaries import Boundaries, Outlines
from scout.geo.geodesy import compute_degree_lengths
from scout.model import Station
from scout.search.optimize import NearbyEdges, choose_standing
from scout.search.verdict import FOUR, ONE, Claims, JudgingContext, estimate_claims, judge_claims

coordinate = st.floats(-1, 1).map(lambda v: round(v, 3))


@st.composite
def rings(draw: st.DrawFn) -> shapely.Polygon:
    """Star-shaped outlines, some with a hole, between -1 and 1."""
    count = draw(st.integers(3, 12))
    reach = draw(st.lists(st.floats(0.2, 1.0), min_size=count, max_size=count))
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    shell = np.stack([reach * np.cos(turn), reach * np.sin(turn)], axis=1)
    holes = [shell[::-1] * 0.3] if draw(st.booleans()) else []
    shape = shapely.Polygon(shell, holes)
    assume(shape.is_valid and shape.area > 1e-3)
    return shape


def placed(shape: shapely.Polygon, lon: float, lat: float, size_m: float) -> shapely.Polygon:
    per = np.stack(compute_degree_lengths(lat))
    return shapely.transform(shape, lambda xy: np.array([lon, lat]) + xy * size_m / per)


def near_box(shape, lon, lat, least, most, reach_m) -> tuple[Boundaries, NearbyEdges]:
    boundaries = Boundaries(np.array([shape]))
    pairs = np.zeros(1, dtype=np.int64), np.array([lon]), np.array([lat])
    return boundaries, NearbyEdges.of(boundaries, pairs, (least, most), np.array([reach_m]))


@given(rings(), st.sampled_from([0.0, 47.0, -71.0]), st.sampled_from([15.0, 80.0, 900.0]), st.data())
def test_clearances_within_reach_are_those_of_the_whole_boundary(shape, lat, size_m, data):
    lon = data.draw(st.sampled_from([10.0, 179.9999]))
    shape = placed(shape, lon, lat, size_m)
    least, most = np.array([[-60.0, -40.0]]), np.array([[50.0, 70.0]])
    boundaries, near = near_box(shape, lon, lat, least, most, 100.0)
    share = np.array(data.draw(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=8, max_size=8)))
    place = least + share * (most - least)
    none = np.zeros(len(place), dtype=np.int64)
    at = np.array([[lon, lat]]) + place / np.stack(compute_degree_lengths(lat))
    whole = boundaries.clearance(none, at[:, 0], at[:, 1])
    local = near.clearance(none, place)
    close = np.abs(whole) < 100.0
    assert local[close] == pytest.approx(whole[close], abs=0.01)
    # Further off, the sign is right and the distance no shorter than what was asked for.
    assert np.all(np.sign(local[~close]) == np.sign(whole[~close]))
    assert np.all(np.abs(local[~close]) >= 99.0)


def test_far_up_a_long_box_degrees_have_the_length_they_have_there():
    """The edge lies 20 m east of a meridian, a degree and a half north of the claim's point."""
    shape = shapely.box(-0.5, 60.0, 20.0 / compute_degree_lengths(61.75)[0], 62.0)
    _, near = near_box(shape, 0.0, 60.25, np.array([[-8.0, 0.0]]), np.array([[8.0, 190_000.0]]), 50.0)
    north = (61.75 - 60.25) * compute_degree_lengths(60.25)[1]
    assert near.clearance(np.zeros(1, dtype=np.int64), np.array([[0.0, north]])) == pytest.approx(
        20.0, abs=0.01
    )


@given(rings(), st.lists(st.tuples(coordinate, coordinate), min_size=20, max_size=20))
def test_inside_is_what_geos_says(shape, points):
    """R: GEOS contains_xy, for points off the boundary."""
    lon, lat = np.array(points).T
    off = shapely.distance(shapely.points(lon, lat), shapely.boundary(shape)) > 1e-9
    inside = Boundaries(np.array([shape])).contains(np.zeros(len(lon), dtype=np.int64), lon, lat)
    assert np.array_equal(inside[off], shapely.contains_xy(shape, lon, lat)[off])


def test_outlines_keep_the_order_of_parks_rings_and_vertices():
    """R: GEOS, polygon by polygon."""
    hole = shapely.Polygon(
        [(0, 0), (4, 0), (4, 4), (0, 4)], [[(1, 1), (2, 1), (2, 2)], [(3, 3), (3.5, 3), (3, 3.5)]]
    )
    two = shapely.MultiPolygon([shapely.box(5, 5, 6, 6), shapely.box(7, 7, 8, 8)])
    parks = np.array([shapely.box(0, 0, 1, 1), two, shapely.Polygon([(9, 9), (10, 9), (9, 10)]), hole])
    lines = Outlines(parks)
    expected = [
        ring for park in parks for part in shapely.get_parts(park) for ring in shapely.get_rings(part)
    ]
    assert lines.ring_park.tolist() == [0, 1, 1, 2, 3, 3, 3]
    for ring, start, size in zip(expected, lines.ring_start, lines.ring_size, strict=True):
        xy = np.stack([lines.lon[start : start + size], lines.lat[start : start + size]], axis=1)
        assert np.array_equal(xy, shapely.get_coordinates(ring))


def one_park(shape: shapely.Polygon, station: Station) -> JudgingContext:
    return JudgingContext(Boundaries(np.array([shape])), np.array([station.boundary_error_m]), 2, station)


def one_claim(lon: float, lat: float, grid: int) -> Claims:
    return Claims(np.array([lon]), np.array([lat]), np.array([grid]), np.array([0, 1]), np.array([0]))


@pytest.mark.parametrize("exact", [False, True])
def test_a_station_outside_climbs_into_the_park(exact):
    """The park begins 40 m east: every way but east is worse, however small the probabilities are."""
    ground = one_park(placed(shapely.box(40, -200, 400, 200), 10.3, 47.3, 1.0), Station())
    most = np.array([60.0])
    claims = one_claim(10.3, 47.3, ONE)
    east, _, estimated = choose_standing(claims, ground, (-most, -most), (most, most), exact)
    assert east[0] == pytest.approx(60.0, abs=1.0)
    assert estimated.clearance_m[0] == pytest.approx(east[0] - 40.0, abs=0.05)


@pytest.mark.parametrize("exact", [False, True])
def test_the_estimate_that_comes_back_is_the_one_at_the_centre(exact):
    ground = one_park(placed(shapely.box(-9, -11, 300, 300), 20.0, 40.0, 1.0), Station())
    claims, reach = one_claim(20.0, 40.0, FOUR), np.array([10.0])
    before = judge_claims(claims, np.zeros(1), np.zeros(1), ground)
    east, north, told = choose_standing(claims, ground, (-reach, -reach), (reach, reach), exact)
    again = estimate_claims(claims, east, north, ground)
    columns = [one.name for one in fields(told)]
    assert all(np.array_equal(getattr(told, name), getattr(again, name)) for name in columns)
    assert judge_claims(claims, east, north, ground).confidence[0] > before.confidence[0] + 0.02
    assert east[0] > 0.5
    assert north[0] >= 0.0


def test_a_station_that_is_sure_stays():
    ground = one_park(placed(shapely.box(-500, -500, 500, 500), 20.0, 40.0, 1.0), Station())
    reach = np.array([10.0])
    east, north, _ = choose_standing(
        one_claim(20.0, 40.0, FOUR), ground, (-reach, -reach), (reach, reach), exact=True
    )
    assert (east[0], north[0]) == (0.0, 0.0)


def test_a_station_far_from_every_ray_s_way_in_lies_outside():
    """Outside beside the boundary, and no ray that meets the park runs free on its far side."""
    shape = placed(shapely.box(1, -1, 1.5, 1), 20.0, 40.0, 1.0)
    ground = one_park(shape, Station(fix_error_m=2.0, boundary_error_m=1.0))
    told = judge_claims(one_claim(20.0, 40.0, ONE), np.zeros(1), np.zeros(1), ground)
    assert told.parks_p[0] == 0.0
