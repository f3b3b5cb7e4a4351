"""Options that commands share, made of the settings of `scout.app.settings`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import click

from scout.app.outing import Outing, load_outing
from scout.app.settings import LEVEL, Count, File, Kind, Number, Setting, list_settings
from scout.errors import InputError

if TYPE_CHECKING:
    ParamType = click.ParamType[Any]
else:
    ParamType = click.ParamType  # generic in late releases of click only


class KindType(ParamType):
    """The values that a kind of setting takes, for click."""

    name = "value"

    def __init__(self, kind: Kind) -> None:
        self.kind = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Take the text of an option."""
        where = "value" if param is None else param.opts[0]
        if isinstance(param, click.Argument):
            where = param.metavar or where
        if isinstance(self.kind, Number | Count):
            try:
                if isinstance(self.kind, Count):
                    value = int(value)
                elif self.kind.highest == 1 and str(value).endswith("%"):
                    value = float(str(value)[:-1]) / 100
                else:
                    value = float(value)
            except ValueError:
                raise InputError(where, f"{value!r} is not a {self.kind.holds}", self.kind.remedy) from None
        return self.kind.check(value, where)


class FilesOption(click.Option):
    """An option that takes every word up to the next option, as people write files; it may come again."""

    def __init__(self, *names: Any, **rest: Any) -> None:
        kind = {"multiple": True, "type": KindType(File()), "metavar": "FILE..."}
        super().__init__(*names, **{**kind, **rest})


class HiddenFiles(click.Argument):
    """Files named without an option, as up to version 0.1: still taken, not shown."""

    def get_usage_pieces(self, ctx: click.Context) -> list[str]:
        """Nothing of it in the usage line."""
        return []


def refuse_options(ctx: click.Context, param: click.Parameter, words: tuple[str, ...]) -> tuple[str, ...]:
    """Take the words of an argument that may begin with a minus, but no option that the command has not."""
    for word in words:
        if word.startswith("--"):
            raise click.NoSuchOption(word.split("=", 1)[0], ctx=ctx)
    return words


class ManyFiles(click.Command):
    """A command with options that take many files."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Repeat such an option before each of its files; click knows only options of a fixed length."""
        many = {name for p in self.params if isinstance(p, FilesOption) for name in p.opts}
        rest: list[str] = []
        taking = ""
        for word in args:
            if word.startswith("--") or word == "-h":
                taking = word.split("=", 1)[0] if word.split("=", 1)[0] in many else ""
                rest.append(word)
            elif taking and rest[-1] != taking:
                rest += [taking, word]
            else:
                rest.append(word)
        return super().parse_args(ctx, rest)


NUMBER = KindType(Count("is no number of a list", "give a whole number from 1 up", 1, 10**9))
Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def make_option(setting: Setting) -> Decorator:
    """An option of a command for a setting; what it takes goes by the setting's name."""
    words: dict[str, Any] = {"help": setting.help}
    if setting.kind.holds == "switch":
        words["is_flag"] = True
    else:
        words |= {"type": KindType(setting.kind), "metavar": setting.metavar, "default": setting.default}
        words["show_default"] = setting.default not in (None, "", ())
    if setting.in_a_row:
        words["cls"] = FilesOption
    if setting.many:
        words |= {"multiple": True, "default": ()}
    return click.option(f"--{setting.key}", setting.name, **words)


def add_settings(*groups: str, but: Sequence[str] = ()) -> Decorator:
    """Give a command the settings of some groups, or single ones by their keys, without those in ``but``."""
    chosen = [
        one for one in list_settings() if (one.group in groups or one.key in groups) and one.key not in but
    ]

    def give(function: Callable[..., Any]) -> Callable[..., Any]:
        for setting in reversed(chosen):
            function = make_option(setting)(function)
        return function

    return give


def add_parks_option(*, required: bool = False) -> Decorator:
    """Give a command, whose class is `ManyFiles`, ``--parks``, the one way to name boundary files."""
    return click.option("--parks", "files", cls=FilesOption, required=required, help="Boundary files.")


def add_level_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level at which it counts grids."""
    return click.option(
        "--level",
        type=KindType(LEVEL),
        default="square",
        show_default=True,
        metavar="LEVEL",
        help="At which grids are counted: field, square, subsquare, extended or fifth.",
    )(function)


def add_notebook_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the notebook it works on."""
    return click.option(
        "--notebook",
        metavar="FILE",
        default="visits.gpkg",
        show_default=True,
        envvar="SCOUT_NOTEBOOK",
        show_envvar=True,
        help="The notebook.",
    )(function)


def add_outing_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--outing``.

    The command gets an `Outing`, an empty one without the option. The settings it has stand where none are
    given on the command line.
    """
    return click.option(
        "--outing",
        type=KindType(File()),
        metavar="FILE",
        callback=_take_outing,  # click takes what is given before what is not, so in time to stand in for it
        help="Outing file (TOML): any of these options and more; options given here win.",
    )(function)


def _take_outing(ctx: click.Context, param: click.Parameter, path: str | None) -> Outing:
    if path is None:
        return Outing()
    outing = load_outing(path)
    own = {p.name: (p.opts, getattr(p, "help", None)) for p in ctx.command.params}
    lent = {
        one.name: outing.options[one.key]
        for one in list_settings()
        if one.key in outing.options and own.get(one.name) == ([f"--{one.key}"], one.help)
    }
    ctx.default_map = {**(ctx.default_map or {}), **lent}
    return outing


def require_files(
    files: Sequence[str], named_by: str = "add --parks FILE, or parks in an --outing file"
) -> None:
    """Refuse a command without boundary files."""
    if not files:
        raise InputError("--parks", "no boundary file is named", named_by)
