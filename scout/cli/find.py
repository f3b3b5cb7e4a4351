"""``scout find``: the main job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scout.cli.options import options_from, reading_options, search_options, station_from, station_options
from scout.cli.progress import progress

if TYPE_CHECKING:
    from scout.find import Options

__all__ = ["Wanted", "command", "run"]

_TABLE_ROWS = 20


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to come out of a search."""

    map_path: str | None = None
    save_paths: tuple[str, ...] = ()
    top: int | None = None
    save_listed: bool = False
    title: str = ""


@click.command("find")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@station_options
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
@click.option("--top", type=click.IntRange(min=1), metavar="N", help="List only the best N; all are saved.")
@click.option("--save-listed", is_flag=True, help="Save only what --top lists.")
@click.option("--title", metavar="TEXT", default="", help="Title of the map.")
def command(
    files: tuple[str, ...],
    station_radius: float,
    fix_error: float,
    boundary_error: float,
    corridor: float | None,
    id_column: str | None,
    name_column: str | None,
    layer: str | None,
    crs: str | None,
    map_path: str | None,
    save_paths: tuple[str, ...],
    top: int | None,
    save_listed: bool,
    title: str,
    **search: Any,
) -> int:
    """Find and rank the spots where several grids and parks meet.

    FILE is a boundary file: GeoJSON, GeoPackage, Shapefile (plain or zipped), FlatGeobuf, GeoParquet, KML
    or KMZ. Exit status: 0 when something was found, 1 when nothing was, 2 for bad input.
    """
    station = station_from(station_radius, fix_error, boundary_error)
    options = options_from(station=station, **search)
    reading = {"layer": layer, "assume_crs": crs}
    building = {"corridor_m": corridor, "id_column": id_column, "name_column": name_column}
    wanted = Wanted(map_path, save_paths, top, save_listed, title)
    return run(files, options, reading, building, wanted)


def run(
    files: Sequence[str | Path],
    options: Options,
    reading: Mapping[str, Any],
    building: Mapping[str, Any],
    wanted: Wanted,
) -> int:
    """Read, search, write and print; gives the exit status."""
    from scout.cli.outputs import check_outputs, dated, outputs, write_all
    from scout.cli.tables import ranking, reading_report
    from scout.find import best, find
    from scout.parks import build_parks
    from scout.read import read_layers

    check_outputs(files, wanted.map_path, wanted.save_paths)
    with progress() as show:
        layers = read_layers(files, progress=show, **reading)
        parks = build_parks(layers, **building)
        everything = dated(find(parks, options, show), wanted.title)
        listed = everything if wanted.top is None else best(everything, wanted.top)
        show("writing")
        saved = listed if wanted.save_listed else everything
        written = outputs(saved, listed, wanted.map_path, wanted.save_paths)
        write_all(written)
    for line in reading_report(listed.sources, listed.report):
        click.echo(line)
    click.echo()
    for line in ranking(listed, wanted.top or _TABLE_ROWS):
        click.echo(line)
    for path in written:
        click.echo(f"Wrote {path}")
    return 0 if listed.spots else 1
