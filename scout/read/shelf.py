"""Parks left in their files until a search wants them: ids, names and bounds of all, outlines of few."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scout.model import ParkReport, Source
from scout.parks.columns import nameless
from scout.parks.identity import end_to_end, identified, numbered
from scout.parks.joining import datum_errors
from scout.parks.pieces import with_pieces_joined
from scout.read.aside import LARGE, Whole, laid_aside
from scout.read.drawers import Drawer, FileOrder, Kept, Reading, with_corridor
from scout.read.files import check_twice, named, requests, useful
from scout.read.formats import check_named
from scout.read.index import LEAST_RECORDS, Indexed, indexed
from scout.read.layers import Request, read_layer
from scout.read.offline import offline
from scout.read.trust import format_compared
from scout.read.unusable import Unusable

__all__ = ["FiledParks", "Reading", "open_shelf"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def _whole(request: Request) -> tuple[Whole, Counter[str]]:
    with offline():
        layer, causes = read_layer(request)
    return Whole(layer), causes


def open_shelf(
    paths: Sequence[Path | str],
    reading: Reading,
    progress: Callable[[str], None] = lambda _: None,
    least: int = LEAST_RECORDS,
    large: int = LARGE,
    unusable: Unusable | None = None,
) -> FiledParks | None:
    """Look at the indexes of some files; None where none is of use, and everything is best read at once.

    Parameters
    ----------
    paths : sequence of path
    reading : Reading
    progress : callable
        Told one line before each layer.
    least : int
        Records that make an index worth it.
    large : int
        Bytes of a file whose outlines are laid aside on disk where there is no index of use.

    Raises
    ------
    InputError
        A file cannot be used at all.
    """
    check_twice(paths)
    asked = [name for name in (reading.id_column, reading.name_column, *reading.keep) if name]
    out = unusable or Unusable()
    for path in paths:
        check_named(path)
    every: list[Request] = []
    for path in paths:
        with out.guard():
            every += requests(path, reading.layer, reading.assume_crs)
    wanted, known, doubted = [], [], False
    layers_of = Counter(one.path for one in every)
    for one in every:
        progress(f"looking into {one.path}")
        with out.guard(), named(one.name, layers_of[one.path] > 1):
            said: list[str] = []
            known.append(indexed(one, asked, least, said.append))
            wanted.append(one.with_warnings(said))
            doubted |= bool(said)
    if not any(known) and not doubted and not any(_size(one) > large for one in wanted):
        return None
    found = _with_the_rest(wanted, known, asked, large, progress, out)
    layers = [one for one in found if len(one.records) or one.table.refused]
    if not any(len(one.records) for one in layers):
        return None  # reading everything tells why there is nothing
    there = {str(name).casefold() for one in layers for name in one.table.frame.columns}
    if any(name.casefold() not in there for name in asked):
        return None  # a column that is nowhere: reading everything tells it, with all there are
    filed = _filed(layers, reading, progress)
    return replace(filed, report=out.add_to(filed.report))


def _size(request: Request) -> int:
    return Path(request.path).stat().st_size


def _with_the_rest(
    wanted: Sequence[Request],
    known: Sequence[Kept | None],
    asked: Sequence[str],
    large: int,
    progress: Callable[[str], None],
    out: Unusable,
) -> list[Kept]:
    """The layers that have an index of use, and the others read."""
    found: list[tuple[str, Kept]] = []
    causes: dict[str, Counter[str]] = {}
    layers_of = Counter(request.path for request in wanted)
    for request, kept in zip(wanted, known, strict=True):
        with out.guard(), named(request.name, layers_of[request.path] > 1):
            if kept is None:
                progress(f"reading {request.path}")
                kept, why = laid_aside(request, asked) if _size(request) > large else _whole(request)
                causes.setdefault(request.path, Counter()).update(why)
            found.append((request.path, kept))
    for path, why in causes.items():
        before = len(out.errors)
        with out.guard():
            useful(path, [kept.table for of, kept in found if of == path], why)
        if len(out.errors) > before:
            found = [(of, kept) for of, kept in found if of != path]
    return [kept for _, kept in found]


def _filed(layers: Sequence[Kept], reading: Reading, progress: Callable[[str], None]) -> FiledParks:
    told = [numbered(one.table, one.records, reading.id_column, reading.name_column) for one in layers]
    there = [np.isfinite(one.bounds[:, 0]) for one in layers]
    records = [one.rows(some) for one, some in zip(told, there, strict=True)]
    bounds = end_to_end(
        [with_corridor(one, reading.corridor_m)[some] for one, some in zip(layers, there, strict=True)]
    )
    errors = end_to_end([datum_errors(one.table)[some] for one, some in zip(layers, there, strict=True)])
    known = identified(records)

    def drawers() -> tuple[Drawer, ...]:
        ids = known.unique.take(known.park)
        first, made = 0, []
        for k, (one, of) in enumerate(zip(layers, records, strict=True)):
            rows = slice(first, first + len(of.records))
            number = k, len(layers)
            made.append(Drawer(one, first, number, known.park[rows], of.records, ids[rows], of.name_column))
            first = rows.stop
        return tuple(made)

    if reading.join_pieces:

        def shapes_of(rows: Ints) -> NDArray[np.object_]:
            progress(f"comparing {len(rows):,} records of equal names")
            return np.concatenate([drawer.ground(rows, reading) for drawer in drawers()])

        known = with_pieces_joined(records, known, bounds, shapes_of)
    total = sum(one.table.source.records for one in layers)
    gone = sum(one.table.source.records - len(one.records) for one in layers)
    report = ParkReport(
        records=total,
        parks=len(known.unique),
        id_column=tuple(one.ids.column for one in told),
        name_column=tuple(one.name_column for one in told),
        used=len(known.park),
        refused_records=gone,
        skipped_records=total - gone - len(known.park),
        merged=len(known.park) - len(known.unique),
        refused=tuple(line for one in layers for line in one.table.refused),
        notes=(
            *known.notes,
            *(
                line
                for one, of in zip(layers, told, strict=True)
                for line in nameless(one.table, of.ids.column, of.name_column)
            ),
            *(line for one in layers for line in _compared(one)),
        ),
    )
    names = end_to_end([one.names for one in records])
    if len(known.unique) < len(known.park):
        names, bounds, errors = _by_park(known.park, np.array(names, dtype=object), bounds, errors)
    return FiledParks(drawers(), reading, known.unique, names, bounds, errors, report)


def _compared(layer: Kept) -> Iterator[str]:
    """What was not checked of a layer's index, if it has one."""
    line = format_compared(layer.compared, len(layer.records)) if isinstance(layer, Indexed) else ""
    if line:
        yield f"{layer.table.source.where}: {line}"


def _by_park(
    park: Ints, names: NDArray[np.object_], bounds: Floats, errors: Floats
) -> tuple[NDArray[np.object_], Floats, Floats]:
    """Name, bounds and datum error of each park, where some have several records."""
    first = np.unique(park, return_index=True)[1]
    name, joined, error = names[first].copy(), bounds[first].copy(), errors[first].copy()
    np.minimum.at(joined[:, 0], park, bounds[:, 0])
    np.minimum.at(joined[:, 1], park, bounds[:, 1])
    np.maximum.at(joined[:, 2], park, bounds[:, 2])
    np.maximum.at(joined[:, 3], park, bounds[:, 3])
    np.maximum.at(error, park, errors)
    for row in np.flatnonzero((name[park] == "") & (names != "")).tolist():
        name[park[row]] = name[park[row]] or names[row]
    return name, joined, error


@dataclass(frozen=True)
class FiledParks:
    """A shelf of parks in files; see `scout.parks.shelf.Shelf`."""

    drawers: tuple[Drawer, ...]
    reading: Reading
    ids: Any
    names: Any
    bounds: Floats
    datum_error_m: Floats
    report: ParkReport

    @property
    def sources(self) -> tuple[Source, ...]:
        """The layers of the files."""
        return tuple(drawer.layer.table.source for drawer in self.drawers)

    def order(self, numbers: Ints) -> FileOrder:
        """Ask for some parks, ascending; nothing is read yet."""
        return FileOrder(tuple(drawer.only(numbers) for drawer in self.drawers), self.reading)
