"""The walks of the demo island, as `scout find` tells them: the story of data_demo/README.md."""

import itertools
import json
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from scout.app.outing import load_outing
from scout.app.outputs import format_findings
from scout.app.request import make_request, search
from scout.cli import command
from scout.drive.drives import measure_drives
from scout.drive.read import read_roads

pytestmark = pytest.mark.usefixtures("two_threads")
DEMO = Path(__file__).resolve().parents[1] / "data_demo" / "outing.toml"


def found(folder, *words):
    saved = folder / "spots.geojson"
    result = CliRunner().invoke(command, ["find", "--outing", str(DEMO), *words, "--save", str(saved)])
    assert result.exit_code == 0, result.output
    return [f["properties"] for f in json.loads(saved.read_text(encoding="utf-8"))["features"]], result.output


@pytest.fixture(scope="module")
def squares(tmp_path_factory):
    return found(tmp_path_factory.mktemp("walks"), "--min-grids", "2")


@pytest.fixture(scope="module")
def everything():
    """All spots, and what is said while they are looked for."""
    said = []
    findings = search(make_request(load_outing(str(DEMO))), said.append)
    saved = json.loads(format_findings(findings, ".geojson"))
    return [feature["properties"] for feature in saved["features"]], said


def one(spots, **wanted):
    (spot,) = [s for s in spots if all(s[key] == value for key, value in wanted.items())]
    return spot


def test_to_the_corner_the_gentle_long_way_wins(squares):
    corner = one(squares[0], kind="corner")
    assert corner["rank"] == 1
    assert corner["walk_min"] == pytest.approx(34, abs=1)  # the Ladder takes 53
    assert corner["walk_m"] == pytest.approx(2600, rel=0.02)
    assert corner["parking"] == pytest.approx([-111.9744, -40.9908], abs=0.0005)  # Moor Gate
    assert corner["off_path_m"] < 20
    assert corner["warnings"] == []


def test_the_overhead_line_is_warned_of_on_its_row(squares):
    spots, output = squares
    selvage = one(spots, parks=["wren-10"], kind="line")
    assert "35 m away" in selvage["warnings"][0]
    assert f"#{selvage['rank']} WARNING: Overhead line 35 m away" in output


def test_closed_ground_is_counted(squares):
    assert "on closed ground (military range)" in squares[1]


def test_times_rank_what_counts_alike(squares):
    """Clearance counts before the walk until it is plenty; 40 m from every boundary is."""
    alike = [
        s
        for s in squares[0]
        if s["yield"] == 2 and s["verdict"] == "firm" and s["walk_min"] is not None and s["clearance_m"] > 40
    ]
    assert len(alike) > 5
    assert [s["walk_min"] for s in alike] == sorted(s["walk_min"] for s in alike)


def test_what_is_out_of_reach_is_last_and_says_why(squares):
    reached = [s["walk_min"] is not None for s in squares[0] if s["kind"] != "near-miss"]
    assert reached == sorted(reached, reverse=True)
    assert all(s["walk_note"] for s in squares[0] if s["walk_min"] is None and s["kind"] != "near-miss")


def test_the_corner_in_the_lake_is_out_of_reach(tmp_path):
    words = ("--level", "subsquare", "--area", "-40.968,-112.01,-40.95,-111.99", "--min-grids", "4")
    spots, output = found(tmp_path, *words)
    lake = one(spots, kind="corner", corner=[-112.0, pytest.approx(-40.958333, abs=1e-6)])
    assert lake["walk_min"] is None
    assert "Glimmerwater" in lake["walk_note"]
    assert "out of reach" in output


def test_progress_of_walks_only_grows(everything):
    """One count to the end; starts further away are looked for once more, and that says so."""
    counts = {}
    for line in everything[1]:
        if told := re.fullmatch(r"(walks[^:]*): ([\d,]+) of ([\d,]+) places tried", line):
            counts.setdefault(told[1], []).append(
                tuple(int(count.replace(",", "")) for count in told.groups()[1:])
            )
    assert list(counts) == ["walks", "walks from further away"]
    for steps in counts.values():
        assert [done for done, _ in steps] == sorted(done for done, _ in steps)
        assert len({of for _, of in steps}) == 1
        assert steps[-1][0] == steps[-1][1]
        assert len(steps) > 1


def test_heights_alone_are_told_what_they_lack(tmp_path):
    pytest.importorskip("rasterio", reason="heights need the extra `heights`")
    words = ["find", str(DEMO.parent / "parks.geojson"), "--heights", str(DEMO.parent / "heights.tif")]
    result = CliRunner().invoke(command, [*words, "--min-grids", "2", "--near", "0"])
    assert result.exit_code == 0, result.output
    alone = "--heights alone tells slopes and horizons, no walks: name roads and parking with --access"
    assert alone in result.output
    assert "unknown: no roads and no parking are given" in result.output


# The day of data_demo/README.md: 7 hours from the quay, 50 minutes at each of at most three places.
QUAY, DAY_MIN, STAY_MIN, MOST = (-111.8914, -41.0457), 420.0, 50.0, 3


def list_tours(minutes, stays, pairs):
    """Every tour of places that each give something new, home in time: its pairs, its end, its places."""
    todo = [((), 0.0, frozenset())]
    while todo:
        tour, spent, covered = todo.pop()
        here = tour[-1] if tour else 0
        yield len(covered), -(spent + minutes[here, 0]), tour
        for place in range(1, len(stays)) if len(tour) < MOST else ():
            after = spent + minutes[here, place] + stays[place]
            if pairs[place] - covered and after + minutes[place, 0] <= DAY_MIN:
                todo.append(((*tour, place), after, covered | pairs[place]))


def follow(minutes, stays, pairs, worth):
    """The tour of one who always goes next where a rule says it is worth most."""
    here, spent, covered, tour = 0, 0.0, frozenset(), ()
    while len(tour) < MOST:
        offers = [
            (worth(len(pairs[place] - covered), minutes[here, place], stays[place]), -place)
            for place in range(1, len(stays))
            if pairs[place] - covered
            and spent + minutes[here, place] + stays[place] + minutes[place, 0] <= DAY_MIN
        ]
        if not offers:
            break
        place = -max(offers)[1]
        spent, covered, here = (
            spent + minutes[here, place] + stays[place],
            covered | pairs[place],
            place,
        )
        tour += (place,)
    return len(covered)


def test_the_best_day_by_car_is_not_found_place_by_place(everything):
    spots = [s for s in everything[0] if s["walk_min"] is not None]
    places = [QUAY, *(s["parking"] for s in spots)]
    drives = measure_drives(places, read_roads(DEMO.parent / "access.geojson", places))
    assert drives.by_road.all()
    assert np.isfinite(drives.minutes).all()
    assert drives.snap_m[1:].max() < 1  # walks start at the roadside
    stays = [0.0, *(s["walk_min"] + s["back_min"] + STAY_MIN for s in spots)]
    pairs = [frozenset(), *(frozenset(itertools.product(s["locators"], s["parks"])) for s in spots)]
    count, end, tour = max(list_tours(drives.minutes, stays, pairs))
    assert count == 14
    assert -end == pytest.approx(390, abs=3)
    assert {tuple(spots[k - 1]["parks"]) for k in tour} == {
        ("heron-1", "kestrel-3"),
        ("grebe-2", "alder-1"),
        ("parks:14",),
    }
    assert follow(drives.minutes, stays, pairs, lambda new, drive, stay: new) == 12
    assert follow(drives.minutes, stays, pairs, lambda new, drive, stay: new / (drive + stay)) == 12
    assert follow(drives.minutes, stays, pairs, lambda new, drive, stay: -drive) == 6
    # To the corner's car park: 12.8 km, and half of the time on the gravel of Moor Road.
    corner = 1 + spots.index(one(spots, kind="corner"))
    assert drives.km[0, corner] == pytest.approx(12.8, abs=0.1)
    assert drives.minutes[0, corner] == pytest.approx(25, abs=0.5)
