"""Which records make parks: conditions on columns, several columns as one id, schemas that are recognised."""

from __future__ import annotations

import json
import re
import sqlite3
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from boundary_files import layer
from hypothesis import given
from hypothesis import strategies as st

from scout.app.sources import ParkFiles, load_profiles, open_source, read_parks
from scout.cli import main
from scout.errors import InputError
from scout.model import ENTRY, PARK_ID, PARK_NAME
from scout.parks.build import build_parks
from scout.parks.expression import Condition
from scout.parks.indexed import IndexedParks, ParkReading, open_indexed
from scout.parks.profiles import parse_profile

BOXES = [shapely.box(x + 9.9, 44.9, x + 10.1, 45.1) for x in range(0, 12, 2)]  # each on a corner of squares
TABLE = pd.DataFrame(
    {
        "Category": ["Fee", "Easement", None, "Fee"],
        "acres": [40.0, 10.0, 70.0, np.nan],
        "n": [1, 2, 3, 4],
        "open": [True, False, True, False],
        "a;b": ["x", "y", "z", "x"],
        'q"q': [1, 2, 3, 4],
        "day": pd.to_datetime(["2026-01-02", "2026-02-03", None, "2025-05-06"]),
    }
)


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("Category = 'Fee'", [0, 3]),
        ("category in ('Fee', 'Proclamation') and ACRES > 1", [0]),
        ("Category <> 'Fee'", [1]),  # NULL is neither (SQL:2016, three-valued logic)
        ("Category is null or acres is null", [2, 3]),
        ("Category like 'f%'", [0, 3]),  # LIKE regards no case in ASCII: sqlite.org/lang_expr.html
        ("lower(Category) glob 'e*'", [1]),
        ("open", [0, 2]),
        ("\"a;b\" = 'x' -- a comment", [0, 3]),
        ("[a;b] = 'y' or `n` = 3", [1, 2]),
        ('"q""q" >= 3', [2, 3]),
        ("day < '2026-01-03'", [0, 3]),
        ("n between 2 and 3", [1, 2]),
        ("Category = ';'", []),
        ("1", [0, 1, 2, 3]),
    ],
)
def test_a_condition_holds_for_the_rows_that_sql_says(text: str, rows: list[int]) -> None:
    assert np.flatnonzero(Condition(text).choose(TABLE)).tolist() == rows


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no condition"),
        ("1; drop table records", "a semicolon ends no condition"),
        ("1) union select 1 --", "is no condition"),
        ("1) union select 1 from records where (1", "reaches beyond"),
        ("exists (select 1 from records)", "reaches beyond"),
        ("n > (select max(n) from records)", "reaches beyond"),
        ("n in (select 1)", "reaches beyond"),
        ("rowid = 1", "reaches beyond"),
        ("load_extension('x')", "reaches beyond"),
        ("randomblob(1000000000) is null", "reaches beyond"),
        ("count(*) > 0", "reaches beyond"),
        ("row_number() over () = 1", "reaches beyond"),
        ("n = ?", "is no condition"),
        (
            "Categry = 'Fee'",
            "there is no column 'Categry'; did you mean 'Category'? columns: Category, acres",
        ),
        ('"Categry" = "Fee"', "there is no column 'Categry'; did you mean 'Category'?"),
        ("x" * 10_001, "is no condition"),
        (
            "'" + "a" * 9000 + "' = " + "replace(" * 30 + "'a'" + ", 'a', 'aaaaaaaaaa')" * 30,
            "is no condition",
        ),
    ],
)
def test_what_is_no_condition_on_a_record_is_refused_in_a_line(text: str, says: str) -> None:
    with pytest.raises(InputError) as error:
        Condition(text).choose(TABLE)
    assert says in str(error.value)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 600


def test_a_condition_without_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scout.parks.expression._LONGEST_S", 0.0)
    many = pd.DataFrame({"text": [f"a{n}" for n in range(3000)]})
    with pytest.raises(InputError, match="takes over 0 s; give a simpler condition"):
        Condition("text like '%a%b%'").choose(many)


VALUES = st.one_of(st.none(), st.integers(-3, 3), st.sampled_from(["", "a", "A", "b", "é"]))


@given(st.lists(st.tuples(VALUES, VALUES), max_size=30))
def test_rows_folded_or_not_the_same_are_chosen(rows: list[tuple[Any, Any]]) -> None:
    """Against SQLite asked about every row by itself."""
    frame = pd.DataFrame(rows, columns=["x", "y"], dtype=object)
    text = "x = 'a' or y > 0 or (x is null and y is not null)"
    base = sqlite3.connect(":memory:")
    expected = [
        bool(base.execute(f"select {text} from (select ? as x, ? as y)", row).fetchone()[0]) for row in rows
    ]
    assert Condition(text).choose(frame).tolist() == expected


def table(**columns: Any) -> gpd.GeoDataFrame:
    count = len(next(iter(columns.values())))
    return gpd.GeoDataFrame(columns, geometry=BOXES[:count], crs="EPSG:4326")


WAYS = ["whole", "by index", "spilled"]


def opened(path: Path, way: str, **asked: Any) -> Any:
    """Parks of a file by each way of reading, as one frame, and the report."""
    if way == "whole":
        parks = read_parks(ParkFiles((str(path),), **asked), lambda _: None)
        return parks.frame, parks.report
    reading = {"where": asked.get("where"), "profiles": load_profiles(asked.get("profile"))}
    reading |= {name: asked[name] for name in ("id_column", "keep") if name in asked}
    least, large = (1, 10**9) if way == "by index" else (10**9, 1)
    source = open_indexed([path], ParkReading(**reading), least=least, large=large)
    assert isinstance(source, IndexedParks)
    found = source.load(np.arange(len(source.ids))).frame
    entry = found[ENTRY].tolist() if ENTRY in found else None
    assert (None if source.entry is None else source.entry.tolist()) == entry
    return found.reset_index(drop=True), source.report


@pytest.mark.parametrize("way", WAYS)
def test_a_condition_chooses_the_same_parks_by_every_way_of_reading(tmp_path: Path, way: str) -> None:
    path = tmp_path / "parks.gpkg"
    kinds = ["Fee", "Easement", "Fee", "Fee", None, "Fee"]
    table(code=list("abcdef"), kind=kinds, acres=[1, 2, 3, 40, 50, 60]).to_file(path)
    frame, report = opened(path, way, where="kind = 'Fee' and acres > 2")
    assert frame[PARK_ID].tolist() == ["c", "d", "f"]
    assert report.counts == "3 parks from 3 of 6 records, 3 left out"
    assert report.notes[0] == f"{path}: 3 of 6 records left out: 3 by the condition"


@pytest.mark.parametrize("way", WAYS)
def test_several_columns_make_one_id_and_without_the_first_there_is_none(tmp_path: Path, way: str) -> None:
    path = tmp_path / "parks.gpkg"
    units = ["Ash Hollow", "Ash Hollow", "Ash Hollow", None, None, "Unknown"]
    table(
        unit=units, manager=["S", "S", "F", "S", "S", "S"], state=["NE", "NE", None, "NE", "NE", "NE"]
    ).to_file(path)
    frame, report = opened(path, way, id_column="unit, MANAGER,state")
    assert frame[PARK_ID].tolist() == [
        "Ash Hollow / S / NE",
        "Ash Hollow / F",
        "parks:4",
        "parks:5",
        "parks:6",
    ]
    assert report.id_column == ("unit, manager, state",)


def test_a_column_with_a_comma_in_its_name_is_one() -> None:
    one = layer(BOXES[:2], **{"a,b": ["x", "y"], "a": ["1", "1"], "b": ["2", "2"]})
    assert build_parks([one], id_column="a,b").frame[PARK_ID].tolist() == ["x", "y"]
    with pytest.raises(InputError, match=r"there is no column 'c' for the ids; .*columns: a,b, a, b"):
        build_parks([one], id_column="a,c")


def test_of_layers_without_the_column_nothing_is_chosen_and_of_none_with_it_the_columns_are_listed() -> None:
    layers = [layer(BOXES[:2], kind=["x", "y"]), layer(BOXES[2:4], called="b", sort=["x", "y"])]
    parks = build_parks(layers, where="kind = 'x'")
    assert len(parks.frame) == 1
    assert parks.report.notes[1] == "b.gpkg: 2 of 2 records left out: 2 without a column 'kind'"
    with pytest.raises(InputError, match="there is no column 'knd'; did you mean 'kind'"):
        build_parks(layers, where="knd = 'x'")
    with pytest.raises(InputError, match=r"none of its records is chosen \(4\); ask for less"):
        build_parks(layers, where="kind = 'z'")


def national(path: Path) -> Path:
    """Six records as a national database has them; its codes of access are from memory."""
    table(
        Category=["Fee", "Fee", "Fee", "Fee", "Easement", "Designation"],
        Unit_Nm=["Ash Hollow", "Birch Fen", "Cove", "Dune", "Farm", "Ash Hollow Wilderness"],
        Mang_Name=["SPR", "CITY", "SPR", "NGO", "PVT", "SPR"],
        Des_Tp=["SP", "LP", "SP", "PCON", "CONE", "WA"],
        Pub_Access=["OA", "RA", "UK", "XA", "XA", "OA"],
        State_Nm=["NE"] * 6,
    ).to_file(path)
    return path


@pytest.mark.parametrize("way", WAYS)
def test_a_known_schema_is_recognised_and_says_what_makes_parks(tmp_path: Path, way: str) -> None:
    path = national(tmp_path / "national.gpkg")
    frame, report = opened(path, way)
    assert frame[PARK_NAME].tolist() == ["Ash Hollow", "Birch Fen", "Cove"]
    assert frame[PARK_ID].tolist() == ["Ash Hollow / SPR / NE", "Birch Fen / CITY / NE", "Cove / SPR / NE"]
    assert frame[ENTRY].tolist() == ["open", "restricted", "unknown"]
    assert frame["attributes"].tolist()[1] == {"Manager": "CITY", "Kind": "LP"}
    assert report.counts == "3 parks from 3 of 6 records, 3 left out"
    assert report.notes[0] == (
        f"{path}: read as PAD-US; 3 of 6 records left out: 2 not held in fee (easements, designations, "
        "proclamations, marine areas), 1 closed to the public by Pub_Access; --profile none takes all"
    )
    frame, report = opened(path, way, profile="none")
    assert (len(frame), ENTRY in frame) == (6, False)


@pytest.mark.parametrize("way", WAYS)
def test_prepared_it_tells_who_may_enter_and_all_details(tmp_path: Path, way: str) -> None:
    path, ready = national(tmp_path / "national.gpkg"), tmp_path / "ready.parquet"
    assert main(["prepare", "--parks", str(path), "--out", str(ready)]) == 0
    frame, _ = opened(ready, way)
    columns = [PARK_ID, PARK_NAME, ENTRY, "attributes"]
    assert frame[columns].equals(opened(path, way)[0][columns])
    assert frame[ENTRY].tolist() == ["open", "restricted", "unknown"]
    assert frame["attributes"].tolist()[1] == {"Manager": "CITY", "Kind": "LP"}


def test_words_of_entry_that_no_prepared_file_has_tell_nothing(tmp_path: Path) -> None:
    one = layer(BOXES[:4], **{"scout:entry": ["closed", "restricted", "=1+1", None]})
    assert build_parks([one]).frame[ENTRY].tolist() == ["", "restricted", "", ""]


def test_what_the_user_says_goes_before_the_schema(tmp_path: Path) -> None:
    path = national(tmp_path / "national.gpkg")
    frame, _ = opened(path, "whole", where="Category = 'Designation'", id_column="Unit_Nm", keep=("Des_Tp",))
    assert frame[PARK_ID].tolist() == ["Ash Hollow Wilderness"]
    assert frame["attributes"].tolist() == [{"Des_Tp": "WA"}]


def test_of_records_of_one_park_the_most_restricting_word_counts() -> None:
    profile = parse_profile(
        {"title": "T", "columns": ["who"], "id": ["code"], "entry": {"column": "who", "open": ["o"],
         "restricted": ["R"], "unknown": ["u"], "closed": ["x"]}}, "t.toml"
    )  # fmt: skip
    one = layer(BOXES, code=list("aaabbc"), who=["o", "r", "u", "u", "o", "other"])
    assert build_parks([one], profiles=[profile]).frame[ENTRY].tolist() == ["restricted", "unknown", ""]


def test_the_listing_the_map_and_check_say_where_entry_is_not_open(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = national(tmp_path / "national.gpkg")
    page, saved = tmp_path / "map.html", tmp_path / "spots.geojson"
    assert main(["find", "--parks", str(path), "--map", str(page), "--save", str(saved)]) == 0
    listed = capsys.readouterr().out
    assert "read as PAD-US; 3 of 6 records left out" in listed
    notes = {
        tuple(f["properties"]["park_names"]): f["properties"]["notes"]
        for f in json.loads(saved.read_text())["features"]
        if f["properties"]["kind"] == "corner"
    }
    assert not any("entry" in note for note in notes[("Ash Hollow",)])
    restricted = "Birch Fen: entry is restricted, say the boundary data; ask the land manager before you go."
    unknown = "Cove: whether the public may enter is not known from the boundary data; ask the land manager."
    assert restricted in notes[("Birch Fen",)]
    assert unknown in notes[("Cove",)]
    for said in (restricted, unknown):
        (line,) = (line for line in listed.splitlines() if line.endswith(said))
        assert re.fullmatch(r"(#\d+ )+", line.removesuffix(said)), "once, with the ranks of its spots"
    html = page.read_text(encoding="utf-8")
    assert restricted in html
    assert "Protected Areas Database of the United States (PAD-US), US Geological Survey" in html
    assert main(["check", "45,12", "--parks", str(path)]) == 0
    assert f"  {restricted}\n" in capsys.readouterr().out
    assert main(["check", "45,12", "--parks", str(path), "--json"]) == 0
    (near,) = json.loads(capsys.readouterr().out)[0]["near_parks"]
    assert near["entry"] == "restricted"


PROFILE = """
title = "County list"
columns = ["sort", "who"]
layers = ["park*"]
where = "sort = 'park'"
left_out = "no parks"
boundary_error_m = 30
[entry]
column = "who"
closed = ["none"]
"""


def test_a_profile_of_ones_own_is_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, own = tmp_path / "parks.gpkg", tmp_path / "own.toml"
    some = table(code=list("abc"), sort=["park", "yard", "park"], who=["all", "all", "none"])
    some.to_file(path, layer="parks")
    some.to_file(path, layer="works")
    own.write_text(PROFILE)
    words = ["find", "--parks", str(path), "--profile", str(own)]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "read as County list; 2 of 3 records left out: 1 no parks, 1 closed to the public by who" in out
    assert (
        "(layer works): read as County list; 3 of 3 records left out: 3 for the layer holds no parks" in out
    )
    assert "are usually right to 30 m; --boundary-error 30 takes that into account" in out


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = 3\ncolumns = ['a']", "'title' is not text; give text"),
        ("title = 'a'", "'columns' is missing; give a title and the columns it is known by"),
        (
            "title = 'a'\ncolumns = ['a']\nsort = 1",
            "there is no key 'sort'; keys: boundary_error_m, columns, ",
        ),
        ("title = 'a'\ncolumns = ['a']\nwhere = 'b = 1'", "there is no column 'b'; columns: a"),
        ("title = 'a'\ncolumns = ['a']\nwhere = 'a = 1; b'", "a semicolon ends no condition"),
        ("title = 'a'\ncolumns = ['a']\nboundary_error_m = -1", "'boundary_error_m' is not metres"),
        ("title = 'a'\ncolumns = ['a']\n[entry]\nopen = ['b']", "'column' is missing"),
        ("title = 'a'\ncolumns = ['a']\n[entry]\ncolumn = 'a'\nshut = ['b']", "there is no key 'shut'"),
        ("title =", "is not TOML"),
    ],
)
def test_a_profile_that_is_none_is_refused_in_a_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, says: str
) -> None:
    (tmp_path / "p.toml").write_text(text)
    path = national(tmp_path / "national.gpkg")
    assert main(["find", "--parks", str(path), "--profile", str(tmp_path / "p.toml")]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"scout: {tmp_path / 'p.toml'}")
    assert says in said
    assert said.count("\n") == 1


def test_an_unknown_profile_is_refused_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "--parks", "a.kml", "--profile", "padus"]) == 2
    known = "give openstreetmap, pad-us, wdpa, none or a .toml file"
    assert f"there is no profile 'padus'; {known}" in capsys.readouterr().err


def test_the_profiles_that_come_along_are_sound() -> None:
    for one in load_profiles():
        assert one.title
        assert not one.where or Condition(one.where).find_columns(one.columns)


def test_a_saved_world_database_leaves_out_what_is_only_proposed(tmp_path: Path) -> None:
    """Names of columns and the values of STATUS from memory."""
    path = tmp_path / "world.shp"
    table(
        WDPAID=[1, 2, 3, 3],
        NAME=["Ash", "Birch", "Cove", "Cove"],
        DESIG_ENG=["Nature Reserve"] * 4,
        STATUS=["Designated", "Proposed", "Established", "Established"],
        IUCN_CAT=["IV"] * 4,
        MANG_AUTH=["Not Reported"] * 4,
    ).to_file(path)
    source = open_source(ParkFiles((str(path),)), lambda _: None)
    assert list(source.ids) == ["1", "3"]
    assert source.sources[0].credits[0].text.startswith("World Database")
