"""GeoParquet (OGC 1.0 and 1.1) through pyarrow, batch by batch."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import geopandas
import numpy as np

from scout.errors import InputError
from scout.read.formats import Opening
from scout.read.tables import Batch, Box, Stream, arrow_frame

__all__ = ["by_parquet"]

_BATCH = 10_000  # records


@contextmanager
def by_parquet(opening: Opening, _: str | int | None, __: Box | None) -> Iterator[Stream]:
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
    import pyarrow
    from pyarrow import parquet

    try:
        with parquet.ParquetFile(where) as file:
            geo = json.loads((file.schema_arrow.metadata or {}).get(b"geo", b"{}"))
            name = geo.get("primary_column")
            column = geo.get("columns", {}).get(name)
            if column is None or name not in file.schema_arrow.names:
                raise InputError(where, "is Parquet without a geometry column", "write it as GeoParquet")
            crs = column.get("crs", "OGC:CRS84")
            yield Stream(
                json.dumps(crs) if isinstance(crs, dict) else crs,
                _batches(file, geo, name, opening),
                arrow_frame,
            )
    except (pyarrow.ArrowException, ValueError, AttributeError) as error:
        raise InputError(where, f"is no GeoParquet or a damaged one ({error})", "write it again") from error


def _batches(file: Any, geo: dict[str, Any], name: str, opening: Opening) -> Iterator[Batch]:
    nested = [f.name for f in file.schema_arrow if f.type.num_fields]
    plain = [n for n in file.schema_arrow.names if n not in geo["columns"] and n not in nested]
    shapes = None
    if geo["columns"][name].get("encoding", "WKB") != "WKB":  # one of the arrow layouts of version 1.1
        shapes = geopandas.read_parquet(opening.target, columns=[name]).geometry.to_wkb().to_numpy()
    start = 0
    for batch in file.iter_batches(_BATCH, columns=plain if shapes is not None else [*plain, name]):
        rows = slice(start, start + len(batch))
        wkb = batch.column(name).to_numpy(zero_copy_only=False) if shapes is None else shapes[rows]
        yield Batch(batch.select(plain), np.arange(rows.start + 1, rows.stop + 1), wkb)
        start = rows.stop
