"""Find against check, point by point: what `check` grants anywhere, `find` lists as well nearby.

Parks that narrow strips part, cover or run along: whatever a place on a dense raster counts for, there is a
spot in the list with all of those parks and grids, as sure, in the same connected ground.
"""

from __future__ import annotations

from functools import reduce

import numpy as np
import pytest
import shapely
from shapely import affinity
from strategies import as_parks

from oracles import metric
from scout.app.find import SearchOptions, find_spots
from scout.model import Checked, Spot
from scout.search.check import CheckOptions, check_places

STEP_M, HALF_M = 6.0, 120.0
SLACK_P = 0.05  # on lines a metre's step aside may be that much surer, by README
SLACK_DEG = 1e-4  # a spot may stand off its line by some metres
PLACES = {
    "corner": (-112.0, 45.0),
    "meridian": (-112.0, 45.4),
    "parallel": (-111.3, 45.0),
    "open": (-111.3, 45.4),
}
GRADES = {"firm": 0, "doubtful": 1, "not counted": 2}


def drawn(seed: int, lon: float, lat: float) -> list[shapely.Geometry]:
    """Wide parks, middling ones and strips about a place; metres turned into degrees."""
    rng = np.random.default_rng(seed)
    shapes = []
    for wide in rng.choice([2000.0, 150.0, 60.0, 40.0], rng.integers(1, 4)):
        high = wide if rng.random() < 0.6 else 2000.0
        shapes.append(((wide, high), rng.normal(0, 8, 2) if wide < 1000 else rng.uniform(-900, 900, 2)))
    for _ in range(rng.integers(1, 4)):
        long = rng.choice([3000.0, 100.0, 40.0])
        shapes.append(((rng.choice([8.0, 14.0, 22.0, 40.0]), long), rng.normal(0, 15, 2)))
    per_lon, per_lat = metric.degree_lengths(lat)
    parks = []
    for (wide, high), (east, north) in shapes:
        box = shapely.box(-wide / 2, -high / 2, wide / 2, high / 2)
        box = affinity.rotate(box, rng.choice([0.0, 90.0, rng.uniform(0, 180)]), origin=(0, 0))
        xy = shapely.get_coordinates(affinity.translate(box, east, north))
        parks.append(shapely.Polygon(xy / [per_lon, per_lat] + [lon, lat]))
    return parks


def raster(lon: float, lat: float) -> tuple[np.ndarray, np.ndarray]:
    ticks = np.arange(-HALF_M, HALF_M + 1, STEP_M)
    x, y = (axis.ravel() for axis in np.meshgrid(ticks, ticks))
    per_lon, per_lat = metric.degree_lengths(lat)
    return lon + x / per_lon, lat + y / per_lat


def shared(parks: list[shapely.Geometry], ids: tuple[str, ...]) -> shapely.Geometry:
    return reduce(shapely.intersection, [parks[int(name[1:])] for name in ids])


def answers(spot: Spot, place: Checked, ground: shapely.Geometry) -> bool:
    """Whether a spot is at least as good as what a place counts for, within the same ground."""
    got, asked = spot.verdict, place.verdict
    if not (set(asked.parks) <= set(got.parks) and set(asked.locators) <= set(got.locators)):
        return False
    if (
        spot.kind != "corner"
        and GRADES[got.word] > GRADES[asked.word]
        and got.confidence < asked.confidence - SLACK_P
    ):
        return False  # a corner is one place: there more parks come first, and each has its own probability
    return bool(shapely.distance(ground, shapely.Point(spot.lon, spot.lat)) < SLACK_DEG)


def ground_about(place: Checked, parks: list[shapely.Geometry]) -> shapely.Geometry:
    """The connected part of what the counted parks share that the place is in; on a line, of that line."""
    point = shapely.Point(place.lon, place.lat)
    ground = shared(parks, place.verdict.parks)
    if len(place.verdict.locators) == 2:
        line = min(place.lines[:2], key=lambda foot: foot.distance_m)
        reach = 0.05
        ends = (
            [(line.lon, line.lat - reach), (line.lon, line.lat + reach)]
            if line.kind == "meridian"
            else [(line.lon - reach, line.lat), (line.lon + reach, line.lat)]
        )
        ground = shapely.intersection(ground, shapely.LineString(ends))
    parts = shapely.get_parts(ground)
    return parts[int(np.argmin(shapely.distance(parts, point)))]


@pytest.mark.parametrize("where", PLACES)
@pytest.mark.parametrize("seed", range(12))
def test_what_check_grants_find_lists(where, seed):
    lon, lat = PLACES[where]
    shapes = drawn(1000 * list(PLACES).index(where) + seed, lon, lat)
    parks = as_parks(shapes)
    spots = [ranked.spot for ranked in find_spots(parks, SearchOptions(near_m=0.0)).spots]
    for place in check_places(parks, *raster(lon, lat), CheckOptions(near_m=50.0, moves=False)):
        verdict = place.verdict
        if verdict.word == "not counted" or len(verdict.parks) * len(verdict.locators) < 2:
            continue
        ground = ground_about(place, shapes)
        assert any(answers(spot, place, ground) for spot in spots), (
            f"{place.lat:.6f},{place.lon:.6f}: {verdict.word} {verdict.confidence:.3f} "
            f"{verdict.locators} {verdict.parks}"
        )


@pytest.mark.parametrize("where", PLACES)
def test_what_is_listed_does_not_hang_on_how_unsure_the_rest_may_be(where):
    """Where places under 50 % are not asked for, less is worked out of them, and nothing else changes."""
    lon, lat = PLACES[where]
    kept = unsure = 0
    for seed in range(12):
        parks = as_parks(drawn(1000 * list(PLACES).index(where) + seed, lon, lat))
        usual, whole = (
            find_spots(parks, SearchOptions(near_m=0.0, min_confidence=least)) for least in (0.5, 0.0)
        )
        sure = [
            one.spot for one in whole.spots if one.spot.kind == "corner" or one.spot.verdict.confidence >= 0.5
        ]
        assert [one.spot for one in usual.spots] == sure
        kept += len(sure)
        unsure += len(whole.spots) - len(sure)
    assert kept > 12
    assert unsure > 12
