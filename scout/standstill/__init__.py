"""A recording made while standing still becomes one position with an error that can be defended.

The error has two parts. The random one is what the scatter leaves in the mean of fixes whose errors last for
minutes (`scout.standstill.wander`). The other does not show in the recording at all: orbits, clocks, the
ionosphere and the pattern of reflections change over tens of minutes to hours, so that ten minutes shift as
a whole. For it a floor is added (`scout.standstill.floor`): the published error of a single fix, of which
nothing is credited to averaging.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scout.confidence import sigma
from scout.errors import InputError
from scout.geodesy import LocalFrame, inverse, wrap_lon
from scout.standstill.floor import FLOOR_M, raised_floor
from scout.standstill.remarks import remarks
from scout.standstill.scatter import HELD_M, ellipse, far_off, geometric_median, radius_95
from scout.standstill.stay import longest_stay
from scout.standstill.values import (
    FIX_TYPES,
    NOT_OF_SATELLITES,
    Ellipse,
    Fixes,
    Outlier,
    ReadCounts,
    Standstill,
    typical,
)
from scout.standstill.wander import MeanError, independent_at_most, mean_error

__all__ = [
    "FIX_TYPES",
    "FLOOR_M",
    "Ellipse",
    "Fixes",
    "Outlier",
    "ReadCounts",
    "Standstill",
    "settle_fixes",
]

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

# Two fixes with a 95 % radius of 1 lie within 2.15 of each other 999 times in 1000: 3.717 sqrt(2) / 2.4477.
_STAY_WITHIN = 2.15
_STAY_WITHIN_LEAST_M = 10.0
# The least standstill worth cutting out of a recording that moves, unless it is nearly all of it.
_STAY_LEAST_S = 60.0
_STAY_LEAST_SHARE = 0.8
# The most that single fixes of a receiver at rest scatter, 95 %: three times the 15 m of the worst site in
# the GPS SPS Performance Standard (5th edition, 2020, section 3), which knows neither trees nor walls.
_AT_REST_M = 45.0
_HALF_ROUND_M = 2e7  # stands for the far side of the earth, where the frame ends
_AGAIN = "stand still for ten minutes and record again"


def settle_fixes(fixes: Fixes, *, floor_m: float = FLOOR_M) -> Standstill:
    """One position out of a recording.

    Parameters
    ----------
    fixes : Fixes
        In any order. Fixes without a time are left out if at least half have one. Without times that differ
        only a single place is taken: nothing else shows that the receiver was at rest.
    floor_m : float
        95 % radial error that averaging does not remove, metres. An HDOP worse than that of an open sky, or
        a larger error stated by the receiver itself, raises it.

    Raises
    ------
    InputError
        There is no fix of satellites; the receiver moved and stood nowhere for a minute; the fixes have no
        times of use, or scatter more than those of a receiver at rest.

    Notes
    -----
    The geometric median comes first; fixes further from it than 5 m and six median distances are dropped. The
    centre is the mean of the others, each weighted by the inverse square of its HDOP.
    """
    if not (np.isfinite(floor_m) and floor_m >= 0):
        raise InputError("floor", f"{floor_m} is no error in metres", "give a number from 0 up, such as 4.9")
    rows, time_s, moved = _standing(fixes, floor_m)
    frame, points = _about_the_middle(fixes, rows)
    far = far_off(points, geometric_median(points))
    used, points, spread = rows[~far], points[~far], ellipse(points[~far])
    weight = _weights(fixes.hdop[used])
    lon, lat = frame.inverse(*(weight @ points / weight.sum()))
    lon, lat = float(wrap_lon(lon)), float(lat)
    scatter_95_m = radius_95(spread.major_m, spread.minor_m)
    if scatter_95_m > _AT_REST_M:
        what = (
            f"95 % of the fixes lie within {scatter_95_m:,.0f} m, at rest within {_AT_REST_M:.0f} m at most"
        )
        raise InputError(fixes.path, f"no receiver at rest scatters so: {what}", _AGAIN)
    error, n_effective = _random_error(time_s[~far], points, weight, scatter_95_m)
    floor = raised_floor(fixes, used, floor_m)
    east_m, north_m = _metres(LocalFrame(lon, lat), fixes.lon, fixes.lat).T
    found = Standstill(
        lon=lon,
        lat=lat,
        error_95_m=error.radius_95(float(sigma(floor))),
        floor_95_m=floor,
        random_95_m=error.radius_95(),
        n_fixes=len(fixes),
        n_used=len(used),
        n_effective=n_effective,
        duration_s=float(time_s[-1] - time_s[0]),
        start_s=float(time_s[0]),
        end_s=float(time_s[-1]),
        dated=fixes.dated,
        moved=moved,
        scatter_95_m=scatter_95_m,
        sigma=spread,
        outliers=_outliers(fixes, rows[far], lon, lat),
        hdop=typical(fixes.hdop[used]),
        satellites=typical(fixes.satellites[used]),
        fix_types=_fix_types(fixes, used),
        east_m=east_m,
        north_m=north_m,
        used=np.isin(np.arange(len(fixes)), used),
    )
    return replace(found, notes=remarks(fixes, found, floor_m))


def _in_order(fixes: Fixes) -> tuple[Rows, Floats]:
    """Fixes of satellites in order of time, and their times: all nan where too few have one."""
    rows = np.flatnonzero(
        ~np.isin(fixes.quality, NOT_OF_SATELLITES) & np.isfinite(fixes.lon) & np.isfinite(fixes.lat)
    )
    if not len(rows):
        raise InputError(fixes.path, "holds no fix of satellites", _AGAIN)
    timed = np.isfinite(fixes.time_s[rows])
    if 2 * np.count_nonzero(timed) < len(rows):
        return rows, np.full(len(rows), np.nan)
    rows = rows[timed]
    rows = rows[np.argsort(fixes.time_s[rows], kind="stable")]
    return rows, fixes.time_s[rows]


def _standing(fixes: Fixes, floor_m: float) -> tuple[Rows, Floats, bool]:
    """Fixes of the longest standstill, their times, and whether that is not all of the recording."""
    rows, time_s = _in_order(fixes)
    _, points = _about_the_middle(fixes, rows)
    within_m = max(_STAY_WITHIN_LEAST_M, _STAY_WITHIN * raised_floor(fixes, rows, floor_m))
    if not np.ptp(time_s) > 0:  # none, or one for all
        if np.hypot(*np.ptp(points, axis=0)) > HELD_M:
            what = "its fixes have no times that differ, so whether the receiver moved cannot be told"
            raise InputError(fixes.path, what, _AGAIN)
        return rows, time_s, False
    stay = longest_stay(time_s, points, within_m)
    if stay.whole:
        return rows, time_s, False
    if np.mean(stay.inside) < _STAY_LEAST_SHARE and np.ptp(time_s[stay.inside]) < _STAY_LEAST_S:
        spell = f" for {np.ptp(time_s[stay.inside]):.0f} s"
        what = f"the receiver moved: at most {np.count_nonzero(stay.inside)} of {len(rows)} fixes in a row"
        raise InputError(fixes.path, f"{what}{spell} stay within {within_m:.0f} m", _AGAIN)
    return rows[stay.inside], time_s[stay.inside], True


def _about_the_middle(fixes: Fixes, rows: Rows) -> tuple[LocalFrame, Floats]:
    """A frame about the median place (on the sphere, where no meridian is special) and metres in it."""
    lon, lat = np.radians(fixes.lon[rows]), np.radians(fixes.lat[rows])
    x, y, z = np.median([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=1)
    middle = np.degrees([np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))])
    frame = LocalFrame(float(middle[0]), float(middle[1]))
    return frame, _metres(frame, fixes.lon[rows], fixes.lat[rows])


def _metres(frame: LocalFrame, lon: Floats, lat: Floats) -> Floats:
    """East and north of the frame's centre: shape (n, 2), finite also on the far side of the earth."""
    points = np.column_stack(frame.forward(lon, lat))
    return np.asarray(np.nan_to_num(points, posinf=_HALF_ROUND_M, neginf=-_HALF_ROUND_M))


def _weights(hdop: Floats) -> Floats:
    """Inverse variances of mean 1: a position error is the range error times HDOP."""
    relative = np.where(np.isfinite(hdop), hdop, typical(hdop))
    weight = np.clip(relative, 0.3, None) ** -2.0 if np.isfinite(relative).all() else np.ones(len(hdop))
    return np.asarray(weight / weight.mean())


def _random_error(
    time_s: Floats, points: Floats, weight: Floats, scatter_95_m: float
) -> tuple[MeanError, float]:
    """Random error of the mean, and how many independent fixes would most likely leave as much."""
    if not scatter_95_m > HELD_M:
        # A single fix, or one place held or repeated: there is no scatter to read.
        return mean_error(time_s[:1], points[:1], np.ones(1)), 1.0
    error = mean_error(time_s, points, weight)
    most = independent_at_most(len(points), float(np.ptp(time_s)))
    single = points.var(axis=0, ddof=1).mean()
    error = error.at_least(single / most)
    # The mixture is of circles; an elongated scatter reaches further than the circle of its variance.
    longer = scatter_95_m * sigma(1.0) / np.sqrt(single)
    return error.widened(float(longer)), float(np.clip(single / error.usual_variance(), 1.0, most))


def _outliers(fixes: Fixes, rows: Rows, lon: float, lat: float) -> tuple[Outlier, ...]:
    rows = np.sort(rows)
    distance, bearing = inverse(lon, lat, fixes.lon[rows], fixes.lat[rows])
    columns = (rows, fixes.time_s[rows], distance, bearing)
    return tuple(Outlier(int(k), float(t), float(d), float(b)) for k, t, d, b in zip(*columns, strict=True))


def _fix_types(fixes: Fixes, rows: Rows) -> tuple[tuple[str, int], ...]:
    kinds, counts = np.unique(fixes.quality[rows], return_counts=True)
    order = np.argsort(-counts, kind="stable")
    return tuple((FIX_TYPES.get(int(kinds[k]), f"type {kinds[k]}"), int(counts[k])) for k in order)
