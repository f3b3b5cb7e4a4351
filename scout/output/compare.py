"""Two versions of the data compared, as text for a terminal, as sentences and as GeoJSON."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from scout.cautions import ALWAYS
from scout.errors import make_printable
from scout.geo.antimeridian import round_place
from scout.io.plain_text import clean_text, make_one_line
from scout.model import Findings, Ranked, Units
from scout.output.features import PROPERTIES, make_properties
from scout.output.report import format_columns, word_more
from scout.output.text import (
    Length,
    MeasuredText,
    describe_station,
    format_bearing,
    format_count,
    format_fine_length,
    format_position,
    format_probability,
    format_stated_length,
    format_text,
    format_verdict,
    format_yield,
    name_kind,
    name_park,
)
from scout.output.visits import format_left_out
from scout.parks.names import NamedPark
from scout.search.compare import Change, Comparison, SpotChange, compute_reach_m, list_parks
from scout.visits.review import VisitChange, VisitReview

_ROWS = 20  # of each class of changes
_NEW: tuple[Change, ...] = ("appeared", "new or risen")
_TITLES: dict[Change, str] = {
    "vanished": "Vanished",
    "other verdict": "Other verdict",
    "other grids or parks": "Other grids or parks",
    "moved": "Moved",
    "appeared": "Appeared",
    "new or risen": "New, or ranked below what the saved result holds before",
}


@dataclass(frozen=True, slots=True)
class Changed:
    """All that a comparison gives."""

    old_name: str
    new_name: str
    old: Findings
    new: Findings
    found: Comparison
    visits: VisitReview | None = None
    cut: bool = False  # whether the old version is a saved result that holds only the best of it

    @property
    def differs(self) -> bool:
        """Whether anything is to be told."""
        return bool(self.found.changes) or (self.visits is not None and bool(self.visits.changes))


def describe_unknown(changed: Changed) -> tuple[str, ...]:
    """What cannot be known, or may be no change of the data, because of what a saved result leaves out."""
    name, lines = make_one_line(changed.old_name), []
    if changed.old.limits is None:
        lines.append(
            f"{name} was saved by an earlier version and does not say its area, near misses, least grids, "
            "parks and confidence: where others are given here, the differences come of them."
        )
    if changed.cut:
        spots = format_count(len(changed.old.spots), "spot")
        unknown = format_count(changed.found.unknown, "spot of now is", "spots of now are")
        lines.append(
            f"{name} holds only the best {spots} of its search: {unknown} not among them and may be new or "
            "not. Compare the boundary files to know."
        )
    return tuple(lines)


def describe_change(one: SpotChange, old_name: str) -> str:
    """What has changed at a spot, in a sentence."""
    lead = f"Changed since {make_one_line(old_name)}: "
    if one.change == "new or risen":
        return f"{lead}new, or ranked below what that holds before."
    if one.before is None or one.change == "appeared":
        was = "" if one.before is None else "; it was a near miss before"
        return f"{lead}this spot is new{was}."
    before = _describe_worth(one.before)
    if one.change == "vanished":
        missed = () if one.now is None else ("; now a near miss, ", *_list_away(one.now))
        parks = _list_names(list_parks(one.before.spot))
        return MeasuredText(
            f"{lead}here was a {name_kind(one.before.spot)}, {before}, in {parks}", *missed, "."
        )
    parts: list[str | Length] = [f"{lead}before {before}"]
    if one.gained:
        parts.append(f"; gained {_list_names(one.gained)}")
    if one.lost:
        parts.append(f"; lost {_list_names(one.lost)}")
    if one.moved_m is not None and one.moved_m >= 0.05:
        bearing = format_bearing(one.moved_deg or 0.0)
        parts += ["; the place moved ", Length(one.moved_m, "fine"), f" to the {bearing}"]
    if one.there is not None:
        parts.append(f"; the place before is now {_describe_worth(one.there)}")
    return MeasuredText(*parts, ".")


def _describe_worth(ranked: Ranked) -> str:
    verdict = ranked.spot.verdict
    if not verdict.parks:
        return verdict.word
    grids, parks = format_count(ranked.n_grids, "grid"), format_count(ranked.n_parks, "park")
    word = format_verdict(verdict.word, verdict.coarse)
    return f"{grids} x {parks}, {word} ({format_probability(verdict.confidence)})"


def _list_away(miss: Ranked) -> tuple[str | Length, ...]:
    near = miss.spot.near
    if near is None:
        return ("",)
    return (Length(near.distance_m, "fine"), f" from {_list_names([(near.park, near.park_name)])}")


def _list_names(parks: Sequence[NamedPark]) -> str:
    return ", ".join(name_park(make_one_line(park), make_one_line(name)) for park, name in parks)


def format_changes(changed: Changed) -> Iterator[str]:
    """Every class of changes as a table, the visits, what is not known, and the cautions."""
    units, found, new = changed.new.units, changed.found, changed.new
    counts = [
        format_count(sum(r.spot.kind != "near-miss" for r in one.spots), "spot") for one in (changed.old, new)
    ]
    names = make_one_line(changed.old_name), make_one_line(changed.new_name)
    yield make_printable(f"Before: {counts[0]} of {names[0]}. Now: {counts[1]} of {names[1]}.")
    yield describe_station(new.level, new.station, units)
    reach = format_stated_length(compute_reach_m(new.station), units)
    yield f"Moved is what lies over {reach} away: station radius, fix error and boundary error together."
    yield from (format_text(remark, units) for remark in new.remarks)
    numbered = list(enumerate(found.changes))
    for change, title in _TITLES.items():
        some = [(k, one) for k, one in numbered if one.change == change]
        if some:
            yield ""
            yield f"{title}: {len(some):,}"
            yield from _format_class(some, changed, units)
    yield ""
    yield describe_counts(changed)
    yield from (make_printable(line) for line in describe_unknown(changed))
    if changed.visits is not None:
        yield ""
        yield from _format_review(changed.visits, units)
    yield ""
    yield from ALWAYS


def describe_counts(changed: Changed) -> str:
    """How many spots there are of each class, in a sentence."""
    found = changed.found
    counts = [(sum(one.change == change for one in found.changes), change) for change in _TITLES]
    told = ", ".join(f"{count:,} {change}" for count, change in counts if count)
    still = f", {found.still:,} listed otherwise, their places count as before" if found.still else ""
    still += f", {found.unknown:,} not known" if found.unknown else ""
    return f"Spots: {told or 'no difference'}, {found.same:,} the same{still}."


def _format_class(some: Sequence[tuple[int, SpotChange]], changed: Changed, units: Units) -> Iterator[str]:
    heads = ("#", "what", "before", "now", "moved", "old place now", "lat, lon", "locators", "parks")
    rows = [heads, *(_format_row(k, one, changed, units) for k, one in some[:_ROWS])]
    filled = [any(column[1:]) for column in zip(*rows, strict=True)]
    named, *told = (tuple(itertools.compress(row, filled)) for row in rows)
    yield from format_columns(told, named)
    for k, one in some[:_ROWS]:
        for warning in () if one.now is None else one.now.warnings:
            yield make_printable(f"#{k + 1} WARNING: {format_text(warning, units)}")
    if len(some) > _ROWS:
        yield word_more(len(some) - _ROWS)


def _format_row(k: int, one: SpotChange, changed: Changed, units: Units) -> tuple[str, ...]:
    spot = one.listed.spot
    moved = ""
    if one.moved_m is not None and one.moved_m > compute_reach_m(changed.new.station):
        moved = f"{format_fine_length(one.moved_m, units)} to the {format_bearing(one.moved_deg or 0.0)}"
    kept = [park for park in list_parks(spot) if park not in one.gained]
    parks = [_list_names(kept)] if kept else []
    parks += [f"gained {_list_names(one.gained)}"] if one.gained else []
    parks += [f"lost {_list_names(one.lost)}"] if one.lost else []
    cells = (
        str(k + 1),
        name_kind(spot),
        "" if one.before is None else _format_worth(one.before, units),
        "" if one.now is None else _format_worth(one.now, units),
        moved,
        "" if one.there is None or one.change in _NEW else _format_worth(one.there, units),
        format_position(spot.lon, spot.lat),
        " ".join(spot.verdict.locators),
        "; ".join(parks),
    )
    return tuple(make_printable(cell) for cell in cells)


def _format_worth(ranked: Ranked, units: Units) -> str:
    spot, verdict = ranked.spot, ranked.spot.verdict
    if spot.kind == "near-miss" and spot.near is not None:
        return f"near miss, {format_fine_length(spot.near.distance_m, units)} away"
    if not verdict.parks:
        return verdict.word
    word, sure = format_verdict(verdict.word, verdict.coarse), format_probability(verdict.confidence)
    return f"{format_yield(ranked.n_grids, ranked.n_parks)}, {word} {sure}"


def _format_review(review: VisitReview, units: Units) -> Iterator[str]:
    """Visits that would be judged otherwise, and those of which nothing can be said."""
    rows = [_format_visit_row(one) for one in review.changes]
    if rows:
        yield f"Visits that would be judged otherwise today: {len(rows):,}"
        yield from format_columns(rows, ("visit", "date", "parks", "before", "today", "lost", "gained"))
    else:
        yield "No visit would be judged otherwise today."
    yield (
        f"Visits judged the same: {review.same:,}. The station's radius and the boundary error are those "
        "above; the notebook does not hold what they were."
    )
    for visit in review.outside:
        parks = _list_names([(park.park, park.name) for park in visit.parks]) or "no park"
        where = f"{visit.start:%Y-%m-%d}, {format_position(visit.lon, visit.lat)}, {parks}"
        yield make_printable(f"Not judged, for it lies outside the data: visit {visit.number}, {where}.")
    yield from format_left_out(review.left_out)


def _format_visit_row(one: VisitChange) -> tuple[str, ...]:
    visit, verdict = one.visit, one.checked.verdict
    sure = "" if visit.confidence is None or not one.word else f" {format_probability(visit.confidence)}"
    cells = (
        str(visit.number),
        f"{visit.start:%Y-%m-%d}",
        _list_names([(park.park, park.name) for park in visit.parks]) or "none",
        f"{one.word}{sure}" if visit.parks and one.word else "noted by hand" if visit.parks else "",
        f"{format_verdict(verdict.word, verdict.coarse)} {format_probability(verdict.confidence)}",
        _list_names(one.lost),
        _list_names(one.gained),
    )
    return tuple(make_printable(cell) for cell in cells)


# What of a spot is told before and now.
_BOTH = PROPERTIES[PROPERTIES.index("locators") : PROPERTIES.index("verdict") + 1]
_NEAR = ("near_park", "near_park_name", "near_m")


def to_changes_geojson(changed: Changed) -> str:
    """RFC 7946 points, one per change; where a spot vanished, with what counts there today.

    What ends in ``_before`` is of the old version and null where there was nothing.
    """
    lines = ",\n".join(
        json.dumps(_make_feature(k, one, changed), ensure_ascii=False, allow_nan=False)
        for k, one in enumerate(changed.found.changes)
    )
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def _make_feature(k: int, one: SpotChange, changed: Changed) -> dict[str, Any]:
    at, there = one.listed, None if one.change in _NEW else one.there
    now = one.now or there
    new, old = (None if some is None else make_properties(some) for some in (now, one.before))
    here = make_properties(at)
    properties: dict[str, Any] = {
        "number": k + 1,
        "change": one.change,
        "kind": here["kind"],
        "corner": here["corner"],
        "kind_before": None if old is None else old["kind"],
        "kind_now": None if new is None else new["kind"],
    }
    for key in _BOTH:
        properties[key] = None if new is None else new[key]
        properties[f"{key}_before"] = None if old is None else old[key]
    properties |= {key: None if new is None else new[key] for key in _NEAR}
    properties |= {
        "verdict_there": None if there is None else there.spot.verdict.word,
        "confidence_there": None if there is None else round(there.spot.verdict.confidence, 4),
        "parks_there": None if there is None else [clean_text(park) for park in there.spot.verdict.parks],
        "moved_m": None if one.moved_m is None else round(one.moved_m, 2),
        "moved_deg": None if one.moved_deg is None else round(one.moved_deg, 1),
        "gained": [clean_text(park) for park, _ in one.gained],
        "lost": [clean_text(park) for park, _ in one.lost],
        "note": clean_text(describe_change(one, changed.old_name)),
    }
    place = list(round_place(at.spot.lon, at.spot.lat))
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": place},
        "properties": properties,
    }
