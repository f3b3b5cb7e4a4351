"""Coordinates rounded to a step: what is found, how much it adds, and that every way of reading agrees."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from test_read_shelf import SEARCHES, country, same, shelved, whole, written

from scout.app.find import find_spots
from scout.app.prepare import prepare_parks
from scout.app.sources import ParkFiles
from scout.geo.coarseness import compute_rounding_error, find_rounding
from scout.io.layers import read_frame, read_layers
from scout.model import DATUM_ERROR
from scout.parks.build import build_parks
from scout.parks.indexed import ParkReading, open_indexed
from scout.parks.sources import InMemoryParks

METRES_A_DEGREE = 111_195.0  # of a sphere of 6,371 km: a hundredth off is alike here


def rounded(frame: gpd.GeoDataFrame, digits: int) -> gpd.GeoDataFrame:
    return frame.set_geometry(shapely.transform(frame.geometry.to_numpy(), lambda xy: np.round(xy, digits)))


def blobs(count: int, seed: int = 3, size: float = 0.05) -> np.ndarray:
    """Outlines of 40 vertices somewhere in five degrees."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 41)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1) * rng.uniform(0.5, 1, (count, 41, 1))
    ring[:, -1] = ring[:, 0]
    return shapely.polygons(ring * size + rng.uniform(40, 45, (count, 1, 2)))


@pytest.mark.parametrize(("width", "height"), [(1.0, 1.0), (0.5, 1.0), (0.05, 1.0), (111.2, 78.6)])
def test_the_error_holds_95_of_100_places(width: float, height: float) -> None:
    """Against draws: uniform in the rectangle about the rounded place."""
    draws = np.random.default_rng(8).uniform(-0.5, 0.5, (400_000, 2)) * [width, height]
    expected = np.quantile(np.hypot(*draws.T), 0.95)
    assert compute_rounding_error(width, height) == pytest.approx(expected, rel=0.004)


@pytest.mark.parametrize("digits", [1, 2, 3, 4, 5])
def test_rounded_degrees_are_found(digits: int) -> None:
    shapes = shapely.transform(blobs(300, size=0.5), lambda xy: np.round(xy, digits))
    found = find_rounding(shapely.bounds(shapes), degrees=True)
    assert found is not None
    assert found.step == pytest.approx(10.0**-digits)


@pytest.mark.parametrize("digits", [6, 7, 12])
def test_fine_degrees_are_not_rounded(digits: int) -> None:
    shapes = shapely.transform(blobs(300), lambda xy: np.round(xy, digits))
    assert find_rounding(shapely.bounds(shapes), degrees=True) is None


@pytest.mark.parametrize("step", [1.0, 10.0, 100.0])
def test_rounded_metres_are_found(step: float) -> None:
    shapes = shapely.transform(blobs(300), lambda xy: np.round(xy * 1e5 / step) * step)
    found = find_rounding(shapely.bounds(shapes), degrees=False)
    assert found is not None
    assert found.step == pytest.approx(step)
    finer = shapely.transform(blobs(300), lambda xy: np.round(xy * 1e5, 1))
    assert find_rounding(shapely.bounds(finer), degrees=False) is None


def test_one_coordinate_that_is_not_rounded_is_enough_to_claim_nothing() -> None:
    bounds = shapely.bounds(shapely.transform(blobs(300), lambda xy: np.round(xy, 3)))
    assert find_rounding(bounds, degrees=True) is not None
    bounds[17, 2] += 0.0004
    assert find_rounding(bounds, degrees=True) is None, "not to 0.0001 either: most end in a nought there"


def test_made_outlines_are_not_taken_for_rounded() -> None:
    boxes = shapely.box(*np.array([[10, 45, 10.5, 45.5], [11.3, 44, 12, 47], [9.9, 43.1, 13, 46]]).T)
    assert find_rounding(shapely.bounds(boxes), degrees=True) is None
    x, y = (some.ravel() for some in np.meshgrid(np.arange(80) / 10, np.arange(80) / 10))
    cells = np.column_stack([x, y, x + 0.1, y + 0.1])
    assert find_rounding(cells, degrees=True) is None, "cells of a grid"
    quads = np.column_stack([x, y, x + 0.1, y + 0.1]) * 1.25
    assert find_rounding(quads, degrees=True) is None, "cells of eighths of a degree"


def test_few_records_are_known_by_their_edges_and_the_error_is_added() -> None:
    frame = gpd.GeoDataFrame({"name": ["Fen", "Moss"]}, geometry=blobs(2), crs=4326)
    fine, coarse = read_frame(frame, "a"), read_frame(rounded(frame, 3), "a")
    assert fine.source.rounding_m == 0
    lat = abs(shapely.get_coordinates(frame.geometry)[:, 1]).min()
    side = 1e-3 * METRES_A_DEGREE
    expected = compute_rounding_error(side * np.cos(np.radians(lat)), side)
    assert coarse.source.rounding_m == pytest.approx(expected, rel=0.01)
    (line,) = coarse.source.warnings
    assert "its coordinates are rounded to 0.001 degree, all of 1" in line
    assert line.endswith(f"{expected:.2g} m are added to the boundary error (95 %)")
    error = build_parks([coarse]).frame[DATUM_ERROR]
    assert error.to_numpy() == pytest.approx(coarse.source.rounding_m)


def test_feet_are_feet() -> None:
    frame = gpd.GeoDataFrame(geometry=blobs(200), crs=4326).to_crs(2272)  # Pennsylvania South, US feet
    frame = gpd.GeoDataFrame(
        geometry=shapely.transform(frame.geometry.to_numpy(), lambda xy: np.round(xy, -2)), crs=2272
    )
    layer = read_frame(frame, "feet")
    assert layer.source.rounding_m == pytest.approx(0.5991 * 100 * 1200 / 3937, rel=1e-3)
    assert any("rounded to 100 US survey foot" in line for line in layer.source.warnings)


@pytest.mark.parametrize("suffix", [".gpkg", ".fgb", ".shp", ".parquet"])
def test_by_the_index_the_same_rounding_is_found(tmp_path: Path, suffix: str) -> None:
    path = [written(tmp_path / f"isles{suffix}", rounded(country(), 3))]
    expected = whole(path, SEARCHES[0])
    assert expected.sources[0].rounding_m > 60
    same(shelved(path, SEARCHES[0]), expected)


def test_by_short_bounds_the_same_rounding_is_found(tmp_path: Path) -> None:
    """Other programs write the columns of bounds in single precision."""
    from pyarrow import field, float32, parquet, schema, struct

    path = written(tmp_path / "isles.parquet", rounded(country(), 3))
    table = parquet.read_table(path)
    sides = [field(one.name, float32()) for one in table.schema.field("bbox").type]
    at = table.schema.get_field_index("bbox")
    kinds = [*table.schema]
    kinds[at] = field("bbox", struct(sides))
    parquet.write_table(table.cast(schema(kinds, metadata=table.schema.metadata)), path, row_group_size=100)
    expected = whole([path], SEARCHES[0])
    assert expected.sources[0].rounding_m > 60
    same(shelved([path], SEARCHES[0]), expected)


def test_spilled_to_disk_the_same_rounding_is_found(tmp_path: Path) -> None:
    path = written(tmp_path / "isles.geojson", rounded(country(), 3))
    source = open_indexed([path], ParkReading(), least=10**9, large=1)
    assert source is not None
    same(find_spots(source, SEARCHES[0]), whole([path], SEARCHES[0]))


def test_prepared_parks_have_the_error_once(tmp_path: Path) -> None:
    source = InMemoryParks(build_parks(read_layers(written(tmp_path / "isles.gpkg", rounded(country(), 3)))))
    with (tmp_path / "ready.parquet").open("wb") as file:
        prepare_parks(source, ParkFiles(()))(file)
    again = build_parks(read_layers(tmp_path / "ready.parquet"))
    assert again.frame[DATUM_ERROR].max() == source.datum_error_m.max() > 60
    assert any("rounded to 0.001" in line for line in again.sources[0].warnings)
