"""Steps over open ground: a grid, sixteen ways from each point, timed by the slope in their direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from scout.access.pace import tobler_kmh
from scout.access.walls import Walls

__all__ = ["DETOUR", "steps"]

Floats = NDArray[np.float64]
Minutes = NDArray[np.float32]

# Sixteen ways overstate a straight walk by 0 to 2.75 % (1 / cos 13.28 deg): taken off by half.
DETOUR = 1.0136
# Right and up, in the order of the numbers of the points they lead to; the opposites come first.
_WAYS = ((1, 0), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (-1, 2), (1, 2))
_REACH = 3  # cells from a point to any barrier that one of its steps may meet
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
    minutes: Minutes = np.full((side, side, 16), _NEVER, dtype=np.float32)
    for k, (right, up) in enumerate(_WAYS):
        here, there = _pair(side, right, up)
        length = np.float32(np.hypot(right, up) * cell_m)
        slope = (height[there] - height[here]) / length
        unit = np.float32(length / DETOUR / m_per_min)
        minutes[(*here, 8 + k)] = unit / tobler_kmh(slope)
        minutes[(*there, 7 - k)] = unit / tobler_kmh(-slope)
    if walls.any:
        _close(minutes, axis, walls)
    return _matrix(minutes, n)


def _pair(side: int, right: int, up: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Points from which a step stays on the grid, and the points it leads to."""
    west, east = slice(max(-right, 0), side - max(right, 0)), slice(max(right, 0), side - max(-right, 0))
    return (slice(0, side - up), west), (slice(up, side), east)


def _close(minutes: Minutes, axis: Floats, walls: Walls) -> None:
    """Take out the steps that a barrier stops."""
    side, cell_m = len(axis), axis[1] - axis[0]
    rows, cols = np.nonzero(_near(axis, walls))
    for k, (right, up) in enumerate(_WAYS):
        on = (rows + up < side) & (cols + right >= 0) & (cols + right < side)
        row, col = rows[on], cols[on]
        a = np.stack([axis[col], axis[row]], axis=1)
        stopped = walls.stop_steps(a, a + np.array([right, up]) * cell_m)
        row, col = row[stopped], col[stopped]
        minutes[row, col, 8 + k] = minutes[row + up, col + right, 7 - k] = _NEVER


def _near(axis: Floats, walls: Walls) -> NDArray[np.bool_]:
    """Points so near a barrier that one of their steps may meet it."""
    side, cell_m = len(axis), axis[1] - axis[0]
    cell = np.rint((walls.samples(cell_m / 2) - axis[0]) / cell_m).astype(np.int64)
    cell = cell[((cell >= -_REACH) & (cell < side + _REACH)).all(axis=1)] + _REACH
    near = np.zeros((side + 2 * _REACH,) * 2, dtype=bool)
    near[cell[:, 1], cell[:, 0]] = True
    for _ in range(_REACH):  # one cell wider all round each time
        near[:-1] |= near[1:]
        near[1:] |= near[:-1].copy()
        near[:, :-1] |= near[:, 1:]
        near[:, 1:] |= near[:, :-1].copy()
    return near[_REACH:-_REACH, _REACH:-_REACH]


def _matrix(minutes: Minutes, n: int) -> csr_array:
    side = len(minutes)
    flat = minutes.reshape(-1, 16)
    open_ = np.isfinite(flat)
    first = np.full(n + 1, np.count_nonzero(open_), dtype=np.int32)
    first[0] = 0
    first[1 : side * side + 1] = np.cumsum(open_.sum(axis=1, dtype=np.int32))
    shift = np.array([up * side + right for right, up in _WAYS], dtype=np.int32)
    shift = np.concatenate([-shift[::-1], shift])
    to = np.arange(side * side, dtype=np.int32)[:, None] + shift
    return csr_array((flat[open_], to[open_], first), shape=(n, n))
