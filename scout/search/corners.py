"""Corners inside parks, and corners and lines that just miss one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from scout.geo import probability
from scout.geo.boundaries import Floats, Ints
from scout.geo.geodesy import compute_degree_lengths, measure_geodesic, wrap_lon
from scout.geo.locator import count_columns, get_column_number, get_edge_lat, get_edge_lon, get_row_number
from scout.geo.probability import DOUBTFUL
from scout.search.found import FoundPlaces, make_found
from scout.search.optimize import choose_standing
from scout.search.scan import Axis, CellWindow, FoundCorners, refuse_flood
from scout.search.verdict import (
    FOUR,
    MERIDIAN,
    PARALLEL,
    THREE,
    Claims,
    JudgedClaims,
    JudgingContext,
    compute_touch_p,
    refine,
)
from scout.table import expand_ranges


def judge_corners(corners: FoundCorners, ground: JudgingContext) -> FoundPlaces:
    """One spot per corner, whatever its verdict.

    The claim is four cells in all parks that hold the corner. Where that is not counted, the parks that
    hold the corner by too little are dropped one by one; where it still is not, three cells are tried.
    """
    claims = Claims(
        get_edge_lon(corners.i, ground.level),
        get_edge_lat(corners.j, ground.level),
        np.full(len(corners.i), FOUR),
        corners.sets.first,
        corners.sets.park,
    )
    found = _drop_worst_parks(place_corners(corners.i, corners.j, claims, ground), ground)
    return _claim_three_where_better(found, ground)


def place_corners(
    i: Ints, j: Ints, claims: Claims, ground: JudgingContext, exact: bool = True
) -> FoundPlaces:
    """Choose where the stations of corner claims stand, within twice their radius of the corner."""
    reach = np.full(len(i), 2 * ground.station.radius_m)
    dx, dy, quick = choose_standing(claims, ground, (-reach, -reach), (reach, reach), exact)
    return make_found("corner", i, j, claims, (dx, dy), refine(claims, quick, ground))


def _drop_worst_parks(found: FoundPlaces, ground: JudgingContext) -> FoundPlaces:
    """Drop the parks that hold a corner worst, one by one, where that makes it count."""
    hopeless = _find_uncounted(found)
    fewer = found.take(hopeless)
    while len(rows := _find_uncounted(fewer)):
        fewer = fewer.replace(rows, _drop_worst_park(fewer.take(rows), ground))
    counted = np.flatnonzero(fewer.judged.confidence >= DOUBTFUL)
    return found.replace(hopeless[counted], fewer.take(counted))


def _find_uncounted(found: FoundPlaces) -> Ints:
    return np.flatnonzero((found.judged.confidence < DOUBTFUL) & (np.diff(found.claims.first) > 1))


def _drop_worst_park(found: FoundPlaces, ground: JudgingContext) -> FoundPlaces:
    first = found.claims.first
    keep = np.ones(len(found.claims.park), dtype=bool)
    for row in range(len(found.i)):
        keep[first[row] + np.argmin(found.judged.parks_p[first[row] : first[row + 1]])] = False
    fewer = replace(found.claims, first=first - np.arange(len(first)), park=found.claims.park[keep])
    return replace(place_corners(found.i, found.j, fewer, ground), dropped=found.dropped + 1)


def _claim_three_where_better(found: FoundPlaces, ground: JudgingContext) -> FoundPlaces:
    rows = np.flatnonzero(found.judged.confidence < DOUBTFUL)
    at, three = find_best_threes(found.take(rows), ground)
    better = np.flatnonzero(three.judged.confidence > found.judged.confidence[rows[at]])
    three = replace(three.take(better), dropped=found.dropped[rows[at[better]]])
    return found.replace(rows[at[better]], three)


def find_best_threes(corners: FoundPlaces, ground: JudgingContext) -> tuple[Ints, FoundPlaces]:
    """The surest three cells of each corner where they count; and which corners those are."""
    n = len(corners.i)
    if n == 0:
        return np.empty(0, dtype=np.int64), corners
    many = np.repeat(np.arange(n), len(THREE))
    claims = replace(corners.claims.take(many), grid=np.tile(THREE, n))
    three = place_corners(corners.i[many], corners.j[many], claims, ground, exact=False)
    choice = three.judged.confidence.reshape(n, -1).argmax(axis=1) + np.arange(n) * len(THREE)
    counted = np.flatnonzero(three.judged.confidence[choice] >= DOUBTFUL)
    return counted, three.take(choice[counted])


# Corners and lines that parks just miss.
def limit_reach_m(near_m: float, level: int) -> float:
    """How far a near miss may lie: as asked, but never over half the height of a cell."""
    return min(near_m, 110_574 * 90 / count_columns(level))


def find_near_corners(
    corners: FoundCorners, ground: JudgingContext, near_m: float, window: CellWindow | None
) -> tuple[FoundPlaces, FoundPlaces]:
    """Corners outside every park within ``near_m`` of one.

    Returns
    -------
    near, three
        Near misses with their nearest park, and corner spots where three cells can be had from inside a
        park although the corner lies outside.
    """
    level, n = ground.level, count_columns(ground.level)
    park, i, j = _find_corners_near_runs(ground, near_m, window)
    key = j * n + i
    outside = ~np.isin(key, corners.j * n + corners.i)
    park, i, j, key = park[outside], i[outside], j[outside], key[outside]
    distance, _, _ = ground.boundaries.nearest(park, get_edge_lon(i, level), get_edge_lat(j, level))
    order = np.lexsort((park, distance, key))
    order = order[distance[order] <= near_m]
    order = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    found = _make_near_misses(
        i[order],
        j[order],
        FOUR,
        park[order],
        get_edge_lon(i[order], level),
        get_edge_lat(j[order], level),
        ground,
    )
    return _separate_threes(found, ground)


def _find_corners_near_runs(
    ground: JudgingContext, near_m: float, window: CellWindow | None
) -> tuple[Ints, Ints, Ints]:
    """Pairs of park and corner whose outline runs come near: only boxes are looked at."""
    level, n = ground.level, count_columns(ground.level)
    _, _, run_park = ground.boundaries.outlines.runs
    west, south, east, north = ground.boundaries.outlines.boxes
    per_lat = 110_574.0
    top = np.minimum(np.maximum(np.abs(south), np.abs(north)) + near_m / per_lat, 89.999)
    per_lon = compute_degree_lengths(top)[0]
    dx, dy = 1.01 * near_m / per_lon * n / 360, 1.01 * near_m / per_lat * n / 180
    i0, i1 = np.ceil(get_column_number(west, level) - dx), np.floor(get_column_number(east, level) + dx)
    j0, j1 = np.ceil(get_row_number(south, level) - dy), np.floor(get_row_number(north, level) + dy)
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
    run, k = expand_ranges(np.zeros(len(wide), dtype=np.int64), wide * high)
    i = (i0[run].astype(np.int64) + k % wide[run]) % n
    j = j0[run].astype(np.int64) + k // wide[run]
    if window is not None:
        ok = ((i - window.west) % n <= window.east - window.west) & (j >= window.south) & (j <= window.north)
        run, i, j = run[ok], i[ok], j[ok]
    pairs = np.unique(np.stack([run_park[run], j, i]), axis=1)
    return pairs[0], pairs[2], pairs[1]


def _make_near_misses(
    i: Ints, j: Ints, grid: int, park: Ints, lon: Floats, lat: Floats, ground: JudgingContext
) -> FoundPlaces:
    """Near-miss rows with distance and bearing to the park."""
    n = len(i)
    claims = Claims(lon, lat, np.full(n, grid), np.arange(n + 1), park)
    metres, to_lon, to_lat = ground.boundaries.nearest(park, lon, lat)
    bearing = np.reshape(measure_geodesic(lon, lat, to_lon, to_lat)[1], n)
    # Outside by this much: the confidence is what the errors alone could make of it.
    station = ground.station
    parks_p = probability.compute_inside_p(
        -metres,
        station.radius_m,
        probability.compute_sigma(station.fix_error_m),
        probability.compute_sigma(ground.boundary_error_m[park]),
    )
    zero = np.zeros(n)
    grids_p = compute_touch_p(claims, zero, zero, ground)
    verdicts = JudgedClaims(
        lon=wrap_lon(lon),
        lat=lat,
        grids_p=grids_p,
        first=claims.first,
        clearance_m=-metres,
        parks_p=parks_p,
        confidence=parks_p * grids_p,
    )
    found = make_found("near-miss", i, j, claims, (zero, zero), verdicts)
    return replace(found, near_park=park, near_m=metres, near_deg=bearing)


def _separate_threes(near: FoundPlaces, ground: JudgingContext) -> tuple[FoundPlaces, FoundPlaces]:
    close = near.near_m <= 1.5 * ground.station.radius_m
    rows = np.flatnonzero(close & _are_threes_conceivable(ground))
    at, three = find_best_threes(near.take(rows), ground)
    left = np.setdiff1d(np.arange(len(near.i)), rows[at])
    return near.take(left), three


def _are_threes_conceivable(ground: JudgingContext) -> bool:
    """Whether errors leave any hope: the park's edge at the corner itself, the station diagonally off it.

    A bend of the edge can better this bound by a little, hence the fifth off.
    """
    radius, fix = ground.station.radius_m, float(probability.compute_sigma(ground.station.fix_error_m))
    off = np.linspace(0.0, radius, 21)
    edge = probability.compute_sigma(ground.least_error_m)
    held = probability.compute_inside_p(off * np.sqrt(2.0), radius, fix, edge)
    return bool(np.max(held * probability.compute_three_cells_p(off, off, radius, fix)) >= 0.8 * DOUBTFUL)


def find_near_lines(
    ground: JudgingContext, tree: shapely.STRtree, near_m: float, window: CellWindow | None
) -> FoundPlaces:
    """Lines that a park's bounds stop short of, within ``near_m``, outside every park of the tree."""
    parts = [
        _find_beside(ground, axis, side, near_m, window)
        for axis in ("meridian", "parallel")
        for side in (-1, 1)
    ]
    found = FoundPlaces.concat(parts)
    found = found.take(np.flatnonzero(found.near_m <= near_m))
    lon, lat = found.judged.lon, found.judged.lat
    covered = [tree.query(shapely.points(lon + t, lat), predicate="intersects")[0] for t in (0.0, 360.0)]
    return found.take(np.setdiff1d(np.arange(len(lon)), np.concatenate(covered)))


def _find_beside(
    ground: JudgingContext, axis: Axis, side: int, near_m: float, window: CellWindow | None
) -> FoundPlaces:
    """The next line beyond one side of each park, met at the vertex nearest to it."""
    level, n = ground.level, count_columns(ground.level)
    lines = ground.boundaries.outlines
    number = get_column_number if axis == "meridian" else get_row_number
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
    row, vertex = expand_ranges(lines.park_first[park], np.diff(lines.park_first)[park])
    across = (lines.lon if axis == "meridian" else lines.lat)[vertex]
    gap = np.abs(number(across, level) - line[park][row])
    if axis == "meridian":  # at a pole all meridians meet: being near to one there says nothing
        gap *= compute_degree_lengths(np.clip(lines.lat[vertex], -89.0, 89.0))[0]
    heads = np.flatnonzero(np.diff(row, prepend=-1))
    least = np.repeat(np.minimum.reduceat(gap, heads), np.diff(heads, append=len(row))) if len(row) else gap
    vertex = vertex[gap == least][np.flatnonzero(np.diff(row[gap == least], prepend=-1))]
    if axis == "meridian":
        lon, lat = get_edge_lon(line[park] % n, level), lines.lat[vertex]
        i, j = line[park] % n, np.floor(get_row_number(lat, level)).astype(np.int64)
    else:
        lon, lat = lines.lon[vertex], get_edge_lat(line[park], level)
        i, j = np.floor(get_column_number(lon, level)).astype(np.int64) % n, line[park]
    found = _make_near_misses(i, j, MERIDIAN if axis == "meridian" else PARALLEL, park, lon, lat, ground)
    if window is None:
        return found
    ok = ((i - window.west) % n <= window.east - window.west) & (j >= window.south) & (j <= window.north)
    return found.take(np.flatnonzero(ok))
