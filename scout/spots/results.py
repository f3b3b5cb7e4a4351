"""All that one search found, cut to a part of the lattice or put together from parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.locator import columns
from scout.outlines import Ints
from scout.spots.edges import Pieces, Sets, Window
from scout.spots.found import Found, column_by_column, released
from scout.spots.stretches import rows

__all__ = ["Search", "cut_to", "put_together", "renumbered"]


class Search(NamedTuple):
    """All places found, and the stretches that belong to them (``owner`` is a row of ``found``)."""

    found: Found
    meridians: Pieces
    meridian_owner: Ints
    parallels: Pieces
    parallel_owner: Ints


def cut_to(result: Search, core: Window | None, level: int) -> Search:
    """The places of a core, and the stretches that belong to them."""
    if core is None:
        return result
    n, found = columns(level), result.found
    top = core.north + (core.north == n)  # nothing lies beyond the last row
    inside = ((found.i - core.west) % n < core.east - core.west) & (found.j >= core.south) & (found.j < top)
    keep = np.flatnonzero(inside)
    place = np.full(len(found.i) + 1, -1)
    place[keep] = np.arange(len(keep))

    def mine(pieces: Pieces, owner: Ints) -> tuple[Pieces, Ints]:
        kept = np.flatnonzero(place[owner] >= 0)
        return rows(pieces, kept), place[owner[kept]]

    meridians = mine(result.meridians, result.meridian_owner)
    parallels = mine(result.parallels, result.parallel_owner)
    return Search(found.rows(keep), *meridians, *parallels)


def put_together(parts: list[Search]) -> Search:
    """The finds of all fields, whose parks bear the same numbers; the list is emptied on the way.

    Parts and whole would be most of the memory that a large search takes.
    """
    shifts = np.cumsum([0, *(len(part.found.i) for part in parts[:-1])])

    def owners(columns: Sequence[Ints]) -> Ints:
        return np.concatenate([column + shift for column, shift in zip(columns, shifts, strict=True)])

    up, flat = owners([p.meridian_owner for p in parts]), owners([p.parallel_owner for p in parts])
    found = [part.found for part in parts]
    upright, level = [part.meridians for part in parts], [part.parallels for part in parts]
    parts.clear()
    return Search(released(found), _all(upright), up, _all(level), flat)


def _all(parts: list[Pieces]) -> Pieces:
    axis, sizes = parts[0].axis, np.concatenate([np.diff(part.sets.first) for part in parts])
    columns = [[p.line, p.cell, p.start, p.end, p.sets.park] for p in parts]
    parts.clear()
    line, cell, start, end, park = column_by_column(columns)
    return Pieces(axis, line, cell, start, end, Sets(np.append(0, np.cumsum(sizes)), park, _unmarked(line)))


def _unmarked(rows: Ints) -> NDArray[np.uint64]:
    """Marks that take no memory: once owners are known, they are looked at no more."""
    return np.broadcast_to(np.uint64(0), rows.shape)


def renumbered(result: Search, numbers: Ints) -> Search:
    """Parks by other numbers: ``numbers`` has the new one at the place of the old."""
    found = result.found
    near = np.where(found.near_park < 0, -1, numbers[found.near_park]) if len(numbers) else found.near_park
    claims = found.claims._replace(park=numbers[found.claims.park])
    return Search(
        found._replace(claims=claims, near_park=near),
        _with_parks(result.meridians, numbers),
        result.meridian_owner,
        _with_parks(result.parallels, numbers),
        result.parallel_owner,
    )


def _with_parks(pieces: Pieces, numbers: Ints) -> Pieces:
    sets = pieces.sets
    return pieces._replace(sets=Sets(sets.first, numbers[sets.park], _unmarked(pieces.line)))
