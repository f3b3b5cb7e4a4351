"""What is inside a GeoPackage, seen before GDAL opens it: its tables, where its records lie, values amiss.

Bounds of all records of a GeoPackage, out of the heads of their geometries.

The R-tree beside a table is another program's copy of these, which may have fallen behind: it is never asked.
The bounds in ``gpkg_contents`` are only informative (OGC 12-128, table 4) and stay wide when records go.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.io.trust import check_bounds

_NAME = r"""(?:"(?:[^"]|"")*"|'(?:[^']|'')*'|`(?:[^`]|``)*`|\[[^\]]*\]|[\w$]+)"""
# Any other spelling, comments among it, is taken for a foreign one.
_RTREE = re.compile(
    rf"""create\s+virtual\s+table\s+(?:if\s+not\s+exists\s+)?{_NAME}\s+using\s+["'`\[]?rtree["'`\]]?\s*\(""",
    re.IGNORECASE,
)
# Computed columns are expressions, which may take gigabytes a record; https://www.sqlite.org/gencol.html
_COMPUTED = (
    "select distinct m.name from sqlite_master m, pragma_table_xinfo(m.name) x "
    "where m.type = 'table' and x.hidden in (2, 3)"
)
_IS_COMPUTED = "has computed columns"
# First bytes of a journal that is still to be rolled back, https://www.sqlite.org/fileformat2.html 3
_JOURNAL = bytes.fromhex("d9d505f920a163d7")


@contextmanager
def opened(file: Path) -> Iterator[sqlite3.Connection]:
    """Open a database so that neither it nor what lies beside it is changed."""
    with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro&immutable=1", uri=True)) as database:
        yield database


def check(name: str, file: Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Look at the schema.

    Returns
    -------
    tables : tuple of str
        The layers to read.
    notes : tuple of str
        What is said of the others: views and computed columns may go on without end, so none is read.

    Raises
    ------
    InputError
        No GeoPackage, one in the midst of being written, or one that may reach outside itself.
    """
    _check_at_rest(name, file)
    try:
        with opened(file) as database:
            rows = database.execute("select type, name, rootpage, sql from sqlite_master").fetchall()
            views = {str(one).lower() for kind, one, _, _ in rows if kind == "view"}
            virtual = [sql for kind, _, page, sql in rows if kind == "table" and not page]
            if any(not _RTREE.match(str(sql)) for sql in virtual):
                what = "has a virtual table, which may reach outside the file"
                raise InputError(name, what, "export it plainly")
            unread = dict.fromkeys((str(one).lower() for (one,) in database.execute(_COMPUTED)), _IS_COMPUTED)
            unread |= dict.fromkeys(views, "is a view")
            if any(one.startswith(("gpkg_", "rtree_", "sqlite_")) for one in unread):
                what = "has a view or computed columns in place of its own tables"
                raise InputError(name, what, "export it plainly")
            layers = [str(one) for (one,) in database.execute("select table_name from gpkg_contents")]
    except (sqlite3.Error, UnicodeError) as error:
        raise InputError(name, f"is no GeoPackage or a damaged one ({error})", "export it again") from error
    tables = tuple(one for one in layers if one.lower() not in unread)
    left = [(one, unread[one.lower()]) for one in layers if one.lower() in unread]
    if not layers:
        raise InputError(name, "holds no layer")
    if not tables:
        what = "its layer {!r} {}, which is not read".format(*left[0])
        raise InputError(name, what, "export it as a plain table")
    return tables, tuple(
        f"the layer {one!r} {why} and is not read; export it as a table" for one, why in left
    )


def _check_at_rest(name: str, file: Path) -> None:
    """Refuse a file whose latest records lie beside it: reading them would fold them in."""
    log, journal = (file.with_name(file.name + end) for end in ("-wal", "-journal"))
    waiting = log.is_file() and log.stat().st_size > 0
    if not waiting and journal.is_file():
        with journal.open("rb") as stream:
            waiting = stream.read(len(_JOURNAL)) == _JOURNAL
    if waiting:
        what = "has changes that are not in the file yet: another program has it open, or was stopped"
        raise InputError(name, what, "open and close it there, or export a copy")


# Bounds of all records of a GeoPackage, out of the heads of their geometries.
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128 2.1.3.1.1
_HEAD = 40  # bytes of a geometry up to the end of its bounds
_ROWS, _OUTLINES = 20_000, 2000  # heads and outlines asked for at a time
_ANYWHERE = (-np.inf, -np.inf, np.inf, np.inf)
_LEAST, _SHARE = 200, 100  # records compared: at least so many, and one in so many


@dataclass(frozen=True)
class Extents:
    """Numbers of all records, ascending, and their bounds, shape (n, 4), in the layer's own system.

    NaN where there is no geometry, without end where it cannot be read. ``compared`` were looked at in full.
    """

    records: Ints
    bounds: Floats
    compared: int


def measure_extents(file: Path, table: str, fid: str, column: str, slack: float) -> Extents:
    """Read them, and compare some with the outlines, by ``slack`` in the unit of the layer.

    Raises
    ------
    UnreliableIndex
        An outline lies outside the bounds that its head gives it.
    sqlite3.Error, ValueError, TypeError, OverflowError
        The table is damaged, or its records have no numbers.
    """
    asked = _Asked(table, fid, column)
    numbers, parts = [np.empty(0, np.int64)], [np.empty((0, 4))]
    with opened(file) as database:
        found = database.execute(asked.heads)
        while rows := found.fetchmany(_ROWS):
            numbers.append(np.array([row[0] for row in rows], dtype=np.int64))
            parts.append(_decode_heads([row[1] for row in rows]))
        records, bounds = np.concatenate(numbers), np.concatenate(parts)
        order = np.argsort(records, kind="stable")
        records, bounds = records[order], bounds[order]
        said = bounds[:, 0] != -np.inf
        unsaid, rest = np.flatnonzero(~said), np.flatnonzero(said)
        for first in range(0, len(unsaid), _OUTLINES):
            some = unsaid[first : first + _OUTLINES]
            bounds[some] = _measure_outlines(database, asked, records[some])
        size = min(len(rest), max(_LEAST, len(rest) // _SHARE))
        places = rest[np.unique(np.linspace(0, len(rest) - 1, size).astype(np.int64))]
        for first in range(0, len(places), _OUTLINES):
            some = places[first : first + _OUTLINES]
            own = _measure_outlines(database, asked, records[some])
            known = own[:, 0] > -np.inf  # broken rings have no bounds; reading them tells what is amiss
            check_bounds(records[some][known], bounds[some][known], own[known], slack)
    return Extents(records, bounds, len(unsaid) + len(places))


class _Asked:
    """Questions to one table."""

    def __init__(self, table: str, fid: str, column: str) -> None:
        table, fid, column = ('"' + name.replace('"', '""') + '"' for name in (table, fid, column))
        self.heads = f"select {fid}, substr({column}, 1, {_HEAD}) from {table}"
        self.outlines = f"select {column} from {table} where {fid} in ({{}}) order by {fid}"


def _decode_heads(heads: list[Any]) -> Floats:
    """Bounds out of the first bytes of geometries (OGC 12-128 2.1.3.1.1), without end where not said."""
    sound = np.array([isinstance(head, bytes) and head[:2] == b"GP" and len(head) == _HEAD for head in heads])
    blank = bytes(_HEAD)
    joined = b"".join(head if ok else blank for head, ok in zip(heads, sound.tolist(), strict=True))
    data = np.frombuffer(joined, dtype=np.uint8).reshape(-1, _HEAD)
    kind, little = data[:, 3] >> 1 & 7, data[:, 3] & 1 == 1
    bounds = np.tile(_ANYWHERE, (len(heads), 1))
    for rows, order in ((np.flatnonzero(little), "<f8"), (np.flatnonzero(~little), ">f8")):
        bounds[rows] = np.ascontiguousarray(data[rows, 8:40]).view(order)[:, [0, 2, 1, 3]]
    bounds[~sound | (kind < 1) | (kind > max(_ENVELOPE))] = _ANYWHERE
    bounds[~(bounds[:, :2] <= bounds[:, 2:]).all(axis=1)] = _ANYWHERE
    bounds[[head is None for head in heads]] = np.nan
    return bounds


def _measure_outlines(database: sqlite3.Connection, asked: _Asked, records: Ints) -> Floats:
    """Bounds of some records, ascending, from all their points; without end where these cannot be read."""
    found = database.execute(asked.outlines.format(",".join(map(str, records.tolist()))))
    shapes = shapely.from_wkb([_find_wkb(blob) for (blob,) in found], on_invalid="ignore")
    bounds: Floats = shapely.bounds(shapes)
    bounds[shapely.is_missing(shapes)] = _ANYWHERE
    return bounds


def _find_wkb(blob: Any) -> bytes | None:
    """Well-known binary in a GeoPackage's own, whose header is OGC 12-128 2.1.3.1.1."""
    if not isinstance(blob, bytes) or len(blob) < 9 or blob[:2] != b"GP":
        return None
    return blob[8 + _ENVELOPE.get(blob[3] >> 1 & 7, 0) :]


# Values of a GeoPackage of another type than their column: SQLite keeps them, GDAL makes numbers of them.
# Types of columns (OGC 12-128, table 1) and what SQLite may hold in them without GDAL changing it.
_WHOLE = ("BOOLEAN", "TINYINT", "SMALLINT", "MEDIUMINT", "INT", "INTEGER")
_REAL = ("FLOAT", "DOUBLE", "REAL")
_HELD = dict.fromkeys(_WHOLE, "'integer', 'null'") | dict.fromkeys(_REAL, "'integer', 'real', 'null'")
_TEXT = "'text', 'integer', 'real', 'null'"
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


def _list_misfit_lines(database: sqlite3.Connection, table: str, fid: str) -> list[str]:
    columns = []
    for _, name, declared, *_ in database.execute(f"pragma table_info({table})"):
        kind = str(declared).upper().partition("(")[0].strip()
        held = _TEXT if kind == "TEXT" else _HELD.get(kind)
        if held is not None:
            columns.append((str(name), kind, f"typeof({_quote_name(str(name))}) not in ({held})"))
    lines = []
    for first in range(0, len(columns), _AT_ONCE):
        some = columns[first : first + _AT_ONCE]
        wanted = ", ".join(f"sum({bad}), min(case when {bad} then {fid} end)" for _, _, bad in some)
        (found,) = database.execute(f"select {wanted} from {table}")
        for (name, kind, _), count, number in zip(some, found[::2], found[1::2], strict=True):
            if count:
                what = "names may be garbled" if kind == "TEXT" else "they are read as 0 or cut short"
                many = f"{count:,} of its values are not (record {number} first)"
                lines.append(f"column {name!r} is of type {kind}, but {many}: {what}")
    return lines


def _quote_name(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
