"""Distances, bearings and the local frame against PyPI `geographiclib` 2.1 on random lines (R)."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import latitudes, longitudes

from oracles import metric
from scout.geo import geodesy

quick = settings(deadline=None, derandomize=True, max_examples=150)
bearings = st.floats(0, 360, exclude_max=True)
WGS84 = Geodesic.WGS84


@given(longitudes, latitudes, longitudes, latitudes)
@quick
def test_any_line_has_the_length_and_bearing_of_the_reference(lon1, lat1, lon2, lat2):
    expected = WGS84.Inverse(lat1, lon1, lat2, lon2)
    assume(1 < expected["s12"] < 19_900_000)  # coincident and antipodal points have no bearing of their own
    distance_m, bearing = geodesy.measure_geodesic(lon1, lat1, lon2, lat2)
    assert distance_m == pytest.approx(expected["s12"], abs=1e-5)
    assume(abs(lat1) < 89.999)
    wrong = (bearing - expected["azi1"] + 180) % 360 - 180
    assert abs(wrong) < 1e-5 + 1e-4 / expected["s12"]
    assert 0 <= bearing <= 360


@given(longitudes, latitudes, bearings, st.floats(0, 20_000))
@quick
def test_a_move_ends_where_the_reference_ends(lon, lat, bearing, metres):
    end_lon, end_lat = geodesy.move_point(lon, lat, bearing, metres)
    assert metric.distance_m(end_lon, end_lat, *metric.moved(lon, lat, bearing, metres)) < 1e-5


@given(latitudes)
@quick
def test_the_length_of_a_degree_follows_from_the_radii_of_curvature(lat):
    assert geodesy.compute_degree_lengths(lat) == pytest.approx(
        metric.degree_lengths(lat), rel=1e-9, abs=1e-6
    )


@given(longitudes, st.floats(-89.9, 89.9), bearings, st.floats(0.5, 10_000))
@quick
def test_the_local_frame_keeps_distance_and_bearing_from_its_centre(lon, lat, bearing, metres):
    frame = geodesy.LocalFrame(lon, lat)
    x, y = frame.forward(*metric.moved(lon, lat, bearing, metres))
    assert np.hypot(x, y) == pytest.approx(metres, rel=1e-7, abs=1e-3)
    assert (metric.compass(x, y) - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-5 + 0.01 / metres)


@given(longitudes, st.floats(-89.9, 89.9), st.floats(-10_000, 10_000), st.floats(-10_000, 10_000))
@quick
def test_the_local_frame_comes_back_to_where_it_went(lon, lat, x, y):
    frame = geodesy.LocalFrame(lon, lat)
    assert frame.forward(*frame.inverse(x, y)) == pytest.approx((x, y), abs=1e-4)


@given(
    longitudes,
    st.floats(-80, 80),
    st.tuples(bearings, st.floats(0, 5000)),
    st.tuples(bearings, st.floats(0, 5000)),
)
@quick
def test_distances_inside_a_local_frame_hold_the_promise(lon, lat, one, other):
    frame = geodesy.LocalFrame(lon, lat)
    a, b = metric.moved(lon, lat, *one), metric.moved(lon, lat, *other)
    true_m = metric.distance_m(*a, *b)
    (x1, y1), (x2, y2) = frame.forward(*a), frame.forward(*b)
    assert abs(np.hypot(x2 - x1, y2 - y1) - true_m) <= 0.1 + 1e-4 * true_m


def test_arrays_and_scalars_agree():
    lon = np.array([-0.5, 179.9, -90.0])
    lat = np.array([51.6, -17.0, 45.0])
    distance_m, bearing = geodesy.measure_geodesic(-73.8, 40.6, lon, lat)
    for k in range(3):
        assert geodesy.measure_geodesic(-73.8, 40.6, lon[k], lat[k]) == (distance_m[k], bearing[k])
