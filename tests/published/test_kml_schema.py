"""KML against the published schema of version 2.2 (OGC 07-147r2, ogckml22.xsd), which fastkml ships (R).

The schema cannot tell that a ring is closed or a coordinate in range: those rules of the standard are checked
by hand (M).
"""

from __future__ import annotations

import io
import zipfile
from importlib.util import find_spec
from pathlib import Path

import exported
import fastkml
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from scout.output.kml import to_kml, to_kmz

KML = "{http://www.opengis.net/kml/2.2}"
FOLDER = Path(find_spec("fastkml").origin).parent / "schema"
SCHEMA = etree.XMLSchema(etree.parse(FOLDER / "ogckml22.xsd"))


def faults(data: bytes) -> list[str]:
    SCHEMA.validate(etree.fromstring(data))
    return [error.message for error in SCHEMA.error_log]


@pytest.mark.parametrize("findings", [exported.bay(), exported.seam(), exported.at([])])
def test_what_is_written_keeps_to_the_schema(findings):
    assert faults(to_kml(findings)) == []


@given(st.one_of(st.sampled_from(exported.HOSTILE), exported.texts))
def test_no_text_breaks_the_schema(text):
    assert faults(to_kml(exported.named(text))) == []


def test_the_schema_refuses_what_is_out_of_order():
    body = "<Placemark><styleUrl>#firm</styleUrl><name>late</name></Placemark>"
    assert faults(f'<kml xmlns="{KML[1:-1]}">{body}</kml>'.encode()) != []


@pytest.mark.parametrize("findings", [exported.bay(), exported.seam()])
def test_rings_are_closed_and_coordinates_are_on_the_globe(findings):
    tree = etree.fromstring(to_kml(findings))
    for element in tree.iter(f"{KML}coordinates"):
        points = [tuple(map(float, pair.split(","))) for pair in element.text.split(" ")]
        assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in points)
        if element.getparent().tag == f"{KML}LinearRing":
            assert len(points) >= 4
            assert points[0] == points[-1]


def test_every_style_that_is_used_is_there_and_nothing_is_fetched():
    tree = etree.fromstring(to_kml(exported.bay()))
    styles = {f"#{style.get('id')}" for style in tree.iter(f"{KML}Style")}
    assert {url.text for url in tree.iter(f"{KML}styleUrl")} <= styles
    assert not [e.tag for e in tree.iter() if e.tag.removeprefix(KML) in ("href", "Icon", "NetworkLink")]


def test_fastkml_reads_the_same_folders_and_spots():
    findings = exported.bay()
    document = fastkml.KML.parse(io.BytesIO(to_kml(findings))).features[0]
    folders = {folder.name: folder.features for folder in document.features}
    assert list(folders) == ["Corners", "Lines", "Overlaps", "Near misses", "Stretches", "Parks", "Walks"]
    of_spots = ("Corners", "Lines", "Overlaps", "Near misses")
    read = {mark.name[:2]: (mark.geometry.x, mark.geometry.y) for f in of_spots for mark in folders[f]}
    written = {f"{r.rank:02d}": (r.spot.lon, r.spot.lat) for r in findings.spots}
    assert read == {number: pytest.approx(at, abs=1e-7) for number, at in written.items()}


def test_kmz_is_a_zip_that_holds_the_kml_as_doc_kml():
    findings = exported.bay()
    with zipfile.ZipFile(io.BytesIO(to_kmz(findings))) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == ["doc.kml"]
        assert archive.read("doc.kml") == to_kml(findings)
