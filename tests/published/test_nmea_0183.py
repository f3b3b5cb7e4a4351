"""NMEA 0183 sentences that are widely printed (M); their checksums and positions recomputed (R).

The standard itself is sold, not published. An independent reader, PyPI `pynmea2`, agrees on every value.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pynmea2
import pytest

from scout.recording.read import read_fixes

GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"
WEST = "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68"
FINE = "$GPGGA,092750.000,5321.6802,N,00630.3372,W,1,8,1.03,61.7,M,55.2,M,,*76"
PLACES = [  # sentence, latitude, longitude
    (GGA, 48.1173, 11.516667),
    (RMC, 48.1173, 11.516667),
    (WEST, 49.274167, -123.185333),
    (FINE, 53.361337, -6.505620),
]


@pytest.fixture
def read(tmp_path):
    def from_lines(*lines):
        path = tmp_path / "printed.nmea"
        path.write_bytes("\r\n".join([*lines, ""]).encode("latin-1"))
        return read_fixes(path)

    return from_lines


@pytest.mark.parametrize(("sentence", "lat", "lon"), PLACES)
def test_the_printed_sentence_passes_its_checksum_and_gives_its_place(read, sentence, lat, lon):
    fixes = read(sentence)
    assert fixes.counts.checksum_errors == 0
    assert fixes.lat[0] == pytest.approx(lat, abs=1e-6)
    assert fixes.lon[0] == pytest.approx(lon, abs=1e-6)


@pytest.mark.parametrize("sentence", [row[0] for row in PLACES])
def test_any_changed_byte_fails_the_checksum(read, sentence):
    end = sentence.index("*")
    broken = [
        sentence[:at] + ("8" if sentence[at] == "9" else "9") + sentence[at + 1 :]
        for at in range(6, end)
        if sentence[at].isdigit()
    ]
    fixes = read(sentence, *broken)
    assert fixes.counts.checksum_errors == len(broken) > 10
    assert len(fixes) == 1


@pytest.mark.parametrize("sentence", [row[0] for row in PLACES])
def test_an_independent_reader_agrees(read, sentence):
    fixes, said = read(sentence), pynmea2.parse(sentence, check=True)
    assert fixes.lat[0] == pytest.approx(said.latitude, abs=1e-12)
    assert fixes.lon[0] == pytest.approx(said.longitude, abs=1e-12)
    clock = said.timestamp
    assert fixes.time_s[0] % 86400 == clock.hour * 3600 + clock.minute * 60 + clock.second


def test_the_pair_of_one_epoch_is_one_fix_with_a_date(read):
    fixes = read(GGA, RMC)
    assert len(fixes) == 1
    assert fixes.dated
    assert fixes.time_s[0] == datetime(1994, 3, 23, 12, 35, 19, tzinfo=UTC).timestamp()
    assert (fixes.quality[0], fixes.satellites[0], fixes.hdop[0]) == (1, 8, 0.9)


def test_a_gga_alone_knows_the_time_of_day_only(read):
    fixes = read(FINE)
    assert not fixes.dated
    assert fixes.time_s[0] == 9 * 3600 + 27 * 60 + 50
    assert np.isnan(fixes.stated_error_m[0])
