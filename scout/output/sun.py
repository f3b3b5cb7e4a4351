"""Sunrise, sunset and civil twilight of one local day, and the Sun over real hills; days without are named.

The Sun's place comes from `astral`, whose own search for a day's sunrise gives up near the polar circles and
knows one event of a kind a day: here the day is stepped through, so it may hold none, one or two.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import Literal
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from astral import Observer
from astral.sun import azimuth, elevation
from numpy.typing import NDArray

from scout.errors import InputError
from scout.model import Horizon
from scout.sight.horizon import LIGHT
from scout.sight.outlook import bend_to, compute_possible

FIRST_YEAR, LAST_YEAR = 1950, 2100  # the formulas hold for longer; no outing is planned then

# True altitude of the Sun's centre: 34' of refraction and 16' of radius below the horizon at rise and set, 6
# degrees at civil twilight (US Naval Observatory, definitions of rise, set and twilight, M).
_RISE_DEG, _TWILIGHT_DEG = -50 / 60, -6.0
_SUN_RADIUS_DEG, _REFRACTION_DEG = 16 / 60, 34 / 60  # the parts of the 50' of rise and set
_STEP, _HILLS_STEP = timedelta(minutes=5), timedelta(minutes=2)
_NEAR = timedelta(seconds=1)
_OFFSET = re.compile(r"(?:UTC)?([+-])(\d{1,2})(?::?(\d{2}))?")

Kind = Literal[
    "twilight begins", "sunrise", "sunset", "twilight ends", "Sun over the hills", "Sun behind the hills"
]


@dataclass(frozen=True, slots=True)
class SunEvent:
    """One crossing of an altitude, UTC to the second."""

    kind: Kind
    at: datetime


@dataclass(frozen=True, slots=True)
class SunDay:
    """A local day: its events in order of time, and what holds when the Sun neither rises nor sets."""

    events: tuple[SunEvent, ...]
    always: Literal["", "up", "down"]


def compute_sun_day(lon: float, lat: float, day: date, zone: tzinfo | None = None) -> SunDay:
    """Events of the Sun from one local midnight to the next, at a level horizon.

    Parameters
    ----------
    lon, lat : float
        Degrees.
    day : date
        Within ``FIRST_YEAR`` and ``LAST_YEAR``.
    zone : tzinfo, optional
        Whose midnights bound the day; without one, those of the nautical zone of the longitude.

    Returns
    -------
    SunDay
        Times good to about a minute up to latitude 65; near the polar circles a hundredth of a degree is
        minutes, and how the air bends light makes more.

    Examples
    --------
    >>> from datetime import date
    >>> [(e.kind, e.at.hour) for e in compute_sun_day(0.0, 51.48, date(2026, 6, 21)).events]
    [('twilight begins', 2), ('sunrise', 3), ('sunset', 20), ('twilight ends', 21)]
    """
    zone = zone or choose_zone(lon)
    start, end = (
        datetime.combine(each, time(), zone).astimezone(UTC) for each in (day, day + timedelta(days=1))
    )
    times = [start + k * _STEP for k in range(int((end - start) / _STEP))] + [end]
    place = Observer(lat, lon, 0.0)
    heights = [_compute_altitude(place, at) for at in times]
    events = [
        *_find_crossings(place, times, heights, _TWILIGHT_DEG, ("twilight begins", "twilight ends")),
        *_find_crossings(place, times, heights, _RISE_DEG, ("sunrise", "sunset")),
    ]
    events.sort(key=lambda event: event.at)
    rises = any(event.kind in ("sunrise", "sunset") for event in events)
    return SunDay(tuple(events), "" if rises else "up" if heights[0] >= _RISE_DEG else "down")


@dataclass(frozen=True, slots=True)
class DayLight:
    """The Sun of a day at a level horizon and over the hills there."""

    level: SunDay
    direct: tuple[tuple[datetime, datetime], ...] = ()  # from when to when the Sun is over the hills, UTC
    hills: bool = False  # whether a horizon was given
    unsure: bool = False  # heights end too soon where the Sun passes the hills

    @property
    def events(self) -> tuple[SunEvent, ...]:
        """The events of the level horizon and those of the hills, in order of time."""
        passed: list[SunEvent] = []
        for begin, end in self.direct:
            passed += [SunEvent("Sun over the hills", begin), SunEvent("Sun behind the hills", end)]
        return tuple(sorted((*self.level.events, *passed), key=lambda event: event.at))


def find_light(
    lon: float, lat: float, day: date, zone: tzinfo | None = None, horizon: Horizon | None = None
) -> DayLight:
    """When the Sun shines on a place: over a level horizon, and over the hills that stand there.

    The upper rim of the Sun counts, as at rise and set, with the refraction at the angle of the hills
    (Bennett 1982, J. Navigation 35:255, M, scaled to 34' at the level).

    Parameters
    ----------
    lon, lat, day, zone
        As for `compute_sun_day`.
    horizon : Horizon, optional
        Of the place. Its angles are taken for light.

    Returns
    -------
    DayLight
        A day without any direct Sun has no part in ``direct``; one that begins or ends in the sunshine of a
        polar day begins or ends it at midnight.
    """
    level = compute_sun_day(lon, lat, day, zone)
    if horizon is None:
        return DayLight(level)
    zone = zone or choose_zone(lon)
    start, end = (
        datetime.combine(each, time(), zone).astimezone(UTC) for each in (day, day + timedelta(days=1))
    )
    hills = _HillLine(Observer(lat, lon, 0.0), bend_to(horizon, LIGHT))
    steps = int((end - start) / _HILLS_STEP)
    times = [start + k * _HILLS_STEP for k in range(steps)] + [end]
    over = [hills.is_over(at) for at in times]
    direct: list[tuple[datetime, datetime]] = []
    begin = start if over[0] else None
    for k in range(steps):
        if over[k] == over[k + 1]:
            continue
        at = _halve_to_second(hills.is_over, times[k], times[k + 1])
        if over[k + 1]:
            begin = at
        elif begin is not None:
            direct.append((begin, at))
            begin = None
    if begin is not None:
        direct.append((begin, end))
    doubt = compute_possible(horizon) > np.array(horizon.deg) + _DOUBT_DEG
    ends = [hills.find_azimuth(at) for part in direct for at in part]
    unsure = any(doubt[round(at) % len(doubt)] for at in ends)
    return DayLight(level, tuple(direct), True, unsure)


_DOUBT_DEG = 0.1  # that the hills may stand higher than known, from which times are unsure


class _HillLine:
    """Whether the Sun's rim stands over a line of hills."""

    def __init__(self, place: Observer, deg: NDArray[np.float64]) -> None:
        self.place = place
        # The true altitude of the Sun's centre when its rim touches the hills.
        self.altitudes = (deg - _bend_light(deg) - _SUN_RADIUS_DEG).tolist()

    def find_azimuth(self, at: datetime) -> float:
        return float(azimuth(self.place, at))

    def is_over(self, at: datetime) -> bool:
        altitude = _compute_altitude(self.place, at)
        if altitude < -4.0:  # under any sea horizon seen from a mountain
            return False
        towards = self.find_azimuth(at)
        low = int(towards)
        share, count = towards - low, len(self.altitudes)
        one, other = self.altitudes[low % count], self.altitudes[(low + 1) % count]
        return bool(altitude >= one + share * (other - one))


def _bend_light(deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Refraction at apparent altitudes, degrees; under the level that of the level and a little more."""
    at = np.maximum(deg, -1.0)
    bent: NDArray[np.float64] = 1.0 / np.tan(np.radians(at + 7.31 / (at + 4.4)))
    return bent / _BENNETT_LEVEL * _REFRACTION_DEG


_BENNETT_LEVEL = 1.0 / math.tan(math.radians(7.31 / 4.4))


def _halve_to_second(is_over: Callable[[datetime], bool], low: datetime, high: datetime) -> datetime:
    """When something changes between two times."""
    before = is_over(low)
    while high - low > _NEAR:
        middle = low + (high - low) / 2
        if is_over(middle) == before:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0)


def _compute_altitude(place: Observer, at: datetime) -> float:
    return float(elevation(place, at, with_refraction=False))


def _find_crossings(
    place: Observer, times: list[datetime], heights: list[float], level: float, kinds: tuple[Kind, Kind]
) -> list[SunEvent]:
    found = []
    for k in range(len(times) - 1):
        if (heights[k] < level) == (heights[k + 1] < level):
            continue
        low, high, rising = times[k], times[k + 1], heights[k] < level
        while high - low > _NEAR:
            middle = low + (high - low) / 2
            if (_compute_altitude(place, middle) < level) == rising:
                low = middle
            else:
                high = middle
        found.append(SunEvent(kinds[0] if rising else kinds[1], high.replace(microsecond=0)))
    return found


def choose_zone(lon: float) -> tzinfo:
    """The nautical zone of a longitude: whole hours, within half an hour of the Sun's own time.

    Examples
    --------
    >>> print(choose_zone(-111.9), choose_zone(0.0))
    UTC-07:00 UTC
    """
    return timezone(timedelta(hours=round((lon + 180.0) % 360.0 / 15 - 12.0)))


def measure_zone_gap(zone: tzinfo, lon: float, day: date) -> float:
    """Hours by which a zone's clocks are ahead of the mean Sun there, from -12 to 12, at noon of a day.

    Examples
    --------
    >>> measure_zone_gap(parse_zone("-07:00"), -105.0, date(2026, 6, 21))
    0.0
    >>> round(measure_zone_gap(parse_zone("Pacific/Auckland"), -20.0, date(2026, 6, 21)), 2)
    -10.67
    """
    ahead = zone.utcoffset(datetime.combine(day, time(12))) or timedelta()
    return (ahead / timedelta(hours=1) - lon / 15 + 12.0) % 24.0 - 12.0


def parse_zone(text: str) -> tzinfo:
    """Time zone of an IANA name or of an offset from UTC.

    Examples
    --------
    >>> parse_zone("-07:00"), parse_zone("UTC"), str(parse_zone("Pacific/Auckland"))
    (datetime.timezone(datetime.timedelta(days=-1, seconds=61200)), datetime.timezone.utc, 'Pacific/Auckland')

    Raises
    ------
    InputError
        When the text is neither.
    """
    text = text.strip()
    if text.upper() in ("UTC", "Z"):
        return UTC
    offset = _OFFSET.fullmatch(text)
    if offset is not None:
        ahead = timedelta(hours=int(offset[2]), minutes=int(offset[3] or 0))
        if int(offset[3] or 0) < 60 and ahead <= timedelta(hours=14):
            return timezone(ahead if offset[1] == "+" else -ahead)
        raise InputError(f"zone {text}", "no place is that far from UTC", "write an offset such as -07:00")
    try:
        return ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        like = difflib.get_close_matches(text, sorted(available_timezones()), 1)
        remedy = f"did you mean {like[0]}?" if like else "write Pacific/Auckland or -07:00"
        raise InputError(f"zone {text}", "is no time zone known here", remedy) from None
