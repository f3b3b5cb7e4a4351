"""The command line: words in, words out. Every error of ours is one line and exit status 2."""

from __future__ import annotations

import difflib
import gc
import sys
from collections.abc import Sequence
from typing import Any

import click

from scout import __version__
from scout.app.faults import BAD_INPUT, complain, say
from scout.cli.progress import INTERRUPTS


class HelpfulGroup(click.Group):
    """A group that shows its help where no command is named: on standard error, as bad input."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse the words after the group's name."""
        if not args and not ctx.resilient_parsing:
            click.echo(ctx.get_help(), err=True)
            ctx.exit(BAD_INPUT)
        return super().parse_args(ctx, args)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that the first word names."""
        name = args[0]
        if self.get_command(ctx, name) is None and not name.startswith("-"):
            close = difflib.get_close_matches(name.lower(), self.list_commands(ctx), 2)
            remedy = _ask_whether(close) or f"{ctx.command_path} --help lists them"
            raise click.UsageError(f"there is no command {name!r}; {remedy}", ctx)
        return super().resolve_command(ctx, args)


class _LazyGroup(HelpfulGroup):
    """A group whose commands are imported when they run, so that help comes at once."""

    def __init__(self, *names: Any, **rest: Any) -> None:
        super().__init__(*names, **rest)
        self.homes: dict[str, str] = {}  # of commands: module and name there

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.homes)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in self.homes:
            return None
        from importlib import import_module

        module, _, inside = self.homes[name].partition(":")
        found: click.Command = getattr(import_module(module), inside)
        return found


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="scout")
def command() -> None:
    """Find the spots where Maidenhead grid squares and parks meet."""


command.homes.update(
    demo="scout.cli.find:demo",
    find="scout.cli.find:find",
    look="scout.cli.look:command",
    compare="scout.cli.compare:command",
    prepare="scout.cli.prepare:command",
    check="scout.cli.check:command",
    arrive="scout.cli.arrive:command",
    card="scout.cli.card:card",
    pack="scout.cli.card:pack",
    trip="scout.cli.trip:command",
    view="scout.cli.view:command",
    grid="scout.cli.grid:command",
    visit="scout.cli.visit:command",
    tally="scout.cli.tally:command",
    stamp="scout.cli.stamp:command",
)


# What people call what an option is named otherwise.
_ALSO = {"radius": "--within", "distance": "--within", "output": "--out --save --map", "file": "--parks"}


def _explain_no_option(error: click.NoSuchOption) -> str:
    """Name the options that may be meant: spelt almost so, or with a word in common, and what each is for."""
    word, ctx = error.option_name, error.ctx
    params = [] if ctx is None else [p for p in ctx.command.params if isinstance(p, click.Option)]
    known = {name: param for param in params for name in param.opts if name.startswith("--")}
    close = difflib.get_close_matches(word.lower(), known, 2, 0.75)
    if not close:
        parts = set(word.lower().strip("-").split("-"))
        also = {name for part in parts for name in _ALSO.get(part, "").split()}
        close = [name for name in known if name in also or parts & set(name.strip("-").split("-"))][:3]
    told = [f"{name} ({text.rstrip('.')})" if (text := known[name].help) else name for name in close]
    command_path = "scout" if ctx is None else ctx.command_path
    return f"there is no option {word}; {_ask_whether(told) or f'{command_path} --help lists them'}"


def _ask_whether(names: Sequence[str]) -> str:
    return f"did you mean {' or '.join(names)}?" if names else ""


def main(arguments: list[str] | None = None) -> int:
    """Run a command line; its exit status: 0 found, 1 nothing found, 2 bad input, 3 a fault in scout."""
    # A search makes many objects and no rings of them; looking for rings costs it a tenth of its time.
    gc.set_threshold(100_000)
    with INTERRUPTS.watch():
        try:
            status = command.main(arguments, prog_name="scout", standalone_mode=False)
            return int(status or 0)
        except (click.Abort, KeyboardInterrupt):
            INTERRUPTS.came = True
        except Exception as error:  # a crash must never look like a result
            if not INTERRUPTS.came:
                return _explain(error)
        say("stopped")
        return 130


def _explain(error: Exception) -> int:
    """Say what ended a command; give the exit status."""
    if isinstance(error, click.NoSuchOption):
        say(_explain_no_option(error))
    elif isinstance(error, click.ClickException):
        say(error.format_message())
    elif isinstance(error, MemoryError):
        say("there is not enough memory for this; give smaller files, or narrow the search with --area")
    elif isinstance(error, BrokenPipeError):
        # The reader of a pipe has gone: say nothing more, not even on closing.
        sys.stdout = sys.stderr
    else:
        return complain(error)
    return BAD_INPUT
