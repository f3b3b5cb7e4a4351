"""What a member takes along: chosen spots as one archive, or as a site; the same every time."""

from __future__ import annotations

import io
import os
import re
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from scout.app.outputs import format_findings
from scout.errors import InputError, OutputError, SettingName
from scout.io.moving import is_part_name
from scout.io.plain_text import make_one_line
from scout.model import Findings, LeftOut
from scout.output.card import CardParticulars, build_card, choose_spot
from scout.output.sun import find_light
from scout.output.text import format_geo_uri, format_heading, format_position, list_about, list_facts
from scout.output.view import list_light_lines
from scout.page.document import build_map
from scout.page.site import MARK, NAMES, WORKER, build_site

_MOST = 100  # spots of one pack: each has a card
SUFFIXES = (".csv", ".gpx", ".kml")
# The archive's own clock stands still, at the earliest time it can hold.
_TIME = (1980, 1, 1, 0, 0, 0)
_UNIX, _PLAIN_FILE = 3, 0o100644 << 16


def choose_spots(findings: Findings, ranks: Sequence[int]) -> Findings:
    """The findings cut to some spots, in order of rank, and their parks; the rest is counted as left out.

    Raises
    ------
    InputError
        When a rank is not in the list or a near miss.
    """
    spots = tuple(choose_spot(findings, rank) for rank in sorted(set(ranks)))
    named = {park for ranked in spots for park in ranked.spot.verdict.parks}
    more = len(findings.spots) - len(spots)
    left = (LeftOut("not chosen for this pack", more),) if more else ()
    return replace(
        findings,
        spots=spots,
        left_out=(*findings.left_out, *left),
        named=findings.named.only(named),
    )


def build_pack(findings: Findings, ranks: Sequence[int], particulars: CardParticulars | None = None) -> bytes:
    """Map, cards, lists for receivers and spreadsheets, and a summary of some spots, as a ZIP archive.

    Parameters
    ----------
    findings : Findings
    ranks : sequence of int
        Of the spots to take along.
    particulars : Particulars, optional
        For the cards.

    Returns
    -------
    bytes
        The same findings give the same bytes: no clock is read.
    """
    taken = choose_spots(findings, ranks)
    texts: dict[str, str | bytes] = {
        "map.html": build_map(taken),
        "summary.txt": _format_summary(taken, particulars),
    }
    for ranked in taken.spots:
        texts[name_card(ranked.rank)] = build_card(taken, ranked.rank, particulars)
    for suffix in SUFFIXES:
        texts[f"spots{suffix}"] = format_findings(taken, suffix)
    return zip_texts(texts)


def pack_site(findings: Findings, ranks: Sequence[int]) -> bytes:
    """The map of some spots as a site, in a ZIP archive to be unpacked on a web space."""
    return zip_texts(dict(build_site(choose_spots(findings, ranks))))


def check_site_folder(path: str) -> None:
    """Refuse a folder for a site that cannot be made, or that holds anything but an older one.

    Raises
    ------
    OutputError
        Nothing was written.
    """
    folder = Path(path)
    if not folder.is_dir():
        if os.path.lexists(folder):
            raise OutputError(SettingName("web", path), "this is no folder", "name a folder")
        if not folder.absolute().parent.is_dir():
            raise OutputError(
                SettingName("web", path), f"there is no folder {folder.parent}", "make it first"
            )
        return
    try:
        names = {name for name in os.listdir(folder) if not is_part_name(name)}
        other = names - set(NAMES)
        if names and not other and not _is_our_worker(folder / WORKER):
            other = names
    except OSError as error:
        raise OutputError(
            SettingName("web", path), f"cannot be read ({error.strerror})", "name another"
        ) from error
    if other:
        what = f"it holds other files ({make_one_line(min(other), 60)})"
        raise OutputError(SettingName("web", path), what, "name a new or an empty folder")


def _is_our_worker(path: Path) -> bool:
    return path.is_file() and path.read_bytes().startswith(MARK.encode())


def name_card(rank: int) -> str:
    """The file of a place's card in an archive."""
    return f"card-{rank:04d}.html"


def zip_texts(texts: dict[str, str | bytes]) -> bytes:
    """An archive of files by name; the same files give the same bytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name in sorted(texts):
            entry = zipfile.ZipInfo(name, _TIME)
            entry.create_system, entry.external_attr = _UNIX, _PLAIN_FILE
            entry.compress_type = zipfile.ZIP_DEFLATED
            content = texts[name]
            archive.writestr(entry, content.encode("utf-8") if isinstance(content, str) else content)
    return buffer.getvalue()


def _format_summary(findings: Findings, particulars: CardParticulars | None) -> str:
    """All spots in plain text, a paragraph each; of a day also the Sun over the hills."""
    said = particulars or CardParticulars()
    title = make_one_line(findings.title) or "Spots to take along"
    lines = [title, "=" * len(title), ""]
    for ranked in findings.spots:
        spot = ranked.spot
        lines += [f"{format_heading(ranked, findings)}   ({name_card(ranked.rank)})"]
        lines += [f"  {format_position(spot.lon, spot.lat)}   {format_geo_uri(spot.lon, spot.lat)}"]
        lines += [f"  {fact}" for fact in list_facts(ranked, findings.units, findings.aims)]
        if said.day is not None:
            light = find_light(spot.lon, spot.lat, said.day, said.zone, ranked.horizon)
            lines += [f"  {text}" for text in list_light_lines(light, said.day, said.zone, spot.lon)]
        lines += [""]
    return "\n".join([*lines, *list_about(findings), ""])


def parse_ranks(words: Sequence[str]) -> list[int]:
    """Numbers and spans of numbers."""
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
