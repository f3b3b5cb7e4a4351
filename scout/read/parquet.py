"""GeoParquet (OGC 1.0 and 1.1) through pyarrow, batch by batch."""

from __future__ import annotations

import importlib.util
import json
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import geopandas
import numpy as np

from scout.errors import InputError
from scout.read.formats import Opening
from scout.read.tables import Batch, Part, Stream, arrow_frame, arrow_trouble

__all__ = ["by_parquet"]

_BATCH = 2000  # records
_BUFFER = (
    2**20
)  # bytes read at a time; by default pyarrow takes whole columns, and the peak is half as much again


@contextmanager
def by_parquet(opening: Opening, _: str | int | None, __: Part) -> Iterator[Stream]:
    """Open the one layer of a GeoParquet file.

    Raises
    ------
    InputError
        pyarrow is not installed, or the file has no geometry column.
    """
    where = str(opening.target)
    if importlib.util.find_spec("pyarrow") is None:
        raise InputError(
            where, "GeoParquet needs pyarrow", "install it with: pip install lattice-scout[parquet]"
        )
    from pyarrow import parquet

    with arrow_trouble(), parquet.ParquetFile(where, pre_buffer=False, buffer_size=_BUFFER) as file:
        geo = _metadata(file, where)
        crs = geo["columns"][geo["primary_column"]].get("crs", "OGC:CRS84")
        text = json.dumps(crs) if isinstance(crs, dict) else crs
        yield Stream(text, _batches(file, geo, opening), arrow_frame)


def _metadata(file: Any, where: str) -> dict[str, Any]:
    """The `geo` entry of the file's metadata, seen to name a column that is there."""
    try:
        geo: dict[str, Any] = json.loads((file.schema_arrow.metadata or {})[b"geo"])
        known = geo["primary_column"] in file.schema_arrow.names and geo["columns"][geo["primary_column"]]
    except (KeyError, TypeError, ValueError):
        known = False
    if not known:
        raise InputError(where, "is Parquet without a geometry column", "write it as GeoParquet")
    twice = [name for name, count in Counter(file.schema_arrow.names).items() if count > 1]
    if twice:
        raise InputError(where, f"has several columns called {twice[0]!r}", "rename all but one")
    return geo


def _batches(file: Any, geo: dict[str, Any], opening: Opening) -> Iterator[Batch]:
    name = geo["primary_column"]
    nested = [f.name for f in file.schema_arrow if f.type.num_fields]
    plain = [n for n in file.schema_arrow.names if n not in geo["columns"] and n not in nested]
    shapes = None
    if geo["columns"][name].get("encoding", "WKB") != "WKB":  # one of the arrow layouts of version 1.1
        try:
            shapes = geopandas.read_parquet(opening.target, columns=[name]).geometry.to_wkb().to_numpy()
        except (AttributeError, TypeError, KeyError, ValueError, IndexError) as error:
            raise RuntimeError("its geometry is not laid out as the file says") from error
    elif not _is_binary(file.schema_arrow.field(name).type):
        raise RuntimeError("its geometry is not laid out as the file says")
    start = 0
    for batch in file.iter_batches(_BATCH, columns=plain if shapes is not None else [*plain, name]):
        rows = slice(start, start + len(batch))
        wkb = batch.column(name).to_numpy(zero_copy_only=False) if shapes is None else shapes[rows]
        attributes = batch.select(plain).replace_schema_metadata(None)
        attributes.validate(full=True)
        yield Batch(attributes, np.arange(rows.start + 1, rows.stop + 1), wkb)
        start = rows.stop


def _is_binary(kind: Any) -> bool:
    from pyarrow import types

    return bool(types.is_binary(kind) or types.is_large_binary(kind) or types.is_fixed_size_binary(kind))
