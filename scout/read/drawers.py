"""Records of files, and the parks they belong to, to be read when these are wanted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.geodesy import degree_lengths
from scout.model import RECORD, Layer
from scout.parks.columns import Texts, choose_name
from scout.parks.grounds import Grounds, grounds_of
from scout.parks.joining import lines_about, united
from scout.parks.shelf import Taken, TakenReport
from scout.read.aside import LaidAside, Whole
from scout.read.index import Indexed
from scout.read.tables import among

__all__ = ["Drawer", "FileOrder", "Kept", "Reading", "with_corridor"]

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
    join_pieces: bool = True


Kept: TypeAlias = Indexed | LaidAside | Whole


@dataclass(frozen=True)
class Drawer:
    """One layer with its ids and names; ``park`` is the number of each record's park."""

    layer: Kept
    first: int  # row of its first record among those of all layers
    number: tuple[int, int]  # of the layer, and how many there are
    park: Ints
    records: Ints
    ids: Texts
    name_column: str

    def only(self, parks: Ints) -> Drawer:
        """The records of some parks."""
        rows = np.flatnonzero(among(self.park, parks))
        records = self.records[rows]
        return replace(
            self, layer=self.layer.only(records), park=self.park[rows], records=records, ids=self.ids[rows]
        )

    def grounds(self, layer: Layer, reading: Reading) -> Grounds:
        """Its records, as they were read, sorted out."""
        return grounds_of(layer, choose_name(layer, self.name_column or None)[1], reading.corridor_m)

    def ground(self, rows: Ints, reading: Reading) -> NDArray[np.object_]:
        """The ground of those of its records that are among some of all layers, None where there is none."""
        records = self.records[
            rows[(rows >= self.first) & (rows < self.first + len(self.records))] - self.first
        ]
        shapes = np.full(len(records), None, dtype=object)
        if len(records):
            one = self.grounds(self.layer.only(records).read(), reading)
            shapes[np.searchsorted(records, one.records)] = one.geometry
        return shapes

    def told(self, layer: Layer, one: Grounds) -> tuple[Ints, Ints, Ints]:
        """Its records refused, skipped and repaired, by numbers that no other layer has."""
        read = layer.frame[RECORD].to_numpy(dtype=np.int64)
        skipped, repaired = read[one.skipped_rows], read[one.repaired_rows]
        refused = np.setdiff1d(self.records, np.concatenate([one.records, skipped]))
        number, count = self.number
        return refused * count + number, skipped * count + number, repaired * count + number


@dataclass(frozen=True)
class FileOrder:
    """Some parks of files, to be read where this is sent to."""

    drawers: tuple[Drawer, ...]
    reading: Reading

    def take(self) -> Taken:
        """Read them."""
        reading = self.reading
        layers = [drawer.layer.read() for drawer in self.drawers]
        grounds = [drawer.grounds(layer, reading) for layer, drawer in zip(layers, self.drawers, strict=True)]
        rows = [
            np.searchsorted(drawer.records, one.records)
            for one, drawer in zip(grounds, self.drawers, strict=True)
        ]
        ids = np.concatenate([drawer.ids[some] for drawer, some in zip(self.drawers, rows, strict=True)])
        numbers = np.concatenate([drawer.park[some] for drawer, some in zip(self.drawers, rows, strict=True)])
        frame, notes = united(ids, layers, grounds, reading.keep)
        number = pd.unique(numbers)
        asked = np.unique(np.concatenate([drawer.park for drawer in self.drawers]))
        told = [
            drawer.told(layer, one) for drawer, layer, one in zip(self.drawers, layers, grounds, strict=True)
        ]
        refused, skipped, repaired = (np.concatenate(some) for some in zip(*told, strict=True))
        lines = lines_about(layers, grounds)
        report = TakenReport(
            repaired=lines.repaired,
            refused=lines.refused,
            skipped=lines.skipped,
            notes=tuple(notes),
            parks_without=np.setdiff1d(asked, number),
            refused_numbers=refused,
            skipped_numbers=skipped,
            repaired_numbers=repaired,
        )
        # A park whose first record has to be refused comes later than its number.
        order = np.argsort(number, kind="stable")
        return Taken(frame.iloc[order], number[order], report)


def with_corridor(layer: Kept, corridor_m: float | None) -> Floats:
    """Bounds that hold each record with the ground beside it, where it is a line."""
    if corridor_m is None or isinstance(layer, Indexed):  # which serves areas only
        return layer.bounds
    bounds = layer.bounds
    high = np.minimum(np.abs(bounds[:, 1::2]).max(axis=1) + 1.0, 89.9)
    pad = 1.01 * corridor_m / np.stack(degree_lengths(high), axis=1)
    return np.asarray(bounds + np.concatenate([-pad, pad], axis=1))
