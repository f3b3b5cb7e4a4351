"""Layers whose records are read when they are wanted; large ones without an index of use are spilled to disk.

These are read once, a batch at a time, and their outlines kept in a temporary database.
"""

from __future__ import annotations

import sqlite3
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Self

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.io.gathering import LayerGathering, LayerRequest, read_layer
from scout.io.local_files import run_offline
from scout.io.tables import RecordBatch
from scout.model import RECORD, Layer
from scout.parks.choice import ChosenRecords, cut_layer

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

LARGE = 500_000_000  # bytes of a file; read whole it takes some three times as much memory
_ASKED = 10_000  # records asked for in one question


class _OutlineStore:
    """Outlines by record number, in a database without a name: SQLite deletes it when it is closed."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._database = sqlite3.connect("", isolation_level=None, check_same_thread=False)
        self._database.executescript(
            "pragma journal_mode = off; pragma synchronous = off;"
            "create table outlines (record integer primary key, wkb blob)"
        )

    def put(self, records: Ints, shapes: NDArray[np.object_]) -> None:
        """Write some.

        Raises
        ------
        InputError
            The disk is full.
        """
        there = ~shapely.is_missing(shapes)
        rows = zip(records[there].tolist(), shapely.to_wkb(shapes[there]).tolist(), strict=True)
        try:
            self._database.execute("begin")
            self._database.executemany("insert or ignore into outlines values (?, ?)", rows)
            self._database.execute("commit")
        except sqlite3.Error as error:
            what = f"there is no room on the disk for its outlines ({error})"
            raise InputError(self._path, what, "free some, or let TMPDIR name a folder with more") from error

    def get(self, records: Ints) -> NDArray[np.object_]:
        """Outlines of some records, ascending; None where there is none."""
        found: dict[int, bytes] = {}
        for first in range(0, len(records), _ASKED):
            some = ",".join(map(str, records[first : first + _ASKED].tolist()))
            found.update(self._database.execute(f"select * from outlines where record in ({some})"))
        made: NDArray[np.object_] = shapely.from_wkb([found.get(record) for record in records.tolist()])
        return made


@dataclass(kw_only=True)
class _SpillWriter(LayerGathering):
    """Keeps a diagonal of its bounds for each outline, and of the columns those that tell something."""

    outlines: _OutlineStore
    select: Callable[[Sequence[str]], list[str]]  # of all columns those to keep
    there: dict[str, None] = field(default_factory=dict)  # all columns, in order

    def keep(self, batch: RecordBatch, shapes: NDArray[np.object_]) -> None:
        self.outlines.put(batch.numbers, shapes)
        bounds, diagonals = shapely.bounds(shapes), np.full(len(shapes), None, dtype=object)
        sound = np.isfinite(bounds[:, 0])
        diagonals[sound] = shapely.linestrings(bounds[sound].reshape(-1, 2, 2))
        super().keep(replace(batch, attributes=self._select_telling(batch.attributes)), diagonals)

    def _select_telling(self, attributes: Any) -> Any:
        if isinstance(attributes, pd.DataFrame):
            self.there.update(dict.fromkeys(str(name) for name in attributes.columns))
            return attributes[self.select([str(name) for name in attributes.columns])]
        if hasattr(attributes, "schema"):
            self.there.update(dict.fromkeys(attributes.schema.names))
            names = self.select(attributes.schema.names)
            return attributes.select([k for k, name in enumerate(attributes.schema.names) if name in names])
        return attributes


@dataclass(frozen=True)
class StoredLayer(ABC):
    """One layer whose records are read when they are wanted.

    ``records`` are their numbers, ascending; ``bounds`` in degrees hold each, NaN where it has no geometry.
    """

    records: Ints
    bounds: Floats
    table: Layer  # with the columns that may tell ids and names; of no more records than ``records``

    def only(self, numbers: Ints) -> Self:
        """Return the layer with some of its records, ascending."""
        rows = np.searchsorted(self.records, numbers)
        return replace(self, records=numbers, bounds=self.bounds[rows], table=self._cut_table(rows))

    def choose(self, chosen: ChosenRecords) -> Self:
        """Return the layer with the records that were chosen, its table whole."""
        table, kept = cut_layer(self.table, chosen), chosen.kept
        if kept.all():
            return replace(self, table=table)
        return replace(self, records=self.records[kept], bounds=self.bounds[kept], table=table)

    def _cut_table(self, rows: Ints) -> Layer:
        frame = self.table.frame.iloc[rows].reset_index(drop=True)
        return replace(self.table, frame=frame, refused=())

    @abstractmethod
    def read(self) -> Layer:
        """Read the records in full."""


@dataclass(frozen=True)
class WholeLayer(StoredLayer):
    """A layer held in memory: its table has the geometry too."""

    @classmethod
    def hold(cls, layer: Layer) -> WholeLayer:
        """Make one of a layer as read; what may cross the antimeridian may be anywhere on its parallels."""
        bounds = shapely.bounds(layer.frame.geometry.to_numpy()).reshape(-1, 4)
        bounds[bounds[:, 2] - bounds[:, 0] > 180.0, ::2] = -360.0, 360.0
        return cls(layer.frame[RECORD].to_numpy(dtype=np.int64), bounds, layer)

    def read(self) -> Layer:
        """Return the same."""
        return self.table


@dataclass(frozen=True)
class SpilledLayer(StoredLayer):
    """A layer whose outlines are on disk."""

    outlines: _OutlineStore

    def read(self) -> Layer:
        """Read the records with their outlines."""
        shapes = gpd.array.GeometryArray(self.outlines.get(self.records))
        frame = gpd.GeoDataFrame(pd.DataFrame(self.table.frame), geometry=shapes, crs="EPSG:4326")
        return replace(self.table, frame=frame)

    def __reduce__(self) -> Any:
        """To another process go the records themselves: it has no such file."""
        return WholeLayer, (self.records, self.bounds, self.read())


def spill_layer(
    request: LayerRequest, select: Callable[[Sequence[str]], list[str]]
) -> tuple[SpilledLayer, Counter[str]]:
    """Read a layer and write its outlines to disk; also return why records were refused, as counted.

    Parameters
    ----------
    request : LayerRequest
        Of the whole layer.
    select : callable
        Gives, of all columns, those that are wanted.

    Raises
    ------
    InputError
        It cannot be read, or there is no room for it.
    """
    made: list[_SpillWriter] = []

    def start(one: LayerRequest) -> LayerGathering:
        made.append(_SpillWriter(one, outlines=_OutlineStore(one.path), select=select))
        return made[-1]

    with run_offline():
        layer, causes = read_layer(request, start)
    diagonals = WholeLayer.hold(layer)  # which have the bounds of the outlines
    frame = gpd.GeoDataFrame(pd.DataFrame(layer.frame.drop(columns="geometry")))
    table = replace(layer, frame=frame, columns=tuple(made[-1].there) or None)
    return SpilledLayer(diagonals.records, diagonals.bounds, table, made[-1].outlines), causes
