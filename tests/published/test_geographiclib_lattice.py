"""Lines along the lattice, PyPI `geographiclib` 2.1 (computed, R), and the error that a sphere would make."""

from __future__ import annotations

import pytest

from scout.geo import geodesy

FROM_45N_90W = [  # lon2, lat2, length m
    (-90.0, 46.0, 111141.5485),
    (-88.0, 45.0, 157689.6670),
    (-(89 + 55 / 60), 45.0, 6570.5693),
    (-90.0, 45 + 2.5 / 60, 4630.5077),
]


@pytest.mark.parametrize(("lon", "lat", "length_m"), FROM_45N_90W)
def test_sides_of_cells_at_45_north_90_west(lon, lat, length_m):
    assert geodesy.measure_geodesic(-90.0, 45.0, lon, lat)[0] == pytest.approx(length_m, abs=6e-5)


def test_the_diagonal_of_a_square_is_the_ellipsoid_s_not_the_sphere_s():
    distance_m, _ = geodesy.measure_geodesic(-90.0, 45.0, -88.0, 46.0)
    assert distance_m == pytest.approx(191789.9, abs=0.06)
    assert abs(distance_m - 191461.7) > 300  # a sphere of 6371 km
