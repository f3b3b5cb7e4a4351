"""Where in a recording the receiver stood still: the longest spell that stays within a circle."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Stay", "longest_stay"]

Floats = NDArray[np.float64]

_SPELL_S = 15.0  # long enough to walk out of the scatter of single fixes, short enough to lose little
_SPELLS_AT_MOST = 240
_GAP_S = 300.0  # a longer silence ends a standstill: nobody knows where the receiver was
_INSIDE = 0.9  # of the spells: a burst of reflections is no walk


class Stay(NamedTuple):
    """The fixes of a standstill, outliers and all."""

    inside: NDArray[np.bool_]
    whole: bool  # it is all of the recording


def longest_stay(time_s: Floats, points: Floats, within_m: float) -> Stay:
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
    spell, start, end, place, piece = _spells(time_s, points)
    n = len(place)
    near = np.hypot(*(place - np.median(place, axis=0)).T)
    best = (0, 0)
    for middle in np.argsort(near):  # if all of it is one standstill, the first of them shows it
        inside = np.hypot(*(place - place[middle]).T) <= within_m
        best = max(best, _longest_run(inside, start, end, piece), key=lambda run: end[run[1]] - start[run[0]])
        if best == (0, n - 1):
            break
    return Stay((spell >= best[0]) & (spell <= best[1]), best == (0, n - 1))


def _spells(
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


def _longest_run(
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
