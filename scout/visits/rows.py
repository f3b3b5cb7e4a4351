"""The notebook's tables, and visits to and from their rows."""

from __future__ import annotations

import json
import math
import sqlite3
import struct
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, NamedTuple

import shapely

from scout.errors import InputError, LocatorError, RecordError, SettingName
from scout.geo.locator import LEVELS, parse
from scout.io.geopackage import FeatureTable, build_geopackage
from scout.io.plain_text import clean_text
from scout.model import YEARS, BadVisit, ParkVisited, Visit
from scout.quantities import MeasuredText

HOW_MADE = (SettingName("visit-add", written="scout visit add"), " makes one")
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


def _create_tables(base: sqlite3.Connection) -> None:
    """The GeoPackage itself, visits and their parks."""
    visits = FeatureTable("visits", "POINT", "Visits: where a station stood.", _VISITS, (), ())
    with closing(sqlite3.connect(":memory:")) as made:
        made.deserialize(build_geopackage([visits], "1970-01-01T00:00:00.000Z"))
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


def _add_history(base: sqlite3.Connection) -> None:
    """How visits were before edits and deletions; the path of the arrival sheet."""
    base.execute(
        "CREATE TABLE notebook_kept (key INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
        "made DATETIME NOT NULL, what TEXT NOT NULL, before TEXT NOT NULL)"
    )
    base.execute("ALTER TABLE visits ADD COLUMN sheet TEXT")


_STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_create_tables, _add_history)
SCHEMA = len(_STEPS)  # the version this program writes


def prepare_tables(base: sqlite3.Connection, where: str, create: bool) -> None:
    """Make the tables in an empty file, bring older ones up to date, refuse anything else.

    All in one transaction, so that two processes may do it at once.

    Raises
    ------
    InputError
        The file is no notebook, or one of a later version.
    """
    if _read_version(base, where, create) == SCHEMA:
        return
    base.execute("BEGIN IMMEDIATE")
    try:
        for step in range(_read_version(base, where, create), SCHEMA):
            _STEPS[step](base)
            base.execute("UPDATE notebook SET version = ?", (step + 1,))
        base.execute("COMMIT")
    except BaseException:
        if base.in_transaction:
            base.execute("ROLLBACK")
        raise


def _read_version(base: sqlite3.Connection, where: str, create: bool) -> int:
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
        raise InputError(where, f"this is {kind}", MeasuredText("name another file: ", *HOW_MADE))
    found = base.execute("SELECT max(version) FROM notebook").fetchone()[0]
    if not isinstance(found, int) or not 1 <= found <= SCHEMA:
        raise InputError(
            where, f"this notebook has version {found}, and {SCHEMA} is the last known", "use a later scout"
        )
    return found


# What a visit may hold: checked before it is written and after it is read.
TEXTS = (
    "call",
    "operator",
    "antenna",
    "radio",
    "bands",
    "weather",
    "conditions",
    "went_well",
    "went_badly",
    "sheet",
)
# Characters: thirty pages. A table of visits is as wide as its longest call sign.
LONGEST_TEXT = 100_000
_MOST_CONTACTS = 10**9


def find_fault(visit: Visit) -> str:
    """Say what is wrong with a visit; empty where it is sound."""
    try:
        _check(visit)
    except ValueError as error:
        return str(error)
    return ""


def check_year(what: str, year: int) -> None:
    """Refuse a year that no visit is of.

    Raises
    ------
    ValueError
    """
    if year not in YEARS:
        raise ValueError(f"its {what} is in the year {year}, not from {YEARS[0]} to {YEARS[-1]}")


def _check(visit: Visit) -> None:
    check_year("start", visit.start.year)
    if visit.end is not None:
        check_year("end", visit.end.year)
    if not (abs(visit.lat) <= 90 and abs(visit.lon) <= 360):
        raise ValueError("its position is not on the globe")
    if isinstance(visit.level, bool) or visit.level not in range(1, len(LEVELS) + 1):
        raise ValueError(f"its level {visit.level!r:.20} is none")
    for name in ("error_m", "confidence", "power_w"):
        _check_number(name, getattr(visit, name))
    if visit.contacts is not None and not (
        isinstance(visit.contacts, int) and 0 <= visit.contacts <= _MOST_CONTACTS
    ):
        raise ValueError(f"its contacts, {visit.contacts!r:.20}, are no count up to {_MOST_CONTACTS:,}")
    for text in visit.locators:
        try:
            parse(text)
        except LocatorError:
            raise ValueError(f"its locators have {text!r:.20}, which is none") from None
    for name in TEXTS:
        _check_text(name, getattr(visit, name))
    for park in visit.parks:
        _check_text("park", park.park)
        _check_text("park", park.name)
        if not park.park:
            raise ValueError("a park of it has no id")
        _check_number("clearance", park.clearance_m)
        _check_number("park's confidence", park.confidence)


def _check_number(name: str, value: Any) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError(f"its {name}, {value!r:.20}, is no number")


def _check_text(name: str, value: Any) -> None:
    if not isinstance(value, str):
        raise ValueError(f"its {name} is no text")
    if len(value) > LONGEST_TEXT:
        raise ValueError(f"its {name} has {len(value):,} characters, more than {LONGEST_TEXT:,}")


# Visits as rows: written, read back, kept as JSON before a change.
_NUMBERS = ("error_m", "level", "confidence", "power_w", "contacts")
_COLUMNS = ("started", "ended", "locators", *_NUMBERS, *TEXTS)
_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128, 2.1.3
_LONGEST_POINT = 64  # bytes; nothing further down is read: geometries nested without end crash GEOS
_LONGEST_LOCATORS = 1000  # characters; a station touches four cells
_SHOWN = 60  # characters of a value with which a bad row is reported
# What a damaged row makes its readers raise.
_SPOILT = (ValueError, TypeError, AttributeError, LookupError, ArithmeticError, RecursionError)


class Row(NamedTuple):
    """A visit as the file has it, sound or not."""

    number: int
    values: dict[str, Any]  # by column, the geometry among them
    parks: list[tuple[Any, ...]]  # park, name, clearance, confidence


def format_time(time: datetime) -> str:
    """A time as GeoPackage 1.3 writes it, in UTC.

    Examples
    --------
    >>> format_time(datetime(2026, 3, 1, 18, 5, tzinfo=UTC))
    '2026-03-01T18:05:00.000Z'
    """
    return time.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def insert_visit(base: sqlite3.Connection, visit: Visit) -> int:
    """Write a visit, under its own number if it has one; gives the number."""
    names = ["geom", *_COLUMNS, *(["fid"] if visit.number else [])]
    values = [*_list_values(visit), *([visit.number] if visit.number else [])]
    marks = ", ".join("?" * len(names))
    done = base.execute(f"INSERT INTO visits ({', '.join(names)}) VALUES ({marks})", values)
    number = int(done.lastrowid or 0)
    _insert_parks(base, number, visit)
    return number


def update_visit(base: sqlite3.Connection, visit: Visit) -> None:
    """Write a visit over the one of its number."""
    names = ", ".join(f"{name} = ?" for name in ("geom", *_COLUMNS))
    base.execute(f"UPDATE visits SET {names} WHERE fid = ?", [*_list_values(visit), visit.number])
    base.execute("DELETE FROM visit_parks WHERE visit = ?", (visit.number,))
    _insert_parks(base, visit.number, visit)


def remove_visit(base: sqlite3.Connection, number: int) -> None:
    """Take a visit and its parks out."""
    base.execute("DELETE FROM visits WHERE fid = ?", (number,))


def touch_tables(base: sqlite3.Connection, now: str) -> None:
    """Tell other readers when the tables changed and what ground they cover."""
    base.execute("UPDATE gpkg_contents SET last_change = ?", (now,))
    # A row changed elsewhere may lack its point; reading says so, an addition need not fail for it.
    blobs = base.execute("SELECT geom FROM visits WHERE typeof(geom) = 'blob'")
    points = [shapely.from_wkb(_strip_header(blob), on_invalid="ignore") for (blob,) in blobs]
    box = [float(edge) for edge in shapely.total_bounds(points)] if points else [None] * 4
    base.execute(
        "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = 'visits'", box
    )


def read_rows(base: sqlite3.Connection, number: int | None = None) -> Iterator[Row]:
    """Give the rows of the file one after the other, or the one of a number."""
    some, which = ("", ()) if number is None else (" WHERE {} = ?", (number,))
    parks: dict[Any, list[tuple[Any, ...]]] = {}
    held = some.format("visit")
    for key, *park in base.execute(
        f"SELECT visit, park, name, clearance_m, confidence FROM visit_parks{held} ORDER BY fid", which
    ):
        parks.setdefault(key, []).append(tuple(park))
    names = ("geom", *_COLUMNS)
    found = base.execute(
        f"SELECT fid, {', '.join(names)} FROM visits{some.format('fid')} ORDER BY fid", which
    )
    for key, *values in found:
        yield Row(key, dict(zip(names, values, strict=True)), parks.get(key, []))


def judge_row(row: Row) -> Visit | BadVisit:
    """Give the visit in a row, or what is wrong with it."""
    try:
        return as_visit(row)
    except ValueError as error:
        values = [(name, _shown(value)) for name, value in row.values.items() if value is not None]
        values += [("park", ", ".join(_shown(value) for value in park)) for park in row.parks]
        return BadVisit(row.number, str(error), tuple(values))


def as_visit(row: Row, instead: Mapping[str, Any] | None = None) -> Visit:
    """Give the visit in a row; fields given ``instead`` are not read from it.

    Raises
    ------
    ValueError
        The row is no visit.
    """
    values = row.values
    plain: dict[str, Any] = {name: values[name] for name in _NUMBERS}
    plain |= {name: "" if values[name] is None else values[name] for name in TEXTS}
    plain["level"] = values["level"] or 2
    readers: dict[str, Callable[[], Any]] = {
        "start": lambda: _stored_time("start", values["started"]),
        "end": lambda: None if values["ended"] is None else _stored_time("end", values["ended"]),
        "locators": lambda: _locators(values["locators"]),
        "parks": lambda: tuple(ParkVisited(park, name or "", *more) for park, name, *more in row.parks),
    }
    given = dict(instead or {})
    try:
        if not {"lon", "lat"} <= given.keys():
            point = _read_point(values["geom"])
            given = {"lon": point.x, "lat": point.y} | given
        given = plain | {name: read() for name, read in readers.items() if name not in given} | given
        visit = Visit(number=row.number, **given)
        fault = find_fault(visit)
    except _SPOILT as error:
        raise ValueError(str(error)) from None
    if fault:
        raise ValueError(fault)
    return visit


def keep_change(base: sqlite3.Connection, what: str, before: Visit | Row, now: str) -> None:
    """Keep a visit as it is before a change; of what is no visit, the row itself."""
    values: dict[str, Any]
    if isinstance(before, Visit):
        values = asdict(before)
        values |= {
            name: None if values[name] is None else format_time(values[name]) for name in ("start", "end")
        }
    else:
        values = {"row": before._asdict()}
    base.execute(
        "INSERT INTO notebook_kept (made, what, before) VALUES (?, ?, ?)",
        (now, what, json.dumps(values, ensure_ascii=False, default=lambda blob: {"hex": blob.hex()})),
    )


def read_last_change(base: sqlite3.Connection, where: str) -> tuple[int, str, Visit | Row] | None:
    """The last change that can be taken back: its key, what it was, the visit or row before it."""
    found = base.execute("SELECT key, what, before FROM notebook_kept ORDER BY key DESC LIMIT 1").fetchone()
    if found is None:
        return None
    try:
        values = json.loads(found[2], object_hook=_with_blobs)
        if "row" in values:
            number, columns, parks = (values["row"][name] for name in Row._fields)
            row = Row(int(number), {name: columns[name] for name in ("geom", *_COLUMNS)}, parks)
            return found[0], found[1], row
        values |= {
            name: None if values[name] is None else _parse_time(values[name]) for name in ("start", "end")
        }
        values["locators"] = tuple(values["locators"])
        values["parks"] = tuple(ParkVisited(**park) for park in values["parks"])
        return found[0], found[1], Visit(**values)
    except _SPOILT as error:
        raise RecordError(where, f"what was kept of an edit cannot be read ({error})", "edit again") from None


def _with_blobs(values: dict[str, Any]) -> Any:
    return bytes.fromhex(values["hex"]) if values.keys() == {"hex"} else values


def restore(base: sqlite3.Connection, row: Row) -> None:
    """Write a row back as it was."""
    names = ("fid", *row.values)
    marks = ", ".join("?" * len(names))
    base.execute(
        f"INSERT INTO visits ({', '.join(names)}) VALUES ({marks})", (row.number, *row.values.values())
    )
    base.executemany(
        "INSERT INTO visit_parks (visit, park, name, clearance_m, confidence) VALUES (?, ?, ?, ?, ?)",
        [(row.number, *park) for park in row.parks],
    )


def forget_change(base: sqlite3.Connection, key: int) -> None:
    """Drop what was kept for a change that has been taken back."""
    base.execute("DELETE FROM notebook_kept WHERE key = ?", (key,))


def _insert_parks(base: sqlite3.Connection, number: int, visit: Visit) -> None:
    base.executemany(
        "INSERT INTO visit_parks (visit, park, name, clearance_m, confidence) VALUES (?, ?, ?, ?, ?)",
        [(number, clean_text(p.park), clean_text(p.name), p.clearance_m, p.confidence) for p in visit.parks],
    )


def _list_values(visit: Visit) -> list[Any]:
    blob = struct.pack("<2sBBiBIdd", b"GP", 0, 1, 4326, 1, 1, visit.lon, visit.lat)
    end = None if visit.end is None else format_time(visit.end)
    numbers = [getattr(visit, name) for name in _NUMBERS]
    texts = [clean_text(getattr(visit, name)) for name in TEXTS]
    return [blob, format_time(visit.start), end, " ".join(visit.locators), *numbers, *texts]


def _locators(text: Any) -> tuple[str, ...]:
    if text is not None and (not isinstance(text, str) or len(text) > _LONGEST_LOCATORS):
        raise ValueError(f"its locators, {_shown(text)}, are none")
    return tuple((text or "").split())


def _stored_time(what: str, text: Any) -> datetime:
    if text is None:
        raise ValueError(f"it has no {what}")
    try:
        time = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        raise ValueError(f"its {what}, {_shown(text)}, is no time") from None
    check_year(what, time.year)  # first: near the ends of the calendar another zone has no date
    return _in_utc(time)


def _parse_time(text: str) -> datetime:
    return _in_utc(datetime.fromisoformat(text))


def _in_utc(time: datetime) -> datetime:
    """A stored time; one without a zone is UTC."""
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


def _shown(value: Any) -> str:
    if isinstance(value, bytes):
        return f"{len(value):,} bytes"
    text = repr(value[: _SHOWN + 1] if isinstance(value, str) else value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def _read_point(blob: Any) -> Any:
    point = shapely.from_wkb(_strip_header(blob), on_invalid="ignore") if isinstance(blob, bytes) else None
    if point is None or point.geom_type != "Point" or point.is_empty:
        raise ValueError("it has no position")
    return point


def _strip_header(blob: bytes) -> bytes:
    """The geometry behind the header and its box; nothing where there is no such header."""
    if blob[:2] != b"GP" or len(blob) < 8 or (blob[3] >> 1) & 7 not in _ENVELOPE:
        return b""
    begin = 8 + _ENVELOPE[(blob[3] >> 1) & 7]
    return blob[begin : begin + _LONGEST_POINT]
