"""Sunrise, sunset and twilight beside published tables and beside an independent ephemeris.

Tables, to the minute, as the US Naval Observatory, HM Nautical Almanac Office and Geoscience Australia print
them: from memory (M). Ephemeris: PyPI `ephem` (XEphem's code, VSOP 87), computed when the test runs (R).
Definition of rise and set, altitude -50', and of civil twilight, -6 degrees: US Naval Observatory (M).
"""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import ephem
import pytest

from scout.model import Horizon
from scout.output.sun import SunDay, compute_sun_day, find_light

# Place, lat, lon, zone, day, sunrise, sunset (local clock). M.
TABLES = [
    ("London", 51.5, -0.13, "Europe/London", date(2024, 6, 20), "04:43", "21:21"),
    ("London", 51.5, -0.13, "Europe/London", date(2023, 12, 22), "08:04", "15:53"),
    ("New York", 40.71, -74.01, "America/New_York", date(2024, 6, 20), "05:25", "20:31"),
    ("New York", 40.71, -74.01, "America/New_York", date(2023, 12, 21), "07:17", "16:32"),
    ("Sydney", -33.87, 151.21, "Australia/Sydney", date(2023, 12, 22), "05:41", "20:05"),
    ("Sydney", -33.87, 151.21, "Australia/Sydney", date(2024, 6, 21), "07:00", "16:54"),
]


def times(day: SunDay, kind: str) -> list[datetime]:
    return [event.at for event in day.events if event.kind == kind]


@pytest.mark.parametrize(("place", "lat", "lon", "zone", "day", "rise", "dusk"), TABLES)
def test_rise_and_set_are_those_of_printed_tables(
    place: str, lat: float, lon: float, zone: str, day: date, rise: str, dusk: str
) -> None:
    found = compute_sun_day(lon, lat, day, ZoneInfo(zone))
    for kind, printed in (("sunrise", rise), ("sunset", dusk)):
        (at,) = times(found, kind)
        local = at.astimezone(ZoneInfo(zone))
        table = datetime.combine(day, datetime.strptime(printed, "%H:%M").time(), ZoneInfo(zone))
        assert abs(local - table) <= timedelta(minutes=1.5), (place, local)


def test_where_the_sun_sets_after_midnight_the_day_begins_with_its_setting() -> None:
    """Fairbanks at midsummer: sets about 00:47, rises about 02:58, US Naval Observatory (M)."""
    zone = ZoneInfo("America/Anchorage")
    found = compute_sun_day(-147.72, 64.84, date(2024, 6, 21), zone)
    kinds = [event.kind for event in found.events]
    assert kinds == ["sunset", "sunrise"]  # and no end of civil twilight
    clock = [event.at.astimezone(zone).hour * 60 + event.at.astimezone(zone).minute for event in found.events]
    assert clock == pytest.approx([47, 178], abs=4)


@pytest.mark.parametrize(
    ("day", "always"),
    [
        (date(2024, 6, 21), "up"),
        (date(2024, 7, 20), "up"),
        (date(2024, 8, 5), ""),
        (date(2024, 11, 15), ""),
        (date(2024, 12, 21), "down"),
        (date(2024, 5, 10), ""),
    ],
)
def test_tromso_has_its_midnight_sun_and_its_polar_night(day: date, always: str) -> None:
    """Midnight sun about 18 May to 25 July, polar night about 27 November to 15 January (M)."""
    found = compute_sun_day(18.96, 69.65, day, ZoneInfo("Europe/Oslo"))
    assert found.always == always
    assert bool(times(found, "sunrise")) == (not always)
    if always == "down":
        assert [event.kind for event in found.events] == ["twilight begins", "twilight ends"]


@pytest.mark.parametrize(
    ("lat", "day", "always"), [(90, date(2026, 6, 1), "up"), (-90, date(2026, 6, 1), "down")]
)
def test_a_pole_has_one_day_a_year(lat: float, day: date, always: str) -> None:
    found = compute_sun_day(0.0, lat, day)
    assert found.always == always
    assert found.events == ()


def reference(
    lon: float, lat: float, start: datetime, end: datetime, degrees: str
) -> list[tuple[str, datetime]]:
    """Crossings of an altitude by the Sun's centre, without air, by `ephem`."""
    seen = ephem.Observer()
    seen.lon, seen.lat, seen.pressure, seen.horizon = str(lon), str(lat), 0, degrees
    found = []
    for kind, next_one in (("rise", seen.next_rising), ("set", seen.next_setting)):
        at = start
        while True:
            try:
                at = next_one(ephem.Sun(), start=at.replace(tzinfo=None), use_center=True).datetime()
            except (ephem.AlwaysUpError, ephem.NeverUpError):
                break
            at = at.replace(tzinfo=UTC)
            if at >= end:
                break
            found.append((kind, at))
            at += timedelta(minutes=1)
    return sorted(found, key=lambda event: event[1])


@pytest.mark.parametrize(
    ("degrees", "kinds"), [("-0:50", ("sunrise", "sunset")), ("-6", ("twilight begins", "twilight ends"))]
)
def test_an_independent_ephemeris_agrees_to_a_minute(degrees: str, kinds: tuple[str, str]) -> None:
    draw = random.Random(1)
    for _ in range(60):
        lat, lon = draw.uniform(-60, 60), draw.uniform(-180, 180)
        day = date(1990, 1, 1) + timedelta(days=draw.randrange(22_000))
        zone = timezone(timedelta(hours=round(lon / 15)))
        start = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
        expected = reference(lon, lat, start, start + timedelta(days=1), degrees)
        mine = [event for event in compute_sun_day(lon, lat, day, zone).events if event.kind in kinds]
        assert [event.kind for event in mine] == [kinds[kind == "set"] for kind, _ in expected], (
            lon,
            lat,
            day,
        )
        for event, (_, at) in zip(mine, expected, strict=True):
            assert abs(event.at - at) <= timedelta(minutes=1), (lon, lat, day)


def test_near_the_poles_the_altitude_at_an_event_is_right() -> None:
    """Where the Sun glances along the horizon a time is a poor measure: its altitude is compared instead."""
    draw = random.Random(2)
    events = 0
    for _ in range(80):
        lat, lon = draw.choice([-1, 1]) * draw.uniform(60, 89), draw.uniform(-180, 180)
        day = date(1990, 1, 1) + timedelta(days=draw.randrange(22_000))
        seen = ephem.Observer()
        seen.lon, seen.lat, seen.pressure = str(lon), str(lat), 0
        for event in compute_sun_day(lon, lat, day).events:
            seen.date = event.at.replace(tzinfo=None)
            altitude = math.degrees(ephem.Sun(seen).alt)
            assert altitude == pytest.approx(-5 / 6 if "sun" in event.kind else -6.0, abs=0.02)
            events += 1
    assert events > 100


def test_a_day_of_23_hours_ends_at_its_own_midnight() -> None:
    zone = ZoneInfo("Europe/Berlin")
    for event in compute_sun_day(13.4, 52.5, date(2026, 3, 29), zone).events:
        assert event.at.astimezone(zone).date() == date(2026, 3, 29)
    (rise,) = times(compute_sun_day(13.4, 52.5, date(2026, 3, 29), zone), "sunrise")
    (before,) = times(compute_sun_day(13.4, 52.5, date(2026, 3, 28), zone), "sunrise")
    assert timedelta(hours=23, minutes=50) < rise - before < timedelta(hours=24)


def flat_horizon(deg: float) -> Horizon:
    """Hills of one height all round, in the angles of light."""
    return Horizon(
        antenna_m=0.0,
        ground_m=0.0,
        highest_m=0.0,
        needed_m=1.0,
        cell_m=30.0,
        refraction=0.13,
        deg=(deg,) * 360,
        at_m=(1000.0,) * 360,
        reach_m=(1.0,) * 360,
        error_deg=(0.1,) * 360,
    )


@pytest.mark.parametrize("lat", [-45.0, 0.0, 46.0, 60.0])
@pytest.mark.parametrize("deg", [2.0, 5.0, 12.0])
def test_the_sun_over_a_ridge_is_that_of_an_ephemeris_with_a_raised_horizon(lat: float, deg: float) -> None:
    """`ephem` computes refraction at the ridge itself, from 1010 hPa and 10 degrees Celsius."""
    for day in (date(2026, 3, 20), date(2026, 6, 21), date(2026, 12, 21)):
        seen = ephem.Observer()
        seen.lon, seen.lat, seen.horizon = "10", str(lat), str(deg)
        seen.pressure, seen.temp, seen.date = 1010.0, 10.0, datetime(day.year, day.month, day.day)
        light = find_light(10.0, lat, day, UTC, flat_horizon(deg))
        try:
            wanted = seen.next_rising(ephem.Sun()), seen.next_setting(ephem.Sun())
        except ephem.NeverUpError:
            assert light.direct == ()
            continue
        ((begin, end),) = light.direct
        for found, at in zip((begin, end), wanted, strict=True):
            assert abs(found - at.datetime().replace(tzinfo=UTC)) <= timedelta(seconds=30), (day, found)


def test_a_hill_in_the_west_ends_the_day_sooner_and_a_notch_in_it_gives_the_sun_back() -> None:
    deg = [0.0] * 360
    deg[240:330] = [15.0] * 90
    deg[294:297] = [4.0] * 3
    horizon = replace(flat_horizon(0.0), deg=tuple(deg))
    level = find_light(10.0, 46.0, date(2026, 6, 21), UTC)
    (_, dusk), (back, gone) = find_light(10.0, 46.0, date(2026, 6, 21), UTC, horizon).direct
    assert level.direct == ()
    (sunset,) = times(level.level, "sunset")
    assert dusk < back < gone < sunset
    assert sunset - dusk > timedelta(minutes=60)


def test_hills_beyond_the_heights_make_the_times_unsure() -> None:
    known = flat_horizon(1.0)
    short = replace(known, needed_m=50_000.0, reach_m=(5000.0,) * 360, highest_m=900.0)
    assert not find_light(10.0, 46.0, date(2026, 6, 21), UTC, known).unsure
    assert find_light(10.0, 46.0, date(2026, 6, 21), UTC, short).unsure
