"""Invalid polygons made valid, with holes where they belong.

Files hold holes filed under the wrong part, bodies stored as holes, and every ring as a part of its own. So
the rings of a record are read together: a ring that lies in others is the child of the smallest, and whether
it is ground or a hole is decided by the first of these that can:

1. Direction, where it is consistent. Rings that run as the largest one are ground, the others holes, if no
   ring speaks against it: outermost rings are ground, or lie by half or more in ground that they leave; a
   ring in a hole is ground and one in ground a hole, but for parts in parts and holes in holes filed as such.
   A ring that crosses itself speaks neither way, unless it mostly runs one way round.
2. The filing, where every hole meets its own shell and is no larger, and no part lies in another while the
   record's rings run both ways.
3. Nesting: a ring in ground is a hole and one in a hole is ground (even-odd).

A hole is taken from the smallest shell that holds it, or from all that it crosses where it leaves them; a
part in a part adds nothing; a hole outside everything is ground. Each ring is filled by both methods of
``make_valid``, which read bow-ties alike, loops that overlap as covered ("structure") and a ring that runs
along itself as its lobes ("linework"); the ring holds what either gives.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.boundaries import polygonal_parts
from scout.table import Table

_PROBED, _PROBED_FROM = 64, 40  # edges looked at, and from how many on not all are
_NEAR_AT_ONCE = 500  # rings whose neighbours are counted at once
_TANGLED = 1_000  # crossings from which "linework", which grows with their square, is not asked
_TRIED = 5_000  # pairs of edges with common bounds that are looked at
_ONE_WAY = 0.5  # share of the filled ground that the signed area has, from which a direction is meant


@dataclass(slots=True)
class Allowance:
    """Work that repairs of one layer may still take; it is counted before it is done.

    A crossing takes 0.02 to 0.4 ms, by the shape, and a pair of rings 1 to 20 us.
    """

    crossings: int = 50_000  # of outlines with themselves
    pairs: int = 1_000_000  # of rings of a record whose bounds meet


def repair_polygon(
    geometry: shapely.Geometry, allowance: Allowance | None = None
) -> tuple[shapely.Geometry | None, str]:
    """Return a valid polygon or multipolygon and what was wrong, or None and why it cannot be used.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        Invalid.
    allowance : Allowance, optional
        What is left for the records of a layer; this one's work is taken off.
    """
    left = allowance or Allowance()
    crossings = _count_crossings(geometry)
    if crossings > left.crossings:
        before = "" if crossings > Allowance().crossings else ", with the records before it,"
        reason = f"its outline crosses itself some {crossings:,} times, too often{before} to be made valid"
        return None, reason
    left.crossings -= crossings
    pairs = _count_near_rings(geometry, left.pairs)
    if pairs > left.pairs:
        count = int(shapely.get_rings(shapely.get_parts(geometry)).size)
        before = "" if left.pairs == Allowance().pairs else ", with the records before it,"
        return None, f"its {count:,} rings lie over each other too often{before} to be made valid"
    left.pairs -= pairs
    reason = re.sub(r"\s*\[.*", "", shapely.is_valid_reason(geometry)).lower()
    rings = _read_rings(geometry)
    if not len(rings.face):
        return None, f"no area is left of it ({reason})"
    nesting = _nest(rings)
    ground, decided_by = _decide(rings, nesting)
    if _is_larger(rings, nesting):
        reason = "hole larger than its shell"
    whole = _assemble(rings, nesting, ground)
    if whole.area == 0:
        return None, f"no area is left of it ({reason})"
    return whole, reason + _describe_changes(rings, nesting, ground, decided_by)


@dataclass(frozen=True, slots=True)
class _Rings(Table):
    """Rings with area, largest first and shells before holes of the same size."""

    face: NDArray[np.object_]  # the ground each ring holds
    area: NDArray[np.float64]
    direction: NDArray[np.int64]  # 1 counterclockwise, -1 clockwise, 0 unclear
    part: NDArray[np.int64]
    hole: NDArray[np.bool_]  # as filed


@dataclass(frozen=True, slots=True)
class _Nesting:
    parent: NDArray[np.int64]  # the smallest ring around each, -1 for outermost
    crossed: list[dict[int, float]]  # rings each overlaps without lying inside, with the shared area
    pairs: set[tuple[int, int]]  # (outer, inner)


def _read_rings(geometry: shapely.Geometry) -> _Rings:
    parts = shapely.get_parts(geometry)
    rings, part = shapely.get_rings(parts, return_index=True)
    hole = np.concatenate([[False], part[1:] == part[:-1]]) if len(part) else np.zeros(0, dtype=bool)
    face = np.array(shapely.polygons(rings), dtype=object)
    signed = _signed_areas(rings)
    broken = np.flatnonzero(~shapely.is_valid(face))
    for row in broken.tolist():
        face[row] = _fill(face[row])
    area = shapely.area(face)
    direction = np.where(np.abs(signed) > _ONE_WAY * area, np.sign(signed), 0).astype(np.int64)
    order = np.lexsort((np.arange(len(area)), hole, -area))
    order = order[area[order] > 0]
    seen: set[tuple[bytes, bool]] = set()
    keys = shapely.to_wkb(shapely.normalize(face[order]))
    kept = []
    for row, key in zip(order.tolist(), keys, strict=True):
        if (key, bool(hole[row])) not in seen:
            seen.add((key, bool(hole[row])))
            kept.append(row)
    return _Rings(face, area, direction, part, hole).take(np.array(kept, dtype=np.int64))


def _signed_areas(rings: NDArray[Any]) -> NDArray[np.float64]:
    """Signed areas by the shoelace formula, counterclockwise positive."""
    xy, of = shapely.get_coordinates(rings, return_index=True)
    if not len(xy):
        return np.zeros(len(rings))
    first = np.searchsorted(of, of)
    near = xy - xy[first]  # large coordinates would cost digits
    cross = near[:-1, 0] * near[1:, 1] - near[1:, 0] * near[:-1, 1]
    same = of[:-1] == of[1:]
    signed: NDArray[np.float64] = np.bincount(of[:-1][same], cross[same] / 2, minlength=len(rings)).astype(
        float
    )
    return signed


def _fill(face: shapely.Geometry) -> shapely.Geometry:
    """Return the ground that one ring holds."""
    structure = shapely.make_valid(face, method="structure", keep_collapsed=False)
    most = shapely.get_num_coordinates(face) ** 2 // 2
    if most > _TANGLED and _count_crossings(face) > _TANGLED:
        return polygonal_parts(structure)
    linework = polygonal_parts(shapely.make_valid(face, method="linework"))
    return polygonal_parts(shapely.union(polygonal_parts(structure), linework))


def _nest(rings: _Rings) -> _Nesting:
    tree = shapely.STRtree(rings.face)
    outer, inner = tree.query(rings.face, predicate="covers")
    down = outer < inner
    parent = np.full(len(rings.face), -1, dtype=np.int64)
    np.maximum.at(parent, inner[down], outer[down])
    pairs = set(zip(outer[down].tolist(), inner[down].tolist(), strict=True))
    one, other = tree.query(rings.face, predicate="intersects")
    apart = np.array(
        [a < b and (a, b) not in pairs for a, b in zip(one.tolist(), other.tolist(), strict=True)], dtype=bool
    )
    one, other = one[apart], other[apart]
    shared = shapely.area(shapely.intersection(rings.face[one], rings.face[other]))
    crossed: list[dict[int, float]] = [{} for _ in rings.face]
    for a, b, area in zip(one.tolist(), other.tolist(), shared.tolist(), strict=True):
        if area > 0:
            crossed[b][a] = crossed[a][b] = area
    return _Nesting(parent, crossed, pairs)


def _decide(rings: _Rings, nesting: _Nesting) -> tuple[NDArray[np.bool_], str]:
    """Return which rings are ground, and what decided it: "direction", "filing" or "nesting"."""
    by_direction = _decide_by_direction(rings, nesting)
    if by_direction is not None:
        return by_direction, "direction"
    if _is_filing_sound(rings, nesting):
        return ~rings.hole, "filing"
    ground = np.zeros(len(rings.face), dtype=bool)
    for k, parent in enumerate(nesting.parent.tolist()):
        cut_off = bool(rings.hole[k]) and any(j < k and ground[j] for j in nesting.crossed[k])
        ground[k] = not cut_off if parent < 0 else not ground[parent]
    return ground, "nesting"


def _decide_by_direction(rings: _Rings, nesting: _Nesting) -> NDArray[np.bool_] | None:
    clear = rings.direction[rings.direction != 0]
    if not len(clear):
        return None
    ground: NDArray[np.bool_] = rings.direction == clear[0]
    for k, parent in enumerate(nesting.parent.tolist()):
        if rings.direction[k] == 0:
            ground[k] = not rings.hole[k]
        elif parent >= 0:
            filed_alike = rings.hole[k] == rings.hole[parent] and rings.hole[k] != ground[k]
            if ground[k] == ground[parent] and not filed_alike:
                return None
        elif ground[k]:
            if rings.hole[k] and nesting.crossed[k]:
                return None
        elif sum(area for j, area in nesting.crossed[k].items() if ground[j]) < rings.area[k] / 2:
            return None
    return ground


def _is_filing_sound(rings: _Rings, nesting: _Nesting) -> bool:
    shell_of = {part: k for k, part in enumerate(rings.part.tolist()) if not rings.hole[k]}
    for k in np.flatnonzero(rings.hole).tolist():
        shell = shell_of.get(int(rings.part[k]))
        if shell is None or k < shell or not ((shell, k) in nesting.pairs or shell in nesting.crossed[k]):
            return False
    if len(set(rings.direction[rings.direction != 0].tolist())) < 2:
        return True
    outer = nesting.parent
    return not any(
        not rings.hole[k] and outer[k] >= 0 and not rings.hole[outer[k]] for k in range(len(outer))
    )


def _is_larger(rings: _Rings, nesting: _Nesting) -> bool:
    return any(
        rings.hole[a] and not rings.hole[b] and rings.part[a] == rings.part[b] for a, b in nesting.pairs
    )


def _assemble(rings: _Rings, nesting: _Nesting, ground: NDArray[np.bool_]) -> shapely.Geometry:
    """Take each hole from its shell; parts in ground and holes in holes change nothing."""
    holes: dict[int, list[int]] = {}
    owner = np.full(len(ground), -1, dtype=np.int64)  # the shell whose ground, or hole, a place in a ring is
    inside = np.zeros(len(ground), dtype=bool)  # whether that place is ground
    for k, parent in enumerate(nesting.parent.tolist()):
        around = parent >= 0 and bool(inside[parent])
        inside[k] = ground[k]
        if ground[k]:
            owner[k] = owner[parent] if around else k
            if not around:
                holes[k] = []
        elif around:
            owner[k] = owner[parent]
            holes[int(owner[k])].append(k)
        elif parent < 0:
            over = [j for j in nesting.crossed[k] if ground[j]]
            if not over:
                inside[k], owner[k], holes[k] = True, k, []
        for j in nesting.crossed[k] if not ground[k] and not inside[k] else ():
            if parent < 0 and int(owner[j]) in holes and ground[j]:
                holes[int(owner[j])].append(k)
            elif parent < 0 and ground[j]:
                holes.setdefault(j, []).append(k)
    if all(face.geom_type == "Polygon" and not face.interiors for face in rings.face):
        simple = [
            shapely.polygons(rings.face[k].exterior, holes=[rings.face[h].exterior for h in inner] or None)
            for k, inner in holes.items()
        ]
        whole = shapely.multipolygons(simple) if len(simple) > 1 else simple[0]
        if whole.is_valid:
            return whole
    made = [
        shapely.difference(rings.face[k], shapely.union_all(rings.face[inner])) if inner else rings.face[k]
        for k, inner in holes.items()
    ]
    return polygonal_parts(shapely.union_all(made))


def _describe_changes(rings: _Rings, nesting: _Nesting, ground: NDArray[np.bool_], decided_by: str) -> str:
    outside = [p < 0 and not c for p, c in zip(nesting.parent.tolist(), nesting.crossed, strict=True)]
    as_hole = int(np.sum(~ground & ~rings.hole))
    as_ground = int(np.sum(rings.hole & (ground | np.array(outside, dtype=bool))))
    top = {int(part): k for k, part in enumerate(rings.part.tolist()) if not rings.hole[k]}
    moved = sum(
        bool(rings.hole[k] and not ground[k] and not outside[k])
        and (top.get(int(rings.part[k]), -1), k) not in nesting.pairs
        and top.get(int(rings.part[k]), -1) not in nesting.crossed[k]
        for k in range(len(ground))
    )
    changes = [
        f"{count} {what}{'s' if count > 1 else ''} {then}"
        for count, what, then in (
            (as_hole, "part", "read as a hole" if as_hole == 1 else "read as holes"),
            (as_ground, "hole", "read as ground"),
            (moved, "hole", "filed with another part"),
        )
        if count
    ]
    return f"; {', '.join(changes)} (by {decided_by})" if changes else ""


def _count_crossings(geometry: shapely.Geometry) -> int:
    """Estimate from a few edges how often the outline crosses itself."""
    rings = shapely.get_rings(shapely.get_parts(geometry))
    xy, of = shapely.get_coordinates(rings, return_index=True)
    same = of[:-1] == of[1:]
    if len(xy) < _PROBED_FROM:
        return _count_all_crossings(xy[:-1][same], xy[1:][same])
    edges = shapely.linestrings(np.stack([xy[:-1][same], xy[1:][same]], axis=1))
    probed = np.linspace(0, len(edges) - 1, _PROBED).astype(np.int64)
    near = np.stack([probed[pairs[0]], pairs[1]]) if (pairs := _meet(edges, probed)).size else pairs
    some = near[:, :: max(near.shape[1] // _TRIED, 1)]
    share = float(shapely.crosses(edges[some[0]], edges[some[1]]).mean()) if some.size else 0.0
    return int(share * near.shape[1] / len(probed) * len(edges) / 2)


def _count_all_crossings(start: NDArray[np.float64], end: NDArray[np.float64]) -> int:
    """Count pairs of edges each of which has the ends of the other on both sides."""
    along = end - start

    def side(points: NDArray[np.float64]) -> NDArray[np.float64]:
        x, y = (points[:, None] - start).transpose(2, 0, 1)
        sides: NDArray[np.float64] = np.sign(along[:, 0] * y - along[:, 1] * x)
        return sides

    parted = side(start) * side(end) < 0
    return int(np.count_nonzero(parted & parted.T)) // 2


def _count_near_rings(geometry: shapely.Geometry, most: int) -> int:
    """Count pairs of rings whose bounds meet, each twice, until there are more than ``most``."""
    rings = shapely.get_rings(shapely.get_parts(geometry))
    if len(rings) ** 2 <= _NEAR_AT_ONCE:
        return len(rings) ** 2
    tree, count = shapely.STRtree(rings), 0
    for start in range(0, len(rings), _NEAR_AT_ONCE):
        count += tree.query(rings[start : start + _NEAR_AT_ONCE]).shape[1]
        if count > most:
            break
    return count


def _meet(edges: NDArray[Any], probed: NDArray[np.int64]) -> NDArray[np.int64]:
    pairs: NDArray[np.int64] = shapely.STRtree(edges).query(edges[probed])
    return pairs
