"""Records sifted by their places here, where GDAL's own filter will not do.

That filter gives up at a ring of two points, and with it all of a file: then more is read and sifted.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.read import salvage
from scout.read.boxes import meets
from scout.read.crs import Datum
from scout.read.formats import Opening
from scout.read.globe import place
from scout.read.tables import Batch, Box, Opener

__all__ = ["Asked", "sift", "with_sifting"]

# What GDAL is asked for: what meets the boxes, what meets one box around them all, or all of the layer.
Asked = Literal["boxes", "around", "all"]


def with_sifting(openers: Sequence[Opener], opening: Opening, boxed: bool) -> list[tuple[Opener, Asked]]:
    """The ways to read a layer with what GDAL is asked for, best first."""
    found: list[tuple[Opener, Asked]] = [(opener, "boxes") for opener in openers]
    if not boxed or opening.drivers == ("Parquet",):
        return found
    more: list[Asked] = ["around", "all"] if opening.one_pass else ["all"]
    return found + [(openers[-1], asked) for asked in more]


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
