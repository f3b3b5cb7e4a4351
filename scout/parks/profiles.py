"""Well-known schemas of boundary data: which columns and records mean what, recognised by the columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from fnmatch import fnmatchcase
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scout.errors import InputError
from scout.model import Entry, Layer
from scout.parks.columns import find_column, read_texts
from scout.parks.expression import Condition

_WORDS: tuple[Entry, ...] = ("open", "restricted", "closed", "unknown")


@dataclass(frozen=True, slots=True)
class EntryWords:
    """The column that says who may enter, and what its values mean; others say nothing."""

    column: str
    meaning: Mapping[str, Entry]  # by value, case folded

    def read(self, layer: Layer) -> NDArray[np.object_]:
        """What is known of each record: one of `Entry`, or ""."""
        texts = read_texts(layer, self.column)
        known = {text: self.meaning.get(text.casefold(), "") for text in set(texts)}
        return np.array([known[text] for text in texts], dtype=object)


# Columns of layers that were prepared before: what is known of each park.
OWN_ERROR = "scout:datum_error_m"
OWN_WIDENED = "scout:widened"  # whether it is a corridor
OWN_ENTRY = "scout:entry"  # an `Entry`; closed ground was left out
OWN_DETAILS = "scout:details"  # an object of texts in JSON, by what they are called
OWN_COLUMNS = (OWN_ERROR, OWN_WIDENED, OWN_ENTRY, OWN_DETAILS)
OWN_WORDS = EntryWords(OWN_ENTRY, {word: word for word in _WORDS if word != "closed"})


@dataclass(frozen=True, slots=True)
class Profile:
    """What is known of a schema. Whatever the user says of columns or records goes before it."""

    title: str
    columns: tuple[str, ...]  # a layer that has them all is recognised
    layers: tuple[str, ...] = ("*",)  # patterns of names of layers that hold parks
    id: tuple[str, ...] = ()
    name: str = ""
    where: str = ""  # the condition that records of parks fulfil
    left_out: str = "other records"  # what the others are, in the report
    details: Mapping[str, str] = field(default_factory=dict)  # columns to show, by what they are called
    entry: EntryWords | None = None
    credit: str = ""
    licence: str = ""
    boundary_error_m: float | None = None  # usual for such data, 95 %

    def matches(self, layer: Layer) -> bool:
        """Whether a layer has the schema."""
        return all(find_column(layer, name) for name in self.columns)

    def takes(self, layer: Layer) -> bool:
        """Whether a layer of the schema holds parks, by its name."""
        name = layer.source.layer.casefold()
        return any(fnmatchcase(name, pattern.casefold()) for pattern in self.layers)


def parse_profile(content: Mapping[str, Any], where: str) -> Profile:
    """Make a profile of what a TOML file says.

    Raises
    ------
    InputError
        A key that is unknown or missing, or a value of another kind.
    """
    known = {one.name for one in fields(Profile)}
    for key in content:
        if key not in known:
            raise InputError(where, f"there is no key {key!r}", f"keys: {', '.join(sorted(known))}")
    for key in ("title", "columns"):
        if not content.get(key):
            raise InputError(where, f"{key!r} is missing", "give a title and the columns it is known by")
    checks: dict[str, tuple[Callable[[Any], bool], str]] = {
        **dict.fromkeys(("title", "name", "where", "left_out", "credit", "licence"), (_is_text, "text")),
        **dict.fromkeys(("columns", "layers", "id"), (_are_texts, "a list of texts")),
        "details": (lambda value: isinstance(value, dict) and _are_texts(list(value.values())), "a table"),
        "entry": (lambda value: isinstance(value, dict), "a table"),
        "boundary_error_m": (
            lambda value: isinstance(value, (int, float)) and not isinstance(value, bool) and value >= 0,
            "metres",
        ),
    }
    for key, value in content.items():
        right, what = checks[key]
        if not right(value):
            raise InputError(where, f"{key!r} is not {what}", f"give {what}")
    made: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in content.items()
    }
    if "entry" in content:
        made["entry"] = _parse_entry(content["entry"], where)
    if made.get("where"):
        Condition(str(made["where"]), where).find_columns(made["columns"])
    return Profile(**made)


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _are_texts(value: Any) -> bool:
    return isinstance(value, list) and all(map(_is_text, value))


def _parse_entry(content: Mapping[str, Any], where: str) -> EntryWords:
    for key, value in content.items():
        if key != "column" and key not in _WORDS:
            raise InputError(
                f"{where}: entry", f"there is no key {key!r}", f"keys: column, {', '.join(_WORDS)}"
            )
        if not (_is_text(value) if key == "column" else _are_texts(value)):
            raise InputError(
                f"{where}: entry", f"{key!r} cannot be used", "give texts, in a list but for the column"
            )
    if not content.get("column"):
        raise InputError(where, "'column' is missing", "name the column that says who may enter")
    meaning = {text.casefold(): word for word in _WORDS for text in content.get(word, ())}
    return EntryWords(content["column"], meaning)
