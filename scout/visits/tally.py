"""What visits have done at a level, what a place would add, what is missing near home."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.geo.geodesy import compute_degree_lengths, measure_geodesic, move_point
from scout.geo.locator import (
    LEVELS,
    SNAP_DEG,
    count_columns,
    count_rows,
    get_edge_lat,
    get_edge_lon,
    get_index,
    make_locator,
    parse,
)
from scout.model import GEOMETRY, PARK_ID, PARK_NAME, Parks, Visit

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Done:
    """Grids, parks and pairs of both that visits claimed, at one level."""

    level: int
    grids: frozenset[str] = frozenset()
    parks: frozenset[str] = frozenset()
    pairs: frozenset[tuple[str, str]] = field(default=frozenset())  # grid, park
    remarks: tuple[str, ...] = ()  # sentences about the notebook it was counted from


class Added(NamedTuple):
    """What places would add to what is done, one row per place."""

    grids: Ints
    parks: Ints
    pairs: Ints  # the yield of what is still missing


@dataclass(frozen=True, slots=True)
class Year:
    """One calendar year (UTC) of visits; what is ``new`` had not been done in any year before."""

    year: int
    visits: int
    contacts: int
    done: Done
    new: Done


def list_grids_at(visit: Visit, level: int) -> tuple[str, ...]:
    """Locators a visit claims at a level, in its own order.

    A coarser level cuts them. At a finer level every claimed cell gives the one cell in it that is nearest to
    the position: lines of the coarser level are lines of the finer one as well.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> visit = Visit(10.0, 45.0, datetime(2026, 3, 1, tzinfo=UTC), locators=("JN44", "JN55"))
    >>> list_grids_at(visit, 1), list_grids_at(visit, 3)
    (('JN',), ('JN44xx', 'JN55aa'))
    """
    found = []
    for text in visit.locators:
        i, j, given = parse(text)
        if given < level:
            at_i, at_j = get_index(visit.lon, visit.lat, level)
            per_i, per_j = _count_parts(given, level)
            round_ = _count_parts(0, level)[0]
            # Columns wrap round the globe: the way to the nearer end of the cell's columns is the shorter.
            west = int(i) * per_i
            past = (int(at_i) - west) % round_
            if past >= per_i:
                past = per_i - 1 if past - per_i < round_ - past else 0
            up = min(max(int(at_j) - int(j) * per_j, 0), per_j - 1)
            found.append(str(make_locator(west + past, int(j) * per_j + up, level)))
        else:
            found.append(str(make_locator(i, j, given))[: 2 * level])
    return tuple(dict.fromkeys(found))


def _count_parts(coarse: int, fine: int) -> tuple[int, int]:
    """Cells of a fine level across and up a cell of a coarse one; level 0 is the globe."""
    parts = count_rows(fine) // (count_rows(coarse) if coarse else 1)
    return parts, parts


def collect_done(visits: Iterable[Visit], level: int) -> Done:
    """What visits have done. One whose contacts were counted and were none has done nothing."""
    grids: set[str] = set()
    parks: set[str] = set()
    pairs: set[tuple[str, str]] = set()
    for visit in visits:
        if visit.contacts == 0:
            continue
        here, held = list_grids_at(visit, level), [park.park for park in visit.parks]
        grids.update(here)
        parks.update(held)
        pairs.update((grid, park) for grid in here for park in held)
    return Done(level, frozenset(grids), frozenset(parks), frozenset(pairs))


def count_by_year(visits: Sequence[Visit], level: int) -> tuple[Year, ...]:
    """Every year that has visits, the earliest first."""
    years = []
    before = Done(level)
    for year in sorted({visit.start.year for visit in visits}):
        some = [visit for visit in visits if visit.start.year == year]
        now = collect_done(some, level)
        contacts = sum(visit.contacts or 0 for visit in some)
        years.append(Year(year, len(some), contacts, now, _subtract_done(now, before)))
        before = _join_done(before, now)
    return tuple(years)


def _subtract_done(one: Done, other: Done) -> Done:
    return Done(one.level, one.grids - other.grids, one.parks - other.parks, one.pairs - other.pairs)


def _join_done(one: Done, other: Done) -> Done:
    return Done(one.level, one.grids | other.grids, one.parks | other.parks, one.pairs | other.pairs)


def make_cell_keys(i: NDArray[np.integer], j: NDArray[np.integer], level: int) -> Ints:
    """One number per cell, for `count_added`; columns may run past the globe."""
    count = np.int64(count_rows(level))  # as many columns as rows
    keys: Ints = (np.asarray(i, dtype=np.int64) % count) * count + np.asarray(j, dtype=np.int64)
    return keys


def count_added(so_far: Done, cells: Ints, first: Ints, park: Ints, ids: NDArray[np.object_]) -> Added:
    """Count the grids, parks and pairs of places that have not been done.

    Parameters
    ----------
    so_far : Done
    cells : array of int, shape (n, k)
        `make_cell_keys` of the cells each place touches, at the level of ``so_far``; -1 beyond.
    first : array of int, shape (n + 1,)
        Where the parks of each place begin in ``park``.
    park : array of int
        Numbers of parks, end to end.
    ids : array of str, shape (parks,)
        Ids of the parks.
    """
    there = cells >= 0
    new_cell = there & ~np.isin(cells, _make_keys(so_far.grids, so_far.level))
    new_park = ~np.isin(ids, np.array(sorted(so_far.parks), dtype=object))
    per_place = np.diff(first)
    row = np.repeat(np.arange(len(per_place)), per_place)
    parks = np.bincount(row, weights=new_park[park], minlength=len(per_place)).astype(np.int64)
    # A pair is one number: cell times parks plus park. Only parks that were visited can be in a pair done.
    number = {str(name): k for k, name in enumerate(ids.tolist())}
    pairs = [(grid, number[name]) for grid, name in sorted(so_far.pairs) if name in number]
    size = np.int64(max(len(ids), 1))
    known = _make_keys([grid for grid, _ in pairs], so_far.level) * size + np.array(
        [k for _, k in pairs], dtype=np.int64
    )
    here = cells[row]
    fresh = (here >= 0) & ~np.isin(here * size + park[:, None], known)
    n_pairs = np.bincount(row, weights=fresh.sum(axis=1), minlength=len(per_place)).astype(np.int64)
    return Added(new_cell.sum(axis=1).astype(np.int64), parks, n_pairs)


def _make_keys(grids: Iterable[str], level: int) -> Ints:
    texts = list(grids)
    if not texts:
        return np.empty(0, dtype=np.int64)
    i, j, _ = parse(np.array(texts))
    return make_cell_keys(i, j, level)


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


def find_missing(
    parks: Parks, so_far: Done, home: tuple[float, float], within_km: float
) -> tuple[ParkReach, ...]:
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
    disc = _make_disc(home, within_km * 1000.0)
    frame = parks.frame
    found = []
    for row, ground in _find_near(frame[GEOMETRY].to_numpy(), disc):
        park, name = str(frame[PARK_ID].iloc[row]), str(frame[PARK_NAME].iloc[row])
        grids = _list_cells(ground, so_far.level, park)
        still = tuple(grid for grid in grids if (grid, park) not in so_far.pairs)
        km = measure_distance_km(home, ground)
        found.append(ParkReach(park, name, km, grids, still, park in so_far.parks))
    return tuple(sorted(found, key=lambda reach: (reach.distance_km, reach.park)))


def _make_disc(home: tuple[float, float], radius_m: float) -> Any:
    """The ground within a radius, a polygon whose longitudes run on from home's."""
    lon, lat = home
    tall = math.degrees(radius_m / 6_300_000.0)
    if abs(lat) + tall >= 90.0 or radius_m >= 9_000_000.0:
        # Round a pole every longitude is near; distances then decide nothing more.
        south, north = max(lat - tall, -90.0), min(lat + tall, 90.0)
        return shapely.box(lon - 180.0, south, lon + 180.0, north)
    # Corners a little outside, so that the edges between them do not cut the circle.
    far = radius_m / math.cos(math.pi / _CORNERS)
    x, y = move_point(
        np.full(_CORNERS, lon), np.full(_CORNERS, lat), np.arange(_CORNERS) * 360.0 / _CORNERS, far
    )
    return shapely.polygons(np.column_stack([lon + (x - lon + 180.0) % 360.0 - 180.0, y]))


def _find_near(geometry: NDArray[Any], disc: Any) -> Iterator[tuple[int, Any]]:
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


def _list_cells(ground: Any, level: int, park: str) -> tuple[str, ...]:
    """Locators of the cells that the ground covers some of, south row first."""
    west, south, east, north = ground.bounds
    per_lon, per_lat = count_columns(level) / 360.0, count_rows(level) / 180.0
    i = np.arange(math.floor((west + 180.0) * per_lon), math.ceil((east + 180.0) * per_lon) + 1)
    j = np.arange(
        math.floor((south + 90.0) * per_lat), min(math.ceil((north + 90.0) * per_lat) + 1, count_rows(level))
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
        get_edge_lon(column, level) + SNAP_DEG,
        get_edge_lat(row, level) + SNAP_DEG,
        get_edge_lon(column + 1, level) - SNAP_DEG,
        get_edge_lat(row + 1, level) - SNAP_DEG,
    )
    inside = shapely.intersects(ground, boxes)
    texts: list[str] = np.atleast_1d(make_locator(column[inside], row[inside], level)).tolist()
    return tuple(dict.fromkeys(texts))


def measure_distance_km(home: tuple[float, float], ground: Any) -> float:
    """From home to the nearest ground; the nearest point is sought with degrees made equally long."""
    per_lon, per_lat = compute_degree_lengths(min(abs(home[1]), 89.9))
    narrow = float(per_lon / per_lat)
    flat = shapely.transform(ground, lambda xy: xy * np.array([narrow, 1.0]))
    distances_m = []
    for turn in (-360.0, 0.0, 360.0):
        line = shapely.shortest_line(shapely.Point((home[0] + turn) * narrow, home[1]), flat)
        x, y = shapely.get_coordinates(line)[-1]
        distances_m.append(float(measure_geodesic(*home, x / narrow, y)[0]))
    return min(distances_m) / 1000.0
