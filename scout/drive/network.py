"""Lines to a graph: roads meet where they share a vertex, and are cut there; nothing passes a closed gate.

Which roads are for passing through: of every connected part the largest network of roads that are open to
all and lead back to where one came from. What else hangs on it (destination-only roads, tracks, and streets
reached by these alone) serves the first and the last bit of a drive.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from scout.drive.rules import SIGNAL_S
from scout.geo.geodesy import compute_degree_lengths, wrap_lon
from scout.io.tables import isin_sorted
from scout.model import Source
from scout.table import Table, expand_ranges

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_PER_DEG = 1e7  # vertices are one where they are equal rounded to this, 1 cm: OpenStreetMap's own precision
_BESIDE_M = 1.0  # a gate that is a record of its own, not a node of a road, lies on a road this near
_BESIDE_DEG = 2e-4  # more than that up to latitude 87
_ARMS = 3  # public roads that make a junction


@dataclass(frozen=True, slots=True)
class RoadLines(Table):
    """Lines that cars may use, in degrees, with what holds all along each."""

    shape: NDArray[np.object_]
    kmh: Floats
    forward: Bools
    backward: Bools
    last_bit: Bools  # for the first and the last bit of a drive only
    free: Bools  # crossed without a stop
    public: Bools
    stops: Bools  # a car may come to a stop there


class RoadPoints(NamedTuple):
    """Where roads are closed or slow, shape (n, 2) each: longitude and latitude, degrees."""

    gates: Floats  # on vertices of roads
    loose_gates: Floats  # on roads, at a vertex or not
    signals: Floats  # on vertices


@dataclass(frozen=True, slots=True)
class Roads:
    """Roads as edges between the nodes where they meet or end.

    Edge ``e`` runs from node ``a[e]`` to ``b[e]`` along the vertices ``start[e]`` to ``stop[e]``, both among
    them.
    """

    lon: Floats  # of vertices, degrees, continuous
    lat: Floats
    run_m: Floats  # metres along its line of each vertex; the differences count
    start: Ints
    stop: Ints
    a: Ints
    b: Ints
    seconds: Floats  # along the edge, without what its ends take
    forward: Bools  # whether it may be driven from a to b
    backward: Bools
    through: Bools  # whether it may be passed through; else it is for the first and the last bit of a drive
    free: Bools  # junctions take no time
    stops: Bools  # a car may come to a stop there
    part: Ints  # number of the connected part, in which each place can be reached from each; -1: of none
    part_km: Floats  # per part
    junction: Bools  # per node
    signal_s: Floats  # per node: what its signals take those that come to it
    gates: int  # that close a road
    sources: tuple[Source, ...] = ()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.a)

    @property
    def km(self) -> Floats:
        """Length of each edge."""
        km: Floats = (self.run_m[self.stop] - self.run_m[self.start]) / 1000
        return km


def build_roads(lines: RoadLines, points: RoadPoints, around_lon: float) -> Roads:
    """Make a graph of roads.

    Parameters
    ----------
    lines : RoadLines
    points : RoadPoints
    around_lon : float
        Longitudes are those nearest to this one, so that nothing parts at 180.
    """
    xy, line, keys = _list_vertices(lines, around_lon)
    known, node, count = np.unique(keys, return_inverse=True, return_counts=True)
    node = node.reshape(-1)
    gates, signals = (_find_vertices(known, some, around_lon) for some in (points.gates, points.signals))
    loose = _find_vertices(known, points.loose_gates, around_lon)
    gate, signal = np.zeros((2, len(known)), dtype=bool)
    gate[gates[gates >= 0]] = gate[loose[loose >= 0]] = signal[signals[signals >= 0]] = True
    blocked = _find_blocked(xy, line, points.loose_gates[loose < 0], around_lon)
    cut = (count > 1)[node] | gate[node] | signal[node]
    ends = np.flatnonzero(np.diff(line, prepend=-1, append=-1))
    cut[ends[:-1]] = cut[ends[1:] - 1] = True
    cut[blocked] = cut[blocked + 1] = True
    at = np.flatnonzero(cut)
    start, stop = at[:-1], at[1:]
    whole = (line[start] == line[stop]) & ~isin_sorted(start, blocked)
    start, stop = start[whole], stop[whole]
    a, b, nodes = _part_at_gates(node[start], node[stop], gate)
    run_m, drives = _measure_run(xy, line), lines.take(line[start])
    signal = np.append(signal, np.zeros(nodes - len(signal), dtype=bool))
    public, metres = drives.public, run_m[stop] - run_m[start]
    seconds = metres / (drives.kmh / 3.6)
    arms = _count_arms(a[public], b[public], metres[public], nodes)
    roads = Roads(
        xy[:, 0].copy(), xy[:, 1].copy(), run_m, start, stop, a, b, seconds, drives.forward, drives.backward,
        ~drives.last_bit, drives.free, drives.stops, np.full(len(a), -1), np.empty(0),
        (arms >= _ARMS) & ~signal, np.where(signal, SIGNAL_S, 0.0), int(gate.sum()) + len(blocked),
    )  # fmt: skip
    return _find_parts(roads)


def _count_arms(a: Ints, b: Ints, metres: Floats, nodes: int) -> Ints:
    """Edges that end at each node; the same road from two files is one."""
    length = np.rint(metres * 100).astype(np.int64)
    ends = np.unique(np.column_stack([np.minimum(a, b), np.maximum(a, b), length]), axis=0)
    arms: Ints = np.bincount(ends[:, :2].ravel(), minlength=nodes)
    return arms


def unwrap_lon(lon: Floats, around_lon: float) -> Floats:
    """Return the longitudes nearest to one."""
    turned: Floats = around_lon + wrap_lon(lon - around_lon)
    # Not where nothing has to be turned: differences cost last digits.
    return np.where(np.abs(lon - around_lon) < 180.0, lon, turned)


def _list_vertices(lines: RoadLines, around_lon: float) -> tuple[Floats, Ints, Ints]:
    """Vertices, the line of each, and keys by which they are joined; none twice in a row."""
    xy, line = shapely.get_coordinates(lines.shape, return_index=True)
    xy[:, 0] = unwrap_lon(xy[:, 0], around_lon)
    keys = _make_keys(xy, around_lon)
    kept = np.ones(len(xy), dtype=bool)
    kept[1:] = (line[1:] != line[:-1]) | (keys[1:] != keys[:-1])
    return xy[kept], line[kept], keys[kept]


def _make_keys(xy: Floats, around_lon: float) -> Ints:
    lon = np.rint(unwrap_lon(xy[:, 0], around_lon) * _PER_DEG).astype(np.int64)
    lat = np.rint((xy[:, 1] + 90.0) * _PER_DEG).astype(np.int64)
    keys: Ints = (lon << 31) + lat
    return keys


def _find_vertices(known: Ints, places: Floats, around_lon: float) -> Ints:
    """The vertex at each place, by keys that ascend; -1 where there is none."""
    keys = _make_keys(places, around_lon)
    at = np.searchsorted(known, keys)
    at[at == len(known)] = -1
    at[at >= 0] = np.where(known[at[at >= 0]] == keys[at >= 0], at[at >= 0], -1)
    return at


def _find_blocked(xy: Floats, line: Ints, gates: Floats, around_lon: float) -> Ints:
    """First vertices of the segments on which gates lie."""
    gates = np.column_stack([unwrap_lon(gates[:, 0], around_lon), gates[:, 1]])
    if not len(gates) or not len(xy):
        return np.empty(0, dtype=np.int64)
    heads = np.flatnonzero(np.diff(line, prepend=-1))
    shapes = shapely.linestrings(xy, indices=np.cumsum(np.diff(line, prepend=line[0]) != 0))
    reach = shapely.buffer(shapely.points(gates), _BESIDE_DEG)
    gate, met = shapely.STRtree(shapes).query(reach, predicate="intersects")
    pair, first = expand_ranges(heads[met], np.diff(np.append(heads, len(line)))[met] - 1)
    scale = np.column_stack(compute_degree_lengths(gates[gate[pair], 1]))
    here, there = ((xy[at] - gates[gate[pair]]) * scale for at in (first, first + 1))
    _, away = project_on_segments(here, there)
    return np.unique(first[away < _BESIDE_M])


def project_on_segments(here: Floats, there: Floats) -> tuple[Floats, Floats]:
    """Return where the origin's foot is along segments, 0 to 1, and how far away; shape (n, 2) to (n,)."""
    along = there - here
    square = np.maximum((along * along).sum(axis=1), 1e-12)
    share = np.clip(-(here * along).sum(axis=1) / square, 0.0, 1.0)
    foot = here + share[:, None] * along
    return share, np.hypot(foot[:, 0], foot[:, 1])


def _part_at_gates(a: Ints, b: Ints, gate: Bools) -> tuple[Ints, Ints, int]:
    """Ends of edges, with a node for each that ends at a gate, and the number of nodes."""
    a, b, nodes = a.copy(), b.copy(), len(gate)
    for ends in (a, b):
        shut = np.flatnonzero(gate[ends])
        ends[shut] = nodes + np.arange(len(shut))
        nodes += len(shut)
    return a, b, nodes


def _measure_run(xy: Floats, line: Ints) -> Floats:
    """Metres from the first of all vertices, without those from line to line."""
    if not len(xy):
        return np.empty(0)
    step = np.diff(xy, axis=0)
    east, north = compute_degree_lengths((xy[1:, 1] + xy[:-1, 1]) / 2)
    metres = np.hypot(step[:, 0] * east, step[:, 1] * north)
    metres[line[1:] != line[:-1]] = 0.0
    return np.concatenate([[0.0], np.cumsum(metres)])


def _find_parts(roads: Roads) -> Roads:
    """The roads with their connected parts, and with what of each may be passed through."""
    nodes, km = len(roads.junction), roads.km
    every = np.ones(len(roads), dtype=bool)
    whole, own = _connect(roads, every, nodes), _connect(roads, roads.through, nodes)
    inside = whole[roads.a] == whole[roads.b]
    part = np.where(inside, whole[roads.a], -1)
    open_inside = roads.through & inside & (own[roads.a] == own[roads.b])
    size = np.bincount(own[roads.a[open_inside]], km[open_inside], minlength=nodes)
    # Networks of open roads by the part they are in, the largest of each last; equal ones by their number.
    one, row = np.unique(own[roads.a[open_inside]], return_index=True)
    of_part = part[open_inside][row]
    order = np.lexsort((-one, size[one], of_part))
    last = np.append(np.diff(of_part[order]) != 0, True)[: len(order)]
    largest = np.zeros(nodes, dtype=bool)
    largest[one[order][last]] = True
    numbers, part_of = np.unique(part[inside], return_inverse=True)
    part[inside] = part_of.reshape(-1)
    part_km = np.bincount(part[inside], km[inside], minlength=len(numbers)).astype(float)
    return replace(roads, part=part, part_km=part_km, through=open_inside & largest[own[roads.a]])


def _connect(roads: Roads, among: Bools, nodes: int) -> Ints:
    """Strongly connected parts of the nodes, by some of the edges."""
    along, against = among & roads.forward, among & roads.backward
    ends = [
        np.concatenate([roads.a[along], roads.b[against]]),
        np.concatenate([roads.b[along], roads.a[against]]),
    ]
    graph = csr_array((np.ones(len(ends[0]), dtype=np.int32), (ends[0], ends[1])), shape=(nodes, nodes))
    found: Ints = connected_components(graph, directed=True, connection="strong")[1].astype(np.int64)
    return found
