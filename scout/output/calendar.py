"""iCalendar (RFC 5545): an event for each place of a day, from parking to driving on."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

from scout import __version__
from scout.cautions import ALWAYS
from scout.errors import InputError
from scout.io.plain_text import make_one_line
from scout.output.text import format_geo_uri, format_position, format_text
from scout.output.trip import (
    ESTIMATED,
    TELL,
    describe_claim,
    describe_day,
    describe_leg,
    list_day,
    list_visit_cautions,
    name_visit,
)
from scout.tours.day import PlaceVisit, Trip, TripDay

_STAMP = datetime(2026, 1, 1, tzinfo=UTC)  # when it was made is nobody's business, and the bytes repeat


def to_calendar(trip: Trip) -> bytes:
    """The best tour's places as events in UTC, with a whole day's event a day before them.

    Raises
    ------
    InputError
        What writes the format is not installed.
    """
    try:
        from icalendar import Calendar
    except ImportError as error:
        what = "what writes calendars is not installed"
        raise InputError("a day with several places", what, "install the extra named trip") from error
    calendar = Calendar()
    calendar.add("prodid", f"-//scout//scout {__version__}//EN")
    calendar.add("version", "2.0")
    title = make_one_line(trip.findings.title) or "A day with several places"
    for day in trip.tours[0].days:
        first = [describe_day(day), *_list_lines(trip, day), "", ESTIMATED, TELL, *ALWAYS]
        calendar.add_component(_make_event(title, day.start, day.end, "\n".join(first)))
        for visit in day.visits:
            calendar.add_component(_make_visit_event(visit, trip))
    return bytes(calendar.to_ical())


def _list_lines(trip: Trip, day: TripDay) -> list[str]:
    units = trip.findings.units
    return [
        f"{line.at:%H:%M} {line.text}" + (f" ({format_text(line.more, units)})" if line.more else "")
        for line in list_day(trip, day)
    ]


def _make_visit_event(visit: PlaceVisit, trip: Trip) -> Any:
    spot = visit.ranked.spot
    about = [
        describe_claim(visit),
        f"On the air {visit.on_air:%H:%M} to {visit.off_air:%H:%M}.",
        f"Drive there: {format_text(describe_leg(visit.leg), trip.findings.units)}.",
        f"Stand at {format_position(spot.lon, spot.lat)} {format_geo_uri(spot.lon, spot.lat)}",
        f"Park at {format_position(*visit.car_at)} {format_geo_uri(*visit.car_at)}",
        *(format_text(text, trip.findings.units) for text in list_visit_cautions(visit)),
        *ALWAYS,
    ]
    name = name_visit(visit)
    event = _make_event(name[0].upper() + name[1:], visit.arrive, visit.depart, "\n".join(about))
    event.add("geo", (round(spot.lat, 6), round(spot.lon, 6)))
    event.add("location", format_position(spot.lon, spot.lat))
    return event


def _make_event(summary: str, start: datetime, end: datetime, about: str) -> Any:
    from icalendar import Event

    event = Event()
    event.add("summary", summary)
    event.add("dtstart", start.astimezone(UTC))
    event.add("dtend", max(end, start + timedelta(minutes=1)).astimezone(UTC))
    event.add("dtstamp", _STAMP)
    event.add("description", about)
    key = hashlib.sha256(f"{summary} {start.isoformat()}".encode("utf-8", "replace")).hexdigest()[:24]
    event.add("uid", f"{key}@scout.invalid")  # .invalid is nobody's (RFC 2606)
    return event
