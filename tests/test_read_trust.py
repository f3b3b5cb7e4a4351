"""Files are not believed before they are checked, and not changed by reading them."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from boundary_files import written

from scout.cli import main
from scout.errors import CrsError, InputError
from scout.io.crs import understand_crs
from scout.io.layers import list_requests, read_layers
from scout.io.local_files import run_offline
from scout.parks.indexed import open_index


def squares(count: int = 60) -> gpd.GeoDataFrame:
    west = np.arange(count) / 10
    shapes = shapely.box(west, 0.0, west + 0.05, 0.05)
    return gpd.GeoDataFrame({"name": [f"Q{k}" for k in range(count)]}, geometry=shapes, crs="EPSG:4326")


def beside(path: Path) -> dict[str, bytes]:
    return {one.name: one.read_bytes() for one in path.parent.iterdir()}


def with_sides(path: Path, change) -> Path:
    """A GeoParquet file with bounds columns, changed: ``change`` is given them as an array, shape (n, 4)."""
    pyarrow = pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
    from pyarrow import parquet

    written(path, squares(), write_covering_bbox=True)
    table = parquet.read_table(path)
    names = ("xmin", "ymin", "xmax", "ymax")
    sides = np.array(
        [[row[name] for name in names] for row in table.column("bbox").to_pylist()], dtype=object
    )
    change(sides)
    rows = [dict(zip(names, row, strict=True)) for row in sides.tolist()]
    place = table.column_names.index("bbox")
    kind = table.schema.field("bbox").type
    table = table.set_column(place, pyarrow.field("bbox", kind), pyarrow.array(rows, kind))
    parquet.write_table(table, path)
    return path


@pytest.mark.parametrize("value", [None, float("nan")])
def test_bounds_columns_that_leave_records_out_are_not_used(value, tmp_path):
    def leave_out(sides):
        sides[40:] = value

    path = with_sides(tmp_path / "joined.parquet", leave_out)
    assert open_index(list_requests(path, None, None)[0], least=1) is None
    assert len(read_layers(path)[0].frame) == 60


def test_bounds_columns_that_contradict_the_records_are_not_used(tmp_path):
    def move(sides):
        sides[:] += 3.0

    assert open_index(
        list_requests(with_sides(tmp_path / "a.parquet", lambda _: None), None, None)[0], least=1
    )
    path = with_sides(tmp_path / "moved.parquet", move)
    assert open_index(list_requests(path, None, None)[0], least=1) is None


def test_what_an_rtree_says_does_not_matter(tmp_path):
    path = written(tmp_path / "parks.gpkg", squares())
    before = open_index(list_requests(path, None, None)[0], least=1).bounds
    with closing(sqlite3.connect(path)) as database:
        database.execute("update rtree_parks_geom set maxx = maxx + 50, minx = minx + 50")
        database.execute("update gpkg_contents set min_x = 50, max_x = 56")
        database.execute("update gpkg_ogr_contents set feature_count = 7")
        database.commit()
    assert np.array_equal(open_index(list_requests(path, None, None)[0], least=1).bounds, before)


@pytest.mark.parametrize("suffix", [".gpkg", ".fgb", ".shp", ".geojson", ".kml", ".parquet"])
def test_reading_changes_nothing(suffix, tmp_path):
    path = written(tmp_path / f"parks{suffix}", squares(3))
    before = beside(path)
    read_layers(path)
    assert beside(path) == before


@pytest.mark.parametrize("end", ["-wal", "-journal", "-shm"])
@pytest.mark.parametrize("content", ["nothing", "zeros", "noise", "folder", "loop"])
def test_what_lies_beside_a_geopackage_stays_as_it_is(content, end, tmp_path):
    path = written(tmp_path / "parks.gpkg", squares(3))
    log = path.with_name(path.name + end)
    if content == "folder":
        log.mkdir()
    elif content == "loop":
        log.symlink_to(log)
    else:
        log.write_bytes({"nothing": b"", "zeros": bytes(5000), "noise": os.urandom(5000)}[content])
    before = {one.name: one.lstat().st_mtime_ns for one in tmp_path.iterdir()}
    told = ""
    try:
        assert len(read_layers(path)[0].frame) == 3
    except InputError as error:
        told = str(error)
    refused = content in ("zeros", "noise", "folder") and end != "-shm"
    assert bool(told) <= refused, told
    if end == "-wal" and content in ("zeros", "noise"):
        assert "has changes that are not in the file yet" in told
    assert {one.name: one.lstat().st_mtime_ns for one in tmp_path.iterdir()} == before


def test_a_geopackage_in_the_midst_of_being_written_is_refused_and_stays(tmp_path):
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    path = written(tmp_path / "old" / "parks.gpkg", squares(3))
    copy = tmp_path / "new" / "parks.gpkg"
    with closing(sqlite3.connect(path)) as database:
        database.execute("pragma journal_mode = wal")
        database.execute("update gpkg_contents set description = 'changed'")
        database.commit()
        shutil.copy(path, copy)
        shutil.copy(f"{path}-wal", f"{copy}-wal")
    before = beside(copy)
    assert len(before) == 2
    with pytest.raises(InputError, match="has changes that are not in the file yet"):
        read_layers(copy)
    assert beside(copy) == before
    before = beside(path)
    assert len(read_layers(path)[0].frame) == 3  # closed, but its header still says that it keeps a log
    assert beside(path) == before


def test_an_endless_view_is_not_read(tmp_path):
    path = written(tmp_path / "parks.gpkg", squares(3))
    with closing(sqlite3.connect(path)) as database:
        database.execute(
            "create view endless as with recursive n(x) as (select 1 union all select x + 1 from n) "
            "select x as fid, (select geom from parks limit 1) as geom from n"
        )
        database.execute(
            "insert into gpkg_contents (table_name, data_type, identifier, srs_id) "
            "values ('endless', 'features', 'endless', 4326)"
        )
        database.execute(
            "insert into gpkg_geometry_columns values ('endless', 'geom', 'POLYGON', 4326, 0, 0)"
        )
        database.commit()
    (layer,) = read_layers(path)
    assert len(layer.frame) == 3
    assert any("'endless' is a view and is not read" in text for text in layer.source.warnings)


ENDLESS = "with recursive n(k) as (select 1 union all select k + 1 from n)"


@pytest.mark.parametrize(
    ("name", "said"), [("Endless", "ENDLESS"), ("İx", "İx"), ('a"b', 'a"b'), ("e", "e ")]
)
@pytest.mark.parametrize("kind", ["features", "attributes", "FEATURES"])
def test_endless_views_are_known_however_they_are_named(kind, name, said, tmp_path):
    path = written(tmp_path / "parks.gpkg", squares(3))
    with closing(sqlite3.connect(path)) as database:
        quoted = name.replace('"', '""')
        shape = "(select geom from parks limit 1)"
        database.execute(f'create view "{quoted}" as {ENDLESS} select k as fid, {shape} as geom from n')
        database.execute(
            "insert into gpkg_contents (table_name, data_type, identifier, srs_id) values (?, ?, ?, 4326)",
            (said, kind, said),
        )
        database.execute(
            "insert into gpkg_geometry_columns values (?, 'geom', 'POLYGON', 4326, 0, 0)", (said,)
        )
        database.commit()
    (layer,) = read_layers(path)
    assert len(layer.frame) == 3


@pytest.mark.parametrize("place", ["parks", "gpkg_contents", "other"])
def test_computed_columns_are_not_computed(place, tmp_path):
    path = written(tmp_path / "parks.gpkg", squares(3))
    with closing(sqlite3.connect(path)) as database:
        if place == "other":
            database.execute("create table other (fid integer primary key)")
        endless = "hex(zeroblob(400000000))"
        database.execute(f"alter table {place} add column more text generated always as ({endless}) virtual")
        database.commit()
    if place == "other":
        assert len(read_layers(path)[0].frame) == 3
        return
    with pytest.raises(InputError, match="computed columns"):
        read_layers(path)


@pytest.mark.parametrize(
    "statement",
    [
        "create virtual table {} using fts5(a)",
        "create/**/virtual table {} using fts5(a)",
        'create virtual table "x using rtree(" using fts5(a)',
    ],
)
def test_virtual_tables_are_known_however_they_are_spelled(statement, tmp_path):
    path = written(tmp_path / "parks.gpkg", squares(3))
    with closing(sqlite3.connect(path)) as database:
        database.execute(statement.format("other"))
        # As SQLite keeps the statement, or as another program may have left it.
        database.execute("pragma writable_schema = on")
        database.execute(
            "update sqlite_master set sql = ? where sql like '%fts5%'", (statement.format("other"),)
        )
        database.commit()
    with pytest.raises(InputError, match="has a virtual table"):
        read_layers(path)


def test_a_coordinate_system_of_megabytes_is_not_unpacked(tmp_path):
    path = written(tmp_path / "parks.zip", squares(3))
    grown = tmp_path / "grown.zip"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(grown, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            content = old.read(member)
            new.writestr(member, content + b" " * 2**21 if member.endswith(".prj") else content)
    with pytest.raises(InputError, match=r"prj is larger than 1 MiB"):
        read_layers(grown)


@pytest.mark.parametrize("part", [".prj", ".PRJ", ".cpg"])
def test_a_loose_coordinate_system_of_megabytes_is_refused_or_left_out(part, tmp_path, capsys):
    path = written(tmp_path / "parks.shp", squares(3))
    beside = path.with_suffix(part.lower())
    content = beside.read_bytes()
    beside.unlink()
    path.with_suffix(part).write_bytes(content + b" " * 2**21)
    told = f"its parks{part} is larger than 1 MiB; export it again"
    assert main(["find", str(path)]) == 2
    assert capsys.readouterr().err == f"scout: {path}: {told}\n"
    other = written(tmp_path / "other.geojson", squares(3))
    assert main(["find", str(path), str(other)]) in (0, 1)
    assert f"Refused: {path}: {told}" in capsys.readouterr().out


@pytest.mark.parametrize("code", ["IAU_2015:30100", "IAU_2015:49900", "ESRI:104903"])  # Moon, Mars, Moon
def test_systems_of_other_bodies_are_refused(code):
    for stated, assumed in ((code, None), (None, code)):
        with pytest.raises(CrsError, match="PROJ knows no way from"):
            understand_crs(stated, "parks.gpkg", assumed)


@pytest.mark.parametrize(
    "change",
    [
        {"columns": {"geometry": ["WKB"]}},
        {"columns": []},
        {"primary_column": ["geometry"]},
        {"columns": {"geometry": {"encoding": 7}}},
        {"columns": {"geometry": {"encoding": "WKB", "geometry_types": 7}}},
        {"columns": {"geometry": {"encoding": "WKB", "crs": 4326}}},
        {"columns": {"geometry": {"encoding": "WKB", "covering": []}}},
    ],
)
def test_geo_entries_of_wrong_type_are_refused(change, tmp_path):
    path = written(tmp_path / "parks.parquet", squares(3))
    from pyarrow import parquet

    table = parquet.read_table(path)
    geo = json.loads(table.schema.metadata[b"geo"]) | change
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), path)
    with pytest.raises(InputError):
        read_layers(path)


def test_hosts_without_a_proxy_are_no_way_out(monkeypatch):
    monkeypatch.setenv("no_proxy", "*")
    with run_offline():
        assert "no_proxy" not in os.environ
    assert os.environ["no_proxy"] == "*"
