"""``--outing FILE``: an outing file stands in for options that are not given.

Its keys are the options of ``scout find``. Another command takes of them what means the same there: an option
with the same words to explain it.
"""

from __future__ import annotations

import os.path
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import click

from scout.app.outing import MOST_BYTES, KeyKind, Outing, Value, read_outing
from scout.cli.options import FILE, NumberType
from scout.errors import InputError, ScoutError


def add_outing_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--outing``.

    The command gets an `Outing`, an empty one without the option. The files it names are relative to the
    working directory by then, and its options stand where none are given on the command line.
    """
    return click.option(
        "--outing",
        type=FILE,
        metavar="FILE",
        callback=_take_outing,  # click takes what is given before what is not, so in time to stand in for it
        help="Outing file (TOML): any of these options and more; options given here win.",
    )(function)


def _take_outing(ctx: click.Context, param: click.Parameter, path: str | None) -> Outing:
    if path is None:
        return Outing()
    options = list_keys()
    kinds = {key: _find_kind(option) for key, option in options.items()}
    outing = read_outing(_read_content(path), path, kinds)
    folder = os.path.dirname(path)
    found = {key: _place_files(folder, value, kinds[key]) for key, value in outing.options.items()}
    for key, value in found.items():
        _check_value(ctx, options[key], value, path, key)
    same = {(p.name, p.help) for p in ctx.command.params if isinstance(p, click.Option)}
    lent = {options[key].name: found[key] for key in found if (options[key].name, options[key].help) in same}
    ctx.default_map = {**(ctx.default_map or {}), **lent}
    parks = tuple(_place_file(folder, file) for file in outing.parks)
    tags = tuple(replace(one, file=_place_file(folder, one.file)) for one in outing.tags)
    return replace(outing, options=found, parks=parks, tags=tags)


def list_keys() -> dict[str, click.Option]:
    """The options of a search by their keys in an outing file."""
    from scout.cli.find import command

    options = [p for p in command.params if isinstance(p, click.Option) and p.name != "outing"]
    return {_name_key(option): option for option in options}


def _read_content(path: str) -> bytes:
    from scout.io.formats import check_local

    try:
        with check_local(path).open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "check the path") from error


def _name_key(option: click.Parameter) -> str:
    return max(option.opts, key=len).lstrip("-")


def _find_kind(option: click.Option) -> KeyKind:
    if option.is_flag:
        return KeyKind("switch")
    if option.type is FILE:
        return KeyKind("file", option.multiple)
    if isinstance(option.type, (NumberType, click.types.FloatParamType)):
        return KeyKind("number")
    return (
        KeyKind("whole number")
        if isinstance(option.type, click.types.IntParamType)
        else KeyKind("text", option.multiple)
    )


def _place_files(folder: str, value: Value, kind: KeyKind) -> Value:
    if kind.what != "file":
        return value
    return (
        tuple(_place_file(folder, file) for file in value)
        if isinstance(value, tuple)
        else _place_file(folder, str(value))
    )


def _place_file(folder: str, file: str) -> str:
    """A path as seen from the working directory; an address stays one, for the reader to refuse."""
    return file if "://" in file else os.path.join(folder, file)


def _check_value(ctx: click.Context, option: click.Option, value: Value, path: str, key: str) -> None:
    """See that the option would take the value, or say that the file is at fault."""
    try:
        option.type_cast_value(ctx, value)
    except ScoutError as error:
        raise InputError(f"{path}: {key}", error.what, error.remedy) from error
    except click.BadParameter as error:
        raise InputError(f"{path}: {key}", error.message.rstrip(".")) from error
