"""Small files that once gave a wrong answer, a crash or nothing (``tests/odd``), through the commands."""

import json
from pathlib import Path

import pytest

from scout.cli import main

ODD = Path(__file__).parent / "odd"


def answer(name, place, capsys):
    """What `scout check` says of one place."""
    main(["check", place, "--parks", str(ODD / f"{name}.geojson"), "--json"])
    return json.loads(capsys.readouterr().out)[0]


def found(name, tmp_path, *options):
    """What `scout find` saves, and its exit status."""
    out = tmp_path / "found.geojson"
    status = main(["find", str(ODD / f"{name}.geojson"), *options, "--save", str(out)])
    return status, [one["properties"] for one in json.loads(out.read_text(encoding="utf-8"))["features"]]


@pytest.mark.parametrize("name", ["wronghole", "enclave", "flat"])
def test_a_hole_is_a_hole_wherever_it_is_filed(name, tmp_path, capsys):
    """The hole lies round 45 N 110 W, 0.1 degrees to each side; the body runs on beyond it."""
    assert answer(name, "45.0,-110.0", capsys)["verdict"] == "not counted"
    assert answer(name, "45.3,-110.3", capsys)["verdict"] == "firm"
    _, places = found(name, tmp_path)
    assert not [one for one in places if one["corner"] == [-110.0, 45.0] and one["verdict"] == "firm"]


def test_the_map_of_outlines_that_quantise_to_lines_is_written(tmp_path, capsys):
    page = tmp_path / "map.html"
    status, places = found("crash", tmp_path, "--map", str(page))
    assert status == 0
    assert page.stat().st_size > 100_000
    assert {"P0", "P1"} <= {park for one in places for park in one["parks"]}


def test_a_narrow_third_park_hides_no_overlap(tmp_path, capsys):
    """`check 45.3,-110.7` gives two parks at 0.974; the search lists a place as good."""
    there = answer("strip3", "45.3,-110.7", capsys)
    status, places = found("strip3", tmp_path)
    assert status == 0
    best = max(one["confidence"] for one in places if one["n_parks"] >= there["n_parks"])
    assert best >= there["confidence"] - 0.005


@pytest.mark.parametrize("name", ["line1", "line2", "strip2"])
def test_a_narrow_park_on_a_line_is_found_as_surely_as_it_is_checked(name, tmp_path, capsys):
    place = "45.3,-110.7" if name == "strip2" else "45.0,-110.7"
    there = answer(name, place, capsys)
    _, places = found(name, tmp_path)
    same = [one for one in places if one["yield"] >= there["yield"]]
    assert (
        there["verdict"] == "not counted"
        or max(one["confidence"] for one in same) >= there["confidence"] - 0.05
    )
