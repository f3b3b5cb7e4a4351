"""``scout card`` and ``scout pack``: one spot on a sheet for the table, chosen spots as one archive."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from scout.app.outing import Outing
from scout.app.request import SearchRequest, open_saved, search
from scout.app.settings import File, Settings
from scout.cli.options import (
    NUMBER,
    KindType,
    ManyFiles,
    add_outing_option,
    add_parks_option,
    add_settings,
    require_files,
)
from scout.cli.progress import show_progress
from scout.errors import InputError, make_printable

if TYPE_CHECKING:
    from scout.model import Findings, Ranked, Units
    from scout.output.card import CardParticulars

OUT = KindType(File())
_CARD = (
    add_parks_option(),
    add_outing_option,
    click.option(
        "--result",
        "saved",
        type=OUT,
        metavar="RESULT.gpkg",
        help="Take the list that scout find saved there, and do not search.",
    ),
    click.option("--call", metavar="CALL", default="", help="Operator's call sign, such as Q1AAA/P."),
    click.option("--club-call", metavar="CALL", default="", help="Call of a club or event, beside it."),
    click.option("--date", "day", metavar="DATE", help="Day of the outing, for the Sun: 2026-06-21."),
    click.option(
        "--zone", metavar="ZONE", help="Local time: Pacific/Auckland or -07:00; by the longitude if not."
    ),
    add_settings("title", "station", "search", "reading", "access", "sight", "display"),
)


def add_card_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command, whose class is `ManyFiles`, the options of a search and of a card."""
    for option in reversed(_CARD):
        function = option(function)
    return function


@click.command("card", cls=ManyFiles)
@click.argument("rank", metavar="SPOT", type=NUMBER)
@click.option("--out", "path", type=OUT, required=True, metavar="OUT.html", help="Where the card goes.")
@add_card_options
def card(rank: int, path: str, **words: Any) -> int:
    """Write the card of one spot: a page that prints on both sides of one sheet.

    SPOT is the spot's number in the list of scout find with the same options: the search is made again,
    unless --result names a GeoPackage that scout find --save wrote. The front is to be read across a table:
    calls, locators, parks. The back holds where to stand, margins, the way, the Sun, a QR code of the place,
    lines for an emergency, cautions.
    """
    from scout.app.outputs import check_page
    from scout.io.write import write_file
    from scout.output.card import build_card, choose_spot

    check_page("out", path)
    particulars = _take_particulars(words)
    findings = get_findings([path], **words)
    write_file(path, build_card(findings, rank, particulars))
    _show_written(path, findings, [choose_spot(findings, rank)], particulars)
    return 0


@click.command("pack", cls=ManyFiles)
@click.argument("spots", nargs=-1, required=True, metavar="SPOTS...")
@click.option("--out", "path", type=OUT, metavar="OUT.zip", help="Where the archive goes.")
@click.option(
    "--web",
    "folder",
    type=OUT,
    metavar="FOLDER",
    help="Where the map goes as a site to put on a web space (https): a phone installs it there, opens it "
    "without coverage and shows it where it stands.",
)
@add_card_options
def pack(spots: tuple[str, ...], path: str | None, folder: str | None, **words: Any) -> int:
    """Write chosen spots as one archive: map, cards, GPX, KML, CSV and a summary; or their map as a site.

    SPOTS are numbers in the list of scout find with the same options, such as 1 3 5-7: the search is made
    again, unless --result names a GeoPackage that scout find --save wrote. The same input gives the same
    archive and the same site, byte for byte.
    """
    from scout.app.pack import build_pack, check_site_folder, choose_spots, parse_ranks
    from scout.errors import OutputError
    from scout.io.write import make_folder, write_files

    ranks = parse_ranks(spots)
    if path is None and folder is None:
        raise OutputError("pack", "it is not said where it goes", "add --out OUT.zip or --web FOLDER")
    if path is not None and not path.lower().endswith(".zip"):
        raise OutputError(f"--out {path}", "this is an archive", "name it .zip")
    if folder is not None:
        check_site_folder(folder)
    particulars = _take_particulars(words)
    findings = get_findings([target for target in (path, folder) if target is not None], **words)
    contents: dict[str, bytes] = {}
    if path is not None:
        contents[path] = build_pack(findings, ranks, particulars)
    if folder is None:
        write_files(contents)
    else:
        from scout.page.site import build_site

        site = build_site(choose_spots(findings, ranks))
        with make_folder(folder):
            write_files({**contents, **{os.path.join(folder, name): file for name, file in site.items()}})
    _show_written(path, findings, choose_spots(findings, ranks).spots, particulars)
    if folder is not None:
        click.echo(f"Wrote {folder}: put its {len(site)} files on a web space and open that address (https).")
    return 0


def _take_particulars(words: dict[str, Any]) -> CardParticulars:
    """What goes on a card beside the spot, out of a command's words."""
    from scout.output.card import make_particulars

    return make_particulars(*(words.pop(name) for name in ("call", "club_call", "day", "zone")))


def get_findings(
    paths: Sequence[str],
    *,
    files: tuple[str, ...],
    outing: Outing,
    saved: str | None,
    beside: Sequence[str] = ("units",),
    **words: Any,
) -> Findings:
    """The findings that scout find lists with the same options, or saved; without a day: they repeat.

    ``paths`` are what will be written, and refused if one is among the files that are read. ``beside`` are
    settings that may be given beside a saved result.
    """
    from scout.app.outputs import check_targets

    made_by = _format_command(sys.argv[1:])
    if saved is not None:
        given = click.get_current_context().get_parameter_source
        searched = [
            name
            for name in ("files", "outing", *words)
            if name not in beside and given(name) is ParameterSource.COMMANDLINE
        ]
        if searched:
            what = "what is saved was searched for with its own files and settings"
            raise InputError("--result", what, "give nothing of a search beside it")
        check_targets([saved], paths)
        found = replace(open_saved(saved), made_by=made_by, made_on="")
        return (
            found
            if given("units") is not ParameterSource.COMMANDLINE
            else replace(found, units=words["units"])
        )
    files = files or outing.parks
    require_files(files, "add --parks FILE, --outing FILE or --result RESULT.gpkg")
    request = SearchRequest(files, Settings(**words), outing)
    check_targets(request.files, paths)
    with show_progress() as show:
        return replace(search(request, show), made_by=made_by)


_TARGETS = ("--out", "--web")


def _format_command(words: Sequence[str]) -> str:
    """The command line but for where its output goes: the same search under another name is the same."""
    kept: list[str] = []
    given = iter(words)
    for word in given:
        if word in _TARGETS:
            next(given, None)
        elif not word.startswith(tuple(f"{target}=" for target in _TARGETS)):
            kept.append(word)
    return shlex.join(["scout", *kept])


def _show_written(
    path: str | None, findings: Findings, chosen: Sequence[Ranked], particulars: CardParticulars
) -> None:
    """Print what the list rests on, as ``scout find`` does, for spots are numbered by it; then the chosen."""
    from scout.output.card import warn_of_zone
    from scout.output.text import format_text

    for remark in findings.remarks:
        click.echo(make_printable(format_text(remark, findings.units)))
    for ranked in chosen:
        click.echo(_format_choice(ranked, findings.units))
    doubts = (warn_of_zone(particulars, ranked.spot.lon) for ranked in chosen)
    for doubt in filter(None, dict.fromkeys(doubts)):
        click.echo(f"WARNING: local times are those of {particulars.zone}.{doubt}")
    if path is not None:
        click.echo(f"Wrote {path}")


def _format_choice(ranked: Ranked, units: Units) -> str:
    """A chosen spot in a line, so that a wrong number shows, and a line for whatever is dangerous there."""
    from scout.cautions import warn_of_outline
    from scout.output.text import format_position, format_text, format_verdict

    spot = ranked.spot
    word = format_verdict(spot.verdict.word, spot.verdict.coarse)
    parks = ", ".join(spot.verdict.parks) or "no park"
    outlines = map(warn_of_outline, spot.verdict.coarse)
    lines = [
        f"#{ranked.rank} {spot.kind}, {word}: {' '.join(spot.verdict.locators)} in {parks} "
        f"at {format_position(spot.lon, spot.lat)}",
        *(f"#{ranked.rank} WARNING: {format_text(text, units)}" for text in (*ranked.warnings, *outlines)),
    ]
    return "\n".join(make_printable(line) for line in lines)
