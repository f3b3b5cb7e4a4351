"""Distances, bearings and the local frame against PyPI `geographiclib` 2.1 on random lines (R)."""

from __future__ import annotations

import numpy as np
import pyproj
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


@pytest.mark.parametrize(("lat", "within_m"), [(0, 3e-5), (10, 3e-5), (-45, 3e-5), (60, 3e-5), (-80, 1e-3)])
def test_the_series_gives_cassini_soldner_coordinates_as_proj_has_them(lat, within_m):
    """PROJ's cass (R), 10 km round a centre; its own series goes to the fifth power (Snyder 1987, 13)."""
    cass = pyproj.Proj(f"+proj=cass +lat_0={lat} +lon_0=20 +ellps=WGS84")
    lon, around = np.transpose([metric.moved(20.0, lat, b, 10_000.0) for b in range(0, 360, 15)])
    x, y = geodesy.make_polynomial_frame(float(lat)).forward(lon - 20.0, around - lat)
    expected_x, expected_y = cass(lon, around)
    assert x == pytest.approx(expected_x, abs=within_m)
    assert y == pytest.approx(expected_y, abs=within_m)


@pytest.mark.parametrize("lat", [-70.0, -33.0, 0.0, 12.0, 45.0, 64.0])
def test_the_series_along_the_meridian_is_that_of_the_meridian_arc(lat):
    """Arcs of up to 3 degrees by geographiclib (R), fitted by a polynomial of ninth order."""
    steps = 3.0 * np.cos(np.pi * (np.arange(40) + 0.5) / 40)
    arcs = [np.copysign(WGS84.Inverse(lat, 0.0, lat + step, 0.0)["s12"], step) for step in steps]
    fitted = np.polynomial.Polynomial.fit(steps, arcs, 9).convert().coef
    series = geodesy.make_polynomial_frame(lat)
    assert [series.y1, series.y2, series.y3] == pytest.approx(fitted[1:4], abs=1e-6)


def test_places_and_bearings_lie_in_one_turn_and_keep_their_shape():
    lon = np.array([[179.9, -179.9, 0.0], [90.0, -90.0, 180.0]])
    east, north = geodesy.move_point(lon, 0.0, 90.0, 50_000.0)
    assert east.shape == north.shape == (2, 3)
    assert np.all((east >= -180.0) & (east < 180.0))
    assert east[0, 0] == pytest.approx(-179.650842, abs=1e-6)  # 50 km / 111,319.491 m a degree
    distance_m, bearing = geodesy.measure_geodesic(lon, 0.0, lon - 0.1, 0.0)
    assert distance_m.shape == bearing.shape == (2, 3)
    assert distance_m == pytest.approx(11_131.9491, abs=1e-3)
    assert bearing == pytest.approx(270.0)
    assert geodesy.wrap_lon([180.0, -180.0, 540.0, -181.0, 359.0]).tolist() == [
        -180.0,
        -180.0,
        -180.0,
        179.0,
        -1.0,
    ]


def test_numbers_of_half_the_digits_are_computed_with_all():
    """Places in float32, as some files hold them, are the same places in float64."""
    lon, lat = np.float32([170.123456, -179.98765, 359.5]), np.float32([45.678901, -12.345678, 79.5])
    assert geodesy.wrap_lon(lon).tolist() == geodesy.wrap_lon(lon.astype(float)).tolist()
    half, whole = geodesy.make_polynomial_frame(lat), geodesy.make_polynomial_frame(lat.astype(float))
    assert np.array_equal(half, whole)


def test_of_one_point_come_numbers_and_no_arrays():
    for call in (geodesy.measure_geodesic, geodesy.move_point):
        assert [type(value) for value in call(10.0, 45.0, np.float64(20.0), 46)] == [float, float]
