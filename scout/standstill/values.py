"""What the arithmetic of a standstill takes and gives. Data only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FIX_TYPES",
    "NOT_OF_SATELLITES",
    "Ellipse",
    "Fixes",
    "Outlier",
    "ReadCounts",
    "Standstill",
    "typical",
]

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


def typical(values: Floats) -> float:
    """Median of the values that are stated; nan if none is."""
    stated = values[np.isfinite(values)]
    return float(np.median(stated)) if len(stated) else float("nan")
