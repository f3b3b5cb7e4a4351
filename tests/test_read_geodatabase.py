"""Esri file geodatabases: a made national one, its curves, what may be amiss in one, and archives of them."""

from __future__ import annotations

import math
import os
import shutil
import tempfile
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from boundary_files import written
from pyproj import Transformer

pytest.importorskip("pyarrow", reason="arcs are written through pyarrow")
from national_geodatabase import (
    CRS,
    LAYERS,
    MadePark,
    make_parks,
    pack_circle,
    pack_segment,
    write_geodatabase,
    write_layer,
)

from scout.app.find import SearchOptions, find_spots
from scout.cli import main
from scout.errors import ArgumentError, InputError
from scout.io.curves import ArcStraightener
from scout.io.layers import list_requests, read_layers
from scout.io.unusable import Unusable
from scout.model import PARK_NAME, Layer, Parks
from scout.parks.build import build_parks
from scout.parks.indexed import IndexedLayer, ParkReading, open_index, open_indexed


@pytest.fixture(scope="module")
def national(tmp_path_factory) -> tuple[Path, dict[str, list[MadePark]]]:
    parks = make_parks()
    return write_geodatabase(tmp_path_factory.mktemp("national") / "ground.gdb", parks), parks


def compare_with_maker(made: Parks, expected: list[MadePark]) -> None:
    """The same names, each with the ground that its maker gave it."""
    frame = made.frame
    assert sorted(frame[PARK_NAME]) == sorted(park.name for park in expected)
    back = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    found = shapely.transform(frame.geometry.to_numpy(), lambda xy: np.column_stack(back.transform(*xy.T)))
    places = shapely.STRtree(shapely.point_on_surface(found))
    for park in expected:
        (row,) = places.query(park.ground, predicate="contains")
        assert frame[PARK_NAME].iloc[row] == park.name
        missed = shapely.area(shapely.symmetric_difference(found[row], park.ground))
        assert missed <= park.error_m2 + 0.002 * park.ground.length + bent_m2(park.ground), park.name


def bent_m2(ground: shapely.Geometry) -> float:
    """What lies between edges that are straight in Albers and in degrees: d^3 tan(lat) / (12 R) each."""
    points = shapely.get_coordinates(ground)
    edges = np.hypot(*np.diff(points, axis=0).T)
    return float((edges[edges < 3000] ** 3).sum()) / (12 * 6.37e6)


@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_gives_the_parks_that_its_maker_put_in(layer, national):
    path, parks = national
    made = build_parks(read_layers(path, layer=layer))
    compare_with_maker(made, parks[layer])
    records = sum(len(park.binaries) for park in parks[layer])
    assert made.report.records == records + 2
    assert made.report.used == records
    assert made.report.skipped_records == 2


@pytest.mark.parametrize("layer", ["Fee", "Combined"])
def test_by_the_index_the_same_spots_are_found(layer, tmp_path):
    whole = write_geodatabase(tmp_path / "large.gdb", {layer: make_parks(count=400)[layer]})
    options = SearchOptions(level=3, home=(-98.0, 38.5), within_km=80.0)
    indexed = open_indexed([whole], ParkReading(layer=layer), least=1)
    assert isinstance(indexed.layers[0].layer, IndexedLayer)
    expected = find_spots(build_parks(read_layers(whole, layer=layer)), options)
    assert len(expected.spots) > 5
    for most in (10**9, 30):
        found = find_spots(indexed, options, most=most)
        assert list(found.spots) == list(expected.spots)
        assert found.parks.equals(expected.parks)


def test_records_that_the_files_own_index_leaves_out_are_found_all_the_same(national, tmp_path):
    """The spatial index of another geodatabase of as many records, which lie elsewhere."""
    west = np.arange(300) / 50
    frame = gpd.GeoDataFrame(
        {"name": [f"N{k}" for k in range(300)]}, geometry=shapely.box(west, 1, west + 0.01, 1.01)
    )
    for name, shift in (("a.gdb", 0.0), ("b.gdb", 20.0)):
        written(tmp_path / name, frame.set_geometry(frame.translate(shift)).set_crs(4326))
    (spx,) = sorted(path.name for path in (tmp_path / "a.gdb").glob("*.spx"))
    shutil.copy(tmp_path / "b.gdb" / spx, tmp_path / "a.gdb" / spx)
    index = open_index(list_requests(tmp_path / "a.gdb", None, None)[0], least=1)
    found = index.only(np.array([7, 8, 200])).read()
    assert found.frame["name"].tolist() == ["N6", "N7", "N199"]


def test_layers_are_listed_where_a_wrong_one_is_asked_for(national):
    path, _ = national
    with pytest.raises(ArgumentError, match=r"did you mean 'Fee'.*Fee, Designation, Easement"):
        read_layers(path, layer="Feee")


def test_without_a_choice_all_layers_are_read(national):
    path, _ = national
    assert [one.source.layer for one in read_layers(path)] == list(LAYERS)


# Curves: against the area of a circle and of its segment.
RADII = [30.0, 1000.0, 25_000.0]


@pytest.mark.parametrize("suffix", [".gdb", ".gpkg"])
@pytest.mark.parametrize("radius", RADII)
def test_arcs_become_edges_within_a_tenth_of_a_metre(radius, suffix, tmp_path):
    path, values = tmp_path / f"arcs{suffix}", ("a",) * 6
    rows = [(pack_circle(0, 2e6, radius), values), (pack_segment(0, 2e6, radius), values)]
    write_layer(path, "arcs", rows)
    shapes = read_layers(path)[0].frame.to_crs(CRS).geometry
    for shape, area in zip(shapes, (math.pi * radius**2, math.pi * radius**2 / 2), strict=True):
        points = shapely.get_coordinates(shape)
        assert 0 <= area - shape.area <= 0.1 * shape.length  # edges lie inside their arcs
        ring = points if shape is shapes.iloc[0] else points[points[:, 1] > 2e6 + 1e-3]
        assert np.abs(np.hypot(ring[:, 0], ring[:, 1] - 2e6) - radius).max() < 0.001
        middle = (ring[1:] + ring[:-1]) / 2
        assert radius - np.hypot(middle[:, 0], middle[:, 1] - 2e6).min() < 0.1001


def test_an_arc_has_the_same_points_from_either_end():
    rng = np.random.default_rng(4)
    for _ in range(200):
        arc = rng.uniform(-1e6, 1e6, (3, 2))
        there, back = ArcStraightener(0.1).draw(arc), ArcStraightener(0.1).draw(arc[::-1])
        assert np.array_equal(there, back[::-1])
        assert np.array_equal(there[[0, -1]], arc[[0, 2]])


def test_neighbours_have_the_same_edges_along_an_arc_they_share(tmp_path):
    """A disc, and the rest of a square around it, whose hole goes round the other way."""
    disc = pack_circle(0, 2e6, 5000.0)
    turned = pack_circle(0, 2e6, -5000.0)[9:]  # its ring alone
    square = shapely.to_wkb(shapely.box(-9000, 1_991_000, 9000, 2_009_000))
    outer = square[9:]
    around = b"\1" + (10).to_bytes(4, "little") + (2).to_bytes(4, "little")
    around += b"\1" + (2).to_bytes(4, "little") + outer + turned
    write_layer(tmp_path / "two.gpkg", "two", [(disc, ("a",) * 6), (around, ("b",) * 6)])
    inner, rest = read_layers(tmp_path / "two.gpkg")[0].frame.geometry
    assert shapely.area(shapely.intersection(inner, rest)) == 0
    assert shapely.union(inner, rest).interiors[:] == []


def test_arcs_beyond_counting_are_refused_with_a_line(tmp_path, monkeypatch):
    monkeypatch.setattr("scout.io.curves._MOST", 500)
    monkeypatch.setattr("scout.io.curves.ArcStraightener.__init__.__defaults__", (500,))
    rows = [(pack_circle(0, 2e6, radius), ("a",) * 6) for radius in (10.0, 1e6, 10.0)]
    write_layer(tmp_path / "arcs.gpkg", "arcs", rows)
    (layer,) = read_layers(tmp_path / "arcs.gpkg")
    assert len(layer.frame) == 2
    assert "record 2: its arcs come to over 500 straight edges" in layer.refused[0]


# What may be amiss.
def squares(path: Path, layer: str = "parks", west: float = 0.0) -> Path:
    shapes = shapely.box([west, west + 2], 0, [west + 1, west + 3], 1)
    return written(path, gpd.GeoDataFrame({"name": ["A", "B"]}, geometry=shapes, crs=4326), layer=layer)


def told(path: Path, capsys, *words: str) -> str:
    """The one line of a refusal."""
    assert main(["find", str(path), *words]) == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    return line


@pytest.mark.parametrize("part", ["gdbtable", "gdbtablx"])
def test_a_missing_table_is_told(part, tmp_path, capsys):
    path = squares(squares(tmp_path / "parks.gdb"), "more", 5)
    (path / f"a0000000a.{part}").unlink()
    line = told(path, capsys)
    assert line == (
        f"scout: {path}: its table 'more' is missing (no file a0000000a.{part}); "
        "copy or download the whole folder again\n"
    )
    assert "'more' is missing" in told(path, capsys, "--layer", "parks")


@pytest.mark.parametrize("number", [1, 4])
def test_a_missing_list_of_tables_is_told(number, tmp_path, capsys):
    path = squares(tmp_path / "parks.gdb")
    (path / f"a{number:08x}.gdbtable").unlink()
    assert "list of tables" in told(path, capsys)


def test_records_that_the_offsets_do_not_reach_are_told(tmp_path):
    path = squares(tmp_path / "parks.gdb")
    offsets = path / "a00000009.gdbtablx"
    offsets.write_bytes(offsets.read_bytes()[:100])
    with pytest.raises(InputError, match="announces 2 records, of which none can be read"):
        read_layers(path)
    squares(path, "more", 5)
    out = Unusable(strict=False)
    assert [one.source.layer for one in read_layers(path, unusable=out)] == ["more"]
    assert "(layer parks): announces 2 records" in str(out.errors[0])


@pytest.mark.parametrize("name", ["parks.shp", "parks.tab", "more.csv", "x.vrt", "notes.txt"])
def test_other_files_in_the_folder_are_no_way_in(name, tmp_path, capsys):
    path = squares(tmp_path / "parks.gdb")
    (path / name).write_text("anything")
    assert f"{name} in it is no part of a geodatabase; move it out of the folder" in told(path, capsys)


def test_links_and_pipes_in_the_folder_are_not_followed(tmp_path, capsys):
    path = squares(tmp_path / "parks.gdb")
    table = path / "a00000009.gdbtable"
    table.rename(tmp_path / "elsewhere")
    table.symlink_to(tmp_path / "elsewhere")
    assert "a00000009.gdbtable in it is no regular file" in told(path, capsys)
    table.unlink()
    os.mkfifo(table)
    assert "a00000009.gdbtable in it is no regular file" in told(path, capsys)


def test_a_compressed_table_is_told(tmp_path, capsys):
    path = squares(tmp_path / "parks.gdb")
    (path / "a00000009.gdbtable").rename(path / "a00000009.cdf")
    assert "its table 'parks' is stored compressed" in told(path, capsys)


def test_a_file_of_that_suffix_is_no_geodatabase(tmp_path, capsys):
    (tmp_path / "parks.gdb").write_text("anything")
    assert "is no folder" in told(tmp_path / "parks.gdb", capsys)


def test_reading_changes_nothing_in_the_folder(tmp_path):
    path = squares(tmp_path / "parks.gdb")
    before = {one.name: (one.read_bytes(), one.stat().st_mtime_ns) for one in path.iterdir()}
    read_layers(path)
    open_indexed([path], ParkReading(), least=1)
    assert {one.name: (one.read_bytes(), one.stat().st_mtime_ns) for one in path.iterdir()} == before


# Archives.
def packed(target: Path, *files: tuple[Path, str]) -> Path:
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, name in files:
            for one in sorted(path.iterdir()) if path.is_dir() else [path]:
                archive.write(one, f"{name}/{one.name}" if path.is_dir() else name)
    return target


def names(layers: list[Layer]) -> list[tuple[str, list[str]]]:
    return [(one.source.layer, one.frame["name"].tolist()) for one in layers]


@pytest.fixture
def unpacking(tmp_path, monkeypatch) -> Path:
    """Where things are unpacked."""
    place = tmp_path / "unpacked"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    return place


@pytest.mark.parametrize("inner", ["parks.gdb", "some folder/parks.gdb", "download/v2/parks.gdb", "plain"])
def test_a_zipped_geodatabase_is_found_wherever_it_lies(inner, tmp_path, unpacking):
    path = packed(tmp_path / "parks.gdb.zip", (squares(tmp_path / "parks.gdb"), inner))
    assert names(read_layers(path)) == [("parks", ["A", "B"])]
    assert list(unpacking.iterdir()) == []


def test_zips_within_zips_of_several_shapefiles_are_read(tmp_path, unpacking, capsys):
    """As WDPA is published: one zip a part, in each areas and points; the points are told, not taken."""
    parts = []
    for k in range(3):
        folder = tmp_path / f"part{k}"
        folder.mkdir()
        squares(folder / "areas.shp", "areas", 10.0 * k)
        points = gpd.GeoDataFrame({"name": ["P"]}, geometry=shapely.points([[k, 5.0]]), crs=4326)
        written(folder / "points.shp", points)
        parts.append((packed(tmp_path / f"shp_{k}.zip", (folder, "area")), f"shp_{k}.zip"))
    path = packed(tmp_path / "all.zip", *parts)
    layers = read_layers(path)
    assert sorted(one.source.layer for one in layers) == [
        *(f"shp_{k}/{kind}" for k in range(3) for kind in ("areas", "points"))
    ]
    areas = read_layers(path, layer="areas")
    assert names(areas) == [(f"shp_{k}/areas", ["A", "B"]) for k in range(3)]
    assert names(read_layers(path, layer="shp_1/areas")) == [("shp_1/areas", ["A", "B"])]
    made = build_parks(layers)
    assert len(made.frame) == 6
    assert made.report.skipped_records + made.report.refused_records == 3
    del layers, areas
    assert list(unpacking.iterdir()) == []


def test_a_geodatabase_may_lie_in_a_zip_within_a_zip(tmp_path):
    inner = packed(tmp_path / "inner.zip", (squares(tmp_path / "parks.gdb"), "parks.gdb"))
    path = packed(tmp_path / "outer.zip", (inner, "data/inner.zip"))
    assert names(read_layers(path)) == [("parks", ["A", "B"])]


def test_a_truncated_zip_within_a_zip_is_told(tmp_path, capsys, unpacking):
    inner = packed(tmp_path / "inner.zip", (squares(tmp_path / "parks.gdb"), "parks.gdb"))
    inner.write_bytes(inner.read_bytes()[:-200])
    path = packed(tmp_path / "outer.zip", (inner, "inner.zip"))
    assert told(path, capsys).startswith(f"scout: {path} (inner.zip): is no zip archive or a damaged one")
    assert list(unpacking.iterdir()) == []


def test_a_zip_bomb_within_a_zip_is_told(tmp_path, capsys, unpacking):
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in ("a00000001.gdbtable", "a00000001.gdbtablx"):
            with archive.open(f"x.gdb/{name}", "w", force_zip64=True) as stream:
                for _ in range(90):
                    stream.write(bytes(2**20))
    path = packed(tmp_path / "outer.zip", (bomb, "bomb.zip"))
    assert "what it holds is larger than 6" in told(path, capsys)
    assert list(unpacking.iterdir()) == []


def test_a_zip_that_lies_about_its_sizes_is_told(tmp_path, capsys, unpacking):
    path = tmp_path / "lie.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("x.gdb/a00000001.gdbtable", bytes(90 * 2**20))
    data = bytearray(path.read_bytes())
    data[(at := data.rfind(b"PK\1\2") + 24) : at + 4] = (50).to_bytes(4, "little")
    path.write_bytes(data)
    told(path, capsys)
    assert list(unpacking.iterdir()) == []


def test_zips_within_zips_without_end_are_told(tmp_path, capsys):
    path = packed(tmp_path / "in0.zip", (squares(tmp_path / "parks.gdb"), "parks.gdb"))
    for k in range(1, 6):
        path = packed(tmp_path / f"in{k}.zip", (path, "in.zip"))
    assert "zips within zips over 4 deep" in told(path, capsys)


def test_a_full_disk_is_told(tmp_path, capsys, monkeypatch):
    path = packed(tmp_path / "parks.zip", (squares(tmp_path / "parks.gdb"), "parks.gdb"))
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 1000})())
    assert "0 MB are free; free some, or let TMPDIR name a folder with more" in told(path, capsys)
