import numpy as np
import pytest

from scout.geo.lattice import list_corners, list_meridians, list_parallels


def test_lines_inside_bounds_hold_both_ends():
    assert list_meridians(-2.0, 4.0, 2).tolist() == [89, 90, 91, 92]
    assert list_parallels(-1.0, 1.5, 2).tolist() == [89, 90, 91]


def test_lines_run_on_past_180():
    assert list_meridians(179.0, 183.0, 2).tolist() == [180, 181]


def test_poles_are_no_parallels():
    assert list_parallels(-90.0, -88.0, 2).tolist() == [1, 2]
    assert list_parallels(88.0, 90.0, 2).tolist() == [178, 179]


def test_corners_over_the_antimeridian_have_longitudes_of_one_turn():
    lon, lat = list_corners((179.0, 50.0, 183.0, 51.0), 2)
    assert sorted(zip(lon.tolist(), lat.tolist(), strict=True)) == [
        (-180.0, 50.0),
        (-180.0, 51.0),
        (-178.0, 50.0),
        (-178.0, 51.0),
    ]


def test_a_full_turn_names_each_corner_once():
    lon, lat = list_corners((-180.0, -90.0, 180.0, 90.0), 1)
    assert len(lon) == 18 * 17
    assert len(np.unique(np.stack([lon, lat]), axis=1).T) == len(lon)


@pytest.mark.parametrize("level", [3, 4, 5])
def test_a_small_box_round_a_known_corner_holds_it(level):
    lon, lat = list_corners((9.9999, 44.9999, 10.0001, 45.0001), level)
    assert (10.0, 45.0) in set(zip(lon.tolist(), lat.tolist(), strict=True))


def test_bounds_between_lines_hold_none():
    lon, _ = list_corners((0.1, 0.1, 0.2, 0.2), 2)
    assert len(lon) == 0


def test_corners_come_row_by_row_from_the_south_and_each_row_from_the_west():
    lon, lat = list_corners((9.0, 44.5, 14.0, 46.5), 2)
    assert lon.tolist() == [10.0, 12.0, 14.0] * 2
    assert lat.tolist() == [45.0] * 3 + [46.0] * 3


def test_corners_from_before_the_antimeridian_keep_their_way_round():
    lon, lat = list_corners((175.0, 50.5, 185.0, 52.0), 2)
    assert lon.tolist() == [176.0, 178.0, -180.0, -178.0, -176.0] * 2
    assert lat.tolist() == [51.0] * 5 + [52.0] * 5


def test_a_line_a_hair_from_the_bounds_is_in_them_and_one_beside_them_is_not():
    """Doubles of lattice lines stray by less than 1e-9 degrees; 1e-6 are 11 cm."""
    assert list_meridians(10.0 + 1e-10, 12.0 - 1e-10, 2).tolist() == [95, 96]
    assert list_meridians(10.0 + 1e-6, 12.0 - 1e-6, 2).tolist() == []
    assert list_parallels(45.0 + 1e-10, 46.0 - 1e-10, 2).tolist() == [135, 136]
    assert list_parallels(45.0 + 1e-6, 46.0 - 1e-6, 2).tolist() == []
    assert list_meridians(10.0, 10.0, 2).tolist() == [95]
    assert list_parallels(45.0, 45.0, 2).tolist() == [135]
