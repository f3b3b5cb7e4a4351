"""Outlines to look at: coarse enough to be sent and drawn at once, never to be judged by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.model import GEOMETRY, PARK_ID, PARK_NAME, Parks

__all__ = ["ground_picture", "parks_picture"]

_SHAPES = 4000  # the largest of them
_VERTICES = 60_000
_FINEST = 1 / 4000  # of the picture's width


def parks_picture(parks: Parks | None) -> dict[str, Any] | None:
    """Outlines of parks.

    Returns
    -------
    dict
        ``bounds`` as west, south, east, north in degrees; ``parks`` with a name and rings of flat
        latitude, longitude pairs; ``more`` counts the smallest, which were left out.
    """
    if parks is None or not len(parks.frame):
        return None
    geometry: NDArray[Any] = parks.frame[GEOMETRY].to_numpy()
    bounds = [round(float(edge), 6) for edge in parks.frame.total_bounds]
    largest = np.argsort(-shapely.area(geometry), kind="stable")[:_SHAPES]
    rings = _coarse(shapely.boundary(geometry[largest]), max(bounds[2] - bounds[0], bounds[3] - bounds[1]))
    names = parks.frame[PARK_NAME].to_numpy(), parks.frame[PARK_ID].to_numpy()
    return {
        "bounds": bounds,
        "parks": [
            {"name": str(names[0][k] or names[1][k]), "rings": _flat(ring)}
            for k, ring in zip(largest.tolist(), rings, strict=True)
        ],
        "more": len(geometry) - len(largest),
    }


def ground_picture(frames: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Lines and areas of access data by the word for them."""
    drawn = []
    for what, frame in frames.items():
        geometry: NDArray[Any] = frame.geometry.to_numpy()
        shapes = geometry[np.argsort(-shapely.length(geometry), kind="stable")[:_SHAPES]]
        lines = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
        extent = shapely.total_bounds(shapes) if len(shapes) else np.zeros(4)
        width = float(max(extent[2] - extent[0], extent[3] - extent[1]))
        for one in _coarse(lines, width):
            drawn += [{"what": what, "line": line} for line in _flat(one)]
    return drawn


def _coarse(lines: NDArray[Any], width: float) -> NDArray[Any]:
    """Lines of no more vertices than a browser draws at once."""
    tolerance = width * _FINEST
    found: NDArray[Any] = shapely.simplify(lines, tolerance)
    while tolerance and shapely.get_num_coordinates(found).sum() > _VERTICES and tolerance < width / 20:
        tolerance *= 2
        found = shapely.simplify(lines, tolerance)
    return found


def _flat(shape: Any) -> list[list[float]]:
    """Each part as latitude, longitude, latitude, longitude ..."""
    parts = shapely.get_parts(shape)
    return [np.round(shapely.get_coordinates(part)[:, ::-1], 6).ravel().tolist() for part in parts]
