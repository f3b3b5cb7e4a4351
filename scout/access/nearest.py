"""How far places are from where a car may be left, as the crow flies."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.access.tiles import tiles
from scout.access.window import Map, Window
from scout.surroundings import StartKind

__all__ = ["Nearest", "nearest_starts"]

Floats = NDArray[np.float64]


class Nearest(NamedTuple):
    """The nearest start of each place; infinitely far where none is near."""

    distance_m: Floats
    lon: Floats
    lat: Floats
    kind: list[StartKind]
    name: list[str]


def nearest_starts(lon: Floats, lat: Floats, world: Map, reach_m: float) -> Nearest:
    """Nearest parking, trailhead or road of places, sought to at least ``reach_m``."""
    n = len(lon)
    distance, at = np.full(n, np.inf), np.full((n, 2), np.nan)
    kind: list[StartKind] = [""] * n
    name = [""] * n
    for centre, rows in tiles(lon, lat, reach_m):
        window = Window.about(*centre, 1.8 * reach_m)
        starts, (roads, road_row) = world.starts(window), world.roads(window)
        shapes = np.concatenate([shapely.points(starts.x, starts.y), roads])
        if not len(shapes):
            continue
        places = shapely.points(*window.frame.forward(lon[rows], lat[rows]))
        tree = shapely.STRtree(shapes)
        (place, found), metres = tree.query_nearest(places, return_distance=True, all_matches=False)
        foot = shapely.get_point(shapely.shortest_line(places[place], shapes[found]), 1)
        distance[rows[place]] = metres
        at[rows[place]] = np.stack(window.frame.inverse(shapely.get_x(foot), shapely.get_y(foot)), axis=1)
        n_points = len(starts.row)
        for row, start in zip(rows[place].tolist(), found.tolist(), strict=True):
            named = world.start(int(starts.row[start])) if start < n_points else None
            kind[row], name[row] = named or world.road(int(road_row[start - n_points]))
    return Nearest(distance, at[:, 0], at[:, 1], kind, name)
