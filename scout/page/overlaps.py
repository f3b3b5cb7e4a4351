"""Where parks overlap, and how deep."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.outlines import polygonal_parts

__all__ = ["overlaps"]


def overlaps(shapes: NDArray[Any]) -> tuple[Any, Any]:
    """Ground that exactly two of the shapes cover, and ground that three or more do.

    Parameters
    ----------
    shapes : array of valid Polygon or MultiPolygon, shape (n,)
    """
    _, twice, thrice = _depths(_overlapping(shapes))
    return polygonal_parts(shapely.difference(twice, thrice)), thrice


def _overlapping(shapes: NDArray[Any]) -> list[Any]:
    """The shapes that share area with another, from west to east."""
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, other = one[one < other], other[one < other]
    shared = shapely.area(shapely.intersection(shapes[one], shapes[other])) > 0
    some = np.unique(np.concatenate([one[shared], other[shared]]))
    return list(shapes[some[np.argsort(shapely.bounds(shapes[some])[:, 0], kind="stable")]])


def _depths(shapes: list[Any]) -> tuple[Any, Any, Any]:
    """Ground covered at least once, twice and three times."""
    nothing = shapely.Polygon()
    if not shapes:
        return nothing, nothing, nothing
    if len(shapes) == 1:
        return shapes[0], nothing, nothing
    middle = len(shapes) // 2
    a1, a2, a3 = _depths(shapes[:middle])
    b1, b2, b3 = _depths(shapes[middle:])
    both = _shared(a1, b1)
    return (
        shapely.union(a1, b1),
        shapely.union_all([a2, b2, both]),
        shapely.union_all([a3, b3, _shared(a2, b1), _shared(a1, b2)]),
    )


def _shared(one: Any, other: Any) -> Any:
    """The ground of both, without the lines along which they touch."""
    return polygonal_parts(shapely.intersection(one, other))
