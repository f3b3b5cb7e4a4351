"""Overlaps of two parks or more: every region with its exact set of parks, and where to stand in it."""

from __future__ import annotations

from itertools import chain, pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.confidence import DOUBTFUL, sigma
from scout.cores import by_rows
from scout.geodesy import degree_lengths, wrap_lon
from scout.locator import index
from scout.outlines import Floats, Ints, ragged
from scout.spots.found import Found, of_judged
from scout.spots.middles import middles
from scout.spots.sharing import most_pieces, refuse_pieces, refuse_tangle, share
from scout.verdict import BENT, ONE, Claims, Ground, Judged, estimate, sharpened, stand

__all__ = [
    "Regions",
    "areas_of",
    "beside",
    "in_regions",
    "overlap_regions",
    "overlapping_pairs",
    "turned",
    "wide_polygons",
]

Geometries = NDArray[Any]
_PREPARED = 200_000  # vertices of the shapes prepared at once
_THIN_DEG = 1e-9


class Regions(NamedTuple):
    """Connected regions inside all parks of a set and outside all others; park lists end to end."""

    shape: Geometries
    first: Ints
    park: Ints
    parted: NDArray[np.bool_]  # whether another park reaches into what the first two parks share


def overlapping_pairs(geometries: Geometries, tree: shapely.STRtree) -> tuple[Ints, Ints, Ints]:
    """Pairs ``a < b`` of parks that share a point, and the turn (0 or -1) that brings ``a`` to ``b``."""
    a, b = tree.query(geometries)  # by bounds alone: each pair comes twice, the exact test is for one
    keep = a < b
    a, b = a[keep], b[keep]
    meets = _intersects(geometries, a, geometries[b])
    pairs = [(a[meets], b[meets], np.zeros(meets.sum(), dtype=np.int64))]
    past = np.flatnonzero(shapely.bounds(geometries)[:, 2] > 180.0)
    if len(past):
        a, b = tree.query(turned(geometries[past], -1), predicate="intersects")
        a = past[a]
        # Both past 180 means both already met above.
        keep = (a != b) & ~np.isin(b, past)
        pairs.append((a[keep], b[keep], np.full(keep.sum(), -1)))
    return tuple(np.concatenate(c) for c in zip(*pairs, strict=True))  # type: ignore[return-value]


def overlap_regions(geometries: Geometries, tree: shapely.STRtree) -> Regions:
    """Regions of every set of two parks or more: what pairs share, split by the others that reach into it."""
    a, b, turn = overlapping_pairs(geometries, tree)
    refuse_tangle(a, b, len(geometries))
    left = geometries[a]
    if np.any(turn):
        left[turn != 0] = turned(left[turn != 0], -1)
    most = most_pieces(len(geometries))
    both = areas_of(share(left, geometries[b], most))
    real = shapely.area(both) > 0.0
    a, b, both = a[real], b[real], both[real]
    low, high = np.minimum(a, b), np.maximum(a, b)
    others = _others_inside(both, _common_neighbours(low, high), geometries)
    plain = np.array([not c for c in others], dtype=bool)
    crowded = np.flatnonzero(~plain).tolist()
    pieces, sets = _split(
        both[~plain],
        list(zip(low[~plain].tolist(), high[~plain].tolist(), strict=True)),
        [sorted(others[k]) for k in crowded],
        geometries,
        most,
    )
    sets = [*zip(low[plain].tolist(), high[plain].tolist(), strict=True), *sets]
    shapes, row = wide_polygons(np.concatenate([both[plain], pieces]))
    sizes = np.array([len(s) for s in sets], dtype=np.int64)
    park = np.array(list(chain.from_iterable(sets)), dtype=np.int64)
    _, members = ragged((np.cumsum(sizes) - sizes)[row], sizes[row])
    first = np.concatenate([[0], np.cumsum(sizes[row])])
    return Regions(shapes, first, park[members], row >= np.count_nonzero(plain))


def _intersects(shapes: Geometries, row: Ints, others: Geometries) -> NDArray[np.bool_]:
    """Whether the shapes at some rows, ascending, share a point with others.

    Each is prepared while it is asked and no longer: that takes more memory than the shape itself.
    """
    asked, first = np.unique(row, return_index=True)
    block = np.cumsum(shapely.get_num_coordinates(shapes[asked])) // _PREPARED
    cuts = np.append(first[np.flatnonzero(np.diff(block, prepend=-1))], len(row)).tolist()
    meets = [np.empty(0, dtype=bool)]
    for i, j in pairwise(cuts):
        some = shapes[np.unique(row[i:j])]
        shapely.prepare(some)
        meets.append(by_rows(shapely.intersects, shapes[row[i:j]], others[i:j], apart=row[i:j]))
        shapely.destroy_prepared(some)
    return np.concatenate(meets)


def turned(geometries: Geometries, turns: int) -> Geometries:
    """The shapes, so many times round the globe further east."""
    moved: Geometries = shapely.transform(geometries, lambda xy: xy + np.array([360.0 * turns, 0.0]))
    return moved


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
    meets = _intersects(both, pair, geometries[other])
    # Parks that run past 180 have other numbers for the same ground: the faces will tell.
    meets |= shapely.bounds(geometries[other]).reshape(-1, 4)[:, 2] > 180.0
    meets |= shapely.bounds(both[pair]).reshape(-1, 4)[:, 2] > 180.0
    inside: list[set[int]] = [set() for _ in crowded]
    for p, q in zip(pair[meets].tolist(), other[meets].tolist(), strict=True):
        inside[p].add(q)
    return inside


def areas_of(shapes: Geometries) -> Geometries:
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
    kind = shapely.get_type_id(shapes)
    whole, mixed = np.flatnonzero(kind == 3), np.flatnonzero(kind != 3)
    parts, of = shapely.get_parts(shapes[mixed], return_index=True)
    inner, again = shapely.get_parts(parts, return_index=True)  # collections within collections
    areal = shapely.get_type_id(inner) == 3
    pieces = np.concatenate([shapes[whole], inner[areal]])
    row = np.concatenate([whole, mixed[of[again[areal]]]])
    order = np.argsort(row, kind="stable")
    order = order[shapely.area(pieces[order]) > 0.0]
    return pieces[order], row[order]


def _split(
    shapes: Geometries,
    sets: list[tuple[int, ...]],
    others: list[list[int]],
    geometries: Geometries,
    most: int,
) -> tuple[Geometries, list[tuple[int, ...]]]:
    """Parts of what pairs share, by their exact set; only sets whose first two are the pair.

    One other park of every pair is taken at a time: all shapes are parted into inside and outside at once.
    """
    pair = np.arange(len(shapes))
    for turn in range(max((len(some) for some in others), default=0)):
        rows = np.array([k for k, p in enumerate(pair.tolist()) if turn < len(others[p])], dtype=np.int64)
        other = np.array([others[p][turn] for p in pair[rows].tolist()], dtype=np.int64)
        knives = beside(geometries[other], shapes[rows])
        # With a park before the second of the pair, the set belongs to another pair.
        second = np.array([sets[k][1] for k in rows.tolist()], dtype=np.int64)
        mine = other > second
        inside = areas_of(by_rows(shapely.intersection, shapes[rows[mine]], knives[mine]))
        shapes[rows] = areas_of(by_rows(shapely.difference, shapes[rows], knives))
        more = zip(rows[mine].tolist(), other[mine].tolist(), strict=True)
        sets = [*sets, *((*sets[k], n) for k, n in more)]
        shapes, pair = np.concatenate([shapes, inside]), np.concatenate([pair, pair[rows[mine]]])
        real = np.flatnonzero(shapely.area(shapes) > 0.0)
        shapes, pair, sets = shapes[real], pair[real], [sets[k] for k in real.tolist()]
        if int(shapely.get_num_geometries(shapes).sum()) > most:
            refuse_pieces(most)
    return shapes, sets


def beside(parks: Geometries, shapes: Geometries) -> Geometries:
    """The parks, turned to the side of the globe where the shapes are."""
    middles = [shapely.bounds(some).reshape(-1, 4)[:, [0, 2]].mean(axis=1) for some in (shapes, parks)]
    turns = np.rint((middles[0] - middles[1]) / 360.0).astype(int)
    moved = parks.copy()
    for turn in np.unique(turns[turns != 0]).tolist():
        moved[turns == turn] = turned(parks[turns == turn], turn)
    return moved


def in_regions(regions: Regions, ground: Ground) -> Found:
    """One spot per region: about the middle of its largest circle, moved where that is surer and inside."""
    lon, lat = middles(regions.shape, _plenty_m(ground))
    claims = Claims(wrap_lon(lon), lat, np.full(len(lon), ONE), regions.first, regions.park)
    everywhere = np.arange(len(lon))
    east, north, verdicts, promised = _settled(regions, claims, everywhere, lon, ground)
    bent = np.flatnonzero((promised - verdicts.confidence > BENT) & (promised >= DOUBTFUL))
    if len(bent):
        x, y, new, _ = _settled(regions, claims, bent, lon, ground, exact=True)
        better = np.flatnonzero(new.confidence > verdicts.confidence[bent])
        _, members = ragged(claims.rows(bent).first[better], np.diff(claims.first)[bent[better]])
        verdicts = verdicts.replaced(claims.first, bent[better], new.rows(better, members))
        east[bent[better]], north[bent[better]] = x[better], y[better]
    per_lon, per_lat = degree_lengths(lat)
    i, j = index(wrap_lon(lon + east / per_lon), lat + north / per_lat, ground.level)
    return of_judged("overlap", i.astype(np.int64), j.astype(np.int64), claims, (east, north), verdicts)


def _settled(
    regions: Regions, claims: Claims, rows: Ints, lon: Floats, ground: Ground, exact: bool = False
) -> tuple[Floats, Floats, Judged, Floats]:
    """Where to stand for some claims, inside their region; the verdicts, and what was estimated."""
    claims, shapes, lon = claims.rows(rows), regions.shape[rows], lon[rows]
    reach = np.full(len(lon), 2 * ground.station.radius_m)
    start = estimate(claims, np.zeros(len(lon)), np.zeros(len(lon)), ground)
    east, north, quick = stand(claims, ground, (-reach, -reach), (reach, reach), exact, quick=start)
    per_lon, per_lat = degree_lengths(claims.lat)
    moved = np.flatnonzero((east != 0.0) | (north != 0.0))
    x, y = lon[moved] + east[moved] / per_lon[moved], claims.lat[moved] + north[moved] / per_lat[moved]
    left = moved[~shapely.contains_xy(shapes[moved], x, y)]
    east[left] = north[left] = 0.0
    _, members = ragged(claims.first[left], np.diff(claims.first)[left])
    quick = quick.replaced(claims.first, left, start.rows(left, members))
    return east, north, sharpened(claims, quick, ground), quick.confidence


def _plenty_m(ground: Ground) -> float:
    """Clearance beyond which a station gains nothing, twice over."""
    spread = np.hypot(ground.station.fix_error_m, ground.most_error_m)
    return 2.0 * (ground.station.radius_m + 3.0 * float(sigma(spread)))


def wide_polygons(shapes: Geometries) -> tuple[Geometries, Ints]:
    """Polygon parts and the row each is of, without what rounding made: under a tenth of a millimetre."""
    parts, row = _polygons(shapes)
    thickness = 2 * shapely.area(parts) / np.maximum(shapely.length(parts), 1e-300)
    keep = np.flatnonzero(thickness > _THIN_DEG)
    return parts[keep], row[keep]
