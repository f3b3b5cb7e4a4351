"""``scout tally``: what has been done, and what is still missing near home."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from scout.app.sources import open_source, take_park_files
from scout.cli import options
from scout.cli.options import add_reading_options
from scout.cli.visit import add_level_option, add_notebook_option

if TYPE_CHECKING:
    from scout.model import BadVisit
    from scout.visits.tally import Done, ParkReach, Year


_TOLD = 30  # parks listed; the rest is counted


@click.command("tally")
@click.argument("files", nargs=-1, metavar="[FILE]...")
@add_notebook_option
@add_level_option
@click.option(
    "--home", type=options.PLACE, metavar="LAT,LON", help="Where distances count from; a locator will do."
)
@click.option(
    "--within", type=options.OVER_0, metavar="KM", help="How far what is missing may lie from home."
)
@click.option("--all", "everything", is_flag=True, help="List every park, and those that are done.")
@add_reading_options
def command(
    files: tuple[str, ...],
    notebook: str,
    level: str,
    home: str | None,
    within: float | None,
    everything: bool,
    **reading: Any,
) -> int:
    """Count the grids, parks and pairs done, per year; with parks, say what is missing around home.

    FILE is a boundary file as for scout find. A pair is one grid with one park. What is missing is counted
    over the ground of each park within the radius; whether a station can stand there, scout find says.
    Exit status: 0, or 1 when nothing has been done.
    """
    from scout.cli.visit import told_left_out
    from scout.errors import InputError
    from scout.geo.locator import get_level_number
    from scout.visits.notebook import Notebook
    from scout.visits.tally import collect_done, count_by_year

    number = get_level_number(level)
    if bool(files) != (within is not None) or (within is not None and home is None):
        raise InputError("tally", "what is missing needs parks, home and radius", "give FILE --home --within")
    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    so_far = collect_done(visits, number)
    for line in _format_table(count_by_year(visits, number), so_far, len(visits), level):
        click.echo(line)
    for line in told_left_out(left_out):
        click.echo(line)
    if home is not None and within is not None:
        click.echo()
        for line in _format_missing(
            _read_reached(files, reading, so_far, home, within), so_far, within, everything
        ):
            click.echo(line)
    return 0 if so_far.grids or so_far.parks else 1


def _read_reached(
    files: Sequence[str], reading: dict[str, Any], so_far: Done, home: str, within: float
) -> tuple[ParkReach, ...]:
    from scout.cli.progress import show_progress
    from scout.geo.coordinates.parse import parse_place
    from scout.search.places import load_parks_near
    from scout.visits.tally import find_missing

    place = parse_place(home)
    with show_progress() as show:
        shelf = open_source(take_park_files(files, **reading), show)
        parks = load_parks_near(shelf, place[0], place[1], 1010.0 * within)
        show("looking for what is missing")
        return find_missing(parks, so_far, place, within)


def _format_table(years: Sequence[Year], so_far: Done, visits: int, level: str) -> Iterator[str]:
    from scout.cli.tables import format_columns

    yield f"Done at {level} level (new: not done in a year before)"
    rows: list[tuple[str, ...]] = [("year", "visits", "contacts", "grids", "parks", "pairs")]
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
    yield from format_columns(rows)


def _format_missing(
    reached: Sequence[ParkReach], so_far: Done, within: float, everything: bool
) -> Iterator[str]:
    from scout.cli.tables import format_columns
    from scout.errors import make_printable

    grids = {grid for reach in reached for grid in reach.grids}
    pairs = sum(len(reach.grids) for reach in reached)
    open_pairs = sum(len(reach.open_grids) for reach in reached)
    fresh = sum(not reach.visited for reach in reached)
    yield (
        f"Within {within:g} km: {len(reached):,} parks, {fresh:,} not yet visited; they reach into "
        f"{len(grids):,} grids, {len(grids - so_far.grids):,} not yet done; {pairs:,} pairs, "
        f"{open_pairs:,} missing."
    )
    shown = [reach for reach in reached if everything or reach.open_grids]
    most = len(shown) if everything else _TOLD
    rows = [("park", "from home", "", "grids missing with it")]
    for reach in shown[:most]:
        rows.append(
            (
                f"{reach.name} ({reach.park})" if reach.name else reach.park,
                f"{reach.distance_km:.1f} km",
                "visited" if reach.visited else "new",
                " ".join(grid + "*" * (grid not in so_far.grids) for grid in reach.open_grids) or "none",
            )
        )
    if shown:
        yield from format_columns([tuple(make_printable(cell) for cell in row) for row in rows])
        yield "* a grid not done in any park."
    if len(shown) > most:
        yield f"... and {len(shown) - most:,} more; --all lists them."
