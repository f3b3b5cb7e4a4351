"""``scout arrive``: a recording made while standing still becomes a position, an answer and a sheet."""

from __future__ import annotations

from typing import Any

import click

from scout.app.settings import Settings
from scout.cli.lines import print_lines
from scout.cli.options import ManyFiles, add_parks_option, add_settings
from scout.cli.progress import show_progress


@click.command("arrive", cls=ManyFiles)
@click.argument("path", metavar="FIXES")
@add_parks_option(required=True)
@add_settings("station", "reading", "display", but=("fix-error",))
@click.option("--sheet", metavar="OUT.html", help="Write the arrival sheet, to print and sign.")
@click.option("--call", metavar="TEXT", default="", help="Call sign on the sheet, such as Q1AAA.")
@click.option("--operator", metavar="TEXT", default="", help="Operator's name on the sheet.")
@click.option("--title", metavar="TEXT", default="", help="Title of the sheet.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    path: str,
    files: tuple[str, ...],
    sheet: str | None,
    call: str,
    operator: str,
    title: str,
    as_json: bool,
    **words: Any,
) -> int:
    """Say whether the place where you stand counts, from a recording made there.

    FIXES is an NMEA 0183 log or a GPX track, recorded while the receiver lay still at the station's centre;
    ten minutes or more. The recording tells its own 95 % error, which is taken as the fix error. Exit
    status: 0 when the place is firm, 1 when not, 2 for bad input.
    """
    import shlex
    import sys

    from scout.app.check import judge_recording
    from scout.app.outputs import check_page, check_targets
    from scout.app.sources import open_source
    from scout.io.write import write_file
    from scout.output.arrival import build_sheet_text, format_arrival, format_arrival_json
    from scout.recording.read import read_fixes

    settings = Settings(**words)
    check_page("sheet", sheet)
    check_targets([path, *files], [sheet] if sheet is not None else [])
    with show_progress() as show:
        show("reading the recording")
        fixes = read_fixes(path)
        source = open_source(settings.make_park_files(files), show)
        arrival, parks = judge_recording(fixes, source, settings)
        if sheet is not None:
            made_by = shlex.join(["scout", *sys.argv[1:]])
            text = build_sheet_text(
                arrival,
                parks,
                call=call,
                operator=operator,
                title=title,
                made_by=made_by,
                units=settings.units,
            )
            write_file(sheet, text)
    if as_json:
        click.echo(format_arrival_json(arrival))
    else:
        print_lines(format_arrival(arrival, settings.units))
    if sheet is not None:
        click.echo(f"Wrote {sheet}", err=as_json)
    return 0 if arrival.checked.verdict.word == "firm" else 1
