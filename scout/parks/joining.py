"""Records become parks: those of one id united."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.model import ATTRIBUTES, DATUM_ERROR, KIND, PARK_ID, PARK_NAME, SOURCE, Layer, ParkReport
from scout.parks.columns import kept_texts
from scout.parks.grounds import Grounds
from scout.parks.seam import continuous

__all__ = [
    "OWN_ERROR",
    "OWN_WIDENED",
    "UNKNOWN_DATUM_ERROR_M",
    "datum_errors",
    "lines_about",
    "united",
]

# 95 % of the 429 geographic systems in the EPSG register with a known transformation are less than 480 m
# from WGS 84 in the middle of their area (PROJ 9.5, tested on a sample): what an unknown one may be off by.
UNKNOWN_DATUM_ERROR_M = 500.0

# Columns of layers that were prepared before: what is known of each park.
OWN_ERROR = "scout:datum_error_m"
OWN_WIDENED = "scout:widened"  # whether it is a corridor


def datum_errors(layer: Layer) -> NDArray[np.float64]:
    """Metres that the way to WGS 84 may be off by, for each record; a layer may have a column of them."""
    if _ready(layer):
        return np.asarray(layer.frame[OWN_ERROR], dtype=float)
    accuracy = layer.source.accuracy_m
    return np.full(len(layer.frame), UNKNOWN_DATUM_ERROR_M if accuracy is None else accuracy)


def _ready(layer: Layer) -> bool:
    """Whether the layer was prepared: its longitudes are continuous already."""
    return OWN_ERROR in layer.frame.columns


def _widened(layer: Layer) -> NDArray[np.bool_]:
    if OWN_WIDENED in layer.frame.columns:
        return np.asarray(layer.frame[OWN_WIDENED], dtype=bool)
    return np.zeros(len(layer.frame), dtype=bool)


def united(
    ids: Any, layers: Sequence[Layer], grounds: Sequence[Grounds], keep: Sequence[str]
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """One row per id, in order of first appearance, as `scout.parks.build_parks` says.

    Parameters
    ----------
    ids : array of str
        One for each usable record of all layers.
    layers, grounds : sequences of equal length
    keep : sequence of str
        Columns of the layers to carry along.

    Returns
    -------
    frame : GeoDataFrame
    notes : list of str
        On layers that lack a column to keep.
    """
    details, lacking = _details(layers, grounds, keep)
    names = np.concatenate([one.names for one in grounds])
    shapes = np.concatenate([one.geometry for one in grounds])
    corridors = np.concatenate(
        [one.corridor | _widened(layer)[one.used] for layer, one in zip(layers, grounds, strict=True)]
    )
    source = np.repeat(np.arange(len(grounds)), [len(one.geometry) for one in grounds])
    errors = np.concatenate(
        [datum_errors(layer)[one.used] for layer, one in zip(layers, grounds, strict=True)]
    )
    row, unique = pd.factorize(ids)
    first = np.unique(row, return_index=True)[1]
    size = np.bincount(row)
    whole = shapes[first]
    park_names, kinds, error = names[first].copy(), corridors[first].copy(), errors[first].copy()
    several = np.flatnonzero(size > 1)
    order = np.argsort(row, kind="stable")
    ends = np.cumsum(size)
    for park in several.tolist():
        members = order[ends[park] - size[park] : ends[park]]
        whole[park] = shapely.union_all(shapes[members])
        park_names[park] = next((name for name in names[members] if name), "")
        kinds[park] = corridors[members].all()
        error[park] = errors[members].max()
    ready = np.array([_ready(layer) for layer in layers])[source[first]]
    rest = ~(ready & (size == 1))
    whole[rest] = continuous(whole[rest])
    kept = {ATTRIBUTES: _by_park(details, row, len(unique))} if keep else {}
    frame = gpd.GeoDataFrame(
        {
            PARK_ID: np.array(unique, dtype=object),
            PARK_NAME: park_names,
            KIND: np.where(kinds, "corridor", "area").astype(object),
            SOURCE: source[first],
            DATUM_ERROR: error,
            **kept,
        },
        geometry=gpd.array.GeometryArray(whole),
        crs="EPSG:4326",
    )
    return frame, lacking


def lines_about(layers: Sequence[Layer], grounds: Sequence[Grounds]) -> ParkReport:
    """What had to be said of the records, and how many were skipped or repaired; the rest is left open."""
    return ParkReport(
        repaired=tuple(line for one in grounds for line in one.repaired),
        refused=tuple(
            line
            for layer, one in zip(layers, grounds, strict=True)
            for line in (*layer.refused, *one.refused)
        ),
        skipped=tuple(line for one in grounds for line in one.skipped),
        skipped_records=sum(int(one.skipped_rows.sum()) for one in grounds),
        repaired_records=sum(int(one.repaired_rows.sum()) for one in grounds),
    )


def _details(
    layers: Sequence[Layer], grounds: Sequence[Grounds], keep: Sequence[str]
) -> tuple[dict[str, NDArray[Any]], list[str]]:
    """Texts of the columns to keep, one per usable record, and notes on layers without them."""
    found: dict[str, list[NDArray[Any]]] = {name: [] for name in keep}
    notes = []
    for layer, one in zip(layers, grounds, strict=True):
        values, note = kept_texts(layer, keep)
        for name, column in values.items():
            found[name].append(column[one.used])
        notes += [note] if note else []
    return {name: np.concatenate(columns) for name, columns in found.items()}, notes


def _by_park(details: dict[str, NDArray[Any]], row: NDArray[Any], parks: int) -> NDArray[np.object_]:
    """A dict for each park of what its records say."""
    made = np.empty(parks, dtype=object)
    made[:] = [{} for _ in range(parks)]
    for name, column in details.items():
        for record in np.flatnonzero(column != "").tolist():
            made[row[record]].setdefault(name, {})[column[record]] = None  # a dict keeps the order
    made[:] = [{name: "; ".join(texts) for name, texts in one.items()} for one in made]
    return made
