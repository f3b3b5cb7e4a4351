"""What a member takes along: chosen spots as one archive that comes out the same every time."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import replace

from scout.card import Particulars, build, spot_of
from scout.coordinates import decimal, geo_uri
from scout.exports import FORMATS
from scout.exports.text import one_line
from scout.exports.words import about, facts, heading
from scout.model import Findings, LeftOut
from scout.page import build as build_map

__all__ = ["SUFFIXES", "chosen", "pack"]

SUFFIXES = (".csv", ".gpx", ".kml")
# The archive's own clock stands still, at the earliest time it can hold.
_TIME = (1980, 1, 1, 0, 0, 0)
_UNIX, _PLAIN_FILE = 3, 0o100644 << 16


def chosen(findings: Findings, ranks: Sequence[int]) -> Findings:
    """The findings cut to some spots, in order of rank, and their parks; the rest is counted as left out.

    Raises
    ------
    InputError
        When a rank is not in the list or a near miss.
    """
    spots = tuple(spot_of(findings, rank) for rank in sorted(set(ranks)))
    named = {park for ranked in spots for park in ranked.spot.verdict.parks}
    more = len(findings.spots) - len(spots)
    left = (LeftOut("not chosen for this pack", more),) if more else ()
    return replace(
        findings,
        spots=spots,
        left_out=(*findings.left_out, *left),
        named=findings.named.only(named),
    )


def pack(findings: Findings, ranks: Sequence[int], particulars: Particulars | None = None) -> bytes:
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
    taken = chosen(findings, ranks)
    texts: dict[str, str | bytes] = {"map.html": build_map(taken), "summary.txt": _summary(taken)}
    for ranked in taken.spots:
        texts[_card(ranked.rank)] = build(taken, ranked.rank, particulars)
    for suffix in SUFFIXES:
        texts[f"spots{suffix}"] = FORMATS[suffix](taken)
    return _zipped(texts)


def _card(rank: int) -> str:
    return f"card-{rank:04d}.html"


def _zipped(texts: dict[str, str | bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name in sorted(texts):
            entry = zipfile.ZipInfo(name, _TIME)
            entry.create_system, entry.external_attr = _UNIX, _PLAIN_FILE
            entry.compress_type = zipfile.ZIP_DEFLATED
            content = texts[name]
            archive.writestr(entry, content.encode("utf-8") if isinstance(content, str) else content)
    return buffer.getvalue()


def _summary(findings: Findings) -> str:
    """All spots in plain text, a paragraph each."""
    title = one_line(findings.title) or "Spots to take along"
    lines = [title, "=" * len(title), ""]
    for ranked in findings.spots:
        spot = ranked.spot
        lines += [f"{heading(ranked, findings)}   ({_card(ranked.rank)})"]
        lines += [f"  {decimal(spot.lon, spot.lat)}   {geo_uri(spot.lon, spot.lat)}"]
        lines += [f"  {fact}" for fact in facts(ranked)]
        lines += [""]
    return "\n".join([*lines, *about(findings), ""])
