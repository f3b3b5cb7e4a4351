"""Overlaps of two parks or more: every region with its exact set of parks, and where to stand in it."""

from __future__ import annotations

from collections.abc import Callable
from itertools import chain, pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cores import on_cores
from scout.geodesy import degree_lengths, wrap_lon
from scout.locator import index
from scout.outlines import Ints, ragged
from scout.spots.found import Found, judged
from scout.verdict import ONE, Claims, Ground, settle

__all__ = ["Regions", "in_regions", "overlap_regions", "overlapping_pairs"]

Geometries = NDArray[Any]
_ROWS = 500
_THIN_DEG = 1e-9


class Regions(NamedTuple):
    """Connected regions inside all parks of a set and outside all others; park lists end to end."""

    shape: Geometries
    first: Ints
    park: Ints


def overlapping_pairs(geometries: Geometries, tree: shapely.STRtree) -> tuple[Ints, Ints, Ints]:
    """Pairs ``a < b`` of parks that share a point, and the turn (0 or -1) that brings ``a`` to ``b``."""
    a, b = tree.query(geometries, predicate="intersects")
    keep = a < b
    pairs = [(a[keep], b[keep], np.zeros(keep.sum(), dtype=np.int64))]
    past = np.flatnonzero(shapely.bounds(geometries)[:, 2] > 180.0)
    if len(past):
        a, b = tree.query(_turned(geometries[past], -1), predicate="intersects")
        a = past[a]
        # Both past 180 means both already met above.
        keep = (a != b) & ~np.isin(b, past)
        pairs.append((a[keep], b[keep], np.full(keep.sum(), -1)))
    return tuple(np.concatenate(c) for c in zip(*pairs, strict=True))  # type: ignore[return-value]


def overlap_regions(geometries: Geometries, tree: shapely.STRtree) -> Regions:
    """Regions of every set of two parks or more, by arrangement of the outlines that meet there."""
    a, b, turn = overlapping_pairs(geometries, tree)
    left = geometries[a]
    if np.any(turn):
        left[turn != 0] = _turned(left[turn != 0], -1)
    both = _areas(_threaded(shapely.intersection, left, geometries[b]))
    real = shapely.area(both) > 0.0
    a, b, turn, both = a[real], b[real], turn[real], both[real]
    low, high = np.minimum(a, b), np.maximum(a, b)
    crowded = _others_inside(both, _common_neighbours(low, high), geometries)
    plain = np.array([not c for c in crowded], dtype=bool)
    parts, pair = _polygons(both[plain])
    shapes: list[Any] = list(parts)
    simple = np.flatnonzero(plain)[pair]
    sets: list[tuple[int, ...]] = list(zip(low[simple].tolist(), high[simple].tolist(), strict=True))
    for k in np.flatnonzero(~plain):
        for shape, members in _faces(both[k], int(low[k]), int(high[k]), crowded[k], geometries):
            shapes.append(shape)
            sets.append(members)
    sizes = np.array([len(s) for s in sets], dtype=np.int64)
    first = np.concatenate([[0], np.cumsum(sizes)])
    park = np.array(list(chain.from_iterable(sets)), dtype=np.int64)
    return _wide_enough(Regions(np.array(shapes, dtype=object), first, park))


def _turned(geometries: Geometries, turns: int) -> Geometries:
    moved: Geometries = shapely.transform(geometries, lambda xy: xy + np.array([360.0 * turns, 0.0]))
    return moved


def _threaded(work: Callable[..., Geometries], *columns: Geometries) -> Geometries:
    """A vectorised GEOS call over rows, in pieces of a few hundred."""
    cuts = [*range(0, len(columns[0]), _ROWS), len(columns[0])]
    done = on_cores(lambda rows: work(*(c[rows] for c in columns)), [slice(i, j) for i, j in pairwise(cuts)])
    return np.concatenate(done) if done else columns[0]


def _common_neighbours(low: Ints, high: Ints) -> list[set[int]]:
    """For each overlapping pair, the parks that overlap both."""
    near: dict[int, set[int]] = {}
    for p, q in zip(low.tolist(), high.tolist(), strict=True):
        near.setdefault(p, set()).add(q)
        near.setdefault(q, set()).add(p)
    return [near[p] & near[q] for p, q in zip(low.tolist(), high.tolist(), strict=True)]


def _others_inside(both: Geometries, crowded: list[set[int]], geometries: Geometries) -> list[set[int]]:
    """Of the parks that overlap both of each pair, those that reach into what the pair shares."""
    pair = np.repeat(np.arange(len(both)), [len(c) for c in crowded])
    other = np.array(list(chain.from_iterable(crowded)), dtype=np.int64)
    shapely.prepare(both)
    meets = shapely.intersects(both[pair], geometries[other])
    # Parks that run past 180 have other numbers for the same ground: the faces will tell.
    meets |= shapely.bounds(geometries[other]).reshape(-1, 4)[:, 2] > 180.0
    meets |= shapely.bounds(both[pair]).reshape(-1, 4)[:, 2] > 180.0
    inside: list[set[int]] = [set() for _ in crowded]
    for p, q in zip(pair[meets].tolist(), other[meets].tolist(), strict=True):
        inside[p].add(q)
    return inside


def _areas(shapes: Geometries) -> Geometries:
    """The shapes without the points and lines that parks share besides areas."""
    mixed = np.flatnonzero(shapely.get_type_id(shapes) == 7)
    if len(mixed) == 0:
        return shapes
    parts, row = _polygons(shapes[mixed])
    plain = shapes.copy()
    for k, number in enumerate(mixed.tolist()):
        plain[number] = shapely.multipolygons(parts[row == k])
    return plain


def _polygons(shapes: Geometries) -> tuple[Geometries, Ints]:
    """Polygon parts with area, and the row each is of; intersections also hold points and lines."""
    parts, row = shapely.get_parts(shapes, return_index=True)
    inner, again = shapely.get_parts(parts, return_index=True)  # collections within collections
    keep = (shapely.get_type_id(inner) == 3) & (shapely.area(inner) > 0.0)
    return inner[keep], row[again][keep]


def _faces(
    region: Any, low: int, high: int, others: set[int], geometries: Geometries
) -> list[tuple[Any, tuple[int, ...]]]:
    """Parts of the region of a pair, by their exact set; only sets whose first two are this pair."""
    names = np.array(sorted(others))
    middle = shapely.bounds(region)[[0, 2]].mean()
    bounds = shapely.bounds(geometries[names])
    shift = np.rint((middle - (bounds[:, 0] + bounds[:, 2]) / 2) / 360.0).astype(int)
    shapes = np.array([_turned(g, t) if t else g for g, t in zip(geometries[names], shift, strict=True)])
    lines = shapely.union_all([shapely.boundary(region), *shapely.boundary(shapes)])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    # The middle of a face, not just any point of it: that may lie in a sliver made by rounding.
    points = shapely.get_point(shapely.maximum_inscribed_circle(faces, tolerance=_tolerance(faces)), 0)
    faces, points = faces[ok := shapely.contains(region, points)], points[ok]
    held = shapely.contains(shapes[:, None], points[None, :])
    by_set: dict[tuple[int, ...], list[Any]] = {}
    for column, face in enumerate(faces):
        members = tuple(sorted({low, high, *names[held[:, column]].tolist()}))
        if members[:2] == (low, high):
            by_set.setdefault(members, []).append(face)
    return [
        (part, members)
        for members, alike in by_set.items()
        for part in _polygons(np.array([shapely.union_all(alike)]))[0]
    ]


def in_regions(regions: Regions, ground: Ground) -> Found:
    """One spot per region: the middle of its largest circle, moved where that is surer and still inside."""
    lon, lat = _middles(regions.shape)
    claims = Claims(wrap_lon(lon), lat, np.full(len(lon), ONE), regions.first, regions.park)
    reach = np.full(len(lon), 2 * ground.station.radius_m)
    east, north = settle(claims, ground, (-reach, -reach), (reach, reach))
    per_lon, per_lat = degree_lengths(lat)
    left = ~shapely.contains_xy(regions.shape, lon + east / per_lon, lat + north / per_lat)
    east[left] = north[left] = 0.0
    i, j = index(wrap_lon(lon + east / per_lon), lat + north / per_lat, ground.level)
    return judged("overlap", i.astype(np.int64), j.astype(np.int64), claims, (east, north), ground)


def _wide_enough(regions: Regions) -> Regions:
    """Without what only rounding made: faces thinner than a tenth of a millimetre."""
    thickness = 2 * shapely.area(regions.shape) / np.maximum(shapely.length(regions.shape), 1e-300)
    keep = np.flatnonzero(thickness > _THIN_DEG)
    sizes = np.diff(regions.first)[keep]
    _, members = ragged(regions.first[keep], sizes)
    return Regions(regions.shape[keep], np.concatenate([[0], np.cumsum(sizes)]), regions.park[members])


def _middles(shapes: Geometries) -> tuple[Any, Any]:
    """Centres of the largest circles inside, by metres: longitudes are shrunk as their latitude asks."""
    if len(shapes) == 0:
        return np.empty(0), np.empty(0)
    bounds = shapely.bounds(shapes)
    per_lon, per_lat = degree_lengths((bounds[:, 1] + bounds[:, 3]) / 2)
    shrink = per_lon / per_lat
    factor = np.repeat(shrink, shapely.get_num_coordinates(shapes))
    flat = shapely.set_coordinates(
        shapes.copy(), shapely.get_coordinates(shapes) * np.stack([factor, np.ones_like(factor)], axis=1)
    )
    radii = _threaded(lambda g, t: shapely.maximum_inscribed_circle(g, tolerance=t), flat, _tolerance(flat))
    xy = shapely.get_coordinates(shapely.get_point(radii, 0))
    return xy[:, 0] / shrink, xy[:, 1]


def _tolerance(shapes: Geometries) -> Any:
    """Near enough to a middle; finer would count cells without end in a long thin shape."""
    bounds = shapely.bounds(shapes)
    size = np.hypot(bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1])
    return np.maximum(0.1 * shapely.area(shapes) / shapely.length(shapes), size / 1000)
