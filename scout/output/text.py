"""Every number and word that people read."""

from __future__ import annotations

import math
from datetime import date

from scout.cautions import ALWAYS
from scout.io.plain_text import make_one_line
from scout.model import Findings, Ranked, Route, Spot

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_KINDS = {
    "corner": "corner",
    "line": "line",
    "overlap": "overlap",
    "near-miss": "near miss",
    "place": "place",
}
_MILE_KM = 1.609344
# Minutes to 4 decimals, 0.19 m of latitude: a thousandth would move a station by up to 0.9 m.
_MINUTE_PARTS = 10_000


def format_percent(share: float) -> str:
    """A probability, rounded down so that it never looks better than its verdict; never certain.

    Examples
    --------
    >>> format_percent(0.9499), format_percent(1.0), format_percent(0.0)
    ('94.9 %', 'over 99.9 %', 'under 0.1 %')
    """
    tenths = math.floor(share * 1000 + 1e-9)
    if share > 0.999:
        return "over 99.9 %"
    return f"{tenths / 10:.1f} %" if tenths else "under 0.1 %"


def format_metres(length_m: float) -> str:
    """A length in the unit that suits it.

    Examples
    --------
    >>> format_metres(3.24), format_metres(412.3), format_metres(1530.0), format_metres(48210.0)
    ('3.2 m', '412 m', '1.53 km', '48.2 km')
    """
    if length_m < 9.95:
        return f"{length_m:.1f} m"
    if length_m < 999.5:
        return f"{length_m:.0f} m"
    return f"{length_m / 1000:.2f} km" if length_m < 9995 else f"{length_m / 1000:,.1f} km"


def format_clearance(clearance_m: float) -> str:
    """A signed distance to a boundary in words.

    Examples
    --------
    >>> format_clearance(240.0), format_clearance(-12.0)
    ('240 m inside', '12 m outside')
    """
    if math.isnan(clearance_m):
        return "no park near"
    return f"{format_metres(abs(clearance_m))} {'inside' if clearance_m >= 0 else 'outside'}"


def format_distance(length_km: float) -> str:
    """A road-map distance, kilometres and miles."""
    digits = 1 if length_km < 100 else 0
    return f"{length_km:,.{digits}f} km ({length_km / _MILE_KM:,.{digits}f} mi)"


def format_bearing(bearing_deg: float) -> str:
    """A bearing in words and degrees from true north.

    Examples
    --------
    >>> format_bearing(134.6)
    'south-east (135°)'
    """
    return f"{_WINDS[round(bearing_deg / 45) % 8]} ({round(bearing_deg) % 360}°)"


def format_degrees_minutes(lon: float, lat: float) -> str:
    """Latitude first, degrees and decimal minutes; 60 minutes never show.

    Examples
    --------
    >>> format_degrees_minutes(-116.5, 33.99999999)
    "34° 00.0000' N, 116° 30.0000' W"
    """
    return f"{_format_minutes(lat, 'N', 'S', 2)}, {_format_minutes(lon, 'E', 'W', 3)}"


def _format_minutes(degrees: float, plus: str, minus: str, width: int) -> str:
    parts = round(abs(degrees) * 60 * _MINUTE_PARTS)
    whole, rest = divmod(parts, 60 * _MINUTE_PARTS)
    side = minus if degrees < 0 and parts else plus
    return f"{whole:0{width}d}° {rest / _MINUTE_PARTS:07.4f}' {side}"


def format_count(count: int, one: str, many: str = "") -> str:
    """A count and its noun.

    Examples
    --------
    >>> format_count(1, "spot"), format_count(1200, "spot"), format_count(2, "near miss", "near misses")
    ('1 spot', '1,200 spots', '2 near misses')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def format_span(minutes: float) -> str:
    """A time on foot, to the minute.

    Examples
    --------
    >>> format_span(24.4), format_span(0.2), format_span(84.0)
    ('24 min', '1 min', '1 h 24 min')
    """
    whole = max(math.floor(minutes + 0.5), 1)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def format_walk(route: Route) -> str:
    """A walk in one line.

    Examples
    --------
    >>> format_walk(Route("unknown", "no way in"))
    'walking time not worked out: no way in'
    """
    if route.state == "walked" and route.out_min is not None and route.back_min is not None:
        return f"walk {format_span(route.out_min)} out, {format_span(route.back_min)} back"
    lead = "out of reach on foot" if route.state == "out of reach" else "walking time not worked out"
    return f"{lead}: {route.reason}" if route.reason else lead


def name_kind(spot: Spot) -> str:
    """The kind of a spot, as text."""
    return _KINDS[spot.kind]


def name_verdict_class(ranked: Ranked) -> str:
    """One word per look of a mark: firm, doubtful, uncounted, near."""
    if ranked.spot.kind == "near-miss":
        return "near"
    return "uncounted" if ranked.spot.verdict.word == "not counted" else ranked.spot.verdict.word


def describe_standing(spot: Spot) -> str:
    """Where the station's centre goes, seen from the lattice."""
    away = spot.offset_m >= 0.05
    step = f"{format_metres(spot.offset_m)} {format_bearing(spot.offset_deg)} of"
    line = spot.stretches[0].line if spot.stretches else "lattice line"
    if spot.kind == "near-miss":
        place = "corner" if spot.corner else line
        return f"No place to stand yet: the {place} lies outside every park."
    if spot.kind == "place":
        return "This is the place that was asked about."
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


def list_facts(ranked: Ranked) -> list[str]:
    """A sentence each: what may hurt there, yield, verdict, parks, where the station stands, the walk.

    Warnings come first: small screens cut what is long.
    """
    spot = ranked.spot
    lines = [_end_sentence(f"Warning: {make_one_line(warning, 300)}") for warning in ranked.warnings]
    lines += [*_list_worth(ranked), *_list_standing(spot)]
    if ranked.route is not None:
        lines.append(format_walk_line(ranked.route))
    if ranked.slope_deg is not None:
        lines.append(f"Ground slope {ranked.slope_deg:.0f} deg.")
    return lines + [_end_sentence(make_one_line(note, 300)) for note in spot.notes]


def _list_worth(ranked: Ranked) -> list[str]:
    spot, verdict = ranked.spot, ranked.spot.verdict
    if spot.near is not None:
        park = _name_park(spot.near.park, spot.near.park_name)
        return [
            "Near miss: outside every park, nothing counts here.",
            f"The nearest is {park}: {_format_metres(spot.near.distance_m)} away, "
            f"bearing {_format_bearing_deg(spot.near.bearing_deg)}.",
        ]
    parks = [_name_park(*park) for park in zip(verdict.parks, spot.park_names, strict=True)]
    held = f"Parks: {'; '.join(parks)}." if parks else "No park."
    return [
        f"Yield {ranked.grid_park_pairs}: {_format_count(ranked.n_grids, 'grid')} x "
        f"{_format_count(ranked.n_parks, 'park')}.",
        f"Verdict: {verdict.word}, confidence {_format_percent(verdict.confidence)}.",
        held,
    ]


def _list_standing(spot: Spot) -> list[str]:
    lines = []
    if not math.isnan(spot.clearance_m) and spot.near is None:
        side = "inside" if spot.clearance_m >= 0 else "outside"
        lines.append(f"{_format_metres(abs(spot.clearance_m))} {side} the nearest boundary.")
    if spot.offset_m >= 0.05:
        what = "corner" if spot.corner else "line"
        lines.append(
            f"Station centre {_format_metres(spot.offset_m)} from the {what}, "
            f"bearing {_format_bearing_deg(spot.offset_deg)}."
        )
    return lines


def format_walk_line(route: Route) -> str:
    """The walk in one sentence: the way in, the way back, where it begins; or why there is none."""
    if route.state != "walked":
        why = f" ({make_one_line(route.reason, 300)})" if route.reason else ""
        return f"Walk: {route.state}{why}.{_format_start(route)}"
    parts = []
    if route.out_min is not None:
        parts.append(f"{math.ceil(route.out_min)} min in")
    if route.back_min is not None:
        parts.append(f"{math.ceil(route.back_min)} min back")
    if route.length_m is not None:
        parts.append(_format_metres(route.length_m))
    if route.climb_m is not None:
        parts.append(f"{route.climb_m:.0f} m of climb on the way in")
    if route.off_path_m:
        parts.append(f"{_format_metres(route.off_path_m)} off paths")
    return f"Walk: {', '.join(parts)}.{_format_start(route)}"


def _format_start(route: Route) -> str:
    if route.start is None:
        return ""
    kind = route.start_kind or "start"
    name = f" {make_one_line(route.start_name)}" if route.start_name else ""
    where = "From" if route.state == "walked" else "Nearest start:"
    return f" {where} {kind}{name} at {route.start[1]:.5f}, {route.start[0]:.5f}."


def list_about(findings: Findings) -> list[str]:
    """What holds for the whole file: how much it lists, remarks, every caution, whose data it is."""
    made = (
        f"Made with scout on {make_one_line(findings.made_on)}." if findings.made_on else "Made with scout."
    )
    count = f"{_format_count(len(findings.spots), 'place')}, best first."
    remarks = [_end_sentence(make_one_line(remark, 300)) for remark in findings.remarks]
    return [count, *remarks, *ALWAYS, *list_credits(findings), made]


def list_credits(findings: Findings) -> list[str]:
    """Whose data a file holds and under which licence, as the user stated it."""
    lines = []
    for credit in findings.credits:
        files = f"{', '.join(make_one_line(file) for file in credit.files)}: " if credit.files else ""
        parts = (credit.text, credit.licence, credit.date)
        told = ", ".join(make_one_line(part, 300) for part in parts if part)
        lines.append(_end_sentence(f"Data: {files}{told}"))
    return lines


def _name_park(park: str, name: str) -> str:
    name = make_one_line(name)
    return f"{make_one_line(park)} ({name})" if name and name != park else make_one_line(park)


def _format_count(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def _format_percent(share: float) -> str:
    """Rounded down, so that a confidence never looks better than its verdict; never certain."""
    if share > 0.999:
        return "over 99.9 %"
    return f"{math.floor(share * 1000 + 1e-9) / 10:.1f} %"


def _format_bearing_deg(bearing_deg: float) -> str:
    return f"{round(bearing_deg) % 360} deg"


def _format_metres(length_m: float) -> str:
    if length_m >= 9950:
        return f"{length_m / 1000:,.1f} km"
    return f"{length_m:.1f} m" if length_m < 9.95 else f"{length_m:,.0f} m"


def _end_sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."
