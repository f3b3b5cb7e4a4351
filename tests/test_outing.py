"""The outing file: what it may say, and that everything else is one line.

TOML as in its specification 1.0.0 (M); `json` serves as the writer: a JSON string without lone surrogates is
a TOML basic string but for DEL, and a JSON list of strings is a TOML array.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scout.app.outing import KeyKind, Outing, TagReading, read_outing
from scout.errors import InputError
from scout.io.toml import MOST_BYTES
from scout.model import Credit

DEMO = Path(__file__).resolve().parents[1] / "data_demo" / "outing.toml"
KINDS = {
    "home": KeyKind("text"),
    "within": KeyKind("number"),
    "top": KeyKind("whole number"),
    "save-listed": KeyKind("switch"),
    "park": KeyKind("text", many=True),
    "map": KeyKind("file"),
    "access": KeyKind("file", many=True),
}


def read(text: str | bytes) -> Outing:
    return read_outing(text.encode() if isinstance(text, str) else text, "o.toml", KINDS)


def test_a_full_file_is_read() -> None:
    outing = read("""
        home = "EN55"
        within = 60                 # a whole number is a number
        top = 5
        save-listed = true
        park = ["heron-1", "otter-5"]
        map = "plan.html"
        access = "roads.geojson"    # one alone needs no list
        parks = ["a.gpkg", "b.kml"]
        author = "Brindlesay Field Club"
        show = ["hours"]
        [[credits]]
        files = ["a.gpkg"]
        text = "Forest office"
        licence = "CC0 1.0"
        date = 2026-01-01
        [[credits]]
        text = "Everyone else"
        date = "spring 2025"
        [[tags]]
        file = "roads.geojson"
        layer = "roads"
        column = "TYPE"
        values = { "Trail" = "highway=path; foot=yes", 12 = "highway=track" }
        [[tags]]
        file = "roads.geojson"
        all = "natural=water"
    """)
    assert outing == Outing(
        "o.toml",
        {
            "home": "EN55",
            "within": 60,
            "top": 5,
            "save-listed": True,
            "park": ("heron-1", "otter-5"),
            "map": "plan.html",
            "access": ("roads.geojson",),
        },
        ("a.gpkg", "b.kml"),
        "Brindlesay Field Club",
        ("hours",),
        (
            Credit(("a.gpkg",), "Forest office", "CC0 1.0", "2026-01-01"),
            Credit((), "Everyone else", "", "spring 2025"),
        ),
        (
            TagReading(
                "roads.geojson",
                "roads",
                "TYPE",
                {"Trail": "highway=path; foot=yes", "12": "highway=track"},
            ),
            TagReading("roads.geojson", all="natural=water"),
        ),
    )


def test_an_empty_file_says_nothing() -> None:
    assert read("") == Outing("o.toml")


def test_a_byte_order_mark_and_line_ends_of_other_systems_are_no_matter() -> None:
    assert read(b'\xef\xbb\xbfhome = "EN55"\r\ntop = 2\r\n').options == {"home": "EN55", "top": 2}


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("home = 41.5", 'o.toml: home: must be text, not 41.5; put it in quotes: "41.5"'),
        ("home = true", 'o.toml: home: must be text, not true; write home = "..."'),
        ("home = [1, 2]", 'o.toml: home: must be text, not [1, 2]; write home = "..."'),
        ("home = 2026-01-01", "o.toml: home: must be text, not ..."),
        ('within = "60"', 'o.toml: within: must be a number, not "60"; write within = 12.5'),
        ("within = true", "o.toml: within: must be a number, not true; ..."),
        ("top = 2.0", "o.toml: top: must be a whole number, not 2.0; write top = 3"),
        ("save-listed = 1", "o.toml: save-listed: must be true or false, not 1; write save-listed = true"),
        ("park = [1]", 'o.toml: park: must be a list of texts, not 1; put it in quotes: "1"'),
        ('map = ["m.html"]', 'o.toml: map: must be a file, not ["m.html"]; write map = "..."'),
        ("parks = { a = 1 }", 'o.toml: parks: must be a list of files, not {"a": 1}; write parks = ["..."]'),
        ("author = 3", 'o.toml: author: must be text, not 3; put it in quotes: "3"'),
        ('map = "a\\u0000b"', "o.toml: map: holds a null character; remove it"),
        ('hom = "EN55"', 'o.toml: there is no key "hom"; did you mean home?'),
        ("save_listed = true", 'o.toml: there is no key "save_listed"; did you mean save-listed?'),
        ("zzz = 1", 'o.toml: there is no key "zzz"; keys are: access, author, credits, home, ...'),
        ("[station]\nradius = 5", 'o.toml: there is no key "station"; ...'),
        ('"\\u001b[31m" = 1', r'o.toml: there is no key "\u001b[31m"; ...'),
        ("home =", "o.toml: is not TOML: Invalid value (at ...); write a setting a line, ..."),
        ('top = 1\nhome = "EN', "o.toml: is not TOML: ...(at ...); ..."),
        ("top = 1\n\nfoo bar", "o.toml: is not TOML: ... (at line 3, column 5); ..."),
        ("top = 1\ntop = 2", "o.toml: is not TOML: Cannot overwrite a value (at ...); ..."),
        ("top = " + "9" * 5000, "o.toml: is not TOML: ...digits...; ..."),
        ("top = " + "[" * 9000, "o.toml: is nested too deeply; ..."),
        ("top = " + "{a=" * 9000, "o.toml: is nested too deeply; ..."),
        (".".join("a" * 30_000) + "=1", "o.toml: is nested too deeply; ..."),
        ("#" * (MOST_BYTES + 1), "o.toml: is too large for an outing file (over 64,000 bytes); ..."),
        (b'top = 1\nhome = "\xff"', "o.toml: is not UTF-8 text (line 2); save it as UTF-8"),
        ('home = "EN55"'.encode("utf-16"), "o.toml: is not UTF-8 text (line 1); save it as UTF-8"),
        ("credits = 1", "o.toml: credits: must be a list of tables; begin each with [[credits]]"),
        ("[credits]\ntext = 'x'", "o.toml: credits: must be a list of tables; begin each with [[credits]]"),
        ("[[credits]]\nlicence = 'x'", "o.toml: [[credits]] 1: does not say whose data it is; add text..."),
        ("[[credits]]\ntext = ' '", "o.toml: [[credits]] 1: does not say whose data it is; add text..."),
        (
            "[[credits]]\ntext = 'x'\n[[credits]]\ntext = 'y'\nlicense = 'z'",
            'o.toml: [[credits]] 2: there is no key "license"; did you mean licence?',
        ),
        ("[[credits]]\ntext = 'x'\ndate = 2026", "o.toml: [[credits]] 1: date: must be text, not 2026; ..."),
        (
            "parks = 'parks.kml'\n[[credits]]\ntext = 'x'\nfiles = 'park.kml'",
            "o.toml: [[credits]] 1: \"park.kml\" is no file of this outing; did you mean 'parks.kml'?",
        ),
        ("[[tags]]\nall = 'a=b'", "o.toml: [[tags]] 1: names no file; add file..."),
        ("[[tags]]\nfile = 'x'", "o.toml: [[tags]] 1: gives no tags; ..."),
        ("[[tags]]\nfile = 'x'\ncolumn = 'c'", "o.toml: [[tags]] 1: column and values belong together; ..."),
        ("[[tags]]\nfile = 'x'\nvalues = 1", "o.toml: [[tags]] 1: values: must be a table, not 1; ..."),
        (
            "[[tags]]\nfile = 'x'\ncolumn = 'c'\nvalues = { T = 1 }",
            "o.toml: [[tags]] 1: values.T: must be text, not 1; ...",
        ),
        ("[[tags]]\nfile = 'x'\nall = 'path'", 'o.toml: [[tags]] 1: "path" is no tag; write key=value, ...'),
        ("[[tags]]\nfile = 'x'\nall = 'a=b;'", 'o.toml: [[tags]] 1: "" is no tag; write key=value, ...'),
        ("[[tags]]\nfile = 'x'\nal = 'a=b'", 'o.toml: [[tags]] 1: there is no key "al"; did you mean all?'),
    ],
)
def test_what_it_may_not_say_is_one_line(text: str | bytes, line: str) -> None:
    with pytest.raises(InputError) as error:
        read(text)
    said = str(error.value)
    assert said.isprintable()
    assert len(said) < 400
    rest = said
    for part in line.split("..."):  # any text for dots, as in the folders of cases
        assert part in rest, said
        rest = rest[rest.index(part) + len(part) :]
    assert said.startswith(line.split("...")[0])
    assert line.endswith("...") or not rest


texts = st.text(st.characters(codec="utf-8", exclude_characters="\0\x7f"), max_size=40)
VALUES = {
    "home": texts,
    "within": st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**62), 2**62),
    "top": st.integers(-(2**62), 2**62),
    "save-listed": st.booleans(),
    "park": st.lists(texts),
    "map": texts,
    "access": st.lists(texts),
    "parks": st.lists(texts),
    "author": texts,
    "show": st.lists(texts),
}


@given(st.fixed_dictionaries({}, optional=VALUES))
def test_what_is_written_is_what_is_read(values: dict[str, object]) -> None:
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    outing = read("\n".join(lines))
    wanted = {key: tuple(value) if isinstance(value, list) else value for key, value in values.items()}
    assert outing.options == {key: value for key, value in wanted.items() if key in KINDS}
    assert outing.parks == wanted.get("parks", ())
    assert outing.author == wanted.get("author", "")
    assert outing.show == wanted.get("show", ())


@given(st.data())
def test_a_damaged_file_gives_an_outing_or_one_line(data: st.DataObject) -> None:
    whole = DEMO.read_bytes()
    start = data.draw(st.integers(0, len(whole)))
    end = data.draw(st.integers(start, min(start + 40, len(whole))))
    put = data.draw(st.binary(max_size=12) | st.sampled_from([b"[", b"]", b"{", b'"', b"=", b"\n", b"."]))
    broken = whole[:start] + put + whole[end:]
    said = ""
    try:
        assert read(broken).where == "o.toml"
    except InputError as error:
        said = str(error)
    assert said.isprintable()
    assert said.startswith("o.toml: ") or not said


def test_the_demo_has_what_a_club_would_say() -> None:
    table = tomllib.loads(DEMO.read_text("utf-8"))
    kinds = {key: KeyKind("file", True) for key in ("access", "barriers", "hazards", "heights")}
    kinds |= {"title": KeyKind("text"), "home": KeyKind("text"), "corridor": KeyKind("number")}
    outing = read_outing(DEMO.read_bytes(), "outing.toml", kinds)
    named = [
        *outing.parks,
        *(file for key in ("access", "barriers", "hazards", "heights") for file in table[key]),
    ]
    assert all((DEMO.parent / file).is_file() for file in named)
    assert outing.credits[0].licence == "CC0 1.0"
    assert outing.show == ("hours", "permit", "contact")
