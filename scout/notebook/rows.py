"""Visits as rows: written, read back, kept as JSON before a change."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import shapely

from scout.errors import RecordError
from scout.exports.text import cleaned
from scout.visits import ParkVisited, Visit

__all__ = [
    "all_visits",
    "forget",
    "insert",
    "keep",
    "last_kept",
    "remove",
    "time_text",
    "touch",
    "update",
]

_TEXTS = (
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
_NUMBERS = ("error_m", "level", "confidence", "power_w", "contacts")
_COLUMNS = ("started", "ended", "locators", *_NUMBERS, *_TEXTS)
_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128, 2.1.3


def time_text(time: datetime) -> str:
    """A time as GeoPackage 1.3 writes it, in UTC.

    Examples
    --------
    >>> time_text(datetime(2026, 3, 1, 18, 5, tzinfo=UTC))
    '2026-03-01T18:05:00.000Z'
    """
    return f"{time.astimezone(UTC):%Y-%m-%dT%H:%M:%S}.{time.microsecond // 1000:03d}Z"


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
    blobs = base.execute("SELECT geom FROM visits WHERE substr(geom, 1, 2) = x'4750'")
    points = [shapely.from_wkb(_wkb(blob), on_invalid="ignore") for (blob,) in blobs]
    box = [float(edge) for edge in shapely.total_bounds(points)] if points else [None] * 4
    base.execute(
        "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = 'visits'", box
    )


def all_visits(base: sqlite3.Connection, where: str, number: int | None = None) -> list[Visit]:
    """The visits in the file, or the one of a number."""
    some, which = ("", ()) if number is None else (" WHERE fid = ?", (number,))
    parks: dict[int, list[ParkVisited]] = {}
    for key, *park in base.execute(
        "SELECT visit, park, name, clearance_m, confidence FROM visit_parks ORDER BY fid"
    ):
        parks.setdefault(key, []).append(ParkVisited(park[0], park[1] or "", *park[2:]))
    found = base.execute(f"SELECT fid, geom, {', '.join(_COLUMNS)} FROM visits{some} ORDER BY fid", which)
    visits = []
    for key, geom, *values in found.fetchall():
        try:
            row = dict(zip(_COLUMNS, values, strict=True))
            visits.append(_visit(key, _point(geom), row, parks.get(key, [])))
        except (ValueError, TypeError, AttributeError, KeyError) as error:
            raise RecordError(
                where, f"visit {key} cannot be read ({error})", "mend the row in the program that changed it"
            ) from None
    return visits


def keep(base: sqlite3.Connection, what: str, visit: Visit, now: str) -> None:
    """Keep a visit as it is before a change."""
    values = asdict(visit)
    values |= {name: None if values[name] is None else time_text(values[name]) for name in ("start", "end")}
    base.execute(
        "INSERT INTO notebook_kept (made, what, before) VALUES (?, ?, ?)",
        (now, what, json.dumps(values, ensure_ascii=False)),
    )


def last_kept(base: sqlite3.Connection, where: str) -> tuple[int, str, Visit] | None:
    """The last change that can be taken back: its key, what it was, the visit before it."""
    row = base.execute("SELECT key, what, before FROM notebook_kept ORDER BY key DESC LIMIT 1").fetchone()
    if row is None:
        return None
    try:
        values = json.loads(row[2])
        values |= {name: None if values[name] is None else _time(values[name]) for name in ("start", "end")}
        values["locators"] = tuple(values["locators"])
        values["parks"] = tuple(ParkVisited(**park) for park in values["parks"])
        return row[0], row[1], Visit(**values)
    except (ValueError, TypeError, AttributeError, KeyError) as error:
        raise RecordError(where, f"what was kept of an edit cannot be read ({error})", "edit again") from None


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
    texts = [cleaned(getattr(visit, name)) for name in _TEXTS]
    return [blob, time_text(visit.start), end, " ".join(visit.locators), *numbers, *texts]


def _visit(number: int, point: Any, row: Mapping[str, Any], parks: Sequence[ParkVisited]) -> Visit:
    if row["started"] is None:
        raise ValueError("it has no start")
    values: dict[str, Any] = {name: row[name] for name in _NUMBERS}
    values |= {name: row[name] or "" for name in _TEXTS}
    values["level"] = values["level"] or 2
    return Visit(
        lon=point.x,
        lat=point.y,
        start=_time(row["started"]),
        end=None if row["ended"] is None else _time(row["ended"]),
        locators=tuple((row["locators"] or "").split()),
        parks=tuple(parks),
        number=number,
        **values,
    )


def _time(text: str) -> datetime:
    """A stored time; one without a zone is UTC."""
    time = datetime.fromisoformat(text)
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


def _point(blob: bytes | None) -> Any:
    if blob is None or blob[:2] != b"GP":
        raise ValueError("it has no position")
    point = shapely.from_wkb(_wkb(blob), on_invalid="ignore")
    if point is None or point.geom_type != "Point" or point.is_empty:
        raise ValueError("it has no position")
    return point


def _wkb(blob: bytes) -> bytes:
    """The geometry behind the header and its box."""
    return blob[8 + _ENVELOPE[(blob[3] >> 1) & 7] :]
