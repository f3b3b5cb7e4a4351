"""The horizon round places: how high the terrain stands in every whole degree of azimuth.

Along each ray the terrain is the surface between the middles of the raster's cells (bilinear), where several
rasters know a place that of the finest. A part of a ray is bounded by the highest cell near it, from a
pyramid of highest cells, and looked at more closely only where that could still raise the horizon; in the
end the highest angle inside each cell is worked out exactly. So nothing is stepped over, near or far.

Rays bend with the air: the Earth is taken as larger by 1 / (1 - k), with k 0.25 for radio (an Earth of 4/3
its radius, ITU-R P.453 and P.310, M) and 0.13 for light (geodetic practice since Gauss, M).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.geo.geodesy import A_M, E2, compute_degree_lengths, move_point
from scout.model import Horizon, Relief
from scout.table import expand_ranges
from scout.threads import map_on_threads
from scout.walk.terrain import (
    interpolate_heights,
    locate_pixels,
    measure_cell_amid,
    read_cells,
    turn_pixels,
)

RADIO, LIGHT = 0.25, 0.13  # curvature of a ray over that of the Earth
FARTHEST_M = 100_000.0
DIRECTIONS = 360

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Box = tuple[float, float, float, float]

_NODES = 9  # places along a ray that are worked out on the ellipsoid; between them a polynomial
_KNOT_M = 1000.0  # apart; between them a ray is straight in its raster, to 0.1 m at latitude 80
_NEAR_M, _NEAR_CELL_M, _FAR_CELL_M = 3000.0, 10.0, 25.0  # finer cells are averaged to nearly these
_FIRST_M, _GROWTH = 1000.0, 0.08  # of the parts of a ray that are bounded first
_SPLIT = 4
_HAIR = 1e-6  # of a tangent: what is less over the best is not looked for
_GAP = 3  # cells without a height, one after another, that count as unknown ground
_SPIKE = 5.0, 150.0  # a cell that stands over or under all eight around it by so many cells, and metres
_ERROR_PER_CELL = 1 / 6  # vertical 95 % error of a raster, where nobody states it: 5 m for cells of 30 m
_LEAST_ERROR_M, _MOST_ERROR_M = 0.5, 15.0
_ALIKE_CELLS = 10  # cells nearer than so many to the eye err as the ground under it does, in part


class SightGround(NamedTuple):
    """Rasters made ready, the finest first, and what is to be said of them."""

    rasters: tuple[_Raster, ...]
    lowest_m: float
    highest_m: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Raster:
    """A raster with the highest of every 2, 4, 8 ... cells along rows and columns, all in one row."""

    relief: Relief
    cell_m: float
    highest: NDArray[np.float32]
    unknown: NDArray[np.bool_]  # of the same blocks: whether any cell has no height
    first: Ints  # of each level in the two above
    wide: Ints
    high: Ints


def make_sight_boxes(lon: Floats, lat: Floats, reach_m: float = FARTHEST_M) -> list[Box]:
    """Boxes that hold all within reach of places; east may pass 180."""
    high = reach_m / 110_500.0
    south, north = np.maximum(lat - high, -90.0), np.minimum(lat + high, 90.0)
    per_lon = compute_degree_lengths(np.minimum(np.maximum(np.abs(south), np.abs(north)), 89.9))[0]
    wide = np.minimum(1.02 * reach_m / per_lon, 180.0)
    return list(zip(*(b.tolist() for b in (lon - wide, south, lon + wide, north)), strict=True))


Heights = Callable[[Sequence[Box], float], tuple[Sequence[Relief], Sequence[str]]]


def read_ground(heights: Heights, lon: Floats, lat: Floats, reach_m: float = FARTHEST_M) -> SightGround:
    """The heights around places made ready: finer near them, as far as they matter.

    Parameters
    ----------
    heights : callable
        Gives the rasters in some boxes, averaged to a size of cells, and notes; see `AccessSource`.
    lon, lat : arrays, shape (n,)
    reach_m : float
    """
    near, _ = heights(make_sight_boxes(lon, lat, min(_NEAR_M, reach_m)), _NEAR_CELL_M)
    far, notes = heights(make_sight_boxes(lon, lat, reach_m), _FAR_CELL_M)
    cells = {relief.path: measure_cell_amid(relief) for relief in far if relief.heights_m.size}
    # Where the file itself is as coarse, these would be the same heights again.
    near = [one for one in near if measure_cell_amid(one) < 0.9 * cells.get(one.path, np.inf)]
    ground = prepare_ground([*far, *near])
    return ground._replace(notes=tuple(dict.fromkeys((*notes, *ground.notes))))


def prepare_ground(reliefs: Sequence[Relief]) -> SightGround:
    """Make rasters ready for horizons: spikes out, pyramids of highest cells, the finest first.

    A cell over or under all its eight neighbours by 150 m and by five times its own width is no ground and
    becomes unknown; a raster of one height is told of.
    """
    rasters: list[_Raster] = []
    notes, spikes = [], 0
    lowest, highest = np.inf, -np.inf
    for relief in reliefs:
        heights = relief.heights_m
        if not heights.size or not np.isfinite(heights).any():
            continue
        cell_m = measure_cell_amid(relief)
        clean, count = _drop_spikes(heights, cell_m)
        spikes += count
        low, high = float(np.nanmin(clean)), float(np.nanmax(clean))
        lowest, highest = min(lowest, low), max(highest, high)
        rasters.append(_build_raster(replace(relief, heights_m=clean), cell_m))
    rasters.sort(key=lambda raster: raster.cell_m)
    if rasters and lowest == highest:
        notes.append(f"all heights are {lowest:g} m: check that the files hold heights")
    if spikes:
        notes.append(f"spikes of 150 m and more, taken as unknown: {spikes} cells")
    return SightGround(tuple(rasters), lowest, highest, tuple(notes))


def _drop_spikes(heights: NDArray[np.float32], cell_m: float) -> tuple[NDArray[np.float32], int]:
    """The heights without cells that stand out of all around them, and how many there were."""
    least = max(_SPIKE[0] * cell_m, _SPIKE[1])
    if min(heights.shape) < 3 or float(np.nanmax(heights) - np.nanmin(heights)) < least:
        return heights, 0
    inner = heights[1:-1, 1:-1]
    with np.errstate(invalid="ignore"):
        # Few cells stand out of two neighbours: the other six are looked at for these alone.
        up = inner - np.fmax(heights[1:-1, :-2], heights[1:-1, 2:]) > least
        down = np.fmin(heights[1:-1, :-2], heights[1:-1, 2:]) - inner > least
    rows, cols = np.nonzero(up | down)
    if not len(rows):
        return heights, 0
    around = np.stack(
        [heights[rows + i, cols + j] for i in range(3) for j in range(3) if (i, j) != (1, 1)], axis=1
    )
    at = inner[rows, cols][:, None]
    with np.errstate(invalid="ignore"):
        alone = ((at - around > least) | np.isnan(around)).all(axis=1)
        alone |= ((around - at > least) | np.isnan(around)).all(axis=1)
    alone &= ~np.isnan(around).all(axis=1)
    clean = heights.copy()
    clean[rows[alone] + 1, cols[alone] + 1] = np.nan
    return clean, int(alone.sum())


def _build_raster(relief: Relief, cell_m: float) -> _Raster:
    level = np.where(np.isnan(relief.heights_m), np.float32(-np.inf), relief.heights_m)
    holes = np.isneginf(level)
    highest, unknown, first, wide, high = [], [], [0], [], []
    while True:
        highest.append(level.ravel())
        unknown.append(holes.ravel())
        high.append(level.shape[0])
        wide.append(level.shape[1])
        first.append(first[-1] + level.size)
        if max(level.shape) == 1:
            break
        level, holes = _halve(level, np.maximum, -np.inf), _halve(holes, np.logical_or, False)
    return _Raster(
        relief,
        cell_m,
        np.concatenate(highest),
        np.concatenate(unknown),
        *(np.array(one, dtype=np.int64) for one in (first[:-1], wide, high)),
    )


def _halve(values: NDArray[Any], most: np.ufunc, beyond: Any) -> NDArray[Any]:
    """Two by two cells become the most of them."""
    pad = [(0, size % 2) for size in values.shape]
    even = np.pad(values, pad, constant_values=beyond) if any(sum(one) for one in pad) else values
    rows = most(even[::2], even[1::2])
    found: NDArray[Any] = most(rows[:, ::2], rows[:, 1::2])
    return found


@dataclass(frozen=True, slots=True)
class _Rays:
    """The rays of one place: where they run in each raster, and the eye."""

    ground: SightGround
    col: tuple[Floats, ...]  # of each raster, shape (rays, knots)
    row: tuple[Floats, ...]
    eye_m: float
    radius_m: Floats  # of the Earth along each ray, without refraction
    bent_m: Floats  # the same, larger for the bending of rays
    far_m: float

    def locate(self, raster: int, ray: Ints, at_m: Floats) -> tuple[Floats, Floats]:
        """Column and row of places on rays; whole numbers are the middles of cells."""
        knots = self.col[raster].shape[1]
        step = self.far_m / (knots - 1)
        knot = np.minimum((at_m / step).astype(np.int64), knots - 2)
        share, at = at_m / step - knot, ray * knots + knot
        found = []
        for table in (self.col[raster].ravel(), self.row[raster].ravel()):
            low = table[at]
            found.append(low + share * (table[at + 1] - low))
        return found[0], found[1]

    def choose(self, ray: Ints, start_m: Floats, end_m: Floats) -> tuple[Ints, Floats]:
        """The finest raster around parts of rays, and how many of its cells they run over."""
        chosen, extent = np.zeros(len(ray), dtype=np.int64), np.full(len(ray), np.inf)
        for k, raster in enumerate(self.ground.rasters):
            open_ = np.flatnonzero(np.isinf(extent))
            if not len(open_):
                break
            one, other = (self.locate(k, ray[open_], at[open_]) for at in (start_m, end_m))
            inside = ~_lies_beyond(raster, one, other)
            chosen[open_[inside]] = k
            extent[open_[inside]] = np.maximum(np.abs(one[0] - other[0]), np.abs(one[1] - other[1]))[inside]
        return chosen, extent

    def read(self, ray: Ints, at_m: Floats) -> Floats:
        """Heights of places on rays, NaN where no raster knows one."""
        height = np.full(len(ray), np.nan)
        for k, raster in enumerate(self.ground.rasters):
            open_ = np.flatnonzero(np.isnan(height))
            if not len(open_):
                break
            height[open_] = read_cells(raster.relief, *self.locate(k, ray[open_], at_m[open_]))
        return height

    def tangent(self, ray: Ints, at_m: Floats, height_m: Floats) -> Floats:
        """Tangent of the angle under which a height so far away is seen.

        A height stands (1 + h / R) further away than its foot; the curve takes d^2 / 2 R' off it.
        """
        wider = at_m * (1.0 + height_m / self.radius_m[ray])
        found: Floats = (height_m - self.eye_m) / wider - at_m / (2.0 * self.bent_m[ray])
        return found

    def bound(self, ray: Ints, start_m: Floats, end_m: Floats) -> Floats:
        """A tangent that no part of the terrain between two distances reaches over."""
        highest = np.full(len(ray), -np.inf)
        for k, raster in enumerate(self.ground.rasters):
            ends = [self.locate(k, ray, at) for at in (start_m, end_m)]
            np.maximum(highest, _find_highest(raster, *ends), out=highest)
        # Ground over the eye stands highest at its nearest; ground under it where it rises over the curve.
        drop = np.maximum(self.eye_m - highest, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            at = np.clip(np.sqrt(2.0 * self.bent_m[ray] * drop), start_m, end_m)
            found = self.tangent(ray, at, highest)
        found[(at == 0.0) & np.isfinite(highest)] = np.inf
        found[np.isneginf(highest)] = -np.inf
        return found


def _lies_beyond(
    raster: _Raster, one: tuple[Floats, Floats], other: tuple[Floats, Floats]
) -> NDArray[np.bool_]:
    """Whether lines between places lie outside a raster."""
    beyond = np.zeros(len(one[0]), dtype=bool)
    for a, b, size in zip(one, other, raster.relief.heights_m.shape[::-1], strict=True):
        beyond |= (np.maximum(a, b) < -0.5) | (np.minimum(a, b) > size - 0.5)
    return beyond


def _find_highest(raster: _Raster, one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> Floats:
    """The highest cell near straight lines between places in a raster; -inf where it knows none."""
    highest, _ = _look_up(raster, one, other)
    return highest


def _look_up(
    raster: _Raster, one: tuple[Floats, Floats], other: tuple[Floats, Floats]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Of lines the highest cell around and whether any cell there is unknown, beyond the edge too."""
    spans, outside = [], np.zeros(len(one[0]), dtype=bool)
    for a, b, size in zip(one, other, raster.relief.heights_m.shape[::-1], strict=True):
        low, top = np.minimum(a, b), np.maximum(a, b)
        outside |= (low < -0.5) | (top > size - 0.5)
        first = np.clip(np.floor(low), 0, size - 1).astype(np.int64)
        last = np.clip(np.ceil(top), 0, size - 1).astype(np.int64)
        spans.append((first, last))
    (left, right), (top_, bottom) = spans
    extent = np.maximum(right - left, bottom - top_)
    level = np.minimum(np.ceil(np.log2(np.maximum(extent, 1))).astype(np.int64), len(raster.first) - 1)
    start, across = raster.first[level], raster.wide[level]
    left, right, top_, bottom = left >> level, right >> level, top_ >> level, bottom >> level
    corners = [start + r * across + c for r in (top_, bottom) for c in (left, right)]
    highest = raster.highest[corners[0]]
    unknown = raster.unknown[corners[0]]
    for at in corners[1:]:
        highest = np.maximum(highest, raster.highest[at])
        unknown = unknown | raster.unknown[at]
    found = highest.astype(np.float64)
    found[_lies_beyond(raster, one, other)] = -np.inf
    return found, unknown | outside


def find_horizons(
    lon: Floats,
    lat: Floats,
    ground: SightGround,
    antenna_m: float,
    refraction: float = RADIO,
    progress: Callable[[int], None] = lambda _: None,
) -> list[Horizon | None]:
    """The horizon round places.

    Parameters
    ----------
    lon, lat : arrays, shape (n,)
        Degrees.
    ground : SightGround
        Of heights as far as there are any, up to 100 km around.
    antenna_m : float
        Height of the eye over the ground.
    refraction : float
        `RADIO` or `LIGHT`.
    progress : callable
        Called with how many places are done.

    Returns
    -------
    list
        None for a place whose own height is not known.
    """
    done: list[Horizon | None] = []
    step = 16
    for first in range(0, len(lon), step):
        places = [*zip(lon[first : first + step].tolist(), lat[first : first + step].tolist(), strict=True)]
        done += map_on_threads(lambda place: _find_one(*place, ground, antenna_m, refraction), places)
        progress(len(done))
    return done


def _find_one(
    lon: float, lat: float, ground: SightGround, antenna_m: float, refraction: float
) -> Horizon | None:
    reliefs = [raster.relief for raster in ground.rasters]
    here = float(interpolate_heights(reliefs, np.array([lon]), np.array([lat]))[0])
    if np.isnan(here):
        return None
    azimuth = np.arange(DIRECTIONS, dtype=float)
    rays = _lay_rays(lon, lat, azimuth, ground, here + antenna_m, refraction)
    best, at_m = _climb(rays)
    reach_m = _measure_reach(rays)
    error = _measure_error(rays, best, at_m)
    never = ~np.isfinite(best)
    deg = np.where(never, -90.0, np.degrees(np.arctan(best)))
    return Horizon(
        antenna_m=antenna_m,
        ground_m=round(here, 2),
        highest_m=round(ground.highest_m, 1),
        needed_m=round(rays.far_m),
        cell_m=round(ground.rasters[0].cell_m, 1),
        deg=tuple(np.round(deg, 3).tolist()),
        at_m=tuple(np.round(np.where(never, 0.0, at_m), 1).tolist()),
        reach_m=tuple(np.round(reach_m).tolist()),
        error_deg=tuple(np.round(error, 2).tolist()),
        refraction=refraction,
    )


def _lay_rays(
    lon: float, lat: float, azimuth: Floats, ground: SightGround, eye_m: float, refraction: float
) -> _Rays:
    radius = measure_radius(lat, azimuth)
    bent = radius / (1.0 - refraction)
    # The lowest ground bounds the eye's own horizon, and that how far the highest can stand over it.
    over = [max(one - ground.lowest_m, 0.0) for one in (eye_m, max(ground.highest_m, eye_m))]
    far_m = min(FARTHEST_M, sum(float(np.sqrt(2.0 * bent.max() * one)) for one in over))
    far_m = max(far_m, 10.0 * _FIRST_M)
    nodes = np.sort(0.5 * far_m * (1.0 - np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)))
    nodes[0] = 0.0
    knots = np.linspace(0.0, far_m, int(np.ceil(far_m / _KNOT_M)) + 1)
    between = _make_interpolation(nodes, knots)
    x, y = move_point(lon, lat, azimuth[:, None], nodes[None, :])
    tables = [_place_rays(raster.relief, lon, lat, x, y, between) for raster in ground.rasters]
    return _Rays(ground, tuple(c for c, _ in tables), tuple(r for _, r in tables), eye_m, radius, bent, far_m)


def measure_radius(lat: float, azimuth: Floats) -> Floats:
    """Radius of the ellipsoid's curvature in the direction of an azimuth (Euler's formula)."""
    w2 = 1.0 - E2 * np.sin(np.radians(lat)) ** 2
    prime = A_M / np.sqrt(w2)
    meridian = prime * (1.0 - E2) / w2
    towards = np.radians(azimuth)
    found: Floats = 1.0 / (np.cos(towards) ** 2 / meridian + np.sin(towards) ** 2 / prime)
    return found


def _make_interpolation(nodes: Floats, knots: Floats) -> Floats:
    """Weights of Lagrange's polynomial, shape (nodes, knots)."""
    weights = np.empty((len(nodes), len(knots)))
    for k, node in enumerate(nodes):
        rest = np.delete(nodes, k)
        weights[k] = np.prod((knots[None, :] - rest[:, None]) / (node - rest)[:, None], axis=0)
    return weights


def _place_rays(
    relief: Relief, lon: float, lat: float, x: Floats, y: Floats, between: Floats
) -> tuple[Floats, Floats]:
    """Columns and rows of a raster at the knots of rays."""
    col, row = locate_pixels(relief, np.append(x, lon), np.append(y, lat))
    col, row = turn_pixels(relief, col, row, near_col=float(col[-1]))  # no jump at the antimeridian
    return col[:-1].reshape(x.shape) @ between, row[:-1].reshape(x.shape) @ between


def _list_parts(far_m: float) -> Floats:
    """Ends of the parts of a ray that are bounded first: longer far away."""
    ends = [0.0, min(_FIRST_M, far_m)]
    while ends[-1] < far_m:
        ends.append(min(ends[-1] + max(_FIRST_M, _GROWTH * ends[-1]), far_m))
    return np.array(ends)


def _climb(rays: _Rays) -> tuple[Floats, Floats]:
    """The highest tangent of each ray and the distance where it stands; -inf where nothing is known."""
    count = len(rays.radius_m)
    best, at_m = np.full(count, -np.inf), np.zeros(count)
    ends = _list_parts(rays.far_m)
    parts = len(ends) - 1
    ray = np.repeat(np.arange(count), parts)
    start, end = np.tile(ends[:-1], count), np.tile(ends[1:], count)
    top = rays.bound(ray, start, end)
    while len(ray):
        worth = np.flatnonzero(top > best[ray] + _HAIR)
        ray, start, end, top = ray[worth], start[worth], end[worth], top[worth]
        # The middle of each part, looked at early, spares most parts a closer look.
        middle = (start + end) / 2
        _raise_best(best, at_m, ray, rays.tangent(ray, middle, rays.read(ray, middle)), middle)
        kept = np.flatnonzero(top > best[ray] + _HAIR)
        ray, start, end = ray[kept], start[kept], end[kept]
        raster, extent = rays.choose(ray, start, end)
        small = extent <= 1.0
        if small.any():
            _measure_cells(rays, raster[small], ray[small], start[small], end[small], best, at_m)
            ray, start, end = ray[~small], start[~small], end[~small]
        edges = start[:, None] + np.linspace(0.0, 1.0, _SPLIT + 1) * (end - start)[:, None]
        ray = np.repeat(ray, _SPLIT)
        start, end = edges[:, :-1].ravel(), edges[:, 1:].ravel()
        top = rays.bound(ray, start, end)
    return best, at_m


def _raise_best(best: Floats, at_m: Floats, ray: Ints, tangent: Floats, where: Floats) -> None:
    """Raise the best of rays to higher tangents, if any; NaN is none."""
    over = np.flatnonzero(tangent > best[ray])
    order = over[
        np.argsort(tangent[over], kind="stable")
    ]  # of several in one ray the last, highest one stays
    best[ray[order]], at_m[ray[order]] = tangent[order], where[order]


def _measure_cells(
    rays: _Rays, raster: Ints, ray: Ints, start: Floats, end: Floats, best: Floats, at_m: Floats
) -> None:
    """Raise the best of rays by parts that run over at most one line between cells each way.

    Between such lines the surface along a ray is a parabola, so that the highest angle has a formula.
    """
    share = np.zeros((4, len(ray)))
    share[1:] = 1.0
    for k in np.unique(raster).tolist():
        mine = np.flatnonzero(raster == k)
        one, other = (rays.locate(k, ray[mine], at[mine]) for at in (start, end))
        for row, a, b in zip((1, 2), one, other, strict=True):
            line = np.ceil(np.minimum(a, b))
            with np.errstate(invalid="ignore", divide="ignore"):
                at = (line - a) / (b - a)
            share[row, mine] = np.where((at > 0.0) & (at < 1.0), at, 1.0)
    share[1:3].sort(axis=0)
    edges = start + share * (end - start)
    places = np.concatenate([edges, (edges[:-1] + edges[1:]) / 2])
    height = rays.read(np.tile(ray, 7), places.ravel()).reshape(7, -1)
    a, middle, b = height[:3], height[4:], height[1:4]
    first, long = edges[:-1], edges[1:] - edges[:-1]
    bend = 1.0 / (2.0 * rays.bent_m[ray])
    with np.errstate(invalid="ignore", divide="ignore"):
        slope, curve = (4.0 * middle - 3.0 * a - b) / long, (2.0 * a + 2.0 * b - 4.0 * middle) / long**2
        level = a - slope * first + curve * first**2 - rays.eye_m
        top = np.sqrt(level / (curve - bend))  # where the slope from the eye is that of the ground
        top = np.where((level < 0.0) & (top > first) & (top < edges[1:]), top, np.nan)
    # Read, not computed: where one raster ends and the next begins, the surface is no parabola.
    crest = np.full(top.shape, np.nan)
    some = np.nonzero(np.isfinite(top))
    crest[some] = rays.read(ray[some[1]], top[some])
    places, height = np.concatenate([edges, top]), np.concatenate([height[:4], crest])
    with np.errstate(invalid="ignore", divide="ignore"):
        found = rays.tangent(ray, places, height)
    found[~np.isfinite(found) | (places <= 0.0)] = -np.inf
    one = found.argmax(axis=0)
    columns = np.arange(len(ray))
    tangent, where = found[one, columns], places[one, columns]
    _raise_best(best, at_m, ray, tangent, where)
    _measure_edges(rays, raster, ray, start, end, best, at_m)


def _measure_edges(
    rays: _Rays, raster: Ints, ray: Ints, start: Floats, end: Floats, best: Floats, at_m: Floats
) -> None:
    """Raise the best of rays by what stands on both sides of the edge of a raster, where another goes on."""
    for k in np.unique(raster).tolist() if len(rays.ground.rasters) > 1 else ():
        mine = np.flatnonzero(raster == k)
        one, other = (rays.locate(k, ray[mine], at[mine]) for at in (start, end))
        sizes = rays.ground.rasters[k].relief.heights_m.shape[::-1]
        for a, b, size in zip(one, other, sizes, strict=True):
            for edge in (-0.5, size - 0.5):
                over = np.flatnonzero((a - edge) * (b - edge) < 0.0)
                some, share = mine[over], (edge - a[over]) / (b[over] - a[over])
                for side in (-1e-6, 1e-6):
                    at = start[some] + (share + side) * (end[some] - start[some])
                    _raise_best(
                        best, at_m, ray[some], rays.tangent(ray[some], at, rays.read(ray[some], at)), at
                    )


def _measure_reach(rays: _Rays) -> Floats:
    """How far heights are known along each ray, metres; gaps under three cells aside."""
    count = len(rays.radius_m)
    ends = _list_parts(rays.far_m)
    parts = len(ends) - 1
    ray = np.repeat(np.arange(count), parts)
    start, end = np.tile(ends[:-1], count), np.tile(ends[1:], count)
    doubtful, beyond = np.ones(len(ray), dtype=bool), np.ones(len(ray), dtype=bool)
    for k, raster in enumerate(rays.ground.rasters):
        sides = [rays.locate(k, ray, at) for at in (start, end)]
        doubtful &= _look_up(raster, *sides)[1]
        beyond &= _lies_beyond(raster, *sides)
    step = max(rays.ground.rasters[0].cell_m, 25.0)
    samples = int(np.ceil(rays.far_m / step)) + 1
    unknown = np.zeros((count, samples), dtype=bool)
    first = np.ceil(start / step).astype(np.int64)
    number = np.minimum(np.ceil(end / step).astype(np.int64), samples) - first
    for some, read in ((doubtful & beyond, False), (doubtful & ~beyond, True)):
        part, at = expand_ranges(first[some], number[some])
        rows = ray[some][part]
        hidden = np.isnan(rays.read(rows, np.minimum(at * step, rays.far_m))) if read else True
        unknown[rows, at] = hidden
    run = unknown[:, : samples - _GAP + 1].copy()
    for k in range(1, _GAP):
        run &= unknown[:, k : samples - _GAP + 1 + k]
    gap = run.argmax(axis=1)
    reach: Floats = np.where(run.any(axis=1), np.maximum(gap - 1, 0) * step, rays.far_m)
    return reach


def _measure_error(rays: _Rays, best: Floats, at_m: Floats) -> Floats:
    """95 % error of each angle, degrees: the vertical error of the heights, and what a cell may hide."""
    ray = np.arange(len(best))
    seen = np.isfinite(best)
    raster, _ = rays.choose(ray, at_m, at_m)
    cell_m = np.array([one.cell_m for one in rays.ground.rasters])[raster]
    vertical = np.clip(cell_m * _ERROR_PER_CELL, _LEAST_ERROR_M, _MOST_ERROR_M)
    vertical *= np.minimum(at_m / (_ALIKE_CELLS * cell_m), 1.0)
    half = np.minimum(cell_m, at_m) / 2
    here, *beside = (rays.read(ray, np.clip(at_m + s * half, 0.0, rays.far_m)) for s in (0, -1, 1))
    hidden = np.nanmax([np.abs(one - here) for one in beside] + [np.zeros(len(ray))], axis=0)
    error: Floats = np.degrees(np.arctan(np.hypot(vertical, hidden) / np.maximum(at_m, 1.0)))
    return np.where(seen, error, 90.0)
