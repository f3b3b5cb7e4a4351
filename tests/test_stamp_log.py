"""Logs are read as they come, kept byte for byte, and refused with one line when their lengths are wrong."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import adif_io
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scout.errors import InputError, RecordError
from scout.model import Visit
from scout.visits.adi import parse_log
from scout.visits.stamp import make_claim, sort_contacts, stamp_log

START, END = datetime(2026, 2, 14, 18, tzinfo=UTC), datetime(2026, 2, 14, 20, tzinfo=UTC)
VISIT = Visit(-112.0, -41.0, START, END, 4.0, locators=("DE39", "DE49", "DE38", "DE48"), call="Q1AAA")
WHEN = "<QSO_DATE:8>20260214 <TIME_ON:4>1830"
SET = ("STATION_CALLSIGN", "MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT", "MY_VUCC_GRIDS", "MY_LAT", "MY_LON")


def field(name: str, value: str, kind: str = "") -> str:
    return f"<{name}:{len(value)}{kind}>{value}"


def odd_log(size: int, newline: str = "\r\n") -> str:
    """Contacts with fields of every odd sort, in every second order and with every second space."""
    draw = random.Random(7)
    odd = [
        ("APP_DEMO_Score", "<b>&amp;", ":N"),
        ("notes", "line one\r\nline two with <EOR> and <CALL:4>abcd", ":M"),
        ("SWEATERS", "XL", ":S"),
        ("COMMENT", "  blanks around  ", ""),
        ("UNHEARD_OF", "{1:2},<:>", ""),
        ("NAME", "", ""),
        ("my_altitude", "12.5", ":N"),
    ]
    parts = [
        f"Free text, 2 < 3 <br> of a header{newline}",
        field("ADIF_VER", "3.1.7"),
        newline,
        "<EOH>",
        newline,
    ]
    for k in range(size):
        when = START - timedelta(days=2) + timedelta(seconds=37 * k)
        fields = [
            field(draw.choice(["CALL", "Call", "call"]), f"Q{k % 10}{k:04d}"),
            field("QSO_DATE", f"{when:%Y%m%d}", draw.choice(["", ":D"])),
            field("TIME_ON", f"{when:%H%M%S}" if k % 3 else f"{when:%H%M}"),
            field("BAND", draw.choice(["20m", "40M"])),
            *(field(*some) for some in draw.sample(odd, draw.randint(0, len(odd)))),
        ]
        draw.shuffle(fields)
        between = draw.choice([" ", "", newline, "\t "])
        parts.append(between.join(fields) + draw.choice(["", " ", newline]) + draw.choice(["<EOR>", "<eor>"]))
        parts.append(draw.choice([newline, "", f"{newline}// a remark between contacts{newline}"]))
    return "".join(parts)


def test_ten_thousand_contacts_with_odd_fields_survive_byte_for_byte():
    data = odd_log(10_000).encode("ascii")
    log = parse_log(data, "a.adi")
    inside = sort_contacts(log, VISIT).inside
    assert 150 < len(inside) < 250
    stamped = stamp_log(log, make_claim(VISIT), inside)
    assert stamped.changed == len(inside)
    assert stamped.conflicts == ()
    # Taking out what was put in gives the log back, byte for byte.
    after = parse_log(stamped.data, "out.adi")
    back, at = [], 0
    for contact in after.contacts:
        if "MY_GRIDSQUARE" not in contact.by_name:
            continue
        assert [f.name for f in contact.fields[-len(SET) :]] == list(SET)
        before = contact.fields[-len(SET) - 1].end
        back.append(after.text[at:before])
        at = contact.fields[-1].end
    assert "".join([*back, after.text[at:]]).encode("ascii") == data
    # And an independent reader sees the same.
    old, _ = adif_io.read_from_string(data.decode("ascii"))
    new, _ = adif_io.read_from_string(stamped.data.decode("ascii"))
    assert len(old) == len(new) == 10_000
    for number, (was, now) in enumerate(zip(old, new, strict=True), start=1):
        added = {name: now[name] for name in now if name not in was}
        assert {name: now[name] for name in was} == dict(was)
        assert set(added) == (set(SET) if number in set(inside) else set())


def test_a_second_stamp_changes_nothing():
    log = parse_log(odd_log(400).encode("ascii"), "a.adi")
    all_of_them = [contact.number for contact in log.contacts]
    once = stamp_log(log, make_claim(VISIT, "Parks", "Q-1"), all_of_them).data
    again = stamp_log(parse_log(once, "b.adi"), make_claim(VISIT, "Parks", "Q-1"), all_of_them)
    assert again.data == once
    assert (again.changed, again.conflicts, again.carrying) == (0, (), 400)


@pytest.mark.parametrize("newline", ["\n", "\r\n", ""])
@pytest.mark.parametrize("counted", ["bytes", "characters"])
def test_utf_8_is_kept_whichever_way_its_lengths_count(counted, newline):
    names = ["Müller", "José Ñandú", "山田太郎", "Zoë ", "plain"]
    parts = [f"Käfer <EOH>{newline}"]
    for name in names:
        length = len(name.encode()) if counted == "bytes" else len(name)
        parts.append(f"<CALL:5>Q2AAA <NAME:{length}>{name} {WHEN}<EOR>{newline}")
    data = "".join(parts).encode()
    log = parse_log(data, "a.adi")
    assert len(log.contacts) == len(names)
    assert f"lengths count {counted}" in log.notes[0]
    assert [log.words(c.value("NAME")) for c in log.contacts] == [name.strip() for name in names]
    stamped = stamp_log(log, make_claim(VISIT), [1, 2, 3, 4, 5]).data
    added = stamped.decode().split(" <STATION_CALLSIGN")[1].split("<EOR>")[0]
    assert stamped.decode().replace(" <STATION_CALLSIGN" + added, "") == data.decode()


def test_latin_1_is_kept_and_said():
    data = "<CALL:5>Q2AAA <NAME:6>Müller <QSO_DATE:8>20260214 <TIME_ON:4>1830<EOR>".encode("latin-1")
    log = parse_log(data, "a.adi")
    assert "not UTF-8" in log.notes[0]
    assert log.words(log.contacts[0].value("NAME")) == "Müller"
    assert b"<NAME:6>M\xfcller " in stamp_log(log, make_claim(VISIT), [1]).data


def test_a_byte_order_mark_is_kept():
    data = b"\xef\xbb\xbf<CALL:5>Q2AAA <QSO_DATE:8>20260214 <TIME_ON:4>1830<EOR>"
    log = parse_log(data, "a.adi")
    assert stamp_log(log, make_claim(VISIT), []).data == data


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"", "a.adi: the log is empty"),
        (b"\xef\xbb\xbf \r\n", "a.adi: the log is empty"),
        (b"Some text\n<EOH>\n", "a.adi: this log holds no contact"),
        (b"Just words.", "a.adi: this is no ADI: it has no field such as <CALL:5>"),
        (b"Header <ADIF_VER:5>3.1.7 <CALL:5>Q2AAA <EOR>", "a.adi: its header has no <EOH>"),
        (b"<CALL:5>Q2AAA <BAND:3>20m", "contact 1: the file ends before its <EOR>: it is cut short"),
        (
            b"<CALL:5>Q2AAA<EOR><CALL:5>Q2",
            "contact 2: CALL states a length of 5, and the file ends 3 short",
        ),
        (b"<CALL:4>Q2AAA <BAND:3>20m<EOR>", "contact 1: CALL states a length of 4, and more follows: 'A'"),
        (
            b"<CALL:5>Q2AAA <MODE:9>CW<BAND:3>20m<EOR>",
            "contact 1: MODE states a length of 9, and more",
        ),
        (b"<CALL:5>Q2AAA <CALL:5>Q2BBB<EOR>", "contact 1: CALL stands twice: is an <EOR> missing?"),
        (b"<CALL:5>Q2AAA<EOR><EOH>", "contact 2: <EOH> stands among the contacts"),
        (
            b'<?xml version="1.0"?><ADX></ADX>',
            "a.adi: this is ADX, the XML form of ADIF",
        ),
        ("<CALL:5>Q2AAA<EOR>".encode("utf-16"), "a.adi: this is no ADI text"),
        (b"\x89PNG\r\n\x1a\n\0\0", "a.adi: this is no ADI text"),
        (
            b"<CALL:5>Q2AAA<EOR><NAME:6>M\xfcller<EOR><CALL:4>Q2AAA<EOR>",
            "contact 3: CALL states a length",
        ),
        ("<NAME:7>Müller<EOR><CALL:4>Q2AAA<EOR>".encode(), "contact 2: CALL states a length of 4"),
    ],
)
def test_a_log_that_cannot_be_trusted_gives_one_line(data, line):
    with pytest.raises(InputError) as caught:
        parse_log(data, "a.adi")
    assert line in str(caught.value)
    assert str(caught.value).isprintable()


@given(st.data())
def test_a_log_cut_anywhere_is_refused_or_read_but_never_changed(data):
    whole = odd_log(4).encode("ascii")
    part = whole[: data.draw(st.integers(0, len(whole)))]
    try:
        log = parse_log(part, "a.adi")
    except (InputError, RecordError):
        return
    assert stamp_log(log, make_claim(VISIT), []).data == part
    assert len(log.contacts) <= 4


@given(st.data())
def test_any_damage_is_refused_with_a_line_or_read_and_kept(data):
    damaged = bytearray(odd_log(3).encode("ascii"))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        piece = data.draw(
            st.binary(max_size=3) | st.sampled_from([b"<", b">", b":", b"<EOR>", b"<EOH>", b"9"])
        )
        damaged[at : at + data.draw(st.integers(0, 2))] = piece
    line = ""
    try:
        log = parse_log(bytes(damaged), "a.adi")
    except InputError as error:
        line = str(error)
    if line:
        assert line.isprintable()
        return
    assert stamp_log(log, make_claim(VISIT), []).data == bytes(damaged)
    every = [contact.number for contact in log.contacts]
    once = stamp_log(log, make_claim(VISIT), every, force=True).data
    again = parse_log(once, "b.adi")
    assert len(again.contacts) == len(log.contacts)
    assert stamp_log(again, make_claim(VISIT), every, force=True).data == once


ASCII = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=30)
NAMED = st.tuples(st.sampled_from(["CALL", "NOTES", "APP_X"]), ASCII)


@given(st.lists(NAMED, min_size=1, max_size=3, unique_by=lambda some: some[0]))
def test_any_ascii_value_reads_as_the_independent_reader_has_it(fields):
    text = " ".join(field(*some) for some in fields) + " <EOR>"
    (contact,) = parse_log(text.encode("ascii"), "a.adi").contacts
    (record,), _ = adif_io.read_from_string(text)
    assert {f.name: f.value for f in contact.fields if f.value} == dict(record)


def test_only_the_contacts_of_the_visit_can_be_kept():
    log = parse_log(odd_log(300).encode("ascii"), "a.adi")
    kept = parse_log(stamp_log(log, make_claim(VISIT), [5, 9], only_inside=True).data, "b.adi")
    assert [c.value("CALL") for c in kept.contacts] == [log.contacts[k].value("CALL") for k in (4, 8)]
