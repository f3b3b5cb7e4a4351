"""Stretches of lattice lines inside parks: where along them, and how far off, the station should stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from scout.geo import probability
from scout.geo.boundaries import Floats, Ints
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.locator import count_columns, get_edge_lat, get_edge_lon
from scout.geo.probability import DOUBTFUL
from scout.search.found import FoundPlaces, grade_confidence, make_found
from scout.search.optimize import SURE, choose_standing
from scout.search.scan import EdgePieces, FoundCorners, mark_sets
from scout.search.verdict import (
    MERIDIAN,
    PARALLEL,
    Claims,
    JudgedClaims,
    JudgingContext,
    estimate_claims,
    estimate_known,
    multiply_parts,
    refine,
)
from scout.table import IN_LISTS, Offsets, Table, expand_ranges, make_offsets

_PARTS = 2048  # of one stretch at the most: 50 km go down to 24 m, longer ones less far
_BENT = 0.01  # what an estimate may promise too much before the last steps go by the judge
_UNDER = 0.05  # and what it may promise too little: it has led the wrong way then
_APART = 0.02  # what the conditions' dependence may add or take before those steps go by it as well
_HOPE = 0.08  # what such a place may gain by those steps
_SHORTEST = 1 / 8  # of those steps, of the radius: half of that gains 0.0004 for a fifth of all time here
_FINE_M = 2.0  # places nearer to each other are alike; `choose_standing` finds the rest


def locate_on_pieces(pieces: EdgePieces, fraction: Floats, level: int) -> tuple[Floats, Floats]:
    """Lon, lat of the point at a fraction of each piece."""
    cell = pieces.cell + pieces.start + fraction * (pieces.end - pieces.start)
    if pieces.axis == "meridian":
        return get_edge_lon(pieces.line, level), get_edge_lat(cell, level)
    return get_edge_lon(cell, level), get_edge_lat(pieces.line, level)


def measure_pieces(pieces: EdgePieces, level: int) -> Floats:
    """Metres along each piece; meridian arcs by Simpson's rule, good to 1e-7 over ten degrees."""
    size = (pieces.end - pieces.start) / count_columns(level)
    if pieces.axis == "parallel":
        turn: Floats = size * 360 * compute_degree_lengths(get_edge_lat(pieces.line, level))[0]
        return turn
    ends = [
        compute_degree_lengths(locate_on_pieces(pieces, np.full(len(size), f), level)[1])[1]
        for f in (0.0, 0.5, 1.0)
    ]
    arc: Floats = size * 180 * (ends[0] + 4 * ends[1] + ends[2]) / 6
    return arc


def find_owning_corners(pieces: EdgePieces, corners: FoundCorners, at: FoundPlaces, level: int) -> Ints:
    """Row of the corner that each piece ends at with the same set of parks; -1 for none.

    ``at`` are the corners judged: of two the better one owns, then the one at the start. A corner that
    claims fewer parks than hold it is no home for a stretch in all of them.
    """
    owner = np.full(len(pieces.line), -1)
    if len(corners.i) == 0:
        return owner
    grades, whole = grade_confidence(at.judged.confidence), at.dropped == 0
    corner_mark, mark = mark_sets(corners.sets), mark_sets(pieces.sets)
    for row in find_end_corners(pieces, corners, level):
        mine = (row >= 0) & whole[row] & (corner_mark[row] == mark)
        mine &= (owner < 0) | (grades[row] < grades[owner])
        owner[mine] = row[mine]
    return owner


def find_end_corners(pieces: EdgePieces, corners: FoundCorners, level: int) -> tuple[Ints, Ints]:
    """Rows of the corners that each piece starts at and ends at; -1 for none."""
    n = count_columns(level)
    keys = corners.j * n + corners.i  # sorted, as `find_corners_inside` makes them
    found = []
    for ends, step in ((pieces.start == 0.0, 0), (pieces.end == 1.0, 1)):
        if pieces.axis == "parallel":
            key = pieces.line * n + (pieces.cell + step) % n
        else:
            key = (pieces.cell + step) * n + pieces.line
        row = np.searchsorted(keys, key)
        known = np.append(keys, -1)[row] == key
        found.append(np.where(ends & known, row, -1))
    return found[0], found[1]


@dataclass(frozen=True, slots=True)
class _PieceStrips(Table):
    """Pieces of both axes in one list, so that their stations are placed together."""

    grid: Ints  # MERIDIAN or PARALLEL
    line: Ints
    cell: Ints
    start: Floats
    size: Floats  # of the cell's edge
    length_m: Floats
    first: Offsets
    park: Annotated[Ints, IN_LISTS]

    @classmethod
    def of(cls, parts: Sequence[EdgePieces], level: int) -> _PieceStrips:
        """The pieces, one part after the other."""
        grids = [np.full(len(p.line), MERIDIAN if p.axis == "meridian" else PARALLEL) for p in parts]
        sizes = np.concatenate([np.diff(p.sets.first) for p in parts])
        return cls(
            np.concatenate(grids),
            np.concatenate([p.line for p in parts]),
            np.concatenate([p.cell for p in parts]),
            np.concatenate([p.start for p in parts]),
            np.concatenate([p.end - p.start for p in parts]),
            np.concatenate([measure_pieces(p, level) for p in parts]),
            make_offsets(sizes),
            np.concatenate([p.sets.park for p in parts]),
        )

    def claims(self, fraction: Floats, level: int) -> Claims:
        """What is claimed at the point at a fraction of each strip."""
        cell, upright = self.cell + self.start + fraction * self.size, self.grid == MERIDIAN
        lon = get_edge_lon(np.where(upright, self.line, cell), level)
        lat = get_edge_lat(np.where(upright, cell, self.line), level)
        return Claims(lon, lat, self.grid, self.first, self.park)


def place_along_pieces(parts: Sequence[EdgePieces], ground: JudgingContext) -> FoundPlaces:
    """One spot per piece: its middle where the parks hold it surely, else where it is surest."""
    strips = _PieceStrips.of(parts, ground.level)
    n = len(strips.line)
    fraction, off = np.full(n, 0.5), np.zeros((n, 2))
    quick = estimate_claims(strips.claims(fraction, ground.level), off[:, 0], off[:, 1], ground)
    held = np.divide(quick.confidence, quick.grids_p, out=np.zeros(n), where=quick.grids_p > 0)
    clear = np.minimum.reduceat(quick.clearance_m, strips.first[:-1]) if n else np.zeros(0)
    # Clearance changes by at most a metre per metre: what the ends could have, the middle tells.
    hopeful = _bound_confidence(clear + strips.length_m / 2, ground) >= DOUBTFUL
    weak = np.flatnonzero((held < SURE) & hopeful)
    if len(weak):
        _, members = expand_ranges(strips.first[weak], np.diff(strips.first)[weak])
        placed = _find_surest(strips.take(weak), quick.clearance_m[members], ground)
        fraction[weak], off[weak] = placed[:2]
        quick = quick.replace(weak, placed[2])
    verdicts = refine(strips.claims(fraction, ground.level), quick, ground)
    apart = np.abs(multiply_parts(verdicts.first, verdicts.grids_p, verdicts.parks_p) - verdicts.confidence)
    dependent = apart > _APART
    under = verdicts.confidence - quick.confidence > _UNDER
    short = (quick.confidence - verdicts.confidence > _BENT) | under | dependent
    hope = np.maximum(quick.confidence, verdicts.confidence + _HOPE * (under | dependent))
    bent = np.flatnonzero(short & (hope >= DOUBTFUL))
    if len(bent):
        some = strips.take(bent)
        # By one receiver error for all conditions where that counts: it is twice the work.
        together = dependent[bent]
        at, beside, quick = _find_stand_off(some, fraction[bent], None, ground, together)
        new = refine(some.claims(at, ground.level), quick, ground)
        better = np.flatnonzero(new.confidence > verdicts.confidence[bent])
        verdicts = verdicts.replace(bent[better], new.take(better))
        fraction[bent[better]], off[bent[better]] = at[better], beside[better]
    upright = strips.grid == MERIDIAN
    i, j = np.where(upright, strips.line, strips.cell), np.where(upright, strips.cell, strips.line)
    return make_found("line", i, j, strips.claims(fraction, ground.level), (off[:, 0], off[:, 1]), verdicts)


def _find_surest(
    strips: _PieceStrips, clearance_m: Floats, ground: JudgingContext
) -> tuple[Floats, Floats, JudgedClaims]:
    """Fraction along each strip and offset from its line where the claim is surest, and the estimate there.

    ``clearance_m`` is, per park, that of the middles.
    """
    fraction, clearance_m = _find_surest_fraction(strips, clearance_m, ground)
    zero = np.zeros(len(fraction))
    quick = estimate_known(strips.claims(fraction, ground.level), zero, zero, clearance_m, ground)
    return _find_stand_off(strips, fraction, quick, ground)


def _find_stand_off(
    strips: _PieceStrips,
    fraction: Floats,
    quick: JudgedClaims | None,
    ground: JudgingContext,
    exact: bool | NDArray[np.bool_] = False,
) -> tuple[Floats, Floats, JudgedClaims]:
    """The same, sought from a fraction of each strip; ``quick`` is the estimate there, if known."""
    size, across = strips.length_m, np.full(len(fraction), 1.5 * ground.station.radius_m)
    claims, along = strips.claims(fraction, ground.level), strips.grid == PARALLEL
    # The last steps are short: they lead no further than this.
    most = np.minimum(size, 10.0 * ground.station.radius_m) if exact is not False else size
    back, ahead = np.minimum(most, size * fraction), np.minimum(most, size * (1 - fraction))
    low = -np.where(along, back, across), -np.where(along, across, back)
    high = np.where(along, ahead, across), np.where(along, across, ahead)
    east, north, quick = choose_standing(claims, ground, low, high, exact, quick, _SHORTEST)
    moved = np.flatnonzero((east != 0.0) | (north != 0.0))
    # Where along the line is a matter of the reference point; the offset is from the line alone.
    fraction = np.clip(fraction + np.where(along, east, north) / size, 0.0, 1.0)
    off = np.stack([np.where(along, 0.0, east), np.where(along, north, 0.0)], axis=1)
    again = strips.claims(fraction, ground.level).take(moved)
    new = estimate_claims(again, off[moved, 0], off[moved, 1], ground)
    return fraction, off, quick.replace(moved, new)


def _find_surest_fraction(
    strips: _PieceStrips, clearance_m: Floats, ground: JudgingContext
) -> tuple[Floats, Floats]:
    """Where along each strip the least clearance is greatest, and the clearances there.

    Branch and bound: clearance changes by at most a metre per metre, so a part whose middle falls short by
    more than half its length holds nothing better. A part that no station could use is dropped as well.
    """
    n, size, clear = len(strips.line), strips.length_m, clearance_m
    best, fraction, at_best = np.full(n, -np.inf), np.full(n, 0.5), clearance_m.copy()
    enough, need = _find_clearance_range(ground)
    strip, middle, half = np.arange(n), np.full(n, 0.5), np.full(n, 0.5)
    while len(strip):
        sizes = np.diff(strips.first)[strip]
        first = np.cumsum(sizes) - sizes
        least = np.minimum.reduceat(clear, first)
        order = np.lexsort((-least, strip))
        top = order[np.flatnonzero(np.diff(strip[order], prepend=-1))]
        gain = top[least[top] > best[strip[top]]]
        best[strip[gain]], fraction[strip[gain]] = least[gain], middle[gain]
        to, by = (
            expand_ranges(strips.first[strip[gain]], sizes[gain])[1],
            expand_ranges(first[gain], sizes[gain])[1],
        )
        at_best[to] = clear[by]
        reach = least + half * size[strip]
        split = (reach > best[strip] + _FINE_M) & (best[strip] < enough) & (reach > need)
        split &= half * size[strip] > np.maximum(_FINE_M, size[strip] / _PARTS)
        strip, half = np.repeat(strip[split], 2), np.repeat(half[split], 2) / 2
        middle = np.repeat(middle[split], 2) + np.tile([-1.0, 1.0], len(strip) // 2) * half
        clear = _measure_clearances(strips.take(strip), middle, ground)
    return fraction, at_best


def _measure_clearances(strips: _PieceStrips, fraction: Floats, ground: JudgingContext) -> Floats:
    claims = strips.claims(fraction, ground.level)
    row, _ = expand_ranges(claims.first[:-1], np.diff(claims.first))
    return ground.boundaries.clearance(claims.park, claims.lon[row], claims.lat[row])


def _find_clearance_range(ground: JudgingContext) -> tuple[float, float]:
    """Metres of clearance beyond which there is no need to look for more, and under which none counts."""
    radius, fix = ground.station.radius_m, probability.compute_sigma(ground.station.fix_error_m)
    enough = radius + 3.0 * float(np.hypot(fix, probability.compute_sigma(ground.most_error_m)))
    inside = np.linspace(-radius, enough, 200)
    counts = _bound_confidence(inside, ground) >= DOUBTFUL
    return enough, float(inside[np.argmax(counts)]) if np.any(counts) else np.inf


def _bound_confidence(inside: Floats, ground: JudgingContext) -> Floats:
    """Upper bound of the confidence with this clearance on the line, however the centre stands off.

    No more than the least sure of line and park: one error moves both, so their product is no bound.
    """
    radius, fix = ground.station.radius_m, probability.compute_sigma(ground.station.fix_error_m)
    spread = max(float(np.hypot(fix, probability.compute_sigma(ground.least_error_m))), 1e-9)
    bound = np.zeros(len(inside))
    for off in np.linspace(0.0, 1.5 * radius, 13):
        # A step of the grid is granted on top, so that no offset between two is missed.
        room = (inside + off + radius / 8 - radius) / spread
        bound = np.maximum(
            bound, np.minimum(ndtr(room), probability.compute_line_p(max(off - radius / 8, 0.0), radius, fix))
        )
    return bound
