"""The terms of the order stand in every list: the terminal's table, the page without and with its script."""

import json
import re
from dataclasses import replace

import pytest
from builders import (
    QUIET_COVE,
    TERN_MARSH,
    box,
    corner_spot,
    findings,
    line_spot,
    near_miss,
    parks_frame,
)
from click.testing import CliRunner
from walked import harbour

from scout.cli import command
from scout.model import Route
from scout.output.report import format_ranking
from scout.page.document import build_map


def standing(spot, clearances_m, inside_p):
    """The spot with other numbers for its parks."""
    return replace(
        spot,
        verdict=replace(
            spot.verdict, clearances_m=clearances_m, parks_p=(inside_p,) * len(clearances_m), confidence=0.96
        ),
    )


@pytest.fixture
def deep():
    """A spot by the edge of one park and deep in another, one with little room, a near miss."""
    parks = parks_frame(
        (QUIET_COVE, box(-20.2, 44.9, -19.9, 45.1)), (TERN_MARSH, box(-20.05, 44.95, -19.7, 45.3))
    )
    corner = ["HN95", "IN05", "HN94", "IN04"]
    spots = [
        standing(corner_spot(-20.0, 45.0, corner, [QUIET_COVE, TERN_MARSH]), (40.0, 9_000.0), 0.9999),
        standing(line_spot(-20.0, 45.2, corner[:2], TERN_MARSH), (21.0,), 0.995),
        near_miss(-22.0, 44.0, corner, QUIET_COVE, 120.0, 225.0),
    ]
    return findings(spots, parks)


def rows_of(found):
    return [line for line in format_ranking(found, 20) if re.match(r"[#\d]", line)]


def test_the_terminal_shows_plenty_and_the_edge_where_the_order_goes_by_it(deep):
    head, first, second, third = rows_of(deep)
    assert "to the edge" in head
    assert re.search(r"96\.0 %\s+40\.0 m inside \(plenty\)\s+9\.00 km\s", first)
    assert "plenty" not in second
    assert "plenty" not in third


def test_the_edge_is_not_shown_where_home_or_a_walk_stands_for_it(deep):
    near_home = replace(deep, spots=[replace(r, home_km=3.0) for r in deep.spots], home=(-20.0, 45.0))
    assert "to the edge" not in rows_of(near_home)[0]
    walked = [replace(r, route=Route("walked", out_min=4.0)) for r in deep.spots]
    assert "to the edge" not in rows_of(replace(deep, spots=walked))[0]
    unknown = [replace(r, route=Route("unknown", "too far")) for r in deep.spots]
    assert "to the edge" in rows_of(replace(deep, spots=unknown))[0]


def test_the_page_shows_them_too(deep):
    page = build_map(deep)
    plain = re.sub(r"<[^>]*>|\s+", " ", page)
    assert re.search(r"\(4 grids × 2 parks\), 40\.0 m inside \(plenty\), furthest edge 9\.00 km", plain)
    assert "21.0 m inside (plenty)" not in plain
    assert page.count('"plenty":true') == 1
    assert '"edge":9000.0' in page


def test_on_real_boundaries_the_nearer_of_equal_places_comes_first(tmp_path, shared_data):
    """Natural Earth, public domain: one place 350 km away and 26.6 km deep stood before one 116 km away."""
    saved = tmp_path / "s.geojson"
    words = [
        "find",
        str(shared_data("ne_10m_parks_area.geojson")),
        "--home",
        "37,-113",
        "--within",
        "600",
        "--save",
        str(saved),
    ]
    assert CliRunner().invoke(command, words).exit_code == 0
    spots = [f["properties"] for f in json.loads(saved.read_text(encoding="utf-8"))["features"]]
    plenty = [s for s in spots if s["clearance_m"] > 100.0]  # 24 m are, with the default errors
    assert len(plenty) > 20
    worth = [(s["yield"], s["n_grids"], s["verdict"]) for s in plenty]
    assert worth == sorted(
        worth, key=lambda w: (-w[0], -w[1], ["firm", "doubtful", "not counted"].index(w[2]))
    )
    for one in set(worth):
        far = [s["home_km"] for s, w in zip(plenty, worth, strict=True) if w == one]
        assert far == sorted(far)


def test_the_terminal_tells_what_the_walk_is_like():
    found = harbour()
    steep = replace(found, spots=[replace(r, slope_deg=12.4) for r in found.spots])
    head, first, *others = rows_of(steep)
    assert "  walk  " in head
    assert "24 min, 31 % off paths, slope 12°, from parking Tern <b>Gate</b>" in first
    assert not [row for row in others if "off paths" in row]
