"""Invalid polygons are made valid with the area that their rings mean; areas worked out by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import layer
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.page.outlines import draw_parks
from scout.page.packing import PageFrame
from scout.parks import repair
from scout.parks.build import build_parks
from scout.parks.repair import Allowance, repair_polygon


def ring(west: float, south: float, east: float, north: float) -> list[tuple[float, float]]:
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


def polygon(shell: Any, *holes: Any) -> Any:
    return shapely.Polygon(shell, holes)


# name: (shape, area that is meant, a place inside, a place outside, words of the reason)
FAULTS: dict[str, tuple[Any, float, Any, Any, str]] = {
    "bow-tie": (polygon([(0, 0), (2, 2), (2, 0), (0, 2)]), 2.0, (0.2, 1), (1, 0.2), "self-intersection"),
    "hole larger than its shell": (
        polygon(ring(1, 1, 2, 2), ring(0, 0, 4, 4)),
        15.0,
        (3, 3),
        (1.5, 1.5),
        "larger",
    ),
    "hole larger, and a true one": (
        polygon(ring(3, 3, 5, 5), ring(0, 0, 9, 9), ring(6, 6, 7, 7)),
        76.0,
        (8, 8),
        (6.5, 6.5),
        "larger",
    ),
    "hole partly outside": (
        polygon(ring(0, 0, 4, 4), ring(3, 1, 6, 2)),
        15.0,
        (1, 1),
        (5, 1.5),
        "self-inter",
    ),
    "hole beside its shell": (
        polygon(ring(0, 0, 4, 4), ring(5, 5, 6, 6)),
        17.0,
        (5.5, 5.5),
        (4.5, 4.5),
        "outside",
    ),
    "overlapping holes": (
        polygon(ring(0, 0, 9, 9), ring(1, 1, 4, 4), ring(3, 3, 6, 6)),
        64.0,
        (8, 8),
        (3.5, 3.5),
        "self-intersection",
    ),
    "nested holes": (
        polygon(ring(0, 0, 9, 9), ring(1, 1, 6, 6), ring(2, 2, 4, 4)),
        56.0,
        (8, 8),
        (3, 3),
        "holes are nested",
    ),
    "nested shells": (
        shapely.MultiPolygon([shapely.box(0, 0, 9, 9), shapely.box(2, 2, 4, 4)]),
        81.0,
        (3, 3),
        (10, 10),
        "nested shells",
    ),
    "overlapping parts": (
        shapely.MultiPolygon([shapely.box(0, 0, 4, 4), shapely.box(2, 2, 6, 6)]),
        28.0,
        (3, 3),
        (5, 1),
        "self-intersection",
    ),
    "parts with a common edge": (
        shapely.MultiPolygon([shapely.box(0, 0, 4, 4), shapely.box(4, 0, 6, 4)]),
        24.0,
        (4, 2),
        (7, 2),
        "self-intersection",
    ),
    "the same part twice": (
        shapely.MultiPolygon([shapely.box(0, 0, 4, 4), shapely.box(0, 0, 4, 4)]),
        16.0,
        (2, 2),
        (5, 5),
        "",
    ),
    "hole drawn into the shell": (
        polygon([(0, 0), (4, 0), (4, 4), (2, 4), (3, 2), (1, 2), (2, 4), (0, 4)]),
        14.0,
        (0.5, 2),
        (2, 3),
        "ring self-intersection",
    ),
    "spike": (polygon([(0, 0), (4, 0), (4, 4), (4, 9), (4, 4), (0, 4)]), 16.0, (1, 1), (4, 8), ""),
    "ring run twice": (polygon(ring(0, 0, 4, 4) + ring(0, 0, 4, 4)), 16.0, (2, 2), (5, 5), ""),
    "ring that runs along itself": (
        polygon([(0, 0), (3, 1), (0, 0), (1, 1), (3, 1)]),
        1.0,
        (1.2, 0.9),
        (2, 0.2),
        "ring self-intersection",
    ),
    "ring that overlaps itself": (
        polygon([(0, 0), (10, 0), (10, 10), (0, 10), (0, 2), (6, 2), (6, 6), (-2, 6), (-2, 0)]),
        112.0,
        (3, 4),
        (-1, 8),
        "self-intersection",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_mended_to_the_area_that_is_meant(fault: str) -> None:
    shape, area, inside, outside, words = FAULTS[fault]
    assert not shape.is_valid
    made, reason = repair_polygon(shape)
    assert made is not None
    assert made.is_valid
    assert made.geom_type in ("Polygon", "MultiPolygon")
    assert made.area == pytest.approx(area, abs=1e-9)
    assert made.intersects(shapely.Point(inside))
    assert not made.intersects(shapely.Point(outside))
    assert words in reason
    assert "[" not in reason


@pytest.mark.parametrize(
    "shape",
    [
        polygon([(0, 0), (4, 0), (2, 0)]),
        polygon([(0, 0), (4, 4), (0, 0), (0, 0)]),
        polygon(ring(0, 0, 4, 4), ring(0, 0, 4, 4)),
        polygon([(1, 1)] * 4),
    ],
)
def test_a_polygon_without_area_gives_nothing(shape: Any) -> None:
    assert repair_polygon(shape)[0] is None


def test_islands_in_lakes_stay_and_valid_shapes_are_not_touched() -> None:
    lake = shapely.MultiPolygon([polygon(ring(0, 0, 9, 9), ring(1, 1, 8, 8)), shapely.box(2, 2, 4, 4)])
    parks = build_parks([layer([lake])])
    assert parks.frame.geometry.iloc[0] is lake or parks.frame.geometry.iloc[0].equals_exact(lake)
    assert parks.report.repaired == ()


def test_every_mended_record_is_named_with_what_was_wrong() -> None:
    shapes = [FAULTS["bow-tie"][0], shapely.box(0, 0, 1, 1), FAULTS["hole larger than its shell"][0]]
    parks = build_parks([layer(shapes, called="land", name=["Tern Marsh", "Quiet Cove", ""])])
    assert parks.report.repaired == (
        "land.gpkg: record 1 (Tern Marsh): made valid: self-intersection",
        "land.gpkg: record 3: made valid: hole larger than its shell; "
        "1 part read as a hole, 1 hole read as ground (by nesting)",
    )
    assert parks.frame.geometry.is_valid.all()


POINTS = st.tuples(st.integers(0, 12), st.integers(0, 12))
RINGS = st.lists(POINTS, min_size=3, max_size=9)


@given(st.lists(st.lists(RINGS, min_size=1, max_size=4), min_size=1, max_size=3))
@settings(deadline=None, max_examples=300)
def test_whatever_the_rings_the_result_is_valid_or_nothing(parts: list[list[list[tuple[int, int]]]]) -> None:
    shape = shapely.MultiPolygon([polygon(shell, *holes) for shell, *holes in parts])
    if shape.is_valid:
        return
    made, _ = repair_polygon(shape)
    if made is not None:
        assert made.is_valid
        assert made.area > 0
        assert shapely.convex_hull(shapely.boundary(shape)).buffer(1e-9).covers(made)


@given(RINGS, st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=200)
def test_one_ring_holds_what_it_winds_round(points: list[tuple[int, int]], seed: int) -> None:
    """Winding numbers by angle, an independent reading of a single ring: what is wound round an odd number
    of times is inside in every reading, what is not wound round and not enclosed in none."""
    shape = polygon(points)
    if shape.is_valid:
        return
    made, _ = repair_polygon(shape)
    hull = shapely.union_all(shapely.polygonize([shapely.node(shapely.boundary(shape))]))
    places = np.random.default_rng(seed).uniform(0, 12, (40, 2))
    closed = np.array([*points, points[0]], dtype=float)
    for place in places:
        rays = closed - place
        angles = np.arctan2(rays[:, 1], rays[:, 0])
        turns = np.rint(np.sum((np.diff(angles) + np.pi) % (2 * np.pi) - np.pi) / (2 * np.pi))
        if shapely.boundary(shape).distance(shapely.Point(place)) < 1e-6:
            continue
        if turns % 2:
            assert made is not None
            assert made.contains(shapely.Point(place))
        elif made is not None and not hull.contains(shapely.Point(place)):
            assert not made.contains(shapely.Point(place))


def test_a_repair_that_leaves_lines_does_not_stop_the_map() -> None:
    west, south = -110.1, 45.1
    spiked = polygon(
        [
            (west, south),
            (-109.9, south),
            (-109.9, 45.2),
            (-109.5, 45.2),
            (-109.5, 45.200000001),
            (-109.9, 45.200000001),
            (-109.9, 45.3),
            (west, 45.3),
        ]
    )
    other = shapely.box(-110.2, 45.15, -110.05, 45.25)
    drawn = draw_parks(np.array([spiked, other]), np.array([[-110.0, 45.2]]), PageFrame(-110.0))
    assert drawn.twice


@pytest.mark.parametrize("steps", [5_000, 100_000])
def test_an_outline_that_crosses_itself_without_end_is_refused_with_a_line(steps: int) -> None:
    tangle = polygon(np.random.default_rng(1).uniform(0, 1, (steps, 2)))
    made, reason = repair_polygon(tangle)
    assert made is None
    assert "too often to be made valid" in reason


def test_parts_that_cross_each_other_are_counted_as_well() -> None:
    rng = np.random.default_rng(2)
    discs = [shapely.Point(*at).buffer(1.0, quad_segs=4) for at in rng.uniform(-0.5, 0.5, (1000, 2))]
    made, reason = repair_polygon(shapely.MultiPolygon(discs))
    assert made is None
    assert "times, too often to be made valid" in reason


@pytest.mark.parametrize("as_holes", [True, False])
def test_thousands_of_rings_in_each_other_are_refused_before_the_work(
    as_holes: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    rings = [shapely.box(-k, -k, k, k) for k in range(3000, 0, -1)]
    whole = (
        shapely.Polygon(rings[0].exterior, [ring.exterior for ring in rings[1:]])
        if as_holes
        else shapely.MultiPolygon(rings)
    )
    monkeypatch.setattr(repair, "_read_rings", lambda _: pytest.fail("the work has begun"))
    made, reason = repair_polygon(whole)
    assert made is None
    assert reason == "its 3,000 rings lie over each other too often to be made valid"


def test_few_crossings_are_counted_and_not_estimated() -> None:
    rng = np.random.default_rng(3)
    for steps in (4, 5, 12, 38):
        shape = polygon(rng.uniform(0, 1, (steps, 2)))
        ring = shapely.get_coordinates(shape)
        edges = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
        brute = sum(bool(shapely.crosses(a, b)) for k, a in enumerate(edges) for b in edges[:k])
        allowance = Allowance()
        repair_polygon(shape, allowance)
        assert Allowance().crossings - allowance.crossings == brute > 0


@pytest.mark.parametrize(("steps", "records"), [(38, 80), (90, 40)])
def test_tangles_of_a_layer_have_one_allowance(
    steps: int, records: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fifth of the allowance: all of it takes a quarter of a minute."""
    monkeypatch.setattr(repair.Allowance.__init__, "__defaults__", (10_000, 1_000_000))
    assert Allowance().crossings == 10_000
    rng = np.random.default_rng(4)
    tangles = [polygon(rng.uniform(0, 1, (steps, 2))) for _ in range(records)]
    begun: list[Any] = []
    read = repair._read_rings
    monkeypatch.setattr(repair, "_read_rings", lambda shape: (begun.append(shape), read(shape))[1])
    parks = build_parks([layer(tangles)])
    assert parks.report.repaired_records == len(begun) < records
    assert parks.report.refused_records == records - len(begun)
    assert "too often, with the records before it, to be made valid" in parks.report.refused[-1]
    edges = sum(repair._count_crossings(shape) for shape in begun)
    assert edges <= Allowance().crossings
