"""Stretches of lattice lines inside parks: where along them, and how far off, the station should stand."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from scout import confidence
from scout.geodesy import degree_lengths
from scout.locator import columns, edge_lat, edge_lon
from scout.outlines import Floats, Ints, ragged
from scout.spots.edges import Corners, Pieces
from scout.spots.found import Found, grade, of_judged
from scout.verdict import MERIDIAN, PARALLEL, SURE, Claims, Ground, Judged, estimate, settle, sharpened

__all__ = ["along_pieces", "lengths", "owning_corners", "place_on", "rows"]

_PARTS = 2048  # of one stretch at the most: 50 km go down to 24 m, longer ones less far
_FINE_M = 2.0  # places nearer to each other are alike; `settle` finds the rest


def place_on(pieces: Pieces, fraction: Floats, level: int) -> tuple[Floats, Floats]:
    """Lon, lat of the point at a fraction of each piece."""
    cell = pieces.cell + pieces.start + fraction * (pieces.end - pieces.start)
    if pieces.axis == "meridian":
        return edge_lon(pieces.line, level), edge_lat(cell, level)
    return edge_lon(cell, level), edge_lat(pieces.line, level)


def lengths(pieces: Pieces, level: int) -> Floats:
    """Metres along each piece; meridian arcs by Simpson's rule, good to 1e-7 over ten degrees."""
    size = (pieces.end - pieces.start) / columns(level)
    if pieces.axis == "parallel":
        turn: Floats = size * 360 * degree_lengths(edge_lat(pieces.line, level))[0]
        return turn
    ends = [degree_lengths(place_on(pieces, np.full(len(size), f), level)[1])[1] for f in (0.0, 0.5, 1.0)]
    arc: Floats = size * 180 * (ends[0] + 4 * ends[1] + ends[2]) / 6
    return arc


def owning_corners(pieces: Pieces, corners: Corners, at: Found, level: int) -> Ints:
    """Row of the corner that each piece ends at with the same set of parks; -1 for none.

    ``at`` are the corners judged: of two the better one owns, then the one at the start. A corner that
    claims fewer parks than hold it is no home for a stretch in all of them.
    """
    n = columns(level)
    keys = corners.j * n + corners.i  # sorted, as `corners_inside` makes them
    owner = np.full(len(pieces.line), -1)
    if len(keys) == 0:
        return owner
    grades, whole = grade(at.judged.confidence), at.dropped == 0
    for ends, step in ((pieces.start == 0.0, 0), (pieces.end == 1.0, 1)):
        if pieces.axis == "parallel":
            key = pieces.line * n + (pieces.cell + step) % n
        else:
            key = (pieces.cell + step) * n + pieces.line
        row = np.minimum(np.searchsorted(keys, key), len(keys) - 1)
        mine = ends & whole[row] & (keys[row] == key) & (corners.sets.mark[row] == pieces.sets.mark)
        mine &= (owner < 0) | (grades[row] < grades[owner])
        owner[mine] = row[mine]
    return owner


def along_pieces(pieces: Pieces, ground: Ground) -> Found:
    """One spot per piece: its middle where the parks hold it surely, else where it is surest."""
    n = len(pieces.line)
    fraction, off = np.full(n, 0.5), np.zeros((2, n))
    quick = estimate(_claims(pieces, fraction, ground.level), off[0], off[1], ground)
    held = np.divide(quick.confidence, quick.grids_p, out=np.zeros(n), where=quick.grids_p > 0)
    clear = np.minimum.reduceat(quick.clearance_m, pieces.sets.first[:-1]) if n else np.zeros(0)
    # Clearance changes by at most a metre per metre: what the ends could have, the middle tells.
    hopeful = _conceivable(clear + lengths(pieces, ground.level) / 2, ground) >= confidence.DOUBTFUL
    weak = np.flatnonzero((held < SURE) & hopeful)
    if len(weak):
        some = rows(pieces, weak)
        fraction[weak], off[:, weak] = _surest(some, ground)
        again = estimate(_claims(some, fraction[weak], ground.level), off[0, weak], off[1, weak], ground)
        quick = _with_rows(quick, pieces.sets.first, weak, again)
    i, j = (pieces.line, pieces.cell) if pieces.axis == "meridian" else (pieces.cell, pieces.line)
    claims = _claims(pieces, fraction, ground.level)
    return of_judged("line", i, j, claims, (off[0], off[1]), sharpened(claims, quick, ground))


def _with_rows(all_: Judged, first: Ints, keep: Ints, new: Judged) -> Judged:
    """Judgements with some rows replaced."""
    _, members = ragged(first[keep], np.diff(first)[keep])
    per_row = {name: getattr(all_, name).copy() for name in ("lon", "lat", "grids_p", "confidence")}
    per_park = {name: getattr(all_, name).copy() for name in ("clearance_m", "parks_p")}
    for name, column in per_row.items():
        column[keep] = getattr(new, name)
    for name, column in per_park.items():
        column[members] = getattr(new, name)
    return Judged(**per_row, **per_park)


def _surest(pieces: Pieces, ground: Ground) -> tuple[Floats, Floats]:
    """Fraction along each piece and offset from the line (east, north) where its claim is surest."""
    fraction = _surest_fraction(pieces, ground)
    size, reach = lengths(pieces, ground.level), np.full(len(fraction), 1.5 * ground.station.radius_m)
    back, ahead = -size * fraction, size * (1 - fraction)
    box = ((back, -reach), (ahead, reach)) if pieces.axis == "parallel" else ((-reach, back), (reach, ahead))
    off = np.stack(settle(_claims(pieces, fraction, ground.level), ground, *box))
    # Where along the line is a matter of the reference point; the offset is from the line alone.
    axis = 0 if pieces.axis == "parallel" else 1
    fraction = np.clip(fraction + off[axis] / size, 0.0, 1.0)
    off[axis] = 0.0
    return fraction, off


def _claims(pieces: Pieces, fraction: Floats, level: int) -> Claims:
    lon, lat = place_on(pieces, fraction, level)
    grid = np.full(len(lon), MERIDIAN if pieces.axis == "meridian" else PARALLEL)
    return Claims(lon, lat, grid, pieces.sets.first, pieces.sets.park)


def rows(pieces: Pieces, keep: Ints) -> Pieces:
    """Some of the pieces."""
    return Pieces(
        pieces.axis,
        pieces.line[keep],
        pieces.cell[keep],
        pieces.start[keep],
        pieces.end[keep],
        pieces.sets.rows(keep),
    )


def _surest_fraction(pieces: Pieces, ground: Ground) -> Floats:
    """Where along each piece the least clearance is greatest.

    Branch and bound: clearance changes by at most a metre per metre, so a part whose middle falls short by
    more than half its length holds nothing better. A part that no station could use is dropped as well.
    """
    n = len(pieces.line)
    size, best, fraction = lengths(pieces, ground.level), np.full(n, -np.inf), np.full(n, 0.5)
    enough, need = _clearance_worth_having(ground)
    piece, middle, half = np.arange(n), np.full(n, 0.5), np.full(n, 0.5)
    while len(piece):
        clear = _least_clearance(pieces, piece, middle, ground)
        order = np.lexsort((-clear, piece))
        top = order[np.flatnonzero(np.diff(piece[order], prepend=-1))]
        gain = top[clear[top] > best[piece[top]]]
        best[piece[gain]], fraction[piece[gain]] = clear[gain], middle[gain]
        reach = clear + half * size[piece]
        split = (reach > best[piece] + _FINE_M) & (best[piece] < enough) & (reach > need)
        split &= half * size[piece] > np.maximum(_FINE_M, size[piece] / _PARTS)
        piece, middle, half = (
            np.repeat(piece[split], 2),
            np.repeat(middle[split], 2),
            np.repeat(half[split], 2),
        )
        half = half / 2
        middle = middle + np.tile([-1.0, 1.0], len(piece) // 2) * half
    return fraction


def _least_clearance(pieces: Pieces, piece: Ints, fraction: Floats, ground: Ground) -> Floats:
    some = rows(pieces, piece)
    lon, lat = place_on(some, fraction, ground.level)
    row, _ = ragged(some.sets.first[:-1], np.diff(some.sets.first))
    clear = ground.boundaries.clearance(some.sets.park, lon[row], lat[row])
    least: Floats = np.minimum.reduceat(clear, some.sets.first[:-1])
    return least


def _clearance_worth_having(ground: Ground) -> tuple[float, float]:
    """Metres of clearance beyond which there is no need to look for more, and under which none counts."""
    errors = ground.boundary_error_m
    radius, fix = ground.station.radius_m, confidence.sigma(ground.station.fix_error_m)
    enough = radius + 3.0 * float(np.hypot(fix, confidence.sigma(errors.max(initial=0.0))))
    inside = np.linspace(-radius, enough, 200)
    counts = _conceivable(inside, ground) >= confidence.DOUBTFUL
    return enough, float(inside[np.argmax(counts)]) if np.any(counts) else np.inf


def _conceivable(inside: Floats, ground: Ground) -> Floats:
    """Upper bound of the confidence with this clearance on the line, however the centre stands off."""
    radius, fix = ground.station.radius_m, confidence.sigma(ground.station.fix_error_m)
    spread = max(float(np.hypot(fix, confidence.sigma(ground.boundary_error_m.min(initial=np.inf)))), 1e-9)
    bound = np.zeros(len(inside))
    for off in np.linspace(0.0, 1.5 * radius, 13):
        # A step of the grid is granted on top, so that no offset between two is missed.
        room = (inside + off + radius / 8 - radius) / spread
        bound = np.maximum(bound, ndtr(room) * confidence.line(max(off - radius / 8, 0.0), radius, fix))
    return bound
