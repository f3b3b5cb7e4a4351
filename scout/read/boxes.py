"""The boxes that records are asked by: few, in the layer's own system, then exactly in degrees."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from scout.read.crs import Datum
from scout.read.tables import Box

__all__ = ["TURNS", "asked", "meets", "thrifty", "together"]

TURNS = (-360.0, 0.0, 360.0)  # longitudes of one place may differ by a turn, see RFC 7946 section 3.1.9
_MOST = 32  # boxes a file is asked for one by one


def together(boxes: Sequence[Box], most: int = _MOST) -> list[Box]:
    """Few boxes that hold all of many: those that meet become one, then also those that are close."""
    reach, found = 0.0, list(boxes)
    while found:
        found = _merged(found, reach)
        if len(found) <= most:
            break
        reach = max(2 * reach, 0.05)
    return found


def _merged(boxes: Sequence[Box], reach_deg: float) -> list[Box]:
    while True:
        grown = np.asarray(boxes, dtype=float) + reach_deg * np.array([-1.0, -1.0, 1.0, 1.0])
        shapes = shapely.box(*grown.T)
        first, second = shapely.STRtree(shapes).query(shapes)
        links = coo_array((np.ones(len(first)), (first, second)), shape=(len(boxes), len(boxes)))
        count, group = connected_components(links, directed=False)
        if count == len(boxes):
            return list(boxes)
        west, south, east, north = np.asarray(boxes, dtype=float).T
        sides = [np.full(count, np.inf), np.full(count, np.inf), np.full(count, -np.inf)]
        sides.append(sides[2].copy())
        for side, values, fold in zip(
            sides, (west, south, east, north), (np.minimum, np.minimum, np.maximum, np.maximum), strict=True
        ):
            fold.at(side, group, values)
        boxes = [(float(a), float(b), float(c), float(d)) for a, b, c, d in zip(*sides, strict=True)]


def thrifty(boxes: Sequence[Box]) -> list[Box]:
    """Boxes that hold all of many: two become one only where that is no more ground to read."""
    found = np.unique(np.asarray(boxes, dtype=float).reshape(-1, 4), axis=0)
    while True:
        shapes = shapely.box(*found.T)
        first, second = shapely.STRtree(shapes).query(shapes)
        first, second = first[first < second], second[first < second]
        low = np.minimum(found[first, :2], found[second, :2])
        high = np.maximum(found[first, 2:], found[second, 2:])
        size = shapely.area(shapes)
        saved = size[first] + size[second] - (high - low).prod(axis=1)
        used, made = np.zeros(len(found), dtype=bool), []
        for k in np.argsort(-saved, kind="stable").tolist():
            if saved[k] >= 0 and not used[first[k]] and not used[second[k]]:
                used[[first[k], second[k]]] = True
                made.append([*low[k], *high[k]])
        if not made:
            return [(float(a), float(b), float(c), float(d)) for a, b, c, d in found]
        found = np.unique(np.concatenate([found[~used], np.array(made)]), axis=0)


def asked(bounds: Box, datum: Datum, turned: bool = True) -> list[Box | None]:
    """Boxes in the layer's system that together hold all that meets the bounds; more does no harm.

    Parameters
    ----------
    bounds : tuple of float
        Degrees.
    datum : Datum
    turned : bool
        Whether the layer may have longitudes beyond 180, so that each turn is asked for; else
        it is in WGS 84.
    """
    west, south, east, north = bounds
    if datum.geographic:
        # Degrees: more than any two datums are apart, where there are two.
        pad, unit = 0.05 if turned else 1e-6, datum.quarter_turn / 90
        boxes = [(west + t - pad, south - pad, east + t + pad, north + pad) for t in TURNS]
        kept = [box for box in boxes if turned or (box[0] <= 180 and box[2] >= -180)]
        return [(a * unit, b * unit, c * unit, d * unit) for a, b, c, d in kept]
    forward = pyproj.Transformer.from_crs("EPSG:4326", datum.crs, always_xy=True)
    a, b, c, d = forward.transform_bounds(west, south, east, north, densify_pts=51)
    pad = 0.02 * max(c - a, d - b) + 5000
    box = (a - pad, b - pad, c + pad, d + pad)
    return [box if np.isfinite(box).all() and a < c else None]


def meets(shapes: NDArray[np.object_], boxes: Sequence[Box]) -> NDArray[np.bool_]:
    """Whether the bounds of each shape meet one of the boxes, longitudes taken modulo a turn."""
    sides = np.concatenate([np.add(boxes, [t, 0.0, t, 0.0]) for t in TURNS])
    met, _ = shapely.STRtree(shapely.box(*sides.T)).query(shapes)
    held: NDArray[np.bool_] = np.zeros(len(shapes), dtype=bool)
    held[met] = True
    return held
