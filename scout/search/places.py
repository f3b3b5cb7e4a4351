"""Planned places in arrays: the parks and lines near each, and the moves that make it better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from scout.geo import probability
from scout.geo.boundaries import Floats, Ints
from scout.geo.geodesy import compute_degree_lengths, measure_geodesic, wrap_lon
from scout.geo.locator import (
    count_columns,
    decode,
    get_column_number,
    get_edge_lat,
    get_edge_lon,
    get_index,
    get_row_number,
)
from scout.geo.probability import DOUBTFUL, FIRM, compute_contained_p
from scout.model import Parks
from scout.parks.sources import InMemoryParks, ParkSource, add_report_lines
from scout.search.describe import count_cells
from scout.search.found import FoundPlaces, judge_found
from scout.search.optimize import optimize_position
from scout.search.verdict import (
    FOUR,
    MERIDIAN,
    ONE,
    PARALLEL,
    THREE,
    Claims,
    JudgedClaims,
    JudgingContext,
    compute_touch_p,
    judge_together,
    multiply_parts,
)
from scout.table import Table, make_offsets


@dataclass(frozen=True, slots=True)
class NearPairs(Table):
    """Places and the parks near them, in the order of the places."""

    place: Ints
    park: Ints
    clearance_m: Floats
    edge_lon: Floats
    edge_lat: Floats
    p: Floats  # the whole station inside


class NearestLattice(NamedTuple):
    """The nearest meridian and parallel of each place, and its offset from them in metres."""

    i: Ints
    j: Ints
    dx_m: Floats  # east of the meridian
    dy_m: Floats  # north of the parallel; huge where the nearest would be a pole


def find_candidates(tree: shapely.STRtree, lon: Floats, lat: Floats, near_m: Floats) -> tuple[Ints, Ints]:
    """Pairs of place and park whose bounds come within reach of each other."""
    per_lon = compute_degree_lengths(np.minimum(np.abs(lat) + near_m / 110_574, 89.9))[0]
    dx, dy = 1.01 * near_m / per_lon, 1.01 * near_m / 110_574
    found = [
        np.stack(tree.query(shapely.box(lon + t - dx, lat - dy, lon + t + dx, lat + dy)))
        for t in (-360.0, 0.0, 360.0)
    ]
    pairs = np.unique(np.concatenate(found, axis=1), axis=1)
    return pairs[0], pairs[1]


def find_near_pairs(
    place: Ints, park: Ints, lon: Floats, lat: Floats, near_m: Floats, ground: JudgingContext
) -> NearPairs:
    """Pairs of place and park no further outside than each place's ``near_m``."""
    x, y = lon[place], lat[place]
    distance, edge_lon, edge_lat = ground.boundaries.nearest(park, x, y)
    clearance = np.where(ground.boundaries.contains(park, x, y), distance, -distance)
    station = ground.station
    spread = np.hypot(
        probability.compute_sigma(station.fix_error_m),
        probability.compute_sigma(ground.boundary_error_m[park]),
    )
    p = compute_contained_p(ground.boundaries, park, x, y, clearance, station.radius_m, spread)
    pairs = NearPairs(place, park, clearance, wrap_lon(edge_lon), edge_lat, p)
    return pairs.take(clearance >= -near_m[place])


def compute_reaches(cells: Sequence[str | None], near_m: float) -> Floats:
    """Return how far from each place parks matter: from a cell's centre, half its diagonal further."""
    reach = np.full(len(cells), near_m)
    for row, text in enumerate(cells):
        if text is not None:
            cell = decode(text)
            per_lon, per_lat = compute_degree_lengths(cell.lat)
            reach[row] += np.hypot(cell.width * per_lon, cell.height * per_lat) / 2 * 1.02
    return reach


def locate_lattice(lon: Floats, lat: Floats, level: int) -> NearestLattice:
    """Nearest lattice lines; a pole is no line."""
    n = count_columns(level)
    x, y = get_column_number(lon, level), get_row_number(lat, level)
    i = np.rint(x).astype(np.int64)
    j = np.clip(np.rint(y).astype(np.int64), 1, n - 1)
    per_lon, per_lat = compute_degree_lengths(lat)
    return NearestLattice(i % n, j, (x - i) * 360 / n * per_lon, (y - j) * 180 / n * per_lat)


def find_touched_cells(
    lon: Floats, lat: Floats, lattice: NearestLattice, ground: JudgingContext
) -> tuple[Claims, Ints, Ints, Floats]:
    """What the disc touches where it stands: claims without parks, their cell numbers and probability."""
    radius, level = ground.station.radius_m, ground.level
    dx, dy = lattice.dx_m, lattice.dy_m
    over_x, over_y = np.abs(dx) < radius, np.abs(dy) < radius
    both = over_x & over_y
    quadrant = np.select(
        [(dx >= 0) & (dy >= 0), (dx < 0) & (dy >= 0), (dx < 0) & (dy < 0)], THREE[:3], THREE[3]
    )
    grid = np.select(
        [both & (np.hypot(dx, dy) < radius), both, over_x, over_y], [FOUR, quadrant, MERIDIAN, PARALLEL], ONE
    )
    at_x, at_y = both | (grid == MERIDIAN), both | (grid == PARALLEL)
    ref_lon = np.where(at_x, get_edge_lon(lattice.i, level), lon)
    ref_lat = np.where(at_y, get_edge_lat(lattice.j, level), lat)
    i, j = get_index(lon, lat, level)
    i, j = np.where(at_x, lattice.i, i).astype(np.int64), np.where(at_y, lattice.j, j).astype(np.int64)
    nobody = np.zeros(len(lon) + 1, dtype=np.int64)
    claims = Claims(ref_lon, ref_lat, grid, nobody, nobody[:0])
    p = compute_touch_p(claims, np.where(at_x, dx, 0.0), np.where(at_y, dy, 0.0), ground)
    return claims, i, j, p


def judge_conditions(
    claims: Claims,
    place: tuple[Floats, Floats],
    grids_p: Floats,
    pairs: NearPairs,
    exact: NDArray[np.bool_],
    ground: JudgingContext,
) -> Floats:
    """Confidence of places: that they touch their cells and lie in the parks that count, or in the surest.

    Parameters
    ----------
    claims : Claims
        What the places touch, without parks.
    place : lon, lat
    pairs : NearPairs
        The surest of each place first.
    exact : array of bool
        Whether each place is one; a cell's shares are multiplied.
    """
    n = len(grids_p)
    head = np.diff(pairs.place, prepend=-1) != 0
    member = pairs.take((pairs.p >= DOUBTFUL) | head)
    sizes = np.bincount(member.place, minlength=n)
    rows = np.flatnonzero(sizes)
    confidence = np.zeros(n)
    if len(rows) == 0:
        return confidence
    first = make_offsets(sizes[rows])
    confidence[rows] = multiply_parts(first, grids_p[rows], member.p)
    rows = rows[exact[rows]]
    member = member.take(exact[member.place])
    first = make_offsets(sizes[rows])
    some = Claims(claims.lon[rows], claims.lat[rows], claims.grid[rows], first, member.park)
    at = JudgedClaims(
        lon=place[0][rows],
        lat=place[1][rows],
        grids_p=grids_p[rows],
        first=first,
        clearance_m=member.clearance_m,
        parks_p=member.p,
        confidence=confidence[rows],
    )
    confidence[rows] = judge_together(some, at, member.p, ground)
    return confidence


def compute_cell_shares(pairs: NearPairs, cells: Sequence[str | None], geometries: NDArray[Any]) -> Floats:
    """Share of each place's cell inside each park; NaN where the place is no cell."""
    share = np.full(len(pairs.place), np.nan)
    for row, place in enumerate(pairs.place.tolist()):
        text = cells[place]
        if text is None:
            continue
        cell = decode(text)
        park = geometries[pairs.park[row]]
        turn = 360.0 * np.rint((shapely.bounds(park)[[0, 2]].mean() - cell.lon) / 360.0)
        box = shapely.box(cell.west + turn, cell.south, cell.east + turn, cell.north)
        inside = 1.0 if park.covers(box) else park.intersection(box).area / box.area
        share[row] = inside
    return share


def find_feet(
    lon: Floats, lat: Floats, lattice: NearestLattice, level: int
) -> list[tuple[Floats, Floats, Floats, Floats]]:
    """Nearest point of the nearest meridian, parallel and corner, with distance in metres and bearing."""
    line, parallel = get_edge_lon(lattice.i, level), get_edge_lat(lattice.j, level)
    # The foot of the perpendicular on a meridian lies poleward of the place's parallel.
    along = np.degrees(np.arctan2(np.tan(np.radians(lat)), np.cos(np.radians(lon - line))))
    found = []
    for x, y in ((line, along), (wrap_lon(lon), parallel), (line, parallel)):
        distance, bearing = measure_geodesic(lon, lat, x, y)
        found.append((np.asarray(x), np.asarray(y), np.asarray(distance), np.asarray(bearing)))
    return found


# Of the parks of a source, those that places could have to do with.
_TOGETHER_DEG = 2.0  # places this near each other are asked for together


def load_parks_near(
    source: ParkSource,
    lon: ArrayLike,
    lat: ArrayLike,
    near_m: float,
    cells: Sequence[str | None] | None = None,
) -> Parks:
    """Load the parks that come near some places; all of them where they are at hand.

    Parameters
    ----------
    source : ParkSource
    lon, lat : arrays, shape (n,)
        Degrees.
    near_m : float
        How far outside its bounds a park is still wanted.
    cells : sequence of str or None, optional
        Locators of the places that were given as such.
    """
    if isinstance(source, InMemoryParks):
        return source.parks
    x, y = np.atleast_1d(np.asarray(lon, dtype=float)), np.atleast_1d(np.asarray(lat, dtype=float))
    reach = compute_reaches(cells if cells is not None else [None] * len(x), near_m)
    group = np.floor(np.stack([x, y]) / _TOGETHER_DEG)
    wanted = np.zeros(len(source.bounds), dtype=bool)
    for column in np.unique(group, axis=1).T:
        mine = (group == column[:, None]).all(axis=0)
        box = float(x[mine].min()), float(y[mine].min()), float(x[mine].max()), float(y[mine].max())
        wanted[source.near(box, float(reach[mine].max()))] = True
    loaded = source.load(np.flatnonzero(wanted))
    report = add_report_lines(source.report, [loaded.report])
    return Parks(loaded.frame.reset_index(drop=True), source.sources, report)


# The move that makes a place better: the surest station centre nearby, over all conditions at once.
MOVE_M = 60.0  # further away is another place, not a correction
_MOST_PARKS = 4  # of which all sets are tried


def find_best_moves(
    lon: Floats, lat: Floats, lattice: NearestLattice, pairs: NearPairs, now: Floats, ground: JudgingContext
) -> tuple[Ints, FoundPlaces]:
    """Places that a move makes better, and where to: one row each.

    Parameters
    ----------
    now : array, shape (n, 2)
        Pairs of grid and park counted firmly, and at least doubtfully, where each place stands.

    Notes
    -----
    The surest centre is sought for every claim within reach: one cell, both sides of a line, three and four
    cells of a corner, each with every set of the parks nearby. Best is what counts for most firmly, then
    doubtfully.
    """
    place, grid, parks = _list_options(lattice, pairs, ground.station.radius_m)
    if len(place) == 0:
        return place, _judge_options(lon, lat, lattice, place, grid, parks, ground)
    found = _judge_options(lon, lat, lattice, place, grid, parks, ground)
    value = _rate_found(found)
    order = np.lexsort((-found.judged.confidence, -value[:, 1], -value[:, 0], place))
    order = order[np.flatnonzero(np.diff(place[order], prepend=-1))]
    best, before = value[order], now[place[order]]
    better = (best[:, 0] > before[:, 0]) | ((best[:, 0] == before[:, 0]) & (best[:, 1] > before[:, 1]))
    return place[order[better]], found.take(order[better])


def _rate_found(found: FoundPlaces) -> Floats:
    count = count_cells(found.claims.grid) * np.diff(found.claims.first)
    p = found.judged.confidence
    return np.stack([np.where(p >= FIRM, count, 0), np.where(p >= DOUBTFUL, count, 0)], axis=1)


def _list_options(
    lattice: NearestLattice, pairs: NearPairs, radius: float
) -> tuple[Ints, Ints, list[tuple[int, ...]]]:
    """Every claim within reach of each place, with every set of the parks near it."""
    close = pairs.take(pairs.clearance_m > -MOVE_M)
    near: dict[int, list[int]] = {}
    for k in np.lexsort((-close.clearance_m, close.place)).tolist():
        near.setdefault(int(close.place[k]), []).append(int(close.park[k]))
    reach = MOVE_M + radius
    place, grid, parks = [], [], []
    for at, some in near.items():
        x, y = abs(float(lattice.dx_m[at])) < reach, abs(float(lattice.dy_m[at])) < reach
        codes = [ONE, *[MERIDIAN] * x, *[PARALLEL] * y, *[FOUR, *THREE] * (x and y)]
        some = some[:_MOST_PARKS]
        for size in range(1, len(some) + 1):
            for members in combinations(some, size):
                for code in codes:
                    place.append(at)
                    grid.append(code)
                    parks.append(members)
    return np.array(place, dtype=np.int64), np.array(grid, dtype=np.int64), parks


def _judge_options(
    lon: Floats,
    lat: Floats,
    lattice: NearestLattice,
    place: Ints,
    grid: Ints,
    parks: list[tuple[int, ...]],
    ground: JudgingContext,
) -> FoundPlaces:
    level, radius = ground.level, ground.station.radius_m
    at_x, at_y = (grid == MERIDIAN) | (grid >= FOUR), (grid == PARALLEL) | (grid >= FOUR)
    ref_lon = np.where(at_x, get_edge_lon(lattice.i[place], level), lon[place])
    ref_lat = np.where(at_y, get_edge_lat(lattice.j[place], level), lat[place])
    first = make_offsets([len(p) for p in parks])
    claims = Claims(ref_lon, ref_lat, grid, first, np.array([q for p in parks for q in p], dtype=np.int64))
    here_x, here_y = np.where(at_x, lattice.dx_m[place], 0.0), np.where(at_y, lattice.dy_m[place], 0.0)
    slack_x, slack_y = np.where(at_x, 2 * radius, MOVE_M), np.where(at_y, 2 * radius, MOVE_M)
    low = (np.maximum(here_x - MOVE_M, -slack_x), np.maximum(here_y - MOVE_M, -slack_y))
    high = (np.minimum(here_x + MOVE_M, slack_x), np.minimum(here_y + MOVE_M, slack_y))
    # A place just within reach of a line leaves a box of no width: stand on its near side.
    high = (np.maximum(high[0], low[0]), np.maximum(high[1], low[1]))
    offset = optimize_position(claims, ground, low, high, exact=True)
    i, j = get_index(ref_lon, ref_lat, level)
    found = judge_found("line", i.astype(np.int64), j.astype(np.int64), claims, offset, ground)
    i, j = get_index(found.judged.lon, found.judged.lat, level)
    return replace(
        found,
        i=np.where(at_x, lattice.i[place], i).astype(np.int64),
        j=np.where(at_y, lattice.j[place], j).astype(np.int64),
    )
