"""The error budget: how surely a station touches cells and lies inside a boundary.

The error budget: probabilities from distances. Nothing here knows of parks or cells.

Receiver and boundary errors are circular normal; a stated error is the 95 % radius, and
``sigma = error / 2.4477`` per axis (FGDC-STD-007.3-1998, NSSDA, appendix 3-A). All functions take scalars or
arrays; distances and sigmas are metres. A sigma of zero is a certain position.

How surely a disc lies inside a boundary of any shape, when its centre is known with a circular error.

The half-plane form of `confidence.inside` is right beside one long straight edge. At tips, bays, necks and
inholdings it is not: there the normal error is integrated along rays from the stated centre, exactly along
each ray, over the plane polygon that the nearby edges make.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chndtr, ndtr

from scout import kernels
from scout.geo.boundaries import Boundaries, Floats, Ints, find_sides
from scout.geo.geodesy import make_polynomial_frame
from scout.model import VerdictWord
from scout.threads import map_on_threads

_NSSDA = 2.4477468306808166  # sqrt(-2 ln 0.05)
FIRM = 0.95
DOUBTFUL = 0.5
_TINY = 1e-9  # stands for a sigma of zero
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)  # 1e-9 at R / sigma up to 12


def compute_sigma(error_95_m: ArrayLike) -> Any:
    """Standard deviation per axis of a circular normal error with this 95 % radius."""
    return np.asarray(error_95_m, dtype=float) / _NSSDA


def compute_line_p(d_m: ArrayLike, radius_m: ArrayLike, sigma_m: ArrayLike) -> Any:
    """Probability that a disc of this radius reaches across a line at distance d from its stated centre.

    Examples
    --------
    >>> round(float(compute_line_p(0, 2, 1)), 4)
    0.9545
    """
    d, r, s = np.asarray(d_m), np.asarray(radius_m), np.maximum(sigma_m, _TINY)
    return ndtr((r - d) / s) - ndtr((-r - d) / s)


def compute_corner_p(d_m: ArrayLike, radius_m: ArrayLike, sigma_m: ArrayLike) -> Any:
    """Probability that a corner at distance d from the stated centre lies within the disc (Rice)."""
    s = np.maximum(sigma_m, _TINY)
    with np.errstate(over="ignore"):
        spread = (np.asarray(d_m) / s) ** 2
        reach = (np.asarray(radius_m) / s) ** 2
    certain = spread > 1e6  # the series behind chndtr gives up; the answer is then 0 or 1 to 1e-9
    rice = chndtr(np.where(certain, 0.0, reach), 2, np.where(certain, 0.0, spread))
    return np.where(certain, np.asarray(d_m) < np.asarray(radius_m), rice)[()]


def compute_four_cells_p(dx_m: ArrayLike, dy_m: ArrayLike, radius_m: float, sigma_m: float) -> Any:
    """Probability that the disc touches all four cells of a corner; the centre is (dx, dy) from it."""
    return compute_corner_p(np.hypot(dx_m, dy_m), radius_m, sigma_m)


def compute_three_cells_p(dx_m: ArrayLike, dy_m: ArrayLike, radius_m: float, sigma_m: float) -> Any:
    """Probability that the disc touches three cells of a corner: one and its two neighbours.

    Parameters
    ----------
    dx_m, dy_m : float or array
        Centre's offset from the corner, positive into the middle cell of the three.

    Notes
    -----
    With the true centre (x, y) and ``s(x) = sqrt(R^2 - x^2)``, the three are touched where
    ``-s < y < s`` for -R < x < 0 and ``-s < y < R`` for 0 < x < R: plane geometry, integrated over the
    receiver's normal error by Gauss-Legendre.
    """
    r, s = float(radius_m), max(float(sigma_m), _TINY * 1e3)
    dx, dy = np.asarray(dx_m, dtype=float)[..., None], np.asarray(dy_m, dtype=float)[..., None]
    total: Any = 0.0
    for low, high in ((-r, 0.0), (0.0, r)):
        # No mass beyond 9 sigma: narrow the range so that the nodes lie where the density is.
        a, b = np.clip(dx - 9 * s, low, high), np.clip(dx + 9 * s, low, high)
        x = (a + b) / 2 + (b - a) / 2 * _NODES
        chord = np.sqrt(np.maximum(r * r - x * x, 0.0))
        top = chord if high == 0.0 else np.full_like(x, r)
        density = np.exp(-0.5 * ((x - dx) / s) ** 2) / (s * np.sqrt(2 * np.pi))
        column = ndtr((top - dy) / s) - ndtr((-chord - dy) / s)
        total = total + np.sum(_WEIGHTS * density * column * (b - a) / 2, axis=-1)
    return np.minimum(total, 1.0)[()]


def compute_inside_p(
    clearance_m: ArrayLike, radius_m: ArrayLike, sigma_fix_m: ArrayLike, sigma_boundary_m: ArrayLike
) -> Any:
    """Probability that the whole disc lies inside a boundary, taken as a straight line."""
    spread = np.maximum(np.hypot(sigma_fix_m, sigma_boundary_m), _TINY)
    return ndtr((np.asarray(clearance_m) - np.asarray(radius_m)) / spread)


def choose_word(p: float) -> VerdictWord:
    """The verdict for a probability: firm from 0.95, doubtful from 0.5, else not counted."""
    if p >= FIRM:
        return "firm"
    return "doubtful" if p >= DOUBTFUL else "not counted"


Edges = tuple[Ints, Floats, Floats]  # pair of each, start and end in metres from the pair's centre

_RAYS = 160  # within 0.002 of a million draws on tips, necks and small inholdings
_ANGLES = (np.arange(_RAYS) + 0.5) * 2 * np.pi / _RAYS
RAYS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)])  # directions of the rays, shape (2, n)
REACH_SIGMAS = 4.5  # sigmas; 4e-5 of the error lies beyond
_PAIRS = 200  # laid out at once
_COMPILED_PAIRS = 5000  # handed to one call where nothing is laid out
_EDGES = 1000  # laid out against all rays at once: some 25 arrays of 1.3 MB


def compute_contained_p(
    boundaries: Boundaries,
    park: Ints,
    lon: Floats,
    lat: Floats,
    clearance_m: Floats,
    radius_m: float,
    sigma_m: Floats,
) -> Floats:
    """Probability that the whole disc lies inside each park.

    Parameters
    ----------
    park, lon, lat : arrays, shape (n,)
        Pairs of a park and the stated centre of the disc, degrees.
    clearance_m : array, shape (n,)
        As ``boundaries.clearance`` gives it for these pairs.
    radius_m : float
    sigma_m : array, shape (n,)
        Standard deviation per axis of the circular normal error between disc and boundary.

    Returns
    -------
    array, shape (n,)
    """
    sigma = np.maximum(sigma_m, 1e-6)
    compiled = boundaries.compiled

    def integrate(rows: Ints) -> Floats:
        reach = compute_reach_m(radius_m, sigma[rows])
        known = boundaries.know_side(park[rows], lon[rows], lat[rows], clearance_m[rows], reach)
        if compiled is not None:
            east, frame = boundaries.near_side(park[rows], lon[rows]), make_polynomial_frame(lat[rows])
            return compiled.integrate(park[rows], east, lat[rows], frame, known, radius_m, sigma[rows], RAYS)
        edges = boundaries.edges_within(park[rows], lon[rows], lat[rows], reach)
        return integrate_rays(*find_sides(edges, known), radius_m, sigma[rows])

    return compute_contained_among(integrate, clearance_m, radius_m, sigma)


def compute_reach_m(radius_m: float, sigma_m: Floats) -> Floats:
    """How far from the centre an edge still matters."""
    reach: Floats = radius_m + REACH_SIGMAS * np.maximum(sigma_m, 1e-6)
    return reach


def compute_contained_among(
    integrate: Callable[[Ints], Floats], clearance_m: Floats, radius_m: float, sigma_m: Floats
) -> Floats:
    """As `compute_contained_p`, where the edges are at hand already.

    Parameters
    ----------
    integrate : callable
        Takes numbers of pairs and gives the probability of each, as `integrate_rays` does of the edges
        within `compute_reach_m`.
    """
    sigma = np.maximum(sigma_m, 1e-6)
    p: Floats = np.where(clearance_m > radius_m, 1.0, 0.0)
    near = np.flatnonzero(np.abs(clearance_m) < compute_reach_m(radius_m, sigma))
    size = _PAIRS if kernels.LIBRARY is None else _COMPILED_PAIRS
    batches = [near[k : k + size] for k in range(0, len(near), size)]
    if batches:
        p[near] = np.concatenate(map_on_threads(integrate, batches))
    return p


def integrate_rays(edges: Edges, inside: NDArray[np.bool_], radius: float, sigma: Floats) -> Floats:
    """Mass of the error on the parts of rays where the disc is inside and clear of every edge."""
    pair, start, end = edges
    parts = [
        _met(slice(k, k + _EDGES), pair, start, end, radius) for k in range(0, max(len(pair), 1), _EDGES)
    ]
    group, a, b, flips = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((a, group))
    group, a, b, flips = group[order], a[order], b[order], flips[order]
    free = _sum_free_mass(group, a, b, flips, inside, sigma)
    share: Floats = np.clip(free.reshape(-1, _RAYS).mean(axis=1), 0.0, 1.0)
    return share


def _met(
    some: slice, pair: Ints, start: Floats, end: Floats, radius: float
) -> tuple[Ints, Floats, Floats, Ints]:
    """Where some of the edges block rays ahead: which ray, from where to where, and whether it crosses."""
    enter, leave, crosses = _find_blocked(start[some, None], end[some, None], RAYS[0], RAYS[1], radius)
    row, ray = np.nonzero((enter < leave) & (leave > 0))
    group = pair[some][row] * _RAYS + ray
    return group, np.maximum(enter[row, ray], 0.0), leave[row, ray], crosses[row, ray]


def _sum_free_mass(
    group: Ints, a: Floats, b: Floats, flips: Ints, inside: NDArray[np.bool_], sigma: Floats
) -> Floats:
    """Per ray, the mass of the gaps between blocked intervals that lie inside."""
    groups = len(sigma) * _RAYS
    spread = np.repeat(sigma, _RAYS)
    within = np.repeat(inside, _RAYS)
    # Furthest end so far on the ray, by rank: whole numbers keep rays apart without touching the values.
    by_end = np.argsort(b)
    rank = np.empty(len(b), dtype=np.int64)
    rank[by_end] = np.arange(len(b))
    base = group * len(b)
    furthest = b[by_end[np.maximum.accumulate(base + rank) - base]]
    head = np.diff(group, prepend=-1) != 0
    tail = np.diff(group, append=groups) != 0
    before = np.where(head, 0.0, np.concatenate([[0.0], furthest[:-1]]) if len(a) else a)
    crossed = np.cumsum(flips)
    first = np.maximum.accumulate(np.where(head, np.arange(len(a)), 0))
    crossed_before = crossed - flips - (crossed - flips)[first] if len(a) else crossed
    free = within[group] ^ (crossed_before % 2 == 1)
    gap = np.maximum(
        _compute_tail(before, spread[group]) - _compute_tail(np.maximum(a, before), spread[group]), 0.0
    )
    mass = np.zeros(groups)
    mass += np.bincount(group[free], weights=gap[free], minlength=groups)
    last = np.flatnonzero(tail)
    end_free = within[group[last]] ^ ((crossed_before + flips)[last] % 2 == 1)
    mass[group[last]] += np.where(end_free, _compute_tail(furthest[last], spread[group[last]]), 0.0)
    clear = np.ones(groups, dtype=bool)
    clear[group] = False
    mass[clear & within] = 1.0
    return mass


def _compute_tail(t: Floats, sigma: Floats) -> Floats:
    """Share of a circular normal beyond distance t along a ray."""
    tail: Floats = np.exp(-0.5 * (t / sigma) ** 2)
    return tail


def _find_blocked(
    start: Floats, end: Floats, ux: Floats, uy: Floats, radius: float
) -> tuple[Floats, Floats, Ints]:
    """Where rays run within the radius of edges (one interval: the set is convex), and which they cross."""
    x0, y0, x1, y1 = start[..., 0], start[..., 1], end[..., 0], end[..., 1]
    across0, across1 = ux * y0 - uy * x0, ux * y1 - uy * x1
    along0, along1 = ux * x0 + uy * y0, ux * x1 + uy * y1
    with np.errstate(invalid="ignore", divide="ignore"):
        half0, half1 = np.sqrt(radius**2 - across0**2), np.sqrt(radius**2 - across1**2)
        enter = np.fmin(along0 - half0, along1 - half1)
        leave = np.fmax(along0 + half0, along1 + half1)
        # The band beside the edge: |distance to its line| under the radius, foot between its ends.
        dx, dy = x1 - x0, y1 - y0
        size = np.hypot(dx, dy)
        normal, tangent = (ux * dy - uy * dx) / size, (ux * dx + uy * dy) / size
        off = (x0 * dy - y0 * dx) / size
        foot = -(x0 * dx + y0 * dy) / size
        low, high = _clip_slab(normal, -off, np.full_like(size, -radius), np.full_like(size, radius))
        low2, high2 = _clip_slab(tangent, foot, np.zeros_like(size), size)
    low, high = np.maximum(low, low2), np.minimum(high, high2)
    real = low < high
    enter = np.where(real, np.fmin(enter, low), enter)
    leave = np.where(real, np.fmax(leave, high), leave)
    # Ahead, by the side of the edge that the start lies on: the same answer for all rays.
    crossing = ((across0 > 0) != (across1 > 0)) & ((x0 * y1 - y0 * x1 > 0) == (across1 > 0))
    enter = np.where(np.isnan(enter), np.inf, enter)
    leave = np.where(np.isnan(leave), -np.inf, leave)
    return enter, leave, crossing.astype(np.int64)


def _clip_slab(rate: Floats, at: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Where ``low < rate t + at < high``; empty or everything where the rate is nil."""
    t0, t1 = (low - at) / rate, (high - at) / rate
    still = np.abs(rate) < 1e-12
    everywhere = still & (low < at) & (at < high)
    first = np.where(still, np.where(everywhere, -np.inf, np.inf), np.fmin(t0, t1))
    last = np.where(still, np.where(everywhere, np.inf, -np.inf), np.fmax(t0, t1))
    return first, last
