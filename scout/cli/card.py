"""``scout card``: one spot on a sheet for the operating table."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from scout.app.sources import AccessFiles, ParkFiles, search_files, take_access_files, take_park_files
from scout.cli.options import (
    FILE,
    FilesOption,
    ManyFiles,
    add_access_options,
    add_reading_options,
    add_search_options,
    add_station_options,
    make_options,
    make_station,
)
from scout.cli.outing import add_outing_option
from scout.cli.progress import show_progress
from scout.errors import InputError, make_printable

if TYPE_CHECKING:
    from scout.app.find import SearchOptions
    from scout.app.outing import Outing
    from scout.model import Findings, Ranked
    from scout.output.card import CardParticulars


_CARD = (
    click.option("--parks", "files", cls=FilesOption, help="Boundary files."),
    add_outing_option,
    click.option("--call", metavar="CALL", default="", help="Operator's call sign, such as Q1AAA/P."),
    click.option("--club-call", metavar="CALL", default="", help="Call of a club or event, beside it."),
    click.option("--date", "day", metavar="DATE", help="Day of the outing, for the Sun: 2026-06-21."),
    click.option("--zone", metavar="ZONE", help="Local time: Pacific/Auckland or -07:00; UTC alone if not."),
    click.option("--title", metavar="TEXT", default="", help="Title of the map."),
    add_station_options,
    add_search_options,
    add_reading_options,
    add_access_options,
)


class CardInputs(NamedTuple):
    """What a search is made of, and what is said of its result."""

    parks: ParkFiles
    options: SearchOptions
    access: AccessFiles
    title: str
    outing: Outing

    @property
    def files(self) -> tuple[str, ...]:
        """Everything that is read, which no output may overwrite."""
        beside = (self.outing.where,) if self.outing.where else ()
        return (*self.parks.files, *self.access.files, *beside)


def add_card_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command, whose class is `ManyFiles`, the options of a search and of a card."""
    for option in reversed(_CARD):
        function = option(function)
    return function


@click.command("card", cls=ManyFiles)
@click.argument("rank", metavar="SPOT", type=click.IntRange(min=1))
@click.option("--out", "path", type=FILE, required=True, metavar="OUT.html", help="Where the card goes.")
@add_card_options
def command(rank: int, path: str, **words: Any) -> int:
    """Write the card of one spot: a page that prints on both sides of one sheet.

    SPOT is the spot's number in the list of scout find with the same options: the search is made again. The
    front is to be read across a table: calls, locators, parks. The back holds where to stand, margins, the
    way, the Sun, a QR code of the place, lines for an emergency, cautions.
    """
    from scout.app.outputs import check_page, check_targets
    from scout.io.write import write_file
    from scout.output.card import build_card, choose_spot

    check_page("--out", path)
    inputs, said = read_inputs(**words), read_particulars(words)
    check_targets(inputs.files, [path])
    findings = search_again(inputs)
    write_file(path, build_card(findings, rank, said))
    show_remarks(findings)
    click.echo(format_choice(choose_spot(findings, rank)))
    click.echo(f"Wrote {path}")
    return 0


def read_particulars(words: Mapping[str, Any]) -> CardParticulars:
    """Checked particulars of a card from the words of a command line."""
    from datetime import date

    from scout.output.card import CardParticulars, check_call_sign
    from scout.output.sun import FIRST_YEAR, LAST_YEAR, parse_zone

    day: date | None = None
    if words["day"] is not None:
        try:
            day = date.fromisoformat(words["day"])
        except ValueError:
            remedy = "write year, month, day: 2026-06-21"
            raise InputError(f"--date {words['day']}", "is no day", remedy) from None
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise InputError(f"--date {day}", "is too far away", f"give one from {FIRST_YEAR} to {LAST_YEAR}")
    elif words["zone"] is not None:
        raise InputError("--zone", "there is no day to tell the Sun's times of", "add --date")
    zone = None if words["zone"] is None else parse_zone(words["zone"])
    return CardParticulars(check_call_sign(words["call"]), check_call_sign(words["club_call"]), day, zone)


def read_inputs(
    *,
    files: tuple[str, ...],
    outing: Outing,
    station_radius: float,
    fix_error: float,
    boundary_error: float,
    title: str,
    **words: Any,
) -> CardInputs:
    """What is to be searched, from the words of a command line; other words may be among them."""
    files = files or outing.parks
    if not files:
        raise InputError("--parks", "no boundary file is named", "add --parks FILE or --outing FILE")
    return CardInputs(
        take_park_files(files, outing.show, **words),
        make_options(station=make_station(station_radius, fix_error, boundary_error), **words),
        take_access_files(outing.tags, **words),
        title,
        outing,
    )


def search_again(inputs: CardInputs) -> Findings:
    """The findings that scout find lists with the same options; without a day, so that they repeat."""
    with show_progress() as show:
        findings = search_files(inputs.parks, inputs.options, inputs.access, show)
    return replace(
        findings,
        title=inputs.title,
        author=inputs.outing.author,
        credits=inputs.outing.credits,
        made_by=_format_command(sys.argv[1:]),
    )


def _format_command(words: Sequence[str]) -> str:
    """The command line but for where its output goes: the same search under another name is the same."""
    kept: list[str] = []
    given = iter(words)
    for word in given:
        if word == "--out":
            next(given, None)
        elif not word.startswith("--out="):
            kept.append(word)
    return shlex.join(["scout", *kept])


def show_remarks(findings: Findings) -> None:
    """Print what the list rests on, as ``scout find`` does: spots are numbered by it."""
    for remark in findings.remarks:
        click.echo(make_printable(remark))


def format_choice(ranked: Ranked) -> str:
    """A chosen spot in a line, so that a wrong number shows, and a line for whatever is dangerous there."""
    from scout.geo.coordinates.forms import format_decimal

    spot = ranked.spot
    parks = ", ".join(spot.verdict.parks) or "no park"
    lines = [
        f"#{ranked.rank} {spot.kind}, {spot.verdict.word}: {' '.join(spot.verdict.locators)} in {parks} "
        f"at {format_decimal(spot.lon, spot.lat)}",
        *(f"#{ranked.rank} WARNING: {warning}" for warning in ranked.warnings),
    ]
    return "\n".join(make_printable(line) for line in lines)
