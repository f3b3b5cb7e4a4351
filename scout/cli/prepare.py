"""``scout prepare``: boundaries made ready once for many searches."""

from __future__ import annotations

import importlib.util
from typing import Any

import click

from scout.cli.kinds import FILE
from scout.cli.options import reading_options
from scout.cli.progress import progress
from scout.cli.sources import park_files, shelf_from
from scout.errors import InputError, OutputError

__all__ = ["command"]


@click.command("prepare")
@click.argument("files", nargs=-1, required=True, metavar="FILE... OUT.parquet")
@reading_options
@click.option("--keep", multiple=True, type=FILE, metavar="C", help="Column to carry along; may come again.")
def command(files: tuple[str, ...], keep: tuple[str, ...], **words: Any) -> int:
    """Clean, repair, join and index boundary files once, for many quick searches.

    The last name is the file to write: GeoParquet, which this and other programs read. Searching it gives
    the same spots as searching the files themselves with the same options, and takes a fraction of the
    time. Exit status: 0 when it is written, 2 for bad input.
    """
    from scout.cli.outputs import check_targets
    from scout.cli.tables import reading_report
    from scout.model import ParkReport
    from scout.parks.shelf import with_lines
    from scout.prepare import prepared
    from scout.write import write_file

    *sources, path = files
    if not sources:
        raise InputError(path, "is the only file named", "name the boundary files, then the file to write")
    if not path.lower().endswith((".parquet", ".geoparquet")):
        raise OutputError(path, "what is prepared is GeoParquet", "name it .parquet")
    if importlib.util.find_spec("pyarrow") is None:
        raise OutputError(path, "this needs pyarrow", "install it with: pip install lattice-scout[parquet]")
    check_targets(sources, [path])
    reports: list[ParkReport] = []
    with progress() as show:
        shelf = shelf_from(park_files(sources, keep, **words), show)
        write_file(path, prepared(shelf, keep, show, reports.append))
    for line in reading_report(shelf.sources, with_lines(shelf.report, reports)):
        click.echo(line)
    click.echo(f"Wrote {path}")
    return 0
