"""Work on all cores: numpy and GEOS let go of the interpreter lock in their long calls."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

CORES = os.cpu_count() or 1
_ROWS = 500

T = TypeVar("T")
R = TypeVar("R")


def map_on_threads(work: Callable[[T], R], pieces: Sequence[T]) -> list[R]:
    """Results of a function over pieces of work, in their order."""
    if CORES == 1 or len(pieces) < 2:
        return [work(piece) for piece in pieces]
    with ThreadPoolExecutor(CORES) as pool:
        return list(pool.map(work, pieces))


def map_rows(
    work: Callable[..., Any], *columns: Any, apart: NDArray[np.int64] | None = None, most: int = _ROWS
) -> Any:
    """A vectorised GEOS call over rows, in pieces of a few hundred, or of ``most`` where that is fewer.

    Rows alike in ``apart`` stay in one piece: no two threads may build the index of one prepared shape.
    """
    n = len(columns[0])
    step = max(1, min(most, _ROWS))
    cuts = np.arange(step, n, step)
    if apart is not None and n:
        heads = np.flatnonzero(np.diff(apart, prepend=apart[0] - 1))
        cuts = np.unique(heads[np.searchsorted(heads, cuts, "right") - 1])
        cuts = cuts[cuts > 0]
    ends = [0, *cuts.tolist(), n]
    done = map_on_threads(
        lambda rows: work(*(c[rows] for c in columns)), [slice(i, j) for i, j in pairwise(ends)]
    )
    return np.concatenate(done)
