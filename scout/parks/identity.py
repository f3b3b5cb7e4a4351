"""Which records are one park: ids for all of them, equal ones parted where their names differ."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.model import Layer, Source
from scout.parks.columns import IdColumn, Texts, choose_id, choose_name
from scout.parks.names import is_own, make_key

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class RecordIds:
    """What tells the records of one layer apart: ids and names, empty where there is none."""

    source: Source
    records: Ints
    ids: IdColumn
    name_column: str
    names: Texts

    def take(self, there: NDArray[np.bool_]) -> RecordIds:
        """Return some of the records, by a mask."""
        if there.all():
            return self
        ids = self.ids._replace(values=self.ids.values[there])
        return replace(self, records=self.records[there], ids=ids, names=self.names[there])


def number_records(layer: Layer, records: Ints, id_column: str | None, name_column: str | None) -> RecordIds:
    """Ids and names of all records of a layer, from the columns named or found."""
    return RecordIds(layer.source, records, choose_id(layer, id_column), *choose_name(layer, name_column))


class KnownIds(NamedTuple):
    """The parks of the records of all layers, one after the other."""

    park: Ints  # of each record, the number of its park
    unique: Texts  # the id of each park, parks in order of first appearance
    notes: tuple[str, ...] = ()

    def joined(self, park: Ints) -> KnownIds:
        """With parks joined: ``park`` has for each record the number of the first of those that are one."""
        row, first = pd.factorize(park)
        return KnownIds(row, self.unique[first], self.notes)


def identify_records(layers: Sequence[RecordIds]) -> KnownIds:
    """Parks by the ids of their records.

    Records of one id are one park. Where the id column was found and not named, that holds for records whose
    names agree by `make_key`; one without a name belongs to the first park of its id. The others are parks of
    their own, told apart by a number: "B7", "B7/2".

    Parameters
    ----------
    layers : sequence of RecordIds
    """
    filled, notes = _fill_ids(layers)
    if len(layers) == 1 and layers[0].ids.distinct and (layers[0].ids.values != "").all():
        return KnownIds(np.arange(len(filled[0])), filled[0])
    park, unique = pd.factorize(join_end_to_end(filled))
    known, more = _split_by_name(layers, KnownIds(park, unique))
    return known._replace(notes=(*notes, *more))


def join_end_to_end(parts: Sequence[Any]) -> Any:
    """Arrays joined; a single one as it is."""
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _fill_ids(layers: Sequence[RecordIds]) -> tuple[list[Texts], list[str]]:
    """Ids for all records, and notes on those kept apart.

    Where there is no id, layer and record number serve, not met among the ids that there are. Row counters
    of two files say nothing of each other: where they meet, they are told apart by their layer.
    """
    if len(layers) == 1 and (layers[0].ids.values != "").all():
        return [layers[0].ids.values], []
    met = Counter(text for one in layers for text in set(one.ids.values.tolist()) if text)
    used, filled, notes = set(met), [], []
    for one in layers:
        ids = np.array(one.ids.values, dtype=object)
        empty = ids == ""
        label, count = one.source.layer, 1
        apart = one.ids.counter and any(met[text] > 1 for text in ids[~empty])
        while True:
            made = [f"{label}:{number}" for number in one.records[empty]]
            labelled = [f"{label}/{text}" for text in ids[~empty]] if apart else []
            if used.isdisjoint(made) and used.isdisjoint(labelled):
                break
            count += 1
            label = f"{one.source.layer} ({count})"
        ids[empty] = made
        if apart:
            ids[~empty] = labelled
            notes.append(
                f"{one.source.where}: the column {one.ids.column} only counts records, so its ids are "
                "not joined with equal ones of other layers; name it as the id column to join them"
            )
        used.update(made, labelled)
        filled.append(ids)
    return filled, notes


def _split_by_name(layers: Sequence[RecordIds], known: KnownIds) -> tuple[KnownIds, list[str]]:
    """Records of one id whose names differ made parks of their own, but for ids named by option."""
    asked = np.repeat([one.ids.asked for one in layers], [len(one.records) for one in layers])
    size = np.bincount(known.park, minlength=len(known.unique))
    free = np.bincount(known.park, weights=~asked, minlength=len(known.unique)) > 0
    rows = np.flatnonzero((size > 1)[known.park] & free[known.park])
    if not len(rows):
        return known, []
    names = join_end_to_end([one.names for one in layers])[rows]
    park, key = known.park[rows], _make_keys(names)
    other = _list_others(park, key, asked[rows])
    if not other.any():
        return known, []
    pair = pd.factorize(park[other] * (int(key.max()) + 2) + key[other])[0]
    head = np.unique(pair, return_index=True)[1]  # of each new park, its first record
    used, count = set(known.unique.tolist()), Counter[str]()
    made = []
    for mother in park[other][head].tolist():
        text = str(known.unique[mother])
        while (label := f"{text}/{count[text] + 2}") in used:
            count[text] += 1
        used.add(label)
        count[text] += 1
        made.append(label)
    ids = np.array(known.unique, dtype=object)[known.park]
    ids[rows[other]] = np.array(made, dtype=object)[pair]
    row, unique = pd.factorize(ids)
    return KnownIds(row, unique), _list_lines(layers, rows[other][head], park[other][head], made, known)


def _list_others(park: Ints, key: Ints, asked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which records of some ids do not belong to the first park of theirs; ``key`` is -1 for no name."""
    pairs = park * (int(key.max()) + 2) + key
    named = key >= 0
    lead = asked & named  # what was named by option is one park, whatever the names of its records
    decided = np.isin(park, park[lead])
    open_ = np.flatnonzero(named & ~decided)
    first = open_[np.unique(park[open_], return_index=True)[1]]
    other: NDArray[np.bool_] = named & ~np.isin(pairs, pairs[np.union1d(np.flatnonzero(lead), first)])
    return other


def _list_lines(
    layers: Sequence[RecordIds], rows: Ints, park: Ints, made: list[str], known: KnownIds
) -> list[str]:
    ends = np.cumsum([len(one.records) for one in layers])
    mine = np.searchsorted(ends, rows, side="right")
    lines = []
    for k in np.unique(mine).tolist():
        one, own = layers[k], np.flatnonzero(mine == k)
        ids = len(np.unique(park[own]))
        example = own[0]
        name = one.names[rows[example] - (ends[k] - len(one.records))]
        what = "one id" if ids == 1 else f"{ids:,} ids"
        lines.append(
            f"{one.source.where}: the column {one.ids.column} gives {what} to parks of different names, so "
            f"these are kept apart, such as {made[example]} ({name}) from {known.unique[park[example]]}; "
            "name it as the id column to join them"
        )
    return lines


def _make_keys(names: Texts) -> Ints:
    """Equal numbers for names that agree, -1 for none."""
    raw, different = pd.factorize(names)
    texts = [make_key(text) for text in different]
    code = pd.factorize(np.array(texts, dtype=object))[0]
    code[np.array([not text for text in texts], dtype=bool)] = -1
    found: Ints = code[raw]
    return found


def name_keys(layers: Sequence[RecordIds]) -> Ints:
    """Equal numbers for records that may be pieces of one park by their names, -1 for all others.

    A record with an id of its own is no piece; a key of a database or a counter is no such id.
    """
    loose = [~_find_own_ids(one) for one in layers]
    code: Ints = np.full(sum(map(len, loose)), -1, dtype=np.int64)
    rows = np.flatnonzero(np.concatenate(loose))
    if not len(rows):
        return code
    names = join_end_to_end([one.names[some] for one, some in zip(layers, loose, strict=True)])
    keys = _make_keys(names)
    several = (np.bincount(keys[keys >= 0], minlength=1) > 1)[keys] & (keys >= 0)
    head = np.unique(keys[several], return_index=True)[1]
    some = np.flatnonzero(several)
    own = {int(keys[row]) for row in some[head].tolist() if is_own(names[row])}
    kept = several & np.isin(keys, list(own))
    code[rows[kept]] = keys[kept]
    return code


def _find_own_ids(one: RecordIds) -> NDArray[np.bool_]:
    if one.ids.keys or not one.ids.column:
        return np.zeros(len(one.records), dtype=bool)
    return np.asarray(one.ids.values != "", dtype=bool)
