"""Numbers and words as people read them, the same in every output, in metres and in feet.

Expected texts are worked by hand from the definitions: the international foot is 0.3048 m and the mile
1609.344 m, exactly (NIST Special Publication 811, 2008, appendix B.6).
"""

from __future__ import annotations

import io
import json
import math
import pickle
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import builders
import exported
import pytest
from cards import SAID
from page_reader import words

import scout
from scout.app.pack import build_pack
from scout.cautions import remark_on_fix_error
from scout.io.places import NamedPlace
from scout.model import Findings, LeftOut, Ranked, Station, Units, Visit
from scout.output import text
from scout.output.card import build_card
from scout.output.features import to_csv, to_geojson
from scout.output.gpx import to_gpx
from scout.output.journal import JournalParticulars, build_journal_page
from scout.output.kml import to_kml
from scout.output.report import format_answers, format_ranking
from scout.page.document import build_map
from scout.search.rank import edge_m
from scout.sight.outlook import describe_horizon

DEMO = Path(__file__).resolve().parents[1] / "data_demo"
BOTH: tuple[Units, Units] = ("metric", "imperial")
# A number, its unit, and no more of a word: 412 m, 1,353 ft, 9.96 km, but not "2 minutes".
LENGTH = re.compile(r"(?<![\w.])[\d,]*\.?\d+ (?:m|km|ft|mi)\b")


@pytest.mark.parametrize(
    ("metres", "metric", "imperial"),
    [
        (0.0, "0.0 m", "0.0 ft"),
        (-0.0, "0.0 m", "0.0 ft"),
        (0.05, "0.1 m", "0.2 ft"),  # 0.164 ft; the double lies above 0.05
        (0.25, "0.3 m", "0.8 ft"),  # a half goes up; 0.820 ft
        (3.01752, "3.0 m", "9.9 ft"),  # 9.9 ft
        (3.048, "3.0 m", "10 ft"),
        (9.94, "9.9 m", "33 ft"),
        (9.96, "10 m", "33 ft"),
        (412.5, "413 m", "1,353 ft"),  # 1353.3 ft
        (999.4, "999 m", "0.62 mi"),
        (999.5, "1.00 km", "0.62 mi"),
        (804.4, "804 m", "2,639 ft"),  # 2639.1 ft
        (804.672, "805 m", "0.50 mi"),  # half a mile
        (1609.344, "1.61 km", "1.00 mi"),
        (9960.0, "9.96 km", "6.19 mi"),  # 6.1888 mi
        (9994.9, "9.99 km", "6.21 mi"),
        (9995.0, "10.0 km", "6.21 mi"),
        (99_950.0, "100 km", "62.1 mi"),  # 62.106 mi
        (160_934.4, "161 km", "100 mi"),
        (1_609_344.0, "1,609 km", "1,000 mi"),
    ],
)
def test_a_length_has_three_digits_or_so(metres: float, metric: str, imperial: str) -> None:
    assert text.format_length(metres) == metric
    assert text.format_length(metres, "imperial") == imperial


@pytest.mark.parametrize(
    ("metres", "metric", "imperial"),
    [
        (5.3, "5.3 m inside", "17.4 ft inside"),  # 17.388 ft
        (-12.0, "12.0 m outside", "39.4 ft outside"),  # 39.370 ft
        (99.94, "99.9 m inside", "327.9 ft inside"),  # 327.887 ft
        (99.96, "100 m inside", "328 ft inside"),
        (-240.2, "240 m outside", "788 ft outside"),  # 788.06 ft
        (0.049, "on the boundary", "on the boundary"),
        (-0.051, "0.1 m outside", "0.2 ft outside"),
        (math.nan, "no park near", "no park near"),
        (math.inf, "unknown", "unknown"),
    ],
)
def test_a_clearance_keeps_its_tenths_where_a_verdict_hangs_on_it(
    metres: float, metric: str, imperial: str
) -> None:
    assert text.format_clearance(metres) == metric
    assert text.format_clearance(metres, "imperial") == imperial


@pytest.mark.parametrize(
    ("metres", "metric", "imperial"),
    [
        (4.9, "4.9 m", "16.1 ft"),  # 16.076 ft
        (5.0, "5 m", "16.4 ft"),
        (14.0, "14 m", "45.9 ft"),  # 45.932 ft
        (30.48, "30.48 m", "100 ft"),
        (0.0254, "0.025 m", "0.083 ft"),  # an inch: 0.0833 ft
        (999.9999, "1 km", "0.621 mi"),
        (3000.0, "3 km", "1.86 mi"),
        (80_000.0, "80 km", "49.7 mi"),
        (80_467.2, "80.467 km", "50 mi"),
    ],
)
def test_a_setting_reads_as_it_was_given(metres: float, metric: str, imperial: str) -> None:
    assert text.format_stated_length(metres) == metric
    assert text.format_stated_length(metres, "imperial") == imperial


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (0.0, "1 min"),
        (24.4, "24 min"),
        (24.5, "25 min"),
        (59.4, "59 min"),
        (59.6, "1 h 00 min"),
        (119.6, "2 h 00 min"),
    ],
)
def test_sixty_minutes_never_show(minutes: float, said: str) -> None:
    assert text.format_minutes(minutes) == said


@pytest.mark.parametrize(
    ("degrees", "said"),
    [(0.0, "north (0°)"), (22.4, "north (22°)"), (22.5, "north-east (23°)"), (359.6, "north (0°)")],
)
def test_a_bearing_just_west_of_north_is_north(degrees: float, said: str) -> None:
    assert text.format_bearing(degrees) == said


@pytest.mark.parametrize(
    "word",
    [
        text.format_length,
        text.format_fine_length,
        text.format_stated_length,
        text.format_minutes,
        text.format_probability,
    ],
)
@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf, -math.inf])
def test_what_is_no_quantity_is_unknown(word: Callable[[float], str], value: float) -> None:
    assert word(value) == "unknown"
    for other in (text.format_bearing, text.format_height, text.format_slope):
        if not math.isfinite(value):
            assert other(value) == "unknown"


def test_a_sentence_of_the_core_knows_its_lengths() -> None:
    near = text.MeasuredText("the road ", text.Length(412.3), " away")
    whole = text.MeasuredText("no way; ", near, ", under ", text.Length(3000.0, "stated"))
    assert whole == "no way; the road 412 m away, under 3 km"
    assert text.format_text(whole, "imperial") == "no way; the road 1,353 ft away, under 1.86 mi"
    assert text.format_text("Farm track 5 km", "imperial") == "Farm track 5 km"  # a name is data
    sent = pickle.loads(pickle.dumps(whole))  # workers send them
    assert (sent, sent.parts) == (whole, whole.parts)
    assert json.dumps([whole]) == json.dumps([str(whole)])


def test_the_remark_on_a_poor_receiver_quotes_the_rule_in_both_units() -> None:
    (remark,) = remark_on_fix_error(9.0)
    assert "9.0 m" in remark
    said = text.format_text(remark, "imperial")
    assert "29.5 ft" in said
    assert "more than 6.1 m (20 ft)" in said


# Every output in the reader's units


WARNING = text.MeasuredText("Overhead line ", text.Length(34.6), " away (Fen line): keep clear of it.")
NOTE = text.MeasuredText("Not claimed: Fen, ", text.Length(12.34, "fine"), " outside.")


def told(units: Units) -> Findings:
    """The bay with sentences of the core in it, near its walks."""
    found = exported.bay()
    spots = [
        replace(ranked, warnings=(WARNING,), spot=replace(ranked.spot, notes=(NOTE,)))
        for ranked in found.spots
    ]
    left = (LeftOut(text.MeasuredText("over ", text.Length(80_000.0, "stated"), " from home"), 3),)
    return replace(
        found, spots=spots, left_out=left, remarks=remark_on_fix_error(9.0), station=Station(7.0, 9.0, 14.0),
        home=(-20.0, 44.4), within_km=80.0, units=units,
    )  # fmt: skip


def outputs(found: Findings) -> Iterator[tuple[str, str]]:
    yield "terminal", "\n".join(format_ranking(found, 20))
    yield "page", words(build_map(found))
    yield "card", words(build_card(found, 1, SAID))
    yield "gpx", to_gpx(found).decode()
    yield "kml", to_kml(found).decode()


@pytest.mark.parametrize("units", BOTH)
def test_every_output_is_in_the_units_asked_for(units: Units) -> None:
    others = ("ft", "mi") if units == "metric" else ("m", "km")
    said = {"metric": "35 m away (Fen line)", "imperial": "114 ft away (Fen line)"}[units]  # 113.5 ft
    for name, shown in outputs(told(units)):
        shown = shown.replace("6.1 m (20 ft)", "")  # the award rule's own figure
        assert said in shown, name
        wrong = [length for length in LENGTH.findall(shown) if length.split()[1] in others]
        assert not wrong, (name, wrong)


def test_numbers_for_programs_stay_metric() -> None:
    metric, imperial = told("metric"), told("imperial")
    assert to_geojson(imperial) == to_geojson(metric)
    assert to_csv(imperial) == to_csv(metric)


def test_an_answer_and_a_journal_are_in_feet_when_asked() -> None:
    frame = builders.parks_frame((builders.QUIET_COVE, builders.box(-20.2, 44.9, -19.9, 45.1)))
    answer = scout.check("45.00005, -20", frame)
    place = NamedPlace("45.00005, -20", -20.0, 45.00005, "45.000050, -20.000000")
    lines = "\n".join(format_answers([place], [answer.checked], 2, Station(), True, "imperial"))
    assert "station radius 16.4 ft" in lines
    assert re.search(r"parallel 45\.000000: 18\.2 ft to the south \(180°\)", lines)  # 5.557 m
    assert not re.search(r"\d (m|km)\b", lines)
    visit = Visit(-20.0, 45.0, datetime(2026, 2, 14, tzinfo=UTC), error_m=3.048)
    assert "within 10.0 ft (95 %)" in words(build_journal_page([visit], JournalParticulars(units="imperial")))


# The demo


@pytest.fixture(scope="module")
def island() -> Findings:
    parks = scout.read_parks(
        *(DEMO / name for name in ("parks.geojson", "forest.gpkg", "corridors.geojson")), corridor_m=30.48
    )
    frame = scout.find(
        parks,
        home="41.0457 S 111.8914 W",
        min_grids=2,
        access=[DEMO / "access.geojson"],
        barriers=[DEMO / "barriers.geojson"],
        hazards=[DEMO / "hazards.geojson"],
        heights=[DEMO / "heights.tif"],
    )
    assert frame.findings is not None
    return replace(frame.findings, spots=tuple(frame.findings.spots))


def lengths_of(ranked: Ranked, found: Findings) -> set[str]:
    """Every length of a spot, each in its one wording."""
    spot, route, units = ranked.spot, ranked.route, found.units
    fine = [abs(c) for c in spot.verdict.clearances_m] + [spot.offset_m]
    fine += [] if spot.near is None else [spot.near.distance_m]
    fine += [m for m in [edge_m(ranked)] if m is not None]
    plain = [s.length_m for s in spot.stretches]
    plain += [] if ranked.home_km is None else [1000 * ranked.home_km]
    heights = []
    if route is not None:
        plain += [m for m in (route.length_m, route.off_path_m, route.straight_m) if m is not None]
        heights += [] if route.climb_m is None else [route.climb_m]
    station = (found.station.radius_m, found.station.fix_error_m, found.station.boundary_error_m)
    known = {text.format_fine_length(m, units) for m in fine}
    known |= {text.format_length(m, units) for m in plain}
    known |= {text.format_height(m, units) for m in heights}
    known |= {text.format_stated_length(m, units) for m in station}
    sentences = [*ranked.warnings, *spot.notes, *([route.reason] if route else [])]
    if ranked.horizon is not None:
        sentences += describe_horizon(ranked.horizon)
    for sentence in sentences:
        known |= set(LENGTH.findall(text.format_text(sentence, units)))
    return known


def said_of_spots(found: Findings) -> Iterator[tuple[str, Ranked, str]]:
    """What each output says of each spot."""
    lines = list(format_ranking(found, 99))
    page = build_map(found).split('<ol class="plain">')[1].split("</ol>")[0].split("<li>")[1:]
    waypoints = re.findall(r"<wpt.*?</wpt>", to_gpx(found).decode(), re.DOTALL)
    ranks = [ranked.rank for ranked in found.spots if ranked.spot.near is None]
    summary = open_summary(build_pack(found, ranks))
    for k, ranked in enumerate(found.spots):
        own = re.compile(rf"#?{ranked.rank} ")
        yield "terminal", ranked, "\n".join(line for line in lines if own.match(line))
        yield "page", ranked, words(page[k])
        yield "gpx", ranked, waypoints[k]
        if ranked.spot.near is None:
            yield "summary", ranked, summary[ranked.rank]
            # The scale of the sketch is a length of no spot.
            card = re.sub(r"<text.*?</text>", "", build_card(found, ranked.rank, SAID), flags=re.DOTALL)
            yield "card", ranked, words(card)


def open_summary(pack: bytes) -> dict[int, str]:
    with zipfile.ZipFile(io.BytesIO(pack)) as archive:
        paragraphs = archive.read("summary.txt").decode().split("\n\n")
    return {int(p[:2]): p for p in paragraphs if "(card-" in p}


@pytest.mark.parametrize("units", BOTH)
def test_of_the_demo_every_output_says_the_same_of_a_spot(island: Findings, units: Units) -> None:
    found, seen = replace(island, units=units), set()
    for name, ranked, said in said_of_spots(found):
        shown = set(LENGTH.findall(said))
        assert shown <= lengths_of(ranked, found), (name, ranked.rank, shown - lengths_of(ranked, found))
        seen |= {(name, length.split()[1]) for length in shown}
        if ranked.spot.near is None:
            assert text.format_clearance(ranked.spot.clearance_m, units) in said, (name, ranked.rank)
            assert text.format_probability(ranked.spot.verdict.confidence) in said, (name, ranked.rank)
        if ranked.home_km is not None and name in ("terminal", "page", "card"):
            assert text.format_length(1000 * ranked.home_km, units) in said, (name, ranked.rank)
        if ranked.route is not None and ranked.route.out_min is not None:
            assert text.format_minutes(ranked.route.out_min) in said, (name, ranked.rank)
    wide, high = ("km", "m") if units == "metric" else ("mi", "ft")
    assert {(name, unit) for name in ("terminal", "page", "card") for unit in (wide, high)} <= seen
