"""The page's settings as a search, as an outing file, and back.

The page keeps ``options`` by the keys of an outing file, and ``more``: ``author``, ``show``, ``credits``,
``tags`` and ``kept``, as `load_settings` gave them. ``roles`` are names of files by the part they play.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath
from typing import Any

from scout.app.outing import Outing, check_options, format_outing, load_outing, read_table
from scout.app.request import SearchRequest, make_request
from scout.app.settings import Settings, check_value, get_settings_by_key, list_settings
from scout.desk.files import LOADED, OUTING, ROLES, list_named
from scout.errors import InputError, ScoutError, SettingName
from scout.model import Units
from scout.quantities import format_text

# Keys of an outing file that say where a command writes: kept for the file that is saved, not used here.
_KEPT = ("map", "save", "top", "save-listed")


def word_error(error: Exception) -> dict[str, str]:
    """What went wrong, for somebody who sees fields and no options, and the key of the field that it is."""
    if not isinstance(error, ScoutError):
        return {"where": "", "text": str(error)}
    text = _strip_own_names(error.word(word_text))
    return {"where": error.where.key if isinstance(error.where, SettingName) else "", "text": text}


def word_text(text: str, units: Units = "metric") -> str:
    """A text in the reader's units, with settings by the names of their fields."""
    return format_text(text, units, labels=True)


def _strip_own_names(text: str) -> str:
    """Without the name of a file that the desk itself wrote."""
    return text.removeprefix(f"{OUTING}: ").removeprefix(f"{LOADED}: ")


def list_fields() -> dict[str, dict[str, Any]]:
    """Default and explanation of every setting, by its key in an outing file."""
    return {
        one.key: {
            "default": one.default if isinstance(one.default, (str, int, float)) else None,
            "help": one.help,
        }
        for one in list_settings()
    }


def make_desk_request(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> SearchRequest:
    """What the page asks for, checked as an outing file is.

    Raises
    ------
    InputError
        A value that its setting does not take, or no boundary file.
    """
    outing = make_outing(settings, roles)
    if not outing.parks:
        raise InputError("", "no boundary file is here", "bring one")
    return make_request(outing)


def make_outing(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> Outing:
    """The page's settings as what an outing file says."""
    values, tables = _collect_outing(settings, roles)
    table = {key: value for key, value in values.items() if value not in (None, "", [])}
    _check_fields(table)
    return check_options(read_table({**table, **{k: v for k, v in tables.items() if v}}, OUTING))


def _check_fields(table: Mapping[str, Any]) -> None:
    """See that every field takes what was typed, or name the field."""
    known = get_settings_by_key()
    for key in known.keys() & table.keys():
        value, where = table[key], SettingName(key)
        if known[key].kind.holds == "text" and not isinstance(value, (str, list)):
            raise InputError(where, f"{value} is a number", "give a text")
        try:
            check_value(known[key], value, where)
        except ScoutError as error:
            if error.where is where:
                raise
            text = error.where.value if isinstance(error.where, SettingName) else error.where
            what = f"{text[:60]} {error.what}"  # of what a text is to be understood as
            raise InputError(where, what, error.remedy) from error


def make_desk_settings(settings: Mapping[str, Any]) -> Settings:
    """The settings alone, whatever files there are."""
    return make_request(make_outing(settings, {})).settings


def write_outing(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> str:
    """The page's settings as the text of an outing file."""
    values, tables = _collect_outing(settings, roles)
    return format_outing(values, tables)


def _collect_outing(
    settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]
) -> tuple[dict[str, Any], dict[str, list[dict[str, Any]]]]:
    files = {role: list_named(roles.get(role, ())) for role in ROLES}
    every = {name for names in files.values() for name in names}
    more = settings.get("more") or {}
    options = settings.get("options") or {}
    values: dict[str, Any] = {
        "title": options.get("title"),
        "author": more.get("author"),
        **files,
        "show": more.get("show"),
        **{key: value for key, value in options.items() if key not in files},
        **(more.get("kept") or {}),
    }
    tables = {"credits": list(_list_credits(more, every)), "tags": list(_list_tags(more, every))}
    return values, tables


def _list_credits(more: Mapping[str, Any], every: set[str]) -> Iterable[dict[str, Any]]:
    """Whose data it is, of the files that are here."""
    for row in more.get("credits") or ():
        files = [name for name in row.get("files") or () if name in every]
        if files or not row.get("files"):
            yield {key: value for key, value in (row | {"files": files}).items() if value not in ("", [])}


def _list_tags(more: Mapping[str, Any], every: set[str]) -> Iterable[dict[str, Any]]:
    for row in more.get("tags") or ():
        if row.get("file") in every:
            yield {key: value for key, value in row.items() if value not in (None, "", {})}


def load_settings(path: str) -> dict[str, Any]:
    """An outing file as the page keeps it: options, files by the part they play, and what stays as it is."""
    outing = load_outing(path)
    options: dict[str, Any] = {
        key: list(value) if isinstance(value, tuple) else value for key, value in outing.options.items()
    }
    roles = {"parks": list(outing.parks), **{role: options.pop(role, []) for role in ROLES[1:]}}
    kept = {key: options.pop(key) for key in _KEPT if key in options}
    more = {
        "author": outing.author,
        "show": list(outing.show),
        "credits": [
            {"files": _strip_folders(one.files), "text": one.text, "licence": one.licence, "date": one.date}
            for one in outing.credits
        ],
        "tags": [
            {
                "file": PurePath(one.file).name,
                "layer": one.layer,
                "column": one.column,
                "values": dict(one.values),
                "all": one.all,
            }
            for one in outing.tags
        ],
        "kept": kept,
    }
    if "notebook" in options:
        options["notebook"] = True  # there is one notebook at a desk, whatever its name elsewhere
    return {
        "options": options,
        "roles": {role: _strip_folders(files) for role, files in roles.items()},
        "more": more,
    }


def _strip_folders(files: Sequence[str]) -> list[str]:
    return [PurePath(file.replace("\\", "/")).name for file in files]
