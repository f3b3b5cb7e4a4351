"""The same ground told twice: parks whose outlines nearly coincide and whose names agree are one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from boundary_files import layer

from scout.app.sources import ParkFiles, read_parks
from scout.io.layers import read_layers
from scout.model import PARK_ID, PARK_NAME
from scout.parks.build import build_parks
from scout.parks.duplicates import _bound_shared, _find_like_boxes
from scout.parks.indexed import ParkReading, open_indexed
from scout.parks.names import make_key

BOX = shapely.box(10, 45, 10.1, 45.1)
EAST = shapely.box(10.004, 45, 10.104, 45.1)  # 96 % of the ground is common
FURTHER = shapely.box(10.02, 45, 10.12, 45.1)  # 80 %


def ids(*records: tuple[str, str, Any], **options: Any) -> tuple[list[str], tuple[str, ...]]:
    codes, names, shapes = zip(*records, strict=True)
    parks = build_parks([layer(list(shapes), code=list(codes), name=list(names))], **options)
    return parks.frame[PARK_ID].tolist(), parks.report.notes


def test_one_name_and_nearly_one_outline_is_one_park_with_the_ground_of_the_first() -> None:
    one = layer([BOX, EAST], code=["a", "b"], name=["Otter Wood", "OTTER-WOOD"])
    parks = build_parks([one])
    assert parks.frame[PARK_ID].tolist() == ["a"]
    assert parks.frame.geometry[0].equals(BOX)
    assert parks.report.counts == "1 park from 1 of 2 records, 1 left out"
    assert parks.report.notes == (
        "1 park is told twice and counted once: Otter Wood (b left out for a); --same-ground 0 counts each",
    )


def test_with_different_names_both_stay_and_are_pointed_out() -> None:
    found, notes = ids(("a", "Otter Wood", BOX), ("b", "Tern Marsh", EAST))
    assert found == ["a", "b"]
    assert notes == (
        "1 pair of parks covers nearly the same ground under different names: Otter Wood and Tern Marsh "
        "(96 % common); if they are one, count one",
    )


def test_less_common_ground_no_name_or_the_option_leaves_both() -> None:
    assert ids(("a", "Otter Wood", BOX), ("b", "Otter Wood", FURTHER)) == (["a", "b"], ())
    assert ids(("a", "", BOX), ("b", "", EAST))[0] == ["a", "b"]
    assert ids(("a", "Otter Wood", BOX), ("b", "Otter Wood", EAST), same_ground=0) == (["a", "b"], ())
    assert ids(("a", "Otter Wood", BOX), ("b", "Otter Wood", FURTHER), same_ground=0.75)[0] == ["a"]
    assert ids(("a", "Otter Wood", BOX), ("b", "Otter Wood", EAST), same_ground=0.97)[0] == ["a", "b"]


def test_a_small_park_inside_one_of_its_name_is_another() -> None:
    assert ids(("a", "Otter Wood", BOX), ("b", "Otter Wood", shapely.box(10, 45, 10.05, 45.1)))[0] == [
        "a",
        "b",
    ]


def test_told_three_times_by_chain_or_in_pieces_it_is_one() -> None:
    found, notes = ids(*((c, "Otter Wood", BOX) for c in "abc"))
    assert (found, notes[0][:38]) == (["a"], "2 parks are told twice and counted onc")
    west, east = shapely.box(10, 45, 10.05, 45.1), shapely.box(10.05, 45, 10.1, 45.1)
    found, _ = ids(("a", "Otter Wood", BOX), ("b", "Otter Wood", west), ("b", "Otter Wood", east))
    assert found == ["a"]


def test_of_several_files_the_first_counts() -> None:
    first = layer([BOX], code=["a"], name=["Otter Wood"])
    second = layer([EAST, FURTHER], called="b", ref=["x", "y"], title=["Otter Wood", "Fen"])
    parks = build_parks([first, second])
    assert parks.frame[PARK_ID].tolist() == ["a", "y"]
    assert build_parks([second, first]).frame[PARK_ID].tolist() == ["x", "y"]


def make_country(seed: int, count: int = 120) -> gpd.GeoDataFrame:
    """Parks of a few sizes and names, some of them told again a little differently, in any order."""
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(-3, -0.5, count)
    x, y = rng.uniform(10, 12, count), rng.uniform(44, 46, count)
    angle = np.sort(rng.uniform(0, 2 * np.pi, (count, 12)))
    out = size[:, None] * rng.uniform(0.6, 1.0, (count, 12))
    again = rng.integers(0, count, count // 2)
    shapes = [
        shapely.Polygon(np.column_stack([x[k] + out[k] * np.cos(angle[k]), y[k] + out[k] * np.sin(angle[k])]))
        for k in range(count)
    ]
    shapes = [shape if shape.is_valid else shape.convex_hull for shape in shapes]
    names = [f"Park {k}" if k % 7 else "" for k in range(count)]
    for k in again.tolist():
        moved = rng.normal(0, size[k] * 0.02, 2)
        shapes.append(shapely.transform(shapes[k], lambda p, moved=moved: p * 1.0 + moved))
        names.append(names[k].upper() if rng.random() < 0.7 else f"Ground {k}")
    order = rng.permutation(len(shapes))
    return gpd.GeoDataFrame(
        {"code": [f"c{k}" for k in range(len(order))], "name": [names[k] for k in order]},
        geometry=[shapes[k] for k in order],
        crs="EPSG:4326",
    )


def brute(frame: gpd.GeoDataFrame) -> tuple[list[str], int]:
    """Every park compared with every other: those that are left, and pairs of different names."""
    shapes, names = frame.geometry.to_numpy(), [make_key(name) for name in frame["name"]]
    gone: set[int] = set()
    others = []
    for b in range(len(frame)):
        for a in range(b):
            common = shapes[a].intersection(shapes[b]).area
            if common <= 0.9 * max(shapes[a].area, shapes[b].area):
                continue
            if names[a] and names[a] == names[b]:
                if a not in gone:
                    gone.add(b)
            else:
                others.append((a, b))
    rest = sum(a not in gone and b not in gone for a, b in others)
    return [code for k, code in enumerate(frame["code"]) if k not in gone], rest


@pytest.mark.parametrize("seed", range(6))
def test_the_same_parks_are_left_as_when_each_is_compared_with_each(tmp_path: Path, seed: int) -> None:
    """Whole, by index and spilled to disk, against a loop over all pairs."""
    frame = make_country(seed)
    expected, pairs = brute(frame)
    assert 20 < len(frame) - len(expected) < len(frame)
    assert pairs > 5
    path = tmp_path / "country.gpkg"
    frame.to_file(path)
    parks = build_parks(read_layers(path), join_pieces=False)
    assert parks.frame[PARK_ID].tolist() == expected
    (line,) = [note for note in parks.report.notes if "under different names" in note]
    assert line.startswith(f"{pairs} pairs of parks cover")
    for least, large in ((1, 10**9), (10**9, 1)):
        source = open_indexed([path], ParkReading(join_pieces=False), least=least, large=large)
        assert source is not None
        assert list(source.ids) == expected
        assert source.load(np.arange(len(expected))).frame[PARK_ID].tolist() == expected
        assert source.report.left_out_records == len(frame) - len(expected)
        assert line in source.report.notes


def test_no_like_box_is_missed() -> None:
    """Against all pairs, for boxes of all sizes at any place of the grids."""
    rng = np.random.default_rng(5)
    low = rng.uniform(-179, 179, (400, 2)) * [1, 0.4]
    side = 10.0 ** rng.uniform(-4, 0.5, (400, 2))
    boxes = np.concatenate([low, low + side], axis=1)
    again = boxes + rng.uniform(-0.14, 0.14, boxes.shape) * side.max(axis=1)[:, None]
    every = np.concatenate([boxes, again])
    longer = (every[:, 2:] - every[:, :2]).max(axis=1)
    pairs = _find_like_boxes(every, np.zeros(len(every), dtype=bool), 0.9)
    found = set(zip(pairs.a.tolist(), pairs.b.tolist(), strict=True))
    apart = np.abs(every[:, None] - every[None]).max(axis=2)
    near = apart <= 0.15 * np.maximum(longer[:, None], longer[None])
    assert found == {(a, b) for a, b in np.argwhere(near).tolist() if a < b}
    assert len(found) >= 400


@pytest.mark.parametrize("named", ["alike", "each its own"])
def test_a_hundred_thousand_equal_outlines_come_to_an_end(tmp_path: Path, named: str) -> None:
    count = 100_000
    path = tmp_path / "many.gpkg"
    names = ["Otter Wood"] * count if named == "alike" else [f"Park {k}" for k in range(count)]
    gpd.GeoDataFrame(
        {"code": [f"c{k}" for k in range(count)], "name": names}, geometry=[BOX] * count, crs="EPSG:4326"
    ).to_file(path)
    source = open_indexed([path], ParkReading())
    assert source is not None
    assert len(source.ids) == (1 if named == "alike" else count)


def test_published_parks_told_twice_are_few(shared_data: Callable[[str], Path]) -> None:
    """Natural Earth's areas: no two are one; what a change of the definition would show first."""
    parks = read_parks(ParkFiles((str(shared_data("ne_10m_parks_area.geojson")),)), lambda _: None)
    assert parks.report.left_out_records == 0
    assert not any("told twice" in note for note in parks.report.notes)
    assert parks.frame[PARK_NAME].is_unique or len(parks.frame) > 50


@pytest.mark.parametrize("shift", [1e-6, 1e-4, 2e-3])
def test_what_moved_outlines_share_is_bounded_from_below(shift: float) -> None:
    """Against GEOS's own intersection: never more than it, and near it where vertices move a little."""
    rng = np.random.default_rng(3)
    ones, others = [], []
    for vertices in (3, 5, 40, 500):
        for _ in range(20):
            turn = np.sort(rng.uniform(0, 2 * np.pi, vertices))
            away = 0.05 * np.exp(rng.normal(0, 0.2, vertices))
            ring = np.stack([away * np.cos(turn), away * np.sin(turn)], axis=1)
            shapes = [
                shapely.Polygon(xy, [xy[::-1] * 0.3])
                for xy in (ring, ring + rng.uniform(-shift, shift, ring.shape))
            ]
            if all(shape.is_valid for shape in shapes):
                ones.append(shapes[0])
                others.append(shapes[1])
    assert len(ones) > 20
    one, other = np.array(ones, dtype=object), np.array(others, dtype=object)
    bound = _bound_shared(one, other)
    true = shapely.area(shapely.intersection(one, other))
    assert (bound <= true + 1e-12).all()
    if shift < 1e-5:
        assert (bound > 0.99 * true).all()
    fewer = np.array([shapely.Polygon(shape.exterior) for shape in ones], dtype=object)
    assert (_bound_shared(one, fewer) == 0).all()
