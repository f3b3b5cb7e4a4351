"""Ways as points and edges: they keep their length and slope at any angle, as cells would not."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.access.window import Ways

__all__ = ["Network", "network_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_STEP_M = 10.0
_SAME_M = 0.01  # vertices nearer than this are one: there ways meet


class Network(NamedTuple):
    """Points along ways and the edges between them."""

    x: Floats
    y: Floats
    drive_row: Ints  # per point: row of the ways where a car may stop, else -1
    aloft: Bools  # per point: on a bridge or in a tunnel, no way off
    along: Floats  # per point: share of the way from one end of the bridge to the other; NaN on the ground
    ends: Ints  # per point, two columns: the points at the ends of the bridge; -1 on the ground
    a: Ints  # edges, each once
    b: Ints
    crossing: Bools  # per edge: over or under whatever is there
    landing: Bools  # per edge: on the ground, from the end of a crossing


def network_of(ways: Ways) -> Network:
    """The points and edges of ways."""
    lines = np.concatenate([ways.ground, ways.crossing])
    points, line = shapely.get_coordinates(shapely.segmentize(lines, _STEP_M), return_index=True)
    over = line >= len(ways.ground)
    first, node = _joined(points)
    n = len(first)
    on_ground, drive_row = np.zeros(n, dtype=bool), np.full(n, -1)
    on_ground[node[~over]] = True
    heads = np.flatnonzero(np.diff(line, prepend=-1))
    tails = np.append(heads[1:], len(line))[: len(heads)] - 1
    on_ground[node[heads]] = on_ground[node[tails]] = True
    stop = np.append(ways.drive_row, np.full(len(ways.crossing), -1))[line]
    drive_row[node[stop >= 0]] = stop[stop >= 0]
    walk = np.append(ways.walk, np.ones(len(ways.crossing), dtype=bool))[line]
    start = np.flatnonzero((np.diff(line, append=-1) == 0) & walk)
    a, b, crossing = _once(node[start], node[start + 1], over[start], n)
    at_end = np.zeros(n, dtype=bool)
    at_end[a[crossing]] = at_end[b[crossing]] = True
    landing = ~crossing & (at_end[a] | at_end[b])
    along, ends = _aloft(points, line, node, heads, tails, ~on_ground)
    return Network(
        points[first, 0], points[first, 1], drive_row, ~on_ground, along, ends, a, b, crossing, landing
    )


def _joined(points: Floats) -> tuple[Ints, Ints]:
    """First row of each point that is one, and the number of the point for each row."""
    east, north = np.rint(points / _SAME_M).astype(np.int64).T
    _, first, node = np.unique((east << 32) + north, return_index=True, return_inverse=True)
    return first, node.reshape(-1)


def _once(a: Ints, b: Ints, crossing: Bools, n: int) -> tuple[Ints, Ints, Bools]:
    """Edges without repeats and without those from a point to itself; a crossing wins."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    key, edge = np.unique(low * n + high, return_inverse=True)
    over = np.zeros(len(key), dtype=bool)
    over[edge.reshape(-1)[crossing]] = True
    real = key // max(n, 1) != key % max(n, 1)
    return key[real] // max(n, 1), key[real] % max(n, 1), over[real]


def _aloft(
    points: Floats, line: Ints, node: Ints, heads: Ints, tails: Ints, aloft: Bools
) -> tuple[Floats, Ints]:
    """For the points aloft, how far along they are and where the ends are."""
    along, ends = np.full(len(aloft), np.nan), np.full((len(aloft), 2), -1)
    if not len(points):
        return along, ends
    run = np.cumsum(np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T))
    of_line = np.cumsum(np.diff(line, prepend=-1) > 0) - 1
    whole = np.maximum(run[tails] - run[heads], 1e-9)
    row = np.flatnonzero(aloft[node])
    along[node[row]] = (run[row] - run[heads][of_line[row]]) / whole[of_line[row]]
    ends[node[row], 0], ends[node[row], 1] = node[heads][of_line[row]], node[tails][of_line[row]]
    return along, ends
