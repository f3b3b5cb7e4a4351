import json

import pytest

from scout.errors import InputError
from scout.io.places import read_places


def test_a_csv_of_columns_or_of_places_as_people_write_them(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("Name,Latitude,Longitude\nCamp,45.5,-89.25\n\nÜbung,-1,2\n", encoding="utf-8")
    assert [(p.name, p.lat, p.lon) for p in read_places(path)] == [
        ("Camp", 45.5, -89.25),
        ("Übung", -1.0, 2.0),
    ]
    path.write_text("place;name\n45 30 N 89 15 W;Camp\nEN55;\n", encoding="utf-8")
    camp, cell = read_places(path)
    assert (camp.lat, camp.lon) == (45.5, -89.25)
    assert cell.cell == "EN55"
    assert cell.name == "line 3"


def test_waypoints_of_gpx(tmp_path):
    path = tmp_path / "a.gpx"
    path.write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="45.5" lon="-89.25"><name>Camp &amp; fire</name></wpt></gpx>'
    )
    (place,) = read_places(path)
    assert (place.name, place.lat, place.lon) == ("Camp & fire", 45.5, -89.25)


def test_points_of_geojson(tmp_path):
    path = tmp_path / "a.geojson"
    point = {
        "type": "Feature",
        "properties": {"name": "Camp"},
        "geometry": {"type": "Point", "coordinates": [2, 1]},
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [point]}))
    assert [(p.name, p.lat, p.lon) for p in read_places(path)] == [("Camp", 1.0, 2.0)]


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.csv", "name,lat,lon\nCamp,95,2\n", "line 2"),
        ("a.csv", "name,lat,lon\nCamp,,\n", "line 2"),
        ("a.csv", "who,what\n1,2\n", "no column of places among who, what"),
        ("a.csv", "lat,lon\n", "it holds no places"),
        ("a.csv", "", "no column of places"),
        ("a.txt", "1,2", "places are not read from .txt"),
        ("a.gpx", "no xml", "the outermost element is not gpx"),
        ("a.gpx", "<gpx>", "cannot be read"),
        ("a.geojson", "{}", "a.geojson"),
    ],
)
def test_what_cannot_be_read_is_one_line(tmp_path, name, text, says):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_places(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_lines_are_no_places(tmp_path):
    path = tmp_path / "a.geojson"
    line = {
        "type": "Feature",
        "properties": {},
        "geometry": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]},
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [line]}))
    with pytest.raises(InputError, match="record 1: it is no point"):
        read_places(path)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        read_places(tmp_path / "none.csv")
