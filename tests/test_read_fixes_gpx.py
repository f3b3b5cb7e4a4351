"""Recorded fixes out of GPX files, sound and broken ones."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import gpxpy
import numpy as np
import pytest
from recordings import gpx, track, trkpt, utc

from scout.errors import InputError
from scout.recording.read import read_fixes


@pytest.fixture
def read(tmp_path):
    def from_text(text: str):
        path = tmp_path / "log.gpx"
        path.write_text(text, encoding="utf-8")
        return read_fixes(path)

    return from_text


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_points_of_a_track_are_read_with_what_they_say(read, version):
    said = "<ele>3</ele><time>2024-05-01T10:15:00Z</time><fix>3d</fix><sat>11</sat><hdop>0.7</hdop>"
    fixes = read(gpx(track(trkpt(said), trkpt("<fix>dgps</fix>")), version))
    assert fixes.kind == "GPX"
    assert (fixes.lat[0], fixes.lon[0]) == (45.0, -89.5)
    assert fixes.time_s[0] == utc("2024-05-01T10:15:00")
    assert (fixes.hdop[0], fixes.satellites[0], fixes.quality[0], fixes.dimensions[0]) == (0.7, 11, 1, 3)
    assert fixes.quality[1] == 2
    assert np.isnan(fixes.time_s[1])
    assert np.isnan(fixes.hdop[1])


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2024-05-01T10:15:00Z", "2024-05-01T10:15:00"),
        ("2024-05-01T10:15:00.25Z", "2024-05-01T10:15:00.250000"),
        ("2024-05-01T12:15:00+02:00", "2024-05-01T10:15:00"),
        ("2024-05-01T04:45:00-05:30", "2024-05-01T10:15:00"),
        (" 2024-05-01T10:15:00 ", "2024-05-01T10:15:00"),
    ],
)
def test_times_of_any_zone_become_utc_and_without_one_are_utc(read, text, moment):
    assert read(gpx(track(trkpt(f"<time>{text}</time>")))).time_s[0] == utc(moment)


def test_a_time_that_is_none_is_unknown_and_said(read):
    fixes = read(gpx(track(trkpt(), trkpt("<time>2024-05-01</time>"), trkpt("<time>noon</time>"))))
    assert np.isnan(fixes.time_s).all()
    assert fixes.notes == (
        "2 of the points have a time that cannot be read (the first in line 3: '2024-05-01').",
    )


def test_waypoints_serve_where_there_is_no_track_and_only_there(read):
    points = '<wpt lat="44" lon="-89"/><wpt lat="44.5" lon="-89"/>'
    alone = read(gpx(points))
    assert alone.lat.tolist() == [44, 44.5]
    assert alone.notes == ("There is no track: waypoints are taken, 2.",)
    beside = read(gpx(points + track(trkpt())))
    assert beside.lat.tolist() == [45]
    assert beside.notes == ("Waypoints beside the track are not used: 2.",)


def test_points_without_a_fix_are_counted(read):
    fixes = read(gpx(track(trkpt("<fix>none</fix>"), trkpt())))
    assert (len(fixes), fixes.counts.without_fix) == (1, 1)


@pytest.mark.parametrize(
    ("lat", "lon", "why"),
    [
        ("95", "1", "lat is '95'"),
        ("x", "1", "lat is 'x'"),
        ("nan", "1", "lat is 'nan'"),
        ("1", "", "lon is missing"),
    ],
)
def test_a_point_with_an_impossible_place_is_left_out_and_said(read, lat, lon, why):
    fixes = read(gpx(track(trkpt(), trkpt(lat=lat, lon=lon))))
    assert len(fixes) == 1
    assert fixes.notes == (f"1 of the points cannot be read (the first in line 3: {why}).",)
    with pytest.raises(InputError, match="holds no fix"):
        read(gpx(track(trkpt(lat=lat, lon=lon))))


def test_children_of_other_makers_and_of_the_file_are_not_taken_for_those_of_a_point(read):
    text = gpx(
        "<metadata><time>2001-01-01T00:00:00Z</time></metadata>"
        + track(trkpt('<extensions><x:hdop xmlns:x="urn:x">9</x:hdop><hdop>8</hdop></extensions>'))
    )
    fixes = read(text)
    assert np.isnan(fixes.time_s[0])
    assert np.isnan(fixes.hdop[0])


@pytest.mark.parametrize(
    "before",
    [
        '<!DOCTYPE gpx [<!ENTITY a "45">]>',
        '<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE gpx SYSTEM "http://example.org/gpx.dtd">',
        '<!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;">]>',
    ],
)
def test_a_document_type_is_refused_before_any_entity_is_read(read, before):
    with pytest.raises(InputError, match=r"line 1: has a document type"):
        read(gpx(track(trkpt(lat="&a;")), before=before))


def test_xml_that_is_not_well_formed_is_one_line_with_its_line(read):
    with pytest.raises(InputError, match=r"log\.gpx: line 2: is no well-formed XML \(mismatched tag\)"):
        read(gpx("<trk></trkseg>"))


def test_a_file_that_breaks_off_keeps_its_points(read):
    whole = gpx(track(*(trkpt(f"<sat>{k}</sat>") for k in range(4, 9))))
    fixes = read(whole[: whole.index("<sat>7")])
    assert fixes.satellites.tolist() == [4, 5, 6]
    assert fixes.notes == ("The file breaks off in line 5.",)


def test_a_wide_encoding_and_a_byte_order_mark_are_read(tmp_path):
    path = tmp_path / "track.gpx"
    for encoding in ("utf-16", "utf-8-sig"):
        path.write_bytes(gpx(track(trkpt())).encode(encoding))
        assert len(read_fixes(path)) == 1


def test_an_independent_reader_agrees_on_a_track(tmp_path):
    """PyPI `gpxpy` 1.6.2."""
    rng = np.random.default_rng(4)
    start = datetime(2024, 5, 1, 10, 15, tzinfo=UTC)
    rows = zip(rng.uniform(-90, 90, 200), rng.uniform(-180, 180, 200), rng.integers(4, 30, 200), strict=True)
    points = [
        trkpt(
            f"<time>{(start + timedelta(seconds=k)).isoformat()}</time><fix>2d</fix><sat>{sat}</sat>"
            f"<hdop>{sat / 10}</hdop>",
            repr(float(lat)),
            repr(float(lon)),
        )
        for k, (lat, lon, sat) in enumerate(rows)
    ]
    path = tmp_path / "track.gpx"
    path.write_text(gpx(track(*points)))
    fixes = read_fixes(path)
    said = gpxpy.parse(path.read_text()).tracks[0].segments[0].points
    assert fixes.lat.tolist() == [p.latitude for p in said]
    assert fixes.lon.tolist() == [p.longitude for p in said]
    assert fixes.time_s.tolist() == [p.time.timestamp() for p in said]
    assert fixes.hdop.tolist() == [p.horizontal_dilution for p in said]
    assert fixes.satellites.tolist() == [p.satellites for p in said]
    assert set(fixes.dimensions.tolist()) == {2}


OURS = 'xmlns:scout="urn:scout:recording"'


def radius(text: str, space: str = OURS) -> str:
    return f"<extensions><scout:radius68 {space}>{text}</scout:radius68></extensions>"


def test_the_radius_that_a_browser_states_becomes_one_of_95_percent_and_is_said(read):
    """By the Rayleigh distribution: sqrt(ln 0.05 / ln 0.32) times the radius of 68 %."""
    fixes = read(gpx(track(trkpt(radius("8.0")), trkpt(), trkpt(radius(" 1.5e1 ")))))
    factor = np.sqrt(np.log(0.05) / np.log(0.32))
    assert fixes.stated_error_m == pytest.approx([8 * factor, np.nan, 15 * factor], rel=1e-4, nan_ok=True)
    assert any("taken to hold 68 % of fixes" in note for note in fixes.notes)


@pytest.mark.parametrize(
    "children",
    [
        radius("0"),
        radius("-8"),
        radius("8 m"),
        radius(""),
        radius("9" * 500),
        radius("8", 'xmlns:scout="urn:somebody"'),
        f"<radius68>{8}</radius68>",
        f"<extensions><other>{radius('8')}</other></extensions>",
        f"<extensions><scout:inner {OURS}><scout:radius68>8</scout:radius68></scout:inner></extensions>",
    ],
)
def test_what_is_no_such_radius_states_nothing(read, children):
    fixes = read(gpx(track(trkpt(children))))
    assert np.isnan(fixes.stated_error_m).all()
    assert fixes.notes == ()
