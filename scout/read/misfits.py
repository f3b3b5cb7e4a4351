"""Values of a GeoPackage of another type than their column: SQLite keeps them, GDAL makes numbers of them."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from scout.read.database import opened

__all__ = ["find_misfits"]

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
            return _lines(database, _quoted(table), _quoted(fid))
    except (sqlite3.Error, UnicodeError):
        return []  # reading it tells what is damaged


def _lines(database: sqlite3.Connection, table: str, fid: str) -> list[str]:
    columns = []
    for _, name, declared, *_ in database.execute(f"pragma table_info({table})"):
        kind = str(declared).upper().partition("(")[0].strip()
        held = _TEXT if kind == "TEXT" else _HELD.get(kind)
        if held is not None:
            columns.append((str(name), kind, f"typeof({_quoted(str(name))}) not in ({held})"))
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


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
