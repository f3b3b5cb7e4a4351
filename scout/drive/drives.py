"""Minutes and kilometres by car between places: over roads where these are known, else as the crow flies."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra

from scout.drive.network import Roads, project_on_segments, unwrap_lon
from scout.drive.rules import JUNCTION_S
from scout.geo.geodesy import compute_degree_lengths, measure_geodesic, wrap_lon
from scout.model import Source
from scout.table import Table, expand_ranges

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MOST_OFF_M = 2000.0  # from a place to its road
_FAR_OFF_M = 300.0  # is worth a remark
_OFF_KMH = 15.0  # from a place to its road
# A place goes to a part with less road than this only where that is so much nearer than a larger one.
_SCRAP_KM = 10.0
_SCRAP_OFF_M = 500.0
_END_SHARE = 1e-9  # of an edge, that is its end but for rounding
_LEAST_S = 1e-6  # of a step: nothing is free for the search
_NONE = np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class StraightDriving:
    """How a drive is estimated where no road is known: the geodesic times a factor, at one speed."""

    factor: float = 1.3
    kmh: float = 50.0


@dataclass(frozen=True, slots=True)
class Drives:
    """Drives between all pairs of n places; row: from, column: to."""

    places: Floats  # shape (n, 2): longitude and latitude, degrees
    minutes: Floats  # shape (n, n); infinite where no road known leads there and back
    km: Floats  # shape (n, n), along the fastest way
    by_road: Bools  # shape (n, n); False: estimated from the straight distance
    snap_m: Floats  # shape (n,): from each place to its road; NaN where none is near
    notes: tuple[str, ...] = ()  # what was not known, not used or is estimated
    sources: tuple[Source, ...] = ()  # of the roads, with the credits they bring along
    ways: FastestWays | None = None  # along which `trace` runs

    def trace(self, i: int, j: int) -> Floats:
        """Return the line driven from one place to another, shape (k, 2): longitude and latitude, degrees.

        The places themselves are its ends, exactly; nothing but them where the drive is estimated. Empty,
        shape (0, 2), where no road known leads there.
        """
        if not np.isfinite(self.minutes[i, j]):
            return np.empty((0, 2))
        line = self.places[[i, j]]
        if self.ways is not None and self.by_road[i, j] and i != j:
            line = np.concatenate([line[:1], self.ways.trace(i, j), line[1:]])
            beyond = np.abs(line[:, 0]) > 180.0
            line[beyond, 0] = wrap_lon(line[beyond, 0])
        return line


def measure_drives(
    places: Any,
    roads: Roads | None,
    straight: StraightDriving = StraightDriving(),
    most_off_m: float = MOST_OFF_M,
    progress: Callable[[str], None] | None = None,
) -> Drives:
    """Measure the drives between all pairs of some places.

    Each place is taken to the nearest road where a car may stop, of a connected part of some size if one is
    near. Minutes are those of the fastest way, kilometres run along it. Places without a road near are joined
    to all others by estimates. Turn restrictions, slopes, bends and traffic are not looked at.

    Parameters
    ----------
    places : array_like, shape (n, 2)
        Longitude and latitude, degrees.
    roads : Roads or None
        As `scout.drive.read.read_roads` gives them; None: all is estimated.
    straight : StraightDriving
        How to estimate.
    most_off_m : float
        A road further from a place than this is not its road.
    progress : callable, optional
        Called with a few words on what is being done.
    """
    at = np.asarray(places, dtype=float).reshape(-1, 2)
    minutes, km = measure_straight(at, straight)
    by_road, off = np.zeros(km.shape, dtype=bool), np.full(len(at), np.nan)
    if roads is None or not len(roads):
        notes = () if roads is None else roads.notes
        sources = () if roads is None else roads.sources
        return Drives(
            at, minutes, km, by_road, off, (*notes, *_note_straight(by_road, off, straight)), sources
        )
    if progress is not None:
        progress(f"working out the drives between {len(at):,} places")
    stands = find_stands(at, roads, most_off_m)
    off[stands.place] = stands.off_m
    ways = find_fastest(stands, roads)
    rows = np.ix_(stands.place, stands.place)
    leg = stands.off_m[:, None] + stands.off_m[None, :]
    np.fill_diagonal(leg, 0.0)
    minutes[rows] = ways.seconds / 60 + leg / 1000 / _OFF_KMH * 60
    km[rows] = ways.km + leg / 1000
    by_road[rows] = True
    notes = (*roads.notes, *_note_places(at, minutes, off), *_note_straight(by_road, off, straight))
    return Drives(at, minutes, km, by_road, off, notes, roads.sources, ways)


def measure_straight(places: Floats, straight: StraightDriving) -> tuple[Floats, Floats]:
    """Return minutes and kilometres between all pairs of places, estimated from geodesics; shape (n, n)."""
    (lon, lat), n = places.T, len(places)
    i, j = np.triu_indices(n, 1)
    metres = np.zeros((n, n))
    metres[i, j] = metres[j, i] = measure_geodesic(lon[i], lat[i], lon[j], lat[j])[0]
    km = metres / 1000 * straight.factor
    return km / straight.kmh * 60, km


def _note_straight(by_road: Bools, off: Floats, straight: StraightDriving) -> list[str]:
    n = len(off)
    pairs = int((~by_road).sum()) - n + int(by_road.diagonal().sum())
    if not pairs:
        return []
    how = f"{straight.factor:g} times the straight distance at {straight.kmh:g} km/h"
    some = np.flatnonzero(np.isnan(off))
    if len(some) == n:
        return [f"no road is known near the places: driving is estimated, {how}"]
    return [f"places without a road near, drives to and from them are estimated, {how}: {len(some)} of {n}"]


def _note_places(places: Floats, minutes: Floats, off: Floats) -> list[str]:
    notes = []
    if far := int((off > _FAR_OFF_M).sum()):
        notes.append(
            f"places more than {_FAR_OFF_M:g} m from the road they are taken to: {far} of {len(off)}"
        )
    if apart := int((~np.isfinite(minutes)).sum()):
        notes.append(f"drives that no road known leads along: {apart:,} of {len(off) * (len(off) - 1):,}")
    return notes


# Places on roads.
@dataclass(frozen=True, slots=True)
class Stands(Table):
    """Where places are on roads; only those that have one near."""

    place: Ints
    edge: Ints
    share: Floats  # of the edge, from its first node
    segment: Ints  # first vertex of the one that the place is at
    lon: Floats  # of the foot, degrees
    lat: Floats
    off_m: Floats


def find_stands(places: Floats, roads: Roads, most_off_m: float) -> Stands:
    """Find the road of each place: the nearest on which a car may stop.

    Small parts of the network count as further away than they are.
    """
    low, high = _bound_edges(roads)
    usable = roads.stops & (roads.part >= 0)
    size = np.append(roads.part_km, 0.0)[roads.part]
    large = (size >= _SCRAP_KM) | (size == roads.part_km.max(initial=0.0))
    vertices = np.column_stack([roads.lon, roads.lat])
    rows = []
    for number, (lon, lat) in enumerate(places.tolist()):
        lon = float(unwrap_lon(np.array([lon]), float(roads.lon[0]))[0])
        scale = np.array(compute_degree_lengths(lat))
        reach = most_off_m / scale
        here = np.array([lon, lat])
        near = np.flatnonzero(usable & (low <= here + reach).all(axis=1) & (high >= here - reach).all(axis=1))
        edge, segment = expand_ranges(roads.start[near], roads.stop[near] - roads.start[near])
        share, away = project_on_segments(
            (vertices[segment] - here) * scale, (vertices[segment + 1] - here) * scale
        )
        there = away <= most_off_m
        edge, segment, share, away = edge[there], segment[there], share[there], away[there]
        if not len(away):
            continue
        one = int(np.argmin(np.where(large[near[edge]], away, away + _SCRAP_OFF_M)))
        at, e = segment[one], near[edge[one]]
        lon, lat = vertices[at] + share[one] * (vertices[at + 1] - vertices[at])
        run = (
            roads.run_m[at]
            + share[one] * (roads.run_m[at + 1] - roads.run_m[at])
            - roads.run_m[roads.start[e]]
        )
        whole = roads.run_m[roads.stop[e]] - roads.run_m[roads.start[e]]
        rows.append((number, e, run / max(whole, 1e-9), at, lon, lat, away[one]))
    columns = list(zip(*rows, strict=True)) if rows else [()] * 7
    kinds = (int, int, float, int, float, float, float)
    found = Stands(*(np.array(column, dtype=kind) for column, kind in zip(columns, kinds, strict=True)))
    at_end = np.abs(found.share - np.rint(found.share)) < _END_SHARE
    return replace(found, share=np.where(at_end, np.rint(found.share), found.share))


def _bound_edges(roads: Roads) -> tuple[Floats, Floats]:
    """Corners of a box around each edge, shape (n, 2); some are too large: what lies between edges counts."""
    xy = np.column_stack([roads.lon, roads.lat])
    low, high = (reduce.reduceat(xy, roads.start, axis=0) for reduce in (np.minimum, np.maximum))
    return np.minimum(low, xy[roads.stop]), np.maximum(high, xy[roads.stop])


# The search.
@dataclass(frozen=True, slots=True)
class _Steps(Table):
    """Steps of the search from node to node, along an edge or some of it."""

    tail: Ints
    head: Ints
    seconds: Floats
    km: Floats
    edge: Ints  # twice the number of the edge, and one more where it is driven from b to a


class _Tree(NamedTuple):
    """The steps of the fastest ways from one stand to all others, by the nodes they lead to."""

    head: Ints  # ascending
    tail: Ints
    edge: Ints

    def list_edges(self, target: int) -> list[int]:
        """Return the edges driven to a node, as `_Steps` numbers them."""
        found: list[int] = []
        while True:
            at = int(np.searchsorted(self.head, target))
            if at == len(self.head) or self.head[at] != target:
                return found[::-1]
            found.append(int(self.edge[at]))
            target = int(self.tail[at])


@dataclass(frozen=True, slots=True)
class FastestWays:
    """Fastest ways between stands."""

    seconds: Floats  # shape (n, n), infinite where there is none
    km: Floats
    stands: Stands
    roads: Roads
    trees: Sequence[_Tree]
    targets: Ints  # node at which each stand is arrived at

    def trace(self, i: int, j: int) -> Floats:
        """Return the line from one place to another, from foot to foot, shape (k, 2)."""
        start, end = np.searchsorted(self.stands.place, [i, j]).tolist()
        edges = self.trees[start].list_edges(int(self.targets[end]))
        found: list[Ints] = []
        for number, code in enumerate(edges):
            edge, against = divmod(code, 2)
            first, last = int(self.roads.start[edge]), int(self.roads.stop[edge])
            if number == 0:
                here = int(self.stands.segment[start])
                first, last = (first, here) if against else (here + 1, last)
            if number == len(edges) - 1:
                here = int(self.stands.segment[end])
                first, last = (here + 1, last) if against else (first, here)
            vertices = np.arange(first, last + 1)
            found.append(vertices[::-1] if against else vertices)
        row = np.concatenate([_NONE, *found])
        line: Floats = np.column_stack([self.roads.lon[row], self.roads.lat[row]])
        feet = np.column_stack([self.stands.lon, self.stands.lat])
        line = np.concatenate([feet[[start]], line, feet[[end]]])
        moved: Bools = np.append(True, (np.diff(line, axis=0) != 0).any(axis=1))
        return line[moved]


def find_fastest(stands: Stands, roads: Roads) -> FastestWays:
    """Find the fastest ways between all stands.

    They lead through the roads that are open to all. Those for the first and the last bit of a drive are
    doubled, once to leave by and once to come by, so that no way leads through them.
    """
    n = len(stands)
    steps, nodes = _list_steps(stands, roads)
    order = np.lexsort((steps.seconds, steps.head, steps.tail))
    steps = steps.take(order)
    steps = steps.take(np.append(True, (np.diff(steps.tail) != 0) | (np.diff(steps.head) != 0))[: len(order)])
    graph = csr_array((steps.seconds, (steps.tail, steps.head)), shape=(nodes, nodes))
    keys = steps.tail * nodes + steps.head
    sources, targets = nodes - 2 * n + np.arange(n), nodes - n + np.arange(n)
    seconds, km, trees = np.zeros((n, n)), np.zeros((n, n)), []
    for row in range(n):
        least, before = dijkstra(graph, indices=sources[row], return_predecessors=True)
        seconds[row] = least[targets]
        heads, tails = _collect_steps(before, np.delete(targets, row))
        taken = steps.take(np.searchsorted(keys, tails * nodes + heads))
        km[row] = _add_up(taken, targets)
        order = np.argsort(heads)
        trees.append(_Tree(heads[order], tails[order], taken.edge[order]))
    np.fill_diagonal(seconds, 0.0)
    np.fill_diagonal(km, 0.0)
    return FastestWays(seconds, km, stands, roads, trees, targets)


def _collect_steps(before: Any, targets: Ints) -> tuple[Ints, Ints]:
    """Heads and tails of the steps to some nodes, each once, those nearer to the start first on every way."""
    seen: set[int] = set()
    heads: list[int] = []
    tails: list[int] = []
    for target in targets.tolist():
        own_heads, own_tails, node = [], [], target
        while node not in seen and (tail := int(before[node])) >= 0:
            seen.add(node)
            own_heads.append(node)
            own_tails.append(tail)
            node = tail
        heads += own_heads[::-1]
        tails += own_tails[::-1]
    return np.array(heads, dtype=np.int64), np.array(tails, dtype=np.int64)


def _add_up(steps: _Steps, targets: Ints) -> Floats:
    """Kilometres to the targets; infinite where no step leads."""
    total: dict[int, float] = {}
    for tail, head, km in zip(steps.tail.tolist(), steps.head.tolist(), steps.km.tolist(), strict=True):
        total[head] = total.get(tail, 0.0) + km
    return np.array([total.get(target, np.inf) for target in targets.tolist()])


class _Nodes(NamedTuple):
    """Nodes of the search for nodes of roads, -1 for none; the same two where roads are open to all."""

    leave: Ints  # on the way from a start
    come: Ints  # on the way to an end
    total: int


class _Directed(NamedTuple):
    """Edges each way that they may be driven."""

    row: Ints  # of the edges asked for
    tail: Ints  # node of the roads
    head: Ints
    against: Ints  # 1 where driven from b to a


def _list_steps(stands: Stands, roads: Roads) -> tuple[_Steps, int]:
    """The steps and the number of nodes, of which the last are those where stands are left and arrived at."""
    edges, nodes = _choose_edges(stands, roads)
    leave, come, count = nodes
    one, shared = _direct(edges, roads), leave == come
    edge, passed = edges[one.row], roads.through[edges[one.row]]
    seconds, code = roads.seconds[edge] + _delay(edge, one.head, roads), 2 * edge + one.against
    leaving = _Steps(leave[one.tail], leave[one.head], seconds, roads.km[edge], code)
    coming = replace(leaving, tail=come[one.tail], head=come[one.head])
    parts = [leaving.take(passed | ~shared[one.tail]), coming.take(~passed & ~shared[one.head])]
    steps = _Steps.concat([*parts, *_list_partial_steps(stands, roads, nodes)])
    return replace(steps, seconds=np.maximum(steps.seconds, _LEAST_S)), count + 2 * len(stands)


def _list_partial_steps(stands: Stands, roads: Roads, nodes: _Nodes) -> list[_Steps]:
    """Steps along some of an edge: from stands, to stands, and between those of one edge."""
    one, n = _direct(stands.edge, roads), len(stands)
    edge, start, end = stands.edge[one.row], nodes.total + one.row, nodes.total + n + one.row
    seconds, km, code = roads.seconds[edge], roads.km[edge], 2 * edge + one.against
    done = np.where(one.against, 1.0 - stands.share[one.row], stands.share[one.row])
    away = (1.0 - done) * seconds + _delay(edge, one.head, roads)
    parts = [_Steps(start, nodes.leave[one.head], away, (1.0 - done) * km, code)]
    parts += [
        _Steps(ends[one.tail], end, done * seconds, done * km, code) for ends in (nodes.leave, nodes.come)
    ]
    here, there = np.nonzero(code[:, None] == code[None, :])
    ahead = (done[there] >= done[here]) & (here != there)
    here, there = here[ahead], there[ahead]
    between = done[there] - done[here]
    parts.append(_Steps(start[here], end[there], between * seconds[here], between * km[here], code[here]))
    return [*parts, *_list_steps_at_nodes(stands, roads, nodes)]


def _list_steps_at_nodes(stands: Stands, roads: Roads, nodes: _Nodes) -> list[_Steps]:
    """Steps of no length: a stand at the end of its edge has all roads there before it, one-way or not."""
    parts, n = [], len(stands)
    for node_of, at_end, against in ((roads.a, stands.share <= 0.0, 1), (roads.b, stands.share >= 1.0, 0)):
        one = np.flatnonzero(at_end)
        edge, none = stands.edge[one], np.zeros(len(one))
        node = node_of[edge]
        parts.append(_Steps(nodes.total + one, nodes.leave[node], none, none, 2 * edge + against))
        for ends in (nodes.leave, nodes.come):
            parts.append(_Steps(ends[node], nodes.total + n + one, none, none, 2 * edge + 1 - against))
    return parts


def _direct(edges: Ints, roads: Roads) -> _Directed:
    along, against = np.flatnonzero(roads.forward[edges]), np.flatnonzero(roads.backward[edges])
    a, b = roads.a[edges], roads.b[edges]
    return _Directed(
        np.concatenate([along, against]),
        np.concatenate([a[along], b[against]]),
        np.concatenate([b[along], a[against]]),
        np.repeat([0, 1], [len(along), len(against)]),
    )


def _delay(edge: Ints, head: Ints, roads: Roads) -> Floats:
    """Seconds that signals and junctions take where edges lead to."""
    delay: Floats = roads.signal_s[head] + JUNCTION_S * (roads.junction[head] & ~roads.free[edge])
    return delay


def _choose_edges(stands: Stands, roads: Roads) -> tuple[Ints, _Nodes]:
    """The edges that ways between stands can take whole, and the nodes of the search."""
    size, a, b = len(roads.junction), roads.a, roads.b
    core = np.zeros(size, dtype=bool)
    core[a[roads.through]] = core[b[roads.through]] = True
    outer = (roads.part >= 0) & ~roads.through & ~(core[a] & core[b])
    between = outer & ~core[a] & ~core[b]
    pairs = csr_array(
        (np.ones(int(between.sum()), dtype=np.int32), (a[between], b[between])), shape=(size, size)
    )
    zone = connected_components(pairs, directed=False)[1]
    ends = np.concatenate([a[stands.edge], b[stands.edge]])
    near = np.zeros(zone.max(initial=-1) + 1, dtype=bool)
    near[zone[ends[~core[ends]]]] = True  # the others lead nowhere
    outside = ~core & near[zone]
    outer &= outside[a] | outside[b]
    kept = np.zeros(size, dtype=bool)
    kept[ends] = kept[a[outer]] = kept[b[outer]] = True
    inner = _drop_dead_ends(np.flatnonzero(roads.through & (a != b)), kept, roads)
    core &= kept
    core[a[inner]] = core[b[inner]] = True
    leave = np.where(core, np.cumsum(core) - 1, -1)
    count, more = int(core.sum()), int(outside.sum())
    leave[outside] = count + np.arange(more)
    come = np.where(outside, leave + more, leave)
    return np.concatenate([inner, np.flatnonzero(outer)]), _Nodes(leave, come, count + 2 * more)


def _drop_dead_ends(edges: Ints, kept: Bools, roads: Roads) -> Ints:
    """The edges without those that lead to no node that is kept and to no other edge, again and again."""
    while True:
        a, b = roads.a[edges], roads.b[edges]
        dead = (np.bincount(np.concatenate([a, b]), minlength=len(kept)) == 1) & ~kept
        going = ~(dead[a] | dead[b])
        if going.all():
            return edges
        edges = edges[going]
