"""Curved outlines made straight: arcs in well-known binaries become edges that stay within a stated distance.

GDAL would do it by a fixed angle, which for a wide arc leaves the boundary by metres and for small ones makes
more edges than anyone needs. Kinds of curves are those of ISO/IEC 13249-3 (SQL/MM), as ISO 19125 codes them.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

TOLERANCE_M = 0.1  # that an edge may lie off its arc
_WIDEST = np.radians(10.0)  # of an arc that becomes one edge, however small it is
_MOST = 10_000_000  # edges that the arcs of one layer may come to; beyond that it is no map of parks
_DEEPEST = 32  # geometries within geometries

_LINE, _POLYGON, _MULTI_LINE, _MULTI_POLYGON, _COLLECTION = 2, 3, 5, 6, 7
_CIRCULAR, _COMPOUND, _CURVED_POLYGON, _MULTI_CURVE, _MULTI_SURFACE = 8, 9, 10, 11, 12
_CURVED = (_CIRCULAR, _COMPOUND, _CURVED_POLYGON, _MULTI_CURVE, _MULTI_SURFACE)
# First bytes of binaries that may hold arcs: byte order and kind, of two to four dimensions.
_HEADS = frozenset(
    struct.pack(order + "BI", order == "<", code)
    for order in "<>"
    for kind in (*_CURVED, _COLLECTION)
    for code in (*(kind + more for more in (0, 1000, 2000, 3000)), kind | 0x80000000)
)

# And of those that may hold others.
_HOLDERS = frozenset(
    struct.pack(order + "BI", order == "<", (kind + more) | flags << 29)
    for order in "<>"
    for kind in (4, _MULTI_LINE, _MULTI_POLYGON, _COLLECTION, *_CURVED[1:])
    for more in (0, 1000, 2000, 3000)
    for flags in range(8)
)

Points = NDArray[np.float64]


def leave_out_deep(binaries: NDArray[np.object_]) -> NDArray[np.object_]:
    """Leave binaries empty in which geometries lie in geometries over 32 deep, as many as GDAL takes.

    GEOS calls itself for each level and would end the process. Only the first member of each is followed.
    """
    deep = [
        row
        for row, wkb in enumerate(binaries)
        if wkb is not None and bytes(wkb[9:14]) in _HOLDERS and _is_too_deep(bytes(wkb))
    ]
    if not deep:
        return binaries
    made = binaries.copy()
    made[deep] = b""
    return made


def _is_too_deep(wkb: bytes) -> bool:
    """Whether the first members go on beyond the deepest level."""
    at = 0
    for _ in range(_DEEPEST + 1):
        head = wkb[at : at + 5]
        if head not in _HOLDERS:
            return False
        code = int.from_bytes(head[1:], "little" if head[0] else "big")
        at += 13 if code & 0x20000000 else 9  # with a reference system; and how many there are
    return True


class TooManyEdges(Exception):
    """Raised for an outline whose arcs come to more edges than are made; the text is the reason."""


@dataclass
class ArcStraightener:
    """Makes the arcs of one layer straight; ``tolerance`` is in the unit of its coordinates."""

    tolerance: float
    left: int = _MOST

    def find_curved(self, binaries: NDArray[np.object_]) -> list[int]:
        """Rows of the binaries that may hold arcs."""
        return [row for row, wkb in enumerate(binaries) if wkb is not None and bytes(wkb[:5]) in _HEADS]

    def straighten(self, wkb: bytes) -> bytes:
        """Return the same geometry with edges for arcs, in two dimensions; as it is where it cannot be read.

        Raises
        ------
        TooManyEdges
        """
        try:
            made, _ = _Cursor(wkb, self).copy(0)
        except (struct.error, ValueError):
            return wkb
        return made

    def draw(self, points: Points) -> Points:
        """Return points along a circular string, given by its ends and one point between each two."""
        if len(points) < 3 or len(points) % 2 == 0 or not np.isfinite(points).all():
            return points
        ends, middles = points[::2], points[1::2]
        # From the same end whichever way round it is written, so that neighbours have the same edges.
        turned = (ends[:-1, 0] > ends[1:, 0]) | ((ends[:-1, 0] == ends[1:, 0]) & (ends[:-1, 1] > ends[1:, 1]))
        first = np.where(turned[:, None], ends[1:], ends[:-1])
        last = np.where(turned[:, None], ends[:-1], ends[1:])
        centre, radius, start, sweep = _measure_arcs(first, middles, last)
        step = 2 * np.arccos(np.clip(1 - self.tolerance / radius, np.cos(_WIDEST / 2), 1.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            count = np.ceil(np.abs(sweep) / step)
        arc = np.isfinite(sweep) & (sweep != 0)
        count[~arc] = 2.0  # on one line: the middle point stays
        if not np.isfinite(count).all() or count.sum() > self.left:
            raise TooManyEdges(f"its arcs come to over {_MOST:,} straight edges with those before them")
        self.left -= int(count.sum())
        sizes = np.maximum(count, 1.0).astype(np.int64)
        of = np.repeat(np.arange(len(sizes)), sizes)
        place = np.arange(len(of)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        # A turned arc is gone through from its other end.
        share = np.where(turned[of], sizes[of] - place, place) / sizes[of]
        angle = start[of] + sweep[of] * share
        drawn = centre[of] + radius[of, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        drawn[place == 0] = ends[:-1]
        straight = ~arc[of]
        drawn[straight & (place == 1)] = middles[~arc]
        return np.concatenate([drawn, ends[-1:]])


def _measure_arcs(
    first: Points, middle: Points, last: Points
) -> tuple[Points, NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Centre, radius, first angle and sweep of arcs through three points; a sweep of nan where on one line.

    Ends that agree make a whole circle, whose diameter goes from there to the middle point (SQL/MM).
    """
    a, b = middle - first, last - first
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    aa, bb = (a**2).sum(axis=1), (b**2).sum(axis=1)
    whole = bb == 0
    flat = ~whole & (np.abs(cross) <= 1e-12 * np.maximum(aa, bb))
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.column_stack([b[:, 1] * aa - a[:, 1] * bb, a[:, 0] * bb - b[:, 0] * aa]) / (
            2 * cross[:, None]
        )
    off[whole] = a[whole] / 2
    centre = first + off
    radius = np.hypot(off[:, 0], off[:, 1])
    start = np.arctan2(-off[:, 1], -off[:, 0])
    to_end = np.arctan2(b[:, 1] - off[:, 1], b[:, 0] - off[:, 0])
    turn = 2 * np.pi
    # The middle point lies left of the way from end to end where the arc turns right.
    sweep = np.where(cross < 0, -((start - to_end) % turn), (to_end - start) % turn)
    sweep[whole] = turn
    sweep[flat | ~np.isfinite(radius)] = np.nan
    sweep[whole & (aa == 0)] = np.nan
    return centre, np.where(radius > 0, radius, 1.0), start, sweep


class _Cursor:
    """A position in a well-known binary, from which geometries are copied."""

    def __init__(self, data: bytes, arcs: ArcStraightener) -> None:
        self.data, self.at, self.order, self.arcs = data, 0, "<", arcs

    def integer(self) -> int:
        (value,) = struct.unpack_from(self.order + "I", self.data, self.at)
        self.at += 4
        return int(value)

    def points(self, dimensions: int) -> Points:
        values = np.frombuffer(self.data, self.order + "f8", self.integer() * dimensions, self.at)
        self.at += values.nbytes
        return values.reshape(-1, dimensions)[:, :2].astype(float)

    def head(self) -> tuple[int, int]:
        """Kind and dimensions of the geometry that begins here."""
        self.order = "<" if self.data[self.at : self.at + 1] == b"\x01" else ">"
        self.at += 1
        code = self.integer()
        flags = bool(code & 0x80000000) + bool(code & 0x40000000)
        thousands, kind = divmod(code & 0x0FFFFFFF, 1000)
        return kind, 2 + (flags or (0, 1, 1, 2)[thousands % 4])

    def copy(self, depth: int) -> tuple[bytes, int]:
        """The geometry that begins here, straight, and its kind."""
        if depth > _DEEPEST:
            raise ValueError("too deep")
        begun = self.at
        kind, dimensions = self.head()
        if kind in (_LINE, _CIRCULAR, _COMPOUND):
            self.at = begun
            return _pack(_LINE, [_pack_run(self.curve(depth))]), _LINE
        if kind == _POLYGON:
            return _pack(
                kind, [_pack_run(self.points(dimensions)) for _ in range(self.integer())], True
            ), kind
        if kind == _CURVED_POLYGON:
            return _pack(
                _POLYGON, [_pack_run(self.curve(depth)) for _ in range(self.integer())], True
            ), _POLYGON
        if kind == 1:
            values = np.frombuffer(self.data, self.order + "f8", dimensions, self.at)
            self.at += values.nbytes
            return _pack(1, [values[:2].astype("<f8").tobytes()]), 1
        straight = {_MULTI_CURVE: _MULTI_LINE, _MULTI_SURFACE: _MULTI_POLYGON}.get(kind, kind)
        if straight not in (4, _MULTI_LINE, _MULTI_POLYGON, _COLLECTION):
            raise ValueError(kind)
        return _pack(straight, [self.copy(depth + 1)[0] for _ in range(self.integer())], True), straight

    def curve(self, depth: int) -> Points:
        """The points of the line, circular string or compound curve that begins here."""
        if depth > _DEEPEST:
            raise ValueError("too deep")
        kind, dimensions = self.head()
        if kind == _LINE:
            return self.points(dimensions)
        if kind == _CIRCULAR:
            return self.arcs.draw(self.points(dimensions))
        if kind != _COMPOUND:
            raise ValueError(kind)
        runs = [self.curve(depth + 1) for _ in range(self.integer())]
        if not runs:
            return np.empty((0, 2))
        # Each begins where the one before it ends.
        joined = [runs[0]]
        for before, run in pairwise(runs):
            same = len(before) and len(run) and np.array_equal(before[-1], run[0])
            joined.append(run[1:] if same else run)
        return np.concatenate(joined)


def _pack(kind: int, parts: list[bytes], counted: bool = False) -> bytes:
    count = struct.pack("<I", len(parts)) if counted else b""
    return struct.pack("<BI", 1, kind) + count + b"".join(parts)


def _pack_run(points: Points) -> bytes:
    return struct.pack("<I", len(points)) + points.astype("<f8").tobytes()
