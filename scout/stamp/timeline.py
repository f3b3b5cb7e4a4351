"""Times of contacts beside those of a visit: what lies outside, and what looks wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from scout.stamp.adi import Contact, Log
from scout.visits import Visit

__all__ = ["Timeline", "Timing", "timeline", "timing"]

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Timing:
    """Begin and end of a contact, UTC. A time in whole minutes may be any second of its minute."""

    start: datetime
    last: datetime  # the latest the start may be
    end: datetime | None

    @property
    def shown(self) -> str:
        """The start for people."""
        return f"{self.start:%Y-%m-%d %H:%M}" + (f":{self.start:%S}" if self.last == self.start else "")


@dataclass(frozen=True, slots=True)
class Timeline:
    """Numbers of the contacts inside a visit, and a line for whatever should be looked at."""

    inside: tuple[int, ...]
    outside: tuple[str, ...]  # within a day of the visit, a line each
    far: int  # outside, further away
    doubts: tuple[str, ...]


def timing(contact: Contact) -> Timing | None:
    """When a contact was, from QSO_DATE, TIME_ON, QSO_DATE_OFF and TIME_OFF; None if that is not known."""
    day, at = _date(contact.value("QSO_DATE")), _time(contact.value("TIME_ON"))
    if day is None or at is None:
        return None
    start = datetime.combine(day, at, UTC)
    last = start if len(contact.value("TIME_ON")) == 6 else start + timedelta(seconds=59)
    end = None
    off = _time(contact.value("TIME_OFF"))
    if off is not None:
        stated = _date(contact.value("QSO_DATE_OFF"))
        end = datetime.combine(stated or day, off, UTC)
        # Without a date of its own the contact took less than 24 hours.
        if stated is None and off < at:
            end += _DAY
    return Timing(start, last, end)


def timeline(log: Log, visit: Visit) -> Timeline:
    """Sort the contacts of a log by whether they were made during a visit.

    Parameters
    ----------
    log : Log
    visit : Visit
        With an end.
    """
    start, end = visit.start, visit.end or visit.start
    inside: list[int] = []
    outside: list[str] = []
    doubts: list[str] = []
    seen: dict[tuple[str, ...], int] = {}
    far = 0
    for contact in log.contacts:
        who = f"contact {contact.number} ({log.words(contact.value('CALL')) or 'no call sign'})"
        when = timing(contact)
        if when is None:
            outside.append(f"{who}: date or time is missing or is none")
            continue
        if when.last >= start and when.start <= end:
            inside.append(contact.number)
            doubts += _doubts(contact, when, visit, who, seen)
        elif _near(when, start, end):
            outside.append(_why(when, start, end, who))
        else:
            far += 1
    return Timeline(tuple(inside), tuple(outside), far, tuple(doubts))


def _near(when: Timing, start: datetime, end: datetime) -> bool:
    return start - _DAY <= when.last and when.start <= end + _DAY


def _why(when: Timing, start: datetime, end: datetime, who: str) -> str:
    side = "before arriving" if when.last < start else "after leaving"
    line = f"{who}, {when.shown}: {side}"
    # A logger set to local time, or a date that was not turned at 0000 UTC, is out by a whole day.
    for days, word in ((1, "later"), (-1, "earlier")):
        if when.last + days * _DAY >= start and when.start + days * _DAY <= end:
            return f"{line}; a day {word} it would fit: is the date UTC?"
    return line


def _doubts(
    contact: Contact, when: Timing, visit: Visit, who: str, seen: dict[tuple[str, ...], int]
) -> list[str]:
    found = []
    names = ("CALL", "BAND", "MODE", "SUBMODE")
    key = (*(contact.value(name).upper() for name in names), f"{when.start:%Y%m%d}")
    if key in seen:
        found.append(f"{who}, {when.shown}: same call sign, band, mode and UTC day as contact {seen[key]}")
    else:
        seen[key] = contact.number
    if when.end is not None and when.end < when.start:
        found.append(f"{who}, {when.shown}: ends before it begins")
    elif when.end is not None and visit.end is not None and when.end > visit.end:
        found.append(f"{who}, {when.shown}: ends after leaving, at {when.end:%Y-%m-%d %H:%M}")
    return found


def _date(text: str) -> date | None:
    try:
        day = datetime.strptime(text, "%Y%m%d").date() if len(text) == 8 else None
    except ValueError:
        return None
    # The first and the last year of the calendar are slips, and a day before or after them is none.
    return day if day and date.min.year < day.year < date.max.year else None


def _time(text: str) -> time | None:
    try:
        return datetime.strptime(text, {4: "%H%M", 6: "%H%M%S"}.get(len(text), "-")).time()
    except ValueError:
        return None
