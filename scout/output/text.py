"""Every number and word that people read: one function a quantity, in the reader's units.

What the core needs for sentences of its own lies in `scout.quantities` and is offered here with the rest:
outputs and fronts take all of it from here. Settings read as they were given (`format_stated_length`),
errors, clearances and steps to 0.1 below 100 m (`format_fine_length`), all other lengths to three digits
(`format_length`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date

from scout.cautions import ALWAYS
from scout.geo.boundaries import side_of
from scout.geo.coordinates.forms import Place, format_decimal, format_degrees_minutes, format_geo_uri
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.locator import LEVELS, decode, encode
from scout.io.plain_text import make_one_line
from scout.model import Aim, CoarseOutline, Findings, Move, Ranked, Route, Spot, Station, Units
from scout.quantities import (
    UNKNOWN,
    Length,
    MeasuredText,
    format_angle,
    format_bearing,
    format_count,
    format_fine_length,
    format_fixed,
    format_height,
    format_length,
    format_minutes,
    format_off_paths,
    format_probability,
    format_share_of_sky,
    format_share_of_zone,
    format_slope,
    format_span,
    format_stated_length,
    format_text,
    format_verdict,
)
from scout.sight.outlook import describe_aim, describe_horizon, judge_directions, look_towards

__all__ = [
    "UNKNOWN",
    "Length",
    "MeasuredText",
    "describe_standing",
    "describe_station",
    "format_angle",
    "format_bearing",
    "format_clearance",
    "format_count",
    "format_degrees_minutes",
    "format_fine_length",
    "format_fixed",
    "format_geo_uri",
    "format_heading",
    "format_height",
    "format_horizon",
    "format_length",
    "format_minutes",
    "format_move",
    "format_number",
    "format_off_paths",
    "format_position",
    "format_probability",
    "format_share",
    "format_share_of_sky",
    "format_share_of_zone",
    "format_slope",
    "format_span",
    "format_stated_length",
    "format_text",
    "format_verdict",
    "format_walk",
    "format_walk_line",
    "format_yield",
    "list_about",
    "list_cells",
    "list_coarse",
    "list_credits",
    "list_facts",
    "name_kind",
    "name_look",
    "name_park",
    "name_verdict_class",
    "parse_day",
]

_KINDS = {
    "corner": "corner",
    "line": "line",
    "overlap": "overlap",
    "near-miss": "near miss",
    "place": "place",
}


def format_clearance(clearance_m: float, units: Units = "metric") -> str:
    """A signed distance to a boundary in words; to 0.1 below 100 m, where verdicts hang on it.

    Examples
    --------
    >>> format_clearance(240.2), format_clearance(-12.0), format_clearance(0.04)
    ('240 m inside', '12.0 m outside', 'on the boundary')
    >>> format_clearance(-12.0, "imperial")
    '39.4 ft outside'
    """
    if math.isnan(clearance_m):
        return "no park near"
    if math.isinf(clearance_m):
        return UNKNOWN
    side = side_of(clearance_m)
    return side if side.startswith("on") else f"{format_fine_length(abs(clearance_m), units)} {side}"


def format_position(lon: float, lat: float) -> str:
    """Signed decimal degrees, latitude first; 6 digits are 0.11 m.

    Examples
    --------
    >>> format_position(-89.456, 45.123456789)
    '45.123457, -89.456000'
    """
    return format_decimal(lon, lat)


def format_share(share: float) -> str:
    """The share of a cell that lies inside a park.

    Examples
    --------
    >>> format_share(1.0), format_share(0.4567), format_share(0.0)
    ('the whole cell', '45.6 % of the cell', 'none of the cell')
    """
    if share > 1 - 1e-9:
        return "the whole cell"
    return "none of the cell" if share < 1e-9 else f"{format_probability(share)} of the cell"


def format_yield(n_grids: int, n_parks: int) -> str:
    """Grids times parks, as a sum.

    Examples
    --------
    >>> format_yield(4, 2)
    '4 x 2 = 8'
    """
    return f"{n_grids:,} x {n_parks:,} = {n_grids * n_parks:,}"


def describe_station(level: int, station: Station, units: Units = "metric") -> str:
    """What everything was judged by, in one line.

    Examples
    --------
    >>> describe_station(2, Station())
    'Level square; station radius 5 m, fix error 4.9 m, boundary error 14 m (95 %).'
    """
    radius, fix, boundary = (
        format_stated_length(length_m, units)
        for length_m in (station.radius_m, station.fix_error_m, station.boundary_error_m)
    )
    head = f"Level {LEVELS[level - 1]}; station radius {radius}"
    return f"{head}, fix error {fix}, boundary error {boundary} (95 %)."


def format_walk(route: Route, units: Units = "metric") -> str:
    """A walk in one line.

    Examples
    --------
    >>> format_walk(Route("unknown", "no way in"))
    'walking time not worked out: no way in'
    """
    if route.state == "walked" and route.out_min is not None and route.back_min is not None:
        return f"walk {format_minutes(route.out_min)} out, {format_minutes(route.back_min)} back"
    lead = "out of reach on foot" if route.state == "out of reach" else "walking time not worked out"
    return f"{lead}: {format_text(route.reason, units)}" if route.reason else lead


def format_horizon(ranked: Ranked, aims: Sequence[Aim] = ()) -> str:
    """The horizon of a spot in a few words: the highest of it, how much is open, the way to some places."""
    horizon = ranked.horizon
    if horizon is None:
        return ""
    states = judge_directions(horizon)
    parts = [f"up to {format_angle(max(horizon.deg))}", f"{_format_part(float((states == 1).mean()))} open"]
    unknown = float((states == -1).mean())
    parts += [f"{_format_part(unknown) if unknown >= 0.01 else 'under 1 %'} unknown"] if unknown else []
    for seen in look_towards(horizon, ranked.spot.lon, ranked.spot.lat, aims):
        doubt = " (unknown)" if seen.state == "unknown" else ""
        parts.append(f"{make_one_line(seen.label, 20)} {format_angle(seen.horizon_deg)}{doubt}")
    return ", ".join(parts)


def _format_part(share: float) -> str:
    """A share of a circle in whole hundredths, rounded down."""
    return f"{math.floor(100 * share + 1e-9)} %"


def format_move(move: Move, units: Units = "metric") -> str:
    """A better place in one line: the step and what it gains."""
    verdict = move.verdict
    return (
        f"{format_fine_length(move.distance_m, units)} to the {format_bearing(move.bearing_deg)}, "
        f"at {format_position(move.lon, move.lat)}: then {format_count(len(verdict.locators), 'grid')}, "
        f"{format_count(len(verdict.parks), 'park')}, {format_verdict(verdict.word, verdict.coarse)} "
        f"({format_probability(verdict.confidence)})"
    )


def name_kind(spot: Spot) -> str:
    """The kind of a spot, as text."""
    return _KINDS[spot.kind]


def name_park(park: str, name: str) -> str:
    """A park by its name and id, or by its id alone.

    Examples
    --------
    >>> name_park("Q-1", "Fen"), name_park("Q-1", "")
    ('Fen (Q-1)', 'Q-1')
    """
    return f"{name} ({park})" if name else park


def list_coarse(spots: Iterable[Ranked]) -> list[CoarseOutline]:
    """The outlines that look generalised of all parks that some spots name, each once."""
    return list(dict.fromkeys(one for ranked in spots for one in ranked.spot.verdict.coarse))


def name_verdict_class(ranked: Ranked) -> str:
    """One word per look of a mark: firm, doubtful, uncounted, near."""
    return "near" if ranked.spot.kind == "near-miss" else name_look(ranked.spot.verdict.word)


def name_look(word: str) -> str:
    """The look of a verdict in one word: firm, doubtful or uncounted."""
    return "uncounted" if word == "not counted" else word


def describe_standing(spot: Spot, units: Units = "metric") -> str:
    """Where the station's centre goes, seen from the lattice."""
    away = spot.offset_m >= 0.05
    step = f"{format_fine_length(spot.offset_m, units)} {format_bearing(spot.offset_deg)} of"
    line = spot.stretches[0].line if spot.stretches else "lattice line"
    if spot.kind == "near-miss":
        place = "corner" if spot.corner else line
        return f"No place to stand yet: the {place} lies outside every park."
    if spot.kind == "place":
        return "A station is judged here as it stands."
    if spot.kind == "overlap":
        return "Centre the station on this point; the parks overlap here, inside one cell."
    if spot.kind == "corner":
        return (
            f"Centre the station {step} the corner." if away else "Centre the station on the corner itself."
        )
    return f"Centre the station {step} the {line}." if away else f"Centre the station on the {line}."


# Dates that people state, where a format takes a real one only.
def parse_day(text: str) -> date | None:
    """The day of an ISO date; None for anything else.

    Examples
    --------
    >>> parse_day("2026-03-01"), parse_day("spring 2026")
    (datetime.date(2026, 3, 1), None)
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


# What is said of a spot, a walk and the whole result where a file has room for sentences only.
def format_number(rank: int, findings: Findings) -> str:
    """A rank as text that sorts: every one as long as the longest, two digits at least."""
    return f"{rank:0{max(2, len(str(len(findings.spots))))}d}"


def format_heading(ranked: Ranked, findings: Findings) -> str:
    """A short name that sorts by rank and fits a small screen: ``01 JE45 JE55``."""
    miss = "near miss " if ranked.spot.near is not None else ""
    return f"{format_number(ranked.rank, findings)} {miss}{' '.join(ranked.spot.verdict.locators)}"


def list_facts(ranked: Ranked, units: Units = "metric", aims: Sequence[Aim] = ()) -> list[str]:
    """A sentence each: what may hurt there, yield, verdict, parks, where it stands, the walk, the view.

    Warnings come first: small screens cut what is long.
    """
    spot = ranked.spot
    lines = [f"Warning: {_make_sentence(warning, units)}" for warning in ranked.warnings]
    lines += [*_list_worth(ranked, units), *_list_standing(spot, units)]
    if ranked.route is not None:
        lines.append(format_walk_line(ranked.route, units))
    if ranked.slope_deg is not None:
        lines.append(f"Ground slope {format_slope(ranked.slope_deg)}.")
    if ranked.horizon is not None:
        seen = describe_horizon(ranked.horizon, brief=True)
        seen += map(describe_aim, look_towards(ranked.horizon, spot.lon, spot.lat, aims))
        lines += [format_text(line, units) for line in seen]
    return lines + [_make_sentence(note, units) for note in spot.notes]


def _list_worth(ranked: Ranked, units: Units) -> list[str]:
    spot, verdict = ranked.spot, ranked.spot.verdict
    if spot.near is not None:
        park = _name_park(spot.near.park, spot.near.park_name)
        return [
            "Near miss: outside every park, nothing counts here.",
            f"The nearest is {park}: {format_fine_length(spot.near.distance_m, units)} "
            f"to the {format_bearing(spot.near.bearing_deg)}.",
        ]
    parks = [_name_park(*park) for park in zip(verdict.parks, spot.park_names, strict=True)]
    held = f"Parks: {'; '.join(parks)}." if parks else "No park."
    word = format_verdict(verdict.word, verdict.coarse)
    return [
        f"Yield {ranked.grid_park_pairs}: {format_count(ranked.n_grids, 'grid')} x "
        f"{format_count(ranked.n_parks, 'park')}.",
        f"Verdict: {word}, confidence {format_probability(verdict.confidence)}.",
        held,
    ]


def _list_standing(spot: Spot, units: Units) -> list[str]:
    lines = []
    if not math.isnan(spot.clearance_m) and spot.near is None:
        lines.append(f"Clearance: {format_clearance(spot.clearance_m, units)}.")
    if spot.offset_m >= 0.05:
        lines.append(describe_standing(spot, units))
    return lines


def format_walk_line(route: Route, units: Units = "metric") -> str:
    """The walk in one sentence: the way out, the way back, where it begins; or why there is none."""
    if route.state != "walked":
        why = f" ({make_one_line(format_text(route.reason, units), 300)})" if route.reason else ""
        return f"Walk: {route.state}{why}.{_format_start(route)}"
    parts = []
    if route.out_min is not None:
        parts.append(f"{format_minutes(route.out_min)} out")
    if route.back_min is not None:
        parts.append(f"{format_minutes(route.back_min)} back")
    if route.length_m is not None:
        parts.append(format_length(route.length_m, units))
    if route.climb_m is not None:
        parts.append(f"{format_height(route.climb_m, units)} of climb on the way out")
    if route.off_path_m:
        parts.append(f"{format_length(route.off_path_m, units)} off paths")
    return f"Walk: {', '.join(parts)}.{_format_start(route)}"


def _format_start(route: Route) -> str:
    if route.start is None:
        return ""
    kind = route.start_kind or "start"
    name = f" {make_one_line(route.start_name)}" if route.start_name else ""
    where = "From" if route.state == "walked" else "Nearest start:"
    return f" {where} {kind}{name} at {format_position(*route.start)}."


def list_about(findings: Findings) -> list[str]:
    """What holds for the whole file: how much it lists, remarks, every caution, whose data it is."""
    made = (
        f"Made with scout on {make_one_line(findings.made_on)}." if findings.made_on else "Made with scout."
    )
    count = f"{format_count(len(findings.spots), 'place')}, best first."
    remarks = [_make_sentence(remark, findings.units) for remark in findings.remarks]
    return [count, *remarks, *ALWAYS, *list_credits(findings), made]


def list_credits(findings: Findings) -> list[str]:
    """Whose data a file holds and under which licence, as the user stated it."""
    lines = []
    for credit in findings.credits:
        files = f"{', '.join(make_one_line(file) for file in credit.files)}: " if credit.files else ""
        parts = (credit.text, credit.licence, credit.date)
        named = ", ".join(make_one_line(part, 300) for part in parts if part)
        lines.append(_end_sentence(f"Data: {files}{named}"))
    return lines


def _name_park(park: str, name: str) -> str:
    name = make_one_line(name)
    return f"{make_one_line(park)} ({name})" if name and name != park else make_one_line(park)


def _make_sentence(text: str, units: Units) -> str:
    return _end_sentence(make_one_line(format_text(text, units), 300))


def _end_sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."


# A locator or a place looked up.
def list_cells(place: Place) -> tuple[str, list[tuple[str, ...]]]:
    """Look a place up: of a locator its cell, of coordinates the cells of all levels, with their sizes.

    Returns
    -------
    tuple
        How the place was understood, and rows of a term and values.
    """
    if place.cell is not None:
        cell = decode(place.cell)
        per_lon, per_lat = compute_degree_lengths(cell.lat)
        # The lattice is exact: its sizes are given to 0.1 m however large they are.
        wide, high = (format_fixed(float(m), 1) for m in (cell.width * per_lon, cell.height * per_lat))
        centre = f"{format_position(cell.lon, cell.lat)}   {format_degrees_minutes(cell.lon, cell.lat)}"
        return f"{cell.locator}  ({LEVELS[len(cell.locator) // 2 - 1]})", [
            ("south-west corner", format_position(cell.west, cell.south)),
            ("centre", centre),
            ("north-east corner", format_position(cell.east, cell.north)),
            ("size at the centre", f"{wide} m east-west, {high} m north-south"),
        ]
    per_lon, per_lat = compute_degree_lengths(place.lat)
    rows: list[tuple[str, ...]] = []
    for level, name in enumerate(LEVELS, start=1):
        cell = decode(encode(place.lon, place.lat, level))
        sides = (cell.width * per_lon, cell.height * per_lat)
        size = " x ".join(format_fixed(float(m), 1) for m in sides)
        rows.append((name, cell.locator, f"{size} m"))
    return place.understood, rows
