"""Drives again on real extracts: networkx over the ways as pyosmium gives them, node by node.

The rules of `scout.drive.rules` are written out anew here, as conditions on one way's tags. The least time is
found on a graph of single segments whose nodes are OpenStreetMap's, with a copy for leaving, one for passing
through and one for coming. Places are taken to their road by shapely, on a plane of their own. The extracts
are OpenStreetMap contributors' (ODbL 1.0).
"""

from __future__ import annotations

import importlib.util
import json
import math
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from road_nets import Line, degrees, write_osm

from scout.drive.drives import measure_drives
from scout.drive.read import read_roads

osmium = pytest.importorskip("osmium", reason="reads OpenStreetMap data; pip install osmium")
nx = pytest.importorskip("networkx", reason="another way to find least times; pip install networkx")

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "osm"
EXTRACTS = {"liechtenstein-2013-08-03.osm.pbf": 3, "Helsinki.osm.pbf": 4}
PLACES = 24
GEOD = pyproj.Geod(ellps="WGS84")

SPEEDS = {  # usual, most
    "motorway": (105, 120), "motorway_link": (60, 80), "trunk": (85, 105), "trunk_link": (50, 70),
    "primary": (70, 90), "primary_link": (45, 60), "secondary": (60, 80), "secondary_link": (40, 55),
    "tertiary": (50, 70), "tertiary_link": (35, 50), "unclassified": (40, 60), "residential": (30, 40),
    "living_street": (10, 15), "road": (30, 50), "service": (15, 30), "track": (15, 30),
}  # fmt: skip
FREE = {"motorway", "motorway_link", "trunk", "trunk_link"}
YES = {"yes", "permissive", "designated", "official", "public"}
LAST = {"destination", "customers", "visitors", "guests", "tourists", "discouraged"}
NO = {
    "no", "private", "military", "permit", "residents", "employees", "members", "delivery", "agricultural",
    "forestry", "emergency", "official_only", "staff", "restricted", "use_sidepath", "psv", "bus", "taxi",
    "hgv", "school", "students", "hov",
}  # fmt: skip
PASSED = {
    "cattle_grid", "toll_booth", "entrance", "border_control", "height_restrictor", "kerb", "bump_gate",
    "sally_port", "coupure", "no", "guard_rail", "handrail",
}  # fmt: skip
CAPS = {
    "surface": {
        "compacted": 40, "fine_gravel": 40, "metal": 40, "wood": 40, "unpaved": 30, "gravel": 30,
        "pebblestone": 30, "cobblestone": 30, "sett": 30, "unhewn_cobblestone": 30, "grass_paver": 30,
        "dirt": 20, "earth": 20, "ground": 20, "grass": 20, "sand": 20, "rock": 20, "mud": 10, "clay": 10,
    },
    "smoothness": {"bad": 30, "very_bad": 15},
    "tracktype": {"grade1": 40, "grade2": 25, "grade3": 20, "grade4": 12},
}  # fmt: skip


def first(tags: dict[str, str], *keys: str) -> str:
    return next((tags[key].split(";")[0].strip().lower() for key in keys if tags.get(key)), "")


def who(tags: dict[str, str]) -> str:
    return first(tags, "motorcar", "motor_vehicle", "vehicle", "access")


class Extract(osmium.SimpleHandler):  # type: ignore[misc, name-defined]
    """Roads, gates and signals."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.roads: list[dict[str, Any]] = []
        self.gates: set[int] = set()
        self.signals: set[int] = set()
        self.apply_file(str(path), locations=True)

    def node(self, node: Any) -> None:
        tags = dict(node.tags)
        if first(tags, "highway") == "traffic_signals":
            self.signals.add(node.id)
        kind = first(tags, "barrier")
        let = who(tags) in YES | LAST or (not who(tags) and tags.get("locked") == "no")
        if kind and kind not in PASSED and not (let and tags.get("locked") != "yes"):
            self.gates.add(node.id)

    def way(self, way: Any) -> None:
        tags, nodes = dict(way.tags), [(n.ref, n.lon, n.lat) for n in way.nodes if n.location.valid()]
        kind = first(tags, "highway")
        area = tags.get("area") == "yes"
        if kind not in SPEEDS or tags.get("route") == "ferry" or area or len(nodes) < 2:
            return
        access, grade = who(tags), first(tags, "tracktype")
        service, smooth = first(tags, "service"), first(tags, "smoothness")
        rough = smooth in ("horrible", "very_horrible", "impassable") or (
            grade == "grade5" and access not in YES
        )
        if access in NO or rough or service in ("emergency_access", "bus", "busway"):
            return
        oneway = first(tags, "oneway")
        implied = kind == "motorway" or first(tags, "junction") in ("roundabout", "circular")
        along, against = True, oneway not in ("yes", "true", "1")
        if oneway in ("-1", "reverse"):
            along = False
        elif implied and oneway not in ("no", "false", "0"):
            against = False
        if oneway == "reversible":
            return
        last = access in LAST or service in ("driveway", "parking_aisle", "drive-through", "slipway")
        last |= kind == "track" and access not in YES and grade != "grade1"
        self.roads.append(
            {
                "id": way.id, "nodes": nodes, "kmh": speed(kind, tags), "along": along, "against": against,
                "last": last, "free": kind in FREE, "public": not last and kind not in ("track", "service"),
                "stops": not (
                    kind.startswith("motorway")
                    or any(tags.get(key, "no") != "no" for key in ("bridge", "tunnel", "motorroad"))
                ),
            }
        )  # fmt: skip


def speed(kind: str, tags: dict[str, str]) -> float:
    text, limit = first(tags, "maxspeed"), math.nan
    if text.isdigit() and int(text):
        limit = float(text)
    elif text.endswith(" mph"):
        limit = float(text.removesuffix(" mph")) * 1.609344
    elif text in ("none", "walk"):
        limit = {"none": 200.0, "walk": 7.0}[text]
    else:
        assert not text or text == "signals", f"{text}: another limit than the extracts had"
    usual, most = SPEEDS[kind]
    kmh = usual if math.isnan(limit) else min(0.9 * limit, most)
    return min([kmh, *(caps[first(tags, key)] for key, caps in CAPS.items() if first(tags, key) in caps)])


class Net:
    """Segments between nodes as a graph of three copies: 0 to leave by, 1 to pass through, 2 to come by."""

    def __init__(self, extract: Extract) -> None:
        self.at: dict[Any, tuple[float, float]] = {}
        self.segments: list[tuple[Any, Any, float, dict[str, Any]]] = []  # ends, metres, road
        for road in extract.roads:
            for k, ((u, *here), (v, *there)) in enumerate(
                zip(road["nodes"], road["nodes"][1:], strict=False)
            ):
                # A closed gate is another node for each segment that ends there.
                u, v = ((n, road["id"], k) if n in extract.gates else n for n in (u, v))
                self.at[u], self.at[v] = tuple(here), tuple(there)
                if here != there:
                    self.segments.append((u, v, GEOD.inv(*here, *there)[2], road))
        self.find_open()
        self.delay = self.find_delays(extract.signals)
        self.graph = nx.DiGraph()
        for u, v, metres, road in self.segments:
            # A place that one cannot come back from is out of reach.
            for a, b in self.ways(u, v, road) if self.part[u] == self.part[v] else ():
                cost = metres / road["kmh"] * 3.6 + self.wait(b, road)
                if self.is_open(u, v, road):
                    self.join((a, 1), (b, 1), cost)
                elif not (u in self.core and v in self.core):
                    if a not in self.core:
                        self.join((a, 0), (b, 1 if b in self.core else 0), cost)
                    if b not in self.core:
                        self.join((a, 1 if a in self.core else 2), (b, 2), cost)

    def join(self, a: Any, b: Any, cost: float) -> None:
        if not self.graph.has_edge(a, b) or self.graph[a][b]["s"] > cost:
            self.graph.add_edge(a, b, s=cost)

    def ways(self, u: Any, v: Any, road: dict[str, Any]) -> Iterator[tuple[Any, Any]]:
        if road["along"]:
            yield u, v
        if road["against"]:
            yield v, u

    def wait(self, node: Any, road: dict[str, Any]) -> float:
        kind, seconds = self.delay.get(node, ("", 0.0))
        return 0.0 if kind == "junction" and road["free"] else seconds

    def find_open(self) -> None:
        """The largest network of roads open to all in each part, by its length."""
        every, public = nx.DiGraph(), nx.DiGraph()
        for u, v, _, road in self.segments:
            every.add_edges_from(self.ways(u, v, road))
            if not road["last"]:
                public.add_edges_from(self.ways(u, v, road))
        self.part = {n: k for k, part in enumerate(nx.strongly_connected_components(every)) for n in part}
        net = {n: k for k, part in enumerate(nx.strongly_connected_components(public)) for n in part}
        self.km: dict[int, float] = {}
        size: dict[tuple[int, int], float] = {}
        for u, v, metres, road in self.segments:
            if self.part[u] == self.part[v]:
                self.km[self.part[u]] = self.km.get(self.part[u], 0.0) + metres / 1000
                if not road["last"] and net[u] == net[v]:
                    key = self.part[u], net[u]
                    size[key] = size.get(key, 0.0) + metres
        best = {part: max((m, n) for (p, n), m in size.items() if p == part)[1] for part, _ in size}
        self.net, self.best = net, set(best.values())
        self.core = {n for u, v, _, road in self.segments if self.is_open(u, v, road) for n in (u, v)}

    def is_open(self, u: Any, v: Any, road: dict[str, Any]) -> bool:
        return not road["last"] and self.net[u] == self.net[v] and self.net[u] in self.best

    def find_delays(self, signals: set[int]) -> dict[Any, tuple[str, float]]:
        beside: dict[Any, set[Any]] = {}
        for u, v, _, road in self.segments:
            if road["public"]:
                beside.setdefault(u, set()).add(v)
                beside.setdefault(v, set()).add(u)
        found = {node: ("junction", 1.0) for node, others in beside.items() if len(others) >= 3}
        return found | dict.fromkeys(signals, ("signal", 3.0))

    def find_stand(self, lon: float, lat: float) -> tuple[int, float, float]:
        """The segment of a place, how far along it and how far away."""
        plane = pyproj.Proj(proj="aeqd", lon_0=lon, lat_0=lat, ellps="WGS84")
        x, y = plane(*np.array([self.at[n] for u, v, *_ in self.segments for n in (u, v)]).T)
        lines = shapely.linestrings(np.column_stack([x, y]).reshape(-1, 2, 2))
        largest = max(self.km.values())
        away = shapely.distance(lines, shapely.Point(0, 0))
        for k, (u, v, _, road) in enumerate(self.segments):
            if not road["stops"] or self.part[u] != self.part[v] or away[k] > 2000.0:
                away[k] = np.inf
            elif self.km[self.part[u]] < min(10.0, largest):
                away[k] += 500.0
        k = int(np.argmin(away))
        line = lines[k]
        return k, line.project(shapely.Point(0, 0), normalized=True), line.distance(shapely.Point(0, 0))

    def time_all(self, places: Any) -> Any:
        """Seconds between places, with the way to the road at 15 km/h."""
        stands = [self.find_stand(*place) for place in places]
        for n, (k, share, _) in enumerate(stands):
            u, v, metres, road = self.segments[k]
            seconds = metres / road["kmh"] * 3.6
            for node in {0.0: [u], 1.0: [v]}.get(share, []):  # where roads meet: all of them are there
                self.join(("from", n), (node, 1 if node in self.core else 0), 0.0)
                for copy in (1,) if node in self.core else (0, 2):
                    self.join((node, copy), ("to", n), 0.0)
            for a, b in self.ways(u, v, road):
                done = share if a == u else 1 - share
                self.join(
                    ("from", n), (b, 1 if b in self.core else 0), (1 - done) * seconds + self.wait(b, road)
                )
                for copy in (1,) if a in self.core else (0, 2):
                    self.join((a, copy), ("to", n), done * seconds)
                for m, (other, other_share, _) in enumerate(stands):
                    other_done = other_share if a == u else 1 - other_share
                    if other == k and other_done >= done:
                        self.join(("from", n), ("to", m), (other_done - done) * seconds)
        found = np.full((len(places), len(places)), np.inf)
        for n in range(len(places)):
            times = nx.single_source_dijkstra_path_length(self.graph, ("from", n), weight="s")
            for m in range(len(places)):
                off = (stands[n][2] + stands[m][2]) / 15 * 3.6
                found[n, m] = 0.0 if n == m else times.get(("to", m), np.inf) + off
        return found, np.array([off for *_, off in stands])


def find_extract(name: str) -> Path:
    if not (DATA / name).exists():
        pytest.skip(f"{DATA / name} is not there")
    return DATA / name


@pytest.mark.parametrize("name", EXTRACTS)
def test_times_are_those_of_another_graph_of_the_same_ways(name: str) -> None:
    net = Net(Extract(find_extract(name)))
    draw = np.random.default_rng(EXTRACTS[name])
    places = []
    for k in draw.choice(len(net.segments), PLACES, replace=False):
        u, v, *_ = net.segments[k]
        here, there = np.array(net.at[u]), np.array(net.at[v])
        places.append(here + draw.random() * (there - here) + draw.normal(0, 5e-5, 2))
    expected, off = net.time_all(places)
    drives = measure_drives(places, read_roads(DATA / name, places, 200.0))
    assert drives.by_road.all()
    assert drives.snap_m == pytest.approx(off, abs=0.05)
    pairs = ~np.eye(PLACES, dtype=bool)
    assert np.isfinite(expected[pairs]).sum() > 200
    assert (np.isinf(drives.minutes) == np.isinf(expected)).all()
    assert drives.minutes[pairs] * 60 == pytest.approx(expected[pairs], rel=1e-4, abs=0.1)
    assert not np.allclose(expected, expected.T, rtol=1e-3)  # streets are one-way


@pytest.mark.parametrize("name", EXTRACTS)
def test_times_are_near_those_of_another_engine(name: str, tmp_path: Path) -> None:
    """The engine in pyvalhalla knows turn restrictions, has speeds of its own and no code in common."""
    engine = importlib.util.find_spec("valhalla")
    if engine is None or engine.origin is None:
        pytest.skip("pyvalhalla is not there; its wheels are for Python 3.12 and newer")
    extract, home, settings = find_extract(name), Path(engine.origin).parent, tmp_path / "settings.json"

    def run(*words: Any) -> str:
        return subprocess.run(
            [str(word) for word in words], check=True, capture_output=True, text=True
        ).stdout

    made = run(sys.executable, home / "valhalla_build_config.py", "--mjolnir-tile-dir", tmp_path / "tiles")
    settings.write_text(made, encoding="utf-8")
    run(home / "bin" / "valhalla_build_tiles", "-c", settings, extract)
    roads = read_roads(extract, [[25.0, 60.0] if "Helsinki" in name else [9.5, 47.1]], 200.0)
    main = np.flatnonzero(roads.through & (roads.part == np.argmax(roads.part_km)))
    node = roads.start[np.random.default_rng(2).choice(main, 50, replace=False)]
    places = np.column_stack([roads.lon[node], roads.lat[node]])
    asked = [{"lon": lon, "lat": lat} for lon, lat in places.tolist()]
    question = json.dumps({"sources": asked, "targets": asked, "costing": "auto"})
    answer = run(home / "bin" / "valhalla_service", settings, "sources_to_targets", question)
    rows = json.loads(answer.splitlines()[-1])["sources_to_targets"]
    theirs = np.array([[cell["time"] or np.nan for cell in row] for row in rows]) / 60
    minutes, some = measure_drives(places, roads).minutes, theirs > 2.0
    ratio = minutes[some] / theirs[some]
    assert len(ratio) > 1000
    assert np.median(np.abs(ratio - 1)) < 0.15


KINDS = [
    {"highway": "residential"}, {"highway": "residential"}, {"highway": "primary"}, {"highway": "service"},
    {"highway": "track"}, {"highway": "tertiary", "access": "destination"}, {"highway": "motorway"},
    {"highway": "service", "service": "driveway"}, {"highway": "unclassified", "access": "no"},
    {"highway": "trunk", "maxspeed": "70"},
]  # fmt: skip
THINGS = [{"barrier": "gate"}, {"highway": "traffic_signals"}, {"barrier": "gate", "access": "destination"}]


def draw_net(draw: np.random.Generator) -> list[Line]:
    """Roads of any kind between the corners of a crooked grid, none twice along one side, and gates."""
    corners = 400.0 * np.stack(np.mgrid[:6, :6], axis=-1) + draw.normal(0, 60, (6, 6, 2))
    used: set[frozenset[tuple[int, ...]]] = set()
    net: list[Line] = []

    def choose() -> tuple[int, ...]:
        return tuple(draw.integers(0, 6, 2).tolist())

    for _ in range(draw.integers(5, 30)):
        way = [choose()]
        for _ in range(draw.integers(1, 5)):
            there = tuple(np.clip(np.array(way[-1]) + draw.integers(-1, 2, 2), 0, 5).tolist())
            if there != way[-1] and frozenset((way[-1], there)) not in used:
                used.add(frozenset((way[-1], there)))
                way.append(there)
        oneway = draw.choice(["", "", "", "yes", "-1"])
        tags = KINDS[draw.integers(len(KINDS))] | ({"oneway": str(oneway)} if oneway else {})
        tags |= {"bridge": "yes"} if draw.random() < 0.1 else {}
        if len(way) > 1:
            net.append(([tuple(corners[at].tolist()) for at in way], tags))
    for _ in range(draw.integers(0, 4)):
        net.append(([tuple(corners[choose()].tolist())], THINGS[draw.integers(len(THINGS))]))
    return net


@pytest.mark.parametrize("seed", range(25))
def test_times_in_nets_of_any_kind(seed: int, tmp_path: Path) -> None:
    """Gates, one-way streets and destination-only roads are denser here than anywhere."""
    draw = np.random.default_rng(seed)
    path = write_osm(tmp_path / "net.osm", draw_net(draw))
    places = degrees(draw.random((10, 2)) * 2000.0)
    drives = measure_drives(places, read_roads(path, places))
    expected, off = Net(Extract(path)).time_all(places)
    assert drives.snap_m == pytest.approx(off, abs=0.05)
    assert (np.isinf(drives.minutes) == np.isinf(expected)).all()
    some = np.isfinite(expected)
    # A place at a junction is on any of its roads: its second may count or not.
    assert drives.minutes[some] * 60 == pytest.approx(expected[some], rel=1e-4, abs=1.1)
