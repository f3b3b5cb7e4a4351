"""``scout find``: the main job; ``scout demo``: the same on the invented island that comes with scout."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from scout.app.outing import Outing, find_demo_outing, load_outing
from scout.app.request import SearchRequest, make_request, search
from scout.app.settings import Settings
from scout.cli.lines import is_on_terminal, print_answer
from scout.cli.options import (
    HiddenFiles,
    ManyFiles,
    add_outing_option,
    add_parks_option,
    add_settings,
    require_files,
)
from scout.cli.progress import show_progress

_TABLE_ROWS, _SCREEN_ROWS = 20, 10  # in a pipe, and where a row may take four lines


@click.command("find", cls=ManyFiles)
@click.argument("more_files", nargs=-1, cls=HiddenFiles)
@add_parks_option()
@add_outing_option
@add_settings("station", "search", "reading", "access", "sight", "spread", "output", "display")
def find(more_files: tuple[str, ...], files: tuple[str, ...], outing: Outing, **words: Any) -> int:
    """Find and rank the spots where several grids and parks meet.

    Boundary files are GeoJSON (also as a sequence), GeoPackage, Shapefile or Esri file geodatabase (plain or
    zipped), FlatGeobuf, GeoParquet, KML, KMZ, EsriJSON, TopoJSON, GML, MapInfo or CSV with WKT, given with
    --parks or in an outing file. Access and barrier files may be OpenStreetMap data too (.osm, .osm.pbf).
    Exit status: 0 when something was found, 1 when nothing was, 2 for bad input.
    """
    files = (*more_files, *files) or outing.parks
    require_files(files)
    return _run_search(SearchRequest(files, Settings(**words), outing))


@click.command("demo")
def demo() -> int:
    """Search the demo island and write maps/demo.html.

    The island, its parks and their references are invented.
    """
    target = Path("maps", "demo.html")
    target.parent.mkdir(exist_ok=True)
    request = make_request(load_outing(str(find_demo_outing())))
    settings = replace(request.settings, map_path=str(target))
    if importlib.util.find_spec("rasterio") is None:
        settings = replace(settings, heights=())
        click.echo("The extra named heights is not installed: the walks are timed as on level ground.")
    status = _run_search(replace(request, settings=settings))
    click.echo(f"Open the map in a browser: {target.absolute().as_uri()}")
    return status


def _run_search(request: SearchRequest) -> int:
    """Read, search, write and print; gives the exit status."""
    from scout.app.find import cut_to_best
    from scout.app.outputs import check_outputs, date_findings, make_outputs, status_of, write_outputs
    from scout.output.report import format_ranking, format_reading_report, format_surroundings

    wanted = request.settings
    check_outputs(request.files, wanted.map_path, wanted.save_paths, listed_only=wanted.save_listed)
    with show_progress() as show:
        everything = date_findings(search(request, show))
        listed = everything if wanted.top is None else cut_to_best(everything, wanted.top)
        show("writing")
        kept = listed if wanted.save_listed else everything
        written, failed = write_outputs(make_outputs(kept, listed, wanted.map_path, wanted.save_paths))
    reading = [*format_reading_report(listed.sources, listed.report, listed.units)]
    if listed.surroundings is not None:
        reading += format_surroundings(listed.surroundings)
    ranking = format_ranking(listed, wanted.top or (_SCREEN_ROWS if is_on_terminal() else _TABLE_ROWS))
    print_answer(ranking, written, reading)
    return status_of(0 if listed.spots else 1, failed)
