"""Damage to the data of the ground: height rasters and tiles, OpenStreetMap's relations, packed files."""

from __future__ import annotations

import bz2
import gzip
import random
import re
import zlib
from pathlib import Path
from typing import Any

from rasters import DEGREES, hgt_bytes, tiff_bytes

from fuzz.damage_bytes import Maker

__all__ = ["GROUND"]

_USER = 32767


def _hit(whole: Path, folder: Path) -> Path:
    return folder / f"hit{''.join(whole.suffixes)}"


def _strips(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A few bytes that name strips of megabytes to gigabytes, or cells without number."""
    wide, high = (chance.choice((64, 2000, 9000, 40_000, 2**31 - 1)) for _ in range(2))
    made: dict[str, Any] = {
        "packing": chance.choice((1, 5, 8, 8, 32773, 34925, 50000)),
        "rows": chance.choice((1, 16, high, 2**32 - 1)),
        "samples": chance.choice((1, 1, 1, 3, 300)),
        "cell_deg": chance.choice((0.001, 0.0001, 1e-9)),
        "data": chance.choice(
            (b"", zlib.compress(bytes(10**6)), b"\x80\0" * 50, b"\x81\0" * 50, bytes(4000))
        ),
    }
    content = tiff_bytes(wide, high, **made)
    target = _hit(whole, folder)
    if chance.random() < 0.2:  # the overviews or the mask beside a sound one
        target.write_bytes(tiff_bytes())
        target.with_name(target.name + chance.choice((".ovr", ".msk"))).write_bytes(content)
    else:
        target.write_bytes(content)
    return target


def _geo_keys(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Keys cut short, of unknown codes, of other bodies, of addresses, at places that are not there."""
    text = chance.choice(
        (b"http://127.0.0.1:9/x|", b"ESRI PE String = PROJCS[|", b"\xff\xfe|", b"GCS Moon|", b"|")
    )
    said = chance.choice((2049, 3073, 1026))
    code = chance.choice((0, 1, 4326, 3857, 4978, 5773, 9999, 29999, 30100, _USER, 65535))
    entries = [
        (1024, 0, 1, chance.choice((0, 1, 2, 3, 7, _USER))),
        (chance.choice((2048, 3072)), 0, 1, code),
        (said, 34737, len(text) * chance.choice((1, 1, 50)), chance.choice((0, 0, 900))),
        (2050, 0, 1, chance.choice((6326, _USER))),
        (2056, 0, 1, chance.choice((7030, _USER))),
        (2057, 34736, 1, chance.choice((0, 0, 99))),
        (3076, 0, 1, chance.choice((9001, 9999))),
        (chance.choice((3074, 3075)), 0, 1, chance.choice((1, 8, 999, _USER))),
        (4096, 0, 1, chance.choice((5773, 99, _USER))),
    ]
    some = sorted(chance.sample(entries, chance.randrange(len(entries) + 1)))
    count = len(some) * chance.choice((1, 1, 1, 90))
    keys: tuple[int, ...] | None = (1, 1, 0, min(count, 65535), *(n for entry in some for n in entry))
    if chance.random() < 0.2:
        keys = chance.choice((None, (1, 1), (9, 9, 9, 1, 1024, 0, 1, 2), DEGREES * 3))
    doubles = tuple(chance.choice((0.0, -1.0, float("nan"), float("inf"), 1737400.0)) for _ in range(2))
    _hit(whole, folder).write_bytes(tiff_bytes(keys=keys, ascii_=text, doubles=doubles))
    return _hit(whole, folder)


_PAM = [
    "<SRS>http://127.0.0.1:9/x</SRS>", '<SRS>PROJCS["x",GEOGCS["y"]]</SRS>', "<SRS>EPSG:999999</SRS>", "<SRS>", "<SRS>IAU_2015:30100</SRS>",
    "<SRS>/etc/hostname</SRS>", '<SRS>LOCAL_CS["x",UNIT["m",1]]</SRS>', "<SRS>+proj=longlat +R=1737400</SRS>", "<SRS>caf\xe9</SRS>",
    "<GeoTransform>1,2,3,nan,5,x</GeoTransform>", "<GeoTransform>nan,nan,nan,nan,nan,nan</GeoTransform>", "<GeoTransform>0,0,0,0,0,0</GeoTransform>",
    '<GCPList Projection="EPSG:99999"><GCP Id="1" Pixel="0" Line="0" X="nan" Y="x"/></GCPList>',
    '<PAMRasterBand band="1"><NoDataValue le_hex_endian="1">abc</NoDataValue><Scale>abc</Scale><UnitType>m&#7;</UnitType></PAMRasterBand>',
    '<PAMRasterBand band="1"><GDALRasterAttributeTable><Row index="99999999999"><F>1</F></Row></GDALRasterAttributeTable></PAMRasterBand>',
    '<PAMRasterBand band="99999999"><Scale>1e999</Scale></PAMRasterBand>', '<Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/vsicurl/http://127.0.0.1:9/x.tif</MDI></Metadata>',
    '<Metadata domain="xml:VRT"><VRTDataset/></Metadata>', "<!DOCTYPE x [<!ENTITY a SYSTEM 'file:///etc/hostname'>]><SRS>&a;</SRS>",
]  # fmt: skip


def _beside_raster(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A sound raster, with or without a system, and a damaged `.aux.xml` beside it."""
    target = _hit(whole, folder)
    target.write_bytes(tiff_bytes(keys=chance.choice((None, DEGREES))))
    inner = "".join(chance.sample(_PAM, chance.choice((1, 1, 2))))
    text = chance.choice(("<PAMDataset>{}</PAMDataset>", "<PAMDataset>{}", "{}", "\0{}")).format(inner)
    target.with_name(target.name + ".aux.xml").write_text(text, encoding="latin-1")
    return target


def _odd_tile(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Tiles named wrongly, of wrong sizes, of heights no land has, in archives that are none."""
    place = chance.choice(
        ("N44W021", "N44W020", "n45w021", "N95W021", "S45E200", "N4W21", "tile", "N44W021_x")
    )
    data = chance.choice(
        [
            hgt_bytes(), hgt_bytes()[:-2], hgt_bytes(1200), b"\x80\0" * 1201**2, b"\x7f\xff" * 1201**2, bytes(2 * 1201**2),
            b"\0", bytes(2 * 3601 * 1801), hgt_bytes() * 2,
        ]
    )  # fmt: skip
    kind = chance.choice(("", ".gz", ".zip", ".bz2", ".tif"))
    target = folder / f"hit.{place}.hgt{kind}"
    if kind == ".zip":
        import zipfile

        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for name in chance.choice(
                ((f"{place}.hgt",), ("a/N44W021.hgt", "b/N44W021.hgt"), ("x.txt",), ())
            ):
                archive.writestr(name, data)
    else:
        packed = {"": data, ".tif": data, ".gz": gzip.compress(data, 1), ".bz2": bz2.compress(data[: 10**6])}
        target.write_bytes(packed[kind])
    return target


def _bad_relations(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Relations and closed ways whose members are missing, repeated, of themselves, crossing or without end."""
    packed = whole.suffix == ".gz"
    text = (gzip.decompress(whole.read_bytes()) if packed else whole.read_bytes()).decode("utf-8")
    nodes = re.findall(r'<node id="(\d+)"', text)
    ways = re.findall(r'<way id="(\d+)"', text)
    extra = []
    for k in range(chance.choice((1, 3, 40))):
        subject = (
            chance.choice(("natural", "building", "landuse", "leisure", "boundary")),
            chance.choice(("water", "yes", "military", "park", "protected_area")),
        )
        tags = f'<tag k="{subject[0]}" v="{subject[1]}"/>'
        if chance.random() < 0.5:
            refs = [chance.choice((*nodes, "999999", "-5")) for _ in range(chance.choice((1, 2, 3, 7)))]
            refs += refs[:1] * chance.choice((0, 1, 1))
            body = "".join(f'<nd ref="{ref}"/>' for ref in refs)
            extra.append((f'<way id="{500 + k}" version="1">{body}{tags}</way>', 0))
            ways.append(str(500 + k))
        else:
            members = "".join(
                f'<member type="{chance.choice(("way", "way", "relation", "node", "x"))}" '
                f'ref="{chance.choice((*ways, str(800 + k), "999999"))}" role="{chance.choice(("outer", "inner", ""))}"/>'
                for _ in range(chance.choice((0, 1, 3, 30)))
            )
            kind = chance.choice(("multipolygon", "boundary", "route"))
            relation = (
                f'<relation id="{800 + k}" version="1">{members}<tag k="type" v="{kind}"/>{tags}</relation>'
            )
            extra.append((relation, 1))
    made = "".join(one for one, late in extra if not late), "".join(one for one, late in extra if late)
    text = text.replace("<relation", f"{made[0]}<relation", 1).replace("</osm>", f"{made[1]}</osm>")
    data = text.encode("utf-8")
    _hit(whole, folder).write_bytes(gzip.compress(data) if packed else data)
    return _hit(whole, folder)


def _packed(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Packed files that are cut, packed twice, of something else, or unpack to gigabytes."""
    data = whole.read_bytes()
    text = gzip.decompress(data)
    made = chance.choice(
        [
            lambda: data[:-8], lambda: data[: len(data) // 2], lambda: gzip.compress(data), lambda: data * 40,
            lambda: gzip.compress(b"<osm>" + bytes(2**20) * chance.choice((8, 600)), 9),
            lambda: gzip.compress(text[:-20] + b" " * 2**28 + text[-20:], 9), lambda: bz2.compress(text),
            lambda: gzip.compress(b"PK\3\4"), lambda: b"\x1f\x8b", lambda: data + b"noise", lambda: gzip.compress(b""),
        ]
    )()  # fmt: skip
    target = folder / f"hit.osm{chance.choice(('.gz', '.gz', '.bz2'))}"
    target.write_bytes(made)
    return target


_RELATIONS: dict[str, Maker] = {"bad relations": _bad_relations}
# By suffix, like `fuzz.damage_formats.MAKERS`.
GROUND: dict[str, dict[str, Maker]] = {
    ".tif": {"strips": _strips, "geo keys": _geo_keys, "beside a raster": _beside_raster},
    ".hgt": {"odd tile": _odd_tile},
    ".osm": _RELATIONS,
    ".gz": {**_RELATIONS, "packed": _packed},
}
