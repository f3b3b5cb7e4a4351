"""``scout find``: the main job."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scout.cli.options import options_from, reading_options, search_options
from scout.cli.progress import progress

if TYPE_CHECKING:
    from scout.find import Options

__all__ = ["command", "run"]

_TABLE_ROWS = 20


@click.command("find")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@search_options
@reading_options
@click.option("--map", "map_path", metavar="OUT.html", help="Write the map: one file, needs no network.")
@click.option(
    "--save",
    "save_paths",
    multiple=True,
    metavar="OUT",
    help="Write the spots as .geojson or .csv; may come again.",
)
@click.option("--title", metavar="TEXT", default="", help="Title of the map.")
def command(
    files: tuple[str, ...],
    corridor: float | None,
    id_column: str | None,
    name_column: str | None,
    layer: str | None,
    crs: str | None,
    map_path: str | None,
    save_paths: tuple[str, ...],
    title: str,
    **search: Any,
) -> int:
    """Find and rank the spots where several grids and parks meet.

    FILE is a boundary file: GeoJSON, GeoPackage, Shapefile (plain or zipped), FlatGeobuf, GeoParquet, KML
    or KMZ. Exit status: 0 when something was found, 1 when nothing was, 2 for bad input.
    """
    options = options_from(**search)
    reading = {"layer": layer, "assume_crs": crs}
    building = {"corridor_m": corridor, "id_column": id_column, "name_column": name_column}
    return run(files, options, reading, building, map_path, save_paths, title)


def run(
    files: Sequence[str | Path],
    options: Options,
    reading: Mapping[str, Any],
    building: Mapping[str, Any],
    map_path: str | None,
    save_paths: Sequence[str],
    title: str,
) -> int:
    """Read, search, write and print; gives the exit status."""
    from scout.cli.outputs import check_outputs, outputs, write_all
    from scout.cli.tables import ranking, reading_report
    from scout.find import find
    from scout.parks import build_parks
    from scout.read import read_layers

    check_outputs(files, map_path, save_paths)
    with progress() as show:
        layers = read_layers(files, progress=show, **reading)
        parks = build_parks(layers, **building)
        findings = find(parks, options, show)
        made_by = shlex.join(["scout", *sys.argv[1:]])
        written = outputs(findings, map_path, save_paths, title, made_by)
        write_all(written)
    for line in reading_report(findings.sources, findings.report):
        click.echo(line)
    click.echo()
    for line in ranking(findings, options.top or _TABLE_ROWS):
        click.echo(line)
    for path in written:
        click.echo(f"Wrote {path}")
    return 0 if findings.spots else 1
