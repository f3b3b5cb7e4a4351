"""Planned places judged: which grids and parks count there, what holds that down, which move mends it.

The verdict is `scout.verdict`'s, the same as the search gives.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike

from scout.check.answers import Answers, counts
from scout.check.moves import MOVE_M, best_moves
from scout.check.places import (
    Lattice,
    candidates,
    feet,
    lattice_at,
    near_pairs,
    reaches,
    share_of_cells,
    touching,
)
from scout.clearance import Boundaries
from scout.describe import locators_of
from scout.geodesy import wrap_lon
from scout.locator import decode
from scout.model import DATUM_ERROR, PARK_ID, PARK_NAME, Checked, LineAt, Move, Parks, Station, Verdict
from scout.outlines import Floats
from scout.verdict import Ground

__all__ = ["MOVE_M", "Check", "check"]

_KINDS: tuple[Literal["meridian", "parallel", "corner"], ...] = ("meridian", "parallel", "corner")
_CHUNK = 20_000  # places held at once


@dataclass(frozen=True, slots=True)
class Check:
    """How to judge places."""

    level: int = 2
    station: Station = field(default_factory=Station)
    near_m: float = 1000.0  # parks further outside are not spoken of
    moves: bool = True


def check(
    parks: Parks,
    lon: ArrayLike,
    lat: ArrayLike,
    options: Check,
    cells: Sequence[str | None] | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Iterator[Checked]:
    """Judge places one after the other.

    Parameters
    ----------
    parks : Parks
        As `scout.parks.build_parks` makes them.
    lon, lat : arrays, shape (n,)
        Degrees.
    options : Check
    cells : sequence of str or None, optional
        Locators of the places that were given as such: the whole cell is then judged.

    Yields
    ------
    Checked
        One per place, in order; memory is bounded whatever their number.
    """
    x, y = wrap_lon(np.atleast_1d(lon)), np.atleast_1d(np.asarray(lat, dtype=float))
    names: Sequence[str | None] = cells if cells is not None else [None] * len(x)
    tree = shapely.STRtree(parks.frame.geometry.to_numpy())
    for first in range(0, len(x), _CHUNK):
        rows = slice(first, first + _CHUNK)
        progress(f"checking places {first + 1:,} to {min(first + _CHUNK, len(x)):,} of {len(x):,}")
        yield from _checked(parks, tree, x[rows], y[rows], names[rows], options)


def _checked(
    parks: Parks,
    tree: shapely.STRtree,
    lon: Floats,
    lat: Floats,
    cells: Sequence[str | None],
    options: Check,
) -> list[Checked]:
    frame, level = parks.frame, options.level
    geometry = frame.geometry.to_numpy()
    reach = reaches(cells, options.near_m)
    place, park = candidates(tree, lon, lat, reach)
    numbers, park = np.unique(park, return_inverse=True)
    error = options.station.boundary_error_m + frame[DATUM_ERROR].to_numpy(dtype=float)[numbers]
    ground = Ground(Boundaries(geometry[numbers]), error, level, options.station)
    pairs = near_pairs(place, park, lon, lat, reach, ground)
    share = share_of_cells(pairs, cells, geometry[numbers])
    pairs = pairs._replace(p=np.where(np.isnan(share), pairs.p, share))
    # Of a cell, what it does not touch counts as near only where its centre is.
    spoken = (pairs.clearance_m >= -options.near_m) | (share > 0)
    pairs, share = pairs.rows(spoken), share[spoken]
    order = np.lexsort((-pairs.clearance_m, -pairs.p, pairs.place))
    pairs, share = pairs.rows(order), share[order]
    lattice = lattice_at(lon, lat, level)
    claims, i, j, grids_p = touching(lon, lat, lattice, ground)
    locators = locators_of(claims.grid, i, j, level)
    for row, cell in enumerate(cells):
        if cell is not None:
            locators[row], grids_p[row] = _cell_claim(cell, level)
    first = np.searchsorted(pairs.place, np.arange(len(lon) + 1))
    ids, names = (frame[column].to_numpy()[numbers] for column in (PARK_ID, PARK_NAME))
    answers = Answers(ids, names, geometry[numbers], lon, lat, pairs, first, share, locators, grids_p)
    verdicts = [answers.verdict(row) for row in range(len(lon))]
    moves = _moves(answers, lattice, verdicts, cells, ground) if options.moves else {}
    lines = feet(lon, lat, lattice, level)
    return [
        Checked(
            float(lon[row]),
            float(lat[row]),
            verdicts[row],
            answers.parks_at(row),
            tuple(
                LineAt(kind, *(float(column[row]) for column in foot))
                for kind, foot in zip(_KINDS, lines, strict=True)
            ),
            answers.driver(row, verdicts[row]),
            moves.get(row),
        )
        for row in range(len(lon))
    ]


def _moves(
    answers: Answers,
    lattice: Lattice,
    verdicts: list[Verdict],
    cells: Sequence[str | None],
    ground: Ground,
) -> dict[int, Move]:
    """The move that makes a place better, by place; a cell has no one place to move."""
    now = np.array([counts(v) for v in verdicts], dtype=float).reshape(-1, 2)
    pairs = answers.pairs
    exact = np.array([cell is None for cell in cells], dtype=bool)
    pairs = pairs.rows(exact[pairs.place])
    rows, found = best_moves(answers.lon, answers.lat, lattice, pairs, now, ground)
    return {row: answers.move(row, found, at, ground.level) for at, row in enumerate(rows.tolist())}


def _cell_claim(cell: str, level: int) -> tuple[tuple[str, ...], float]:
    """The grid a cell lies in; a cell larger than the level's names none."""
    if len(cell) // 2 < level:
        return (), 0.0
    return (decode(cell).locator[: 2 * level],), 1.0
