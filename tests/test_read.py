"""Files of every format become layers in longitude and latitude, with all their text."""

from __future__ import annotations

import importlib.util
import os
import sqlite3
import struct
import warnings
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from boundary_files import SQUARE, geojson, wkb_many, wkb_polygon, written

from scout.errors import CrsError, InputError
from scout.io.layers import read_layers
from scout.model import GEOMETRY, RECORD

FORMATS = ["geojson", "gpkg", "shp", "zip", "shz", "fgb", "parquet", "geoparquet", "kml", "kmz"]
NAMES = ["Парк Грёза", "公園 ひがし", "Ängö näs"]
BOXES = [shapely.box(x, 10.0, x + 0.5, 11.0) for x in (20.0, 30.0, 40.0)]


@pytest.fixture
def three() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"Name": NAMES, "count": [7, 8, 9]}, geometry=BOXES, crs="EPSG:4326")


@pytest.mark.parametrize("suffix", FORMATS)
def test_every_format_gives_the_same_shapes_and_names(
    suffix: str, three: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    path = written(tmp_path / f"parks.{suffix}", three)
    before = {p.name: p.stat().st_mtime_ns for p in tmp_path.iterdir()}
    (layer,) = read_layers([path])
    found = dict(zip(layer.frame["Name"], layer.frame.geometry, strict=True))
    assert set(found) == set(NAMES)
    assert all(found[name].equals(box) for name, box in zip(NAMES, BOXES, strict=True))
    assert sorted(layer.frame[RECORD]) == [1, 2, 3]
    assert layer.frame.crs == "EPSG:4326"
    assert layer.frame.geometry.name == GEOMETRY
    assert (layer.source.records, layer.source.operation, layer.source.accuracy_m) == (3, "none", 0.0)
    assert (layer.refused, layer.repaired, layer.source.warnings) == ((), (), ())
    assert {p.name: p.stat().st_mtime_ns for p in tmp_path.iterdir()} == before, "nothing is written"


@pytest.mark.parametrize("suffix", FORMATS)
def test_without_pyarrow_the_layers_are_the_same(
    suffix: str, three: gpd.GeoDataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path / f"parks.{suffix}", three)
    (fast,) = read_layers([path])
    real = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "pyarrow" else real(name))
    if "parquet" in suffix:
        with pytest.raises(InputError, match=r"lattice-scout\[parquet\]"):
            read_layers([path])
        return
    (plain,) = read_layers([path])
    assert plain.frame["Name"].tolist() == fast.frame["Name"].tolist()
    assert plain.frame[RECORD].tolist() == fast.frame[RECORD].tolist()
    assert shapely.equals_exact(plain.frame.geometry.to_numpy(), fast.frame.geometry.to_numpy()).all()


def test_a_shapefile_without_a_stated_encoding_keeps_utf8_names(
    three: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    path = written(tmp_path / "parks.shp", three)
    path.with_suffix(".cpg").unlink()
    assert read_layers([path])[0].frame["Name"].tolist() == NAMES


def test_a_shapefile_in_an_old_encoding_is_read_by_its_cpg_and_warned_of_without(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"name": [NAMES[0]]}, geometry=BOXES[:1], crs="EPSG:4326")
    path = written(tmp_path / "parks.shp", frame, encoding="CP1251")
    assert read_layers([path])[0].frame["name"].tolist() == NAMES[:1]
    path.with_suffix(".cpg").unlink()
    (layer,) = read_layers([path])
    assert len(layer.frame) == 1
    assert "encoded" in layer.source.warnings[0]


def test_upper_case_suffixes_are_known(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    written(tmp_path / "parks.gpkg", three).rename(tmp_path / "PARKS.GPKG")
    assert len(read_layers([tmp_path / "PARKS.GPKG"])[0].frame) == 3
    for part in written(tmp_path / "more.shp", three).parent.glob("more.*"):
        part.rename(part.with_name(part.name.upper()))
    assert len(read_layers([tmp_path / "MORE.SHP"])[0].frame) == 3


def test_all_layers_of_a_file_are_read_and_tables_without_geometry_left_out(
    three: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    path = tmp_path / "land.gpkg"
    three.to_file(path, layer="parks", engine="pyogrio")
    three[:1].to_file(path, layer="Seen wälder", engine="pyogrio")
    pyogrio.write_dataframe(three[["count"]], path, layer="styles")
    told: list[str] = []
    layers = read_layers([path], progress=told.append)
    assert [(one.source.layer, len(one.frame)) for one in layers] == [("parks", 3), ("Seen wälder", 1)]
    assert told == [f"reading {path} (layer parks)", f"reading {path} (layer Seen wälder)"]
    assert layers[0].source.where == f"{path} (layer parks)"
    (one,) = read_layers([path], layer="parks")
    assert one.source.layer == "parks"
    with pytest.raises(InputError, match="did you mean 'parks'"):
        read_layers([path], layer="park")


def test_an_archive_with_several_shapefiles_gives_a_layer_each(
    three: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    written(tmp_path / "a.shp", three)
    written(tmp_path / "b.shp", three[:2])
    with zipfile.ZipFile(tmp_path / "both {x}.zip", "w") as archive:
        for part in tmp_path.glob("?.*"):
            archive.write(part, part.name)
    layers = read_layers([tmp_path / "both {x}.zip"])
    assert sorted((one.source.layer, len(one.frame)) for one in layers) == [("a", 3), ("b", 2)]


def test_shadow_files_of_macos_are_passed_over(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    path = written(tmp_path / "parks.zip", three)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("__MACOSX/some folder/._parks.shp", b"\0\5\x16\7 Mac OS X")
    assert [len(one.frame) for one in read_layers([path])] == [3]


def test_one_path_need_not_be_in_a_list(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    path = written(tmp_path / "parks.gpkg", three)
    assert len(read_layers(path)[0].frame) == len(read_layers(str(path))[0].frame) == 3


def test_a_table_in_another_encoding_than_it_says_is_read_with_a_warning(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"name": ["Grünau"]}, geometry=BOXES[:1], crs="EPSG:4326")
    path = written(tmp_path / "parks.shp", frame, encoding="ISO-8859-1")
    path.with_suffix(".cpg").write_text("UTF-8")
    (layer,) = read_layers([path])
    assert layer.frame["name"].tolist() == ["Grünau"]
    assert layer.source.warnings == ("text in another encoding than the file says: names may be garbled",)


def test_records_that_a_damaged_file_hides_are_told_of(tmp_path: Path) -> None:
    many = [shapely.Point(n, 10).buffer(0.4) for n in range(60)]
    frame = gpd.GeoDataFrame({"name": ["a"] * 60}, geometry=many, crs="EPSG:4326")
    path = written(tmp_path / "parks.gpkg", frame, SPATIAL_INDEX="NO")
    with closing(sqlite3.connect(path)) as database:
        database.execute("update gpkg_ogr_contents set feature_count = 70")
        database.commit()
    (warning,) = read_layers([path])[0].source.warnings
    assert warning == "the file announces 70 records, 60 could be read: it may be damaged"


def test_several_files_keep_their_order(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    paths = [written(tmp_path / f"z.{suffix}", three) for suffix in ("kml", "gpkg", "fgb")]
    assert [one.source.path for one in read_layers(paths)] == [str(path) for path in paths]


def test_record_numbers_of_a_geopackage_are_its_feature_ids(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    path = written(tmp_path / "parks.gpkg", three)
    with sqlite3.connect(path) as database:
        database.execute("drop trigger if exists rtree_parks_geom_delete")
        for name in [
            row[0] for row in database.execute("select name from sqlite_master where type='trigger'")
        ]:
            database.execute(f'drop trigger "{name}"')
        database.execute("update parks set fid = 70 where fid = 2")
    database.close()
    assert sorted(read_layers([path])[0].frame[RECORD]) == [1, 3, 70]


def test_integers_stay_whole_where_some_are_missing(tmp_path: Path) -> None:
    large = 2**60 + 1
    path = tmp_path / "parks.gpkg"
    shapes = shapely.to_wkb(np.array(BOXES))
    ids = np.array([large, 0, 5], dtype=np.int64)
    pyogrio.raw.write(
        path,
        shapes,
        [ids],
        ["ref"],
        field_mask=[np.array([False, True, False])],
        geometry_type="Polygon",
        crs="EPSG:4326",
    )
    assert read_layers([path])[0].frame["ref"].tolist() == [large, None, 5]


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "parquet", "fgb", "kml"])
def test_heights_are_dropped(suffix: str, tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"Name": ["a"]}, geometry=[shapely.force_3d(BOXES[0], 7.0)], crs="EPSG:4326")
    (layer,) = read_layers([written(tmp_path / f"parks.{suffix}", frame)])
    shape = layer.frame.geometry.iloc[0]
    assert not shape.has_z
    assert shape.equals(BOXES[0])


def pyogrio_file(name: str) -> Path:
    return Path(pyogrio.__file__).parent / "tests" / "fixtures" / name


def test_measured_lines_become_plain_lines() -> None:
    (layer,) = read_layers([pyogrio_file("line_zm.gpkg")])
    shape = layer.frame.geometry.iloc[0]
    assert not shape.has_z
    assert not shape.has_m
    assert shape.geom_type == "LineString"


@pytest.mark.parametrize("name", ["curve.gpkg", "curvepolygon.gpkg", "multisurface.gpkg"])
def test_shipped_curves_become_plain_lines_and_areas(name: str) -> None:
    (layer,) = read_layers([pyogrio_file(name)])
    plain = {"LineString", "Polygon", "MultiPolygon"}
    assert set(layer.frame.geom_type) <= plain
    assert layer.source.warnings == ()


def test_an_arc_becomes_edges_that_keep_close_to_it(tmp_path: Path) -> None:
    points = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)]
    arc = struct.pack("<BII", 1, 8, 5) + b"".join(struct.pack("<dd", *point) for point in points)
    path = tmp_path / "parks.gpkg"
    options = {"geometry_type": "Unknown", "crs": "EPSG:4326"}
    shapes = np.array([wkb_many(10, arc)], dtype=object)
    pyogrio.raw.write(path, shapes, [np.arange(1)], ["n"], **options)
    (layer,) = read_layers([path])
    disc = layer.frame.geometry.iloc[0]
    inside = 1 - shapely.distance(shapely.boundary(disc), shapely.Point(0, 0))
    assert 0 <= inside < 4e-5, "1 degree of arc per edge: 1 - cos(0.5 deg)"


def surfaces(path: Path) -> Path:
    triangle = b"\x01\x11\x00\x00\x00" + wkb_polygon((*SQUARE[:3], SQUARE[0]))[5:]
    shapes = [wkb_many(15, wkb_polygon(SQUARE)), wkb_many(16, triangle), triangle]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pyogrio.raw.write(
            path,
            np.array(shapes, dtype=object),
            [np.arange(3)],
            ["n"],
            geometry_type="Unknown",
            crs="EPSG:4326",
        )
    return path


def test_surfaces_of_faces_and_triangles_become_polygons(tmp_path: Path) -> None:
    (layer,) = read_layers([surfaces(tmp_path / "parks.gpkg")])
    assert shapely.area(layer.frame.geometry.to_numpy()).tolist() == [16.0, 8.0, 8.0]
    assert layer.refused == layer.repaired == ()


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "shp", "fgb", "parquet"])
@pytest.mark.parametrize("name", ["id", "OGC_FID", "wkb_geometry"])
def test_a_field_may_be_named_as_libraries_name_ids_and_shapes(
    suffix: str, name: str, three: gpd.GeoDataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = name[:10] if suffix == "shp" else name
    path = written(tmp_path / f"parks.{suffix}", three.rename(columns={"count": name}))
    monkeypatch.setattr("scout.io.gathering.is_worth_trying", lambda _: False)  # GDAL is meant
    (layer,) = read_layers([path])
    west = layer.frame.geometry.bounds.minx  # FlatGeobuf puts records in an order of its own
    assert dict(zip(layer.frame[name], west, strict=True)) == {7: 20.0, 8: 30.0, 9: 40.0}


def test_attributes_with_our_own_names_do_not_collide(tmp_path: Path) -> None:
    path = tmp_path / "parks.gpkg"
    fields = [np.array(["text"], dtype=object), np.array([5])]
    options = {"GEOMETRY_NAME": "shape"}
    pyogrio.raw.write(
        path,
        shapely.to_wkb(np.array(BOXES[:1])),
        fields,
        ["geometry", RECORD],
        geometry_type="Polygon",
        crs="EPSG:4326",
        layer_options=options,
    )
    (layer,) = read_layers([path])
    assert layer.frame.geometry.iloc[0].equals(BOXES[0])
    assert layer.frame["geometry (2)"].tolist() == ["text"]
    assert layer.frame[f"{RECORD} (2)"].tolist() == [5]


def test_a_geoparquet_in_the_arrow_layout_is_read(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    options = {"geometry_encoding": "geoarrow", "schema_version": "1.1.0"}
    path = written(tmp_path / "parks.parquet", three, **options)
    (layer,) = read_layers([path])
    assert shapely.equals(layer.frame.geometry.to_numpy(), np.array(BOXES)).all()


def test_a_geoparquet_covering_column_is_no_attribute(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    options = {"write_covering_bbox": True, "schema_version": "1.1.0"}
    path = written(tmp_path / "parks.parquet", three, **options)
    (layer,) = read_layers([path])
    assert list(layer.frame.columns) == [RECORD, "Name", "count", GEOMETRY]


def test_a_geoparquet_that_knows_no_crs_needs_one_and_one_that_is_silent_is_wgs84(tmp_path: Path) -> None:
    written(tmp_path / "none.parquet", gpd.GeoDataFrame({"a": [1]}, geometry=BOXES[:1]))
    with pytest.raises(CrsError, match="does not name its coordinate system"):
        read_layers([tmp_path / "none.parquet"])
    (layer,) = read_layers([tmp_path / "none.parquet"], assume_crs="EPSG:4326")
    assert layer.source.warnings == ("the file names no coordinate system; EPSG:4326 is assumed",)


def test_parquet_without_geometry_is_one_line(tmp_path: Path) -> None:
    three = gpd.GeoDataFrame({"a": [1]}, geometry=BOXES[:1], crs="EPSG:4326")
    pytest.importorskip("pyarrow")
    three[["a"]].to_parquet(tmp_path / "parks.parquet")
    with pytest.raises(InputError, match="without a geometry column"):
        read_layers([tmp_path / "parks.parquet"])
    (tmp_path / "parks.parquet").write_bytes(b"PAR1 and nothing")
    with pytest.raises(InputError, match="cannot be read"):
        read_layers([tmp_path / "parks.parquet"])


ASKED = (29.0, 10.2, 31.0, 10.4)


@pytest.mark.parametrize("suffix", FORMATS)
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857"])
def test_bounds_keep_the_same_records_in_every_format(
    suffix: str, crs: str, three: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    (layer,) = read_layers([written(tmp_path / f"parks.{suffix}", three.to_crs(crs))], bounds=ASKED)
    assert layer.frame["Name"].tolist() == NAMES[1:2]
    assert read_layers([tmp_path / f"parks.{suffix}"], bounds=(0, 0, 1, 1)) == []


@pytest.mark.parametrize("suffix", ["gpkg", "geojson", "shp", "fgb"])
@pytest.mark.parametrize("bounds", [(170, 10, 190, 12), (-190, 10, -170, 12)])
def test_bounds_over_the_antimeridian_find_both_sides(
    suffix: str, bounds: tuple[float, ...], tmp_path: Path
) -> None:
    lons = (175.0, 179.8, -175.0, 185.5, 0.0)
    boxes = [shapely.box(lon, 10, lon + 0.5, 11) for lon in lons]
    frame = gpd.GeoDataFrame({"lon": lons}, geometry=boxes, crs="EPSG:4326")
    (layer,) = read_layers([written(tmp_path / f"parks.{suffix}", frame)], bounds=bounds)
    assert sorted(layer.frame["lon"]) == [-175.0, 175.0, 179.8, 185.5]
    assert layer.frame[RECORD].is_unique
    assert layer.frame[RECORD].is_monotonic_increasing


def test_a_very_long_text_is_read(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"name": ["x" * 3_000_000]}, geometry=BOXES[:1], crs="EPSG:4326")
    for suffix in ("geojson", "gpkg", "parquet"):
        (layer,) = read_layers([written(tmp_path / f"parks.{suffix}", frame)])
        assert layer.frame["name"].str.len().tolist() == [3_000_000]


def test_a_damaged_file_is_one_line(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    for suffix in ("gpkg", "fgb", "zip", "shp", "parquet", "kmz"):
        path = written(tmp_path / f"parks.{suffix}", three)
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) // 2])
        told, left = outcome(path)
        assert left < 3, "what is still there may be used"
        assert str(path) in told or left
        assert "\n" not in told


def outcome(path: Path) -> tuple[str, int]:
    """What a file's reading says as an error, and how many shapes it gives."""
    try:
        return "", sum(int(one.frame.geometry.notna().sum()) for one in read_layers([path]))
    except InputError as error:
        return str(error), 0


def test_one_file_that_cannot_be_used_ends_the_reading(three: gpd.GeoDataFrame, tmp_path: Path) -> None:
    good = written(tmp_path / "parks.gpkg", three)
    with pytest.raises(InputError, match="no such file"):
        read_layers([good, tmp_path / "nowhere.gpkg"])
    with pytest.raises(InputError, match="no file was named"):
        read_layers([])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_no_file_to_wait_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "parks.geojson")
    with pytest.raises(InputError, match="is no regular file"):
        read_layers([tmp_path / "parks.geojson"])


def test_paths_with_odd_signs_are_read_or_refused_but_never_taken_for_another(
    three: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    for sign in "!;?#'{} é":
        folder = tmp_path / f"a{sign}b"
        folder.mkdir()
        for suffix in ("geojson", "gpkg"):
            path = written(tmp_path / f"parks.{suffix}", three).rename(folder / f"x{sign}y.{suffix}")
            told, found = outcome(path)
            refused = sign in "!;?" and suffix == "gpkg"
            assert (found, "cannot be opened" in told) == ((0, True) if refused else (3, False))


def test_a_json_suffix_is_geojson(tmp_path: Path) -> None:
    assert len(read_layers([geojson(tmp_path / "parks.json", BOXES)])[0].frame) == 3


def test_a_byte_order_mark_is_no_obstacle(tmp_path: Path) -> None:
    path = geojson(tmp_path / "parks.geojson", BOXES)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert len(read_layers([path])[0].frame) == 3


def test_a_map_document_in_an_archive_keeps_its_folders_apart(tmp_path: Path) -> None:
    def folder(name: str) -> str:
        ring = "<LinearRing><coordinates>0,0 1,0 1,1 0,0</coordinates></LinearRing>"
        mark = f"<Placemark><name>{name} 1</name><Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
        return f"<Folder><name>{name}</name>{mark}</Placemark></Folder>"

    text = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{folder("North")}{folder("South")}'
    with zipfile.ZipFile(tmp_path / "parks.kmz", "w") as archive:
        archive.writestr("doc.kml", f"{text}</Document></kml>")
    layers = read_layers([tmp_path / "parks.kmz"])
    assert [(one.source.layer, one.frame["Name"].tolist()) for one in layers] == [
        ("North", ["North 1"]),
        ("South", ["South 1"]),
    ]


def test_shipped_countries_are_read_as_they_are() -> None:
    """The Natural Earth countries shipped with pyogrio: 177, all valid (looked at, R)."""
    (layer,) = read_layers([pyogrio_file("naturalearth_lowres/naturalearth_lowres.shp")])
    assert len(layer.frame) == 177
    assert layer.frame.geometry.is_valid.all()
    assert layer.repaired == ()
    assert layer.frame.total_bounds[0] == -180.0


def test_natural_earth_parks_are_read_as_they_are(shared_data: Any) -> None:
    areas, lines = read_layers(
        [shared_data("ne_10m_parks_area.geojson"), shared_data("ne_10m_parks_line.geojson")]
    )
    assert (len(areas.frame), len(lines.frame)) == (61, 29)
    assert "Hawai'i Volcanoes NP" in areas.frame["unit_name"].tolist()
