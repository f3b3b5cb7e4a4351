"""The outing file that the desk writes says what the page asked for, whatever letters it holds."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from desks import ROOT
from hypothesis import given
from hypothesis import strategies as st

from scout.app.outputs import FORMATS
from scout.desk.files import check_name, is_part, list_named
from scout.desk.settings import list_fields, load_settings, make_desk_request, word_error, write_outing
from scout.errors import LABELS, InputError, ScoutError
from scout.geo.locator import LEVELS, count_columns

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30)


@given(title=TEXTS, home=TEXTS, within=st.floats(0.001, 1e5), grids=st.integers(1, 4), files=st.lists(TEXTS))
def test_toml_reads_back_what_was_written(
    title: str, home: str, within: float, grids: int, files: list[str]
) -> None:
    options = {"title": title, "home": home, "within": within, "min-grids": grids}
    table = tomllib.loads(write_outing({"options": options}, {"parks": files}))
    assert table == options | ({"parks": list_named(files)} if files else {})


@given(TEXTS, TEXTS, TEXTS)
def test_tables_read_back_as_well(text: str, word: str, tag: str) -> None:
    credit = {"files": ["a.kml"], "text": text}
    reading = {"file": "roads.gpkg", "column": word, "values": {word: tag}}
    written = write_outing(
        {"more": {"credits": [credit], "tags": [reading]}}, {"parks": ["a.kml"], "access": ["roads.gpkg"]}
    )
    table = tomllib.loads(written)
    assert table["credits"] == [credit]
    assert table["tags"] == [reading]


def test_halves_of_pairs_and_controls_do_no_harm() -> None:
    table = tomllib.loads(write_outing({"options": {"title": "a\ud800b\x7f\x01\n\"'"}}, {}))
    assert table["title"] == "a\ufffdb\x7f\x01\n\"'"


def test_what_belongs_to_files_that_are_not_here_is_left_out() -> None:
    more = {
        "credits": [{"files": ["gone.kml"], "text": "theirs"}, {"files": [], "text": "ours"}],
        "tags": [{"file": "gone.gpkg", "all": "highway=path"}],
    }
    table = tomllib.loads(write_outing({"more": more}, {"parks": ["a.kml"]}))
    assert [row["text"] for row in table["credits"]] == ["ours"]
    assert "tags" not in table


def test_the_demos_outing_file_comes_back_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    found = load_settings(str(ROOT / "data_demo" / "outing.toml"))
    Path("again.toml").write_text(write_outing(found, found["roles"]), encoding="utf-8")
    assert load_settings("again.toml") == found
    original = tomllib.loads((ROOT / "data_demo" / "outing.toml").read_text(encoding="utf-8"))
    again = tomllib.loads(Path("again.toml").read_text(encoding="utf-8"))
    original["credits"][0]["date"] = original["credits"][0]["date"].isoformat()
    assert again == original


def test_where_a_command_would_write_is_kept_for_the_saved_file_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = 'parks = "a.kml"\nmap = "plan.html"\nsave = ["x.gpx"]\ntop = 3\n'
    text += 'park = ["one"]\nnotebook = "mine.gpkg"\n'
    Path("o.toml").write_text(text, encoding="utf-8")
    found = load_settings("o.toml")
    assert found["more"]["kept"] == {"map": "plan.html", "save": ["x.gpx"], "top": 3}
    assert found["options"] == {"park": ["one"], "notebook": True}
    assert tomllib.loads(write_outing(found, found["roles"]))["map"] == "plan.html"


@pytest.mark.parametrize(
    ("options", "where"),
    [
        ({"within": "far"}, "within"),
        ({"within": 5}, "within"),
        ({"home": "nowhere"}, "home"),
        ({"station-radius": 0}, "station-radius"),
        ({"min-grids": 1.5}, "min-grids"),
        ({"level": "acre"}, "level"),
        ({"title": 7}, "title"),
        ({"nonsense": 1}, ""),
    ],
)
def test_an_error_names_the_setting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: dict[str, object], where: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ScoutError) as caught:
        make_desk_request({"options": options}, {"parks": ["a.kml"]}).settings.make_options()
    told = word_error(caught.value)
    assert told["where"] == where
    assert LABELS.get(where, "nonsense") in told["text"]


def test_the_page_has_a_field_for_every_option_but_those_that_write() -> None:
    page = (ROOT / "scout" / "desk" / "desk.html").read_text(encoding="utf-8")
    elsewhere = {
        "map",
        "save",
        "top",
        "save-listed",
        "access",
        "barriers",
        "hazards",
        "heights",
        "cluster",
    }
    assert [key for key in list_fields() if key not in elsewhere and f'name="{key}"' not in page] == []


def test_parts_of_a_shapefile_are_no_files_of_their_own() -> None:
    names = ["Parks.shp", "Parks.dbf", "Parks.prj", "other.dbf"]
    assert list_named(names) == ["Parks.shp", "other.dbf"]
    assert is_part("parks.DBF", "Parks.shp")
    assert not is_part("parks.geojson", "parks.shp")


def test_the_page_offers_every_level_and_every_format() -> None:
    folder = ROOT / "scout" / "desk"
    page = (folder / "desk.html").read_text(encoding="utf-8")
    levels = re.search(r'<select name="level">(.*?)</select>', page)
    assert levels is not None
    assert re.findall(r">(\w+)</option>", levels[1]) == list(LEVELS)
    stage = (folder / "maps.js").read_text(encoding="utf-8")
    sizes = dict(
        re.findall(r"(\w+): ([\d/ ]+)[,}]", stage[stage.index("const LEVELS") :].split("};")[0] + "}")
    )
    for number, level in enumerate(LEVELS, start=1):
        over, _, under = sizes[level].strip().partition(" / ")
        assert 360 / count_columns(number) == pytest.approx(int(over) / int(under or 1))
    script = (folder / "day.js").read_text(encoding="utf-8")
    assert set(re.findall(r'\["(\.\w+)", ', script)) == set(FORMATS)


@pytest.mark.parametrize(
    "name", ["parks.geojson", "Ünïted parks (2).zip", "公園.gpkg", "a.b.c.kml", "roads.osm.pbf"]
)
def test_usual_names_are_taken(name: str) -> None:
    assert check_name(name, "access") == name


@given(st.text(max_size=40))
def test_a_name_is_a_plain_one_or_refused(text: str) -> None:
    try:
        name = check_name(text + ".kml", "parks")
    except InputError:
        return
    assert Path(name).name == name
    assert not name.startswith((".", "-"))


def test_parts_of_mapinfo_files_are_brought_and_a_folder_is_told():
    names = ["a.tab", "a.dat", "a.map", "a.id", "b.mif", "b.mid", "c.csv", "d.gdb.zip"]
    assert [check_name(name, "parks") for name in names] == names
    assert list_named(names) == ["a.tab", "b.mif", "c.csv", "d.gdb.zip"]
    with pytest.raises(
        InputError, match="a geodatabase is a folder, which a page cannot bring; bring it zipped"
    ):
        check_name("parks.gdb", "parks")
