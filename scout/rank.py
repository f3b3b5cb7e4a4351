"""Filters and order: what is listed, in which order, and why the rest is not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.confidence import DOUBTFUL, FIRM
from scout.model import LeftOut

__all__ = ["Filters", "Terms", "listed", "ordered"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Terms(NamedTuple):
    """What places are filtered and sorted by, one row per place."""

    n_grids: Ints
    n_parks: Ints  # parks that hold the place; for a near miss the one it misses
    confidence: Floats
    clearance_m: Floats  # minus the distance for a near miss
    is_corner: NDArray[np.bool_]
    is_near_miss: NDArray[np.bool_]
    in_area: NDArray[np.bool_]
    in_parks: NDArray[np.bool_]  # among the parks asked for
    home_km: Floats  # NaN without a home
    new_pairs: Ints  # of the yield, what is still missing; all of it without a notebook
    new_others: Ints  # grids and parks still missing
    walk_min: Floats  # NaN where not worked out, infinite out of reach
    lon: Floats
    lat: Floats
    claim: tuple[Ints, Ints, Ints]  # cells claimed: the numbers of their line or corner, and which they are


@dataclass(frozen=True, slots=True)
class Filters:
    """What the user wants to see."""

    min_grids: int = 1
    min_parks: int = 1
    min_confidence: float = DOUBTFUL
    within_km: float | None = None


def listed(terms: Terms, filters: Filters) -> tuple[Ints, tuple[LeftOut, ...]]:
    """Rows to list, in no order, and the rest counted by the first reason that leaves them out.

    Corners are never left out for their confidence: the place is what people look for, and the verdict
    says what it is worth.
    """
    weak = (terms.confidence < filters.min_confidence) & ~terms.is_corner & ~terms.is_near_miss
    reasons = [
        ("outside the area asked for", ~terms.in_area),
        (f"over {filters.within_km or 0:g} km from home", terms.home_km > (filters.within_km or np.inf)),
        ("in none of the parks asked for", ~terms.in_parks),
        (f"fewer than {filters.min_grids} grids", terms.n_grids < filters.min_grids),
        (f"fewer than {filters.min_parks} parks", terms.n_parks < filters.min_parks),
        (f"confidence under {filters.min_confidence:g}: too narrow for the station", weak),
    ]
    kept = np.ones(len(terms.n_grids), dtype=bool)
    left_out = []
    for reason, fails in reasons:
        dropped = np.count_nonzero(kept & fails)
        if dropped:
            left_out.append(LeftOut(reason, int(dropped)))
        kept &= ~fails
    return np.flatnonzero(kept), tuple(left_out)


def ordered(terms: Terms, rows: Ints) -> Ints:
    """Rows, best first.

    What is out of reach comes last of all, near misses before it; then the yield of what is still missing,
    the whole yield, verdict class, walking time (those not worked out after the others), clearance; then the
    place, so that runs agree.
    """
    grade = (terms.confidence < FIRM).astype(np.int8) + (terms.confidence < DOUBTFUL)
    pairs = (terms.n_grids * terms.n_parks).astype(np.int32)
    columns: tuple[tuple[NDArray[Any], int], ...] = (
        *((claim.astype(np.int32), 1) for claim in terms.claim),  # two lines may meet at one place
        (terms.lon, 1),
        (terms.lat, 1),
        (terms.clearance_m, -1),
        (terms.walk_min, 1),
        (grade, 1),
        (pairs, -1),
        (terms.new_others, -1),
        (terms.new_pairs, -1),
        (terms.is_near_miss, 1),
        (np.isinf(terms.walk_min), 1),
    )
    keys = [sign * column[rows] for column, sign in columns if not _alike(column[rows])]
    return rows[np.lexsort(keys)] if keys else rows


def _alike(column: NDArray[Any]) -> bool:
    """Whether there is nothing to sort by; many terms have one value only, and each costs a pass."""
    return bool((column == column[:1]).all() or (column != column).all())
