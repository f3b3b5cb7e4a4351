"""Records become parks: ids for all of them, those of one id dissolved."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import InputError, SettingName
from scout.geo.antimeridian import make_continuous
from scout.model import (
    ATTRIBUTES,
    DATUM_ERROR,
    ENTRY,
    KIND,
    PARK_ID,
    PARK_NAME,
    RECORD,
    SOURCE,
    Layer,
    ParkReport,
    Parks,
)
from scout.parks.choice import RecordChoice, RecordColumns, choose_records, cut_layer, read_entry
from scout.parks.columns import list_lacking, list_nameless, read_texts
from scout.parks.duplicates import SAME_GROUND, drop_told_twice
from scout.parks.identity import identify_records, number_records
from scout.parks.pieces import join_touching_pieces
from scout.parks.profiles import OWN_DETAILS, OWN_ERROR, OWN_WIDENED, Profile
from scout.parks.usable import WIDEST_M, UsableRecords, make_usable
from scout.quantities import MeasuredText

# 95 % of the 429 geographic systems in the EPSG register with a known transformation are less than 480 m
# from WGS 84 in the middle of their area (PROJ 9.5, tested on a sample): what an unknown one may be off by.
UNKNOWN_DATUM_ERROR_M = 500.0

Ints = NDArray[np.int64]
_ENTRIES = ("", "open", "unknown", "restricted")  # of a park's records the last of these counts


def get_datum_errors(layer: Layer) -> NDArray[np.float64]:
    """Metres that the way to WGS 84 and rounded coordinates may be off by, for each record.

    A layer that was prepared has a column of them.
    """
    if _is_prepared(layer):
        return np.asarray(layer.frame[OWN_ERROR], dtype=float)
    accuracy = layer.source.accuracy_m
    datum = UNKNOWN_DATUM_ERROR_M if accuracy is None else accuracy
    return np.full(len(layer.frame), datum + layer.source.rounding_m)


def _is_prepared(layer: Layer) -> bool:
    """Whether the layer was prepared: its longitudes are continuous already."""
    return OWN_ERROR in layer.frame.columns


def _get_widened(layer: Layer) -> NDArray[np.bool_]:
    if OWN_WIDENED in layer.frame.columns:
        return np.asarray(layer.frame[OWN_WIDENED], dtype=bool)
    return np.zeros(len(layer.frame), dtype=bool)


def dissolve_records(
    ids: Any, layers: Sequence[Layer], usable: Sequence[UsableRecords], columns: Sequence[RecordColumns]
) -> gpd.GeoDataFrame:
    """One row per id, in order of first appearance, as `scout.parks.build.build_parks` says.

    Parameters
    ----------
    ids : array of str
        One for each usable record of all layers.
    layers, usable, columns : sequences of equal length
    """
    names = np.concatenate([one.names for one in usable])
    shapes = np.concatenate([one.geometry for one in usable])
    corridors = np.concatenate(
        [one.corridor | _get_widened(layer)[one.used] for layer, one in zip(layers, usable, strict=True)]
    )
    source = np.repeat(np.arange(len(usable)), [len(one.geometry) for one in usable])
    errors = np.concatenate(
        [get_datum_errors(layer)[one.used] for layer, one in zip(layers, usable, strict=True)]
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
    ready = np.array([_is_prepared(layer) for layer in layers])[source[first]]
    rest = ~(ready & (size == 1))
    whole[rest] = make_continuous(whole[rest])
    frame = gpd.GeoDataFrame(
        {
            PARK_ID: np.array(unique, dtype=object),
            PARK_NAME: park_names,
            KIND: np.where(kinds, "corridor", "area").astype(object),
            SOURCE: source[first],
            DATUM_ERROR: error,
            **_group_entry(layers, usable, columns, row),
            **_group_details(layers, usable, columns, row),
        },
        geometry=gpd.array.GeometryArray(whole),
        crs="EPSG:4326",
    )
    return frame


def report_records(layers: Sequence[Layer], usable: Sequence[UsableRecords]) -> ParkReport:
    """What had to be said of the records, and how many were skipped or repaired; the rest is left open."""
    return ParkReport(
        repaired=tuple(line for one in usable for line in one.repaired),
        refused=tuple(
            line for layer, one in zip(layers, usable, strict=True) for line in (*layer.refused, *one.refused)
        ),
        skipped=tuple(line for one in usable for line in one.skipped),
        skipped_records=sum(int(one.skipped_rows.sum()) for one in usable),
        repaired_records=sum(int(one.repaired_rows.sum()) for one in usable),
    )


def _group_details(
    layers: Sequence[Layer], usable: Sequence[UsableRecords], columns: Sequence[RecordColumns], row: Ints
) -> dict[str, NDArray[np.object_]]:
    """A dict for each park of what its records say in the columns to show; no column where there is none."""
    if not any(of.details or OWN_DETAILS in layer.frame for layer, of in zip(layers, columns, strict=True)):
        return {}
    made = np.empty(int(row.max(initial=-1)) + 1, dtype=object)
    made[:] = [{} for _ in made]
    first = 0
    for layer, one, of in zip(layers, usable, columns, strict=True):
        mine = row[first : first + len(one.records)]
        first += len(one.records)
        for called, column in of.details:
            texts = read_texts(layer, column)[one.used]
            for record in np.flatnonzero(texts != "").tolist():
                made[mine[record]].setdefault(called, {})[texts[record]] = None  # a dict keeps the order
        if OWN_DETAILS in layer.frame:
            for park, text in zip(mine.tolist(), read_texts(layer, OWN_DETAILS)[one.used], strict=True):
                for called, said in _parse_details(text, layer):
                    made[park].setdefault(called, {})[said] = None
    made[:] = [{name: "; ".join(texts) for name, texts in one.items()} for one in made]
    return {ATTRIBUTES: made}


def _parse_details(text: str, layer: Layer) -> Iterable[tuple[str, str]]:
    """What a prepared layer holds of the details of a park."""
    try:
        found = json.loads(text or "{}").items()
        if all(isinstance(said, str) for _, said in found):
            return tuple(found)
    except (ValueError, AttributeError, RecursionError):
        pass
    raise InputError(layer.source.where, f"its column {OWN_DETAILS} is damaged", "prepare it again")


def _group_entry(
    layers: Sequence[Layer], usable: Sequence[UsableRecords], columns: Sequence[RecordColumns], row: Ints
) -> dict[str, NDArray[np.object_]]:
    """Who may enter each park, by all of its records; no column where nothing is said of any."""
    if not any(of.entry is not None for of in columns):
        return {}
    said = [read_entry(layer, of)[one.used] for layer, one, of in zip(layers, usable, columns, strict=True)]
    return {ENTRY: join_entry(np.concatenate(said), row, int(row.max(initial=-1)) + 1)}


def join_entry(entry: NDArray[np.object_], row: Ints, parks: int) -> NDArray[np.object_]:
    """Who may enter each park: of what its records say the most restricting.

    Parameters
    ----------
    entry : array of `Entry` or ""
        Of each record.
    row : array of int
        The park of each record.
    """
    code = np.zeros(parks, dtype=np.int64)
    np.maximum.at(code, row, [_ENTRIES.index(word) for word in entry.tolist()])
    made: NDArray[np.object_] = np.array(_ENTRIES, dtype=object)[code]
    return made


# Parks: layers as read become one frame of parks, each with id, name, kind and valid geometry.
def build_parks(
    layers: Sequence[Layer],
    *,
    id_column: str | None = None,
    name_column: str | None = None,
    corridor_m: float | None = None,
    where: str | None = None,
    keep: Sequence[str] = (),
    profiles: Sequence[Profile] = (),
    join_pieces: bool = True,
    same_ground: float = SAME_GROUND,
) -> Parks:
    """Make parks of layers.

    Parameters
    ----------
    layers : sequence of Layer
        As `scout.io.layers.read_layers` gives them; their frames are not changed.
    id_column, name_column : str, optional
        Columns to take; a layer without that column, and every layer by default, is searched for known names.
        Several columns, with commas between them, make one id.
    corridor_m : float, optional
        Half-width of the corridor around line records; without it lines are skipped.
    where : str, optional
        Condition on columns, see `scout.parks.expression`; other records are left out.
    keep : sequence of str, optional
        Columns of the layers to carry along as text.
    profiles : sequence of Profile, optional
        Schemas to recognise; they say what is left open here.
    join_pieces : bool
        Whether records that touch and share a name, and have no id of their own, are one park.
    same_ground : float
        Share of common ground from which two parks of one name are one told twice; 0 for never.

    Returns
    -------
    Parks
        The frame has a RangeIndex, parks in order of first appearance and the columns `PARK_ID`, `PARK_NAME`,
        `KIND`, `SOURCE`, `DATUM_ERROR` and geometry. Records of one id are dissolved, also across files, see
        `scout.parks.identity.identify_records`; a row counter found by itself, such as OBJECTID, is kept
        apart from those of other layers ("north/12") and noted. Where there is no id, layer and record number
        serve ("trails:12"). Pieces are joined as `scout.parks.pieces.join_touching_pieces` says.
        `DATUM_ERROR` is the stated accuracy
        of the transformation, `UNKNOWN_DATUM_ERROR_M` where there is none, with the error of coordinates that
        are rounded; the largest where sources meet.
        Geometry is valid and polygonal; longitudes are continuous, see
        `scout.geo.antimeridian.make_continuous`.
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
    chosen = choose_records(layers, RecordChoice(id_column, name_column, where, tuple(keep), tuple(profiles)))
    layers = [cut_layer(layer, one) for layer, one in zip(layers, chosen, strict=True)]
    columns = [one.columns for one in chosen]
    left_out = sum(one.left_out for one in chosen)
    numbered = [
        number_records(layer, layer.frame[RECORD].to_numpy(dtype=np.int64), one.id, one.name)
        for layer, one in zip(layers, columns, strict=True)
    ]
    usable = [make_usable(layer, one.names, corridor_m) for layer, one in zip(layers, numbered, strict=True)]
    if not any(len(one.geometry) for one in usable):
        raise _explain_nothing(layers, usable, corridor_m, left_out)
    # Ids go by all records with geometry, usable or not: a source that has not read them knows no more.
    shapes = [layer.frame.geometry.to_numpy() for layer in layers]
    there = [~(shapely.is_missing(some) | shapely.is_empty(some)) for some in shapes]
    records = [one.take(some) for one, some in zip(numbered, there, strict=True)]
    used = np.concatenate([one.used[some] for one, some in zip(usable, there, strict=True)])
    ground = np.full(len(used), None, dtype=object)
    ground[used] = np.concatenate([one.geometry for one in usable])
    known = identify_records(records)
    if join_pieces:
        bounds = shapely.bounds(ground).reshape(-1, 4)
        known = join_touching_pieces(records, known, bounds, lambda rows: ground[rows])
    if same_ground:
        bounds = shapely.bounds(ground).reshape(-1, 4)
        kept, known = drop_told_twice(records, known, bounds, lambda rows: ground[rows], same_ground)
        first = np.cumsum([0, *(len(one.records) for one in usable)])
        mine = kept[used]
        usable = [one.drop(mine[a:b]) for one, (a, b) in zip(usable, pairwise(first), strict=True)]
        left_out += int(np.count_nonzero(~mine))
        used = used[kept]
    ids = known.unique.take(known.park[used])
    frame = dissolve_records(ids, layers, usable, columns)
    missing = [
        line
        for layer, one in zip(layers, numbered, strict=True)
        for line in list_nameless(layer, one.ids.column, one.name_column)
        if len(layer.frame)
    ]
    lacking = [line for layer in layers for line in list_lacking(layer, keep)]
    lines = report_records(layers, usable)
    report = replace(
        lines,
        records=sum(layer.source.records for layer in layers),
        parks=len(frame),
        id_column=tuple(one.ids.column for one in numbered),
        name_column=tuple(one.name_column for one in numbered),
        used=len(ids),
        refused_records=sum(layer.source.records for layer in layers)
        - (len(ids) + lines.skipped_records + left_out),
        left_out_records=left_out,
        merged=len(ids) - len(frame),
        notes=(*(note for one in chosen for note in one.notes), *known.notes, *missing, *lacking),
    )
    return Parks(frame, tuple(layer.source for layer in layers), report)


def _explain_nothing(
    layers: Sequence[Layer], usable: Sequence[UsableRecords], corridor_m: float | None, left_out: int
) -> InputError:
    where = ", ".join(dict.fromkeys(layer.source.path for layer in layers)) or "input"
    lines = sum(one.lines_skipped for one in usable)
    points = sum(one.points_skipped for one in usable)
    if left_out and left_out == sum(layer.source.records for layer in layers):
        return InputError(where, f"none of its records is chosen ({left_out:,})", _CHOICE)
    if lines and corridor_m is None:
        return InputError(where, f"holds lines and no areas (records of lines: {lines})", _WIDTH)
    if points:
        return InputError(where, f"holds points and no areas (records of points: {points})", _BOUNDARIES)
    why = [line for layer in layers for line in layer.refused] + [
        line for one in usable for line in one.refused
    ]
    hint = f" ({why[0].split(': ', 1)[1]})" if why else ""
    return InputError(where, f"no record has an area that can be used{hint}", _BOUNDARIES)


_CHOICE = MeasuredText(
    "ask for less with ", SettingName("where"), ", or give ", SettingName("profile", "none")
)
_BOUNDARIES = "bring park boundaries as areas"
_WIDTH = MeasuredText(
    "give a corridor, such as ",
    SettingName("corridor", 30.48),
    ", to use the ground that far to either side",
)
