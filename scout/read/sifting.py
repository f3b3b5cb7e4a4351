"""Records sifted by their places here, where GDAL's own filter will not do.

That filter gives up at a ring of two points, and with it all of a file: then more is read and sifted. And it
goes by the file's spatial index, where there is one, without a look at the records: an index that has fallen
behind would hide a wall or a power line. So of the formats that have one all records are run through.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.read import salvage
from scout.read.boxes import meets
from scout.read.crs import Datum
from scout.read.extents import extents
from scout.read.formats import Opening
from scout.read.globe import place
from scout.read.tables import Batch, Box, Opener

__all__ = ["INDEXED", "Asked", "come_near", "numbers_near", "sift", "with_sifting"]

INDEXED = ("GPKG", "ESRI Shapefile", "FlatGeobuf")  # drivers that ask an index, where the file has one

# What GDAL is asked for: what meets the boxes, what meets one box around them all, or all of the layer.
Asked = Literal["boxes", "around", "all"]


def with_sifting(openers: Sequence[Opener], opening: Opening, boxed: bool) -> list[tuple[Opener, Asked]]:
    """The ways to read a layer with what GDAL is asked for, best first."""
    found: list[tuple[Opener, Asked]] = [(opener, "boxes") for opener in openers]
    if not boxed or opening.drivers == ("Parquet",):
        return found
    if opening.drivers[0] in INDEXED[1:]:
        return [(opener, "all") for opener in openers]
    more: list[Asked] = ["around", "all"] if opening.one_pass else ["all"]
    return found + [(openers[-1], asked) for asked in more]


def numbers_near(
    opening: Opening, table: str, info: dict[str, Any], boxes: Sequence[Box | None], slack: float
) -> tuple[NDArray[np.int64] | None, int]:
    """Numbers of those records of a GeoPackage that meet boxes in their own system, and how many there are.

    None where the records do not tell. ``slack`` is how far bounds may be off.

    Raises
    ------
    UnreliableIndex
        An outline lies elsewhere than the head of its record says.
    """
    file, column = Path(str(opening.target)), str(info["geometry_name"])
    try:
        found = extents(file, table, opening.fid_column, column, slack)
    except (sqlite3.Error, ValueError, TypeError, OverflowError):
        return None, 0  # damaged, or records without numbers
    return found.records[_meet(found.bounds, boxes)], len(found.records)


def come_near(batch: Batch, boxes: Sequence[Box | None]) -> NDArray[np.bool_]:
    """Which records may meet boxes in their own system; also those without a place, or all without boxes."""
    if not boxes:
        return np.ones(len(batch.numbers), dtype=bool)
    with np.errstate(invalid="ignore"):
        bounds = shapely.bounds(shapely.from_wkb(batch.shapes, on_invalid="ignore"))
    near: NDArray[np.bool_] = np.isnan(bounds).any(axis=1) | _meet(bounds, boxes)
    return near


def _meet(bounds: NDArray[np.float64], boxes: Sequence[Box | None]) -> NDArray[np.bool_]:
    met = np.zeros(len(bounds), dtype=bool)
    for box in boxes:
        sides = (-np.inf, -np.inf, np.inf, np.inf) if box is None else box
        met |= (bounds[:, :2] <= sides[2:]).all(axis=1) & (bounds[:, 2:] >= sides[:2]).all(axis=1)
    return met


def sift(
    batch: Batch, again: NDArray[np.bool_], datum: Datum, prepared: bool, boxes: Sequence[Box]
) -> tuple[Batch, NDArray[np.bool_]]:
    """The records of a batch that meet the boxes by their bounds, and those that tell of no place."""
    with np.errstate(invalid="ignore"):
        made = shapely.from_wkb(batch.shapes, on_invalid="ignore")
    for row in np.flatnonzero(shapely.is_missing(made)).tolist():
        wkb = batch.shapes[row]
        made[row] = None if wkb is None else salvage.extent(salvage.shapes_of_wkb(bytes(wkb)))
    placed = place(made, datum, prepared).geometry
    near = shapely.is_missing(placed) | meets(placed, boxes)
    return batch.rows(near), again[near]
