"""The shapes of a layer's records as single points, lines and areas, broken areas repaired."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.access.tags import Mask

__all__ = ["Parts", "Shapes"]

_POINT, _LINE, _RING, _AREA = 0, 1, 2, 3  # GEOS's numbers of types


class Parts(NamedTuple):
    """Single shapes and the records they come from."""

    shape: NDArray[np.object_]
    row: NDArray[np.int64]

    def of(self, rows: Mask) -> Parts:
        """Those of some records."""
        keep = rows[self.row]
        return Parts(self.shape[keep], self.row[keep])

    def with_(self, other: Parts) -> Parts:
        """Both."""
        return Parts(np.concatenate([self.shape, other.shape]), np.concatenate([self.row, other.row]))


class Shapes:
    """All parts of some geometries by dimension.

    Attributes
    ----------
    points, lines, areas : Parts
        Lines have a length, areas are valid polygons with an area.
    repaired, lost : int
        Areas mended; records without a shape that can be used.
    """

    def __init__(self, geometry: Any) -> None:
        shapes, row = shapely.get_parts(np.asarray(geometry, dtype=object), return_index=True)
        shapes, inner = shapely.get_parts(shapes, return_index=True)  # a collection may hold several
        every = Parts(shapes, row[inner])
        kind = shapely.get_type_id(shapes)
        self.points = _picked(every, (kind == _POINT) & ~shapely.is_empty(shapes))
        self.lines = _picked(every, np.isin(kind, (_LINE, _RING)) & (shapely.length(shapes) > 0))
        areas = _picked(every, kind == _AREA)
        broken = ~shapely.is_valid(areas.shape)
        self.areas = _sound(areas)
        self.repaired = int(broken.sum())
        kept = np.concatenate([part.row for part in (self.points, self.lines, self.areas)])
        self.lost = len(geometry) - len(np.unique(kept))

    def as_lines(self, rows: Mask) -> Parts:
        """Lines of some records: their own, and the outlines of their areas."""
        areas = self.areas.of(rows)
        outlines, inner = shapely.get_parts(shapely.boundary(areas.shape), return_index=True)
        return self.lines.of(rows).with_(Parts(outlines, areas.row[inner]))

    def as_areas(self, rows: Mask) -> tuple[Parts, Parts]:
        """Areas of some records, lines that end where they start among them; and the lines left over."""
        lines = self.lines.of(rows)
        closed = shapely.is_closed(lines.shape) & (shapely.get_num_coordinates(lines.shape) >= 4)
        rings = shapely.get_coordinates(lines.shape[closed])
        counts = shapely.get_num_coordinates(lines.shape[closed])
        made = shapely.polygons(shapely.linearrings(rings, indices=np.repeat(np.arange(len(counts)), counts)))
        areas = self.areas.of(rows).with_(_sound(Parts(np.atleast_1d(made), lines.row[closed])))
        return areas, _picked(lines, ~closed)


def _picked(parts: Parts, keep: Mask) -> Parts:
    return Parts(parts.shape[keep], parts.row[keep])


def _sound(areas: Parts) -> Parts:
    """Areas made valid, in single polygons; what has no area is left out."""
    broken = ~shapely.is_valid(areas.shape)
    if broken.any():
        mended = areas.shape.copy()
        mended[broken] = shapely.make_valid(areas.shape[broken], method="structure", keep_collapsed=False)
        shapes, inner = shapely.get_parts(mended, return_index=True)
        areas = Parts(shapes, areas.row[inner])
    return _picked(areas, (shapely.get_type_id(areas.shape) == _AREA) & (shapely.area(areas.shape) > 0))
