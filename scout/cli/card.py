"""``scout card``: one spot on a sheet for the operating table."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from scout.cli.kinds import FILE
from scout.cli.options import (
    FilesOption,
    ManyFiles,
    access_options,
    options_from,
    reading_options,
    search_options,
    station_from,
    station_options,
)
from scout.cli.outing import outing_option
from scout.cli.progress import progress
from scout.cli.sources import AccessFiles, ParkFiles, access_files, park_files, searched
from scout.errors import InputError, printable

if TYPE_CHECKING:
    from scout.card import Particulars
    from scout.find import Options
    from scout.model import Findings, Ranked
    from scout.outing import Outing

__all__ = [
    "Inputs",
    "card_options",
    "command",
    "found_again",
    "inputs_from",
    "particulars_from",
    "show_remarks",
    "told",
]

_CARD = (
    click.option("--parks", "files", cls=FilesOption, help="Boundary files."),
    outing_option,
    click.option("--call", metavar="CALL", default="", help="Operator's call sign, such as Q1AAA/P."),
    click.option("--club-call", metavar="CALL", default="", help="Call of a club or event, beside it."),
    click.option("--date", "day", metavar="DATE", help="Day of the outing, for the Sun: 2026-06-21."),
    click.option("--zone", metavar="ZONE", help="Local time: Pacific/Auckland or -07:00; UTC alone if not."),
    click.option("--title", metavar="TEXT", default="", help="Title of the map."),
    station_options,
    search_options,
    reading_options,
    access_options,
)


class Inputs(NamedTuple):
    """What a search is made of, and what is said of its result."""

    parks: ParkFiles
    options: Options
    access: AccessFiles
    title: str
    outing: Outing

    @property
    def files(self) -> tuple[str, ...]:
        """Everything that is read, which no output may overwrite."""
        beside = (self.outing.where,) if self.outing.where else ()
        return (*self.parks.files, *self.access.files, *beside)


def card_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command, whose class is `ManyFiles`, the options of a search and of a card."""
    for option in reversed(_CARD):
        function = option(function)
    return function


@click.command("card", cls=ManyFiles)
@click.argument("rank", metavar="SPOT", type=click.IntRange(min=1))
@click.option("--out", "path", type=FILE, required=True, metavar="OUT.html", help="Where the card goes.")
@card_options
def command(rank: int, path: str, **words: Any) -> int:
    """Write the card of one spot: a page that prints on both sides of one sheet.

    SPOT is the spot's number in the list of scout find with the same options: the search is made again. The
    front is to be read across a table: calls, locators, parks. The back holds where to stand, margins, the
    way, the Sun, a QR code of the place, lines for an emergency, cautions.
    """
    from scout.card import build, spot_of
    from scout.cli.outputs import check_page, check_targets
    from scout.write import write_file

    check_page("--out", path)
    inputs, said = inputs_from(**words), particulars_from(words)
    check_targets(inputs.files, [path])
    findings = found_again(inputs)
    write_file(path, build(findings, rank, said))
    show_remarks(findings)
    click.echo(told(spot_of(findings, rank)))
    click.echo(f"Wrote {path}")
    return 0


def particulars_from(words: Mapping[str, Any]) -> Particulars:
    """Checked particulars of a card from the words of a command line."""
    from datetime import date

    from scout.card import FIRST_YEAR, LAST_YEAR, Particulars, call_sign, zone_of

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
    zone = None if words["zone"] is None else zone_of(words["zone"])
    return Particulars(call_sign(words["call"]), call_sign(words["club_call"]), day, zone)


def inputs_from(
    *,
    files: tuple[str, ...],
    outing: Outing,
    station_radius: float,
    fix_error: float,
    boundary_error: float,
    title: str,
    **words: Any,
) -> Inputs:
    """What is to be searched, from the words of a command line; other words may be among them."""
    files = files or outing.parks
    if not files:
        raise InputError("--parks", "no boundary file is named", "add --parks FILE or --outing FILE")
    return Inputs(
        park_files(files, outing.show, **words),
        options_from(station=station_from(station_radius, fix_error, boundary_error), **words),
        access_files(outing.tags, **words),
        title,
        outing,
    )


def found_again(inputs: Inputs) -> Findings:
    """The findings that scout find lists with the same options; without a day, so that they repeat."""
    with progress() as show:
        findings = searched(inputs.parks, inputs.options, inputs.access, show)
    return replace(
        findings,
        title=inputs.title,
        author=inputs.outing.author,
        credits=inputs.outing.credits,
        made_by=_made_by(sys.argv[1:]),
    )


def _made_by(words: Sequence[str]) -> str:
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
        click.echo(printable(remark))


def told(ranked: Ranked) -> str:
    """A chosen spot in a line, so that a wrong number shows, and a line for whatever is dangerous there."""
    from scout.coordinates import decimal

    spot = ranked.spot
    parks = ", ".join(spot.verdict.parks) or "no park"
    lines = [
        f"#{ranked.rank} {spot.kind}, {spot.verdict.word}: {' '.join(spot.verdict.locators)} in {parks} "
        f"at {decimal(spot.lon, spot.lat)}",
        *(f"#{ranked.rank} WARNING: {warning}" for warning in ranked.warnings),
    ]
    return "\n".join(printable(line) for line in lines)
