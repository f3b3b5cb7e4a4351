"""``scout arrive``: a recording made while standing still becomes a position, an answer and a sheet."""

from __future__ import annotations

from typing import Any

import click

from scout.app.sources import open_source, take_park_files
from scout.cli.options import FilesOption, ManyFiles, add_reading_options, add_standing_options, make_station
from scout.cli.progress import show_progress
from scout.model import Station

_AROUND_M = 2000.0  # of the recording: parks further off are not spoken of


@click.command("arrive", cls=ManyFiles)
@click.argument("path", metavar="FIXES")
@click.option("--parks", "files", cls=FilesOption, required=True, help="Boundary files.")
@add_standing_options
@add_reading_options
@click.option("--sheet", metavar="OUT.html", help="Write the arrival sheet, to print and sign.")
@click.option("--call", metavar="TEXT", default="", help="Call sign on the sheet, such as Q1AAA.")
@click.option("--operator", metavar="TEXT", default="", help="Operator's name on the sheet.")
@click.option("--title", metavar="TEXT", default="", help="Title of the sheet.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    path: str,
    files: tuple[str, ...],
    level: str,
    station_radius: float,
    boundary_error: float,
    sheet: str | None,
    call: str,
    operator: str,
    title: str,
    as_json: bool,
    **reading: Any,
) -> int:
    """Say whether the place where you stand counts, from a recording made there.

    FIXES is an NMEA 0183 log or a GPX track, recorded while the receiver lay still at the station's centre;
    ten minutes or more. The recording tells its own 95 % error, which is taken as the fix error. Exit
    status: 0 when the place is firm, 1 when not, 2 for bad input.
    """
    from scout.app.outputs import check_page, check_targets
    from scout.cli.arrival import build_sheet_text, format_arrival, format_arrival_json
    from scout.geo.locator import get_level_number
    from scout.io.write import write_file
    from scout.recording.arrive import judge_arrival
    from scout.recording.read import read_fixes
    from scout.search.places import load_parks_near

    station = make_station(station_radius, Station().fix_error_m, boundary_error)
    number = get_level_number(level)
    check_page("--sheet", sheet)
    check_targets([path, *files], [sheet] if sheet is not None else [])
    with show_progress() as show:
        show("reading the recording")
        fixes = read_fixes(path)
        shelf = open_source(take_park_files(files, **reading), show)
        parks = load_parks_near(shelf, fixes.lon, fixes.lat, _AROUND_M)
        arrival = judge_arrival(fixes, parks, number, station)
        if sheet is not None:
            write_file(sheet, build_sheet_text(arrival, parks, call=call, operator=operator, title=title))
    for line in [format_arrival_json(arrival)] if as_json else format_arrival(arrival):
        click.echo(line)
    if sheet is not None:
        click.echo(f"Wrote {sheet}", err=as_json)
    return 0 if arrival.checked.verdict.word == "firm" else 1
