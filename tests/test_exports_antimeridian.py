"""Longitudes within 180 degrees, and what is cut there."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from scout.geo.antimeridian import cut_geometries, make_path, round_place


def test_the_line_of_rfc_7946_is_cut_as_printed_there():
    """Section 3.1.9 (R2): 45 N from 170 E to 170 W."""
    line = cut_geometries([make_path([(170, 45), (-170, 45)])])[0]
    assert line.equals(shapely.MultiLineString([[(170, 45), (180, 45)], [(-180, 45), (-170, 45)]]))


def test_the_rectangle_of_rfc_7946_is_cut_as_printed_there():
    """Section 3.1.9 (R2): 40 N to 50 N from 170 E to 170 W."""
    area = cut_geometries([shapely.box(170, 40, 190, 50)])[0]
    assert area.geom_type == "MultiPolygon"
    assert area.equals(shapely.MultiPolygon([shapely.box(170, 40, 180, 50), shapely.box(-180, 40, -170, 50)]))


@given(st.floats(-180, 180), st.floats(0.001, 300), st.integers(-1, 1))
def test_an_area_keeps_its_size_and_its_places_whichever_way_it_is_given(west, width, turns):
    given_as = shapely.box(west + 360 * turns, -10, west + 360 * turns + width, 10)
    area = cut_geometries([given_as])[0]
    assert area.is_valid
    assert -180 <= area.bounds[0] < area.bounds[2] <= 180
    assert area.area == pytest.approx(given_as.area, rel=1e-9, abs=1e-9)
    middle = shapely.Point(round_place(west + width / 2, 0))
    assert area.distance(middle) < 1e-7


def test_what_does_not_cross_comes_back_to_the_last_bit():
    shapes = [
        shapely.box(9.9, -1, 10.1, 1),
        shapely.box(179, 0, 180, 1),
        shapely.box(-180, 0, -179, 1),
        make_path([(170.1, 1), (180, 2)]),
    ]
    assert all(a is b for a, b in zip(cut_geometries(shapes), shapes, strict=True))


def test_a_line_along_the_antimeridian_stays_one_line():
    assert cut_geometries([make_path([(180.0, 1.0), (180.0, 2.0)])])[0].bounds == (180.0, 1.0, 180.0, 2.0)
    assert cut_geometries([make_path([(180.0, 1.0), (-180.0, 2.0)])])[0].bounds == (180.0, 1.0, 180.0, 2.0)
    assert cut_geometries([make_path([(-180.0, 1.0), (180.0, 2.0)])])[0].bounds == (-180.0, 1.0, -180.0, 2.0)


def test_a_cap_drawn_with_more_than_a_turn_covers_the_globe_once():
    cap = cut_geometries([shapely.box(-200, 85, 200, 90)])[0]
    assert cap.bounds == (-180.0, 85.0, 180.0, 90.0)
    assert cap.area == pytest.approx(360 * 5)


def test_holes_are_cut_with_their_park():
    holed = shapely.box(179, 0, 181, 2).difference(shapely.box(179.5, 0.5, 180.5, 1.5))
    area = cut_geometries([holed])[0]
    assert area.area == pytest.approx(4 - 1)
    assert not area.contains(shapely.Point(179.9, 1))
    assert not area.contains(shapely.Point(-179.9, 1))


def test_nothing_is_cut_into_nothing():
    assert len(cut_geometries([])) == 0


@given(st.floats(-720, 720), st.floats(-90, 90))
def test_a_place_is_the_same_within_a_millimetre_and_its_longitude_below_180(lon, lat):
    x, y = round_place(lon, lat)
    assert -180 <= x < 180
    assert abs((x - lon + 180) % 360 - 180) < 2e-8
    assert abs(y - lat) < 1e-8
