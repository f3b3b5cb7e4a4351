"""One field searched, here or in another process: the parks it needs taken from their shelf."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely

from scout.model import DATUM_ERROR, ParkReport, Station
from scout.parks.shelf import Order, Shelf, Taken
from scout.spots.fields import Box, Field, by_lines, check_repeated, fields, in_box, meeting
from scout.spots.near_misses import reach_m
from scout.spots.results import Search, cut_to, renumbered
from scout.spots.scanning import search, window_of

__all__ = ["FieldFound", "Spread", "Task", "Wanted", "found_in", "one_found", "tasks"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a search goes by, whatever its field."""

    level: int
    station: Station
    near_m: float
    overlaps: bool  # whether places with a single cell and several parks are wanted
    box: Box | None  # west, south, east, north in degrees, east past 180 where it runs over the antimeridian


@dataclass(frozen=True, slots=True)
class Task:
    """One field of a search; can be sent to another process."""

    order: Order
    field: Field
    wanted: Wanted
    error_range_m: tuple[float, float]


class FieldFound(NamedTuple):
    """What a field holds, and what had to be said of its parks."""

    result: Search
    report: ParkReport


Spread = Callable[[Callable[[Task], FieldFound], Iterable[Task]], Iterable[FieldFound]]


def tasks(shelf: Shelf, wanted: Wanted, most: int) -> list[Task]:
    """A search cut into fields, each with the parks that could matter there.

    Parameters
    ----------
    shelf : Shelf
    terms : Wanted
    most : int
        Parks in a field, about.
    """
    bounds, near_m = shelf.bounds, reach_m(wanted.near_m, wanted.level)
    numbers = np.arange(len(bounds)) if wanted.box is None else in_box(bounds, wanted.box, near_m)
    bounds = bounds[numbers]
    check_repeated(bounds)
    overlaps = meeting(bounds) if wanted.overlaps else np.zeros(len(numbers), dtype=bool)
    useful = overlaps | by_lines(bounds, wanted.level, near_m)
    numbers, bounds, overlaps = numbers[useful], bounds[useful], overlaps[useful]
    error = wanted.station.boundary_error_m + shelf.datum_error_m
    error_range_m = float(error.min(initial=np.inf)), float(error.max(initial=0.0))
    window = None if wanted.box is None else window_of(*wanted.box, wanted.level)
    made = []
    for one in fields(bounds, wanted.level, near_m, overlaps, window, most):
        one = one._replace(parks=numbers[one.parks])
        made.append(Task(shelf.order(one.parks), one, wanted, error_range_m))
    return made


def one_found(task: Task) -> tuple[Search, Taken]:
    """What one field holds, by rows of the parks taken."""
    wanted, taken = task.wanted, task.order.take()
    if wanted.box is not None:  # the shelf's bounds may be a little wide
        near_m = reach_m(wanted.near_m, wanted.level)
        inside = in_box(shapely.bounds(taken.geometry).reshape(-1, 4), wanted.box, near_m)
        taken = Taken(taken.frame.iloc[inside], taken.numbers[inside], taken.report)
    result = search(
        taken.geometry,
        wanted.station.boundary_error_m + taken.frame[DATUM_ERROR].to_numpy(dtype=float),
        wanted.level,
        wanted.station,
        near_m=wanted.near_m,
        overlaps=task.field.overlapping[np.searchsorted(task.field.parks, taken.numbers)],
        window=task.field.window,
        error_range_m=task.error_range_m,
    )
    return cut_to(result, task.field.core, wanted.level), taken


def found_in(task: Task) -> FieldFound:
    """The same by the numbers of the parks on their shelf, to be put together with other fields."""
    result, taken = one_found(task)
    return FieldFound(renumbered(result, taken.numbers), taken.report)
