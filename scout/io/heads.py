"""What a GeoPackage says of all its records in one answer: numbers, bounds, ids, names, values amiss.

Bounds come out of the heads of the geometries. The R-tree beside a table is another program's copy of these,
which may have fallen behind: it is never asked. The bounds in ``gpkg_contents`` are only informative
(OGC 12-128, table 4) and stay wide when records go.
"""

from __future__ import annotations

import importlib.util
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from scout.io.curves import leave_out_deep
from scout.io.database import opened
from scout.io.formats import Opening
from scout.io.tables import make_arrow_frame, translate_arrow_errors
from scout.io.trust import check_bounds

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128 2.1.3.1.1
# A head from after its "GP", with which GDAL would take it for a geometry, up to the end of its bounds.
# Other lengths say that a geometry is missing, or that a value beside it is of another type than its column.
_HEAD, _MISSING, _MISFIT = 38, 39, 40  # bytes
_HEAD_NAME = "scout_head"
_ROWS, _OUTLINES = 20_000, 2000  # heads and outlines asked for at a time
_ANYWHERE = (-np.inf, -np.inf, np.inf, np.inf)
_LEAST, _SHARE = 200, 100  # records compared: at least so many, and one in so many
# Types of columns, for numpy and for arrow, that GDAL hands over alike from a table and in an answer.
_PLAIN = {"object": "string", "int32": "int32", "int64": "int64", "float64": "double"}


@dataclass(frozen=True)
class Extents:
    """Numbers of all records, ascending, and their bounds, shape (n, 4), in the layer's own system.

    NaN where there is no geometry, without end where it cannot be read. ``compared`` were looked at in full.
    ``frame`` has the columns asked for; None where GDAL must be asked for these by themselves. ``misfits``
    says whether a value is of another type than its column.
    """

    records: Ints
    bounds: Floats
    compared: int
    frame: pd.DataFrame | None
    misfits: bool


def measure_extents(
    opening: Opening, table: str, info: dict[str, Any], slack: float, columns: Sequence[str] | None = None
) -> Extents:
    """Read them, and compare some with the outlines.

    Parameters
    ----------
    opening : Opening
    table : str
    info : dict
        What `pyogrio.read_info` says of the table.
    slack : float
        How far bounds may be off, in the unit of the layer.
    columns : sequence of str, optional
        Columns wanted beside; without, no values are looked at.

    Raises
    ------
    UnreliableIndex
        An outline lies outside the bounds that its head gives it.
    sqlite3.Error, RuntimeError, ValueError
        The table is damaged, or its records have no numbers.
    """
    fid, geometry = str(info["fid_column"]), str(info["geometry_name"])
    if not fid:
        raise ValueError("the records have no numbers")
    types = dict(zip(map(str, info["fields"]), map(str, info["dtypes"]), strict=True))
    plain = all(types[name] in _PLAIN for name in columns or ())
    wanted = {name: types[name] for name in columns or () if plain}
    names = _Names(table, fid, geometry)
    with opened(Path(str(opening.target))) as database:
        checks = [] if columns is None else _list_checks(database, names.table)
        answer = _ask(opening, names, wanted, [bad for _, _, bad in checks])
        misfits = answer.misfits
        if misfits:  # their heads did not come
            answer = _ask(opening, names, {}, ())
        if len(answer.records) != info["features"]:
            # Counts kept beside a table may be wrong; an answer that ended at a damaged place is.
            (count,) = database.execute(f"select count(*) from {names.table}").fetchone()
            if len(answer.records) != count:
                raise ValueError("not all records could be read")
        records, bounds, frame = answer.records, answer.bounds, answer.frame
        if (np.diff(records) <= 0).any():
            order = np.argsort(records, kind="stable")
            records, bounds, frame = records[order], bounds[order], frame.iloc[order].reset_index(drop=True)
        compared = _compare(database, names, records, bounds, slack)
    alike = plain and not answer.others and not misfits
    return Extents(records, bounds, compared, frame if alike else None, misfits)


class _Names:
    """Names of a table, of the column of its numbers and of that of its outlines, quoted."""

    def __init__(self, table: str, fid: str, geometry: str) -> None:
        self.table, self.fid, self.geometry = map(_quote_name, (table, fid, geometry))


@dataclass(frozen=True)
class _HeadRows:
    """Records as they came, of which ``others`` says that a column has another type than in the table."""

    records: Ints
    bounds: Floats
    frame: pd.DataFrame
    others: bool
    misfits: bool


def _ask(opening: Opening, names: _Names, columns: Mapping[str, str], checks: Sequence[str]) -> _HeadRows:
    """Ask for everything at once: each question is a pass through all pages. ``columns`` have their types."""
    shape = names.geometry
    misfit = "".join(f"when {bad} then zeroblob({_MISFIT}) " for bad in checks)
    head = (
        f"case {misfit}when {shape} between x'4750' and x'4751' then substr({shape}, 3, {_HEAD}) "
        f"when {shape} is null then zeroblob({_MISSING}) else x'' end"
    )
    # No other name, for GDAL takes the types of an answer from the columns of the table by their names.
    listed = ", ".join([names.fid, *map(_quote_name, columns), f"{head} as {_HEAD_NAME}"])
    options = {"sql": f"select {listed} from {names.table}", "read_geometry": False, "return_fids": True}
    options |= opening.options
    ask = _ask_at_once if importlib.util.find_spec("pyarrow") is None else _ask_by_arrow
    return ask(opening.target, options, columns)


def _ask_by_arrow(target: Any, options: dict[str, Any], columns: Mapping[str, str]) -> _HeadRows:
    numbers, parts, kept = [np.empty(0, np.int64)], [np.empty((0, 4))], []
    count, misfits = len(columns), False
    options = {**options, "use_pyarrow": True, "batch_size": _ROWS}
    with translate_arrow_errors(), pyogrio.open_arrow(target, **options) as (meta, reader):
        _check_answer(meta, columns)
        there = [str(kind) for kind in reader.schema.types[1 : 1 + count]]
        for batch in reader:
            batch.validate(full=True)  # else text that is no UTF-8 goes unnoticed until it is used
            heads = batch.column(1 + count)
            ends = np.frombuffer(heads.buffers()[1], np.int32)[heads.offset :][: len(heads) + 1]
            data = np.frombuffer(heads.buffers()[2] or b"", np.uint8)
            numbers.append(batch.column(0).to_numpy())
            parts.append(_decode_heads(data, ends))
            misfits |= bool((np.diff(ends) == _MISFIT).any())
            # A copy: columns as GDAL hands them over keep the whole batch.
            kept.append(batch.select(range(1, 1 + count)).take(np.arange(len(batch))))
    frame = make_arrow_frame(kept)
    others = there != [_PLAIN[kind] for kind in columns.values()]
    return _HeadRows(np.concatenate(numbers), np.concatenate(parts), frame, others, misfits)


def _ask_at_once(target: Any, options: dict[str, Any], columns: Mapping[str, str]) -> _HeadRows:
    meta, fids, _, values = pyogrio.raw.read(target, **options)
    _check_answer(meta, columns)
    *values, heads = values
    frame = pd.DataFrame(dict(zip(columns, values, strict=True)), index=range(len(fids)))
    ends = np.cumsum([0, *map(len, heads)])
    bounds = _decode_heads(np.frombuffer(b"".join(heads), np.uint8), ends)
    others = list(map(str, meta["dtypes"]))[:-1] != list(columns.values())
    return _HeadRows(fids.astype(np.int64), bounds, frame, others, bool((np.diff(ends) == _MISFIT).any()))


def _check_answer(meta: dict[str, Any], columns: Iterable[str]) -> None:
    """See that GDAL took the numbers for those of records, and the heads for no geometries."""
    if list(map(str, meta["fields"])) != [*columns, _HEAD_NAME]:
        raise ValueError("the table is none of records with numbers")


def _decode_heads(data: NDArray[np.uint8], ends: NDArray[Any]) -> Floats:
    """Bounds out of heads laid end to end (OGC 12-128 2.1.3.1.1), without end where not said."""
    size = np.diff(ends)
    bounds = np.tile(_ANYWHERE, (len(size), 1))
    bounds[size == _MISSING] = np.nan
    rows = np.flatnonzero(size == _HEAD)
    heads = data[ends[rows, None] + np.arange(_HEAD)] if (size != _HEAD).any() else data[ends[0] : ends[-1]]
    heads = heads.reshape(-1, _HEAD)
    kind, little = heads[:, 1] >> 1 & 7, heads[:, 1] & 1 == 1
    said = (kind >= 1) & (kind <= max(_ENVELOPE))
    for some, order in ((said & little, "<f8"), (said & ~little, ">f8")):
        sides = np.ascontiguousarray(heads[some, 6:]).view(order)[:, [0, 2, 1, 3]]
        sides[~(sides[:, :2] <= sides[:, 2:]).all(axis=1)] = _ANYWHERE
        bounds[rows[some]] = sides
    return bounds


def _compare(database: sqlite3.Connection, names: _Names, records: Ints, bounds: Floats, slack: float) -> int:
    """Fill in what the heads do not say, and compare some of them; return how many were looked at in full."""
    said = bounds[:, 0] != -np.inf
    unsaid, rest = np.flatnonzero(~said), np.flatnonzero(said)
    for first in range(0, len(unsaid), _OUTLINES):
        some = unsaid[first : first + _OUTLINES]
        bounds[some] = _measure_outlines(database, names, records[some])
    size = min(len(rest), max(_LEAST, len(rest) // _SHARE))
    places = rest[np.unique(np.linspace(0, len(rest) - 1, size).astype(np.int64))]
    for first in range(0, len(places), _OUTLINES):
        some = places[first : first + _OUTLINES]
        own = _measure_outlines(database, names, records[some])
        known = own[:, 0] > -np.inf  # broken rings have no bounds; reading them tells what is amiss
        check_bounds(records[some][known], bounds[some][known], own[known], slack)
    return len(unsaid) + len(places)


def _measure_outlines(database: sqlite3.Connection, names: _Names, records: Ints) -> Floats:
    """Bounds of some records, ascending, from all their points; without end where these cannot be read."""
    listed = ",".join(map(str, records.tolist()))
    found = database.execute(
        f"select {names.geometry} from {names.table} where {names.fid} in ({listed}) order by {names.fid}"
    )
    binaries = np.array([_find_wkb(blob) for (blob,) in found], dtype=object)
    shapes = shapely.from_wkb(leave_out_deep(binaries), on_invalid="ignore")
    bounds: Floats = shapely.bounds(shapes)
    bounds[shapely.is_missing(shapes)] = _ANYWHERE
    return bounds


def _find_wkb(blob: Any) -> bytes | None:
    """Well-known binary in a GeoPackage's own, whose header is OGC 12-128 2.1.3.1.1."""
    if not isinstance(blob, bytes) or len(blob) < 9 or blob[:2] != b"GP":
        return None
    return blob[8 + _ENVELOPE.get(blob[3] >> 1 & 7, 0) :]


# Values of a GeoPackage of another type than their column: SQLite keeps them, GDAL makes numbers of them.
# Types of columns (OGC 12-128, table 1) and the test that a value does not pass: columns of text keep bytes
# alone, for SQLite makes texts of numbers there. Lists of two are no tables, and quick.
_WHOLE = ("BOOLEAN", "TINYINT", "SMALLINT", "MEDIUMINT", "INT", "INTEGER")
_REAL = ("FLOAT", "DOUBLE", "REAL")
_MISFITS = {
    **dict.fromkeys(_WHOLE, "not in ('integer', 'null')"),
    **dict.fromkeys(_REAL, "in ('text', 'blob')"),
    "TEXT": "= 'blob'",
}
_AT_ONCE = 200  # columns; SQLite gives at most 2000 values a row


def find_misfits(file: Path, table: str, fid: str) -> list[str]:
    """Say of each column that has values of another type how many, and what becomes of them.

    Ids that are texts in a column of numbers would all be 0: different parks would become one.
    """
    try:
        with opened(file) as database:
            return _list_misfit_lines(database, _quote_name(table), _quote_name(fid))
    except (sqlite3.Error, UnicodeError):
        return []  # reading it tells what is damaged


def _list_checks(database: sqlite3.Connection, table: str) -> list[tuple[str, str, str]]:
    """Name and type of each column whose values can be checked, and the test that a value does not pass."""
    checks = []
    for _, name, declared, *_ in database.execute(f"pragma table_info({table})"):
        kind = str(declared).upper().partition("(")[0].strip()
        if kind in _MISFITS:
            checks.append((str(name), kind, f"typeof({_quote_name(str(name))}) {_MISFITS[kind]}"))
    return checks


def _list_misfit_lines(database: sqlite3.Connection, table: str, fid: str) -> list[str]:
    lines, checks = [], _list_checks(database, table)
    for first in range(0, len(checks), _AT_ONCE):
        some = checks[first : first + _AT_ONCE]
        wanted = ", ".join(f"sum({bad}), min(case when {bad} then {fid} end)" for _, _, bad in some)
        any_of = " or ".join(bad for _, _, bad in some)
        (found,) = database.execute(f"select {wanted} from {table} where {any_of}")
        for (name, kind, _), count, number in zip(some, found[::2], found[1::2], strict=True):
            if count:
                what = "names may be garbled" if kind == "TEXT" else "they are read as 0 or cut short"
                many = f"{count:,} of its values are not (record {number} first)"
                lines.append(f"column {name!r} is of type {kind}, but {many}: {what}")
    return lines


def _quote_name(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
