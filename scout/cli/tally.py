"""``scout tally``: what has been done, and what is still missing near home."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from scout.app.settings import OVER_0, PLACE, Settings
from scout.cli.lines import print_lines
from scout.cli.options import (
    HiddenFiles,
    KindType,
    ManyFiles,
    add_level_option,
    add_notebook_option,
    add_parks_option,
    add_settings,
)

if TYPE_CHECKING:
    from scout.model import BadVisit, Units
    from scout.visits.tally import Done, ParkReach, Year


_TOLD = 30  # parks listed; the rest is counted


@click.command("tally", cls=ManyFiles)
@click.argument("more_files", nargs=-1, cls=HiddenFiles)
@add_parks_option()
@add_notebook_option
@add_level_option
@click.option(
    "--home", type=KindType(PLACE), metavar="LAT,LON", help="Where distances count from; a locator will do."
)
@click.option(
    "--within", type=KindType(OVER_0), metavar="KM", help="How far what is missing may lie from home."
)
@click.option("--all", "everything", is_flag=True, help="List every park, and those that are done.")
@add_settings("reading", "display")
def command(
    more_files: tuple[str, ...],
    files: tuple[str, ...],
    notebook: str,
    level: str,
    home: str | None,
    within: float | None,
    everything: bool,
    **words: Any,
) -> int:
    """Count the grids, parks and pairs done, per year; with parks, say what is missing around home.

    A pair is one grid with one park. What is missing is counted over the area of each park within the
    radius; whether a station can stand there, scout find says. Exit status: 0, or 1 when nothing has been
    done.
    """
    from scout.errors import InputError
    from scout.geo.locator import get_level_number
    from scout.output.visits import format_left_out
    from scout.visits.notebook import Notebook
    from scout.visits.tally import collect_done, count_by_year

    number = get_level_number(level)
    files = (*more_files, *files)
    if bool(files) != (within is not None) or (within is not None and home is None):
        raise InputError(
            "tally", "what is missing needs parks, home and radius", "give --parks, --home and --within"
        )
    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    so_far = collect_done(visits, number)
    print_lines(_format_table(count_by_year(visits, number), so_far, len(visits), level))
    print_lines(format_left_out(left_out))
    settings = Settings(**words)
    if home is not None and within is not None:
        click.echo()
        reached = _read_reached(files, settings, so_far, home, within)
        print_lines(_format_missing(reached, so_far, within, everything=everything, units=settings.units))
    return 0 if so_far.grids or so_far.parks else 1


def _read_reached(
    files: Sequence[str], settings: Settings, so_far: Done, home: str, within: float
) -> tuple[ParkReach, ...]:
    from scout.app.sources import open_source
    from scout.cli.progress import show_progress
    from scout.geo.coordinates.parse import parse_place
    from scout.search.places import load_parks_near
    from scout.visits.tally import find_missing

    place = parse_place(home)
    with show_progress() as show:
        source = open_source(settings.make_park_files(files), show)
        parks = load_parks_near(source, place[0], place[1], 1010.0 * within)
        show("looking for what is missing")
        return find_missing(parks, so_far, place, within)


def _format_table(years: Sequence[Year], so_far: Done, visits: int, level: str) -> Iterator[str]:
    from scout.output.report import format_columns

    yield f"Done at {level} level (new: not done in a year before)"
    heads = ("year", "visits", "contacts", "grids", "parks", "pairs")
    rows: list[tuple[str, ...]] = []
    for year in years:
        counts = [
            f"{len(now)} ({len(new)} new)"
            for now, new in (
                (year.done.grids, year.new.grids),
                (year.done.parks, year.new.parks),
                (year.done.pairs, year.new.pairs),
            )
        ]
        rows.append((str(year.year), f"{year.visits:,}", f"{year.contacts:,}", *counts))
    every = (so_far.grids, so_far.parks, so_far.pairs)
    contacts = sum(year.contacts for year in years)
    rows.append(("all", f"{visits:,}", f"{contacts:,}", *(f"{len(some):,}" for some in every)))
    yield from format_columns(rows, heads)


def _format_missing(
    reached: Sequence[ParkReach], so_far: Done, within: float, *, everything: bool, units: Units = "metric"
) -> Iterator[str]:
    from scout.output.report import format_columns
    from scout.output.text import format_count, format_length, format_stated_length, name_park

    grids = {grid for reach in reached for grid in reach.grids}
    pairs = sum(len(reach.grids) for reach in reached)
    open_pairs = sum(len(reach.open_grids) for reach in reached)
    fresh = sum(not reach.visited for reach in reached)
    yield (
        f"Within {format_stated_length(1000 * within, units)}: {format_count(len(reached), 'park')}, "
        f"{fresh:,} not yet visited; they reach into {format_count(len(grids), 'grid')}, "
        f"{len(grids - so_far.grids):,} not yet done; {format_count(pairs, 'pair')}, "
        f"{open_pairs:,} missing."
    )
    shown = [reach for reach in reached if everything or reach.open_grids]
    most = len(shown) if everything else _TOLD
    rows = []
    for reach in shown[:most]:
        rows.append(
            (
                name_park(reach.park, reach.name),
                format_length(1000 * reach.distance_km, units),
                "visited" if reach.visited else "new",
                " ".join(grid + "*" * (grid not in so_far.grids) for grid in reach.open_grids) or "none",
            )
        )
    if shown:
        yield from format_columns(rows, ("park", "from home", "", "grids missing with it"))
        yield "* a grid not done in any park."
    if len(shown) > most:
        yield f"... and {len(shown) - most:,} more; --all lists them."
