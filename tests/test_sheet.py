"""The arrival sheet: drawn to scale, complete, escaped, the same bytes every time.

Where things should lie in its pictures is worked out with `geographiclib` (Karney 2013), not with scout.
"""

from __future__ import annotations

import hashlib
import math
import re
from base64 import b64encode
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from page_reader import Reader, words
from recordings import fixes_at, noise
from sheets import HOSTILE, alder, hostile_sheet, judged, parks_of, sheet, standing

from scout.cautions import ON_ARRIVAL
from scout.model import Station
from scout.output.sheet import SheetParticulars, build_sheet
from scout.output.sheet_plan import SheetGround, draw_around, draw_close_up

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def pictures(arrival, parks):
    found = arrival.standstill
    ground = SheetGround(found.lon, found.lat, arrival.level, arrival.checked.parks, parks)
    return draw_close_up(arrival, ground), draw_around(arrival, ground)


def vertices(path):
    return np.array([float(v) for v in NUMBER.findall(path.replace("h0", ""))]).reshape(-1, 2)


def unit_of(arrival, picture, lon, lat):
    """Where a place must lie in a picture, by a geodesic from its middle."""
    found = arrival.standstill
    line = Geodesic.WGS84.Inverse(found.lat, found.lon, lat, lon)
    turn, reach = math.radians(line["azi1"]), line["s12"] * 500 / picture.half_m
    return np.array([500 + reach * math.sin(turn), 500 - reach * math.cos(turn)])


def distance_to(path, point):
    """Units from a point to the lines of a path."""
    parts = [vertices(part) for part in path.split("M")[1:]]
    return min(shapely.LineString(part).distance(shapely.Point(point)) for part in parts)


def test_every_length_of_a_picture_has_one_scale():
    arrival = judged(station=Station(7.0))
    near, wide = pictures(arrival, alder())
    for picture in (near, wide):
        per_metre = 500 / picture.half_m
        assert picture.station_r == pytest.approx(7.0 * per_metre, abs=0.06)
        assert picture.scale_length == pytest.approx(picture.scale_m * per_metre, abs=0.06)
        assert 100 < picture.scale_length < 500
    assert near.error_r == pytest.approx(arrival.standstill.error_95_m * 500 / near.half_m, abs=0.06)


def test_fixes_lie_where_they_were_recorded_north_up():
    arrival = judged()
    near, _ = pictures(arrival, alder())
    dots = vertices(near.used)
    assert len(dots) <= arrival.standstill.n_used
    for k in (0, 7, 111, 299):
        there = unit_of(arrival, near, arrival.fixes.lon[k], arrival.fixes.lat[k])
        assert np.hypot(*(dots - there).T).min() < 1.0


def test_a_dropped_fix_is_a_cross_and_one_beyond_the_picture_an_arrow():
    arrival = judged()
    near, _ = pictures(arrival, alder())
    assert near.dropped.count("M") == 1
    there = unit_of(arrival, near, arrival.fixes.lon[50], arrival.fixes.lat[50])
    start = vertices(near.dropped.split("l")[0])[0]
    assert start + 9 == pytest.approx(there, abs=0.2)
    (arrow,) = near.beyond
    assert arrow.away in ("89.9 m", "90.0 m", "90.1 m")
    assert (arrow.x, arrow.y) == pytest.approx((500, 984), abs=20)
    assert arrow.turn_deg == pytest.approx(180, abs=1)


@pytest.mark.parametrize("lat", [-60.0, 0.0, 45.0, 75.0])
def test_lattice_lines_boundaries_and_areas_lie_where_they_are(lat):
    parks = alder(lat=lat)
    arrival = judged(standing(10.00005, lat - 0.00003), parks)
    for picture in pictures(arrival, parks):
        upright, level = picture.lattice
        assert distance_to(upright, unit_of(arrival, picture, 10.0, arrival.standstill.lat)) < 0.3
        assert distance_to(level, unit_of(arrival, picture, arrival.standstill.lon, lat)) < 0.3
        edge = unit_of(arrival, picture, 10.0002, arrival.standstill.lat)
        (line,) = picture.edges
        assert distance_to(line, edge) < 0.3
        (area,) = picture.areas
        rings = shapely.Polygon(vertices(area))
        assert rings.contains(shapely.Point(edge - [3, 0]))
        assert not rings.contains(shapely.Point(edge - [-3, 0]))


def test_an_inholding_is_drawn_and_left_unshaded():
    parks = alder(inholding=True)
    arrival = judged(parks=parks)
    assert arrival.checked.parks[0].at_inholding
    for picture in pictures(arrival, parks):
        (area,), (line,) = picture.areas, picture.edges
        assert area.count("Z") == 2
        assert line.count("M") == 2
        corner = unit_of(arrival, picture, 9.9999, 45.0001)
        assert distance_to(line, corner) < 0.3


def test_the_antimeridian_draws_as_any_other_meridian():
    there, here = (judged(standing(lon), alder(lon)) for lon in (180.0, 10.0))
    for other, one in zip(pictures(there, alder(180.0)), pictures(here, alder(10.0)), strict=True):
        for mine, theirs in zip(one.edges + one.areas, other.edges + other.areas, strict=True):
            assert vertices(mine) == pytest.approx(vertices(theirs), abs=0.2)
        names = {label.text for label in other.labels if label.kind == "cell"}
        assert names == {"RN95", "AN05", "RN94", "AN04"}


def test_lines_cells_and_parks_are_named_inside_the_picture():
    arrival = judged()
    for picture in pictures(arrival, alder()):
        named = {(label.kind, label.text) for label in picture.labels}
        assert {("lattice", "10° E"), ("lattice", "45° N"), ("edge", "Alder Heath")} <= named
        assert {text for kind, text in named if kind == "cell"} == {"JN44", "JN45", "JN54", "JN55"}
        assert all(0 <= label.x <= 1000 and 0 < label.y <= 1000 for label in picture.labels)


def test_a_cell_is_named_in_its_own_part_of_the_picture():
    near, _ = pictures(judged(), alder())
    at = {label.text: (label.x, label.y) for label in near.labels if label.kind == "cell"}
    assert at["JN45"][0] < at["JN55"][0]
    assert at["JN45"][1] < at["JN44"][1]
    assert at["JN54"] == pytest.approx((988, 988))


def test_finer_levels_name_minutes_and_seconds_and_give_up_where_lines_would_be_a_hatching():
    parks = alder()
    near, wide = pictures(judged(standing(10.0001, 45.00005), parks, level=5), parks)
    assert {"10° E", "45° N"} <= {label.text for label in near.labels}
    assert wide.crowded
    assert wide.lattice == ()
    assert "more lattice lines here than can be drawn" in sheet(standing(10.0001, 45.00005), parks, level=5)
    found = judged(standing(10 + 5 / 60, 45 + 2.5 / 60), parks, level=3)
    near, _ = pictures(found, parks)
    assert {"10° 5' E", "45° 2' 30\" N"} <= {label.text for label in near.labels}


def test_without_a_boundary_near_there_is_one_picture_and_the_sheet_says_so():
    parks = parks_of((("Q-1", "Alder Heath"), shapely.box(9, 44, 11, 46)))
    near, wide = pictures(judged(parks=parks), parks)
    assert wide is None
    assert near.inside == ("Alder Heath",)
    text = words(sheet(parks=parks))
    assert "boundary, inside shaded: none in the picture" in text
    assert "All of the picture lies inside Alder Heath" in text
    assert "Alder Heath" not in words(sheet(parks=parks_of((("Q-9", "Far"), shapely.box(50, 1, 51, 2)))))


def test_the_sheet_is_complete():
    arrival = judged()
    text = words(sheet())
    for said in (
        "Q1AAA", "A. Wren", "On the line", "scout arrive a.log", "2026-03-01", "0" * 64, "made.nmea",
        "parks-0.gpkg", "EPSG:4269 (NAD83)", "a null shift", "stated accuracy 4 m",
        "2024-05-01, 10:15:00 to 10:19:59 UTC",
        "4 min 59 s", "298 used of 300; 2 dropped", "GPS.gov", "two photographs", "Alder Heath Q-1",
        f"{arrival.standstill.error_95_m:.1f} m", arrival.checked.verdict.word, "fix 51", "fix 121",
        "signature",
    ):  # fmt: skip
        assert said in text, said
    assert all(caution in text for caution in ON_ARRIVAL)
    assert all(note in text for note in arrival.notes)
    assert "sigma" not in text
    assert "the true place lies within it 95 times in 100" in text
    for term in (
        "one receiver error moves grids and parks at once",
        "independent",
        "95 % radius",
        "normal",
        "floor",
        "WGS 84",
        "middle of the station",
    ):
        assert term in text


def test_what_is_not_given_is_left_to_fill_in():
    parks = alder()
    text = build_sheet(judged(), parks, SheetParticulars())
    assert text.count('class="fill"') == 2
    assert "SHA-256" not in text
    assert "on a day not given" in text


def test_what_does_not_fit_is_counted():
    boxes = [((f"Q-{k}", f"Park {k}"), shapely.box(9.9, 44.9, 10.1, 45.1 + k / 100)) for k in range(9)]
    near = [((f"R-{k}", f"Rim {k}"), shapely.box(10.001 + k / 1e5, 44.9, 10.1, 45.1)) for k in range(3)]
    east, north = noise(600)
    east[::40] += 60.0
    fixes = replace(fixes_at(east, north, lon=10.0, lat=45.0), notes=tuple(f"note {k}." for k in range(20)))
    text = words(sheet(fixes, parks_of(*boxes, *near, sources=7)))
    assert "and 6 parks more." in text
    assert "and 3 more" in text
    assert "and 3 files more." in text
    assert re.search(r"and \d+ notes more\.", text)
    assert "and 12 more." in text.split("Dropped: fix")[1]  # of 15: the notes have taken the room


def test_two_sheets_of_one_recording_are_the_same_bytes():
    assert sheet() == sheet()
    assert sheet().endswith("</html>\n")


def test_the_page_brings_all_it_needs_and_runs_nothing():
    read = Reader(sheet())
    tags = {tag for tag, _ in read.elements}
    assert not tags & {"script", "img", "iframe", "object", "image", "use", "a", "form", "base"}
    assert [attrs for tag, attrs in read.elements if tag == "link"] == [{"rel": "icon", "href": "data:,"}]
    names = {name for _, attrs in read.elements for name in attrs}
    assert not {name for name in names if name.startswith("on") or name in ("style", "src", "srcset")}
    (style,) = [text for tag, _, text in read.texts if tag == "style"]
    assert "url(" not in style
    assert "@import" not in style
    digest = b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert read.policy() == (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    assert "http:" not in sheet().replace("http-equiv", "")
    assert "https:" not in sheet()


def test_text_from_data_stays_text():
    page = hostile_sheet()
    read = Reader(page)
    assert {tag for tag, _ in read.elements} <= {tag for tag, _ in Reader(sheet()).elements}
    assert not {name for _, attrs in read.elements for name in attrs if name.startswith("on")}
    shown = words(page)
    for name in HOSTILE[:4]:
        assert name in shown
    assert "\u202e" not in page
    assert "\u2028" not in page
    assert "W" * 500 not in page
    assert "…" in page


def test_pictures_are_well_formed_and_described():
    for page in (sheet(), hostile_sheet()):
        for text in re.findall(r'<svg class="picture".*?</svg>\n<rect.*?</svg>', page, re.DOTALL):
            root = ElementTree.fromstring(text)
            assert root.get("role") == "img"
            assert root.find("title").text
            assert root.find("desc").text


def test_a_long_recording_makes_no_long_page():
    assert len(sheet(fixes_at(*noise(20_000), lon=10.0, lat=45.0))) < 150_000


def test_a_recording_that_moved_shows_the_rest_as_other_marks():
    east, north = noise(400, 0.6)
    east[:100] += np.linspace(-200, -8, 100)
    arrival = judged(fixes_at(east, north, lon=10.0, lat=45.0))
    assert arrival.standstill.moved
    near, _ = pictures(arrival, alder())
    others = 400 - arrival.standstill.n_used - len(arrival.standstill.outliers)
    assert near.others_beyond + near.others.count("M") <= others
    assert near.others_beyond > 0
    assert "not of this standstill" in words(sheet(fixes_at(east, north, lon=10.0, lat=45.0)))


@pytest.mark.parametrize("lat", [90.0, 89.99999, -90.0])
def test_at_a_pole_the_sheet_can_still_be_made(lat):
    fixes = fixes_at(*noise(50), lon=0.0, lat=lat)
    parks = parks_of((("Q-1", "Ice"), shapely.box(-180, 80, 180, 90)))
    assert "</html>" in sheet(fixes, parks)


@pytest.mark.parametrize(("size", "sigma"), [(1, 0.0), (2, 1.0), (50, 0.0), (60, 15.0)])
def test_few_equal_and_poor_fixes_can_be_drawn(size, sigma):
    page = sheet(fixes_at(*noise(size, sigma), lon=10.0, lat=45.0))
    assert "nan" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL).lower().replace(
        "finance", ""
    )
