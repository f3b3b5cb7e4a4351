"""What is inside a GeoPackage, seen before GDAL opens it: tables to read, and what may reach outside."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from scout.errors import InputError

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
