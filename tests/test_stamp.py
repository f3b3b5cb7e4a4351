"""What a visit sets in a log, what it leaves alone, and ``scout stamp`` as a user types it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import click
import pytest

from scout.cli import main
from scout.errors import InputError, OutputError
from scout.model import ParkVisited, Visit
from scout.visits.adi import list_choices, parse_log
from scout.visits.notebook import Notebook
from scout.visits.stamp import (
    Conflict,
    choose_fineness,
    find_timing,
    make_claim,
    sort_contacts,
    stamp_log,
)

START, END = datetime(2026, 2, 14, 18, tzinfo=UTC), datetime(2026, 2, 14, 20, tzinfo=UTC)
FOUR = ("DE39", "DE49", "DE38", "DE48")
PARKS = (ParkVisited("QX-001", "Quiet Cove"), ParkVisited("QX/002", "Tern Marsh"))
CORNER = Visit(-112.0, -41.0, START, END, 4.0, 2, FOUR, PARKS, call="Q1AAA", operator="Q1BBB")


def contact(more: str = "", call: str = "Q2AAA", day: str = "20260214", time: str = "1830") -> str:
    return (
        f"<CALL:{len(call)}>{call} <QSO_DATE:{len(day)}>{day} <TIME_ON:{len(time)}>{time} "
        f"<BAND:3>20m <MODE:2>CW {more}<EOR>\n"
    )


def fields(name: str, value: str) -> str:
    return f"<{name}:{len(value)}>{value} "


def set_in(more: str, visit: Visit = CORNER, force: bool = False, sig: str = "", park: str = ""):
    """A contact with some fields stamped: its fields after, and the names in conflict."""
    log = parse_log(contact(more).encode(), "a.adi")
    done = stamp_log(log, make_claim(visit, sig, park), [1], force=force)
    (after,) = parse_log(done.data, "b.adi").contacts
    return {f.name: f.value for f in after.fields}, [c.name for c in done.conflicts]


def test_a_corner_of_four_squares_is_set_whole():
    after, conflicts = set_in("", sig="Parks", park="QX-001")
    assert conflicts == []
    assert after["MY_VUCC_GRIDS"] == "DE39,DE49,DE38,DE48"
    assert (after["MY_GRIDSQUARE"], after["MY_GRIDSQUARE_EXT"]) == ("DE49aa00", "aa")
    assert (after["MY_LAT"], after["MY_LON"]) == ("S041 00.000", "W112 00.000")
    assert (after["STATION_CALLSIGN"], after["OPERATOR"]) == ("Q1AAA", "Q1BBB")
    assert (after["MY_SIG"], after["MY_SIG_INFO"]) == ("Parks", "QX-001")


@pytest.mark.parametrize(
    "said",
    ["DE39", "de48", "DE49aa", "DE49AA00", "DE", "DE39xa", "DE38xx99"],
    ids=lambda said: f"the log says {said}",
)
def test_a_locator_that_says_the_same_less_exactly_or_of_another_claimed_cell_agrees(said):
    after, conflicts = set_in(fields("MY_GRIDSQUARE", said))
    assert conflicts == []
    assert after["MY_GRIDSQUARE"] == said
    assert after["MY_VUCC_GRIDS"] == "DE39,DE49,DE38,DE48"
    assert ("MY_GRIDSQUARE_EXT" in after) == (said == "DE49AA00")  # it continues that locator only


@pytest.mark.parametrize("said", ["FN31", "DE49mm", "DE50", "D", "DE4", "somewhere"])
def test_a_locator_from_elsewhere_is_a_conflict_that_leaves_the_place_and_the_park_alone(said):
    after, conflicts = set_in(fields("MY_GRIDSQUARE", said), sig="Parks", park="QX-001")
    assert conflicts == ["MY_GRIDSQUARE"]
    assert after["MY_GRIDSQUARE"] == said
    assert not {"MY_LAT", "MY_LON", "MY_VUCC_GRIDS", "MY_GRIDSQUARE_EXT", "MY_SIG"} & set(after)
    assert after["STATION_CALLSIGN"] == "Q1AAA"


def test_force_replaces_what_the_log_says():
    more = (
        fields("MY_GRIDSQUARE", "FN31pr21")
        + fields("MY_GRIDSQUARE_EXT", "xx")
        + fields("MY_LAT", "N041 42.886")
    )
    after, conflicts = set_in(more, force=True)
    assert conflicts == ["MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT", "MY_LAT"]
    assert (after["MY_GRIDSQUARE"], after["MY_GRIDSQUARE_EXT"]) == ("DE49aa00", "aa")
    assert after["MY_LAT"] == "S041 00.000"


def test_force_takes_out_the_extension_of_a_locator_it_replaces():
    coarse = replace(CORNER, error_m=50.0)
    more = fields("MY_GRIDSQUARE", "FN31pr21") + fields("MY_GRIDSQUARE_EXT", "xx")
    after, _ = set_in(more, coarse, force=True)
    assert after["MY_GRIDSQUARE"] == "DE49aa00"
    assert "MY_GRIDSQUARE_EXT" not in after


def test_a_list_of_grids_in_any_order_agrees_and_beside_one_grid_it_is_a_conflict():
    said = fields("MY_VUCC_GRIDS", "de48,DE38, DE39,DE49")
    after, conflicts = set_in(said)
    assert (after["MY_VUCC_GRIDS"], conflicts) == ("de48,DE38, DE39,DE49", [])
    single = replace(CORNER, lon=-111.5, lat=-40.5, locators=("DE49",))
    after, conflicts = set_in(said, single)
    assert conflicts == ["MY_VUCC_GRIDS"]
    after, _ = set_in(said, single, force=True)
    assert "MY_VUCC_GRIDS" not in after


def test_a_contact_under_another_call_sign_is_left_alone_whole():
    more = fields("STATION_CALLSIGN", "Q9ZZZ")
    after, conflicts = set_in(more, sig="Parks", park="QX-001")
    assert conflicts == ["STATION_CALLSIGN"]
    assert not [name for name in after if name.startswith("MY_")]
    assert set_in(fields("STATION_CALLSIGN", "q1aaa"))[1] == []


def test_another_park_of_the_same_programme_is_a_conflict_of_the_park_alone():
    more = fields("MY_SIG", "Parks") + fields("MY_SIG_INFO", "QX-009")
    after, conflicts = set_in(more, sig="Parks", park="QX-001")
    assert conflicts == ["MY_SIG_INFO"]
    assert after["MY_SIG_INFO"] == "QX-009"
    assert after["MY_LAT"] == "S041 00.000"


@pytest.mark.parametrize(
    ("name", "said", "conflict"),
    [
        ("MY_LAT", "S041 00.001", False),
        ("MY_LAT", "S041 00.002", True),
        ("MY_LAT", "N041 00.000", True),
        ("MY_LAT", "41 S", True),
        ("MY_LON", "w111 59.999", False),
        ("MY_LON", "W112 00.002", True),
    ],
)
def test_coordinates_agree_within_one_rounding(name, said, conflict):
    """A Location has thousandths of a minute (ADIF 3.1.7): two roundings of one place are one apart."""
    assert set_in(fields(name, said))[1] == ([name] if conflict else [])


@pytest.mark.parametrize("said", ["E180 00.000", "E179 59.999"])
def test_the_antimeridian_is_one_meridian_from_either_side(said):
    seam = replace(CORNER, lon=180.0, lat=0.0, locators=("RJ90", "AJ00", "RI99", "AI09"))
    assert set_in(fields("MY_LON", said), seam)[1] == []
    assert set_in(fields("MY_LON", "E179 59.998"), seam)[1] == ["MY_LON"]
    # any of the claimed grids may stand there, cut to its field too
    for grid in ("RJ", "AI", "ri99", "RI99XX"):
        assert set_in(fields("MY_GRIDSQUARE", grid), seam)[1] == []


def test_an_empty_field_is_filled_where_it_stands():
    log = parse_log(contact("<my_gridsquare:0> <OPERATOR:3>   ").encode(), "a.adi")
    data = stamp_log(log, make_claim(CORNER), [1]).data.decode()
    assert "CW <my_gridsquare:8>DE49aa00 <OPERATOR:5>Q1BBB" in data


def test_new_fields_are_parted_as_the_last_two_are():
    log = parse_log(b"<CALL:5>Q2AAA\n\t<BAND:3>20m\n<EOR>\n", "a.adi")
    data = stamp_log(log, make_claim(replace(CORNER, call="", operator="")), [1]).data
    assert data.startswith(b"<CALL:5>Q2AAA\n\t<BAND:3>20m\n\t<MY_GRIDSQUARE:8>DE49aa00\n\t<MY_")
    assert data.endswith(b"W112 00.000\n<EOR>\n")


def test_three_grids_name_the_pairs_to_choose_from_and_one_may_be_chosen():
    three = replace(CORNER, locators=("DE39", "DE49", "DE38"))
    with pytest.raises(
        InputError, match="choose with --grids: one of them, or DE39,DE49, DE39,DE38, DE49,DE38"
    ):
        make_claim(three)
    assert list_choices(three.locators)[2] == ("DE49", "DE38")  # the two that share only the corner come last
    assert make_claim(three, grids=["de38", "DE39"]).values["MY_VUCC_GRIDS"] == "DE38,DE39"
    single = make_claim(three, grids=["DE38"]).values
    assert "MY_VUCC_GRIDS" not in single
    # the position lies in DE49; the ground of DE38 nearest to it is its north-east end
    assert single["MY_GRIDSQUARE"] == "DE38xx99"
    with pytest.raises(InputError, match="DE48: the visit does not claim it"):
        make_claim(three, grids=["DE48"])


def test_a_claim_over_the_antimeridian_is_adjacent():
    seam = replace(CORNER, lon=180.0, lat=0.0, locators=("RJ90", "AJ00", "RI99", "AI09"))
    values = make_claim(seam).values
    assert values["MY_VUCC_GRIDS"] == "RJ90,AJ00,RI99,AI09"
    assert values["MY_LON"] == "W180 00.000"
    with pytest.raises(InputError, match="two or four grids that meet"):
        make_claim(replace(seam, locators=("RJ90", "AJ10")))


def test_contacts_before_and_after_the_visit_and_on_the_wrong_day_are_pointed_out():
    log = "".join(
        [
            contact(call="Q2IN", time="1800"),
            contact(call="Q2EARLY", time="175959"),
            contact(call="Q2LATE", time="2001"),
            contact(call="Q2DAY", day="20260215", time="1830"),
            contact(call="Q2EVE", day="20260213", time="183000"),
            contact(call="Q2FAR", day="20260301", time="1830"),
            contact(call="Q2GONE", day="20250214", time="1830"),
            contact(call="Q2NONE", day=""),
            contact(call="Q2IN", time="1959"),
            contact(call="Q2OVER", time="1955", more=fields("TIME_OFF", "2010")),
            contact(
                call="Q2BACK",
                time="1910",
                more=fields("TIME_OFF", "1900") + fields("QSO_DATE_OFF", "20260214"),
            ),
            contact(call="Q2END", time="2000"),
        ]
    )
    found = sort_contacts(parse_log(log.encode(), "a.adi"), CORNER)
    assert found.inside == (1, 9, 10, 11, 12)
    assert found.far == 2
    assert [line.split(" (")[1].split(")")[0] for line in found.outside] == [
        "Q2EARLY",
        "Q2LATE",
        "Q2DAY",
        "Q2EVE",
        "Q2NONE",
    ]
    assert "before arriving" in found.outside[0]
    assert "after leaving" in found.outside[1]
    assert "a day earlier it would fit" in found.outside[2]
    assert "a day later it would fit" in found.outside[3]
    assert "date or time is missing" in found.outside[4]
    assert [("same call sign" in d, "after leaving" in d, "before it begins" in d) for d in found.doubts] == [
        (True, False, False),
        (False, True, False),
        (False, False, True),
    ]


def test_a_visit_over_midnight_takes_both_utc_days():
    night = replace(
        CORNER, start=datetime(2026, 2, 14, 23, tzinfo=UTC), end=datetime(2026, 2, 15, 1, tzinfo=UTC)
    )
    log = contact(time="2330") + contact(day="20260215", time="0030") + contact(time="0030")
    found = sort_contacts(parse_log(log.encode(), "a.adi"), night)
    assert found.inside == (1, 2)
    assert "a day later it would fit: is the date UTC?" in found.outside[0]


def test_a_time_in_whole_minutes_counts_if_any_second_of_it_lies_in_the_visit():
    late = replace(CORNER, start=START + timedelta(seconds=30))
    assert sort_contacts(parse_log(contact(time="1800").encode(), "a"), late).inside == (1,)
    assert sort_contacts(parse_log(contact(time="180029").encode(), "a"), late).inside == ()


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A folder with a notebook of one visit, a log and a folder for what comes out."""
    monkeypatch.chdir(tmp_path)
    Notebook("visits.gpkg").add(CORNER)
    log = contact(call="Q2AAA") + contact(call="Q2BBB", time="1931") + contact(call="Q2CCC", day="20260301")
    (tmp_path / "day.adi").write_bytes(b"A log\r\n<EOH>\r\n" + log.encode())
    (tmp_path / "out").mkdir()
    return tmp_path


@pytest.fixture
def run(capsys):
    def typed(*words: str) -> tuple[int, str, str]:
        status = main(list(words))
        shown = capsys.readouterr()
        return status, shown.out, shown.err

    return typed


STAMP = ("stamp", "day.adi", "--visit", "1", "--out", "out")


def test_there_is_a_log_for_every_park_and_the_input_stays(place, run):
    before = (place / "day.adi").read_bytes()
    status, out, err = run(*STAMP, "--sig", "Parks")
    assert (status, err) == (0, "")
    assert (place / "day.adi").read_bytes() == before
    assert sorted(p.name for p in (place / "out").iterdir()) == ["day-QX-001.adi", "day-QX_002.adi"]
    for name, park in (("day-QX-001.adi", "QX-001"), ("day-QX_002.adi", "QX/002")):
        log = parse_log((place / "out" / name).read_bytes(), name)
        assert [c.value("MY_SIG_INFO") for c in log.contacts] == [park, park, ""]
    assert "3 contacts, 2 during visit 1 (2026-02-14 18:00 to 2026-02-14 20:00 UTC)" in out
    assert "Outside: 1 more than a day before or after." in out
    status, out, _ = run("stamp", "out/day-QX-001.adi", "--visit", "1", "--out", "out", "--sig", "Parks")
    assert "Unchanged out/day-QX-001.adi" in out
    assert "QX/002: no log is written, for every contact of the visit names another park." in out


def test_without_a_programme_there_is_one_log_and_the_parks_are_spoken_of(place, run):
    status, out, _ = run(*STAMP)
    assert status == 0
    assert [p.name for p in (place / "out").iterdir()] == ["day-visit-1.adi"]
    assert "name the programme with --sig" in out


def test_a_dry_run_shows_what_would_change_and_writes_nothing(place, run):
    status, out, _ = run(*STAMP, "--dry-run")
    assert status == 0
    assert "2 contacts change: MY_GRIDSQUARE in 2" in out
    assert "Would write out/day-visit-1.adi" in out
    assert list((place / "out").iterdir()) == []


def test_no_log_is_written_over_another_nor_over_the_input(place, run):
    (place / "out" / "day-visit-1.adi").write_bytes(b"another")
    status, _, err = run(*STAMP)
    assert (status, err) == (
        2,
        "scout: out/day-visit-1.adi: another log goes by this name; name another folder with --out\n",
    )
    assert (place / "out" / "day-visit-1.adi").read_bytes() == b"another"
    (place / "day-visit-1.adi").write_bytes((place / "day.adi").read_bytes())
    status, _, err = run("stamp", "day-visit-1.adi", "--visit", "1", "--out", ".")
    assert status == 2
    assert "this is the log that is read" in err


def test_a_conflict_ends_with_status_1_and_force_with_0(place, run):
    with (place / "day.adi").open("ab") as log:
        log.write(contact(fields("MY_GRIDSQUARE", "FN31"), call="Q2\x1b[31mD", time="1940").encode())
    status, out, _ = run(*STAMP, "--dry-run")
    assert status == 1
    assert (
        "Conflict: contact 4 (Q2\ufffd[31mD): MY_GRIDSQUARE is 'FN31', the visit says DE49aa00: left alone."
        in out
    )
    status, out, _ = run(*STAMP, "--force")
    assert status == 0
    assert "replaced." in out


def test_nothing_inside_the_visit_writes_nothing(place, run):
    (place / "day.adi").write_text(contact(day="20260101"))
    status, out, _ = run(*STAMP)
    assert status == 1
    assert "1 contact, 0 during visit 1" in out
    assert list((place / "out").iterdir()) == []


def test_three_grids_are_asked_for(place, run, monkeypatch):
    Notebook("visits.gpkg").edit(1, locators=("DE39", "DE49", "DE38"))
    status, _, err = run(*STAMP)
    assert status == 2
    assert "has no form for three; choose with --grids: one of them, or DE39,DE49" in err
    assert run(*STAMP, "--grids", "DE39,DE38", "--dry-run")[0] == 0
    asked = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "prompt", lambda text, type: asked.append(type.choices) or "DE39,DE49")
    assert run(*STAMP)[0] == 0
    assert list(asked[0]) == ["DE39,DE49", "DE39,DE38", "DE49,DE38", "DE39", "DE49", "DE38"]
    data = (place / "out" / "day-visit-1.adi").read_bytes()
    assert data.count(b"<MY_VUCC_GRIDS:9>DE39,DE49") == 2


@pytest.mark.parametrize(
    ("words", "changes", "line"),
    [
        ((), {"end": None}, "visit 1: its end is not noted; add it: scout visit edit 1 --end TIME"),
        ((), {"locators": ()}, "visit 1: it claims no grid"),
        (("--sig", "Parks"), {"parks": ()}, "--sig: visit 1 names no park"),
        (("--sig", "Pärke"), {}, "ADI holds plain ASCII characters only"),
        (("--out", "day.adi"), {}, "--out day.adi: this is no folder; name another"),
        (("--visit", "7"), {}, "visits.gpkg: there is no visit 7"),
        (("--notebook", "none.gpkg"), {}, "none.gpkg: there is no such notebook"),
        (("--notebook", "day.adi"), {}, "day.adi: this is no GeoPackage"),
    ],
)
def test_what_cannot_be_stamped_gives_one_line(place, run, words, changes, line):
    Notebook("visits.gpkg").edit(1, **changes)
    status, out, err = run(*STAMP, *words)
    assert (status, out) == (2, "")
    assert line in err
    assert err.count("\n") == 1
    assert list((place / "out").iterdir()) == []


def test_the_folder_is_made_with_those_above_it_and_only_where_something_is_written(place, run):
    new = place / "logs" / "2026" / "may"
    assert run(*STAMP, "--out", new, "--dry-run")[0] == 0
    assert run(*STAMP, "--out", new, "--visit", 7)[0] == 2
    assert not (place / "logs").exists()
    assert run(*STAMP, "--out", new)[0] == 0
    assert [path.name for path in new.iterdir()] == ["day-visit-1.adi"]


@pytest.mark.parametrize(("folder", "why"), [("day.adi/more", "Not a directory"), ("n" * 300, "too long")])
def test_a_folder_that_cannot_be_made_gives_one_line(place, run, folder, why):
    status, _, err = run(*STAMP, "--out", folder)
    assert (status, err.count("\n")) == (2, 1)
    assert f"--out {folder}: the folder cannot be made (" in err
    assert why in err


def test_a_folder_that_was_made_for_nothing_goes_again(place, run, monkeypatch):
    def full(*_):
        raise OutputError("day-visit-1.adi", "cannot be written (No space left on device)")

    (place / "logs").mkdir()
    monkeypatch.setattr("scout.io.write.write_files", full)
    status, _, err = run(*STAMP, "--out", place / "logs" / "2026" / "may")
    assert (status, err.count("\n")) == (2, 1)
    assert "No space left" in err
    assert list((place / "logs").iterdir()) == []


@pytest.mark.parametrize("day", ["00010101", "99991231"])
def test_a_contact_on_the_first_or_the_last_day_of_the_calendar_has_no_date(day):
    log = contact(day=day, time="2359", more=fields("TIME_OFF", "0001")) + contact()
    found = sort_contacts(parse_log(log.encode(), "a.adi"), CORNER)
    assert found.inside == (2,)
    assert found.outside == ("contact 1 (Q2AAA): date or time is missing or is none",)


def test_a_missing_log_gives_one_line(place, run):
    status, _, err = run("stamp", "none.adi", "--visit", "1", "--out", "out")
    assert (status, err) == (
        2,
        "scout: none.adi: there is no such file; check the path\n",
    )


def timed(day="20260214", time="1830", more=""):
    (one,) = parse_log(contact(more, day=day, time=time).encode(), "a.adi").contacts
    return find_timing(one)


def at(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_a_contact_that_names_no_date_of_its_end_took_less_than_24_hours():
    """QSO_DATE_OFF is optional (ADIF 3.1.7); the 24 hours are common practice."""
    assert timed().end is None
    assert timed(more=fields("TIME_OFF", "1845")).end == at("2026-02-14 18:45")
    assert timed(more=fields("TIME_OFF", "1830")).end == at("2026-02-14 18:30")
    assert timed(more=fields("TIME_OFF", "182959")).end == at("2026-02-15 18:29:59")
    over = fields("TIME_OFF", "0010") + fields("QSO_DATE_OFF", "20260216")
    assert timed(more=over).end == at("2026-02-16 00:10")


def test_a_time_is_shown_as_finely_as_it_was_noted():
    assert timed(time="1830").shown == "2026-02-14 18:30"
    assert timed(time="183007").shown == "2026-02-14 18:30:07"
    assert timed(time="1830").last - timed(time="1830").start == timedelta(seconds=59)


@pytest.mark.parametrize(
    ("day", "time"),
    [
        ("2026214", "1830"),
        ("20260230", "1830"),
        ("20260214", "2460"),
        ("20260214", "183"),
        ("20260214", "18305"),
        ("20260214", "-"),
        ("-", "1830"),
        ("20260214", "6 pm"),
    ],
)
def test_what_is_no_date_or_no_time_is_none(day, time):
    """A Date has 8 digits, a Time 4 or 6 (ADIF 3.1.7)."""
    assert timed(day, time) is None


@pytest.mark.parametrize(
    ("day", "time", "line"),
    [
        ("20260214", "180000", None),
        ("20260214", "200000", None),
        ("20260214", "175959", "2026-02-14 17:59:59: before arriving"),
        ("20260214", "200001", "2026-02-14 20:00:01: after leaving"),
        ("20260214", "1759", "2026-02-14 17:59: before arriving"),
        (
            "20260213",
            "180000",
            "2026-02-13 18:00:00: before arriving; a day later it would fit: is the date UTC?",
        ),
        ("20260213", "200001", "2026-02-13 20:00:01: before arriving"),
        ("20260213", "175959", ""),
        (
            "20260215",
            "200000",
            "2026-02-15 20:00:00: after leaving; a day earlier it would fit: is the date UTC?",
        ),
        ("20260215", "175959", "2026-02-15 17:59:59: after leaving"),
        ("20260215", "200001", ""),
    ],
)
def test_a_contact_is_inside_to_the_second_and_said_within_a_day(day, time, line):
    """The visit lasts from 18 to 20 o'clock; an empty line: too far to be spoken of."""
    found = sort_contacts(parse_log(contact(day=day, time=time).encode(), "a.adi"), CORNER)
    assert found.inside == ((1,) if line is None else ())
    assert found.outside == ((f"contact 1 (Q2AAA), {line}",) if line else ())
    assert found.far == (line == "")
    assert found.doubts == ()


def test_a_contact_without_a_call_sign_is_spoken_of_as_that():
    found = sort_contacts(parse_log(b"<BAND:3>20m <EOR>", "a.adi"), CORNER)
    assert found.outside == ("contact 1 (no call sign): date or time is missing or is none",)


def doubts_of(*contacts, visit=CORNER):
    return sort_contacts(parse_log("".join(contacts).encode(), "a.adi"), visit).doubts


def test_a_second_contact_counts_twice_unless_band_mode_or_utc_day_is_another():
    """Common practice: a station is worked once per band, mode and UTC day."""
    first = contact()
    assert doubts_of(first, contact(call="q2aaa", time="190005")) == (
        "contact 2 (q2aaa), 2026-02-14 19:00:05: same call sign, band, mode and UTC day as contact 1",
    )
    assert doubts_of(first, contact(call="Q2AAB")) == ()
    for other in ("<BAND:3>20m", "<MODE:2>CW"):
        changed = contact().replace(other, other[:-2] + "xx")
        assert doubts_of(first, changed) == ()
    assert doubts_of(first, contact(fields("SUBMODE", "XX"))) == ()
    night = replace(CORNER, end=END + timedelta(days=1))
    assert doubts_of(first, contact(day="20260215"), visit=night) == ()


def test_an_end_before_the_start_or_after_leaving_is_pointed_out_and_one_on_the_minute_is_not():
    dated = fields("QSO_DATE_OFF", "20260214")
    assert doubts_of(contact(fields("TIME_OFF", "1829") + dated)) == (
        "contact 1 (Q2AAA), 2026-02-14 18:30: ends before it begins",
    )
    assert doubts_of(contact(fields("TIME_OFF", "1830") + dated)) == ()
    assert doubts_of(contact(fields("TIME_OFF", "2000"))) == ()
    assert doubts_of(contact(fields("TIME_OFF", "200001"))) == (
        "contact 1 (Q2AAA), 2026-02-14 18:30: ends after leaving, at 2026-02-14 20:00",
    )


@pytest.mark.parametrize(
    ("error_m", "pairs"), [(0.0, 5), (9.6, 5), (9.7, 4), (230.0, 4), (231.0, 3), (5_000.0, 3), (None, 4)]
)
def test_a_locator_is_as_fine_as_its_cell_holds_the_error(error_m, pairs):
    """Cells of the fourth and fifth pair are 460.7 m and 19.2 m high at the least (WGS 84 tables, R)."""
    assert choose_fineness(error_m) == pairs
    values = make_claim(replace(CORNER, error_m=error_m)).values
    whole = values["MY_GRIDSQUARE"] + values.get("MY_GRIDSQUARE_EXT", "")
    assert whole == "DE49aa00aa"[: 2 * pairs]


def test_fields_have_no_form_in_a_list_of_grids():
    """GridSquareList takes four or six characters (ADIF 3.1.7)."""
    far = replace(CORNER, lon=-120.0, lat=-40.0, locators=("CE", "DE"))
    claim = make_claim(far)
    assert "MY_VUCC_GRIDS" not in claim.values
    (note,) = claim.notes
    assert note == "MY_VUCC_GRIDS is not set: it takes squares or subsquares, and the visit claims fields."
    assert make_claim(replace(far, locators=("DE",))).notes == ()


def test_call_signs_are_written_large_and_a_name_is_no_operator():
    values = make_claim(replace(CORNER, call="q1aaa/p", operator="q1bbb")).values
    assert (values["STATION_CALLSIGN"], values["OPERATOR"]) == ("Q1AAA/P", "Q1BBB")
    named = make_claim(replace(CORNER, operator="a friend"))
    assert "OPERATOR" not in named.values
    assert named.notes == ("OPERATOR is not set: it takes a call sign, and 'a friend' is none.",)
    none = make_claim(replace(CORNER, call="", operator=""))
    assert not {"STATION_CALLSIGN", "OPERATOR", "MY_SIG", "MY_SIG_INFO"} & set(none.values)
    assert none.notes == ()


@pytest.mark.parametrize("sig", ["P\xe4rke", "Par\tks"])
def test_what_adi_cannot_hold_is_refused_by_name(sig):
    with pytest.raises(InputError) as caught:
        make_claim(CORNER, sig, "QX-001")
    assert str(caught.value) == (
        f"MY_SIG {sig!r}: ADI holds plain ASCII characters only; spell it out without accents"
    )


def test_a_grid_named_twice_is_claimed_once_and_a_strange_one_is_refused_with_those_there_are():
    assert make_claim(CORNER, grids=["de39", "DE39", "DE49"]).values["MY_VUCC_GRIDS"] == "DE39,DE49"
    with pytest.raises(InputError) as caught:
        make_claim(CORNER, grids=["DE39", "DE50", "DE51"])
    assert str(caught.value) == "grid DE50: the visit does not claim it; it has DE39 DE49 DE38 DE48"


def test_grids_that_do_not_meet_are_refused_with_the_way_to_choose():
    meets = "ADIF takes two or four grids that meet; choose with --grids which to claim"
    with pytest.raises(InputError) as caught:
        make_claim(replace(CORNER, locators=("DE39", "DE59")))
    assert str(caught.value) == f"DE39 DE59: {meets}"


@pytest.mark.parametrize(("error_m", "said"), [(0.0, "DE38xx99xx"), (30.0, "DE38xx99"), (5_000.0, "DE38xx")])
def test_the_ground_of_another_cell_is_named_as_finely_as_the_position(error_m, said):
    values = make_claim(replace(CORNER, error_m=error_m), grids=["DE38"]).values
    assert values["MY_GRIDSQUARE"] + values.get("MY_GRIDSQUARE_EXT", "") == said


@pytest.mark.parametrize("said", ["DE49aa00aa", "DE49aa00xx", "DE49aa00xxxx"])
def test_a_locator_finer_than_the_visit_knows_is_not_what_the_visit_says(said):
    rough = replace(CORNER, error_m=30.0)
    assert set_in(fields("MY_GRIDSQUARE", said), rough)[1] == ["MY_GRIDSQUARE"]
    after, conflicts = set_in(fields("MY_GRIDSQUARE", said[:6]), rough)
    assert (after["MY_GRIDSQUARE"], conflicts) == (said[:6], [])


def test_a_visit_without_grids_is_stamped_by_its_position():
    claim = make_claim(replace(CORNER, locators=()))
    assert claim.values["MY_GRIDSQUARE"] == "DE49aa00"
    assert "MY_VUCC_GRIDS" in claim.absent
    assert set_in(fields("MY_GRIDSQUARE", "DE49"), replace(CORNER, locators=()))[1] == []
    assert set_in(fields("MY_GRIDSQUARE", "DE39"), replace(CORNER, locators=()))[1] == ["MY_GRIDSQUARE"]


def test_an_operator_in_conflict_leaves_the_call_sign_alone_and_the_place_is_set():
    after, conflicts = set_in(fields("OPERATOR", "Q9ZZZ"), sig="Parks", park="QX-001")
    assert conflicts == ["OPERATOR"]
    assert "STATION_CALLSIGN" not in after
    assert (after["OPERATOR"], after["MY_LAT"], after["MY_SIG_INFO"]) == ("Q9ZZZ", "S041 00.000", "QX-001")
    assert set_in(fields("OPERATOR", "q1bbb"))[1] == []


def test_a_programme_and_its_reference_agree_only_as_they_are_written():
    said = fields("MY_SIG", "Parks") + fields("MY_SIG_INFO", "qx-001")
    assert set_in(said, sig="Parks", park="QX-001")[1] == ["MY_SIG_INFO"]
    after, _ = set_in(said, sig="Parks", park="QX-001", force=True)
    assert after["MY_SIG_INFO"] == "QX-001"


def test_the_type_and_the_spelling_of_a_field_stay_where_its_value_is_replaced():
    log = parse_log(contact("<my_lat:11:L>N041 42.886 <My_Lon : 0 : L> ").encode(), "a.adi")
    data = stamp_log(log, make_claim(CORNER), [1], force=True).data.decode()
    assert "<my_lat:11:L>S041 00.000 " in data
    assert "<My_Lon:11:" in data
    (after,) = parse_log(data.encode(), "b.adi").contacts
    assert (after.value("MY_LAT"), after.value("MY_LON")) == ("S041 00.000", "W112 00.000")


def test_what_was_done_to_a_log_is_counted():
    """Four contacts: a bare one, one of another park, one that is whole already, one outside the visit."""
    claim = make_claim(CORNER, "Parks", "QX-001")
    whole = "".join(fields(name, value) for name, value in claim.values.items())
    other = whole.replace("QX-001", "QX-009").replace("DE49aa00", "de49aa00")
    log = parse_log("".join([contact(), contact(other), contact(whole), contact()]).encode(), "a.adi")
    done = stamp_log(log, claim, [1, 2, 3])
    assert (done.changed, done.carrying) == (1, 2)
    assert dict(done.set_fields) == dict.fromkeys(claim.values, 1)
    assert done.conflicts == (Conflict(2, "Q2AAA", "MY_SIG_INFO", "QX-009", "QX-001", replaced=False),)
    forced = stamp_log(log, claim, [1, 2, 3], force=True)
    assert (forced.changed, forced.carrying) == (2, 3)
    assert dict(forced.set_fields) == dict.fromkeys(claim.values, 1) | {"MY_SIG_INFO": 2}
    assert [one.replaced for one in forced.conflicts] == [True]
    again = stamp_log(parse_log(forced.data, "b.adi"), claim, [1, 2, 3])
    assert (again.changed, again.carrying, again.set_fields, again.data) == (0, 3, (), forced.data)


def test_without_a_programme_a_contact_that_names_a_park_does_not_carry_the_claim():
    log = parse_log((contact() + contact(fields("MY_SIG", "Parks"))).encode(), "a.adi")
    assert stamp_log(log, make_claim(CORNER), [1, 2]).carrying == 1


def test_the_contacts_of_the_visit_alone_can_be_kept_and_what_stands_before_them_stays():
    log = parse_log(b"My log <EOH>\n" + (contact(call="Q2AAA") * 3).encode(), "a.adi")
    kept = stamp_log(log, make_claim(CORNER), [2], only_inside=True)
    assert kept.data.startswith(b"My log <EOH>")
    (one,) = parse_log(kept.data, "b.adi").contacts
    assert (one.value("CALL"), one.value("MY_GRIDSQUARE"), kept.changed) == ("Q2AAA", "DE49aa00", 1)
