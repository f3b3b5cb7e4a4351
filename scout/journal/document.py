"""The journal: visits as one page to read and print, with a map, that loads nothing and runs no script.

All text from data goes through an escaping template.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache

import jinja2
from markupsafe import Markup

from scout import __version__
from scout.coordinates import decimal, geo_uri
from scout.errors import printable
from scout.journal.drawing import picture
from scout.locator import LEVELS
from scout.page import wording
from scout.tally import by_year
from scout.templates import environment, policy, text_of
from scout.visits import Visit

__all__ = ["Particulars", "to_html"]

_FACTS = (
    ("operator", "Operator"),
    ("antenna", "Antenna"),
    ("radio", "Radio"),
    ("bands", "Bands"),
    ("weather", "Weather"),
    ("conditions", "Conditions"),
    ("went_well", "Went well"),
    ("went_badly", "Went badly"),
    ("sheet", "Arrival sheet"),
)
_NOTE = "Written down by the operator; no proof that anything counts: that is the award sponsor's decision."

_NUMBERS_SHOWN = 10  # of rows left out; the rest is counted


@dataclass(frozen=True, slots=True)
class Particulars:
    """What the journal says besides the visits."""

    title: str = ""
    made_by: str = ""  # the command line
    made_on: str = ""  # ISO date, given by the front end
    level: int = 2  # at which grids are counted
    left_out: tuple[int, ...] = ()  # numbers of the notebook's rows that are no visits


def to_html(visits: Sequence[Visit], particulars: Particulars) -> str:
    """The journal as one HTML file; the same visits give the same bytes."""
    style = text_of(__package__, "journal.css")
    text = (
        _templates()
        .get_template("journal.html")
        .render(
            visits=sorted(visits, key=lambda visit: (visit.start, visit.number), reverse=True),
            p=particulars,
            years=by_year(visits, particulars.level),
            level=LEVELS[particulars.level - 1],
            map=picture(visits),
            map_level=LEVELS,
            facts=_FACTS,
            note=_NOTE,
            numbers_shown=_NUMBERS_SHOWN,
            version=__version__,
            policy=policy(style),
            style=Markup(style),
        )
    )
    # A name may hold half a surrogate pair, which no encoding can write.
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _clock(time: datetime, day: bool = True) -> str:
    return f"{time.astimezone(UTC):{'%Y-%m-%d ' if day else ''}%H:%M}"


def _stay(visit: Visit) -> str:
    """When it was, in one line."""
    if visit.end is None:
        return f"{_clock(visit.start)} UTC, end not noted"
    return f"{_clock(visit.start)} to {_clock(visit.end, visit.end.date() != visit.start.date())} UTC"


def _clean(text: str) -> str:
    return printable(text)


@cache
def _templates() -> jinja2.Environment:
    templates = environment(__package__)
    words = (wording.clearance, wording.metres, wording.percent, wording.plural)
    templates.filters.update({word.__name__: word for word in words}, stay=_stay, clean=_clean)
    templates.globals.update(decimal=decimal, geo_uri=geo_uri)
    return templates
