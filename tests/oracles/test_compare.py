"""Two versions compared, found again by brute force: every pair graded anew each time the best is taken."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from builders import ranked, verdict
from pyproj import Geod

from scout.cli import main
from scout.model import NearMiss, Ranked, Spot, Verdict
from scout.search.compare import compare_spots

GEOD = Geod(ellps="WGS84")
REACH_M = 24.0
PARKS = [
    ("1", "Fen"),
    ("2", "FEN"),
    ("2", "Moor"),
    ("3", ""),
    ("1", ""),
    ("4", "Tern-Marsh"),
    ("5", "tern marsh"),
]
LINES = [("JN55", "JN65"), ("JN44", "JN54")]


def draw_spot(rng: np.random.Generator, sets: list[list[tuple[str, str]]]) -> Spot:
    kind = rng.choice(["corner", "line", "overlap", "near-miss"])
    corner = (float(rng.choice([10.0, 12.0])), 45.0)
    step_m = float(rng.choice([0.0, 0.0, 5.0, 20.0, 30.0, 400.0])) + float(rng.random() < 0.3) * rng.random()
    lon, lat, _ = GEOD.fwd(corner[0], corner[1], float(rng.choice([0.0, 90.0])), step_m)
    parks = sets[rng.integers(len(sets))]
    at_corner = kind == "corner" or (kind == "near-miss" and rng.random() < 0.5)
    cells = (
        ["JN45", "JN55", "JN44", "JN54"][: int(rng.integers(3, 5))] if at_corner else LINES[rng.integers(2)]
    )
    if kind == "near-miss":
        judged = Verdict(tuple(cells), (), (), 0.9, (), 0.0, "not counted")
        near = NearMiss(*parks[0], 12.0, 90.0)
        return Spot(kind, lon, lat, corner if at_corner else None, judged, (), near=near)
    word = str(rng.choice(["firm", "doubtful"]))
    judged = verdict(cells, parks, word)  # type: ignore[arg-type]
    return Spot(kind, lon, lat, corner if at_corner else None, judged, tuple(name for _, name in parks))


def draw_held(rng: np.random.Generator) -> list[tuple[str, str]]:
    """One to three parks of different ids, as one version of the data has them."""
    by_id = {park[0]: park for park in (PARKS[k] for k in rng.permutation(len(PARKS)))}
    return list(by_id.values())[: rng.integers(1, 4)]


def draw_sets(rng: np.random.Generator) -> tuple[tuple[Ranked, ...], tuple[Ranked, ...]]:
    # Few sets of parks, so that many spots are of the same and many share some.
    sets = [draw_held(rng) for _ in range(4)]
    old = [draw_spot(rng, sets) for _ in range(rng.integers(0, 12))]
    new = [spot for spot in old if rng.random() < 0.3]
    new += [draw_spot(rng, sets) for _ in range(rng.integers(0, 12))]
    return ranked(old), ranked([new[k] for k in rng.permutation(len(new))])


def fold(name: str) -> str:
    return "".join(c for c in name.lower() if c.isalnum())


def alike(one: tuple[str, str], other: tuple[str, str], ids_hold: bool) -> bool:
    if ids_hold and one[0] == other[0]:
        return True
    if fold(one[1]) or fold(other[1]):
        return fold(one[1]) == fold(other[1])
    return one[0] == other[0]


def parks_of(spot: Spot) -> list[tuple[str, str]]:
    return list(zip(spot.verdict.parks, spot.park_names, strict=True))


def most_in_common(one: Spot, other: Spot, ids_hold: bool) -> int:
    """The most parks of two spots that can be paired off, each once, by trying every order."""
    left, right = parks_of(one), parks_of(other)
    if len(left) > len(right):
        left, right = right, left
    return max(
        sum(alike(a, b, ids_hold) for a, b in zip(left, order, strict=False))
        for order in itertools.permutations(right, len(left))
    )


def metres(one: Spot, other: Spot) -> float:
    return float(GEOD.inv(one.lon, one.lat, other.lon, other.lat)[2])


def grade(one: Spot, other: Spot, ids_hold: bool) -> tuple[int, float] | None:
    """How much alike two spots are, the less the better; None for no match."""
    if one.kind != other.kind or one.corner != other.corner:
        return None
    if one.corner is None and one.verdict.locators != other.verdict.locators:
        return None
    common, away = most_in_common(one, other, ids_hold), metres(one, other)
    same = common == len(one.verdict.parks) == len(other.verdict.parks)
    near = one.corner is not None or away <= REACH_M
    if same:
        return (0 if near else 2), away
    return ((1 if common else 3), away) if near else None


def identical(one: Spot, other: Spot) -> bool:
    """Of pairs that are alike, those that are one to the letter come first."""
    return one.verdict.locators == other.verdict.locators and sorted(parks_of(one)) == sorted(parks_of(other))


def match(old: list[Ranked], new: list[Ranked], ids_hold: bool) -> list[tuple[Ranked, Ranked]]:
    left, right, found = list(old), list(new), []
    while True:
        graded = [
            (value, not identical(a.spot, b.spot), a.rank, b.rank, a, b)
            for a in left
            for b in right
            if (value := grade(a.spot, b.spot, ids_hold)) is not None
        ]
        if not graded:
            return found
        *_, a, b = min(graded, key=lambda row: row[:4])
        left.remove(a)
        right.remove(b)
        found.append((a, b))


def classify(a: Spot, b: Spot, ids_hold: bool) -> str:
    common = most_in_common(a, b, ids_hold)
    if not common == len(a.verdict.parks) == len(b.verdict.parks):
        return "other grids or parks"
    if set(a.verdict.locators) != set(b.verdict.locators):
        return "other grids or parks"
    if a.verdict.word != b.verdict.word:
        return "other verdict"
    return "moved" if metres(a, b) > REACH_M else "same"


def find_miss(spot: Spot, misses: list[Ranked], ids_hold: bool) -> Ranked | None:
    if spot.corner is not None:
        some = [one for one in misses if one.spot.corner == spot.corner]
    else:
        some = [
            one
            for one in misses
            if one.spot.corner is None
            and one.spot.verdict.locators == spot.verdict.locators
            and one.spot.near is not None
            and any(
                alike((one.spot.near.park, one.spot.near.park_name), park, ids_hold)
                for park in parks_of(spot)
            )
        ]
    return min(some, key=lambda one: metres(spot, one.spot), default=None)


@pytest.mark.parametrize("ids_hold", [True, False])
@pytest.mark.parametrize("seed", range(300))
def test_every_change_is_found_again_by_brute_force(seed: int, ids_hold: bool) -> None:
    old, new = draw_sets(np.random.default_rng(seed))
    spots = [[one for one in some if one.spot.kind != "near-miss"] for some in (old, new)]
    misses = [[one for one in some if one.spot.kind == "near-miss"] for some in (old, new)]
    pairs = match(*spots, ids_hold)
    expected: list[tuple[Any, ...]] = []
    for a, b in pairs:
        change = classify(a.spot, b.spot, ids_hold)
        expected += [(change, a.rank, b.rank)] if change != "same" else []
    for a in spots[0]:
        if a not in [pair[0] for pair in pairs]:
            miss = find_miss(a.spot, misses[1], ids_hold)
            expected.append(("vanished", a.rank, miss and miss.rank))
    for b in spots[1]:
        if b not in [pair[1] for pair in pairs]:
            miss = find_miss(b.spot, misses[0], ids_hold)
            expected.append(("appeared", miss and miss.rank, b.rank))
    found = compare_spots(old, new, REACH_M, ids_hold=ids_hold)
    told = [(one.change, one.before and one.before.rank, one.now and one.now.rank) for one in found.changes]
    assert sorted(told, key=str) == sorted(expected, key=str)
    assert found.same == len(pairs) - sum(one[0] not in ("vanished", "appeared") for one in expected)


def draw_parks(rng: np.random.Generator) -> list[tuple[str, Any]]:
    """Boxes and triangles round two corners of squares."""
    parks = []
    for k in range(int(rng.integers(4, 12))):
        west, south = rng.choice([9.99, 11.99]) + 0.02 * rng.random(), 44.99 + 0.02 * rng.random()
        wide, high = 0.002 + 0.01 * rng.random(2)
        box = shapely.box(west - wide, south - high, west + wide, south + high)
        parks.append((f"Q-{k}", box if rng.random() < 0.7 else shapely.Polygon(box.exterior.coords[:3])))
    return parks


def save(path: Path, parks: list[tuple[str, Any]]) -> str:
    features = [
        {
            "type": "Feature",
            "properties": {"id": key, "name": f"Park of {key}"},
            "geometry": shapely.geometry.mapping(shape),
        }
        for key, shape in parks
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("seed", range(12))
def test_what_is_told_of_parks_is_true_of_their_outlines(tmp_path: Path, seed: int) -> None:
    """Outlines by GEOS: where a spot lost a park, its place is not well inside that park now; and far from
    every outline that has changed nothing is told."""
    rng = np.random.default_rng(seed)
    old = draw_parks(rng)
    new = [
        (key, shapely.affinity.translate(shape, *(0.004 * rng.random(2))) if rng.random() < 0.3 else shape)
        for key, shape in old
        if rng.random() < 0.85
    ]
    new.append(("Q-new", shapely.box(9.98, 44.995, 9.99, 45.004)))
    words = [save(tmp_path / "old.geojson", old), save(tmp_path / "new.geojson", new)]
    saved = tmp_path / "c.geojson"
    assert main(["compare", *words, "--save", str(saved)]) == 0
    before, now = dict(old), dict(new)
    changed = [
        shape
        for some, others in ((before, now), (now, before))
        for key, shape in some.items()
        if key not in others or not shape.equals(others[key])
    ]
    features = json.loads(saved.read_text(encoding="utf-8"))["features"]
    assert features
    for feature in features:
        told, place = feature["properties"], shapely.Point(feature["geometry"]["coordinates"])
        # A changed outline is near, or the spot moved along a line of one that has changed.
        named = {*(told["parks"] or ()), *(told["parks_before"] or ()), *told["lost"], *told["gained"]}
        touched = any(shape.distance(place) < 1e-3 for shape in changed)
        assert touched or any(key not in now or key not in before or now[key] != before[key] for key in named)
        if told["change"] == "vanished":
            for key in told["parks_before"]:
                assert before[key].distance(place) < 1e-3
            if told["verdict"] == "firm":
                assert all(now[key].contains(place) for key in told["parks"])
        for key in told["gained"]:
            assert now[key].contains(place)
