"""Made parks for the benchmark that are like real data, from a seed.

Outlines of 20 to 50,000 vertices (log-normal, 450 in the mean) with coasts ragged at every size, one park in
seven of many parts, one in seven with holes and islands in them, clusters that overlap, neighbours that share
their border vertex by vertex, second outlines of the same ground that differ by metres, narrow trails, and a
few records that are not valid.
"""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["INVALID", "ragged_parks"]

Floats = NDArray[np.float64]

INVALID = 3.6e-3  # of the records: 36 of 10,000
_LEAST, _MOST, _MEAN, _SPREAD = 20, 50_000, 480.0, 1.5
_ROUGH = 1.35  # exponent of a coast's amplitudes: lengths grow as they do along real coasts, dimension 1.15
_RADIUS_DEG = 0.012  # of a park with 150 vertices: 20 to 40 m from one to the next
_METRE = 1 / 111_000


def ragged_parks(count: int, seed: int = 1, stretch: float = 1.0, first: int = 0) -> gpd.GeoDataFrame:
    """Parks with ids and names between 120 and 70 W, 25 and 50 N, or ``stretch`` times that far apart."""
    rng = np.random.default_rng(seed)
    made: list[shapely.Geometry] = []
    for vertices, centre in zip(_sizes(rng, count), _centres(rng, count, stretch), strict=True):
        if len(made) >= count:
            break
        made.extend(_one_or_two(rng, int(vertices), centre, made))
    shapes = np.array(made[:count], dtype=object)
    for k in rng.choice(count, round(count * INVALID), replace=False).tolist():
        shapes[k] = _crossed(rng, shapes[k])
    ids = [f"made-{first + k}" for k in range(count)]
    return gpd.GeoDataFrame({"id": ids, "name": ids}, geometry=shapes, crs=4326)


def _sizes(rng: np.random.Generator, count: int) -> Floats:
    """Numbers of vertices: whatever the draw, the mean is the same, and one park has the most."""
    sizes = rng.lognormal(0.0, _SPREAD, count)
    sizes[0] = sizes.max()
    for _ in range(20):
        sizes = np.clip(sizes * (_MEAN / sizes.mean()), _LEAST, _MOST)
    if count >= 10_000:
        sizes[0] = _MOST
    return sizes


def _centres(rng: np.random.Generator, count: int, stretch: float) -> Floats:
    """Longitudes and latitudes: half the parks lie about another one."""
    even = rng.uniform(-1, 1, (count, 2)) * np.array([25.0, 12.5]) * stretch + np.array([-95.0, 37.5])
    about = even[rng.integers(0, max(count // 8, 1), count)] + rng.normal(0, 0.05, (count, 2))
    return np.where(rng.random((count, 1)) < 0.5, about, even)


def _one_or_two(
    rng: np.random.Generator, vertices: int, centre: Floats, made: list[shapely.Geometry]
) -> Iterator[shapely.Geometry]:
    kind = rng.choice(
        ["alone", "parts", "holes", "halves", "again", "trail"], p=[0.45, 0.15, 0.2, 0.1, 0.05, 0.05]
    )
    radius = _RADIUS_DEG * np.sqrt(vertices / 150) * rng.lognormal(-0.3, 0.9)
    if kind == "again" and made:
        yield _drawn_again(rng, made[int(rng.integers(len(made)))])
    elif kind == "trail":
        yield _trail(rng, vertices, centre)
    elif kind == "halves" and vertices >= 40:
        yield from _halves(rng, vertices, centre, radius)
    elif kind == "parts" and vertices >= 80:
        yield _parts(rng, vertices, centre, radius)
    elif kind == "holes" and vertices >= 100:
        yield _with_holes(rng, vertices, centre, radius)
    else:
        yield shapely.Polygon(_coast(rng, vertices, centre, radius))


def _coast(
    rng: np.random.Generator, vertices: int, centre: Floats, radius: float, wild: float = 0.3
) -> Floats:
    """A ring about a centre, whose radius has waves of every length."""
    waves = np.arange(2, max(vertices // 2, 3))
    size = wild * rng.normal(size=len(waves)) * waves**-_ROUGH * 2
    spectrum = np.zeros(vertices // 2 + 1, dtype=complex)
    spectrum[waves[: len(spectrum) - 2]] = (size * np.exp(1j * rng.uniform(0, 2 * np.pi, len(waves))))[
        : len(spectrum) - 2
    ]
    away = radius * np.exp(np.fft.irfft(spectrum * vertices / 2, vertices))
    # Vertices stand where somebody clicked: no two steps are alike.
    steps = rng.uniform(0.3, 1.0, vertices)
    turn = 2 * np.pi * np.cumsum(steps) / steps.sum()
    x = centre[0] + away * np.cos(turn) / np.cos(np.radians(centre[1]))
    return np.stack([x, centre[1] + away * np.sin(turn)], axis=1)


def _parts(rng: np.random.Generator, vertices: int, centre: Floats, radius: float) -> shapely.MultiPolygon:
    """A body and islands about it."""
    count = int(min(2 + rng.geometric(0.2), 30, vertices // 20))
    main = max(vertices - 20 * count, vertices // 2)
    rings = [_coast(rng, main, centre, radius)]
    reach = np.hypot(*((rings[0] - centre) * [np.cos(np.radians(centre[1])), 1]).T).max()
    small = np.pi * reach / count * 0.4
    each = max((vertices - main) // count, 4)
    for k in range(count):
        turn = 2 * np.pi * k / count
        at = reach + 2 * small + rng.uniform(0, small)
        place = centre + at * np.array([np.cos(turn) / np.cos(np.radians(centre[1])), np.sin(turn)])
        rings.append(_coast(rng, each, place, small * rng.uniform(0.2, 0.6), 0.15))
    return _sound(shapely.MultiPolygon([shapely.Polygon(ring) for ring in rings]))


def _with_holes(rng: np.random.Generator, vertices: int, centre: Floats, radius: float) -> shapely.Geometry:
    """A park with inholdings, and an island of the park in the first."""
    count = int(min(rng.geometric(0.3), 12, vertices // 40))
    main = max(vertices - 40 * count, vertices // 2)
    ring = _coast(rng, main, centre, radius)
    room = np.hypot(*((ring - centre) * [np.cos(np.radians(centre[1])), 1]).T).min()
    small = 0.3 * room * min(1.0, 3 / count)
    each = max((vertices - main) // (count + 1), 4)
    holes = []
    for k in range(count):
        turn = 2 * np.pi * k / count
        place = centre + 0.6 * room * np.array([np.cos(turn) / np.cos(np.radians(centre[1])), np.sin(turn)])
        holes.append(_coast(rng, each, place, small * rng.uniform(0.05, 0.7), 0.1))
    body = shapely.Polygon(ring, holes)
    island = shapely.Polygon(_coast(rng, each, holes[0].mean(axis=0), small * 0.02, 0.1))
    return _sound(shapely.MultiPolygon([body, island]) if rng.random() < 0.3 else body)


def _halves(
    rng: np.random.Generator, vertices: int, centre: Floats, radius: float
) -> Iterator[shapely.Geometry]:
    """Two neighbours: one outline, and a border through it that both have vertex by vertex."""
    ring = _coast(rng, vertices, centre, radius)
    a, b = 0, int(vertices * rng.uniform(0.3, 0.7))
    share = np.linspace(0, 1, max(vertices // 10, 3))[1:-1, None]
    aside = rng.normal(0, 20 * _METRE, (len(share), 2)) * np.minimum(share, 1 - share) * 2
    border = np.concatenate(
        [ring[a] + (centre - ring[a]) * share + aside, [centre], centre + (ring[b] - centre) * share + aside]
    )
    one = shapely.Polygon(np.concatenate([ring[a : b + 1], border[::-1]]))
    other = shapely.Polygon(np.concatenate([ring[b:], ring[:1], border]))
    yield _sound(one)
    yield _sound(other)


def _drawn_again(rng: np.random.Generator, park: shapely.Geometry) -> shapely.Geometry:
    """The same ground in another collection: off by a few metres, vertex by vertex."""
    xy = shapely.get_coordinates(park)
    step = np.hypot(*np.diff(xy, axis=0).T)
    loose = min(3 * _METRE, 0.2 * float(np.median(step[step > 0])))
    moved = shapely.transform(park, lambda some: some + 4 * _METRE * np.array([1.0, 0.5]))
    again = shapely.transform(park, lambda some: some + _noise(some, loose))
    return again if again.is_valid else moved


def _noise(xy: Floats, size: float) -> Floats:
    """Shifts that follow from the place, so that the ends of a ring stay one."""
    noise: Floats = size * np.sin(xy * 1e6 + xy[:, ::-1] * 7e5)
    return noise


def _trail(rng: np.random.Generator, vertices: int, centre: Floats) -> shapely.Geometry:
    """A winding strip of 15 to 60 m."""
    turn = np.cumsum(rng.normal(0, 0.2, max(vertices // 4, 8))) + rng.uniform(0, 6)
    step = 60 * _METRE * np.stack([np.cos(turn) / np.cos(np.radians(centre[1])), np.sin(turn)], axis=1)
    line = shapely.LineString(centre + np.cumsum(step, axis=0))
    return line.buffer(rng.uniform(7.5, 30) * _METRE, cap_style="flat", join_style="mitre")


def _sound(shape: shapely.Geometry) -> shapely.Geometry:
    """The shape, smoothed a little where its raggedness made it cross itself."""
    return shape if shape.is_valid else shapely.make_valid(shape, method="structure", keep_collapsed=False)


def _crossed(rng: np.random.Generator, shape: shapely.Geometry) -> shapely.Geometry:
    """An outline with two corners out of turn, so that it crosses itself."""
    ring = shapely.get_coordinates(shapely.get_exterior_ring(shapely.get_parts(shape)[0]))
    crossed = shape
    while crossed.is_valid:
        swapped, at = ring.copy(), rng.integers(1, len(ring) - 1, 2)
        swapped[at] = swapped[at[::-1]]
        crossed = shapely.Polygon(swapped)
    return crossed
