"""The page's settings as an outing file, and back.

What the page asks for as an outing file, and an outing file as what the page shows.

The outing file is the one thing that says what a search is: the desk writes it, and runs what it says.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath
from typing import Any, NamedTuple

import click

from scout.cli.card import CardInputs, add_card_options, read_inputs
from scout.cli.options import ManyFiles
from scout.cli.outing import list_keys
from scout.desk.files import OUTING, ROLES, list_named
from scout.io.write import write_file


def list_fields() -> dict[str, dict[str, Any]]:
    """Default and explanation of every option, by its key in an outing file."""
    return {
        key: {
            "default": option.default if isinstance(option.default, (str, int, float)) else None,
            "help": option.help or "",
        }
        for key, option in list_keys().items()
    }


# What the page asks for as an outing file, and an outing file as what the page shows.
# Keys of an outing file that say where a command writes: kept for the file that is saved, not used here.
_KEPT = ("map", "save", "top", "save-listed")


class AskedSearch(NamedTuple):
    """What an outing file asks for, and the words it came from."""

    inputs: CardInputs
    words: dict[str, Any]


@click.command(cls=ManyFiles)
@add_card_options
def _words(**words: Any) -> dict[str, Any]:
    return words


def write_settings(
    settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]], *more: str
) -> AskedSearch:
    """Write the outing file into the working directory, and read it as the command line would.

    Parameters
    ----------
    settings : mapping
        As the page keeps them, see `format_outing`.
    roles : mapping of str to sequence of str
        Names of the files by the part they play.
    more : str
        Further words of a command line.
    """
    write_file(OUTING, format_outing(settings, roles))
    words: dict[str, Any] = _words.main(["--outing", OUTING, *more], prog_name="desk", standalone_mode=False)
    return AskedSearch(read_inputs(**words), words)


def format_outing(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> str:
    """The settings as an outing file.

    Parameters
    ----------
    settings : mapping
        ``options`` by the keys of an outing file; ``more`` with ``author``, ``show``, ``credits``, ``tags``
        and ``kept``, as `load_settings` gave them.
    roles : mapping of str to sequence of str
        Names of the files by the part they play.
    """
    files = {role: list_named(roles.get(role, ())) for role in ROLES}
    every = {name for names in files.values() for name in names}
    more = settings.get("more") or {}
    plain: dict[str, Any] = {
        "title": (settings.get("options") or {}).get("title"),
        "author": more.get("author"),
        **files,
        "show": more.get("show"),
        **{key: value for key, value in (settings.get("options") or {}).items() if key not in files},
        **(more.get("kept") or {}),
    }
    lines = [
        f"{_name_key(key)} = {_format_toml(value)}"
        for key, value in plain.items()
        if value not in (None, "", [])
    ]
    for table, rows in (("credits", _list_credits(more, every)), ("tags", _list_tags(more, every))):
        for row in rows:
            lines += [
                "",
                f"[[{table}]]",
                *(f"{_name_key(key)} = {_format_toml(value)}" for key, value in row.items()),
            ]
    return "\n".join(lines) + "\n"


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


def _name_key(key: str) -> str:
    bare = key and key.isascii() and key.replace("-", "").replace("_", "").isalnum()
    return key if bare else _format_toml_text(key)


def _format_toml(value: Any) -> str:
    """A value as TOML; what it has no form for goes as text, for the reader to refuse."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, list):
        return f"[{', '.join(_format_toml(one) for one in value)}]"
    if isinstance(value, dict):
        return (
            "{"
            + ", ".join(f"{_name_key(str(key))} = {_format_toml(one)}" for key, one in value.items())
            + "}"
        )
    return _format_toml_text(str(value))


def _format_toml_text(text: str) -> str:
    # JSON's strings are TOML's but for two things: delete is to be escaped, halves of pairs cannot be.
    clean = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return json.dumps(clean, ensure_ascii=False).replace("\x7f", "\\u007f")


def load_settings(path: str) -> dict[str, Any]:
    """An outing file as the page keeps it: options, files by the part they play, and what stays as it is."""
    words: dict[str, Any] = _words.main(["--outing", path], prog_name="desk", standalone_mode=False)
    outing = words["outing"]
    options = {
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
