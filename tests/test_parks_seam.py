"""A park that crosses the antimeridian is one geometry, however its file has cut or counted it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import layer
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.geo.antimeridian import make_continuous
from scout.parks.build import build_parks

WORLD = shapely.box(-180, -90, 180, 90)


def one(geometry: Any) -> Any:
    (made,) = make_continuous(np.array([geometry], dtype=object))
    return made


def turned(geometry: Any, turns: int) -> Any:
    return shapely.transform(geometry, lambda xy: xy + np.array([360.0 * turns, 0.0]))


def cut(geometry: Any) -> Any:
    """As RFC 7946, section 3.1.9 wants it: pieces between -180 and 180."""
    pieces = [shapely.intersection(turned(geometry, turns), WORLD) for turns in (-2, -1, 0, 1, 2)]
    flat = [part for part in shapely.get_parts(pieces) if part.geom_type == "Polygon" and not part.is_empty]
    return shapely.MultiPolygon([leaf for part in flat for leaf in shapely.get_parts(part)])


def same(a: Any, b: Any) -> bool:
    return bool(shapely.symmetric_difference(a, b).area < 1e-7 and shapely.hausdorff_distance(a, b) < 1e-7)


def seam_length(geometry: Any) -> float:
    """Length of edges along 180."""
    lines = shapely.LineString([(180, -90), (180, 90)])
    return float(shapely.intersection(shapely.boundary(geometry), lines).length)


RECTANGLE = shapely.box(170, 40, 190, 50)
HOLED = shapely.Polygon(RECTANGLE.exterior.coords, [[(178, 44), (183, 44), (183, 46), (178, 46)]])
TWO = shapely.MultiPolygon([RECTANGLE, shapely.box(195, 0, 200, 5), shapely.box(160, 0, 165, 5)])
ODD = shapely.Polygon([(179.3, 10.1), (181.7, 10.7), (181.1, 12.9), (180.2, 11.3), (178.9, 12.2)])


@pytest.mark.parametrize("shape", [RECTANGLE, HOLED, TWO, ODD])
def test_cut_uncut_and_turned_versions_become_the_same(shape: Any) -> None:
    versions = {
        "uncut": shape,
        "west": turned(shape, -1),
        "a turn more": turned(shape, 1),
        "cut": cut(shape),
        "cut with a gap of rounding": shapely.transform(cut(shape), lambda xy: xy * [1 - 2e-12, 1]),
    }
    for name, version in versions.items():
        made = one(version)
        assert made.is_valid, name
        assert same(made, shape), name
        assert -180 <= made.bounds[0] < 180, name
        assert seam_length(made) == 0, name


def test_the_rectangle_of_rfc_7946_becomes_one_polygon() -> None:
    """RFC 7946, section 3.1.9, its MultiPolygon as printed (sure, quoted)."""
    printed = shapely.MultiPolygon(
        [
            shapely.Polygon([(180, 40), (180, 50), (170, 50), (170, 40), (180, 40)]),
            shapely.Polygon([(-170, 40), (-170, 50), (-180, 50), (-180, 40), (-170, 40)]),
        ]
    )
    made = one(printed)
    assert made.geom_type == "Polygon"
    assert made.equals(RECTANGLE)


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (shapely.box(-180, 0, -170, 1), shapely.box(-180, 0, -170, 1)),
        (shapely.box(170, 0, 180, 1), shapely.box(170, 0, 180, 1)),
        (shapely.box(180, 0, 185, 1), shapely.box(-180, 0, -175, 1)),
        (shapely.box(500, 0, 501, 1), shapely.box(140, 0, 141, 1)),
        (shapely.box(-181, 0, -180, 1), shapely.box(179, 0, 180, 1)),
        (shapely.box(10, 0, 20, 1), shapely.box(10, 0, 20, 1)),
        (shapely.box(-100, 0, 200, 1), shapely.box(-100, 0, 200, 1)),
        (
            shapely.MultiPolygon([shapely.box(-160, 0, -150, 1), shapely.box(160, 0, 170, 1)]),
            shapely.MultiPolygon([shapely.box(-160, 0, -150, 1), shapely.box(160, 0, 170, 1)]),
        ),
    ],
)
def test_what_does_not_cross_only_moves_by_whole_turns(shape: Any, expected: Any) -> None:
    assert one(shape).equals(expected)


def test_the_same_ground_given_cut_and_uncut_is_counted_once() -> None:
    both = shapely.GeometryCollection([RECTANGLE, cut(RECTANGLE)])
    parts = shapely.MultiPolygon(list(shapely.get_parts(shapely.get_parts(both))))
    assert one(parts).equals(RECTANGLE)


def test_parts_far_away_come_along_in_the_same_longitudes() -> None:
    """A park on both sides of 180 with a third part at 150 W: 210 E beside the others."""
    far = shapely.box(-150, 60, -149, 61)
    expected = shapely.MultiPolygon([RECTANGLE, shapely.box(210, 60, 211, 61)])
    for version in (RECTANGLE, cut(RECTANGLE)):
        assert one(shapely.union(version, far)).equals(expected)


def test_vertices_a_hair_off_180_are_taken_for_180() -> None:
    left = shapely.box(170, 0, 180 - 4e-10, 1)
    right = shapely.box(-180 + 4e-10, 0, -170, 1)
    made = one(shapely.MultiPolygon([left, right]))
    assert made.equals(shapely.box(170, 0, 190, 1))
    apart = one(shapely.MultiPolygon([shapely.box(170, 0, 180 - 1e-6, 1), right]))
    assert shapely.get_parts(apart).size == 2, "a gap of 0.1 m is a gap"


CAPS = {
    "plain": shapely.box(-180, -90, 180, -60),
    "two halves": shapely.MultiPolygon([shapely.box(-180, -90, 0, -60), shapely.box(0, -90, 180, -60)]),
    "apart": shapely.MultiPolygon([shapely.box(-180, -90, -90, -60), shapely.box(-90, -90, 180, -60)]),
    "turned": shapely.box(0, -90, 360, -60),
    "past 180": shapely.box(-120, -90, 240, -60),
}


@pytest.mark.parametrize("name", CAPS)
def test_a_cap_round_a_pole_is_drawn_past_180_on_both_sides(name: str) -> None:
    made = one(CAPS[name])
    assert made.is_valid
    assert made.equals(shapely.box(-200, -90, 200, -60))
    assert made.contains(shapely.Point(180, -75))
    assert made.contains(shapely.Point(-180, -75))
    assert one(made).equals(made), "drawn so again, it stays"


def test_a_band_with_holes_and_islands_keeps_them_everywhere() -> None:
    band = (
        shapely.box(-180, 0, 180, 10)
        .difference(shapely.box(170, 2, 180, 4))
        .difference(shapely.box(-180, 2, -175, 4))
    )
    made = one(shapely.union(band, shapely.box(100, 20, 101, 21)))
    expected_hole = shapely.box(170, 2, 185, 4)
    assert not made.intersects(expected_hole.buffer(-1e-9))
    assert not made.intersects(turned(expected_hole, -1).buffer(-1e-9))
    assert made.area == pytest.approx(400 * 10 - 2 * 15 * 2 + 1)


def test_all_that_reaches_180_is_valid_after_the_turn() -> None:
    """Adding 360 takes digits away: a sliver far thinner than they are must not end as an invalid polygon."""
    thin = shapely.Polygon([(-179.99, 1e-15), (-180, 0), (-179.99, 2e-15), (-179.98, 1)])
    made = one(shapely.MultiPolygon([thin, shapely.box(179, 0, 180, 1)]))
    assert made.is_valid


def test_other_parks_are_the_same_objects() -> None:
    shapes = np.array([shapely.box(0, 0, 1, 1), RECTANGLE], dtype=object)
    made = make_continuous(shapes)
    assert made[0] is shapes[0]
    assert made is not shapes


@given(
    st.floats(165, 195),
    st.floats(-80, 80),
    st.lists(st.floats(0.05, 1.0), min_size=3, max_size=15),
    st.floats(0.01, 30),
)
@settings(deadline=None, max_examples=150)
def test_any_star_near_180_is_the_same_cut_or_not(
    lon: float, lat: float, radii: list[float], size: float
) -> None:
    angle = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    reach = np.array(radii)
    xy = np.column_stack([lon + size * reach * np.cos(angle), lat + 5 * reach * np.sin(angle)])
    star = shapely.Polygon(xy)
    if not star.is_valid:
        return
    expected, made = one(star), one(cut(star))
    assert made.is_valid
    # Cutting puts a vertex on the edge, rounded to the last digits of 180.
    assert shapely.symmetric_difference(made, expected).area < 1e-9
    assert -180 <= made.bounds[0] < 180


@given(st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=60)
def test_any_set_of_boxes_covers_the_same_places_cut_or_not(seed: int) -> None:
    random = np.random.default_rng(seed)
    west = random.uniform(120, 240, 6).round(1)
    boxes = [
        shapely.box(w, s, w + d, s + 3)
        for w, s, d in zip(west, random.integers(0, 9, 6), random.uniform(1, 40, 6).round(1), strict=True)
    ]
    whole = shapely.union_all(boxes)
    made, again = one(whole), one(cut(whole))
    lon, lat = random.uniform(-180, 180, 300), random.uniform(-1, 13, 300)

    def held(shape: Any) -> Any:
        return np.any([shapely.contains_xy(shape, lon + 360 * k, lat) for k in (-1, 0, 1, 2)], axis=0)

    assert (held(made) == held(whole)).all()
    assert (held(again) == held(whole)).all()


def test_parks_come_out_of_the_layers_in_one_piece() -> None:
    west, east = shapely.get_parts(cut(RECTANGLE))
    parks = build_parks([layer([west], called="a", ref=["q"]), layer([east], called="b", ref=["q"])])
    assert parks.frame.geometry.iloc[0].equals(RECTANGLE), "halves from two files"


def test_a_corridor_cut_at_180_is_one_corridor() -> None:
    lines = shapely.MultiLineString([[(179.99, 0), (180, 0)], [(-180, 0), (-179.99, 0)]])
    whole = shapely.LineString([(179.99, 0), (180.01, 0)])
    parks = build_parks([layer([lines, whole])], corridor_m=50).frame.geometry
    assert parks.iloc[0].geom_type == "Polygon"
    assert shapely.hausdorff_distance(parks.iloc[0], parks.iloc[1]) < 1e-6
