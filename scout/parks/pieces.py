"""Pieces of one park: records of one name that touch or overlap."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import SettingName
from scout.geo.antimeridian import make_continuous
from scout.geo.geodesy import compute_degree_lengths
from scout.parks.identity import KnownIds, RecordIds, join_end_to_end, name_keys
from scout.quantities import MeasuredText
from scout.table import Table
from scout.threads import map_rows

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]

# Published pieces of one park are digitised one by one and leave slivers of centimetres; a metre is far
# below any boundary error, and no road, river or strip of other ground is as narrow.
TOUCHING_M = 1.0
_LOADED = 20_000  # records held at once, about
_APART = 4096.0  # degrees between the boxes of one name and those of the next


@dataclass(frozen=True, slots=True)
class _PiecePairs(Table):
    """Numbers of two records each."""

    a: Ints
    b: Ints


def join_touching_pieces(
    layers: Sequence[RecordIds], known: KnownIds, bounds: Floats, shapes_of: Callable[[Ints], Shapes]
) -> KnownIds:
    """Join parks whose records touch and share a name of their own, and no id of their own; chains count.

    Parameters
    ----------
    layers : sequence of RecordIds
    known : KnownIds
        Their parks so far.
    bounds : array, shape (n, 4)
        Degrees; hold each record, may be wider; NaN where it has no ground.
    shapes_of : callable
        The ground of some records, their numbers ascending; None where there is none that can be used.

    Returns
    -------
    KnownIds
        Touching is to come within `TOUCHING_M`.
    """
    key = name_keys(layers)
    alike = _find_alike(key, bounds, shapes_of)
    again = np.flatnonzero(alike != np.arange(len(alike)))
    pairs = _find_candidates(np.where(alike == np.arange(len(alike)), key, -1), known.park, bounds)
    met = [_find_meeting(some, shapes_of) for some in _make_batches(pairs)]
    same = _PiecePairs(alike[again], again)
    met.append(same.take(known.park[same.a] != known.park[same.b]))
    met = [some for some in met if len(some)]
    if not met:
        return known
    pairs = _PiecePairs.concat(met)
    group = _find_groups(known.park[pairs.a], known.park[pairs.b], len(known.unique))
    first = np.unique(group, return_index=True)[1]  # parks come in order, so these are the first of each
    joined = known.joined(first[group][known.park])
    return joined._replace(notes=(*joined.notes, _format_line(layers, known, group)))


def _find_alike(key: Ints, bounds: Floats, shapes_of: Callable[[Ints], Shapes]) -> Ints:
    """For each record the first one of its name with the very same outline: pairs of those have no end."""
    first = np.arange(len(key), dtype=np.int64)
    box = pd.DataFrame(np.column_stack([key, bounds]))
    rows = np.flatnonzero((key >= 0) & np.isfinite(bounds[:, 0]) & box.duplicated(keep=False).to_numpy())
    known: dict[tuple[int, bytes], int] = {}
    for some in np.split(rows, range(_LOADED, len(rows), _LOADED)):
        shapes = shapes_of(some) if len(some) else np.empty(0, object)
        there = ~shapely.is_missing(shapes)
        outlines = (hashlib.sha256(wkb).digest() for wkb in shapely.to_wkb(shapes[there]))
        for row, outline in zip(some[there].tolist(), outlines, strict=True):
            first[row] = known.setdefault((int(key[row]), outline), row)
    return first


def _find_groups(a: Ints, b: Ints, count: int) -> Ints:
    # A tenth of a second, and few need it.
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(a), dtype=bool), (a, b)), shape=(count, count))
    group: Ints = connected_components(links, directed=False)[1].astype(np.int64)
    return group


def _format_line(layers: Sequence[RecordIds], known: KnownIds, group: Ints) -> str:
    pieces = np.bincount(group)
    several = np.flatnonzero(pieces > 1)
    example = several[np.argmax(pieces[several])]
    row = int(np.flatnonzero((group == example)[known.park])[0])
    names = join_end_to_end([one.names for one in layers])
    own = (name for name in names[row:][(group == example)[known.park[row:]]].tolist() if name)
    parks = "1 park" if len(several) == 1 else f"{len(several):,} parks"
    return MeasuredText(
        f"{int(pieces[several].sum()):,} pieces that touch and have one name count as {parks}, such as "
        f"{next(own)} (pieces: {int(pieces[example]):,}); ",
        SettingName("pieces", "apart"),
        " counts each for itself",
    )


def _find_candidates(key: Ints, park: Ints, bounds: Floats) -> _PiecePairs:
    """Pairs of records with one key and different parks whose bounds come near each other."""
    rows = np.flatnonzero((key >= 0) & np.isfinite(bounds[:, 0]))
    several = np.bincount(key[rows], minlength=1) > 1
    rows = rows[several[key[rows]]]
    if not len(rows):
        return _PiecePairs(rows, rows)
    box, code = bounds[rows].copy(), np.unique(key[rows], return_inverse=True)[1]
    high = np.minimum(np.abs(box[:, 1::2]).max(axis=1), 89.999)
    per_lon, per_lat = compute_degree_lengths(high)
    pad = 2 * TOUCHING_M / np.minimum(per_lon, per_lat)
    box += np.stack([-pad, -pad, pad, pad], axis=1)
    box[:, ::2] -= 360.0 * np.floor((box[:, :1] + 180.0) / 360.0)
    place = _APART * code[:, None]  # only boxes of one key can meet
    tree = shapely.STRtree(shapely.box(*(box + place * [1, 0, 1, 0]).T))
    found = [tree.query(tree.geometries)]
    over = np.flatnonzero(box[:, 2] > 180.0)
    if len(over):
        turned = box[over] - [360.0, 0.0, 360.0, 0.0] + place[over] * [1, 0, 1, 0]
        some, other = tree.query(shapely.box(*turned.T))
        found.append(np.stack([over[some], other]))
    a, b = rows[np.concatenate(found, axis=1)]
    a, b = np.minimum(a, b), np.maximum(a, b)
    both = np.unique(np.stack([a, b])[:, park[a] != park[b]], axis=1)
    return _PiecePairs(*both)


def _make_batches(pairs: _PiecePairs) -> Iterator[_PiecePairs]:
    """Pairs in lots of some thousand records, those that hang together in one lot."""
    if not len(pairs.a):
        return
    records, ends = np.unique(np.concatenate([pairs.a, pairs.b]), return_inverse=True)
    a, b = ends.reshape(2, -1)
    group = _find_groups(a, b, len(records))
    lot = (np.cumsum(np.bincount(group)) // _LOADED)[group[a]]
    order = np.argsort(lot, kind="stable")
    for some in np.split(order, np.flatnonzero(np.diff(lot[order])) + 1):
        yield pairs.take(some)


def _find_meeting(pairs: _PiecePairs, shapes_of: Callable[[Ints], Shapes]) -> _PiecePairs:
    """The pairs that really touch."""
    records = np.unique(np.concatenate([pairs.a, pairs.b]))
    shapes = np.array(shapes_of(records), dtype=object)
    there = ~shapely.is_missing(shapes)
    shapes[there] = make_continuous(shapes[there])
    a, b = np.searchsorted(records, pairs.a), np.searchsorted(records, pairs.b)
    both = there[a] & there[b]
    pairs, a, b = pairs.take(both), shapes[a[both]], shapes[b[both]]
    if not len(pairs.a):
        return pairs
    middle = (shapely.bounds(a)[:, ::2] - shapely.bounds(b)[:, ::2]).mean(axis=1)
    for row in np.flatnonzero(np.abs(middle) > 180.0).tolist():
        turn = 360.0 * np.round(middle[row] / 360.0)
        b[row] = shapely.transform(b[row], lambda points, turn=turn: points + np.array([turn, 0.0]))
    met = map_rows(shapely.intersects, a, b)
    apart = np.flatnonzero(~met)
    met[apart] = _find_near(a[apart], b[apart])
    return pairs.take(met)


def _find_near(a: Shapes, b: Shapes) -> NDArray[np.bool_]:
    """Which pairs come within `TOUCHING_M`, in a plane stretched as the ground is where they meet."""
    one, other = shapely.bounds(a).reshape(-1, 4), shapely.bounds(b).reshape(-1, 4)
    high = np.abs(np.concatenate([one[:, 1::2], other[:, 1::2]], axis=1)).max(axis=1)
    degrees = 1.1 * TOUCHING_M / np.minimum(*compute_degree_lengths(np.minimum(high, 89.999)))
    near: NDArray[np.bool_] = map_rows(shapely.dwithin, a, b, degrees) if len(a) else np.zeros(0, dtype=bool)
    for row in np.flatnonzero(near).tolist():
        ends = shapely.get_coordinates(shapely.shortest_line(a[row], b[row]))
        scale = np.array(compute_degree_lengths(float(ends[:, 1].mean())))
        home = ends[0]
        flat = [
            shapely.transform(shape, lambda points, home=home, scale=scale: (points - home) * scale)
            for shape in (a[row], b[row])
        ]
        near[row] = shapely.dwithin(*flat, TOUCHING_M)
    return near
