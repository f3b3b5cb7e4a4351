"""Longitudes made continuous across the antimeridian, whichever way a file has cut its parks there."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.outlines import polygonal_parts

__all__ = ["continuous"]

_NEAR_DEG = 1e-9  # 0.1 mm: what counts as lying on the antimeridian
_REACH_DEG = 200.0  # how far a park that goes all the way round is drawn on either side


def continuous(geometries: NDArray[Any]) -> NDArray[np.object_]:
    """Parks so that each runs on across 180 instead of being cut there.

    Parameters
    ----------
    geometries : array of Polygon or MultiPolygon
        Valid, in degrees; cut at 180 (RFC 7946, section 3.1.9) or running past 180 or -180.

    Returns
    -------
    array of Polygon or MultiPolygon
        Valid. The least longitude is in [-180, 180); a park that crosses runs past 180, and no edge lies on
        the cut. A park that goes all the way round, such as a polar cap, is drawn from -200 to 200 instead,
        more than a full turn, so that 180 lies inside; its edges at -200, 200 and along the pole are no
        boundary. That is the only case of bounds wider than 360 degrees.
    """
    result = np.array(geometries, dtype=object)
    bounds = shapely.bounds(result)
    reaching = (bounds[:, 0] < -180 + _NEAR_DEG) | (bounds[:, 2] > 180 - _NEAR_DEG)
    for row in np.flatnonzero(reaching).tolist():
        result[row] = _continuous(result[row])
    return result


def _continuous(geometry: shapely.Geometry) -> shapely.Geometry:
    snapped = shapely.transform(geometry, _snapped)
    parts = [_home(part) for part in shapely.get_parts(snapped)]
    bounds = shapely.bounds(parts)
    to_180 = (bounds[:, 2] >= 180).any()
    from_180 = (bounds[:, 0] == -180).any() or (bounds[:, 2] > 180).any()
    if to_180 and from_180:
        left = bounds[:, 0] + bounds[:, 2] < 0
        parts = [_turned(part, 1) if west else part for part, west in zip(parts, left, strict=True)]
    whole = shapely.union_all(parts) if len(parts) > 1 else parts[0]
    west, _, east, _ = whole.bounds
    if east - west >= 360 - _NEAR_DEG:
        whole = polygonal_parts(_all_round(whole))
    # Adding 360 rounds coordinates: vertices a hair apart may have changed places.
    return (
        whole
        if whole.is_valid
        else polygonal_parts(shapely.make_valid(whole, method="structure", keep_collapsed=False))
    )


def _snapped(points: NDArray[np.float64]) -> NDArray[np.float64]:
    seam = 360 * np.round((points[:, 0] - 180) / 360) + 180
    near = np.abs(points[:, 0] - seam) < _NEAR_DEG
    return np.column_stack([np.where(near, seam, points[:, 0]), points[:, 1]])


def _home(part: shapely.Geometry) -> shapely.Geometry:
    """A part with its least longitude in [-180, 180)."""
    turns = -int(np.floor((part.bounds[0] + 180) / 360))
    return _turned(part, turns) if turns else part


def _turned(part: shapely.Geometry, turns: int) -> shapely.Geometry:
    return shapely.transform(part, lambda points: points + np.array([360.0 * turns, 0.0]))


def _all_round(whole: shapely.Geometry) -> shapely.Geometry:
    turned = shapely.union_all([_turned(whole, turns) for turns in (-2, -1, 0, 1, 2)])
    return shapely.intersection(turned, shapely.box(-_REACH_DEG, -90, _REACH_DEG, 90))
