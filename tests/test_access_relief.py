"""Heights and slopes at places, beside rasterio's own sampling and plain geometry."""

import math
from dataclasses import replace

import numpy as np
import pyproj
import pytest
import rasterio
from conftest import REPOSITORY
from hypothesis import given
from hypothesis import strategies as st
from oracles import metric
from plains import Plain

from scout.geo.geodesy import LocalFrame
from scout.model import Relief
from scout.walk.terrain import (
    compute_slope_deg,
    interpolate_grid,
    interpolate_heights,
    measure_cell_amid,
    measure_cell_m,
)

WGS84 = pyproj.CRS.from_epsg(4326).to_wkt()
DEMO = REPOSITORY / "data_demo" / "heights.tif"


def small(heights, west=10.0, north=47.0, step=0.001):
    return Relief(
        np.array(heights, dtype=np.float32),
        (1 / step, 0, -west / step, 0, -1 / step, north / step),
        WGS84,
        "x",
    )


def degrees(*places):
    return np.array(places, dtype=float).T


def test_a_height_stands_for_the_middle_of_its_cell_and_is_even_between():
    relief = small([[0, 10], [20, 30]])
    lon, lat = degrees((10.0005, 46.9995), (10.0015, 46.9995), (10.001, 46.9995), (10.001, 46.999))
    assert interpolate_heights([relief], lon, lat) == pytest.approx([0, 10, 5, 15], abs=1e-4)


def test_outside_is_unknown_and_half_a_cell_beyond_the_middles_is_inside():
    relief = small([[0, 10], [20, 30]])
    lon, lat = degrees((10.0001, 46.9999), (9.9999, 46.9995), (10.0021, 46.9995), (10.001, 46.9979))
    assert np.isnan(interpolate_heights([relief], lon, lat)).tolist() == [False, True, True, True]


def test_no_height_beside_a_place_makes_it_unknown_unless_the_place_does_not_need_it():
    relief = small([[0, np.nan], [20, 30]])
    lon, lat = degrees((10.0005, 46.9995), (10.0007, 46.9995), (10.0005, 46.999))
    assert np.isnan(interpolate_heights([relief], lon, lat)).tolist() == [False, True, False]


def test_the_first_raster_that_knows_a_place_is_asked():
    gap, full = small([[1, np.nan], [1, np.nan]]), small([[2, 2], [2, 2]])
    lon, lat = degrees((10.0005, 46.9995), (10.0015, 46.9995))
    assert interpolate_heights([gap, full], lon, lat).tolist() == [1, 2]
    assert np.isnan(interpolate_heights([], lon, lat)).all()


@pytest.mark.parametrize("west", [179.9, -180.1, -0.1 + 180])
def test_a_raster_over_the_antimeridian_knows_both_sides(west):
    relief = small(np.arange(400).reshape(2, 200), west=west)
    lon, lat = degrees((179.9505, 46.9995), (-179.9495, 46.9995), (180.0505, 46.9995))
    assert interpolate_heights([relief], lon, lat) == pytest.approx([50, 150, 150], abs=0.02)


def test_the_islands_heights_are_those_rasterio_reads():
    with rasterio.open(DEMO) as raster:
        heights = np.where(raster.read_masks(1) > 0, raster.read(1), np.nan).astype(np.float32)
        t = ~raster.transform
        relief = Relief(heights, (t.a, t.b, t.c, t.d, t.e, t.f), raster.crs.to_wkt(), "heights.tif")
        rows, cols = np.nonzero(~np.isnan(heights))
        some = np.random.default_rng(1).integers(0, len(rows), 200)
        x, y = rasterio.transform.xy(raster.transform, rows[some], cols[some])
        wanted = [value[0] for value in raster.sample(zip(x, y, strict=True))]
        lon, lat = pyproj.Transformer.from_crs(raster.crs, 4326, always_xy=True).transform(x, y)
    assert interpolate_heights([relief], np.array(lon), np.array(lat)) == pytest.approx(
        np.array(wanted), abs=1e-3
    )


@given(st.floats(-75, 75), st.floats(-180, 180), st.floats(-0.7, 0.7), st.floats(-0.7, 0.7))
def test_the_slope_of_a_plane_is_its_steepest(lat, lon, east, north):
    plain = Plain(lon=lon, lat=lat)
    tilted = plain.relief(lambda x, y: 500 + east * x + north * y, half_m=300, cell_m=25)
    at = plain.degrees((13, -40), (-77, 60))
    wanted = math.degrees(math.atan(math.hypot(east, north)))
    assert compute_slope_deg([tilted], *at) == pytest.approx(wanted, abs=0.05)


def test_the_slope_is_unknown_beside_unknown_ground():
    plain = Plain()
    ground = plain.relief(lambda x, y: np.where(x > 100, np.nan, 0.0), half_m=300, cell_m=25)
    assert np.isnan(compute_slope_deg([ground], *plain.degrees((95, 0), (400, 0), (0, 0)))).tolist() == [
        True,
        True,
        False,
    ]


@pytest.mark.parametrize(("lon", "lat"), [(10, 47), (179.999, -17), (-180, 68)])
def test_heights_on_a_grid_are_those_at_its_points(lon, lat):
    plain, frame = Plain(lon=lon, lat=lat), LocalFrame(lon, lat)
    hills = plain.relief(lambda x, y: 100 * np.sin(x / 300) + 0.3 * y, half_m=1515, cell_m=30)
    holed = plain.relief(lambda x, y: np.where(np.hypot(x, y) < 400, np.nan, 7.0), half_m=1005, cell_m=30)
    axis = np.arange(-1600.0, 1601.0, 10.0)
    x, y = np.tile(axis, len(axis)), np.repeat(axis, len(axis))
    grid = interpolate_grid([holed, hills], (axis, axis), 10.0, frame.inverse)
    single = interpolate_heights([holed, hills], *frame.inverse(x, y)).reshape(grid.shape)
    assert (np.isnan(grid) == np.isnan(single)).mean() > 0.9999
    assert np.nanmax(np.abs(grid - single)[np.abs(axis) < 300][:, np.abs(axis) < 300]) < 0.01


@pytest.mark.parametrize(("west", "cell", "wide"), [(-5.0, 0.01, 3000), (-180.0, 1.0, 360)])
def test_a_grid_half_round_the_globe_from_a_raster_or_over_its_seam_has_no_heights_between(west, cell, wide):
    """Pixels are even between knots, but for where the raster's other end is nearer."""
    heights = np.random.default_rng(1).uniform(0, 500, (60, wide))
    relief = small(heights, west=west, step=cell)
    axes = np.arange(60.0), np.arange(40.0)
    lon, lat = west + wide * cell / 2 + 180 - 0.03, 47.0 - 30 * cell  # amid the grid; of the raster's rows

    def degrees_of(x, y):
        return lon + 1e-3 * x, lat + 1e-3 * y

    grid = interpolate_grid([relief], axes, 1.0, degrees_of)
    x, y = degrees_of(*(axis.ravel() for axis in np.meshgrid(*axes)))
    single = interpolate_heights([relief], (x + 180) % 360 - 180, y).reshape(grid.shape)
    assert (np.isnan(grid) == np.isnan(single)).all()
    assert grid == pytest.approx(single, abs=1e-6, nan_ok=True)


def test_a_raster_of_one_row_or_column_or_cell_has_heights_too():
    lon, lat = degrees((10.0002, 46.9992), (10.0010, 46.9995), (10.0025, 46.9995), (10.0005, 46.9985))
    for heights, wanted in (
        ([[5.0]], [5.0, 5.0, np.nan, np.nan]),
        ([[1.0, 2.0, 4.0]], [1.0, 1.5, 4.0, np.nan]),
        ([[1.0], [2.0]], [1.3, 1.0, np.nan, 2.0]),
    ):
        found = interpolate_heights([small(heights)], lon, lat)
        assert found == pytest.approx(wanted, abs=1e-3, nan_ok=True)


@pytest.mark.parametrize("turn", [0.0, 30.0, 75.0])
@pytest.mark.parametrize("cell_m", [5.0, 30.0])
def test_a_cell_is_as_large_as_it_is_on_the_ground(turn, cell_m):
    """Rasters may be turned; 20 rows of 30 columns about a place."""
    plain, angle = Plain(), math.radians(turn)
    c, s = math.cos(angle) / cell_m, math.sin(angle) / cell_m
    turned = Relief(np.zeros((20, 30), dtype=np.float32), (c, s, 15.0, s, -c, 10.0), plain.crs.to_wkt(), "x")
    assert measure_cell_amid(turned) == pytest.approx(cell_m, rel=1e-4)
    at = plain.degrees((40.0, -30.0), (0.0, 0.0))
    assert measure_cell_m(turned, *at) == pytest.approx([cell_m, cell_m], rel=1e-4)
    # A place so many columns right and rows down of the middle has the height that stands there.
    right, down = np.array([4.25, -3.0, 0.0]), np.array([2.0, -4.5, 0.0])
    east, north = (
        cell_m * (right * np.cos(angle) + down * np.sin(angle)),
        cell_m * (right * np.sin(angle) - down * np.cos(angle)),
    )
    counted = np.arange(30.0)[None] + 100.0 * np.arange(20.0)[:, None]
    found = interpolate_heights(
        [replace(turned, heights_m=counted.astype(np.float32))],
        *plain.degrees(*np.stack([east, north], axis=1)),
    )
    assert found == pytest.approx(14.5 + right + 100.0 * (9.5 + down), abs=0.01)


@pytest.mark.parametrize("north", [0.02, 47.0, 70.0, -33.0])
def test_a_cell_in_degrees_is_as_high_as_its_share_of_a_degree(north):
    relief = small(np.zeros((40, 20)), north=north)
    expected = 0.001 * metric.degree_lengths(north - 0.02)[1]
    assert measure_cell_amid(relief) == pytest.approx(expected, rel=1e-5)


def test_a_slope_is_taken_over_a_cell_or_twenty_metres_by_the_raster_that_knows_the_place():
    """On the flank of a ridge 30 m wide, from its foot to 2.5 m beyond the top; else over a cell of 60 m."""
    plain = Plain()

    def ridge(x, y):
        return np.where(np.abs(x) < 15, 15.0 - np.abs(x), 0.0)

    fine, coarse = plain.relief(ridge, 100, 5), plain.relief(lambda x, y: 0.1 * x, 600, 60)
    places = plain.degrees((-7.5, 0.0), (300.0, 0.0))
    assert compute_slope_deg([fine, coarse], *places) == pytest.approx(
        [math.degrees(math.atan(12.5 / 20)), math.degrees(math.atan(0.1))], abs=0.3
    )
    assert compute_slope_deg([fine], *plain.degrees((0.0, 0.0))) == pytest.approx(0.0, abs=0.5)


def test_over_a_coarse_raster_a_slope_is_taken_over_a_whole_cell():
    """Cells of 60 m in a valley: from 30 m one way to 30 m the other, (25 - 15) m in 60."""
    plain = Plain()
    valley = plain.relief(lambda x, y: 0.5 * np.abs(x), 600, 60)
    found = compute_slope_deg([valley], *plain.degrees((20.0, 0.0)))
    assert found == pytest.approx(math.degrees(math.atan(10 / 60)), abs=0.05)


def test_the_size_of_a_cell_is_that_in_the_middle_of_the_raster():
    """UTM, 400 km wide: the scale factor 200 km from the central meridian, by PROJ (R)."""
    wide = Relief(
        np.zeros((4, 8), dtype=np.float32), (1 / 5e4, 0, -10.0, 0, -1 / 5e4, 102.0), "EPSG:32632", "x"
    )
    lon, lat = pyproj.Transformer.from_crs(32632, 4326, always_xy=True).transform(700_000, 5_000_000)
    scale = pyproj.Proj("EPSG:32632").get_factors(lon, lat).meridional_scale
    assert measure_cell_amid(wide) == pytest.approx(5e4 / scale, rel=2e-5)
