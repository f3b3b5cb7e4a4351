"""Overlaps without end are refused by what is counted, before the work; the same shapes in few are found."""

from __future__ import annotations

import resource
from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import layer

from scout.app.find import SearchOptions, find_spots
from scout.errors import InputError
from scout.parks.build import build_parks
from scout.search import overlaps, tiles


def comb(teeth: int, upright: bool, side: float = 0.4, at: tuple[float, float] = (-20.5, 45.5)) -> Any:
    """A spine with teeth, sound and simple."""
    left = np.linspace(-side / 2, side / 2, teeth, endpoint=False)
    low, high, wide = -side / 2, side / 2, side / teeth / 2
    points = [(-side, low - 0.01), (-side, low)]
    for x in left.tolist():
        points += [(x, low), (x, high), (x + wide, high), (x + wide, low)]
    points += [(side, low), (side, low - 0.01)]
    shape = shapely.Polygon([(y, x) if upright else (x, y) for x, y in points])
    assert shape.is_valid
    return shapely.transform(shape, lambda xy: xy + np.array(at))


def search(shapes: list[Any], **options: Any) -> Any:
    return find_spots(build_parks([layer(shapes)]), SearchOptions(**options))


@pytest.mark.parametrize("teeth", [8, 40])
def test_two_combs_share_a_piece_for_each_pair_of_teeth(teeth: int) -> None:
    found = search([comb(teeth, False), comb(teeth, True)])
    assert sum(ranked.spot.kind == "overlap" for ranked in found.spots) >= teeth * teeth


def test_combs_of_hundreds_of_teeth_are_refused_before_anything_is_cut(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    shapes = [comb(400, False), comb(400, True)]  # 160,000 pieces
    map_rows = overlaps.map_rows

    def look(do: Any, *columns: Any, **more: Any) -> Any:
        return (
            pytest.fail("the work has begun")
            if do is shapely.intersection
            else map_rows(do, *columns, **more)
        )

    monkeypatch.setattr(overlaps, "map_rows", look)
    with pytest.raises(InputError, match="what parks share falls into more than 50,000 pieces") as told:
        search(shapes)
    assert "--min-grids 2" in str(told.value)


def test_combs_without_overlaps_wanted_are_searched() -> None:
    assert search([comb(1000, False), comb(1000, True)], min_grids=2, near_m=0) is not None


def test_many_small_combs_are_refused_when_their_pieces_are_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(overlaps, "_PIECES", 1_000)
    monkeypatch.setattr(overlaps, "_MANY_PIECES", 2_000)
    cut: list[int] = []
    map_rows = overlaps.map_rows

    def count(do: Any, *columns: Any, **more: Any) -> Any:
        if do is shapely.intersection:
            cut.append(len(columns[0]))
        return map_rows(do, *columns, **more)

    monkeypatch.setattr(overlaps, "map_rows", count)
    groups = [(-20.8 + 0.05 * k, 45.2) for k in range(12)]
    shapes = [comb(12, upright, 0.02, at) for at in groups for upright in (False, True)]
    with pytest.raises(InputError, match="more than 1,000 pieces"):
        search(shapes)
    assert 0 < sum(cut) < len(groups)


def test_sound_outlines_of_many_vertices_are_no_combs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two ragged discs, drawn alike and side by side: counted, found few, cut."""
    angle = np.linspace(0, 2 * np.pi, 12_000, endpoint=False)
    radius = 0.3 * (1 + 0.05 * np.sin(angle * 40))
    ring = np.column_stack([radius * np.cos(angle) - 20.5, radius * np.sin(angle) + 45.5])
    counted: list[int] = []
    count = overlaps._count_crossings
    monkeypatch.setattr(
        overlaps, "_count_crossings", lambda *given: (counted.append(count(*given)), counted[-1])[1]
    )
    shapes = [shapely.Polygon(ring + shift) for shift in ([0, 0], [0.3, 0.01], [0, 0])]
    found = search(shapes)
    assert len(counted) == 3
    assert max(counted) < 4_000
    assert min(counted) == 0  # one over the other: nothing crosses
    assert any(ranked.spot.kind == "overlap" for ranked in found.spots)


def test_discs_all_over_each_other_are_refused_before_the_work() -> None:
    rng = np.random.default_rng(1)
    discs = [
        shapely.Point(*at).buffer(0.2, quad_segs=8)
        for at in rng.uniform([-20.6, 45.4], [-20.4, 45.6], (200, 2))
    ]
    with pytest.raises(InputError, match="pairs and more of the 200 parks overlap"):
        search(discs)


COUNT = 30_000


def make_shifted() -> list[Any]:
    """Squares over each other, each a decimetre further east."""
    west = -20.5 + np.arange(COUNT) * 1e-6
    return list(shapely.box(west, 45.2, west + 0.1, 45.3))


def make_nested_angles() -> list[Any]:
    """Angles side by side: the bounds of all meet, and hardly two of them do."""
    at, thin = np.arange(COUNT) * 1e-7, 3e-8
    corner = np.array([(0, 0), (0.2, 0), (0.2, 0.2), (0.2 - thin, 0.2), (0.2 - thin, thin), (0, thin)])
    points = corner[None] + np.stack([at - 20.5, np.full(COUNT, 45.2)], axis=1)[:, None]
    return list(shapely.polygons(points))


@pytest.mark.parametrize("make", [make_shifted, make_nested_angles])
def test_thirty_thousand_bounds_over_each_other_are_refused_before_they_are_listed(make: Any) -> None:
    """Their 450 million pairs take some 7 GB."""
    shapes = make()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(InputError, match="--min-grids 2") as told:
        search(shapes)
    assert "pairs" in str(told.value)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 1_000_000, "kilobytes"


def test_all_pairs_are_found_in_lots_of_any_size(monkeypatch: pytest.MonkeyPatch) -> None:
    chance = np.random.default_rng(2)
    low = chance.uniform((-21, 45), (-20, 46), (300, 2))
    shapes = shapely.box(*low.T, *(low + chance.uniform(0.01, 0.2, (300, 2))).T)
    every = [(a, b) for b in range(300) for a in range(b) if shapes[a].intersects(shapes[b])]
    for rows, lot in ((1, 1), (7, 50), (64, 10**6)):
        monkeypatch.setattr(tiles, "_ROWS", rows)
        monkeypatch.setattr(tiles, "_LOT", lot)
        a, b, turn = overlaps.find_overlapping_pairs(shapes, shapely.STRtree(shapes))
        assert sorted(zip(a.tolist(), b.tolist(), strict=True)) == sorted(every)
        assert not turn.any()
        met = np.isin(np.arange(300), np.array(every).ravel())
        assert np.array_equal(tiles.find_meeting(shapely.bounds(shapes)), met)


def test_thousands_across_one_long_outline_are_refused_before_they_are_cut() -> None:
    angle = np.linspace(0, 2 * np.pi, 60_000, endpoint=False)
    long = shapely.Polygon(np.column_stack([-20.5 + 0.4 * np.cos(angle), 45.5 + 0.3 * np.sin(angle)]))
    at = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    x, y = -20.5 + 0.4 * np.cos(at), 45.5 + 0.3 * np.sin(at)
    small = list(shapely.box(x - 2e-5, y - 2e-5, x + 2e-5, y + 2e-5))
    with pytest.raises(InputError, match=r"to cut 2\d,\d\d\d pairs of parks 1.\d thousand million vertices"):
        search([long, *small])
