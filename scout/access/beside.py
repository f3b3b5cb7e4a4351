"""What records mean to each other: tracks that leave busy roads, buildings around the places of cars."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from scout.access.tags import Texts
from scout.geodesy import degree_lengths
from scout.surroundings import CROSSING, DRIVE, NAME, WALK, WHAT

__all__ = ["mouths", "walled"]

_JOINED_DEG = 2e-5  # about 2 m: ways that meet share a point in OpenStreetMap, not in every schema
_MOUTH_M = 15.0  # of a track, where a car stands off the road


def mouths(side: gpd.GeoDataFrame, busy: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The first metres of side ways where they leave busy roads, as ways along which a car may stop.

    Parameters
    ----------
    side, busy : GeoDataFrame
        Lines with their names.

    Returns
    -------
    GeoDataFrame
        With the columns of ways; each bears the name of the road it leaves.
    """
    lines, roads = side.geometry.to_numpy(), busy.geometry.to_numpy()
    line, road = shapely.STRtree(roads).query(lines, "dwithin", _JOINED_DEG)
    points, pair = shapely.get_coordinates(lines[line], return_index=True)
    at = np.flatnonzero(shapely.dwithin(shapely.points(points), roads[road[pair]], _JOINED_DEG))
    shapes: list[Any] = []
    rows: list[int] = []
    for step in (-1, 1):
        other = at + step
        inside = (other >= 0) & (other < len(pair))
        here, there = at[inside], other[inside]
        here, there = here[pair[here] == pair[there]], there[pair[here] == pair[there]]
        shapes += list(_first_metres(points[here], points[there]))
        rows += road[pair[here]].tolist()
    names: Texts = busy[NAME].to_numpy(dtype=object)[rows]
    yes, no = np.ones(len(rows), dtype=bool), np.zeros(len(rows), dtype=bool)
    columns = {
        WHAT: np.full(len(rows), "track", dtype=object),
        NAME: names,
        WALK: yes,
        DRIVE: yes,
        CROSSING: no,
    }
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")


def _first_metres(here: Any, there: Any) -> Any:
    east, north = degree_lengths(here[:, 1])
    along = there - here
    metres = np.maximum(np.hypot(along[:, 0] * east, along[:, 1] * north), 1e-6)
    ends = here + along * np.minimum(_MOUTH_M / metres, 1.0)[:, None]
    return shapely.linestrings(np.stack([here, ends], axis=1))


def walled(buildings: Any, starts: Any) -> Any:
    """Buildings but those that hold a place where walks start: a car park has a way out."""
    held = np.zeros(len(buildings), dtype=bool)
    held[shapely.STRtree(buildings).query(starts, predicate="intersects")[1]] = True
    return buildings[~held]
