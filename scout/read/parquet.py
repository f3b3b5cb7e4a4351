"""GeoParquet (OGC 1.0 and 1.1) through pyarrow, batch by batch."""

from __future__ import annotations

import importlib.util
import json
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.read.formats import Opening
from scout.read.tables import Batch, Part, Stream, among, arrow_frame, arrow_trouble

__all__ = ["OURS", "TURN", "boxes_in", "by_parquet", "columns_in", "ours_in", "sample_in", "table_in"]

OURS = b"scout:parks"  # entry in the metadata of prepared files
TURN = "scout:turn"  # column there: the place of each park in the order they came in, from 0

_BATCH = 2000  # records
# Outlines of parks pack to a half at best; a small file of the same one over and over has no end.
_REPEATED, _HARMLESS = 100, 2**25  # times the file's size, and bytes that are always taken
_SAMPLE, _GROUPS = 250, 16  # records compared of a row group, and row groups at least
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
    with _opened(opening, pre_buffer=False, buffer_size=_BUFFER) as (file, geo):
        crs = geo["columns"][geo["primary_column"]].get("crs", "OGC:CRS84")
        text = json.dumps(crs) if isinstance(crs, dict) else crs
        asked = part if isinstance(part, np.ndarray) else None
        yield Stream(text, _batches(file, geo, opening, asked), arrow_frame)


def ours_in(opening: Opening) -> dict[str, Any] | None:
    """What a prepared file says of the files it was made from; None for any other file."""
    if opening.drivers != ("Parquet",):
        return None
    with _opened(opening) as (file, _):
        return _ours(file)


def _ours(file: Any) -> dict[str, Any] | None:
    try:
        found = json.loads((file.schema_arrow.metadata or {})[OURS])
        whole = isinstance(found["operation"], str) and isinstance(found["warnings"], list)
        sound = whole and float(found["accuracy_m"]) >= 0 and TURN in file.schema_arrow.names
    except (KeyError, TypeError, ValueError):
        return None
    return found if sound else None


def boxes_in(
    opening: Opening,
) -> tuple[NDArray[np.int64], NDArray[np.float64], str | None] | None:
    """Numbers of all records, bounds, shape (n, 4), from the columns that GeoParquet 1.1 has, and the system.

    None where there are no such columns, or records other than areas.
    """
    with _opened(opening) as (file, geo):
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
        numbers, crs = _numbers(file), column.get("crs", "OGC:CRS84")
    bounds = np.stack(values, axis=1).astype(float)
    return numbers, bounds, json.dumps(crs) if isinstance(crs, dict) else crs


def sample_in(opening: Opening, bounds: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Places of some records with bounds of their own, shape (n, 4), to compare with the file's columns.

    Those at the head of some row groups, spread over the file, and every one whose columns say nothing or
    cannot be: tables joined may have bounds in part.
    """
    sound = np.isfinite(bounds).all(axis=1) & (bounds[:, :2] <= bounds[:, 2:]).all(axis=1)
    odd = np.asarray(~sound, dtype=np.bool_)
    places, shapes, start = [], [], 0
    with _opened(opening, pre_buffer=False, buffer_size=_BUFFER) as (file, geo):
        every = max(file.num_row_groups // _GROUPS, 1)
        for group in range(file.num_row_groups):
            size, first = file.metadata.row_group(group).num_rows, start
            rest = odd[start : start + size].any()
            start += size
            if group % every and not rest:
                continue
            for batch in file.iter_batches(_SAMPLE, row_groups=[group], columns=[geo["primary_column"]]):
                chosen = np.arange(first, first + len(batch))
                keep = odd[chosen] | (first + size == start)
                wkb = batch.column(0).to_numpy(zero_copy_only=False)[keep]
                made = shapely.from_wkb(wkb, on_invalid="ignore")
                # A broken ring has no bounds to compare; where the columns have none either, it counts.
                there = np.where(shapely.is_missing(made), odd[chosen][keep], ~shapely.is_empty(made))
                there &= np.array([one is not None for one in wkb], dtype=bool)
                places.append(chosen[keep][there])
                shapes.append(made[there])
                first += len(batch)
                if not rest:
                    break
    return np.concatenate(places), shapely.bounds(np.concatenate(shapes))


def table_in(opening: Opening, columns: list[str]) -> tuple[NDArray[np.int64], Any]:
    """Numbers and some columns of all records, as they lie in the file."""
    with _opened(opening) as (file, _):
        found = file.read(columns=columns).replace_schema_metadata(None)
        found.validate(full=True)
        return _numbers(file), arrow_frame(found.to_batches())


def columns_in(opening: Opening) -> list[str]:
    """Names of the plain columns."""
    with _opened(opening) as (file, geo):
        return [f.name for f in file.schema_arrow if f.name not in geo["columns"] and not f.type.num_fields]


@contextmanager
def _opened(opening: Opening, **options: Any) -> Iterator[tuple[Any, dict[str, Any]]]:
    where = str(opening.target)
    if importlib.util.find_spec("pyarrow") is None:
        raise InputError(
            where, "GeoParquet needs pyarrow", "install it with: pip install lattice-scout[parquet]"
        )
    from pyarrow import parquet

    with arrow_trouble(), parquet.ParquetFile(where, **options) as file:
        yield file, _metadata(file, where)


def _numbers(file: Any) -> NDArray[np.int64]:
    """Record numbers: the place in the file, or in a prepared one in the order the parks came in."""
    if _ours(file) is None:
        return np.arange(1, file.metadata.num_rows + 1)
    turns: NDArray[np.int64] = file.read(columns=[TURN]).column(0).to_numpy().astype(np.int64)
    return turns + 1


def _metadata(file: Any, where: str) -> dict[str, Any]:
    """The `geo` entry of the file's metadata, seen to name a column that is there."""
    try:
        geo: dict[str, Any] = json.loads((file.schema_arrow.metadata or {})[b"geo"])
        name = geo["primary_column"]
        column = geo["columns"][name]
        known = name in file.schema_arrow.names and isinstance(column, dict) and bool(column)
        known = known and isinstance(geo["columns"], dict) and _sound(column)
    except (KeyError, TypeError, ValueError):
        known = False
    if not known:
        raise InputError(where, "is Parquet without a geometry column", "write it as GeoParquet")
    twice = [name for name, count in Counter(file.schema_arrow.names).items() if count > 1]
    if twice:
        raise InputError(where, f"has several columns called {twice[0]!r}", "rename all but one")
    return geo


def _sound(column: dict[str, Any]) -> bool:
    """Whether what is used of a column's entry is of the types that GeoParquet gives it."""
    kinds, crs, covering = (column.get(key) for key in ("geometry_types", "crs", "covering"))
    paths = covering.get("bbox") if isinstance(covering, dict) else None
    return (
        isinstance(column.get("encoding", "WKB"), str)
        and (kinds is None or (isinstance(kinds, list) and all(isinstance(k, str) and k for k in kinds)))
        and (crs is None or isinstance(crs, dict | str))
        and (covering is None or isinstance(covering, dict))
        and (paths is None or isinstance(paths, dict))
    )


def _batches(
    file: Any, geo: dict[str, Any], opening: Opening, asked: NDArray[np.int64] | None
) -> Iterator[Batch]:
    name = geo["primary_column"]
    nested = [f.name for f in file.schema_arrow if f.type.num_fields]
    plain = [n for n in file.schema_arrow.names if n not in geo["columns"] and n not in (*nested, TURN)]
    shapes = None
    if geo["columns"][name].get("encoding", "WKB") != "WKB":  # one of the arrow layouts of version 1.1
        try:
            shapes = geopandas.read_parquet(opening.target, columns=[name]).geometry.to_wkb().to_numpy()
        except (AttributeError, TypeError, KeyError, ValueError, IndexError) as error:
            raise RuntimeError("its geometry is not laid out as the file says") from error
    elif not _is_binary(file.schema_arrow.field(name).type):
        raise RuntimeError("its geometry is not laid out as the file says")
    taken, most = 0, max(_REPEATED * Path(str(opening.target)).stat().st_size, _HARMLESS)
    for numbers, start, batch in _in_order(file, asked, plain if shapes is not None else [*plain, name]):
        if shapes is None:
            wkb = batch.column(name).to_numpy(zero_copy_only=False)
        else:
            wkb = shapes[start : start + len(batch)]
        taken += batch.nbytes
        if taken > most:
            what = f"its records repeat: they take more than {_REPEATED} times the size of the file"
            raise InputError(str(opening.target), what, "export it with each park once")
        attributes = batch.select(plain).replace_schema_metadata(None)
        attributes.validate(full=True)
        whole = Batch(attributes, numbers, wkb)
        yield whole if asked is None else whole.rows(among(numbers, asked))


def _in_order(
    file: Any, asked: NDArray[np.int64] | None, columns: list[str]
) -> Iterator[tuple[NDArray[np.int64], int, Any]]:
    """Batches with their record numbers and places; row groups without a record asked for are passed over."""
    every, start = _numbers(file), 0
    wanted = np.ones(len(every), dtype=bool) if asked is None else among(every, asked)
    for group in range(file.num_row_groups):
        size = file.metadata.row_group(group).num_rows
        first = start
        some = wanted[start : start + size].any()
        for batch in file.iter_batches(_BATCH, row_groups=[group], columns=columns) if some else ():
            yield every[first : first + len(batch)], first, batch
            first += len(batch)
        start += size


def _is_binary(kind: Any) -> bool:
    from pyarrow import types

    return bool(types.is_binary(kind) or types.is_large_binary(kind) or types.is_fixed_size_binary(kind))
