"""One spot on both sides of a sheet: call and locators in front, where to stand on the back.

The front of a card: letters to be read across a table. All lengths in millimetres.

Calls and locators are drawn as text of a given width, so that no type, whatever its letters' widths, can run
out of its place; parks flow as text, in a size that their number and length allow.

The card put together: one page that loads nothing, runs no script and fills two sides of a sheet.

All text from data goes through an escaping template; what is too long shrinks, then wraps, then is cut with
an ellipsis.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from functools import cache, lru_cache
from typing import Any

import jinja2
import segno
from markupsafe import Markup

from scout import __version__
from scout.cautions import ALWAYS, NOT_A_SURVEY, group_entry_notes
from scout.errors import InputError, PlaceError, SettingName
from scout.geo.coordinates.grids import format_mgrs, format_utm
from scout.geo.locator import LEVELS, decode
from scout.model import Findings, Ranked, Units
from scout.output import text as wording
from scout.output.card_back import BackFit, BackText, describe_from_start, draw_sketch, fit_back
from scout.output.sight_pictures import draw_polar
from scout.output.sun import (
    FIRST_YEAR,
    LAST_YEAR,
    DayLight,
    choose_zone,
    find_light,
    measure_zone_gap,
    parse_zone,
)
from scout.output.templates import make_environment, make_page_policy, read_text_of
from scout.quantities import MeasuredText
from scout.sight.outlook import list_terms, look_towards

WIDE_MM, TALL_MM = 190.0, 256.0  # what A4 (210 x 297) and Letter (216 x 279) both hold inside 10 mm margins

# Size of the type of a call. Its capitals are 0.66 (Liberation Serif) to 0.75 (URW Gothic) of that, 0.70 in
# Liberation Sans: 18.4 mm at the least, and 19.7 mm as a rule. Measured in Chromium.
_CALL_MM = 28.0
_LOCATOR_MM, _LARGE_LOCATOR_MM = 24.0, 34.0  # the large ones where few parks leave the room
_LABEL_MM = 4.2
_TAIL_MM = 6.0  # under a line of capitals: the tail of Q, 0.21 of the size
_TALL_OF_CALL = 0.9  # a line of capitals, in sizes
_NARROWEST = 0.75  # a call is set narrower down to this before it takes a second line
_GAP = 10.0
_LONGEST_CALL = 16

# Widths of a bold sans-serif's letters, in sizes (the metrics that Arial, Helvetica and Liberation share).
_WIDTHS = {
    **dict.fromkeys("ABCDHKNRU", 0.722),
    **dict.fromkeys("EPSVXY", 0.667),
    **dict.fromkeys("FLTZ", 0.611),
    **dict.fromkeys("GOQ", 0.778),
    **dict.fromkeys("J0123456789acekxsvy", 0.556),
    **dict.fromkeys("bdghnopqu", 0.611),
    **dict.fromkeys("I/ijl.,:;' ", 0.278),
    **dict.fromkeys("ft-()", 0.333),
    "M": 0.833,
    "W": 0.944,
    "m": 0.889,
    "r": 0.389,
    "w": 0.778,
}
_OTHER = 1.1  # a sign of another script, an emoji

# Parks flow in whatever type there is, which may be this much wider.
_WIDER = 1.2
_SHRUNK = (1.0, 0.8, 0.65, 0.5, 0.4)
_MOST_PARKS = 24
_LARGE_REFERENCE_MM = 18.0
_REFERENCE_MM, _LEAST_REFERENCE_MM = 30.0, 4.5  # one park's and a crowd's; who does not fit is only named
_LEAST_MM = 2.8  # no type is smaller
_FOOT = 22.0  # the verdict, the rules and gaps between the parts
_REST = 14.0  # two lines with the references of parks that are not set


@dataclass(frozen=True, slots=True)
class PlacedWord:
    """One line of text: its baseline's start, size and forced width; a label is small and plain."""

    text: str
    x: float
    y: float
    size: float
    width: float
    label: bool = False


@dataclass(frozen=True, slots=True)
class RuledLine:
    """A straight line: a lattice line, or a line to write on."""

    x1: float
    y1: float
    x2: float
    y2: float
    lattice: bool = False


@dataclass(frozen=True, slots=True)
class FrontRow:
    """A row of the front, ``WIDE_MM`` wide."""

    tall: float
    words: tuple[PlacedWord, ...]
    rules: tuple[RuledLine, ...] = ()


@dataclass(frozen=True, slots=True)
class ParkType:
    """How the parks are set: so many, in so many columns, each so tall, in type of these sizes."""

    shown: int
    columns: int
    row: float
    reference: float
    name: float

    @property
    def wide(self) -> float:
        """Width of a column."""
        return WIDE_MM if self.columns == 1 else (WIDE_MM - _GAP) / 2

    def step(self, text: str, size: float, lines: int) -> int:
        """By how many steps a text shrinks to fit so many lines; type shrunk by half gets twice as many."""
        wide = _measure_width(text, size) * _WIDER
        steps = [k for k, share in enumerate(_SHRUNK) if share * size >= _LEAST_MM or k == 0]
        fits = (k for k in steps if wide * _SHRUNK[k] <= int(lines / _SHRUNK[k]) * self.wide)
        return next(fits, steps[-1])


def check_call_sign(text: str) -> str:
    """A call sign in capitals; empty text stays empty.

    Examples
    --------
    >>> check_call_sign(" q1aaa/p ")
    'Q1AAA/P'

    Raises
    ------
    InputError
        When it is none.
    """
    call = text.strip().upper()
    if call and not re.fullmatch(r"[A-Z0-9]+(/[A-Z0-9]+)*", call):
        raise InputError(
            f"call sign {text[:40]}", "takes letters, digits and strokes", "write it as in Q1AAA/P"
        )
    if len(call) > _LONGEST_CALL:
        raise InputError(
            f"call sign {call[:40]}",
            f"is longer than {_LONGEST_CALL} signs",
            "give the call alone",
        )
    return call


def draw_calls(call: str, club_call: str = "") -> FrontRow:
    """The operator's call and, beside it or under it, that of a club or an event; a blank for none.

    Examples
    --------
    >>> [word.text for word in draw_calls("Q1AAA", "Q0CLUB").words if not word.label]
    ['Q1AAA', 'Q0CLUB']
    """
    named = [("operator", call)] + ([("club or event", club_call)] if club_call else [])
    half = (WIDE_MM - _GAP) / 2
    if club_call and all(_measure_width(text, _CALL_MM) * _NARROWEST <= half for _, text in named):
        parts = [
            _draw_call(label, text, k * (half + _GAP), 0.0, half) for k, (label, text) in enumerate(named)
        ]
        return _stack_drawings(parts)
    parts, top = [], 0.0
    for label, text in named:
        parts.append(_draw_call(label, text, 0.0, top, WIDE_MM))
        top = parts[-1].tall + 2.0
    return _stack_drawings(parts)


def _stack_drawings(parts: Sequence[FrontRow]) -> FrontRow:
    return FrontRow(
        max(part.tall for part in parts),
        tuple(word for part in parts for word in part.words),
        tuple(rule for part in parts for rule in part.rules),
    )


def _draw_call(label: str, call: str, x: float, top: float, wide: float) -> FrontRow:
    """One call from a height downwards."""
    words = [PlacedWord(label, x, top + _LABEL_MM, _LABEL_MM, _measure_width(label, _LABEL_MM), label=True)]
    y = top + _LABEL_MM
    lines = _split_call(call, wide)
    for line in lines:
        y += _TALL_OF_CALL * _CALL_MM
        words.append(PlacedWord(line, x, y, _CALL_MM, min(_measure_width(line, _CALL_MM), wide)))
    if lines:
        return FrontRow(y + _TAIL_MM, tuple(words))
    y += _TALL_OF_CALL * _CALL_MM
    return FrontRow(y + _TAIL_MM, tuple(words), (RuledLine(x, y, x + wide, y),))


def _split_call(call: str, wide: float) -> list[str]:
    """A call on one line, or on two that part after a stroke, as even as can be."""
    strokes = [k + 1 for k, sign in enumerate(call) if sign == "/"]
    if not strokes or _measure_width(call, _CALL_MM) * _NARROWEST <= wide:
        return [call] if call else []
    cut = min(strokes, key=lambda k: max(_measure_width(call[:k], 1.0), _measure_width(call[k:], 1.0)))
    return [call[:cut], call[cut:]]


def draw_cells(locators: Sequence[str], largest: float = _LOCATOR_MM) -> FrontRow:
    """The locators as their cells lie, north up, with the lattice lines between them."""
    named = [decode(locator) for locator in locators]
    # East of the first by less than half the globe: cells on both sides of 180 lie side by side.
    easts = [round((cell.west - named[0].west + 180.0) % 360.0 - 180.0, 9) for cell in named]
    columns, rows = sorted(set(easts)), sorted({cell.south for cell in named}, reverse=True)
    wide, pad = WIDE_MM / len(columns), 4.0
    size = min(largest, *((wide - 2 * pad) / _measure_width(cell.locator, 1.0) for cell in named))
    tall = 1.2 * size
    words = []
    for cell, east in zip(named, easts, strict=True):
        width = _measure_width(cell.locator, size)
        left = columns.index(east) * wide + (wide - width) / 2
        bottom = rows.index(cell.south) * tall + 0.95 * size
        words.append(PlacedWord(cell.locator, left, bottom, size, width))
    rules = [RuledLine(wide, 0.0, wide, len(rows) * tall, lattice=True)] if len(columns) > 1 else []
    rules += [RuledLine(0.0, tall, WIDE_MM, tall, lattice=True)] if len(rows) > 1 else []
    return FrontRow(len(rows) * tall, tuple(words), tuple(rules))


def choose_sizes(count: int, taken: Iterable[FrontRow]) -> ParkType:
    """How ``count`` parks are set in what the other rows leave."""
    room = TALL_MM - _FOOT - sum(each.tall for each in taken)
    for shown in range(min(count, _MOST_PARKS), 1, -1):
        found = _set_type(shown, room - (_REST if shown < count else 0.0))
        if found.reference >= _LEAST_REFERENCE_MM:
            return found
    return _set_type(min(count, 1), room - (_REST if count > 1 else 0.0))


def _set_type(shown: int, room: float) -> ParkType:
    columns = 1 if shown <= 3 else 2
    row = room / max(1, -(-shown // columns))
    # One line of reference and two of name, 0.62 as large, with their leading; 2 mm between parks.
    reference = min(_REFERENCE_MM, (row - 2.0) / (1.15 + 2 * 0.62 * 1.2))
    return ParkType(shown, columns, round(row, 2), round(reference, 2), round(0.62 * reference, 2))


def _measure_width(text: str, size: float) -> float:
    return size * _measure_ems(text)


@lru_cache(maxsize=1000)  # a text is measured again for every size that is tried
def _measure_ems(text: str) -> float:
    return sum(_WIDTHS.get(sign, 0.722 if sign.isascii() else _OTHER) for sign in text)


# What the back holds at most; the rest is counted.
_MOST = {"parks": 5, "warnings": 6, "notes": 4, "credits": 2}
_MOST_AIMS, _MOST_SPANS = 3, 2
# The longest key of the sketch, for its length.
_KEY = (
    "True north is up. P trailhead, walk, ring: the spot, lines: lattice, dashes: boundary, none near, "
    "dots: hazards. A sketch, not to walk by."
)
_LOCAL_HOURS = 4.0  # no place's clocks are further from its Sun; western China's are 3 (C)
_LONGEST = 400  # letters of one text
# Controls, halves of surrogate pairs, and marks that would turn the direction of our words as well.
_UNFIT = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)


@dataclass(frozen=True, slots=True)
class CardParticulars:
    """What the card says besides the spot. Without a ``zone`` local times are those of the longitude."""

    call: str = ""
    club_call: str = ""
    day: date | None = None
    zone: tzinfo | None = None


def make_particulars(
    call: str = "", club_call: str = "", day: str | None = None, zone: str | None = None
) -> CardParticulars:
    """Particulars of a card, understood from text.

    Raises
    ------
    InputError
        No call sign, no day (as 2026-06-21) or one that is too far away, no zone, or a zone without a day.
    """
    on: date | None = None
    if day:
        try:
            on = date.fromisoformat(day)
        except ValueError:
            remedy = "write year, month, day: 2026-06-21"
            raise InputError(SettingName("date", day), "is no day", remedy) from None
        if not FIRST_YEAR <= on.year <= LAST_YEAR:
            raise InputError(
                SettingName("date", str(on)), "is too far away", f"give one from {FIRST_YEAR} to {LAST_YEAR}"
            )
    elif zone:
        what = "there is no day to tell the Sun's times of"
        raise InputError(SettingName("zone"), what, MeasuredText("add ", SettingName("date")))
    return CardParticulars(
        check_call_sign(call), check_call_sign(club_call), on, parse_zone(zone) if zone else None
    )


def choose_spot(findings: Findings, rank: int) -> Ranked:
    """The spot of a rank, if a station can stand there.

    Raises
    ------
    InputError
        When there is none, or it is a near miss.
    """
    spots = findings.spots
    found: Ranked | None = spots[rank - 1] if 0 < rank <= len(spots) else None
    if found is None or found.rank != rank:  # a part of a list keeps its ranks
        found = next((ranked for ranked in spots if ranked.rank == rank), None)
    if found is None:
        most = max((ranked.rank for ranked in spots[-1:]), default=0)
        remedy = f"give a number from 1 to {most}" if most else "nothing was found"
        raise InputError(f"spot {rank}", "is not in the list", remedy)
    if found.spot.near is not None:
        raise InputError(f"spot {rank}", "is a near miss: no place to stand", "choose another")
    return found


def build_card(findings: Findings, rank: int, particulars: CardParticulars | None = None) -> str:
    """The card of one spot as one HTML file.

    Parameters
    ----------
    findings : Findings
    rank : int
        Of the spot in the list.
    particulars : Particulars, optional

    Returns
    -------
    str
        A page that asks no network for anything. The same values give the same bytes.

    Raises
    ------
    InputError
        When no station can stand there, a call sign is none, or the day is out of reach.
    """
    said = particulars or CardParticulars()
    ranked = choose_spot(findings, rank)
    spot = ranked.spot
    top = draw_calls(check_call_sign(said.call), check_call_sign(said.club_call))
    few = len(spot.verdict.parks) <= 3
    grids = draw_cells(spot.verdict.locators, _LARGE_LOCATOR_MM if few else _LOCATOR_MM)
    parks = choose_sizes(len(spot.verdict.parks), (top, grids))
    if few and parks.reference < _LARGE_REFERENCE_MM:
        grids = draw_cells(spot.verdict.locators)
        parks = choose_sizes(len(spot.verdict.parks), (top, grids))
    units = findings.units
    entry, notes = group_entry_notes(wording.format_text(note, units) for note in spot.notes)
    warnings = tuple(wording.format_text(warning, units) for warning in ranked.warnings)
    sun = _compute_sun(ranked, said)
    zone = said.zone or choose_zone(spot.lon)
    start = None if ranked.route is None else ranked.route.start
    words: dict[str, Any] = {
        "warnings": [_shorten(text) for text in warnings],
        "entry": [_shorten(text) for text in entry],
        "notes": [_shorten(text) for text in notes],
        "getting": _list_getting(ranked, units),
        "sun_words": "" if sun is None else f"{describe_zone(said, spot.lon)} {_describe_hills(sun)}",
        "hills": _format_hills(sun, said.day, zone),
        "view": _list_view(ranked, findings),
        "taken": _describe_taken(findings),
        "forms": _list_forms(findings, ranked),
    }
    fit = fit_back(
        BackText(
            title=findings.title,
            forms=len(words["forms"]),
            parks=len(spot.verdict.parks),
            warnings=tuple(words["warnings"]),
            entry=tuple(words["entry"]),
            notes=tuple(words["notes"]),
            getting=tuple(text for _, text, _ in (*words["getting"], *words["view"])),
            pictured=ranked.horizon is not None,
            sun=() if sun is None else _list_sun_lines(sun, words["hills"], said.day, zone),
            sun_words=words["sun_words"],
            taken=words["taken"],
            credits=len(findings.credits),
            key=_KEY,
            cautions=" ".join(ALWAYS),
        ),
        WIDE_MM,
        TALL_MM,
        _measure_width,
        _MOST,
    )
    style = f"{read_text_of(__package__, 'card.css')}\n{_size_style(parks, fit)}"
    text = (
        _load_templates()
        .get_template("card.html")
        .render(
            f=findings,
            units=units,
            p=said,
            ranked=ranked,
            spot=spot,
            verdict=spot.verdict,
            names=[(park, name) for park, name in zip(spot.verdict.parks, spot.park_names, strict=True)],
            top=top,
            grids=grids,
            parks=parks,
            wide=WIDE_MM,
            fit=fit,
            words=words,
            sketch=draw_sketch(findings, ranked, units, fit.sketch),
            codes=_list_codes(ranked, start),
            sun=sun,
            polar=draw_polar(ranked.horizon, look_towards(ranked.horizon, spot.lon, spot.lat, findings.aims))
            if ranked.horizon is not None and fit.polar
            else None,
            zone=zone,
            cautions=ALWAYS,
            not_a_survey=NOT_A_SURVEY,
            version=__version__,
            policy=make_page_policy(style),
            style=Markup(style),
        )
    )
    return f"{text}\n"


def describe_zone(said: CardParticulars, lon: float) -> str:
    """Which zone the local times are in and why, and the matter if that can hardly be meant."""
    if said.zone is None:
        return (
            f"Local time is {choose_zone(lon)}, taken from the longitude, for no zone was given: clocks "
            "there may be an hour or two off it, most of all in summer."
        )
    return f"Local time is {said.zone}, as given.{warn_of_zone(said, lon)}"


def warn_of_zone(said: CardParticulars, lon: float) -> str:
    """A sentence where a zone is further from the Sun than any place's clocks; else nothing."""
    if said.zone is None or said.day is None:
        return ""
    gap = measure_zone_gap(said.zone, lon, said.day)
    if abs(gap) <= _LOCAL_HOURS:
        return ""
    return f" That is {abs(gap):.0f} hours {'ahead of' if gap > 0 else 'behind'} the Sun there: is it meant?"


def _list_codes(ranked: Ranked, start: tuple[float, float] | None) -> list[tuple[str, str, Markup]]:
    """What each QR code is of, its geo link and its picture: the spot, and where the car stays."""
    places = [("the spot", (ranked.spot.lon, ranked.spot.lat))]
    if start is not None and ranked.route is not None:
        places.append((ranked.route.start_kind or "the start", start))
    links = [(what, wording.format_geo_uri(*place)) for what, place in places]
    return [(what, link, Markup(_draw_qr_code(link))) for what, link in links]


def _list_getting(ranked: Ranked, units: Units) -> list[tuple[str, str, str]]:
    """Of the way there a term, what is said, and coordinates if any; nothing without access data."""
    route = ranked.route
    if route is None:
        return []
    found: list[tuple[str, str, str]] = []
    if route.start is not None:
        where = wording.format_position(*route.start)
        found.append((route.start_kind or "start", _shorten(route.start_name, 90), where))
    away = describe_from_start(ranked)
    if away is not None:
        found.append(("from there", wording.format_text(away, units), ""))
    if route.state != "walked":
        reason = _shorten(wording.format_text(route.reason, units), 120)
        return [*found, ("walk", f"{route.state}: {reason}" if reason else route.state, "")]
    out = [wording.format_minutes(route.out_min)] if route.out_min is not None else []
    out += [wording.format_length(route.length_m, units)] if route.length_m is not None else []
    if route.off_path_m:
        out.append(f"{wording.format_length(route.off_path_m, units)} of it off paths")
    found.append(("walk out", ", ".join(out), ""))
    if route.back_min is not None:
        found.append(("walk back", wording.format_minutes(route.back_min), ""))
    climb = "not known" if route.climb_m is None else wording.format_height(route.climb_m, units)
    return [*found, ("climb out", climb, "")]


def _describe_taken(findings: Findings) -> str:
    """What the margins rest on."""
    station, units = findings.station, findings.units
    radius, fix, boundary = (
        wording.format_stated_length(length_m, units)
        for length_m in (station.radius_m, station.fix_error_m, station.boundary_error_m)
    )
    return (
        f"Taken: a station of {radius} radius, {LEVELS[findings.level - 1]} level; the receiver right within "
        f"{fix} and the boundary within {boundary} (more by its datum), each 95 times in 100."
    )


def _list_forms(findings: Findings, ranked: Ranked) -> list[tuple[str, str]]:
    """The place in the forms people type into a receiver or read off a map, and what else is known of it."""
    spot = ranked.spot
    lon, lat = spot.lon, spot.lat
    forms = [
        ("decimal degrees", wording.format_position(lon, lat)),
        ("degrees, minutes", wording.format_degrees_minutes(lon, lat)),
    ]
    try:
        forms.append(("UTM", format_utm(lon, lat)))
    except PlaceError:
        forms.append(("UTM", "not defined so near the pole"))
    forms.append(("MGRS", format_mgrs(lon, lat)))
    if spot.corner and spot.offset_m >= 0.05:
        forms.append(("the corner itself", wording.format_position(*spot.corner)))
    if ranked.home_km is not None:
        away = wording.format_length(1000 * ranked.home_km, findings.units)
        forms.append(("from home", f"{away}, straight"))
    if ranked.slope_deg is not None:
        forms.append(("slope here", wording.format_slope(ranked.slope_deg)))
    return forms


@lru_cache(maxsize=100)  # a card, and the same in a pack
def _draw_qr_code(text: str) -> str:
    """A QR code as SVG, four modules of quiet zone (ISO/IEC 18004, M), to be sized by the style."""
    code = segno.make(text, error="m", micro=False)
    return str(code.svg_inline(border=4, omitsize=True, svgclass="code", lineclass=None))


def _list_view(ranked: Ranked, findings: Findings) -> list[tuple[str, str, str]]:
    """What the antenna sees as more terms of the way."""
    horizon = ranked.horizon
    if horizon is None:
        return []
    seen = look_towards(horizon, ranked.spot.lon, ranked.spot.lat, findings.aims[:_MOST_AIMS])
    terms = list_terms(horizon, seen)
    return [
        (_shorten(term, 24), _shorten(wording.format_text(text, findings.units), 120), "")
        for term, text in terms
    ]


def _describe_hills(sun: DayLight) -> str:
    """How far the times of the Sun are those of the ground."""
    if not sun.hills:
        return "At a level horizon: hills and trees make it dark sooner."
    if not sun.direct:
        return "The Sun stays behind the hills all day."
    breaks = " Hills hide the Sun in between." if len(sun.direct) > _MOST_SPANS else ""
    unsure = (
        " Heights end too soon where the Sun passes the hills: it may be dark sooner." if sun.unsure else ""
    )
    return f"Rise, set and twilight at a level horizon; trees make it dark sooner.{breaks}{unsure}"


def _compute_sun(ranked: Ranked, said: CardParticulars) -> DayLight | None:
    if said.day is None:
        return None
    if not FIRST_YEAR <= said.day.year <= LAST_YEAR:
        raise InputError(
            f"date {said.day.isoformat()}", "is too far away", f"give one from {FIRST_YEAR} to {LAST_YEAR}"
        )
    return find_light(ranked.spot.lon, ranked.spot.lat, said.day, said.zone, ranked.horizon)


def _format_hills(sun: DayLight | None, day: date | None, zone: tzinfo) -> str:
    """When the Sun is over the hills, local time; of one that they hide again and again the whole span."""
    if sun is None or not sun.direct or day is None:
        return ""
    spans = sun.direct if len(sun.direct) <= _MOST_SPANS else ((sun.direct[0][0], sun.direct[-1][1]),)
    return ", ".join(f"{_format_clock(a, day, zone)} to {_format_clock(b, day, zone)}" for a, b in spans)


def _list_sun_lines(sun: DayLight, hills: str, day: date | None, zone: tzinfo) -> tuple[str, ...]:
    """The lines about the Sun, as long as they will be."""
    always = ("The Sun stays below the horizon all day.",) if sun.level.always else ()
    day = day or date.min
    return (
        *always,
        *(
            f"{e.kind} {_format_clock(e.at, day, zone)} {_format_clock(e.at, day, UTC)}"
            for e in sun.level.events
        ),
        *([f"Over the hills {hills} local."] if hills else []),
    )


def _size_style(parks: ParkType, fit: BackFit) -> str:
    return (
        f":root {{ --columns: {parks.columns}; --row: {parks.row}mm; "
        f"--reference: {parks.reference}mm; --name: {parks.name}mm; "
        f"--body: {fit.size}mm; --small: {fit.small}mm; --sketch: {fit.sketch}mm; }}"
    )


def _shorten(text: str, most: int = _LONGEST) -> str:
    """Text from data on one line, cut where it is very long."""
    text = " ".join(_UNFIT.sub("\ufffd", text).split())
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _format_clock(at: datetime, day: date, zone: tzinfo) -> str:
    """Hours and minutes, and how many days off where the date is another."""
    at = at.astimezone(zone)
    minute = at.replace(second=0) if at.second < 30 else at.fromtimestamp(at.timestamp() + 30, zone)
    days = (minute.date() - day).days
    return f"{minute:%H:%M}" + (f" ({days:+d} day)".replace("-", "\u2212") if days else "")


@cache
def _load_templates() -> jinja2.Environment:
    templates = make_environment(__package__)
    words = (
        wording.format_angle,
        wording.format_clearance,
        wording.format_count,
        wording.format_probability,
        wording.format_verdict,
        wording.name_kind,
        wording.describe_standing,
    )
    templates.filters.update({word.__name__: word for word in words})
    templates.filters.update(clock=_format_clock, short=_shorten)
    return templates
