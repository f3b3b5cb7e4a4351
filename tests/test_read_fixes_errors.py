"""Errors that a receiver states of itself, times that no recording has, and files of one endless line."""

from __future__ import annotations

import tracemalloc
from math import hypot

import numpy as np
import pytest
from recordings import gga, gpx, rmc, sentence, track, trkpt, utc

from scout.cli import main
from scout.errors import InputError
from scout.recording.read import read_fixes
from scout.recording.standstill import settle_fixes

NSSDA = 1.7308  # 95 % radius of the root of the summed squares of two sigmas: FGDC-STD-007.3-1998


@pytest.fixture
def read(tmp_path):
    def from_bytes(*lines: str, name: str = "log.nmea"):
        path = tmp_path / name
        path.write_bytes("\r\n".join(lines).encode("latin-1"))
        return read_fixes(path)

    return from_bytes


def gst(clock="101500", *, axes=",", sigmas="1.2,0.9", talker="GP"):
    return sentence(f"{talker}GST,{clock},0.9,{axes},10.0,{sigmas},2.0")


def gbs(clock="101500", sigmas="1.2,0.9"):
    return sentence(f"GPGBS,{clock},{sigmas},2.0,,,,")


@pytest.mark.parametrize(
    ("lines", "sigmas"),
    [
        ([gga(), gbs(sigmas="6.0,8.0")], (6, 8)),
        ([gga(), gst(), gbs(sigmas="6.0,8.0")], (6, 8)),
        ([gga(), gbs(), gst(sigmas="6.0,8.0")], (6, 8)),
        ([gst(sigmas="6.0,8.0"), gga()], (6, 8)),
        ([gga(), gst(), gst(sigmas="6.0,8.0", talker="GL")], (6, 8)),
        ([gga(), gst("", sigmas="6.0,8.0")], (6, 8)),
        ([gga(), gst("101459", sigmas="6.0,8.0"), rmc()], (6, 8)),
        ([gga(), gst("101501.20", sigmas="6.0,8.0")], (6, 8)),
        ([gga(), gst(sigmas=",", axes="8.0,6.0")], (6, 8)),
        ([gga(), gst(sigmas="9" * 300 + ",1.0")], (1e300, 1)),
    ],
)
def test_an_error_that_is_stated_reaches_its_fix_however_it_is_put(read, lines, sigmas):
    fixes = read(*lines)
    assert len(fixes) == 1
    assert fixes.stated_error_m[0] == pytest.approx(min(NSSDA * hypot(*sigmas), 2e7))


def test_errors_go_to_the_fix_of_their_time_and_none_is_taken_from_a_time_without_a_fix(read):
    fixes = read(
        gga("101500"),
        gst("101501", sigmas="30.0,40.0"),  # before its fix
        gga("101501"),
        gga("101502"),
        gst("101502", sigmas="3.0,4.0"),
        gga("101503", quality="0"),
        gst("101503", sigmas="9000.0,9000.0"),
        gga("101504"),
    )
    assert fixes.stated_error_m == pytest.approx([np.nan, NSSDA * 50, NSSDA * 5, np.nan], nan_ok=True)


def test_a_recording_whose_receiver_states_a_large_error_is_worth_no_more(read):
    lines = []
    for k in range(120):
        clock = f"10{15 + k // 60}{k % 60:02d}"
        lines += [gga(clock, lon=f"08930.000{k % 7},W"), gbs(clock, "20.0,15.0")]
    found = settle_fixes(read(*lines))
    assert found.floor_95_m == pytest.approx(NSSDA * 25)
    assert found.error_95_m >= NSSDA * 25
    assert any("states an error of 43.3 m" in note for note in found.notes)


@pytest.mark.parametrize("quality", ["9" * 25, "9" * 400, "10"])
def test_a_quality_that_is_no_digit_is_unreadable(read, quality):
    fixes = read(gga(), gga("101501", quality=quality))
    assert (len(fixes), fixes.counts.unreadable) == (1, 1)


@pytest.mark.parametrize("date", ["01,05,0001", "01,05,1979", "01,05,2100", "01,05,9999"])
def test_a_date_that_no_recording_has_is_unreadable(read, date):
    fixes = read(gga(), sentence(f"GPZDA,101500,{date},00,00"))
    assert (fixes.dated, fixes.counts.unreadable) == (False, 1)


@pytest.mark.parametrize(
    "time",
    [
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-14:00",
        "0226-02-15T18:05:00Z",
        "2206-01-01T00:00:00Z",
    ],
)
def test_a_time_in_gpx_that_no_recording_has_is_told_and_not_used(tmp_path, time, capsys):
    path = tmp_path / "log.gpx"
    odd = trkpt(f"<time>{time}</time>")
    sound = [trkpt(f"<time>2026-02-14T18:05:{k:02d}Z</time>", lat=f"45.0000{k:02d}") for k in range(9)]
    path.write_text(gpx(track(*sound, odd)), "utf-8")
    fixes = read_fixes(path)
    assert np.isnan(fixes.time_s[-1])
    assert fixes.time_s[0] == utc("2026-02-14T18:05:00")
    assert any(f"a time that cannot be read (the first in line 11: '{time}')" in note for note in fixes.notes)
    path.write_text(gpx(track(odd, trkpt(f"<time>{time}</time>", lat="45.1"))), "utf-8")
    park = tmp_path / "park.geojson"
    park.write_text(
        '{"type":"Polygon","coordinates":[[[-90,44],[-89,44],[-89,46],[-90,46],[-90,44]]]}', "utf-8"
    )
    assert main(["arrive", str(path), "--parks", str(park)]) == 2
    assert "no times that differ" in capsys.readouterr().err


@pytest.mark.parametrize("filler", ["$", "$a", "x", "$\n", "$GPGGA\r", "!"])
def test_an_endless_line_is_read_in_little_memory(tmp_path, filler):
    path = tmp_path / "log.nmea"
    path.write_bytes((gga() + "\n" + filler * (2_000_000 // len(filler)) + "\n" + gga("101501")).encode())
    tracemalloc.start()
    try:
        fixes = read_fixes(path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert len(fixes) == 2
    assert fixes.counts.unreadable > 0
    assert peak < 1_000_000


def test_sentences_on_one_long_line_are_all_read(read):
    many = [gga(f"10{k // 60:02d}{k % 60:02d}") for k in range(600)]
    assert len(read("\r".join(many))) == len(read("".join(many))) == len(read(*many)) == 600


def test_a_tag_as_long_as_the_file_is_read_once_or_twice_not_a_thousand_times(tmp_path):
    from xml.parsers import expat

    pieces = []
    path = tmp_path / "log.gpx"
    path.write_text(gpx(track(trkpt(lat="1" * 3_000_000))), "utf-8")
    made = expat.ParserCreate

    class Counted:
        def __init__(self, **given):
            object.__setattr__(self, "inner", made(**given))

        def __getattr__(self, name):
            if name == "Parse":
                pieces.append(name)
            return getattr(object.__getattribute__(self, "inner"), name)

        def __setattr__(self, name, value):
            setattr(object.__getattribute__(self, "inner"), name, value)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scout.recording.read.expat.ParserCreate", Counted)
        with pytest.raises(InputError, match="lat is '111"):
            read_fixes(path)
    assert 1 < len(pieces) < 10
