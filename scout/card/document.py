"""The card put together: one page that loads nothing, runs no script and fills two sides of a sheet.

All text from data goes through an escaping template; what is too long shrinks, then wraps, then is cut with
an ellipsis.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from functools import cache

import jinja2
import segno
from markupsafe import Markup

from scout import __version__
from scout.card import front
from scout.card.sun import FIRST_YEAR, LAST_YEAR, SunDay, sun_day
from scout.cautions import ALWAYS, NOT_A_SURVEY
from scout.coordinates import decimal, geo_uri, mgrs_text, utm
from scout.errors import InputError, PlaceError
from scout.locator import LEVELS
from scout.model import Findings, Ranked
from scout.page import wording
from scout.templates import environment, policy, text_of

__all__ = ["Particulars", "build", "spot_of"]

# What the back holds; the rest is counted.
_MOST = {"parks": 5, "warnings": 4, "notes": 2, "credits": 2}
_LONGEST = 400  # letters of one text
# Controls, halves of surrogate pairs, and marks that would turn the direction of our words as well.
_UNFIT = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)


@dataclass(frozen=True, slots=True)
class Particulars:
    """What the card says besides the spot. ``zone`` is the one of the local times, None for UTC alone."""

    call: str = ""
    club_call: str = ""
    day: date | None = None
    zone: tzinfo | None = None


def spot_of(findings: Findings, rank: int) -> Ranked:
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


def build(findings: Findings, rank: int, particulars: Particulars | None = None) -> str:
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
    said = particulars or Particulars()
    ranked = spot_of(findings, rank)
    spot = ranked.spot
    top = front.calls(front.call_sign(said.call), front.call_sign(said.club_call))
    grids = front.cells(spot.verdict.locators)
    parks = front.sizes(len(spot.verdict.parks), (top, grids))
    style = f"{text_of(__package__, 'card.css')}\n{_sized(parks)}"
    text = (
        _templates()
        .get_template("card.html")
        .render(
            f=findings,
            p=said,
            ranked=ranked,
            spot=spot,
            verdict=spot.verdict,
            route=ranked.route,
            names=[(park, name) for park, name in zip(spot.verdict.parks, spot.park_names, strict=True)],
            top=top,
            grids=grids,
            parks=parks,
            wide=front.WIDE_MM,
            level=LEVELS[findings.level - 1],
            forms=_forms(spot.lon, spot.lat),
            geo=geo_uri(spot.lon, spot.lat),
            code=Markup(_code(geo_uri(spot.lon, spot.lat))),
            sun=_sun(spot.lon, spot.lat, said),
            cautions=ALWAYS,
            not_a_survey=NOT_A_SURVEY,
            most=_MOST,
            version=__version__,
            policy=policy(style),
            style=Markup(style),
        )
    )
    return f"{text}\n"


def _forms(lon: float, lat: float) -> list[tuple[str, str]]:
    """The place in the forms people type into a receiver or read off a map."""
    forms = [("decimal degrees", decimal(lon, lat)), ("degrees, minutes", wording.degrees_minutes(lon, lat))]
    try:
        forms.append(("UTM", utm(lon, lat)))
    except PlaceError:
        forms.append(("UTM", "not defined so near the pole"))
    return [*forms, ("MGRS", mgrs_text(lon, lat))]


def _code(text: str) -> str:
    """A QR code as SVG, four modules of quiet zone (ISO/IEC 18004, M), to be sized by the style."""
    code = segno.make(text, error="m", micro=False)
    return str(code.svg_inline(border=4, omitsize=True, svgclass="code", lineclass=None))


def _sun(lon: float, lat: float, said: Particulars) -> SunDay | None:
    if said.day is None:
        return None
    if not FIRST_YEAR <= said.day.year <= LAST_YEAR:
        raise InputError(
            f"date {said.day.isoformat()}", "is too far away", f"give one from {FIRST_YEAR} to {LAST_YEAR}"
        )
    return sun_day(lon, lat, said.day, said.zone)


def _sized(parks: front.ParkType) -> str:
    return (
        f":root {{ --columns: {parks.columns}; --row: {parks.row}mm; "
        f"--reference: {parks.reference}mm; --name: {parks.name}mm; }}"
    )


def _short(text: str, most: int = _LONGEST) -> str:
    """Text from data on one line, cut where it is very long."""
    text = " ".join(_UNFIT.sub("\ufffd", text).split())
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _clock(at: datetime, day: date, zone: tzinfo) -> str:
    """Hours and minutes, with the date where it is another."""
    at = at.astimezone(zone)
    minute = at.replace(second=0) if at.second < 30 else at.fromtimestamp(at.timestamp() + 30, zone)
    return f"{minute:%H:%M}" + ("" if minute.date() == day else f" on {minute:%Y-%m-%d}")


@cache
def _templates() -> jinja2.Environment:
    templates = environment(__package__)
    words = (
        wording.bearing,
        wording.clearance,
        wording.distance,
        wording.kind_word,
        wording.metres,
        wording.percent,
        wording.plural,
        wording.where_to_stand,
    )
    templates.filters.update({word.__name__: word for word in words})
    templates.filters.update(clock=_clock, decimal=decimal, minutes=math.ceil, short=_short)
    return templates
