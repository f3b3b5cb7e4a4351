"""What a station may claim, and the best place near a corner or on a stretch, by trying many."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

from oracles import answers, budget, exact, metric
from oracles.arrangement import Interval, Node
from oracles.budget import Errors

STEP_M = 0.5


@dataclass(frozen=True)
class Ground:
    """Parks with their datum errors, and the station."""

    parks: list[shapely.Geometry]
    errors: Errors
    step_m: float = STEP_M  # of the raster
    known: dict = field(default_factory=dict, init=False, repr=False)  # rasters, by park and place

    def inside(self, n: int, lon: float, lat: float, xs: np.ndarray, ys: np.ndarray) -> np.ndarray:
        """P(the whole station is in park n) for centres on a grid of metres off a place, shape (ys, xs).

        The disc is inside where the clearance exceeds its radius. That ground, on a raster whose cells at its
        edge count in part, is blurred by the joint error: good to some thousandths.
        """
        spread = float(np.hypot(self.errors.fix_m, self.errors.boundary_m[n]))
        return self._blurred(n, lon, lat, xs, ys, spread)

    def _blurred(self, n: int, lon: float, lat: float, xs, ys, spread: float) -> np.ndarray:
        x, y = (widen(axis, spread, self.step_m) for axis in (xs, ys))
        return self._blur(self._ground(n, lon, lat, x, y), xs, ys, spread)

    def _ground(self, n: int, lon: float, lat: float, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """How much of each cell of a raster has room for the station; cut from a larger one that is known."""
        wide_x, wide_y, raster = self.known.get((n, lon, lat), (x[:0], y[:0], None))
        i, j = (np.searchsorted(wide, axis[0] - self.step_m / 2) for wide, axis in ((wide_x, x), (wide_y, y)))
        part_x, part_y = wide_x[i : i + len(x)], wide_y[j : j + len(y)]
        if np.array_equal(part_x, x) and np.array_equal(part_y, y):
            return raster[j : j + len(y), i : i + len(x)]
        clear = metric.clearances_close_by(self.parks[n], lon, lat, x, y[:, None])
        raster = np.clip((clear - self.errors.radius_m) / self.step_m + 0.5, 0, 1)
        self.known[n, lon, lat] = x, y, raster
        return raster

    def _blur(self, raster: np.ndarray, xs, ys, spread: float) -> np.ndarray:
        """A raster on widened axes as a normal error blurs it, where it is asked for alone."""
        down, along = (weigh(len(axis), spread / self.step_m) for axis in (ys, xs))
        return down @ raster @ along.T

    def together(self, held: frozenset[int], touch, lon: float, lat: float, xs, ys) -> np.ndarray:
        """P(touching the cells claimed and in every one of some parks), shape (ys, xs).

        Boundaries err each by itself, the receiver once for all: what holds at a true place is multiplied
        there and blurred by the receiver's error. ``touch`` gives metres that a true centre has to spare.
        """
        fix = self.errors.fix_m
        x, y = (widen(axis, fix, self.step_m) for axis in (xs, ys))
        true = np.clip(touch(*np.meshgrid(x, y)) / self.step_m + 0.5, 0, 1)
        for n in sorted(held):
            true = true * self._blurred(n, lon, lat, x, y, float(self.errors.boundary_m[n]))
        return self._blur(true, xs, ys, fix)


def widen(axis: np.ndarray, spread: float, step_m: float) -> np.ndarray:
    """An axis of metres with room for five standard deviations at each end."""
    pad = np.arange(1, int(np.ceil(5 * spread / step_m)) + 1) * step_m
    return np.concatenate([axis[0] - pad[::-1], axis, axis[-1] + pad])


def weigh(count: int, sigma: float) -> np.ndarray:
    """Weights of a normal error of some steps: those of a widened axis for each tick of the axis itself."""
    pad = int(np.ceil(5 * sigma))
    off = np.arange(-pad, count + pad) - np.arange(count)[:, None]
    weights = np.exp(-0.5 * (off / sigma) ** 2)
    return weights / weights.sum(axis=1, keepdims=True)


def spare_at_corner(kind: int, quadrant: tuple[int, int], radius: float, x0: float = 0.0, y0: float = 0.0):
    """Metres that a true centre (x, y) off a place (x0, y0) off a corner has to spare for a claim there."""

    def corner(x, y):
        return radius - np.hypot(x + x0, y + y0)

    def three(x, y):
        east, north = quadrant[0] * (x + x0), quadrant[1] * (y + y0)
        square = np.minimum.reduce([east, north, radius - east, radius - north])
        return np.maximum(corner(x, y), square)

    def two(x, y):
        return radius - np.abs(y + y0 if quadrant[0] else x + x0)

    def one(x, y):
        return np.full_like(x, radius)

    return {4: corner, 3: three, 2: two, 1: one}[kind]


def spare_in_cell(lon: float, lat: float, level: int, radius: float):
    """Metres that a true centre (x, y) off a place has to spare to reach into the cell of that place.

    Of each line by itself, as the budget takes it: the tip of the cell counts up to 0.009 too much.
    """
    i, j = exact.cell(lon, lat, level)
    east, north = metric.degree_lengths(lat)
    turn = 360 * round((lon - exact.edge_lon(i, level)) / 360)
    west, to_east = ((exact.edge_lon(n, level) + turn - lon) * east for n in (i, i + 1))
    south, to_north = ((exact.edge_lat(n, level) - lat) * north for n in (j, j + 1))

    def spare(x, y):
        return radius - np.maximum.reduce([west - x, x - to_east, south - y, y - to_north])

    return spare


def at_corner(kind: int, quadrant: tuple[int, int], x, y, errors: Errors):
    """P(touching four cells, or three round the middle one in a quadrant), x, y metres off the corner."""
    if kind == 4:
        return budget.four_cells(x, y, errors.radius_m, errors.fix_m)
    sx, sy = quadrant
    return budget.three_cells(sx * np.asarray(x), sy * np.asarray(y), errors.radius_m, errors.fix_m)


def claimed(spot_locators: tuple[str, ...], node: Node, level: int) -> tuple[int, tuple[int, int]]:
    """How many cells round a corner are claimed, and the quadrant that tells which.

    Three: the middle one. Two: the side of the corner they lie on, (1, 0) for the two eastern cells. One:
    its own.
    """
    cells = answers.cells_at(node, level)
    marks = np.array([q for q, text in cells.items() if any(exact.same(text, got) for got in spot_locators)])
    assert len(marks) == len(spot_locators), f"{spot_locators} at {node}"
    total = marks.sum(axis=0)
    if len(marks) == 2:
        total = total // 2
        assert np.abs(total).sum() == 1, "two cells that meet only in the corner"
    return len(marks), (int(total[0]), int(total[1]))


def grids_p(kind: int, quadrant: tuple[int, int], x: float, y: float, errors: Errors) -> float:
    """P(the cells of a claim round a corner) for a centre x, y metres off it."""
    if kind >= 3:
        return float(at_corner(kind, quadrant, x, y, errors))
    if kind == 2:  # the two eastern cells are parted by the parallel, the two northern ones by the meridian
        return float(budget.line(abs(y) if quadrant[0] else abs(x), errors.radius_m, errors.fix_m))
    return 1.0


def best_at_corner(ground: Ground, held: frozenset[int], node: Node, level: int) -> float:
    """Highest confidence of a four-cell claim on a fine grid of centres round the corner."""
    lon, lat = exact.edge_lon(node[0], level), exact.edge_lat(node[1], level)
    errors = ground.errors
    most = int(np.ceil((errors.radius_m + errors.fix_m) / STEP_M))
    ticks = np.arange(-most, most + 1) * STEP_M
    touch = spare_at_corner(4, (0, 0), errors.radius_m)
    return float(ground.together(held, touch, lon, lat, ticks, ticks).max())


def best_on_stretch(ground: Ground, interval: Interval, level: int) -> float:
    """Highest confidence of a two-cell claim on points all along a stretch, which must not be long."""
    value = (exact.edge_lon if interval.meridian else exact.edge_lat)(interval.line, level)
    start, end = interval.start_deg, interval.end_deg
    middle = (value, (start + end) / 2) if interval.meridian else ((start + end) / 2, value)
    per_degree = metric.degree_lengths(middle[1])[1 if interval.meridian else 0]
    most = int((end - start) / 2 * per_degree / STEP_M)
    along, none = np.arange(-most, most + 1) * STEP_M, np.zeros(1)
    grid = (none, along) if interval.meridian else (along, none)
    touch = spare_at_corner(2, (0, 1) if interval.meridian else (1, 0), ground.errors.radius_m)
    return float(ground.together(interval.parks, touch, *middle, *grid).max())
