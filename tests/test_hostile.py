"""Names and attributes that are no names, through every output at once: they come out as text or cleaned.

What an output is made of, read by lxml and by the standard library's parser, holds no element and no
attribute that is not there with harmless names.
"""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import zipfile
from collections import Counter
from dataclasses import fields, replace
from datetime import UTC, datetime

import cards
import exported
import lxml.html
import pytest
import sheets
from builders import box, parks_frame, source
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from page_reader import Reader

from scout.app.outputs import export_findings
from scout.app.pack import build_pack
from scout.io.plain_text import clean_text
from scout.model import Findings, ParkReport, Parks, ParkVisited, Ranked, Visit
from scout.output import card, journal, sheet
from scout.page import document

Parts = Counter[tuple[str, tuple[str, ...]]]
Elements = list[tuple[str, dict[str, str | None]]]

PIECES = (
    *exported.HOSTILE,
    "<svg/onload=alert(1)>",
    "</script><script>alert(1)</script>",
    "</style></title></textarea><iframe src=javascript:alert(1)>",
    "<!--<script>",
    "--!><b>",
    "\"'><a href='javascript:alert(1)' onclick=alert(1)>",
    "' onmouseover='alert(1)",
    "javascript:alert(1)",
    "data:text/html,<script>alert(1)</script>",
    "&lt;b&gt;&#60;b&#62;&NewLine;",
    "{{ 7 * 7 }}{% raw %}${7*7}",
    "\u202e\u2066\u200f\u2028\u2029",
    "\x00<\x00b\x00>",
    "W" * 10_000,
    "+1",
    "-1",
    "@SUM(A1)",
    "👩🏽‍🚀🏴󠁧󠁢󠁳󠁣󠁴󠁿",
)
hostile = st.lists(st.one_of(st.sampled_from(PIECES), exported.texts), min_size=1, max_size=3).map("".join)
HARMLESS = ("Quiet Cove", "", "Q " * 40, "Q" * 10_000, "One\ntwo\n\nthree", "-1")
LINKS = ("geo:", "#", "data:,", "https://www.openstreetmap.org/copyright")


def findings_of(text: str) -> Findings:
    made = exported.named(text)
    return replace(
        made,
        made_by=text,
        sources=(source(path=text, layer=text, crs=text, operation=text, warnings=(text,)),),
        report=ParkReport(1, 1, (text,), (text,), repaired=(text,), refused=(text,), skipped=(text,)),
        surroundings=None,
    )


def with_references(found: Findings) -> Findings:
    """The same with parks whose reference is no name: a name alike is not told twice."""

    def refer(ranked: Ranked) -> Ranked:
        verdict = ranked.spot.verdict
        parks = tuple(f"QX-{number}" for number in range(len(verdict.parks)))
        return replace(ranked, spot=replace(ranked.spot, verdict=replace(verdict, parks=parks)))

    return replace(found, spots=tuple(map(refer, found.spots)))


def sheet_of(text: str) -> str:
    # A frame read from a file holds no half of a pair, nor does one made here.
    name = text.encode("utf-8", "replace").decode("utf-8")
    parks = Parks(
        parks_frame(((name or "-", name), box(9.99, 44.99, 10.01, 45.01))),
        (source(path=text, layer=text, warnings=(text,)),),
        ParkReport(),
    )
    fixes = replace(sheets.standing(size=120), path=text, notes=(text,))
    said = sheet.SheetParticulars(text, text, text, text, text, text)
    return sheet.build_sheet(sheets.judged(fixes, parks), parks, said)


def journal_of(text: str) -> str:
    told = {field.name: text for field in fields(Visit) if field.type == "str"}
    visit = Visit(10.0, 45.0, datetime(2026, 2, 14, tzinfo=UTC), parks=(ParkVisited(text, text),), **told)
    return journal.build_journal_page((visit,), journal.JournalParticulars(text, text, text))


def pages_of(text: str) -> dict[str, str]:
    """Every HTML page that is written, and those in the pack."""
    found = findings_of(text)
    said = cards.SAID
    taken = zipfile.ZipFile(io.BytesIO(build_pack(found, [1], said)))
    return {
        "map": document.build_map(found),
        "card": card.build_card(found, 1, said),
        "card with references": card.build_card(with_references(found), 1, said),
        "sheet": sheet_of(text),
        "journal": journal_of(text),
        "map in the pack": taken.read("map.html").decode("utf-8"),
        "card in the pack": taken.read("card-0001.html").decode("utf-8"),
    }


def parts_by_lxml(text: str) -> Parts:
    # HTML 13.2.5.1: a tokenizer takes no null for text; libxml2 would stop there.
    tree = lxml.html.document_fromstring(text.replace("\x00", "\ufffd").encode("utf-8"))
    return Counter(
        (str(e.tag), tuple(sorted(map(str, e.attrib)))) for e in tree.iter() if isinstance(e.tag, str)
    )


def parts_by_html_parser(elements: Elements) -> Parts:
    return Counter((tag, tuple(sorted(attributes))) for tag, attributes in elements)


def most(countings: list[Parts]) -> Parts:
    union: Parts = Counter()
    for counting in countings:
        union |= counting
    return union


def parts_by_parsers(text: str, elements: Elements) -> dict[str, Parts]:
    return {"lxml": parts_by_lxml(text), "html.parser": parts_by_html_parser(elements)}


@pytest.fixture(scope="module")
def known() -> dict[str, dict[str, Parts]]:
    """Of each page and parser, the parts there are with harmless names, each as often as with any of them."""
    made = [pages_of(text) for text in HARMLESS]
    found = {
        name: [parts_by_parsers(pages[name], Reader(pages[name]).elements) for pages in made]
        for name in made[0]
    }
    return {name: {by: most([one[by] for one in some]) for by in some[0]} for name, some in found.items()}


@given(hostile)
@settings(max_examples=50, deadline=None)
def test_no_page_has_a_part_that_it_has_not_with_harmless_names(
    known: dict[str, dict[str, Parts]], text: str
):
    for name, written in pages_of(text).items():
        elements = Reader(written).elements
        for by, parts in parts_by_parsers(written, elements).items():
            assert parts - known[name][by] == Counter(), (name, by)
        for tag, attributes in elements:
            assert not [one for one in attributes if one.startswith("on")], name
            for link in (attributes.get(one) for one in ("href", "src", "action", "data")):
                assert link is None or tag == "use" or link.startswith(LINKS), (name, tag, link)


def test_a_part_too_many_would_be_seen(known: dict[str, dict[str, Parts]]):
    written = document.build_map(findings_of("Quiet Cove")).replace(
        "<bdi>Quiet Cove", "<bdi><b onclick=x>Quiet Cove", 1
    )
    for by, parts in parts_by_parsers(written, Reader(written).elements).items():
        assert parts - known["map"][by], by


@pytest.fixture(scope="module")
def tame() -> dict[str, bytes]:
    """Files to save with a harmless name."""
    found = findings_of("Quiet Cove")
    return {suffix: export_findings(found, f"x{suffix}") for suffix in (".gpx", ".kml", ".geojson")}


def xml_parts(tree: etree._Element) -> set[tuple[str, ...]]:
    return {(e.tag, *sorted(e.attrib)) for e in tree.iter()}


@given(hostile)
@settings(max_examples=50, deadline=None)
def test_no_file_to_save_has_a_part_that_it_has_not_with_harmless_names(tame: dict[str, bytes], text: str):
    found = findings_of(text)
    for suffix in (".gpx", ".kml"):
        tree = etree.fromstring(export_findings(found, f"x{suffix}"))
        assert xml_parts(tree) <= xml_parts(etree.fromstring(tame[suffix])), suffix
        assert tree.xpath("count(//comment() | //processing-instruction())") == 0
    kmz = zipfile.ZipFile(io.BytesIO(export_findings(found, "x.kmz")))
    assert len(kmz.namelist()) == 1
    etree.fromstring(kmz.read(kmz.namelist()[0]))
    collection = json.loads(export_findings(found, "x.geojson"))
    assert len(collection["features"]) == len(json.loads(tame[".geojson"])["features"])
    table = list(csv.reader(io.StringIO(export_findings(found, "x.csv").decode("utf-8"), newline="")))
    assert {len(row) for row in table} == {len(table[0])}
    assert len(table) == 1 + len(found.spots)
    names = table[0].index("park_names")
    assert not table[2][names].startswith(tuple("=+-@\t\r\n"))
    summary = zipfile.ZipFile(io.BytesIO(build_pack(found, [1]))).read("summary.txt").decode("utf-8")
    assert not [one for one in summary if one < " " and one != "\n"]
    assert not set(summary) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\x7f")
    base = sqlite3.connect(":memory:")
    base.deserialize(export_findings(found, "x.gpkg"))
    tables = [name for (name,) in base.execute("select table_name from gpkg_contents order by table_name")]
    assert tables == ["parks", "routes", "spots", "stretches"]
    (kept,) = base.execute("select park_names from spots limit 1 offset 1").fetchone()
    assert kept == clean_text(text)
    base.close()
