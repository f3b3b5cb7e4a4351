"""Overhead lines and closed ground, against geodesics of `geographiclib` (Karney; independent of PROJ): R."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from conftest import REPOSITORY
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from scout.model import HAZARD, NAME, WHAT, Surroundings
from scout.walk.hazards import find_closures, find_nearest
from scout.walk.read import read_tagged
from scout.walk.ways import TaggedLayers, classify_access


def frame(*rows: tuple[Any, str, str]) -> gpd.GeoDataFrame:
    table = {WHAT: [row[1] for row in rows], NAME: [row[2] for row in rows]}
    return gpd.GeoDataFrame(table, geometry=[row[0] for row in rows], crs="EPSG:4326")


def around(power_lines: Any = (), closed: Any = ()) -> Surroundings:
    empty = frame()
    hazards = frame(*closed, *power_lines)
    hazards[HAZARD] = ["closed"] * len(closed) + ["power"] * len(power_lines)
    return Surroundings(empty, empty, empty, empty, hazards)


def find_power_lines_near(lon: Any, lat: Any, there: Surroundings) -> Any:
    return find_nearest(lon, lat, there.hazards_of("power"))


def geodesic_m(lon: float, lat: float, line: Any) -> float:
    """Least geodesic distance to a polyline that is straight in longitude and latitude."""

    def least(a: Any, b: Any) -> float:
        def at(share: float) -> float:
            x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
            return float(Geodesic.WGS84.Inverse(lat, lon, y, x)["s12"])

        ends = [at(0.0), at(1.0)]
        inner = minimize_scalar(at, bounds=(0, 1), method="bounded", options={"xatol": 1e-9}).fun
        return min(*ends, float(inner))

    points = list(line.coords)
    return min(least(a, b) for a, b in pairwise(points))


@settings(max_examples=60)
@given(
    st.floats(-180, 180), st.floats(-75, 75),
    st.lists(st.tuples(st.floats(-0.1, 0.1), st.floats(-0.08, 0.08)), min_size=2, max_size=4, unique=True),
)  # fmt: skip
def test_distances_are_geodesic_ones(lon: float, lat: float, offsets: list[tuple[float, float]]) -> None:
    line = shapely.LineString([(lon + x, lat + y) for x, y in offsets])
    (metres,), (name,) = find_power_lines_near(
        np.array([lon]), np.array([lat]), around([(line, "power line", "Q")])
    )
    assert metres == pytest.approx(geodesic_m(lon, lat, line), rel=1e-4, abs=0.1)
    assert name == "power line: Q"


@pytest.mark.parametrize("north", [0.0, 0.3, 5.0])
@pytest.mark.parametrize("lat", [0.0, 45.0, -70.0, 88.0])
def test_far_and_polar_lines_are_measured_too(lat: float, north: float) -> None:
    line = shapely.LineString([(10, lat - 1 + north / 5), (11, lat - 1)])
    (metres,), _ = find_power_lines_near(
        np.array([30.0]), np.array([lat]), around([(line, "power line", "")])
    )
    assert metres == pytest.approx(geodesic_m(30.0, lat, line), rel=1e-3)


def test_the_nearest_of_many_lines_is_found() -> None:
    draw = np.random.default_rng(4)
    starts = np.column_stack([draw.uniform(-1, 1, 400), 60 + draw.uniform(-1, 1, 400)])
    lines = [shapely.LineString([p, p + draw.uniform(-0.05, 0.05, 2)]) for p in starts]
    lon, lat = draw.uniform(-1, 1, 25), 60 + draw.uniform(-1, 1, 25)
    rows = [(line, "power line", str(n)) for n, line in enumerate(lines)]
    metres, names = find_power_lines_near(lon, lat, around(rows))
    for k in range(len(lon)):
        # A plane scaled at the place decides which few lines are measured by geodesics.
        rough = [
            shapely.distance(
                shapely.Point(lon[k] / 2, lat[k]), shapely.transform(line, lambda xy: xy / [2, 1])
            )
            for line in lines
        ]
        few = np.argsort(rough)[:12]
        exact = {n: geodesic_m(lon[k], lat[k], lines[n]) for n in few}
        best = min(exact, key=lambda n: exact[n])
        assert metres[k] == pytest.approx(exact[best], rel=1e-4, abs=0.1)
        assert names[k] == f"power line: {best}"


@pytest.mark.parametrize("turn", [0.0, 360.0, -360.0])
def test_lines_over_the_antimeridian_are_near_from_both_sides(turn: float) -> None:
    line = shapely.LineString([(179.999 + turn, -20), (180.001 + turn, -20)])
    metres, _ = find_power_lines_near(
        np.array([179.9995, -179.9995, 180.0005]), np.full(3, -20.001), around([(line, "power line", "")])
    )
    assert metres == pytest.approx(
        [110.7] * 3, abs=0.1
    )  # 0.001 deg of the meridian at 20 S, pyproj: 110.704 m


def test_without_lines_or_places_there_is_nothing_near() -> None:
    metres, names = find_power_lines_near(np.array([1.0, 2.0]), np.array([3.0, 4.0]), around())
    assert np.isinf(metres).all()
    assert names == ["", ""]
    metres, names = find_power_lines_near(
        np.empty(0), np.empty(0), around([(shapely.LineString([(0, 0), (1, 1)]), "x", "")])
    )
    assert (len(metres), names) == (0, [])
    assert find_closures(np.array([1.0]), np.array([1.0]), 5.0, around()) == [""]
    assert (
        find_closures(np.empty(0), np.empty(0), 5.0, around(closed=[(shapely.box(0, 0, 1, 1), "x", "")]))
        == []
    )


def test_a_place_is_closed_inside_and_within_the_stations_radius() -> None:
    """0.0001 degrees of latitude at the equator are 11.057 m (references: meridian at 0: 110574.276 m)."""
    ground = shapely.box(0, 0, 1, 1) - shapely.box(0.4, 0.4, 0.6, 0.6)
    there = around(closed=[(ground, "military range", "Fort Dullmoor")])
    lon, lat = np.array([0.5, 0.2, 0.5, 0.5, 360.2]), np.array([-0.0001, 0.2, 0.5, 0.5999, 0.2])
    text = "military range: Fort Dullmoor"
    assert find_closures(lon, lat, 11.0, there) == ["", text, "", "", text]
    assert find_closures(lon, lat, 11.1, there) == [text, text, "", text, text]


def test_all_that_closes_a_place_is_named_once() -> None:
    there = around(closed=[
        (shapely.box(0, 0, 1, 1), "military range", "A"), (shapely.box(0, 0, 1, 1), "military range", "A"),
        (shapely.box(0.5, 0, 2, 1), "private ground", ""),
        (shapely.box(179.9, 0, 180.1, 1), "private ground", "B"),
    ])  # fmt: skip
    found = find_closures(np.array([0.7, 0.2, 1.5, 3.0, -179.95]), np.full(5, 0.5), 5.0, there)
    assert found == [
        "military range: A; private ground",
        "military range: A",
        "private ground",
        "",
        "private ground: B",
    ]


def test_the_demos_line_runs_35_m_north_of_the_parallel() -> None:
    """As data_demo/README.md tells it: beside wren-10, and the range closed."""
    box = [(-112.3, -41.2, -111.7, -40.8)]
    files = [
        TaggedLayers(read_tagged([REPOSITORY / "data_demo" / f"{n}.geojson"], box), n)
        for n in ("barriers", "hazards")
    ]
    there = classify_access(files)
    (metres,), (name,) = find_power_lines_near(np.array([-112.17]), np.array([-41.0]), there)
    assert metres == pytest.approx(35, abs=1)
    assert name == "power line"
    closed = there.hazards_of("closed")
    ground = closed[closed[WHAT] == "military range"].geometry.iloc[0].representative_point()
    assert find_closures(np.array([ground.x, -112.0]), np.array([ground.y, -41.0]), 5.0, there) == [
        "military range: Dullmoor Range", "",
    ]  # fmt: skip
