"""What visits have done: grids, parks and pairs at a level, per year, and what a place would add."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.locator import index, locator, parse, rows
from scout.visits import Visit

__all__ = ["Added", "Done", "Year", "added", "by_year", "cell_keys", "done", "grids_of"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Done:
    """Grids, parks and pairs of both that visits claimed, at one level."""

    level: int
    grids: frozenset[str] = frozenset()
    parks: frozenset[str] = frozenset()
    pairs: frozenset[tuple[str, str]] = field(default=frozenset())  # grid, park
    remarks: tuple[str, ...] = ()  # sentences about the notebook it was counted from


class Added(NamedTuple):
    """What places would add to what is done, one row per place."""

    grids: Ints
    parks: Ints
    pairs: Ints  # the yield of what is still missing


@dataclass(frozen=True, slots=True)
class Year:
    """One calendar year (UTC) of visits; what is ``new`` had not been done in any year before."""

    year: int
    visits: int
    contacts: int
    done: Done
    new: Done


def grids_of(visit: Visit, level: int) -> tuple[str, ...]:
    """Locators a visit claims at a level, in its own order.

    A coarser level cuts them. At a finer level every claimed cell gives the one cell in it that is nearest to
    the position: lines of the coarser level are lines of the finer one as well.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> visit = Visit(10.0, 45.0, datetime(2026, 3, 1, tzinfo=UTC), locators=("JN44", "JN55"))
    >>> grids_of(visit, 1), grids_of(visit, 3)
    (('JN',), ('JN44xx', 'JN55aa'))
    """
    found = []
    for text in visit.locators:
        i, j, given = parse(text)
        if given < level:
            at_i, at_j = index(visit.lon, visit.lat, level)
            per_i, per_j = _parts(given, level)
            round_ = _parts(0, level)[0]
            # Columns wrap round the globe: the way to the nearer end of the cell's columns is the shorter.
            west = int(i) * per_i
            past = (int(at_i) - west) % round_
            if past >= per_i:
                past = per_i - 1 if past - per_i < round_ - past else 0
            up = min(max(int(at_j) - int(j) * per_j, 0), per_j - 1)
            found.append(str(locator(west + past, int(j) * per_j + up, level)))
        else:
            found.append(str(locator(i, j, given))[: 2 * level])
    return tuple(dict.fromkeys(found))


def _parts(coarse: int, fine: int) -> tuple[int, int]:
    """Cells of a fine level across and up a cell of a coarse one; level 0 is the globe."""
    parts = rows(fine) // (rows(coarse) if coarse else 1)
    return parts, parts


def done(visits: Iterable[Visit], level: int) -> Done:
    """What visits have done. One whose contacts were counted and were none has done nothing."""
    grids: set[str] = set()
    parks: set[str] = set()
    pairs: set[tuple[str, str]] = set()
    for visit in visits:
        if visit.contacts == 0:
            continue
        here, held = grids_of(visit, level), [park.park for park in visit.parks]
        grids.update(here)
        parks.update(held)
        pairs.update((grid, park) for grid in here for park in held)
    return Done(level, frozenset(grids), frozenset(parks), frozenset(pairs))


def by_year(visits: Sequence[Visit], level: int) -> tuple[Year, ...]:
    """Every year that has visits, the earliest first."""
    years = []
    before = Done(level)
    for year in sorted({visit.start.year for visit in visits}):
        some = [visit for visit in visits if visit.start.year == year]
        now = done(some, level)
        contacts = sum(visit.contacts or 0 for visit in some)
        years.append(Year(year, len(some), contacts, now, _beyond(now, before)))
        before = _both(before, now)
    return tuple(years)


def _beyond(one: Done, other: Done) -> Done:
    return Done(one.level, one.grids - other.grids, one.parks - other.parks, one.pairs - other.pairs)


def _both(one: Done, other: Done) -> Done:
    return Done(one.level, one.grids | other.grids, one.parks | other.parks, one.pairs | other.pairs)


def cell_keys(i: NDArray[np.integer], j: NDArray[np.integer], level: int) -> Ints:
    """One number per cell, for `added`; columns may run past the globe."""
    count = np.int64(rows(level))  # as many columns as rows
    keys: Ints = (np.asarray(i, dtype=np.int64) % count) * count + np.asarray(j, dtype=np.int64)
    return keys


def added(so_far: Done, cells: Ints, first: Ints, park: Ints, ids: NDArray[np.object_]) -> Added:
    """Count the grids, parks and pairs of places that have not been done.

    Parameters
    ----------
    so_far : Done
    cells : array of int, shape (n, k)
        `cell_keys` of the cells each place touches, at the level of ``so_far``; -1 where it touches fewer.
    first : array of int, shape (n + 1,)
        Where the parks of each place begin in ``park``.
    park : array of int
        Numbers of parks, end to end.
    ids : array of str, shape (parks,)
        Ids of the parks.
    """
    there = cells >= 0
    new_cell = there & ~np.isin(cells, _keys(so_far.grids, so_far.level))
    new_park = ~np.isin(ids, np.array(sorted(so_far.parks), dtype=object))
    per_place = np.diff(first)
    row = np.repeat(np.arange(len(per_place)), per_place)
    parks = np.bincount(row, weights=new_park[park], minlength=len(per_place)).astype(np.int64)
    # A pair is one number: cell times parks plus park. Only parks that were visited can be in a pair done.
    number = {str(name): k for k, name in enumerate(ids.tolist())}
    pairs = [(grid, number[name]) for grid, name in sorted(so_far.pairs) if name in number]
    size = np.int64(max(len(ids), 1))
    known = _keys([grid for grid, _ in pairs], so_far.level) * size + np.array(
        [k for _, k in pairs], dtype=np.int64
    )
    here = cells[row]
    fresh = (here >= 0) & ~np.isin(here * size + park[:, None], known)
    n_pairs = np.bincount(row, weights=fresh.sum(axis=1), minlength=len(per_place)).astype(np.int64)
    return Added(new_cell.sum(axis=1).astype(np.int64), parks, n_pairs)


def _keys(grids: Iterable[str], level: int) -> Ints:
    texts = list(grids)
    if not texts:
        return np.empty(0, dtype=np.int64)
    i, j, _ = parse(np.array(texts))
    return cell_keys(i, j, level)
