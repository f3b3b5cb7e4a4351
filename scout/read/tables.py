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
import shapely
from numpy.typing import NDArray

from scout.read.formats import Opening

__all__ = ["Batch", "Box", "Part", "Stream", "arrow_frame", "arrow_trouble", "streams"]

Box = tuple[float, float, float, float]
Part: TypeAlias = Box | shapely.Geometry | None  # of a layer, in its own system: a box, a shape, or all of it

_BATCH = 2000  # records; measured: larger ones are slower and take more memory


@dataclass(frozen=True, slots=True)
class Batch:
    """Some records in a row; ``attributes`` is an arrow batch or a data frame, without geometry."""

    attributes: Any
    numbers: NDArray[np.int64]
    wkb: NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Stream:
    """An opened layer."""

    crs: str | None
    batches: Iterator[Batch]
    joined: Callable[[list[Any]], pd.DataFrame]  # attributes of all batches in one frame


Opener = Callable[[Opening, str | int | None, Part], AbstractContextManager[Stream]]


def streams(whole: bool) -> list[Opener]:
    """The ways to read a layer through GDAL, best first.

    Parts of a layer are read the plain way only: with a box that holds nothing, the arrow way of FlatGeobuf
    makes up a record (GDAL 3.12).
    """
    return [_by_arrow, _at_once] if whole and importlib.util.find_spec("pyarrow") else [_at_once]


@contextmanager
def _by_arrow(opening: Opening, layer: str | int | None, part: Part) -> Iterator[Stream]:
    options = {"layer": layer, **_only(part), "encoding": opening.encoding, "return_fids": True}
    options |= {"use_pyarrow": True, "batch_size": _BATCH, **opening.options}
    with arrow_trouble(), pyogrio.open_arrow(opening.target, **options) as (meta, reader):
        yield Stream(meta["crs"], _arrow_batches(reader, meta, opening), arrow_frame)


def _only(part: Part) -> dict[str, Any]:
    return {"mask" if isinstance(part, shapely.Geometry) else "bbox": part}


@contextmanager
def arrow_trouble() -> Iterator[None]:
    """What arrow raises over a file, as the RuntimeError that GDAL's errors are."""
    import pyarrow

    try:
        yield
    except (pyarrow.ArrowException, OSError) as error:
        raise RuntimeError(str(error)) from error


def _arrow_batches(reader: Any, meta: dict[str, Any], opening: Opening) -> Iterator[Batch]:
    shape, fid = meta["geometry_name"] or "wkb_geometry", meta["fid_column"] or "OGC_FID"
    start = 0
    for batch in reader:
        names = [name for name in batch.schema.names if name not in (shape, fid)]
        fids = batch.column(fid).to_numpy(zero_copy_only=False)
        wkb = batch.column(shape).to_numpy(zero_copy_only=False)
        attributes = batch.select(names)
        attributes.validate(full=True)  # else text that is no UTF-8 goes unnoticed until it is used
        yield Batch(attributes, _numbers(opening, fids, start), wkb)
        start += len(fids)


def arrow_frame(batches: list[Any]) -> pd.DataFrame:
    """Attributes of arrow batches; whole numbers stay whole where some are missing."""
    import pyarrow

    if not batches[0].num_columns:
        return pd.DataFrame(index=range(sum(len(batch) for batch in batches)))
    with arrow_trouble():
        return pyarrow.Table.from_batches(batches).to_pandas(integer_object_nulls=True, ignore_metadata=True)


@contextmanager
def _at_once(opening: Opening, layer: str | int | None, part: Part) -> Iterator[Stream]:
    options = {"layer": layer, **_only(part), "return_fids": True, **opening.options}
    try:
        read = pyogrio.raw.read(opening.target, encoding=opening.encoding, **options)
    except UnicodeError:
        read = pyogrio.raw.read(opening.target, encoding="ISO-8859-1", **options)
        warnings.warn("text in another encoding than the file says: names may be garbled", stacklevel=1)
    meta, fids, wkb, columns = read
    frame = pd.DataFrame(
        {str(n): c for n, c in zip(meta["fields"], columns, strict=True)}, index=range(len(fids))
    )
    yield Stream(meta["crs"], _slices(opening, frame, fids, wkb), lambda frames: pd.concat(frames))


def _slices(
    opening: Opening, frame: pd.DataFrame, fids: NDArray[Any], wkb: NDArray[np.object_]
) -> Iterator[Batch]:
    numbers = _numbers(opening, fids, 0)
    for start in range(0, max(len(fids), 1), _BATCH):
        rows = slice(start, start + _BATCH)
        yield Batch(frame.iloc[rows], numbers[rows], wkb[rows].copy())
        wkb[rows] = None  # the binaries of this slice are needed no more


def _numbers(opening: Opening, fids: NDArray[Any], start: int) -> NDArray[np.int64]:
    if opening.numbering == "position":
        return np.arange(start + 1, start + len(fids) + 1)
    return fids.astype(np.int64) + (opening.numbering == "fid from 0")
