"""Thousands of parks on the same ground, and thousands of small ones in a large one: bounded, and told."""

from __future__ import annotations

import json
import subprocess
import sys
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import layer
from builders import box
from conftest import REPOSITORY
from hypothesis import given, settings
from hypothesis import strategies as st
from page_reader import Reader
from test_overlap_bounds import comb

from scout.app.find import SearchOptions, find_spots
from scout.errors import InputError
from scout.page import outlines
from scout.page.outlines import find_overlaps
from scout.parks.build import build_parks
from scout.search import overlaps

quick = settings(deadline=None, derandomize=True, max_examples=60)
GROUND = box(-20.05, 44.95, -19.95, 45.05)
MOST_MB = 650.0  # 3,000 on the same ground took 2,600, and 100,000 over 12,000; now 25,000 take 400
_RUN = """
import sys
from scout.cli import main
code = main(sys.argv[1:])
# What the system counts for a process goes on from the one that it was forked from; this begins anew.
(most,) = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(int(most) / 1024)
sys.exit(code)
"""


def shifted(count: int) -> Any:
    """Copies of the ground a metre apart."""
    step = np.arange(count) * 1.3e-5
    up = np.arange(count) % 7 * 1e-5
    return shapely.box(-20.05 + step, 44.95 + up, -19.95 + step, 45.05 + up)


def written(path: Path, shapes: Any) -> Path:
    """A GeoParquet file of parks with a name each; what is equal takes no room."""
    pyarrow = pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
    from pyarrow import parquet

    column = {"encoding": "WKB", "geometry_types": ["Polygon"]}
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    table = pyarrow.table(
        {"name": [f"Q{k}" for k in range(len(shapes))], "geometry": shapely.to_wkb(shapes).tolist()}
    )
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), path, compression="zstd")
    return path


def run_measured(folder: Path, *words: str) -> tuple[int, str, float]:
    """Exit status, what it said to the other stream, and its most memory in MB."""
    done = subprocess.run(
        [sys.executable, "-c", _RUN, *words],
        cwd=folder,
        env={"PYTHONPATH": str(REPOSITORY), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr, float(done.stdout.splitlines()[-1])


@pytest.mark.parametrize("count", [3_000, 25_000])
def test_equal_parks_are_checked_and_drawn_three_deep(tmp_path: Path, count: int) -> None:
    written(tmp_path / "a.parquet", np.full(count, GROUND))
    status, told, most_mb = run_measured(tmp_path, "check", "45,-20", "--parks=a.parquet", "--map", "o.html")
    assert (status, told) == (0, "")
    assert most_mb < MOST_MB
    page = (tmp_path / "o.html").read_text(encoding="utf-8")
    drawn = Reader(page).data()["overlaps"]
    assert drawn["two"] == []
    assert len(drawn["more"]) == 1
    assert 'id="hatching-left"' not in page


def test_equal_parks_are_searched_and_drawn(tmp_path: Path) -> None:
    written(tmp_path / "a.parquet", np.full(3_000, GROUND))
    words = ["find", "--min-grids", "2", "--parks=a.parquet", "--map", "o.html"]
    _, told, most_mb = run_measured(tmp_path, *words)
    assert told == ""
    assert most_mb < MOST_MB
    assert len(Reader((tmp_path / "o.html").read_text(encoding="utf-8")).data()["overlaps"]["more"]) == 1


def test_equal_parks_by_the_ten_thousand_are_not_searched(tmp_path: Path) -> None:
    written(tmp_path / "a.parquet", np.full(25_000, GROUND))
    words = ["find", "--min-grids", "2", "--parks=a.parquet", "--map", "o.html"]
    status, told, most_mb = run_measured(tmp_path, *words)
    assert (status, told.count("\n")) == (2, 1)
    assert most_mb < MOST_MB
    assert not (tmp_path / "o.html").exists()


def test_nearly_equal_parks_are_drawn_without_hatching_and_the_page_says_so(tmp_path: Path) -> None:
    written(tmp_path / "a.parquet", shifted(3_000))
    status, told, most_mb = run_measured(tmp_path, "check", "45,-20", "--parks=a.parquet", "--map", "o.html")
    assert (status, told) == (0, "")
    assert most_mb < MOST_MB
    page = (tmp_path / "o.html").read_text(encoding="utf-8")
    assert Reader(page).data()["overlaps"] == {"two": [], "more": []}
    assert 'id="hatching-left"' in page
    assert page.count("Too many outlines of parks lie over each other for this map to hatch") == 2


def test_stretches_in_thousands_of_parks_are_refused_before_they_are_laid_out() -> None:
    with pytest.raises(InputError, match=r"stretches of lattice lines lie in 1,5\d\d parks each"):
        find_spots(build_parks([layer(shifted(3_000))]), SearchOptions(min_grids=2))


# What the page hatches


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_an_outline_drawn_many_times_counts_as_often(count: int) -> None:
    """However its rings are turned and wherever they begin."""
    turned = [
        GROUND,
        shapely.reverse(GROUND),
        shapely.Polygon(np.roll(GROUND.exterior.coords[:-1], 1, axis=0)),
    ]
    found = find_overlaps(np.array([turned[k % 3] for k in range(count)], dtype=object))
    assert found is not None
    depths = [shapely.area(found[0]) > 0, shapely.area(found[1]) > 0]
    assert depths == [count == 2, count >= 3]


@given(st.lists(st.tuples(*[st.integers(0, 12)] * 2, *[st.integers(1, 3)] * 2), min_size=1, max_size=40))
@quick
def test_shapes_that_share_area_are_those_of_all_pairs(boxes: list[tuple[int, int, int, int]]) -> None:
    shapes = np.array([box(x, y, x + w, y + h) for x, y, w, h in boxes], dtype=object)
    shared = {
        k
        for k, (x, y, w, h) in enumerate(boxes)
        for n, (a, b, c, d) in enumerate(boxes)
        if n != k and x < a + c and a < x + w and y < b + d and b < y + h
    }
    found = outlines._find_overlapping(shapes)
    assert found is not None
    assert sorted(shapely.to_wkt(found)) == sorted(shapely.to_wkt(shapes[sorted(shared)]))


@given(seed=st.integers(0, 2**32 - 1), count=st.integers(2, 7))
@quick
def test_what_is_hatched_is_the_ground_that_pairs_and_triples_share(seed: int, count: int) -> None:
    """Ragged rings over each other, with holes; cut by GEOS two and three at a time."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    rings = [
        np.exp(rng.normal(0, 0.15, 80)) * [np.cos(turn), np.sin(turn)] + rng.uniform(-1, 1, (2, 1))
        for _ in range(count)
    ]
    shapes = np.array([shapely.Polygon(ring.T) for ring in rings], dtype=object)
    shapes = shapely.difference(shapes, shapely.buffer(shapely.centroid(shapes), 0.2))
    pairs, triples = (
        shapely.union_all([shapely.intersection_all(list(some)) for some in combinations(shapes, size)])
        for size in (2, 3)
    )
    found = find_overlaps(shapes)
    assert found is not None
    assert shapely.symmetric_difference(found[0], shapely.difference(pairs, triples)).area < 1e-12
    assert shapely.symmetric_difference(found[1], triples).area < 1e-12


def test_boxes_whose_edges_lie_on_one_line_are_hatched() -> None:
    """A thousand, each a little further on: every piece between two of their ends would be millions."""
    shapes = np.array([shapely.box(k / 64, 0, 500 + k / 64, 1) for k in range(1000)], dtype=object)
    found = find_overlaps(shapes)
    assert found is not None
    assert shapely.equals(
        found[0], shapely.union(*(box(x, 0, x + 1 / 64, 1) for x in (1 / 64, 500 + 997 / 64)))
    )
    assert shapely.equals(found[1], box(2 / 64, 0, 500 + 997 / 64, 1))


@pytest.mark.parametrize("name", ["combs", "nested", "strips"])
def test_overlaps_without_end_are_left_out_before_anything_is_cut(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = 0.5 - np.arange(4_000) * 1e-4
    strip = np.array([(0.0, 0.0), (1.0, 1.0), (1.00009, 1.0), (0.00009, 0.0)])
    shapes = {
        "combs": [comb(1000, False), comb(1000, True)],
        "nested": [*shapely.box(-size, -size, size, size)],
        "strips": [shapely.Polygon(strip + np.array([k * 1e-4, 0.0])) for k in range(6_000)],
    }[name]
    monkeypatch.setattr(outlines, "_cover_by_depth", lambda *_: pytest.fail("the work has begun"))
    assert find_overlaps(np.array(shapes, dtype=object)) is None


# What a large park holds


def test_what_a_large_park_holds_is_not_cut_by_it(monkeypatch: pytest.MonkeyPatch) -> None:
    angle = np.linspace(0, 2 * np.pi, 5_000, endpoint=False)
    radius = 0.3 * (1 + 0.05 * np.sin(40 * angle))
    large = shapely.Polygon(np.column_stack([radius * np.cos(angle) - 30.3, radius * np.sin(angle) + 45.4]))
    x, y = (side.ravel() for side in np.meshgrid(np.arange(10), np.arange(10)))
    small = shapely.box(-30.4 + x * 0.02, 45.31 + y * 0.02, -30.39 + x * 0.02, 45.32 + y * 0.02)
    ragged = [shape.buffer(0.001) - shape.buffer(-0.004) if k % 2 else shape for k, shape in enumerate(small)]
    shapes = np.array([*ragged[:50], large, *ragged[50:]], dtype=object)  # above some and below others
    given: list[tuple[Any, Any, Any]] = []
    map_rows = overlaps.map_rows

    def note(do: Any, *columns: Any, **more: Any) -> Any:
        made = map_rows(do, *columns, **more)
        if do is shapely.intersection:
            given.extend(zip(*columns, made, strict=True))
        return made

    monkeypatch.setattr(overlaps, "map_rows", note)
    regions, _ = overlaps.find_regions(shapes, shapely.STRtree(shapes))
    pairs = [(a, b, made) for a, b, made in given if shapely.get_num_coordinates([a, b]).min() < 5]
    assert len(pairs) == 100
    for a, b, made in pairs:
        first = shapely.get_num_coordinates(a) < 5
        whole = shapely.intersection(large, b) if first else shapely.intersection(a, large)
        assert made.wkb == whole.wkb
    assert not any(large in pair[:2] for pair in given)
    assert {
        frozenset(regions.park[a:b].tolist()) for a, b in zip(regions.first, regions.first[1:], strict=False)
    } >= {frozenset((50, k)) for k in (0, 2, 60)}
