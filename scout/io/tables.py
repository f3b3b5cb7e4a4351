"""Records as they come from a file: attributes, record numbers and well-known binaries, batch by batch.

With pyarrow GDAL hands over small batches, which is faster and keeps the peak of memory low; without it, or
where the arrow way fails (curves, text in another encoding than it says), pyogrio reads the layer at once.
"""

from __future__ import annotations

import importlib.util
import warnings
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
import pyogrio
import pyogrio.raw
from numpy.typing import NDArray

from scout.io.formats import Opening

Box = tuple[float, float, float, float]
# Of a layer, in its own system: a box, records by GDAL's feature ids, or all of it.
Part: TypeAlias = Box | NDArray[np.int64] | None

_BATCH = 2000  # records; measured: larger ones are slower and take more memory
_ROWS = 20_000  # of a table without geometry; of one large batch GDAL makes no work for two cores


@dataclass(frozen=True, slots=True)
class RecordBatch:
    """Some records in a row; ``attributes`` is what the stream joins, without geometry.

    ``shapes`` are binaries, None where there is no geometry or it could not be read; or geometries, where
    ``made`` says so and nothing was left out.
    """

    attributes: Any
    numbers: NDArray[np.int64]
    shapes: NDArray[np.object_]
    made: bool = False

    def rows(self, keep: NDArray[np.bool_]) -> RecordBatch:
        """Some of the records."""
        table = isinstance(self.attributes, pd.DataFrame)
        attributes = self.attributes[keep] if table else self.attributes.filter(keep)
        return RecordBatch(attributes, self.numbers[keep], self.shapes[keep], self.made)


@dataclass(frozen=True, slots=True)
class LayerStream:
    """An opened layer."""

    crs: str | None
    batches: Iterator[RecordBatch]
    joined: Callable[[list[Any]], pd.DataFrame]  # attributes of all batches in one frame


Opener = Callable[[Opening, str | int | None, Part], AbstractContextManager[LayerStream]]


def isin_sorted(numbers: NDArray[np.int64], asked: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which numbers are among those asked for, which are ascending: `numpy.isin` for many small batches."""
    if not len(asked):
        return np.zeros(len(numbers), dtype=bool)
    found: NDArray[np.bool_] = asked[np.minimum(np.searchsorted(asked, numbers), len(asked) - 1)] == numbers
    return found


def list_streams(arrow: bool) -> list[Opener]:
    """The ways to read a layer through GDAL, best first; without ``arrow`` the plain one only.

    Boxes are asked for the plain way: where one holds nothing, the arrow way of FlatGeobuf makes up a record
    (GDAL 3.12).
    """
    return (
        [_open_by_arrow, _open_at_once] if arrow and importlib.util.find_spec("pyarrow") else [_open_at_once]
    )


@contextmanager
def _open_by_arrow(opening: Opening, layer: str | int | None, part: Part) -> Iterator[LayerStream]:
    options = {
        "layer": layer,
        **_limit_to_part(part, opening),
        "encoding": opening.encoding,
        "return_fids": True,
    }
    options |= {"use_pyarrow": True, "batch_size": _BATCH, **opening.options}
    with translate_arrow_errors(), pyogrio.open_arrow(opening.target, **options) as (meta, reader):
        yield LayerStream(meta["crs"], _read_arrow_batches(reader, meta, opening), make_arrow_frame)


def _limit_to_part(part: Part, opening: Opening) -> dict[str, Any]:
    if not isinstance(part, np.ndarray):
        return {"bbox": part}
    if not opening.fid_column:
        return {"fids": part}
    # One question to the database; by `fids` GDAL asks for every record apart.
    column = opening.fid_column.replace('"', '""')
    return {"where": f'"{column}" in ({",".join(map(str, part.tolist()))})'}


@contextmanager
def translate_arrow_errors() -> Iterator[None]:
    """What arrow raises over a file, as the RuntimeError that GDAL's errors are."""
    import pyarrow

    try:
        yield
    except (pyarrow.ArrowException, OSError) as error:
        raise RuntimeError(str(error)) from error


def _read_arrow_batches(reader: Any, meta: dict[str, Any], opening: Opening) -> Iterator[RecordBatch]:
    start, fields = 0, len(meta["fields"])
    for batch in reader:
        # By place, for a field may have the name of one of these: the ids, the fields, the geometry.
        if batch.num_columns < fields + 2:
            raise RuntimeError("GDAL finds no outlines in it")
        fids = batch.column(0).to_numpy(zero_copy_only=False)
        wkb = batch.column(1 + fields).to_numpy(zero_copy_only=False)
        attributes = batch.select(range(1, 1 + fields))
        attributes.validate(full=True)  # else text that is no UTF-8 goes unnoticed until it is used
        # A copy: columns as GDAL hands them over keep the whole batch, its binaries too.
        copied = attributes.take(np.arange(len(fids)))
        yield RecordBatch(copied, _number_rows(opening, fids, start), wkb)
        start += len(fids)


def make_arrow_frame(batches: list[Any]) -> pd.DataFrame:
    """Attributes of arrow batches; whole numbers stay whole where some are missing."""
    import pyarrow

    if not batches or not batches[0].num_columns:
        return pd.DataFrame(index=range(sum(len(batch) for batch in batches)))
    with translate_arrow_errors():
        return pyarrow.Table.from_batches(batches).to_pandas(integer_object_nulls=True, ignore_metadata=True)


def read_columns(
    opening: Opening, layer: str | int | None, columns: list[str]
) -> tuple[NDArray[np.int64], pd.DataFrame]:
    """Record numbers and some columns of all records; no geometry is read."""
    options = {"layer": layer, "columns": columns, "read_geometry": False, "return_fids": True}
    options |= {"encoding": opening.encoding, **opening.options}
    if importlib.util.find_spec("pyarrow") is None:
        meta, fids, _, values = pyogrio.raw.read(opening.target, **options)
        pairs = zip(meta["fields"], values, strict=True)
        return _number_rows(opening, fids, 0), pd.DataFrame(
            {str(n): v for n, v in pairs}, index=range(len(fids))
        )
    with translate_arrow_errors():
        meta, found = pyogrio.raw.read_arrow(opening.target, batch_size=_ROWS, **options)
        found.validate(full=True)
        fids = found.column(0).to_numpy()
    frame = make_arrow_frame(found.select(range(1, 1 + len(meta["fields"]))).to_batches())
    return _number_rows(opening, fids, 0), frame


def read_bounds(opening: Opening, layer: str | int | None) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Record numbers and bounds, shape (n, 4), in the layer's own system: GDAL runs through all outlines."""
    fids, bounds = pyogrio.read_bounds(opening.target, layer=layer, **opening.options)
    return _number_rows(opening, fids, 0), bounds.T


@contextmanager
def _open_at_once(opening: Opening, layer: str | int | None, part: Part) -> Iterator[LayerStream]:
    options = {"layer": layer, **_limit_to_part(part, opening), "return_fids": True, **opening.options}
    try:
        read = pyogrio.raw.read(opening.target, encoding=opening.encoding, **options)
    except UnicodeError:
        read = pyogrio.raw.read(opening.target, encoding="ISO-8859-1", **options)
        warnings.warn("text in another encoding than the file says: names may be garbled", stacklevel=1)
    meta, fids, wkb, columns = read
    frame = pd.DataFrame(
        {str(n): c for n, c in zip(meta["fields"], columns, strict=True)}, index=range(len(fids))
    )
    yield LayerStream(
        meta["crs"], _slice_batches(opening, frame, fids, wkb), lambda frames: pd.concat(frames)
    )


def _slice_batches(
    opening: Opening, frame: pd.DataFrame, fids: NDArray[Any], wkb: NDArray[np.object_]
) -> Iterator[RecordBatch]:
    numbers = _number_rows(opening, fids, 0)
    for start in range(0, max(len(fids), 1), _BATCH):
        rows = slice(start, start + _BATCH)
        yield RecordBatch(frame.iloc[rows], numbers[rows], wkb[rows].copy())
        wkb[rows] = None  # the binaries of this slice are needed no more


def _number_rows(opening: Opening, fids: NDArray[Any], start: int) -> NDArray[np.int64]:
    if opening.numbering == "position":
        return np.arange(start + 1, start + len(fids) + 1)
    return fids.astype(np.int64) + (opening.numbering == "fid from 0")
