"""Spots as CSV, read by pandas as well as by csv; no cell is a formula."""

from __future__ import annotations

import csv
import io
import re

import exported
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.app.outputs import export_findings
from scout.io.plain_text import clean_text
from scout.output.features import to_csv


def rows(findings):
    return list(csv.DictReader(io.StringIO(export_findings(findings, "x.csv").decode("utf-8"), newline="")))


def test_a_row_reads_as_a_person_expects():
    first = rows(exported.bay())[0]
    assert list(first)[:4] == ["rank", "kind", "latitude", "longitude"]
    assert (first["latitude"], first["longitude"]) == ("45.00000000", "-20.00000000")
    assert first["locators"] == "HN95 IN05 HN94 IN04"
    assert first["parks"] == "QX-001; QX-002"


def test_a_walk_fills_its_columns_and_the_rest_stays_empty():
    first, blocked, unknown, *_ = rows(exported.bay())
    assert (first["walk_min"], first["back_min"], first["walk_m"]) == ("12.3", "10.2", "812.1")
    assert (first["parking_latitude"], first["parking_longitude"]) == ("45.00100000", "-20.00600000")
    assert first["warnings"] == "Power line 30 m north; Cliff"
    assert "parking" not in first
    assert (blocked["walk_note"], blocked["walk_min"]) == ("more than 120 min", "")
    assert unknown["parking_latitude"] == unknown["walk_note"] == unknown["warnings"] == ""


@given(exported.places)
@settings(max_examples=40)
def test_pandas_reads_the_same_places(places):
    frame = pd.read_csv(io.BytesIO(export_findings(exported.at(places), "x.csv")))
    assert frame["rank"].to_list() == list(range(1, len(places) + 1))
    for lat, lon, (x, y) in zip(frame["latitude"], frame["longitude"], places, strict=True):
        assert abs((lon - x + 180) % 360 - 180) < 1e-7
        assert lat == pytest.approx(y, abs=1e-7)


# The starts that OWASP's page on CSV injection warns of (R2), behind what a spreadsheet drops unseen.
unseen = st.text("\t\r\n \ufeff\u200f\u202e\u00a0", max_size=3)
formulas = st.builds(str.__add__, unseen, st.sampled_from("=+-@＝＋－＠"))


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("Cove;=1+1", "Cove;'=1+1"),
        ("Cove; @SUM(A1)", "Cove;' @SUM(A1)"),
        ("Cove;;-2;+3", "Cove;;'-2;'+3"),
        ("Cove;＝1", "Cove;'＝1"),
        ("=1;=2", "'=1;'=2"),
        ("Cove; 12 - 3; a=b", "Cove; 12 - 3; a=b"),
    ],
)
def test_what_a_semicolon_parts_is_no_formula_either(text, cell):
    row = rows(exported.named(text))[1]
    assert row["park_names"] == cell
    data = export_findings(exported.named(text), "x.csv").decode("utf-8")
    parted = [part for line in data.splitlines()[1:] for part in line.split(";")[1:]]
    assert not [part for part in parted if part.strip().startswith(tuple("=+-@＝＋－＠"))]


@given(st.builds(str.__add__, formulas, exported.texts))
def test_what_would_start_a_formula_is_led_by_an_apostrophe(text):
    row = rows(exported.named(text))[1]
    assert row["park_names"].startswith("'")
    assert row["park_names"].replace(";'", ";") == f"'{clean_text(text)}".replace(";'", ";")
    assert row["notes"] == row["park_names"]


@given(st.one_of(st.sampled_from(exported.HOSTILE), exported.texts))
def test_text_stays_in_its_cell_and_no_cell_starts_a_formula(text):
    findings = exported.named(text)
    table = list(csv.reader(io.StringIO(to_csv(findings), newline="")))
    assert len(table) == 1 + len(findings.spots)
    assert {len(row) for row in table} == {len(table[0])}
    for name, *column in zip(*table, strict=True):
        number = name.endswith(("latitude", "longitude", "_m", "_deg"))
        assert all(number or not cell.startswith(tuple("=+-@\t\r\n")) for cell in column), name
    cell = table[2][table[0].index("park_names")]
    assert re.sub("(^|;)'", r"\1", cell) == re.sub("(^|;)'", r"\1", clean_text(text))


@pytest.mark.parametrize("text", ["Quiet Cove", "12 - 3", "a=b", "'quoted", "公園", "#5", "x@y"])
def test_plain_text_gets_no_apostrophe(text):
    assert rows(exported.named(text))[1]["park_names"] == text
