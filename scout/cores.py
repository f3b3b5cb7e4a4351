"""Work on all cores: numpy and GEOS let go of the interpreter lock in their long calls."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["CORES", "on_cores"]

CORES = os.cpu_count() or 1

T = TypeVar("T")
R = TypeVar("R")


def on_cores(work: Callable[[T], R], pieces: Sequence[T]) -> list[R]:
    """Results of a function over pieces of work, in their order."""
    if CORES == 1 or len(pieces) < 2:
        return [work(piece) for piece in pieces]
    with ThreadPoolExecutor(CORES) as pool:
        return list(pool.map(work, pieces))
