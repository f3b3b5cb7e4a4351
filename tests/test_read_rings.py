"""Broken rings cost only themselves, and what crosses the antimeridian or a pole comes out whole."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from boundary_files import BROKEN, BROKEN_WRITERS, SQUARE, geojson, wkb_many, wkb_polygon, written
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.errors import InputError
from scout.io.geojson import assemble_shapes, list_wkb_shapes
from scout.io.layers import read_layers
from scout.model import RECORD, Layer


@pytest.mark.parametrize("suffix", BROKEN_WRITERS)
def test_a_broken_ring_costs_only_itself_in_every_format(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"broken{suffix}"
    BROKEN_WRITERS[suffix](path)
    (layer,) = read_layers([path])
    assert layer.source.records == len(BROKEN)
    column = "Name" if suffix == ".kml" else "name"
    shapes = dict(zip(layer.frame[column], layer.frame.geometry, strict=True))
    numbers = dict(zip(layer.frame[column], layer.frame[RECORD], strict=True))
    for name, (_, refused, repaired, area) in BROKEN.items():
        assert (shapes[name].area if name in shapes else 0.0) == area, name
        if refused:
            (line,) = [text for text in layer.refused if refused in text]
            assert line.endswith("the rest of the record is kept" if area else "three different points")
            assert name not in numbers or f"record {numbers[name]}:" in line
        if repaired:
            assert any(n == numbers[name] and repaired in text for n, text in layer.repaired)
    assert len(layer.refused) == 3
    assert len(layer.repaired) == 2


ODD_JSON: dict[str, tuple[Any, float, str]] = {
    "sound": ({"type": "Polygon", "coordinates": [SQUARE]}, 16.0, ""),
    "text in the shell": (
        {"type": "Polygon", "coordinates": [[[0, 0], [1, "a"], [1, 1]]]},
        0.0,
        "cannot be read",
    ),
    "one number a point": ({"type": "Polygon", "coordinates": [[[0], [1], [1], [0]]]}, 0.0, "cannot be read"),
    "a level short": ({"type": "Polygon", "coordinates": SQUARE}, 0.0, "has fewer"),
    "no such type": ({"type": "Polygn", "coordinates": [SQUARE]}, 0.0, "cannot be read"),
    "a part of one point": (
        {"type": "MultiPolygon", "coordinates": [[SQUARE], [[[9, 9]]]]},
        16.0,
        "part 2 has fewer",
    ),
}


def test_records_that_gdal_gives_up_on_are_looked_up_in_the_text(tmp_path: Path) -> None:
    path = geojson(tmp_path / "odd.geojson", [shape for shape, *_ in ODD_JSON.values()])
    (layer,) = read_layers([path])
    areas = dict(zip(layer.frame[RECORD], shapely.area(layer.frame.geometry.to_numpy()), strict=True))
    for number, (name, (_, area, words)) in enumerate(ODD_JSON.items(), start=1):
        found = areas.get(number, 0.0)
        assert (0.0 if np.isnan(found) else found) == area, name
        lines = [line for line in layer.refused if f": record {number}: " in line]
        assert (not lines) if not words else any(words in line for line in lines), (name, layer.refused)


def test_records_without_geometry_stay_and_are_not_refused(tmp_path: Path) -> None:
    (layer,) = read_layers([geojson(tmp_path / "x.geojson", [shapely.box(0, 0, 1, 1), None])])
    assert layer.frame.geometry.isna().tolist() == [False, True]
    assert layer.refused == ()


@pytest.mark.parametrize(
    "wkt",
    [
        "POLYGON ((0 0, 4 0, 4 4, 0 4, 0 0), (1 1, 2 1, 2 2, 1 1))",
        "MULTIPOLYGON (((0 0, 4 0, 4 4, 0 0)), ((9 9, 10 9, 10 10, 9 9)))",
        "LINESTRING (0 0, 1 1, 2 0)",
        "MULTILINESTRING ((0 0, 1 1), (3 3, 4 4))",
        "POINT (3 4)",
        "GEOMETRYCOLLECTION (POLYGON ((0 0, 4 0, 4 4, 0 0)), LINESTRING (0 0, 1 1), POINT (1 2))",
    ],
)
@pytest.mark.parametrize("flavor", ["iso", "extended"])
@pytest.mark.parametrize("order", [0, 1])
@pytest.mark.parametrize("dimension", [2, 3])
def test_sound_binaries_come_out_of_the_salvage_as_shapely_reads_them(
    wkt: str, flavor: str, order: int, dimension: int
) -> None:
    shape = shapely.from_wkt(wkt)
    deep = shapely.force_3d(shape, 5.0) if dimension == 3 else shape
    wkb = shapely.to_wkb(
        shapely.set_srid(deep, 4326), byte_order=order, flavor=flavor, include_srid=flavor != "iso"
    )
    kept = assemble_shapes(list_wkb_shapes(wkb))
    assert shapely.equals_exact(kept.geometry, shape)
    assert kept.closed == kept.lost == []


@given(st.binary(max_size=200))
@settings(deadline=None)
def test_any_bytes_give_a_shape_or_a_loss(data: bytes) -> None:
    kept = assemble_shapes(list_wkb_shapes(data))
    assert kept.geometry is None or kept.geometry.geom_type


@given(st.integers(0, 200), st.binary(min_size=1, max_size=8))
@settings(deadline=None)
def test_a_binary_changed_anywhere_gives_a_shape_or_a_loss(at: int, patch: bytes) -> None:
    whole = bytearray(wkb_many(6, wkb_polygon(SQUARE, SQUARE[:3]), wkb_polygon(SQUARE)))
    whole[at : at + len(patch)] = patch
    with np.errstate(all="ignore"):
        kept = assemble_shapes(list_wkb_shapes(bytes(whole)))
    assert kept.geometry is not None or kept.lost


def test_a_binary_of_endless_nesting_is_a_loss() -> None:
    nest = struct.pack("<BII", 1, 7, 1) * 2000
    assert assemble_shapes(list_wkb_shapes(nest)).lost == ["the geometry cannot be read"]


# --- the antimeridian -------------------------------------------------------------------------------------


def read_one(path: Path) -> Layer:
    (layer,) = read_layers([path])
    return layer


def test_a_ring_with_long_edges_is_read_as_crossing_180(tmp_path: Path) -> None:
    ring = [(179, 0), (-179, 0), (-179, 1), (179, 1), (179, 0)]
    hole = [(-179.8, 0.2), (-179.2, 0.2), (-179.2, 0.8), (-179.8, 0.2)]
    layer = read_one(geojson(tmp_path / "x.geojson", [{"type": "Polygon", "coordinates": [ring, hole]}]))
    shape = layer.frame.geometry.iloc[0]
    assert shape.bounds == (179, 0, 181, 1)
    assert shape.interiors[0].bounds == pytest.approx((180.2, 0.2, 180.8, 0.8))
    assert shape.is_valid
    assert layer.repaired == ((1, "an edge of more than 180 degrees was read as crossing the antimeridian"),)


@pytest.mark.parametrize(
    "shape",
    [
        shapely.box(-180, -90, 180, -60),
        shapely.box(-180, -90, 180, 90),
        shapely.segmentize(shapely.box(-100, 10, 90, 20), 30),
        shapely.box(170, 10, 190, 20),
        shapely.MultiPolygon([shapely.box(170, 0, 180, 1), shapely.box(-180, 0, -170, 1)]),
        shapely.box(-80, 10, 99.9, 20),
    ],
)
def test_what_is_wide_or_cut_on_purpose_stays_as_it_is(shape: Any, tmp_path: Path) -> None:
    layer = read_one(geojson(tmp_path / "x.geojson", [shape]))
    assert shapely.equals_exact(layer.frame.geometry.iloc[0], shape)
    assert layer.repaired == ()


def test_a_line_over_180_is_read_as_crossing(tmp_path: Path) -> None:
    layer = read_one(geojson(tmp_path / "x.geojson", [shapely.LineString([(179, 0), (-179, 1), (-178, 1)])]))
    assert shapely.get_coordinates(layer.frame.geometry.iloc[0])[:, 0].tolist() == [179, 181, 182]


@pytest.mark.parametrize(("crs", "lat"), [("EPSG:3832", 20.0), ("EPSG:3460", -17.0), ("EPSG:3571", 75.0)])
def test_projected_rings_across_180_come_out_continuous(crs: str, lat: float, tmp_path: Path) -> None:
    """Mercator and Fiji's grid about the antimeridian, and the north polar system of Bering Sea."""
    holes = [[(179.8, 0.2), (180.4, 0.2), (180.4, 0.8)], [(180.5, 0.2), (180.9, 0.2), (180.9, 0.4)]]
    plain = shapely.Polygon([(179, 0), (181, 0), (181, 1), (179, 1)], holes)
    true = shapely.transform(plain, lambda p: p + np.array([0, lat]))
    forward = pyproj.Transformer.from_crs(pyproj.CRS(crs).geodetic_crs, crs, always_xy=True)
    shape = shapely.transform(true, lambda p: np.column_stack(forward.transform(*p.T)))
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=crs)
    found = read_one(written(tmp_path / "x.gpkg", frame)).frame.geometry.iloc[0]
    assert shapely.get_parts(found).size == 1
    turn = 360 * np.round((found.bounds[0] - 179) / 360)
    back = shapely.transform(found, lambda p: p - [turn, 0])
    assert shapely.hausdorff_distance(back, true) < 3e-4, "metres of datum"
    assert back.is_valid
    assert back.area == pytest.approx(true.area, rel=1e-4)


@pytest.mark.parametrize("crs", ["EPSG:3857", "EPSG:4087", "EPSG:6933"])
def test_an_edge_along_the_whole_world_map_is_no_crossing(crs: str, tmp_path: Path) -> None:
    forward = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    world = shapely.box(-180, -60, 180, 70)
    shape = shapely.transform(world, lambda p: np.column_stack(forward.transform(*p.T)))
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=crs)
    found = read_one(written(tmp_path / "x.gpkg", frame)).frame.geometry.iloc[0]
    assert found.bounds == pytest.approx(world.bounds, abs=1e-6)
    assert found.area == pytest.approx(world.area, rel=1e-6)


@pytest.mark.parametrize(("crs", "sign"), [("EPSG:3031", -1), ("EPSG:3413", 1), ("EPSG:3573", 1)])
@pytest.mark.parametrize("holed", [False, True])
@pytest.mark.parametrize("clockwise", [False, True])
def test_a_ring_round_a_pole_holds_the_pole(
    crs: str, sign: int, holed: bool, clockwise: bool, tmp_path: Path
) -> None:
    """Circles of latitude in polar systems; between 80 and 70 the area in degrees is 360 x 10."""
    forward = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    lon = np.linspace(0, 360, 721)[:-1] - 180 + 0.2

    def circle(lat: float) -> Any:
        ring = np.column_stack(forward.transform(lon, np.full(len(lon), sign * lat)))
        return ring[::-1] if clockwise else ring

    hole = shapely.Point(*forward.transform(100.0, sign * 75.0)).buffer(1000)
    shape = shapely.Polygon(circle(70.0), [circle(80.0)] if holed else [])
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape.difference(hole)], crs=crs)
    found = read_one(written(tmp_path / "x.gpkg", frame)).frame.geometry.iloc[0]
    assert found.is_valid
    assert found.bounds[::2] == (-180, 180)
    assert (max(abs(found.bounds[1]), abs(found.bounds[3])) == 90) != holed
    assert found.area == pytest.approx(360 * 10 if holed else 360 * 20, rel=1e-3)
    assert not found.contains(shapely.Point(100.0, sign * 75.0))
    assert found.contains(shapely.Point(-170.0, sign * 75.0))


@given(
    lon=st.floats(170, 190),
    lat=st.floats(-60, 60),
    size=st.floats(0.001, 20),
    radii=st.lists(st.floats(0.2, 1.0), min_size=3, max_size=12),
)
@settings(deadline=None, max_examples=40)
def test_a_star_anywhere_near_180_comes_back_whole(
    tmp_path_factory: pytest.TempPathFactory, lon: float, lat: float, size: float, radii: list[float]
) -> None:
    angle = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    reach = size * np.array(radii)
    star = np.column_stack([lon + reach * np.cos(angle), lat + reach * np.sin(angle)])
    true = shapely.Polygon(star)
    forward = pyproj.Transformer.from_crs(4326, 3832, always_xy=True)
    shape = shapely.transform(true, lambda p: np.column_stack(forward.transform(*p.T)))
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=3832)
    found = read_one(written(tmp_path_factory.mktemp("star") / "x.gpkg", frame)).frame.geometry.iloc[0]
    turn = 360 * np.round((found.bounds[0] - true.bounds[0]) / 360)
    assert shapely.hausdorff_distance(shapely.transform(found, lambda p: p - [turn, 0]), true) < 1e-7


def test_all_records_off_the_globe_say_the_likely_cause(tmp_path: Path) -> None:
    swapped = [shapely.box(40 + n, -120, 41 + n, -119) for n in range(3)]
    with pytest.raises(
        InputError, match=r"none of its records can be used \(3\): latitude and longitude seem"
    ):
        read_layers([geojson(tmp_path / "a.geojson", swapped)])
    metres = [shapely.box(5e5, 4e6, 6e5, 5e6)] * 2
    with pytest.raises(InputError, match="looks like metres or feet"):
        read_layers([geojson(tmp_path / "b.geojson", metres)])


def test_longitudes_up_to_540_are_kept_and_others_refused(tmp_path: Path) -> None:
    boxes = [shapely.box(lon, 10, lon + 1, 11) for lon in (539.0, 539.1, -540.0, -540.1)]
    layer = read_one(geojson(tmp_path / "x.geojson", boxes))
    assert layer.frame[RECORD].tolist() == [1, 3]
    assert [line.split(": ")[1] for line in layer.refused] == ["record 2", "record 4"]


def test_a_latitude_past_90_by_rounding_is_90(tmp_path: Path) -> None:
    boxes = [shapely.box(0, 89, 1, 90 + 1e-9), shapely.box(0, 89, 1, 90.001)]
    layer = read_one(geojson(tmp_path / "x.geojson", boxes))
    assert layer.frame.geometry.iloc[0].bounds == (0, 89, 1, 90)
    assert "record 2: has longitude 1 and latitude 90.001" in layer.refused[0]


@pytest.mark.parametrize("suffix", ["gpkg", "fgb", "shp", "parquet"])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_numbers_that_are_none_are_refused_record_by_record(suffix: str, bad: float, tmp_path: Path) -> None:
    odd = 3.140625  # exact in binary: found again in the file
    shapes = [shapely.box(0, 0, 1, 1), shapely.Polygon([(0, 0), (4, 0), (4, odd), (0, 4)])]
    frame = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=shapes, crs=4326)
    options: dict[str, Any] = {"SPATIAL_INDEX": "NO"} if suffix in ("fgb", "gpkg") else {}
    options |= {"compression": None} if suffix == "parquet" else {}
    path = written(tmp_path / f"x.{suffix}", frame, **options)
    path.write_bytes(path.read_bytes().replace(struct.pack("<d", odd), struct.pack("<d", bad)))
    layer = read_one(path)
    assert layer.frame["name"].tolist() == ["a"]
    assert "record 2: at 1 of its vertices: coordinates are not finite numbers" in layer.refused[0]
