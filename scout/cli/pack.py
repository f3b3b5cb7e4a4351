"""``scout pack``: chosen spots as one archive to take along."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import click

from scout.cli.card import (
    add_card_options,
    format_choice,
    read_inputs,
    read_particulars,
    search_again,
    show_remarks,
)
from scout.cli.options import FILE, ManyFiles

_MOST = 100  # spots of one pack: each has a card


@click.command("pack", cls=ManyFiles)
@click.argument("spots", nargs=-1, required=True, metavar="SPOTS...")
@click.option("--out", "path", type=FILE, required=True, metavar="OUT.zip", help="Where the archive goes.")
@add_card_options
def command(spots: tuple[str, ...], path: str, **words: Any) -> int:
    """Write chosen spots as one archive: map, cards, GPX, KML, CSV and a summary.

    SPOTS are numbers in the list of scout find with the same options, such as 1 3 5-7: the search is made
    again. The same input gives the same archive, byte for byte.
    """
    from scout.app.outputs import check_targets
    from scout.app.pack import build_pack, choose_spots
    from scout.errors import OutputError
    from scout.io.write import write_file

    ranks = parse_ranks(spots)
    if not path.lower().endswith(".zip"):
        raise OutputError(f"--out {path}", "this is an archive", "name it .zip")
    inputs, said = read_inputs(**words), read_particulars(words)
    check_targets(inputs.files, [path])
    findings = search_again(inputs)
    write_file(path, build_pack(findings, ranks, said))
    show_remarks(findings)
    for ranked in choose_spots(findings, ranks).spots:
        click.echo(format_choice(ranked))
    click.echo(f"Wrote {path}")
    return 0


def parse_ranks(words: Sequence[str]) -> list[int]:
    """Numbers and spans of numbers."""
    from scout.errors import InputError

    ranks: set[int] = set()
    for word in words:
        span = re.fullmatch(r"(\d{1,9})(?:-(\d{1,9}))?", word, re.ASCII)
        first, last = (int(span[1]), int(span[2] or span[1])) if span else (0, 0)
        if not 1 <= first <= last:
            raise InputError(f"spot {word[:40]}", "is no number", "write numbers and spans: 1 3 5-7")
        if last - first >= _MOST or len(ranks | set(range(first, last + 1))) > _MOST:
            raise InputError(f"spot {word[:40]}", f"makes more than {_MOST}", "make two packs")
        ranks |= set(range(first, last + 1))
    return sorted(ranks)
