"""How far outlines may be off by what can be seen of them: rounded coordinates, curves drawn coarsely.

Neither needs more than the coordinates. What cannot be seen (a wrong map, an old survey) stays with the
boundary error that is stated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from scout.geo.geodesy import compute_degree_lengths

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Steps that coordinates are looked for on: powers of ten of a degree, 1 m is about the last; of a metre or
# foot from one on. Below, rounding is a few hundredths of the usual boundary error.
_DEGREE_STEPS = (1.0, 10.0, 100.0, 1e3, 1e4, 1e5)  # to one, the largest first
_UNIT_STEPS = (1e-4, 1e-3, 0.01, 0.1, 1.0)
LEAST_VALUES = 50  # different ones, fewer may be a made outline
_LEAST_DIGITS = 7  # of ten that the last place must show: cells of quarters have two, of eighths ten fewer
_LEAST_SIZES = 6  # of records, in steps; cells of a grid have one or two
_FARTHEST = 1e9  # what is further is no place
_LOOKED_AT = 1_000  # rows of values, before all are
_EXACT = 1e-9  # relative, and of a step: what arithmetic in doubles leaves


class Rounding(NamedTuple):
    """The step that all coordinates of a layer are multiples of."""

    step: float  # in the unit of the coordinates
    values: int  # different ones that were seen


def find_rounding(sample: Floats, degrees: bool) -> Rounding | None:
    """The largest step that all coordinates of a layer are multiples of; None without one, or if unsure.

    One that is not rounded passes with a probability of a tenth for each value. What is rounded by intention
    is the danger: outlines made of round numbers and the cells of grids. So there must be `LEAST_VALUES`
    different values, the last place must have most of the ten digits, and records must differ in size.

    Parameters
    ----------
    sample : array, shape (n, 4)
        Bounds of the records, or of edges, in the layer's own system.
    degrees : bool
        Whether that is in degrees.
    """
    steps = _DEGREE_STEPS if degrees else _UNIT_STEPS
    few = sample[:: len(sample) // _LOOKED_AT + 1]
    if _find_step(_leave_out_far(few), steps) is None:
        return None  # as good as always, and known without sorting millions
    sample = _leave_out_far(sample)
    values = [np.unique(sample[:, axis::2]) for axis in (0, 1)]
    count = sum(map(len, values))
    if count < LEAST_VALUES:
        return None
    together = np.concatenate(values)
    per_unit = _find_step(together, steps)
    if per_unit is None:
        return None
    digits = np.unique(np.rint(np.abs(together * per_unit)).astype(np.int64) % 10)
    sizes = np.unique(np.rint((sample[:, 2:] - sample[:, :2]) * per_unit), axis=0)
    made = len(digits) < _LEAST_DIGITS or len(sizes) < _LEAST_SIZES
    return None if made else Rounding(1.0 / per_unit, count)


def may_be_rounded(xy: Floats) -> bool:
    """Whether a few of the coordinates, shape (n, 2), leave it open that all are multiples of a step."""
    few = _leave_out_far(xy[:: len(xy) // _LOOKED_AT + 1])
    return _find_step(few, (*_DEGREE_STEPS, *_UNIT_STEPS)) is not None


def _leave_out_far(places: Floats) -> Floats:
    near: Floats = places[(np.abs(places) < _FARTHEST).all(axis=1)]
    return near


def _find_step(values: Floats, steps: Sequence[float]) -> float | None:
    """The first of the steps, each by its inverse, that all values are multiples of."""
    for per_unit in steps:
        count = values * per_unit
        if (np.abs(count - np.rint(count)) <= _EXACT * np.maximum(np.abs(count), 1.0)).all():
            return per_unit
    return None


def compute_rounding_error(width_m: float, height_m: float) -> float:
    """95 % radial error of places rounded to a step of so many metres east and north.

    The true place is anywhere in the rectangle about the rounded one, alike (a cut-off, which lies anywhere
    beside it, cannot be told from it). The share of a quarter of it, a by b, within r is the integral over x
    of min(b, sqrt(r^2 - x^2)), divided by a b.

    Examples
    --------
    >>> round(compute_rounding_error(1.0, 1.0), 4), round(compute_rounding_error(1.0, 1e-9), 4)
    (0.5991, 0.475)
    """
    a, b = width_m / 2, height_m / 2
    low, high = 0.0, math.hypot(a, b)
    for _ in range(60):
        r = (low + high) / 2
        low, high = (r, high) if _cover_quarter(a, b, r) < 0.95 * a * b else (low, r)
    return high


def _cover_quarter(a: float, b: float, r: float) -> float:
    """Area of a quarter disc of radius r inside a rectangle of a by b at its centre."""

    def under_arc(x: float) -> float:
        return (x * math.sqrt(max(r * r - x * x, 0.0)) + r * r * math.asin(min(x / r, 1.0))) / 2

    flat = min(math.sqrt(r * r - b * b), a) if r > b else 0.0
    return b * flat + under_arc(min(a, r)) - under_arc(flat)


# Generalised outlines. What is surveyed runs straight, turns square, or has few oblique corners.
_SQUARE = math.radians(3.0)  # off a multiple of 90 degrees; less is a straight line or a square corner
_NEARLY_SQUARE = math.radians(15.0)  # off 90 degrees, if not more than half of a curve's turns: a staircase
_STRAIGHT = math.radians(0.1)  # a vertex that only parts a straight line
_LEAST_EDGES = 8  # in a row, each between two oblique turns: a curve
_SHARE = 2 / 3  # of the length of all curves whose sagitta is not larger


class Generalisation(NamedTuple):
    """Of some outlines, one value each; NaN for the spacing and 0 for the error where none has curves."""

    spacing_m: Floats  # half of the length of curves has edges as long or longer
    error_m: Floats  # 95 %, how far the true line may lie from the one drawn


def measure_generalisation(geometry: ArrayLike, least_m: float | Floats = 0.0) -> Generalisation:
    """How coarsely the curves of outlines are drawn.

    A curve is a run of `_LEAST_EDGES` edges or more between oblique turns, half of which at most are nearly
    square: a staircase drawn by hand is none. Where an edge of length L stands
    for an arc that turns by t, the arc's sagitta is L t / 8; t is half of the turns at the two ends. Of all
    curves of an outline that value is given which two thirds of their length do not exceed. DEVELOPERS.md
    says how it compares with curves that were simplified.

    Parameters
    ----------
    geometry : array of Polygon or MultiPolygon
        Longitudes continuous, degrees.
    least_m : float or array, shape (n,)
        Errors that matter: where no sagitta of an outline is larger, it counts as without curves.
    """
    shapes = np.atleast_1d(np.asarray(geometry, dtype=object))
    spacing, error = np.full(len(shapes), np.nan), np.zeros(len(shapes))
    parts, owner = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    if not len(ring):
        return Generalisation(spacing, error)
    east, north, ring = _list_edges(xy, ring)
    if not len(ring):  # outlines of less than a millimetre
        return Generalisation(spacing, error)
    for _ in range(2):  # the second time without the vertices that only part a straight line
        turn = _measure_turns(east, north, ring)
        run = np.cumsum((turn > _STRAIGHT) | (np.diff(ring, prepend=-1) != 0)) - 1
        ring = ring[np.diff(run, prepend=-1) != 0]
        east, north = (np.bincount(run, along).astype(float) for along in (east, north))
    turn = _measure_turns(east, north, ring)
    length = np.hypot(east, north)
    oblique = np.abs((turn + np.pi / 4) % (np.pi / 2) - np.pi / 4) > _SQUARE
    after = _find_neighbours(ring, 1)
    there = oblique & oblique[after]
    run = _number_runs(there, ring)
    edges, square = np.bincount(run[there]), np.abs(turn - np.pi / 2) <= _NEARLY_SQUARE
    stairs = np.bincount(run[there], square[there]) > edges / 2
    curved = there.copy()
    curved[there] = (edges[run[there]] >= _LEAST_EDGES) & ~stairs[run[there]]
    sagitta = length * (turn + turn[after]) / 16
    of, sagitta, length = owner[part[ring]][curved], sagitta[curved], length[curved]
    largest = np.zeros(len(shapes))
    np.maximum.at(largest, of, sagitta)
    kept = (largest > least_m)[of]
    of, sagitta, length = of[kept], sagitta[kept], length[kept]
    with_curves = np.unique(of)
    error[with_curves] = _find_quantiles(sagitta, length, of, _SHARE)
    spacing[with_curves] = _find_quantiles(length, length, of, 0.5)
    return Generalisation(spacing, error)


def _list_edges(xy: Floats, ring: Ints) -> tuple[Floats, Floats, Ints]:
    """Edges of all rings, metres east and north, with the number of each one's ring; without empty ones."""
    step, lat = np.diff(xy, axis=0), (xy[1:, 1] + xy[:-1, 1]) / 2
    per_lon, per_lat = compute_degree_lengths(lat)
    east, north = step[:, 0] * per_lon, step[:, 1] * per_lat
    kept = (ring[1:] == ring[:-1]) & (np.hypot(east, north) > 1e-3)
    return east[kept], north[kept], ring[1:][kept]


def _find_neighbours(ring: Ints, step: int) -> Ints:
    """Row of the edge before (-1) or after (1) each in its ring, where the last meets the first."""
    rows = np.arange(len(ring))
    first = np.flatnonzero(np.diff(ring, prepend=-1) != 0)
    last = np.append(first[1:], len(ring)) - 1
    if step < 0:
        rows = rows - 1
        rows[first] = last
        return rows
    rows = rows + 1
    rows[last] = first
    return rows


def _measure_turns(east: Floats, north: Floats, ring: Ints) -> Floats:
    """Size of the turn at the start of each edge, radians."""
    before = _find_neighbours(ring, -1)
    cross = east[before] * north - north[before] * east
    turn: Floats = np.abs(np.arctan2(cross, east[before] * east + north[before] * north))
    return turn


def _number_runs(holds: NDArray[np.bool_], ring: Ints) -> Ints:
    """Number of each edge's run: edges in a row, round their ring, for which something holds, or does not."""
    new = (np.diff(holds.astype(np.int8), prepend=0) != 0) | (np.diff(ring, prepend=-1) != 0)
    run = np.cumsum(new) - 1
    first = np.flatnonzero(np.diff(ring, prepend=-1) != 0)
    last = np.append(first[1:], len(ring)) - 1
    number = np.arange(len(ring))
    over = holds[first] & holds[last]  # the run goes on from the last edge to the first
    number[run[last[over]]] = run[first[over]]
    found: Ints = number[run]
    return found


def _find_quantiles(values: Floats, weights: Floats, of: Ints, share: float) -> Floats:
    """Weighted quantile of the values of each outline; ``of`` numbers the outlines, ascending."""
    order = np.lexsort((values, of))
    values, weights = values[order], weights[order]
    first = np.flatnonzero(np.diff(of, prepend=-1))
    rows = []
    for a, b in zip(first.tolist(), [*first.tolist(), len(of)][1:], strict=True):
        summed = weights[a:b].cumsum()
        rows.append(a + int(summed.searchsorted(share * summed[-1])))
    found: Floats = values[np.array(rows, dtype=np.int64)]
    return found
