"""Layers become parks: ids and names found, records of one id joined, everything else accounted for."""

from __future__ import annotations

from collections.abc import Callable
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

from scout.errors import InputError
from scout.io.layers import read_layers
from scout.model import DATUM_ERROR, GEOMETRY, KIND, PARK_ID, PARK_NAME, SOURCE
from scout.parks.build import UNKNOWN_DATUM_ERROR_M, build_parks
from scout.parks.columns import convert_to_texts

BOXES = [shapely.box(x, 10, x + 1, 11) for x in range(6)]
LINE = shapely.LineString([(0, 0), (0.01, 0)])
POINT = shapely.Point(1, 2)
USE_THEM = "give a corridor, such as --corridor 30.48, to use them"


def ids(*layers: Any, **options: Any) -> list[str]:
    return list(build_parks(layers, **options).frame[PARK_ID])


def test_the_frame_has_the_columns_of_the_model_and_a_plain_index() -> None:
    parks = build_parks([layer(BOXES, ref=list("abcdef"), name=list("ABCDEF"), acres=[1.5] * 6)])
    assert list(parks.frame.columns) == [PARK_ID, PARK_NAME, KIND, SOURCE, DATUM_ERROR, GEOMETRY]
    assert isinstance(parks.frame.index, pd.RangeIndex)
    assert parks.frame.crs == "EPSG:4326"
    assert parks.frame.iloc[2].drop(GEOMETRY).tolist() == ["c", "C", "area", 0, 0.0]
    report = parks.report
    assert (report.records, report.parks, report.merged) == (6, 6, 0)
    assert (report.id_column, report.name_column) == (("ref",), ("name",))
    assert report.repaired == report.refused == report.skipped == ()


def test_records_of_one_id_are_one_park_also_across_layers() -> None:
    first = layer(BOXES[:3], ref=["q1", "q2", "q1"], name=["", "Tern Marsh", "Quiet Cove"])
    second = layer(BOXES[3:5], called="more", accuracy_m=4.0, code=["q2", "q3"], title=["TERN-MARSH", ""])
    parks = build_parks([first, second])
    assert parks.frame[PARK_ID].tolist() == ["q1", "q2", "q3"], "in order of first appearance"
    assert parks.frame[PARK_NAME].tolist() == ["Quiet Cove", "Tern Marsh", ""], "the first that is not empty"
    assert parks.frame.geometry.iloc[0].equals(shapely.union(BOXES[0], BOXES[2]))
    assert parks.frame.geometry.iloc[1].equals(shapely.union(BOXES[1], BOXES[3]))
    assert parks.frame[SOURCE].tolist() == [0, 0, 1]
    assert parks.frame[DATUM_ERROR].tolist() == [0.0, 4.0, 4.0], "the largest of its sources"
    assert parks.report.merged == 2
    assert parks.report.id_column == ("ref", "code")


def test_records_that_lie_apart_are_never_joined_by_name() -> None:
    parks = build_parks([layer(BOXES[::2], name=["Tern Marsh"] * 3)])
    assert parks.frame[PARK_ID].tolist() == ["parks:1", "parks:2", "parks:3"]
    assert parks.report.id_column == ("",)


@pytest.mark.parametrize(
    "empty", ["", "  ", None, np.nan, pd.NA, "NULL", "<Null>", "n/a", "-", "None", "nan"]
)
def test_records_without_an_id_are_never_joined(empty: Any) -> None:
    found = ids(layer(BOXES[:4], ref=pd.Series(["q1", empty, empty, "q1"], dtype=object)))
    assert found == ["q1", "parks:2", "parks:3"]


@pytest.mark.parametrize(
    ("column", "values"), [("OBJECTID", [4, 5, 7]), ("id", [0, 1, 2]), ("Id", list("123"))]
)
def test_row_counters_of_two_files_say_nothing_of_each_other(column: str, values: list[Any]) -> None:
    two = [layer(BOXES[3 * n : 3 * n + 3], called=name, **{column: values}) for n, name in enumerate("ab")]
    parks = build_parks(two)
    texts_of = [str(value) for value in values]
    assert parks.frame[PARK_ID].tolist() == [f"{name}/{text}" for name in "ab" for text in texts_of]
    assert len(parks.report.notes) == 2
    assert parks.report.notes[0].startswith(f"a.gpkg: the column {column} only counts records")
    assert ids(two[0]) == texts_of, "alone there is nothing to tell apart"
    joined = build_parks(two, id_column=column)
    assert joined.frame[PARK_ID].tolist() == texts_of, "named by option they are joined"
    assert joined.report.notes == ()


def test_a_counter_keeps_clear_of_the_ids_of_another_file() -> None:
    telling, counting = layer(BOXES[:2], ref=["4", "x"]), layer(BOXES[2:4], called="b", gid=[4, 9])
    assert ids(telling, counting) == ["4", "x", "b/4", "b/9"]


def test_record_numbers_of_two_layers_do_not_collide_with_each_other_or_with_real_ids() -> None:
    found = ids(
        layer(BOXES[:2]), layer(BOXES[2:4]), layer(BOXES[4:], called="x", ref=["parks:2", "parks (2):1"])
    )
    assert len(set(found)) == 6
    assert found[:4] == ["parks (3):1", "parks (3):2", "parks (4):1", "parks (4):2"]
    assert found[4:] == ["parks:2", "parks (2):1"]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([12.0, 7.0, np.nan], ["12", "7", "parks:3"]),
        ([12.5, 7.0, 1e300], ["12.5", "7", "1e+300"]),
        ([3, 2**60 + 1, -1], ["3", str(2**60 + 1), "-1"]),
        (pd.Series([1, None, 3], dtype="Int64"), ["1", "parks:2", "3"]),
        (pd.Series([1.0, "1", " a "], dtype=object), ["1", "a"]),
        (pd.Series([True, 2, b"x"], dtype=object), ["True", "2", "x"]),
        (pd.Series([2**60 + 1, None, 5], dtype=object), [str(2**60 + 1), "parks:2", "5"]),
        (pd.Series(["01", "1", "1.0"]), ["01", "1", "1.0"]),
        (
            pd.to_datetime(["2020-01-01", None, "2021-01-01"]),
            ["2020-01-01 00:00:00", "parks:2", "2021-01-01 00:00:00"],
        ),
        (pd.Categorical(["a", "b", None]), ["a", "b", "parks:3"]),
    ],
)
def test_ids_are_text_whatever_the_column_holds(values: Any, expected: list[str]) -> None:
    assert ids(layer(BOXES[:3], ref=values)) == expected


@given(st.lists(st.one_of(st.integers(), st.floats(), st.text(), st.none(), st.booleans()), min_size=1))
def test_any_mixture_becomes_text(values: list[Any]) -> None:
    made = convert_to_texts(pd.Series(values, dtype=object))
    assert all(isinstance(value, str) and value == value.strip() for value in made)


@pytest.mark.parametrize(
    ("columns", "id_column", "name_column"),
    [
        ({"UNIT_CODE": "abc", "UNIT_NAME": "xyz", "OBJECTID": [1, 2, 3]}, "UNIT_CODE", "UNIT_NAME"),
        ({"fid": [1, 2, 3], "Id": [4, 5, 6]}, "Id", ""),
        ({"objectid": [1, 2, 3], "Label": "xyz"}, "objectid", "Label"),
        ({"gid": [1, 2, 3], "park_name": "abc", "name": "xyz"}, "gid", "park_name"),
        ({"code": "aaa", "gid": [7, 8, 9]}, "gid", ""),  # a class, not an id
        ({"ref": ["a", "", ""], "gid": [7, 8, 9]}, "gid", ""),  # mostly empty
        ({"ref": ["a", "a", "b"], "gid": [7, 8, 9]}, "ref", ""),
        ({"name": ["", None, " "], "title": "xyz"}, "", "title"),
        ({"acres": [1, 2, 3], "state": "abc"}, "", ""),
    ],
)
def test_columns_are_found_by_their_names(columns: dict[str, Any], id_column: str, name_column: str) -> None:
    spread = {key: list(value) for key, value in columns.items()}
    report = build_parks([layer(BOXES[:3], **spread)]).report
    assert report.id_column == (id_column,)
    assert report.name_column == (name_column,)


def test_columns_named_by_option_are_taken_in_any_case() -> None:
    one = layer(BOXES[:3], ref=list("abc"), STATE=["n", "n", "s"], Kind=list("xyz"))
    parks = build_parks([one], id_column="state", name_column="Kind")
    assert parks.frame[PARK_ID].tolist() == ["n", "s"]
    assert parks.frame[PARK_NAME].tolist() == ["x", "z"]
    assert (parks.report.id_column, parks.report.name_column) == (("STATE",), ("Kind",))


def test_a_layer_without_the_named_column_is_searched() -> None:
    parks = build_parks([layer(BOXES[:1], code=["a"]), layer(BOXES[1:2], ref=["b"])], id_column="code")
    assert parks.report.id_column == ("code", "ref")


@pytest.mark.parametrize("role", ["id_column", "name_column"])
def test_a_wrong_column_says_which_there_are(role: str) -> None:
    with pytest.raises(InputError) as caught:
        build_parks([layer(BOXES[:1], ref=["a"], unit_name=["b"])], **{role: "unitname"})
    kind = "ids" if role == "id_column" else "names"
    assert str(caught.value) == (
        f"parks.gpkg: there is no column 'unitname' for the {kind}; "
        "did you mean 'unit_name'? columns: ref, unit_name"
    )


def test_lines_and_points_are_skipped_and_counted() -> None:
    parks = build_parks([layer([BOXES[0], LINE, POINT, LINE, None, shapely.Polygon()])])
    assert parks.frame[PARK_ID].tolist() == ["parks:1"]
    assert parks.report.skipped == (
        "parks.gpkg: 2 records without geometry skipped (5, 6)",
        "parks.gpkg: 1 record of points skipped (3); a point has no area",
        f"parks.gpkg: 2 records of lines skipped (2, 4); {USE_THEM}",
    )
    assert parks.report.records == 6


def test_long_lists_of_skipped_records_are_cut() -> None:
    parks = build_parks([layer([BOXES[0], *[POINT] * 9])])
    assert parks.report.skipped == (
        "parks.gpkg: 9 records of points skipped (2, 3, 4, 5, 6 ...); a point has no area",
    )


def test_lines_become_corridors_only_when_asked_for_and_areas_are_never_widened() -> None:
    parks = build_parks([layer([BOXES[0], LINE])], corridor_m=30.48)
    assert parks.frame[KIND].tolist() == ["area", "corridor"]
    assert parks.frame.geometry.iloc[0].equals(BOXES[0])
    assert parks.frame.geometry.iloc[1].contains(LINE)
    assert parks.report.skipped == ()


def test_a_park_of_areas_and_lines_is_an_area() -> None:
    parks = build_parks([layer([BOXES[0], LINE, LINE], ref=["a", "a", "b"])], corridor_m=30.48)
    assert parks.frame[KIND].tolist() == ["area", "corridor"]
    assert parks.frame.geometry.iloc[0].covers(BOXES[0])
    assert parks.frame.geometry.iloc[0].contains(LINE)


@pytest.mark.parametrize("width", [0, -1, 10_001, float("nan"), float("inf")])
def test_a_width_that_is_none_is_one_line(width: float) -> None:
    with pytest.raises(InputError, match="is no half-width of a corridor; give metres above 0"):
        build_parks([layer([LINE])], corridor_m=width)


def test_collections_give_their_areas_and_their_lines_when_asked_for() -> None:
    nested = shapely.GeometryCollection([LINE, shapely.MultiPolygon([BOXES[1]])])
    mixed = shapely.GeometryCollection([BOXES[0], POINT, nested])
    lines = shapely.GeometryCollection([LINE, POINT])
    points = shapely.GeometryCollection([POINT])
    plain = build_parks([layer([mixed, lines, points])])
    assert plain.frame.geometry.iloc[0].equals(shapely.union(BOXES[0], BOXES[1]))
    starts = [line.split(";")[0] for line in plain.report.skipped]
    assert starts == [
        "parks.gpkg: 1 record of points skipped (3)",
        "parks.gpkg: 1 record of lines skipped (2)",
        "parks.gpkg: 1 record of areas with lines, which are left out (1)",
    ]
    wide = build_parks([layer([mixed, lines, points])], corridor_m=50)
    assert wide.frame[KIND].tolist() == ["area", "corridor"]
    assert wide.frame.geometry.iloc[0].contains(LINE)


@pytest.mark.parametrize(
    ("shapes", "words"),
    [
        ([LINE], "holds lines and no areas (records of lines: 1); give a corridor"),
        ([POINT, POINT], "holds points and no areas (records of points: 2)"),
        ([None], "no record has an area that can be used; bring park boundaries"),
        ([shapely.Polygon([(0, 0), (4, 0), (2, 0)])], "no area is left of it (self-intersection)"),
    ],
)
def test_nothing_to_make_a_park_of_is_one_line(shapes: list[Any], words: str) -> None:
    with pytest.raises(InputError) as caught:
        build_parks([layer(shapes)])
    assert str(caught.value).startswith("parks.gpkg: ")
    assert words in str(caught.value)


def test_no_layers_are_one_line_too() -> None:
    with pytest.raises(InputError, match="no record has an area"):
        build_parks([])


def test_an_unknown_datum_counts_with_its_large_error() -> None:
    parks = build_parks([layer(BOXES[:1], accuracy_m=None), layer(BOXES[1:2], called="b", accuracy_m=2.0)])
    assert parks.frame[DATUM_ERROR].tolist() == [UNKNOWN_DATUM_ERROR_M, 2.0]


def test_a_layer_with_nothing_usable_beside_another_is_no_error() -> None:
    parks = build_parks([layer([POINT], called="posts"), layer(BOXES[:1], ref=["a"])])
    assert parks.frame[SOURCE].tolist() == [1]
    assert len(parks.sources) == 2
    assert parks.report.id_column == ("", "ref")


def test_duplicate_records_become_one_park_of_the_same_shape() -> None:
    parks = build_parks([layer([BOXES[0]] * 3, ref=["a"] * 2 + ["b"])], id_column="ref")
    assert parks.frame.geometry.iloc[0].equals(BOXES[0])
    assert parks.report.merged == 1


def test_frames_that_are_given_are_not_changed() -> None:
    crossing = shapely.MultiPolygon([shapely.box(170, 0, 180, 1), shapely.box(-180, 0, -170, 1)])
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    one = layer([crossing, bow, LINE, POINT, None], ref=["a", "a", " b", None, "NULL"], name=list("vwxyz"))
    before, wkb = one.frame.copy(deep=True), one.frame.geometry.to_wkb().tolist()
    build_parks([one], corridor_m=30)
    pd.testing.assert_frame_equal(pd.DataFrame(one.frame), pd.DataFrame(before))
    assert one.frame.geometry.to_wkb().tolist() == wkb


def test_lines_about_records_are_short_and_printable() -> None:
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    parks = build_parks([layer([bow, bow], name=["long " * 100_000, "red\x1b[31m\nand more"])])
    first, second = parks.report.repaired
    assert len(first) < 130
    assert second == "parks.gpkg: record 2 (red\ufffd[31m and more): made valid: self-intersection"
    assert parks.frame[PARK_NAME].str.len().tolist() == [499_999, 17], "the name itself stays whole"


def test_lines_of_the_reading_are_passed_on_with_names() -> None:
    one = layer(BOXES[:2], name=["Tern Marsh", ""])
    one = type(one)(
        one.frame, one.source, ("parks.gpkg: record 3: lost",), ((1, "closed"), (9, "of a record gone"))
    )
    report = build_parks([one]).report
    assert report.refused == ("parks.gpkg: record 3: lost",)
    assert report.repaired == ("parks.gpkg: record 1 (Tern Marsh): closed",)


def test_natural_earth_parks_become_61_valid_parks(shared_data: Callable[[str], Path]) -> None:
    """61 areas, all valid; 29 lines of 28 parks (counted in the files)."""
    areas = read_layers([shared_data("ne_10m_parks_area.geojson")])
    parks = build_parks(areas)
    assert (len(parks.frame), parks.report.merged, parks.report.repaired) == (61, 0, ())
    assert parks.report.id_column == ("unit_code",)
    assert parks.report.name_column == ("unit_name",)
    assert parks.frame.geometry.geom_equals(areas[0].frame.geometry).all()
    both = build_parks([*areas, *read_layers([shared_data("ne_10m_parks_line.geojson")])], corridor_m=30.48)
    assert both.frame[KIND].value_counts().to_dict() == {"area": 61, "corridor": 28}
    assert both.frame.geometry.is_valid.all()
    assert isinstance(both.frame, gpd.GeoDataFrame)
