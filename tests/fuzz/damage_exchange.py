"""Damage to geodatabases, zips within zips, EsriJSON, TopoJSON, GML, MapInfo, sequences and tables of outlines."""

from __future__ import annotations

import json
import random
import shutil
import struct
import warnings
import zipfile
from pathlib import Path
from typing import Any

from fuzz.damage_bytes import Maker, copy_whole

__all__ = ["EXCHANGE"]


def _hit(whole: Path, folder: Path) -> Path:
    return folder / f"hit{''.join(whole.suffixes)}"


# --- geodatabases -----------------------------------------------------------------------------------------


def _tables_amiss(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Files of a geodatabase missing, doubled, of another table, empty, or not its own."""
    target = _hit(whole, folder)
    files = copy_whole(whole, target)
    for _ in range(chance.choice((1, 1, 3))):
        one, other = chance.sample(files, 2)
        way = chance.choice(("gone", "empty", "other", "huge", "cut", "folder", "foreign", "link", "cdf"))
        if one.exists() and one.is_file() and not one.is_symlink():
            if way == "other" and other.is_file():
                shutil.copy(other, one)
            elif way == "huge":
                with one.open("r+b") as stream:
                    stream.truncate(2**33)  # takes up no room on the disk
            elif way == "cut":
                one.write_bytes(one.read_bytes()[: chance.choice((1, 16, 40, 41, 100, 5000))])
            elif way == "empty":
                one.write_bytes(b"")
            elif way == "cdf":
                one.rename(one.with_suffix(".cdf"))
            elif way in ("gone", "folder", "link"):
                one.unlink()
                if way == "folder":
                    one.mkdir()
                elif way == "link":
                    one.symlink_to(chance.choice((other, Path("/dev/zero"), target)))
        if way == "foreign":
            name = chance.choice(
                ("x.shp", "x.tab", "x.csv", "hit.vrt", ".hidden", "a0000000b.gdbtable", "x\n.spx")
            )
            (target / name).write_bytes(b"anything")
    return target


def _headers(whole: Path, folder: Path, chance: random.Random) -> Path:
    """The numbers at the head of tables and offsets, where counts and places stand."""
    target = _hit(whole, folder)
    files = [one for one in copy_whole(whole, target) if one.suffix in (".gdbtable", ".gdbtablx", ".spx")]
    # Layers of one's own lie behind the eight of the system.
    for one in (
        chance.sample(files, 2) if chance.random() < 0.5 else [f for f in files if "a000000" in f.name][-6:]
    ):
        data = bytearray(one.read_bytes())
        for _ in range(chance.choice((1, 2, 6))):
            at = chance.randrange(0, min(len(data), chance.choice((40, 40, 400))) - 8)
            value = chance.choice(
                (0, 1, 3, 4, 255, 2**15, 2**24, 2**31 - 1, 2**31, 2**32 - 1, chance.getrandbits(32))
            )
            data[at : at + 4] = struct.pack("<I", value)
        one.write_bytes(data)
    return target


def _unpacks_to_much(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Geodatabases and zips inside that are small when packed, deep, locked, or many."""
    target = _hit(whole, folder)
    kind = chance.choice(
        ("zeros", "zeros", "bomb inside", "deep", "many", "itself", "cut", "same names", "both")
    )
    big = b"\0" * 2**20

    def blow(archive: zipfile.ZipFile, name: str, count: int) -> None:
        with archive.open(name, "w", force_zip64=True) as stream:
            for _ in range(count):
                stream.write(big)

    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        if kind == "zeros":
            blow(archive, "x.gdb/a00000001.gdbtable", chance.choice((10, 60, 300)))
            archive.writestr("x.gdb/a00000001.gdbtablx", b"\3" + b"\0" * 200)
        elif kind == "many":
            for k in range(3000):
                archive.writestr(
                    f"{k}.gdb/a00000001.gdbtable" if k % 2 else f"{k}.zip", b"PK\5\6" + b"\0" * 18
                )
        elif kind == "same names":
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                for _ in range(3):
                    archive.writestr("x.gdb/a00000001.gdbtable", big[:100])
                    archive.writestr("x.gdb/A00000001.GDBTABLE", big[:100])
        elif kind == "cut":
            data = whole.read_bytes()
            archive.writestr("in.zip", data[: chance.randrange(1, len(data))])
        elif kind == "both":
            archive.writestr("in.zip", whole.read_bytes())
            archive.writestr("x.gdb/a00000001.gdbtable", whole.read_bytes()[:5000])
        else:
            inner = folder / "inner.tmp"
            with zipfile.ZipFile(inner, "w", zipfile.ZIP_DEFLATED) as within:
                blow(within, "x.shp" if kind == "itself" else "x.gdb/a00000001.gdbtable", 200)
            for _ in range(chance.choice((2, 6)) if kind == "deep" else 0):
                again = folder / "again.tmp"
                with zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as within:
                    within.write(inner, "in.zip")
                again.replace(inner)
            for k in range(chance.choice((1, 20))):
                archive.write(inner, f"in{k}.zip")
            inner.unlink()
    return target


# --- texts ------------------------------------------------------------------------------------------------

_NUMBERS = ("1e999", "NaN", "null", '"45"', "-0.0", "1" * 4000, "[]", "{}", "true", "1e308")


def _odd_esri(whole: Path, folder: Path, chance: random.Random) -> Path:
    table = json.loads(whole.read_text("utf-8"))
    one = table["features"][0]
    way = chance.randrange(14)
    if way == 0:
        one["geometry"] = chance.choice([None, {}, {"rings": []}, {"rings": [[]]}, {"rings": None}, {"rings": [[[]]]}, {"x": 1, "y": 2}, {"paths": [[[0, 0], [1, 1]]]}, 5])  # fmt: skip
    elif way == 1:
        table["spatialReference"] = chance.choice([None, {}, {"wkid": -1}, {"wkid": "x"}, {"wkid": 102039}, {"wkt": "nonsense"}, {"wkt": "(" * 100_000}, {"wkid": 2**70}, []])  # fmt: skip
    elif way == 2:
        table["geometryType"] = chance.choice(
            ["esriGeometryPoint", "esriGeometryNothing", None, 5, "x" * 100_000]
        )
    elif way == 3:
        one["attributes"] = chance.choice(
            [None, [], {}, {"name": [1]}, {"name": {"a": 1}}, {"": 1}, {"OBJECTID": 2**70}]
        )
    elif way == 4:
        one["geometry"] = {"curveRings": [[[0, 0], {"c": [[2, 0], [1, 1]]}, [0, 0]]]}
    elif way == 5:
        table["features"] *= 2000
    elif way == 6:
        table["exceededTransferLimit"] = True
    elif way == 7:
        table["fields"] = [{"name": f"c{k}", "type": "esriFieldTypeString"} for k in range(3000)]
    elif way == 8:
        table["features"] = chance.choice([None, {}, 5, [None], [5], [[]], [{}]])
    elif way == 9:
        ring = one["geometry"]["rings"][0]
        one["geometry"]["rings"] = [ring[::-1]] * chance.choice((1, 2, 300))
    text = json.dumps(table, ensure_ascii=False)
    if way == 10:
        text = text.replace("44.9", chance.choice(_NUMBERS), chance.choice((1, 50)))
    elif way == 11:
        deep = chance.choice((100, 2000, 100_000))
        text = text.replace('"rings": [', '"rings": [' + "[" * deep + "]" * deep + ", ", 1)
    elif way == 12:
        text = "{" + '"features": [' * 3 + text + "]" * 3 + "}"
    elif way == 13:
        text = text.replace('"features"', '"features": [], "features"', 1)
    _hit(whole, folder).write_text(text, "utf-8")
    return _hit(whole, folder)


def _odd_topology(whole: Path, folder: Path, chance: random.Random) -> Path:
    table = json.loads(whole.read_text("utf-8"))
    some = table["objects"]["parks"]["geometries"]
    odd: list[Any] = [None, 5, [], {}, "x", [[]], [[[99]]], [[[-99]]], [[[0.5]]], [[[None]]], [[["0"]]], [[[2**70]]], [[[0, 0, 0]]], [[[~0]]]]  # fmt: skip
    way = chance.randrange(12)
    if way == 0:
        some[0]["arcs"] = chance.choice(odd)
    elif way == 1:
        table["arcs"][0] = chance.choice(
            [None, 5, [], {}, [[]], [[1]], [[0, 0]], [["a", 1], [1, 1]], [[1, 1]] * 3]
        )
    elif way == 2:
        table["transform"] = chance.choice([None, {}, {"scale": [0, 0], "translate": [0, 0]}, {"scale": [1e300, 1], "translate": [0, 0]}, {"scale": "x"}, {"scale": [1e-5, 1e-5], "translate": [-20, 45]}])  # fmt: skip
    elif way == 3:
        some[0]["type"] = chance.choice(
            ["Polygon", "LineString", "Point", "Nothing", None, 5, "GeometryCollection"]
        )
    elif way == 4:
        some[0]["arcs"] = [[[0] * chance.choice((10, 1000, 200_000))]]
    elif way == 5:
        table["objects"] = {f"o{k}": table["objects"]["parks"] for k in range(chance.choice((2, 500)))}
    elif way == 6:
        table["crs"] = chance.choice([{}, 5, {"properties": {"name": "EPSG:3857"}}, {"properties": None}, {"type": "link", "properties": {"href": "http://127.0.0.1:9/"}}])  # fmt: skip
    elif way == 7:
        deep = table["objects"]["parks"]
        for _ in range(chance.choice((5, 200, 900))):
            deep = {"type": "GeometryCollection", "geometries": [deep]}
        table["objects"] = {"parks": deep}
    elif way == 8:
        some[0]["properties"] = chance.choice(
            [None, [], {"name": [1]}, {"name": "x" * 2_000_000}, {f"c{k}": k for k in range(2000)}]
        )
    elif way == 9:
        table[chance.choice(("arcs", "objects", "type"))] = chance.choice(odd)
    text = json.dumps(table, ensure_ascii=False)
    if way == 10:
        text = text.replace("44.9", chance.choice(_NUMBERS), chance.choice((1, 50)))
    elif way == 11:
        deep = chance.choice((100, 2000, 100_000))
        text = text.replace('"arcs": [', '"arcs": [' + "[" * deep + "]" * deep + ", ", 1)
    _hit(whole, folder).write_text(text, "utf-8")
    return _hit(whole, folder)


def _odd_sequence(whole: Path, folder: Path, chance: random.Random) -> Path:
    lines = whole.read_text("utf-8").replace("\x1e", "").splitlines()
    mark = chance.choice(("\x1e", "", "\x1e\x1e", "\n", "\n\n"))
    odd = ["", "{", "[1]", "null", "5", "{}", '{"type":"Feature"}', '{"type":"FeatureCollection","features":[]}',
           "[" * 100_000, '{"a":' * 3000, "\x1e" * 5000, "x" * 2_000_000, lines[0][:-5], lines[0] * 2]  # fmt: skip
    some = lines * chance.choice((1, 1, 500))
    for _ in range(chance.choice((1, 3))):
        some.insert(chance.randrange(len(some)), chance.choice(odd))
    text = "".join(f"{mark}{line}\n" for line in some)
    _hit(whole, folder).write_text(text, "utf-8")
    return _hit(whole, folder)


def _odd_gml(whole: Path, folder: Path, chance: random.Random) -> Path:
    text = whole.read_text("utf-8")
    at = text.index("<ogr:featureMember>")
    end = text.index("</ogr:featureMember>") + len("</ogr:featureMember>")
    one = text[at:end]
    way = chance.randrange(12)
    if way == 0:
        head = chance.choice(
            ['<!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd">', '<!DOCTYPE x [<!ENTITY a "b">]>']
        )
        text = text.replace("?>", "?>" + head, 1)
    elif way == 1:
        text = text.replace("p.xsd", "http://127.0.0.1:9/x.xsd").replace(
            ".xsd", chance.choice((".xsd", "/x.xsd?a=b"))
        )
    elif way == 2:
        text = text.replace("<gml:exterior>", '<gml:exterior xlink:href="http://127.0.0.1:9/#a">', 1)
    elif way == 3:
        text = text.replace(
            "EPSG::4326", chance.choice(("EPSG::99999", "EPSG::3857", "OGC:1.3:CRS84", "", "x" * 5000))
        )
    elif way == 4:
        text = text.replace(one, one * chance.choice((2, 3000)))
    elif way == 5:
        deep = chance.choice((50, 2000, 100_000))
        text = text.replace(
            one, "<ogr:featureMember>" + "<ogr:a>" * deep + "</ogr:a>" * deep + "</ogr:featureMember>" + one
        )
    elif way == 6:
        text = text.replace("<ogr:name>", "<ogr:name " + " ".join(f'a{k}="b"' for k in range(3000)) + ">", 1)
    elif way == 7:
        text = text.replace(
            "<gml:posList>", "<gml:posList>" + chance.choice(("nan ", "1 ", "x ", "1e999 ", "1 2 3 " * 5)), 1
        )
    elif way == 8:
        deep = chance.choice((5, 100, 5000))
        text = text.replace(
            "<gml:Polygon", "<gml:MultiGeometry><gml:geometryMember>" * deep + "<gml:Polygon", 1
        )
        text = text.replace(
            "</gml:Polygon>", "</gml:Polygon>" + "</gml:geometryMember></gml:MultiGeometry>" * deep, 1
        )
    elif way == 9:
        columns = "".join(f"<ogr:c{k}>{k}</ogr:c{k}>" for k in range(3000))
        text = text.replace("<ogr:name>", columns + "<ogr:name>", 1)
    elif way == 10:
        text = text.replace("<ogr:name>", "<ogr:name>" + "a" * 3_000_000, 1)
    else:
        text = text.replace(
            "http://www.opengis.net/gml/3.2", chance.choice(("http://www.opengis.net/gml", "x"))
        )
    _hit(whole, folder).write_text(text, "utf-8")
    if chance.random() < 0.3:
        beside = chance.choice(("hit.gfs", "hit.xsd", "hit.resolved.gml"))
        (folder / beside).write_text(chance.choice(("", "<GMLFeatureClassList/>", "<x>")))
    return _hit(whole, folder)


def _odd_mapinfo(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = _hit(whole, folder)
    parts = copy_whole(whole, target)
    way = chance.randrange(5)
    text = target.read_text("latin-1")
    if way == 0:
        chance.choice(parts).unlink()
        target.touch()
    elif way == 1:
        add = [
            'create view x as select * from "/etc/x"',
            '"\\IsSeamless" = "TRUE"',
            'Open Table "x"',
            'File "x.dat"',
        ]
        target.write_text(f"{text}\n{chance.choice(add)}\n", "latin-1")
    elif way == 2:
        old, new = chance.choice([("NATIVE", "DBF"), ("NATIVE", "LINKED"), ("Fields", "Fields -"), ("254", "99999999"), ("Char", "Nothing"), ("Columns", "Columns 9"), ("CoordSys Earth", "CoordSys Nothing"), ("Projection 1, 104", "Projection 99, 9999"), ("Region 1", "Region 999999999"), ("Region", "Arc"), ("Delimiter", "Delimiter \"\" "), ("Data", "Data\nCollection 5")])  # fmt: skip
        target.write_text(text.replace(old, new), "latin-1")
    elif way == 3:
        one = chance.choice(parts)
        data = bytearray(one.read_bytes())
        for _ in range(chance.choice((2, 10))):
            at = chance.randrange(min(len(data), 1024))
            data[at : at + 4] = struct.pack("<I", chance.choice((0, 1, 512, 2**16, 2**31 - 1, 2**32 - 1)))
        one.write_bytes(data)
    else:
        one = chance.choice(parts)
        one.write_bytes(one.read_bytes() * chance.choice((2, 20)))
    return target


def _odd_wkt(whole: Path, folder: Path, chance: random.Random) -> Path:
    lines = whole.read_text("utf-8").splitlines()
    wkt = chance.choice(["", "POLYGON", "POLYGON ((", "POLYGON EMPTY", "POLYGON ((0 0,1 1))", "POLYGON ((a b,c d,e f,a b))", "POINT (1 2)", "SRID=4326;POINT(1 2)", "POLYGON ((nan 0,1 0,1 1,nan 0))", "GEOMETRYCOLLECTION (" * 5000, "MULTIPOLYGON (" + "((0 0,1 0,1 1,0 0))," * 20_000 + "((0 0,1 0,1 1,0 0)))", "CURVEPOLYGON (CIRCULARSTRING (-20 45, -19.9 45, -20 45))", "CURVEPOLYGON (COMPOUNDCURVE (CIRCULARSTRING (" + ", ".join(f"{k % 7} {k}e5" for k in range(9001)) + ")))", "x" * 3_000_000, "POLYGON Z ((0 0 1,1 0 1,1 1 1,0 0 1))", "TIN (((0 0,1 0,1 1,0 0)))"])  # fmt: skip
    name = chance.choice(("a", "", '"', "a\nb", "é" * 70_000, "=1+1"))
    lines.insert(chance.choice((1, len(lines))), f'"{wkt}",Q,{name}')
    text = "\n".join(lines * (chance.choice((1, 1, 60)) if len(wkt) < 10_000 else 1))
    if chance.random() < 0.3:
        text = text.replace(",", chance.choice((";", "\t", "|", " ", "\0")), chance.choice((3, 10**6)))
    if chance.random() < 0.2:
        text = text.replace("WKT", chance.choice(("wkt,wkt", "*", "", "a,b", "x" * 5000)), 1)
    _hit(whole, folder).write_text(text, "utf-8")
    if chance.random() < 0.3:
        (folder / chance.choice(("hit.csvt", "hit.prj", "hit.vrt"))).write_text("WKT,Integer,CoordX")
    return _hit(whole, folder)


_FOLDER = {"tables amiss": _tables_amiss, "odd headers": _headers}
_ARCHIVE = {"unpacks to much": _unpacks_to_much}
EXCHANGE: dict[str, dict[str, Maker]] = {
    "geodatabase": _FOLDER,
    "geodatabase, zipped": _ARCHIVE,
    "zips within a zip": _ARCHIVE,
    "Shapefile, zipped": _ARCHIVE,
    "EsriJSON": {"odd EsriJSON": _odd_esri},
    "TopoJSON": {"odd topology": _odd_topology},
    "GML": {"odd GML": _odd_gml},
    "MapInfo, TAB": {"odd MapInfo": _odd_mapinfo},
    "MapInfo, MIF": {"odd MapInfo": _odd_mapinfo},
    "GeoJSON, sequence": {"odd sequence": _odd_sequence},
    "CSV with WKT": {"odd WKT": _odd_wkt},
}
