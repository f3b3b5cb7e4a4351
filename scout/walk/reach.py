"""Which of the places found can be reached: walks, closed ground, hazards, the move along a line.

What it takes to get to the places found, and what is dangerous or closed there.

A line spot moves to the firm place of its stretch with the shortest walk; every other spot stays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from scout.cautions import HAZARDS
from scout.geo.boundaries import Floats, Ints
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.probability import FIRM
from scout.model import WALK, LeftOut, Relief, Route, Surroundings, Walking
from scout.quantities import Length, MeasuredText, format_count, format_slope
from scout.search.found import KINDS, FoundPlaces, make_found
from scout.search.run import SearchResult
from scout.search.scan import EdgePieces
from scout.search.stretches import locate_on_pieces, measure_pieces
from scout.search.verdict import MERIDIAN, PARALLEL, Claims, JudgedClaims, JudgingContext, judge_claims
from scout.table import Table, expand_ranges
from scout.walk.hazards import find_closures, find_nearest
from scout.walk.routes import FoundWalk, WalkTargets, compute_coarsest_m, compute_farthest_m, find_walks
from scout.walk.terrain import compute_slope_deg

Box = tuple[float, float, float, float]

_MOST = 100  # spots, best first: a wide window takes seconds
_WORTH = 1.1  # no wider window that is hardly wider


@dataclass(frozen=True, slots=True)
class AccessSource:
    """Where access data comes from and how it is used.

    ``near`` gives what lies in some boxes (west, south, east, north, degrees; east may pass 180): the core
    opens no file, and only what lies near the places found is worth reading.
    """

    near: Callable[[Sequence[Box]], tuple[Surroundings, Sequence[Relief]]]
    walking: Walking = field(default_factory=Walking)
    near_m: Mapping[str, float] = field(default_factory=dict)  # by kind of hazard: warned of when nearer
    # Heights alone in some boxes, cells under half of so many metres averaged; and notes on them.
    heights: Callable[[Sequence[Box], float], tuple[Sequence[Relief], Sequence[str]]] | None = None


def make_boxes_around(one: tuple[Floats, Floats], other: tuple[Floats, Floats], reach_m: float) -> list[Box]:
    """Boxes that hold pairs of places, longitudes and latitudes, and so many metres around them."""
    (lon1, lat1), (lon2, lat2) = one, other
    lon2 = lon1 + (lon2 - lon1 + 180.0) % 360.0 - 180.0
    per_lon = compute_degree_lengths(np.minimum(np.maximum(np.abs(lat1), np.abs(lat2)), 89.0))[0]
    wide, high = reach_m / per_lon, reach_m / 110_500.0
    boxes = (np.minimum(lon1, lon2) - wide, lat1 - high, np.maximum(lon1, lon2) + wide, lat2 + high)
    return list(zip(*(b.tolist() for b in boxes), strict=True))


def find_further(
    walked: list[FoundWalk],
    targets: WalkTargets,
    order: Ints,
    access: AccessSource,
    progress: Callable[[str], None],
) -> list[FoundWalk]:
    """The walks, with those from starts further away where none within reach leads to a spot.

    Windows then reach as far as the longest walk does; wider ones have coarser cells, so that time and memory
    have a bound.

    Parameters
    ----------
    walked : list of FoundWalk
        One per group of the targets.
    targets : WalkTargets
    order : array of int
        Groups, best first.
    access : AccessSource
    progress : callable
        Called with a few words on what is being done.
    """
    near, reach_m = access.walking, compute_farthest_m(access.walking)
    missed = [group for group in order.tolist() if walked[group].further]
    if not missed or reach_m < _WORTH * near.reach_m:
        return walked
    groups = np.sort(missed[:_MOST])
    rows = np.flatnonzero(np.isin(targets.group, groups))
    lon, lat = targets.lon[rows], targets.lat[rows]
    progress(f"reading roads, barriers and heights up to {reach_m / 1000:g} km away")
    around, reliefs = access.near(make_boxes_around((lon, lat), (lon, lat), reach_m))
    some = replace(targets.take(rows), group=np.searchsorted(groups, targets.group[rows]))
    wide, found = replace(near, reach_m=reach_m), list(walked)
    again = find_walks(
        some, around, reliefs, wide, _show_share("walks from further away", progress), near.reach_m
    )
    coarse = MeasuredText(
        "worked out on cells of up to ",
        Length(compute_coarsest_m(wide)),
        ", for no start within ",
        Length(near.reach_m, "stated"),
        " leads there",
    )
    for group, one in zip(groups.tolist(), again, strict=True):
        route = replace(one.route, reason=coarse) if one.route.state == "walked" else one.route
        found[group] = one._replace(row=int(rows[one.row]), route=route)
    for group in missed[_MOST:]:
        route = walked[group].route
        more = f"; starts further away are looked for around the best {_MOST} spots only"
        why = MeasuredText(route.reason, more)
        found[group] = walked[group]._replace(route=replace(route, reason=why))
    return found


# Where along its stretch a line spot might stand: firm places, for the walk to choose from.
_STEP_M = 20.0
_MOST_ALONG = 400  # regular places along one stretch, beside those where a way crosses it


@dataclass(frozen=True)
class OfferJudge:
    """Judges claims that number the parks as a whole search does, on the ground of a few of them."""

    ground: JudgingContext
    numbers: Ints  # sorted, of the parks that stand on the ground

    def judge(self, claims: Claims) -> JudgedClaims:
        """Each claim judged with the station on its reference point."""
        own = replace(claims, park=np.searchsorted(self.numbers, claims.park))
        none = np.zeros(len(own.lon))
        return judge_claims(own, none, none, self.ground)


def offer_places_along(
    result: SearchResult, chosen: Ints, judge: OfferJudge, surroundings: Surroundings
) -> tuple[Ints, Claims]:
    """Places on the stretches of line spots where the station would be firm.

    Parameters
    ----------
    result : SearchResult
    chosen : array of int
        Rows of ``result.found``; those that are no line spots are passed over.
    judge : OfferJudge
    surroundings : Surroundings
        Places where a way crosses a stretch are among those offered.

    Returns
    -------
    row : array of int, shape (n,)
        Row of the search that each place serves.
    claims : Claims
        n rows, each claimed at its place.
    """
    line = np.zeros(len(result.found.i), dtype=bool)
    line[chosen] = result.found.kind[chosen] == KINDS.index("line")
    served, offered = [], []
    for pieces, owner in (
        (result.meridians, result.meridian_owner),
        (result.parallels, result.parallel_owner),
    ):
        mine = np.flatnonzero((owner >= 0) & line[owner])
        some = pieces.take(mine)
        piece, fraction = _choose_fractions(some, judge.ground.level, surroundings)
        claims = _make_claims(some.take(piece), fraction, judge.ground.level)
        firm = np.flatnonzero(judge.judge(claims).confidence >= FIRM)
        served.append(owner[mine][piece[firm]])
        offered.append(claims.take(firm))
    return np.concatenate(served), Claims.concat(offered)


def _make_claims(pieces: EdgePieces, fraction: Floats, level: int) -> Claims:
    lon, lat = locate_on_pieces(pieces, fraction, level)
    grid = np.full(len(lon), MERIDIAN if pieces.axis == "meridian" else PARALLEL)
    return Claims(lon, lat, grid, pieces.sets.first, pieces.sets.park)


def _choose_fractions(pieces: EdgePieces, level: int, surroundings: Surroundings) -> tuple[Ints, Floats]:
    """Regular places along each piece, and those where a way that may be walked crosses it."""
    count = np.clip(np.ceil(measure_pieces(pieces, level) / _STEP_M), 1, _MOST_ALONG).astype(np.int64)
    piece, k = expand_ranges(np.zeros(len(count), dtype=np.int64), count)
    crossed, at = _find_way_crossings(pieces, level, surroundings)
    return np.concatenate([piece, crossed]), np.concatenate([(k + 0.5) / count[piece], at])


def _find_way_crossings(pieces: EdgePieces, level: int, surroundings: Surroundings) -> tuple[Ints, Floats]:
    ways = surroundings.ways[surroundings.ways[WALK].to_numpy(dtype=bool)].geometry.to_numpy()
    n = len(pieces.line)
    if n == 0 or len(ways) == 0:
        return np.empty(0, dtype=np.int64), np.empty(0)
    start = np.stack(locate_on_pieces(pieces, np.zeros(n), level), axis=1)
    end = np.stack(locate_on_pieces(pieces, np.ones(n), level), axis=1)
    drawn = shapely.linestrings(np.stack([start, end], axis=1))
    piece, way = shapely.STRtree(ways).query(drawn, predicate="intersects")
    points, pair = shapely.get_coordinates(shapely.intersection(drawn[piece], ways[way]), return_index=True)
    along = 1 if pieces.axis == "meridian" else 0
    first, last = start[piece[pair], along], end[piece[pair], along]
    return piece[pair], np.clip((points[:, along] - first) / (last - first), 0.0, 1.0)


MOST_WALKS = 500  # spots, best first, whose walks are worked out
STEEP_DEG = 15.0  # more is noted
_FURTHER = Route("unknown", f"walks are worked out for the best {MOST_WALKS} spots only")


@dataclass(frozen=True, slots=True)
class ReachedSpots:
    """Rows of a search with their walks. Mappings go by row."""

    found: FoundPlaces  # line spots moved
    out_min: Floats  # per row of ``found``: NaN where not known, infinite out of reach
    routes: Mapping[int, Route]
    slope_deg: Mapping[int, float]
    warnings: Mapping[int, tuple[str, ...]]
    closed: Mapping[int, str]  # rows where nobody may stand, and why
    surroundings: Surroundings

    def left_out(self) -> tuple[LeftOut, ...]:
        """The closed places, counted by what closes them."""
        kinds = sorted(why.split(":")[0] for why in self.closed.values())
        return tuple(LeftOut(f"on closed ground ({kind})", kinds.count(kind)) for kind in sorted(set(kinds)))

    def route(self, row: int) -> Route:
        """The walk to a row's spot, or why there is none."""
        return self.routes.get(row, _FURTHER)

    def notes(self, row: int) -> tuple[str, ...]:
        """What the ground itself makes worth a remark."""
        slope, route = self.slope_deg.get(row, 0.0), self.route(row)
        steep = (f"Steep: the ground slopes by {format_slope(slope)} here.",) if slope > STEEP_DEG else ()
        coarse = route.reason if route.state == "walked" else ""
        return (*steep, MeasuredText("Long walk, ", coarse, ".")) if coarse else steep


@dataclass(frozen=True, slots=True)
class _OfferedPlaces(Table):
    """Places where spots may stand; those of one spot follow each other, the surest first."""

    row: Ints
    lon: Floats
    lat: Floats
    claim: Ints  # row of the claims along stretches, -1 for the place the search chose


def work_out_walks(
    result: SearchResult,
    order: Ints,
    level: int,
    judge_of: Callable[[Ints], OfferJudge],
    access: AccessSource,
    progress: Callable[[str], None] = lambda _: None,
) -> ReachedSpots:
    """Work out the walks to the best places of a search.

    Parameters
    ----------
    result : SearchResult
    order : array of int
        Rows to look at, best first.
    level : int
    judge_of : callable
        The judge over some parks, by their numbers in the search.
    access : AccessSource
    progress : callable
        Called with a few words on what is being done.
    """
    chosen = np.sort(order[result.found.near_park[order] < 0][:MOST_WALKS])
    progress("reading roads, barriers and heights")
    around, reliefs = access.near(_make_boxes(result, chosen, level, access.walking.reach_m))
    judge = judge_of(np.unique(result.found.take(chosen).claims.park))
    served, claims = offer_places_along(result, chosen, judge, around)
    offers = _make_offers(result.found, chosen, served, claims)
    offers, closed = _keep_open(offers, judge.ground.station.radius_m, around)
    progress(f"walking to {format_count(len(np.unique(offers.row)), 'spot')}")
    of_row, group = np.unique(offers.row, return_inverse=True)
    targets = WalkTargets(offers.lon, offers.lat, group)
    walked = find_walks(targets, around, reliefs, access.walking, _show_share("walks", progress))
    best = np.searchsorted(of_row, order[np.isin(order, of_row)])
    walked = find_further(walked, targets, best, access, progress)
    taken = np.array([w.row for w in walked], dtype=np.int64)
    moved = taken[offers.claim[taken] >= 0]
    found = _move_spots(result.found, offers.row[moved], claims.take(offers.claim[moved]), judge)
    lon, lat = offers.lon[taken], offers.lat[taken]
    return ReachedSpots(
        found,
        _collect_minutes(len(found.i), of_row, walked),
        dict(zip(of_row.tolist(), (w.route for w in walked), strict=True)),
        {
            int(row): float(s)
            for row, s in zip(of_row, compute_slope_deg(reliefs, lon, lat), strict=True)
            if s >= 0
        },
        _collect_warnings(of_row, lon, lat, around, access.near_m),
        closed,
        around,
    )


def _show_share(what: str, progress: Callable[[str], None]) -> Callable[[int, int], None]:
    """Progress in places tried, as a line."""

    def show(done: int, of: int) -> None:
        progress(f"{what}: {done:,} of {of:,} places tried")

    return show


def _make_boxes(result: SearchResult, chosen: Ints, level: int, reach_m: float) -> list[Box]:
    """Boxes round the chosen places, and round the whole stretches of those on lines."""
    judged = result.found.judged
    ends = [(judged.lon[chosen], judged.lat[chosen], judged.lon[chosen], judged.lat[chosen])]
    for pieces, owner in (
        (result.meridians, result.meridian_owner),
        (result.parallels, result.parallel_owner),
    ):
        mine = pieces.take(np.flatnonzero(np.isin(owner, chosen)))
        ends.append((*_locate_on_pieces(mine, 0.0, level), *_locate_on_pieces(mine, 1.0, level)))
    lon1, lat1, lon2, lat2 = (np.concatenate(c) for c in zip(*ends, strict=True))
    return make_boxes_around((lon1, lat1), (lon2, lat2), reach_m)


def _locate_on_pieces(pieces: EdgePieces, fraction: float, level: int) -> tuple[Floats, Floats]:
    return locate_on_pieces(pieces, np.full(len(pieces.line), fraction), level)


def _make_offers(found: FoundPlaces, chosen: Ints, served: Ints, claims: Claims) -> _OfferedPlaces:
    """The places the search chose, but for those less than firm where a firm one is offered; the others."""
    firm = found.judged.confidence[chosen] >= FIRM
    kept = chosen[firm | ~np.isin(chosen, served)]
    row = np.concatenate([kept, served])
    claim = np.concatenate([np.full(len(kept), -1), np.arange(len(served))])
    lon = np.concatenate([found.judged.lon[kept], claims.lon])
    lat = np.concatenate([found.judged.lat[kept], claims.lat])
    return _OfferedPlaces(row, lon, lat, claim).take(np.lexsort((claim, row)))


def _keep_open(
    offers: _OfferedPlaces, radius_m: float, around: Surroundings
) -> tuple[_OfferedPlaces, dict[int, str]]:
    """The places where one may stand, and the rows that have none, with what closes them."""
    why = find_closures(offers.lon, offers.lat, radius_m, around)
    free = np.array([not text for text in why], dtype=bool)
    left = set(offers.row[free].tolist())
    closed = {row: text for row, text in zip(offers.row.tolist(), why, strict=True) if row not in left}
    return offers.take(free), closed


def _move_spots(found: FoundPlaces, row: Ints, claims: Claims, judge: OfferJudge) -> FoundPlaces:
    """The places found with some line spots on another place of their stretch."""
    none = np.zeros(len(row))
    new = make_found("line", found.i[row], found.j[row], claims, (none, none), judge.judge(claims))
    return found.replace(row, new)


def _collect_minutes(n: int, of_row: Ints, walked: Sequence[FoundWalk]) -> Floats:
    out_min = np.full(n, np.nan)
    for row, route in zip(of_row.tolist(), (one.route for one in walked), strict=True):
        if route.state == "out of reach":
            out_min[row] = np.inf
        elif route.out_min is not None:
            out_min[row] = route.out_min
    return out_min


def _collect_warnings(
    of_row: Ints, lon: Floats, lat: Floats, around: Surroundings, near_m: Mapping[str, float]
) -> dict[int, tuple[str, ...]]:
    warnings: dict[int, tuple[str, ...]] = {}
    for kind in HAZARDS:
        if kind.closes:
            continue
        distance, names = find_nearest(lon, lat, around.hazards_of(kind.key))
        for k in np.flatnonzero(distance < near_m.get(kind.key, kind.near_m)).tolist():
            text = kind.warn(float(distance[k]), names[k])
            warnings[int(of_row[k])] = (*warnings.get(int(of_row[k]), ()), text)
    return warnings
