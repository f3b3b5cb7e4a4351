"""C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 2013, tables 2 to 4, and the GeographicLib
manual.

From memory (M), each recomputed with PyPI `geographiclib` 2.1 (R). Azimuths of the 5 m line only to 1e-7
deg.
"""

from __future__ import annotations

import pytest

from scout.geo import geodesy

INVERSE = [  # lat1, lon1, lat2, lon2, length m, azi1, azi2
    (40.6, -73.8, 51.6, -0.5, 5551759.4003187, 51.198882845580, 107.821776735514),
    (-41.32, 174.81, 40.96, -5.50, 19959679.2673538, 161.067669986160, 18.825195123247),
    (-30.12345, 0.0, -30.12344, 0.00005, 4.944208, 77.04353354, 77.04350845),
    (-30.0, 0.0, 29.9, 179.8, 19989832.827610, 161.89052473633, 18.09073724574),
    (0.0, 179.0, 0.0, -179.0, 222638.981587, 90.0, 90.0),
]


@pytest.mark.parametrize(("lat1", "lon1", "lat2", "lon2", "length_m", "azi1", "azi2"), INVERSE)
def test_the_inverse_problem(lat1, lon1, lat2, lon2, length_m, azi1, azi2):
    distance_m, bearing = geodesy.measure_geodesic(lon1, lat1, lon2, lat2)
    assert distance_m == pytest.approx(length_m, abs=2e-6)
    assert bearing == pytest.approx(azi1, abs=2e-7)
    _, back = geodesy.measure_geodesic(lon2, lat2, lon1, lat1)
    assert (back - 180) % 360 == pytest.approx(azi2, abs=2e-7)


def test_the_direct_problem_of_table_2():
    lon, lat = geodesy.move_point(0.0, 40.0, 30.0, 10_000_000.0)
    assert (lat, lon) == pytest.approx((41.79331020506, 137.84490004377), abs=1e-10)
    _, back = geodesy.measure_geodesic(lon, lat, 0.0, 40.0)
    assert (back - 180) % 360 == pytest.approx(149.09016931807, abs=1e-7)
