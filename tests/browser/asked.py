"""Places to ask about: anywhere, and within some metres of boundaries, lattice lines and corners."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.geodesy import move_point
from scout.geo.locator import get_column_number, get_edge_lat, get_edge_lon, get_row_number

Places = NDArray[np.float64]  # shape (n, 2): longitude, latitude


def near_boundaries(geometries: Any, count: int, within_m: float, rng: np.random.Generator) -> Places:
    """Places no further than some metres from boundary points drawn by length."""
    lines = shapely.boundary(np.asarray(geometries))
    some = rng.choice(len(lines), count)
    at = shapely.line_interpolate_point(lines[some], rng.uniform(0, 1, count), normalized=True)
    return off(shapely.get_coordinates(at), within_m, rng)


def near_lattice(
    box: tuple[float, float, float, float], level: int, count: int, within_m: float, rng: np.random.Generator
) -> Places:
    """A third each near a meridian, a parallel and a corner, every tenth exactly on it."""
    places = anywhere(box, count, rng)
    lon = get_edge_lon(np.rint(get_column_number(places[:, 0], level)), level)
    lat = get_edge_lat(np.rint(get_row_number(places[:, 1], level)), level)
    which = np.arange(count) % 3
    places[which != 1, 0] = lon[which != 1]
    places[which != 0, 1] = lat[which != 0]
    moved = off(places, within_m, rng)
    exact = np.arange(count) % 10 == 0
    moved[exact] = places[exact]
    return moved


def anywhere(box: tuple[float, float, float, float], count: int, rng: np.random.Generator) -> Places:
    """Places in a box (west, south, east, north)."""
    west, south, east, north = box
    return np.column_stack([rng.uniform(west, east, count), rng.uniform(south, north, count)])


def off(places: Places, within_m: float, rng: np.random.Generator) -> Places:
    """Each place moved by up to some metres."""
    n = len(places)
    return np.column_stack(move_point(*places.T, rng.uniform(0, 360, n), rng.uniform(0, within_m, n)))
