"""Parks that a search loads as it needs them, wherever they are kept."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.geo.antimeridian import Box, find_in_box
from scout.model import DATUM_ERROR, ENTRY, PARK_ID, PARK_NAME, ParkReport, Parks, Source

Ints = NDArray[np.int64]


def _none() -> Ints:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class LoadedReport(ParkReport):
    """What had to be said of parks that were loaded, by numbers: tiles overlap, so counts do not add up."""

    parks_without: Ints = field(default_factory=_none, compare=False)  # that turned out to have no ground
    refused_numbers: Ints = field(default_factory=_none, compare=False)
    skipped_numbers: Ints = field(default_factory=_none, compare=False)
    repaired_numbers: Ints = field(default_factory=_none, compare=False)


@dataclass(frozen=True)
class LoadedParks:
    """Some parks: their frame, as `build_parks` says, and the number of each in its source, ascending."""

    frame: gpd.GeoDataFrame
    numbers: Ints
    report: ParkReport = field(default_factory=ParkReport)  # what had to be said of them alone

    @property
    def geometry(self) -> NDArray[np.object_]:
        """Their shapes."""
        shapes: NDArray[np.object_] = self.frame.geometry.to_numpy()
        return shapes

    def take(self, rows: Ints) -> LoadedParks:
        """Return some of them."""
        return replace(self, frame=self.frame.iloc[rows], numbers=self.numbers[rows])


class ParkQuery(Protocol):
    """Parks asked for; can be sent to another process and loaded there."""

    def load(self) -> LoadedParks:
        """Load them, in order of their numbers, without those that turn out to have no usable ground."""


class ParkSource(Protocol):
    """All parks by number, of which a search loads few, wherever they are kept.

    ``ids`` and ``names`` are arrays of numpy or pandas.
    """

    @property
    def bounds(self) -> NDArray[np.float64]:
        """Degrees, shape (n, 4); they hold each park but may be wider, also than a turn."""

    @property
    def ids(self) -> Any:
        """Of each park."""

    @property
    def names(self) -> Any:
        """Of each park, empty where it has none."""

    @property
    def entry(self) -> NDArray[np.object_] | None:
        """What is known of who may enter each park, an `Entry` or ""; None where nothing is of any."""

    @property
    def datum_error_m(self) -> NDArray[np.float64]:
        """Accuracy of each park's way to WGS 84."""

    @property
    def sources(self) -> tuple[Source, ...]:
        """The layers that the parks come from."""

    @property
    def report(self) -> ParkReport:
        """What is known of the records before any park is loaded."""

    def query(self, numbers: Ints) -> ParkQuery:
        """Ask for some parks, ascending; nothing is read yet."""

    def load(self, numbers: Ints) -> LoadedParks:
        """Load some parks, ascending, without those that turn out to have no usable ground."""

    def near(self, box: Box, within_m: float) -> Ints:
        """Return the numbers of the parks whose bounds come within some metres of a box, ascending."""

    def keep(self, loaded: LoadedParks) -> ParkSource:
        """Return the same source with some parks held in memory, so that they are not read again."""


class Queried:
    """What sources do alike once they can be queried."""

    def load(self: ParkSource, numbers: Ints) -> LoadedParks:
        """Load some parks, ascending, without those that turn out to have no usable ground."""
        return self.query(numbers).load()

    def near(self: ParkSource, box: Box, within_m: float) -> Ints:
        """Return the numbers of the parks whose bounds come within some metres of a box, ascending."""
        return find_in_box(self.bounds, box, within_m)


@dataclass(frozen=True)
class InMemoryParks(Queried):
    """Parks in memory."""

    parks: Parks

    @cached_property
    def bounds(self) -> NDArray[np.float64]:
        """Of each park."""
        bounds: NDArray[np.float64] = shapely.bounds(self.parks.frame.geometry.to_numpy()).reshape(-1, 4)
        return bounds

    @property
    def ids(self) -> Any:
        """As pandas has them: to make objects of all costs more than the few that are shown."""
        return self.parks.frame[PARK_ID].array

    @property
    def names(self) -> Any:
        """Likewise."""
        return self.parks.frame[PARK_NAME].array

    @property
    def entry(self) -> NDArray[np.object_] | None:
        """Of each park."""
        frame = self.parks.frame
        return frame[ENTRY].to_numpy(dtype=object) if ENTRY in frame else None

    @property
    def datum_error_m(self) -> NDArray[np.float64]:
        """Of each park."""
        return np.asarray(self.parks.frame[DATUM_ERROR], dtype=float)

    @property
    def sources(self) -> tuple[Source, ...]:
        """Where the parks come from."""
        return self.parks.sources

    @property
    def report(self) -> ParkReport:
        """What became of the records."""
        return self.parks.report

    def query(self, numbers: Ints) -> LoadedQuery:
        """Ask for some parks: they are there already."""
        frame = self.parks.frame
        return LoadedQuery(LoadedParks(frame if len(numbers) == len(frame) else frame.iloc[numbers], numbers))

    def keep(self, loaded: LoadedParks) -> InMemoryParks:
        """Return the same source: it holds all parks."""
        return self


@dataclass(frozen=True)
class LoadedQuery:
    """Parks asked for, all or some of which are in memory; the others are asked for in turn."""

    loaded: LoadedParks
    rest: ParkQuery | None = None

    def load(self) -> LoadedParks:
        """Load them, in order of their numbers."""
        if self.rest is None:
            return self.loaded
        more = self.rest.load()
        numbers = np.concatenate([self.loaded.numbers, more.numbers])
        whole = LoadedParks(pd.concat([self.loaded.frame, more.frame]), numbers, more.report)
        return whole.take(np.argsort(numbers))


@dataclass(frozen=True)
class NamedParks:
    """The parks that findings name, loaded when an output draws them."""

    source: ParkSource
    numbers: Ints
    _loaded: list[gpd.GeoDataFrame] = field(default_factory=list, compare=False, repr=False)

    @property
    def frame(self) -> gpd.GeoDataFrame:
        """Their frame, with a RangeIndex."""
        if not self._loaded:
            self._loaded.append(self.source.load(self.numbers).frame.reset_index(drop=True))
        return self._loaded[0]

    def only(self, ids: Collection[str]) -> NamedParks:
        """Those with one of some ids."""
        texts = self.source.ids.take(self.numbers)
        mine = pd.Series(texts, dtype=texts.dtype).isin(ids).to_numpy(dtype=bool)
        return replace(self, numbers=self.numbers[mine], _loaded=[])


def name_parks(frame: gpd.GeoDataFrame) -> NamedParks:
    """All parks of a frame."""
    return NamedParks(InMemoryParks(Parks(frame, (), ParkReport())), np.arange(len(frame)))


def add_report_lines(report: ParkReport, reports: Sequence[ParkReport]) -> ParkReport:
    """Return a source's report with what was said of the parks loaded, each line and record once."""
    loaded = [one for one in reports if isinstance(one, LoadedReport)]
    every = (report, *reports)

    def lines(name: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(line for one in every for line in getattr(one, name)))

    def count(name: str) -> int:
        return len(np.unique(np.concatenate([_none(), *(getattr(one, name) for one in loaded)])))

    if not loaded:  # all is known already
        return replace(
            report,
            repaired=lines("repaired"),
            refused=lines("refused"),
            skipped=lines("skipped"),
            notes=lines("notes"),
        )
    refused, skipped = count("refused_numbers"), count("skipped_numbers")
    parks, used = report.parks - count("parks_without"), report.used - refused - skipped
    return replace(
        report,
        parks=parks,
        used=used,
        refused_records=report.refused_records + refused,
        skipped_records=report.skipped_records + skipped,
        repaired_records=report.repaired_records + count("repaired_numbers"),
        merged=used - parks,
        repaired=lines("repaired"),
        refused=lines("refused"),
        skipped=lines("skipped"),
        notes=lines("notes"),
    )
