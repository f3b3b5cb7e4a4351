"""The card: complete, escaped, in its place, the same bytes every time; and its command.

QR codes are read by zxing-cpp, an implementation that is not the writer's.
"""

from __future__ import annotations

import hashlib
import math
import re
from base64 import b64encode
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import cards
import exported
import geopandas as gpd
import numpy as np
import pytest
import shapely
from builders import bay, corner_spot, findings, parks_frame
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from page_reader import Reader, words
from test_cli import park_file

from scout.cautions import ALWAYS
from scout.cli import main
from scout.errors import InputError
from scout.geo.coordinates.forms import format_geo_uri
from scout.geo.coordinates.parse import read_place
from scout.model import Findings, Surroundings, Units
from scout.output.card import (
    TALL_MM,
    WIDE_MM,
    CardParticulars,
    _format_clock,
    build_card,
    check_call_sign,
    choose_sizes,
    choose_spot,
    draw_calls,
    draw_cells,
)
from scout.output.sun import compute_sun_day, parse_zone

CALLS = st.from_regex(r"[A-Z0-9]{1,7}(/[A-Z0-9]{1,4}){0,2}", fullmatch=True).filter(lambda c: len(c) <= 16)


def codes_in(page: str) -> list[np.ndarray]:
    """The modules of the QR codes as pictures, from the strokes of their paths."""
    paths = re.findall(r'<svg viewBox="0 0 (\d+) \1" class="code"><path stroke="#000" d="([^"]+)"', page)
    return [draw_code(int(side), strokes) for side, strokes in paths]


def draw_code(side: int, strokes: str) -> np.ndarray:
    modules = np.full((side, side), 255, dtype=np.uint8)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", strokes):
        first, *rest = map(float, numbers.split())
        if command == "h":
            modules[int(y), int(x) : int(x + first)] = 0
            x += first
        else:
            x, y = (first, rest[0]) if command == "M" else (x + first, y + rest[0])
    return np.kron(modules, np.ones((8, 8), dtype=np.uint8))


def read_codes(page: str) -> list[str]:
    return [cards.read_code(code) for code in codes_in(page)]


@settings(max_examples=25)
@given(st.floats(-179.9, 179.9), st.floats(-89, 89))
def test_the_code_reads_as_the_geo_link_of_the_centre(lon: float, lat: float) -> None:
    (text,) = read_codes(build_card(cards.at(lon, lat), 1))
    assert text == format_geo_uri(lon, lat)
    back = read_place(text)
    assert (back.lon, back.lat) == pytest.approx((lon, lat), abs=6e-7)


def test_a_code_with_a_changed_place_reads_otherwise() -> None:
    pages = [build_card(cards.at(10.0, lat), 1) for lat in (45.0, 45.000001)]
    assert [read_codes(page) for page in pages] == [["geo:45.000000,10.000000"], ["geo:45.000001,10.000000"]]


def test_a_second_code_is_of_the_place_where_the_car_stays() -> None:
    page = build_card(exported.bay(), 1)
    assert read_codes(page) == ["geo:45.000000,-20.000000", "geo:45.001000,-20.006000"]
    assert "parking geo:45.001000, -20.006000" in words(page)
    assert read_codes(build_card(exported.bay(), 3)) == [format_geo_uri(*place_of(exported.bay(), 3))]


def place_of(found: Findings, rank: int) -> tuple[float, float]:
    return found.spots[rank - 1].spot.lon, found.spots[rank - 1].spot.lat


def numbers_in(text: str) -> list[float]:
    return [float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", text)]


@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_the_sketch_is_to_scale_and_north_up(units: Units) -> None:
    """Geodesics by `geographiclib` (R)."""
    found = exported.bay()
    page = build_card(replace(found, units=units), 1)
    (sketch,) = re.findall(r'<svg class="sketch".*</svg>\n<p', page, re.DOTALL)
    ((x, y),) = [tuple(map(float, at)) for at in re.findall(r'"spot" cx="([\d.]+)" cy="([\d.]+)"', sketch)]
    ((left, top),) = [
        tuple(map(float, at)) for at in re.findall(r'"start" x="([\d.]+)" y="([\d.]+)"', sketch)
    ]
    start = (left + 22, top + 22)
    line = Geodesic.WGS84.Inverse(45.001, -20.006, 45.0, -20.0)
    assert math.degrees(math.atan2(x - start[0], start[1] - y)) % 360 == pytest.approx(line["azi1"], abs=0.2)
    ((bar, text),) = re.findall(r'class="scale" d="[^"]*?h([\d.]+)v[^"]*"/>\n<text[^>]*>([^<]+)<', sketch)
    (told,) = numbers_in(text)
    metres = told * {"m": 1.0, "km": 1000.0, "ft": 0.3048}[text.split()[-1]]
    assert metres / float(bar) == pytest.approx(line["s12"] / math.dist(start, (x, y)), rel=3e-3)
    walk = np.array(numbers_in(re.findall(r'class="walk" d="([^"]+)"', sketch)[0])).reshape(-1, 2)
    assert walk[0] == pytest.approx(start, abs=0.2)
    assert walk[-1] == pytest.approx((x, y), abs=0.2)
    assert np.all((walk > 0) & (walk < 1000))


def test_distance_and_bearing_from_the_parking_stand_on_the_card() -> None:
    line = Geodesic.WGS84.Inverse(45.001, -20.006, 45.0, -20.0)
    said = f"from there {line['s12']:.0f} m straight, east ({line['azi1']:.0f}°)"
    assert said in words(build_card(exported.bay(), 1))


def test_a_boundary_near_is_in_the_sketch_with_its_name_and_the_cells() -> None:
    spot = corner_spot(10.0, 45.0, cards.CORNER, [("QX-1", "Moor")])
    found = findings([spot], parks_frame((("QX-1", "Moor"), shapely.box(9.9, 44.9, 10.004, 45.1))))
    page = build_card(found, 1)
    assert page.count('class="edge"') == 1
    for kind, text in (
        ("edge", "Moor"),
        ("cell", "JN45"),
        ("cell", "JN54"),
        ("lattice", "10° E"),
        ("lattice", "45° N"),
    ):
        assert re.search(f'class="{kind}-name"[^>]*>{text}<', page), text
    assert "none near" not in words(page)
    assert "none near" in words(build_card(cards.grove(1), 1))


def test_what_access_data_show_around_is_in_the_sketch() -> None:
    road = shapely.LineString([(9.99, 45.0005), (10.01, 45.0005)])
    bare = cards.grove(1)
    ways = gpd.GeoDataFrame(
        {"what": ["road"], "name": [""], "walk": [True], "drive": [True], "crossing": [False]},
        geometry=[road],
        crs=4326,
    )
    hazards = gpd.GeoDataFrame(
        {"what": ["power line"], "name": [""], "hazard": ["power"]}, geometry=[road], crs=4326
    )
    nothing = ways.iloc[:0]
    around = Surroundings(ways, nothing, nothing, nothing, hazards)
    page = build_card(replace(bare, surroundings=around), 1)
    assert page.count('class="roads"') == page.count('class="hazards"') == 1
    assert 'class="paths"' not in page
    assert "dots : hazards" in words(page)
    assert "dots : hazards" not in words(build_card(bare, 1))
    assert 'class="roads"' not in build_card(bare, 1)


ENTRY = [
    f"Reserve {k}: entry is restricted, say the boundary data; ask the land manager before you go."
    for k in (1, 2)
]


def test_who_may_enter_is_never_pushed_off_the_card() -> None:
    found = cards.full()
    (only,) = found.spots
    spot = replace(only.spot, notes=(*only.spot.notes, *ENTRY))
    text = words(build_card(replace(found, spots=(replace(only, spot=spot),)), 1, cards.SAID))
    assert "2 parks: entry is restricted" in text
    assert "Reserve 1; Reserve 2" in text
    assert re.search(r"and \d+ warnings more\.", text)
    assert re.search(r"and 7 notes more\.|and 6 notes more\.", text)
    (one,) = [replace(only, spot=replace(only.spot, notes=(*only.spot.notes, ENTRY[0])))]
    assert ENTRY[0] in words(build_card(replace(found, spots=(one,)), 1, cards.SAID))


@pytest.mark.parametrize(
    ("lon", "zone"),
    [(-111.9, "UTC-07:00"), (0.0, "UTC"), (179.9, "UTC+12:00"), (-179.9, "UTC-12:00"), (7.6, "UTC+01:00")],
)
def test_without_a_zone_local_time_is_that_of_the_longitude_and_says_so(lon: float, zone: str) -> None:
    said = CardParticulars("Q1AAA", day=date(2026, 6, 21))
    text = words(build_card(cards.at(lon, 45.0), 1, said))
    assert f"Local time is {zone}, taken from the longitude" in text
    # The Sun stands highest at noon of its own time, and clocks of the zone are within half an hour of that:
    # rise and set lie evenly about 12:00, but for the equation of time, 2 minutes in June (M).
    rise, set_ = (re.search(rf"{kind} (\d\d):(\d\d)", text) for kind in ("sunrise", "sunset"))
    middle = sum(60 * int(at[1]) + int(at[2]) for at in (rise, set_)) / 2
    assert abs(middle - 720) <= 33


def test_a_zone_that_can_hardly_be_meant_is_asked_about() -> None:
    text = words(build_card(exported.bay(), 1, cards.SAID))
    assert (
        "Local time is Pacific/Auckland, as given. That is 11 hours behind the Sun there: is it meant?"
        in text
    )
    # Western China keeps the time of the east: the furthest that clocks are from the Sun (C).
    west = CardParticulars(day=date(2026, 6, 21), zone=parse_zone("Asia/Shanghai"))
    assert "is it meant" not in words(build_card(cards.at(75.9, 39.4), 1, west))


def test_the_card_is_complete() -> None:
    text = words(build_card(exported.bay(), 1, cards.SAID))
    for said in (
        "Q1AAA", "Q0CLUB", "HN95", "IN05", "HN94", "IN04", "QX-001", "Quiet Cove", "QX-002", "Tern Marsh",
        "Centre the station on the corner itself.", "45.000000, -20.000000",
        "45° 00.0000' N 020° 00.0000' W", "27N 578815 4983437", "27T WK 78815 83436",
        "geo:45.000000, -20.000000", "250 m inside", "260 m inside", "over 99.9 %", "firm", "96.0 %",
        "5 m radius", "within 4.9 m", "within 14 m", "each 95 times in 100", "parking",
        "Gull car park", "45.001000, -20.006000", "12 min, 812 m, 120 m of it off paths", "walk back 10 min",
        "climb out 31 m", "Sun on 2026-06-21", "Local time is Pacific/Auckland", "sunrise", "sunset",
        "Power line 30 m north", "Cliff", "Two parks meet here.", "Number to call", "Back by",
        "slope here 7°", "Quiet Bay mapping club", "licence.example/by/4.0", "Spots round the bay",
        "68.2 km",
    ):  # fmt: skip
        assert said in text, said
    assert all(caution in text for caution in ALWAYS)


def test_what_is_not_known_is_left_to_fill_in() -> None:
    page = build_card(cards.grove(1), 1)
    text = words(page)
    assert "No roads and paths were given" in text
    assert "Park at" in text
    assert "Sunset" in text
    assert page.count('class="blank"') == 1  # for the call
    assert "club or event" not in text
    assert "out of reach: more than 120 min" in words(build_card(exported.bay(), 2))


def test_a_moved_station_shows_its_offset_and_the_corner_itself() -> None:
    text = words(build_card(cards.full(), 1))
    assert re.search(r"Centre the station 12\.3 m .*south-west \(225°\) of the corner\.", text)
    assert "45.000010, 10.000010" in text


def test_beyond_84_degrees_there_is_no_utm() -> None:
    text = words(build_card(cards.at(10.0, 87.0, ("JR57",)), 1))
    assert "UTM not defined so near the pole" in text
    assert "Z " in text.split("MGRS")[1][:6]


@pytest.mark.parametrize(
    ("locators", "rows"),
    [
        (("JN45", "JN55", "JN44", "JN54"), ["JN45 JN55", "JN44 JN54"]),
        (("RJ90", "AJ00", "RI99", "AI09"), ["RJ90 AJ00", "RI99 AI09"]),
        (("AJ00", "RJ90", "AI09", "RI99"), ["RJ90 AJ00", "RI99 AI09"]),
        (("JN45", "JN55", "JN54"), ["JN45 JN55", "- JN54"]),
        (("JN45", "JN44", "JN54"), ["JN45 -", "JN44 JN54"]),
        (("JN45", "JN55"), ["JN45 JN55"]),
        (("JN55", "JN54"), ["JN55", "JN54"]),
        (("JN55",), ["JN55"]),
    ],
)
def test_locators_lie_as_their_cells_do_north_up(locators: tuple[str, ...], rows: list[str]) -> None:
    drawn, expected = draw_cells(locators), [row.split() for row in rows]
    found = [["-"] * len(expected[0]) for _ in expected]
    for word in drawn.words:
        across = int((word.x + word.width / 2) / (WIDE_MM / len(expected[0])))
        down = int((word.y - word.size / 2) / (drawn.tall / len(expected)))
        found[down][across] = word.text
    assert found == expected
    assert len(drawn.rules) == (len(expected[0]) > 1) + (len(expected) > 1)


@pytest.mark.parametrize("locator", ["JN", "JN45", "JN45aa", "RR99xx99", "MM00mm00mm"])
def test_locators_of_every_level_can_be_read_at_the_table(locator: str) -> None:
    """Letters of a 150th of the distance, 10 mm at 1.5 m, are easily read (signage practice, C)."""
    drawn = draw_cells((locator,))
    assert 0.7 * drawn.words[0].size >= 10.0
    near = draw_cells(("JN45xa90xa", "JN55aa00aa", "JN44xx99xx", "JN54ax09ax"))
    assert 0.7 * near.words[0].size >= 10.0


@given(CALLS, st.one_of(st.just(""), CALLS))
def test_calls_stay_in_their_row_whatever_they_are(call: str, club: str) -> None:
    drawn = draw_calls(call, club)
    letters = [word for word in drawn.words if not word.label]
    assert "".join(word.text for word in letters) == call + club
    assert {word.size for word in letters} == {28.0}
    for word in letters:
        assert word.x >= 0
        assert word.x + word.width <= WIDE_MM + 1e-9
        assert word.size * 0.75 < word.y <= drawn.tall - 0.2 * word.size
    boxes = [shapely.box(w.x, w.y - 0.75 * w.size, w.x + w.width, w.y) for w in letters]
    assert all(not a.intersects(b) for k, a in enumerate(boxes) for b in boxes[:k])
    assert drawn.tall < 130


def test_two_short_calls_stand_side_by_side_and_long_ones_under_each_other() -> None:
    def lines(*given: str) -> set[float]:
        return {word.y for word in draw_calls(*given).words if not word.label}

    assert len(lines("Q1AAA", "Q0CLUB")) == 1
    assert len(lines("Q1AAA/P", "QQ0CLUB/M")) == 2
    assert len(lines("QQ1WWW/Q1WWW/MM", "Q0CLUB")) == 3


@pytest.mark.parametrize("bad", ["Q1 AAA", "Q1AAA//P", "/Q1AAA", "Q1AÄA", "<b>", "Q1AAA\n2", "Q" * 17])
def test_what_is_no_call_sign_is_refused(bad: str) -> None:
    with pytest.raises(InputError, match="call sign"):
        check_call_sign(bad)


@pytest.mark.parametrize("count", range(0, 60))
def test_parks_fill_what_is_left_and_no_more(count: int) -> None:
    for rows in (
        [draw_calls("Q1AAA")],
        [draw_calls("QQ1WWW/Q1WWW/MM", "QQ0CLUB/Q0CLUB"), draw_cells(cards.CORNER)],
    ):
        found = choose_sizes(count, rows)
        used = sum(each.tall for each in rows) + -(-found.shown // found.columns) * found.row
        assert used <= TALL_MM - 21
        assert found.reference >= 4.5
        assert found.reference * (1.15 + 2 * 0.62 * 1.2) <= found.row
        assert found.shown <= count
        assert found.shown == count or count > 6


def test_up_to_eight_parks_are_all_named_in_full_and_more_by_reference() -> None:
    text = words(build_card(cards.grove(8), 1, cards.SAID))
    assert all(f"QX-{k:03d}" in text and f"Grove {k}" in text for k in range(8))
    text = words(build_card(cards.grove(40), 1, cards.SAID))
    assert all(f"QX-{k:03d}" in text for k in range(40))
    assert "parks more" in text


def test_a_longer_text_shrinks_by_steps() -> None:
    found = choose_sizes(2, [draw_calls("Q1AAA"), draw_cells(cards.CORNER)])
    steps = [found.step("W" * n, found.reference, 1) for n in range(1, 80)]
    assert steps == sorted(steps)
    assert steps[0] == 0
    assert steps[-1] == 4


def test_two_cards_of_one_spot_are_the_same_bytes() -> None:
    assert build_card(exported.bay(), 1, cards.SAID) == build_card(exported.bay(), 1, cards.SAID)


def test_the_page_brings_all_it_needs_and_runs_nothing() -> None:
    page = build_card(exported.bay(), 1, cards.SAID)
    read = Reader(page)
    tags = {tag for tag, _ in read.elements}
    assert not tags & {"script", "img", "iframe", "object", "image", "use", "form", "base"}
    assert [attrs for tag, attrs in read.elements if tag == "link"] == [{"rel": "icon", "href": "data:,"}]
    assert [attrs["href"] for tag, attrs in read.elements if tag == "a"] == [
        "geo:45.000000,-20.000000",
        "geo:45.001000,-20.006000",
    ]
    names = {name for _, attrs in read.elements for name in attrs}
    assert not {name for name in names if name.startswith("on") or name in ("style", "src", "srcset")}
    (style,) = [text for tag, _, text in read.texts if tag == "style"]
    assert "url(" not in style
    assert "@import" not in style
    digest = b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in read.policy()
    assert read.policy().startswith("default-src 'none'")


@settings(max_examples=40)
@given(st.one_of(exported.texts, st.sampled_from(exported.HOSTILE)))
def test_text_from_data_stays_text(text: str) -> None:
    page = build_card(exported.named(text), 1, cards.SAID)
    page.encode("utf-8")
    plain = build_card(exported.bay(), 1, cards.SAID)
    assert {tag for tag, _ in Reader(page).elements} <= {tag for tag, _ in Reader(plain).elements} | {"p"}
    assert not re.search("[\x00-\x08\x7f\u202a-\u202e\u2066-\u2069\ufffe\uffff]", page)
    assert len(page) < 40_000 + 20 * 6 * min(len(text), 400)


def test_ten_thousand_letters_are_cut_with_a_sign() -> None:
    page = build_card(cards.full("W" * 10_000), 1, cards.SAID)
    assert "W" * 399 + "…" in page
    assert "W" * 400 not in page


@pytest.mark.parametrize(
    ("rank", "said"), [(0, "1 to 5"), (6, "1 to 5"), (-1, "1 to 5"), (5, "near miss"), (10**12, "1 to 5")]
)
def test_a_spot_that_is_no_place_to_stand_has_no_card(rank: int, said: str) -> None:
    with pytest.raises(InputError, match=said):
        build_card(bay(), rank)


def test_a_part_of_a_list_keeps_its_ranks() -> None:
    part = replace(bay(), spots=bay().spots[2:4])
    assert choose_spot(part, 4).rank == 4
    with pytest.raises(InputError, match="not in the list"):
        choose_spot(part, 1)
    with pytest.raises(InputError, match="nothing was found"):
        choose_spot(replace(bay(), spots=()), 1)


def test_clocks_round_to_the_minute_and_name_another_day() -> None:
    day = date(2026, 6, 21)
    assert _format_clock(datetime(2026, 6, 21, 3, 43, 29, tzinfo=UTC), day, UTC) == "03:43"
    assert _format_clock(datetime(2026, 6, 21, 3, 59, 31, tzinfo=UTC), day, UTC) == "04:00"
    assert _format_clock(datetime(2026, 6, 21, 23, 59, 45, tzinfo=UTC), day, UTC) == "00:00 (+1 day)"
    assert (
        _format_clock(datetime(2026, 6, 21, 23, 0, tzinfo=UTC), day, parse_zone("+02:00")) == "01:00 (+1 day)"
    )


def test_where_the_sun_stays_up_the_card_says_so() -> None:
    said = CardParticulars("Q1AAA", day=date(2026, 6, 21))
    assert "The Sun stays up all day." in words(build_card(cards.at(19.0, 70.0, ("JQ90",)), 1, said))
    said = replace(said, day=date(2026, 12, 21))
    text = words(build_card(cards.at(19.0, 70.0, ("JQ90",)), 1, said))
    assert "The Sun stays below the horizon all day." in text
    assert "twilight begins" in text
    assert compute_sun_day(19.0, 70.0, said.day).always == "down"


@pytest.mark.parametrize(
    "bad", ["Pacific/Aukland", "Africa", "../../x", "+15:00", "-01:75", "", "noon", "/etc"]
)
def test_what_is_no_zone_is_refused_with_a_way_out(bad: str) -> None:
    with pytest.raises(InputError, match="zone"):
        parse_zone(bad)


@pytest.fixture
def corner_park(tmp_path: Path) -> Path:
    return park_file(tmp_path / "parks.geojson", ("Ёлка <b>公園</b>", shapely.box(9.9, 44.9, 10.1, 45.1)))


def test_the_command_writes_the_card_of_the_spot_that_find_lists(
    corner_park: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "card.html"
    words_given = ["card", "1", "--parks", str(corner_park), "--out", str(target), "--call", "q1aaa/p"]
    assert main([*words_given, "--date", "2026-06-21", "--zone", "+02:00"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("#1 corner, firm: JN45 JN55 JN44 JN54 in parks-0 at 45.000000, 10.000000\n")
    text = words(target.read_text(encoding="utf-8"))
    assert "Q1AAA/P" in text
    assert "Ёлка <b>公園</b>" in text
    assert "Local time is UTC+02:00, as given." in text


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (["--date", "2026-02-30"], "--date 2026-02-30: is no day; write year, month, day: 2026-06-21"),
        (["--date", "1850-01-01"], "--date 1850-01-01: is too far away; give one from 1950 to 2100"),
        (["--zone", "UTC"], "--zone: there is no day to tell the Sun's times of; add --date"),
        (["--date", "2026-01-01", "--zone", "Mars"], "zone Mars: is no time zone known here"),
        (["--call", "Q1 A"], "call sign Q1 A: takes letters, digits and strokes"),
        (["--club-call", "Q" * 40], "is longer than 16 signs"),
        (["--out", "card.pdf"], "--out card.pdf: this is a web page; name it .html"),
    ],
)
def test_bad_words_give_one_line_and_write_nothing(
    corner_park: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], line: str
) -> None:
    target = tmp_path / "card.html"
    assert main(["card", "1", "--parks", str(corner_park), "--out", str(target), *more]) == 2
    said = capsys.readouterr()
    assert line in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""
    assert not target.exists()


def test_a_number_that_is_not_listed_leaves_the_old_card_whole(
    corner_park: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "card.html"
    target.write_text("old", encoding="utf-8")
    assert main(["card", "77", "--parks", str(corner_park), "--out", str(target)]) == 2
    assert "spot 77: is not in the list; give a number from 1 to" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "old"
    assert main(["card", "1", "--out", str(target)]) == 2
    assert "no boundary file is named" in capsys.readouterr().err


def test_the_command_asks_about_a_zone_that_can_hardly_be_meant(
    corner_park: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given_words = ["card", "1", "--parks", str(corner_park), "--out", str(tmp_path / "card.html")]
    assert main([*given_words, "--date", "2026-06-21", "--zone", "-11:00"]) == 0
    line = "WARNING: local times are those of UTC-11:00. That is 12 hours"
    assert line in capsys.readouterr().out
    assert main([*given_words, "--date", "2026-06-21", "--zone", "+02:00"]) == 0
    assert "WARNING" not in capsys.readouterr().out
