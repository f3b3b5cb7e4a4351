"""A search in parts: tiles of the lattice, each with the parks it needs.

What is found in a tile does not depend on how the lattice is cut: every place belongs to one tile by the
numbers of its cell, and a tile is searched with all that touches those places.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import InputError, SettingName
from scout.geo.antimeridian import Box, meets_box
from scout.geo.boundaries import Floats, Ints
from scout.geo.locator import count_columns, get_column_number, get_row_number
from scout.quantities import MeasuredText
from scout.search.scan import CellWindow

Bools = NDArray[np.bool_]
_REPEATED = 4000  # parks; fewer in one place that overlap are refused when their pairs are known
_MOST_ROWS = 512
_ROWS = 64  # boxes asked about at first; more or fewer, by what is found
_LOT = 1_000_000  # pairs of boxes at a time, about
_MOST_PAIRS = 5_000_000  # in a tile; of real parks one has some tens of others over or beside it
_MARGIN = 2  # cells: a stretch ends at corners, whose own cells lie one further


class Tile(NamedTuple):
    """A part of the lattice: the places in the cells of ``core``, for which ``window`` is searched."""

    core: CellWindow | None  # None: all there is
    window: CellWindow | None
    parks: Ints
    overlapping: Bools  # of these parks, those whose overlaps are wanted


def is_near_lines(bounds: Floats, level: int, near_m: float) -> Bools:
    """Which bounds (west, south, east, north, degrees, shape (n, 4)) come near a lattice line."""
    west, south, east, north = bounds.T
    # The ellipsoid is nowhere narrower than a sphere of its greatest radius.
    per_lon = 111_319.0 * np.cos(np.radians(np.minimum(np.maximum(-south, north), 89.999)))
    n = count_columns(level)
    dx, dy = near_m / per_lon * n / 360 + 1e-6, near_m / 110_574 * n / 180 + 1e-6
    x0, x1 = get_column_number(west, level) - dx, get_column_number(east, level) + dx
    y0, y1 = get_row_number(south, level) - dy, get_row_number(north, level) + dy
    near: Bools = (np.floor(x0) != np.floor(x1)) | (np.floor(y0) != np.floor(y1))
    return near


def check_repeated(bounds: Floats) -> None:
    """Refuse parks by the thousand with the very same bounds, before they are taken in pairs.

    Raises
    ------
    InputError
    """
    box = pd.DataFrame(bounds[np.isfinite(bounds[:, 0])])
    again = box[box.duplicated(keep=False)]
    most = int(again.value_counts().max()) if len(again) > _REPEATED else 0
    if most > _REPEATED:
        what = f"{most:,} of the {len(box):,} parks have the same bounds: the same ground is there many times"
        remedy = MeasuredText("join records with ", SettingName("id-column"), ", or export each park once")
        raise InputError("overlaps", what, remedy)


def find_meeting(bounds: Floats) -> Bools:
    """Which bounds meet another's, on whatever turn of the globe."""
    boxes, of = _make_boxes(bounds)
    found = np.zeros(len(bounds), dtype=bool)
    # What another has met already needs no question: where all meet all, a few answer for the rest.
    for a, b in query_in_lots(shapely.STRtree(boxes), boxes, lambda rows: rows[~found[of[rows]]]):
        met = of[a] != of[b]
        found[of[a[met]]] = found[of[b[met]]] = True
    return found


def query_in_lots(
    tree: shapely.STRtree, shapes: NDArray[np.object_], choose: Callable[[Ints], Ints] = lambda rows: rows
) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of shapes and of those in a tree whose bounds meet, so many at a time that they find room.

    ``choose`` gives of some rows of ``shapes``, ascending, those that are to be asked about.
    """
    first, rows = 0, _ROWS
    while first < len(shapes):
        some = choose(np.arange(first, min(first + rows, len(shapes))))
        a, b = tree.query(shapes[some])
        yield some[a], b
        first += rows
        # However few there were so far, the next may be among the thousands that lie over each other.
        rows = min(2 * rows, _MOST_ROWS) if len(a) < _LOT else max(rows // 4, 1)


def _make_boxes(bounds: Floats) -> tuple[NDArray[np.object_], Ints]:
    """Boxes on every turn that the globe needs, and the row each is of."""
    west, south, east, north = bounds.T
    sound = np.flatnonzero(np.isfinite(west))
    boxes, of = [shapely.box(*bounds[sound].T)], [sound]
    for turn, outside in ((360.0, west < -179.9), (-360.0, east > 179.9)):
        some = sound[outside[sound]]
        boxes.append(shapely.box(west[some] + turn, south[some], east[some] + turn, north[some]))
        of.append(some)
    return np.concatenate(boxes), np.concatenate(of)


def cut_into_tiles(
    bounds: Floats, level: int, near_m: float, overlaps: Bools, window: CellWindow | None, most: int
) -> list[Tile]:
    """Cut a search into tiles.

    Parameters
    ----------
    bounds : array, shape (n, 4)
        Degrees, of the parks that matter.
    level : int
    near_m : float
        How far a near miss may lie.
    overlaps : array of bool, shape (n,)
        Parks whose overlaps are wanted.
    window : CellWindow, optional
        The part of the lattice to search.
    most : int
        Parks in a tile, about; those near its edges come on top.
    """
    count = len(bounds)
    if count <= most:
        return [Tile(window, window, np.arange(count), overlaps)]
    n = count_columns(level)
    whole = window or CellWindow(0, 0, n, n)
    x, y = get_column_number(bounds[:, [0, 2]], level), get_row_number(bounds[:, [1, 3]], level)
    middle = np.stack([x.mean(axis=1), y.mean(axis=1)], axis=1)
    middle[:, 0] = (middle[:, 0] - whole.west) % n + whole.west
    lines, tree = is_near_lines(bounds, level, near_m), _OverlapTree.build(bounds, overlaps)
    parks = _UsefulParks(bounds, np.arange(count), lines, tree, level, near_m)
    return [parks.make_tile(core, window) for core in _cut_tile(whole, middle, most, n // 2)]


def narrow_tile(
    tile: Tile, core: CellWindow, geometries: NDArray[np.object_], level: int, near_m: float
) -> Tile:
    """A tile with those of its parks, by row of ``geometries``, that matter there by their parts' bounds.

    A tile is cut by bounds: those of a park cut at 180 say nothing of where it lies, and many parks seem to
    lie over one that has its parts far from each other.
    """
    parts, of = shapely.get_parts(geometries, return_index=True)
    bounds = shapely.bounds(parts).reshape(-1, 4)
    lines, tree = is_near_lines(bounds, level, near_m), _OverlapTree.build(bounds, tile.overlapping[of])
    try:
        return _UsefulParks(bounds, of, lines, tree, level, near_m).make_tile(core, tile.window)
    except InputError:  # parts without number, the parks of which are not too many
        return tile._replace(parks=np.arange(len(geometries)))


def _cut_tile(core: CellWindow, middle: Floats, most: int, widest: int) -> Iterator[CellWindow]:
    """Halves of halves, until each holds few enough middles; here ``east`` and ``north`` do not belong."""
    wide, high = core.east - core.west, core.north - core.south
    # No wider than half the globe: with its margins a window must not meet itself on the other side.
    if (len(middle) <= most and wide <= widest) or max(wide, high) < 2:
        yield core
        return
    axis = 0 if wide >= high or wide > widest else 1
    low, beyond = (core.west, core.east) if axis == 0 else (core.south, core.north)
    at = int(np.median(middle[:, axis])) if len(middle) > most else (low + beyond) // 2
    at = min(max(at, low + 1), beyond - 1)
    before = middle[:, axis] < at
    first = core._replace(east=at) if axis == 0 else core._replace(north=at)
    second = core._replace(west=at) if axis == 0 else core._replace(south=at)
    yield from _cut_tile(first, middle[before], most, widest)
    yield from _cut_tile(second, middle[~before], most, widest)


class _OverlapTree(NamedTuple):
    """The bounds of what has its overlaps wanted, to be asked for by ground."""

    tree: shapely.STRtree
    boxes: NDArray[np.object_]
    of: Ints  # rows of the bounds

    @classmethod
    def build(cls, bounds: Floats, overlaps: Bools) -> _OverlapTree:
        rows = np.flatnonzero(overlaps)
        boxes, of = _make_boxes(bounds[rows])
        return cls(shapely.STRtree(boxes), boxes, rows[of])

    def find_reaching(self, box: Box) -> Ints:
        """Rows that share ground in a box, and all that reach into what those share, also beyond it."""
        turns = np.array([-360.0, 0.0, 360.0])
        ground = shapely.box(box[0] + turns, box[1], box[2] + turns, box[3])
        some = self.boxes[np.unique(self.tree.query(ground)[1])]
        pairs, count = [np.empty((2, 0), dtype=np.int64)], 0
        for a, b in query_in_lots(shapely.STRtree(some), some):
            pairs.append(np.stack([a[a < b], b[a < b]]))
            count += len(pairs[-1][0])
            if count > _MOST_PAIRS:
                what = f"over {_MOST_PAIRS:,} pairs of {len(some):,} parks lie over each other in one region"
                raise InputError(
                    "overlaps", what, MeasuredText("leave these out with ", SettingName("min-grids", 2))
                )
        a, b = np.concatenate(pairs, axis=1)
        west, south, east, north = shapely.bounds(some).reshape(-1, 4).T
        shared = shapely.box(
            np.maximum(west[a], west[b]),
            np.maximum(south[a], south[b]),
            np.minimum(east[a], east[b]),
            np.minimum(north[a], north[b]),
        )
        inside = np.unique(shapely.STRtree(shared).query(ground)[1])
        return np.unique(self.of[self.tree.query(shared[inside])[1]])


class _UsefulParks(NamedTuple):
    """All parks that come near a line or overlap another, by the bounds of each or of its parts."""

    bounds: Floats
    of: Ints  # the park that each is of
    lines: Bools
    tree: _OverlapTree
    level: int
    near_m: float

    def make_tile(self, core: CellWindow, whole: CellWindow | None) -> Tile:
        n = count_columns(self.level)
        west, south, east, north = np.array(core) + np.array([-_MARGIN, -_MARGIN, _MARGIN, _MARGIN])
        window = CellWindow(int(west), max(int(south), 0), int(east), min(int(north), n))
        if whole is not None:  # what lies outside is not to be found by way of a margin
            window = window._replace(
                south=max(window.south, whole.south), north=min(window.north, whole.north)
            )
            if not whole.goes_round(n):
                window = window._replace(west=max(window.west, whole.west), east=min(window.east, whole.east))
        near = self.lines & meets_box(self.bounds, _find_tile_ground(window, n, self.near_m))
        on_lines = np.unique(self.of[near])
        overlapping = np.unique(self.of[self.tree.find_reaching(_find_tile_ground(core, n, 1.0))])
        parks = np.union1d(on_lines, overlapping)
        return Tile(core, window, parks, np.isin(parks, overlapping))


def _find_tile_ground(window: CellWindow, n: int, near_m: float) -> Box:
    """The ground of some cells and what is near, in degrees."""
    west, east = (360.0 * edge / n - 180.0 for edge in (window.west, window.east))
    south, north = (180.0 * edge / n - 90.0 for edge in (window.south, window.north))
    high = near_m / 110_000.0 + 1e-6
    wide = high / max(np.cos(np.radians(min(max(abs(south), abs(north)) + high, 89.9))), 1e-6)
    return west - wide, south - high, east + wide, north + high
