"""What pairs of parks share, and how much of it there may be: a few kilobytes can make millions of pieces."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cores import by_rows
from scout.errors import InputError
from scout.outlines import Ints

__all__ = ["most_pieces", "refuse_pieces", "refuse_tangle", "share"]

Geometries = NDArray[Any]
_TANGLED, _TANGLED_EACH = 500_000, 50  # pairs times neighbours of both, at all and for each park
_PIECES, _PIECES_EACH = 50_000, 4  # what parks may share, at all and for each park
_MANY_PIECES = 500_000  # that a pair could make: from so many on its crossings are counted first
_AT_ONCE = 2_000  # edges whose crossings are counted at once


def most_pieces(parks: int) -> int:
    """Return how many pieces so many parks may share: each takes 0.4 to 0.8 ms to judge and to write."""
    return max(_PIECES, _PIECES_EACH * parks)


def refuse_tangle(a: Ints, b: Ints, parks: int) -> None:
    """Stop where everything lies over everything: regions of every set would have no end.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    near = np.bincount(np.concatenate([a, b]), minlength=parks)
    if int(np.minimum(near[a], near[b]).sum()) > max(_TANGLED, _TANGLED_EACH * parks):
        what = f"{len(a):,} pairs of the {parks:,} parks overlap: the same ground may be there many times"
        raise InputError(
            "overlaps", what, "join records with --id-column, or leave these out with --min-grids 2"
        )


def refuse_pieces(most: int) -> None:
    """Stop before more than ``most`` pieces are looked at.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    what = f"what parks share falls into more than {most:,} pieces"
    remedy = "look near one place (--home --within, or --area), or leave overlaps out with --min-grids 2"
    raise InputError("overlaps", what, remedy)


def share(left: Geometries, right: Geometries, most: int) -> Geometries:
    """Intersections, some at a time, so that too many pieces are refused before they are all made.

    Two combs of n teeth share n * n pieces: a few kilobytes make millions.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    sizes = [shapely.get_num_coordinates(some).astype(np.float64) for some in (left, right)]
    could = sizes[0] * sizes[1] / 4  # each piece has two crossings at least, and most have more
    for row in np.flatnonzero(could > _MANY_PIECES).tolist():
        could[row] = min(could[row], _count_crossings(left[row], right[row], 2 * most) / 2)
        if could[row] > most:
            refuse_pieces(most)
    lot = (np.cumsum(could) // _MANY_PIECES).astype(np.int64)
    made, count = [np.empty(0, dtype=object)], 0
    for rows in np.split(np.arange(len(left)), np.flatnonzero(np.diff(lot)) + 1):
        made.append(by_rows(shapely.intersection, left[rows], right[rows]))
        count += int(shapely.get_num_geometries(made[-1]).sum())
        if count > most:
            refuse_pieces(most)
    return np.concatenate(made)


def _count_crossings(one: Any, other: Any, most: int) -> int:
    """Count how often two outlines cross, until there are more than ``most``."""
    a, b = (shapely.bounds(shape) for shape in (one, other))
    box = [*np.maximum(a[:2], b[:2]), *np.minimum(a[2:], b[2:])]
    edges, others = (_edges_in(shape, box) for shape in (one, other))
    tree, count = shapely.STRtree(others), 0
    for start in range(0, len(edges), _AT_ONCE):
        count += tree.query(edges[start : start + _AT_ONCE], predicate="crosses").shape[1]
        if count > most:
            break
    return count


def _edges_in(shape: Any, box: Any) -> Geometries:
    """Edges of an outline whose bounds meet a box."""
    rings = shapely.get_rings(shapely.get_parts(shape))
    xy, of = shapely.get_coordinates(rings, return_index=True)
    ends = np.stack([xy[:-1], xy[1:]], axis=1)[of[:-1] == of[1:]]
    low, high = ends.min(axis=1), ends.max(axis=1)
    edges: Geometries = shapely.linestrings(ends[np.all((low <= box[2:]) & (high >= box[:2]), axis=1)])
    return edges
