"""What is said of a spot, a walk and the whole result where a file has room for sentences only."""

from __future__ import annotations

import math

from scout.cautions import ALWAYS
from scout.exports.text import one_line
from scout.model import Findings, Ranked, Spot
from scout.surroundings import Route

__all__ = ["about", "credit_lines", "facts", "heading", "kind_word", "number", "walk_line"]


def kind_word(spot: Spot) -> str:
    """The kind of a spot in words."""
    return spot.kind.replace("-", " ")


def number(rank: int, findings: Findings) -> str:
    """A rank as text that sorts: every one as long as the longest, two digits at least."""
    return f"{rank:0{max(2, len(str(len(findings.spots))))}d}"


def heading(ranked: Ranked, findings: Findings) -> str:
    """A short name that sorts by rank and fits a small screen: ``01 JE45 JE55``."""
    miss = "near miss " if ranked.spot.near is not None else ""
    return f"{number(ranked.rank, findings)} {miss}{' '.join(ranked.spot.verdict.locators)}"


def facts(ranked: Ranked) -> list[str]:
    """A sentence each: what may hurt there, yield, verdict, parks, where the station stands, the walk.

    Warnings come first: small screens cut what is long.
    """
    spot = ranked.spot
    lines = [_sentence(f"Warning: {one_line(warning, 300)}") for warning in ranked.warnings]
    lines += [*_worth(ranked), *_stand(spot)]
    if ranked.route is not None:
        lines.append(walk_line(ranked.route))
    if ranked.slope_deg is not None:
        lines.append(f"Ground slope {ranked.slope_deg:.0f} deg.")
    return lines + [_sentence(one_line(note, 300)) for note in spot.notes]


def _worth(ranked: Ranked) -> list[str]:
    spot, verdict = ranked.spot, ranked.spot.verdict
    if spot.near is not None:
        park = _named(spot.near.park, spot.near.park_name)
        return [
            "Near miss: outside every park, nothing counts here.",
            f"The nearest is {park}: {_metres(spot.near.distance_m)} away, "
            f"bearing {_bearing(spot.near.bearing_deg)}.",
        ]
    parks = [_named(*park) for park in zip(verdict.parks, spot.park_names, strict=True)]
    held = f"Parks: {'; '.join(parks)}." if parks else "No park."
    return [
        f"Yield {ranked.grid_park_pairs}: {_counted(ranked.n_grids, 'grid')} x "
        f"{_counted(ranked.n_parks, 'park')}.",
        f"Verdict: {verdict.word}, confidence {_percent(verdict.confidence)}.",
        held,
    ]


def _stand(spot: Spot) -> list[str]:
    lines = []
    if not math.isnan(spot.clearance_m) and spot.near is None:
        side = "inside" if spot.clearance_m >= 0 else "outside"
        lines.append(f"{_metres(abs(spot.clearance_m))} {side} the nearest boundary.")
    if spot.offset_m >= 0.05:
        what = "corner" if spot.corner else "line"
        lines.append(
            f"Station centre {_metres(spot.offset_m)} from the {what}, bearing {_bearing(spot.offset_deg)}."
        )
    return lines


def walk_line(route: Route) -> str:
    """The walk in one sentence: the way in, the way back, where it begins; or why there is none."""
    if route.state != "walked":
        why = f" ({one_line(route.reason, 300)})" if route.reason else ""
        return f"Walk: {route.state}{why}.{_start(route)}"
    parts = []
    if route.out_min is not None:
        parts.append(f"{math.ceil(route.out_min)} min in")
    if route.back_min is not None:
        parts.append(f"{math.ceil(route.back_min)} min back")
    if route.length_m is not None:
        parts.append(_metres(route.length_m))
    if route.climb_m is not None:
        parts.append(f"{route.climb_m:.0f} m of climb on the way in")
    if route.off_path_m:
        parts.append(f"{_metres(route.off_path_m)} off paths")
    return f"Walk: {', '.join(parts)}.{_start(route)}"


def _start(route: Route) -> str:
    if route.start is None:
        return ""
    kind = route.start_kind or "start"
    name = f" {one_line(route.start_name)}" if route.start_name else ""
    where = "From" if route.state == "walked" else "Nearest start:"
    return f" {where} {kind}{name} at {route.start[1]:.5f}, {route.start[0]:.5f}."


def about(findings: Findings) -> list[str]:
    """What holds for the whole file: how much it lists, remarks, every caution, whose data it is."""
    made = f"Made with scout on {one_line(findings.made_on)}." if findings.made_on else "Made with scout."
    count = f"{_counted(len(findings.spots), 'place')}, best first."
    remarks = [_sentence(one_line(remark, 300)) for remark in findings.remarks]
    return [count, *remarks, *ALWAYS, *credit_lines(findings), made]


def credit_lines(findings: Findings) -> list[str]:
    """Whose data a file holds and under which licence, as the user stated it."""
    lines = []
    for credit in findings.credits:
        files = f"{', '.join(one_line(file) for file in credit.files)}: " if credit.files else ""
        parts = (credit.text, credit.licence, credit.date)
        told = ", ".join(one_line(part, 300) for part in parts if part)
        lines.append(_sentence(f"Data: {files}{told}"))
    return lines


def _named(park: str, name: str) -> str:
    name = one_line(name)
    return f"{one_line(park)} ({name})" if name and name != park else one_line(park)


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def _percent(share: float) -> str:
    """Rounded down, so that a confidence never looks better than its verdict; never certain."""
    if share > 0.999:
        return "over 99.9 %"
    return f"{math.floor(share * 1000 + 1e-9) / 10:.1f} %"


def _bearing(bearing_deg: float) -> str:
    return f"{round(bearing_deg) % 360} deg"


def _metres(length_m: float) -> str:
    if length_m >= 9950:
        return f"{length_m / 1000:,.1f} km"
    return f"{length_m:.1f} m" if length_m < 9.95 else f"{length_m:,.0f} m"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."
