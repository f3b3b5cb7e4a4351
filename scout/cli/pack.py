"""``scout pack``: chosen spots as one archive to take along."""

from __future__ import annotations

from typing import Any

import click

from scout.app.outing import Outing
from scout.cli.card import OUT, add_card_options, format_choice, get_findings, show_remarks
from scout.cli.options import ManyFiles


@click.command("pack", cls=ManyFiles)
@click.argument("spots", nargs=-1, required=True, metavar="SPOTS...")
@click.option("--out", "path", type=OUT, required=True, metavar="OUT.zip", help="Where the archive goes.")
@add_card_options
def command(
    spots: tuple[str, ...],
    path: str,
    files: tuple[str, ...],
    outing: Outing,
    saved: str | None,
    call: str,
    club_call: str,
    day: str | None,
    zone: str | None,
    **words: Any,
) -> int:
    """Write chosen spots as one archive: map, cards, GPX, KML, CSV and a summary.

    SPOTS are numbers in the list of scout find with the same options, such as 1 3 5-7: the search is made
    again, unless --result names a GeoPackage that scout find --save wrote. The same input gives the same
    archive, byte for byte.
    """
    from scout.app.pack import build_pack, choose_spots, parse_ranks
    from scout.errors import OutputError
    from scout.io.write import write_file
    from scout.output.card import make_particulars

    ranks = parse_ranks(spots)
    if not path.lower().endswith(".zip"):
        raise OutputError(f"--out {path}", "this is an archive", "name it .zip")
    particulars = make_particulars(call, club_call, day, zone)
    findings = get_findings(files, outing, saved, words, path)
    write_file(path, build_pack(findings, ranks, particulars))
    show_remarks(findings)
    for ranked in choose_spots(findings, ranks).spots:
        click.echo(format_choice(ranked))
    click.echo(f"Wrote {path}")
    return 0
