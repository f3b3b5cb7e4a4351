"""A standstill in words, the same on the terminal and on the sheet: pairs of a term and what it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import isnan

import numpy as np

from scout.coordinates import decimal, minutes
from scout.locator import LEVELS, encode
from scout.standstill import FIX_TYPES, FLOOR_M, Fixes, Outlier, Standstill

__all__ = ["Facts", "accuracy", "clock", "dropped", "left_out", "place", "recording", "time", "utc"]

Facts = list[tuple[str, str]]

_FIRST_DAY = datetime(1970, 1, 1, tzinfo=UTC)


def place(found: Standstill) -> Facts:
    """Where: in degrees, in degrees and minutes, and the locators of every level."""
    locators = [encode(found.lon, found.lat, level) for level in range(1, len(LEVELS) + 1)]
    return [
        ("latitude, longitude", decimal(found.lon, found.lat)),
        # A thousandth of a minute would move a station by up to 0.9 m.
        ("degrees, minutes", minutes(found.lon, found.lat, 4)),
        ("locators", " ".join(locators)),
    ]


def time(found: Standstill) -> Facts:
    """When, in UTC, and how long."""
    if isnan(found.start_s):
        return [("when", "the recording has no times"), ("how long", "not known")]
    start, end = utc(found.start_s), utc(found.end_s)
    if not found.dated:
        when = f"{start:%H:%M:%S} to {end:%H:%M:%S} UTC, the date was not recorded"
    elif start.date() == end.date():
        when = f"{start:%Y-%m-%d}, {start:%H:%M:%S} to {end:%H:%M:%S} UTC"
    else:
        when = f"{start:%Y-%m-%d %H:%M:%S} to {end:%Y-%m-%d %H:%M:%S} UTC"
    return [("when", when), ("how long", _duration(found.duration_s))]


def accuracy(found: Standstill) -> Facts:
    """The 95 % radius and what it is made of."""
    return [
        ("95 % radius", f"{found.error_95_m:.1f} m: the floor and the random part joined"),
        (
            "floor",
            f"{found.floor_95_m:.1f} m (95 %), not lessened by averaging; {_floor_source(found)}",
        ),
        ("random part", f"{found.random_95_m:.1f} m (95 %), what the scatter leaves in the mean"),
        ("scatter", _scatter(found)),
        ("independent fixes", f"{found.n_effective:.1f}, as successive fixes share their error"),
    ]


def recording(fixes: Fixes, found: Standstill) -> Facts:
    """What was recorded, what was used of it, and what the receiver says of itself."""
    used = f"{found.n_used:,} used of {found.n_fixes:,}"
    if found.outliers:
        used += f"; {len(found.outliers):,} dropped as far off"
    if more := found.n_fixes - found.n_used - len(found.outliers):
        used += f"; {more:,} not of this standstill"
    return [
        ("fixes", used),
        ("receiver", _receiver(found)),
        ("file", left_out(fixes)),
    ]


def left_out(fixes: Fixes) -> str:
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


def dropped(outlier: Outlier, dated: bool) -> str:
    """One fix that was dropped: its number from 1, its time, how far off it is."""
    when = "" if isnan(outlier.time_s) else f", {clock(outlier.time_s, dated)}"
    bearing = round(outlier.bearing_deg) % 360
    return f"fix {outlier.index + 1:,}{when}: {outlier.distance_m:.1f} m towards {bearing} deg"


def clock(time_s: float, dated: bool = True) -> str:
    """A time in UTC, with its date where that is known."""
    return utc(time_s).strftime("%Y-%m-%d %H:%M:%S UTC" if dated else "%H:%M:%S UTC")


def utc(time_s: float) -> datetime:
    """Seconds since 1970 as a time, whole seconds."""
    return _FIRST_DAY + timedelta(seconds=int(np.floor(time_s)))


def _duration(seconds: float) -> str:
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours:
        return f"{hours} h {rest // 60:02d} min"
    return f"{rest // 60} min {rest % 60:02d} s"


def _scatter(found: Standstill) -> str:
    if isnan(found.scatter_95_m):
        return "a single fix shows none"
    return (
        f"95 % of single fixes within {found.scatter_95_m:.1f} m "
        f"(sigma {found.sigma.east_m:.1f} m east, {found.sigma.north_m:.1f} m north)"
    )


def _floor_source(found: Standstill) -> str:
    plain = f"{FLOOR_M:g} m is published for one fix under open sky (GPS.gov)"
    return plain if found.floor_95_m <= FLOOR_M else f"raised, {plain}"


def _receiver(found: Standstill) -> str:
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
