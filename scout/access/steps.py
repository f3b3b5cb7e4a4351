"""Steps over open ground: a grid, sixteen ways from each point, timed by the slope in their direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from scout.access.pace import tobler_kmh
from scout.access.walls import Walls

__all__ = ["DETOUR", "steps"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Minutes = NDArray[np.float32]

# Sixteen ways overstate a straight walk by 0 to 2.75 % (1 / cos 13.28 deg): taken off by half.
DETOUR = 1.0136
# Right and up, in the order of the numbers of the points they lead to; the opposites come first.
_WAYS = ((1, 0), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (-1, 2), (1, 2))
_REACH = 3  # cells from a piece of barrier no longer than a cell to a point whose step may meet it
_AT_ONCE = 2000  # pieces
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
    n, cell_m = len(_WAYS), float(axis[1] - axis[0])
    for lines, passable in ((walls.fences, True), (walls.shores, False)):
        a, b = lines.cut(cell_m)
        for part in np.array_split(np.arange(len(a)), len(a) // _AT_ONCE + 1):
            col, row, way, at = _met(a[part], b[part], axis)
            if passable:
                shut = ~walls.at_opening(at)
                col, row, way = col[shut], row[shut], way[shut]
            right, up = np.array(_WAYS)[way].T
            minutes[row, col, n + way] = minutes[row + up, col + right, n - 1 - way] = _NEVER


def _met(a: Floats, b: Floats, axis: Floats) -> tuple[Ints, Ints, Ints, Floats]:
    """Column, row and way of the steps that meet short pieces of barriers, from ``a`` to ``b``, and where."""
    side, cell_m, ways = len(axis), axis[1] - axis[0], np.array(_WAYS)
    near = np.arange(-_REACH, _REACH + 1)
    middle = np.rint(((a + b) / 2 - axis[0]) / cell_m).astype(np.int64)
    col = (middle[:, 0, None, None, None] + near[None, :, None, None]) + np.zeros(
        (1, 1, len(near), len(ways)), int
    )
    row = (middle[:, 1, None, None, None] + near[None, None, :, None]) + np.zeros(
        (1, len(near), 1, len(ways)), int
    )
    way = np.broadcast_to(np.arange(len(ways)), col.shape)
    to_col, to_row = col + ways[:, 0], row + ways[:, 1]
    on = (np.minimum(col, to_col) >= 0) & (np.maximum(col, to_col) < side) & (row >= 0) & (to_row < side)
    piece = np.broadcast_to(np.arange(len(a))[:, None, None, None], col.shape)[on]
    col, row, way = col[on], row[on], way[on]
    from_x, from_y = axis[0] + col * cell_m - a[piece, 0], axis[0] + row * cell_m - a[piece, 1]
    along_x, along_y = (ways[way] * cell_m).T
    wall_x, wall_y = (b - a)[piece].T
    # From a to b by the share s, along the step by the share t, they meet: Cramer's rule.
    turn = along_x * wall_y - along_y * wall_x
    flat = np.abs(turn) < 1e-9
    turn = np.where(flat, 1.0, turn)
    s = (along_x * from_y - along_y * from_x) / turn
    t = (wall_x * from_y - wall_y * from_x) / turn
    slack = 1e-6
    meet = ~flat & (s >= -slack) & (s <= 1 + slack) & (t >= -slack) & (t <= 1 + slack)
    at = a[piece[meet]] + s[meet, None] * (b - a)[piece[meet]]
    return col[meet], row[meet], way[meet], at


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
