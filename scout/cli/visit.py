"""``scout visit``: visits written down, listed, changed, exported."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from scout.app.sources import read_parks, take_park_files
from scout.cli import options
from scout.cli.options import FilesOption, ManyFiles, add_reading_options, add_station_options
from scout.errors import InputError, make_printable

if TYPE_CHECKING:
    from scout.model import BadVisit, Checked, Parks, ParkVisited, Visit


_TOLD = 10  # rows left out that are named one by one
_TEXTS = (
    "call",
    "operator",
    "antenna",
    "radio",
    "bands",
    "weather",
    "conditions",
    "went_well",
    "went_badly",
    "sheet",
)
_TERMS = {"call": "call sign", "sheet": "arrival sheet", "went_well": "went well", "went_badly": "went badly"}


@dataclass(frozen=True, slots=True)
class JudgedVisit:
    """What the place of a visit gives: fields of it, and the line that says how it was judged."""

    fields: dict[str, Any]
    line: str


def collect_fields(given: Mapping[str, Any]) -> dict[str, Any]:
    """Checked fields of the options that were given; what was not is left out."""
    fields = {name: given[name].strip() for name in _TEXTS if given[name] is not None}
    fields |= {name: given[name] for name in ("contacts", "power_w") if given[name] is not None}
    if given["start"] is not None:
        fields["start"] = _parse_time("--start", given["start"])
    if given["end"] is not None:
        fields["end"] = _parse_time("--end", given["end"]) if given["end"].strip() else None
    return fields


def _parse_time(option: str, text: str) -> datetime:
    """UTC to the second; a time with another zone is turned into it."""
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        time = None
    if time is None or (":" not in text and "T" not in text):
        raise InputError(f"{option} {text}", "this is no date and time", "write 2026-02-14T18:05, in UTC")
    from scout.model import YEARS

    if time.year not in YEARS:  # first: near the ends of the calendar another zone has no date
        what = f"the year {time.year} is not from {YEARS[0]} to {YEARS[-1]}"
        raise InputError(f"{option} {text}", what, "write 2026-02-14T18:05, in UTC")
    time = time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)
    return time.replace(microsecond=0)


def judge_visit(
    given: Mapping[str, Any], files: Sequence[str], by_hand: Sequence[str], old: Visit | None
) -> JudgedVisit:
    """The place, its grids and its parks, from a place or a recording and from boundary files."""
    from scout.cli.options import make_station
    from scout.cli.progress import show_progress
    from scout.geo.locator import get_level_number
    from scout.recording.arrive import judge_arrival
    from scout.recording.read import read_fixes
    from scout.search.check import CheckOptions, check_places

    place, recording = given["place"], given["arrival"]
    if place is not None and recording is not None:
        raise InputError("--place", "--arrival tells the place as well", "give one of them")
    station = make_station(given["station_radius"], given["fix_error"], given["boundary_error"])
    level = get_level_number(given["level"])
    with show_progress() as show:
        parks = _read_visit_parks(files, given, show)
        if recording is not None:
            show("reading the recording")
            arrival = judge_arrival(read_fixes(recording), parks, level, station)
            checked, found = arrival.checked, arrival.standstill
            more = {"start": datetime.fromtimestamp(int(found.start_s), UTC)} if found.dated else {}
            return _make_judged(checked, found.error_95_m, level, by_hand, bool(files), more)
        lon, lat, error_m = _parse_visit_place(place, station.fix_error_m, old)
        from dataclasses import replace

        options = CheckOptions(level, replace(station, fix_error_m=error_m), moves=False)
        (checked,) = check_places(parks, [lon], [lat], options)
    return _make_judged(checked, error_m, level, by_hand, bool(files), {})


def _parse_visit_place(text: str | None, error_m: float, old: Visit | None) -> tuple[float, float, float]:
    from scout.geo.coordinates.parse import read_place

    if text is None:
        if old is None:
            raise InputError("visit", "no place is given", "add --place LAT,LON or --arrival FIXES")
        return old.lon, old.lat, error_m
    place = read_place(text)
    if place.cell is not None:
        raise InputError(
            f"--place {text}", "a locator is an area, and a station stood at one place", "give coordinates"
        )
    return place.lon, place.lat, max(error_m, place.uncertainty_m or 0.0)


def _read_visit_parks(files: Sequence[str], given: Mapping[str, Any], show: Any) -> Parks:
    if files:
        return read_parks(take_park_files(files, **given), show)
    import geopandas as gpd

    from scout.model import DATUM_ERROR, KIND, PARK_ID, PARK_NAME, SOURCE, ParkReport
    from scout.model import Parks as NoParks

    columns: dict[str, list[Any]] = {n: [] for n in (PARK_ID, PARK_NAME, KIND, SOURCE, DATUM_ERROR)}
    return NoParks(gpd.GeoDataFrame(columns, geometry=[], crs="EPSG:4326"), (), ParkReport())


def _make_judged(
    checked: Checked, error_m: float, level: int, by_hand: Sequence[str], by_files: bool, more: dict[str, Any]
) -> JudgedVisit:
    from scout.model import ParkVisited

    verdict = checked.verdict
    at = {park.park: park for park in checked.parks}
    parks = [
        ParkVisited(park, at[park].park_name, round(at[park].clearance_m, 1), round(at[park].p, 4))
        for park in verdict.parks
    ]
    known = {park.park for park in parks}
    parks += [park for park in parse_parks(by_hand) if park.park not in known]
    fields = {
        "lon": checked.lon,
        "lat": checked.lat,
        "error_m": round(error_m, 1),
        "level": level,
        "locators": verdict.locators,
        "parks": tuple(parks),
        "confidence": round(verdict.confidence if by_files else verdict.grids_p, 4),
        **more,
    }
    if not by_files:
        return JudgedVisit(fields, "Judged for the grids alone: no boundary file was given.")
    held = f", held down by: {checked.driver}" if verdict.confidence < 1.0 else ""
    return JudgedVisit(fields, make_printable(f"Verdict: {verdict.word}{held}."))


def parse_parks(words: Sequence[str]) -> tuple[ParkVisited, ...]:
    """Parks as ``ID`` or ``ID=NAME``."""
    from scout.model import ParkVisited

    parks = {}
    for word in words:
        park, _, name = (part.strip() for part in word.partition("="))
        if not park:
            raise InputError(f"--park {word}", "the park has no id", "write ID or ID=NAME")
        parks[park] = ParkVisited(park, name)
    return tuple(parks.values())


def check_times(visit: Visit) -> None:
    """Refuse a visit that ends before it starts."""
    if visit.end is not None and visit.end < visit.start:
        raise InputError("--end", "the visit would end before it starts", "times are UTC, with the date")


def format_visit(visit: Visit | BadVisit) -> Iterator[str]:
    """One visit in full; of what is no visit, why not and what its row holds."""
    from scout.model import Visit

    lines = _format_visit_lines(visit) if isinstance(visit, Visit) else _lines_of_bad(visit)
    yield from (make_printable(line) for line in lines)


def _lines_of_bad(visit: BadVisit) -> Iterator[str]:
    from scout.cli.tables import format_columns

    yield f"Visit {visit.number} cannot be read: {visit.why}."
    yield from format_columns([(f"  {name}", value) for name, value in visit.values])
    yield f"scout visit edit {visit.number} puts it right, scout visit delete {visit.number} takes it out."


def told_left_out(visits: Sequence[BadVisit]) -> Iterator[str]:
    """A line for each row of the notebook that is no visit."""
    for visit in visits[:_TOLD]:
        yield make_printable(f"Left out: {visit}; see scout visit show {visit.number}.")
    if len(visits) > _TOLD:
        yield f"Left out: {len(visits) - _TOLD:,} more like these."


def _format_visit_lines(visit: Visit) -> Iterator[str]:
    from scout.cli.tables import format_columns
    from scout.geo.coordinates.forms import format_decimal, format_minutes
    from scout.geo.locator import LEVELS

    end = " UTC, end not noted" if visit.end is None else f" to {visit.end:%Y-%m-%d %H:%M:%S} UTC"
    grids, parks = len(visit.locators), len(visit.parks)
    yield f"Visit {visit.number}, {visit.start:%Y-%m-%d %H:%M:%S}{end}"
    facts = [("place", f"{format_decimal(visit.lon, visit.lat)}   {format_minutes(visit.lon, visit.lat)}")]
    if visit.error_m is not None:
        facts.append(("error", f"{visit.error_m:g} m (95 %)"))
    sure = "" if visit.confidence is None else f", confidence {visit.confidence:.3f}"
    facts.append(("yield", f"{grids} x {parks} = {grids * parks}, level {LEVELS[visit.level - 1]}{sure}"))
    facts.append(("grids", " ".join(visit.locators) or "none"))
    for park in visit.parks:
        name = f"{park.name} ({park.park})" if park.name else park.park
        clear = "" if park.clearance_m is None else f", clearance {park.clearance_m:g} m"
        facts.append(("park", name + clear + ("" if park.confidence is None else f", {park.confidence:.3f}")))
    facts += [(_TERMS.get(name, name), str(getattr(visit, name))) for name in _TEXTS if getattr(visit, name)]
    if visit.power_w is not None:
        facts.append(("power", f"{visit.power_w:g} W"))
    if visit.contacts is not None:
        facts.append(("contacts", f"{visit.contacts:,}"))
    yield from format_columns([(f"  {term}", " ".join(text.split())) for term, text in facts])


def format_visits(visits: Sequence[Visit]) -> Iterator[str]:
    """A line each."""
    from scout.cli.tables import format_columns

    heads = ("visit", "start (UTC)", "call", "grids x parks", "contacts", "grids", "parks")
    table = [heads]
    for visit in visits:
        grids, parks = len(visit.locators), len(visit.parks)
        table.append(
            (
                str(visit.number),
                f"{visit.start:%Y-%m-%d %H:%M}",
                visit.call,
                f"{grids} x {parks} = {grids * parks}",
                "" if visit.contacts is None else f"{visit.contacts:,}",
                " ".join(visit.locators),
                ", ".join(f"{p.name} ({p.park})" if p.name else p.park for p in visit.parks),
            )
        )
    rows: list[tuple[str, ...]] = [tuple(make_printable(" ".join(c.split())) for c in row) for row in table]
    yield from format_columns(rows)


# ``scout visit``: the notebook of visits, written, read, mended and handed on.
if TYPE_CHECKING:
    from scout.model import Visit


_POWER = options.NumberType("is no power", "give watts, such as 5")
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


def add_level_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level at which it counts grids."""
    return click.option(
        "--level",
        type=options.LEVEL,
        default="square",
        show_default=True,
        metavar="LEVEL",
        help="At which grids are counted: field, square, subsquare, extended or fifth.",
    )(function)


def _add_visit_options(
    *groups: tuple[Callable[..., Any], ...],
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
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
@add_notebook_option
@_add_visit_options(_PLACE, _FIELDS)
@add_station_options
@add_reading_options
def _add_visit(notebook: str, files: tuple[str, ...], by_hand: tuple[str, ...], **given: Any) -> int:
    """Write a visit down.

    The place is judged as scout check does: for which grids and parks it counts goes into the notebook,
    with clearance and confidence. Without boundary files the grids come from the place alone. A recording
    tells the start as well.
    """
    from scout.cautions import ALWAYS
    from scout.errors import InputError
    from scout.model import Visit
    from scout.visits.notebook import Notebook

    fields = collect_fields(given)
    judged = judge_visit(given, files, by_hand, None)
    fields = judged.fields | fields
    if "start" not in fields:
        raise InputError("visit", "its start is not known", "add --start 2026-02-14T18:05, in UTC")
    visit = Visit(**fields)
    check_times(visit)
    book = Notebook(notebook)
    number = book.add(visit)
    for line in format_visit(book.visit(number)):
        click.echo(line)
    click.echo(judged.line)
    click.echo(ALWAYS[-1])
    click.echo(f"Wrote visit {number} to {notebook}")
    return 0


@command.command("list")
@add_notebook_option
def _list_visits(notebook: str) -> int:
    """List the visits, a line each. Exit status 1 when there is none."""
    from scout.visits.notebook import Notebook

    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    for line in (*format_visits(visits), *told_left_out(left_out)):
        click.echo(line)
    return 0 if visits else 1


@command.command("show")
@click.argument("number", type=int, metavar="N")
@add_notebook_option
def _show(number: int, notebook: str) -> int:
    """Show one visit in full."""
    from scout.visits.notebook import Notebook

    for line in format_visit(Notebook(notebook).entry(number)):
        click.echo(line)
    return 0


@command.command("edit", cls=ManyFiles)
@click.argument("number", type=int, metavar="N")
@add_notebook_option
@_add_visit_options(_PLACE, _FIELDS)
@add_station_options
@add_reading_options
def _edit(number: int, notebook: str, files: tuple[str, ...], by_hand: tuple[str, ...], **given: Any) -> int:
    """Change what is given of a visit, and keep the rest; scout visit undo takes it back.

    --place, --arrival, --parks and what belongs to them judge the place anew. --park alone replaces the
    parks.
    """
    from dataclasses import replace

    from scout.visits.notebook import Notebook

    book = Notebook(notebook)
    fields = collect_fields(given)
    old = book.visit(number, **fields)
    told_anew = _was_given(
        "place", "arrival", "files", "level", "station_radius", "fix_error", "boundary_error"
    )
    if told_anew:
        fields = _judge_again(old, files, by_hand, given) | fields
    elif by_hand:
        fields["parks"] = parse_parks(by_hand)
    check_times(replace(old, **fields))
    for line in format_visit(book.edit(number, **fields)):
        click.echo(line)
    return 0


def _was_given(*names: str) -> bool:
    """Whether the user gave one of these options."""
    context = click.get_current_context()
    return any(context.get_parameter_source(name) is ParameterSource.COMMANDLINE for name in names)


def _judge_again(
    old: Visit, files: tuple[str, ...], by_hand: tuple[str, ...], given: dict[str, Any]
) -> dict[str, Any]:
    """A visit judged again; what is not told now is as it was."""
    from scout.model import ParkVisited

    if not _was_given("level"):
        given["level"] = str(old.level)
    if not _was_given("fix_error", "place") and old.error_m is not None:
        given["fix_error"] = old.error_m
    fields = judge_visit(given, files, by_hand, old).fields
    fields.pop("start", None)
    if not files and not by_hand:
        # Nobody has judged the parks: they stay, without the margins of the place before.
        fields["parks"] = tuple(ParkVisited(park.park, park.name) for park in old.parks)
    return fields


@command.command("delete")
@click.argument("number", type=int, metavar="N")
@add_notebook_option
@click.option("--yes", is_flag=True, help="Do not ask.")
def _delete(number: int, notebook: str, yes: bool) -> int:
    """Delete a visit, after asking; scout visit undo brings it back."""
    from scout.visits.notebook import Notebook

    book = Notebook(notebook)
    for line in format_visit(book.entry(number)):
        click.echo(line)
    if not yes:
        click.confirm(f"Delete visit {number}?", abort=True)
    book.delete(number)
    click.echo(f"Deleted visit {number}; scout visit undo brings it back.")
    return 0


@command.command("undo")
@add_notebook_option
def _undo_change(notebook: str) -> int:
    """Take back the last edit or deletion, then the one before it."""
    from scout.visits.notebook import Notebook

    what, visit = Notebook(notebook).undo()
    click.echo(f"Took back the {'deletion' if what == 'delete' else 'edit'} of visit {visit.number}:")
    for line in format_visit(visit):
        click.echo(line)
    return 0


@command.command("export")
@click.argument("paths", nargs=-1, required=True, metavar="OUT...")
@add_notebook_option
@click.option("--title", default="", metavar="TEXT", help="Title of the journal.")
@add_level_option
def _export(paths: tuple[str, ...], notebook: str, title: str, level: str) -> int:
    """Write the visits as a table (.csv), points (.geojson) or a journal to read (.html)."""
    import shlex
    import sys
    from datetime import UTC, datetime
    from functools import partial

    from scout.app.outputs import check_targets, saved, status_of
    from scout.geo.locator import get_level_number
    from scout.output.journal import JournalParticulars, check_format
    from scout.output.journal import export_visits as text_of
    from scout.visits.notebook import Notebook

    check_targets([notebook], paths)
    for path in paths:
        check_format(path)
    made_by = shlex.join(["scout", *sys.argv[1:]])
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    rows = tuple(visit.number for visit in left_out)
    particulars = JournalParticulars(title, made_by, today, get_level_number(level), rows)
    written, failed = saved({path: partial(text_of, visits, path, particulars) for path in paths})
    for line in told_left_out(left_out):
        click.echo(line)
    for path in written:
        click.echo(f"Wrote {path}")
    return status_of(0, failed)
