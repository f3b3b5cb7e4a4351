"""Recorded fixes out of NMEA 0183 logs, sound and broken ones, and out of files that are none."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import gga, gpx, rmc, sentence, track, trkpt, utc

from scout.errors import InputError
from scout.recording.read import read_fixes
from scout.recording.values import Fixes

quick = settings(deadline=None, derandomize=True, max_examples=150)


@pytest.fixture
def read(tmp_path):
    def from_text(*lines: str | bytes, name: str = "log.nmea", end: str = "\r\n") -> Fixes:
        path = tmp_path / name
        raw = [line if isinstance(line, bytes) else line.encode("latin-1") for line in lines]
        path.write_bytes(end.encode().join(raw))
        return read_fixes(path)

    return from_text


def test_all_sentences_of_one_epoch_make_one_fix(read):
    fixes = read(
        rmc("101500.00"),
        gga("101500.000", hdop=""),
        sentence("GNGSA,A,3,04,09,,,,,,,,,,,1.5,0.9,1.2"),
        sentence("GPGST,101500.00,0.9,1.2,0.8,10.0,1.2,0.9,2.0"),
        sentence("GPZDA,101500.00,01,05,2024,00,00"),
    )
    assert len(fixes) == 1
    assert fixes.time_s[0] == utc("2024-05-01T10:15:00")
    assert (fixes.hdop[0], fixes.satellites[0], fixes.quality[0], fixes.dimensions[0]) == (0.9, 9, 1, 3)
    # NSSDA: 1.7308 times the root of the summed squares of the sigmas
    assert fixes.stated_error_m[0] == pytest.approx(1.7308 * 1.5)


def test_rmc_alone_gives_fixes_and_its_mode_their_type(read):
    fixes = read(*(rmc(f"10150{k}", mode=mode) for k, mode in enumerate("ADRFEMS")))
    assert fixes.quality.tolist() == [1, 2, 4, 5, 6, 7, 8]
    assert np.diff(fixes.time_s).tolist() == [1] * 6


def test_an_old_rmc_without_a_mode_leaves_the_type_open(read):
    assert read(sentence("GPRMC,101500,A,4500.0,N,08930.0,W,0.1,,010524,,")).quality[0] == -1


@pytest.mark.parametrize("talker", ["GP", "GN", "GL", "GA", "GB", "QZ"])
def test_any_talker_is_heard(read, talker):
    assert len(read(gga(talker=talker))) == 1


def test_a_second_sentence_of_a_kind_in_one_epoch_is_counted_and_left_out(read):
    fixes = read(gga(), gga(talker="GN", lat="4600.0000,N"))
    assert fixes.lat.tolist() == [45.0]
    assert fixes.counts.repeated == 1


def test_fixes_without_a_clock_stay_apart(read):
    fixes = read(gga(clock=""), gga(clock=""), gga(clock=""))
    assert len(fixes) == 3
    assert np.isnan(fixes.time_s).all()


@pytest.mark.parametrize("hdop", ["", "99.99", "0.0"])
def test_a_dilution_that_is_none_is_unknown(read, hdop):
    assert np.isnan(read(gga(hdop=hdop)).hdop[0])


def test_south_and_west_are_negative(read):
    fixes = read(gga(lat="3330.0000,S", lon="17959.9999,W"))
    assert fixes.lat[0] == -33.5
    assert fixes.lon[0] == pytest.approx(-(179 + 59.9999 / 60), abs=1e-12)


def test_sentences_that_say_there_is_no_fix_are_counted_and_never_become_zero_zero(read):
    fixes = read(
        sentence("GPGGA,101458,,,,,0,00,99.99,,,,,,"),
        sentence("GPRMC,101458,V,,,,,,,010524,,,N"),
        gga("101459", quality="0"),
        gga("101500"),
    )
    assert fixes.lat.tolist() == [45.0]
    assert fixes.counts.without_fix == 3


def test_a_log_without_any_fix_is_refused_with_its_counts(read):
    with pytest.raises(InputError, match=r"holds no fix \(2 lines, 2 without fix\); wait until"):
        read(gga("101458", quality="0"), gga("101459", quality="0"))


def test_the_date_is_carried_over_midnight_before_the_next_rmc(read):
    lines = [rmc("235958", "311224"), gga("235958"), gga("235959"), gga("000000"), gga("000001")]
    fixes = read(*lines, rmc("000001", "010125"))
    assert np.diff(fixes.time_s).tolist() == [1, 1, 1]
    assert fixes.time_s[-1] == utc("2025-01-01T00:00:01")


def test_fixes_before_the_first_date_get_theirs_from_it(read):
    fixes = read(gga("235959"), gga("000000"), rmc("000001", "290224"))
    assert fixes.time_s.tolist() == [utc("2024-02-28T23:59:59") + k for k in range(3)]


def test_midnight_without_any_date_still_counts_on(read):
    fixes = read(gga("235959"), gga("000000"))
    assert np.diff(fixes.time_s).tolist() == [1]
    assert not fixes.dated


def test_a_zda_dates_a_log_of_ggas(read):
    fixes = read(sentence("GPZDA,101500.00,17,06,2031,00,00"), gga("101500.00"), gga("101501.00"))
    assert fixes.time_s.tolist() == [utc("2031-06-17T10:15:00"), utc("2031-06-17T10:15:01")]


def test_two_logs_in_one_file_keep_their_own_dates(read):
    fixes = read(rmc("120000", "010524"), rmc("100000", "030524"))
    assert fixes.time_s.tolist() == [utc("2024-05-01T12:00:00"), utc("2024-05-03T10:00:00")]


def test_what_is_wrong_in_a_log_is_counted_with_its_first_line(read):
    fixes = read(
        b"\xe9t\xe9 \xff\xfe\x00 garbage",
        gga("101500"),
        gga("101501").replace("4500", "4501"),
        "",
        "$GPGSV,3,1,11,01,40,083,46*4F",
        sentence("GPGGA,101502,9900.0000,N,08930.0000,W,1,09,0.8,,,,,,"),
        sentence("PQ\u00e9X,1"),
        gga("101503")[:40],
    )
    assert len(fixes) == 1
    counts = fixes.counts
    assert counts.lines == 7
    assert counts.checksum_errors == 2
    assert counts.unreadable == 3
    assert counts.without_checksum == 1
    assert fixes.notes == (
        "2 of the lines fail their checksum (the first in line 3).",
        "3 of the lines cannot be read (the first in line 1: no sentence).",
    )


def test_a_log_without_checksums_is_taken_and_said(read):
    fixes = read(*(gga(f"10150{k}").split("*")[0] for k in range(5)))
    assert len(fixes) == 5
    assert fixes.counts.without_checksum == 5


def test_a_torn_last_line_of_a_log_with_checksums_is_not_taken(read):
    for cut in range(1, len(gga("101501")) - 1):
        fixes = read(gga("101500"), gga("101501")[:-cut])
        assert fixes.time_s.tolist() == [10 * 3600 + 15 * 60]


def test_two_sentences_in_one_line_and_text_before_them_are_read(read):
    fixes = read(f"2024-05-01 12:15:00.1 > {gga('101500')}{gga('101501')}")
    assert len(fixes) == 2


@pytest.mark.parametrize(
    "body",
    [
        "GPGGA,101500,4560.0000,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,9000.0001,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,4500.0000,N,18000.0001,W,1,09,0.8,,,,,,",
        "GPGGA,101500,4500.0000,,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,4500.0000,NS,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,4500.0000,N,08930.0000,N,1,09,0.8,,,,,,",
        "GPGGA,101500,-4500.000,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,nan,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,251500,4500.0000,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,1015,4500.0000,N,08930.0000,W,1,09,0.8,,,,,,",
        "GPGGA,101500,4500.0000,N,08930.0000,W,x,09,0.8,,,,,,",
        "GPGGA,101500,4500.0000,N",
        "GPRMC,101500,A,4500.0000,N,08930.0000,W,0.1,,310224,,,A",
        "GPRMC,101500,X,4500.0000,N,08930.0000,W,0.1,,010524,,,A",
    ],
)
def test_a_sentence_with_an_impossible_value_is_left_out_and_counted(read, body):
    fixes = read(gga("101459"), sentence(body))
    assert len(fixes) == 1
    assert fixes.counts.unreadable == 1
    assert "line 2" in fixes.notes[0]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\n\n"])
def test_any_line_ending_is_read(read, end):
    assert len(read(gga("101500"), gga("101501"), end=end)) == 2


@quick
@given(
    lat=st.integers(-90 * 600000, 90 * 600000),
    lon=st.integers(-180 * 600000, 180 * 600000),
    clock=st.integers(0, 86399),
    sats=st.integers(0, 40),
    hdop=st.floats(0.4, 20),
)
def test_an_independent_reader_agrees_on_any_place(tmp_path_factory, lat, lon, clock, sats, hdop):
    """PyPI `pynmea2` 1.19; places in steps of a ten-thousandth of a minute."""

    def angle(value, width):
        return f"{abs(value) // 600000:0{width}d}{abs(value) % 600000 / 10000:07.4f}"

    hms = f"{clock // 3600:02d}{clock // 60 % 60:02d}{clock % 60:02d}"
    line = gga(
        hms,
        f"{angle(lat, 2)},{'NS'[lat < 0]}",
        f"{angle(lon, 3)},{'EW'[lon < 0]}",
        sats=f"{sats:02d}",
        hdop=f"{hdop:.2f}",
    )
    path = tmp_path_factory.mktemp("drawn") / "log.txt"
    path.write_text(line)
    fixes, said = read_fixes(path), pynmea2.parse(line)
    assert (fixes.lat[0], fixes.lon[0]) == pytest.approx((said.latitude, said.longitude), abs=1e-12)
    assert (fixes.lat[0], fixes.lon[0]) == pytest.approx((lat / 600000, lon / 600000), abs=1e-9)
    assert fixes.satellites[0] == int(said.num_sats)
    assert fixes.hdop[0] == float(said.horizontal_dil)


@quick
@given(st.lists(st.one_of(st.binary(max_size=60), st.just(b"$"), st.just(b"\r\n")), max_size=30), st.data())
def test_garbage_gives_fixes_or_one_line(tmp_path_factory, pieces, data):
    log = "\r\n".join([rmc(), gga(), sentence("GNGSA,A,3,,,,,,,,,,,,,1,2,3"), gga("101501")]).encode()
    at = data.draw(st.integers(0, len(log)))
    path = tmp_path_factory.mktemp("garbage") / "log"
    path.write_bytes(data.draw(st.sampled_from([log[:at], b""])) + b"".join(pieces) + log[at:])
    with suppress(InputError):
        fixes = read_fixes(path)
        assert np.all(np.abs(fixes.lat) <= 90)
        assert np.all(np.abs(fixes.lon) <= 180)
        assert all(note.isprintable() and len(note) < 200 for note in fixes.notes)


def test_content_decides_and_the_suffix_does_not(read):
    assert read(gga(), name="track.gpx").kind == "NMEA 0183"
    assert read(gpx(track(trkpt())), name="log.nmea").kind == "GPX"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the file is empty; record again"),
        ("time,lat,lon\n1,2,3", "is neither an NMEA 0183 log nor a GPX file; record or export it again"),
        (
            "<kml><a/></kml>",
            "is no GPX file: its outermost element is 'kml'; give an NMEA 0183 log or a GPX file",
        ),
        (gpx("<rte/>"), "holds no fix (0 points); record or export it again"),
    ],
)
def test_what_is_no_recording_gets_one_line(read, text, message):
    with pytest.raises(InputError) as caught:
        read(text)
    assert str(caught.value).endswith(f"log.nmea: {message}")


def test_a_folder_and_a_missing_file_get_one_line(tmp_path):
    with pytest.raises(InputError, match="is a folder; name the file of the recording"):
        read_fixes(tmp_path)
    with pytest.raises(InputError, match="there is no such file; check the path"):
        read_fixes(tmp_path / "none.nmea")
