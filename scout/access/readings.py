"""Other schemas in OpenStreetMap's words: columns of a file to tags, as the outing file maps them."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scout.access.tags import Texts, texts_of
from scout.errors import InputError
from scout.model import GEOMETRY, RECORD, Layer

__all__ = ["Reading", "applied", "unused"]


@dataclass(frozen=True)
class Reading:
    """How the records of one file are to be read.

    ``values`` gives the tags for each text of ``column``, such as ``{"Trail": "highway=path"}``; ``all``
    gives those of every record. Several tags are parted by semicolons.
    """

    file: str
    layer: str | None = None
    column: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    all: str | None = None

    def meets(self, layer: Layer) -> bool:
        """Whether it is about this layer."""
        named, path = (text.replace("\\", "/") for text in (self.file, layer.source.path))
        same = path == named or path.endswith("/" + named.removeprefix("./"))
        return same and self.layer in (None, layer.source.layer)


def applied(layer: Layer, readings: Sequence[Reading]) -> tuple[dict[str, Texts], list[str]]:
    """Tags for the records of a layer, empty where a reading says nothing, and notes.

    Raises
    ------
    InputError
        A text that is no tag.
    """
    tags: dict[str, Texts] = {}
    notes: list[str] = []
    for reading in readings:
        if not reading.meets(layer):
            continue
        if reading.all:
            _put(tags, reading, reading.all, np.ones(len(layer.frame), dtype=bool))
        if reading.column is None:
            continue
        if reading.column not in _columns(layer):
            notes.append(_no_column(layer, reading.column))
            continue
        texts = texts_of(layer.frame[reading.column])
        for value, words in reading.values.items():
            _put(tags, reading, words, texts == " ".join(str(value).split()))
        left = sorted(
            {str(text) for text in texts} - {" ".join(str(v).split()) for v in reading.values} - {""}
        )
        if left:
            listed = ", ".join(map(repr, left[:5])) + (" and more" if len(left) > 5 else "")
            notes.append(
                f"{layer.source.where}: [[tags]] say nothing of these values of {reading.column}: {listed}"
            )
    return tags, notes


def unused(layers: Sequence[Layer], readings: Sequence[Reading]) -> list[str]:
    """Notes on readings that fit no layer."""
    named = [
        f"{one.file} (layer {one.layer})" if one.layer else one.file
        for one in readings
        if not any(one.meets(layer) for layer in layers)
    ]
    return [f"{name}: named in [[tags]], but nothing of it was read" for name in named]


def _columns(layer: Layer) -> list[Any]:
    return [column for column in layer.frame.columns if column not in (GEOMETRY, RECORD)]


def _no_column(layer: Layer, column: str) -> str:
    names = [str(name) for name in _columns(layer)]
    near = difflib.get_close_matches(column, names, 1)
    hint = f"did you mean {near[0]!r}?" if near else f"its columns are: {', '.join(names) or 'none'}"
    return f"{layer.source.where}: has no column {column!r}, named in [[tags]]; {hint}"


def _put(tags: dict[str, Texts], reading: Reading, words: str, rows: Any) -> None:
    for word in words.split(";"):
        key, equals, value = (part.strip() for part in word.partition("="))
        if not (key and equals and value):
            where, what = f"[[tags]] of {reading.file}", f"{word.strip()!r} is no tag"
            raise InputError(where, what, "write key=value, as in highway=path")
        column = tags.setdefault(key.lower(), np.full(len(rows), "", dtype=object))
        column[rows] = value
