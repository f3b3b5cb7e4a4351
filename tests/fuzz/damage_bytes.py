"""Damage that any file can take: to its bytes, to its name, to the way it is named."""

from __future__ import annotations

import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path

__all__ = ["ANY", "Maker"]

# Takes the sound file, the folder of the case and the random numbers; gives the path to name in the command.
Maker = Callable[[Path, Path, random.Random], "Path | str"]

# What lies beside the file that is named.
_PARTS = {
    ".shp": (".shp", ".shx", ".dbf", ".prj", ".cpg"),
    ".tab": (".tab", ".dat", ".map", ".id"),
    ".mif": (".mif", ".mid"),
}


def copy_whole(whole: Path, target: Path) -> list[Path]:
    """A copy with all its parts, which are returned; of a geodatabase the files in it."""
    if whole.is_dir():
        shutil.copytree(whole, target)
        return sorted(one for one in target.iterdir() if one.stat().st_size)
    parts = [whole.with_suffix(s) for s in _PARTS.get(whole.suffix, ()) if whole.with_suffix(s).exists()]
    pairs = [(part, target.with_suffix(part.suffix)) for part in parts] or [(whole, target)]
    return [Path(shutil.copy(part, to)) for part, to in pairs]


def _copied(whole: Path, folder: Path) -> tuple[Path, list[Path]]:
    target = folder / f"hit{''.join(whole.suffixes)}"
    return target, copy_whole(whole, target)


def _changed(change: Callable[[bytearray, random.Random], bytes | bytearray]) -> Maker:
    def make(whole: Path, folder: Path, chance: random.Random) -> Path:
        target, parts = _copied(whole, folder)
        hit = chance.choice(parts)
        hit.write_bytes(change(bytearray(hit.read_bytes()), chance))
        return target

    return make


def _truncated(data: bytearray, chance: random.Random) -> bytearray:
    return data[: chance.choice((1, 4, 16, 100, len(data) - 1, chance.randrange(1, len(data))))]


def _flipped(data: bytearray, chance: random.Random) -> bytearray:
    # Heads say how to read the rest: half of the flips fall there.
    reach = chance.choice((len(data), min(len(data), 600)))
    for _ in range(chance.choice((1, 1, 3, 20, 200))):
        data[chance.randrange(reach)] ^= 1 << chance.randrange(8)
    return data


def _overwritten(data: bytearray, chance: random.Random) -> bytearray:
    for _ in range(chance.choice((1, 3, 20))):
        at, size = chance.randrange(len(data)), chance.choice((1, 2, 4, 8))
        value = chance.choice(
            (b"\x00" * 8, b"\xff" * 8, b"\x7f" * 8, b"\x80" + b"\0" * 7, chance.randbytes(8))
        )
        data[at : at + size] = value[:size]
    return data


def _piece_lost(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(len(data))
    del data[at : at + chance.randrange(1, 400)]
    return data


def _piece_doubled(data: bytearray, chance: random.Random) -> bytearray:
    at, size = chance.randrange(len(data)), chance.randrange(1, 2000)
    piece = data[at : at + size]
    to = chance.choice((at, chance.randrange(len(data))))
    data[to:to] = piece * chance.choice((1, 1, 50))
    return data


def _another_encoding(data: bytearray, chance: random.Random) -> bytes:
    way = chance.choice(
        ("utf-16", "utf-16-be", "utf-32", "latin-1", "cp1251", "cp037", "mixed", "marks", "nul")
    )
    text = data.decode("utf-8", errors="surrogateescape")
    if way == "mixed":  # some bytes that no UTF-8 has
        for _ in range(5):
            at = chance.randrange(len(data))
            data[at:at] = chance.choice(
                (b"\xc3", b"\xff\xfe", b"\xed\xa0\x80", b"\xf8\x88\x80\x80\x80", b"\xc0\xaf")
            )
        return bytes(data)
    if way == "marks":
        return chance.choice((b"\xef\xbb\xbf", b"\xef\xbb\xbf" * 2, b"\xfe\xff", b"\0\0\xfe\xff")) + bytes(
            data
        )
    if way == "nul":
        return bytes(data).replace(b" ", b"\0")
    return text.encode(way, errors="replace")


def _other_lines(data: bytearray, chance: random.Random) -> bytes:
    return bytes(data).replace(
        b"\n", chance.choice((b"\r", b"\r\n", b"\r\r\n", b"\x0b", b"", b"\xe2\x80\xa8"))
    )


def _empty(data: bytearray, chance: random.Random) -> bytes:
    return chance.choice(
        (b"", b"", b" ", b"\n" * 100, b"\0" * 4096, b"{}", b"[]", b"null", b"<x/>", b"PK\5\6" + b"\0" * 18)
    )


def _wrong_suffix(whole: Path, folder: Path, chance: random.Random) -> Path:
    suffix = chance.choice(
        [
            ".geojson",
            ".json",
            ".gpkg",
            ".shp",
            ".zip",
            ".shz",
            ".fgb",
            ".parquet",
            ".geoparquet",
            ".kml",
            ".kmz",
            ".osm",
            ".pbf",
            ".tif",
            ".gpx",
            ".nmea",
            ".csv",
            ".toml",
            ".adi",
            ".txt",
            ".GPKG",
            ".dbf",
            ".vrt",
            ".xml",
            ".html",
            ".gz",
            ".geojson.gz",
            ".tar",
            ".db",
            ".sqlite",
            ".mbtiles",
            ".gml",
            ".dxf",
            ".gdb",
            ".tab",
            ".mif",
            ".topojson",
            ".esrijson",
            ".geojsonl",
        ]
    )
    target = folder / chance.choice((f"hit{suffix}", f"hit{suffix}.", f"hit{suffix} ", "hit"))
    return Path(shutil.copytree(whole, target) if whole.is_dir() else shutil.copy(whole, target))


def _linked(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = folder / f"hit{''.join(whole.suffixes)}"
    kind = chance.choice(
        ("sound", "nowhere", "itself", "folder", "endless", "pipe", "chain", "hard", "password")
    )
    if kind == "hard" and not whole.is_dir():
        os.link(whole, target)
    elif kind == "pipe":
        os.mkfifo(target)
    elif kind == "chain":
        previous = whole
        for k in range(60):  # more than the system follows
            (folder / f"hit{k}").symlink_to(previous)
            previous = folder / f"hit{k}"
        target.symlink_to(previous)
    else:
        ends = {
            "sound": whole, "hard": whole, "nowhere": folder / "nowhere", "itself": target, "folder": folder,
            "endless": Path("/dev/zero"), "password": Path("/etc/hostname"),
        }  # fmt: skip
        target.symlink_to(ends[kind])
    return target


def _virtual(whole: Path, folder: Path, chance: random.Random) -> str:
    suffix = "".join(whole.suffixes)
    return chance.choice(
        [
            f"/vsicurl/http://127.0.0.1:9/hit{suffix}", f"/vsizip/{whole}/hit{suffix}", f"/vsizip/{{{whole}}}/hit{suffix}",
            f"/vsigzip/{whole}/hit{suffix}", f"/vsistdin/hit{suffix}", f"/vsimem/hit{suffix}", f"http://127.0.0.1:9/hit{suffix}",
            f"https://127.0.0.1:9/hit{suffix}?a=b", f"ftp://127.0.0.1/hit{suffix}", f"s3://bucket/hit{suffix}",
            f"zip://{whole}!hit{suffix}", f"file://{whole}", f"GeoJSON:{whole}", f"VRT:hit{suffix}", f"PG:dbname=hit{suffix}",
            f"/vsisubfile/0_100,{whole}", f"/vsis3/bucket/hit{suffix}", f"/dev/stdin/hit{suffix}", f"hit\0{suffix}",
            f"{whole}\n", f"hit{'x' * 5000}{suffix}", f"../hit{suffix}", f"~/hit{suffix}", f"-/hit{suffix}",
            f"/vsitar//vsicurl/http://127.0.0.1:9/hit{suffix}", f"\\\\server\\share\\hit{suffix}", f"GTIFF_DIR:1:{whole}",
            "hit\x1b[31m\u202e" + suffix, f"NETCDF:{whole}:hit", f"OGR_VRT:hit{suffix}", "hit\udcff" + suffix,
        ]
    )  # fmt: skip


def _odd_names(whole: Path, folder: Path, chance: random.Random) -> Path:
    name = chance.choice(["hi t", "hit!x", "hit;x", "hit?x", "hit{x}", "hit%20x", "hit,x", "hit'\"x", "hit\nx", "hit\x1b[31m",
                          "Höhe hit", "hit#x", "hit*", "hit[1]", "hit&<x>", "$(hit)", "hit\\x", "h" * 150 + "hit", "-hit"])  # fmt: skip
    target = folder / f"{name}{''.join(whole.suffixes)}"
    copy_whole(whole, target)
    return target


# Texts that make GDAL or another reader open something else, whatever the suffix says.
_RECIPES = [
    '<OGRVRTDataSource><OGRVRTLayer name="x"><SrcDataSource>/vsicurl/http://127.0.0.1:9/x.geojson</SrcDataSource>'
    "</OGRVRTLayer></OGRVRTDataSource>",
    '<VRTDataset rasterXSize="9" rasterYSize="9"><VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
    "<SourceFilename>/vsicurl/http://127.0.0.1:9/x.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>",
    '<OGRVRTDataSource><OGRVRTLayer name="hit"><SrcDataSource relativeToVRT="1">hit.geojson</SrcDataSource>'
    "</OGRVRTLayer></OGRVRTDataSource>",
    '{"type": "pipeline", "steps": ["read http://127.0.0.1:9/x"]}',
    '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline read /vsicurl/http://127.0.0.1:9/x"}',
    '<GDAL_WMS><Service name="TMS"><ServerUrl>http://127.0.0.1:9/</ServerUrl></Service></GDAL_WMS>',
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]><kml><Document><name>&a;</name></Document></kml>',
    '<?xml version="1.0"?><!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd"><osm version="0.6"></osm>',
    "WFS:http://127.0.0.1:9/wfs", "[http]\nurl=http://127.0.0.1:9\n", "<html><head><title>404</title></head></html>",
    "type,geometry\n", "SQLite format 3\0" + "\0" * 5000, "PAR1" + "\0" * 100 + "PAR1", "II*\0\x08\0\0\0\0\0", "fgb\x03fgb\0" + "\xff" * 90,
]  # fmt: skip


def _recipe(whole: Path, folder: Path, chance: random.Random) -> Path:
    target = folder / f"hit{''.join(whole.suffixes)}"
    target.write_bytes(chance.choice(_RECIPES).encode("latin-1"))
    return target


def _tail_of_noise(data: bytearray, chance: random.Random) -> bytes:
    return bytes(data) + chance.randbytes(chance.choice((1, 100, 100_000)))


def _noise(data: bytearray, chance: random.Random) -> bytes:
    keep = chance.choice((0, 4, 16, 100))
    return bytes(data[:keep]) + chance.randbytes(chance.choice((1, 50, 5000)))


ANY: dict[str, Maker] = {
    "truncated": _changed(_truncated),
    "bits flipped": _changed(_flipped),
    "bytes changed": _changed(_overwritten),
    "piece lost": _changed(_piece_lost),
    "piece doubled": _changed(_piece_doubled),
    "wrong encoding": _changed(_another_encoding),
    "other line ends": _changed(_other_lines),
    "noise": _changed(_noise),
    "noise behind": _changed(_tail_of_noise),
    "empty": _changed(_empty),
    "wrong suffix": _wrong_suffix,
    "link": _linked,
    "virtual path": _virtual,
    "odd name": _odd_names,
    "recipe": _recipe,
}
