"""``scout check``: planned places judged."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from scout.cli.options import FilesOption, ManyFiles, reading_options, station_from, station_options
from scout.cli.progress import progress
from scout.cli.sources import ParkFiles, park_files, shelf_from

if TYPE_CHECKING:
    from scout.model import Checked, Parks, Station
    from scout.read.places import NamedPlace

__all__ = ["command", "judged", "planned_from"]

_TOLD = 20  # places told in full; more are a line each
_MOVES = 2000  # places for which the better centre is worked out


@click.command("check", cls=ManyFiles, context_settings={"ignore_unknown_options": True})
@click.argument("places", nargs=-1, metavar="PLACE...", type=click.UNPROCESSED)
@click.option("--parks", "files", cls=FilesOption, required=True, help="Boundary files.")
@click.option("--from", "list_path", metavar="FILE", help="Places of a .csv, .gpx or .geojson file.")
@station_options
@reading_options
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
    from scout.cli.answers import json_lines, told
    from scout.cli.outputs import check_page, check_targets
    from scout.locator import level_number
    from scout.write import write_file

    station = station_from(station_radius, fix_error, boundary_error)
    number = level_number(level)
    check_page("--map", map_path)
    check_targets(files, [map_path] if map_path else [])
    planned = planned_from(places, list_path)
    with progress() as show:
        parks = _parks_around(park_files(files, **reading), planned, show)
        results = judged(parks, planned, number, station, show)
        words: list[str] = []
        kept: list[Checked] = []
        if as_json and map_path is None:  # as they come: there may be a hundred thousand
            for line in json_lines(planned, _noted(results, words)):
                click.echo(line)
        else:
            kept = list(_noted(results, words))
        if map_path is not None:
            write_file(map_path, _map(parks, planned, kept, number, station))
    if kept and as_json:
        for line in json_lines(planned, kept):
            click.echo(line)
    elif kept:
        for line in told(planned, kept, number, station, in_full=len(planned) <= _TOLD):
            click.echo(line)
        if map_path is not None:
            click.echo(f"Wrote {map_path}")
    return 0 if all(word == "firm" for word in words) else 1


def _parks_around(sources: ParkFiles, planned: Sequence[NamedPlace], show: Callable[[str], None]) -> Parks:
    """The parks of the boundary files that planned places could have to do with."""
    from scout.check import Check
    from scout.check.near import parks_near

    lon, lat = [place.lon for place in planned], [place.lat for place in planned]
    return parks_near(shelf_from(sources, show), lon, lat, Check().near_m, [place.cell for place in planned])


def _map(
    parks: Parks, planned: Sequence[NamedPlace], results: Sequence[Checked], level: int, station: Station
) -> str:
    """A page of the places, the first thousand of them."""
    from scout.check import Check
    from scout.check.findings import as_findings
    from scout.cli.outputs import MAP_SPOTS, dated
    from scout.find import best
    from scout.page import build

    names = [place.name for place in planned]
    findings = as_findings(parks, names, results, Check(level, station))
    return build(best(dated(findings, "Places checked"), MAP_SPOTS))


def _noted(results: Iterable[Checked], words: list[str]) -> Iterator[Checked]:
    """The results as they come, with their verdicts noted."""
    for result in results:
        words.append(result.verdict.word)
        yield result


def planned_from(places: Sequence[str], list_path: str | None = None) -> list[NamedPlace]:
    """Places as they were written, and those of a file."""
    from scout.coordinates import read_place
    from scout.errors import InputError
    from scout.read.places import NamedPlace, read_places

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


def judged(
    parks: Parks, planned: Sequence[NamedPlace], level: int, station: Station, show: Callable[[str], None]
) -> Iterator[Checked]:
    """Answers in the order of the places; one that states its own uncertainty is judged with that."""
    from dataclasses import replace

    from scout.check import Check, check

    groups: dict[float, list[int]] = {}
    for row, place in enumerate(planned):
        groups.setdefault(max(station.fix_error_m, place.uncertainty_m or 0.0), []).append(row)
    found: dict[int, Checked] = {}
    for error, rows in groups.items():
        options = Check(level, replace(station, fix_error_m=error), moves=len(planned) <= _MOVES)
        lon, lat = [planned[r].lon for r in rows], [planned[r].lat for r in rows]
        some = check(parks, lon, lat, options, [planned[r].cell for r in rows], show)
        if len(groups) == 1:
            yield from some
            return
        found.update(zip(rows, some, strict=True))
    yield from (found[row] for row in range(len(planned)))
