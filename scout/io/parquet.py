"""What a Parquet file unpacks to, known from its metadata before anything is unpacked.

A value that is kept once may stand for a million records, and a text of a gigabyte packs to nothing.
"""

from __future__ import annotations

import importlib.util
import json
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import geopandas
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.io.curves import leave_out_deep
from scout.io.formats import Opening
from scout.io.tables import (
    LayerStream,
    Part,
    RecordBatch,
    isin_sorted,
    make_arrow_frame,
    translate_arrow_errors,
)
from scout.io.trust import SHORT, UnreliableIndex

_MOST, _TIMES = 2**29, 40  # bytes that are always taken, and times the file's size
_EACH = 200  # bytes that a record takes here beside its values
_BATCH, _AT_ONCE = 2000, 2**28  # records of a batch, and bytes that one may take
# Apache Parquet's format: physical types of fixed width, in bytes; PageType of dictionaries.
_WIDTHS = {"BOOLEAN": 1, "INT32": 4, "INT64": 8, "FLOAT": 4, "DOUBLE": 8, "INT96": 12}
_DICTIONARY_PAGE, _HEADER = 2, 64


@dataclass
class Budget:
    """What may be unpacked of some columns of a file, and what of it is left."""

    where: str
    rows: int  # of a batch
    left: int

    @classmethod
    def of(cls, file: Any, where: str, columns: Iterable[str]) -> Budget:
        """Look at the metadata of the columns that are to be read, by the names of their roots.

        Raises
        ------
        InputError
            They are too much, whatever else is in them.
        """
        meta, roots = file.metadata, tuple(columns)
        budget = cls(where, _BATCH, max(_MOST, _TIMES * Path(where).stat().st_size))
        places = [
            place
            for place in range(meta.num_columns)
            if (path := meta.schema.column(place).path) in roots
            or any(path.startswith(f"{root}.") for root in roots)
        ]
        widths = {
            k: max(_WIDTHS.get((one := meta.schema.column(k)).physical_type, one.length), 0) for k in places
        }
        total, longest = meta.num_rows * _EACH, 1
        with Path(where).open("rb") as stream:
            for group in range(meta.num_row_groups):
                for place, width in widths.items():
                    chunk = meta.row_group(group).column(place)
                    total += max(chunk.total_uncompressed_size, chunk.num_values * width)
                    if chunk.physical_type == "BYTE_ARRAY":
                        longest = max(longest, _find_longest_value(stream, chunk))
        if total > budget.left:
            raise budget.refusal()
        budget.rows = min(max(_AT_ONCE // longest, 1), _BATCH)
        return budget

    def take(self, batch: Any) -> None:
        """Count what has been unpacked.

        Raises
        ------
        InputError
            It is too much.
        """
        self.left -= batch.nbytes + _EACH * len(batch)
        if self.left < 0:
            raise self.refusal()

    def refusal(self) -> InputError:
        """Say that it is too much."""
        what = (
            f"its records unpack to more than {_MOST // 2**20} MiB and {_TIMES} times the size of the file: "
            "values are repeated, or texts very long"
        )
        return InputError(self.where, what, "export it with each park once and short texts")


def _find_longest_value(stream: Any, chunk: Any) -> int:
    """Bytes that one of a column's values may have where it is kept once for many; 1 where none is."""
    if "DELTA_BYTE_ARRAY" in chunk.encodings:  # each value may be the one before and a little more
        return int(chunk.total_uncompressed_size)
    offsets = (chunk.dictionary_page_offset, chunk.data_page_offset)
    stream.seek(min(one for one in offsets if one))
    kind, size = _read_page_header(stream.read(_HEADER))
    return size if kind == _DICTIONARY_PAGE else 1


def _read_page_header(header: bytes) -> tuple[int, int]:
    """Type of a page and what it unpacks to: the first two fields of its header, in Thrift's compact form."""
    values, at = [], 0
    for _ in range(2):
        if header[at : at + 1] != b"\x15":  # the next field, a whole number of 32 bits
            raise RuntimeError("the header of a page is damaged")
        shift = value = 0
        while True:
            at += 1
            if at >= len(header):
                raise RuntimeError("the header of a page is damaged")
            value |= (header[at] & 0x7F) << shift
            shift += 7
            if not header[at] & 0x80:
                break
        at += 1
        values.append(value >> 1 ^ -(value & 1))
    return values[0], values[1]


# GeoParquet (OGC 1.0 and 1.1) through pyarrow, batch by batch.
OURS = b"scout:parks"  # entry in the metadata of prepared files
TURN = "scout:turn"  # column there: the place of each park in the order they came in, from 0

# Records are compared of every row group, so many at its head; of one in so many groups, but of so many at
# least, one in so many all through it.
_HEAD, _ONE_IN, _GROUPS, _SHARE = 64, 8, 16, 20
_BUFFER = (
    2**20
)  # bytes read at a time; by default pyarrow takes whole columns, and the peak is half as much again


@contextmanager
def open_by_parquet(opening: Opening, _: str | int | None, part: Part) -> Iterator[LayerStream]:
    """Open the one layer of a GeoParquet file; a part is an array of record numbers, ascending.

    Raises
    ------
    InputError
        pyarrow is not installed, or the file has no geometry column.
    """
    with _open_parquet(opening, pre_buffer=False, buffer_size=_BUFFER) as (file, geo):
        crs = geo["columns"][geo["primary_column"]].get("crs", "OGC:CRS84")
        text = json.dumps(crs) if isinstance(crs, dict) else crs
        asked = part if isinstance(part, np.ndarray) else None
        yield LayerStream(text, _read_batches(file, geo, opening, asked), make_arrow_frame)


def read_own_metadata(opening: Opening) -> dict[str, Any] | None:
    """What a prepared file says of the files it was made from; None for any other file."""
    if opening.drivers != ("Parquet",):
        return None
    with _open_parquet(opening) as (file, _):
        return _parse_own_metadata(file)


class ParkComparison(NamedTuple):
    """How parks were compared with each other when a file was prepared, if it was."""

    joined_pieces: bool = False  # that touch and have one name
    same_ground: float = 0.0  # share of common ground from which parks of one name became one; 0: none did
    notes: tuple[str, ...] = ()  # on those of different names


def read_comparison(opening: Opening) -> ParkComparison:
    """How the parks of a file were compared when it was prepared; not at all if it was not."""
    own = read_own_metadata(opening) or {}
    joined, share, notes = (own.get(key) for key in ("joined_pieces", "same_ground", "compared"))
    return ParkComparison(
        joined is True,
        float(share) if isinstance(share, (int, float)) else 0.0,
        tuple(map(str, notes)) if isinstance(notes, list) else (),
    )


def _parse_own_metadata(file: Any) -> dict[str, Any] | None:
    try:
        found = json.loads((file.schema_arrow.metadata or {})[OURS])
        whole = isinstance(found["operation"], str) and isinstance(found["warnings"], list)
        sound = whole and float(found["accuracy_m"]) >= 0
        sound = sound and str(file.schema_arrow.field(TURN).type).startswith(("int", "uint"))
    except (KeyError, TypeError, ValueError):
        return None
    return found if sound else None


def read_boxes(
    opening: Opening,
) -> tuple[NDArray[np.int64], NDArray[np.float64], str | None] | None:
    """Numbers of all records, bounds, shape (n, 4), from the columns that GeoParquet 1.1 has, and the system.

    None where there are no such columns, or records other than areas.
    """
    with _open_parquet(opening) as (file, geo):
        column = geo["columns"][geo["primary_column"]]
        kinds = column.get("geometry_types") or ["unknown"]
        paths = column.get("covering", {}).get("bbox", {})
        sides = [paths.get(side) for side in ("xmin", "ymin", "xmax", "ymax")]
        areas = all(kind.split()[0] in ("Polygon", "MultiPolygon") for kind in kinds)
        if column.get("encoding", "WKB") != "WKB" or not areas or any(not path for path in sides):
            return None
        Budget.of(file, str(opening.target), [path[0] for path in sides])
        found = file.read(columns=[".".join(path) for path in sides]).flatten()
        found = found.rename_columns([name.replace(".", "\0") for name in found.column_names])
        values = [found.column("\0".join(path)).to_numpy() for path in sides]
        numbers, crs = _number_records(file), column.get("crs", "OGC:CRS84")
        bounds = np.stack(values, axis=1).astype(float)
    return numbers, bounds, json.dumps(crs) if isinstance(crs, dict) else crs


def _check_stated(bounds: NDArray[np.float64], stated: Any) -> None:
    """Compare what the columns come to with the bounds that the file states of all its records."""
    if not isinstance(stated, list) or len(stated) not in (4, 6):
        return
    try:
        west, south, east, north = np.array([*stated[:2], *stated[len(stated) // 2 :][:2]], dtype=float)
    except (TypeError, ValueError):
        return
    there = bounds[np.isfinite(bounds).all(axis=1)]
    if west > east or not len(there):  # across the antimeridian
        return
    low, high = there[:, :2].min(axis=0), there[:, 2:].max(axis=0)
    # Single precision keeps seven digits.
    slack = SHORT + 1e-6 * np.abs([west, south, east, north]).max()
    if not np.allclose([*low, *high], [west, south, east, north], rtol=0, atol=slack):
        raise UnreliableIndex("all of it together has other bounds than the file states")


def sample_in(opening: Opening, bounds: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Places of some records with bounds of their own, shape (n, 4), to compare with the file's columns.

    Some at the head of each row group and, of some groups, all through them; and every one whose columns say
    nothing, what cannot be, or the same as another's: tables joined may have made up bounds in part. Of what
    scout prepared, the heads alone.

    Raises
    ------
    UnreliableIndex
        The columns contradict what the file says of all its records.
    """
    finite = np.asarray(np.isfinite(bounds).all(axis=1), dtype=np.bool_)
    places, own, start = [], [], 0
    with _open_parquet(opening, pre_buffer=False, buffer_size=_BUFFER) as (file, geo):
        ours = _parse_own_metadata(file) is not None
        odd = ~finite if ours else _is_odd(bounds)
        name = geo["primary_column"]
        _check_stated(bounds, geo["columns"][name].get("bbox"))
        rows = min(Budget.of(file, str(opening.target), [name]).rows, _HEAD * 8)
        through = set(
            np.linspace(0, file.num_row_groups - 1, _groups(file.num_row_groups)).astype(int).tolist()
            if not ours
            else ()
        )
        for group in range(file.num_row_groups):
            size, first = file.metadata.row_group(group).num_rows, start
            chosen = odd[start : start + size].copy()
            chosen[:_HEAD] = True
            if group in through:
                chosen[:: _SHARE if size > _HEAD * _SHARE else 1] = True
                chosen[-1:] = True
            last = start + int(np.flatnonzero(chosen)[-1]) if size else start
            for batch in file.iter_batches(rows, row_groups=[group], columns=[name]) if size else ():
                here = first + np.flatnonzero(chosen[first - start : first - start + len(batch)])
                wkb = batch.column(0).take(here - first).to_numpy(zero_copy_only=False)
                made = shapely.from_wkb(leave_out_deep(wkb), on_invalid="ignore")
                # A broken ring has no bounds to compare; where the columns have none either, it is anywhere.
                there = np.array([one is not None for one in wkb], dtype=bool)
                box = shapely.bounds(made).reshape(-1, 4)
                box[np.logical_and(there, shapely.is_missing(made)) & ~finite[here]] = [
                    -np.inf,
                    -np.inf,
                    np.inf,
                    np.inf,
                ]
                there = ~np.isnan(box[:, 0])
                places.append(here[there])
                own.append(box[there])
                first += len(batch)
                if first > last:
                    break
            start += size
    return np.concatenate(places), np.concatenate(own)


def _groups(count: int) -> int:
    """How many row groups to look through."""
    return min(count, max(_GROUPS, count // _ONE_IN))


def _is_odd(bounds: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Bounds that no area has, or that several records share."""
    sound = np.isfinite(bounds).all(axis=1) & (bounds[:, :2] < bounds[:, 2:]).all(axis=1)
    odd: NDArray[np.bool_] = ~sound | pd.DataFrame(bounds).duplicated(keep=False).to_numpy()
    return odd


def read_table(opening: Opening, columns: list[str]) -> tuple[NDArray[np.int64], Any]:
    """Numbers and some columns of all records, as they lie in the file."""
    with _open_parquet(opening) as (file, _):
        budget, found = Budget.of(file, str(opening.target), columns), []
        for batch in file.iter_batches(budget.rows, columns=columns):
            budget.take(batch)
            batch.validate(full=True)
            found.append(batch.replace_schema_metadata(None))
        return _number_records(file), make_arrow_frame(found) if columns else pd.DataFrame(
            index=range(file.metadata.num_rows)
        )


def list_columns(opening: Opening) -> list[str]:
    """Names of the plain columns."""
    with _open_parquet(opening) as (file, geo):
        return [f.name for f in file.schema_arrow if f.name not in geo["columns"] and not f.type.num_fields]


@contextmanager
def _open_parquet(opening: Opening, **options: Any) -> Iterator[tuple[Any, dict[str, Any]]]:
    where = str(opening.target)
    if importlib.util.find_spec("pyarrow") is None:
        raise InputError(
            where, "GeoParquet needs pyarrow", "install it with: pip install lattice-scout[parquet]"
        )
    from pyarrow import parquet

    with translate_arrow_errors(), parquet.ParquetFile(where, **options) as file:
        yield file, _read_metadata(file, where)


def _number_records(file: Any) -> NDArray[np.int64]:
    """Record numbers: the place in the file, or in a prepared one in the order the parks came in."""
    if _parse_own_metadata(file) is None:
        return np.arange(1, file.metadata.num_rows + 1)
    turns: NDArray[np.int64] = file.read(columns=[TURN]).column(0).to_numpy().astype(np.int64)
    return turns + 1


def _read_metadata(file: Any, where: str) -> dict[str, Any]:
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


def _read_batches(
    file: Any, geo: dict[str, Any], opening: Opening, asked: NDArray[np.int64] | None
) -> Iterator[RecordBatch]:
    name = geo["primary_column"]
    nested = [f.name for f in file.schema_arrow if f.type.num_fields]
    plain = [n for n in file.schema_arrow.names if n not in geo["columns"] and n not in (*nested, TURN)]
    budget = Budget.of(file, str(opening.target), [*plain, name])
    shapes = None
    if geo["columns"][name].get("encoding", "WKB") != "WKB":  # one of the arrow layouts of version 1.1
        try:
            shapes = geopandas.read_parquet(opening.target, columns=[name]).geometry.to_wkb().to_numpy()
        except (AttributeError, TypeError, KeyError, ValueError, IndexError) as error:
            raise RuntimeError("its geometry is not laid out as the file says") from error
    elif not _is_binary(file.schema_arrow.field(name).type):
        raise RuntimeError("its geometry is not laid out as the file says")
    columns = plain if shapes is not None else [*plain, name]
    for numbers, start, batch in _read_in_order(file, asked, columns, budget):
        if shapes is None:
            wkb = batch.column(name).to_numpy(zero_copy_only=False)
        else:
            wkb = shapes[start : start + len(batch)]
        attributes = batch.select(plain).replace_schema_metadata(None)
        attributes.validate(full=True)
        whole = RecordBatch(attributes, numbers, wkb)
        yield whole if asked is None else whole.rows(isin_sorted(numbers, asked))


def _read_in_order(
    file: Any, asked: NDArray[np.int64] | None, columns: list[str], budget: Budget
) -> Iterator[tuple[NDArray[np.int64], int, Any]]:
    """Batches with their record numbers and places; row groups without a record asked for are passed over."""
    every, start = _number_records(file), 0
    wanted = np.ones(len(every), dtype=bool) if asked is None else isin_sorted(every, asked)
    for group in range(file.num_row_groups):
        size = file.metadata.row_group(group).num_rows
        first = start
        some = wanted[start : start + size].any()
        for batch in file.iter_batches(budget.rows, row_groups=[group], columns=columns) if some else ():
            budget.take(batch)
            yield every[first : first + len(batch)], first, batch
            first += len(batch)
        start += size


def _is_binary(kind: Any) -> bool:
    from pyarrow import types

    return bool(types.is_binary(kind) or types.is_large_binary(kind) or types.is_fixed_size_binary(kind))
