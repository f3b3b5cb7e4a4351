"""GeoJSON read by simdjson beside the same text read by GDAL: the same records, to the last bit."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from scout.errors import ScoutError
from scout.io import gathering
from scout.io.layers import read_layers
from scout.model import Layer
from scout.parks.columns import convert_to_texts

numbers = st.floats(-80, 80, allow_nan=False, width=64) | st.integers(-80, 80)
positions = st.lists(numbers, min_size=2, max_size=2) | st.lists(numbers, min_size=3, max_size=3)
rings = st.lists(positions, min_size=3, max_size=6).map(lambda ring: [*ring, ring[0]])
areas = st.lists(rings, min_size=1, max_size=3)
paths = st.lists(positions, min_size=2, max_size=5)


def of(kind: str, coordinates: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.fixed_dictionaries({"type": st.just(kind), "coordinates": coordinates})


shapes = st.one_of(
    st.none(),
    of("Polygon", areas),
    of("MultiPolygon", st.lists(areas, min_size=1, max_size=3)),
    of("LineString", paths),
    of("MultiLineString", st.lists(paths, min_size=1, max_size=3)),
    of("Point", positions),
    of("MultiPoint", st.lists(positions, min_size=1, max_size=3)),
)
# What files hold besides: rings that are none, nothing where something should be, other kinds.
odd_shapes = st.one_of(
    of("Polygon", st.just([])),
    of("MultiPolygon", st.just([[]])),
    of("Polygon", st.lists(paths, min_size=1, max_size=2)),
    of("Polygon", st.just([[[0, 0], [1, 1, 1], [1, 0], [0, 0]]])),
    of("Polygon", st.just([[[0, 0, 1, 9], [1, 1, 1, 9], [1, 0, 1, 9], [0, 0, 1, 9]]])),
    of("Polygon", st.just([[["0", 0], [1, 1], [1, 0], ["0", 0]]])),
    of("Polygon", st.just(None)),
    of("Point", st.just([1e999, 3])),
    of("Circle", positions),
    st.fixed_dictionaries(
        {"type": st.just("GeometryCollection"), "geometries": st.lists(shapes, min_size=1, max_size=2)}
    ),
    st.just({}),
    st.just("POINT (1 2)"),
)
words = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=8)
# GDAL garbles names of columns beyond the basic plane.
short = st.text(st.characters(exclude_categories=("Cs", "Cc"), max_codepoint=0xFFFF), min_size=1, max_size=8)
names = st.sampled_from(["id", "name", "Name", "ref", "opened", "OGC_FID", "wkb_geometry"]) | short
plain = st.one_of(
    st.none(),
    words,
    st.integers(-(2**63), 2**63 - 1),
    st.floats(-1e15, 1e15),
    st.booleans(),
    st.sampled_from(["2020-01-31", "2020/01/31 12:00:00", "12:00", "1.50", "7"]),
)
odd = st.one_of(st.lists(plain, max_size=2), st.dictionaries(words, plain, max_size=2), st.just(2**64))


def features(shape: st.SearchStrategy[Any], value: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.fixed_dictionaries(
        {
            "type": st.just("Feature"),
            "geometry": shape,
            "properties": st.none() | st.dictionaries(names, value, max_size=4),
        },
        optional={"id": st.integers(0, 9) | words, "bbox": st.just([0, 0, 1, 1])},
    )


def read(path: Path) -> Layer | str:
    try:
        return read_layers([path])[0]
    except ScoutError as error:
        return str(error)


def both(folder: Path, document: Any) -> tuple[Layer | str, Layer | str]:
    path = folder / "some.geojson"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    quick = read(path)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(gathering, "is_worth_trying", lambda _: False)
        return quick, read(path)


def check_same(quick: Layer | str, plainly: Layer | str) -> None:
    if isinstance(quick, str) or isinstance(plainly, str):
        assert quick == plainly
        return
    # GDAL says some things once in a process, so its warnings are not compared.
    assert quick.source.records == plainly.source.records
    assert (quick.refused, quick.repaired) == (plainly.refused, plainly.repaired)
    ours, theirs = quick.frame, plainly.frame
    assert (
        shapely.to_wkb(ours.geometry.to_numpy()).tolist()
        == shapely.to_wkb(theirs.geometry.to_numpy()).tolist()
    )
    assert set(ours.columns) == set(theirs.columns)
    for name in set(ours.columns) - {"geometry"}:
        assert (
            np.asarray(convert_to_texts(ours[name])).tolist()
            == np.asarray(convert_to_texts(theirs[name])).tolist()
        ), name


@given(st.lists(features(shapes, plain), min_size=1, max_size=5))
def test_sound_features_are_what_gdal_makes_of_them(
    tmp_path_factory: pytest.TempPathFactory, some: Any
) -> None:
    check_same(*both(tmp_path_factory.mktemp("sound"), {"type": "FeatureCollection", "features": some}))


@given(st.lists(features(shapes | odd_shapes, plain | odd), max_size=4))
@example([None])
@example([{"type": "Feature"}])
@example([{"type": "feature", "geometry": None}])
@example([{"type": "Feature", "geometry": None, "properties": [1]}])
def test_odd_features_are_left_to_gdal(tmp_path_factory: pytest.TempPathFactory, some: Any) -> None:
    check_same(*both(tmp_path_factory.mktemp("odd"), {"type": "FeatureCollection", "features": some}))


@pytest.mark.parametrize(
    "document",
    [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2]}, "properties": {}},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]},
        {"features": []},
        {"type": "FeatureCollection"},
        {"type": "FeatureCollection", "features": {}},
        {"type": "Topology", "objects": {}, "arcs": []},
    ],
    ids=["a feature", "a geometry", "no type", "no features", "features are no list", "a topology"],
)
def test_other_documents_are_left_to_gdal(tmp_path: Path, document: Any) -> None:
    check_same(*both(tmp_path, document))


def test_the_quick_way_is_the_one_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the comparisons above would compare GDAL with itself."""
    ring = [[0, 0, 5], [1, 0, 5], [1, 1, 5], [0, 0, 5]]
    some = {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [ring]},
        "properties": {"id": "Q1"},
    }
    path = tmp_path / "some.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [some]}))
    monkeypatch.setattr(gathering, "list_streams", lambda _: [])
    (layer,) = read_layers([path])
    assert layer.frame["id"].tolist() == ["Q1"]
    assert shapely.equals(layer.frame.geometry[0], shapely.Polygon([(0, 0), (1, 0), (1, 1)]))


def test_where_memory_is_short_gdal_reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def short(self: object, path: str) -> None:
        raise MemoryError

    monkeypatch.setattr("simdjson.Parser", type("Short", (), {"load": short}))
    quick, plainly = both(
        tmp_path, {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": None}]}
    )
    check_same(quick, plainly)
    assert isinstance(quick, Layer)


SQUARE = '{"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]}'
OTHER = '{"type": "Polygon", "coordinates": [[[5, 5], [6, 5], [6, 6], [5, 5]]]}'


@pytest.mark.parametrize(
    "feature",
    [
        f'{{"type": "Feature", "geometry": {SQUARE}, "geometry": {OTHER}, "properties": {{}}}}',
        f'{{"type": "Feature", "properties": {{"a": 1}}, "properties": {{"b": 2}}, "geometry": {SQUARE} }}',
        f'{{"type": "Feature", "geometry": {SQUARE}, "geometry": {OTHER} }}',
        f'{{"type": "Feature", "geometry": {SQUARE}, "properties": {{"id": "a", "id": "b"}}}}',
        f'{{"type": "Feature", "geometry": {SQUARE[:-1]}, "type": "Point"}}, "properties": {{}}}}',
        f'{{"type": "Feature", "geometry": {SQUARE[:-1]}, "coordinates": {OTHER[33:]}, "properties": {{}}}}',
        f'{{"type": "Point", "type": "Feature", "geometry": {SQUARE}, "properties": {{}}}}',
        f'{{"type": "Feature", "geometry": {SQUARE}, "properties": {{"id": "\\u0000Q1"}}}}',
    ],
)
@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["plain", "with a mark"])
def test_members_named_twice_mean_what_they_mean_to_gdal(tmp_path: Path, feature: str, mark: str) -> None:
    text = f'{mark}{{"type": "FeatureCollection", "features": [{feature}]}}'
    check_same(*both(tmp_path, text))
