"""The outing file: one search in TOML, from text to checked values and back.

Keys are those of the settings (`scout.app.settings`). Five more belong to the file alone: `parks`, `author`,
`show`, `credits` and `tags`.
"""

from __future__ import annotations

import difflib
import json
import os.path
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from scout.app.settings import Holds, Kind, Settings, Text, check_value, get_settings_by_key, list_settings
from scout.errors import InputError, ScoutError
from scout.io.toml import parse_toml, read_content
from scout.model import Credit

Value = str | float | int | bool | tuple[str, ...]


class KeyKind(NamedTuple):
    """What an option may hold. Of texts and files there may be ``many``: a list of them, or one alone."""

    what: Holds
    many: bool = False


@dataclass(frozen=True, slots=True)
class TagReading:
    """How the records of one access file are to be read: columns to OpenStreetMap's tags.

    ``values`` gives the tags for each text of ``column``, ``all`` those of every record; several tags are
    parted by semicolons.
    """

    file: str
    layer: str | None = None
    column: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    all: str | None = None


@dataclass(frozen=True, slots=True)
class Outing:
    """What an outing file says; `load_outing` gives files as seen from the working directory."""

    where: str = ""  # its path; empty where there is no outing file
    options: Mapping[str, Value] = field(default_factory=dict)  # by key
    parks: tuple[str, ...] = ()
    author: str = ""
    show: tuple[str, ...] = ()  # columns of the boundary files to carry along
    credits: tuple[Credit, ...] = ()
    tags: tuple[TagReading, ...] = ()


_TEXT, _TEXTS = KeyKind("text"), KeyKind("text", many=True)
_FILE, _FILES = KeyKind("file"), KeyKind("file", many=True)
_OWN = {"parks": _FILES, "author": _TEXT, "show": _TEXTS}
_CREDIT = {"files": _FILES, "text": _TEXT, "licence": _TEXT, "date": _TEXT}
_READING = {"file": _FILE, "layer": _TEXT, "column": _TEXT, "all": _TEXT}
_PYTHON: Mapping[str, type | tuple[type, ...]] = {
    "text": str,
    "file": str,
    "number": (int, float),
    "whole number": int,
    "switch": bool,
}
_EXAMPLES = {"text": '"..."', "file": '"..."', "number": "12.5", "whole number": "3", "switch": "true"}


def find_demo_outing() -> Path:
    """Find the outing file of the demo island, its data beside it: in a checkout, else in the wheel."""
    package = Path(__file__).parents[1]
    folders = (package.parent / "data_demo", package / "demo")
    return next(folder / "outing.toml" for folder in folders if (folder / "outing.toml").is_file())


def load_outing(path: str) -> Outing:
    """Read an outing file, with its files as seen from the working directory.

    Raises
    ------
    InputError
        It cannot be read, is no TOML, has an unknown key or a value that its setting does not take.
    """
    return place_files(check_options(read_outing(read_content(path), path)), os.path.dirname(path))


@cache
def _list_kinds() -> Mapping[str, KeyKind]:
    return {one.key: KeyKind(one.kind.holds, one.many) for one in list_settings()}


def read_outing(data: bytes, where: str, options: Mapping[str, KeyKind] | None = None) -> Outing:
    """Read the content of an outing file.

    Parameters
    ----------
    data : bytes
    where : str
        Its path, for messages.
    options : mapping of str to KeyKind, optional
        The keys beside its own; those of the settings if not given.

    Raises
    ------
    InputError
        No TOML, an unknown key, or a value of another kind than its key's.

    Examples
    --------
    >>> read_outing(b'parks = "a.kml"', "plan.toml").parks
    ('a.kml',)
    """
    return read_table(parse_toml(data, where), where, options)


def read_table(table: dict[str, Any], where: str, options: Mapping[str, KeyKind] | None = None) -> Outing:
    """Read what an outing file holds, as the tables and values that TOML makes of it."""
    options = _list_kinds() if options is None else options
    own = {key: kind for key, kind in _OWN.items() if key in table}
    lent = {key: kind for key, kind in options.items() if key in table and key not in _OWN}
    _check_known(table, [*options, *_OWN, "credits", "tags"], where)
    values = {key: _check_value(table[key], kind, where, key) for key, kind in (lent | own).items()}
    named = [*_list_texts(values.get("parks"))]
    named += [file for key, kind in lent.items() if kind == _FILES for file in _list_texts(values[key])]
    return Outing(
        where,
        {key: values[key] for key in lent},
        _list_texts(values.get("parks")),
        str(values.get("author", "")),
        _list_texts(values.get("show")),
        tuple(_read_credit(one, at, named) for one, at in _list_tables(table, "credits", where)),
        tuple(_read_tag_reading(one, at) for one, at in _list_tables(table, "tags", where)),
    )


def check_options(outing: Outing) -> Outing:
    """See that the settings take the values that the file gives them, or say that the file is at fault."""
    known = get_settings_by_key()
    for key, value in outing.options.items():
        try:
            check_value(known[key], value, key)
        except ScoutError as error:
            raise InputError(f"{outing.where}: {key}", error.what, error.remedy) from error
    return outing


def place_files(outing: Outing, folder: str) -> Outing:
    """The outing with the files it names in a folder."""
    known = get_settings_by_key()

    def place(value: Value) -> Value:
        return tuple(map(place_one, value)) if isinstance(value, tuple) else place_one(str(value))

    def place_one(file: str) -> str:
        # An address stays one, for the reader to refuse.
        return file if "://" in file else os.path.join(folder, file)

    options = {
        key: place(value) if _names_file(known[key].kind, value) else value
        for key, value in outing.options.items()
    }
    tags = tuple(replace(one, file=place_one(one.file)) for one in outing.tags)
    return replace(outing, options=options, parks=tuple(map(place_one, outing.parks)), tags=tags)


def make_settings(outing: Outing) -> Settings:
    """The settings that an outing gives, the rest as they are by themselves."""
    known = get_settings_by_key()
    return Settings(
        **{known[key].name: check_value(known[key], value, key) for key, value in outing.options.items()}
    )


def _names_file(kind: Kind, value: Value) -> bool:
    return kind.holds == "file" or (isinstance(kind, Text) and kind.is_file(value))


def _show_value(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else f"{text[:56]} ..."


def _check_known(table: Mapping[str, Any], known: Sequence[str], where: str) -> None:
    for key in table:
        if key in known:
            continue
        near = difflib.get_close_matches(key.lower().replace("_", "-"), known, 1)
        remedy = f"did you mean {near[0]}?" if near else f"keys are: {', '.join(sorted(set(known)))}"
        raise InputError(where, f"there is no key {_show_value(key)}", remedy)


def _check_value(value: Any, kind: KeyKind, where: str, key: str) -> Value:
    """A value of its kind, or the error that says what to write instead."""
    several = value if kind.many and isinstance(value, list) else [value]
    if all(_is_kind(one, kind) for one in several):
        if any("\0" in one for one in several if isinstance(one, str)):
            raise InputError(f"{where}: {key}", "holds a null character", "remove it")
        made: Value = tuple(several) if kind.many else value
        return made
    wrong = next(one for one in several if not _is_kind(one, kind))
    example = _EXAMPLES[kind.what]
    single = {"text": "text", "switch": "true or false"}.get(kind.what, f"a {kind.what}")
    wanted = f"a list of {kind.what}s" if kind.many else single
    remedy = f"write {key} = [{example}]" if kind.many else f"write {key} = {example}"
    if kind.what == "text" and isinstance(wrong, (int, float, date)) and not isinstance(wrong, bool):
        remedy = f'put it in quotes: "{str(wrong)[:60]}"'
    raise InputError(f"{where}: {key}", f"must be {wanted}, not {_show_value(wrong)}", remedy)


def _is_kind(value: Any, kind: KeyKind) -> bool:
    return isinstance(value, _PYTHON[kind.what]) and (kind.what == "switch") == isinstance(value, bool)


def _list_texts(value: Any) -> tuple[str, ...]:
    return value if isinstance(value, tuple) else ()


def _list_tables(table: Mapping[str, Any], key: str, where: str) -> Iterable[tuple[dict[str, Any], str]]:
    """The tables of a list of them, each with what to call it in messages."""
    several = table.get(key, [])
    if not isinstance(several, list) or not all(isinstance(one, dict) for one in several):
        raise InputError(f"{where}: {key}", "must be a list of tables", f"begin each with [[{key}]]")
    return [(one, f"{where}: [[{key}]] {number}") for number, one in enumerate(several, start=1)]


def _read_credit(table: dict[str, Any], where: str, named: Sequence[str]) -> Credit:
    _check_known(table, list(_CREDIT), where)
    day = table.get("date")
    if isinstance(day, date) and not isinstance(day, datetime):  # TOML knows dates; text will do as well
        table = {**table, "date": day.isoformat()}
    made = {key: _check_value(value, _CREDIT[key], where, key) for key, value in table.items()}
    if not str(made.get("text", "")).strip():
        raise InputError(where, "does not say whose data it is", 'add text = "..."')
    files = _list_texts(made.get("files"))
    for file in files:
        if named and file not in named:
            near = difflib.get_close_matches(file, named, 1)
            remedy = f"did you mean {near[0]!r}?" if near else "name one of parks, access and the like"
            raise InputError(where, f"{_show_value(file)} is no file of this outing", remedy)
    return Credit(files, str(made["text"]), str(made.get("licence", "")), str(made.get("date", "")))


def _read_tag_reading(table: dict[str, Any], where: str) -> TagReading:
    _check_known(table, [*_READING, "values"], where)
    plain = {
        key: _check_value(value, _READING[key], where, key) for key, value in table.items() if key != "values"
    }
    made = {key: str(value) for key, value in plain.items()}
    values = table.get("values", {})
    if not isinstance(values, dict):
        what = f"must be a table, not {_show_value(values)}"
        raise InputError(f"{where}: values", what, 'write values = {"Trail" = "highway=path"}')
    words = {
        str(text): str(_check_value(tag, _TEXT, where, f"values.{text}")) for text, tag in values.items()
    }
    if "file" not in made:
        raise InputError(where, "names no file", 'add file = "..."')
    if ("column" in made) != bool(words):
        raise InputError(where, "column and values belong together", "give both, or all alone")
    if not words and "all" not in made:
        raise InputError(where, "gives no tags", 'add all = "highway=path", or column and values')
    for tags in (*words.values(), *([made["all"]] if "all" in made else [])):
        _check_tags(tags, where)
    return TagReading(made["file"], made.get("layer"), made.get("column"), words, made.get("all"))


def _check_tags(words: str, where: str) -> None:
    for word in words.split(";"):
        key, _, value = word.partition("=")
        if not (key.strip() and value.strip()):
            what = f"{_show_value(word.strip())} is no tag"
            raise InputError(where, what, "write key=value, as in highway=path")


def format_outing(values: Mapping[str, Any], tables: Mapping[str, Iterable[Mapping[str, Any]]]) -> str:
    """An outing file: plain values by key, then lists of tables; what is empty is left out."""
    lines = [
        f"{_format_key(key)} = {_format_value(value)}"
        for key, value in values.items()
        if value not in (None, "", [])
    ]
    for name, rows in tables.items():
        for row in rows:
            lines += ["", f"[[{name}]]"]
            lines += [f"{_format_key(key)} = {_format_value(value)}" for key, value in row.items()]
    return "\n".join(lines) + "\n"


def _format_key(key: str) -> str:
    bare = key and key.isascii() and key.replace("-", "").replace("_", "").isalnum()
    return key if bare else _format_text(key)


def _format_value(value: Any) -> str:
    """A value as TOML; what it has no form for goes as text, for the reader to refuse."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_format_value(one) for one in value)}]"
    if isinstance(value, dict):
        inner = ", ".join(f"{_format_key(str(key))} = {_format_value(one)}" for key, one in value.items())
        return f"{{{inner}}}"
    return _format_text(str(value))


def _format_text(text: str) -> str:
    # JSON's strings are TOML's but for two things: delete is to be escaped, halves of pairs cannot be.
    clean = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return json.dumps(clean, ensure_ascii=False).replace("\x7f", "\\u007f")
