"""Text from data, cleaned for any output."""

from __future__ import annotations

import exported
import pytest
from hypothesis import given
from lxml import etree

from scout.io.plain_text import clean_text, make_one_line


@given(exported.texts)
def test_cleaned_text_goes_into_utf_8_and_into_xml(text):
    """lxml refuses what XML 1.0 forbids: an oracle for section 2.2 of the standard."""
    done = clean_text(text)
    done.encode("utf-8")
    etree.Element("a").text = done
    assert clean_text(done) == done


@given(exported.texts)
def test_a_single_line_has_no_line_end_no_turning_mark_and_no_more_than_its_share(text):
    line = make_one_line(text, 20)
    assert len(line.splitlines()) <= 1
    assert len(line) <= 20
    assert not set(line) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\t")


@pytest.mark.parametrize(
    "text", ["Quiet Cove", "公園 Ёлка", "🏞️👨‍👩‍👧", "مرحبا \u200f!", "a\tb\nc\r\nd", "<b> & ]]>"]
)
def test_text_that_is_fit_stays_as_it_is(text):
    assert clean_text(text) == text


def test_halves_of_a_character_are_joined_and_lone_ones_replaced():
    assert clean_text("\ud83d\ude00 \ud83d \ude00") == "😀 \ufffd \ufffd"


def test_marks_that_turn_what_follows_are_dropped_from_a_line():
    assert (
        make_one_line("right \u202eot left\u202c, \u2067isolate\u2069 \u200f!")
        == "right ot left, isolate \u200f!"
    )
