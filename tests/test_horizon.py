"""Horizons over ground whose answer is known by hand, and over heights that do not tell."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import sights
from hypothesis import given
from hypothesis import strategies as st

from scout.app.sources import AccessFiles, make_access
from scout.errors import InputError
from scout.model import Aim, Horizon
from scout.quantities import format_text
from scout.sight.horizon import LIGHT, find_horizons, prepare_ground, read_ground
from scout.sight.outlook import (
    OpenTo,
    bend_to,
    compute_possible,
    describe_aim,
    describe_horizon,
    find_peaks,
    find_worst,
    format_sectors,
    judge_directions,
    judge_open_to,
    list_sectors,
    look_towards,
    measure_sky_view,
    parse_aim,
    parse_open_to,
)

BENT_M = sights.RADIUS_M * 4 / 3


def angle(height_m: float, at_m: float) -> float:
    """Of a height over the eye, on an Earth of 4/3 its radius."""
    return math.degrees(math.atan(height_m / at_m - at_m / (2 * BENT_M)))


def test_a_wall_all_round_stands_as_high_as_it_is() -> None:
    seen = sights.see(sights.ground(lambda x, y: np.where(np.hypot(x, y) > 2000, 205.0, 0.0)))
    # Between the middles of two cells, 20 m apart, 28 m across a corner, the wall rises to its height.
    assert np.array(seen.deg) == pytest.approx(angle(200.0, 2014.0), abs=0.09)
    assert np.array(seen.at_m) == pytest.approx(2014, abs=16)
    assert seen.deg[0] == pytest.approx(angle(200.0, 2020.0), abs=0.003)  # 2,000 m is not over it yet


def test_a_ridge_in_the_east_stands_lower_the_more_aslant_it_is_seen() -> None:
    seen = sights.see(sights.ground(lambda x, y: np.maximum(300.0 - np.abs(x - 3000.0), 0.0)), antenna_m=0.0)
    for azimuth in (60, 75, 90, 105, 120):
        away = 3000.0 / math.sin(math.radians(azimuth))
        assert seen.deg[azimuth] == pytest.approx(angle(300.0, away), abs=0.003)
        assert seen.at_m[azimuth] == pytest.approx(away, abs=5)
    assert max(seen.deg[200:340]) <= 0.0


def test_from_the_top_of_a_cone_the_ground_falls_away_and_from_its_foot_the_top_stands() -> None:
    cone = sights.ground(lambda x, y: np.maximum(500.0 - 0.25 * np.hypot(x, y), 0.0))
    on_top, below = sights.see(cone, antenna_m=0.0), sights.see(cone, antenna_m=0.0, north=-3000.0)
    # Under the slope of 1 to 4 the flat beyond is seen; its end at 6 km lies 4.8 degrees under the eye.
    assert on_top.deg[90] == pytest.approx(angle(-500.0, 6010.0), abs=0.02)
    assert below.deg[0] == pytest.approx(angle(500.0 - 0.0, 3000.0) - 0.0, abs=3.0)
    assert below.deg[0] == pytest.approx(angle(500.0 - below.ground_m, 3000.0), abs=0.01)
    assert below.at_m[0] == pytest.approx(3000.0, abs=1)


def test_a_narrow_tower_far_away_is_not_stepped_over() -> None:
    def shape(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where((np.abs(y) < 1) & (np.abs(x - 5400.0) < 1), 90.0, 0.0)

    seen = sights.see(sights.ground(shape, 6000.0, 10.0), antenna_m=2.0)
    assert seen.deg[90] == pytest.approx(angle(88.0, 5400.0), abs=0.001)
    assert seen.at_m[90] == pytest.approx(5400.0, abs=0.1)


def test_a_wall_hides_under_the_curve_of_the_earth() -> None:
    cell = 250.0
    x, _ = sights.grid(80_000.0, cell)
    seen = sights.see(sights.relief(np.where(x == 70_000.0, 150.0, 0.0), cell), antenna_m=10.0)
    # Beyond the sea horizon at 13 km the curve hides 190 m of what stands at 70 km.
    assert (
        angle(140.0, 70_000.0)
        < seen.deg[90]
        == pytest.approx(-math.degrees(math.sqrt(2 * 10 / BENT_M)), abs=0.003)
    )


def test_the_antenna_looks_over_what_is_lower() -> None:
    wall = sights.ground(lambda x, y: np.where(np.hypot(x, y) > 500, 12.0, 0.0))
    low, high = sights.see(wall, antenna_m=2.0), sights.see(wall, antenna_m=30.0)
    assert min(low.deg) > 1.0
    assert max(high.deg) < 0.0


def test_light_is_bent_less_than_radio_and_one_follows_from_the_other() -> None:
    relief = sights.ground(
        lambda x, y: 300.0 + 250.0 * np.sin(x / 900.0) * np.cos(y / 1300.0), 12_000.0, 60.0
    )
    place = np.array([10.001]), np.array([45.002])
    radio, light = (find_horizons(*place, prepare_ground([relief]), 5.0, k)[0] for k in (0.25, LIGHT))
    assert radio is not None
    assert light is not None
    assert bend_to(radio, LIGHT) == pytest.approx(np.array(light.deg), abs=0.002)


# Where heights do not tell.


def test_heights_that_end_too_soon_leave_directions_unknown_that_higher_ground_might_close() -> None:
    """900 m stand at one place; ground as high, just beyond the edge at 3 km, would stand at 16.6 degrees."""

    def shape(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(np.hypot(x - 1000.0, y) < 100.0, 900.0, 0.0)

    seen = sights.see(sights.ground(shape, 3000.0), antenna_m=5.0)
    assert seen.reach_m[180] == pytest.approx(3000.0, abs=45)
    assert seen.needed_m == 100_000
    possible, states = compute_possible(seen), judge_directions(seen)
    assert possible[180] == pytest.approx(angle(895.0, seen.reach_m[180]), abs=0.05)
    assert set(states[100:260].tolist()) == {-1}
    assert states[90] == 0  # the peak itself
    assert (judge_directions(seen, 18.0)[100:260] == 1).all()  # not even such ground would stand over this
    assert judge_open_to(seen, OpenTo(180.0)) == "unknown"
    assert "unknown" in describe_horizon(seen)[2].lower()
    assert "at most" in describe_horizon(seen)[-1]


def test_unknown_is_never_open() -> None:
    rng = np.random.default_rng(7)
    for _ in range(20):
        deg = rng.uniform(-2, 6, 360)
        reach = rng.choice([500.0, 5_000.0, 100_000.0], 360)
        seen = Horizon(
            5.0, 100.0, 700.0, 100_000.0, 30.0, 0.25, tuple(deg), (900.0,) * 360, tuple(reach), (0.1,) * 360
        )
        open_ = judge_directions(seen) == 1
        assert (deg[open_] <= 3.0).all()
        assert (compute_possible(seen)[open_] <= 3.0).all()
        assert not open_[reach == 500.0].any()


def test_a_hole_of_a_few_cells_is_passed_over_and_a_wide_one_ends_what_is_known() -> None:
    x, y = sights.grid(6000.0, 25.0)
    flat = np.zeros_like(x)
    flat[np.hypot(x, y - 4000.0) < 60.0] = 100.0
    small, large = flat.copy(), flat.copy()
    small[(np.abs(x - 1000.0) < 15.0) & (np.abs(y) < 15.0)] = (
        np.nan
    )  # one cell: the next leave no gap of three
    large[(np.abs(x - 1000.0) < 200.0) & (np.abs(y) < 200.0)] = np.nan
    assert sights.see(sights.relief(small, 25.0)).reach_m[90] == pytest.approx(6000.0, abs=50)
    seen = sights.see(sights.relief(large, 25.0))
    assert seen.reach_m[90] == pytest.approx(800.0, abs=50)
    assert seen.reach_m[270] == pytest.approx(6000.0, abs=50)
    assert judge_directions(seen)[90] == -1


def test_no_height_at_the_place_gives_no_horizon() -> None:
    x, y = sights.grid(1000.0, 25.0)
    hole = sights.relief(np.where(np.hypot(x, y) < 100.0, np.nan, 5.0), 25.0)
    assert find_horizons(np.array([10.0]), np.array([45.0]), prepare_ground([hole]), 5.0) == [None]


def test_spikes_are_taken_out_and_told_and_real_summits_stay() -> None:
    x, y = sights.grid(3000.0, 25.0)
    heights = np.maximum(400.0 - 1.2 * np.hypot(x, y - 1500.0), 0.0)  # steep, but no cell stands alone
    heights[10, 10], heights[200, 60] = 4000.0, -450.0
    ground = prepare_ground([sights.relief(heights, 25.0)])
    assert ground.notes == ("spikes of 150 m and more, taken as unknown: 2 cells",)
    assert (ground.lowest_m, ground.highest_m) == (0.0, 400.0)


def test_level_heights_are_told() -> None:
    (note,) = prepare_ground([sights.ground(lambda x, y: 0 * x)]).notes
    assert note == "all heights are 0 m: check that the files hold heights"


def test_of_several_rasters_the_finest_is_asked_whatever_their_order() -> None:
    fine = sights.ground(lambda x, y: np.where(x > 500.0, 60.0, 0.0), 1000.0, 10.0)
    coarse = sights.ground(lambda x, y: np.where(x > 500.0, 500.0, 0.0), 20_000.0, 100.0)
    both = sights.see(coarse, fine, antenna_m=5.0)
    assert both == sights.see(fine, coarse, antenna_m=5.0)
    assert both.deg[90] == pytest.approx(angle(495.0, 1005.0), abs=0.3)  # where the fine one ends
    assert both.deg[270] < 0.0
    assert both.cell_m == 10.0


def test_the_error_has_the_raster_and_its_cells_in_it() -> None:
    def shape(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(np.abs(x) > 3000.0, 300.0, 0.0)

    fine, coarse = (sights.see(sights.ground(shape, 6000.0, cell)) for cell in (20.0, 90.0))
    # 95 %: a sixth of a cell up, 15 m at the most, and what half a cell away stands lower.
    assert fine.error_deg[90] == pytest.approx(math.degrees(math.hypot(20 / 6, 150.0) / 3020.0), abs=0.1)
    assert coarse.error_deg[90] == pytest.approx(math.degrees(math.hypot(15.0, 150.0) / 3060.0), abs=0.1)
    smooth = sights.see(sights.ground(lambda x, y: 0.05 * np.abs(x), 6000.0, 30.0), antenna_m=0.0)
    assert 0.5 < smooth.error_deg[90] < 4.0


# In words and numbers.


def around(deg: float, **sectors: tuple[int, int, float]) -> Horizon:
    """A horizon of one angle all round but in some sectors, its data far enough."""
    angles = [deg] * 360
    for first, last, high in sectors.values():
        for k in range(first, last + 1):
            angles[k % 360] = high
    return Horizon(
        5.0, 100.0, 100.0, 10.0, 30.0, 0.25, tuple(angles), (1200.0,) * 360, (10.0,) * 360, (0.2,) * 360
    )


def test_open_sectors_the_worst_and_the_sky() -> None:
    seen = around(8.0, west=(190, 310, 1.0), east=(60, 80, 2.0), crag=(44, 46, 11.0))
    assert format_sectors(seen) == "60-80 190-310"
    assert find_worst(seen)[2] == 11.0
    first, last, _ = find_worst(seen)
    assert first <= 44
    assert last >= 46
    lines = [format_text(line, "metric") for line in describe_horizon(seen)]
    assert lines[0] == "Open from 60° to 80°, from 190° to 310° (horizon up to 3.0°)."
    assert lines[1] == "Highest 11.0° ± 0.2° in the north-east (44°), 1.20 km away."
    assert format_text(describe_horizon(seen)[1], "imperial").endswith(" 0.75 mi away.")
    assert describe_horizon(around(1.0))[0].startswith("Open all round")
    assert describe_horizon(around(9.0))[0].startswith("Nowhere open")
    assert format_sectors(around(9.0)) == "none"
    assert format_sectors(around(0.0)) == "0-359"
    assert format_sectors(around(9.0, north=(350, 369, 0.0))) == "350-9"
    # Half the sky has a wall of 30 degrees, which takes sin 30 = 1/2 of it.
    assert measure_sky_view(around(0.0, wall=(0, 179, 30.0))) == pytest.approx(0.75)
    assert measure_sky_view(around(-2.0)) == 1.0


@given(st.lists(st.booleans(), min_size=12, max_size=12))
def test_sectors_are_all_that_is_open_and_nothing_else(mask: list[bool]) -> None:
    held: set[int] = set()
    for first, last in list_sectors(np.array(mask)):
        part = {k % 12 for k in range(first, first + (last - first) % 12 + 1)}
        assert not held & part
        held |= part
    assert held == {k for k, one in enumerate(mask) if one}


def test_towards_places_and_azimuths() -> None:
    seen = around(1.0, east=(70, 100, 6.0))
    places = [parse_aim(text) for text in ("90", "JN65", "45 N 12 E", "0.5°")]
    assert places[0] == Aim("90", 90.0)
    assert places[3].azimuth_deg == 0.5
    azimuth, grid, point, north = look_towards(seen, 10.0, 45.0, places)
    assert (azimuth.distance_m, azimuth.horizon_deg, azimuth.state) == (None, 6.0, "closed")
    assert point.bearing_deg == pytest.approx(89.3, abs=0.1)  # along a great circle
    assert point.distance_m == pytest.approx(157_600, rel=0.01)
    assert grid.state == "closed"
    assert north.state == "open"
    assert str(describe_aim(point)) == "Towards 45 N 12 E: east (89°), 158 km, horizon 6.0°, closed."


@pytest.mark.parametrize("text", ["361", "nowhere", "", "-5"])
def test_what_is_no_place_and_no_azimuth_is_one_line(text: str) -> None:
    with pytest.raises(InputError, match="give a locator, LAT,LON or an azimuth"):
        parse_aim(text)


@pytest.mark.parametrize("text", ["", "400", "90:", "90:x", "north", "90:3:4"])
def test_what_is_no_open_sector_is_one_line(text: str) -> None:
    with pytest.raises(InputError, match="write AZIMUTH or AZIMUTH:DEG"):
        parse_open_to(text)


def test_open_to_asks_for_five_degrees_on_both_sides_over_north_too() -> None:
    seen = around(1.0, hill=(8, 30, 5.0))
    assert judge_open_to(seen, parse_open_to("2")) == "open"
    assert judge_open_to(seen, parse_open_to("3")) == "closed"
    assert judge_open_to(seen, parse_open_to("10:5")) == "open"
    assert judge_open_to(seen, parse_open_to("358:0.5")) == "closed"


def test_named_peaks_on_the_skyline() -> None:
    def shape(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        near = 100.0 * np.exp(-((x - 1500.0) ** 2 + y**2) / 300.0**2)
        return near + 700.0 * np.exp(-(x**2 + (y - 4000.0) ** 2) / 500.0**2)

    relief = sights.ground(shape)
    ground = prepare_ground([relief])
    (seen,) = find_horizons(np.array([10.0]), np.array([45.0]), ground, 5.0)
    assert seen is not None
    east, north = 1 / 78_847.0, 1 / 111_132.0  # degrees a metre at 45 N
    peaks = [
        ("Near Knoll", 10.0 + 1500.0 * east, 45.0),
        ("High Tor", 10.0, 45.0 + 4000.0 * north),
        ("Hidden", 10.0 + 3000.0 * east, 45.0),
    ]
    assert [(p.name, round(p.azimuth_deg)) for p in find_peaks(seen, (10.0, 45.0), ground, peaks)] in (
        [("High Tor", 0), ("Near Knoll", 90)],
        [("Near Knoll", 90), ("High Tor", 360)],
    )


# From files.


def test_files_are_read_as_far_as_they_matter_and_fine_ones_are_averaged_far_away_only(
    tmp_path: Path,
) -> None:
    path = sights.write(tmp_path / "fine.tif", sights.ground(lambda x, y: 0.01 * (x + 6000.0), 6000.0, 5.0))
    access = make_access(AccessFiles(heights=(path,)), lambda _: None)
    assert access is not None
    assert access.heights is not None
    ground = read_ground(access.heights, np.array([10.0]), np.array([45.0]))
    assert [round(raster.cell_m) for raster in ground.rasters] == [10, 25]
    (seen,) = find_horizons(np.array([10.0]), np.array([45.0]), ground, 5.0)
    assert seen is not None
    assert seen.ground_m == pytest.approx(60.0, abs=0.1)
    assert seen.deg[90] == pytest.approx(angle(55.0, 6000.0), abs=0.05)


def test_heights_in_feet_are_metres_where_the_file_says_so_and_asked_about_where_they_cannot_be_metres(
    tmp_path: Path,
) -> None:
    relief = sights.ground(lambda x, y: np.where(x > 2000.0, 14_000.0, 3000.0), 6000.0, 50.0)
    path = sights.write(tmp_path / "feet.tif", relief)
    access = make_access(AccessFiles(heights=(path,)), lambda _: None)
    assert access is not None
    assert access.heights is not None
    notes = read_ground(access.heights, np.array([10.0]), np.array([45.0])).notes
    assert any("holds heights over 9,000: if they are in feet, convert them" in note for note in notes)
    import rasterio

    with rasterio.open(path, "r+") as raster:
        raster.units = ("ft",)
    ground = read_ground(access.heights, np.array([10.0]), np.array([45.0]))
    assert ground.highest_m == pytest.approx(14_000 * 0.3048, abs=0.1)
    assert not [note for note in ground.notes if "feet" in note]


def test_nothing_is_warned_of_on_standard_error() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        sights.see(sights.ground(lambda x, y: np.where(np.hypot(x, y) > 3000, np.nan, 10.0)))


def test_words_hold_where_nothing_beyond_the_place_is_known() -> None:
    alone = replace(
        around(0.0), deg=(-90.0,) * 360, reach_m=(0.0,) * 360, needed_m=100_000.0, highest_m=400.0
    )
    lines = [str(line) for line in describe_horizon(alone)]
    assert lines[0].startswith("Nowhere known to be open")
    assert "Unknown all round" in lines[2]
