"""GeoParquet as joined, filled and packed by others: bounds columns in part, values kept once for many records."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from fuzz.damage_bytes import Maker

__all__ = ["PARQUET"]

_SIDES = ("xmin", "ymin", "xmax", "ymax")
_JOINED = 6000  # records, more than are read without asking an index


def _geo(stated: list[float] | None, covered: bool) -> dict[str, bytes]:
    column: dict[str, Any] = {"encoding": "WKB", "geometry_types": ["Polygon"]}
    if stated is not None:
        column["bbox"] = stated
    if covered:
        column["covering"] = {"bbox": {side: ["bbox", side] for side in _SIDES}}
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    return {"geo": json.dumps(geo).encode()}


def _joined(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Two tables, one without sound bounds: none, no numbers, or numbers that are wrong."""
    import pyarrow
    from pyarrow import parquet

    at = np.arange(_JOINED)
    # Some lie over a line, and none over another: what they share is no matter here.
    west, south = -25.02 + at % 100 / 10, 39.98 + at // 100 / 10
    bounds = np.stack([west, south, west + 0.04, south + 0.04], axis=1)
    stated = chance.choice(([west.min(), south.min(), west.max() + 0.04, south.max() + 0.04], None))
    wrong = bounds.copy()
    rows = chance.choice((slice(0, 10), slice(3000, None), slice(4000, 4200), slice(5999, None), slice(None)))
    change = chance.choice(("none", "nan", "zero", "moved", "turned", "inf", "huge", "sound"))
    if change in ("moved", "huge"):
        wrong[rows] += 0.4 if change == "moved" else 1e300
    elif change == "turned":
        wrong[rows] = wrong[rows][:, [2, 3, 0, 1]]
    elif change != "sound":
        wrong[rows] = {"none": np.nan, "nan": np.nan, "zero": 0.0, "inf": np.inf}[change]
    whole_rows = change == "none" and chance.random() < 0.5
    gone = np.zeros(_JOINED, dtype=bool)
    gone[rows] = change == "none"
    kind = chance.choice((pyarrow.float32(), pyarrow.float64()))
    sides = [pyarrow.array(side, kind, mask=None if whole_rows else gone) for side in wrong.T]
    box = pyarrow.StructArray.from_arrays(sides, _SIDES, mask=pyarrow.array(gone) if whole_rows else None)
    table = pyarrow.table(
        {
            "name": [f"Q{k}" for k in range(_JOINED)],
            "geometry": shapely.to_wkb(shapely.box(*bounds.T)).tolist(),
            "bbox": box,
        }
    )
    path = folder / f"hit{whole.suffix}"
    geo = _geo(None if stated is None else [float(one) for one in stated], chance.random() < 0.95)
    size = chance.choice((500, 2500, 10_000))
    parquet.write_table(table.replace_schema_metadata(geo), path, row_group_size=size)
    return path


def _kept_once(whole: Path, folder: Path, chance: random.Random) -> Path:
    """One long text or outline for many records, or texts that share all but their ends."""
    import pyarrow
    from pyarrow import parquet

    count = chance.choice((2, 300, 20_000))
    length = chance.choice((100, 10_000, 1_000_000, 30_000_000))
    shape = shapely.box(-20.05, 44.95, -19.95, 45.05)
    if chance.random() < 0.3:
        shape = shapely.segmentize(shape, chance.choice((1e-3, 1e-5)))
    zeros = np.zeros(count, np.int32)
    outlines = pyarrow.DictionaryArray.from_arrays(zeros, [shape.wkb])
    options: dict[str, Any] = {"compression": "zstd"}
    if count * length < 2**27 and chance.random() < 0.5:
        texts = pyarrow.array(["a" * length + str(k) for k in range(count)])
        options |= {"use_dictionary": ["geometry"], "column_encoding": {"name": "DELTA_BYTE_ARRAY"}}
    else:
        texts = pyarrow.DictionaryArray.from_arrays(zeros, ["a" * length])
    column = chance.choice(("name", "remark", "id"))
    if "column_encoding" in options:
        options["column_encoding"] = {column: "DELTA_BYTE_ARRAY"}
    table = pyarrow.table({column: texts, "geometry": outlines})
    path = folder / f"hit{whole.suffix}"
    noted = chance.random() < 0.5  # by which texts kept once are read as such
    with parquet.ParquetWriter(path, table.schema, store_schema=noted, **options) as out:
        out.write_table(table)
        out.add_key_value_metadata(_geo(None, False))
    return path


def _equal(whole: Path, folder: Path, chance: random.Random) -> Path:
    """One record over and over, with one name, none or a name for each."""
    import pyarrow
    from pyarrow import parquet

    count = chance.choice((3000, 30_000, 100_000))
    shape = shapely.box(-20.05, 44.95, -19.95, 45.05)
    columns: dict[str, Any] = {"geometry": pyarrow.array([shape.wkb]).take(np.zeros(count, np.int32))}
    names = chance.choice(("one", "none", "each", "few"))
    if names != "none":
        every = {"one": 1, "each": count, "few": 3}[names]
        columns["name"] = [f"Q{k % every}" for k in range(count)]
    if chance.random() < 0.3:
        columns["id"] = [f"R-{k % 7}" for k in range(count)]
    path = folder / f"hit{whole.suffix}"
    table = pyarrow.table(columns).replace_schema_metadata(_geo(None, False))
    parquet.write_table(table, path, compression="zstd")
    return path


def _over_each_other(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Parks by the thousand over or beside one another, and thousands in or across a long one."""
    import pyarrow
    from pyarrow import parquet

    kind = chance.choice(("shifted", "angles", "held", "across"))
    if kind in ("shifted", "angles"):
        count = chance.choice((1000, 3000, 20_000))
        at = np.arange(count) * chance.choice((1e-7, 1e-6, 1e-5))
        thin = chance.choice((3e-8, 0.05))
        corner = [(0, 0), (0.2, 0), (0.2, 0.2), (0.2 - thin, 0.2), (0.2 - thin, thin), (0, thin)]
        if kind == "shifted":
            corner = [(0, 0), (0.1, 0), (0.1, 0.1), (0, 0.1)]
        shapes = shapely.polygons(
            np.array(corner) + np.stack([at - 20.1, np.full(count, 44.9)], axis=1)[:, None]
        )
    else:
        turn = np.linspace(0, 2 * np.pi, chance.choice((5000, 20_000)), endpoint=False)
        ragged = 1 + 1e-3 * np.sin(turn * 997)
        long = shapely.Polygon(
            np.stack([ragged * np.cos(turn) - 20, 0.7 * ragged * np.sin(turn) + 45], axis=1)
        )
        turn = np.linspace(0, 2 * np.pi, chance.choice((300, 3000)), endpoint=False)
        out = np.sqrt(np.linspace(0, 0.98, len(turn))) if kind == "held" else np.ones(len(turn))
        x, y, half = out * np.cos(turn) - 20, 0.7 * out * np.sin(turn) + 45, 1e-4
        shapes = np.append(shapely.box(x - half, y - half, x + half, y + half), long)
    path = folder / f"hit{whole.suffix}"
    columns = {"geometry": shapely.to_wkb(shapes).tolist(), "name": [f"Q{k}" for k in range(len(shapes))]}
    table = pyarrow.table(columns).replace_schema_metadata(_geo(None, False))
    parquet.write_table(table, path, compression="zstd")
    return path


PARQUET: dict[str, dict[str, Maker]] = {
    "GeoParquet": {
        "joined tables": _joined,
        "kept once for many": _kept_once,
        "equal records": _equal,
        "over each other": _over_each_other,
    }
}
