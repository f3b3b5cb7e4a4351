"""``scout arrive``: a recording becomes a position, an answer and an exit status, as a user types it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from builders import parks_frame
from geographiclib.geodesic import Geodesic
from recordings import START, fixes_at, gga, gpx, noise, rmc, track, trkpt

from scout.cautions import ON_ARRIVAL
from scout.cli import main
from scout.model import ParkReport, Parks, Station
from scout.recording import arrive as facts
from scout.recording.arrive import judge_arrival
from scout.recording.standstill import settle_fixes
from scout.recording.values import ReadCounts

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "data_demo"
RECORDING = str(DEMO / "standstill.nmea")
PARKS = [str(DEMO / name) for name in ("parks.geojson", "forest.gpkg")]
# The recording's receiver lay on this corner (data_demo/README.md).
LON, LAT = -112.0, -41.0


@pytest.fixture
def run(capsys):
    def typed(*words: object) -> tuple[int, str, str]:
        status = main([str(word) for word in words])
        shown = capsys.readouterr()
        return status, shown.out, shown.err

    return typed


@pytest.fixture
def park(tmp_path):
    """A park of 20 km about 45 N 10 E, the corner of four squares."""
    path = tmp_path / "park.geojson"
    shape = shapely.geometry.mapping(shapely.box(9.9, 44.9, 10.1, 45.1))
    properties = {"id": "Q-1", "name": "Ёлка <b>\x1b[31m"}
    path.write_text(json.dumps({"type": "Feature", "properties": properties, "geometry": shape}), "utf-8")
    return path


def angle(degrees: float, width: int) -> str:
    whole, rest = divmod(abs(degrees), 1)
    return f"{int(whole):0{width}d}{rest * 60:08.5f}"


def log(path: Path, east, north, dated: bool = True) -> Path:
    """An NMEA 0183 log about 45 N 10 E from 10:15:00 on, a fix a second."""
    lines = []
    for k, (e, n) in enumerate(zip(east, north, strict=True)):
        end = Geodesic.WGS84.Direct(45.0, 10.0, float(np.degrees(np.arctan2(e, n))), float(np.hypot(e, n)))
        clock = f"10{15 + k // 60:02d}{k % 60:02d}"
        lat, lon = f"{angle(end['lat2'], 2)},N", f"{angle(end['lon2'], 3)},E"
        lines.append(gga(clock, lat=lat, lon=lon))
        if dated:
            lines.append(rmc(clock, lat=lat, lon=lon))
    path.write_text("\r\n".join(lines), "ascii")
    return path


def test_the_demo_recording_stands_on_the_corner_in_two_parks(run):
    status, out, err = run("arrive", RECORDING, "--parks", *PARKS, "--station-radius", 8)
    assert (status, err) == (0, "")
    where = re.search(r"latitude, longitude +(-41\.\d{6}), (-11[12]\.\d{6})", out)
    off_m = Geodesic.WGS84.Inverse(LAT, LON, float(where[1]), float(where[2]))["s12"]
    radius_m = float(re.search(r"95 % radius +(\d\.\d) m", out)[1])
    assert 4.9 < radius_m < 7
    assert off_m < radius_m
    assert "2026-02-14, 18:05:00 to 18:14:59 UTC" in out
    assert "9 min 59 s" in out
    assert "595 used of 600; 5 dropped as far off" in out
    # the seconds that data_demo/island/standstill.py throws off, counted from 1
    assert re.findall(r"Dropped: fix (\d+)", out) == ["98", "99", "232", "367", "368"]
    assert "HDOP 0.8; 12 satellites; fix type autonomous" in out
    assert "0 checksum errors" in out
    assert "floor                4.9 m (95 %)" in out
    assert f"fix error {radius_m} m, this recording's" in out
    assert "DE39 DE49 DE38 DE48 x 2 parks = 8" in out
    assert out.splitlines()[-len(ON_ARRIVAL) :] == list(ON_ARRIVAL)
    assert "Verdict: firm." in out


def test_locators_are_given_at_every_level(run):
    _, out, _ = run("arrive", RECORDING, "--parks", *PARKS)
    locators = re.search(r"locators +(.+)", out)[1].split()
    assert [len(text) for text in locators] == [2, 4, 6, 8, 10]
    assert all(long.startswith(short) for short, long in pairwise(locators))


def test_the_answer_is_that_of_check_for_the_same_place_and_error(run):
    status, out, _ = run("arrive", RECORDING, "--parks", *PARKS, "--json")
    given = json.loads(out)
    found = given["standstill"]
    place, error = f"{found['lat']:.9f},{found['lon']:.9f}", f"{found['error_95_m']:.9f}"
    again, out, _ = run("check", place, "--parks", *PARKS, "--fix-error", error, "--json")
    (expected,) = json.loads(out)
    assert status == again == 1
    for name in ("locators", "parks", "verdict", "driver"):
        assert given["answer"][name] == expected[name]
    assert given["answer"]["confidence"] == pytest.approx(expected["confidence"], abs=1e-5)
    for mine, theirs in zip(given["answer"]["lines"], expected["lines"], strict=True):
        assert mine["distance_m"] == pytest.approx(theirs["distance_m"], abs=2e-3)
    assert given["answer"]["move"]["locators"] == expected["move"]["locators"]
    assert given["answer"]["move"]["distance_m"] == pytest.approx(expected["move"]["distance_m"], abs=0.3)


def test_json_holds_everything_and_null_for_what_is_not_known(run, tmp_path, park):
    points = trkpt(lat="45.00001", lon="10.00001") * 20
    path = tmp_path / "track.gpx"
    path.write_text(gpx(track(points)), "utf-8")
    status, out, err = run("arrive", path, "--parks", park, "--json")
    assert (status, err) == (1, "")
    found = json.loads(out, parse_constant=pytest.fail)["standstill"]
    assert found["kind"] == "GPX"
    assert (found["hdop"], found["satellites"], found["start"], found["duration_s"]) == (None,) * 4
    assert found["independent_fixes"] == 1
    assert found["fixes"] == found["fixes_used"] == 20
    assert any("one place" in note for note in found["notes"])


def test_a_recording_that_moves_gives_its_longest_standstill_and_says_so(run, tmp_path, park):
    east, north = noise(240, 0.5)
    east[:60] += np.linspace(400, 40, 60)
    status, out, _ = run("arrive", log(tmp_path / "a.log", east, north), "--parks", park)
    assert status in (0, 1)
    assert "The receiver moved" in out
    assert "not of this standstill" in out


def test_a_recording_that_only_moves_is_refused_and_an_old_sheet_stays_whole(run, tmp_path, park):
    sheet = tmp_path / "sheet.html"
    sheet.write_text("old", "utf-8")
    walk = log(tmp_path / "a.log", np.linspace(0, 3000, 300), np.zeros(300))
    before = sorted(p.name for p in tmp_path.iterdir())
    status, out, err = run("arrive", walk, "--parks", park, "--sheet", sheet)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "the receiver moved" in err
    assert sheet.read_text("utf-8") == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_checksum_errors_are_counted_and_told(run, tmp_path, park):
    path = log(tmp_path / "a.log", *noise(120, 0.5))
    lines = path.read_text("ascii").splitlines()
    for k in (4, 40, 80):
        lines[k] = lines[k].replace(",N,", ",S,")
    assert len(lines) == 240
    path.write_text("\r\n".join(lines), "ascii")
    _, out, _ = run("arrive", path, "--parks", park)
    assert "3 checksum errors" in out
    assert "the first in line 5" in out


def test_a_log_without_a_date_says_so(run, tmp_path, park):
    _, out, _ = run("arrive", log(tmp_path / "a.log", *noise(60, 0.5), dated=False), "--parks", park)
    assert "10:15:00 to 10:15:59 UTC, the date was not recorded" in out


def test_a_poor_fix_is_remarked_with_the_bound_of_published_award_rules(run, tmp_path, park):
    # 20 ft of the award rules of September 2008, references 9 (R), is 6.096 m
    _, out, _ = run("arrive", log(tmp_path / "a.log", *noise(300, 15.0)), "--parks", park)
    assert "refuse a receiver that shows more than 6.1 m (20 ft)" in out
    _, out, _ = run("arrive", log(tmp_path / "b.log", *noise(300, 0.5)), "--parks", park)
    assert "20 ft" not in out


def test_text_from_files_cannot_steer_the_terminal(run, tmp_path, park):
    _, out, _ = run("arrive", log(tmp_path / "a.log", *noise(60, 0.5)), "--parks", park)
    assert "Ёлка <b>" in out
    assert "\x1b" not in out


def test_the_sheet_is_written_and_json_stays_json(run, tmp_path, park):
    path, sheet = log(tmp_path / "a.log", *noise(60, 0.5)), tmp_path / "s.html"
    words = (
        "--parks",
        park,
        "--sheet",
        sheet,
        "--call",
        "Q1AAA",
        "--operator",
        "A. Wren",
        "--title",
        "Line",
    )
    _, out, err = run("arrive", path, *words)
    assert out.endswith(f"Wrote {sheet}\n")
    text = sheet.read_text("utf-8")
    assert all(said in text for said in ("Q1AAA", "A. Wren", "<bdi>Line</bdi>"))
    _, out, err = run("arrive", path, *words, "--json")
    assert json.loads(out)["answer"]["locators"]
    assert err == f"Wrote {sheet}\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["a.log", "--parks", "park.geojson", "--sheet", "s.pdf"], "name it .html"),
        (["a.log", "--parks", "park.geojson", "--sheet", "nowhere/s.html"], "there is no folder nowhere"),
        (["a.log", "--parks", "park.html", "--sheet", "park.html"], "one of the files to read"),
        (["fixes.html", "--parks", "park.geojson", "--sheet", "fixes.html"], "one of the files to read"),
        (["a.log", "--parks", "park.geojson", "--station-radius", "0"], "give a radius over 0"),
        (["a.log", "--parks", "park.geojson", "--boundary-error", "nan"], "is not a length"),
        (["a.log", "--parks", "park.geojson", "--level", "cell"], "use one of field"),
        (["a.log", "--parks", "park.geojson", "--fix-error", "3"], "--fix-error"),
        (["none.log", "--parks", "park.geojson"], "there is no such file"),
        (["park.geojson", "--parks", "park.geojson"], "neither an NMEA 0183 log nor a GPX file"),
        (["a.log", "--parks", "a.log"], "a.log"),
        (["a.log"], "--parks"),
        (["--parks", "park.geojson"], "FIXES"),
    ],
)
def test_bad_input_is_one_line_and_status_2(run, tmp_path, park, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    log(tmp_path / "a.log", *noise(30, 0.5))
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    status, out, err = run("arrive", *words)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert says in err
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_in_memory_the_stations_fix_error_is_the_recordings():
    parks = Parks(parks_frame((("Q-1", "Alder Heath"), shapely.box(9, 44, 11, 46))), (), ParkReport())
    fixes = fixes_at(*noise(600), lon=10.0, lat=45.0)
    arrival = judge_arrival(fixes, parks, station=Station(9.0, 0.1, 20.0))
    assert arrival.station == Station(9.0, settle_fixes(fixes).error_95_m, 20.0)
    assert arrival.checked.verdict.word == "firm"
    assert len(arrival.checked.verdict.locators) == 4
    assert (arrival.checked.lon, arrival.checked.lat) == (arrival.standstill.lon, arrival.standstill.lat)


@pytest.mark.parametrize(
    ("time", "when", "long"),
    [
        (START + np.arange(60), "2024-05-01, 10:15:00 to 10:15:59 UTC", "0 min 59 s"),
        (
            START + 13.7 * 3600 + np.arange(0, 7290, 30),
            "2024-05-01 23:57:00 to 2024-05-02 01:58:00 UTC",
            "2 h 01 min",
        ),
        (np.array([np.nan]), "the recording has no times", "not known"),
    ],
)
def test_times_are_utc_with_the_date_on_both_sides_of_midnight(time, when, long):
    found = settle_fixes(fixes_at(*noise(len(time)), time=time))
    assert facts.describe_time(found) == [("when", when), ("how long", long)]


def test_what_the_receiver_says_is_told_and_what_it_does_not_say_too():
    mixed = fixes_at(*noise(50), quality=np.repeat([1, 2], [20, 30]), hdop=np.full(50, 1.24))
    told = dict(facts.describe_recording(mixed, settle_fixes(mixed)))
    assert told["receiver"] == "HDOP 1.2; fix type differential (30), autonomous (20)"
    plain = fixes_at(*noise(50), quality=np.full(50, -1))
    silent = replace(plain, kind="GPX", counts=ReadCounts(lines=53, unreadable=3))
    told = dict(facts.describe_recording(silent, settle_fixes(silent)))
    assert told["receiver"] == "states neither HDOP nor satellites nor fix type"
    assert told["file"] == "GPX, 53 points, 3 unreadable"


def test_a_raised_floor_and_a_single_fix_are_told():
    poor = settle_fixes(fixes_at(*noise(50), hdop=np.full(50, 4.0)))
    assert dict(facts.describe_accuracy(poor))["floor"].startswith(
        "9.8 m (95 %), not lessened by averaging; raised, 4.9 m"
    )
    single = settle_fixes(fixes_at([0.0], [0.0]))
    assert dict(facts.describe_accuracy(single))["scatter"] == "a single fix shows none"
