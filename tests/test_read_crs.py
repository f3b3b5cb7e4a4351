"""Any coordinate reference system comes out as WGS 84, with what PROJ states about the way there.

Published values: the datum tables of the project's references, computed with pyproj 3.7.2 and PROJ 9.5.1
without grids or network (sure, recomputed here); distances by the independent `geographiclib`.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from boundary_files import geojson, written
from geographiclib.geodesic import Geodesic
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.transformer import TransformerGroup

from scout.errors import CrsError, InputError
from scout.io.layers import read_layers
from scout.model import DATUM_ERROR, Layer
from scout.parks.build import UNKNOWN_DATUM_ERROR_M, build_parks

US = (-100.0, 40.0)
# code: place in the area, accuracy_m, whether PROJ has its best at hand, words of the operation
STATED = {
    "EPSG:6318": (US, 2.0, True, "NAD83(2011) to WGS 84 (1) (null, 2 m)"),
    "EPSG:6350": (US, 2.0, True, "NAD83(2011) to WGS 84 (1) (null, 2 m)"),
    "EPSG:4269": (US, 4.0, True, "NAD83 to WGS 84 (1) (null, 4 m)"),
    "EPSG:5070": (US, 4.0, True, "NAD83 to WGS 84 (1) (null, 4 m)"),
    "EPSG:4267": (US, 20.0, False, "NAD27 to WGS 84 ("),
    "EPSG:4258": ((10.0, 50.0), 1.0, True, "(null, 1 m)"),
    "EPSG:4277": ((-2.0, 53.0), 2.0, False, "OSGB36 to WGS 84 (6) (2 m)"),
    "EPSG:4202": ((150.0, -34.0), 3.0, True, "AGD66 to WGS 84"),
    "EPSG:4283": ((150.0, -34.0), 3.0, True, "3 m"),
    "EPSG:7844": ((150.0, -34.0), 3.0, True, "3 m"),
    "EPSG:4326": (US, 0.0, True, "none"),
    "EPSG:32614": (US, 0.0, True, "Inverse of UTM zone 14N (null, 0 m)"),
    "EPSG:3857": (US, 0.0, True, "(null, 0 m)"),
}


def around(lon: float, lat: float, crs: Any) -> gpd.GeoDataFrame:
    """A box of 0.02 degrees in the datum of the system, written in the system."""
    datum = pyproj.CRS(crs).geodetic_crs
    box = shapely.box(lon - 0.01, lat - 0.01, lon + 0.01, lat + 0.01)
    return gpd.GeoDataFrame({"name": ["a"]}, geometry=[box], crs=datum).to_crs(crs)


def read_one(path: Path, **options: Any) -> Layer:
    (layer,) = read_layers([path], **options)
    return layer


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "fgb", "parquet"])
@pytest.mark.parametrize("code", STATED)
def test_accuracy_and_operation_are_those_that_proj_states(code: str, suffix: str, tmp_path: Path) -> None:
    place, accuracy_m, best, words = STATED[code]
    layer = read_one(written(tmp_path / f"parks.{suffix}", around(*place, code)))
    source = layer.source
    assert source.crs.startswith(code)
    assert source.accuracy_m == accuracy_m
    assert words in source.operation
    assert any("better transformation" in text for text in source.warnings) != best, source.warnings
    assert build_parks([layer]).frame[DATUM_ERROR].tolist() == [accuracy_m]


# What PROJ's three parameters move NAD27 places by, metres.
NAD27 = {(-90.0, 45.0): 8.2, (-105.0, 39.0): 48.9, (-122.0, 47.0): 93.8, (-81.0, 27.0): 40.8}


@pytest.mark.parametrize("place", NAD27)
def test_nad27_moves_by_the_published_distance(place: tuple[float, float], tmp_path: Path) -> None:
    lon, lat = place
    frame = gpd.GeoDataFrame(geometry=[shapely.box(lon, lat, lon + 0.01, lat + 0.01)], crs="EPSG:4267")
    layer = read_one(written(tmp_path / "parks.gpkg", frame.assign(name="a")))
    ring = shapely.get_coordinates(layer.frame.geometry.iloc[0])
    moved = ring[np.abs(ring - [lon, lat]).sum(axis=1).argmin()]
    distance = Geodesic.WGS84.Inverse(lat, lon, moved[1], moved[0])["s12"]
    assert distance == pytest.approx(NAD27[place], abs=0.1)


@pytest.mark.parametrize("code", ["EPSG:6318", "EPSG:4269"])
def test_the_null_of_nad83_leaves_every_bit_of_the_coordinates(code: str, tmp_path: Path) -> None:
    box = shapely.box(-105.1, 39.1, -104.3, 39.7)
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[box], crs=code)
    assert read_one(written(tmp_path / "parks.gpkg", frame)).frame.geometry.iloc[0].equals(box)


@pytest.mark.parametrize("suffix", ["shp", "gpkg"])
@pytest.mark.parametrize(
    ("code", "accuracy_m", "mean_m", "most_m"), [(4267, 20.0, 50, 140), (4269, 4.0, 0, 1e-6)]
)
def test_real_boundaries_called_nad_are_moved_as_published(
    code: int,
    accuracy_m: float,
    mean_m: float,
    most_m: float,
    suffix: str,
    shared_data: Callable[[str], Path],
    tmp_path: Path,
) -> None:
    """Natural Earth parks of the contiguous states, their degrees taken for NAD27 and for NAD83."""
    real = read_one(shared_data("ne_10m_parks_area.geojson")).frame[["name", "geometry"]].cx[-125:-66, 24:50]
    path = written(tmp_path / f"parks.{suffix}", real.set_crs(code, allow_override=True))
    layer = read_one(path)
    assert layer.source.accuracy_m == accuracy_m
    # South-west corners of the bounds: a Shapefile turns rings round, corners stay where they are.
    before, after = (frame.bounds[["minx", "miny"]].to_numpy() for frame in (real, layer.frame))
    moved = pyproj.Geod(ellps="WGS84").inv(*before.T, *after.T)[2]
    assert moved.mean() == pytest.approx(mean_m, abs=20 if mean_m else 1e-6)
    assert moved.max() <= most_m


def test_one_layer_may_need_several_operations_and_the_worst_counts(tmp_path: Path) -> None:
    boxes = [around(-175.0, 52.0, 4269), around(-100.0, 40.0, 4269)]
    frame = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=[b.geometry.iloc[0] for b in boxes], crs=4269)
    source = read_one(written(tmp_path / "parks.gpkg", frame)).source
    assert source.accuracy_m == 8.0
    assert "NAD83 to WGS 84 (2) (8 m)" in source.operation
    assert "NAD83 to WGS 84 (1) (null, 4 m)" in source.operation


def test_refused_records_have_no_say_in_the_operation(tmp_path: Path) -> None:
    shapes = [around(*US, 4269).geometry.iloc[0], shapely.box(5e5, 4e6, 6e5, 5e6)]
    frame = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=shapes, crs=4269)
    layer = read_one(written(tmp_path / "parks.gpkg", frame))
    assert len(layer.refused) == 1
    assert layer.source.operation == "NAD83 to WGS 84 (1) (null, 4 m)"


def test_records_outside_the_area_of_the_transformation_are_counted(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame(
        geometry=[shapely.box(144, 13, 145, 14), shapely.box(-90, 40, -89, 41)], crs=4269
    )
    source = read_one(written(tmp_path / "parks.gpkg", frame.assign(name="a"))).source
    assert any(text.startswith("1 of 2 records lie outside the area") for text in source.warnings)
    assert source.accuracy_m == 4.0, "the ballpark equals the stated null there"


UNKNOWN = (
    'GEOGCS["unknown",DATUM["Unknown_based_on_Bessel_1841_ellipsoid",SPHEROID["Bessel 1841",6377397.155,'
    '299.1528128]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]'
)


@pytest.mark.parametrize(("crs", "place"), [(UNKNOWN, (10.0, 50.0)), ("EPSG:4267", (10.0, 50.0))])
def test_a_ballpark_is_said_loudly_and_has_a_large_error(
    crs: str, place: tuple[float, float], tmp_path: Path
) -> None:
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.Point(place).buffer(0.1)], crs=crs)
    layer = read_one(written(tmp_path / "parks.gpkg", frame))
    assert layer.source.accuracy_m is None
    assert any(text.startswith("BALLPARK") for text in layer.source.warnings)
    assert build_parks([layer]).frame[DATUM_ERROR].tolist() == [UNKNOWN_DATUM_ERROR_M]


def test_the_error_of_an_unknown_datum_covers_nearly_all_known_ones() -> None:
    """A third of the geographic systems of the EPSG register, moved in the middle of their areas."""
    shifts = []
    for info in query_crs_info("EPSG", PJType.GEOGRAPHIC_2D_CRS)[::3]:
        area = info.area_of_use
        crs = pyproj.CRS(info.code)
        if area is None or crs.axis_info[0].unit_name != "degree" or crs.prime_meridian.longitude:
            continue
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("warnings.warn", lambda *_, **__: None)
            group = TransformerGroup(crs, 4326, always_xy=True)
        sound = [t for t in group.transformers if t.accuracy >= 0 and "allpark" not in t.description]
        lon = area.west + ((area.east - area.west) % 360) / 2
        lat = (area.south + area.north) / 2
        if sound:
            east, north = sound[0].transform(lon, lat)
            shifts.append(Geodesic.WGS84.Inverse(lat, lon, north, east)["s12"])
    assert len(shifts) > 100
    assert np.percentile(shifts, 95) < UNKNOWN_DATUM_ERROR_M < np.percentile(shifts, 99)


def test_parameters_in_the_system_itself_have_no_stated_accuracy(tmp_path: Path) -> None:
    crs = UNKNOWN.replace("299.1528128]", "299.1528128],TOWGS84[598.1,73.7,418.2,0.202,0.045,-2.455,6.7]")
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(10, 50, 10.1, 50.1)], crs=crs)
    layer = read_one(written(tmp_path / "parks.gpkg", frame))
    assert layer.source.accuracy_m is None
    moved = Geodesic.WGS84.Inverse(50, 10, *layer.frame.total_bounds[[1, 0]])["s12"]
    assert 100 < moved < 200


@pytest.mark.parametrize(
    ("crs", "degrees"),
    [
        ({"type": "name", "properties": {"name": "EPSG:5070"}}, False),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::5070"}}, False),
        ({"type": "EPSG", "properties": {"code": 5070}}, False),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}, True),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::4326"}}, True),
    ],
)
def test_the_crs_member_of_old_geojson_is_honoured(
    crs: dict[str, Any], degrees: bool, tmp_path: Path
) -> None:
    shape = around(*US, 4269 if degrees else 5070).geometry.iloc[0]
    layer = read_one(geojson(tmp_path / "parks.geojson", [shape], crs=crs))
    assert layer.frame.total_bounds == pytest.approx([-100.01, 39.99, -99.99, 40.01], abs=1e-6)


def test_a_late_crs_member_is_honoured_too(tmp_path: Path) -> None:
    path = geojson(tmp_path / "parks.geojson", around(*US, 5070).geometry)
    late = ', "crs": {"type": "name", "properties": {"name": "EPSG:5070"}}}'
    path.write_text(path.read_text().removesuffix("}") + late)
    assert read_one(path).source.crs == "EPSG:5070 (NAD83 / Conus Albers)"


def test_an_attribute_called_crs_is_no_coordinate_system(tmp_path: Path) -> None:
    path = geojson(tmp_path / "parks.geojson", [shapely.box(*US, -99, 41)])
    path.write_text(path.read_text().replace('"name": "N1"', '"crs": {"type": "link"}'))
    text = path.read_text()
    path.write_text(text.removesuffix("]}") + ", " + text[text.index('{"type": "Feature", ') :] + " " * 5000)
    assert len(read_one(path).frame) == 2


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "fgb", "parquet"])
def test_a_file_without_a_system_says_how_to_name_one(suffix: str, tmp_path: Path) -> None:
    frame = around(*US, 4326).set_crs(None, allow_override=True)
    path = written(tmp_path / f"parks.{suffix}", frame)
    with pytest.raises(CrsError, match=r"does not name its coordinate system; name one with --crs"):
        read_layers([path])
    layer = read_one(path, assume_crs="EPSG:4267")
    assert layer.source.warnings[0] == "the file names no coordinate system; EPSG:4267 is assumed"
    assert layer.source.accuracy_m == 20.0
    with pytest.raises(CrsError, match="the coordinate system 'nonsense' is not known"):
        read_layers([path], assume_crs="nonsense")


def test_an_assumed_system_does_not_replace_a_stated_one(tmp_path: Path) -> None:
    path = written(tmp_path / "parks.gpkg", around(*US, 4326))
    assert read_one(path, assume_crs="EPSG:4267").source.operation == "none"


@pytest.mark.parametrize("crs", ["EPSG:4326+5773", "EPSG:5498", "EPSG:4979"])
def test_heights_in_the_system_do_no_harm(crs: str, tmp_path: Path) -> None:
    shape = shapely.force_3d(shapely.box(*US, -99.5, 40.5), 100.0)
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=crs)
    layer = read_one(written(tmp_path / "parks.gpkg", frame))
    assert layer.frame.total_bounds == pytest.approx([-100, 40, -99.5, 40.5], abs=1e-9)


def test_grads_from_paris_are_angles_too(tmp_path: Path) -> None:
    """EPSG:4807 counts grads from Paris: 52 grads north is 46.8 degrees, and 100 the pole."""
    boxes = [shapely.box(0, 52, 1, 53), shapely.box(0, 99, 1, 101)]
    frame = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=boxes)
    layer = read_one(written(tmp_path / "parks.gpkg", frame.set_crs("EPSG:4807")))
    assert layer.frame.total_bounds == pytest.approx([2.337, 46.8, 3.237, 47.7], abs=0.01)
    assert len(layer.refused) == 1
    assert "record 2: has longitude 1 and latitude 101" in layer.refused[0]


def test_a_far_off_system_is_warned_of(tmp_path: Path) -> None:
    """Coordinates of the contiguous states in a file that says New Zealand."""
    frame = around(*US, 5070).set_crs("EPSG:2193", allow_override=True)
    warnings = read_one(written(tmp_path / "parks.gpkg", frame)).source.warnings
    assert any("far outside the area that EPSG:2193" in text for text in warnings), warnings


@pytest.mark.parametrize(("crs", "far"), [(32614, 1e12), (3832, 1e168), (3857, 1e12), (5070, 1e200)])
def test_coordinates_without_an_image_are_refused_one_by_one(crs: int, far: float, tmp_path: Path) -> None:
    shapes = [around(*US, crs).geometry.iloc[0], shapely.box(-far, 1e6, 2 * far, 2e6)]
    frame = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=shapes, crs=crs)
    layer = read_one(written(tmp_path / "parks.gpkg", frame))
    assert len(layer.frame) == 1
    assert len(layer.refused) == 1
    assert "record 2" in layer.refused[0]
    assert "cannot be transformed" in layer.refused[0]


def example(name: str) -> Path:
    spec = find_spec("libpysal")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "examples" / name


def test_the_tokyo_example_has_ten_invalid_records_and_all_become_parks() -> None:
    """libpysal's tokyomet262: 262 records, EPSG:30166, 10 invalid (looked at, R)."""
    layer = read_one(example("tokyo/tokyomet262.shp"))
    assert layer.source.crs.startswith("EPSG:30166")
    assert layer.source.accuracy_m == 9.0
    parks = build_parks([layer])
    assert (parks.report.records, len(parks.report.repaired)) == (262, 10)
    assert parks.frame.geometry.is_valid.all()
    west, south, east, north = parks.frame.total_bounds
    assert 138.5 < west < east < 141
    assert 34.8 < south < north < 37


def test_the_columbus_example_needs_a_system_and_no_degrees_help_chicago() -> None:
    """libpysal's columbus and Chicago77: no CRS, the one in 5..11, the other in feet (looked at, R)."""
    for name in ("columbus/columbus.shp", "chicago/Chicago77.shp"):
        with pytest.raises(CrsError, match="name one with --crs"):
            read_layers([example(name)])
    with pytest.raises(InputError, match="looks like metres or feet"):
        read_layers([example("chicago/Chicago77.shp")], assume_crs="EPSG:4326")


def test_the_virginia_example_is_read_as_it_is() -> None:
    """libpysal's virginia.json: 136 counties in EPSG:4326 (looked at, R)."""
    layer = read_one(example("virginia/virginia.json"))
    assert (len(layer.frame), layer.source.accuracy_m, layer.refused) == (136, 0.0, ())
