"""``scout prepare``: boundaries made ready once for many searches."""

from __future__ import annotations

import importlib.util
from typing import Any

import click

from scout.app.settings import File, Settings
from scout.cli.lines import print_lines
from scout.cli.options import (
    HiddenFiles,
    KindType,
    ManyFiles,
    add_parks_option,
    add_settings,
    require_files,
)
from scout.cli.progress import show_progress
from scout.errors import InputError, OutputError


@click.command("prepare", cls=ManyFiles)
@click.argument("more_files", nargs=-1, cls=HiddenFiles)
@add_parks_option()
@click.option("--out", "path", metavar="OUT.parquet", help="The file to write.")
@add_settings("reading")
@click.option(
    "--keep", multiple=True, type=KindType(File()), metavar="C", help="Column to carry along; may come again."
)
def command(
    more_files: tuple[str, ...], files: tuple[str, ...], path: str | None, keep: tuple[str, ...], **words: Any
) -> int:
    """Clean, repair, join and index boundary files once, for many quick searches.

    What is written is GeoParquet, which this and other programs read. Searching it gives the same spots as
    searching the files themselves with the same options, and takes a fraction of the time. Exit status: 0
    when it is written, 2 for bad input.
    """
    from scout.app.outputs import check_targets
    from scout.app.prepare import prepare_parks
    from scout.app.sources import open_source
    from scout.io.write import write_file
    from scout.model import ParkReport
    from scout.output.report import format_reading_report
    from scout.parks.sources import add_report_lines

    if path is None and len(more_files) > 1:  # as up to version 0.1: the last name is the one to write
        *more_files, path = more_files  # type: ignore[assignment]
    if path is None:
        raise InputError("--out", "no file to write is named", "add --out OUT.parquet")
    files = (*more_files, *files)
    require_files(files, "add --parks FILE")
    if not path.lower().endswith((".parquet", ".geoparquet")):
        raise OutputError(path, "what is prepared is GeoParquet", "name it .parquet")
    if importlib.util.find_spec("pyarrow") is None:
        raise OutputError(path, "this needs pyarrow", "install it with: pip install lattice-scout[parquet]")
    check_targets(files, [path])
    reports: list[ParkReport] = []
    with show_progress() as show:
        reading = Settings(**words).make_park_files(files, keep)
        source = open_source(reading, show)
        write_file(path, prepare_parks(source, reading, show, reports.append))
    print_lines(format_reading_report(source.sources, add_report_lines(source.report, reports)))
    click.echo(f"Wrote {path}")
    return 0
