"""The whole job in memory: parks and options in, findings out."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from scout.cautions import remark_on_fix_error
from scout.errors import InputError, SettingName
from scout.geo.boundaries import Boundaries, Ints
from scout.geo.geodesy import compute_degree_lengths, measure_geodesic
from scout.geo.locator import LEVELS
from scout.model import (
    DATUM_ERROR,
    Aim,
    CoarseOutline,
    Findings,
    Horizon,
    LeftOut,
    NothingFound,
    ParkReport,
    Parks,
    SearchLimits,
    Station,
    Surroundings,
    collect_credits,
)
from scout.parks.sources import InMemoryParks, NamedParks, ParkSource, add_report_lines
from scout.quantities import Length, MeasuredText, format_count
from scout.search.beside import ParksBeside, compute_widest_m, find_near_bounds, find_parks_beside
from scout.search.describe import Listing, count_cells, find_coarse_outlines, make_claim_keys
from scout.search.found import KINDS, FoundPlaces
from scout.search.rank import Filters, RankTerms, filter_rows, sort_rows
from scout.search.run import (
    SearchResult,
    SearchTerms,
    Spread,
    join_searches,
    make_tasks,
    renumber_parks,
    search_task,
    search_tile,
)
from scout.search.verdict import JudgingContext
from scout.sight.outlook import judge_open_to
from scout.visits.tally import Added, Done, count_added, measure_distance_km

if TYPE_CHECKING:
    from scout.sight.horizon import Heights
    from scout.sight.outlook import OpenTo
    from scout.walk.reach import AccessSource


_NOT_ALL = (
    "only the parks that this search may need were looked at closely; of the others the bounds are known"
)
_MOST_TO_COMPARE = 10_000  # ids, with one that is not among them; more take seconds
_MOST_NEAR = 50  # parks looked at for the nearest, by the bounds
MOST_IN_A_TILE = 20_000  # parks searched at once: memory stays under half a gigabyte

Box = tuple[float, float, float, float]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class SearchOptions:
    """What to look for. Places are (lon, lat) and boxes (west, south, east, north), degrees."""

    level: int = 2
    station: Station = field(default_factory=Station)
    near_m: float = 500.0
    home: tuple[float, float] | None = None
    within_km: float | None = None
    bbox: Box | None = None  # east under west: over the antimeridian
    min_grids: int = 1
    min_parks: int = 1
    park_ids: tuple[str, ...] = ()
    min_confidence: float = 0.5
    done: Done | None = None  # by visits so far, at this level: what is new then counts first
    antenna_m: float = 5.0  # over the ground, for the horizon
    aims: tuple[Aim, ...] = ()
    open_to: tuple[OpenTo, ...] = ()


def find_spots(
    parks: Parks | ParkSource,
    options: SearchOptions,
    progress: Callable[[str], None] = lambda _: None,
    access: AccessSource | None = None,
    spread: Spread = map,
    most: int = MOST_IN_A_TILE,
) -> Findings:
    """Search the parks and rank what is found.

    Parameters
    ----------
    parks : Parks or ParkSource
        As `scout.parks.build.build_parks` makes them, or where they are to be loaded from.
    options : Options
    progress : callable
        Called with a few words on what is being done.
    access : Access, optional
        Roads, barriers, hazards and heights, for the walks.
    spread : callable
        How the tiles of a large search are gone through; `map`, or another that gives the same in the
        same order.
    most : int
        Parks in a tile; what is found does not depend on it.

    Returns
    -------
    Findings
        All that passes the filters.
    """
    source: ParkSource = InMemoryParks(parks) if isinstance(parks, Parks) else parks
    _check_known(options.park_ids, source.ids)
    result, source, report = _search_source(source, options, progress, spread, most)
    ids, names = source.ids, source.names
    new = _count_new(result.found, ids, options)
    terms = _make_terms(result.found, ids, options, new)
    rows, left_out = filter_rows(terms, _make_filters(options))
    rows, reached = sort_rows(terms, rows), None
    if access is not None:
        from scout.walk.reach import (
            OfferJudge,
            work_out_walks,  # heavy, and most searches need no walks
        )

        def judge_of(some: Ints) -> OfferJudge:
            frame = source.load(some).frame
            error = options.station.boundary_error_m + frame[DATUM_ERROR].to_numpy(dtype=float)
            boundaries = Boundaries(frame.geometry.to_numpy())
            return OfferJudge(JudgingContext(boundaries, error, options.level, options.station), some)

        reached = work_out_walks(result, rows, options.level, judge_of, access, progress)
        result = result._replace(found=reached.found)
        terms = _make_terms(result.found, ids, options, new)._replace(walk_min=reached.out_min)
        rows = sort_rows(terms, rows[~np.isin(rows, list(reached.closed))])
        left_out = (*left_out, *reached.left_out())
    horizons: dict[int, Horizon | None] = {}
    sight_notes: tuple[str, ...] = ()
    if access is not None and access.heights is not None:
        horizons, sight_notes = _find_horizons(result.found, rows, options, access.heights, progress)
        rows, closed = _keep_open(rows, horizons, options.open_to)
        left_out = (*left_out, *closed)
    named = result.found.parks_of(rows)

    def beside(some: FoundPlaces) -> ParksBeside:
        error = options.station.boundary_error_m + source.datum_error_m
        row, park = find_near_bounds(some, source.bounds, compute_widest_m(options.station, error))
        if not len(park):
            return ParksBeside(row, park, np.empty(0), np.empty(0))
        loaded = source.load(np.unique(park))
        there = np.isin(park, loaded.numbers)
        pairs = row[there], np.searchsorted(loaded.numbers, park[there])
        boundaries = Boundaries(loaded.geometry)
        ground = JudgingContext(boundaries, error[loaded.numbers], options.level, options.station)
        near = find_parks_beside(some, pairs, ground)
        return replace(near, park=loaded.numbers[near.park])

    outlines: dict[int, CoarseOutline | None] = {}

    def coarse(some: Ints) -> dict[int, CoarseOutline | None]:
        new = [park for park in some.tolist() if park not in outlines]
        if new:
            loaded = source.load(np.array(new, dtype=np.int64))
            coarse = find_coarse_outlines(loaded.frame, options.station)
            outlines.update(zip(loaded.numbers.tolist(), coarse, strict=True))
        return outlines

    found = Findings(
        level=options.level,
        station=options.station,
        spots=Listing(
            result,
            rows,
            terms,
            ids,
            names,
            options.level,
            reached,
            new,
            beside,
            source.entry,
            coarse,
            horizons,
        ),
        left_out=left_out,
        named=NamedParks(source, named),
        sources=source.sources,
        report=report,
        remarks=(
            *remark_on_fix_error(options.station.fix_error_m),
            *(() if options.done is None else options.done.remarks),
        ),
        home=options.home,
        within_km=options.within_km,
        nothing=None if len(rows) else _explain_nothing(source, options, left_out),
        limits=SearchLimits(
            options.near_m,
            options.bbox,
            options.min_grids,
            options.min_parks,
            options.min_confidence,
            options.park_ids,
        ),
        credits=collect_credits((), (*source.sources, *(reached.surroundings.sources if reached else ()))),
        surroundings=None if reached is None else _add_notes(reached.surroundings, sight_notes),
        aims=options.aims if horizons else (),
        walking=None if access is None else access.walking,
    )
    if reached is None or not reached.surroundings.reliefs:
        return found
    from scout.page.shading import add_relief

    return add_relief(found)


MOST_HORIZONS, MOST_TRIED = 100, 500  # spots, best first, whose horizon is worked out: listed; to filter by


def _find_horizons(
    found: FoundPlaces,
    rows: Ints,
    options: SearchOptions,
    heights: Heights,
    progress: Callable[[str], None],
) -> tuple[dict[int, Horizon | None], tuple[str, ...]]:
    """The horizons of the best rows where a station can stand, and what is to be said of the heights."""
    from scout.sight.horizon import find_horizons, read_ground

    some = rows[found.near_park[rows] < 0][: MOST_TRIED if options.open_to else MOST_HORIZONS]
    if not len(some):
        return {}, ()
    lon, lat = found.judged.lon[some], found.judged.lat[some]
    try:
        ground = read_ground(heights, lon, lat)
    except InputError as error:  # what is near the spots could be read: the walks have it
        if options.open_to:
            raise
        return {}, (f"no horizons: {error}",)
    seen = find_horizons(
        lon,
        lat,
        ground,
        options.antenna_m,
        progress=lambda done: progress(f"worked out {done} of {len(some)} horizons"),
    )
    unknown = sum(one is None for one in seen)
    lost = (f"no horizon where no height is known: {format_count(unknown, 'spot')}",) if unknown else ()
    return dict(zip(some.tolist(), seen, strict=True)), (*ground.notes, *lost)


def _keep_open(
    rows: Ints, horizons: Mapping[int, Horizon | None], wanted: Sequence[OpenTo]
) -> tuple[Ints, list[LeftOut]]:
    """The rows whose horizon is known to be open where it has to be, and the others counted."""
    if not wanted:
        return rows, []
    reasons: dict[str, int] = {}
    kept = []
    for row in rows.tolist():
        horizon, why = horizons.get(row), ""
        if horizon is None:
            why = (
                f"without a horizon to judge (no place to stand, no height, or beyond the best {MOST_TRIED})"
            )
        else:
            for one in wanted:
                state = judge_open_to(horizon, one)
                if state != "open":
                    word = "not open" if state == "closed" else "not known to be open"
                    why = f"{word} towards {one.azimuth_deg:g}° (horizon over {one.limit_deg:g}°)"
                    break
        if why:
            reasons[why] = reasons.get(why, 0) + 1
        else:
            kept.append(row)
    return np.array(kept, dtype=np.int64), [LeftOut(why, count) for why, count in reasons.items()]


def _add_notes(around: Surroundings, notes: Sequence[str]) -> Surroundings:
    """The surroundings with notes on the heights that they do not have yet."""
    new = tuple(f"for the horizons: {note}" for note in notes if note not in around.notes)
    return replace(around, notes=(*around.notes, *new))


def _explain_nothing(source: ParkSource, options: SearchOptions, left_out: Sequence[LeftOut]) -> NothingFound:
    """Say what kept a search from finding anything: where the parks lie, what was asked for, or the lines."""
    narrow = (
        ("min-grids", options.min_grids > 1),
        ("min-parks", options.min_parks > 1),
        ("park", bool(options.park_ids)),
        ("min-confidence", options.min_confidence > 0),
        ("within", options.within_km is not None and options.home is not None),
        ("area", options.bbox is not None),
    )
    change = tuple(key for key, is_set in narrow if is_set)
    if left_out:
        places = format_count(sum(left.count for left in left_out), "place")
        return NothingFound(f"{places} found, but none is listed, for the reasons below", change)
    box = _find_box(options)
    count = len(source.ids) if box is None else len(source.near(box, 0.0))
    of_all = f"none of {format_count(len(source.ids), 'park')}"
    if options.home is not None and options.within_km is not None:
        near = _find_nearest(source, options.home)
        if near is not None and near[1] > options.within_km:
            park, away_km = near
            within = Length(1000.0 * options.within_km, "stated")
            away = Length(1000.0 * away_km)
            why = MeasuredText(
                f"{of_all} is within ", within, f" of home; the nearest, {park}, is ", away, " away"
            )
            return NothingFound(why, ("within", "home"))
    elif box is not None and not count:
        return NothingFound(f"{of_all} reaches into the area", ("area",))
    line = f"no line of the {LEVELS[options.level - 1]} grid runs through"
    near_m = Length(options.near_m, "stated")
    beside = (" or within ", near_m, " of") if options.near_m > 0 else ()
    why = MeasuredText(line, *beside, f" the {format_count(count, 'park')} searched")
    if options.min_grids < 2:
        why = MeasuredText(why, ", and no two of them share ground")
    return NothingFound(why, ("level", "near", *change))


def _find_nearest(source: ParkSource, home: tuple[float, float]) -> tuple[str, float] | None:
    """The park whose ground is nearest to home, and how far away that is, km."""
    west, south, east, north = source.bounds.T
    lon = west + np.clip((home[0] - west) % 360.0, 0.0, east - west)  # of the bounds' nearest places
    turned = (home[0] - west) % 360.0 > (east - west + 360.0) / 2  # nearer over their western side
    lon = np.where(turned, west, lon)
    least_km = measure_geodesic(*home, lon, np.clip(home[1], south, north))[0] / 1000.0
    best: tuple[float, str, str] | None = None
    for row in np.argsort(least_km, kind="stable")[:_MOST_NEAR].tolist():
        if best is not None and least_km[row] > best[0]:
            break
        loaded = source.load(np.array([row], dtype=np.int64))
        for ground in loaded.geometry:
            one = (measure_distance_km(home, ground), str(source.ids[row]), str(source.names[row]))
            best = one if best is None else min(best, one)
    return None if best is None else (best[2] or best[1], best[0])


def _check_known(wanted: Sequence[str], ids: Any) -> None:
    """Refuse an id that no park bears: left alone, it would hide whatever is meant by it."""
    known = set(ids) if wanted else set()
    for park in wanted:
        if park not in known:
            close = difflib.get_close_matches(park, sorted(known), 3) if len(known) < _MOST_TO_COMPARE else []
            remedy = (
                f"did you mean {' or '.join(close)}?" if close else "look into the list without this option"
            )
            raise InputError(SettingName("park", park), "no park has this id", remedy)


def _search_source(
    source: ParkSource, options: SearchOptions, progress: Callable[[str], None], spread: Spread, most: int
) -> tuple[SearchResult, ParkSource, ParkReport]:
    """Return what is found, the source by whose numbers, and all that is to be said of the parks."""
    terms = SearchTerms(
        options.level,
        options.station,
        options.near_m,
        options.min_grids < 2,
        _find_box(options),
        options.min_confidence,
    )
    parts = make_tasks(source, terms, most)
    progress(f"searching {format_count(sum(len(part.tile.parks) for part in parts), 'park')}")
    if len(parts) == 1:
        result, loaded = search_tile(parts[0])
        # Nothing is read twice; but beside a spot there may be parks that the search had no need of.
        report = _report_partly_read(source, [loaded.report])
        return renumber_parks(result, loaded.numbers), source.keep(loaded), report
    results, reports, count = [], [], len(parts)
    for one in spread(search_task, _drain(parts)):
        results.append(one.result)
        reports.append(one.report)
        progress(f"searched {len(results)} of {count} tiles")
    del one
    return join_searches(results), source, _report_partly_read(source, reports)


def _drain(parts: list[T]) -> Iterator[T]:
    """The parts, none of which is kept."""
    parts.reverse()
    while parts:
        yield parts.pop()


def _report_partly_read(source: ParkSource, reports: Sequence[ParkReport]) -> ParkReport:
    """What is to be said of parks of which some were loaded."""
    report = add_report_lines(source.report, reports)
    return report if isinstance(source, InMemoryParks) else replace(report, notes=(*report.notes, _NOT_ALL))


def _make_filters(options: SearchOptions) -> Filters:
    return Filters(
        options.min_grids,
        options.min_parks,
        options.min_confidence,
        options.within_km if options.home is not None else None,
    )


def _find_box(options: SearchOptions) -> Box | None:
    """The box to search, east past 180 where it runs over the antimeridian."""
    box = options.bbox
    if box is not None:
        return (box[0], box[1], box[2] + 360.0 if box[2] < box[0] else box[2], box[3])
    if options.home is None or options.within_km is None:
        return None
    lon, lat = options.home
    high = options.within_km / 110.0
    south, north = max(lat - high, -90.0), min(lat + high, 90.0)
    per_lon = float(compute_degree_lengths(min(max(abs(south), abs(north)), 89.99))[0])
    wide = min(options.within_km * 1010.0 / per_lon, 180.0)
    return (lon - wide, south, lon + wide, north)


def _count_new(found: FoundPlaces, ids: Any, options: SearchOptions) -> Added | None:
    """What each place would add to the visits so far; a near miss adds nothing."""
    if options.done is None:
        return None
    cells = make_claim_keys(found.claims.grid, found.i, found.j, options.level)
    new = count_added(
        options.done, cells, found.claims.first, found.claims.park, np.asarray(ids, dtype=object)
    )
    counts = (np.where(found.near_park < 0, column, 0) for column in new)
    return Added(*counts)


def _make_terms(found: FoundPlaces, ids: Any, options: SearchOptions, new: Added | None) -> RankTerms:
    lon, lat = found.judged.lon, found.judged.lat
    first, near = found.claims.first, found.near_park >= 0
    n = len(lon)
    least = np.minimum.reduceat(found.judged.clearance_m, first[:-1]) if n else np.empty(0)
    in_parks = np.ones(n, dtype=bool)
    if options.park_ids:
        wanted = np.isin(np.asarray(ids, dtype=object), np.array(options.park_ids, dtype=object))[
            found.claims.park
        ]
        in_parks = np.add.reduceat(wanted, first[:-1]) > 0 if n else in_parks
    in_area = np.ones(n, dtype=bool)
    if options.bbox is not None:
        west, south, east, north = options.bbox
        width = (east - west) % 360.0 if east != west + 360.0 else 360.0
        in_area = ((lon - west) % 360.0 <= width) & (lat >= south) & (lat <= north)
    unknown, nothing = np.broadcast_to(np.nan, n), np.broadcast_to(np.int64(0), n)  # take no memory
    home_km = edge_m = unknown
    if options.home is not None and n:
        home_km = measure_geodesic(*options.home, lon, lat)[0] / 1000.0
    elif n:
        edge_m = np.maximum.reduceat(found.judged.clearance_m, first[:-1])
    return RankTerms(
        n_grids=count_cells(found.claims.grid),
        n_parks=np.diff(first),
        confidence=found.judged.confidence,
        inside_p=np.multiply.reduceat(found.judged.parks_p, first[:-1]) if n else np.empty(0),
        clearance_m=np.where(near, -found.near_m, least),
        edge_m=edge_m,
        is_corner=found.kind == KINDS.index("corner"),
        is_near_miss=near,
        in_area=in_area,
        in_parks=in_parks,
        home_km=home_km,
        new_pairs=nothing if new is None else new.pairs,
        walk_min=unknown,
        lon=lon,
        lat=lat,
        claim=(found.i, found.j, found.claims.grid),
    )


def cut_to_best(findings: Findings, most: int) -> Findings:
    """The findings cut to the best ``most`` spots and their parks; the rest is counted as left out."""
    more = len(findings.spots) - most
    if more <= 0:
        return findings
    shown = findings.spots[:most]
    named = {park for ranked in shown for park in ranked.spot.verdict.parks}
    named |= {ranked.spot.near.park for ranked in shown if ranked.spot.near is not None}
    return replace(
        findings,
        spots=shown,
        left_out=(*findings.left_out, LeftOut(f"ranked below the best {most:,}", more)),
        named=findings.named.only(named),
        cut=findings.cut + more,
    )
