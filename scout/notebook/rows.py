"""Visits as rows: written, read back, kept as JSON before a change."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, NamedTuple

import shapely

from scout.errors import RecordError
from scout.exports.text import cleaned
from scout.notebook.sound import TEXTS, check_year, find_fault
from scout.visits import BadVisit, ParkVisited, Visit

__all__ = [
    "Row",
    "as_visit",
    "forget",
    "insert",
    "judge_row",
    "keep",
    "last_kept",
    "read_rows",
    "remove",
    "restore",
    "time_text",
    "touch",
    "update",
]

_NUMBERS = ("error_m", "level", "confidence", "power_w", "contacts")
_COLUMNS = ("started", "ended", "locators", *_NUMBERS, *TEXTS)
_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128, 2.1.3
_LONGEST_LOCATORS = 1000  # characters; a station touches four cells
_SHOWN = 60  # characters of a value that a bad row is told with
# What a damaged row makes its readers raise.
_SPOILT = (ValueError, TypeError, AttributeError, LookupError, ArithmeticError, RecursionError)


class Row(NamedTuple):
    """A visit as the file has it, sound or not."""

    number: int
    values: dict[str, Any]  # by column, the geometry among them
    parks: list[tuple[Any, ...]]  # park, name, clearance, confidence


def time_text(time: datetime) -> str:
    """A time as GeoPackage 1.3 writes it, in UTC.

    Examples
    --------
    >>> time_text(datetime(2026, 3, 1, 18, 5, tzinfo=UTC))
    '2026-03-01T18:05:00.000Z'
    """
    return time.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def insert(base: sqlite3.Connection, visit: Visit) -> int:
    """Write a visit, under its own number if it has one; gives the number."""
    names = ["geom", *_COLUMNS, *(["fid"] if visit.number else [])]
    values = [*_values(visit), *([visit.number] if visit.number else [])]
    marks = ", ".join("?" * len(names))
    done = base.execute(f"INSERT INTO visits ({', '.join(names)}) VALUES ({marks})", values)
    number = int(done.lastrowid or 0)
    _insert_parks(base, number, visit)
    return number


def update(base: sqlite3.Connection, visit: Visit) -> None:
    """Write a visit over the one of its number."""
    names = ", ".join(f"{name} = ?" for name in ("geom", *_COLUMNS))
    base.execute(f"UPDATE visits SET {names} WHERE fid = ?", [*_values(visit), visit.number])
    base.execute("DELETE FROM visit_parks WHERE visit = ?", (visit.number,))
    _insert_parks(base, visit.number, visit)


def remove(base: sqlite3.Connection, number: int) -> None:
    """Take a visit and its parks out."""
    base.execute("DELETE FROM visits WHERE fid = ?", (number,))


def touch(base: sqlite3.Connection, now: str) -> None:
    """Tell other readers when the tables changed and what ground they cover."""
    base.execute("UPDATE gpkg_contents SET last_change = ?", (now,))
    # A row changed elsewhere may lack its point; reading says so, an addition need not fail for it.
    blobs = base.execute("SELECT geom FROM visits WHERE typeof(geom) = 'blob'")
    points = [shapely.from_wkb(_wkb(blob), on_invalid="ignore") for (blob,) in blobs]
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
            point = _point(values["geom"])
            given = {"lon": point.x, "lat": point.y} | given
        given = plain | {name: read() for name, read in readers.items() if name not in given} | given
        visit = Visit(number=row.number, **given)
        fault = find_fault(visit)
    except _SPOILT as error:
        raise ValueError(str(error)) from None
    if fault:
        raise ValueError(fault)
    return visit


def keep(base: sqlite3.Connection, what: str, before: Visit | Row, now: str) -> None:
    """Keep a visit as it is before a change; of what is no visit, the row itself."""
    values: dict[str, Any]
    if isinstance(before, Visit):
        values = asdict(before)
        values |= {
            name: None if values[name] is None else time_text(values[name]) for name in ("start", "end")
        }
    else:
        values = {"row": before._asdict()}
    base.execute(
        "INSERT INTO notebook_kept (made, what, before) VALUES (?, ?, ?)",
        (now, what, json.dumps(values, ensure_ascii=False, default=lambda blob: {"hex": blob.hex()})),
    )


def last_kept(base: sqlite3.Connection, where: str) -> tuple[int, str, Visit | Row] | None:
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
        values |= {name: None if values[name] is None else _time(values[name]) for name in ("start", "end")}
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


def forget(base: sqlite3.Connection, key: int) -> None:
    """Drop what was kept for a change that has been taken back."""
    base.execute("DELETE FROM notebook_kept WHERE key = ?", (key,))


def _insert_parks(base: sqlite3.Connection, number: int, visit: Visit) -> None:
    base.executemany(
        "INSERT INTO visit_parks (visit, park, name, clearance_m, confidence) VALUES (?, ?, ?, ?, ?)",
        [(number, cleaned(p.park), cleaned(p.name), p.clearance_m, p.confidence) for p in visit.parks],
    )


def _values(visit: Visit) -> list[Any]:
    blob = struct.pack("<2sBBiBIdd", b"GP", 0, 1, 4326, 1, 1, visit.lon, visit.lat)
    end = None if visit.end is None else time_text(visit.end)
    numbers = [getattr(visit, name) for name in _NUMBERS]
    texts = [cleaned(getattr(visit, name)) for name in TEXTS]
    return [blob, time_text(visit.start), end, " ".join(visit.locators), *numbers, *texts]


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


def _time(text: str) -> datetime:
    return _in_utc(datetime.fromisoformat(text))


def _in_utc(time: datetime) -> datetime:
    """A stored time; one without a zone is UTC."""
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


def _shown(value: Any) -> str:
    if isinstance(value, bytes):
        return f"{len(value):,} bytes"
    text = repr(value[: _SHOWN + 1] if isinstance(value, str) else value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def _point(blob: Any) -> Any:
    point = shapely.from_wkb(_wkb(blob), on_invalid="ignore") if isinstance(blob, bytes) else None
    if point is None or point.geom_type != "Point" or point.is_empty:
        raise ValueError("it has no position")
    return point


def _wkb(blob: bytes) -> bytes:
    """The geometry behind the header and its box; nothing where there is no such header."""
    if blob[:2] != b"GP" or len(blob) < 8 or (blob[3] >> 1) & 7 not in _ENVELOPE:
        return b""
    return blob[8 + _ENVELOPE[(blob[3] >> 1) & 7] :]
