"""``scout visit``: visits written down, listed, changed, exported."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from scout.app.settings import Count, Number, Settings, list_settings
from scout.cli import HelpfulGroup
from scout.cli.lines import print_lines
from scout.cli.options import (
    NUMBER,
    FilesOption,
    KindType,
    ManyFiles,
    add_level_option,
    add_notebook_option,
    add_settings,
)
from scout.cli.progress import show_progress
from scout.errors import make_printable

if TYPE_CHECKING:
    from scout.app.visits import VisitRequest
    from scout.model import BadVisit, Units

_CONTACTS = KindType(Count("is no number of contacts", "give a whole number, a billion at most", 0, 10**9))
_POWER = KindType(Number("is no power", "give watts, such as 5"))
_FIELDS = (
    click.option("--start", metavar="TIME", help="Start in UTC, such as 2026-02-14T18:05."),
    click.option("--end", metavar="TIME", help="End in UTC; empty text removes it."),
    click.option("--call", metavar="TEXT", help="Call sign used, such as Q1AAA."),
    click.option("--operator", metavar="TEXT", help="The operator's own call sign, or a name."),
    click.option("--antenna", metavar="TEXT"),
    click.option("--radio", metavar="TEXT"),
    click.option("--power", "power_w", type=_POWER, metavar="W", help="Transmitter power in watts."),
    click.option("--bands", metavar="TEXT", help="Bands used, such as 40m 20m."),
    click.option("--contacts", type=_CONTACTS, metavar="N", help="Contacts; 0: nothing was done."),
    click.option("--weather", metavar="TEXT"),
    click.option("--conditions", metavar="TEXT", help="Propagation, noise, crowds."),
    click.option("--went-well", metavar="TEXT"),
    click.option("--went-badly", metavar="TEXT"),
    click.option("--sheet", metavar="PATH", help="Where the arrival sheet is."),
)
_PLACE = (
    click.option("--place", metavar="PLACE", help="Where the station stood, as for scout check."),
    click.option("--arrival", metavar="FIXES", help="The recording made there instead, as for scout arrive."),
    click.option("--parks", "files", cls=FilesOption, help="Boundary files to judge by."),
    click.option(
        "--in-park", "in_parks", multiple=True, metavar="ID[=NAME]", help="A park by hand; may come again."
    ),
)


def _add_visit_options(
    *groups: tuple[Callable[..., Any], ...],
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    def give(function: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed([option for group in groups for option in group]):
            function = option(function)
        return function

    return give


@click.group("visit", cls=HelpfulGroup)
def command() -> None:
    """Write visits down; list, change, delete and export them.

    The notebook is a GeoPackage, which any GIS opens. The first visit makes it.
    """


@command.command("add", cls=ManyFiles)
@add_notebook_option
@_add_visit_options(_PLACE, _FIELDS)
@add_settings("station", "reading", "display")
def _add_visit(notebook: str, **given: Any) -> int:
    """Write a visit down.

    The place is judged as scout check does: for which grids and parks it counts goes into the notebook,
    with clearance and confidence. Without boundary files the grids come from the place alone. A recording
    tells the start as well.
    """
    from scout.app.visits import record_visit
    from scout.cli.progress import show_progress
    from scout.output.visits import format_recorded

    request = _make_request(given)
    with show_progress() as show:
        recorded = record_visit(notebook, request, show)
    print_lines(format_recorded(recorded.visit, recorded.judged, notebook, request.settings.units))
    return 0


def _make_request(given: dict[str, Any]) -> VisitRequest:
    from scout.app.visits import VisitRequest
    from scout.visits.rows import TEXTS

    texts = {name: given.pop(name) for name in TEXTS}
    names = {one.name for one in list_settings("station", "reading", "display")}
    settings = Settings(**{name: given.pop(name) for name in names})
    return VisitRequest(
        settings=settings, texts={name: text for name, text in texts.items() if text is not None}, **given
    )


@command.command("list")
@add_notebook_option
def _list_visits(notebook: str) -> int:
    """List the visits, a line each. Exit status 1 when there is none."""
    from scout.output.visits import format_left_out, format_visits
    from scout.visits.notebook import Notebook

    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    print_lines((*format_visits(visits), *format_left_out(left_out)))
    return 0 if visits else 1


@command.command("show")
@click.argument("number", type=NUMBER, metavar="N")
@add_notebook_option
@add_settings("display")
def _show(number: int, notebook: str, units: Units) -> int:
    """Show one visit in full."""
    from scout.output.visits import format_visit
    from scout.visits.notebook import Notebook

    print_lines(format_visit(Notebook(notebook).entry(number), units))
    return 0


@command.command("edit", cls=ManyFiles)
@click.argument("number", type=NUMBER, metavar="N")
@add_notebook_option
@_add_visit_options(_PLACE, _FIELDS)
@add_settings("station", "reading", "display")
def _edit(number: int, notebook: str, **given: Any) -> int:
    """Change what is given of a visit, and keep the rest; scout visit undo takes it back.

    --place, --arrival, --parks and what belongs to them judge the place anew. --in-park alone replaces the
    parks.
    """
    from scout.app.visits import change_visit
    from scout.cli.progress import show_progress
    from scout.output.visits import format_visit

    judge = _was_given(
        "place", "arrival", "files", "level", "station_radius_m", "fix_error_m", "boundary_error_m"
    )
    keep = {"level"} if not _was_given("level") else set()
    if not _was_given("fix_error_m", "place"):
        keep.add("error")
    request = _make_request(given)
    with show_progress() as show:
        visit = change_visit(notebook, number, request, show, judge=judge, keep=keep)
    print_lines(format_visit(visit, request.settings.units))
    return 0


def _was_given(*names: str) -> bool:
    """Whether the user gave one of these options."""
    context = click.get_current_context()
    return any(context.get_parameter_source(name) is ParameterSource.COMMANDLINE for name in names)


@command.command("delete")
@click.argument("number", type=NUMBER, metavar="N")
@add_notebook_option
@click.option("--yes", is_flag=True, help="Do not ask.")
def _delete(number: int, notebook: str, yes: bool) -> int:
    """Delete a visit, after asking; scout visit undo brings it back."""
    from scout.output.visits import format_visit
    from scout.visits.notebook import Notebook

    book = Notebook(notebook)
    print_lines(format_visit(book.entry(number)))
    if not yes:
        click.confirm(f"Delete visit {number}?", abort=True)
    book.delete(number)
    click.echo(f"Deleted visit {number}; scout visit undo brings it back.")
    return 0


@command.command("undo")
@add_notebook_option
def _undo_change(notebook: str) -> int:
    """Take back the last edit or deletion, then the one before it."""
    from scout.output.visits import format_visit
    from scout.visits.notebook import Notebook

    what, visit = Notebook(notebook).undo()
    click.echo(f"Took back the {'deletion' if what == 'delete' else 'edit'} of visit {visit.number}:")
    print_lines(format_visit(visit))
    return 0


@command.command("export", cls=ManyFiles)
@click.argument("paths", nargs=-1, required=True, metavar="OUT...")
@add_notebook_option
@click.option("--title", default="", metavar="TEXT", help="Title of the journal.")
@add_level_option
@click.option("--heights", cls=FilesOption, help="Heights, for the horizon of each visit in the journal.")
@add_settings("antenna-height", "crs", "display")
def _export(
    paths: tuple[str, ...],
    notebook: str,
    title: str,
    level: str,
    heights: tuple[str, ...],
    crs: str | None,
    antenna_m: float,
    units: Units,
) -> int:
    """Write the visits as a table (.csv), points (.geojson) or a journal to read (.html)."""
    import shlex
    import sys
    from datetime import UTC, datetime
    from functools import partial

    from scout.app.outputs import check_targets, status_of, write_outputs
    from scout.app.sources import AccessFiles
    from scout.app.view import see_from_places
    from scout.geo.locator import get_level_number
    from scout.output.journal import JournalParticulars, check_format
    from scout.output.journal import export_visits as text_of
    from scout.output.visits import format_left_out
    from scout.visits.notebook import Notebook

    check_targets([notebook, *heights], paths)
    for path in paths:
        check_format(path)
    made_by = shlex.join(["scout", *sys.argv[1:]])
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    rows = tuple(visit.number for visit in left_out)
    with show_progress() as show:
        files = AccessFiles(heights=heights, crs=crs)
        seen, notes = see_from_places([(one.lon, one.lat) for one in visits], files, antenna_m, show)
    horizons = {visit.number: one for visit, one in zip(visits, seen, strict=True) if one is not None}
    particulars = JournalParticulars(title, made_by, today, get_level_number(level), rows, units, horizons)
    written, failed = write_outputs({path: partial(text_of, visits, path, particulars) for path in paths})
    print_lines((*format_left_out(left_out), *(make_printable(f"Note: {note}") for note in notes)))
    for path in written:
        click.echo(f"Wrote {path}")
    return status_of(0, failed)
