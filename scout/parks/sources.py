"""Parks that a search takes as it needs them, wherever they are kept."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.model import DATUM_ERROR, PARK_ID, PARK_NAME, ParkReport, Parks, Source

Ints = NDArray[np.int64]


def _none() -> Ints:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class LoadedReport(ParkReport):
    """What had to be said of parks that were taken, by numbers: fields overlap, so counts do not add up."""

    parks_without: Ints = field(default_factory=_none, compare=False)  # that turned out to have no ground
    refused_numbers: Ints = field(default_factory=_none, compare=False)
    skipped_numbers: Ints = field(default_factory=_none, compare=False)
    repaired_numbers: Ints = field(default_factory=_none, compare=False)


class LoadedParks(NamedTuple):
    """Some parks: their frame, as `build_parks` says, and the number of each in its source."""

    frame: gpd.GeoDataFrame
    numbers: Ints
    report: ParkReport = ParkReport()  # what had to be said of them alone

    @property
    def geometry(self) -> NDArray[np.object_]:
        """Their shapes."""
        shapes: NDArray[np.object_] = self.frame.geometry.to_numpy()
        return shapes


class ParkQuery(Protocol):
    """Parks asked for; can be sent to another process."""

    def take(self) -> LoadedParks:
        """Get them: in order of their numbers, without those that turn out to have no usable ground."""


class ParkSource(Protocol):
    """All parks by number, of which a search takes few.

    ``bounds`` in degrees, shape (n, 4), hold each park but may be wider, also than a turn; ``ids`` and
    ``names`` are arrays of numpy or pandas.
    """

    @property
    def bounds(self) -> NDArray[np.float64]:
        """Of each park."""

    @property
    def ids(self) -> Any:
        """Of each park."""

    @property
    def names(self) -> Any:
        """Of each park, empty where it has none."""

    @property
    def datum_error_m(self) -> NDArray[np.float64]:
        """Accuracy of each park's way to WGS 84."""

    @property
    def sources(self) -> tuple[Source, ...]:
        """The layers that the parks come from."""

    @property
    def report(self) -> ParkReport:
        """What is known of the records before any park is taken."""

    def order(self, numbers: Ints) -> ParkQuery:
        """Ask for some parks, ascending."""


@dataclass(frozen=True)
class InMemoryParks:
    """A shelf in memory."""

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

    def order(self, numbers: Ints) -> _InMemoryQuery:
        """They are there already."""
        frame = self.parks.frame
        return _InMemoryQuery(frame if len(numbers) == len(frame) else frame.iloc[numbers], numbers)


@dataclass(frozen=True)
class _InMemoryQuery:
    """Parks in memory."""

    frame: gpd.GeoDataFrame
    numbers: Ints

    def take(self) -> LoadedParks:
        """The same."""
        return LoadedParks(self.frame, self.numbers)


@dataclass(frozen=True)
class PartlyInMemoryParks:
    """A park source of which some parks are in memory already; numbers are those of the whole."""

    whole: ParkSource
    taken: LoadedParks

    @property
    def bounds(self) -> NDArray[np.float64]:
        """Of each park."""
        return self.whole.bounds

    @property
    def ids(self) -> Any:
        """Of each park."""
        return self.whole.ids

    @property
    def names(self) -> Any:
        """Of each park."""
        return self.whole.names

    @property
    def datum_error_m(self) -> NDArray[np.float64]:
        """Of each park."""
        return self.whole.datum_error_m

    @property
    def sources(self) -> tuple[Source, ...]:
        """Where the parks come from."""
        return self.whole.sources

    @property
    def report(self) -> ParkReport:
        """What is known before any park is taken."""
        return self.whole.report

    def order(self, numbers: Ints) -> _PartlyInMemoryQuery:
        """Ask for some: those in memory from there, the others from where they are."""
        return _PartlyInMemoryQuery(self, numbers)


@dataclass(frozen=True)
class _PartlyInMemoryQuery:
    """Parks of which some are in memory."""

    shelf: PartlyInMemoryParks
    numbers: Ints

    def take(self) -> LoadedParks:
        """Get them, in order of their numbers."""
        taken = self.shelf.taken
        here = np.isin(self.numbers, taken.numbers)
        frame = taken.frame.iloc[np.searchsorted(taken.numbers, self.numbers[here])]
        if here.all():
            return LoadedParks(frame, self.numbers)
        more = self.shelf.whole.order(self.numbers[~here]).take()
        numbers = np.concatenate([self.numbers[here], more.numbers])
        order = np.argsort(numbers)
        return LoadedParks(pd.concat([frame, more.frame]).iloc[order], numbers[order], more.report)


@dataclass(frozen=True)
class NamedParks:
    """The parks that findings name, got when an output draws them."""

    shelf: ParkSource
    numbers: Ints
    _got: list[gpd.GeoDataFrame] = field(default_factory=list, compare=False, repr=False)

    @property
    def frame(self) -> gpd.GeoDataFrame:
        """Their frame, with a RangeIndex."""
        if not self._got:
            self._got.append(self.shelf.order(self.numbers).take().frame.reset_index(drop=True))
        return self._got[0]

    def only(self, ids: Collection[str]) -> NamedParks:
        """Those with one of some ids."""
        texts = self.shelf.ids.take(self.numbers)
        mine = pd.Series(texts, dtype=texts.dtype).isin(ids).to_numpy(dtype=bool)
        return replace(self, numbers=self.numbers[mine], _got=[])


def name_parks(frame: gpd.GeoDataFrame) -> NamedParks:
    """All parks of a frame."""
    return NamedParks(InMemoryParks(Parks(frame, (), ParkReport())), np.arange(len(frame)))


def add_report_lines(report: ParkReport, reports: Sequence[ParkReport]) -> ParkReport:
    """A shelf's report with what was said of the parks that were taken, each line and record once."""
    taken = [one for one in reports if isinstance(one, LoadedReport)]
    every = (report, *reports)

    def lines(name: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(line for one in every for line in getattr(one, name)))

    def count(name: str) -> int:
        return len(np.unique(np.concatenate([_none(), *(getattr(one, name) for one in taken)])))

    if not taken:  # all is known already
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
