"""Which records of a layer make parks, and which columns say what of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.errors import SettingName
from scout.model import OPENING_HOURS, Credit, Layer
from scout.parks.columns import (
    check_column_named,
    check_id_columns,
    find_column,
    list_attributes,
    select_telling_columns,
    split_columns,
)
from scout.parks.expression import Condition, NoSuchColumn
from scout.parks.profiles import OWN_COLUMNS, OWN_ENTRY, OWN_WORDS, EntryWords, Profile
from scout.quantities import MeasuredText


@dataclass(frozen=True, slots=True)
class RecordChoice:
    """What is asked of records and columns; what is left open goes by the schema, where one is recognised."""

    id_column: str | None = None  # or several, with commas between them
    name_column: str | None = None
    where: str | None = None
    keep: tuple[str, ...] = ()
    profiles: tuple[Profile, ...] = ()  # the first that matches a layer counts

    def select_columns(self, there: Sequence[str]) -> list[str]:
        """The columns among those of a layer that can tell anything asked for, in their order."""
        asked = [self.id_column, self.name_column, *self.keep, *split_columns(self.id_column), OPENING_HOURS]
        for one in self.profiles:
            asked += [*one.columns, *one.id, one.name, *one.details.values()]
            asked += [one.entry.column] if one.entry is not None else []
        if self.where is not None:
            with suppress(NoSuchColumn):  # of such a layer nothing is chosen
                asked += Condition(self.where).find_columns(there)
        return select_telling_columns(there, [name for name in (*asked, *OWN_COLUMNS) if name])


EVERYTHING = RecordChoice()


@dataclass(frozen=True, slots=True)
class RecordColumns:
    """Which columns of a layer say what; None where they are yet to be found."""

    id: str | None = None
    name: str | None = None
    details: tuple[tuple[str, str], ...] = ()  # what each column to show is called, and the column
    entry: EntryWords | None = None


@dataclass(frozen=True, slots=True)
class ChosenRecords:
    """The records of one layer that make parks, and how the others are accounted for."""

    kept: NDArray[np.bool_]  # of the layer's records
    columns: RecordColumns
    notes: tuple[str, ...]
    profile: Profile | None = None

    @property
    def left_out(self) -> int:
        """How many records were not chosen."""
        return int(np.count_nonzero(~self.kept))


def choose_records(layers: Sequence[Layer], choice: RecordChoice) -> list[ChosenRecords]:
    """Choose the records of layers that make parks.

    Raises
    ------
    InputError
        A column that no layer has, or a condition that is none.
    """
    check_id_columns(layers, choice.id_column)
    check_column_named(layers, choice.name_column, "names")
    for name in choice.keep:
        check_column_named(layers, name, "details to show")
    lacking: list[NoSuchColumn] = []
    chosen = [_choose_of_layer(layer, choice, lacking) for layer in layers]
    if lacking and len(lacking) == len(layers):
        raise lacking[0]
    return chosen


def find_profile(layer: Layer, profiles: Sequence[Profile]) -> Profile | None:
    """Find the schema of a layer among those that are to be recognised."""
    return next((one for one in profiles if one.matches(layer)), None)


def _choose_of_layer(layer: Layer, choice: RecordChoice, lacking: list[NoSuchColumn]) -> ChosenRecords:
    profile = find_profile(layer, choice.profiles)
    kept = np.ones(len(layer.frame), dtype=bool)
    reasons: list[str] = []
    if choice.where is not None:
        try:
            kept = _apply(Condition(choice.where), layer)
        except NoSuchColumn as error:
            kept[:] = False
            lacking.append(error)
            reasons += _count_reason(~kept, f"without a column {error.column!r}")
        else:
            reasons += _count_reason(~kept, "by the condition")
    elif profile is not None and not profile.takes(layer):
        kept[:] = False
        reasons += _count_reason(~kept, "for the layer holds no parks")
    elif profile is not None and profile.where:
        kept = _apply(Condition(profile.where, profile.title), layer)
        reasons += _count_reason(~kept, profile.left_out)
    if profile is not None and profile.entry is not None:
        closed = kept & (profile.entry.read(layer) == "closed")
        kept &= ~closed
        reasons += _count_reason(closed, f"closed to the public by {profile.entry.column}")
    columns = RecordColumns(choice.id_column, choice.name_column, tuple((name, name) for name in choice.keep))
    if profile is not None:
        columns = RecordColumns(
            columns.id or _join_columns(layer, profile.id),
            columns.name or profile.name or None,
            columns.details or tuple(one for one in profile.details.items() if find_column(layer, one[1])),
            profile.entry,
        )
    if OWN_ENTRY in layer.frame:
        columns = replace(columns, entry=OWN_WORDS)
    if find_column(layer, OPENING_HOURS) and OPENING_HOURS not in dict(columns.details):
        columns = replace(columns, details=(*columns.details, (OPENING_HOURS, OPENING_HOURS)))
    notes = tuple(_describe(layer, profile, kept, reasons))
    return ChosenRecords(kept, columns, notes, profile)


def _apply(condition: Condition, layer: Layer) -> NDArray[np.bool_]:
    return condition.choose(pd.DataFrame(layer.frame[list_attributes(layer)]))


def _join_columns(layer: Layer, names: Sequence[str]) -> str | None:
    """The id columns of a schema that a layer has, as an option names them."""
    return ", ".join(name for name in names if find_column(layer, name)) or None


def _count_reason(rows: NDArray[np.bool_], why: str) -> list[str]:
    count = int(np.count_nonzero(rows))
    return [f"{count:,} {why}"] if count else []


def _describe(
    layer: Layer, profile: Profile | None, kept: NDArray[np.bool_], reasons: Sequence[str]
) -> Iterator[str]:
    where, count = layer.source.where, len(kept)
    left = int(np.count_nonzero(~kept))
    out = f"{left:,} of {count:,} records left out: {', '.join(reasons)}" if left else ""
    if profile is None:
        yield from [f"{where}: {out}"] if out else []
        return
    more = (f"; {out}; ", SettingName("profile", "none"), " takes all") if out else ()
    yield MeasuredText(f"{where}: read as {profile.title}", *more)
    if profile.boundary_error_m is not None:
        usual = f"{profile.boundary_error_m:g}"
        yield MeasuredText(
            f"{where}: boundaries of {profile.title} are usually right to {usual} m; ",
            SettingName("boundary-error", usual),
            " takes that into account",
        )


def read_entry(layer: Layer, columns: RecordColumns) -> NDArray[np.object_]:
    """Who may enter the ground of each record of a layer: an `Entry`, or "" where nothing is known."""
    none = np.full(len(layer.frame), "", dtype=object)
    return none if columns.entry is None else columns.entry.read(layer)


def cut_layer(layer: Layer, chosen: ChosenRecords) -> Layer:
    """The layer without the records that were not chosen, and with the credit of its schema."""
    profile, source = chosen.profile, layer.source
    if profile is not None and profile.credit:
        credit = Credit((), profile.credit, profile.licence)
        source = replace(source, credits=tuple(dict.fromkeys((*source.credits, credit))))
    frame = layer.frame if chosen.kept.all() else layer.frame[chosen.kept].reset_index(drop=True)
    return (
        layer
        if frame is layer.frame and source is layer.source
        else replace(layer, frame=frame, source=source)
    )
