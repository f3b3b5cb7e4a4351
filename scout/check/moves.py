"""The move that mends a place: the surest station centre nearby, over all conditions at once."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from scout.check.places import Lattice, Pairs
from scout.confidence import DOUBTFUL, FIRM
from scout.describe import cells_of
from scout.locator import edge_lat, edge_lon, index
from scout.outlines import Floats, Ints
from scout.spots.found import Found, judged
from scout.verdict import FOUR, MERIDIAN, ONE, PARALLEL, THREE, Claims, Ground, settle

__all__ = ["MOVE_M", "best_moves"]

MOVE_M = 60.0  # further away is another place, not a correction
_MOST_PARKS = 4  # of which all sets are tried


def best_moves(
    lon: Floats, lat: Floats, lattice: Lattice, pairs: Pairs, now: Floats, ground: Ground
) -> tuple[Ints, Found]:
    """Places that a move makes better, and where to: one row each.

    Parameters
    ----------
    now : array, shape (n, 2)
        Pairs of grid and park counted firmly, and at least doubtfully, where each place stands.

    Notes
    -----
    Every claim within reach is settled and judged: one cell, both sides of a line, three and four cells of
    a corner, each with every set of the parks nearby. Best is what counts for most firmly, then doubtfully.
    """
    place, grid, parks = _options(lattice, pairs, ground.station.radius_m)
    if len(place) == 0:
        return place, _judged(lon, lat, lattice, place, grid, parks, ground)
    found = _judged(lon, lat, lattice, place, grid, parks, ground)
    value = _value(found)
    order = np.lexsort((-found.judged.confidence, -value[:, 1], -value[:, 0], place))
    order = order[np.flatnonzero(np.diff(place[order], prepend=-1))]
    best, before = value[order], now[place[order]]
    better = (best[:, 0] > before[:, 0]) | ((best[:, 0] == before[:, 0]) & (best[:, 1] > before[:, 1]))
    return place[order[better]], found.rows(order[better])


def _value(found: Found) -> Floats:
    count = cells_of(found.claims.grid) * np.diff(found.claims.first)
    p = found.judged.confidence
    return np.stack([np.where(p >= FIRM, count, 0), np.where(p >= DOUBTFUL, count, 0)], axis=1)


def _options(lattice: Lattice, pairs: Pairs, radius: float) -> tuple[Ints, Ints, list[tuple[int, ...]]]:
    """Every claim within reach of each place, with every set of the parks near it."""
    close = pairs.rows(pairs.clearance_m > -MOVE_M)
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


def _judged(
    lon: Floats,
    lat: Floats,
    lattice: Lattice,
    place: Ints,
    grid: Ints,
    parks: list[tuple[int, ...]],
    ground: Ground,
) -> Found:
    level, radius = ground.level, ground.station.radius_m
    at_x, at_y = (grid == MERIDIAN) | (grid >= FOUR), (grid == PARALLEL) | (grid >= FOUR)
    ref_lon = np.where(at_x, edge_lon(lattice.i[place], level), lon[place])
    ref_lat = np.where(at_y, edge_lat(lattice.j[place], level), lat[place])
    first = np.concatenate([[0], np.cumsum([len(p) for p in parks])]).astype(np.int64)
    claims = Claims(ref_lon, ref_lat, grid, first, np.array([q for p in parks for q in p], dtype=np.int64))
    here_x, here_y = np.where(at_x, lattice.dx_m[place], 0.0), np.where(at_y, lattice.dy_m[place], 0.0)
    slack_x, slack_y = np.where(at_x, 2 * radius, MOVE_M), np.where(at_y, 2 * radius, MOVE_M)
    low = (np.maximum(here_x - MOVE_M, -slack_x), np.maximum(here_y - MOVE_M, -slack_y))
    high = (np.minimum(here_x + MOVE_M, slack_x), np.minimum(here_y + MOVE_M, slack_y))
    # A place just within reach of a line leaves a box of no width: stand on its near side.
    high = (np.maximum(high[0], low[0]), np.maximum(high[1], low[1]))
    offset = settle(claims, ground, low, high, exact=True)
    i, j = index(ref_lon, ref_lat, level)
    found = judged("line", i.astype(np.int64), j.astype(np.int64), claims, offset, ground)
    i, j = index(found.judged.lon, found.judged.lat, level)
    return found._replace(
        i=np.where(at_x, lattice.i[place], i).astype(np.int64),
        j=np.where(at_y, lattice.j[place], j).astype(np.int64),
    )
