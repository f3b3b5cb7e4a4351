"""Damage to what a file says of itself: types of columns, keys of a raster, parts of records, objects, options."""

from __future__ import annotations

import random
import re
import shutil
import sqlite3
import struct
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from rasters import DEGREES, tiff_bytes

from fuzz.damage_bytes import Maker, copy_whole

__all__ = ["DECLARED"]


def _hit(whole: Path, folder: Path) -> Path:
    return folder / f"hit{''.join(whole.suffixes)}"


# --- GeoTIFF keys, one damaged at a time ----------------------------------------------------------------------

# Sound keys of a projected and of a vertical system (OGC 19-008r4), of which one is changed.
_METRES = (1, 1, 0, 5, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32627, 3076, 0, 1, 9001, 4096, 0, 1, 5773)


def _one_key(whole: Path, folder: Path, chance: random.Random) -> Path:
    """One number of sound keys changed: a version, a count, a key, where its value lies, the value."""
    keys = list(chance.choice((DEGREES, _METRES)))
    at = chance.randrange(len(keys))
    keys[at] = chance.choice((0, 1, 2, 9, 255, 32767, 34735, 34736, 34737, 65535, keys[at] ^ 1, keys[at] + 1))
    if chance.random() < 0.2:  # a key twice, or the last one gone
        keys = chance.choice(([*keys, *keys[-4:]], keys[:-4], keys[:-1]))
    _hit(whole, folder).write_bytes(
        tiff_bytes(keys=tuple(min(key, 65535) for key in keys), doubles=(1.0,), ascii_=b"x|")
    )
    return _hit(whole, folder)


# --- shapefiles: the parts of a record ------------------------------------------------------------------------


def _record_parts(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Where the parts of a polygon begin, how many there are, its type, bounds and points, by their places."""
    target = _hit(whole, folder)
    for suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg"):
        shutil.copy(whole.with_suffix(suffix), target.with_suffix(suffix))
    data = bytearray(target.read_bytes())
    starts, at = [], 100
    while at + 8 <= len(data):
        starts.append(at)
        at += 8 + 2 * struct.unpack_from(">i", data, at + 4)[0]
    for _ in range(chance.choice((1, 1, 3))):
        start = chance.choice(starts)
        parts, points = struct.unpack_from("<2i", data, start + 44)
        way = chance.choice(
            ("type", "parts", "points", "first", "begins", "bounds", "place", "length", "number")
        )
        count = chance.choice((0, 1, 2, -1, parts + 1, points, points + 1, 2**20, 2**31 - 1))
        if way == "type":
            struct.pack_into("<i", data, start + 8, chance.choice((0, 1, 3, 8, 13, 15, 25, 31, 99, -1)))
        elif way == "parts":
            struct.pack_into("<i", data, start + 44, count)
        elif way == "points":
            struct.pack_into("<i", data, start + 48, count)
        elif way == "first" or (way == "begins" and parts > 0):
            struct.pack_into("<i", data, start + 52 + 4 * chance.randrange(max(min(parts, 9), 1)), count)
        elif way in ("bounds", "place"):
            near = (
                start + (12 if way == "bounds" else 52 + 4 * max(min(parts, 9), 0)) + 8 * chance.randrange(4)
            )
            number = chance.choice((float("nan"), float("inf"), -1e308, 1e39, 0.0, 1e-320, 400.0))
            if near + 8 <= len(data):
                struct.pack_into("<d", data, near, number)
        elif way == "length":
            struct.pack_into(">i", data, start + 4, count)
        else:
            struct.pack_into(">i", data, start, count)
    target.write_bytes(data)
    return target


# --- OpenStreetMap extracts -----------------------------------------------------------------------------------

_OBJECTS = [
    '<node id="1" lat="95" lon="-20"/>', '<node id="1" lat="nan" lon="inf"/>', '<node id="1"/>', '<node lat="45" lon="-20"/>',
    '<node id="-7" lat="45" lon="-20"><tag k="amenity" v="parking"/></node>', '<node id="9223372036854775807" lat="45" lon="-20"/>',
    '<node id="99999999999999999999" lat="45" lon="-20"/>', '<node id="1" lat="45" lon="-20" visible="false"/>', '<node id="x" lat="45" lon="-20"/>',
    '<node id="2" lat="45" lon="-20" version="-1" timestamp="9999-99-99T99:99:99Z" uid="x" changeset="-1"/>', '<node id="2" lat="45,0" lon="-20"/>',
    '<way id="10"/>', '<way id="10"><nd ref="1"/></way>', '<way id="10"><nd/></way>', '<way><nd ref="1"/></way>', '<way id="10" visible="false"/>',
    '<way id="11"><nd ref="1"/><nd ref="1"/><nd ref="1"/><tag k="leisure" v="park"/></way>', '<way id="11"><tag k="" v=""/><tag/></way>',
    '<way id="12"><nd ref="-99999999999"/><tag k="highway" v="path"/></way>', '<relation id="1"><member/></relation>', '<relation/>',
    '<relation id="2"><member type="way" ref="10" role="outer"/><tag k="type" v="multipolygon"/></relation>',
    '<relation id="2"><member type="relation" ref="2" role=""/><tag k="type" v="boundary"/><tag k="boundary" v="national_park"/></relation>',
    '<bounds minlat="x" minlon="0" maxlat="0" maxlon="0"/>', '<bounds minlat="90" minlon="180" maxlat="-90" maxlon="-180"/>', "<delete><node id='1'/></delete>",
    "<changeset id='1'/>", "<node id='1' lat='45' lon='-20'><node id='2' lat='45' lon='-20'/></node>", "<osmChange><create/></osmChange>", "text", "<osm/>",
]  # fmt: skip


def _odd_objects(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Objects of an extract without numbers, twice, out of order, deleted, off the globe; tags of any length."""
    text = whole.read_text("utf-8")
    for _ in range(chance.choice((1, 1, 4))):
        if chance.random() < 0.3:
            key = chance.choice(re.findall(r'v="([^"]*)"', text) or [""])
            value = chance.choice(
                ("", "x" * 70_000, "\u202e", "&#10;", "yes;no;" * 99, "1e999 m", "-5", "NaN")
            )
            text = text.replace(f'v="{key}"', f'v="{value}"', chance.choice((1, -1)))
            continue
        places = [found.start() for found in re.finditer(r"<(?:node|way|relation)\b|</osm>", text)]
        at = chance.choice(places) if places else 0
        text = text[:at] + chance.choice(_OBJECTS) + text[at:]
    _hit(whole, folder).write_text(text, encoding="utf-8")
    return _hit(whole, folder)


def _repacked_objects(whole: Path, folder: Path, chance: random.Random) -> Path:
    """The same of a packed extract, as far as its writer takes it; else the extract cut at a block."""
    import osmium

    text = folder / "objects.osm"
    source = folder / "whole.osm"
    with osmium.SimpleWriter(str(source)) as writer:
        for one in osmium.FileProcessor(str(whole)):
            writer.add(one)
    made = _odd_objects(source, folder, chance)
    made.rename(text)
    target = _hit(whole, folder)
    try:
        with osmium.SimpleWriter(str(target)) as writer:
            for one in osmium.FileProcessor(str(text)):
                writer.add(one)
    except Exception:  # its writer does not take all
        target.write_bytes(whole.read_bytes()[: chance.randrange(20, 200)])
    source.unlink()
    text.unlink()
    return target


# --- geodatabases ---------------------------------------------------------------------------------------------


def _odd_fields(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Bytes of the description of fields, and of the rows behind it, of the tables of one's own and the catalogue."""
    target = _hit(whole, folder)
    tables = sorted(one for one in copy_whole(whole, target) if one.suffix == ".gdbtable")
    # Layers of one's own lie behind those of the system.
    for one in chance.sample(tables[-2:] if chance.random() < 0.7 else tables, chance.choice((1, 1, 2))):
        data = bytearray(one.read_bytes())
        if len(data) < 60:
            continue
        fields = struct.unpack_from("<Q", data, 32)[0]
        if fields + 14 > len(data):
            continue
        length = min(struct.unpack_from("<I", data, fields)[0], len(data) - fields)
        for _ in range(chance.choice((1, 2, 8))):
            low, high = (fields, fields + length) if chance.random() < 0.7 else (40, len(data))
            at = chance.randrange(low, max(high, low + 1))
            data[min(at, len(data) - 1)] = chance.choice(
                (0, 1, 4, 6, 7, 12, 127, 128, 255, chance.randrange(256))
            )
        one.write_bytes(data)
    return target


# --- notebooks: types of columns ------------------------------------------------------------------------------

_TYPES = (
    "", "BLOB", "TEXT", "TEXT(3)", "INTEGER", "REAL", "BOOLEAN", "DATE", "DATETIME", "POINT", "GEOMETRY", "JSON", "nonsense", "TEXT NOT NULL DEFAULT ''",
    "INTEGER DEFAULT 5", "REAL CHECK (1)", "TEXT COLLATE nocase", "TEXT GENERATED ALWAYS AS ('x')", "REAL GENERATED ALWAYS AS (1.5) STORED", "NUMERIC", "INT UNIQUE",
)  # fmt: skip


def _odd_types(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Columns of a notebook of another type, computed, missing, under another name, or there by another's hand."""
    target = Path(shutil.copy(whole, _hit(whole, folder)))
    with closing(sqlite3.connect(target, isolation_level=None)) as base:
        base.execute("PRAGMA legacy_alter_table = ON")
        for _ in range(chance.choice((1, 1, 2, 4))):
            table = chance.choice(("visits", "visits", "visits", "visit_parks", "notebook", "notebook_kept"))
            columns = [(row[1], row[2]) for row in base.execute(f"PRAGMA table_xinfo({table})")]
            if not columns:
                continue
            at = chance.randrange(len(columns))
            way = chance.choice(("type", "type", "type", "gone", "renamed", "another", "turned"))
            made = list(columns)
            if way == "type":
                made[at] = (columns[at][0], chance.choice(_TYPES))
            elif way == "gone":
                made.pop(at)
            elif way == "renamed":
                made[at] = (
                    chance.choice(("FID", columns[at][0].upper(), "x", "é", "select", "a b")),
                    columns[at][1],
                )
            elif way == "another":
                made.insert(
                    at, (chance.choice(("extra", "ogc_fid", "rowid", "weather2")), chance.choice(_TYPES))
                )
            else:
                chance.shuffle(made)
            _rebuild(base, table, columns, made)
    return target


def _rebuild(
    base: sqlite3.Connection, table: str, old: Sequence[tuple[str, str]], made: Sequence[tuple[str, str]]
) -> None:
    """The table with other columns, and the values that fit; as it was where SQLite takes none of it."""
    kept = [name for name, kind in made if name in dict(old) and "GENERATED" not in kind]
    try:
        base.execute("BEGIN")
        declared = ", ".join(f'"{name}" {kind}' for name, kind in made)
        base.execute(f"CREATE TABLE hit_made ({declared})")
        names = ", ".join(f'"{name}"' for name in kept)
        if kept:
            base.execute(f"INSERT INTO hit_made ({names}) SELECT {names} FROM {table}")
        base.execute(f"DROP TABLE {table}")
        base.execute(f"ALTER TABLE hit_made RENAME TO {table}")
        base.execute("COMMIT")
    except sqlite3.Error:
        if base.in_transaction:
            base.execute("ROLLBACK")


# --- outing files: every option wrong in turn ------------------------------------------------------------------

_WRONG = (
    "5", "-1", "0", "1e999", "nan", "-inf", "99999999999999999999999", "true", '""', '"x"', '"\\u0000"', '"\\u202eabc"', "[]", "[1]", '["x", "x"]', "[[]]",
    "{}", "{a = 1}", "1979-05-27", "1979-05-27T07:32:00Z", "07:32:00", '"' + "9" * 5000 + "\"", '"/dev/null"', '"../good.geojson"', '"good.geojson"',
    '["good.geojson"]', '"45,-20"', '"-20,45"', '"IN95"', '"EPSG:4326"', '"50%"', '"http://127.0.0.1:9/x"', "[nan]", '[""]',
)  # fmt: skip


def _wrong_option(key: str) -> Maker:
    """A sound outing in which one option holds what it should not."""

    def make(whole: Path, folder: Path, chance: random.Random) -> Path:
        lines = [line for line in whole.read_text("utf-8").splitlines() if not line.startswith(f"{key} =")]
        target = _hit(whole, folder)
        target.write_text("\n".join([f"{key} = {chance.choice(_WRONG)}", *lines, ""]), encoding="utf-8")
        return target

    return make


def _wrong_options() -> dict[str, Maker]:
    from scout.app.settings import list_settings

    keys = [one.key for one in list_settings()] + ["parks", "show", "credits", "tags", "author", "title"]
    return {f"option {key}": _wrong_option(key) for key in dict.fromkeys(keys)}


_FIELDS: dict[str, Maker] = {"odd fields": _odd_fields}
_OSM: dict[str, Maker] = {"odd objects": _odd_objects}
_PBF: dict[str, Maker] = {"objects packed": _repacked_objects}
# By format.
DECLARED: dict[str, dict[str, Maker]] = {
    "heights, GeoTIFF": {"one key": _one_key},
    "Shapefile": {"record parts": _record_parts},
    "geodatabase": _FIELDS,
    "access, OSM XML": _OSM,
    "parks, OSM XML": _OSM,
    "access, OSM PBF": _PBF,
    "parks, OSM PBF": _PBF,
    "notebook": {"odd types": _odd_types},
    "outing, TOML": _wrong_options(),
}
