"""Walks again on real extracts: networkx over the paths as pyosmium gives them, node by node.

What is compared: the walk from a parking at A to a spot at B, both at nodes of the largest connected part
of the ways that walkers may use, on level ground, at the same speed. `scout` also walks over open ground,
at six tenths of the speed, so there are two fair settings. *On paths alone*: one great building covers all
but a metre around A and B; nobody leaves the paths then, while ways lead through buildings. Way and time
must be those of networkx. *Over open ground*, nothing in the way: times must be those of a graph in which
straight lines join every node with every other, and never later than by paths.

Barriers are left out of both: networkx knows none. Nodes at one place are joined, as `scout` takes them.
Which ways are open to walkers is written out anew, by OpenStreetMap's tags. *The same way*: 95 % of each of
the two lines lie within 3 m of the other. `SOAK=1` draws ten times as many pairs. The extracts are
OpenStreetMap contributors' (ODbL 1.0).
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyproj
import pytest
import shapely

from scout.model import Route, Surroundings, Walking
from scout.walk.read import read_tagged
from scout.walk.routes import WalkTargets, find_walks
from scout.walk.ways import TaggedLayers, classify_access

osmium = pytest.importorskip("osmium", reason="reads OpenStreetMap data; pip install osmium")
nx = pytest.importorskip("networkx", reason="another way to find least times; pip install networkx")

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "osm"
EXTRACTS = ("liechtenstein-2013-08-03.osm.pbf", "Helsinki.osm.pbf")
PAIRS = 100 if "SOAK" in os.environ else 8
APART_M = 150.0, 1200.0  # as the crow flies
PATH = 6000 / 60 * math.exp(-3.5 * 0.05)  # metres a minute on level ground: W. Tobler 1993
OFF = 0.6 * PATH
LIMIT = 115.0  # minutes, short of the longest walk there is
GEOD = pyproj.Geod(ellps="WGS84")

FOR_WALKERS = {
    "footway", "path", "pedestrian", "steps", "track", "bridleway", "cycleway", "living_street",
    "residential", "service", "unclassified", "road", "tertiary", "tertiary_link", "secondary",
    "secondary_link", "primary", "primary_link",
}  # fmt: skip
NOT_FOR_ALL = {
    "no", "private", "military", "customers", "permit", "residents", "employees", "members", "delivery",
    "agricultural", "forestry", "emergency", "official_only", "staff", "restricted", "use_sidepath",
}  # fmt: skip
LET_IN = {"yes", "permissive", "designated", "official", "public", "destination"}


def first(tags: dict[str, str], *keys: str) -> str:
    return next((tags[key].split(";")[0].strip().lower() for key in keys if tags.get(key)), "")


def may_walk(tags: dict[str, str]) -> bool:
    """Platforms, lifts and corridors inside houses are no ways here."""
    kind, foot = first(tags, "highway"), first(tags, "foot")
    beside = foot in LET_IN or first(tags, "sidewalk") in ("yes", "both", "left", "right", "separate")
    if kind not in FOR_WALKERS and not (kind in ("trunk", "trunk_link") and beside):
        return False
    climb = first(tags, "sac_scale") in ("demanding_alpine_hiking", "difficult_alpine_hiking")
    return (
        not climb
        and first(tags, "motorroad") in ("", "no")
        and (foot or first(tags, "access")) not in NOT_FOR_ALL
    )


class Paths(osmium.SimpleHandler):  # type: ignore[misc, name-defined]
    """The nodes of ways for walkers, joined by their segments; squares are walked along their outlines."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.at: dict[int, tuple[float, float]] = {}
        self.graph = nx.Graph()
        squares = {
            member.ref
            for thing in osmium.FileProcessor(str(path))
            if thing.is_relation()
            and first(dict(thing.tags), "type") == "multipolygon"
            and may_walk(dict(thing.tags))
            for member in thing.members
            if member.type == "w"
        }
        self.squares, self.aloft, self.ground = squares, set[int](), set[int]()
        self.apply_file(str(path), locations=True)
        # Of two nodes at one place no map tells that nobody can pass from way to way: once in Helsinki.
        first_at: dict[tuple[float, float], int] = {}
        for node in list(self.graph):
            other = first_at.setdefault(self.at[node], node)
            if other != node:
                self.graph.add_edge(other, node, minutes=0.0, aloft=False)
        part = sorted(max(nx.connected_components(self.graph), key=len) - self.aloft)
        self.nodes = np.array(part)
        self.lonlat = np.array([self.at[node] for node in part])
        self.plane = pyproj.Proj(proj="aeqd", lon_0=self.lonlat[0, 0], lat_0=self.lonlat[0, 1], ellps="WGS84")
        self.box = tuple(
            np.concatenate([np.min(list(self.at.values()), 0), np.max(list(self.at.values()), 0)])
        )

    def way(self, way: Any) -> None:
        if way.id not in self.squares and not may_walk(dict(way.tags)):
            return
        nodes = [(n.ref, n.lon, n.lat) for n in way.nodes if n.location.valid()]
        tags = dict(way.tags)
        aloft = any(first(tags, key) not in ("", "no") for key in ("bridge", "tunnel", "ford"))
        for (u, *here), (v, *there) in pairwise(nodes):
            self.at[u], self.at[v] = (here[0], here[1]), (there[0], there[1])
            self.graph.add_edge(u, v, minutes=GEOD.inv(*here, *there)[2] / PATH, aloft=aloft)
        self.aloft.update(node for node, *_ in nodes if aloft)
        self.ground.update(node for node, *_ in (nodes[:1] + nodes[-1:] if aloft else nodes))

    def draw_pairs(self, seed: int) -> list[tuple[int, int]]:
        """Nodes of the largest part; none on a bridge or in a tunnel: places are on the ground."""
        draw, found = np.random.default_rng(seed), []
        while len(found) < PAIRS:
            a, b = draw.choice(len(self.nodes), 2, replace=False)
            if APART_M[0] < GEOD.inv(*self.lonlat[a], *self.lonlat[b])[2] < APART_M[1]:
                found.append((int(self.nodes[a]), int(self.nodes[b])))
        return found

    def walk(self, a: int, b: int) -> tuple[float, Any]:
        """Least minutes, and the way in metres."""
        minutes, nodes = nx.single_source_dijkstra(self.graph, a, b, weight="minutes")
        return minutes, self.draw([self.at[node] for node in nodes])

    def draw(self, lonlat: Sequence[tuple[float, float]]) -> Any:
        return shapely.LineString(np.column_stack(self.plane(*np.array(lonlat).T)))


class Extract(NamedTuple):
    paths: Paths
    around: Surroundings


@lru_cache(maxsize=2)
def read(name: str) -> Extract:
    path = DATA / name
    if not path.exists():
        pytest.skip(f"{path} is not there")
    paths = Paths(path)
    around = classify_access([TaggedLayers(read_tagged(path, [paths.box]), "access")])
    return Extract(paths, around)


def walk(
    around: Surroundings, here: tuple[float, float], there: tuple[float, float], cell_m: float = 10.0
) -> Route:
    """The walk from a parking that is the only place to leave a car."""
    parking = around.starts.iloc[:0].copy()
    parking = type(parking)(
        {"what": ["parking"], "name": [""], "opening_hours": [""]},
        geometry=[shapely.Point(here)],
        crs="EPSG:4326",
    )
    places = shapely.points([here, there])
    indoors = np.unique(shapely.STRtree(around.buildings).query(places, "intersects")[1])
    around = replace(
        around,
        starts=parking,
        ways=around.ways.assign(drive=False),
        buildings=np.delete(np.asarray(around.buildings, dtype=object), indoors),
    )
    targets = WalkTargets(np.array([there[0]]), np.array([there[1]]), np.zeros(1, dtype=int))
    return find_walks(targets, around, [], Walking(cell_m=cell_m))[0].route


def keep_to_paths(around: Surroundings, places: Sequence[tuple[float, float]]) -> Surroundings:
    """No ground but ways: a building over everything but for a metre around the places."""
    west, south, east, north = around.ways.total_bounds
    house = shapely.box(west - 0.2, south - 0.2, east + 0.2, north + 0.2)
    holes = shapely.union_all(shapely.buffer(shapely.points(places), 1e-5))
    none = around.barriers.iloc[:0]
    return replace(around, barriers=none, buildings=[house.difference(holes)])


def share_within(one: Any, other: Any, metres: float = 3.0) -> float:
    """Share of a line that lies so near another."""
    return float(one.intersection(other.buffer(metres)).length / one.length)


def is_same_way(one: Any, other: Any) -> bool:
    return min(share_within(one, other), share_within(other, one)) >= 0.95


@pytest.mark.parametrize("name", EXTRACTS)
def test_walks_on_paths_alone_are_those_of_another_graph(name: str) -> None:
    paths, around = read(name)
    same, ratio = [], []
    for a, b in paths.draw_pairs(7):
        minutes, line = paths.walk(a, b)
        if minutes > LIMIT:
            continue
        here, there = paths.at[a], paths.at[b]
        route = walk(keep_to_paths(around, [here, there]), here, there, 60.0)
        assert route.state == "walked", (a, b, route.reason)
        assert route.out_min is not None
        same.append(is_same_way(paths.draw(route.line), line))
        ratio.append(route.out_min / minutes)
    assert len(ratio) >= 0.9 * PAIRS
    assert np.abs(np.array(ratio) - 1).max() < 0.001
    assert np.mean(same) >= 0.9  # two ways may take the same time


def cross_country(paths: Paths, a: int, b: int, minutes: float) -> float:
    """Least minutes where straight lines at six tenths of the speed join all nodes, as paths join some.

    Dijkstra's search with all distances worked out as they are wanted. Long segments have nodes every 25 m;
    bridges and tunnels are left at their ends only.
    """
    xy = np.column_stack(paths.plane(*np.array([paths.at[node] for node in paths.graph]).T))
    ends = np.column_stack(paths.plane(*np.array([paths.at[a], paths.at[b]]).T))
    # No way that is sooner than by paths leads further out.
    near = sum(np.hypot(*(xy - end).T) for end in ends) <= PATH * minutes + 1.0
    number = {
        node: k for k, node in enumerate(node for node, some in zip(paths.graph, near, strict=True) if some)
    }
    points, beside = list(xy[near]), [list[tuple[int, float]]() for _ in number]
    ground = [node in paths.ground for node in number]
    for u, v in paths.graph.subgraph(number).edges:
        pieces = math.ceil(paths.graph[u][v]["minutes"] * PATH / 25.0) or 1
        first_point, last_point = points[number[u]], points[number[v]]
        chain = [number[u], *range(len(points), len(points) + pieces - 1), number[v]]
        points += [first_point + k / pieces * (last_point - first_point) for k in range(1, pieces)]
        beside += [[] for _ in range(1, pieces)]
        ground += [not paths.graph[u][v]["aloft"]] * (pieces - 1)
        for one, other in pairwise(chain):
            beside[one].append((other, paths.graph[u][v]["minutes"] / pieces))
            beside[other].append((one, paths.graph[u][v]["minutes"] / pieces))
    at, loose = np.array(points), np.array(ground)
    loose_at = at[loose]
    least, done = np.full(len(at), np.inf), np.zeros(len(at), dtype=bool)
    least[number[a]] = 0.0
    while not done[number[b]]:
        k = int(np.argmin(np.where(done, np.inf, least)))
        done[k] = True
        if loose[k]:
            least[loose] = np.minimum(least[loose], least[k] + np.hypot(*(loose_at - at[k]).T) / OFF)
        for other, taken in beside[k]:
            least[other] = min(least[other], least[k] + taken)
    return float(least[number[b]])


@pytest.mark.parametrize("name", EXTRACTS)
def test_walks_over_open_ground_are_those_of_straight_lines_between_all_nodes(name: str) -> None:
    paths, around = read(name)
    bare = replace(around, barriers=around.barriers.iloc[:0], buildings=[])
    ratio, kept = [], []
    for a, b in paths.draw_pairs(8):
        minutes, line = paths.walk(a, b)
        route = walk(bare, paths.at[a], paths.at[b])
        assert route.state == "walked", (a, b, route.reason)
        assert route.out_min is not None
        assert route.off_path_m is not None
        assert route.out_min < 1.001 * minutes, (a, b)
        ratio.append(route.out_min / cross_country(paths, a, b, minutes))
        if route.off_path_m < 1.0:
            kept.append(is_same_way(paths.draw(route.line), line))
    assert np.abs(np.array(ratio) - 1).max() < 0.04
    assert all(kept)
