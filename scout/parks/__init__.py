"""Parks: layers as read become one frame of parks, each with id, name, kind and valid geometry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from scout.errors import InputError
from scout.model import RECORD, Layer, Parks
from scout.parks.columns import check_named, nameless
from scout.parks.corridor import WIDEST_M
from scout.parks.grounds import Grounds, grounds_of
from scout.parks.identity import identified, numbered
from scout.parks.joining import UNKNOWN_DATUM_ERROR_M, lines_about, united
from scout.parks.pieces import with_pieces_joined

__all__ = ["UNKNOWN_DATUM_ERROR_M", "build_parks"]


def build_parks(
    layers: Sequence[Layer],
    *,
    id_column: str | None = None,
    name_column: str | None = None,
    corridor_m: float | None = None,
    keep: Sequence[str] = (),
    join_pieces: bool = True,
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
    join_pieces : bool
        Whether records that touch and share a name, and have no id of their own, are one park.

    Returns
    -------
    Parks
        The frame has a RangeIndex, parks in order of first appearance and the columns `PARK_ID`, `PARK_NAME`,
        `KIND`, `SOURCE`, `DATUM_ERROR` and geometry. Records of one id are united, also across files, see
        `scout.parks.identity.identified`; a row counter found by itself, such as OBJECTID, is kept apart
        from those of other layers ("north/12") and noted. Where there is no id, layer and record number
        serve ("trails:12"). Pieces are joined as `scout.parks.pieces.with_pieces_joined` says.
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
    told = [
        numbered(layer, layer.frame[RECORD].to_numpy(dtype=np.int64), id_column, name_column)
        for layer in layers
    ]
    grounds = [grounds_of(layer, one.names, corridor_m) for layer, one in zip(layers, told, strict=True)]
    if not any(len(one.geometry) for one in grounds):
        raise _nothing(layers, grounds, corridor_m)
    # Ids go by all records with geometry, usable or not: a shelf of parks knows no more of them.
    shapes = [layer.frame.geometry.to_numpy() for layer in layers]
    there = [~(shapely.is_missing(some) | shapely.is_empty(some)) for some in shapes]
    records = [one.rows(some) for one, some in zip(told, there, strict=True)]
    used = np.concatenate([one.used[some] for one, some in zip(grounds, there, strict=True)])
    ground = np.full(len(used), None, dtype=object)
    ground[used] = np.concatenate([one.geometry for one in grounds])
    known = identified(records)
    if join_pieces:
        bounds = shapely.bounds(ground).reshape(-1, 4)
        known = with_pieces_joined(records, known, bounds, lambda rows: ground[rows])
    ids = known.unique.take(known.park[used])
    frame, lacking = united(ids, layers, grounds, keep)
    missing = [
        line
        for layer, one in zip(layers, told, strict=True)
        for line in nameless(layer, one.ids.column, one.name_column)
    ]
    lines = lines_about(layers, grounds)
    report = replace(
        lines,
        records=sum(layer.source.records for layer in layers),
        parks=len(frame),
        id_column=tuple(one.ids.column for one in told),
        name_column=tuple(one.name_column for one in told),
        used=len(ids),
        refused_records=sum(layer.source.records for layer in layers) - len(ids) - lines.skipped_records,
        merged=len(ids) - len(frame),
        notes=(*known.notes, *missing, *lacking),
    )
    return Parks(frame, tuple(layer.source for layer in layers), report)


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
