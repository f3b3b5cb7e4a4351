"""EsriJSON, TopoJSON, GML, MapInfo, GeoJSON sequences and CSV with WKT: the same parks, and what is amiss."""

from __future__ import annotations

import json
import math
import os
import shutil
import socket
import tempfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from boundary_files import geojson, written

from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.model import RECORD

# Coordinates of few digits, so that texts hold them as they are.
SHAPES = [
    shapely.Polygon(
        [(10, 45), (10, 45.5), (10.25, 45.5), (10.25, 45)], [[(10.05, 45.1), (10.1, 45.1), (10.1, 45.2)]]
    ),
    shapely.MultiPolygon([shapely.box(11, 45, 11.125, 45.25), shapely.box(11.5, 45, 11.75, 45.25)]),
    shapely.Polygon([(12, 45), (12.5, 45), (12.25, 45.75)]),
]
NAMES = ["Tern Flats", "Höhe Šedá", "Park; 3"]
IDS = ["007", "Q-2", "3"]
SUFFIXES = (".esrijson", ".topojson", ".gml", ".tab", ".mif", ".geojsons", ".geojsonl", ".ndjson", ".csv")
DRIVERS = {
    ".gml": "GML",
    ".tab": "MapInfo File",
    ".mif": "MapInfo File",
    ".geojsonl": "GeoJSONSeq",
    ".ndjson": "GeoJSONSeq",
    ".csv": "CSV",
}


def frame() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"ref": IDS, "name": NAMES}, geometry=SHAPES, crs="EPSG:4326")


def list_rings(shape: shapely.Geometry) -> list[list[list[float]]]:
    """Rings of a polygon or of several, outer ones clockwise (as Esri has them)."""
    turned = [shapely.orient_polygons(part, exterior_cw=True) for part in shapely.get_parts(shape)]
    return [[list(p) for p in ring.coords] for one in turned for ring in (one.exterior, *one.interiors)]


def esri_json(**more: Any) -> dict[str, Any]:
    """As a feature service answers (Esri's published description of feature sets)."""
    features = [
        {
            "attributes": {"OBJECTID": k + 1, "ref": IDS[k], "name": NAMES[k]},
            "geometry": {"rings": list_rings(shape)},
        }
        for k, shape in enumerate(SHAPES)
    ]
    fields = [
        {"name": "OBJECTID", "type": "esriFieldTypeOID"},
        {"name": "ref", "type": "esriFieldTypeString"},
        {"name": "name", "type": "esriFieldTypeString"},
    ]
    whole = {"geometryType": "esriGeometryPolygon", "spatialReference": {"wkid": 4326}, "fields": fields}
    return {**whole, **more, "features": features}


def topology() -> dict[str, Any]:
    arcs, geometries = [], []
    for k, shape in enumerate(SHAPES):
        polygons = []
        for part in shapely.get_parts(shape):
            rings = [[list(p) for p in ring.coords] for ring in (part.exterior, *part.interiors)]
            polygons.append([[len(arcs) + n] for n in range(len(rings))])
            arcs += rings
        several = len(polygons) > 1
        geometries.append(
            {
                "type": "MultiPolygon" if several else "Polygon",
                "arcs": polygons if several else polygons[0],
                "properties": {"ref": IDS[k], "name": NAMES[k]},
            }
        )
    objects = {"parks": {"type": "GeometryCollection", "geometries": geometries}}
    return {"type": "Topology", "objects": objects, "arcs": arcs}


def write_as(path: Path) -> Path:
    """The three parks in the format of the suffix."""
    if path.suffix == ".esrijson":
        path.write_text(json.dumps(esri_json()), "utf-8")
    elif path.suffix == ".topojson":
        path.write_text(json.dumps(topology()), "utf-8")
    elif path.suffix == ".geojsons":  # each record between a record separator and a line feed, RFC 8142 2.1
        whole = json.loads(geojson(path.with_suffix(".tmp"), SHAPES).read_text("utf-8"))
        path.with_suffix(".tmp").unlink()
        for one, ref, name in zip(whole["features"], IDS, NAMES, strict=True):
            one["properties"] = {"ref": ref, "name": name}
        path.write_text("".join(f"\x1e{json.dumps(one, indent=1)}\n" for one in whole["features"]), "utf-8")
    else:
        options = {"GEOMETRY": "AS_WKT"} if path.suffix == ".csv" else {}
        options |= {"ENCODING": "UTF-8"} if DRIVERS[path.suffix].startswith("Map") else {}
        written_by = DRIVERS[path.suffix]
        pyogrio.write_dataframe(frame(), path, driver=written_by, layer_options=options)
    return path


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_the_same_parks_come_from_every_format(suffix, tmp_path):
    (layer,) = read_layers(write_as(tmp_path / f"parks{suffix}"))
    assert layer.refused == ()
    assert layer.frame["name"].tolist() == NAMES
    assert layer.frame["ref"].tolist() == IDS
    assert layer.frame[RECORD].tolist() == [1, 2, 3]
    found = shapely.normalize(layer.frame.geometry.to_numpy())
    if suffix == ".tab":  # whole numbers across the bounds of the system: steps of 1e-6 degrees and less
        assert shapely.hausdorff_distance(found, shapely.normalize(SHAPES)).max() < 1e-6
    else:
        assert shapely.equals_exact(found, shapely.normalize(SHAPES), 0.0).all()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_nothing_is_left_beside_the_file_nor_anywhere_else(suffix, tmp_path, monkeypatch):
    (tmp_path / "unpacked").mkdir()
    (tmp_path / "in").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "unpacked"))
    path = write_as(tmp_path / "in" / f"parks{suffix}")
    before = {one.name: (one.read_bytes(), one.stat().st_mtime_ns) for one in path.parent.iterdir()}
    assert main(["find", str(path)]) in (0, 1)
    assert {one.name: (one.read_bytes(), one.stat().st_mtime_ns) for one in path.parent.iterdir()} == before
    assert list((tmp_path / "unpacked").iterdir()) == []


SIDECARS = {
    ".gml": ("parks.gfs", "parks.xsd", "parks.resolved.gml"),
    ".csv": ("parks.csvt", "parks.prj"),
    ".mif": ("parks.csvt",),
    ".tab": ("parks.ind",),
    ".geojsonl": ("parks.qpj",),
    ".topojson": ("parks.prj",),
}


@pytest.mark.parametrize("suffix", SIDECARS)
def test_what_lies_beside_is_not_opened(suffix, tmp_path):
    """A pipe that nobody writes to would be waited for without end."""
    path = write_as(tmp_path / f"parks{suffix}")
    for name in SIDECARS[suffix]:
        (tmp_path / name).unlink(missing_ok=True)
        os.mkfifo(tmp_path / name)
    (layer,) = read_layers(path)
    assert layer.frame["name"].tolist() == NAMES


@pytest.mark.parametrize("kind", ["esrijson", "topojson"])
def test_both_are_known_under_the_suffix_that_they_share(kind, tmp_path):
    path = tmp_path / "parks.json"
    path.write_text(json.dumps(esri_json() if kind == "esrijson" else topology()), "utf-8")
    assert read_layers(path)[0].frame["name"].tolist() == NAMES


def test_a_geojson_that_speaks_of_topology_and_rings_stays_one(tmp_path):
    path = geojson(tmp_path / "parks.json", SHAPES, description={"type": "Topology of rings"})
    text = path.read_text().replace('"N1"', '"\\"spatialReference\\": rings"')
    path.write_text(text)
    assert len(read_layers(path)[0].frame) == 3


def test_esri_json_in_metres_and_with_heights(tmp_path):
    whole = esri_json(spatialReference={"wkid": 102100, "latestWkid": 3857}, hasZ=True)
    half = math.pi * 6378137  # of web Mercator's equator
    ring = [[0, 0, 5], [0, half / 180, 5], [half / 180, half / 180, 5], [half / 180, 0, 5], [0, 0, 5]]
    whole["features"] = [{"attributes": {"name": "A"}, "geometry": {"rings": [ring]}}]
    (tmp_path / "parks.json").write_text(json.dumps(whole))
    (shape,) = read_layers(tmp_path / "parks.json")[0].frame.geometry
    assert not shapely.has_z(shape)
    assert shape.bounds[2] == pytest.approx(1.0, abs=1e-9)


def test_an_answer_that_a_service_cut_off_is_told(tmp_path):
    (tmp_path / "parks.json").write_text(json.dumps(esri_json(exceededTransferLimit=True)))
    (layer,) = read_layers(tmp_path / "parks.json")
    assert any("there are more records" in text for text in layer.source.warnings)


def test_curves_in_esri_json_are_told(tmp_path):
    whole = esri_json()
    whole["features"][0]["geometry"] = {"curveRings": [[[0, 0], {"c": [[2, 0], [1, 1]]}, [0, 0]]]}
    (tmp_path / "parks.json").write_text(json.dumps(whole))
    (layer,) = read_layers(tmp_path / "parks.json")
    assert any("it has curves" in text for text in layer.source.warnings)


def test_the_sample_of_the_topojson_specification(tmp_path):
    """The quantized topology of section 1 there and the shapes it stands for (from memory)."""
    sample = {
        "type": "Topology",
        "transform": {"scale": [0.0005000500050005, 0.00010001000100010001], "translate": [100, 0]},
        "objects": {
            "example": {
                "type": "GeometryCollection",
                "geometries": [
                    {"type": "Point", "properties": {"prop0": "value0"}, "coordinates": [4000, 5000]},
                    {"type": "LineString", "properties": {"prop0": "value0", "prop1": 0}, "arcs": [0]},
                    {
                        "type": "Polygon",
                        "properties": {"prop0": "value0", "prop1": {"this": "that"}},
                        "arcs": [[1]],
                    },
                ],
            }
        },
        "arcs": [
            [[4000, 0], [1999, 9999], [2000, -9999], [2000, 9999]],
            [[0, 0], [0, 9999], [2000, 0], [0, -9999], [-2000, 0]],
        ],
    }
    (tmp_path / "sample.topojson").write_text(json.dumps(sample))
    point, line, area = read_layers(tmp_path / "sample.topojson")[0].frame.geometry
    assert shapely.get_coordinates(point) == pytest.approx(np.array([[102, 0.5]]), abs=6e-4)
    assert shapely.get_coordinates(line) == pytest.approx(
        np.array([[102, 0], [103, 1], [104, 0], [105, 1]]), abs=6e-4
    )
    assert area.bounds == pytest.approx((100, 0, 101, 1), abs=6e-4)


def test_every_object_of_a_topology_is_a_layer(tmp_path):
    whole = topology()
    one = {"type": "Polygon", "arcs": [[0]], "properties": {"name": "again"}}
    whole["objects"]["more"] = {"type": "GeometryCollection", "geometries": [one]}
    (tmp_path / "parks.topojson").write_text(json.dumps(whole))
    assert [one.source.layer for one in read_layers(tmp_path / "parks.topojson")] == ["parks", "more"]
    (layer,) = read_layers(tmp_path / "parks.topojson", layer="more")
    assert layer.frame["name"].tolist() == ["again"]


GML = """<?xml version="1.0" encoding="UTF-8"?>
<q:Parks xmlns:q="http://example.org/q" xmlns:gml="http://www.opengis.net/gml/3.2"
 xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
 xsi:schemaLocation="http://example.org/q {schema}">
<gml:featureMember><q:Park gml:id="p1"><q:name>Tern Flats</q:name><q:area>{geometry}</q:area></q:Park>
</gml:featureMember></q:Parks>"""
SURFACE = """<gml:MultiSurface gml:id="g1" srsName="urn:ogc:def:crs:EPSG::4326"><gml:surfaceMember>
<gml:Polygon gml:id="g2"><gml:exterior><gml:LinearRing>
<gml:posList>45 10 45 11 46 11 46 10 45 10</gml:posList></gml:LinearRing></gml:exterior></gml:Polygon>
</gml:surfaceMember></gml:MultiSurface>"""
ARC = """<gml:Surface gml:id="g1" srsName="urn:ogc:def:crs:EPSG::32632"><gml:patches><gml:PolygonPatch>
<gml:exterior><gml:Ring><gml:curveMember><gml:Curve gml:id="c1"><gml:segments>
<gml:Arc><gml:posList>501000 5000000 500000 5001000 499000 5000000</gml:posList></gml:Arc>
<gml:LineStringSegment><gml:posList>499000 5000000 501000 5000000</gml:posList></gml:LineStringSegment>
</gml:segments></gml:Curve></gml:curveMember></gml:Ring></gml:exterior></gml:PolygonPatch></gml:patches>
</gml:Surface>"""


def gml(path: Path, geometry: str = SURFACE, schema: str = "parks.xsd") -> Path:
    path.write_text(GML.format(geometry=geometry, schema=schema), "utf-8")
    return path


def test_gml_of_the_simple_features_profile_has_latitude_first(tmp_path):
    """GML 3.2 (OGC 07-036): by the name that a URN gives, EPSG:4326 has latitude before longitude."""
    (layer,) = read_layers(gml(tmp_path / "parks.gml"))
    assert layer.frame.geometry[0].bounds == (10, 45, 11, 46)
    assert layer.frame["name"].tolist() == ["Tern Flats"]
    assert layer.source.warnings == ()


def test_arcs_in_gml_become_edges_within_a_tenth_of_a_metre(tmp_path):
    pytest.importorskip("pyarrow", reason="without it GDAL makes the edges")
    (layer,) = read_layers(gml(tmp_path / "parks.gml", ARC))
    shape = layer.frame.to_crs(32632).geometry[0]
    assert 0 <= math.pi * 1000**2 / 2 - shape.area <= 0.1 * shape.length


def test_a_schema_elsewhere_is_not_fetched_and_told(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(0.2)
        address = f"http://127.0.0.1:{listener.getsockname()[1]}/parks.xsd"
        (layer,) = read_layers(gml(tmp_path / "parks.gml", schema=address))
        with pytest.raises(TimeoutError):
            listener.accept()
    assert layer.frame["name"].tolist() == ["Tern Flats"]
    assert layer.source.warnings == ("the schema that it names is not fetched: all columns are read as text",)


def told(path: Path, capsys, *words: str) -> str:
    """The one line of a refusal."""
    assert main(["find", str(path), *words]) == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    assert line.startswith(f"scout: {path}: ")
    return line.removeprefix(f"scout: {path}: ").rstrip("\n")


@pytest.mark.parametrize(
    "doctype", ['<!DOCTYPE q SYSTEM "http://example.org/x.dtd">', '<!DOCTYPE q [<!ENTITY a "b">]>']
)
def test_gml_with_a_document_type_is_refused(doctype, tmp_path, capsys):
    path = gml(tmp_path / "parks.gml")
    path.write_text(path.read_text().replace("?>", f"?>{doctype}", 1))
    assert told(path, capsys) == "has a document type or entities, which are not read; export it without"


def test_outlines_by_reference_are_refused(tmp_path, capsys):
    link = '<gml:surfaceMember xlink:href="#far"/></gml:MultiSurface>'
    path = gml(tmp_path / "parks.gml", SURFACE.replace("</gml:MultiSurface>", link))
    assert "put together by references (xlink:href)" in told(path, capsys)


@pytest.mark.parametrize(
    "text", ["<html/>", "{}", "<OGRVRTDataSource/>", '<a xmlns="http://www.opengis.net/gml"><OGRVRT']
)
def test_other_texts_named_gml_are_refused(text, tmp_path, capsys):
    (tmp_path / "parks.gml").write_text(text)
    told(tmp_path / "parks.gml", capsys)


@pytest.mark.parametrize("arcs", [[[99]], [["0"]], [[0.5]], [[-9]], 7, [[True]]])
def test_a_topology_with_broken_arcs_is_refused(arcs, tmp_path, capsys):
    whole = topology()
    whole["objects"]["parks"]["geometries"][1]["arcs"] = arcs
    (tmp_path / "parks.topojson").write_text(json.dumps(whole))
    assert "an outline of 'parks' names arc" in told(tmp_path / "parks.topojson", capsys)


@pytest.mark.parametrize("arc", [[], [[1, 2]], [[1, 2], ["a", 3]], 5, [[1, 2], [3]], [[1, 2], None]])
def test_a_topology_with_an_arc_that_is_none_is_refused(arc, tmp_path, capsys):
    whole = topology()
    whole["arcs"][2] = arc
    (tmp_path / "parks.topojson").write_text(json.dumps(whole))
    assert "its arc 2 is no line" in told(tmp_path / "parks.topojson", capsys)


def test_a_topology_that_is_cut_short_is_refused(tmp_path, capsys):
    text = json.dumps(topology())
    (tmp_path / "parks.topojson").write_text(text[: len(text) // 2])
    assert "is no TopoJSON or a damaged one" in told(tmp_path / "parks.topojson", capsys)


def test_arcs_named_again_and_again_are_refused(tmp_path, capsys):
    whole = topology()
    whole["arcs"].append([[k / 1e4, k % 7] for k in range(2000)])
    whole["objects"]["parks"]["geometries"][0]["arcs"] = [[len(whole["arcs"]) - 1] * 6000]
    (tmp_path / "parks.topojson").write_text(json.dumps(whole))
    assert "name the same arcs again and again" in told(tmp_path / "parks.topojson", capsys)


@pytest.mark.parametrize("suffix", [".esrijson", ".topojson"])
def test_lists_beyond_counting_are_refused(suffix, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("scout.io.exchange._MOST_LISTS", 20)
    assert "has more than 20 places and lists" in told(write_as(tmp_path / f"parks{suffix}"), capsys)


def test_millions_of_empty_rows_are_refused(tmp_path, capsys):
    (tmp_path / "parks.csv").write_text(f'wkt\n"{SHAPES[2].wkt}"\n' + "a\n" * 200_000)
    assert "lines too short to hold an outline" in told(tmp_path / "parks.csv", capsys)


def test_lines_of_a_sequence_that_cannot_be_read_are_told(tmp_path):
    path = write_as(tmp_path / "parks.geojsonl")
    lines = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([lines[0], lines[1][:-9], "", lines[2]]), "utf-8")
    (layer,) = read_layers(path)
    assert layer.frame["name"].tolist() == [NAMES[0], NAMES[2]]
    assert layer.source.warnings == ("the file announces 3 records, 2 could be read: it may be damaged",)


def test_a_table_without_outlines_is_refused(tmp_path, capsys):
    (tmp_path / "parks.csv").write_text("ref,name,lat\nQ-1,Tern Flats,45\n")
    assert told(tmp_path / "parks.csv", capsys) == (
        "has no column with outlines as text, such as POLYGON ((...)); its columns are: ref, name, lat; "
        "export the outlines as WKT, or in another format"
    )


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_a_table_is_read_by_its_own_separator_and_column(separator, tmp_path):
    rows = [
        ("outline of it", "name"),
        *((f'"{shape.wkt}"', f'"{name}"') for shape, name in zip(SHAPES, NAMES, strict=True)),
    ]
    (tmp_path / "parks.csv").write_text("\n".join(separator.join(row) for row in rows), "utf-8")
    (layer,) = read_layers(tmp_path / "parks.csv")
    assert layer.frame["name"].tolist() == NAMES
    assert shapely.equals(layer.frame.geometry.to_numpy(), SHAPES).all()
    assert "outline of it" not in layer.frame


def test_a_table_says_which_system_is_taken(tmp_path):
    path = write_as(tmp_path / "parks.csv")
    assert any("EPSG:4326 is assumed" in text for text in read_layers(path)[0].source.warnings)
    shapes = gpd.GeoSeries(SHAPES, crs=4326).to_crs(32632)
    path.write_text("name,wkt\n" + "".join(f'{k},"{shape.wkt}"\n' for k, shape in enumerate(shapes)))
    (layer,) = read_layers(path, assume_crs="EPSG:32632")
    assert shapely.hausdorff_distance(layer.frame.geometry.to_numpy(), SHAPES).max() < 1e-9


def test_very_long_outlines_in_a_table_are_read(tmp_path):
    angle = np.linspace(0, 2 * np.pi, 400_000)
    shape = shapely.Polygon(np.column_stack([np.cos(angle), np.sin(angle)]))
    (tmp_path / "parks.csv").write_text(f'name,wkt\nA,"{shape.wkt}"\nB,"{SHAPES[2].wkt}"\n')
    assert (tmp_path / "parks.csv").stat().st_size > 12_000_000
    (layer,) = read_layers(tmp_path / "parks.csv")
    assert layer.frame["name"].tolist() == ["A", "B"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('name,wkt\nA,"POLYGON ((0 0,1 0,1 1,0 0))\nB,"POLYGON ((0 0,1 0,1 1,0 0))"\n', "is never closed"),
        ('name,wkt\nA,"SRID=4326;POLYGON ((0 0,1 0,1 1,0 0))"\n', "begin with SRID="),
        ('wkt,wkt\n"POLYGON ((0 0,1 0,1 1,0 0))",x\n', "odd name or a twin"),
        ("name\0,wkt\nA,x\n", "no table in plain text"),
        (' ref name\n"POLYGON ((0 0,1 0,1 1,0 0))"\n', "odd name or a twin"),
    ],
)
def test_odd_tables_are_refused(text, line, tmp_path, capsys):
    (tmp_path / "parks.csv").write_text(text)
    assert line in told(tmp_path / "parks.csv", capsys)


@pytest.mark.parametrize("part", [".dat", ".map", ".id"])
def test_a_mapinfo_table_that_lacks_a_part_is_refused(part, tmp_path, capsys):
    path = write_as(tmp_path / "parks.tab")
    path.with_suffix(part).unlink()
    assert told(path, capsys) == f"its {part} file is missing; keep all parts of a table in one folder"


@pytest.mark.parametrize("words", ['create view all as select * from "/etc/x"', '"\\IsSeamless" = "TRUE"'])
def test_a_mapinfo_table_made_of_others_is_refused(words, tmp_path, capsys):
    path = write_as(tmp_path / "parks.tab")
    path.write_text(path.read_text("latin-1") + words + "\n", "latin-1")
    assert "is a view of other tables or files" in told(path, capsys)


@pytest.mark.parametrize("kind", ["DBF", "LINKED", "RASTER", "SHAPEFILE"])
def test_mapinfo_tables_of_other_kinds_are_refused(kind, tmp_path, capsys):
    path = write_as(tmp_path / "parks.tab")
    path.write_text(path.read_text("latin-1").replace("NATIVE", kind), "latin-1")
    assert "is a view of other tables or files" in told(path, capsys)


def test_parts_are_told_by_the_file_they_belong_to(tmp_path):
    write_as(tmp_path / "parks.tab")
    with pytest.raises(InputError, match=r"one part of a MapInfo file; name the \.tab file"):
        read_layers(tmp_path / "parks.dat")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_recipe_under_these_suffixes_is_refused(suffix, tmp_path, capsys):
    path = tmp_path / f"parks{suffix}"
    path.write_text(
        '<OGRVRTDataSource><OGRVRTLayer name="x"><SrcDataSource>/etc/x</SrcDataSource></OGRVRTLayer>'
    )
    told(path, capsys)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_other_formats_under_these_suffixes_are_refused(suffix, tmp_path, capsys):
    sound = written(tmp_path / "sound.gpkg", frame())
    shutil.copy(sound, tmp_path / f"parks{suffix}")
    told(tmp_path / f"parks{suffix}", capsys)
