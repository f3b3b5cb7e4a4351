"""What SQLite complains of, in words a user can act on."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from scout.errors import InputError, OutputError, ScoutError

__all__ = ["told"]


def told(path: Path, error: sqlite3.Error) -> ScoutError:
    """The one line for an error of the database."""
    where = str(path)
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the low byte is the kind
    if code == sqlite3.SQLITE_NOTADB:
        return InputError(where, "this is no GeoPackage", "name a notebook; scout visit add makes one")
    if code == sqlite3.SQLITE_CORRUPT:
        return InputError(where, "the file is damaged", "go back to a copy")
    if code == sqlite3.SQLITE_READONLY:
        return OutputError(where, "cannot be written: the file or its folder is read-only")
    if code == sqlite3.SQLITE_FULL:
        return OutputError(where, "cannot be written: the disk is full", "make room; what it held is whole")
    if code == sqlite3.SQLITE_BUSY:
        return OutputError(where, "another program keeps it busy", "close that and try again")
    if code == sqlite3.SQLITE_CANTOPEN:
        if path.is_dir():
            return OutputError(where, "this is a folder", "name a file in it")
        if not path.absolute().parent.is_dir():
            return OutputError(where, f"there is no folder {path.parent}", "make it first")
        return OutputError(where, "cannot be opened", "see whether you may write in its folder")
    if code == sqlite3.SQLITE_IOERR:
        return OutputError(where, "the disk refuses to read or write it", "see whether it is full or failing")
    return OutputError(where, f"cannot be used ({error})")
