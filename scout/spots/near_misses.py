"""Corners and lines that parks just miss."""

from __future__ import annotations

import numpy as np
import shapely

from scout import confidence
from scout.confidence import DOUBTFUL
from scout.geodesy import degree_lengths, inverse, wrap_lon
from scout.locator import column_number, columns, edge_lat, edge_lon, row_number
from scout.outlines import Floats, Ints, ragged
from scout.spots.corners import best_threes
from scout.spots.edges import Corners, Window
from scout.spots.found import Found, join, of_judged
from scout.spots.intervals import Axis, refuse_flood
from scout.verdict import FOUR, MERIDIAN, PARALLEL, Claims, Ground, Judged, touch_p

__all__ = ["near_corners", "near_lines", "reach_m"]


def reach_m(near_m: float, level: int) -> float:
    """How far a near miss may lie: as asked, but never over half the height of a cell."""
    return min(near_m, 110_574 * 90 / columns(level))


def near_corners(
    corners: Corners, ground: Ground, near_m: float, window: Window | None
) -> tuple[Found, Found]:
    """Corners outside every park within ``near_m`` of one.

    Returns
    -------
    near, three
        Near misses with their nearest park, and corner spots where three cells can be had from inside a
        park although the corner lies outside.
    """
    level, n = ground.level, columns(ground.level)
    park, i, j = _corners_near_runs(ground, near_m, window)
    key = j * n + i
    outside = ~np.isin(key, corners.j * n + corners.i)
    park, i, j, key = park[outside], i[outside], j[outside], key[outside]
    distance, _, _ = ground.boundaries.nearest(park, edge_lon(i, level), edge_lat(j, level))
    order = np.lexsort((park, distance, key))
    order = order[distance[order] <= near_m]
    order = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    found = _missed(
        i[order], j[order], FOUR, park[order], edge_lon(i[order], level), edge_lat(j[order], level), ground
    )
    return _with_three_apart(found, ground)


def _corners_near_runs(ground: Ground, near_m: float, window: Window | None) -> tuple[Ints, Ints, Ints]:
    """Pairs of park and corner whose outline runs come near: only boxes are looked at."""
    level, n = ground.level, columns(ground.level)
    _, _, run_park = ground.boundaries.outlines.runs
    west, south, east, north = ground.boundaries.outlines.boxes
    per_lat = 110_574.0
    top = np.minimum(np.maximum(np.abs(south), np.abs(north)) + near_m / per_lat, 89.999)
    per_lon = degree_lengths(top)[0]
    dx, dy = 1.01 * near_m / per_lon * n / 360, 1.01 * near_m / per_lat * n / 180
    i0, i1 = np.ceil(column_number(west, level) - dx), np.floor(column_number(east, level) + dx)
    j0, j1 = np.ceil(row_number(south, level) - dy), np.floor(row_number(north, level) + dy)
    j0, j1 = np.maximum(j0, 1), np.minimum(j1, n - 1)
    if window is not None:
        j0, j1 = np.maximum(j0, window.south), np.minimum(j1, window.north)
        # Long runs are laid out in the window alone, where they reach it; the rest is sifted below.
        turns = np.array([[-n], [0], [n]])
        meets = np.any((i0 <= window.east + turns) & (i1 >= window.west + turns), axis=0)
        far = i1 - i0 > 2 * (window.east - window.west)
        i0, i1 = (
            np.where(far, window.west, i0),
            np.where(far, np.where(meets, window.east, window.west - 1), i1),
        )
    wide, high = np.minimum(i1 - i0 + 1, n).clip(0).astype(np.int64), (j1 - j0 + 1).clip(0).astype(np.int64)
    refuse_flood(wide * high, level)
    run, k = ragged(np.zeros(len(wide), dtype=np.int64), wide * high)
    i = (i0[run].astype(np.int64) + k % wide[run]) % n
    j = j0[run].astype(np.int64) + k // wide[run]
    if window is not None:
        ok = ((i - window.west) % n <= window.east - window.west) & (j >= window.south) & (j <= window.north)
        run, i, j = run[ok], i[ok], j[ok]
    pairs = np.unique(np.stack([run_park[run], j, i]), axis=1)
    return pairs[0], pairs[2], pairs[1]


def _missed(i: Ints, j: Ints, grid: int, park: Ints, lon: Floats, lat: Floats, ground: Ground) -> Found:
    """Near-miss rows with distance and bearing to the park."""
    n = len(i)
    claims = Claims(lon, lat, np.full(n, grid), np.arange(n + 1), park)
    metres, to_lon, to_lat = ground.boundaries.nearest(park, lon, lat)
    bearing = np.reshape(inverse(lon, lat, to_lon, to_lat)[1], n)
    # Outside by this much: the confidence is what the errors alone could make of it.
    station = ground.station
    parks_p = confidence.inside(
        -metres,
        station.radius_m,
        confidence.sigma(station.fix_error_m),
        confidence.sigma(ground.boundary_error_m[park]),
    )
    zero = np.zeros(n)
    grids_p = touch_p(claims, zero, zero, ground)
    verdicts = Judged(wrap_lon(lon), lat, grids_p, -metres, parks_p, parks_p * grids_p)
    found = of_judged("near-miss", i, j, claims, (zero, zero), verdicts)
    return found._replace(near_park=park, near_m=metres, near_deg=bearing)


def _with_three_apart(near: Found, ground: Ground) -> tuple[Found, Found]:
    close = near.near_m <= 1.5 * ground.station.radius_m
    rows = np.flatnonzero(close & _three_conceivable(ground))
    at, three = best_threes(near.rows(rows), ground)
    left = np.setdiff1d(np.arange(len(near.i)), rows[at])
    return near.rows(left), three


def _three_conceivable(ground: Ground) -> bool:
    """Whether errors leave any hope: the park's edge at the corner itself, the station aslant from it.

    A bend of the edge can better this bound by a little, hence the fifth off.
    """
    radius, fix = ground.station.radius_m, float(confidence.sigma(ground.station.fix_error_m))
    aslant = np.linspace(0.0, radius, 21)
    edge = confidence.sigma(ground.least_error_m)
    held = confidence.inside(aslant * np.sqrt(2.0), radius, fix, edge)
    return bool(np.max(held * confidence.three_cells(aslant, aslant, radius, fix)) >= 0.8 * DOUBTFUL)


def near_lines(ground: Ground, tree: shapely.STRtree, near_m: float, window: Window | None) -> Found:
    """Lines that a park's bounds stop short of, within ``near_m``, outside every park of the tree."""
    parts = [
        _beside(ground, axis, side, near_m, window) for axis in ("meridian", "parallel") for side in (-1, 1)
    ]
    found = join(parts)
    found = found.rows(np.flatnonzero(found.near_m <= near_m))
    lon, lat = found.judged.lon, found.judged.lat
    covered = [tree.query(shapely.points(lon + t, lat), predicate="intersects")[0] for t in (0.0, 360.0)]
    return found.rows(np.setdiff1d(np.arange(len(lon)), np.concatenate(covered)))


def _beside(ground: Ground, axis: Axis, side: int, near_m: float, window: Window | None) -> Found:
    """The next line beyond one side of each park, met at the vertex nearest to it."""
    level, n = ground.level, columns(ground.level)
    lines = ground.boundaries.outlines
    number = column_number if axis == "meridian" else row_number
    low_side, high_side = (0, 2) if axis == "meridian" else (1, 3)
    edge = lines.bounds[low_side if side < 0 else high_side]
    extreme = number(edge, level)
    line = (np.ceil(extreme) - 1 if side < 0 else np.floor(extreme) + 1).astype(np.int64)
    # A degree of longitude is longest at the equator: cheap to rule out most parks before vertices count.
    close = np.abs(line - extreme) * (360 if axis == "meridian" else 180) / n
    cosine = np.cos(np.radians(np.minimum(np.abs(lines.lat[lines.park_first[:-1]]) + 5, 89.9)))
    park = np.flatnonzero(close * 110_574 * (cosine if axis == "meridian" else 1.0) <= near_m)
    if axis == "parallel":
        park = park[(line[park] > 0) & (line[park] < n)]
    row, vertex = ragged(lines.park_first[park], np.diff(lines.park_first)[park])
    across = (lines.lon if axis == "meridian" else lines.lat)[vertex]
    gap = np.abs(number(across, level) - line[park][row])
    if axis == "meridian":  # at a pole all meridians meet: being near to one there says nothing
        gap *= degree_lengths(np.clip(lines.lat[vertex], -89.0, 89.0))[0]
    heads = np.flatnonzero(np.diff(row, prepend=-1))
    least = np.repeat(np.minimum.reduceat(gap, heads), np.diff(heads, append=len(row))) if len(row) else gap
    vertex = vertex[gap == least][np.flatnonzero(np.diff(row[gap == least], prepend=-1))]
    if axis == "meridian":
        lon, lat = edge_lon(line[park] % n, level), lines.lat[vertex]
        i, j = line[park] % n, np.floor(row_number(lat, level)).astype(np.int64)
    else:
        lon, lat = lines.lon[vertex], edge_lat(line[park], level)
        i, j = np.floor(column_number(lon, level)).astype(np.int64) % n, line[park]
    found = _missed(i, j, MERIDIAN if axis == "meridian" else PARALLEL, park, lon, lat, ground)
    if window is None:
        return found
    ok = ((i - window.west) % n <= window.east - window.west) & (j >= window.south) & (j <= window.north)
    return found.rows(np.flatnonzero(ok))
