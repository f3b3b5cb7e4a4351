"""One park is what people call one park: ids whose names agree, pieces of one name that touch."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from boundary_files import layer
from shapely import affinity

from scout.app.find import SearchOptions, find_spots
from scout.model import PARK_ID, PARK_NAME
from scout.parks.build import build_parks
from scout.parks.names import is_own, make_key

BOXES = [shapely.box(x, 10, x + 1, 11) for x in range(8)]  # each touches the next
FAR = [shapely.box(x, 10, x + 1, 11) for x in range(0, 16, 2)]


def ids(*layers: Any, **options: Any) -> list[str]:
    return list(build_parks(layers, **options).frame[PARK_ID])


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["Tern Marsh", "Otter Wood"], ["B7", "B7/2"]),
        (["Tern Marsh", "TERN-MARSH."], ["B7"]),
        (["Térn Mårsh", "tern marsh"], ["B7"]),
        (["Tern Marsh", ""], ["B7"]),
        (["", "Tern Marsh", "Otter Wood"], ["B7", "B7/2"]),  # without a name: with the first that has one
        (["Tern Marsh", "", "Otter Wood", ""], ["B7", "B7/2"]),
        (["Tern Marsh", "Unnamed", "n/a", "?"], ["B7"]),
        (["Tern Marsh", "Otter Wood", "tern marsh", "Elm Hill", "otter wood"], ["B7", "B7/2", "B7/3"]),
        (["か", "が"], ["B7", "B7/2"]),  # another letter, not an accent
    ],
)
def test_an_id_found_by_itself_joins_where_names_agree(names: list[str], expected: list[str]) -> None:
    code = ["B7"] * len(names) + ["C1", "C2", "C3", "C4", "C5"]
    one = layer(FAR[:1] * len(code), CODE=code, name=[*names, *"vwxyz"])
    assert ids(one)[: len(expected) + 1] == [*expected, "C1"]
    assert ids(one, id_column="code") == ["B7", "C1", "C2", "C3", "C4", "C5"], "named, it joins as told"


def test_a_record_without_a_name_is_part_of_the_first_park_of_its_id() -> None:
    one = layer(FAR[:4], CODE=["B7", "B7", "B7", "C1"], name=["", "Tern Marsh", "Otter Wood", "Elm"])
    frame = build_parks([one]).frame
    assert frame[PARK_NAME].tolist() == ["Tern Marsh", "Otter Wood", "Elm"]
    assert frame.geometry.iloc[0].equals(shapely.union(FAR[0], FAR[1]))


def test_one_line_says_which_ids_were_kept_apart() -> None:
    one = layer(FAR[:6], CODE=["a", "a", "b", "b", "c", "d"], name=["A", "B", "C", "D", "E", "F"])
    parks = build_parks([one])
    assert parks.report.notes == (
        "parks.gpkg: the column CODE gives 2 ids to parks of different names, so these are kept apart, such "
        "as a/2 (B) from a; name it as the id column to join them",
    )
    assert build_parks([one], id_column="CODE").report.notes == ()


def test_a_number_is_not_one_that_another_park_has() -> None:
    one = layer(FAR[:5], CODE=["a", "a/2", "a", "a", "b"], name=["A", "B", "C", "D", "E"])
    assert ids(one) == ["a", "a/2", "a/3", "a/4", "b"]


def test_across_files_too_and_what_is_named_by_option_is_one_park() -> None:
    told = layer(FAR[:2], code=["a", "a"], name=["Tern Marsh", "Otter Wood"])
    found = layer(FAR[2:5], called="more", ref=["a", "a", "b"], name=["Otter Wood", "Elm Hill", "Ash"])
    assert ids(told, found, id_column="code") == ["a", "a/2", "b"]
    assert ids(found, told, id_column="code") == ["a", "a/2", "b"]


@pytest.mark.parametrize(
    "columns",
    [
        {},
        {"OBJECTID": [14, 15, 16, 17]},
        {"fid": [1, 2, 3, 4]},
        {"GlobalID": [f"{{0F0F0F0F-0000-4000-8000-00000000000{k}}}" for k in range(4)]},
        {"ref": [f"0f0f0f0f-0000-4000-8000-00000000000{k}" for k in range(4)]},
        {"id": ["way/41", "way/42", "way/43", "relation/7"]},
        {"id": [5012, 5013, 5020, 5021]},
        {"osm_id": [5012, 5013, 5020, 5021]},
    ],
    ids=lambda columns: next(iter(columns), "none"),
)
def test_pieces_of_one_name_that_touch_are_one_park(columns: dict[str, Any]) -> None:
    one = layer(
        [*BOXES[:3], BOXES[5]], name=["Otter Greenway", "OTTER GREENWAY", "Otter-Greenway", "Elm"], **columns
    )
    parks = build_parks([one])
    assert parks.frame[PARK_NAME].tolist() == ["Otter Greenway", "Elm"]
    assert parks.frame.geometry.iloc[0].equals(shapely.union_all(BOXES[:3]))
    every = build_parks([one], join_pieces=False).frame[PARK_ID].tolist()
    assert parks.frame[PARK_ID].tolist() == [every[0], every[3]], "a park is called by its first piece"
    assert (parks.report.parks, parks.report.used, parks.report.merged) == (2, 4, 2)
    assert parks.report.notes == (
        "3 pieces that touch and have one name count as 1 park, such as Otter Greenway (pieces: 3); "
        "--pieces apart counts each for itself",
    )
    assert len(build_parks([one], join_pieces=False).frame) == 4


@pytest.mark.parametrize(
    "columns",
    [{"code": list("abcd")}, {"park_id": [3, 4, 5, 9]}, {"unit_no": ["7", "8", "9", "1"]}],
    ids=lambda columns: next(iter(columns)),
)
def test_codes_of_parks_keep_them_apart(columns: dict[str, Any]) -> None:
    assert len(ids(layer(BOXES[:4], name=["Otter Greenway"] * 4, **columns))) == 4


@pytest.mark.parametrize(
    "name",
    ["", "Park", "Wildlife Area", "STATE FOREST", "Unnamed", "Parque", "Naturschutzgebiet", "公園", "7"],
)
def test_a_kind_is_no_name_of_its_own(name: str) -> None:
    assert not is_own(name)
    assert len(ids(layer(BOXES[:3], name=[name] * 3))) == 3


@pytest.mark.parametrize(
    "name", ["River Trail", "Tern Park", "Forest Park", "Las Palmas", "North Wildlife Area", "つるの公園"]
)
def test_a_name_is(name: str) -> None:
    assert is_own(name)
    assert len(ids(layer(BOXES[:3], name=[name] * 3))) == 1


def test_those_of_one_name_that_lie_apart_stay_apart_and_chains_count() -> None:
    shapes = [BOXES[0], BOXES[6], BOXES[2], BOXES[1], BOXES[7]]
    assert ids(layer(shapes, name=["Otter Wood"] * 5)) == ["parks:1", "parks:2"]


def test_the_same_ground_in_two_layers_is_one_park() -> None:
    two = [
        layer(BOXES[:1], name=["Otter Wood"]),
        layer([BOXES[0].buffer(-0.1)], called="b", name=["OTTER WOOD"]),
    ]
    parks = build_parks(two)
    assert parks.frame[PARK_ID].tolist() == ["parks:1"]


@pytest.mark.parametrize(("gap_m", "parks"), [(0.0, 1), (0.9, 1), (1.1, 2), (20.0, 2)])
@pytest.mark.parametrize("lat", [0.0, 62.0, -80.0])
def test_slivers_of_less_than_a_metre_are_none(gap_m: float, parks: int, lat: float) -> None:
    lon = pyproj.Geod(ellps="WGS84").fwd(10.0, lat, 90.0, gap_m)[0]
    shapes = [shapely.box(9.9, lat - 0.001, 10.0, lat), shapely.box(lon, lat - 0.001, 10.1, lat)]
    shapes = shapes if lat >= 0 else [affinity.translate(one, 0.0, 0.001) for one in shapes]
    assert len(ids(layer(shapes, name=["Otter Wood"] * 2))) == parks


@pytest.mark.parametrize("turn", [0.0, 360.0])
def test_pieces_meet_across_the_antimeridian(turn: float) -> None:
    shapes = [shapely.box(179.5, 0, 180, 1), shapely.box(-180 + turn, 0, -179.5 + turn, 1)]
    frame = build_parks([layer(shapes, name=["Otter Wood"] * 2)]).frame
    assert [one.bounds for one in frame.geometry] == [(179.5, 0.0, 180.5, 1.0)]


def test_segments_of_one_trail_count_once() -> None:
    """Seven corridors that overlap where they meet: one grid pair for one park, not for seven."""
    ends = np.linspace(9.999, 10.001, 8)
    lines = [shapely.LineString([(a, 45.5), (b, 45.5)]) for a, b in pairwise(ends)]
    trail = layer(lines, name=["Otter Greenway"] * 7)
    options = SearchOptions(level=2, min_confidence=0.0)
    joined = find_spots(build_parks([trail], corridor_m=30.48), options)
    assert max(spot.n_parks for spot in joined.spots) == 1
    apart = find_spots(build_parks([trail], corridor_m=30.48, join_pieces=False), options)
    assert max(spot.n_parks for spot in apart.spots) > 1


def test_letters_that_look_alike_are_told_from_accents() -> None:
    assert make_key("Straße") == make_key("STRASSE")
    assert make_key("Żółw") == make_key("zolw")
    assert make_key("か") != make_key("が")
    assert make_key("ＯＴＴＥＲ") == make_key("otter")


@pytest.mark.parametrize(
    "column",
    [
        "nombre",
        "NOM",
        "navn",
        "namn",
        "Naam",
        "nome",
        "nimi",
        "nazwa",
        "Název",
        "名称",
        "名前",
        "公園名",
        "이름",
        "название",
    ],
)
def test_names_are_found_in_other_languages(column: str) -> None:
    parks = build_parks([layer(FAR[:2], **{column: ["Tern Marsh", "Otter Wood"], "acres": [1, 2]})])
    assert parks.report.name_column == (column,)
    assert parks.frame[PARK_NAME].tolist() == ["Tern Marsh", "Otter Wood"]
    assert parks.report.notes == ()


def test_where_no_names_are_found_the_columns_are_listed() -> None:
    parks = build_parks([layer(FAR[:2], ref=["a", "b"], descr=["Tern Marsh", "Otter Wood"], acres=[1, 2])])
    assert parks.report.notes == (
        "parks.gpkg: no column of names was found; if it is one of these, name it as the name column: "
        "descr, acres",
    )
    many = layer(FAR[:2], **{f"c{k}": [1, 2] for k in range(30)})
    assert build_parks([many]).report.notes[0].endswith("c18, c19 and 10 more")


def test_every_record_is_counted_once() -> None:
    bow = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    flat = shapely.Polygon([(0, 0), (1, 1), (2, 2), (0, 0)])
    shapes = [BOXES[0], BOXES[1], bow, flat, None, shapely.Point(1, 2), shapely.LineString([(0, 0), (1, 1)])]
    report = build_parks([layer(shapes, name=["Otter Wood", "Otter Wood", *"cdefg"])]).report
    assert report.counts == (
        "2 parks from 3 of 7 records, 1 joined to another of the same park, 1 repaired, 1 refused, 3 skipped"
    )
    assert report.used + report.refused_records + report.skipped_records == report.records
    assert build_parks([layer(FAR[:2], name=list("ab"))]).report.counts == "2 parks from 2 records"
