"""What the page asks for as an outing file, and an outing file as what the page shows.

The outing file is the one thing that says what a search is: the desk writes it, and runs what it says.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath
from typing import Any, NamedTuple

import click

from scout.cli.card import Inputs, card_options, inputs_from
from scout.cli.options import ManyFiles
from scout.desk.names import OUTING, ROLES, named
from scout.write import write_file

__all__ = ["Asked", "asked", "loaded", "outing_text"]

# Keys of an outing file that say where a command writes: kept for the file that is saved, not used here.
_KEPT = ("map", "save", "top", "save-listed")


class Asked(NamedTuple):
    """What an outing file asks for, and the words it came from."""

    inputs: Inputs
    words: dict[str, Any]


@click.command(cls=ManyFiles)
@card_options
def _words(**words: Any) -> dict[str, Any]:
    return words


def asked(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]], *more: str) -> Asked:
    """Write the outing file into the working directory, and read it as the command line would.

    Parameters
    ----------
    settings : mapping
        As the page keeps them, see `outing_text`.
    roles : mapping of str to sequence of str
        Names of the files by the part they play.
    more : str
        Further words of a command line.
    """
    write_file(OUTING, outing_text(settings, roles))
    words: dict[str, Any] = _words.main(["--outing", OUTING, *more], prog_name="desk", standalone_mode=False)
    return Asked(inputs_from(**words), words)


def outing_text(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> str:
    """The settings as an outing file.

    Parameters
    ----------
    settings : mapping
        ``options`` by the keys of an outing file; ``more`` with ``author``, ``show``, ``credits``, ``tags``
        and ``kept``, as `loaded` gave them.
    roles : mapping of str to sequence of str
        Names of the files by the part they play.
    """
    files = {role: named(roles.get(role, ())) for role in ROLES}
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
    lines = [f"{_key(key)} = {_value(value)}" for key, value in plain.items() if value not in (None, "", [])]
    for table, rows in (("credits", _credits(more, every)), ("tags", _tags(more, every))):
        for row in rows:
            lines += ["", f"[[{table}]]", *(f"{_key(key)} = {_value(value)}" for key, value in row.items())]
    return "\n".join(lines) + "\n"


def _credits(more: Mapping[str, Any], every: set[str]) -> Iterable[dict[str, Any]]:
    """Whose data it is, of the files that are here."""
    for row in more.get("credits") or ():
        files = [name for name in row.get("files") or () if name in every]
        if files or not row.get("files"):
            yield {key: value for key, value in (row | {"files": files}).items() if value not in ("", [])}


def _tags(more: Mapping[str, Any], every: set[str]) -> Iterable[dict[str, Any]]:
    for row in more.get("tags") or ():
        if row.get("file") in every:
            yield {key: value for key, value in row.items() if value not in (None, "", {})}


def _key(key: str) -> str:
    bare = key and key.isascii() and key.replace("-", "").replace("_", "").isalnum()
    return key if bare else _text(key)


def _value(value: Any) -> str:
    """A value as TOML; what it has no form for goes as text, for the reader to refuse."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, list):
        return f"[{', '.join(_value(one) for one in value)}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(str(key))} = {_value(one)}" for key, one in value.items()) + "}"
    return _text(str(value))


def _text(text: str) -> str:
    # JSON's strings are TOML's but for two things: delete is to be escaped, halves of pairs cannot be.
    clean = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return json.dumps(clean, ensure_ascii=False).replace("\x7f", "\\u007f")


def loaded(path: str) -> dict[str, Any]:
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
            {"files": _bare(one.files), "text": one.text, "licence": one.licence, "date": one.date}
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
        "roles": {role: _bare(files) for role, files in roles.items()},
        "more": more,
    }


def _bare(files: Sequence[str]) -> list[str]:
    return [PurePath(file.replace("\\", "/")).name for file in files]
