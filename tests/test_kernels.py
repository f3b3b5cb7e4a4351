"""The compiled loops and the loops of numpy come to the same, far below any distance or probability shown.

The bound of 1e-9 is our own: a tenth of what a station's confidence is rounded to, ten thousand times over.
"""

from __future__ import annotations

import os
import shutil
from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from scout import kernels
from scout.geo.boundaries import Boundaries
from scout.geo.joint import Errors, UnsureConditions, join_contained
from scout.geo.probability import compute_contained_p
from scout.model import Relief
from scout.search.optimize import NearbyEdges
from scout.search.overlaps import find_middles
from scout.walk.routes import _find_all_least_times
from scout.walk.terrain import read_cells

needs_kernels = pytest.mark.skipif(kernels.LIBRARY is None, reason="built without a C compiler")
CLOSE = 1e-9
WAYS = np.array([(1, 0), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (-1, 2), (1, 2)])  # and their opposites


def test_kernels_are_built_where_a_compiler_is():
    if not any(map(shutil.which, ("cc", "gcc", "clang"))) and not os.environ.get("CI"):
        pytest.skip("no C compiler here")
    assert kernels.LIBRARY is not None, "install again: pip install -e ."


def _coast(rng, count, lon, lat, size):
    turn = np.sort(rng.uniform(0, 2 * np.pi, count))
    away = size * np.exp(rng.normal(0, 0.3, count))
    return np.stack([lon + away * np.cos(turn), lat + away * np.sin(turn)], axis=1)


def _parks():
    """Ragged rings, holes, parts, squares, one past 180 and one with an edge along the pole."""
    rng = np.random.default_rng(20261127)
    made = []
    for vertices in (4, 5, 17, 33, 200, 900, 6000):
        for lat in (-41.0, 0.0, 63.0):
            made.append(shapely.Polygon(_coast(rng, vertices, rng.uniform(-170, 170), lat, 0.02)))
    made.append(shapely.box(10, 50, 10.02, 50.01))
    made.append(
        shapely.Polygon(shapely.box(20, 40, 20.01, 40.01).exterior, [_coast(rng, 40, 20.005, 40.005, 0.001)])
    )
    made.append(
        shapely.MultiPolygon([shapely.box(30 + k / 100, 10, 30.004 + k / 100, 10.01) for k in range(20)])
    )
    made.append(shapely.box(179.99, -20, 180.02, -19.99))
    made.append(shapely.box(0, 89.99, 5, 90.0))
    return np.array(
        [shapely.make_valid(one, method="structure", keep_collapsed=False) for one in made], dtype=object
    )


def _places(parks, count):
    """Places near vertices, on vertices, and all over the bounds."""
    rng = np.random.default_rng(7)
    park = rng.integers(0, len(parks), count)
    bounds = shapely.bounds(parks)[park]
    xy = [shapely.get_coordinates(shape) for shape in parks]
    vertex = np.array([xy[p][rng.integers(len(xy[p]))] for p in park])
    near = vertex + rng.normal(0, 1e-4, (count, 2))
    anywhere = bounds[:, :2] + (bounds[:, 2:] - bounds[:, :2]) * rng.uniform(-0.2, 1.2, (count, 2))
    kind = rng.integers(0, 3, count)[:, None]
    places = np.where(kind == 0, vertex, np.where(kind == 1, near, anywhere))
    return park, places[:, 0], np.clip(places[:, 1], -90, 90)


def _both_ways(monkeypatch, work):
    compiled = work()
    monkeypatch.setattr(kernels, "LIBRARY", None)
    return compiled, work()


@needs_kernels
def test_clearances_and_feet(monkeypatch):
    parks = _parks()
    park, lon, lat = _places(parks, 5000)

    def work():
        lines = Boundaries(parks)
        assert (lines.compiled is None) == (kernels.LIBRARY is None)
        return lines.clearance(park, lon, lat), *lines.nearest(park, lon, lat)

    for compiled, plain in zip(*_both_ways(monkeypatch, work), strict=True):
        assert np.abs(compiled - plain).max() < CLOSE


@needs_kernels
def test_edges_in_boxes(monkeypatch):
    parks = _parks()
    park, lon, lat = _places(parks, 500)
    at, room = np.stack([lon, lat], axis=1), np.array([0.003, 0.002])
    compiled, plain = _both_ways(
        monkeypatch, lambda: Boundaries(parks).edges_in_box(park, at - room, at + room)
    )
    assert len(compiled[0]) > 1000
    for one, other in zip(compiled, plain, strict=True):
        assert np.array_equal(one, other)


@needs_kernels
@pytest.mark.parametrize("radius_m", [1.0, 5.0, 20.0])
def test_probabilities_of_lying_inside(monkeypatch, radius_m):
    parks = _parks()
    park, lon, lat = _places(parks, 3000)
    sigma = np.random.default_rng(3).choice([0.0, 0.5, 6.0, 20.0], len(park))

    def work():
        lines = Boundaries(parks)
        clearance = lines.clearance(park, lon, lat)
        return compute_contained_p(lines, park, lon, lat, clearance, radius_m, sigma)

    compiled, plain = _both_ways(monkeypatch, work)
    assert np.abs(compiled - plain).max() < CLOSE
    assert ((plain > 0.01) & (plain < 0.99)).sum() > 100  # else nothing was integrated


@needs_kernels
def test_edges_laid_out_near_places(monkeypatch):
    parks = _parks()
    park, lon, lat = _places(parks, 400)
    room = np.full((len(park), 2), 25.0)
    rng = np.random.default_rng(5)
    pair, place = rng.integers(0, len(park), 1200), rng.uniform(-25, 25, (1200, 2))
    sigma = np.where(pair % 2 == 0, 4.0, 9.0)

    def work():
        near = NearbyEdges.of(Boundaries(parks), (park, lon, lat), (-room, room), np.full(len(park), 80.0))
        clearance = near.clearance(pair, place)
        return clearance, near.integrate(pair, place, clearance > 0, 5.0, sigma)

    (away, held), (plain_away, plain_held) = _both_ways(monkeypatch, work)
    assert np.array_equal(np.isinf(away), np.isinf(plain_away))
    near = np.isfinite(away)
    assert near.sum() > 500
    assert np.abs(away[near] - plain_away[near]).max() < CLOSE
    assert np.abs(held - plain_held).max() < CLOSE


@needs_kernels
@pytest.mark.parametrize("fix_m", [0.0, 2.0, 20.0])
def test_conditions_that_hold_together(monkeypatch, fix_m):
    """Claims of each kind in two parks each, seen in the outlines and among edges laid out near them."""
    parks = _parks()
    # On a boundary, to a millimetre, rounding says whether the centre is inside.
    park, lon, lat = (v[np.arange(600) % 5 == 0] for v in _places(parks, 600))
    lon, lat = lon + 1.7e-5, lat + 0.9e-5
    n = len(park)
    rng = np.random.default_rng(11)
    first, pair = np.arange(0, 2 * n + 1, 2), np.repeat(np.arange(n), 2)
    members = np.stack([park, np.where(np.arange(n) % 3 == 0, park, (park + 1) % len(parks))], axis=1).ravel()
    some = UnsureConditions(
        np.arange(n), np.ones(n, dtype=bool), first, np.arange(2 * n), rng.random(n), rng.random(2 * n)
    )
    cell = np.stack([np.arange(n) % 9, *rng.normal(0, 3, (2, n))], axis=1)
    sigma = rng.choice([0.0, 0.3, 6.0, 20.0], n)[pair]
    errors, room = Errors(5.0, fix_m, sigma), np.full((2 * n, 2), 5.0)

    def work():
        lines = Boundaries(parks)
        x, y = lon[pair], lat[pair]
        clearance = lines.clearance(members, x, y)
        inside = clearance > 0
        near = NearbyEdges.of(lines, (members, x, y), (-room, room), np.full(2 * n, 250.0))
        return (
            join_contained(lines, some, cell, (members, x, y), errors, clearance),
            near.join(some, cell, (np.arange(2 * n), np.zeros((2 * n, 2)), inside), errors),
        )

    for compiled, plain in zip(*_both_ways(monkeypatch, work), strict=True):
        assert np.abs(compiled - plain).max() < CLOSE
        assert (plain > 1e-3).sum() > 10


@needs_kernels
def test_numbers_out_of_range_are_refused():
    lines = Boundaries(_parks()[:2])
    with pytest.raises(IndexError):
        lines.compiled.list_in_boxes(np.array([2]), np.zeros((1, 2)), np.ones((1, 2)))
    with pytest.raises(ValueError, match="shape"):
        lines.compiled.list_in_boxes(np.array([1]), np.zeros((1, 3)), np.ones((1, 3)))


def test_a_library_of_another_source_is_not_used(tmp_path, monkeypatch):
    if kernels.LIBRARY is None:
        pytest.skip("built without a C compiler")
    shutil.copy(kernels.Path(kernels.__file__).with_name("kernels.compiled"), tmp_path)
    (tmp_path / "kernels.c").write_text("/* newer */")
    monkeypatch.setattr(kernels, "__file__", str(tmp_path / "kernels.py"))
    assert kernels._load() is None


@needs_kernels
@pytest.mark.parametrize("seed", range(40))
def test_least_times_of_a_graph_full_of_ties_are_those_of_scipy(seed):
    """Whole minutes, shut edges, several starts, a limit; scipy.sparse.csgraph.dijkstra.

    Some of the points are those of a grid; links are as slow as waits beyond all slices of time.
    """
    rng = np.random.default_rng(seed)
    n, edges = int(rng.integers(2, 400)), int(rng.integers(1, 2000))
    wide = int(rng.integers(1, 12))
    points = wide * int(rng.integers(0, n // wide + 1))
    ways = np.concatenate([-WAYS[::-1], WAYS])
    at = np.stack(np.divmod(np.arange(points), wide)[::-1], axis=1)
    there = at[:, None] + ways
    steps = rng.integers(1, 4, (points, 16)).astype(np.float32)
    steps[
        (rng.random(steps.shape) < 0.3) | np.any((there < 0) | (there >= (wide, points // wide)), axis=2)
    ] = np.inf
    tail, head = rng.integers(0, n, (2, edges))
    minutes = rng.integers(1, 4, edges) * float(rng.choice([1.0, 30.0]))
    minutes[rng.random(edges) < 0.1] = np.inf
    order = np.argsort(tail, kind="stable")
    first = np.searchsorted(tail[order], np.arange(n + 1)).astype(np.int32)
    shift = ways @ (1, wide)
    sources, targets = rng.integers(0, n, rng.integers(0, 4)), rng.integers(0, n, rng.integers(1, 9))
    limit = float(rng.choice([3.0, 1e9]))
    links = first, head[order].astype(np.int32), minutes[order]
    least, before, begin = kernels.find_least_times((shift, steps), links, sources, targets, limit)
    from_point, way = np.nonzero(np.isfinite(steps))
    tail, head = np.concatenate([tail, from_point]), np.concatenate([head, from_point + shift[way]])
    minutes = np.concatenate([minutes, steps[from_point, way]])
    quickest = np.lexsort((minutes, head, tail))
    edge = quickest[np.unique(tail[quickest] * n + head[quickest], return_index=True)[1]]
    graph = csr_array((minutes[edge], (tail[edge], head[edge])), shape=(n, n))
    known = np.full(n, np.inf)
    if len(sources):
        known = dijkstra(graph, indices=sources, min_only=True, limit=limit)
    assert least[targets].tolist() == known[targets].tolist()
    plain = _find_all_least_times(graph, sources, limit)
    assert plain.minutes[targets].tolist() == known[targets].tolist()
    for target in targets.tolist():
        chain = [target]
        while before[chain[-1]] >= 0:
            chain.append(int(before[chain[-1]]))
            assert chain[-1] == plain.before[chain[-2]]
        assert begin[target] == plain.begin[target] == (chain[-1] if np.isfinite(known[target]) else -1)
        if np.isfinite(known[target]):
            assert chain[-1] in sources
            assert all(known[a] < known[b] for b, a in pairwise(chain))


@needs_kernels
@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (9, 1), (2, 2), (40, 60)])
def test_heights_between_cells(monkeypatch, shape):
    """Places on middles and edges of cells, between, outside and nowhere; cells without a height."""
    rng = np.random.default_rng(shape)
    cells = rng.normal(300, 80, shape).astype(np.float32)
    cells[rng.random(shape) < 0.2] = np.nan
    relief = Relief(cells, (1.0, 0.0, 0.0, 0.0, 1.0, 0.0), "EPSG:4326", "made")
    where = [rng.uniform(-1.5, size + 0.5, 4000) for size in shape]
    where = [np.where(rng.random(4000) < 0.4, np.rint(2 * some) / 2, some) for some in where]
    where[0][:5] = np.nan
    compiled, plain = _both_ways(monkeypatch, lambda: read_cells(relief, where[1], where[0]))
    assert np.array_equal(compiled, plain, equal_nan=True)
    assert np.isnan(plain).any()
    assert not np.isnan(plain).all()


@needs_kernels
def test_largest_circles_are_those_of_geos(monkeypatch):
    """Ragged outlines, thin differences of two of them, and shapes in which several centres are as good."""
    rng = np.random.default_rng(3)
    parts = shapely.get_parts(_parks())
    coasts = [_coast(rng, 60, 0.0, 0.0, 0.02) for _ in range(20)]
    thin = [shapely.Polygon(one) - shapely.Polygon(one + rng.normal(0, 1e-5, one.shape)) for one in coasts]
    regular = [
        shapely.segmentize(shapely.box(5, 5, 5.02, 5.01), 0.003),
        shapely.Point(6, 6).buffer(0.01),
        shapely.box(7, 7, 7.03, 7.03) - shapely.box(7.01, 7.01, 7.02, 7.02),
    ]
    shapes = np.concatenate([parts, shapely.get_parts(thin), regular])
    shapes = shapes[shapely.area(shapes) > 0]
    compiled, plain = _both_ways(monkeypatch, lambda: find_middles(shapes, 1.0))
    assert len(shapes) > 200
    np.testing.assert_allclose(compiled, plain, rtol=0, atol=CLOSE)
