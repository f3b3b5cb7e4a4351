"""A day with several places: wishes, hours, times, what is refused, and what comes out."""

import json
import re
import zipfile
from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from itertools import pairwise
from zoneinfo import ZoneInfo

import gpxpy
import icalendar
import numpy as np
import pytest
import shapely
from demo_island import DEMO
from geographiclib.geodesic import Geodesic

from scout.__main__ import main
from scout.errors import InputError
from scout.tours.hours import (
    count_minutes,
    find_moment,
    list_open_windows,
    parse_hours,
    parse_wished_hours,
    read_clock,
)
from scout.tours.plan import Problem, Stop, find_dominated, make_timetable

PARIS = ZoneInfo("Europe/Paris")
ORDINARY, FORWARD, BACK = date(2026, 6, 20), date(2026, 3, 29), date(2026, 10, 25)  # changes of clocks


# Hours
@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("08:00-18:30", ("08:00", "18:30")),
        ("8-18", ("8", "18")),
        ("sunrise-sunset", ("sunrise", "sunset")),
        ("07.30 to Sunset", ("07.30", "sunset")),
        ("0:00–24:00", ("0:00", "24:00")),
    ],
)
def test_hours_as_people_write_them(text, ends):
    assert parse_hours(text) == ends


@pytest.mark.parametrize("text", ["", "8", "8-", "-", "25:00-26:00", "noon-18", "24:01-24:30", "8-12-15"])
def test_what_are_no_hours(text):
    with pytest.raises(InputError, match="hours"):
        parse_hours(text)


@pytest.mark.parametrize("text", ["3", "x=8-9", "0=8-9", "3=", "3=-", "=8-9"])
def test_what_is_no_wish_for_a_place(text):
    with pytest.raises(InputError, match="between"):
        parse_wished_hours(text)


def test_a_wish_may_have_one_end():
    assert parse_wished_hours("12 = 14:00-") == (12, ("14:00", ""))
    assert parse_wished_hours("12=-9") == (12, ("", "9"))


def test_minutes_pass_as_they_do_where_clocks_change():
    # EU summer time: 02:00 becomes 03:00 on the last Sunday of March, 03:00 becomes 02:00 on that of October.
    assert [read_clock("08:00", day, PARIS) for day in (ORDINARY, FORWARD, BACK)] == [480, 420, 540]
    assert [read_clock("24:00", day, PARIS) for day in (ORDINARY, FORWARD, BACK)] == [1440, 1380, 1500]
    for day in (ORDINARY, FORWARD, BACK):
        for minutes in range(0, 1380, 7):
            assert count_minutes(find_moment(minutes, day, PARIS), day, PARIS) == minutes


@pytest.mark.parametrize(
    ("text", "windows"),
    [
        # Examples of the OpenStreetMap wiki's Key:opening_hours (from memory); 2026-06-20 is a Saturday.
        ("24/7", ((0, 1440),)),
        ("Mo-Fr 08:00-17:30", ()),
        ("Mo-Fr 08:00-12:00,13:00-17:30; Sa 08:00-12:00", ((480, 720),)),
        ("mo-su 08:00-12:00,13:00-20:00", ((480, 720), (780, 1200))),
        ("Apr-Sep: Mo-Su 06:00-22:00; Oct-Mar 08:00-16:00; ph off", ((360, 1320),)),
        ("Fr-Sa 22:00-02:00", ((0, 120), (1320, 1440))),
        ("sunrise-sunset", None),
        ("by the old oak", None),
        ("Sa unknown", None),
    ],
)
def test_opening_hours(text, windows):
    assert list_open_windows(text, ORDINARY, UTC) == windows


# One order of places
def make_problem(*stops, drive=10, days=((480, 1080),), most=9, rest=0, windows=None):
    n = len(stops)
    matrix = np.full((n + 2, n + 2), drive)
    np.fill_diagonal(matrix, 0)
    matrix[0, 1] = 0
    made = tuple(
        Stop(frozenset(pairs), stay, ((windows or {}).get(k, days[0]),) * len(days))
        for k, (pairs, stay) in enumerate(stops)
    )
    made = tuple(
        Stop(one.pairs, one.stay_min, tuple((window,) for window in one.windows), one.must) for one in made
    )
    return Problem(made, matrix.astype(np.int64), days, most, rest)


A, B = ("JN55", "a"), ("JN55", "b")


def test_nobody_waits_at_the_first_place():
    table = make_timetable(make_problem(({A}, 60), ({B}, 60), windows={0: (600, 1080)}), 0, (0, 1))
    assert (table.start, table.end) == (590, 740)
    assert [(one.arrive, one.begin, one.leave) for one in table.stops] == [(600, 600, 660), (670, 670, 730)]


def test_a_place_that_opens_later_is_waited_for_and_takes_the_break():
    problem = make_problem(({A}, 60), ({B}, 60), windows={1: (700, 1080)}, rest=30)
    table = make_timetable(problem, 0, (0, 1))
    assert table.end == 700 + 60 + 10
    assert [one.break_min for one in table.stops] == [30, 0]
    assert table.stops[1].arrive == 490 + 60 + 30 + 10


def test_what_may_be_left_later_without_losing_anything():
    problem = make_problem(({A}, 60), ({B}, 60), windows={1: (480, 700)})
    first, second = make_timetable(problem, 0, (0, 1)).stops
    assert (first.leave, first.latest) == (550, 630)  # at the second by 640, away by 700
    assert (second.leave, second.latest) == (620, 700)


def test_what_another_stands_in_for_goes():
    problem = make_problem(({A}, 60), ({A, B}, 60), ({A, B}, 60), ({A, B}, 50))
    assert find_dominated(problem) == [0, 1, 2]
    assert find_dominated(problem, spared=1) == [0, 2]
    assert find_dominated(make_problem(({A}, 60), ({A, B}, 61))) == []
    assert find_dominated(make_problem(({A}, 60), ({A, B}, 60), windows={1: (481, 1080)})) == []


# The command, on four parks at corners of squares, with a road along the parallel
LAT = 45.0
ROADS = {
    "road": ({"highway": "secondary"}, [(9.75, LAT + 0.002), (11.25, LAT + 0.002)]),
    **{
        f"lot {lon}": ({"amenity": "parking", "name": f"Lot {lon}"}, (lon, LAT + 0.002))
        for lon in (10, 10.5, 11)
    },
}


def write_world(folder, hours=None):
    def feature(tags, geometry):
        return {"type": "Feature", "properties": tags, "geometry": geometry}

    parks = []
    for number, lon in enumerate((10, 10.5, 11)):
        shape = shapely.geometry.mapping(shapely.box(lon - 0.02, LAT - 0.02, lon + 0.02, LAT + 0.02))
        tags = {"id": f"q-{number}", "name": f"Fen {number}"}
        parks.append(feature(tags | ({"opening_hours": hours} if hours and not number else {}), shape))
    roads = [
        feature(tags, {"type": "Point" if isinstance(at, tuple) else "LineString", "coordinates": at})
        for tags, at in ROADS.values()
    ]
    for name, rows in (("parks", parks), ("roads", roads)):
        text = json.dumps({"type": "FeatureCollection", "features": rows})
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")


TRIP = ["trip", "--parks", "parks.geojson", "--access", "roads.geojson", "--home", "45.002,10.25"]
TRIP += [
    "--level",
    "subsquare",
    "--date",
    "2026-06-20",
    "--zone",
    "UTC",
    "--set-up",
    "10",
    "--operating",
    "40",
    "--take-down",
    "10",
]


@pytest.fixture
def world(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_world(tmp_path)
    return tmp_path


def test_a_day_along_a_road(world, capsys):
    assert main([*TRIP, "--hours", "06:00-20:00"]) == 0
    shown = capsys.readouterr().out
    assert "Tour 1: 12 new pairs (12 grids, 3 parks) at 3 places" in shown
    assert "Proved: no other tour gives more" in shown
    road = 2 * Geodesic.WGS84.Inverse(LAT + 0.002, 10, LAT + 0.002, 11)["s12"] / 1000
    told = float(shown.split("of driving, ")[1].split(" km")[0])
    assert told == pytest.approx(road, rel=0.005)


def test_drives_without_roads_are_marked_as_estimates(world, capsys):
    words = [word for word in TRIP if word not in ("--access", "roads.geojson")]
    assert main([*words, "--hours", "06:00-20:00"]) == 0
    shown = capsys.readouterr().out
    assert "min, 25.6 km, estimated" in shown
    assert "1.3 times the straight distance at 50 km/h" in shown
    assert "the walk is not known" in shown


def test_hours_too_short_say_by_how_much(world, capsys):
    assert main([*TRIP, "--hours", "08:00-09:00"]) == 2
    said = capsys.readouterr().err
    assert "no place fits into 08:00-09:00; the nearest to it, place " in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (["--must", "9"], "place 9: is not in the list"),
        (["--must", "1", "--between", "1=21:00-22:00"], "is never open in these hours"),
        (["--hours", "18:00-08:00"], "the day ends at 08:00, before it begins at 18:00"),
        (["--between", "9=8-9"], "--between 9="),
        (["--between", "1=8-9", "--between", "1=10-12"], "wished for twice"),
        (
            ["--must", "1", "--must", "2", "--must", "3", "--most-places", "2"],
            "3 places must be in, and only 2",
        ),
        (["--must", "1", "--hours", "08:00-09:30"], "after the time is up"),
        (["--save", "day.kml"], "no format of a trip goes by this suffix"),
        (["--out", "day.gpx"], "name it .zip"),
        (["--sheet", "day.pdf"], "name it .html"),
        (["--days", "9"], "--days"),
        (["--save", "parks.gpx", "--save", "parks.gpx"], "two outputs"),
    ],
)
def test_wishes_that_cannot_be_had(world, capsys, wish, said):
    hours = [] if "--hours" in wish else ["--hours", "06:00-20:00"]
    assert main([*TRIP, *hours, *wish]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert sorted(path.name for path in world.iterdir()) == ["parks.geojson", "roads.geojson"]


def test_a_must_that_cannot_be_with_the_others(world, capsys):
    musts = [word for rank in ("1", "2", "3") for word in ("--must", rank)]
    assert main([*TRIP, "--hours", "08:00-12:00", *musts]) == 2
    said = capsys.readouterr().err
    assert "places 1, 2, 3: with the drives and 3 h " in said


def test_fixed_places_and_hours_are_kept(world, capsys):
    assert main([*TRIP, "--hours", "06:00-20:00", "--must", "3", "--most-places", "1"]) == 0
    assert "at place 3" in capsys.readouterr().out
    assert main([*TRIP, "--hours", "06:00-20:00", "--between", "2=14:00-"]) == 0
    lines = capsys.readouterr().out.splitlines()
    place = next(k for k, line in enumerate(lines) if "at place 2" in line)
    assert lines[place].split()[0] >= "14:00"


def test_opening_hours_in_the_data_are_kept(world, capsys):
    write_world(world, "Sa 06:00-09:00")
    assert main([*TRIP, "--hours", "06:00-20:00"]) == 0
    shown = capsys.readouterr().out
    assert "Fen 0: open Sa 06:00-09:00" in shown
    at = next(line for line in shown.splitlines() if "Fen 0" in line and "at place" in line)
    assert at.split()[0] < "09:00"
    write_world(world, "Su 06:00-20:00")
    assert main([*TRIP, "--hours", "06:00-20:00"]) == 0
    assert "Fen 0" not in capsys.readouterr().out.split("Proved")[1].split("Tour 2")[0]


def test_two_days_count_no_pair_twice(world, capsys):
    assert main([*TRIP, "--hours", "08:00-11:50", "--days", "2"]) == 0
    shown = capsys.readouterr().out
    assert "Tour 1: 12 new pairs (12 grids, 3 parks) at 3 places" in shown
    assert "Saturday 2026-06-20" in shown
    assert "Sunday 2026-06-21" in shown


def test_what_the_notebook_has_is_not_new(world, capsys):
    at = datetime(2026, 5, 1, 8, tzinfo=UTC).strftime("%Y-%m-%d %H:%M")
    words = [
        "visit",
        "add",
        "--place",
        "45.0,10.5",
        "--level",
        "subsquare",
        "--parks",
        "parks.geojson",
        "--start",
        at,
        "--contacts",
        "12",
    ]
    assert main(words) == 0
    capsys.readouterr()
    assert main([*TRIP, "--hours", "06:00-20:00", "--notebook", "visits.gpkg"]) == 0
    shown = capsys.readouterr().out
    assert "Tour 1: 8 new pairs" in shown
    assert "Left out, adding nothing new: 1." in shown


def test_the_same_input_gives_the_same_bytes_of_everything(world):
    for k in "12":
        outputs = [
            "--map",
            f"m{k}.html",
            "--sheet",
            f"s{k}.html",
            "--save",
            f"t{k}.gpx",
            "--save",
            f"t{k}.ics",
        ]
        assert main([*TRIP, "--hours", "06:00-20:00", *outputs, "--out", f"p{k}.zip"]) == 0
    for name in ("s{}.html", "t{}.gpx", "t{}.ics"):
        assert (world / name.format(1)).read_bytes() == (world / name.format(2)).read_bytes()
    with zipfile.ZipFile(world / "p1.zip") as pack:
        names = sorted(pack.namelist())
        assert pack.read("day.gpx") == (world / "t1.gpx").read_bytes()
    cards = [f"card-{rank:04d}.html" for rank in (1, 2, 3)]
    assert names == [*cards, "day.gpx", "day.html", "day.ics", "map.html"]


def test_a_saved_list_gives_the_same_trip(world, capsys):
    found = TRIP[1:9]
    assert main(["find", *found, "--save", "list.gpkg"]) == 0
    capsys.readouterr()
    assert main([*TRIP, "--hours", "06:00-20:00"]) == 0
    searched = capsys.readouterr().out
    words = ["trip", "--result", "list.gpkg", *TRIP[3:7], *TRIP[9:], "--hours", "06:00-20:00"]
    assert main(words) == 0
    assert capsys.readouterr().out == searched
    assert main([*words, "--level", "field"]) == 2
    assert "give nothing of a search beside it" in capsys.readouterr().err


ENTRY_PROFILE = """
title = "County list"
columns = ["id", "who"]
[entry]
column = "who"
restricted = ["R"]
"""


def test_a_day_says_where_entry_is_not_open_and_what_is_dangerous_in_the_units_asked_for(world, capsys):
    parks = json.loads((world / "parks.geojson").read_text())
    for feature, who in zip(parks["features"], "-R-", strict=True):
        feature["properties"]["who"] = who
    (world / "parks.geojson").write_text(json.dumps(parks))
    (world / "county.toml").write_text(ENTRY_PROFILE)
    line = shapely.geometry.mapping(shapely.LineString([(9.9, LAT + 0.0002), (10.1, LAT + 0.0002)]))
    power = {"type": "Feature", "properties": {"power": "line"}, "geometry": line}
    (world / "lines.geojson").write_text(json.dumps(power))
    words = [*TRIP, "--hours", "06:00-20:00", "--profile", "county.toml", "--hazards", "lines.geojson"]
    outputs = ["--sheet", "s.html", "--map", "m.html", "--save", "t.ics"]
    assert main([*words, *outputs, "--units", "imperial"]) == 0
    shown = capsys.readouterr().out
    entry = "Fen 1: entry is restricted, say the boundary data; ask the land manager before you go."
    (said,) = (text.strip() for text in shown.splitlines() if text.endswith(entry) and "Place" in text)
    (near,) = (text.strip() for text in shown.splitlines() if "Overhead" in text)
    assert re.search(r"\d ft", near)
    assert not re.search(r"\d m\b", near)
    calendar = icalendar.Calendar.from_ical((world / "t.ics").read_bytes())
    told = [str(event["DESCRIPTION"]) for event in calendar.walk("VEVENT")]
    for text in (said, near):
        own = text.partition(": ")[2]
        assert sum(own in event for event in told) == 1
        assert text in (world / "s.html").read_text()
    assert said in (world / "m.html").read_text()


# Formats
def test_the_calendar_reads_as_icalendar(world):
    assert main([*TRIP, "--hours", "06:00-20:00", "--save", "t.ics"]) == 0
    data = (world / "t.ics").read_bytes()
    calendar = icalendar.Calendar.from_ical(data)
    events = calendar.walk("VEVENT")
    whole, *places = events
    # RFC 5545: lines end in CRLF, folded at 75 octets; a UID and a DTSTAMP in each event, no UID twice.
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert len({event["UID"] for event in events}) == len(events) == 4
    assert all("DTSTAMP" in event for event in events)
    assert all(whole.start <= event.start < event.end <= whole.end for event in places)
    assert all(a.end <= b.start for a, b in pairwise(places))
    assert all(event.end - event.start >= timedelta(minutes=60) for event in places)
    assert "Leave at the first thunder" in whole["DESCRIPTION"]


def test_the_route_reads_as_gpx(world):
    assert main([*TRIP, "--hours", "06:00-20:00", "--save", "t.gpx"]) == 0
    gpx = gpxpy.parse((world / "t.gpx").read_text(encoding="utf-8"))
    (route,) = gpx.routes
    assert len(gpx.waypoints) == 3
    assert [point.name.split(",")[0] for point in route.points] == ["start", "park", "park", "park", "end"]
    drives = [track for track in gpx.tracks if "drive" in track.name]
    assert len(drives) == 4
    for track, (a, b) in zip(drives, pairwise(route.points), strict=True):
        line = track.segments[0].points
        for point, stop in ((line[0], a), (line[-1], b)):
            away = Geodesic.WGS84.Inverse(point.latitude, point.longitude, stop.latitude, stop.longitude)[
                "s12"
            ]
            assert away < 1.0


def test_the_demo_day_beats_going_for_the_most_or_the_nearest(tmp_path, capsys):
    """Seven hours, three places: see data_demo/README.md; `tests/test_demo_story.py` has the drives."""
    words = ["trip", "--outing", str(DEMO / "outing.toml"), "--date", "2026-01-15", "--hours", "09:00-16:00"]
    times = ["--set-up", "0", "--operating", "50", "--take-down", "0", "--most-places", "3"]
    archive = tmp_path / "day.zip"
    assert main([*words, *times, "--out", str(archive)]) == 0
    shown = capsys.readouterr().out
    assert "Tour 1: 14 new pairs" in shown
    assert "Proved: no other tour gives more" in shown
    with zipfile.ZipFile(BytesIO(archive.read_bytes())) as pack:
        assert sum(name.startswith("card-") for name in pack.namelist()) == 3
        page = pack.read("map.html").decode()
    assert "Best tour: " in page


def test_the_library_plans_the_same_day(world, capsys):
    import scout

    assert main([*TRIP, "--hours", "06:00-20:00", "--save", "t.gpx"]) == 0
    shown = capsys.readouterr().out.split("\nWrote")[0]
    spots = scout.find("parks.geojson", home="45.002,10.25", level="subsquare", access=["roads.geojson"])
    times = {"set_up_min": 10, "operating_min": 40, "take_down_min": 10, "hours": "06:00-20:00"}
    day = scout.trip(spots, "2026-06-20", zone="UTC", access="roads.geojson", **times)
    assert str(day) == shown
    assert repr(day).startswith("<12 new pairs (12 grids, 3 parks) at 3 places")
    assert day.save("own.gpx").read_bytes().count(b"<trk>") == (world / "t.gpx").read_bytes().count(b"<trk>")
    assert "Best tour" in day.map().html
    assert "In an emergency" in day.sheet().html
    first = day.tours[0].days[0]
    assert first.start.hour >= 6
    with pytest.raises(scout.InputError, match="is not in the list"):
        scout.trip(spots, "2026-06-20", must=[9])
    with pytest.raises(scout.OutputError, match="no format of a trip"):
        day.save("own.kml")


def test_sunset_is_that_over_the_hills_where_heights_are(tmp_path, monkeypatch, capsys):
    """A ridge of 20 degrees in the west takes the Sun away hours before a level horizon does."""
    import rasterio
    from affine import Affine

    monkeypatch.chdir(tmp_path)
    write_world(tmp_path)
    # Cells of 0.001 degrees; ground at 0 m, and 2 km west of the first corner a wall, 800 m high.
    heights = np.zeros((400, 2000), dtype=np.float32)
    heights[:, 470:475] = 800.0
    shape = {
        "driver": "GTiff",
        "height": 400,
        "width": 2000,
        "count": 1,
        "dtype": "float32",
        "crs": "EPSG:4326",
    }
    with rasterio.open("h.tif", "w", transform=Affine(0.001, 0, 9.5, 0, -0.001, 45.2), **shape) as out:
        out.write(heights, 1)
    words = [*TRIP, "--heights", "h.tif", "--most-places", "1", "--must", "3", "--between", "3=16:00-"]
    assert main([*words, "--hours", "08:00-20:00"]) == 0
    shown = capsys.readouterr().out
    assert "Fen 0" in shown
    said = next(line for line in shown.splitlines() if "the Sun is behind the hill from" in line)
    gone = said.rsplit(" ", 1)[1]
    assert "15:30" < gone < "18:00"  # level: 19:15 UTC
    assert main([*words, "--hours", "sunrise-sunset"]) == 2
    assert "after the time is up" in capsys.readouterr().err
    assert main([*words[:-1], "3=15:00-", "--hours", "sunrise-sunset"]) == 0
    lines = capsys.readouterr().out.splitlines()
    back = next(line for line in lines if "back at the car" in line)
    assert back.split()[0] <= gone
