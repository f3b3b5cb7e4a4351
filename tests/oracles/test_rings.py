"""Rings of known truth, flattened, misfiled, reversed and reordered, in every format that is read.

The truth is cell by cell: a board of squares, each ring the outline of a rectangle, ground counted by hand.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely
from boundary_files import geojson, layer, written

from scout.io.layers import read_layers
from scout.model import PARK_NAME
from scout.parks.build import build_parks

Box = tuple[int, int, int, int]


def draw_truth(seed: int) -> list[tuple[Box, bool, int]]:
    """Rectangles as (box, is hole, number of its shell), some parts with holes, some holes with islands."""
    draw = random.Random(seed)
    rings: list[tuple[Box, bool, int]] = []
    for part in range(draw.randint(2, 4)):
        x, y = 20 * part, draw.randint(0, 5)
        shell = len(rings)
        rings.append(((x, y, x + 18, y + 18), False, shell))
        for k in range(draw.randint(0 if part else 1, 2)):
            west = x + 1 + 8 * k
            rings.append(((west, y + 2, west + 7, y + 12), True, shell))
            if draw.random() < 0.5:
                rings.append(((west + 1, y + 3, west + 6, y + 9), False, len(rings)))
                if draw.random() < 0.5:
                    rings.append(((west + 2, y + 4, west + 4, y + 6), True, len(rings) - 1))
    return rings


def is_ground(rings: list[tuple[Box, bool, int]], x: float, y: float) -> bool:
    return sum(b[0] < x < b[2] and b[1] < y < b[3] for b, _, _ in rings) % 2 == 1


def true_area(rings: list[tuple[Box, bool, int]]) -> int:
    return sum((-1 if hole else 1) * (b[2] - b[0]) * (b[3] - b[1]) for b, hole, _ in rings)


def outline(box: Box, clockwise: bool, start: int) -> list[tuple[float, float]]:
    w, s, e, n = (side / 4 for side in box)
    run = [(w, s), (e, s), (e, n), (w, n)]
    run = run[::-1] if clockwise else run
    run = run[start:] + run[:start]
    return [*run, run[0]]


def misfile(rings: list[tuple[Box, bool, int]], how: str, seed: int) -> Any:
    draw = random.Random(seed)
    turned = draw.random() < 0.5  # shapefile order
    runs = [outline(box, hole != turned, draw.randrange(4)) for box, hole, _ in rings]
    shells = [k for k, (_, hole, _) in enumerate(rings) if not hole]
    if "flat" in how:
        order = draw.sample(range(len(rings)), len(rings))
        return shapely.MultiPolygon([shapely.Polygon(runs[k]) for k in order])
    holes: dict[int, list[int]] = {k: [] for k in shells}
    for k, (_, hole, shell) in enumerate(rings):
        if hole:
            holes[shell if how == "sound" else draw.choice(shells)].append(k)
    if how == "bodies as holes":
        first, *rest = shells[::-1]
        inner = [*rest, *(k for some in holes.values() for k in some)]
        draw.shuffle(inner)
        return shapely.Polygon(runs[first], [runs[k] for k in inner])
    draw.shuffle(shells)
    return shapely.MultiPolygon([shapely.Polygon(runs[k], [runs[h] for h in holes[k]]) for k in shells])


def as_kml(shapes: list[Any]) -> str:
    def ring(run: Any, side: str) -> str:
        text = " ".join(f"{x},{y}" for x, y in run.coords)
        return f"<{side}><LinearRing><coordinates>{text}</coordinates></LinearRing></{side}>"

    marks = []
    for k, shape in enumerate(shapes):
        parts = [
            ring(p.exterior, "outerBoundaryIs") + "".join(ring(h, "innerBoundaryIs") for h in p.interiors)
            for p in shapely.get_parts(shape)
        ]
        polygons = "".join(f"<Polygon>{part}</Polygon>" for part in parts)
        marks.append(f"<Placemark><name>N{k}</name><MultiGeometry>{polygons}</MultiGeometry></Placemark>")
    body = "".join(marks)
    return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>'


HOWS = ["sound", "flat", "misfiled", "bodies as holes"]


def assert_true(shape: Any, rings: list[tuple[Box, bool, int]], words: str) -> None:
    assert shape.is_valid, words
    assert shape.area * 16 == pytest.approx(true_area(rings), rel=1e-6), words
    draw = random.Random(1)
    for _ in range(60):
        x, y = draw.randrange(80) + 0.5, draw.randrange(24) + 0.5
        assert shape.contains(shapely.Point(x / 4, y / 4)) == is_ground(rings, x, y), (words, x, y)


@pytest.mark.parametrize("how", HOWS)
def test_the_ground_is_the_drawn_one_however_the_rings_are_filed(how: str) -> None:
    for seed in range(150):
        rings = draw_truth(seed)
        parks = build_parks([layer([misfile(rings, how, seed)])])
        assert_true(parks.frame.geometry.iloc[0], rings, f"{how} {seed} {parks.report.repaired}")


SUFFIXES = [".geojson", ".gpkg", ".shp", ".fgb", ".parquet", ".kml"]
# GDAL turns every part of a Shapefile that it writes clockwise: of a flat one the truth is not in the file.
IN_FILES = [(how, suffix) for how in HOWS for suffix in SUFFIXES if (how, suffix) != ("flat", ".shp")]


@pytest.mark.filterwarnings("ignore")  # GDAL warns of what is written on purpose
@pytest.mark.parametrize(("how", "suffix"), IN_FILES)
def test_every_format_gives_the_drawn_ground(suffix: str, how: str, tmp_path: Path) -> None:
    truth = [draw_truth(seed) for seed in range(15)]
    shapes = [misfile(rings, how, seed) for seed, rings in enumerate(truth)]
    path = tmp_path / f"rings{suffix}"
    if suffix == ".geojson":
        geojson(path, shapes)
    elif suffix == ".kml":  # GDAL's writer refuses holes outside their shell
        path.write_text(as_kml(shapes), encoding="utf-8")
    else:
        names = [f"N{k}" for k in range(len(shapes))]
        written(path, gpd.GeoDataFrame({"name": names}, geometry=shapes, crs="EPSG:4326"))
    parks = build_parks(read_layers([path]))
    assert len(parks.frame) == len(truth)
    for name, shape in zip(parks.frame[PARK_NAME], parks.frame.geometry, strict=True):
        rings = truth[int(name[1:]) - (suffix == ".geojson")]  # FlatGeobuf has an order of its own
        assert_true(shape, rings, f"{how} {suffix} {parks.report.repaired}")
