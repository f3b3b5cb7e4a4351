"""``scout check``: planned places judged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import click

from scout.app.settings import Settings
from scout.cli.lines import print_lines
from scout.cli.options import ManyFiles, add_parks_option, add_settings, refuse_options
from scout.cli.progress import show_progress

if TYPE_CHECKING:
    from scout.model import Checked


_SHOWN_IN_FULL = 20  # places shown in full; more are a line each


@click.command("check", cls=ManyFiles, context_settings={"ignore_unknown_options": True})
@click.argument("places", nargs=-1, metavar="PLACE...", type=click.UNPROCESSED, callback=refuse_options)
@add_parks_option(required=True)
@click.option("--from", "list_path", metavar="FILE", help="Places of a .csv, .gpx or .geojson file.")
@add_settings("station", "reading", "display")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--map", "map_path", metavar="OUT.html", help="Write a map of the places.")
def command(
    places: tuple[str, ...],
    files: tuple[str, ...],
    list_path: str | None,
    as_json: bool,
    map_path: str | None,
    **words: Any,
) -> int:
    """Say whether planned places count, for which grids and parks, and how to put them right.

    PLACE is decimal degrees (45.12,-89.45), degrees and minutes (45 07.2 N 89 27.0 W), degrees, minutes and
    seconds, a locator, a geo: URI, ISO 6709, UTM or MGRS. A locator stands for its whole cell. Exit status:
    0 when all places are firm, 1 when not, 2 for bad input.
    """
    from scout.app.check import judge_planned, load_parks_around, make_checked_findings, read_planned
    from scout.app.find import cut_to_best
    from scout.app.outputs import MAP_SPOTS, check_page, check_targets, date_findings
    from scout.app.sources import open_source
    from scout.io.write import write_file
    from scout.output.report import format_answers, format_json_lines

    settings = Settings(**words)
    station, number = settings.station, settings.level_number
    check_page("map", map_path)
    check_targets(files, [map_path] if map_path else [])
    planned = read_planned(places, list_path)
    with show_progress() as show:
        parks = load_parks_around(open_source(settings.make_park_files(files), show), planned)
        results = judge_planned(parks, planned, number, station, show)
        verdicts: list[str] = []
        kept: list[Checked] = []
        if as_json and map_path is None:  # as they come: there may be a hundred thousand
            for line in format_json_lines(planned, _note_verdicts(results, verdicts)):
                click.echo(line)
        else:
            kept = list(_note_verdicts(results, verdicts))
        if map_path is not None:
            from scout.page.document import build_map

            findings = date_findings(make_checked_findings(parks, planned, kept, settings))
            write_file(map_path, build_map(cut_to_best(findings, MAP_SPOTS)))
    if kept and as_json:
        for line in format_json_lines(planned, kept):
            click.echo(line)
    elif kept:
        in_full = len(planned) <= _SHOWN_IN_FULL
        print_lines(format_answers(planned, kept, number, station, in_full=in_full, units=settings.units))
        if map_path is not None:
            click.echo(f"Wrote {map_path}")
    return 0 if all(word == "firm" for word in verdicts) else 1


def _note_verdicts(results: Iterable[Checked], words: list[str]) -> Iterator[Checked]:
    """The results as they come, with their verdicts noted."""
    for result in results:
        words.append(result.verdict.word)
        yield result
