"""The tags of a layer's records in OpenStreetMap's words, and what may be done by them.

Keys and values are those of the OpenStreetMap wiki (Map features, Access restrictions), from memory.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.model import GEOMETRY, RECORD

__all__ = ["KEYS", "OSM_SUFFIXES", "SUBJECTS", "Mask", "Tags", "Texts", "tags_of", "texts_of"]

Mask = NDArray[np.bool_]
Texts = NDArray[np.object_]

OSM_SUFFIXES = (".osm", ".osm.gz", ".osm.bz2", ".pbf")  # OpenStreetMap's own formats

# Keys that say what a thing is: a record with one is understood, even where it is of no interest here.
SUBJECTS = frozenset((
    "aerialway", "aeroway", "amenity", "barrier", "boundary", "building", "craft", "emergency", "ford",
    "geological", "highway", "historic", "landuse", "leisure", "man_made", "military", "natural", "power",
    "public_transport", "railway", "route", "shop", "tourism", "waterway",
))  # fmt: skip
# Keys that are read here.
KEYS = frozenset((
    "access", "amenity", "area", "barrier", "bridge", "building", "electrified", "foot", "ford", "highway",
    "information", "landuse", "layer", "leisure", "location", "locked", "military", "motor_vehicle",
    "motorcar", "motorroad", "name", "natural", "parking:both", "parking:lane:both", "parking:lane:left",
    "parking:lane:right", "parking:left", "parking:right", "power", "railway", "ref", "sac_scale", "service",
    "sidewalk", "tourism", "tracktype", "tunnel", "vehicle", "water", "waterway", "wetland",
))  # fmt: skip

# Values of access, foot, vehicle ...: not for the public on its way through.
_SHUT = frozenset((
    "no", "private", "military", "customers", "permit", "residents", "employees", "members", "delivery",
    "agricultural", "forestry", "emergency", "official_only", "staff", "restricted",
))  # fmt: skip
_OPEN = frozenset(("yes", "permissive", "designated", "official", "public", "destination"))


class Tags:
    """Tags by key, one text per record, lower case, empty where there is none."""

    def __init__(self, columns: dict[str, Texts], records: int, names: Texts) -> None:
        self._columns = columns
        self._none: Texts = np.full(records, "", dtype=object)
        self.names = names  # as written

    def __len__(self) -> int:
        return len(self._none)

    def __getitem__(self, key: str) -> Texts:
        return self._columns.get(key, self._none)

    def any_of(self, key: str, values: Collection[str]) -> Mask:
        """Where a key has one of these values."""
        return np.isin(self[key].astype(str), sorted(values))

    def has(self, *keys: str) -> Mask:
        """Where one of the keys has a value, `no` apart."""
        found: Mask = np.zeros(len(self), dtype=bool)
        for key in keys:
            if key in self._columns:
                found |= (self[key] != "") & (self[key] != "no")
        return found

    def described(self, subjects: Iterable[str] = SUBJECTS) -> Mask:
        """Where one of the keys that say what a thing is has any value."""
        found: Mask = np.zeros(len(self), dtype=bool)
        for key in subjects:
            if key in self._columns:
                found |= self[key] != ""
        return found

    def _first(self, keys: Sequence[str]) -> Texts:
        """The value of the most specific key that is there."""
        value = self._none
        for key in keys:
            value = np.where(value != "", value, self[key])
        return value

    @property
    def foot_open(self) -> Mask:
        """Where walkers are expressly let through."""
        return np.isin(self["foot"].astype(str), sorted(_OPEN))

    @property
    def foot_shut(self) -> Mask:
        """Where walkers are kept out: `foot` overrides `access`."""
        value = self._first(["foot", "access"])
        return np.isin(value.astype(str), sorted({*_SHUT, "use_sidepath"}))

    @property
    def car_shut(self) -> Mask:
        """Where a car may not come: the narrower class of vehicles overrides the wider."""
        value = self._first(["motorcar", "motor_vehicle", "vehicle", "access"])
        return np.isin(value.astype(str), sorted(_SHUT))

    @property
    def car_open(self) -> Mask:
        """Where cars are expressly let through."""
        value = self._first(["motorcar", "motor_vehicle", "vehicle"])
        return np.isin(value.astype(str), sorted(_OPEN))


def texts_of(column: Any) -> Texts:
    """A column of anything as texts; empty for what is missing, whole numbers without a point."""
    texts = pd.Series(np.asarray(column, dtype=object))
    nested = texts.map(np.ndim) > 0  # lists of a GeoJSON file: no value of a tag, and nothing to sort by
    codes, values = pd.factorize(texts.where(~nested, None))
    made = np.array([*(_text(value) for value in values), ""], dtype=object)
    found: Texts = made[codes]
    return found


def _text(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return " ".join(str(value).split())


def tags_of(frame: Any, more: dict[str, Texts]) -> Tags:
    """Tags of a layer's frame: its columns, those of ``more`` over them."""
    columns: dict[str, Texts] = {}
    names: Texts = np.full(len(frame), "", dtype=object)
    for column in frame.columns:
        key = str(column).strip().lower()
        if column in (GEOMETRY, RECORD) or not (key in KEYS or key in SUBJECTS):
            continue
        texts = texts_of(frame[column])
        if key == "name":
            names = texts
            continue
        columns[key] = _lowered(texts)
    for key, texts in more.items():
        if key == "name":
            names = np.where(texts != "", texts, names)
            continue
        before = columns.get(key, np.full(len(frame), "", dtype=object))
        columns[key] = np.where(texts != "", _lowered(texts), before)
    return Tags(columns, len(frame), names)


def _lowered(texts: Texts) -> Texts:
    """The first of several values, lower case."""
    codes, values = pd.factorize(pd.Series(texts))
    made = np.array([value.split(";")[0].strip().lower() for value in values], dtype=object)
    found: Texts = made[codes] if len(codes) else texts
    return found
