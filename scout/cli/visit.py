"""``scout visit``: the notebook of visits, written, read, mended and handed on."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from scout.cli import kinds
from scout.cli.options import FilesOption, ManyFiles, reading_options, station_options

if TYPE_CHECKING:
    from scout.visits import Visit

__all__ = ["command", "level_option", "notebook_option"]

_POWER = kinds.Number("is no power", "give watts, such as 5")
_FIELDS = (
    click.option("--start", metavar="TIME", help="Start in UTC, such as 2026-02-14T18:05."),
    click.option("--end", metavar="TIME", help="End in UTC; empty takes it out."),
    click.option("--call", metavar="TEXT", help="Call sign used, such as Q1AAA."),
    click.option("--operator", metavar="TEXT", help="The operator's own call sign, or a name."),
    click.option("--antenna", metavar="TEXT"),
    click.option("--radio", metavar="TEXT"),
    click.option("--power", "power_w", type=_POWER, metavar="W", help="Transmitter power in watts."),
    click.option("--bands", metavar="TEXT", help="Bands used, such as 40m 20m."),
    click.option(
        "--contacts", type=click.IntRange(min=0), metavar="N", help="Contacts; 0: nothing was done."
    ),
    click.option("--weather", metavar="TEXT"),
    click.option("--conditions", metavar="TEXT", help="Propagation, noise, crowds."),
    click.option("--went-well", metavar="TEXT"),
    click.option("--went-badly", metavar="TEXT"),
    click.option("--sheet", metavar="PATH", help="Where the arrival sheet is."),
)
_PLACE = (
    click.option("--place", metavar="PLACE", help="Where the station stood: coordinates as scout check has."),
    click.option("--arrival", metavar="FIXES", help="The recording made there instead, as for scout arrive."),
    click.option("--parks", "files", cls=FilesOption, help="Boundary files to judge by."),
    click.option("--park", "by_hand", multiple=True, metavar="ID[=NAME]", help="A park by hand; may repeat."),
)


def notebook_option(function: Callable[..., Any]) -> Callable[..., Any]:
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


def level_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level at which it counts grids."""
    return click.option(
        "--level",
        type=kinds.LEVEL,
        default="square",
        show_default=True,
        metavar="LEVEL",
        help="At which grids are counted: field, square, subsquare, extended or fifth.",
    )(function)


def _with(*groups: tuple[Callable[..., Any], ...]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    def give(function: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed([option for group in groups for option in group]):
            function = option(function)
        return function

    return give


@click.group("visit")
def command() -> None:
    """Write visits down, and read, mend, delete and export them.

    The notebook is a GeoPackage, which any GIS opens. The first visit makes it.
    """


@command.command("add", cls=ManyFiles)
@notebook_option
@_with(_PLACE, _FIELDS)
@station_options
@reading_options
def _add(notebook: str, files: tuple[str, ...], by_hand: tuple[str, ...], **given: Any) -> int:
    """Write a visit down.

    The place is judged as scout check does: for which grids and parks it counts goes into the notebook,
    with clearance and confidence. Without boundary files the grids come from the place alone. A recording
    tells the start as well.
    """
    from scout.cautions import ALWAYS
    from scout.cli.visiting import check_times, fields_of, judge_visit, told
    from scout.errors import InputError
    from scout.notebook import Notebook
    from scout.visits import Visit

    fields = fields_of(given)
    judged = judge_visit(given, files, by_hand, None)
    fields = judged.fields | fields
    if "start" not in fields:
        raise InputError("visit", "its start is not known", "add --start 2026-02-14T18:05, in UTC")
    visit = Visit(**fields)
    check_times(visit)
    book = Notebook(notebook)
    number = book.add(visit)
    for line in told(book.visit(number)):
        click.echo(line)
    click.echo(judged.line)
    click.echo(ALWAYS[-1])
    click.echo(f"Wrote visit {number} to {notebook}")
    return 0


@command.command("list")
@notebook_option
def _list(notebook: str) -> int:
    """List the visits, a line each. Exit status 1 when there is none."""
    from scout.cli.visiting import listed, told_left_out
    from scout.notebook import Notebook
    from scout.visits import BadVisit

    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    for line in (*listed(visits), *told_left_out(left_out)):
        click.echo(line)
    return 0 if visits else 1


@command.command("show")
@click.argument("number", type=int, metavar="N")
@notebook_option
def _show(number: int, notebook: str) -> int:
    """Show one visit in full."""
    from scout.cli.visiting import told
    from scout.notebook import Notebook

    for line in told(Notebook(notebook).entry(number)):
        click.echo(line)
    return 0


@command.command("edit", cls=ManyFiles)
@click.argument("number", type=int, metavar="N")
@notebook_option
@_with(_PLACE, _FIELDS)
@station_options
@reading_options
def _edit(number: int, notebook: str, files: tuple[str, ...], by_hand: tuple[str, ...], **given: Any) -> int:
    """Change what is given of a visit, and keep the rest; scout visit undo takes it back.

    --place, --arrival, --parks and what belongs to them judge the place anew. --park alone replaces the
    parks.
    """
    from dataclasses import replace

    from scout.cli.visiting import check_times, fields_of, parks_by_hand, told
    from scout.notebook import Notebook

    book = Notebook(notebook)
    fields = fields_of(given)
    old = book.visit(number, **fields)
    told_anew = _said("place", "arrival", "files", "level", "station_radius", "fix_error", "boundary_error")
    if told_anew:
        fields = _anew(old, files, by_hand, given) | fields
    elif by_hand:
        fields["parks"] = parks_by_hand(by_hand)
    check_times(replace(old, **fields))
    for line in told(book.edit(number, **fields)):
        click.echo(line)
    return 0


def _said(*names: str) -> bool:
    """Whether the user gave one of these options."""
    context = click.get_current_context()
    return any(context.get_parameter_source(name) is ParameterSource.COMMANDLINE for name in names)


def _anew(
    old: Visit, files: tuple[str, ...], by_hand: tuple[str, ...], given: dict[str, Any]
) -> dict[str, Any]:
    """A visit judged again; what is not told now is as it was."""
    from scout.cli.visiting import judge_visit
    from scout.visits import ParkVisited

    if not _said("level"):
        given["level"] = str(old.level)
    if not _said("fix_error", "place") and old.error_m is not None:
        given["fix_error"] = old.error_m
    fields = judge_visit(given, files, by_hand, old).fields
    fields.pop("start", None)
    if not files and not by_hand:
        # Nobody has judged the parks: they stay, without the margins of the place before.
        fields["parks"] = tuple(ParkVisited(park.park, park.name) for park in old.parks)
    return fields


@command.command("delete")
@click.argument("number", type=int, metavar="N")
@notebook_option
@click.option("--yes", is_flag=True, help="Do not ask.")
def _delete(number: int, notebook: str, yes: bool) -> int:
    """Delete a visit, after asking; scout visit undo brings it back."""
    from scout.cli.visiting import told
    from scout.notebook import Notebook

    book = Notebook(notebook)
    for line in told(book.entry(number)):
        click.echo(line)
    if not yes:
        click.confirm(f"Delete visit {number}?", abort=True)
    book.delete(number)
    click.echo(f"Deleted visit {number}; scout visit undo brings it back.")
    return 0


@command.command("undo")
@notebook_option
def _undo(notebook: str) -> int:
    """Take back the last edit or deletion, then the one before it."""
    from scout.cli.visiting import told
    from scout.notebook import Notebook

    what, visit = Notebook(notebook).undo()
    click.echo(f"Took back the {'deletion' if what == 'delete' else 'edit'} of visit {visit.number}:")
    for line in told(visit):
        click.echo(line)
    return 0


@command.command("export")
@click.argument("paths", nargs=-1, required=True, metavar="OUT...")
@notebook_option
@click.option("--title", default="", metavar="TEXT", help="Title of the journal.")
@level_option
def _export(paths: tuple[str, ...], notebook: str, title: str, level: str) -> int:
    """Write the visits as a table (.csv), points (.geojson) or a journal to read (.html)."""
    import shlex
    import sys
    from datetime import UTC, datetime
    from functools import partial

    from scout.cli.outputs import check_targets, saved, status_of
    from scout.cli.visiting import told_left_out
    from scout.journal import Particulars, check_format
    from scout.journal import export as text_of
    from scout.locator import level_number
    from scout.notebook import Notebook
    from scout.visits import BadVisit

    check_targets([notebook], paths)
    for path in paths:
        check_format(path)
    made_by = shlex.join(["scout", *sys.argv[1:]])
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    rows = tuple(visit.number for visit in left_out)
    particulars = Particulars(title, made_by, today, level_number(level), rows)
    written, failed = saved({path: partial(text_of, visits, path, particulars) for path in paths})
    for line in told_left_out(left_out):
        click.echo(line)
    for path in written:
        click.echo(f"Wrote {path}")
    return status_of(0, failed)
