"""Hours of a day as people write them: from-to, sunrise and sunset, opening hours of OpenStreetMap."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import NamedTuple

from scout.errors import InputError, SettingName
from scout.tours.plan import Window

_CLOCK = re.compile(r"([01]?\d|2[0-4])[:.h]?([0-5]\d)?")
_SPAN = re.compile(r"\s*([^\s–-]*)\s*(?:-|–|\bto\b)\s*([^\s–-]*)\s*")
_BY_SUN = re.compile(r"\b(sunrise|sunset|dawn|dusk)\b")
_HOLIDAYS = re.compile(r"\b[ps]h\b")
_SUN = ("sunrise", "sunset")
MINUTE = timedelta(minutes=1)


class Hours(NamedTuple):
    """From when until when, each a clock's time, ``sunrise`` or ``sunset``; "" for no limit."""

    first: str
    last: str


def parse_hours(text: str, place: str = "") -> Hours:
    """Hours such as 08:00-18:30 or sunrise-sunset; those of a ``place`` may be open: 14:00- and -16:00.

    Examples
    --------
    >>> parse_hours("8:00 - sunset")
    Hours(first='8:00', last='sunset')

    Raises
    ------
    InputError
        They are none.
    """
    span = _SPAN.fullmatch(text.casefold())
    remedy = "write 08:00-18:00, sunrise-sunset or 07:30-sunset"
    where = SettingName("between" if place else "hours", f"{place}{text[:40]}")
    if span is None:
        raise InputError(where, "is no span of hours", remedy)
    ends = span.groups()
    for end in ends:
        clock = _CLOCK.fullmatch(end)
        fits = end in _SUN or (clock is not None and int(clock[1]) * 60 + int(clock[2] or 0) <= 1440)
        if not fits and (end or not place):
            raise InputError(where, f"{end} is no time" if end else "an end is missing", remedy)
    if ends == ("", ""):
        raise InputError(where, "names no time", remedy)
    return Hours(*ends)


def parse_wished_hours(text: str) -> tuple[int, Hours]:
    """A place's number and the hours it is wanted in: 3=14:00-16:00, 3=14:00- for not before.

    Examples
    --------
    >>> parse_wished_hours("3=14:00-")
    (3, Hours(first='14:00', last=''))
    """
    number, sign, hours = text.partition("=")
    if not sign or not number.strip().isascii() or not number.strip().isdigit() or not int(number):
        remedy = "write its number and hours: 3=14:00-16:00"
        raise InputError(SettingName("between", text[:40]), "names no place and hours", remedy)
    return int(number), parse_hours(hours, f"{number.strip()}=")


def count_minutes(at: datetime, day: date, zone: tzinfo) -> int:
    """Minutes from a local midnight to a moment, rounded down; past a change of clocks as they pass."""
    midnight = datetime.combine(day, time(), zone)
    return int((at.astimezone(UTC) - midnight.astimezone(UTC)) // MINUTE)


def find_moment(minutes: int, day: date, zone: tzinfo) -> datetime:
    """The moment so many minutes after a local midnight, on the local clock."""
    midnight = datetime.combine(day, time(), zone)
    return (midnight.astimezone(UTC) + minutes * MINUTE).astimezone(zone)


def read_clock(text: str, day: date, zone: tzinfo) -> int:
    """Minutes from the midnight of a day to a clock's time; 24:00 is the next midnight."""
    clock = _CLOCK.fullmatch(text)
    assert clock is not None
    hour, minute = int(clock[1]), int(clock[2] or 0)
    on, hour = (day + timedelta(days=1), 0) if hour == 24 else (day, hour)
    return count_minutes(datetime.combine(on, time(hour, minute), zone), day, zone)


def intersect_windows(some: Sequence[Window], others: Sequence[Window]) -> tuple[Window, ...]:
    """What two sets of windows share.

    Examples
    --------
    >>> intersect_windows([(0, 10), (20, 30)], [(5, 25)])
    ((5, 10), (20, 25))
    """
    shared = [(max(a, c), min(b, d)) for a, b in some for c, d in others]
    return tuple(sorted((a, b) for a, b in shared if a < b))


def list_open_windows(text: str, day: date, zone: tzinfo) -> tuple[Window, ...] | None:
    """When something with opening hours in OpenStreetMap's notation is open on a local day, holidays apart.

    None where the text is not understood, or depends on the Sun.

    Raises
    ------
    InputError
        What reads the notation is not installed.
    """
    try:
        from opening_hours import OpeningHours, State
    except ImportError as error:
        what = "what reads opening hours is not installed"
        raise InputError("a day with several places", what, "install the extra named trip") from error
    if _BY_SUN.search(text):
        return None
    text = _HOLIDAYS.sub(lambda found: found[0].upper(), text)  # tags are read in small letters
    midnight = datetime.combine(day, time())
    try:
        spans = list(OpeningHours(text).intervals(midnight, midnight + timedelta(days=1)))
    except Exception as error:
        if type(error).__name__ != "ParserError":  # not among the names its types declare
            raise
        return None
    windows: list[Window] = []
    for start, end, state, _ in spans:
        if state == State.UNKNOWN:
            return None
        if state == State.OPEN:
            a, b = (count_minutes(at.replace(tzinfo=zone), day, zone) for at in (start, end))
            if windows and windows[-1][1] >= a:
                a = windows.pop()[0]
            windows.append((a, b))
    return tuple(windows)
