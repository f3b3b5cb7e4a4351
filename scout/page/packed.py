"""Outlines as short texts: whole numbers in a 64-letter alphabet, which JSON carries as they are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scout.outlines import ragged

__all__ = ["pack"]

_LETTERS = np.frombuffer(b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_", dtype=np.uint8)
_BITS = 5  # per letter; the sixth says that more letters follow
_MOST_LETTERS = 9  # 45 bits: a full turn in units of 1e-8 degree takes 38


def pack(ring: NDArray[np.int64], loose: NDArray[np.bool_] | None = None) -> str:
    """A ring as text: for each vertex its step from the one before, east then north.

    A step ``n`` counts as ``2 n``, or ``-2 n - 1`` when negative. The eastward one is doubled once more, and
    one is added where the edge that begins here is loose. Five bits a letter, low ones first.

    Parameters
    ----------
    ring : array of int, shape (n, 2)
        The first vertex counts as a step from zero.
    loose : array of bool, shape (n,), optional
        Per vertex: the edge to the next one is not the outline's own.

    Examples
    --------
    >>> pack(np.array([[1, 2], [1, -14]]))
    '440V'
    """
    steps = np.diff(ring, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    counts = np.where(steps < 0, -2 * steps - 1, 2 * steps)
    counts[:, 0] = 2 * counts[:, 0] + (0 if loose is None else loose)
    values = counts.ravel()
    sizes = np.ones(len(values), dtype=np.int64)
    for more in range(1, _MOST_LETTERS):
        sizes += values >= 1 << (_BITS * more)
    row, place = ragged(np.zeros_like(sizes), sizes)
    letters = (values[row] >> (_BITS * place)) & ((1 << _BITS) - 1)
    letters += (place < sizes[row] - 1) << _BITS
    text: bytes = _LETTERS[letters].tobytes()
    return text.decode("ascii")
