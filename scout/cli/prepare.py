"""``scout prepare``: boundaries made ready once for many searches."""

from __future__ import annotations

import importlib.util
from typing import Any

import click

from scout.app.sources import open_source, take_park_files
from scout.cli.options import FILE, add_reading_options
from scout.cli.progress import show_progress
from scout.errors import InputError, OutputError


@click.command("prepare")
@click.argument("files", nargs=-1, required=True, metavar="FILE... OUT.parquet")
@add_reading_options
@click.option("--keep", multiple=True, type=FILE, metavar="C", help="Column to carry along; may come again.")
def command(files: tuple[str, ...], keep: tuple[str, ...], **words: Any) -> int:
    """Clean, repair, join and index boundary files once, for many quick searches.

    The last name is the file to write: GeoParquet, which this and other programs read. Searching it gives
    the same spots as searching the files themselves with the same options, and takes a fraction of the
    time. Exit status: 0 when it is written, 2 for bad input.
    """
    from scout.app.outputs import check_targets
    from scout.app.prepare import prepare_parks
    from scout.cli.tables import format_reading_report
    from scout.io.write import write_file
    from scout.model import ParkReport
    from scout.parks.sources import add_report_lines

    *sources, path = files
    if not sources:
        raise InputError(path, "is the only file named", "name the boundary files, then the file to write")
    if not path.lower().endswith((".parquet", ".geoparquet")):
        raise OutputError(path, "what is prepared is GeoParquet", "name it .parquet")
    if importlib.util.find_spec("pyarrow") is None:
        raise OutputError(path, "this needs pyarrow", "install it with: pip install lattice-scout[parquet]")
    check_targets(sources, [path])
    reports: list[ParkReport] = []
    with show_progress() as show:
        shelf = open_source(take_park_files(sources, keep, **words), show)
        write_file(path, prepare_parks(shelf, keep, show, reports.append))
    for line in format_reading_report(shelf.sources, add_report_lines(shelf.report, reports)):
        click.echo(line)
    click.echo(f"Wrote {path}")
    return 0
