"""Odd geometries and odd attributes, written into every format that can hold them."""

from __future__ import annotations

import json
import math
import random
import struct
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
from boundary_files import wkb_many, wkb_polygon

from fuzz.damage_bytes import Maker
from fuzz.whole import LAT, LON

__all__ = ["ATTRIBUTES", "SHAPES", "written_shapes"]

Point = tuple[float, float]
SQUARE: list[Point] = [(-20.05, 44.95), (-19.95, 44.95), (-19.95, 45.05), (-20.05, 45.05), (-20.05, 44.95)]


def _wkb(kind: int, *members: bytes) -> bytes:
    return wkb_many(kind, *members)


def _line(points: list[Point]) -> bytes:
    return struct.pack("<BII", 1, 2, len(points)) + b"".join(struct.pack("<dd", *p) for p in points)


def _point(x: float, y: float) -> bytes:
    return struct.pack("<BIdd", 1, 1, x, y)


def _not_finite(chance: random.Random) -> list[bytes]:
    bad = chance.choice((math.nan, math.inf, -math.inf, 1e308, -1e308, 1e30, 5e-324, 1e9, 360.0, 91.0))
    ring = [list(p) for p in SQUARE]
    for _ in range(chance.choice((1, 1, 3))):
        ring[chance.randrange(5)][chance.randrange(2)] = bad
    return [wkb_polygon([(x, y) for x, y in ring]), wkb_polygon(SQUARE)]


def _short_rings(chance: random.Random) -> list[bytes]:
    short = SQUARE[: chance.choice((0, 1, 2, 3))]
    return chance.choice(
        [
            [wkb_polygon(short)],
            [wkb_polygon(SQUARE, short)],
            [_wkb(6, wkb_polygon(short), wkb_polygon(SQUARE))],
            [wkb_polygon(), wkb_polygon(SQUARE)],
            [_wkb(6)],
            [wkb_polygon([SQUARE[0]] * 5)],
            [_line(short)],
        ]
    )


def _touching(chance: random.Random) -> list[bytes]:
    x, y = LON, LAT
    r = chance.choice((1e-12, 1e-7, 0.01, 1.0, 20.0))
    figures: list[list[list[Point]]] = [
        [[(x - r, y - r), (x + r, y + r), (x + r, y - r), (x - r, y + r), (x - r, y - r)]],  # a bow tie
        [[(x, y), (x + r, y), (x + r, y + r), (x, y), (x - r, y), (x - r, y - r), (x, y)]],  # an eight
        [SQUARE, [(x - 9, y - 9), (x + 9, y - 9), (x + 9, y + 9), (x - 9, y - 9)]],  # hole over shell
        [SQUARE, SQUARE],  # a hole that takes all
        [[*SQUARE, *SQUARE]],  # twice round
        [[(x - r, y), (x + r, y), (x + r / 2, y), (x - r, y)]],  # no area
        [[(x - r, y), (x + r, y), (x + r, y + r), (x, y + r), (x, y - r), (x, y + r), (x - r, y + r), (x - r, y)]],
    ]  # fmt: skip
    knot = [
        (x + r * chance.uniform(-1, 1), y + r * chance.uniform(-1, 1)) for _ in range(chance.choice((5, 60)))
    ]
    return [wkb_polygon(*chance.choice([*figures, [[*knot, knot[0]]]]))]


def _nested(chance: random.Random) -> list[bytes]:
    deep = chance.choice((1, 3, 30, 31, 33, 120, 1000, 20_000))
    inner = chance.choice((wkb_polygon(SQUARE), _point(LON, LAT), _line(SQUARE), b""))
    if deep > 2000:  # heads of collections alone, as bytes
        return [struct.pack("<BII", 1, 7, 1) * deep + inner]
    for _ in range(deep):
        inner = _wkb(chance.choice((7, 7, 7, 6)), *([inner] * (2 if deep <= 3 else 1)))
    return [inner, wkb_polygon(SQUARE)]


def _mixed(chance: random.Random) -> list[bytes]:
    some = [_point(LON, LAT), _line(SQUARE), wkb_polygon(SQUARE), _wkb(4, _point(0, 0)), _wkb(7), b"", b"\1", b"\0" * 9,
            struct.pack("<BIdd", 1, 1, math.nan, math.nan), struct.pack("<BII", 1, 3, 2**32 - 1), struct.pack("<BI", 1, 99),
            struct.pack("<BII", 1, 8, 3) + struct.pack("<6d", 0, 0, 1, 1, 2, 0), struct.pack("<BII", 1, 6, 2**31)]  # fmt: skip
    return chance.sample(some, chance.randrange(1, 7))


def _wide(chance: random.Random) -> list[bytes]:
    sides = chance.choice(
        [(-180, -90, 180, 90), (-540, -90, 540, 90), (170, -20, 190, 20), (-180, 89, 180, 90), (-180, -90, 180, -60),
         (0, 89.9999, 360, 90), (179.9999999, 0, 180.0000001, 1), (-200, 10, 200, 20), (0, 0, 0, 0), (-1e-300, 0, 1e-300, 1)]
    )  # fmt: skip
    w, s, e, n = sides
    return [wkb_polygon([(w, s), (e, s), (e, n), (w, n), (w, s)])]


def _many_vertices(chance: random.Random) -> list[bytes]:
    count = chance.choice((3_000, 100_000))
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    radius = 0.05 * (1 + 0.1 * np.sin(angle * chance.choice((3, 200, 20_001))))
    ring = np.column_stack([LON + radius * np.cos(angle), LAT + radius * np.sin(angle)])
    ring = np.concatenate([ring, ring[:1]])
    return [struct.pack("<BIII", 1, 3, 1, len(ring)) + ring.tobytes()]


SHAPES: dict[str, Callable[[random.Random], list[bytes]]] = {
    "not finite": _not_finite,
    "short rings": _short_rings,
    "touching itself": _touching,
    "nested collections": _nested,
    "mixed geometries": _mixed,
    "round the globe": _wide,
    "many vertices": _many_vertices,
}

_LONG = (10_000, 300_000, 5_000_000)


def _texts(chance: random.Random) -> list[str]:
    size = chance.choice(_LONG)
    return [
        chance.choice(
            (
                "A" * size,
                "\u202e" * (size // 3),
                "<b>" * (size // 3),
                "\n" * size,
                "\x1b[31m" * 100,
                "a;b" * 9000,
                "é" * 255,
            )
        )
    ]


ATTRIBUTES: dict[str, Callable[[random.Random], list[str]]] = {"huge texts": _texts}


def written_shapes(path: Path, shapes: list[bytes], names: list[str] | None = None) -> Path:
    """The geometries in the format of the suffix, by GDAL where it takes them, else by hand."""
    names = names or [f"N{k}" for k in range(len(shapes))]
    names = (names * len(shapes))[: len(shapes)]
    if path.suffix == ".geojson":
        _as_json(path, shapes, names)
    elif path.suffix in (".kml", ".kmz"):
        _as_kml(path, shapes, names)
    elif path.suffix == ".parquet":
        _as_parquet(path, shapes, names)
    elif path.suffix == ".zip":
        shape = written_shapes(path.with_suffix(".shp"), shapes, names)
        with zipfile.ZipFile(path, "w") as archive:
            for part in sorted(path.parent.glob(f"{path.stem}.*")):
                if part != path:
                    archive.write(part, part.name)
                    part.unlink()
        assert not shape.exists()
    else:
        _by_gdal(path, shapes, names)
    return path


def _by_gdal(path: Path, shapes: list[bytes], names: list[str]) -> None:
    options: dict[str, Any] = {"SPATIAL_INDEX": "NO"} if path.suffix in (".fgb", ".gpkg") else {}
    kind = "Polygon" if path.suffix == ".shp" else "Unknown"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            pyogrio.raw.write(
                path, np.array(shapes, dtype=object), [np.array(names, dtype=object)], ["name"],
                geometry_type=kind, crs="EPSG:4326", layer_options=options,
            )  # fmt: skip
        except Exception:
            # GDAL will not write it: the sound shape, with the odd binary put where the sound one is
            sound = wkb_polygon(SQUARE)
            pyogrio.raw.write(
                path, np.array([sound], dtype=object), [np.array(names[:1], dtype=object)], ["name"],
                geometry_type="Polygon", crs="EPSG:4326", layer_options=options,
            )  # fmt: skip
            data, odd = path.read_bytes(), shapes[0][: len(sound)].ljust(len(sound), b"\0")
            path.write_bytes(data.replace(sound, odd).replace(sound[13:], odd[13:]))


def _as_parquet(path: Path, shapes: list[bytes], names: list[str]) -> None:
    import pyarrow
    from pyarrow import parquet

    geo = {
        "version": "1.1.0",
        "primary_column": "shape",
        "columns": {"shape": {"encoding": "WKB", "geometry_types": []}},
    }
    table = pyarrow.table({"name": names, "shape": pyarrow.array(shapes, pyarrow.binary())})
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), path)


def _tree(data: bytes, at: int = 0, depth: int = 0) -> tuple[tuple[int, list[Any]], int]:
    """A binary of ours as type and parts, to be written as text; raises where it is cut off."""
    _, kind = struct.unpack_from("<BI", data, at)
    at += 5
    if depth > 150:
        raise ValueError("too deep to write as text here")
    if kind == 1:
        return (1, list(struct.unpack_from("<dd", data, at))), at + 16
    (count,) = struct.unpack_from("<I", data, at)
    at += 4
    if kind == 2:
        return (
            2,
            [list(struct.unpack_from("<dd", data, at + 16 * k)) for k in range(count)],
        ), at + 16 * count
    parts: list[Any] = []
    for _ in range(count):
        if kind == 3:
            (size,) = struct.unpack_from("<I", data, at)
            parts.append(
                [list(p) for p in np.frombuffer(data, "<f8", 2 * size, at + 4).reshape(-1, 2).tolist()]
            )
            at += 4 + 16 * size
        else:
            one, at = _tree(data, at, depth + 1)
            parts.append(one)
    return (kind, parts), at


_JSON = {1: "Point", 2: "LineString", 3: "Polygon", 4: "MultiPoint", 5: "MultiLineString", 6: "MultiPolygon"}


def _json_of(tree: tuple[int, list[Any]]) -> Any:
    kind, parts = tree
    if kind == 7:
        return {"type": "GeometryCollection", "geometries": [_json_of(part) for part in parts]}
    coordinates = [part[1] for part in parts] if kind in (4, 5, 6) else parts
    return {"type": _JSON.get(kind, f"Kind {kind}"), "coordinates": coordinates}


def _trees(shapes: list[bytes]) -> list[Any]:
    found = []
    for shape in shapes:
        try:
            found.append(_tree(shape)[0])
        except (struct.error, ValueError):
            found.append(None)
    return found


def _as_json(path: Path, shapes: list[bytes], names: list[str]) -> None:
    features = [
        {
            "type": "Feature",
            "properties": {"name": name},
            "geometry": None if tree is None else _json_of(tree),
        }
        for tree, name in zip(_trees(shapes), names, strict=True)
    ]
    whole = {"type": "FeatureCollection", "features": features}
    path.write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8", errors="replace")


def _kml_of(tree: tuple[int, list[Any]] | None) -> str:
    if tree is None:
        return ""
    kind, parts = tree

    def run(points: list[Any]) -> str:
        return f"<coordinates>{' '.join(','.join(map(repr, p)) for p in points)}</coordinates>"

    if kind == 1:
        return f"<Point>{run([parts])}</Point>"
    if kind == 2:
        return f"<LineString>{run(parts)}</LineString>"
    if kind == 3:
        places = ["outerBoundaryIs", *["innerBoundaryIs"] * len(parts)]
        rings = [f"<{p}><LinearRing>{run(r)}</LinearRing></{p}>" for p, r in zip(places, parts, strict=False)]
        return f"<Polygon>{''.join(rings)}</Polygon>"
    return f"<MultiGeometry>{''.join(_kml_of(part) for part in parts)}</MultiGeometry>"


def _as_kml(path: Path, shapes: list[bytes], names: list[str]) -> None:
    from xml.sax.saxutils import escape

    marks = "".join(
        f"<Placemark><name>{escape(name)}</name>{_kml_of(tree)}</Placemark>"
        for tree, name in zip(_trees(shapes), names, strict=True)
    )
    text = f'<?xml version="1.0"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>'
    if path.suffix == ".kml":
        path.write_text(text, encoding="utf-8", errors="replace")
    else:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("doc.kml", text.encode("utf-8", errors="replace"))


def shape_makers() -> dict[str, Maker]:
    """A maker for each kind of odd geometry and attribute."""

    def maker(shapes_of: Callable[[random.Random], list[bytes]]) -> Maker:
        return lambda whole, folder, chance: written_shapes(folder / f"hit{whole.suffix}", shapes_of(chance))

    def texts(whole: Path, folder: Path, chance: random.Random) -> Path:
        return written_shapes(folder / f"hit{whole.suffix}", [wkb_polygon(SQUARE)], _texts(chance))

    return {**{name: maker(make) for name, make in SHAPES.items()}, "huge texts": texts}
