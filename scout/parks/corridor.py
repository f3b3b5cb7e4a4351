"""Corridors: all ground within so many metres of a line, such as a trail or a river.

Error budget, each in metres: arcs 0.03 + 0.003 % of the half-width, thinning of the line 0.01 and of the
outline 0.02, edges straight in longitude and latitude drawn straight in the plane 0.02, the plane itself
under 0.001 % within 30 km. Together below 0.1 m + 0.01 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geodesy import A_M, LocalFrame, degree_lengths
from scout.outlines import polygonal_parts

__all__ = ["WIDEST_M", "corridor"]

WIDEST_M = 10_000.0  # half-width; wider is no corridor, and the plane would no longer do
_LONGEST_EDGE_M = 1000.0
_PIECE_M = 10_000.0
_STRAY_M = 0.02  # between an edge straight in degrees and one straight in the plane
_ARC_M, _ARC_SHARE = 0.03, 3e-5
_THIN_LINE_M, _THIN_OUTLINE_M = 0.01, 0.02
_NEAREST_POLE_DEG = 89.5

Points = NDArray[np.float64]


def corridor(line: shapely.Geometry, half_width_m: float) -> shapely.Geometry | None:
    """The corridor of a line, with round ends.

    Parameters
    ----------
    line : LineString or MultiLineString
        In degrees, longitudes continuous in each part; edges are straight in longitude and latitude.
    half_width_m : float
        To either side, 0 to `WIDEST_M`.

    Returns
    -------
    Polygon, MultiPolygon or None
        Valid, right to 0.1 m + 0.01 % of the half-width. None beyond latitude 89.5, where longitude turns
        too fast for an outline in degrees.
    """
    south, north = line.bounds[1], line.bounds[3]
    if max(north, -south) + half_width_m / 111_000 > _NEAREST_POLE_DEG:
        return None
    pieces = []
    for part in shapely.get_parts(line):
        dense = _densified(shapely.get_coordinates(part))
        pieces += [_around(piece, half_width_m) for piece in _pieces(dense)]
    whole = shapely.union_all(pieces)
    return (
        whole
        if whole.is_valid
        else polygonal_parts(shapely.make_valid(whole, method="structure", keep_collapsed=False))
    )


def _edge_lengths(run: Points) -> NDArray[np.float64]:
    per_lon, per_lat = degree_lengths((run[:-1, 1] + run[1:, 1]) / 2)
    step = np.diff(run, axis=0)
    lengths: NDArray[np.float64] = np.hypot(step[:, 0] * per_lon, step[:, 1] * per_lat)
    return lengths


def _longest_edge(lat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Metres that an edge may have and, straight in degrees or in the plane, stray less than ``_STRAY_M``.

    The sagitta of a parallel's arc of length L is L^2 tan(lat) / 8 a.
    """
    steep = np.maximum(np.tan(np.radians(np.minimum(np.abs(lat), _NEAREST_POLE_DEG))), 1e-6)
    longest: NDArray[np.float64] = np.minimum(_LONGEST_EDGE_M, np.sqrt(8 * A_M * _STRAY_M / steep))
    return longest


def _densified(run: Points) -> Points:
    """The run with more vertices, so that edges may be drawn straight in the plane."""
    longest = _longest_edge(np.maximum(np.abs(run[:-1, 1]), np.abs(run[1:, 1])))
    counts = np.maximum(np.ceil(_edge_lengths(run) / longest).astype(int), 1)
    edge = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts)) / np.repeat(counts, counts)
    dense = run[edge] + (run[edge + 1] - run[edge]) * share[:, None]
    return np.concatenate([dense, run[-1:]])


def _pieces(run: Points) -> Iterator[Points]:
    along = np.concatenate([[0.0], np.cumsum(_edge_lengths(run))])
    cuts = np.flatnonzero(np.diff((along / _PIECE_M).astype(int))) + 1
    ends = [0, *cuts.tolist(), len(run) - 1]
    for start, end in pairwise(ends):
        if end > start:
            yield run[start : end + 1]


def _around(piece: Points, half_width_m: float) -> shapely.Geometry:
    lon, lat = (piece.min(axis=0) + piece.max(axis=0)) / 2
    frame = LocalFrame(float(lon), float(lat))
    line = shapely.simplify(shapely.linestrings(np.column_stack(frame.forward(*piece.T))), _THIN_LINE_M)
    run = shapely.get_coordinates(line)
    # Segment by segment: a buffer of the whole line is not exact, it thins the line by a share of the width.
    segments = shapely.linestrings(np.stack([run[:-1], run[1:]], axis=1))
    stadiums = shapely.buffer(segments, half_width_m, quad_segs=_quarter_arcs(half_width_m))
    outline = shapely.simplify(shapely.union_all(stadiums), _THIN_OUTLINE_M)
    poleward = np.abs(piece[:, 1]).max(keepdims=True) + half_width_m / 111_000
    outline = shapely.segmentize(outline, _longest_edge(poleward)[0])

    def degrees(points: Points) -> Points:
        east, north = frame.inverse(*points.T)
        return np.column_stack([lon + (east - lon + 180) % 360 - 180, north])

    return shapely.transform(outline, degrees)


def _quarter_arcs(radius_m: float) -> int:
    """Edges per quarter circle: an edge of angle t lies r (1 - cos t/2) inside the circle."""
    inside = min(_ARC_M + _ARC_SHARE * radius_m, radius_m / 2)
    return max(math.ceil(math.pi / 4 / math.acos(1 - inside / radius_m)), 4)
