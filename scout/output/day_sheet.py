"""The sheet of a day: its lines with room for the real times, the places, who is to be told, cautions."""

from __future__ import annotations

from functools import cache

import jinja2
from markupsafe import Markup

from scout import __version__
from scout.cautions import ALWAYS
from scout.errors import make_printable
from scout.output import text as wording
from scout.output.card import CardParticulars
from scout.output.templates import make_environment, make_page_policy, read_text_of
from scout.output.trip import (
    ESTIMATED,
    TELL,
    describe_claim,
    describe_day,
    describe_worth,
    format_proof,
    list_cautions,
    list_day,
    name_visit,
)
from scout.tours.day import Trip


def build_day_sheet(trip: Trip, particulars: CardParticulars | None = None) -> str:
    """The best tour as one HTML page to print; each day begins on paper of its own.

    Returns
    -------
    str
        A page that asks no network for anything. The same trip gives the same bytes.
    """
    style = read_text_of(__package__, "day_sheet.css")
    tour = trip.tours[0]
    text = (
        _load_templates()
        .get_template("day_sheet.html")
        .render(
            trip=trip,
            f=trip.findings,
            tour=tour,
            p=particulars or CardParticulars(),
            worth=describe_worth(tour),
            proof=format_proof(tour, 1),
            days=[(day, describe_day(day), list_day(trip, day), list_cautions(day)) for day in tour.days],
            units=trip.findings.units,
            tell=TELL,
            estimated=ESTIMATED,
            cautions=ALWAYS,
            version=__version__,
            policy=make_page_policy(style),
            style=Markup(style),
        )
    )
    # A name may hold half a surrogate pair, which no encoding can write.
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _clean_text(text: str) -> str:
    return " ".join(make_printable(text).split())


@cache
def _load_templates() -> jinja2.Environment:
    templates = make_environment(__package__)
    words = (
        describe_claim,
        name_visit,
        wording.format_geo_uri,
        wording.format_position,
        wording.format_text,
        wording.format_verdict,
        wording.format_probability,
    )
    templates.filters.update({word.__name__: word for word in words}, clean=_clean_text)
    return templates
