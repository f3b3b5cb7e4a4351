"""Files that say other than they are: views, logs and indexes of databases, long texts, systems of other bodies."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import struct
import warnings
import zipfile
from contextlib import closing
from pathlib import Path

from fuzz.damage_bytes import Maker

__all__ = ["BODIES", "TRUST", "other_bodies"]

# Of the Earth, of the Moon, of Mars; of bodies that make systems, and of none.
BODIES = (
    *(
        "ESRI:102100",
        "ESRI:104903",
        "ESRI:104905",
        "ESRI:54030",
        "IAU_2015:30100",
        "IAU_2015:49900",
        "IAU_2015:30110",
    ),
    *("IGNF:LAMB93", "IGNF:RGF93G", "IGNF:ETRS89LCC", "OGC:CRS84", "OGC:CRS27", "OGC:CRS83", "NKG:ETRF00"),
    *(
        "FOO:4326",
        "EPSG:0",
        "EPSG:5773",
        "EPSG:4978",
        "EPSG:4979",
        "ESRI:4326",
        "IAU_2015:4326",
        "OGC:AUTO42001",
        ":",
        "EPSG:",
    ),
)


def _hit(whole: Path, folder: Path) -> Path:
    return folder / f"hit{''.join(whole.suffixes)}"


def _copied(whole: Path, folder: Path) -> Path:
    """The whole file, of a Shapefile with its parts."""
    target = _hit(whole, folder)
    for part in whole.parent.glob(f"{whole.stem}.*") if whole.suffix == ".shp" else [whole]:
        shutil.copy(part, target.with_suffix(part.suffix) if whole.suffix == ".shp" else target)
    return target


def _plain(base: sqlite3.Connection) -> tuple[str, str]:
    """Take the triggers away, which need GDAL; the layer's name and its column of outlines."""
    for (name,) in base.execute("select name from sqlite_master where type = 'trigger'").fetchall():
        base.execute(f'drop trigger "{name}"')
    found = base.execute("select table_name, column_name from gpkg_geometry_columns").fetchone()
    return str(found[0]), str(found[1])


_ENDLESS = "with recursive n(k) as (select 1 union all select k + 1 from n)"
_VIEWS = (
    'create view "{v}" as {e} select k as fid, (select {g} from "{t}" limit 1) as {g} from n',
    'CREATE/**/VIEW "{v}" AS {e} SELECT k AS fid, {g} FROM n, "{t}"',
    'create view "{v}" as select * from (select * from (select rowid as fid, * from "{t}", ({e} select k from n)))',
    'create view "{v}" as select 1 as fid, {g}, hex(zeroblob(300000000)) as name from "{t}"',
    'create view "{v}" as select a.fid, a.{g} from "{t}" a, "{t}" b, "{t}" c, "{t}" d, ({e} select k from n limit 99999999)',
    'create view "{v}" as select * from "{v}"',
)


def _views(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Endless views: beside the layer, in its place, under its name in other letters, in place of the R-tree."""
    target = _copied(whole, folder)
    with closing(sqlite3.connect(target, isolation_level=None)) as base:
        base.execute("pragma legacy_alter_table = on")
        layer, column = _plain(base)
        name = chance.choice(("endless", "ENDLESS", 'a"b', "sqlitelike", f"rtree_{layer}", "x y", "gpkgx"))
        if chance.random() < 0.4:
            base.execute(f'alter table "{layer}" rename to inner_one')
            name, table = layer, "inner_one"
        else:
            table = layer
            said = chance.choice((name, name.upper(), name.lower()))
            kind = chance.choice(("features", "attributes", "FEATURES", ""))
            base.execute(
                "insert into gpkg_contents (table_name, data_type, identifier, srs_id) values (?, ?, ?, 4326)",
                (said, kind, said),
            )
            base.execute(
                "insert into gpkg_geometry_columns values (?, ?, 'POLYGON', 4326, 0, 0)", (said, column)
            )
        sql = chance.choice(_VIEWS).format(v=name.replace('"', '""'), t=table, g=column, e=_ENDLESS)
        try:
            base.execute(sql)
        except sqlite3.Error:
            base.execute(f'create view "endless" as {_ENDLESS} select k as fid from n')
        if chance.random() < 0.2:
            base.execute("pragma writable_schema = on")
            base.execute("update sqlite_master set type = 'table', rootpage = 2 where type = 'view'")
        if chance.random() < 0.2:
            base.execute("pragma writable_schema = on")
            base.execute(
                "update sqlite_master set name = upper(name), tbl_name = upper(tbl_name) where type = 'view'"
            )
    return target


def _logs(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A database with a log, a journal or what looks like one beside it."""
    target = _copied(whole, folder)
    way = chance.randrange(7)
    if way < 3:
        original = folder / "other.gpkg"
        shutil.copy(whole, original)
        with closing(sqlite3.connect(original)) as base:
            base.execute("pragma journal_mode = wal")
            base.execute("update gpkg_contents set description = 'changed'")
            base.commit()
            shutil.copy(original, target)
            log = bytearray((folder / "other.gpkg-wal").read_bytes())
        original.unlink()
        if way == 1:
            log = log[: chance.randrange(len(log))]
        elif way == 2:
            for _ in range(20):
                log[chance.randrange(len(log))] = chance.randrange(256)
        target.with_name(f"{target.name}-wal").write_bytes(log)
        return target
    beside = target.with_name(target.name + chance.choice(("-wal", "-journal", "-shm", "-WAL")))
    if way == 3:
        beside.mkdir()
    elif way == 4:
        beside.symlink_to(chance.choice(("/dev/zero", str(beside), "/nowhere")))
    elif way == 5:
        beside.write_bytes(
            chance.choice((b"", b"\0" * 9999, bytes.fromhex("d9d505f920a163d7") + b"\xff" * 5000))
        )
    else:
        data = bytearray(target.read_bytes())
        data[18:20] = chance.choice((b"\2\2", b"\2\1", b"\1\2", b"\3\3"))  # keeps a log, but there is none
        target.write_bytes(data)
    return target


def _lying_index(whole: Path, folder: Path, chance: random.Random) -> Path:
    """R-trees, heads of geometries, counts and bounds that say other than the outlines."""
    target = _copied(whole, folder)
    with closing(sqlite3.connect(target, isolation_level=None)) as base:
        layer, column = _plain(base)
        tree = f'"rtree_{layer}_{column}"'
        for _ in range(chance.choice((1, 2, 4))):
            sql = chance.choice(
                [f"update {tree} set minx = minx + 50, maxx = maxx + 50", f"delete from {tree}", f"delete from {tree} where id = 1",
                 f"update \"rtree_{layer}_{column}_node\" set data = zeroblob(length(data))", f"insert into {tree} values (99, 0, 1, 0, 1)",
                 f"update \"rtree_{layer}_{column}_rowid\" set nodeno = 99", "update gpkg_contents set min_x = 50, max_x = 49, min_y = null",
                 "update gpkg_ogr_contents set feature_count = 1", "update gpkg_contents set min_x = 9e999, max_x = -9e999"]
            )  # fmt: skip
            try:
                base.execute(sql)
            except sqlite3.Error:
                continue  # a tree that the change before has spoilt
        for fid, blob in base.execute(f'select fid, "{column}" from "{layer}"').fetchall():
            if not isinstance(blob, bytes) or len(blob) < 41 or chance.random() < 0.5:
                continue
            values = chance.choice(
                ((0.0, 0.0, 0.0, 0.0), (9.0, -9.0, 9.0, -9.0), (float("nan"),) * 4, (1e300,) * 4)
            )
            flags = chance.choice((blob[3], blob[3] & 0xF1, blob[3] | 0x10, blob[3] ^ 1, blob[3] | 0x0E))
            head = blob[:3] + bytes([flags]) + blob[4:8] + struct.pack("<4d", *values)
            base.execute(f'update "{layer}" set "{column}" = ? where fid = ?', (head + blob[40:], fid))
    return target


def _lying_trees(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Other formats' indexes: a .qix, .sbn or .shx of something else, nodes of a FlatGeobuf index changed."""
    target = _copied(whole, folder)
    if whole.suffix == ".shp":
        node = struct.pack(
            "<i4dii",
            chance.choice((0, 2**30, -1)),
            -80,
            -80,
            -79,
            -79,
            chance.choice((0, 3, 2**30)),
            chance.choice((0, 4, -1)),
        )
        content = (
            b"SQT"
            + b"\1\1\0\0\0"
            + struct.pack("<2i", chance.choice((3, 0, -1, 2**30)), chance.choice((1, 0, 99)))
            + node
        )
        target.with_suffix(chance.choice((".qix", ".sbn", ".qix"))).write_bytes(
            chance.choice((content, content[:20], chance.randbytes(300)))
        )
        if chance.random() < 0.5:
            index = bytearray(target.with_suffix(".shx").read_bytes())
            record = chance.randrange((len(index) - 100) // 8) * 8 + 100
            index[record : record + 4] = struct.pack(">i", chance.choice((50, 0, -1, 2**30)))
            target.with_suffix(".shx").write_bytes(chance.choice((index, index[:108], index + index[100:])))
        return target
    data = bytearray(target.read_bytes())
    at = 12 + struct.unpack_from("<I", data, 8)[0]
    for _ in range(chance.choice((1, 4))):
        node = at + 40 * chance.randrange(4)
        if chance.random() < 0.6:
            struct.pack_into(
                "<4d", data, node, *chance.choice(((-80, -80, -79, -79), (9, 9, -9, -9), (float("nan"),) * 4))
            )
        else:
            struct.pack_into(
                "<Q", data, node + 32, chance.choice((0, 1, 2**40, 2**63, chance.randrange(9999)))
            )
    target.write_bytes(data)
    return target


def _left_out(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A .shx without some of the records, or with one twice, or a .dbf of another number of rows."""
    target = _copied(whole, folder)
    beside = target.with_suffix(".shx")
    index = beside.read_bytes()
    entries = [index[at : at + 8] for at in range(100, len(index), 8)]
    gone = chance.randrange(len(entries))
    way = chance.randrange(4)
    if way == 0:
        entries[gone] = entries[gone - 1]
    elif way == 1:
        del entries[gone]
    elif way == 2:
        del entries[gone:]
    table = bytearray(target.with_suffix(".dbf").read_bytes())
    if way == 3:
        table[4:8] = struct.pack("<I", chance.choice((0, len(entries) - 1, len(entries) + 1, 2**31)))
    elif chance.random() < 0.5:
        table[4:8] = struct.pack("<I", len(entries))
    target.with_suffix(".dbf").write_bytes(table)
    index = index[:100] + b"".join(entries)
    beside.write_bytes(index[:24] + struct.pack(">i", len(index) // 2) + index[28:])
    return target


def _long_texts(whole: Path, folder: Path, chance: random.Random) -> Path:
    """The texts beside a Shapefile, loose or in an archive, of megabytes."""
    more = chance.choice((2**20 - 2000, 2**20 + 1, 2**23, 2**27))
    filler = chance.choice((b" ", b"\0", b"(", b"A", b",", b'"')) * more
    suffix = chance.choice((".prj", ".prj", ".cpg", ".qpj"))
    if whole.suffix == ".shp":
        target = _copied(whole, folder)
        text = target.with_suffix(suffix)
        before = text.read_bytes() if text.exists() else b""
        text.write_bytes(chance.choice((before + filler, filler, before[:-1] + filler + before[-1:])))
        return target
    target = _hit(whole, folder)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name.lower().endswith(suffix):
                name = chance.choice((name, name, name.upper(), f"./{name}"))
                content += filler
            new.writestr(name, content)
    return target


def other_bodies(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A sound file in a system of another body's register, of another body in space, or of none."""
    import pyproj

    target, code = _copied(whole, folder), chance.choice(BODIES)
    body, _, number = code.partition(":")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            made = pyproj.CRS.from_user_input(code)
            wkt, tree = (
                made.to_wkt(chance.choice(("WKT2_2019", "WKT1_GDAL", "WKT1_ESRI"))),
                made.to_json_dict(),
            )
        except pyproj.exceptions.CRSError:
            wkt, tree = (
                f'GEOGCS["{code}",AUTHORITY["{body}","{number}"]]',
                {"id": {"authority": body, "code": number}},
            )
    if whole.suffix == ".gpkg":
        with closing(sqlite3.connect(target, isolation_level=None)) as base:
            _plain(base)
            values = (
                body,
                int(number) if number.isdigit() else 7,
                chance.choice((wkt, code, "undefined", "")),
            )
            columns = "srs_name, srs_id, organization, organization_coordsys_id, definition"
            base.execute(f"insert into gpkg_spatial_ref_sys ({columns}) values ('x', 77, ?, ?, ?)", values)
            base.execute("pragma foreign_keys = off")
            base.execute("update gpkg_geometry_columns set srs_id = 77")
            base.execute("update gpkg_contents set srs_id = 77")
    elif whole.suffix == ".shp":
        target.with_suffix(".prj").write_text(chance.choice((wkt, code)))
    elif whole.suffix == ".zip":
        with zipfile.ZipFile(whole) as old, zipfile.ZipFile(target, "w") as new:
            for name in old.namelist():
                new.writestr(name, wkt if name.endswith(".prj") else old.read(name))
    elif whole.suffix == ".parquet":
        from pyarrow import parquet

        table = parquet.read_table(whole)
        geo = json.loads(table.schema.metadata[b"geo"])
        geo["columns"]["geometry"]["crs"] = chance.choice((tree, code, wkt))
        parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), target)
    elif whole.suffix == ".geojson":
        name = chance.choice(
            (code, f"urn:ogc:def:crs:{body}::{number}", f"http://www.opengis.net/def/crs/{body}/0/{number}")
        )
        text = json.loads(whole.read_text("utf-8")) | {"crs": {"type": "name", "properties": {"name": name}}}
        target.write_text(json.dumps(text), encoding="utf-8")
    else:
        data = target.read_bytes()
        target.write_bytes(
            data.replace(b"EPSG", body.encode()[:4].ljust(4, b"X")).replace(b"WGS 84", b"FOO 99")
        )
    return target


# By suffix, like `fuzz.damage_formats.MAKERS`.
TRUST: dict[str, dict[str, Maker]] = {
    ".gpkg": {"views": _views, "logs beside": _logs, "lying R-tree": _lying_index},
    ".shp": {"lying trees": _lying_trees, "left out": _left_out, "long texts": _long_texts},
    ".fgb": {"lying trees": _lying_trees},
    ".zip": {"long texts": _long_texts},
}
