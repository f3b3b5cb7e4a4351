"""Places in arrays: the parks near them, the lines near them, the cells a station there touches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout import confidence
from scout.containment import contained_p
from scout.geodesy import degree_lengths, inverse, wrap_lon
from scout.locator import column_number, columns, decode, edge_lat, edge_lon, index, row_number
from scout.outlines import Floats, Ints
from scout.verdict import FOUR, MERIDIAN, ONE, PARALLEL, THREE, Claims, Ground, touch_p

__all__ = [
    "Lattice",
    "Pairs",
    "candidates",
    "feet",
    "lattice_at",
    "near_pairs",
    "reaches",
    "share_of_cells",
    "touching",
]


class Pairs(NamedTuple):
    """Places and the parks near them, in the order of the places."""

    place: Ints
    park: Ints
    clearance_m: Floats
    edge_lon: Floats
    edge_lat: Floats
    p: Floats  # the whole station inside

    def rows(self, keep: NDArray[Any]) -> Pairs:
        """Some of the pairs."""
        return Pairs(*(column[keep] for column in self))


class Lattice(NamedTuple):
    """The nearest meridian and parallel of each place, and its offset from them in metres."""

    i: Ints
    j: Ints
    dx_m: Floats  # east of the meridian
    dy_m: Floats  # north of the parallel; huge where the nearest would be a pole


def candidates(tree: shapely.STRtree, lon: Floats, lat: Floats, near_m: Floats) -> tuple[Ints, Ints]:
    """Pairs of place and park whose bounds come within reach of each other."""
    per_lon = degree_lengths(np.minimum(np.abs(lat) + near_m / 110_574, 89.9))[0]
    dx, dy = 1.01 * near_m / per_lon, 1.01 * near_m / 110_574
    found = [
        np.stack(tree.query(shapely.box(lon + t - dx, lat - dy, lon + t + dx, lat + dy)))
        for t in (-360.0, 0.0, 360.0)
    ]
    pairs = np.unique(np.concatenate(found, axis=1), axis=1)
    return pairs[0], pairs[1]


def near_pairs(place: Ints, park: Ints, lon: Floats, lat: Floats, near_m: Floats, ground: Ground) -> Pairs:
    """Pairs of place and park no further outside than each place's ``near_m``."""
    x, y = lon[place], lat[place]
    distance, edge_lon, edge_lat = ground.boundaries.nearest(park, x, y)
    clearance = np.where(ground.boundaries.contains(park, x, y), distance, -distance)
    station = ground.station
    spread = np.hypot(confidence.sigma(station.fix_error_m), confidence.sigma(ground.boundary_error_m[park]))
    p = contained_p(ground.boundaries, park, x, y, clearance, station.radius_m, spread)
    pairs = Pairs(place, park, clearance, wrap_lon(edge_lon), edge_lat, p)
    return pairs.rows(clearance >= -near_m[place])


def reaches(cells: Sequence[str | None], near_m: float) -> Floats:
    """How far parks are spoken of: from a cell's centre, half its diagonal further."""
    reach = np.full(len(cells), near_m)
    for row, text in enumerate(cells):
        if text is not None:
            cell = decode(text)
            per_lon, per_lat = degree_lengths(cell.lat)
            reach[row] += np.hypot(cell.width * per_lon, cell.height * per_lat) / 2 * 1.02
    return reach


def lattice_at(lon: Floats, lat: Floats, level: int) -> Lattice:
    """Nearest lattice lines; a pole is no line."""
    n = columns(level)
    x, y = column_number(lon, level), row_number(lat, level)
    i = np.rint(x).astype(np.int64)
    j = np.clip(np.rint(y).astype(np.int64), 1, n - 1)
    per_lon, per_lat = degree_lengths(lat)
    return Lattice(i % n, j, (x - i) * 360 / n * per_lon, (y - j) * 180 / n * per_lat)


def touching(lon: Floats, lat: Floats, lattice: Lattice, ground: Ground) -> tuple[Claims, Ints, Ints, Floats]:
    """What the disc touches where it stands: claims without parks, their cell numbers and probability."""
    radius, level = ground.station.radius_m, ground.level
    dx, dy = lattice.dx_m, lattice.dy_m
    over_x, over_y = np.abs(dx) < radius, np.abs(dy) < radius
    both = over_x & over_y
    quadrant = np.select(
        [(dx >= 0) & (dy >= 0), (dx < 0) & (dy >= 0), (dx < 0) & (dy < 0)], THREE[:3], THREE[3]
    )
    grid = np.select(
        [both & (np.hypot(dx, dy) < radius), both, over_x, over_y], [FOUR, quadrant, MERIDIAN, PARALLEL], ONE
    )
    at_x, at_y = both | (grid == MERIDIAN), both | (grid == PARALLEL)
    ref_lon = np.where(at_x, edge_lon(lattice.i, level), lon)
    ref_lat = np.where(at_y, edge_lat(lattice.j, level), lat)
    i, j = index(lon, lat, level)
    i, j = np.where(at_x, lattice.i, i).astype(np.int64), np.where(at_y, lattice.j, j).astype(np.int64)
    nobody = np.zeros(len(lon) + 1, dtype=np.int64)
    claims = Claims(ref_lon, ref_lat, grid, nobody, nobody[:0])
    p = touch_p(claims, np.where(at_x, dx, 0.0), np.where(at_y, dy, 0.0), ground)
    return claims, i, j, p


def share_of_cells(pairs: Pairs, cells: Sequence[str | None], geometries: NDArray[Any]) -> Floats:
    """Share of each place's cell inside each park; NaN where the place is no cell."""
    share = np.full(len(pairs.place), np.nan)
    for row, place in enumerate(pairs.place.tolist()):
        text = cells[place]
        if text is None:
            continue
        cell = decode(text)
        park = geometries[pairs.park[row]]
        turn = 360.0 * np.rint((shapely.bounds(park)[[0, 2]].mean() - cell.lon) / 360.0)
        box = shapely.box(cell.west + turn, cell.south, cell.east + turn, cell.north)
        inside = 1.0 if park.covers(box) else park.intersection(box).area / box.area
        share[row] = inside
    return share


def feet(
    lon: Floats, lat: Floats, lattice: Lattice, level: int
) -> list[tuple[Floats, Floats, Floats, Floats]]:
    """Nearest point of the nearest meridian, parallel and corner, with distance in metres and bearing."""
    line, parallel = edge_lon(lattice.i, level), edge_lat(lattice.j, level)
    # The foot of the perpendicular on a meridian lies poleward of the place's parallel.
    along = np.degrees(np.arctan2(np.tan(np.radians(lat)), np.cos(np.radians(lon - line))))
    found = []
    for x, y in ((line, along), (wrap_lon(lon), parallel), (line, parallel)):
        distance, bearing = inverse(lon, lat, x, y)
        found.append((np.asarray(x), np.asarray(y), np.asarray(distance), np.asarray(bearing)))
    return found
