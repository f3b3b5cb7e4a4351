"""Damage that only one family of formats can take: archives, JSON, XML, databases, rasters, plain texts."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import struct
import zipfile
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from fuzz.damage_bytes import Maker

__all__ = ["MAKERS"]


def _hit(whole: Path, folder: Path) -> Path:
    return folder / f"hit{''.join(whole.suffixes)}"


# --- archives ---------------------------------------------------------------------------------------------


def _zip_bomb(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = _hit(whole, folder)
    inner = "doc.kml" if whole.suffix == ".kmz" else "x.shp"
    start = (
        b'<?xml version="1.0"?><kml><Document>' if whole.suffix == ".kmz" else b"\0\0\x27\x0a" + b"\0" * 96
    )
    kind = chance.choice(("high", "high", "many", "lie", "overlap", "nested", "deep", "dbf"))
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        if kind == "many":
            for k in range(5000):
                archive.writestr(f"{k}/{inner}", start)
        elif kind == "nested":
            archive.writestr(f"in{whole.suffix}", whole.read_bytes() * 20)
            archive.writestr(inner, whole.read_bytes())
        elif kind == "deep":
            archive.writestr("/".join(["d"] * 3000) + f"/{inner}", start)
        else:
            with archive.open(inner, "w") as stream:
                stream.write(start)
                for _ in range(chance.choice((8, 200))):  # MiB of blanks: a thousandth when packed
                    stream.write((b"\0" if kind == "dbf" else b" ") * 2**20)
            if kind == "dbf":
                archive.writestr(
                    "x.dbf", b"\3" + b"\0" * 7 + struct.pack("<HH", 65535, 65535) + b"\xff" * 2**20
                )
    if kind == "lie":  # the directory says another size than there is
        data = bytearray(target.read_bytes())
        at = data.rfind(b"PK\1\2")
        data[at + 24 : at + 28] = chance.choice((b"\1\0\0\0", b"\xff\xff\xff\x7f", b"\xff\xff\xff\xff"))
        target.write_bytes(data)
    elif kind == "overlap":  # many entries of the directory for one body
        data = target.read_bytes()
        at = data.rfind(b"PK\1\2")
        end = data.rfind(b"PK\5\6")
        entry, tail = data[at:end], bytearray(data[end:])
        count = 3000
        tail[8:12] = struct.pack("<HH", count, count)
        tail[12:16] = struct.pack("<I", len(entry) * count)
        target.write_bytes(data[:at] + entry * count + bytes(tail))
    return target


def _zip_names(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = _hit(whole, folder)
    with zipfile.ZipFile(whole) as archive:
        content = {info.filename: archive.read(info) for info in archive.infolist()}
    way = chance.choice(["../", "../../../../tmp/", "/etc/", "..\\", "C:\\", "a/../../", "\0", "x" * 60_000, "\udcff", "e\u0301/",
                         "aux.", "//host/share/", "{", "}", "%2e%2e/", "./", "", "\n", "link", "folder", "lock", "method"])  # fmt: skip
    with zipfile.ZipFile(target, "w") as archive:
        for name, data in content.items():
            if way == "link":
                info = zipfile.ZipInfo(name)
                info.create_system, info.external_attr = 3, 0o120777 << 16
                archive.writestr(info, "/etc/hostname")
            elif way == "folder":
                archive.writestr(f"{name}/", b"")
            elif way in ("lock", "method"):
                archive.writestr(name, data)
            else:
                info = zipfile.ZipInfo("x")
                info.filename = (way + name).encode("utf-8", "surrogateescape").decode("latin-1")[:65_000]
                archive.writestr(info, data)
    if way in ("lock", "method"):
        data = bytearray(target.read_bytes())
        for mark, flags, method in ((b"PK\3\4", 6, 8), (b"PK\1\2", 8, 10)):
            at = data.find(mark)
            while at >= 0:
                if way == "lock":
                    data[at + flags] |= 1  # encrypted
                else:
                    data[at + method] = chance.choice((1, 9, 12, 14, 93, 99))
                at = data.find(mark, at + 4)
        target.write_bytes(data)
    return target


# --- JSON -------------------------------------------------------------------------------------------------

_FEATURE = '{{"type": "Feature", "properties": {}, "geometry": {}}}'
_RING = "[[-20.05,44.95],[-19.95,44.95],[-19.95,45.05],[-20.05,45.05],[-20.05,44.95]]"


def _deep_json(whole: Path, folder: Path, chance: random.Random) -> Path:
    deep = chance.choice((20, 500, 1100, 5000, 200_000))
    nest = "[" * deep + "]" * deep
    tree = '{"a":' * deep + "1" + "}" * deep
    square = f'{{"type": "Polygon", "coordinates": [{_RING}]}}'
    shape, said = chance.choice(
        [
            (f'{{"type": "Polygon", "coordinates": {nest}}}', "{}"),
            (square, f'{{"name": {tree}}}'),
            (square, f'{{"name": {nest}}}'),
            (tree, "{}"),
            ('{"type": "GeometryCollection", "geometries": [' * deep + square + "]}" * deep, "{}"),
        ]
    )
    body = f'{{"type": "FeatureCollection", "features": [{_FEATURE.format(said, shape)}]}}'
    if chance.random() < 0.3:
        body = f'{{"type": "FeatureCollection", "crs": {tree}, "features": []}}'
    elif chance.random() < 0.2:
        body = '{"type":"FeatureCollection","features":[' * deep + "]}" * deep
    _hit(whole, folder).write_text(body)
    return _hit(whole, folder)


def _odd_json(whole: Path, folder: Path, chance: random.Random) -> Path:
    square = f'{{"type": "Polygon", "coordinates": [{_RING}]}}'
    one = _FEATURE.format('{"name": "a"}', square)
    number = chance.choice(
        (
            "1e999",
            "-1e999",
            "NaN",
            "Infinity",
            "1" * 5000,
            "0x10",
            "1.5.5",
            '"45"',
            "null",
            "true",
            "{}",
            "[]",
            "1e-999",
            "-0.0",
        )
    )
    bodies = [
        f'{{"type": "FeatureCollection", "features": [{_FEATURE.format("{}", square.replace("44.95", number))}]}}',
        f'{{"type": "FeatureCollection", "features": [{_FEATURE.format("{}", square.replace("-20.05", number))}, {one}]}}',
        f'{{"type": "FeatureCollection", "features": {number}}}',
        f'{{"type": "FeatureCollection", "features": [{number}, {one}]}}',
        f'{{"type": {number}, "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "features": [{one}], "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "features": [{_FEATURE.format(number, square)}, {one}]}}',
        f'{{"type": "FeatureCollection", "features": [{_FEATURE.format("{}", number)}]}}',
        f'{{"type": "FeatureCollection", "features": [{{"type": "Feature", "id": {number}, "properties": null, "geometry": {square}}}]}}',
        f'{{"type": "FeatureCollection", "crs": {number}, "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "crs": {{"type": "name", "properties": {{"name": {number}}}}}, "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "crs": {{"type": "link", "properties": {{"href": "http://127.0.0.1:9/"}}}}, "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "crs": {{"type": "name", "properties": {{"name": "EPSG:{chance.randrange(1000, 40000)}"}}}}, "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "crs": {{"type": "EPSG", "properties": {{"code": {number}}}}}, "features": [{one}]}}',
        f'{{"type": "FeatureCollection", "crs": {{"type": "name", "properties": {{"name": "+proj=pipeline +step +proj=hgridshift +grids=http://127.0.0.1:9/x"}}}}, "features": [{one}]}}',
        one, square, f"[{one}]", f"{one}\n{one}\n", f"\x1e{one}\n\x1e{one}\n", f"{one}{{", f"callback({one})", f"// a note\n{one}",
        '{"type": "Topology", "objects": {"a": {"type": "Polygon", "arcs": [[0]]}}, "arcs": [[[0,0],[1,0],[1,1],[0,0]]]}',
        '{"rings": [[[0,0],[1,0],[1,1],[0,0]]], "spatialReference": {"wkid": 4326}}',
        _FEATURE.format('{"\\u0000": "\\ud800", "name": "\\u0000"}', square),
        _FEATURE.format("{" + ",".join(f'"c{k}": {k}' for k in range(3000)) + "}", square),
        _FEATURE.format('{"name": "a", "NAME": "b", "name ": "c", "geometry": 1, "record": 2, "": 3}', square),
        _FEATURE.format(f'{{"id": {number}, "name": [{number}]}}', square),
        '{"type": "FeatureCollection", "features": [' + ",".join([one] * 3000) + "]}",
    ]  # fmt: skip
    _hit(whole, folder).write_text(chance.choice(bodies))
    return _hit(whole, folder)


# --- XML --------------------------------------------------------------------------------------------------


def _laughing_xml(whole: Path, folder: Path, chance: random.Random) -> Path:
    text = whole.read_text("utf-8")
    head, _, body = text.partition("?>")
    root = {".kml": "kml", ".osm": "osm", ".gpx": "gpx"}[whole.suffix]
    laughs = "".join(f'<!ENTITY l{k} "{f"&l{k - 1};" * 10}">' for k in range(1, 10))
    doctype = chance.choice(
        [
            f'<!DOCTYPE {root} [<!ENTITY l0 "ha">{laughs}]>',
            f'<!DOCTYPE {root} [<!ENTITY l9 SYSTEM "file:///etc/hostname">]>',
            f'<!DOCTYPE {root} [<!ENTITY l9 "{"x" * 500_000}">]>',
            f'<!DOCTYPE {root} [<!ENTITY l9 "&l9;">]>',
            f'<!DOCTYPE {root} SYSTEM "http://127.0.0.1:9/x.dtd">',
        ]
    )
    at = body.find('"', len(body) // 2)
    uses = "&l9;" * chance.choice((1, 1, 500))
    body = (
        body[: at + 1] + uses + body[at + 1 :]
        if chance.random() < 0.5
        else body.replace("Höhe", uses).replace("<name>", f"<name>{uses}")
    )
    _hit(whole, folder).write_text(f"{head}?>{doctype}{body}", encoding="utf-8")
    return _hit(whole, folder)


def _odd_xml(whole: Path, folder: Path, chance: random.Random) -> Path:
    text = whole.read_text("utf-8")
    deep = chance.choice((50, 3000, 300_000))
    end = text.rfind("</")
    way = chance.randrange(9)
    if way == 0:
        text = text[:end] + "<Folder>" * deep + "</Folder>" * deep + text[end:]
    elif way == 1:
        text = text[:end] + "<a>" * deep + text[end:]
    elif way == 2:
        text = text.replace(">", f' {"a" * deep}="{"b" * deep}">', 3)
    elif way == 3:
        text = text.replace(
            "UTF-8",
            chance.choice(("UTF-16", "UTF-7", "nonsense", "ISO-8859-1", "windows-1251", "EBCDIC-CP-US", "")),
        )
    elif way == 4:
        text = "<!-- " + "x" * deep + " -->" + text.partition("?>")[2]
    elif way == 5:
        text = text[:end] + "<![CDATA[" + "]" * deep + text[end:]
    elif way == 6:
        text = text.replace('"', "'", chance.randrange(1, 50)).replace("/>", ">", chance.randrange(3))
    elif way == 7:
        for number in ("45.", "44.", "-20.", "-19."):
            text = text.replace(
                number,
                chance.choice(("NaN", "INF", "1e999", "", "x", "-", "9" * 400, "\u0664\u0665.", "45,")),
                chance.choice((1, 999)),
            )
    else:
        text = text + text
    _hit(whole, folder).write_text(text, encoding="utf-8")
    return _hit(whole, folder)


# --- OpenStreetMap's PBF ----------------------------------------------------------------------------------


def _blob(kind: bytes, raw: bytes, said: int | None = None) -> bytes:
    def varint(n: int) -> bytes:
        out = b""
        while n > 127:
            out, n = out + bytes([n & 127 | 128]), n >> 7
        return out + bytes([n])

    packed = zlib.compress(raw, 9)
    blob = b"\x10" + varint(len(raw) if said is None else said) + b"\x1a" + varint(len(packed)) + packed
    head = b"\x0a" + varint(len(kind)) + kind + b"\x18" + varint(len(blob))
    return struct.pack(">I", len(head)) + head + blob


def _odd_pbf(whole: Path, folder: Path, chance: random.Random) -> Path:
    header = _blob(b"OSMHeader", b"\x22\x0eOsmSchema-V0.6\x22\x0aDenseNodes")
    data = chance.choice(
        [
            header,
            header + _blob(b"OSMData", b"\0" * 30_000_000),
            header + _blob(b"OSMData", b"\0" * 1000, 2**31),
            header + _blob(b"OSMData", b"\x0a\xff\xff\xff\xff\x0f"),
            header + _blob(b"OSMData", chance.randbytes(3000)),
            header + struct.pack(">I", 2**31) + b"\0" * 100,
            header + _blob(b"Other", b"abc") * 3,
            _blob(b"OSMHeader", b"\x22\x05Other") + _blob(b"OSMData", b""),
            _blob(b"OSMHeader", b"\x22\x15HistoricalInformation"),
            whole.read_bytes() * 3,
        ]
    )
    _hit(whole, folder).write_bytes(data)
    return _hit(whole, folder)


def change_blocks(path: Path, change: Callable[[bytes], bytes]) -> None:
    """Change the data blocks of a PBF inside; they stay sound as packed data."""
    data, made, at = path.read_bytes(), bytearray(), 0
    while at < len(data):
        (length,) = struct.unpack_from(">I", data, at)
        head = data[at + 4 : at + 4 + length]
        kind = b"OSMHeader" if b"OSMHeader" in head else b"OSMData"
        size, shift = 0, 0
        for byte in head[2 + len(kind) + 1 :]:  # the field's key, then the size as a varint
            size |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        blob = data[at + 4 + length : at + 4 + length + size]
        block = zlib.decompress(blob[blob.index(b"\x78\x9c") :])
        made += _blob(kind, change(block) if kind == b"OSMData" else block)
        at += 4 + length + size
    path.write_bytes(made)


def _bytes_in_blocks(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Bytes changed inside the packed blocks: what no checksum tells, so that the parser itself has to see it."""

    def change(block: bytes) -> bytes:
        changed = bytearray(block)
        for _ in range(chance.choice((1, 1, 3, 20))):
            where = chance.randrange(len(changed))
            changed[where] = chance.choice((0, 127, 128, 255, changed[where] ^ 1, chance.randrange(256)))
        if chance.random() < 0.1:
            del changed[chance.randrange(len(changed)) :]
        return bytes(changed)

    shutil.copy(whole, _hit(whole, folder))
    change_blocks(_hit(whole, folder), change)
    return _hit(whole, folder)


# --- databases --------------------------------------------------------------------------------------------

_SQL = [
    "drop table gpkg_contents", "drop table gpkg_geometry_columns", "drop table gpkg_spatial_ref_sys", "delete from gpkg_contents",
    "update gpkg_contents set table_name = 'nowhere'", "update gpkg_contents set table_name = 'gpkg_contents'",
    "update gpkg_contents set data_type = 'tiles'", "update gpkg_contents set min_x = 'a', max_x = x'00'",
    "update gpkg_contents set identifier = x'ff00'", "update gpkg_geometry_columns set column_name = 'nowhere'",
    "update gpkg_geometry_columns set srs_id = 99999", "update gpkg_geometry_columns set geometry_type_name = 'CIRCLE'",
    "update gpkg_spatial_ref_sys set definition = 'nonsense'", "update gpkg_spatial_ref_sys set definition = replace(hex(zeroblob(3000000)), '00', '(')",
    "update gpkg_spatial_ref_sys set organization = x'ff', organization_coordsys_id = 'x'", "update {t} set {g} = null",
    "update {t} set {g} = x'47500001'", "update {t} set {g} = x'00'", "update {t} set {g} = 'text'", "update {t} set {g} = 5",
    "update {t} set {g} = zeroblob(50000000)", "update {t} set {g} = substr({g}, 1, length({g}) - 9)", "update {t} set name = x'ff00fe'",
    "update {t} set name = replace(hex(zeroblob(2000000)), '00', 'é')", "update {t} set name = 1e999", "alter table {t} add column \"a\nb;--\" text",
    "update {t} set fid = -9223372036854775808 where fid = 1", "update {t} set fid = 9223372036854775807 where fid = 1",
    "create view hit as with recursive c(x) as (select 1 union all select x + 1 from c) select x as fid, x as name from c",
    "create virtual table hit using fts5(a)", "create virtual table hit using nowhere(a)",
    "create trigger hit after insert on {t} begin delete from {t}; end", "pragma user_version = 99999", "pragma application_id = 1",
    "pragma encoding = 'UTF-16'", "delete from {t}", "drop table {t}", "delete from gpkg_extensions", "drop table rtree_{t}_{g}",
    "delete from rtree_{t}_{g}", "update rtree_{t}_{g} set minx = 100, maxx = 101", "update rtree_{t}_{g}_node set data = zeroblob(10)",
    "update gpkg_extensions set extension_name = 'other', definition = 'http://127.0.0.1:9/'", "drop table gpkg_extensions",
    "create table gpkg_data_columns (a, b)", "update gpkg_ogr_contents set feature_count = -5", "update gpkg_ogr_contents set feature_count = 99999999",
    "update visits set started = 'noon'", "update visits set started = 5", "update visits set started = ''", "update visits set ended = '0000-00-00'",
    "update visits set started = '9999-12-31T23:59:59+23:59'", "update visits set locators = 'ZZ99'", "update visits set locators = zeroblob(5000)",
    "update visits set level = 'x'", "update visits set level = 77", "update visits set contacts = -1", "update visits set contacts = 1e300",
    "update visits set power_w = 'much'", "update visits set weather = replace(hex(zeroblob(900000)), '00', 'w')", "update visits set call = x'80'",
    "drop table visits", "delete from visits", "drop table visit_parks", "update notebook set version = 99", "update visit_parks set park = ''", "update visit_parks set clearance_m = 'x', confidence = 1e999",
    "insert into notebook_kept values (1, 'x', 'edit', '{')",
]  # fmt: skip


def _odd_database(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = Path(shutil.copy(whole, _hit(whole, folder)))
    with closing(sqlite3.connect(target, isolation_level=None)) as base:
        base.execute("pragma writable_schema = on")
        base.execute("pragma trusted_schema = off")
        for name, count in (
            ("ST_IsEmpty", 1),
            ("ST_MinX", 1),
            ("ST_MaxX", 1),
            ("ST_MinY", 1),
            ("ST_MaxY", 1),
        ):
            base.create_function(name, count, lambda *_: 0)  # for the triggers of the index
        tables = [
            row[0] for row in base.execute("select name from sqlite_master where type in ('table', 'view')")
        ]
        found = base.execute("select table_name, column_name from gpkg_geometry_columns").fetchone()
        for _ in range(chance.choice((1, 1, 2, 4))):
            sql = chance.choice(_SQL)
            if chance.random() < 0.25:
                sql = chance.choice(
                    [f'drop table "{chance.choice(tables)}"', f'delete from "{chance.choice(tables)}"',
                     f"update sqlite_master set sql = 'create table x(' where name = '{chance.choice(tables)}'",
                     f"update sqlite_master set rootpage = {chance.randrange(99)} where name = '{chance.choice(tables)}'"]
                )  # fmt: skip
            try:
                base.execute(sql.replace("{t}", found[0]).replace("{g}", found[1]))
            except sqlite3.Error:
                continue  # this damage does not fit this database any more
    for left in folder.glob("hit*-*"):
        left.unlink()
    return target


def _scattered_bytes(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Thousands of records, which GDAL reads in threads of its own, with bytes changed behind the header."""
    import geopandas as gpd
    import numpy as np
    import shapely

    target = _hit(whole, folder)
    corner = np.random.default_rng(1).uniform((-100.0, 30.0), (-80.0, 45.0), (6000, 2))
    boxes = shapely.box(*corner.T, *(corner + 0.1).T)
    names = [f"Q-{k}" for k in range(len(boxes))]
    gpd.GeoDataFrame({"code": names}, geometry=boxes, crs="EPSG:4326").to_file(target)
    data = bytearray(target.read_bytes())
    for _ in range(chance.choice((20, 200, 1000))):
        data[chance.randrange(8192, len(data))] = chance.randrange(256)
    target.write_bytes(data)
    return target


# --- Shapefiles -------------------------------------------------------------------------------------------


def _words_amiss(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Whole numbers of records changed: types, counts of parts and points, where parts begin, lengths."""
    target = _hit(whole, folder)
    for suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg"):
        shutil.copy(whole.with_suffix(suffix), target.with_suffix(suffix))
    part = target.with_suffix(chance.choice((".shp", ".shp", ".shp", ".shx")))
    data = bytearray(part.read_bytes())
    for _ in range(chance.choice((1, 1, 2, 5))):
        at = chance.randrange(25, len(data) // 4) * 4
        word = chance.choice((0, 1, 5, -1, 2**31 - 1, chance.randrange(1000), chance.randrange(2**31)))
        data[at : at + 4] = struct.pack(chance.choice("<>") + "i", word)
    part.write_bytes(data)
    return target


def _parts_amiss(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = _hit(whole, folder)
    for suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg"):
        shutil.copy(whole.with_suffix(suffix), target.with_suffix(suffix))
    part = target.with_suffix(chance.choice((".shx", ".dbf", ".prj", ".cpg", ".shp")))
    way = chance.randrange(7)
    if way == 0:
        part.unlink()
    elif way == 1:
        part.unlink()
        part.mkdir()
    elif way == 2:
        part.write_bytes(b"")
    elif way == 3:
        part.unlink()
        part.symlink_to("/dev/zero" if chance.random() < 0.5 else part)
    elif way == 4:
        shutil.copy(whole.with_suffix(chance.choice((".shx", ".dbf", ".prj"))), part)
    elif way == 5:
        target.with_suffix(".cpg").write_text(
            chance.choice(("UTF-16", "nonsense", "../../x", "\0\0", "9" * 9999, "LDID/87", ""))
        )
    else:
        target.with_suffix(".prj").write_text(
            chance.choice(("PROJCS[", "GEOGCS[" * 5000, "+proj=utm +zone=99", "+init=/etc/hostname:1", "+proj=longlat +nadgrids=http://127.0.0.1:9/x",
                           "EPSG:4326", '{"type": "GeographicCRS"}', "é" * 999, "LOCAL_CS[\"x\"]", "urn:ogc:def:crs:EPSG::3035"))
        )  # fmt: skip
    return target


# --- rasters ----------------------------------------------------------------------------------------------


def _tiff(entries: list[tuple[int, int, int, int]], tail: bytes = b"") -> bytes:
    body = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + body + struct.pack("<I", 0) + tail


def _odd_raster(whole: Path, folder: Path, chance: random.Random) -> Path:
    import numpy as np
    import rasterio
    from rasterio.transform import Affine

    target, way = _hit(whole, folder), chance.randrange(8)
    if way == 0:  # a picture of four thousand million cells in a few bytes
        size = chance.choice((65_535, 2**31 - 1, 2**32 - 1, 0))
        plain = [
            (256, 4, 1, size),
            (257, 4, 1, size),
            (258, 3, 1, 32),
            (259, 3, 1, 1),
            (273, 4, 1, 8),
            (278, 4, 1, size),
            (279, 4, 1, 10),
            (339, 3, 1, 3),
        ]
        target.write_bytes(_tiff(plain, b"\0" * 100))
    elif way == 1:  # a directory that points at itself
        target.write_bytes(_tiff([(256, 3, 1, 9), (257, 3, 1, 9)])[:-4] + struct.pack("<I", 8))
    elif way == 2:
        shutil.copy(whole, target)
        beside = chance.choice((".msk", ".ovr", ".aux.xml"))
        target.with_name(target.name + beside).write_text(
            "<VRTDataset rasterXSize='9' rasterYSize='9'><VRTRasterBand dataType='Float32' band='1'><SimpleSource>"
            "<SourceFilename>/vsicurl/http://127.0.0.1:9/x.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
        )
    else:
        kind = chance.choice(("float32", "float64", "int16", "uint8", "int32", "complex64"))
        values = np.full((32, 32), chance.choice((0, 100, 255)), dtype=kind)
        if kind.startswith("float"):
            values[chance.randrange(32)] = chance.choice((np.nan, np.inf, -np.inf, 3e38, -3e38))
        step = chance.choice((0.001, 1e-12, 0.0, -0.001, 1e6, float("nan"), float("inf")))
        shift = Affine(step, chance.choice((0, 0, 0.5)), -20.016, chance.choice((0, 0, 3e-4)), -step, 45.016)
        crs = chance.choice(("EPSG:4326", "EPSG:3857", "EPSG:32627", None, "EPSG:4979", "EPSG:3031"))
        profile = {
            "driver": "GTiff",
            "dtype": kind,
            "count": chance.choice((1, 1, 3)),
            "width": 32,
            "height": 32,
            "crs": crs,
        }
        try:
            with rasterio.open(target, "w", transform=shift, **profile) as raster:
                raster.write(values, 1)
                raster.scales = [chance.choice((1.0, float("nan"), 0.0, 1e300))] * raster.count
                raster.units = [chance.choice(("m", "", "furlong", "x" * 5000))] * raster.count
        except Exception:
            target.write_bytes(whole.read_bytes()[: -chance.randrange(1, 500)])  # it will not write that
    return target


# --- plain texts ------------------------------------------------------------------------------------------

_ADI = [
    "<CALL:999999999>Q1A<EOR>", "<CALL:-5>Q1A<EOR>", "<CALL:3>Q1A", "<EOH>" * 5000, "<EOR>" * 50_000, "<CALL:5>Q1", "<" * 100_000, "<a:1>x" * 50_000,
    "<CALL:3:>Q1A<EOR>", "<CALL:1e3>Q1A<EOR>", "<:3>Q1A<EOR>", "<CALL:3>Q1A<QSO_DATE:8>20261399<TIME_ON:4>9999<EOR>",
    "<CALL:\u0663>Q1A<EOR>", "<CALL:3>Q1A<CALL:3>Q1B<EOR>", "<?xml version='1.0'?><ADX/>", "{" * 999, "<CALL:0><EOR>", "<EOH>\n<EOH>\n<CALL:3>Q1A<EOR>",
    "<CALL:3>Q1A<QSO_DATE:8>20260214<TIME_ON:6>180000<MY_GRIDSQUARE:4>ZZ99<EOR>", "<USERDEF1:8:S>X,{A,B}<EOH><CALL:3>Q1A<EOR>",
]  # fmt: skip
_TOML = [
    "a = " + "[" * 5000 + "]" * 5000, "parks = 5", 'parks = ["good.geojson"]\nhome = nan', 'parks = ["good.geojson"]\nwithin = inf', "[[tags]]\nfile = 1",
    'parks = ["good.geojson", "good.geojson"]', 'parks = [["good.geojson"]]', "top = 99999999999999999999999999", 'level = "é"', "home = 1979-05-27T07:32:00Z",
    "x = " + "{a=" * 3000 + "1" + "}" * 3000, 'parks = ["../../../etc/hostname"]', 'parks = ["/vsicurl/http://127.0.0.1:9/x.geojson"]', "=", "a" * 200_000,
    'parks = ["hit.toml"]', 'map = "/nowhere/x.html"\nparks = ["good.geojson"]', 'map = "hit.html"\nsave = ["hit.html"]\nparks = ["good.geojson"]',
    'map = "good.geojson"\nparks = ["good.geojson"]', 'title = """\\u0000\\uFFFF"""', 'parks = "good.geojson"', '[[credits]]\nfiles = ["x"]\ntext = "a"',
    'parks = ["good.geojson"]\n[[tags]]\nfile = "nowhere.geojson"\nall = "natural=water"', 'parks = ["good.geojson"]\nmin-grids = -99999999999',
    'parks = ["good.geojson"]\nstation-radius = 1e999', 'parks = ["good.geojson"]\ntop = 0', 'parks = ["good.geojson\\u0000"]', "\ufeffparks = []", "parks = []",
    'a.' * 3000 + "b = 1", 'parks = ["good.geojson"]\nnotebook = "good.geojson"', 'outing = "hit.toml"\nparks = ["good.geojson"]',
    'parks = ["good.geojson"]\nhome = "45,-20"\nwithin = 0', 'parks = ["good.geojson"]\nmin-grids = 5', 'parks = ["good.geojson"]\nsave-listed = true',
    'parks = ["good.geojson"]\nmin-parks = 0', 'parks = ["good.geojson"]\npark = ["Q-1", "no such park"]', 'parks = ["good.geojson"]\ncluster = "tcp://127.0.0.1:9"',
]  # fmt: skip
_CSV = [
    "name,latitude,longitude\n" + "x" * 300_000 + ",45,-20\n", "latitude,longitude\nNaN,inf\n", "latitude,longitude\n1e999,5\n", 'place\n"' + "x" * 200_000,
    "latitude,longitude\n45\n", "latitude,longitude\n\0,\0\n", "place\n" + "IN95\n" * 3000, "a" * 200_000 + "\n", "latitude;longitude\n45,0;-20,0\n", ",,,,\n",
    "latitude,longitude\n" + '"' * 9999, "latitude,latitude\n45,45\n", "place\ngeo:45,-20;u=1e999\n", "place\n" + "9" * 5000 + "\n", "place\n=cmd()\n", "\n\n\n",
    "latitude,longitude\r45,-20\r46,-21\r", "place\n\u0664\u0665,\u0662\u0660\n", "latitude,longitude\n-91,0\n", "place\n\ud7ff\u202e45,-20\n",
]  # fmt: skip
_NMEA = [
    "$GPGGA," + "9" * 500_000 + "*00\n", "$" * 200_000, "$GPGGA,,,,,,,,,,,,,,*56\n" * 3000, "$GPRMC,235959,A,9999.9999,N,99999.9999,W,,,310299,,*00\n",
    "$GPGGA,101500,NaN,N,inf,W,1,09,0.8,200.0,M,,M,,\n", "\0" * 100_000, "!AIVDM,1,1,,A,x,0*00\n" * 99, "$GPZDA,101500,99,99,9999,,*00\n",
    "$GPGGA,101500,4500.0,N,02000.0,W,1,99999999999999999999,1e999,200,M,,M,,\n" * 9, "<gpx", "$GPGGA\r" * 5000,
]  # fmt: skip


def _odd_text(texts: list[str]) -> Maker:
    def make(whole: Path, folder: Path, chance: random.Random) -> Path:
        target, text = _hit(whole, folder), chance.choice(texts)
        if chance.random() < 0.3:  # among what is sound
            sound = whole.read_text("utf-8")
            at = sound.find("\n", chance.randrange(len(sound))) + 1
            text = sound[:at] + text + "\n" + sound[at:]
        target.write_text(text, encoding="utf-8", errors="surrogateescape", newline="")
        return target

    return make


def _odd_parquet(whole: Path, folder: Path, chance: random.Random) -> Path:
    import pyarrow
    from pyarrow import parquet

    table = parquet.read_table(whole)
    geo = json.loads(table.schema.metadata[b"geo"])
    column = geo["columns"]["geometry"]
    way = chance.randrange(14)
    metadata: object = geo
    if way == 0:
        metadata = chance.choice(
            [None, [], 5, "x", {}, {"columns": {}}, {"primary_column": "geometry", "columns": 3}]
        )
    elif way == 1:
        geo["primary_column"] = chance.choice(["nowhere", None, 5, "name", ["geometry"]])
    elif way == 2:
        column["crs"] = chance.choice(
            [None, 5, "x", {}, [], {"type": "GeographicCRS"}, "EPSG:99999", "+proj=pipeline"]
        )
    elif way == 3:
        column["encoding"] = chance.choice(["polygon", "point", None, 5, "multipolygon"])
    elif way == 4:
        column["edges"], column["orientation"] = chance.choice([("spherical", 5), (5, "clockwise")])
    elif way == 5:
        column["covering"] = chance.choice(
            [5, {"bbox": {}}, {"bbox": {"xmin": ["nowhere", "x"]}}, {"bbox": {"xmin": ["name"]}}]
        )
    elif way == 6:
        column["bbox"] = chance.choice([[], [0], ["x"] * 4, None, [float("inf")] * 4])
    elif way == 7:
        table = table.drop_columns(["geometry"])
    elif way == 8:
        table = table.set_column(
            table.schema.get_field_index("geometry"), "geometry", pyarrow.array([1, 2, 3])
        )
    elif way == 9:
        table = table.append_column("deep", pyarrow.array([[[1]], None, [[]]]))
    elif way == 10:
        table = table.append_column("name", pyarrow.array(["a", "b", "c"]))
    elif way == 11:
        table = table.append_column("when", pyarrow.array([2**62, 0, None], pyarrow.timestamp("ns")))
    elif way == 12:
        table = table.slice(0, 0)
    else:
        table = table.append_column("kind", pyarrow.array(["x", "y", "x"]).dictionary_encode())
    raw = json.dumps(metadata) if chance.random() < 0.9 else "{not json"
    try:
        parquet.write_table(table.replace_schema_metadata({"geo": raw}), _hit(whole, folder))
    except pyarrow.ArrowException:
        shutil.copy(whole, _hit(whole, folder))
    return _hit(whole, folder)


_ZIPPED = {"zip bomb": _zip_bomb, "zip entries": _zip_names}
_JSONS = {"deep JSON": _deep_json, "odd JSON": _odd_json}
_XML = {"entities": _laughing_xml, "odd XML": _odd_xml}
_BASE = {"odd database": _odd_database, "scattered bytes": _scattered_bytes}
# By suffix; two formats with one suffix take the same.
MAKERS: dict[str, dict[str, Maker]] = {
    ".geojson": _JSONS,
    ".gpkg": _BASE,
    ".shp": {"parts amiss": _parts_amiss, "words amiss": _words_amiss},
    ".zip": _ZIPPED,
    ".parquet": {"odd GeoParquet": _odd_parquet},
    ".kml": _XML,
    ".kmz": _ZIPPED,
    ".osm": _XML,
    ".pbf": {"odd PBF": _odd_pbf, "bytes in blocks": _bytes_in_blocks},
    ".tif": {"odd raster": _odd_raster},
    ".nmea": {"odd text": _odd_text(_NMEA)},
    ".gpx": _XML,
    ".csv": {"odd text": _odd_text(_CSV)},
    ".toml": {"odd text": _odd_text(_TOML)},
    ".adi": {"odd text": _odd_text(_ADI)},
}
