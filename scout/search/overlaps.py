"""Overlaps of two parks or more: every region with its exact set of parks, and where to stand in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import Annotated, Any, NamedTuple, NoReturn

import numpy as np
import shapely
from numpy.typing import NDArray

from scout import kernels
from scout.errors import InputError, SettingName
from scout.geo.boundaries import Floats, Ints, list_rings
from scout.geo.geodesy import compute_degree_lengths, wrap_lon
from scout.geo.locator import get_index
from scout.geo.probability import DOUBTFUL, compute_sigma
from scout.quantities import MeasuredText
from scout.search.found import FoundPlaces, make_found
from scout.search.optimize import BENT, choose_standing
from scout.search.tiles import query_in_lots
from scout.search.verdict import ONE, Claims, JudgedClaims, JudgingContext, estimate_claims, refine
from scout.table import IN_LISTS, Offsets, Table, expand_ranges, make_offsets
from scout.threads import CORES, map_on_threads, map_rows

Geometries = NDArray[Any]
LEAVE_OUT = MeasuredText("leave these out with ", SettingName("min-grids", 2))
# What is refused grows with the vertices: few of them that make much are a trap, real outlines have millions.
_TANGLED, _TANGLED_EACH = 500_000, 50  # pairs times neighbours of both: at all, for each park; one a vertex
_PIECES, _PIECES_EACH = 50_000, 4  # what parks may share, at all and for each park
_VERTICES_A_PIECE = 20
_MANY_PIECES = 500_000  # that a pair could make: from so many on its crossings are counted first
_AT_ONCE = 2_000  # edges whose crossings are counted at once; of more, a quarter as many are looked at first
_SELDOM = 20  # times fewer crossings than are refused, by that look: the rest need not be counted
_LARGE = 200  # vertices from which it is asked whether a park holds another, to spare the cut


def count_most_pieces(parks: int, vertices: int) -> int:
    """Return how many pieces so many parks may share: each takes 0.4 to 0.8 ms to judge and to write."""
    return max(_PIECES, _PIECES_EACH * parks, vertices // _VERTICES_A_PIECE)


def refuse_tangle(a: Ints, b: Ints, parks: int, vertices: int) -> None:
    """Stop where everything lies over everything: regions of every set would have no end.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    near = np.bincount(np.concatenate([a, b]), minlength=parks)
    if int(np.minimum(near[a], near[b]).sum()) > _limit_tangle(parks, vertices):
        _refuse_overlaps(len(a), parks)


def _limit_tangle(parks: int, vertices: int) -> int:
    return max(_TANGLED, _TANGLED_EACH * parks, vertices)


def _refuse_overlaps(pairs: int, parks: int, *, more: bool = False) -> NoReturn:
    counted = f"{pairs:,} pairs and more" if more else f"{pairs:,} pairs"
    what = f"{counted} of the {parks:,} parks overlap: the same ground may be there many times"
    remedy = MeasuredText("join records with ", SettingName("id-column"), ", or ", LEAVE_OUT)
    raise InputError("overlaps", what, remedy)


def refuse_pieces(most: int) -> None:
    """Stop before more than ``most`` pieces are looked at.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    what = f"what parks share falls into more than {most:,} pieces"
    remedy = MeasuredText(
        "look near one place (",
        SettingName("home"),
        " ",
        SettingName("within"),
        ", or ",
        SettingName("area"),
        "), or leave overlaps out with ",
        SettingName("min-grids", 2),
    )
    raise InputError("overlaps", what, remedy)


def intersect_pairs(left: Geometries, right: Geometries, most: int) -> Geometries:
    """Intersections, some at a time, so that too many pieces are refused before they are all made.

    Two combs of n teeth share n * n pieces: a few kilobytes make millions.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    sizes = [shapely.get_num_coordinates(some).astype(np.float64) for some in (left, right)]
    could = sizes[0] * sizes[1] / 4  # each piece has two crossings at least, and most have more
    for row in np.flatnonzero(could > _MANY_PIECES).tolist():
        edges = _list_edges_in_common(left[row], right[row])
        could[row] = len(edges[0]) * len(edges[1]) / 4
        if could[row] > _MANY_PIECES:
            could[row] = _count_crossings(*edges, 2 * most) / 2
            if could[row] > most:
                refuse_pieces(most)
    lot = (np.cumsum(could) // _MANY_PIECES).astype(np.int64)
    made, count = [np.empty(0, dtype=object)], 0
    for rows in np.split(np.arange(len(left)), np.flatnonzero(np.diff(lot)) + 1):
        made.append(map_rows(shapely.intersection, left[rows], right[rows], most=-(-len(rows) // CORES)))
        count += int(shapely.get_num_geometries(made[-1]).sum())
        if count > most:
            refuse_pieces(most)
    return np.concatenate(made)


def _list_edges_in_common(one: Any, other: Any) -> tuple[Floats, Floats]:
    """Edges of two outlines whose bounds meet those of both, shape (n, 2, 2)."""
    a, b = (shapely.bounds(shape) for shape in (one, other))
    box = np.maximum(a[:2], b[:2]), np.minimum(a[2:], b[2:])
    return _list_edges_in(one, *box), _list_edges_in(other, *box)


def _list_edges_in(shape: Any, low: Floats, high: Floats) -> Floats:
    xy, end = shapely.get_coordinates(shape), None
    if shapely.get_num_geometries(shape) > 1 or shapely.get_num_interior_rings(shape):
        end = np.cumsum(shapely.get_num_coordinates(shapely.get_rings(shapely.get_parts(shape)))) - 1
    x, y = xy[:, 0], xy[:, 1]
    beyond = (
        (x < low[0]) | (x > high[0]) * np.uint8(2) | (y < low[1]) * np.uint8(4) | (y > high[1]) * np.uint8(8)
    )
    meets = (beyond[:-1] & beyond[1:]) == 0  # else both ends lie beyond one side
    if end is not None:
        meets[end[:-1]] = False
    start = np.flatnonzero(meets)
    edges: Floats = np.stack([xy[start], xy[start + 1]], axis=1)
    return edges


def _count_crossings(one: Floats, other: Floats, most: int) -> int:
    """Count how often edges cross others, up to ``most`` and a few; estimate it where that is seldom."""
    edges = shapely.linestrings(one)
    tree, count = shapely.STRtree(shapely.linestrings(other)), 0
    if len(edges) > _AT_ONCE:
        some = edges[np.linspace(0, len(edges) - 1, _AT_ONCE // 4).astype(np.int64)]
        count = int(tree.query(some, predicate="crosses").shape[1]) * len(edges) // len(some)
        if count < most / _SELDOM:
            return count
    count = 0
    for start in range(0, len(edges), _AT_ONCE):
        count += int(tree.query(edges[start : start + _AT_ONCE], predicate="crosses").shape[1])
        if count > most:
            break
    return count


# Middles of regions: where a station has most room, or plenty of it.
_CORNERS = 5  # vertices of a polygon with four corners
_WIDE = 0.6  # of the largest circle: a centre of gravity this far inside is middle enough


def find_middles(shapes: Geometries, plenty_m: float) -> tuple[Floats, Floats]:
    """Centres of the largest circles inside, by metres: longitudes are shrunk as their latitude asks."""
    if len(shapes) == 0:
        return np.empty(0), np.empty(0)
    centres = map_rows(lambda some: _find_batch_middles(some, plenty_m), shapes)
    return centres[:, 0], centres[:, 1]


def _find_batch_middles(shapes: Geometries, plenty_m: float) -> Floats:
    bounds = shapely.bounds(shapes)
    per_lon, per_lat = compute_degree_lengths((bounds[:, 1] + bounds[:, 3]) / 2)
    factor = np.ones((len(shapes), 2))
    factor[:, 0] = per_lon / per_lat
    each = np.repeat(factor, shapely.get_num_coordinates(shapes), axis=0)
    flat = shapely.set_coordinates(shapes.copy(), shapely.get_coordinates(shapes) * each)
    plenty = plenty_m / per_lat
    points = shapely.centroid(flat)
    away = np.where(shapely.contains(flat, points), shapely.distance(points, shapely.boundary(flat)), 0.0)
    rest = np.flatnonzero(away < np.maximum(plenty, _WIDE * _bound_room(flat)))
    centres: Floats = shapely.get_coordinates(points)
    centres[rest] = _find_circle_centres(flat[rest], _choose_tolerance(flat[rest], plenty[rest]))
    centres /= factor
    return centres


def _find_circle_centres(shapes: Geometries, tolerance: Floats) -> Floats:
    """Centres of the largest circles in polygons; three and four corners GEOS has a rule of its own for."""
    centres, left = np.empty((len(shapes), 2)), np.arange(len(shapes))
    many = shapely.get_num_coordinates(shapes) > _CORNERS
    if kernels.LIBRARY is not None and np.any(many):
        some = shapes[many]
        size, row = list_rings(some)
        ring = np.searchsorted(row, np.arange(len(some) + 1))
        inside = shapely.get_coordinates(shapely.point_on_surface(some))
        xy = shapely.get_coordinates(some)
        centres[many], found = kernels.find_circle_centres(ring, size, xy, inside, tolerance[many])
        left = np.setdiff1d(left, np.flatnonzero(many)[found])
    circles = shapely.maximum_inscribed_circle(shapes[left], tolerance=tolerance[left])
    centres[left] = shapely.get_coordinates(shapely.get_point(circles, 0))
    return centres


def _bound_room(shapes: Geometries) -> Floats:
    """Radius that no circle inside can pass, by the shape's area and by its bounds."""
    bounds = shapely.bounds(shapes)
    by_area = np.sqrt(shapely.area(shapes) / np.pi)
    least: Floats = np.minimum(by_area, np.minimum(*(bounds[:, 2:] - bounds[:, :2]).T) / 2)
    return least


def _choose_tolerance(shapes: Geometries, plenty: Floats) -> Floats:
    """Near enough to a middle; finer would count cells without end in a long thin shape.

    Without holes the largest circle's radius is no less than area over length (Bonnesen's inequality): where
    that leaves plenty, and a station is sure anywhere near, the middle need not be known as well.
    """
    bounds = shapely.bounds(shapes)
    size = np.hypot(bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1])
    least = shapely.area(shapes) / shapely.length(shapes)
    wide = np.where(shapely.get_num_interior_rings(shapes) == 0, np.minimum(0.4 * least, least - plenty), 0.0)
    near: Floats = np.maximum(np.maximum(0.1 * least, wide), size / 1000)
    return near


# Overlaps of two parks or more: every region with its exact set of parks, and where to stand in it.
_ASKED, _ASKED_EACH = 20_000_000, 100  # pairs whose bounds meet: at all, for each park
_READ = 1_000_000_000  # vertices for all cuts: half a minute; 10,000 ragged parks take a hundredth
_PREPARED = 200_000  # vertices of the shapes prepared at once
_THIN_DEG = 1e-9


@dataclass(frozen=True, slots=True)
class OverlapRegions(Table):
    """Connected regions inside all parks of a set and outside all others; park lists end to end."""

    shape: Geometries
    first: Offsets
    park: Annotated[Ints, IN_LISTS]
    parted: NDArray[np.bool_]  # whether another park reaches into what the first two parks share


class PairGround(NamedTuple):
    """What pairs of parks share where both lie as they are, by their numbers in order."""

    low: Ints
    high: Ints
    shape: Geometries


def find_overlapping_pairs(geometries: Geometries, tree: shapely.STRtree) -> tuple[Ints, Ints, Ints]:
    """Pairs ``a < b`` of parks that share a point, and the turn (0 or -1) that brings ``a`` to ``b``."""
    a, b = _find_meeting(geometries, tree)
    pairs = [(a, b, np.zeros(len(a), dtype=np.int64))]
    past = np.flatnonzero(shapely.bounds(geometries)[:, 2] > 180.0)
    if len(past):
        a, b = tree.query(turn_shapes(geometries[past], -1), predicate="intersects")
        a = past[a]
        # Both past 180 means both already met above.
        keep = (a != b) & ~np.isin(b, past)
        pairs.append((a[keep], b[keep], np.full(keep.sum(), -1)))
    return tuple(np.concatenate(c) for c in zip(*pairs, strict=True))  # type: ignore[return-value]


def _find_meeting(geometries: Geometries, tree: shapely.STRtree) -> tuple[Ints, Ints]:
    """Pairs ``a < b`` of parks that share a point, asked for in lots: too many end it before all are there.

    Raises
    ------
    InputError
        Everything lies over everything, see `refuse_tangle`.
    """
    parks, vertices = len(geometries), int(shapely.get_num_coordinates(geometries).sum())
    found_a, found_b = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.int64)]
    near = np.zeros(parks, dtype=np.int64)
    asked = tangled = 0
    for a, b in query_in_lots(tree, geometries):  # by bounds alone; each pair comes twice
        asked += len(a)
        a, b = a[a < b], b[a < b]
        meets = _intersects(geometries, a, geometries[b])
        a, b = a[meets], b[meets]
        found_a.append(a)
        found_b.append(b)
        near += np.bincount(np.concatenate([a, b]), minlength=parks)
        tangled += int(np.minimum(near[a], near[b]).sum())  # which can only become more
        if tangled > _limit_tangle(parks, vertices) or asked > max(_ASKED, _ASKED_EACH * parks):
            _refuse_overlaps(sum(map(len, found_a)), parks, more=True)
    return np.concatenate(found_a), np.concatenate(found_b)


def find_regions(geometries: Geometries, tree: shapely.STRtree) -> tuple[OverlapRegions, PairGround]:
    """Regions of every set of two parks or more: what pairs share, split by the others that reach into it.

    What the pairs share comes as well: wider sets are made of it.
    """
    a, b, turn = find_overlapping_pairs(geometries, tree)
    vertices = int(shapely.get_num_coordinates(geometries).sum())
    refuse_tangle(a, b, len(geometries), vertices)
    left, right = geometries[a], geometries[b]
    if np.any(turn):
        left[turn != 0] = turn_shapes(left[turn != 0], -1)
    for holder, inner, cut in ((a, b, left), (b, a, right)):
        held = _find_held(geometries, holder, inner) & (turn == 0)
        cut[held] = _surround(geometries[inner[held]])
    _refuse_long(left, right)
    most = count_most_pieces(len(geometries), vertices)
    both = keep_areas(intersect_pairs(left, right, most))
    real = shapely.area(both) > 0.0
    a, b, turn, both = a[real], b[real], turn[real], both[real]
    low, high = np.minimum(a, b), np.maximum(a, b)
    others = _find_others_inside(both, _find_common_neighbours(low, high), geometries)
    plain = np.array([not c for c in others], dtype=bool)
    crowded = np.flatnonzero(~plain).tolist()
    pieces, sets = _part_by_others(
        both[~plain],
        (
            np.stack([low, high], axis=1)[~plain],
            np.stack([turn * (low == a), turn * (high == a)], axis=1)[~plain],
        ),
        [sorted(others[k]) for k in crowded],
        geometries,
        most,
    )
    sets = [*zip(low[plain].tolist(), high[plain].tolist(), strict=True), *sets]
    shapes, row = list_wide_polygons(np.concatenate([both[plain], pieces]))
    sizes = np.array([len(s) for s in sets], dtype=np.int64)
    park = np.array(list(chain.from_iterable(sets)), dtype=np.int64)
    _, members = expand_ranges((np.cumsum(sizes) - sizes)[row], sizes[row])
    parted = row >= np.count_nonzero(plain)
    regions = OverlapRegions(shapes, make_offsets(sizes[row]), park[members], parted)
    return regions, PairGround(low[turn == 0], high[turn == 0], both[turn == 0])


def _refuse_long(left: Geometries, right: Geometries) -> None:
    """Stop where too many parks lie across outlines too long: GEOS reads all of both for each cut.

    Raises
    ------
    InputError
        Saying how not to look for them.
    """
    read = sum(int(shapely.get_num_coordinates(some).sum()) for some in (left, right))
    if read > _READ:
        what = f"to cut {len(left):,} pairs of parks {read / 1e9:.1f} thousand million vertices would be read"
        raise InputError("overlaps", what, MeasuredText("look near one place, or ", LEAVE_OUT))


def _find_held(geometries: Geometries, holder: Ints, inner: Ints) -> NDArray[np.bool_]:
    """Whether the one park of each pair, where it is large, holds the other and no boundaries meet."""
    low, high = np.split(shapely.bounds(geometries).reshape(-1, 4), 2, axis=1)
    held: NDArray[np.bool_] = shapely.get_num_coordinates(geometries)[holder] >= _LARGE
    held &= np.all((low[holder] < low[inner]) & (high[inner] < high[holder]), axis=1)
    some = np.flatnonzero(held)
    some = some[np.argsort(holder[some], kind="stable")]
    held[some] = _ask(shapely.contains_properly, geometries, holder[some], geometries[inner[some]])
    return held


def _surround(shapes: Geometries) -> Geometries:
    """A triangle round each shape: what it shares with the shape is, to the bit, what any holder does.

    GEOS reads all vertices of a holder for each cut, though none of them comes into it.
    """
    west, south, east, north = shapely.bounds(shapes).reshape(-1, 4).T
    room = 1.0 + (east - west) + (north - south)
    x = np.stack([west - 4 * room, east + 4 * room, (west + east) / 2], axis=1)
    y = np.stack([south - room, south - room, north + 4 * room], axis=1)
    triangles: Geometries = shapely.polygons(np.stack([x, y], axis=2))
    return triangles


def _intersects(shapes: Geometries, row: Ints, others: Geometries) -> NDArray[np.bool_]:
    """Whether the shapes at some rows, ascending, share a point with others."""
    return _ask(shapely.intersects, shapes, row, others)


def _ask(
    predicate: Callable[..., Any], shapes: Geometries, row: Ints, others: Geometries
) -> NDArray[np.bool_]:
    """What a predicate says of the shapes at some rows, ascending, and others.

    Each is prepared while it is asked and no longer: that takes more memory than the shape itself.
    """
    asked, first = np.unique(row, return_index=True)
    block = np.cumsum(shapely.get_num_coordinates(shapes[asked])) // _PREPARED
    cuts = np.append(first[np.flatnonzero(np.diff(block, prepend=-1))], len(row)).tolist()
    found = [np.empty(0, dtype=bool)]
    for i, j in pairwise(cuts):
        some = shapes[np.unique(row[i:j])]
        shapely.prepare(some)
        found.append(map_rows(predicate, shapes[row[i:j]], others[i:j], apart=row[i:j]))
        shapely.destroy_prepared(some)
    return np.concatenate(found)


def turn_shapes(geometries: Geometries, turns: int) -> Geometries:
    """The shapes, so many times round the globe further east."""
    moved: Geometries = shapely.transform(geometries, lambda xy: xy + np.array([360.0 * turns, 0.0]))
    return moved


def _find_common_neighbours(low: Ints, high: Ints) -> list[set[int]]:
    """For each overlapping pair, the parks that overlap both."""
    near: dict[int, set[int]] = {}
    for p, q in zip(low.tolist(), high.tolist(), strict=True):
        near.setdefault(p, set()).add(q)
        near.setdefault(q, set()).add(p)
    return [near[p] & near[q] for p, q in zip(low.tolist(), high.tolist(), strict=True)]


def _find_others_inside(both: Geometries, crowded: list[set[int]], geometries: Geometries) -> list[set[int]]:
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


def keep_areas(shapes: Geometries) -> Geometries:
    """The shapes without the points and lines that parks share besides areas."""
    mixed = np.flatnonzero(shapely.get_type_id(shapes) == 7)
    if len(mixed) == 0:
        return shapes
    parts, row = _list_polygons(shapes[mixed])
    plain = shapes.copy()
    for k, number in enumerate(mixed.tolist()):
        plain[number] = shapely.multipolygons(parts[row == k])
    return plain


def _list_polygons(shapes: Geometries) -> tuple[Geometries, Ints]:
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


def _part_by_others(
    both: Geometries, pairs: tuple[Ints, Ints], others: list[list[int]], geometries: Geometries, most: int
) -> tuple[Geometries, list[tuple[int, ...]]]:
    """Parts of what pairs share, by their exact set; each comes from the pair of its first two parks.

    Boundaries of all parks that meet there are noded together, once, and the faces between them are asked
    which parks hold them.

    Parameters
    ----------
    both : array of (multi)polygons, shape (n,)
    pairs : park, turns
        Arrays, shape (n, 2): in order, and how often each is turned round the globe to what they share.
    others : list of n lists
        Parks that reach into it.
    """
    sizes = np.array([len(some) for some in others], dtype=np.int64)
    row = np.repeat(np.arange(len(both)), sizes)
    third = np.array(list(chain.from_iterable(others)), dtype=np.int64)
    middles = [shapely.bounds(some).reshape(-1, 4)[:, [0, 2]].mean(axis=1) for some in (both, geometries)]
    turns = np.rint((middles[0][row] - middles[1][third]) / 360.0).astype(np.int64)
    park = np.concatenate([pairs[0].ravel(), third])
    turns = np.concatenate([pairs[1].ravel(), turns])
    row = np.concatenate([np.repeat(np.arange(len(both)), 2), row])
    # A park that is moved round the globe is another one until sets are named.
    laid, number = np.unique(np.stack([park, turns], axis=1), axis=0, return_inverse=True)
    number = number.reshape(-1)
    shapes = turn_parks(geometries, *laid.T)
    group = _group_together(number, row, len(laid))
    lines, of = _list_lines_near(shapes, number, shapely.bounds(both[row]).reshape(-1, 4))
    members, lines_of = (np.argsort(some, kind="stable") for some in (group, group[of]))
    cuts = [np.searchsorted(np.sort(some), np.arange(len(laid) + 1)) for some in (group, group[of])]
    tasks = [
        (members[cuts[0][k] : cuts[0][k + 1]], lines[lines_of[cuts[1][k] : cuts[1][k + 1]]])
        for k in np.unique(group).tolist()
    ]
    found = map_on_threads(lambda task: _find_faces(shapes[task[0]], task[1]), tasks)
    wanted = set(map(tuple, number[: 2 * len(both)].reshape(-1, 2).tolist()))
    pieces, sets = [], []
    for (numbers, _), (faces, face, holder) in zip(tasks, found, strict=True):
        holders = numbers[holder]
        for k, (i, j) in enumerate(pairwise(np.searchsorted(face, np.arange(len(faces) + 1)).tolist())):
            if tuple(holders[i : i + 2].tolist()) in wanted and j - i > 1:
                pieces.append(faces[k])
                sets.append(tuple(dict.fromkeys(laid[holders[i:j], 0].tolist())))
        if len(pieces) > most:
            refuse_pieces(most)
    return np.array(pieces, dtype=object), sets


def turn_parks(geometries: Geometries, park: Ints, turns: Ints) -> Geometries:
    """Parks by their numbers, each moved so many times round the globe."""
    shapes: Geometries = geometries[park]
    for turn in np.unique(turns[turns != 0]).tolist():
        shapes[turns == turn] = turn_shapes(shapes[turns == turn], turn)
    return shapes


def _group_together(number: Ints, row: Ints, count: int) -> Ints:
    """The least number that each of so many numbers is joined to, by rows that they are in together."""
    head = np.arange(count)
    while True:
        least = np.full(row.max(initial=-1) + 1, count)
        np.minimum.at(least, row, head[number])
        joined = head.copy()
        np.minimum.at(joined, number, least[row])
        joined = joined[joined]
        if np.array_equal(joined, head):
            return head
        head = joined


def _list_lines_near(shapes: Geometries, number: Ints, boxes: Floats) -> tuple[Geometries, Ints]:
    """Lines along the edges of shapes that meet boxes, each box of a numbered shape; the shape of each."""
    size, of = list_rings(shapes)
    xy = shapely.get_coordinates(shapes)
    low, high = np.minimum(xy[:-1], xy[1:]), np.maximum(xy[:-1], xy[1:])
    first = np.append(0, np.cumsum(np.bincount(of, weights=size, minlength=len(shapes)).astype(np.int64)))
    meets = np.zeros(len(xy), dtype=bool)
    for k, (west, south, east, north) in zip(number.tolist(), boxes.tolist(), strict=True):
        part = slice(first[k], first[k + 1] - 1)
        (x0, y0), (x1, y1) = low[part].T, high[part].T
        meets[part] |= (x0 <= east) & (x1 >= west) & (y0 <= north) & (y1 >= south)
    meets[np.cumsum(size) - 1] = False  # where the next ring begins
    start = np.flatnonzero(np.diff(meets, prepend=False) & meets)
    end = np.flatnonzero(np.diff(meets, append=False) & meets) + 1
    line, vertex = expand_ranges(start, end - start + 1)
    return shapely.linestrings(xy[vertex], indices=line), np.searchsorted(first, start, "right") - 1


def _find_places_in(faces: Geometries) -> Geometries:
    """A place in each polygon, clear of its boundary: in a hair along it another park may seem to hold it."""
    places: Geometries = shapely.point_on_surface(faces)
    close = np.flatnonzero(shapely.distance(places, shapely.boundary(faces)) < _THIN_DEG)
    if len(close):
        tolerance = _choose_tolerance(faces[close], np.full(len(close), np.inf))
        places[close] = shapely.points(_find_circle_centres(faces[close], tolerance))
    return places


def _find_faces(shapes: Geometries, lines: Geometries) -> tuple[Geometries, Ints, Ints]:
    """The faces between lines, and the pairs of a face and a shape that holds it, in order."""
    noded = shapely.get_parts(shapely.union_all(lines))
    faces, _ = list_wide_polygons(shapely.get_parts(shapely.polygonize(noded)))
    holder, face = shapely.STRtree(_find_places_in(faces)).query(shapes, predicate="contains")
    order = np.lexsort((holder, face))
    return faces, face[order], holder[order]


def place_in_regions(regions: OverlapRegions, ground: JudgingContext) -> FoundPlaces:
    """One spot per region: about the middle of its largest circle, moved where that is surer and inside."""
    lon, lat = find_middles(regions.shape, _compute_plenty_m(ground))
    claims = Claims(wrap_lon(lon), lat, np.full(len(lon), ONE), regions.first, regions.park)
    everywhere = np.arange(len(lon))
    east, north, verdicts, promised = _place_in_rows(regions, claims, everywhere, lon, ground)
    bent = np.flatnonzero((promised - verdicts.confidence > BENT) & (promised >= DOUBTFUL))
    if len(bent):
        x, y, new, _ = _place_in_rows(regions, claims, bent, lon, ground, exact=True)
        better = np.flatnonzero(new.confidence > verdicts.confidence[bent])
        verdicts = verdicts.replace(bent[better], new.take(better))
        east[bent[better]], north[bent[better]] = x[better], y[better]
    per_lon, per_lat = compute_degree_lengths(lat)
    i, j = get_index(wrap_lon(lon + east / per_lon), lat + north / per_lat, ground.level)
    return make_found("overlap", i.astype(np.int64), j.astype(np.int64), claims, (east, north), verdicts)


def _place_in_rows(
    regions: OverlapRegions,
    claims: Claims,
    rows: Ints,
    lon: Floats,
    ground: JudgingContext,
    exact: bool = False,
) -> tuple[Floats, Floats, JudgedClaims, Floats]:
    """Choose where to stand for some claims, inside their region; the verdicts, and what was estimated."""
    claims, shapes, lon = claims.take(rows), regions.shape[rows], lon[rows]
    reach = np.full(len(lon), 2 * ground.station.radius_m)
    start = estimate_claims(claims, np.zeros(len(lon)), np.zeros(len(lon)), ground)
    east, north, quick = choose_standing(claims, ground, (-reach, -reach), (reach, reach), exact, quick=start)
    per_lon, per_lat = compute_degree_lengths(claims.lat)
    moved = np.flatnonzero((east != 0.0) | (north != 0.0))
    x, y = lon[moved] + east[moved] / per_lon[moved], claims.lat[moved] + north[moved] / per_lat[moved]
    left = moved[~shapely.contains_xy(shapes[moved], x, y)]
    east[left] = north[left] = 0.0
    quick = quick.replace(left, start.take(left))
    return east, north, refine(claims, quick, ground, ground.listed_from), quick.confidence


def _compute_plenty_m(ground: JudgingContext) -> float:
    """Clearance beyond which a station gains nothing, twice over."""
    spread = np.hypot(ground.station.fix_error_m, ground.most_error_m)
    return 2.0 * (ground.station.radius_m + 3.0 * float(compute_sigma(spread)))


def list_wide_polygons(shapes: Geometries) -> tuple[Geometries, Ints]:
    """Polygon parts and the row each is of, without what rounding made: under a tenth of a millimetre."""
    parts, row = _list_polygons(shapes)
    thickness = 2 * shapely.area(parts) / np.maximum(shapely.length(parts), 1e-300)
    keep = np.flatnonzero(thickness > _THIN_DEG)
    return parts[keep], row[keep]
