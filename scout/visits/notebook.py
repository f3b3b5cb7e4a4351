"""The notebook of visits: one GeoPackage, opened, read and changed.

The notebook: visits in a GeoPackage, which any GIS opens. One transaction per write.

A write is on the disk when the call returns: a killed process or a power cut loses nothing that was
acknowledged, and leaves no half of what was not. Two processes wait for each other. Nothing but a notebook
is ever written to.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scout.errors import InputError, OutputError, RecordError, ScoutError, SettingName
from scout.model import BadVisit, Visit
from scout.quantities import MeasuredText
from scout.visits import rows
from scout.visits.rows import HOW_MADE, find_fault, prepare_tables


def explain_database_error(path: Path, error: sqlite3.Error) -> ScoutError:
    """The one line for an error of the database."""
    where = str(path)
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the low byte is the kind
    if code == sqlite3.SQLITE_NOTADB:
        return InputError(where, "this is no GeoPackage", MeasuredText("name a notebook; ", *HOW_MADE))
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


_WAIT_S = 30.0  # for another process to finish its write


class Notebook:
    """One file of visits.

    Parameters
    ----------
    path : path
        A GeoPackage; `add` makes it where there is none.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)

    def exists(self) -> bool:
        """Tell whether there is such a file.

        Raises
        ------
        InputError
            No disk takes a file of that name.
        """
        try:
            return self.path.exists()
        except OSError as error:
            raise InputError(str(self.path), f"cannot be opened ({error.strerror})", "name another") from None

    def visits(self, left_out: Callable[[BadVisit], None] | None = None) -> tuple[Visit, ...]:
        """All visits, the earliest first.

        Parameters
        ----------
        left_out : callable, optional
            Called with each row that is no visit.

        Raises
        ------
        InputError
            There is no such file, or it is no notebook.
        RecordError
            A row was changed elsewhere into something that is no visit, and there is nobody to tell.
        """
        found = []
        with self._reading() as base:
            for row in rows.read_rows(base):
                one = rows.judge_row(row)
                if isinstance(one, Visit):
                    found.append(one)
                elif left_out is None:
                    raise self._spoilt(one.number, one.why)
                else:
                    left_out(one)
        return tuple(sorted(found, key=lambda visit: (visit.start, visit.number)))

    def visit(self, number: int, **instead: Any) -> Visit:
        """One visit by its number; what is given ``instead`` need not be sound in the file."""
        with self._reading() as base:
            return self._visit(self._row(base, number), instead)

    def entry(self, number: int) -> Visit | BadVisit:
        """One visit by its number, or what is wrong with it."""
        with self._reading() as base:
            return rows.judge_row(self._row(base, number))

    def add(self, visit: Visit) -> int:
        """Write a visit down; gives its number.

        Raises
        ------
        InputError
            The visit holds what none can, such as a start in the year 226: nothing is written.
        OutputError
            The file cannot be made or written: read-only, full, or busy for half a minute.
        """
        _refuse_faults(visit)
        with self._writing(create=True) as base:
            number = rows.insert_visit(base, visit)
            self._visit(self._row(base, number))  # what does not come back is not kept
            return number

    def edit(self, number: int, **changes: Any) -> Visit:
        """Change fields of a visit and keep how it was; gives the visit as it now is."""
        with self._writing() as base:
            row = self._row(base, number)
            before = rows.judge_row(row)
            after = replace(before, **changes) if isinstance(before, Visit) else self._visit(row, changes)
            if after != before:
                _refuse_faults(after)
                rows.keep_change(base, "edit", before if isinstance(before, Visit) else row, _get_now())
                rows.update_visit(base, after)
                self._visit(self._row(base, number))
        return after

    def delete(self, number: int) -> Visit | BadVisit:
        """Take a visit out and keep it for `undo`."""
        with self._writing() as base:
            row = self._row(base, number)
            before = rows.judge_row(row)
            rows.keep_change(base, "delete", before if isinstance(before, Visit) else row, _get_now())
            rows.remove_visit(base, number)
        return before

    def undo(self) -> tuple[str, Visit | BadVisit]:
        """Take back the last edit or deletion.

        Returns
        -------
        what : str
            ``edit`` or ``delete``.
        visit : Visit or BadVisit
            As it is again.
        """
        with self._writing() as base:
            last = rows.read_last_change(base, str(self.path))
            if last is None:
                raise InputError(str(self.path), "holds no edit or deletion to take back")
            key, what, before = last
            rows.remove_visit(base, before.number)
            if isinstance(before, Visit):
                rows.insert_visit(base, before)
            else:
                rows.restore(base, before)
            rows.forget_change(base, key)
            return what, before if isinstance(before, Visit) else rows.judge_row(before)

    def _row(self, base: sqlite3.Connection, number: int) -> rows.Row:
        found = next(rows.read_rows(base, number), None)
        if found is None:
            raise InputError(
                str(self.path),
                f"there is no visit {number}",
                MeasuredText("see: ", SettingName("visit-list", written="scout visit list")),
            )
        return found

    def _visit(self, row: rows.Row, instead: Mapping[str, Any] | None = None) -> Visit:
        try:
            return rows.as_visit(row, instead)
        except ValueError as error:
            raise self._spoilt(row.number, str(error)) from None

    def _spoilt(self, number: int, why: str) -> RecordError:
        what = f"visit {number} cannot be read: {why}"
        named = SettingName("visit-list", written=f"scout visit show {number}")
        remedy = MeasuredText("see ", named, "; edit puts it right, delete takes it out")
        return RecordError(str(self.path), what, remedy)

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """All reads between one begin and one end see the same state."""
        with self._open(create=False) as base:
            prepare_tables(base, str(self.path), create=False)
            base.execute("BEGIN")
            yield base
            base.execute("COMMIT")

    @contextmanager
    def _writing(self, create: bool = False) -> Iterator[sqlite3.Connection]:
        with self._open(create) as base:
            prepare_tables(base, str(self.path), create)
            base.execute("BEGIN IMMEDIATE")
            try:
                yield base
                rows.touch_tables(base, _get_now())
                base.execute("COMMIT")
            except BaseException:
                if base.in_transaction:
                    base.execute("ROLLBACK")
                raise

    @contextmanager
    def _open(self, create: bool) -> Iterator[sqlite3.Connection]:
        if not self.exists():
            if not create:
                raise InputError(
                    str(self.path), "there is no such notebook", MeasuredText(*HOW_MADE, "; or name another")
                )
            if self.path.suffix.lower() != ".gpkg":
                raise OutputError(str(self.path), "a notebook is a GeoPackage", "name it .gpkg")
        mode = "rwc" if create else "rw"
        base: sqlite3.Connection | None = None
        try:
            base = sqlite3.connect(
                f"{self.path.absolute().as_uri()}?mode={mode}",
                uri=True,
                timeout=_WAIT_S,
                isolation_level=None,
            )
            # Extra: the folder is flushed as well when the journal goes, which is what commits.
            base.execute("PRAGMA synchronous = EXTRA")
            base.execute("PRAGMA foreign_keys = ON")
            base.execute("PRAGMA trusted_schema = OFF")
            base.text_factory = _text
            yield base
        except sqlite3.Error as error:
            raise explain_database_error(self.path, error) from None
        except UnicodeDecodeError:  # sqlite3 quotes a damaged schema in its error, and cannot read it
            raise InputError(str(self.path), "the file is damaged", "go back to a copy") from None
        finally:
            if base is not None:
                base.close()


def _text(raw: bytes) -> str | bytes:
    """Text of the file; what another program left and is no UTF-8 stays bytes, and is reported as such."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw


def _refuse_faults(visit: Visit) -> None:
    if fault := find_fault(visit):
        raise InputError("visit", fault, "nothing is written; put it right")


def _get_now() -> str:
    return rows.format_time(datetime.now(UTC))
