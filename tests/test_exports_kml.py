"""Spots as KML and KMZ, read by GDAL and lxml. The schema is held in published/test_kml_schema.py."""

from __future__ import annotations

import io
from html.parser import HTMLParser

import builders
import exported
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from scout.cautions import ALWAYS
from scout.io.plain_text import make_one_line
from scout.output.kml import to_kml, to_kmz

KML = "{http://www.opengis.net/kml/2.2}"
SPOTS = ("Corners", "Lines", "Overlaps", "Near misses")


def layers(data):
    return {
        name: pyogrio.read_dataframe(io.BytesIO(data), layer=name)
        for name, _ in pyogrio.list_layers(io.BytesIO(data))
    }


class Seen(HTMLParser):
    """What a balloon shows, and the tags that make it."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.shown = [], ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, attrs))

    handle_startendtag = handle_starttag

    def handle_endtag(self, tag):
        self.tags.append((f"/{tag}", []))

    def handle_comment(self, data):
        self.tags.append(("comment", data))

    def handle_decl(self, decl):
        self.tags.append(("declaration", decl))

    def handle_data(self, data):
        self.shown += data


@pytest.mark.parametrize("write", [to_kml, to_kmz])
def test_gdal_finds_the_folders_and_every_spot(write):
    findings = exported.bay()
    found = layers(write(findings))
    assert list(found) == [*SPOTS, "Stretches", "Parks", "Walks"]
    spots = pd.concat([found[name] for name in SPOTS]).sort_values("Name")
    assert [name[:2] for name in spots["Name"]] == ["01", "02", "03", "04", "05"]
    for point, ranked in zip(spots.geometry, findings.spots, strict=True):
        assert (point.x, point.y) == pytest.approx((ranked.spot.lon, ranked.spot.lat), abs=1e-7)


@given(exported.places)
@settings(max_examples=30)
def test_gdal_reads_the_same_places(places):
    frame = layers(to_kml(exported.at(places)))["Overlaps"]
    for point, (lon, lat) in zip(frame.geometry, places, strict=True):
        assert abs((point.x - lon + 180) % 360 - 180) < 1e-7
        assert point.y == pytest.approx(lat, abs=1e-7)


def test_parks_stretches_and_walks_are_drawn_where_they_are():
    findings = exported.bay()
    found = layers(to_kml(findings))
    for drawn, park in zip(found["Parks"].geometry, findings.parks.geometry, strict=True):
        assert drawn.symmetric_difference(park).area < 1e-6
        assert drawn.exterior.is_ccw
    assert found["Parks"]["Name"].to_list()[0] == "QX-001 Quiet Cove"
    stretch = findings.spots[1].spot.stretches[0]
    assert shapely.get_coordinates(found["Stretches"].geometry[0])[[0, -1]].tolist() == [
        pytest.approx(stretch.start, abs=1e-7),
        pytest.approx(stretch.end, abs=1e-7),
    ]
    assert found["Walks"].geometry[0].equals(shapely.LineString(exported.WALKED.line))


def test_outer_rings_are_counterclockwise_and_inholdings_stay_outside():
    """KML 2.2, Polygon (M): the outer boundary runs counterclockwise."""
    shell = [(0, 0), (0, 0.04), (0.04, 0.04), (0.04, 0)]
    hole = [(0.01, 0.01), (0.02, 0.01), (0.02, 0.02), (0.01, 0.02)]
    park = shapely.Polygon(shell, [hole])
    assert not park.exterior.is_ccw
    tree = etree.fromstring(to_kml(builders.findings([], builders.parks_frame((builders.QUIET_COVE, park)))))
    outer, inner = (
        shapely.LinearRing([tuple(map(float, at.split(","))) for at in ring.text.split()])
        for ring in tree.iter(f"{KML}coordinates")
    )
    assert outer.is_ccw
    assert outer.equals(park.exterior)
    assert inner.equals(park.interiors[0])


def test_a_colour_is_opacity_blue_green_red():
    """KML 2.2, kml:color (M): aabbggrr."""
    tree = etree.fromstring(to_kml(exported.bay()))
    assert tree.findtext(f".//{KML}Style[@id='firm']/{KML}IconStyle/{KML}color") == "ff7d4f0f"
    assert tree.findtext(f".//{KML}Style[@id='park']/{KML}PolyStyle/{KML}color") == "3d687a2b"


def test_edges_are_short_enough_to_stay_on_their_parallel():
    stretch = layers(to_kml(exported.seam()))["Stretches"].geometry[0]
    for part in shapely.get_parts(stretch):
        lon, lat = shapely.get_coordinates(part).T
        assert set(lat) == {-10.2}
        assert max(abs(lon[1:] - lon[:-1])) < 0.0501


def test_what_crosses_the_antimeridian_is_cut_there():
    found = layers(to_kml(exported.seam()))
    isle, cap = found["Parks"].geometry
    assert isle.geom_type == "MultiPolygon"
    assert isle.area == pytest.approx(1 - 0.04, abs=1e-5)
    assert cap.bounds == (-180.0, 85.0, 180.0, 90.0)
    assert [len(shapely.get_parts(found[name].geometry[0])) for name in ("Stretches", "Walks")] == [2, 2]


def test_a_description_shows_verdict_walk_and_cautions():
    (corner,) = layers(to_kml(exported.bay()))["Corners"]["description"]
    shown = Seen(corner).shown
    for said in ("Yield 8: 4 grids x 2 parks.", "Verdict: firm", "Warning: Cliff.", "12 min out", *ALWAYS):
        assert said in shown


def test_the_document_says_whose_data_it_is():
    tree = etree.fromstring(to_kml(exported.bay()))
    shown = Seen(tree.findtext(f"{KML}Document/{KML}description")).shown
    assert "Data: Quiet Bay mapping club" in shown
    assert all(caution in shown for caution in ALWAYS)
    assert tree.findtext(".//{http://www.w3.org/2005/Atom}name") == "Quiet Bay club"


@given(st.one_of(st.sampled_from(exported.HOSTILE), exported.texts))
def test_text_stays_text_in_names_and_in_the_html_of_descriptions(text):
    tree = etree.fromstring(to_kml(exported.named(text)))
    assert len(list(tree.iter(f"{KML}Placemark"))) == 5 + 2 + 3 + 5
    for description in tree.iter(f"{KML}description"):
        assert {tag for tag, _ in Seen(description.text).tags} <= {"br"}
    for mark in tree.iterfind(f".//{KML}Folder[{KML}name='Corners']/{KML}Placemark"):
        assert f"Warning: {make_one_line(text, 300)}" in Seen(mark.findtext(f"{KML}description")).shown
    parks = tree.iterfind(f".//{KML}Folder[{KML}name='Parks']/{KML}Placemark")
    shown = " ".join(f"{make_one_line(text or '-')} {make_one_line(text)}".split())
    assert {" ".join((mark.findtext(f"{KML}name") or "").split()) for mark in parks} == {shown}


def test_a_parks_own_columns_are_told():
    tree = etree.fromstring(to_kml(exported.named("<i>Gull</i>", "managed & run by")))
    (park, *_) = tree.iterfind(f".//{KML}Folder[{KML}name='Parks']/{KML}Placemark")
    assert "managed & run by: <i>Gull</i>" in Seen(park.findtext(f"{KML}description")).shown
