"""Contour lines around spots, traced through heights on a grid."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scout.model import Contours, Relief
from scout.page.packing import PageFrame, convert_to_units, pack_ring
from scout.walk.terrain import interpolate_heights

ROOM_FOR_CONTOURS = (
    26_000  # bytes of the page for all lines; where they do not fit they get fewer and coarser
)
_AROUND_KM = 1.2  # of every place; farther away there are none
_INTERVALS_M = (5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 250.0, 500.0)
_MOST_LEVELS = 30  # of a group, before room is asked for
# Steps to a wider interval, with the metres that lines may stray; tried in turn until all fit.
_TRIES = ((0, (8.0, 16.0)), (1, (8.0, 16.0)), (2, (8.0, 16.0)), (3, (16.0, 32.0)), (5, (32.0, 64.0)))
_CELL_M, _MOST_CELLS = 25.0, 400_000  # of the grid of a group, finer where few fit
_SHORTEST_M = 200.0  # shorter lines say more of the heights' noise than of the ground
_BYTES_PER_LINE = 4  # beside its text
_METRES_PER_DEG = 111_200.0
_NUDGE_M = 1e-7  # no height lies on a level, so that every line is simple

Floats = NDArray[np.float64]


def draw_contours(reliefs: Sequence[Relief], places: Floats, boxes: Sequence[Floats]) -> tuple[Contours, ...]:
    """Contour lines near places, those of one group with one interval.

    Parameters
    ----------
    reliefs : sequence of Relief
        Heights; the first that knows a place is asked.
    places : array, shape (n, 2)
        Longitude and latitude, degrees.
    boxes : sequence of array, shape (4,)
        West, south, east, north of the groups, degrees, the best first; east may pass 180.

    Returns
    -------
    tuple of Contours
        Together no more than `ROOM_FOR_CONTOURS` bytes of a page.
    """
    grids = [_sample(reliefs, places, box) for box in boxes]
    made: list[Contours] = []
    for wider, tolerances_m in _TRIES:
        # Only what is asked for is traced: on rough ground the first groups already take all the room.
        trace = cache(lambda k, wider=wider: _trace_group(*grids[k], wider))
        for tolerance_m in tolerances_m:
            made, room = [], ROOM_FOR_CONTOURS
            for k in range(len(grids)):
                drawn = _simplify_lines(trace(k), tolerance_m)
                if not drawn.lines:
                    continue
                room -= _count_bytes(drawn)
                if room < 0:
                    break
                made.append(drawn)
            if room >= 0:
                return tuple(made)
    return tuple(made)


def make_contour_data(contours: Sequence[Contours], frame: PageFrame) -> list[list[Any]]:
    """What the script draws: of each group its interval and ``[height, line, line, ...]`` for each height."""
    drawn: list[list[Any]] = []
    for one in contours:
        levels: dict[float, list[Any]] = {}
        for height, line in zip(one.heights_m, one.lines, strict=True):
            levels.setdefault(height, [_shorten(height)]).append(_pack_line(line, frame))
        drawn.append([_shorten(one.interval_m), list(levels.values())])
    return drawn


def _shorten(value: float) -> float | int:
    return int(value) if value == int(value) else value


def _pack_line(line: shapely.Geometry, frame: PageFrame) -> str:
    xy = shapely.get_coordinates(line)
    turn = float(frame.turns(xy[:, 0].mean()))
    return pack_ring(convert_to_units(np.column_stack([xy[:, 0] + turn, xy[:, 1]])))


def _count_bytes(contours: Contours) -> int:
    texts = [_pack_line(line, PageFrame()) for line in contours.lines]
    return sum(len(text) + _BYTES_PER_LINE for text in texts) + 10 * len(set(contours.heights_m)) + 10


def _sample(reliefs: Sequence[Relief], places: Floats, box: Floats) -> tuple[Floats, Floats, Floats]:
    """Heights on an even grid of degrees, NaN but near places: rows from the south, longitudes, latitudes."""
    shrink = _measure_shrink(box[[1, 3]])
    wide, high = _METRES_PER_DEG * np.array([shrink * (box[2] - box[0]), box[3] - box[1]])
    cell_m = max(_CELL_M, float(np.sqrt(wide * high / _MOST_CELLS)))
    lon = np.linspace(box[0], box[2], max(int(wide / cell_m), 2) + 1)
    lat = np.linspace(box[1], box[3], max(int(high / cell_m), 2) + 1)
    x, y = (axis.ravel() for axis in np.meshgrid(lon, lat))
    turned = places[:, 0] - 360.0 * np.round((places[:, 0] - (box[0] + box[2]) / 2) / 360.0)
    tree = cKDTree(np.column_stack([turned * shrink, places[:, 1]]))
    reach = 1000 * _AROUND_KM / _METRES_PER_DEG
    near = np.isfinite(tree.query(np.column_stack([x * shrink, y]), distance_upper_bound=reach)[0])
    heights = np.full(len(x), np.nan)
    heights[near] = interpolate_heights(reliefs, (x[near] + 180.0) % 360.0 - 180.0, y[near])
    return heights.reshape(len(lat), len(lon)), lon, lat


def _measure_shrink(lat: Floats) -> float:
    """A degree of longitude amid latitudes, in degrees of latitude."""
    return max(float(np.cos(np.radians(lat.mean()))), 0.02)


def _trace_group(heights_m: Floats, lon: Floats, lat: Floats, wider: int) -> Contours:
    """All lines of a group, with the interval that its relief asks for or some steps wider."""
    known = heights_m[np.isfinite(heights_m)]
    if not len(known):
        return Contours(_INTERVALS_M[0], (), ())
    relief_m = float(known.max() - known.min())
    at = sum(relief_m / step > _MOST_LEVELS for step in _INTERVALS_M)
    interval_m = _INTERVALS_M[min(at + wider, len(_INTERVALS_M) - 1)]
    first, last = np.floor(known.min() / interval_m) + 1, np.floor(known.max() / interval_m)
    lines: list[shapely.Geometry] = []
    heights: list[float] = []
    for level in (interval_m * np.arange(first, last + 1)).tolist():
        traced = shapely.get_parts(trace_contour(heights_m, lon, lat, level)).tolist()
        lines += traced
        heights += [level] * len(traced)
    return Contours(interval_m, lines, heights)


def _simplify_lines(contours: Contours, tolerance_m: float) -> Contours:
    """Lines strayed from by no more, without the shortest."""
    if not contours.lines:
        return contours
    lines = np.array(contours.lines, dtype=object)
    shrink = _measure_shrink(shapely.bounds(lines)[:, [1, 3]])
    flat = shapely.transform(lines, lambda xy: xy * [shrink, 1.0])
    long = shapely.length(flat) * _METRES_PER_DEG >= _SHORTEST_M
    simple = shapely.simplify(flat[long], tolerance_m / _METRES_PER_DEG)
    kept = shapely.transform(simple, lambda xy: xy / [shrink, 1.0])
    return Contours(contours.interval_m, tuple(kept), tuple(np.array(contours.heights_m)[long].tolist()))


def trace_contour(heights_m: Floats, x: Floats, y: Floats, level_m: float) -> shapely.Geometry:
    """The line along which heights on a grid have one value: marching squares.

    Each cell whose corners lie on both sides is crossed by one straight piece, or by two where opposite
    corners lie on the same side; the mean of the corners then says which two. Ends lie on the cell's sides,
    between the two heights there. Cells with an unknown corner are left out.

    Parameters
    ----------
    heights_m : array, shape (rows, columns)
        Finite or NaN.
    x, y : arrays, shapes (columns,) and (rows,)
        Where columns and rows lie, increasing.
    level_m : float

    Returns
    -------
    MultiLineString
        Closed where the line is; empty where no height lies on the other side.

    Examples
    --------
    >>> trace_contour(np.array([[0.0, 2.0], [0.0, 2.0]]), np.arange(2.0), np.arange(2.0), 0.5).wkt
    'MULTILINESTRING ((0.25 0, 0.25 1))'
    """
    z = np.where(heights_m == level_m, level_m + _NUDGE_M, heights_m) - level_m
    corners = (z[:-1, :-1], z[:-1, 1:], z[1:, 1:], z[1:, :-1])  # from the south-west, counter-clockwise
    row, column = np.nonzero((np.minimum.reduce(corners) < 0) & (np.maximum.reduce(corners) > 0))
    sw, se, ne, nw = (corner[row, column] for corner in corners)
    west, east, south, north = x[column], x[column + 1], y[row], y[row + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = {
            "s": np.column_stack([west + (east - west) * (sw / (sw - se)), south]),
            "n": np.column_stack([west + (east - west) * (nw / (nw - ne)), north]),
            "w": np.column_stack([west, south + (north - south) * (sw / (sw - nw))]),
            "e": np.column_stack([east, south + (north - south) * (se / (se - ne))]),
        }
    kind = (sw > 0) * 1 + (se > 0) * 2 + (ne > 0) * 4 + (nw > 0) * 8
    high = sw + se + ne + nw > 0
    pieces = []
    for number, choices in _PIECES.items():
        for chosen, joined in enumerate(choices):
            mine = (kind == number) & ((high == bool(chosen)) | (len(choices) == 1))
            pieces += [np.stack([ends[side][mine] for side in pair], axis=1) for pair in joined]
    merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(np.concatenate(pieces))))
    return shapely.multilinestrings(shapely.get_parts(merged))


# By the corners above the level (1 south-west, 2 south-east, 4 north-east, 8 north-west) the sides that a
# piece joins. Of the two with opposite corners above, first where the middle lies below, then where above.
_PIECES: dict[int, tuple[tuple[str, ...], ...]] = {
    1: (("ws",),),
    2: (("se",),),
    3: (("we",),),
    4: (("en",),),
    5: (("ws", "en"), ("wn", "se")),
    6: (("sn",),),
    7: (("wn",),),
    8: (("wn",),),
    9: (("sn",),),
    10: (("se", "wn"), ("ws", "en")),
    11: (("en",),),
    12: (("we",),),
    13: (("se",),),
    14: (("ws",),),
}
