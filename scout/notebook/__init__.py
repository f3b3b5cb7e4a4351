"""The notebook: visits in a GeoPackage, which any GIS opens. One transaction per write.

A write is on the disk when the call returns: a killed process or a power cut loses nothing that was
acknowledged, and leaves no half of what was not. Two processes wait for each other. Nothing but a notebook
is ever written to.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scout.errors import InputError, OutputError
from scout.notebook import rows
from scout.notebook.schema import SCHEMA, prepare
from scout.notebook.trouble import told
from scout.visits import Visit

__all__ = ["SCHEMA", "Notebook"]

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

    def visits(self) -> tuple[Visit, ...]:
        """All visits, the earliest first.

        Raises
        ------
        InputError
            There is no such file, or it is no notebook.
        RecordError
            A row was changed elsewhere into something that is no visit.
        """
        with self._reading() as base:
            found = rows.all_visits(base, str(self.path))
        return tuple(sorted(found, key=lambda visit: (visit.start, visit.number)))

    def visit(self, number: int) -> Visit:
        """One visit by its number."""
        with self._reading() as base:
            return self._one(base, number)

    def add(self, visit: Visit) -> int:
        """Write a visit down; gives its number.

        Raises
        ------
        OutputError
            The file cannot be made or written: read-only, full, or busy for half a minute.
        """
        with self._writing(create=True) as base:
            return rows.insert(base, visit)

    def edit(self, number: int, **changes: Any) -> Visit:
        """Change fields of a visit and keep how it was; gives the visit as it now is."""
        with self._writing() as base:
            before = self._one(base, number)
            after = replace(before, **changes)
            if after != before:
                rows.keep(base, "edit", before, _now())
                rows.update(base, after)
        return after

    def delete(self, number: int) -> Visit:
        """Take a visit out and keep it for `undo`."""
        with self._writing() as base:
            before = self._one(base, number)
            rows.keep(base, "delete", before, _now())
            rows.remove(base, number)
        return before

    def undo(self) -> tuple[str, Visit]:
        """Take back the last edit or deletion.

        Returns
        -------
        what : str
            ``edit`` or ``delete``.
        visit : Visit
            As it is again.
        """
        with self._writing() as base:
            last = rows.last_kept(base, str(self.path))
            if last is None:
                raise InputError(str(self.path), "holds no edit or deletion to take back")
            key, what, visit = last
            rows.remove(base, visit.number)
            rows.insert(base, visit)
            rows.forget(base, key)
        return what, visit

    def _one(self, base: sqlite3.Connection, number: int) -> Visit:
        found = rows.all_visits(base, str(self.path), number)
        if not found:
            raise InputError(str(self.path), f"there is no visit {number}", "see: scout visit list")
        return found[0]

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """All reads between one begin and one end see the same state."""
        with self._open(create=False) as base:
            prepare(base, str(self.path), create=False)
            base.execute("BEGIN")
            yield base
            base.execute("COMMIT")

    @contextmanager
    def _writing(self, create: bool = False) -> Iterator[sqlite3.Connection]:
        with self._open(create) as base:
            prepare(base, str(self.path), create)
            base.execute("BEGIN IMMEDIATE")
            try:
                yield base
                rows.touch(base, _now())
                base.execute("COMMIT")
            except BaseException:
                if base.in_transaction:
                    base.execute("ROLLBACK")
                raise

    @contextmanager
    def _open(self, create: bool) -> Iterator[sqlite3.Connection]:
        if not self.path.exists():
            if not create:
                raise InputError(
                    str(self.path), "there is no such notebook", "scout visit add makes one; or name another"
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
            yield base
        except sqlite3.Error as error:
            raise told(self.path, error) from None
        finally:
            if base is not None:
                base.close()


def _now() -> str:
    return rows.time_text(datetime.now(UTC))
