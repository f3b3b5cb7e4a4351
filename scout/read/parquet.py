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
from numpy.typing import NDArray

from scout.errors import InputError
from scout.read.formats import Opening
from scout.read.tables import Batch, Part, Stream, arrow_frame, arrow_trouble

__all__ = ["boxes_in", "by_parquet", "columns_in", "table_in"]

_BATCH = 2000  # records
_BUFFER = (
    2**20
)  # bytes read at a time; by default pyarrow takes whole columns, and the peak is half as much again


@contextmanager
def by_parquet(opening: Opening, _: str | int | None, part: Part) -> Iterator[Stream]:
    """Open the one layer of a GeoParquet file; a part is an array of record numbers, ascending.

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
        asked = part if isinstance(part, np.ndarray) else None
        yield Stream(text, _batches(file, geo, opening, asked), arrow_frame)


def boxes_in(opening: Opening) -> tuple[NDArray[np.float64], str | None] | None:
    """Bounds of all records, shape (n, 4), from the columns that GeoParquet 1.1 has for them, and the system.

    None where there are no such columns, or records other than areas.
    """
    from pyarrow import parquet

    with arrow_trouble(), parquet.ParquetFile(str(opening.target)) as file:
        geo = _metadata(file, str(opening.target))
        column = geo["columns"][geo["primary_column"]]
        kinds = column.get("geometry_types") or ["unknown"]
        paths = column.get("covering", {}).get("bbox", {})
        sides = [paths.get(side) for side in ("xmin", "ymin", "xmax", "ymax")]
        areas = all(kind.split()[0] in ("Polygon", "MultiPolygon") for kind in kinds)
        if column.get("encoding", "WKB") != "WKB" or not areas or any(not path for path in sides):
            return None
        found = file.read(columns=[".".join(path) for path in sides]).flatten()
        found = found.rename_columns([name.replace(".", "\0") for name in found.column_names])
        values = [found.column("\0".join(path)).to_numpy() for path in sides]
        crs = column.get("crs", "OGC:CRS84")
    return np.stack(values, axis=1).astype(float), json.dumps(crs) if isinstance(crs, dict) else crs


def columns_in(opening: Opening) -> list[str]:
    """Names of the plain columns."""
    from pyarrow import parquet

    with arrow_trouble(), parquet.ParquetFile(str(opening.target)) as file:
        geo = _metadata(file, str(opening.target))
        return [f.name for f in file.schema_arrow if f.name not in geo["columns"] and not f.type.num_fields]


def table_in(opening: Opening, columns: list[str]) -> Any:
    """Some columns of all records as a frame."""
    from pyarrow import parquet

    with arrow_trouble(), parquet.ParquetFile(str(opening.target)) as file:
        found = file.read(columns=columns).replace_schema_metadata(None)
        found.validate(full=True)
    return arrow_frame(found.to_batches())


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


def _batches(
    file: Any, geo: dict[str, Any], opening: Opening, asked: NDArray[np.int64] | None
) -> Iterator[Batch]:
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
    for start, batch in _in_order(file, asked, plain if shapes is not None else [*plain, name]):
        numbers = np.arange(start + 1, start + len(batch) + 1)
        if asked is not None:
            keep = np.isin(numbers, asked)
            numbers, batch = numbers[keep], batch.filter(keep)
        wkb = batch.column(name).to_numpy(zero_copy_only=False) if shapes is None else shapes[numbers - 1]
        attributes = batch.select(plain).replace_schema_metadata(None)
        attributes.validate(full=True)
        yield Batch(attributes, numbers, wkb)


def _in_order(file: Any, asked: NDArray[np.int64] | None, columns: list[str]) -> Iterator[tuple[int, Any]]:
    """Batches with the number of records before each; row groups without one asked for are passed over."""
    start = 0
    for group in range(file.num_row_groups):
        size = file.metadata.row_group(group).num_rows
        wanted = asked is None or np.ptp(np.searchsorted(asked, [start, start + size], side="right")) > 0
        first = start
        for batch in file.iter_batches(_BATCH, row_groups=[group], columns=columns) if wanted else ():
            yield first, batch
            first += len(batch)
        start += size


def _is_binary(kind: Any) -> bool:
    from pyarrow import types

    return bool(types.is_binary(kind) or types.is_large_binary(kind) or types.is_fixed_size_binary(kind))
