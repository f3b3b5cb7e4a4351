"""Sentences of the formats that have room for sentences only."""

from __future__ import annotations

from dataclasses import replace

import builders
import exported
import pytest

from scout.model import Ranked, Route
from scout.output.text import format_heading, format_walk_line, list_about, list_facts


def ranked(spot, **more):
    return Ranked(1, spot, len(spot.verdict.locators), len(spot.verdict.parks), 0, **more)


def confident(confidence):
    spot = builders.overlap_spot(0, 0, "JJ00", [builders.QUIET_COVE])
    return ranked(replace(spot, verdict=replace(spot.verdict, confidence=confidence)))


@pytest.mark.parametrize(
    ("confidence", "said"),
    [(0.9499, "94.9 %"), (0.94999, "94.9 %"), (0.9995, "over 99.9 %"), (0.0, "under 0.1 %")],
)
def test_a_confidence_never_looks_better_than_it_is(confidence, said):
    assert f"Verdict: firm, confidence {said}." in list_facts(confident(confidence))


def test_a_bearing_just_west_of_north_is_north():
    miss = builders.near_miss(-22.0, 44.0, ["HN84"], builders.LONG_SPIT, 5.25, 359.7)
    assert "The nearest is QX-003 (Long Spit): 5.3 m to the north (0°)." in list_facts(ranked(miss))


def test_one_of_a_thing_is_not_many():
    assert list_facts(confident(0.96))[0] == "Yield 0: 1 grid x 1 park."
    assert list_about(exported.at([(1.0, 2.0)]))[0] == "1 place, best first."


def test_a_step_aside_is_told_from_the_corner_or_the_line():
    corner = builders.corner_spot(0, 0, ["JJ00"], [builders.QUIET_COVE], offset_m=3.24, offset_deg=12.4)
    assert "Centre the station 3.2 m north (12°) of the corner." in list_facts(ranked(corner))
    line = replace(builders.line_spot(0, 0, ["JJ00", "IJ90"], builders.QUIET_COVE), offset_m=12.0)
    assert "Centre the station 12.0 m north (0°) of the meridian." in list_facts(ranked(line))


def test_warnings_come_before_everything_else():
    said = list_facts(replace(confident(0.96), warnings=("Power line near.", "Cliff")))
    assert said[:2] == ["Warning: Power line near.", "Warning: Cliff."]


def test_minutes_are_whole_and_what_is_unknown_is_left_out():
    route = Route("walked", out_min=0.2, back_min=10.01, length_m=12_345.0)
    assert format_walk_line(route) == "Walk: 1 min out, 10 min back, 12.3 km."


def test_no_walk_says_why():
    assert format_walk_line(exported.BLOCKED) == (
        "Walk: out of reach (more than 120 min). Nearest start: trailhead at 45.200000, -20.400000."
    )
    assert format_walk_line(Route("unknown")) == "Walk: unknown."


def test_a_name_that_turns_the_text_round_is_laid_straight():
    findings = exported.named("Gull\u202e Bay")
    for spot in findings.spots:
        assert "\u202e" not in "".join(list_facts(spot))
    assert "\u202e" not in "".join(list_about(findings))


def test_a_heading_has_as_many_digits_as_the_last_rank():
    assert format_heading(confident(0.96), exported.at([(0.0, 0.0)] * 1000)) == "0001 JJ00"
