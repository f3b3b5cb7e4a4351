"""Access data near some places: what an index beside the records says of them does not matter."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from boundary_files import written

from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.model import RECORD
from scout.walk.read import read_tagged

NEAR = (20.0, 10.0, 20.2, 10.2)


def lines(count: int = 400) -> gpd.GeoDataFrame:
    """Power lines spread over the globe, one in ten of them in the box."""
    rng = np.random.default_rng(5)
    start = rng.uniform((-170, -60), (170, 60), (count, 2))
    start[::10] = rng.uniform((20.02, 10.02), (20.18, 10.18), (len(start[::10]), 2))
    shapes = shapely.linestrings(np.stack([start, start + 0.01], axis=1))
    tags = {"power": ["line"] * count, "name": [f"Q{k}" for k in range(count)]}
    return gpd.GeoDataFrame(tags, geometry=shapes, crs="EPSG:4326")


def rtree_of_nothing(path: Path) -> None:
    """Every entry of the R-tree far away: its own tables are rewritten, whatever the triggers keep."""
    with closing(sqlite3.connect(path)) as database:
        database.execute(
            f'update "rtree_{path.stem}_geom" set minx = -80, maxx = -79.9, miny = -80, maxy = -79.9'
        )
        database.commit()


def quadtree_of_nothing(path: Path) -> None:
    """A .qix whose one node is somewhere else: 8 bytes, counts of records and levels, then nodes."""
    beside = path.with_suffix(".qix")
    assert beside.read_bytes()[:3] == b"SQT"
    node = struct.pack("<i4dii", 0, -80.0, -80.0, -79.9, -79.9, 0, 0)
    beside.write_bytes(b"SQT" + b"\x01\x01\0\0\0" + struct.pack("<2i", 400, 1) + node)


def packed_tree_of_nothing(path: Path) -> None:
    """The boxes of a FlatGeobuf index moved: 40 bytes a node, before the records."""
    data = bytearray(path.read_bytes())
    length = struct.unpack_from("<I", data, 8)[0]
    at, level, nodes = 12 + length, 400, 0
    while True:
        nodes += level
        if level == 1:
            break
        level = -(-level // 16)
    for k in range(nodes):
        struct.pack_into("<4d", data, at + 40 * k, -80.0, -80.0, -79.9, -79.9)
    path.write_bytes(data)


LIES = {".gpkg": rtree_of_nothing, ".shp": quadtree_of_nothing, ".fgb": packed_tree_of_nothing}


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857"])
@pytest.mark.parametrize("arrow", [True, False])
@pytest.mark.parametrize("suffix", LIES)
def test_a_lying_index_hides_no_power_line(suffix, arrow, crs, tmp_path, monkeypatch):
    if not arrow:
        monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    options = {"SPATIAL_INDEX": "YES"} if suffix == ".shp" else {}
    path = written(tmp_path / f"lines{suffix}", lines().to_crs(crs), **options)
    (before,) = read_tagged(path, [NEAR])
    assert len(before.frame) == 40
    assert set(before.frame["name"]) == {f"Q{k}" for k in range(0, 400, 10)}
    LIES[suffix](path)
    (after,) = read_tagged(path, [NEAR])
    assert after.frame.equals(before.frame)
    (layer,) = read_layers(path, bounds=NEAR)
    assert set(layer.frame[RECORD]) == set(before.frame[RECORD])
    assert after.source.warnings == before.source.warnings


def with_head(path: Path, record: int, *bounds: float) -> None:
    with closing(sqlite3.connect(path)) as database:
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f'drop trigger "{name}"')
        (blob,) = database.execute("select geom from lines where fid = ?", (record,)).fetchone()
        head = blob[:8] + struct.pack("<4d", *bounds)
        database.execute("update lines set geom = ? where fid = ?", (head + blob[40:], record))
        database.commit()


def test_heads_that_contradict_outlines_are_told_of_and_all_is_read(tmp_path, capsys):
    path = written(tmp_path / "lines.gpkg", lines(200))
    with_head(path, 11, -80, -79, -80, -79)
    (layer,) = read_tagged(path, [NEAR])
    assert len(layer.frame) == 20
    told = "its spatial index is not used: record 11 does not lie where it says; the file is read whole"
    assert layer.source.warnings == (told,)
    parks = gpd.GeoDataFrame({"name": ["Q"]}, geometry=[shapely.box(19.9, 9.9, 20.1, 10.1)], crs="EPSG:4326")
    park = written(tmp_path / "park.geojson", parks)
    assert main(["find", str(park), "--hazards", str(path)]) == 0
    assert f"warning: {told}" in capsys.readouterr().out


def test_points_and_what_has_no_bounds_in_its_head(tmp_path):
    points = gpd.GeoDataFrame(
        {"amenity": ["parking"] * 3},
        geometry=[shapely.Point(20.1, 10.1), shapely.Point(0, 0), None],
        crs="EPSG:4326",
    )
    (layer,) = read_tagged(written(tmp_path / "places.gpkg", points), [NEAR])
    assert layer.frame[RECORD].tolist() == [1]
    path = written(tmp_path / "lines.gpkg", lines(200))
    with closing(sqlite3.connect(path)) as database:
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f'drop trigger "{name}"')
        for fid, blob in database.execute("select fid, geom from lines").fetchall():
            plain = blob[:3] + bytes([blob[3] & 0xF1]) + blob[4:8] + blob[40:]
            database.execute("update lines set geom = ? where fid = ?", (plain, fid))
        database.execute("update lines set geom = 'no geometry' where fid = 12")
        database.commit()
    (layer,) = read_tagged(path, [NEAR])
    assert len(layer.frame) == 20


def test_records_that_do_not_come_are_told_of(tmp_path):
    path = written(tmp_path / "lines.fgb", lines())
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 3 // 4])
    with pytest.raises(InputError, match="cannot be read"):
        read_tagged(path, [NEAR])
