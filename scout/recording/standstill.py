"""A recording's fixes become one position with its error.

The robust middle of some points in a plane, the fixes far from it, and the ellipse of the others.

The geometric median starts: half of the fixes may be wrong without carrying it away, and unlike a median
per axis it does not depend on where north is. The mean of what is left ends: it is efficient, and how
far a mean of correlated values errs can be told.

A recording made while standing still becomes one position with an error that can be defended.

The error has two parts. The random one is what the scatter leaves in the mean of fixes whose errors last for
minutes (`scout.recording.wander`). The other does not show in the recording at all: orbits, clocks, the
ionosphere and the pattern of reflections change over tens of minutes to hours, so that ten minutes shift as
a whole. For it a floor is added (`scout.recording.values`): the published error of a single fix, of which
nothing is credited to averaging.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from scout.errors import InputError
from scout.geo.geodesy import LocalFrame, measure_geodesic, wrap_lon
from scout.geo.probability import compute_sigma
from scout.quantities import Length, MeasuredText
from scout.recording.values import (
    FIX_TYPES,
    FLOOR_M,
    NOT_OF_SATELLITES,
    OPEN_SKY_HDOP,
    Ellipse,
    Fixes,
    Outlier,
    Standstill,
    compute_typical,
    raise_floor,
    stated_error,
)
from scout.recording.wander import MeanError, bound_independent, estimate_mean_error

Floats = NDArray[np.float64]

# Far off is beyond this many median distances: 7 sigmas of a circular normal, 4 of one along a line, which
# good fixes pass 2 times in 10^11 and 5 times in 10^5.
_FAR = 6.0
_FAR_LEAST_M = 5.0  # and no fix nearer than this: about the published error of a single one
HELD_M = 1e-3  # a scatter below this is none: no log is as fine
_SAME_M = 1e-4  # points this near are one: a clump would hold the iteration back by its great weights
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_SIN, _COS = np.sin(_NODES * np.pi / 2), np.cos(_NODES * np.pi / 2)


def compute_geometric_median(points: Floats) -> Floats:
    """Point with the least summed distance to the others, to a tenth of a millimetre or so.

    Weiszfeld's iteration (1937) with the step of Vardi and Zhang (2000) off the points themselves, where it
    would stay.

    Parameters
    ----------
    points : array, shape (n, 2)
        Metres.
    """
    centre = np.median(points, axis=0)
    for _ in range(500):
        distance = np.hypot(*(points - centre).T)
        here = distance < _SAME_M
        weight = np.where(here, 0.0, 1 / np.maximum(distance, _SAME_M))
        pull = weight @ (points - centre)
        strength, held = np.hypot(*pull), np.count_nonzero(here)
        if strength <= held:
            break
        step = (1 - held / strength) * pull / weight.sum()
        centre = centre + step
        if np.hypot(*step) < 1e-5:
            break
    return np.asarray(centre)


def find_far_off(points: Floats, centre: Floats) -> NDArray[np.bool_]:
    """Which points lie far from the centre, by the distance of the nearer half."""
    distance = np.hypot(*(points - centre).T)
    return np.asarray(distance > max(_FAR * np.median(distance), _FAR_LEAST_M))


def fit_ellipse(points: Floats) -> Ellipse:
    """Covariance ellipse; all nan for a single point."""
    if len(points) < 2:
        return Ellipse(*[float("nan")] * 6)
    cov = np.cov(points.T)
    variances, axes = np.linalg.eigh(cov)
    east, north = np.sqrt(np.diag(cov))
    minor, major = np.sqrt(np.maximum(variances, 0.0))
    bearing = np.degrees(np.arctan2(axes[0, 1], axes[1, 1])) % 180.0
    return Ellipse(*(float(v) for v in (east, north, cov[0, 1], major, minor, bearing)))


def compute_radius_95(major_m: float, minor_m: float) -> float:
    """Radius of the circle that holds 95 % of a centred normal with these two sigmas.

    From 1.9600 (a line) to 2.4477 (a circle) times the larger sigma; NSSDA's 2.4477 times the mean of both
    is its approximation for ratios from 0.6 to 1 (FGDC-STD-007.3-1998, appendix 3-A).

    Examples
    --------
    >>> round(compute_radius_95(1.0, 1.0), 4), round(compute_radius_95(1.0, 0.0), 4)
    (2.4477, 1.96)
    """
    if not major_m > 0:
        return major_m
    ratio = max(minor_m / major_m, 1e-9)
    low, high = 1.95, 2.45
    for _ in range(40):
        r = (low + high) / 2
        # along the major axis x = r sin(theta); across it the chord of the circle
        density = np.exp(-0.5 * (r * _SIN) ** 2) / np.sqrt(2 * np.pi)
        chord = 2 * ndtr(r * _COS / ratio) - 1
        held = (_WEIGHTS * density * chord * r * _COS).sum() * np.pi / 2
        low, high = (r, high) if held < 0.95 else (low, r)
    return float(major_m * (low + high) / 2)


# Where in a recording the receiver stood still: the longest spell that stays within a circle.
_SPELL_S = 15.0  # long enough to walk out of the scatter of single fixes, short enough to lose little
_SPELLS_AT_MOST = 240
_GAP_S = 300.0  # a longer silence ends a standstill: nobody knows where the receiver was
_INSIDE = 0.9  # of the spells: a burst of reflections is no walk


class Stay(NamedTuple):
    """The fixes of a standstill, outliers and all."""

    inside: NDArray[np.bool_]
    whole: bool  # it is all of the recording


def find_longest_stay(time_s: Floats, points: Floats, within_m: float) -> Stay:
    """The longest spell, without long silences, that stays within a radius of one of its own places.

    Parameters
    ----------
    time_s : array, shape (n,)
        Ascending; seconds, or any count where times are unknown.
    points : array, shape (n, 2)
        Metres.
    within_m : float
        Single fixes may leave the circle, and a tenth of the spells of 15 s.
    """
    spell, start, end, place, piece = _make_stay_spells(time_s, points)
    n = len(place)
    near = np.hypot(*(place - np.median(place, axis=0)).T)
    best = (0, 0)
    for middle in np.argsort(near):  # if all of it is one standstill, the first of them shows it
        inside = np.hypot(*(place - place[middle]).T) <= within_m
        best = max(
            best, _find_longest_run(inside, start, end, piece), key=lambda run: end[run[1]] - start[run[0]]
        )
        if best == (0, n - 1):
            break
    return Stay((spell >= best[0]) & (spell <= best[1]), best == (0, n - 1))


def _make_stay_spells(
    time_s: Floats, points: Floats
) -> tuple[NDArray[np.int64], Floats, Floats, Floats, NDArray[np.int64]]:
    """Spell of each fix; of each spell its start, end, median place and unbroken piece of the recording."""
    since = time_s - time_s[0]
    length = max(_SPELL_S, since[-1] / _SPELLS_AT_MOST)
    usual = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    silence = np.diff(time_s, prepend=time_s[0]) > max(_GAP_S, 10 * usual)
    key = np.stack([np.cumsum(silence), np.floor(since / length).astype(np.int64)])
    new = np.any(np.diff(key, axis=1, prepend=key[:, :1] - 1) != 0, axis=0)
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(time_s)) - 1
    spell = np.cumsum(new) - 1
    place = np.empty((len(first), 2))
    for axis in (0, 1):  # the median of every spell in one go: sorted within it, the middle or the middle two
        inside = points[np.lexsort((points[:, axis], spell)), axis]
        place[:, axis] = (inside[(first + last) // 2] + inside[(first + last + 1) // 2]) / 2
    return spell, time_s[first], time_s[last], place, key[0][first]


def _find_longest_run(
    inside: NDArray[np.bool_], start: Floats, end: Floats, piece: NDArray[np.int64]
) -> tuple[int, int]:
    """First and last spell of the longest run in one piece, inside at both ends and for most of it."""
    ends = np.flatnonzero(inside)
    score = np.concatenate([[0.0], np.cumsum(inside - _INSIDE)])
    enough = score[ends + 1][None, :] - score[ends][:, None] >= -1e-9
    allowed = enough & (piece[ends][:, None] == piece[ends]) & (ends[:, None] <= ends)
    length = np.where(allowed, end[ends] - start[ends][:, None], -1.0)
    first, last = np.unravel_index(np.argmax(length), length.shape)
    return int(ends[first]), int(ends[last])


# What the operator should know about a standstill, one sentence each.
_FEW = 4.0  # independent fixes
_MANY = 0.1  # of the fixes, as outliers
_CORRECTED = {"differential", "precise (PPS)", "RTK fixed", "RTK float"}


def list_remarks(fixes: Fixes, found: Standstill, floor_m: float) -> tuple[str, ...]:
    """Sentences about what was left out, what was assumed and what a better recording would need."""
    return (
        *_remark_on_left_out(fixes, found),
        *_remark_on_floor(fixes, found, floor_m),
        *_remark_on_recording(fixes, found),
    )


def _remark_on_left_out(fixes: Fixes, found: Standstill) -> Iterator[str]:
    if found.moved:
        start = np.nanmin(fixes.time_s)
        yield (
            f"The receiver moved or the recording broke off: of {np.nanmax(fixes.time_s) - start:.0f} s the "
            f"longest standstill is taken, from {found.start_s - start:.0f} s to {found.end_s - start:.0f} s."
        )
    for quality in NOT_OF_SATELLITES:
        if count := np.count_nonzero(fixes.quality == quality):
            yield f"Left out as {FIX_TYPES[quality]}: {_count_fixes(count)}."
    untimed = np.count_nonzero(~np.isfinite(fixes.time_s))
    if untimed and np.isfinite(found.start_s):
        yield f"Left out for want of a time: {_count_fixes(untimed)}."
    if found.outliers:
        furthest = max(outlier.distance_m for outlier in found.outliers)
        dropped = f"Dropped as far off: {_count_fixes(len(found.outliers))}, by "
        yield MeasuredText(dropped, Length(furthest), " at most.")
    if len(found.outliers) > _MANY * (len(found.outliers) + found.n_used):
        yield "So many are far off that the receiver may have been moved a little, or heard reflections."


def _remark_on_floor(fixes: Fixes, found: Standstill, floor_m: float) -> Iterator[str]:
    stated = stated_error(fixes, found.used)
    if stated == found.floor_95_m:
        yield MeasuredText(
            "The receiver itself states an error of ",
            Length(stated, "fine"),
            " (95 %), which replaces the ",
            Length(floor_m, "stated"),
            " that averaging does not remove.",
        )
    elif found.hdop > OPEN_SKY_HDOP:
        yield MeasuredText(
            f"HDOP {found.hdop:.1f} is poor: the ",
            Length(floor_m, "stated"),
            " that averaging does not remove are raised to ",
            Length(found.floor_95_m, "fine"),
            ".",
        )
    if any(name in _CORRECTED for name, _ in found.fix_types):
        floor = Length(found.floor_95_m, "fine")
        yield MeasuredText("The receiver had corrections; the floor of ", floor, " is not lowered for them.")


def _remark_on_recording(fixes: Fixes, found: Standstill) -> Iterator[str]:
    if np.any(fixes.dimensions[found.used] == 2):
        yield "Some fixes have two dimensions: a wrong height moves them all without showing in the scatter."
    if found.satellites < 4:
        yield f"Only {found.satellites:.0f} satellites were used."
    if found.n_used == 1:
        yield "A single fix shows no scatter: one of a metre or so per axis is assumed."
    elif found.scatter_95_m <= HELD_M:
        yield "All fixes are one place, held or repeated by the receiver: they count as one."
    elif found.n_effective < _FEW:
        yield f"All fixes are worth {found.n_effective:.1f} independent ones: a longer stand would help."
    if not found.dated and np.isfinite(found.start_s):
        yield "The recording has no date, only the time of day."


def _count_fixes(count: int | np.signedinteger) -> str:
    return "1 fix" if count == 1 else f"{count} fixes"


Rows = NDArray[np.int64]
Centred = tuple[LocalFrame, Floats]  # a frame and places in it

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
    rows, time_s, (frame, points), moved = _find_standing(fixes, floor_m)
    far = find_far_off(points, compute_geometric_median(points))
    used, points, spread = rows[~far], points[~far], fit_ellipse(points[~far])
    weight = _compute_weights(fixes.hdop[used])
    lon, lat = frame.inverse(*(weight @ points / weight.sum()))
    lon, lat = float(wrap_lon(lon)), float(lat)
    scatter_95_m = compute_radius_95(spread.major_m, spread.minor_m)
    if scatter_95_m > _AT_REST_M:
        what = (
            f"95 % of the fixes lie within {scatter_95_m:,.0f} m, at rest within {_AT_REST_M:.0f} m at most"
        )
        raise InputError(fixes.path, f"no receiver at rest scatters so: {what}", _AGAIN)
    error, n_effective = _estimate_random_error(time_s[~far], points, weight, scatter_95_m)
    floor = raise_floor(fixes, used, floor_m)
    east_m, north_m = _project_fixes(LocalFrame(lon, lat), fixes.lon, fixes.lat).T
    found = Standstill(
        lon=lon,
        lat=lat,
        error_95_m=error.radius_95(float(compute_sigma(floor))),
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
        outliers=_list_outliers(fixes, rows[far], lon, lat),
        hdop=compute_typical(fixes.hdop[used]),
        satellites=compute_typical(fixes.satellites[used]),
        fix_types=_count_fix_types(fixes, used),
        east_m=east_m,
        north_m=north_m,
        used=np.isin(np.arange(len(fixes)), used),
    )
    return replace(found, notes=list_remarks(fixes, found, floor_m))


def _sort_fixes(fixes: Fixes) -> tuple[Rows, Floats]:
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


def _find_standing(fixes: Fixes, floor_m: float) -> tuple[Rows, Floats, Centred, bool]:
    """Fixes of the longest standstill, their times and places, and whether the recording has more."""
    rows, time_s = _sort_fixes(fixes)
    centred = _center_fixes(fixes, rows)
    points = centred[1]
    within_m = max(_STAY_WITHIN_LEAST_M, _STAY_WITHIN * raise_floor(fixes, rows, floor_m))
    if not np.ptp(time_s) > 0:  # none, or one for all
        if np.hypot(*np.ptp(points, axis=0)) > HELD_M:
            what = "its fixes have no times that differ, so whether the receiver moved cannot be told"
            raise InputError(fixes.path, what, _AGAIN)
        return rows, time_s, centred, False
    stay = find_longest_stay(time_s, points, within_m)
    if stay.whole:
        return rows, time_s, centred, False
    if np.mean(stay.inside) < _STAY_LEAST_SHARE and np.ptp(time_s[stay.inside]) < _STAY_LEAST_S:
        spell = f" for {np.ptp(time_s[stay.inside]):.0f} s"
        what = f"the receiver moved: at most {np.count_nonzero(stay.inside)} of {len(rows)} fixes in a row"
        raise InputError(fixes.path, f"{what}{spell} stay within {within_m:.0f} m", _AGAIN)
    rows = rows[stay.inside]
    return rows, time_s[stay.inside], _center_fixes(fixes, rows), True


def _center_fixes(fixes: Fixes, rows: Rows) -> Centred:
    """A frame about the median place (on the sphere, where no meridian is special) and metres in it."""
    lon, lat = np.radians(fixes.lon[rows]), np.radians(fixes.lat[rows])
    x, y, z = np.median([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=1)
    middle = np.degrees([np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))])
    frame = LocalFrame(float(middle[0]), float(middle[1]))
    return frame, _project_fixes(frame, fixes.lon[rows], fixes.lat[rows])


def _project_fixes(frame: LocalFrame, lon: Floats, lat: Floats) -> Floats:
    """East and north of the frame's centre: shape (n, 2), finite also on the far side of the earth."""
    points = np.column_stack(frame.forward(lon, lat))
    return np.asarray(np.nan_to_num(points, posinf=_HALF_ROUND_M, neginf=-_HALF_ROUND_M))


def _compute_weights(hdop: Floats) -> Floats:
    """Inverse variances of mean 1: a position error is the range error times HDOP."""
    relative = np.where(np.isfinite(hdop), hdop, compute_typical(hdop))
    weight = np.clip(relative, 0.3, None) ** -2.0 if np.isfinite(relative).all() else np.ones(len(hdop))
    return np.asarray(weight / weight.mean())


def _estimate_random_error(
    time_s: Floats, points: Floats, weight: Floats, scatter_95_m: float
) -> tuple[MeanError, float]:
    """Random error of the mean, and how many independent fixes would most likely leave as much."""
    if not scatter_95_m > HELD_M:
        # A single fix, or one place held or repeated: there is no scatter to read.
        return estimate_mean_error(time_s[:1], points[:1], np.ones(1)), 1.0
    error = estimate_mean_error(time_s, points, weight)
    most = bound_independent(len(points), float(np.ptp(time_s)))
    single = points.var(axis=0, ddof=1).mean()
    error = error.at_least(single / most)
    # The mixture is of circles; an elongated scatter reaches further than the circle of its variance.
    longer = scatter_95_m * compute_sigma(1.0) / np.sqrt(single)
    return error.widened(float(longer)), float(np.clip(single / error.usual_variance(), 1.0, most))


def _list_outliers(fixes: Fixes, rows: Rows, lon: float, lat: float) -> tuple[Outlier, ...]:
    rows = np.sort(rows)
    distance, bearing = measure_geodesic(lon, lat, fixes.lon[rows], fixes.lat[rows])
    columns = (rows, fixes.time_s[rows], distance, bearing)
    return tuple(Outlier(int(k), float(t), float(d), float(b)) for k, t, d, b in zip(*columns, strict=True))


def _count_fix_types(fixes: Fixes, rows: Rows) -> tuple[tuple[str, int], ...]:
    kinds, counts = np.unique(fixes.quality[rows], return_counts=True)
    order = np.argsort(-counts, kind="stable")
    return tuple((FIX_TYPES.get(int(kinds[k]), f"type {kinds[k]}"), int(counts[k])) for k in order)
