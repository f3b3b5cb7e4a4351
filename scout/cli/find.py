"""``scout find``: the main job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from scout.app.sources import AccessFiles, ParkFiles, search_files, take_access_files, take_park_files
from scout.cli.options import (
    FILE,
    ManyFiles,
    add_access_options,
    add_reading_options,
    add_search_options,
    add_spread_options,
    add_station_options,
    make_options,
    make_station,
)
from scout.cli.outing import add_outing_option
from scout.cli.progress import show_progress
from scout.errors import InputError

if TYPE_CHECKING:
    from scout.app.find import SearchOptions
    from scout.app.outing import Outing
    from scout.model import Credit


_TABLE_ROWS = 20
_BEFORE = "name them before the options, or as parks in an --outing file"


@dataclass(frozen=True, slots=True)
class WantedOutputs:
    """What is to come out of a search."""

    map_path: str | None = None
    save_paths: tuple[str, ...] = ()
    top: int | None = None
    save_listed: bool = False
    title: str = ""
    author: str = ""
    credits: tuple[Credit, ...] = ()
    untouched: tuple[str, ...] = ()  # files beside the data that no output may overwrite


@click.command("find", cls=ManyFiles)
@click.argument("files", nargs=-1, metavar="[FILE...]")
@add_outing_option
@add_station_options
@add_search_options
@add_reading_options
@add_access_options
@add_spread_options
@click.option(
    "--map", "map_path", type=FILE, metavar="OUT.html", help="Write the map: one file, needs no network."
)
@click.option(
    "--save",
    "save_paths",
    type=FILE,
    multiple=True,
    metavar="OUT",
    help="Write the spots as .geojson, .csv, .gpx, .kml, .kmz or .gpkg; may come again.",
)
@click.option("--top", type=click.IntRange(min=1), metavar="N", help="List only the best N; all are saved.")
@click.option("--save-listed", is_flag=True, help="Save only what --top lists.")
@click.option("--title", metavar="TEXT", default="", help="Title of the map.")
def command(
    files: tuple[str, ...],
    outing: Outing,
    station_radius: float,
    fix_error: float,
    boundary_error: float,
    map_path: str | None,
    save_paths: tuple[str, ...],
    top: int | None,
    save_listed: bool,
    title: str,
    workers: int | None,
    cluster: str | None,
    **words: Any,
) -> int:
    """Find and rank the spots where several grids and parks meet.

    FILE is a boundary file: GeoJSON, GeoPackage, Shapefile (plain or zipped), FlatGeobuf, GeoParquet, KML
    or KMZ; name them before the options, or in an outing file. Access and barrier files may be OpenStreetMap
    data too (.osm, .osm.pbf). Exit status: 0 when something was found, 1 when nothing was, 2 for bad input.
    """
    files = files or outing.parks
    if not files:
        raise InputError("find", "no boundary files are named", _BEFORE)
    options = make_options(station=make_station(station_radius, fix_error, boundary_error), **words)
    beside = (outing.where,) if outing.where else ()
    wanted = WantedOutputs(
        map_path, save_paths, top, save_listed, title, outing.author, outing.credits, beside
    )
    parks, access = take_park_files(files, outing.show, **words), take_access_files(outing.tags, **words)
    return run_search(parks, options, access, wanted, (cluster, workers))


def run_search(
    parks: ParkFiles,
    options: SearchOptions,
    access: AccessFiles,
    wanted: WantedOutputs,
    spread: tuple[str | None, int | None] = (None, None),
) -> int:
    """Read, search, write and print; gives the exit status. ``spread`` is a cluster's address or workers."""
    from scout.app.find import cut_to_best
    from scout.app.outputs import add_particulars, check_outputs, make_outputs, saved, status_of
    from scout.cli.tables import format_ranking, format_reading_report, format_surroundings

    inputs = (*parks.files, *access.files, *wanted.untouched)
    check_outputs(inputs, wanted.map_path, wanted.save_paths, listed_only=wanted.save_listed)
    with show_progress() as show:
        found = search_files(parks, options, access, show, *spread)
        everything = add_particulars(found, wanted.title, wanted.author, wanted.credits)
        listed = everything if wanted.top is None else cut_to_best(everything, wanted.top)
        show("writing")
        kept = listed if wanted.save_listed else everything
        written, failed = saved(make_outputs(kept, listed, wanted.map_path, wanted.save_paths))
    for line in format_reading_report(listed.sources, listed.report):
        click.echo(line)
    if listed.surroundings is not None:
        for line in format_surroundings(listed.surroundings):
            click.echo(line)
    click.echo()
    for line in format_ranking(listed, wanted.top or _TABLE_ROWS):
        click.echo(line)
    for path in written:
        click.echo(f"Wrote {path}")
    return status_of(0 if listed.spots else 1, failed)
