"""The walks of the demo island, as `scout find` tells them: the story of data_demo/README.md."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from scout.cli import command

DEMO = Path(__file__).resolve().parents[1] / "data_demo" / "outing.toml"


def found(folder, *words):
    saved = folder / "spots.geojson"
    result = CliRunner().invoke(command, ["find", "--outing", str(DEMO), *words, "--save", str(saved)])
    assert result.exit_code == 0, result.output
    return [f["properties"] for f in json.loads(saved.read_text(encoding="utf-8"))["features"]], result.output


@pytest.fixture(scope="module")
def squares(tmp_path_factory):
    return found(tmp_path_factory.mktemp("walks"), "--min-grids", "2")


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


def test_heights_alone_are_told_what_they_lack(tmp_path):
    pytest.importorskip("rasterio", reason="heights need the extra `heights`")
    words = ["find", str(DEMO.parent / "parks.geojson"), "--heights", str(DEMO.parent / "heights.tif")]
    result = CliRunner().invoke(command, [*words, "--min-grids", "2", "--near", "0"])
    assert result.exit_code == 0, result.output
    assert "--heights alone tells slopes and no walks: name roads and parking with --access" in result.output
    assert "unknown: no roads and no parking are given" in result.output
