"""The sentence at the head of the page says what the best place is, and no more than its verdict does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from builders import QUIET_COVE, TERN_MARSH, bay, box, corner_spot, findings, parks_frame
from page_reader import Reader, words
from walked import harbour, route

from scout.model import CoarseOutline, Findings
from scout.page.document import build_map

HEAD = "Best place: 1, Quiet Cove and Tern Marsh. One contact counts for 4 grids in 2 parks"


def first_with(found: Findings, spot: Any = None, **ranked: Any) -> Findings:
    first = found.spots[0]
    verdict = replace(first.spot.verdict, **spot) if spot else first.spot.verdict
    return replace(
        found,
        spots=(
            replace(first, spot=replace(first.spot, verdict=verdict), **ranked),
            *found.spots[1:],
        ),
    )


def sentence(found: Findings) -> str:
    text = build_map(found)
    reader = Reader(text)
    assert [tag for tag, attrs in reader.elements if attrs.get("class") == "best"] == ["p"]
    start = text.index('<p class="best">')
    return words(text[start : text.index("</p>", start) + 4]).replace(" .", ".").replace(" ;", ";")


def test_a_firm_place_is_told_in_one_sentence():
    assert sentence(bay()) == f"{HEAD}; 68.2 km from home."


def test_the_way_on_foot_goes_before_the_way_from_home():
    said = sentence(first_with(harbour(), route=route(), warnings=()))
    assert "; 24 min on foot from parking Tern <b>Gate</b>." in said


def test_a_place_that_is_out_of_reach_is_told_so():
    said = sentence(first_with(bay(), route=replace(route(), state="out of reach", out_min=None)))
    assert said == f"{HEAD}; out of reach on foot."


def test_a_doubtful_place_only_may_count():
    said = sentence(first_with(bay(), spot={"word": "doubtful"}))
    assert "One contact may count for 4 grids" in said


def test_what_does_not_count_is_not_called_the_best():
    found = first_with(bay(), spot={"word": "not counted"})
    said = sentence(replace(found, spots=found.spots[:1]))
    assert said.startswith("No place found counts surely. Nearest to it: 1, Quiet Cove")
    assert "One contact" not in said


def test_where_the_first_does_not_count_the_first_firm_one_is_named():
    # The second is doubtful, the third firm.
    found = first_with(bay(), spot={"word": "not counted"})
    said = "Best place that counts: 3, Quiet Cove and Tern Marsh. One contact counts for 1 grid in 2 parks"
    assert sentence(found).startswith(said)
    left = replace(found, spots=found.spots[:2])
    assert sentence(left).startswith("Best place: 2, ")
    assert "One contact may count for" in sentence(left)


def test_an_outline_in_doubt_stands_in_the_sentence():
    outline = CoarseOutline(*QUIET_COVE, 900.0, 140.0, 150.0, 14.0)
    said = sentence(first_with(bay(), spot={"coarse": (outline,)}))
    assert "counts for 4 grids in 2 parks, if the outline on the map is true" in said


def test_warnings_are_pointed_at():
    assert sentence(first_with(bay(), warnings=("Overhead power line near.",))).endswith(
        "Take care there: read its warnings first."
    )


def test_near_misses_alone_are_no_best_place():
    only = findings(
        [bay().spots[4].spot], parks_frame((QUIET_COVE, box(-20.2, 44.9, -19.9, 45.1))), home=None
    )
    assert sentence(only).startswith("No place found counts surely. Nearest to it: 1, ")


def test_where_nothing_was_found_nothing_is_praised():
    reader = Reader(build_map(findings([], parks_frame(), left_out=(), home=None)))
    assert "best" not in [attrs.get("class") for _, attrs in reader.elements]


def test_names_of_many_parks_are_counted():
    labels = [QUIET_COVE, TERN_MARSH, ("QX-7", "Third Fen")]
    found = findings(
        [corner_spot(-20.0, 45.0, ["HN95", "IN05", "HN94", "IN04"], labels)],
        parks_frame(*((label, box(-20.2, 44.9, -19.9, 45.1)) for label in labels)),
        home=None,
    )
    assert sentence(found).startswith("Best place: 1, Quiet Cove, Tern Marsh and 1 more.")


def test_a_name_without_end_leaves_room_for_the_sentence():
    label = ("QX-1", "Q" * 9_000)
    found = findings(
        [corner_spot(-20.0, 45.0, ["HN95"], [label])],
        parks_frame((label, box(-20.2, 44.9, -19.9, 45.1))),
        home=None,
    )
    assert sentence(found) == f"Best place: 1, {'Q' * 27}…. One contact counts for 1 grid in 1 park."


def test_a_hostile_name_is_text():
    label = ("QX-1", "<script>alert(1)</script>")
    found = findings(
        [corner_spot(-20.0, 45.0, ["HN95"], [label])],
        parks_frame((label, box(-20.2, 44.9, -19.9, 45.1))),
        home=None,
    )
    assert "<script>alert(1)</script>" in sentence(found)


def test_the_words_of_the_list_are_explained_without_script():
    text = words(build_map(harbour()))
    for said in ("What am I looking at?", "One grid with one park.", "95 % sure or more", "120 m inside"):
        assert said in text, said
