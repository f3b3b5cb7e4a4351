"""The notebook's tables, and the steps by which they grew: a new file takes all, an older one the rest."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing

from scout.errors import InputError
from scout.exports.feature_tables import FeatureTable, geopackage

__all__ = ["SCHEMA", "prepare"]

_GEOPACKAGE = 0x47504B47  # "GPKG", OGC 12-128 requirement 2
_VISITS = {
    "started": "DATETIME",
    "ended": "DATETIME",
    "error_m": "REAL",
    "level": "INTEGER",
    "locators": "TEXT",
    "confidence": "REAL",
    "call": "TEXT",
    "operator": "TEXT",
    "antenna": "TEXT",
    "radio": "TEXT",
    "power_w": "REAL",
    "bands": "TEXT",
    "contacts": "INTEGER",
    "weather": "TEXT",
    "conditions": "TEXT",
    "went_well": "TEXT",
    "went_badly": "TEXT",
}
_PARKS = (
    "CREATE TABLE visit_parks (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
    "visit INTEGER NOT NULL REFERENCES visits(fid) ON DELETE CASCADE, park TEXT NOT NULL, name TEXT, "
    "clearance_m REAL, confidence REAL, UNIQUE (visit, park))",
    "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) "
    "VALUES ('visit_parks', 'attributes', 'visit_parks', 'The parks of each visit, as judged then.', 0)",
    "CREATE TABLE notebook (version INTEGER NOT NULL)",
    "INSERT INTO notebook VALUES (1)",
)


def _first(base: sqlite3.Connection) -> None:
    """The GeoPackage itself, visits and their parks."""
    visits = FeatureTable("visits", "POINT", "Visits: where a station stood.", _VISITS, (), ())
    with closing(sqlite3.connect(":memory:")) as made:
        made.deserialize(geopackage([visits], "1970-01-01T00:00:00.000Z"))
        for name in ("application_id", "user_version"):
            (value,) = made.execute(f"PRAGMA {name}").fetchone()
            base.execute(f"PRAGMA {name} = {value}")
        # A dump goes by name: tables before rows, and links between rows are looked at in the end.
        base.execute("PRAGMA defer_foreign_keys = ON")
        statements = [text for text in made.iterdump() if text not in ("BEGIN TRANSACTION;", "COMMIT;")]
        for statement in sorted(statements, key=lambda text: not text.startswith("CREATE")):
            base.execute(statement)
    for statement in _PARKS:
        base.execute(statement)


def _second(base: sqlite3.Connection) -> None:
    """How visits were before edits and deletions; the path of the arrival sheet."""
    base.execute(
        "CREATE TABLE notebook_kept (key INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
        "made DATETIME NOT NULL, what TEXT NOT NULL, before TEXT NOT NULL)"
    )
    base.execute("ALTER TABLE visits ADD COLUMN sheet TEXT")


_STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_first, _second)
SCHEMA = len(_STEPS)  # the version this program writes


def prepare(base: sqlite3.Connection, where: str, create: bool) -> None:
    """Make the tables in an empty file, bring older ones up to date, refuse anything else.

    All in one transaction, so that two processes may do it at once.

    Raises
    ------
    InputError
        The file is no notebook, or one of a later version.
    """
    if _version(base, where, create) == SCHEMA:
        return
    base.execute("BEGIN IMMEDIATE")
    try:
        for step in range(_version(base, where, create), SCHEMA):
            _STEPS[step](base)
            base.execute("UPDATE notebook SET version = ?", (step + 1,))
        base.execute("COMMIT")
    except BaseException:
        if base.in_transaction:
            base.execute("ROLLBACK")
        raise


def _version(base: sqlite3.Connection, where: str, create: bool) -> int:
    """The version of the tables; 0 for an empty file that may become a notebook."""
    if create and base.execute("PRAGMA schema_version").fetchone() == (0,):  # no table was ever made in it
        return 0
    (application,) = base.execute("PRAGMA application_id").fetchone()
    # Plain tables: a view, a virtual table or a column that is worked out may go on without end.
    tables = {
        name
        for (name,) in base.execute(
            "SELECT name FROM pragma_table_list AS t WHERE schema = 'main' AND type = 'table' "
            "AND NOT EXISTS (SELECT 1 FROM pragma_table_xinfo(t.name) WHERE hidden)"
        )
    }
    if application != _GEOPACKAGE or not {"notebook", "visits", "visit_parks"} <= tables:
        kind = "a GeoPackage, but not a notebook" if application == _GEOPACKAGE else "not a notebook"
        raise InputError(where, f"this is {kind}", "name another file: scout visit add makes one")
    found = base.execute("SELECT max(version) FROM notebook").fetchone()[0]
    if not isinstance(found, int) or not 1 <= found <= SCHEMA:
        raise InputError(
            where, f"this notebook has version {found}, and {SCHEMA} is the last known", "use a later scout"
        )
    return found
