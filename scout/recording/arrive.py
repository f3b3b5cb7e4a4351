"""A recording and parks to the whole answer of an arrival, and its facts in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import isnan

import numpy as np

from scout.cautions import remark_on_fix_error
from scout.geo.coordinates.forms import format_decimal, format_degrees_minutes
from scout.geo.locator import LEVELS, encode
from scout.model import Checked, Parks, Station, Units
from scout.quantities import format_bearing, format_fine_length, format_stated_length
from scout.recording.standstill import settle_fixes
from scout.recording.values import FIX_TYPES, FLOOR_M, Fixes, Outlier, Standstill
from scout.search.check import CheckOptions, check_places

Facts = list[tuple[str, str]]

_FIRST_DAY = datetime(1970, 1, 1, tzinfo=UTC)


def describe_place(found: Standstill) -> Facts:
    """Where: in degrees, in degrees and minutes, and the locators of every level."""
    locators = [encode(found.lon, found.lat, level) for level in range(1, len(LEVELS) + 1)]
    return [
        ("latitude, longitude", format_decimal(found.lon, found.lat)),
        ("degrees, minutes", format_degrees_minutes(found.lon, found.lat)),
        ("locators", " ".join(locators)),
    ]


def describe_time(found: Standstill) -> Facts:
    """When, in UTC, and how long."""
    if isnan(found.start_s):
        return [("when", "the recording has no times"), ("how long", "not known")]
    start, end = convert_to_utc(found.start_s), convert_to_utc(found.end_s)
    if not found.dated:
        when = f"{start:%H:%M:%S} to {end:%H:%M:%S} UTC, the date was not recorded"
    elif start.date() == end.date():
        when = f"{start:%Y-%m-%d}, {start:%H:%M:%S} to {end:%H:%M:%S} UTC"
    else:
        when = f"{start:%Y-%m-%d %H:%M:%S} to {end:%Y-%m-%d %H:%M:%S} UTC"
    return [("when", when), ("how long", _format_duration(found.duration_s))]


def describe_accuracy(found: Standstill, units: Units = "metric") -> Facts:
    """The 95 % radius and what it is made of."""
    whole, floor, random = (
        format_fine_length(error_m, units)
        for error_m in (found.error_95_m, found.floor_95_m, found.random_95_m)
    )
    source = _name_floor_source(found, units)
    return [
        (
            "95 % radius",
            f"{whole}: the true place lies within it 95 times in 100; floor and random part joined",
        ),
        ("floor", f"{floor} (95 %), not lessened by averaging; {source}"),
        ("random part", f"{random} (95 %), what the scatter leaves in the average"),
        ("scatter", _describe_scatter(found, units)),
        (
            "worth",
            f"{found.n_effective:.1f} independent fixes, as those that follow each other share an error",
        ),
    ]


def describe_recording(fixes: Fixes, found: Standstill) -> Facts:
    """What was recorded, what was used of it, and what the receiver says of itself."""
    used = f"{found.n_used:,} used of {found.n_fixes:,}"
    if found.outliers:
        used += f"; {len(found.outliers):,} dropped as far off"
    if more := found.n_fixes - found.n_used - len(found.outliers):
        used += f"; {more:,} not of this standstill"
    return [
        ("fixes", used),
        ("receiver", _describe_receiver(found)),
        ("file", describe_left_out(fixes)),
    ]


def describe_left_out(fixes: Fixes) -> str:
    """What became of the lines or points of the file."""
    counts = fixes.counts
    parts = [
        f"{count:,} {what}"
        for count, what in (
            (counts.without_checksum, "without a checksum"),
            (counts.without_fix, "without a fix"),
            (counts.repeated, "repeated"),
            (counts.unused, "of other kinds"),
            (counts.unreadable, "unreadable"),
        )
        if count
    ]
    if fixes.kind == "NMEA 0183":
        parts.insert(0, f"{counts.checksum_errors:,} checksum errors")
    things = "points" if fixes.kind == "GPX" else "lines"
    return ", ".join([f"{fixes.kind}, {counts.lines:,} {things}", *parts])


def describe_dropped(outlier: Outlier, dated: bool, units: Units = "metric") -> str:
    """One fix that was dropped: its number from 1, its time, how far off it is."""
    when = "" if isnan(outlier.time_s) else f", {format_clock(outlier.time_s, dated)}"
    away = format_fine_length(outlier.distance_m, units)
    return f"fix {outlier.index + 1:,}{when}: {away} to the {format_bearing(outlier.bearing_deg)}"


def format_clock(time_s: float, dated: bool = True) -> str:
    """A time in UTC, with its date where that is known."""
    return convert_to_utc(time_s).strftime("%Y-%m-%d %H:%M:%S UTC" if dated else "%H:%M:%S UTC")


def convert_to_utc(time_s: float) -> datetime:
    """Seconds since 1970 as a time, whole seconds."""
    return _FIRST_DAY + timedelta(seconds=int(np.floor(time_s)))


def _format_duration(seconds: float) -> str:
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours:
        return f"{hours} h {rest // 60:02d} min"
    return f"{rest // 60} min {rest % 60:02d} s"


def _describe_scatter(found: Standstill, units: Units) -> str:
    if isnan(found.scatter_95_m):
        return "a single fix shows none"
    within, east, north = (
        format_fine_length(length_m, units)
        for length_m in (found.scatter_95_m, found.sigma.east_m, found.sigma.north_m)
    )
    return f"95 of 100 single fixes within {within} (usually {east} off east or west, {north} north or south)"


def _name_floor_source(found: Standstill, units: Units) -> str:
    plain = f"{format_stated_length(FLOOR_M, units)} is published for one fix under open sky (GPS.gov)"
    return plain if found.floor_95_m <= FLOOR_M else f"raised, {plain}"


def _describe_receiver(found: Standstill) -> str:
    """HDOP and satellites, medians of the fixes used, and their types, with counts where they differ."""
    parts = [] if isnan(found.hdop) else [f"HDOP {found.hdop:.1f}"]
    if not isnan(found.satellites):
        parts.append(f"{found.satellites:.0f} satellites")
    types = [name if len(found.fix_types) == 1 else f"{name} ({n:,})" for name, n in found.fix_types]
    if found.fix_types[0] == (FIX_TYPES[-1], found.n_used):
        types = []
        parts = parts or ["states neither HDOP nor satellites nor fix type"]
    if types:
        parts.append(f"fix type {', '.join(types)}")
    return "; ".join(parts)


# A recording made on the spot, judged: the whole job in memory, from fixes and parks to the answer.
@dataclass(frozen=True, slots=True)
class Arrival:
    """One standstill and the answer for its position.

    The station's centre is taken to be where the receiver stood; its fix error is the standstill's 95 %
    radius.
    """

    fixes: Fixes
    standstill: Standstill
    checked: Checked
    level: int
    station: Station
    remarks: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """All that should be known about the recording, a sentence each."""
        return (*self.fixes.notes, *self.standstill.notes, *self.remarks)


def judge_arrival(fixes: Fixes, parks: Parks, level: int = 2, station: Station | None = None) -> Arrival:
    """Judge the position of a recording.

    Parameters
    ----------
    fixes : Fixes
        As `scout.recording.read.read_fixes` gives them.
    parks : Parks
        As `scout.parks.build.build_parks` makes them.
    level : int
        Pairs of the locator, 1 to 5.
    station : Station, optional
        Its fix error is not used: the recording tells its own.

    Raises
    ------
    InputError
        As `scout.recording.standstill.settle_fixes` does.
    """
    found = settle_fixes(fixes)
    station = replace(station or Station(), fix_error_m=found.error_95_m)
    (checked,) = check_places(parks, [found.lon], [found.lat], CheckOptions(level, station))
    return Arrival(fixes, found, checked, level, station, remark_on_fix_error(found.error_95_m))
