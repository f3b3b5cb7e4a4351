"""The same ground told twice: parks whose outlines nearly coincide and whose names agree are one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import SettingName
from scout.geo.antimeridian import make_continuous
from scout.parks.identity import KnownIds, RecordIds, join_end_to_end
from scout.parks.names import make_key
from scout.quantities import MeasuredText
from scout.table import Table

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]
Bools = NDArray[np.bool_]

SAME_GROUND = 0.9  # share of common ground from which two outlines nearly coincide
# Sides of the boxes of two such outlines lie apart by less than so many times the ground that is not common,
# as a share of the longer side. Only a spike, such as a road that one of them takes in, can do more.
_APART, _FURTHEST = 1.5, 0.375
_EACH = 8  # others that a park is compared with, nearest in size; more of other names tell nothing
_LOADED = 20_000  # records held at once, about
_OTHERS = 20_000  # pairs of different names that are compared, only to be pointed out
_SHOWN = 3  # pairs named in a line
_LITTLE = 1e-9  # more than rounding does to a share


class OthersNote(str):
    """What is to be said of parks of different names on nearly the same ground."""


class KeptRecords(NamedTuple):
    """The records of all layers that are left, and their parks."""

    kept: Bools
    known: KnownIds  # of those kept


@dataclass(frozen=True, slots=True)
class _ParkPairs(Table):
    """Numbers of two parks each."""

    a: Ints
    b: Ints


def drop_told_twice(
    layers: Sequence[RecordIds],
    known: KnownIds,
    bounds: Floats,
    shapes_of: Callable[[Ints], Shapes],
    share: float = SAME_GROUND,
) -> KeptRecords:
    """Leave out parks whose ground nearly coincides with that of an earlier park of the same name.

    Parameters
    ----------
    layers : sequence of RecordIds
    known : KnownIds
        The parks of their records.
    bounds : array, shape (n, 4)
        Degrees; hold each record, may be wider; NaN where it has no ground.
    shapes_of : callable
        The ground of some records, their numbers ascending; None where there is none that can be used.
    share : float
        Of the larger of two parks the share that both cover, from which they coincide; 0 for never.

    Returns
    -------
    KeptRecords
        The outline of the first is taken as it is; notes say which were left out, and which parks of
        different names coincide and are kept.
    """
    everything = KeptRecords(np.ones(len(known.park), dtype=bool), known)
    if share <= 0:
        return everything
    boxes = _join_bounds(known, bounds)
    alike, pairs = _find_equal_boxes(layers, known, boxes)
    like = _find_like_boxes(boxes, alike, share)
    if not len(pairs) + len(like):
        return everything
    pairs = _ParkPairs.concat([pairs, like])
    names = _name_parks(layers, known, np.unique(np.concatenate([pairs.a, pairs.b])))
    agree = _find_agreeing(pairs, names)
    others = np.flatnonzero(~agree)
    compared = np.sort(np.concatenate([np.flatnonzero(agree), others[:_OTHERS]]))
    pairs, agree = pairs.take(compared), agree[compared]
    same = _measure_common(pairs, known, shapes_of, share) > share
    pairs, agree = pairs.take(same), agree[same]
    first = _find_first(pairs.take(agree))
    notes = [*known.notes]
    if len(others) > _OTHERS:
        left = len(others) - _OTHERS
        what = f"{left:,} pairs of parks of different names with like bounds were not compared"
        notes.append(OthersNote(what))
    if first:
        notes.append(_describe_dropped(first, names, known))
    rest = pairs.take(~agree & ~np.isin(pairs.a, list(first)) & ~np.isin(pairs.b, list(first)))
    if len(rest.a):
        shown = rest.take(np.arange(min(_SHOWN, len(rest.a))))
        notes.append(_describe_others(rest, _measure_common(shown, known, shapes_of), names, known))
    kept = ~np.isin(known.park, list(first))
    row, unique = pd.factorize(known.park[kept])
    return KeptRecords(kept, KnownIds(row, known.unique[unique], tuple(notes)))


def _join_bounds(known: KnownIds, bounds: Floats) -> Floats:
    """Bounds of each park; NaN where none of its records has ground."""
    if len(known.unique) == len(known.park):
        return bounds
    low = np.full((len(known.unique), 2), np.inf)
    high = np.full((len(known.unique), 2), -np.inf)
    there = np.isfinite(bounds[:, 0])
    np.minimum.at(low, known.park[there], bounds[there, :2])
    np.maximum.at(high, known.park[there], bounds[there, 2:])
    made = np.concatenate([low, high], axis=1)
    made[~np.isfinite(made[:, 0])] = np.nan
    return made


def _find_equal_boxes(
    layers: Sequence[RecordIds], known: KnownIds, boxes: Floats
) -> tuple[Bools, _ParkPairs]:
    """Parks with the name and the very box of an earlier one, and each of them with that one."""
    keys = _hash_rows(*np.ascontiguousarray(boxes.T).view(np.int64))
    rows = np.flatnonzero(pd.Series(keys).duplicated(keep=False).to_numpy() & np.isfinite(boxes[:, 0]))
    alike = np.zeros(len(boxes), dtype=bool)
    if not len(rows):
        return alike, _ParkPairs(rows, rows)
    key = _make_codes(_name_parks(layers, known, rows), rows)
    group = pd.DataFrame(np.column_stack([boxes[rows], key])).groupby([0, 1, 2, 3, 4], sort=False).ngroup()
    _, first, member = np.unique(group.to_numpy(), return_index=True, return_inverse=True)
    later = (first[member] != np.arange(len(rows))) & (key >= 0)
    alike[rows[later]] = True
    return alike, _ParkPairs(rows[first[member[later]]], rows[later])


def _make_codes(names: Mapping[int, str], parks: Ints) -> Ints:
    """Equal numbers for parks whose names agree; -1 for those without one."""
    texts = [make_key(names[park]) for park in parks.tolist()]
    code: Ints = pd.factorize(np.array(texts, dtype=object))[0].astype(np.int64)
    code[[not text for text in texts]] = -1
    return code


def _find_like_boxes(boxes: Floats, without: Bools, share: float) -> _ParkPairs:
    """Pairs of parks with nearly the same box, but for some parks.

    Boxes that are alike fall into one cell of at least one of eight grids: two of sizes, half an octave
    apart, times two in each direction, half a cell apart. So no box is compared with all others near it.
    """
    there = np.flatnonzero(np.isfinite(boxes[:, 0]) & ~without)
    if len(there) < 2:
        return _ParkPairs(there[:0], there[:0])
    box = boxes[there]
    box = box - 360.0 * np.floor((box[:, :1] + box[:, 2:3]) / 720.0 + 0.5) * [1, 0, 1, 0]
    size = np.maximum(np.maximum(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1]), 1e-9)
    octave = np.log2(size)
    middle = (box[:, :2] + box[:, 2:]).T / 2
    found = []
    apart = min(_APART * (1 - share), _FURTHEST)
    octaves = -2.1 * np.log2(1 - 2 * apart) + 0.01  # twice what the longer sides can differ by, and a little
    for size_shift in (0.0, octaves / 2):
        level = np.floor((octave + size_shift) / octaves).astype(np.int64)
        cell = 2.1 * apart * np.exp2(octaves * (level + 1) - size_shift) + 1e-9  # of the longest side there
        for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
            x, y = (np.floor(middle[k] / cell + shift[k]).astype(np.int64) for k in (0, 1))
            found.append(_pair_neighbours(_hash_rows(level, x, y), octave))
    a, b = np.concatenate(found, axis=1)
    longer = np.maximum(size[a], size[b])
    near = (np.abs(box[a] - box[b]) <= apart * longer[:, None]).all(axis=1)
    low, high = np.minimum(a[near], b[near]), np.maximum(a[near], b[near])
    pair = np.unique(low * len(there) + high)
    return _ParkPairs(there[pair // len(there)], there[pair % len(there)])


def _hash_rows(*columns: Ints) -> Ints:
    """One number for equal rows; others may by rare chance have the same, which costs a comparison."""
    made = np.zeros(len(columns[0]), dtype=np.uint64)
    for column in columns:
        made = (made ^ column.astype(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
        made ^= made >> np.uint64(29)
    return made.view(np.int64)


def _pair_neighbours(key: Ints, size: Floats) -> NDArray[np.int64]:
    """Pairs of rows of one key, each with the next in size, shape (2, n)."""
    rows = np.flatnonzero(pd.Series(key).duplicated(keep=False).to_numpy())
    rows = rows[np.lexsort((size[rows], key[rows]))]
    found = [np.empty((2, 0), dtype=np.int64)]
    for step in range(1, min(_EACH, len(rows) - 1) + 1):
        a, b = rows[:-step], rows[step:]
        same = key[a] == key[b]
        if not same.any():
            break
        found.append(np.stack([a[same], b[same]]))
    return np.concatenate(found, axis=1)


def _measure_common(
    pairs: _ParkPairs, known: KnownIds, shapes_of: Callable[[Ints], Shapes], enough: float | None = None
) -> Floats:
    """Of the larger park of each pair the share that both cover.

    Where it is known without a cut to be more or less than ``enough``, a bound on that side is given instead.
    Shares are of areas in degrees: over one park longitude shrinks evenly enough.
    """
    order = np.argsort(known.park, kind="stable")
    ends = np.searchsorted(known.park[order], np.arange(len(known.unique) + 1))
    common = np.zeros(len(pairs.a))
    for first in range(0, len(pairs.a), _LOADED):
        rows = slice(first, first + _LOADED)
        parks = np.unique(np.concatenate([pairs.a[rows], pairs.b[rows]]))
        records = [np.sort(order[ends[park] : ends[park + 1]]) for park in parks.tolist()]
        asked = np.unique(np.concatenate(records))
        loaded = np.array(shapes_of(asked), dtype=object)
        parts = [loaded[np.searchsorted(asked, some)] for some in records]
        ground = np.array([_join_ground(some) for some in parts], dtype=object)
        ground = make_continuous(ground)
        outline = np.array([hash(wkb) for wkb in shapely.to_wkb(ground)])
        a, b = (np.searchsorted(parks, side[rows]) for side in (pairs.a, pairs.b))
        areas = shapely.area(ground[a]), shapely.area(ground[b])
        smaller, larger = np.minimum(*areas), np.maximum(*areas)
        shared = larger.copy()
        other = np.flatnonzero(outline[a] != outline[b])
        if enough is not None:
            shared[other] = _bound_shared(ground[a[other]], ground[b[other]])
            other = other[shared[other] <= enough * larger[other]]
            # What is shared is no more than the smaller park: where that is too little, nothing is cut.
            little = smaller[other] < (enough - _LITTLE) * larger[other]
            shared[other[little]] = smaller[other[little]]
            other = other[~little]
        shared[other] = shapely.area(shapely.intersection(ground[a[other]], ground[b[other]]))
        common[rows] = np.divide(shared, larger, out=np.zeros(len(larger)), where=larger > 0)
    return common


def _join_ground(records: Shapes) -> shapely.Geometry:
    return records[0] if len(records) == 1 and records[0] is not None else shapely.union_all(records)


def _bound_shared(one: Shapes, other: Shapes) -> Floats:
    """Area that two outlines share at the least, where the one has the other's vertices but for small shifts.

    On the way from the one to the other an edge sweeps no more than its greater length times the furthest
    that a vertex moves; what only one of them covers has been swept. Of other outlines nothing is known: 0.
    """
    shared = np.zeros(len(one))
    alike = np.flatnonzero(
        (shapely.get_num_coordinates(one) == shapely.get_num_coordinates(other))
        & (shapely.get_num_geometries(one) == shapely.get_num_geometries(other))
    )
    for row in alike.tolist():
        (xy, ring), (moved, same_ring) = (_list_vertices(shape) for shape in (one[row], other[row]))
        if not np.array_equal(ring, same_ring):
            continue
        lengths = [np.hypot(*np.diff(some, axis=0).T) for some in (xy, moved)]
        swept = np.maximum(*lengths)[ring[:-1] == ring[1:]].sum() * np.hypot(*(moved - xy).T).max()
        shared[row] = (one[row].area + other[row].area - swept) / 2
    return shared


def _list_vertices(shape: shapely.Geometry) -> tuple[Floats, Ints]:
    """Vertices of an outline and the ring that each is of."""
    if shape.geom_type == "Polygon" and not shape.interiors:
        xy = shapely.get_coordinates(shape)
        return xy, np.zeros(len(xy), dtype=np.int64)
    vertices: tuple[Floats, Ints] = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(shape)), return_index=True
    )
    return vertices


def _find_agreeing(pairs: _ParkPairs, names: Mapping[int, str]) -> Bools:
    """Which pairs have one name."""
    parks = np.unique(np.concatenate([pairs.a, pairs.b]))
    code = _make_codes(names, parks)
    a, b = (code[np.searchsorted(parks, side)] for side in (pairs.a, pairs.b))
    agree: Bools = (a == b) & (a >= 0)
    return agree


def _name_parks(layers: Sequence[RecordIds], known: KnownIds, parks: Ints) -> dict[int, str]:
    """The first name among the records of each of some parks."""
    rows = np.flatnonzero(np.isin(known.park, parks))
    texts = join_end_to_end([one.names for one in layers])
    names = dict.fromkeys(parks.tolist(), "")
    for row in rows.tolist():
        park = int(known.park[row])
        names[park] = names[park] or str(texts[row])
    return names


def _find_first(pairs: _ParkPairs) -> dict[int, int]:
    """Of the parks that are told again, the one that is kept instead."""
    first: dict[int, int] = {}
    for a, b in sorted(zip(pairs.a.tolist(), pairs.b.tolist(), strict=True)):
        if a not in first:
            first.setdefault(b, a)
    return first


def _describe_dropped(first: dict[int, int], names: dict[int, str], known: KnownIds) -> str:
    shown = "; ".join(
        f"{names[a]} ({known.unique[b]} left out for {known.unique[a]})"
        for b, a in list(first.items())[:_SHOWN]
    )
    more = f" and {len(first) - _SHOWN:,} more" if len(first) > _SHOWN else ""
    what = "1 park is" if len(first) == 1 else f"{len(first):,} parks are"
    told = f"{what} told twice and counted once: {shown}{more}; "
    return MeasuredText(told, SettingName("same-ground", 0), " counts each")


def _describe_others(rest: _ParkPairs, common: Floats, names: dict[int, str], known: KnownIds) -> OthersNote:
    shown = "; ".join(
        f"{names[a] or known.unique[a]} and {names[b] or known.unique[b]} ({100 * share:.0f} % common)"
        for a, b, share in zip(rest.a.tolist(), rest.b.tolist(), common.tolist(), strict=False)
    )
    count = len(rest.a)
    more = f" and {count - _SHOWN:,} more" if count > _SHOWN else ""
    what = "1 pair of parks covers" if count == 1 else f"{count:,} pairs of parks cover"
    return OthersNote(
        f"{what} nearly the same ground under different names: {shown}{more}; if they are one, count one"
    )
