"""The values of a recording: fixes, a standstill, the floor of its error."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.geo.probability import compute_sigma

Floats = NDArray[np.float64]

# Quality indicator of the GGA sentence, NMEA 0183; -1 stands for a record that does not say.
FIX_TYPES: dict[int, str] = {
    -1: "not stated",
    0: "no fix",
    1: "autonomous",
    2: "differential",
    3: "precise (PPS)",
    4: "RTK fixed",
    5: "RTK float",
    6: "dead reckoning",
    7: "manual input",
    8: "simulator",
}
NOT_OF_SATELLITES = (0, 6, 7, 8)


@dataclass(frozen=True, slots=True)
class ReadCounts:
    """What became of the lines (NMEA) or points (GPX) of a recording."""

    lines: int = 0  # lines with anything on them; points of a GPX file
    checksum_errors: int = 0  # left out
    without_checksum: int = 0  # taken all the same
    without_fix: int = 0  # sentences or points that say there is no fix; left out
    repeated: int = 0  # second sentence of a kind within one epoch; left out
    unused: int = 0  # sound sentences of kinds that tell nothing about the position
    unreadable: int = 0  # no sentence, or one with impossible values; left out


@dataclass(frozen=True, slots=True, eq=False)
class Fixes:
    """A recording: one value per fix in the order of the file; arrays of one length.

    ``time_s`` is UTC in seconds since 1970; nan where unknown. Where ``dated`` is false only the time of day
    is known and 1970-01-01 stands for the first day. ``hdop``, ``satellites`` and ``stated_error_m``
    (95 % radius, the receiver's own) are nan and ``quality`` (see `FIX_TYPES`) is -1 where not stated;
    ``dimensions`` is 2 or 3, 0 where not stated.
    """

    path: str
    kind: str  # "NMEA 0183" or "GPX"
    time_s: Floats
    lon: Floats
    lat: Floats
    hdop: Floats
    satellites: Floats
    quality: NDArray[np.int64]
    dimensions: NDArray[np.int64]
    stated_error_m: Floats
    dated: bool = True
    counts: ReadCounts = ReadCounts()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.lon)


@dataclass(frozen=True, slots=True)
class Outlier:
    """A fix of the standstill that was dropped: its place among the fixes, from 0, and how far off it is."""

    index: int
    time_s: float
    distance_m: float
    bearing_deg: float  # from the centre


class Ellipse(NamedTuple):
    """Scatter of single fixes about their mean: sigmas in metres; all nan for a single fix."""

    east_m: float
    north_m: float
    covariance_m2: float  # of east and north
    major_m: float  # along the axes of the ellipse
    minor_m: float
    bearing_deg: float  # of the major axis, 0 to 180


@dataclass(frozen=True, slots=True, eq=False)
class Standstill:
    """One position out of many fixes, with what it rests on.

    ``error_95_m`` is the radius that holds the true position with 95 % probability. It joins ``floor_95_m``,
    what standing longer does not take away, and ``random_95_m``, what the scatter leaves in the mean: a
    little less than the root of the sum of their squares, as the second is no normal error. It is wider than
    the scatter over the root of ``n_effective``: how long the errors last is itself only estimated.
    """

    lon: float
    lat: float
    error_95_m: float
    floor_95_m: float  # as raised by a poor HDOP or the receiver's own word
    random_95_m: float
    n_fixes: int  # in the recording
    n_used: int
    n_effective: float  # so many independent fixes are the used ones worth; 1 at least
    duration_s: float  # of the standstill; nan without times, as start and end
    start_s: float  # UTC in seconds since 1970, or of an unknown day: see `dated`
    end_s: float
    dated: bool
    moved: bool  # the recording moved or broke off; this is its longest standstill
    scatter_95_m: float  # radius that holds 95 % of single fixes; nan for a single fix
    sigma: Ellipse
    outliers: tuple[Outlier, ...]
    hdop: float  # medians of the used fixes, nan where not stated
    satellites: float
    fix_types: tuple[tuple[str, int], ...]  # of the used fixes, the most frequent first
    east_m: Floats  # every fix of the recording from the centre, metres
    north_m: Floats
    used: NDArray[np.bool_]  # the fixes that the centre is the mean of
    notes: tuple[str, ...] = ()


def compute_typical(values: Floats) -> float:
    """Median of the values that are stated; nan if none is."""
    stated = values[np.isfinite(values)]
    return float(np.median(stated)) if len(stated) else float("nan")


# The part of the error that standing longer does not take away.
# "Typically within 4.9 m under open sky" (GPS.gov, no percentage given; taken as 95 %, as everywhere here).
# That is the error of one fix, its scatter included: it is taken whole.
FLOOR_M = 4.9
# The figure is for an open sky, where HDOP is 2 at most (common practice). A position error is the range
# error times DOP, so above that the floor grows in proportion.
OPEN_SKY_HDOP = 2.0


_RADIUS_68 = 1.5096  # sigmas in the radius that holds 68 % of a circular normal: sqrt(-2 ln 0.32)


def convert_radius_68(radius_m: float) -> float:
    """The 95 % radius of a receiver that states the radius holding 68 % of its fixes; nan for none.

    Examples
    --------
    >>> round(convert_radius_68(8.0), 2)
    12.97
    """
    usable = 0 < radius_m < float("inf")
    return radius_m / _RADIUS_68 / float(compute_sigma(1.0)) if usable else float("nan")


def raise_floor(fixes: Fixes, rows: NDArray[np.int64], floor_m: float) -> float:
    """The floor for these fixes, metres at 95 %: raised by a poor HDOP or by the receiver's own word."""
    by_hdop = floor_m * np.fmax(1.0, compute_typical(fixes.hdop[rows]) / OPEN_SKY_HDOP)
    return float(np.fmax(by_hdop, stated_error(fixes, rows)))


def stated_error(fixes: Fixes, rows: NDArray[np.int64] | NDArray[np.bool_]) -> float:
    """The receiver's own word on the error of a mean of fixes, metres at 95 %; nan where it says none.

    The mean of what it says, for errors of one direction add up to that; a median would pass over the fixes
    that it is unsure of.
    """
    stated = fixes.stated_error_m[rows]
    stated = stated[np.isfinite(stated)]
    return float(stated.mean()) if len(stated) else float("nan")


# What became of the lines of a recording, counted, with the first line of each kind.
_NAMED = {  # what is worth a line number
    "checksum_errors": ("fails its checksum", "fail their checksum"),
    "unreadable": ("cannot be read", "cannot be read"),
    "bad_times": ("has a time that cannot be read", "have a time that cannot be read"),
}
_LONGEST = 60  # characters of a reason, which quotes the file


class ReadTally:
    """Counts by the names of `ReadCounts`."""

    def __init__(self) -> None:
        self._count: Counter[str] = Counter()
        self._first: dict[str, tuple[int, str]] = {}

    def add(self, name: str, line: int, why: str = "") -> None:
        """Count one thing, met on a line."""
        self._count[name] += 1
        if name not in self._first:
            self._first[name] = line, why[:_LONGEST]

    def __getitem__(self, name: str) -> int:
        return self._count[name]

    def counts(self) -> ReadCounts:
        """The counts so far."""
        return ReadCounts(**{name: self._count[name] for name in ReadCounts.__dataclass_fields__})

    def notes(self, things: str) -> tuple[str, ...]:
        """One sentence for each kind of fault, with where it was met first."""
        lines = []
        for name, (one, many) in _NAMED.items():
            if count := self._count[name]:
                line, why = self._first[name]
                place = f"line {line}{': ' if why else ''}{why}"
                what = f"1 of the {things} {one}" if count == 1 else f"{count} of the {things} {many}"
                lines.append(f"{what} (the first in {place}).")
        return tuple(lines)

    def summary(self, things: str) -> str:
        """The counts in a few words, for an error."""
        parts = [f"{self._count['lines']} {things}"]
        for name in ("without_fix", "checksum_errors", "unreadable"):
            if count := self._count[name]:
                parts.append(f"{count} {name.replace('_', ' ')}")
        return ", ".join(parts)
