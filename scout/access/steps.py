"""Steps over open ground: a grid, sixteen ways from each point, timed by the slope in their direction."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from scout.access.pace import tobler_kmh
from scout.access.walls import Walls
from scout.outlines import ragged

__all__ = ["DETOUR", "steps"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Minutes = NDArray[np.float32]

# Sixteen ways overstate a straight walk by 0 to 2.75 % (1 / cos 13.28 deg): taken off by half.
DETOUR = 1.0136
# Right and up, in the order of the numbers of the points they lead to; the opposites come first.
_WAYS = ((1, 0), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (-1, 2), (1, 2))
_AT_ONCE = 100_000  # pieces of barriers
_SLACK, _FLAT = 1e-6, 1e-9  # cells
_NEVER = np.float32(np.inf)


def steps(axis: Floats, height_m: Floats, m_per_min: float, walls: Walls, n: int) -> csr_array:
    """Minutes from point to point of a square grid.

    Parameters
    ----------
    axis : array, shape (side,)
        x, and likewise y, of the points; point ``row * side + col`` lies at ``(axis[col], axis[row])``.
    height_m : array, shape (side, side)
        Where it is NaN no step leads.
    m_per_min : float
        Metres a minute for each km/h of Tobler's function.
    walls : Walls
    n : int
        Size of the matrix; points of the grid come first.
    """
    side, cell_m = len(axis), float(axis[1] - axis[0])
    height = height_m.astype(np.float32)
    last = len(_WAYS) - 1
    minutes: Minutes = np.full((side, side, 2 * len(_WAYS)), _NEVER, dtype=np.float32)
    for k, (right, up) in enumerate(_WAYS):
        here, there = _pair(side, right, up)
        length = np.float32(np.hypot(right, up) * cell_m)
        slope = (height[there] - height[here]) / length
        unit = np.float32(length / DETOUR / m_per_min)
        minutes[(*here, last + 1 + k)] = unit / tobler_kmh(slope)
        minutes[(*there, last - k)] = unit / tobler_kmh(-slope)
    if walls.any:
        _close(minutes, axis, walls)
    return _matrix(minutes, n)


def _pair(side: int, right: int, up: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Points from which a step stays on the grid, and the points it leads to."""
    west, east = slice(max(-right, 0), side - max(right, 0)), slice(max(right, 0), side - max(-right, 0))
    return (slice(0, side - up), west), (slice(up, side), east)


def _close(minutes: Minutes, axis: Floats, walls: Walls) -> None:
    """Take out the steps that a barrier stops."""
    n = len(_WAYS)
    for lines, passable in ((walls.fences, True), (walls.shores, False)):
        for part in np.array_split(np.arange(len(lines.start)), len(lines.start) // _AT_ONCE + 1):
            for way, (right, up) in enumerate(_WAYS):
                col, row, at = _met(lines.start[part], lines.end[part], axis, right, up)
                if passable:
                    shut = ~walls.at_opening(at)
                    col, row = col[shut], row[shut]
                minutes[row, col, n + way] = minutes[row + up, col + right, n - 1 - way] = _NEVER


def _met(a: Floats, b: Floats, axis: Floats, right: int, up: int) -> tuple[Ints, Ints, Floats]:
    """Column and row of the steps of one way that meet pieces of barriers from ``a`` to ``b``, and where.

    Steps of one way follow each other on straight lines, a whole number k = col * up - row * right apart: a
    piece meets the lines between its ends, each at one place, and there one step, or two where they join.
    """
    side, cell_m = len(axis), axis[1] - axis[0]
    a, b = (a - axis[0]) / cell_m, (b - axis[0]) / cell_m
    from_k, to_k = (p[:, 0] * up - p[:, 1] * right for p in (a, b))
    low = np.ceil(np.minimum(from_k, to_k) - _SLACK).astype(np.int64)
    high = np.floor(np.maximum(from_k, to_k) + _SLACK).astype(np.int64)
    # A piece that runs along the steps is met by others; its ends are met with its neighbours.
    aslant = np.abs(to_k - from_k) > _FLAT
    piece, k = ragged(low, np.where(aslant, np.maximum(high - low + 1, 0), 0))
    share = (k - from_k[piece]) / (to_k - from_k)[piece]
    x, y = (a[piece] + share[:, None] * (b - a)[piece]).T
    first_col, first_row = _unit(right, up)
    along = ((x - k * first_col) * right + (y - k * first_row) * up) / (right**2 + up**2)
    # Both where one step ends and the next begins.
    step = np.floor(np.stack([along - _SLACK, along + _SLACK])).astype(np.int64)
    twice = np.concatenate([np.arange(len(k)), np.flatnonzero(step[0] != step[1])])
    step = np.concatenate([step[0], step[1, twice[len(k) :]]])
    col, row = k[twice] * first_col + step * right, k[twice] * first_row + step * up
    on = (np.minimum(col, col + right) >= 0) & (np.maximum(col, col + right) < side)
    on &= (row >= 0) & (row + up < side)
    at = axis[0] + cell_m * np.stack([x, y], axis=1)[twice[on]]
    return col[on], row[on], at


@lru_cache
def _unit(right: int, up: int) -> tuple[int, int]:
    """Column and row of a point of the first line: col * up - row * right = 1."""
    near = range(-2, 3)
    return next((col, row) for col in near for row in near if col * up - row * right == 1)


def _matrix(minutes: Minutes, n: int) -> csr_array:
    side = len(minutes)
    flat = minutes.reshape(side * side, -1)
    open_ = np.isfinite(flat)
    first = np.full(n + 1, np.count_nonzero(open_), dtype=np.int32)
    first[0] = 0
    first[1 : side * side + 1] = np.cumsum(open_.sum(axis=1, dtype=np.int32))
    shift = np.array([up * side + right for right, up in _WAYS], dtype=np.int32)
    shift = np.concatenate([-shift[::-1], shift])
    to = np.arange(side * side, dtype=np.int32)[:, None] + shift
    return csr_array((flat[open_], to[open_], first), shape=(n, n))
