"""Parks: layers as read become one frame of parks, each with id, name, kind and valid geometry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.model import (
    ATTRIBUTES,
    DATUM_ERROR,
    KIND,
    PARK_ID,
    PARK_NAME,
    RECORD,
    SOURCE,
    Layer,
    ParkReport,
    Parks,
)
from scout.parks.columns import check_named, kept_texts
from scout.parks.corridor import WIDEST_M
from scout.parks.grounds import Grounds, grounds_of
from scout.parks.seam import continuous

__all__ = ["UNKNOWN_DATUM_ERROR_M", "build_parks"]

# 95 % of the 429 geographic systems in the EPSG register with a known transformation are less than 480 m
# from WGS 84 in the middle of their area (PROJ 9.5, tested on a sample): what an unknown one may be off by.
UNKNOWN_DATUM_ERROR_M = 500.0


def build_parks(
    layers: Sequence[Layer],
    *,
    id_column: str | None = None,
    name_column: str | None = None,
    corridor_m: float | None = None,
    keep: Sequence[str] = (),
) -> Parks:
    """Make parks of layers.

    Parameters
    ----------
    layers : sequence of Layer
        As `scout.read.read_layers` gives them; their frames are not changed.
    id_column, name_column : str, optional
        Columns to take; a layer without that column, and every layer by default, is searched for known names.
    corridor_m : float, optional
        Half-width of the corridor around line records; without it lines are skipped.
    keep : sequence of str, optional
        Columns of the layers to carry along as text.

    Returns
    -------
    Parks
        The frame has a RangeIndex, parks in order of first appearance and the columns `PARK_ID`, `PARK_NAME`,
        `KIND`, `SOURCE`, `DATUM_ERROR` and geometry. Records of one id are united, also across files, unless
        the id is a row counter found by itself, such as OBJECTID: that is kept apart from those of other
        layers ("north/12") and noted. Where there is no id, layer and record number serve ("trails:12").
        `DATUM_ERROR` is the stated accuracy
        of the transformation, `UNKNOWN_DATUM_ERROR_M` where there is none, the largest where sources meet.
        Geometry is valid and polygonal; longitudes are continuous, see `scout.parks.seam.continuous`.
        With ``keep`` there is a column `ATTRIBUTES`: a dict of the texts there are, by their names in
        ``keep``; of joined records the different ones, in their order and parted by "; ".

    Raises
    ------
    InputError
        A column that no layer has, a corridor that is none, or nothing left to make a park of.
    """
    if corridor_m is not None and not 0 < corridor_m <= WIDEST_M:
        what = f"{corridor_m:g} m is no half-width of a corridor"
        raise InputError("corridor", what, f"give metres above 0 and up to {WIDEST_M:g}, such as 30.48")
    check_named(layers, id_column, "ids")
    check_named(layers, name_column, "names")
    for name in keep:
        check_named(layers, name, "details to show")
    grounds = [grounds_of(layer, id_column, name_column, corridor_m) for layer in layers]
    if not any(len(one.geometry) for one in grounds):
        raise _nothing(layers, grounds, corridor_m)
    joined = _joined(layers, grounds, keep)
    return Parks(joined.frame, tuple(layer.source for layer in layers), _report(layers, grounds, joined))


@dataclass(frozen=True, slots=True)
class _Joined:
    frame: gpd.GeoDataFrame
    merged: int
    notes: tuple[str, ...]


def _joined(layers: Sequence[Layer], grounds: Sequence[Grounds], keep: Sequence[str]) -> _Joined:
    """One row per id, in order of first appearance."""
    filled, notes = _filled_ids(layers, grounds)
    details, lacking = _details(layers, grounds, keep)
    ids = np.concatenate(filled)
    names = np.concatenate([one.names for one in grounds])
    shapes = np.concatenate([one.geometry for one in grounds])
    corridors = np.concatenate([one.corridor for one in grounds])
    source = np.repeat(np.arange(len(grounds)), [len(one.geometry) for one in grounds])
    errors = np.array([_datum_error(layer) for layer in layers])[source]

    row, unique = pd.factorize(ids)
    first = np.unique(row, return_index=True)[1]
    size = np.bincount(row)
    united = shapes[first]
    park_names, kinds, error = names[first].copy(), corridors[first].copy(), errors[first].copy()
    several = np.flatnonzero(size > 1)
    order = np.argsort(row, kind="stable")
    ends = np.cumsum(size)
    for park in several.tolist():
        members = order[ends[park] - size[park] : ends[park]]
        united[park] = shapely.union_all(shapes[members])
        park_names[park] = next((name for name in names[members] if name), "")
        kinds[park] = corridors[members].all()
        error[park] = errors[members].max()
    kept = {ATTRIBUTES: _by_park(details, row, len(unique))} if keep else {}
    frame = gpd.GeoDataFrame(
        {
            PARK_ID: unique.astype(object),
            PARK_NAME: park_names,
            KIND: np.where(kinds, "corridor", "area").astype(object),
            SOURCE: source[first],
            DATUM_ERROR: error,
            **kept,
        },
        geometry=gpd.array.GeometryArray(continuous(united)),
        crs="EPSG:4326",
    )
    return _Joined(frame, int(len(ids) - len(unique)), (*notes, *lacking))


def _details(
    layers: Sequence[Layer], grounds: Sequence[Grounds], keep: Sequence[str]
) -> tuple[dict[str, NDArray[Any]], list[str]]:
    """Texts of the columns to keep, one per usable record, and notes on layers without them."""
    found: dict[str, list[NDArray[Any]]] = {name: [] for name in keep}
    notes = []
    for layer, one in zip(layers, grounds, strict=True):
        values, note = kept_texts(layer, keep)
        used = np.isin(layer.frame[RECORD].to_numpy(), one.records)
        for name, column in values.items():
            found[name].append(column[used])
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


def _datum_error(layer: Layer) -> float:
    accuracy = layer.source.accuracy_m
    return UNKNOWN_DATUM_ERROR_M if accuracy is None else accuracy


def _filled_ids(layers: Sequence[Layer], grounds: Sequence[Grounds]) -> tuple[list[NDArray[Any]], list[str]]:
    """Ids for all records, and notes on those kept apart.

    Where there is no id, layer and record number serve, not met among the ids that there are. Row counters
    of two files say nothing of each other: where they meet, they are told apart by their layer.
    """
    met = Counter(text for one in grounds for text in set(one.ids.tolist()) if text)
    taken, filled, notes = set(met), [], []
    for layer, one in zip(layers, grounds, strict=True):
        ids, empty = one.ids.copy(), one.ids == ""
        label, count = layer.source.layer, 1
        apart = one.counter and any(met[text] > 1 for text in ids[~empty])
        while True:
            made = [f"{label}:{number}" for number in one.records[empty]]
            told = [f"{label}/{text}" for text in ids[~empty]] if apart else []
            if taken.isdisjoint(made) and taken.isdisjoint(told):
                break
            count += 1
            label = f"{layer.source.layer} ({count})"
        ids[empty] = made
        if apart:
            ids[~empty] = told
            notes.append(
                f"{layer.source.where}: the column {one.id_column} only counts records, so its ids are "
                "not joined with equal ones of other layers; name it as the id column to join them"
            )
        taken.update(made, told)
        filled.append(ids)
    return filled, notes


def _report(layers: Sequence[Layer], grounds: Sequence[Grounds], joined: _Joined) -> ParkReport:
    return ParkReport(
        records=sum(layer.source.records for layer in layers),
        parks=len(joined.frame),
        id_column=tuple(one.id_column for one in grounds),
        name_column=tuple(one.name_column for one in grounds),
        merged=joined.merged,
        repaired=tuple(line for one in grounds for line in one.repaired),
        refused=tuple(
            line
            for layer, one in zip(layers, grounds, strict=True)
            for line in (*layer.refused, *one.refused)
        ),
        skipped=tuple(line for one in grounds for line in one.skipped),
        notes=joined.notes,
    )


def _nothing(layers: Sequence[Layer], grounds: Sequence[Grounds], corridor_m: float | None) -> InputError:
    where = ", ".join(dict.fromkeys(layer.source.path for layer in layers)) or "input"
    lines = sum(one.lines_skipped for one in grounds)
    points = sum(one.points_skipped for one in grounds)
    if lines and corridor_m is None:
        return InputError(where, f"holds lines and no areas (records of lines: {lines})", _WIDTH)
    if points:
        return InputError(where, f"holds points and no areas (records of points: {points})", _BOUNDARIES)
    why = [line for layer in layers for line in layer.refused] + [
        line for one in grounds for line in one.refused
    ]
    hint = f" ({why[0].split(': ', 1)[1]})" if why else ""
    return InputError(where, f"no record has an area that can be used{hint}", _BOUNDARIES)


_BOUNDARIES = "bring park boundaries as areas"
_WIDTH = "give a corridor, such as --corridor 30.48, to use the ground that far to either side"
