"""Parks left in their files until a search wants them: ids, names and bounds of all, outlines of few."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.model import ParkReport, Source
from scout.parks.columns import Texts, choose_id, choose_name
from scout.parks.grounds import grounds_of
from scout.parks.joining import Numbered, datum_errors, filled_ids, lines_about, united
from scout.parks.shelf import Taken
from scout.read.aside import LARGE, LaidAside, Whole, laid_aside
from scout.read.files import check_twice, requests, useful
from scout.read.index import LEAST_RECORDS, Indexed, indexed
from scout.read.layers import Request, read_layer
from scout.read.offline import offline
from scout.read.tables import among

__all__ = ["FiledParks", "Reading", "open_shelf"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reading:
    """How records become parks, as `scout.read.read_layers` and `scout.parks.build_parks` take it."""

    layer: str | None = None
    assume_crs: str | None = None
    id_column: str | None = None
    name_column: str | None = None
    corridor_m: float | None = None
    keep: tuple[str, ...] = ()


def _whole(request: Request) -> tuple[Whole, Counter[str]]:
    with offline():
        layer, causes = read_layer(request)
    return Whole(layer), causes


Kept: TypeAlias = Indexed | LaidAside | Whole


@dataclass(frozen=True)
class _Drawer:
    """One layer with its ids and names; ``park`` is the number of each record's park."""

    layer: Kept
    park: Ints
    records: Ints
    ids: Texts
    name_column: str

    def only(self, parks: Ints) -> _Drawer:
        """The records of some parks."""
        rows = np.flatnonzero(among(self.park, parks))
        records = self.records[rows]
        return replace(
            self, layer=self.layer.only(records), park=self.park[rows], records=records, ids=self.ids[rows]
        )


def open_shelf(
    paths: Sequence[Path | str],
    reading: Reading,
    progress: Callable[[str], None] = lambda _: None,
    least: int = LEAST_RECORDS,
    large: int = LARGE,
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
    wanted = [one for path in paths for one in requests(path, reading.layer, reading.assume_crs)]
    known: list[Kept | None] = []
    for one in wanted:
        progress(f"looking into {one.path}")
        known.append(indexed(one, asked, least))
    if not any(known) and not any(_size(one) > large for one in wanted):
        return None
    found = _with_the_rest(wanted, known, asked, large, progress)
    layers = [one for one in found if len(one.records) or one.table.refused]
    if not any(len(one.records) for one in layers):
        return None  # reading everything tells why there is nothing
    there = {str(name).casefold() for one in layers for name in one.table.frame.columns}
    if any(name.casefold() not in there for name in asked):
        return None  # a column that is nowhere: reading everything tells it, with all there are
    return _filed(layers, reading)


def _size(request: Request) -> int:
    return Path(request.path).stat().st_size


def _with_the_rest(
    wanted: Sequence[Request],
    known: Sequence[Kept | None],
    asked: Sequence[str],
    large: int,
    progress: Callable[[str], None],
) -> list[Kept]:
    """The layers that have an index of use, and the others read."""
    found: list[Kept] = []
    causes: dict[str, Counter[str]] = {}
    for request, kept in zip(wanted, known, strict=True):
        if kept is None:
            progress(f"reading {request.path}")
            kept, why = laid_aside(request, asked) if _size(request) > large else _whole(request)
            causes.setdefault(request.path, Counter()).update(why)
        found.append(kept)
    for path, why in causes.items():
        of_it = (kept.table for request, kept in zip(wanted, found, strict=True) if request.path == path)
        useful(path, list(of_it), why)
    return found


def _filed(layers: Sequence[Kept], reading: Reading) -> FiledParks:
    columns, names, texts, bounds, errors, distinct = [], [], [], [], [], []
    for one in layers:
        ids = choose_id(one.table, reading.id_column)
        name, values = choose_name(one.table, reading.name_column)
        usable = np.isfinite(one.bounds[:, 0])
        kept = slice(None) if usable.all() else usable
        columns.append(
            Numbered(one.table.source, one.records[kept], ids.values[kept], ids.column, ids.counter)
        )
        distinct.append(ids.distinct)
        names.append(name)
        texts.append(values[kept])
        bounds.append(one.bounds[kept])
        errors.append(datum_errors(one.table)[kept])
    filled, notes = filled_ids(columns)
    if distinct == [True]:
        park, unique = np.arange(len(filled[0])), filled[0]
    else:
        park, unique = pd.factorize(_end_to_end(filled))
    cuts = np.cumsum([len(ids) for ids in filled])[:-1]
    drawers = tuple(
        _Drawer(one, numbers, column.records, ids, name)
        for one, numbers, column, ids, name in zip(
            layers, np.split(park, cuts), columns, filled, names, strict=True
        )
    )
    report = ParkReport(
        records=sum(one.table.source.records for one in layers),
        parks=len(unique),
        id_column=tuple(column.id_column for column in columns),
        name_column=tuple(names),
        merged=len(park) - len(unique),
        refused=tuple(line for one in layers for line in one.table.refused),
        notes=tuple(notes),
    )
    known = _end_to_end(texts), _end_to_end(bounds), _end_to_end(errors)
    if len(unique) < len(park):
        known = _by_park(park, np.array(known[0], dtype=object), *known[1:])
    return FiledParks(drawers, reading, unique, *known, report)


def _end_to_end(parts: Sequence[Any]) -> Any:
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


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

    drawers: tuple[_Drawer, ...]
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

    def order(self, numbers: Ints) -> _FileOrder:
        """Ask for some parks, ascending; nothing is read yet."""
        return _FileOrder(tuple(drawer.only(numbers) for drawer in self.drawers), self.reading)


@dataclass(frozen=True)
class _FileOrder:
    """Some parks of files, to be read where this is sent to."""

    drawers: tuple[_Drawer, ...]
    reading: Reading

    def take(self) -> Taken:
        """Read them."""
        reading = self.reading
        layers = [drawer.layer.read() for drawer in self.drawers]
        grounds = [
            grounds_of(layer, None, drawer.name_column or None, reading.corridor_m)
            for layer, drawer in zip(layers, self.drawers, strict=True)
        ]
        rows = [
            np.searchsorted(drawer.records, one.records)
            for one, drawer in zip(grounds, self.drawers, strict=True)
        ]
        ids = np.concatenate([drawer.ids[some] for drawer, some in zip(self.drawers, rows, strict=True)])
        numbers = np.concatenate([drawer.park[some] for drawer, some in zip(self.drawers, rows, strict=True)])
        frame, notes = united(ids, layers, grounds, reading.keep)
        report = replace(lines_about(layers, grounds), notes=tuple(notes))
        number = pd.unique(numbers)
        # A park whose first record has to be refused comes later than its number.
        order = np.argsort(number, kind="stable")
        return Taken(frame.iloc[order], number[order], report)
