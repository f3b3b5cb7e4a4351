"""How surely several conditions hold together, where one receiver error moves them all.

The conditions of a claim are that the disc touches the cells claimed and that it lies inside each of the
parks claimed. The receiver's error is one for all of them; the boundary of a park errs by a shift of its own,
the same for parks that share a boundary. Each condition alone is known better (`probability`): what is worked
out here is by how much they hold together more often, or less, than their product says.

The receiver's error is a set of points, evenly spread. At each of them a condition holds or not (cells), or
with the share of its boundary's errors at which it holds (parks): the disc's containment, on a square grid,
blurred by those errors.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from scout.geo.boundaries import Boundaries, Floats, Ints, find_sides
from scout.geo.geodesy import make_polynomial_frame
from scout.geo.probability import REACH_SIGMAS, compute_reach_m
from scout.kernels import JoinErrors
from scout.table import expand_ranges
from scout.threads import map_on_threads

Bools = NDArray[np.bool_]

POINT_COUNT = 1024
FEW = 256  # points to climb by: a thousandth off, and alike at neighbouring places
STEP = 0.7  # of the grid, in sigmas of the boundary's error
PARTS = 2  # of a square of the grid, along each side, where a boundary may run through it
TAPS = 5  # to either side; 3.5 sigmas
SHARP = 0.2  # of the receiver's sigma: a boundary that errs less is taken as straight over its error
OFF = 0.005  # where that is so far off for a park, and the grid not too fine, it is not
FINEST = 0.05  # of the receiver's sigma: a grid for a smaller error has too many squares
ROUGH = 0.5  # the same to climb by: up to a hundredth off where boundaries run close to each other
SAME_VERTEX_M = 0.1  # vertices nearer to each other are one, and edges between them one boundary
_TINY = 1e-9


def _spread_points(count: int) -> Floats:
    """Points of a circular normal error of unit sigma, along the golden spiral; shape (2, count)."""
    k = np.arange(count)
    away = np.sqrt(-2.0 * np.log(1.0 - (k + 0.5) / count))
    turn = k * np.pi * (3.0 - np.sqrt(5.0))
    return np.stack([away * np.cos(turn), away * np.sin(turn)])


POINTS = _spread_points(POINT_COUNT)
FEW_POINTS = _spread_points(FEW)


class Errors(NamedTuple):
    """The station's disc and the errors that move it and the boundaries."""

    radius_m: float
    sigma_fix_m: float
    sigma_m: Floats  # of the boundary of each pair of a claim and a park
    points: Floats = POINTS
    sharp: float = SHARP

    @property
    def furthest(self) -> float:
        """Length of the longest of the points."""
        return float(np.sqrt(-2.0 * np.log(0.5 / self.points.shape[1])))


def _make_kernel() -> Floats:
    """Weights of the normal blur that is left after averaging over squares, by steps of the grid."""
    tap = np.arange(-TAPS, TAPS + 1)
    weight = np.exp(-0.5 * (tap * STEP) ** 2 / (1.0 - STEP**2 / 12.0))
    kernel: Floats = weight / weight.sum()
    return kernel


KERNEL = _make_kernel()

# What is claimed of cells, by number: nothing, or as `scout.search.verdict` numbers it.
NOTHING, ONE, MERIDIAN, PARALLEL, FOUR = 0, 1, 2, 3, 4
_MIDDLE = {5: (1, 1), 6: (-1, 1), 7: (-1, -1), 8: (1, -1)}  # of three cells


SURE = 0.9995  # a condition held this surely is multiplied: what it leaves out is under 0.0005
_LEAST = 0.0005  # where one is held less surely, so is all
_BATCH = 200  # claims joined by one call


class UnsureConditions(NamedTuple):
    """Conditions of some claims that are neither sure nor hopeless; pairs of claim and park end to end."""

    claim: Ints  # numbers
    cells: Bools  # whether the cells are a condition
    first: Ints  # where a claim's pairs begin; one more entry at the end
    pair: Ints  # numbers, of the pairs of all claims
    cells_p: Floats  # how surely the cells are touched
    pair_p: Floats  # and the disc lies inside

    def take(self, k: int, size: int) -> UnsureConditions:
        """Those of ``size`` claims from the k-th."""
        first = self.first[k : k + size + 1]
        claims, pairs = slice(k, k + size), slice(first[0], first[-1])
        return UnsureConditions(
            self.claim[claims],
            self.cells[claims],
            first - first[0],
            self.pair[pairs],
            self.cells_p[claims],
            self.pair_p[pairs],
        )


def join_parts(
    first: Ints, grids_p: Floats, parks_p: Floats, join: Callable[[UnsureConditions], Floats]
) -> Floats:
    """Confidence of each claim: the probability that all of its conditions hold.

    Parameters
    ----------
    first : array of int, shape (n + 1,)
        Where each claim's parks begin; each has one at least, or none has any.
    grids_p : array, shape (n,)
    parks_p : array, shape (first[-1],)
    join : callable
        Gives the probability that the unsure conditions of claims hold together.
    """
    if len(parks_p) == 0:
        return grids_p
    whole: Floats = grids_p * np.multiply.reduceat(parks_p, first[:-1])
    sizes = np.diff(first)
    unsure = parks_p < SURE
    count = np.add.reduceat(unsure.astype(np.int64), first[:-1])
    cells = grids_p < SURE
    least = np.minimum(grids_p, np.minimum.reduceat(parks_p, first[:-1]))
    claim = np.flatnonzero((count + cells > 1) & (least > _LEAST))
    if len(claim) == 0:
        return whole
    _, pair = expand_ranges(first[claim], sizes[claim])
    pair = pair[unsure[pair]]
    at = np.append(0, np.cumsum(count[claim]))
    held, p = np.where(cells[claim], grids_p[claim], 1.0), parks_p[pair]
    some = UnsureConditions(claim, cells[claim], at, pair, held, p)
    parts = [some.take(k, _BATCH) for k in range(0, len(claim), _BATCH)]
    joint = np.concatenate(map_on_threads(join, parts) if len(parts) > 1 else [join(some)])
    # Bounds of Frechet: not surer than any, and at worst each fails where no other does.
    most = np.minimum(held, np.minimum.reduceat(p, at[:-1]))
    worst = np.maximum(held - np.add.reduceat(1.0 - p, at[:-1]), 0.0)
    whole[claim] *= np.clip(joint, worst, most) / (held * np.multiply.reduceat(p, at[:-1]))
    return whole


def join_contained(
    boundaries: Boundaries,
    some: UnsureConditions,
    cell: Floats,
    place: tuple[Ints, Floats, Floats],
    errors: Errors,
    clearance_m: Floats,
) -> Floats:
    """Probability that conditions at places hold together.

    Parameters
    ----------
    some : UnsureConditions
        n of them.
    cell : array, shape (n, 3)
        As `join_conditions` takes it.
    place : park, lon, lat
        Of each pair of a claim and a park.
    errors : Errors
    clearance_m : array
        Of the place of each pair.
    """
    park, lon, lat = place
    reach = compute_reach_m(errors.radius_m, np.hypot(errors.sigma_fix_m, errors.sigma_m))
    known = boundaries.know_side(park, lon, lat, clearance_m, reach)
    if boundaries.compiled is not None:
        frame = make_polynomial_frame(lat)
        words = make_errors(some, known, errors)
        east = boundaries.near_side(park, lon)
        return boundaries.compiled.join(some.first, cell, park, east, lat, frame, words)
    edges = boundaries.edges_within(park, lon, lat, reach)
    return join_edges(some, cell, *find_sides(edges, known), errors)


def make_errors(some: UnsureConditions, known: Floats, errors: Errors) -> JoinErrors:
    """The errors as the compiled loops take them."""
    radius, fix, sigma, points, sharp = errors
    parts = some.pair_p, some.cells_p
    return JoinErrors(known, *parts, sigma, radius, fix, sharp, points, errors.furthest, KERNEL)


def join_edges(
    some: UnsureConditions,
    cell: Floats,
    edges: tuple[Ints, Floats, Floats],
    inside: Bools,
    errors: Errors,
) -> Floats:
    """The same from edges at hand: pair of each, start and end in metres from the place."""
    pair, start, end = edges
    at = np.searchsorted(pair, np.arange(len(inside) + 1))
    near = [
        NearPark(start[i:j], end[i:j], bool(inside[k]), float(errors.sigma_m[k]), float(some.pair_p[k]))
        for k, (i, j) in enumerate(pairwise(at.tolist()))
    ]
    cells = [(int(code), x, y) for code, x, y in cell.tolist()]
    claims = zip(cells, some.cells_p.tolist(), pairwise(some.first.tolist()), strict=True)
    return np.array([join_conditions(what, p, near[i:j], errors) for what, p, (i, j) in claims])


class NearPark(NamedTuple):
    """The edges of a park near a station, in metres from it."""

    start: Floats  # shape (m, 2)
    end: Floats
    inside: bool  # the station's centre
    sigma_m: float  # of the boundary's error
    p: float  # how surely the disc lies inside


def join_conditions(
    cell: tuple[int, float, float], cell_p: float, parks: list[NearPark], errors: Errors
) -> float:
    """Probability that conditions hold together.

    Parameters
    ----------
    cell : code, x, y
        Of one cell, x and y lead in metres from the centre to the nearest lines; of more, from the line or
        corner to the centre.
    cell_p : float
        How surely the cells are touched.
    parks : list of NearPark
        Edges within the disc's radius and `REACH_SIGMAS` of both errors.

    Notes
    -----
    What the points give is scaled by what is known better: by each condition's probability over the points'
    own value for it; of parks that share an error, the least sure one's.
    """
    held = _touches(cell, errors.sigma_fix_m * errors.points, errors.radius_m)
    scale = _divide(cell_p, float(held.mean()))
    for group in _find_groups(parks):
        share, own, known = _find_group_shares(group, errors)
        scale *= _divide(known, own)
        held = held * share
    return float(held.mean()) * scale


def _find_group_shares(group: list[NearPark], errors: Errors) -> tuple[Floats, float, float]:
    """What `_find_shares` says of a group; how sure that makes the least sure of them, and how sure it is."""
    sigma, fix = group[0].sigma_m, errors.sigma_fix_m
    # Beside one straight edge that is no approximation; the same for each and for all, to be comparable.
    straight = all(len(one.start) <= 1 for one in group) or sigma <= _TINY
    plain = straight or sigma < errors.sharp * fix
    each, own = _find_each(group, errors, plain)
    known = [one.p for one in group]
    if np.abs(own - known).max() > OFF and plain and not straight and sigma >= FINEST * fix:
        plain = False
        each, own = _find_each(group, errors, plain)
    least = int(np.argmin(own))
    share = each[0] if len(group) == 1 else _find_shares(group, errors, plain)
    return share, float(own[least]), known[least]


def _find_each(group: list[NearPark], errors: Errors, plain: bool) -> tuple[list[Floats], Floats]:
    """The shares of each park of a group by itself, and their means."""
    each = [_find_shares([one], errors, plain) for one in group]
    return each, np.array([share.mean() for share in each])


def _divide(known: float, own: float) -> float:
    return known / own if own > _TINY else 0.0


def _touches(cell: tuple[int, float, float], at: Floats, radius: float) -> Floats:
    """Whether the disc touches the cells claimed, for errors of shape (2, n)."""
    code, x, y = cell
    if code == NOTHING:
        return np.ones(at.shape[1])
    if code == ONE:
        east, north = at * np.where(np.array([[x], [y]]) < 0.0, -1.0, 1.0)
        touched = (east < radius + abs(x)) & (north < radius + abs(y))
    else:
        east, north = x + at[0], y + at[1]
        if code in (MERIDIAN, PARALLEL):
            touched = np.abs(east if code == MERIDIAN else north) < radius
        else:
            touched = east * east + north * north < radius * radius
        if code in _MIDDLE:
            east, north = _MIDDLE[code][0] * east, _MIDDLE[code][1] * north
            touched |= (east > 0.0) & (east < radius) & (north > 0.0) & (north < radius)
    share: Floats = touched.astype(float)
    return share


def _find_groups(parks: list[NearPark]) -> list[list[NearPark]]:
    """The parks by the boundary error they share, in order."""
    head = list(range(len(parks)))
    for k, one in enumerate(parks):
        for j in range(k):
            if head[j] != head[k] and one.sigma_m == parks[j].sigma_m and _share_an_edge(one, parks[j]):
                least, most = sorted((head[j], head[k]))
                head = [least if h == most else h for h in head]
    return [[parks[k] for k, h in enumerate(head) if h == first] for first in sorted(set(head))]


def _share_an_edge(one: NearPark, other: NearPark) -> bool:
    def is_same(a: Floats, b: Floats) -> Bools:
        close: Bools = ((a[:, None] - b[None]) ** 2).sum(axis=2) < SAME_VERTEX_M**2
        return close

    long = ((one.end - one.start) ** 2).sum(axis=1) > 4 * SAME_VERTEX_M**2
    along = is_same(one.start, other.start) & is_same(one.end, other.end)
    against = is_same(one.start, other.end) & is_same(one.end, other.start)
    return bool(((along | against) & long[:, None]).any())


def _find_shares(group: list[NearPark], errors: Errors, plain: bool) -> Floats:
    """Share of a boundary error at which the disc is inside all of some parks, for errors of the receiver."""
    sigma, fix, at = group[0].sigma_m, errors.sigma_fix_m, errors.sigma_fix_m * errors.points
    if plain:
        shares: Floats = ndtr((_measure(group, at) - errors.radius_m) / max(sigma, _TINY))
        return shares
    step = STEP * sigma
    inner = int(errors.furthest * fix / step) + 2
    side = 2 * (inner + TAPS) + 1
    squares = _average(group, step, inner + TAPS, errors).reshape(side, side)
    last = side - 2 * TAPS
    rows = np.zeros((side, last))
    for k, weight in enumerate(KERNEL):
        rows += weight * squares[:, k : last + k]
    grid = np.zeros((last, last))
    for k, weight in enumerate(KERNEL):
        grid += weight * rows[k : last + k]
    place = at / step + inner
    whole = np.floor(place).astype(np.int64)
    east, north = (_weigh_cubic(part) for part in place - whole)
    found = np.zeros(at.shape[1])
    for j in range(4):
        row = np.zeros(at.shape[1])
        for i in range(4):
            row += east[i] * grid[whole[1] + j - 1, whole[0] + i - 1]
        found += north[j] * row
    share: Floats = np.clip(found, 0.0, 1.0)
    return share


def _average(group: list[NearPark], step: float, outer: int, errors: Errors) -> Floats:
    """Share of each square of the grid, row after row from the south-west, whence the disc is inside."""
    radius, sigma_fix = errors.radius_m, errors.sigma_fix_m
    ticks = np.arange(-outer, outer + 1) * step
    grid = np.stack([np.tile(ticks, len(ticks)), np.repeat(ticks, len(ticks))])
    near = np.flatnonzero(
        (grid * grid).sum(axis=0) <= REACH_SIGMAS**2 * (group[0].sigma_m ** 2 + sigma_fix**2)
    )
    share = np.zeros(grid.shape[1])
    room = _measure(group, grid[:, near]) - radius
    share[near] = room > 0.0
    met = near[np.abs(room) < step]
    fine = ((np.arange(PARTS) + 0.5) / PARTS - 0.5) * step
    total = np.zeros(len(met))
    for y in fine:
        for x in fine:
            room = _measure(group, grid[:, met] + [[x], [y]]) - radius
            total += np.clip(room / (step / PARTS) + 0.5, 0.0, 1.0)
    share[met] = total / PARTS**2
    return share


def _weigh_cubic(t: Floats) -> list[Floats]:
    """Lagrange's weights of the places -1, 0, 1 and 2 at t, for 0 <= t <= 1."""
    return [
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    ]


def _measure(group: list[NearPark], at: Floats) -> Floats:
    """Signed distance from places to the nearest edge of any park, positive inside all of them.

    Where the boundary they share lies between two of them, no shift of it helps: minus infinity.
    """
    clear = [_measure_one(park, at) for park in group]
    least, most = np.min(clear, axis=0), np.max(clear, axis=0)
    between = (least < 0.0) & (most > 0.0) & (np.abs(least + most) < 2 * SAME_VERTEX_M)
    clearance: Floats = np.where(between, -np.inf, least)
    return clearance


def _measure_one(park: NearPark, at: Floats) -> Floats:
    """Signed distance from places to the edges, positive inside; infinite without edges."""
    x, y = at[0][:, None], at[1][:, None]
    (x0, y0), (x1, y1) = park.start.T, park.end.T
    ax, ay, bx, by = x0 - x, y0 - y, x1 - x, y1 - y
    dx, dy = x1 - x0, y1 - y0
    along = np.clip(-(ax * dx + ay * dy) * (1.0 / np.maximum(dx * dx + dy * dy, 1e-12)), 0.0, 1.0)
    near = np.sqrt(((ax + along * dx) ** 2 + (ay + along * dy) ** 2).min(axis=1, initial=np.inf))
    # Crossed on the straight way back to the station's centre.
    apart = (x * ay - y * ax > 0.0) != (x * by - y * bx > 0.0)
    crossed = apart & ((ax * by - ay * bx > 0.0) != (x0 * y1 - y0 * x1 > 0.0))
    inside = park.inside ^ (crossed.sum(axis=1) % 2 == 1)
    signed: Floats = np.where(inside, near, -near)
    return signed
