"""What is missing near home: parks within a radius, the grids they reach into, what was done of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.geodesy import degree_lengths, inverse, move
from scout.locator import LEVELS, SNAP_DEG, columns, edge_lat, edge_lon, locator, rows
from scout.model import GEOMETRY, PARK_ID, PARK_NAME, Parks
from scout.tally.done import Done

__all__ = ["ParkReach", "missing"]

_CORNERS = 180  # of the polygon that stands for the circle
_MOST_CELLS = 200_000  # looked at per park


@dataclass(frozen=True, slots=True)
class ParkReach:
    """One park within the radius."""

    park: str
    name: str
    distance_km: float  # from home to its nearest ground; 0 where home lies in it
    grids: tuple[str, ...]  # those it reaches into within the radius
    open_grids: tuple[str, ...]  # of these, the ones not yet done together with the park
    visited: bool


def missing(parks: Parks, so_far: Done, home: tuple[float, float], within_km: float) -> tuple[ParkReach, ...]:
    """The parks within a radius of home, the nearest first.

    Parameters
    ----------
    parks : Parks
    so_far : Done
        Its level is that of the grids.
    home : tuple of float
        Longitude and latitude, degrees.
    within_km : float

    Raises
    ------
    InputError
        A park spans more cells than can be looked at: the level is too fine for it.
    """
    disc = _disc(home, within_km * 1000.0)
    frame = parks.frame
    found = []
    for row, ground in _near(frame[GEOMETRY].to_numpy(), disc):
        park, name = str(frame[PARK_ID].iloc[row]), str(frame[PARK_NAME].iloc[row])
        grids = _cells(ground, so_far.level, park)
        still = tuple(grid for grid in grids if (grid, park) not in so_far.pairs)
        km = _distance_km(home, ground)
        found.append(ParkReach(park, name, km, grids, still, park in so_far.parks))
    return tuple(sorted(found, key=lambda reach: (reach.distance_km, reach.park)))


def _disc(home: tuple[float, float], radius_m: float) -> Any:
    """The ground within a radius, a polygon whose longitudes run on from home's."""
    lon, lat = home
    tall = math.degrees(radius_m / 6_300_000.0)
    if abs(lat) + tall >= 90.0 or radius_m >= 9_000_000.0:
        # Round a pole every longitude is near; distances then decide nothing more.
        south, north = max(lat - tall, -90.0), min(lat + tall, 90.0)
        return shapely.box(lon - 180.0, south, lon + 180.0, north)
    # Corners a little outside, so that the edges between them do not cut the circle.
    far = radius_m / math.cos(math.pi / _CORNERS)
    x, y = move(np.full(_CORNERS, lon), np.full(_CORNERS, lat), np.arange(_CORNERS) * 360.0 / _CORNERS, far)
    return shapely.polygons(np.column_stack([lon + (x - lon + 180.0) % 360.0 - 180.0, y]))


def _near(geometry: NDArray[Any], disc: Any) -> Iterator[tuple[int, Any]]:
    """Numbers of the parks that reach into the disc, and the part of them that does."""
    bounds = shapely.bounds(geometry)
    west, south, east, north = disc.bounds
    tall = (bounds[:, 1] <= north) & (bounds[:, 3] >= south)
    pieces: dict[int, list[Any]] = {}
    for turn in (-360.0, 0.0, 360.0):
        # Rather the disc than every park is taken round the globe.
        turned = shapely.transform(disc, lambda xy, by=(turn, 0.0): xy - np.array(by))
        wide = (bounds[:, 0] + turn <= east) & (bounds[:, 2] + turn >= west)
        numbers = np.flatnonzero(tall & wide)
        for row, part in zip(numbers.tolist(), shapely.intersection(geometry[numbers], turned), strict=True):
            if shapely.area(part) > 0:
                pieces.setdefault(row, []).append(part)
    for row in sorted(pieces):
        yield row, shapely.union_all(pieces[row])


def _cells(ground: Any, level: int, park: str) -> tuple[str, ...]:
    """Locators of the cells that the ground covers some of, south row first."""
    west, south, east, north = ground.bounds
    per_lon, per_lat = columns(level) / 360.0, rows(level) / 180.0
    i = np.arange(math.floor((west + 180.0) * per_lon), math.ceil((east + 180.0) * per_lon) + 1)
    j = np.arange(
        math.floor((south + 90.0) * per_lat), min(math.ceil((north + 90.0) * per_lat) + 1, rows(level))
    )
    if len(i) * len(j) > _MOST_CELLS:
        raise InputError(
            f"level {LEVELS[level - 1]}",
            f"{park} spans {len(i) * len(j):,} cells",
            "take a coarser level",
        )
    column, row = (axis.ravel() for axis in np.meshgrid(i, j))
    shapely.prepare(ground)
    # A little smaller, so that a cell the ground only touches is none of it.
    boxes = shapely.box(
        edge_lon(column, level) + SNAP_DEG,
        edge_lat(row, level) + SNAP_DEG,
        edge_lon(column + 1, level) - SNAP_DEG,
        edge_lat(row + 1, level) - SNAP_DEG,
    )
    inside = shapely.intersects(ground, boxes)
    texts: list[str] = np.atleast_1d(locator(column[inside], row[inside], level)).tolist()
    return tuple(dict.fromkeys(texts))


def _distance_km(home: tuple[float, float], ground: Any) -> float:
    """From home to the nearest ground; the nearest point is sought with degrees made equally long."""
    per_lon, per_lat = degree_lengths(min(abs(home[1]), 89.9))
    narrow = float(per_lon / per_lat)
    flat = shapely.transform(ground, lambda xy: xy * np.array([narrow, 1.0]))
    distances_m = []
    for turn in (-360.0, 0.0, 360.0):
        line = shapely.shortest_line(shapely.Point((home[0] + turn) * narrow, home[1]), flat)
        x, y = shapely.get_coordinates(line)[-1]
        distances_m.append(float(inverse(*home, x / narrow, y)[0]))
    return min(distances_m) / 1000.0
