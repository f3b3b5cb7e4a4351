"""WGS 84: a and 1/f from NIMA TR8350.2 (M; pyproj and GeographicLib agree, R).

Lengths of a degree computed from the constants (R); the table in the usual handbooks (NIMA tables,
Bowditch) agrees to 1 m (M). The cosine series and the lengths of a second are printed in an encyclopaedia
(R2).
"""

from __future__ import annotations

from math import cos, radians

import pytest

from scout.geo import geodesy, locator

DEGREES_M = [  # latitude, one degree of meridian, one degree of parallel
    (0, 110574.276, 111319.491),
    (10, 110607.765, 109639.364),
    (15, 110648.696, 107550.489),
    (30, 110852.442, 96486.280),
    (40, 111034.633, 85393.857),
    (45, 111131.777, 78846.835),
    (50, 111229.064, 71695.754),
    (60, 111412.287, 55800.002),
    (70, 111562.025, 38186.541),
    (75, 111618.384, 28902.006),
    (80, 111659.940, 19393.486),
    (90, 111693.980, 0.0),
]
CELLS_M = [  # latitude, then east-west and north-south of a square, subsquare, extended square, fifth pair
    (0, (222639.0, 110574.3), (9276.62, 4607.26), (927.66, 460.73), (38.65, 19.20)),
    (45, (157693.7, 111131.8), (6570.57, 4630.49), (657.06, 463.05), (27.38, 19.29)),
    (60, (111600.0, 111412.3), (4650.00, 4642.18), (465.00, 464.22), (19.38, 19.34)),
]


@pytest.mark.parametrize(("lat", "meridian", "parallel"), DEGREES_M)
def test_a_degree_is_as_long_as_the_table_says(lat, meridian, parallel):
    per_lon, per_lat = geodesy.compute_degree_lengths(float(lat))
    assert per_lat == pytest.approx(meridian, abs=0.0006)
    assert per_lon == pytest.approx(parallel, abs=0.0006)


@pytest.mark.parametrize("lat", range(-90, 91, 5))
def test_a_degree_of_latitude_follows_the_cosine_series(lat):
    p = radians(lat)
    series = 111132.92 - 559.82 * cos(2 * p) + 1.175 * cos(4 * p) - 0.0023 * cos(6 * p)
    assert geodesy.compute_degree_lengths(float(lat))[1] == pytest.approx(series, abs=0.07)


@pytest.mark.parametrize(("lat", "second_m"), [(0, 30.92), (30, 26.76), (60, 15.42)])
def test_a_second_of_longitude_is_as_long_as_printed(lat, second_m):
    # printed for a sphere: on the ellipsoid they are 26.80 m at 30 and 15.50 m at 60, half a percent more
    assert geodesy.compute_degree_lengths(float(lat))[0] / 3600 == pytest.approx(second_m, rel=0.006)


def test_a_second_of_latitude_at_the_equator_is_as_long_as_printed():
    assert geodesy.compute_degree_lengths(0.0)[1] / 3600 == pytest.approx(30.715, abs=0.0006)


@pytest.mark.parametrize(("lat", "square", "subsquare", "extended", "fifth"), CELLS_M)
def test_cells_are_as_large_as_the_table_says(lat, square, subsquare, extended, fifth):
    per_lon, per_lat = geodesy.compute_degree_lengths(float(lat))
    for level, (across, upward), digits in (
        (2, square, 0.06),
        (3, subsquare, 0.006),
        (4, extended, 0.006),
        (5, fifth, 0.006),
    ):
        cell = locator.decode(locator.encode(0.0, float(lat), level))
        assert cell.width * per_lon == pytest.approx(across, abs=digits)
        assert cell.height * per_lat == pytest.approx(upward, abs=digits)


@pytest.mark.parametrize(
    ("lat", "level", "bulge_m"), [(45, 2, 486.6), (60, 2, 421.7), (45, 3, 0.845), (45, 4, 0.008)]
)
def test_the_geodesic_between_two_corners_runs_poleward_of_the_parallel(lat, level, bulge_m):
    """Computed (R): so an edge along a parallel must never be taken for a straight line on the ground."""
    cell = locator.decode(locator.encode(-90.0, float(lat), level))
    distance_m, bearing = geodesy.measure_geodesic(cell.west, cell.south, cell.east, cell.south)
    lon, top = geodesy.move_point(cell.west, cell.south, bearing, distance_m / 2)
    assert lon == pytest.approx(cell.lon, abs=1e-9)
    assert (top - cell.south) * geodesy.compute_degree_lengths(top)[1] == pytest.approx(
        bulge_m, abs=0.06 if level == 2 else 0.0006
    )


def test_a_point_100_m_poleward_of_a_north_edge_is_in_the_next_cell_although_south_of_the_geodesic():
    cell = locator.decode("EN55")
    lon, lat = geodesy.move_point(cell.lon, cell.north, 0.0, 100.0)
    assert locator.encode(lon, lat, 2) == "EN56"
