"""``scout check``: planned places judged."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from scout.app.sources import ParkFiles, open_source, take_park_files
from scout.cli.options import FilesOption, ManyFiles, add_reading_options, add_station_options, make_station
from scout.cli.progress import show_progress

if TYPE_CHECKING:
    from scout.io.places import NamedPlace
    from scout.model import Checked, Parks, Station


_TOLD = 20  # places told in full; more are a line each


@click.command("check", cls=ManyFiles, context_settings={"ignore_unknown_options": True})
@click.argument("places", nargs=-1, metavar="PLACE...", type=click.UNPROCESSED)
@click.option("--parks", "files", cls=FilesOption, required=True, help="Boundary files.")
@click.option("--from", "list_path", metavar="FILE", help="Places of a .csv, .gpx or .geojson file.")
@add_station_options
@add_reading_options
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--map", "map_path", metavar="OUT.html", help="Write a map of the places.")
def command(
    places: tuple[str, ...],
    files: tuple[str, ...],
    list_path: str | None,
    level: str,
    station_radius: float,
    fix_error: float,
    boundary_error: float,
    as_json: bool,
    map_path: str | None,
    **reading: Any,
) -> int:
    """Say whether planned places count, for which grids and parks, and how to put them right.

    PLACE is decimal degrees (45.12,-89.45), degrees and minutes (45 07.2 N 89 27.0 W), degrees, minutes and
    seconds, a locator, a geo: URI, ISO 6709, UTM or MGRS. A locator stands for its whole cell. Exit status:
    0 when all places are firm, 1 when not, 2 for bad input.
    """
    from scout.app.check import judge_planned
    from scout.app.outputs import check_page, check_targets
    from scout.cli.tables import format_answers, format_json_lines
    from scout.geo.locator import get_level_number
    from scout.io.write import write_file

    station = make_station(station_radius, fix_error, boundary_error)
    number = get_level_number(level)
    check_page("--map", map_path)
    check_targets(files, [map_path] if map_path else [])
    planned = read_planned(places, list_path)
    with show_progress() as show:
        parks = _load_parks_around(take_park_files(files, **reading), planned, show)
        results = judge_planned(parks, planned, number, station, show)
        words: list[str] = []
        kept: list[Checked] = []
        if as_json and map_path is None:  # as they come: there may be a hundred thousand
            for line in format_json_lines(planned, _note_verdicts(results, words)):
                click.echo(line)
        else:
            kept = list(_note_verdicts(results, words))
        if map_path is not None:
            write_file(map_path, _build_check_map(parks, planned, kept, number, station))
    if kept and as_json:
        for line in format_json_lines(planned, kept):
            click.echo(line)
    elif kept:
        for line in format_answers(planned, kept, number, station, in_full=len(planned) <= _TOLD):
            click.echo(line)
        if map_path is not None:
            click.echo(f"Wrote {map_path}")
    return 0 if all(word == "firm" for word in words) else 1


def _load_parks_around(
    sources: ParkFiles, planned: Sequence[NamedPlace], show: Callable[[str], None]
) -> Parks:
    """The parks of the boundary files that planned places could have to do with."""
    from scout.search.check import CheckOptions
    from scout.search.places import load_parks_near

    lon, lat = [place.lon for place in planned], [place.lat for place in planned]
    return load_parks_near(
        open_source(sources, show), lon, lat, CheckOptions().near_m, [place.cell for place in planned]
    )


def _build_check_map(
    parks: Parks, planned: Sequence[NamedPlace], results: Sequence[Checked], level: int, station: Station
) -> str:
    """A page of the places, the first thousand of them."""
    from scout.app.find import cut_to_best
    from scout.app.outputs import MAP_SPOTS, add_particulars
    from scout.page.document import build_map
    from scout.search.check import CheckOptions, make_findings

    names = [place.name for place in planned]
    findings = make_findings(parks, names, results, CheckOptions(level, station))
    return build_map(cut_to_best(add_particulars(findings, "Places checked"), MAP_SPOTS))


def _note_verdicts(results: Iterable[Checked], words: list[str]) -> Iterator[Checked]:
    """The results as they come, with their verdicts noted."""
    for result in results:
        words.append(result.verdict.word)
        yield result


def read_planned(places: Sequence[str], list_path: str | None = None) -> list[NamedPlace]:
    """Places as they were written, and those of a file."""
    from scout.errors import InputError
    from scout.geo.coordinates.parse import read_place
    from scout.io.places import NamedPlace, read_places

    planned = []
    for text in places:
        place = read_place(text)
        planned.append(
            NamedPlace(text, place.lon, place.lat, place.understood, place.cell, place.uncertainty_m)
        )
    if list_path is not None:
        planned += read_places(list_path)
    if not planned:
        raise InputError("check", "no place is given", "add a PLACE, or --from a file of them")
    return planned
