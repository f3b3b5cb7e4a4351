"""Columns of the boundary files that are carried along with the parks."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from scout.errors import InputError
from scout.model import ATTRIBUTES, PARK_ID, RECORD, Layer, Source
from scout.parks.build import build_parks


def layer(name: str, **columns: list[object]) -> Layer:
    n = len(next(iter(columns.values())))
    shapes = [shapely.box(k, 0, k + 0.5, 0.5) for k in range(n)]
    frame = gpd.GeoDataFrame({**columns, RECORD: np.arange(1, n + 1)}, geometry=shapes, crs="EPSG:4326")
    return Layer(frame, Source(f"{name}.kml", name, n, "EPSG:4326 (WGS 84)", "none", 0.0))


def details(layers: list[Layer], *keep: str) -> dict[str, dict[str, str]]:
    frame = build_parks(layers, keep=keep).frame
    return dict(zip(frame[PARK_ID], frame[ATTRIBUTES], strict=True))


def test_they_are_text_and_what_is_empty_is_left_out() -> None:
    one = layer("a", id=["x", "y", "z"], hours=["dawn to dusk", None, "  "], beds=[12.0, 3.5, None])
    assert details([one], "hours", "beds") == {
        "x": {"hours": "dawn to dusk", "beds": "12"},
        "y": {"beds": "3.5"},
        "z": {},
    }


def test_of_joined_records_each_different_text_stands_once() -> None:
    north = layer("n", id=["x", "y", "x"], hours=["", "day", "day"], permit=["no", "no", "no"])
    south = layer("s", id=["x", "x"], hours=["night", "day"], permit=[None, "yes"])
    assert details([north, south], "hours", "permit") == {
        "x": {"hours": "day; night", "permit": "no; yes"},
        "y": {"hours": "day", "permit": "no"},
    }


def test_a_record_that_is_left_out_gives_its_text_to_none() -> None:
    one = layer("a", id=["x", "y", "z"], hours=["1", "2", "3"])
    shapes = [one.frame.geometry[0], shapely.Point(9, 9), one.frame.geometry[2]]
    frame = one.frame.set_geometry(gpd.GeoSeries(shapes, crs="EPSG:4326"))
    assert details([Layer(frame, one.source)], "hours") == {"x": {"hours": "1"}, "z": {"hours": "3"}}


def test_the_case_of_a_column_is_no_matter_and_the_name_is_the_one_asked_for() -> None:
    assert details([layer("a", id=["x"], HOURS=["day"])], "hours") == {"x": {"hours": "day"}}


def test_a_layer_without_the_column_is_noted_and_its_parks_have_none() -> None:
    layers = [layer("a", id=["x"], hours=["day"]), layer("b", id=["y"], hour=["night"])]
    parks = build_parks(layers, keep=("hours",))
    assert list(parks.frame[ATTRIBUTES]) == [{"hours": "day"}, {}]
    assert parks.report.notes[-1] == "b.kml: there is no column 'hours' (did you mean 'hour'?) to show"


def test_a_column_that_no_layer_has_is_refused_with_what_was_meant() -> None:
    with pytest.raises(InputError) as error:
        build_parks([layer("a", id=["x"], hours=["day"])], keep=("hours", "permitt", "hour"))
    assert "there is no column 'permitt' for the details to show; columns: id, hours" in str(error.value)
    with pytest.raises(InputError, match="did you mean 'hours'"):
        build_parks([layer("a", id=["x"], hours=["day"])], keep=("hour",))


def test_nothing_asked_for_adds_no_column_and_changes_no_input() -> None:
    one = layer("a", id=["x"], hours=["day"])
    before = one.frame.copy()
    assert ATTRIBUTES not in build_parks([one]).frame
    build_parks([one], keep=("hours",))
    assert one.frame.equals(before)
