"""The sheet put together: facts and pictures into one page that loads nothing and runs no script.

All text from data goes through an escaping template.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import jinja2
from markupsafe import Markup

from scout import __version__
from scout.arrive import Arrival, facts
from scout.cautions import ON_ARRIVAL
from scout.check import Check
from scout.errors import printable
from scout.locator import LEVELS
from scout.model import PARK_ID, SOURCE, Parks, Source, Station
from scout.page import wording
from scout.sheet.drawing import around, close_up
from scout.sheet.ground import Ground
from scout.standstill import FLOOR_M
from scout.templates import environment, policy, text_of

__all__ = ["Particulars", "build"]

_LONGEST = 160  # letters of a name or path; the recording and the boundary files have the whole
_MOST = {"parks": 6, "sources": 4, "dropped": 12, "notes": 12}  # what two pages hold; the rest is counted


@dataclass(frozen=True, slots=True)
class Particulars:
    """What the sheet says besides the answer."""

    title: str = ""
    call: str = ""
    operator: str = ""
    made_by: str = ""  # the command line
    made_on: str = ""  # ISO date, given by the front end
    recording_sha256: str = ""


def build(arrival: Arrival, parks: Parks, particulars: Particulars) -> str:
    """The arrival sheet as one HTML file.

    Parameters
    ----------
    arrival : Arrival
        The recording and its answer.
    parks : Parks
        Those it was judged on.
    particulars : Particulars

    Returns
    -------
    str
        A page that asks no network for anything. The same values give the same bytes.
    """
    found = arrival.standstill
    ground = Ground(found.lon, found.lat, arrival.level, arrival.checked.parks, parks)
    style = text_of(__package__, "sheet.css")
    page = _templates().get_template("sheet.html")
    text = page.render(
        a=arrival,
        p=particulars,
        found=found,
        verdict=arrival.checked.verdict,
        names={park.park: park.park_name for park in arrival.checked.parks},
        level=LEVELS[arrival.level - 1],
        facts=facts,
        floor_m=FLOOR_M,
        near=close_up(arrival, ground),
        wide=around(arrival, ground),
        sources=_sources(arrival, parks),
        near_km=Check().near_m / 1000.0,
        usual=Station(),
        cautions=ON_ARRIVAL,
        most=_MOST,
        version=__version__,
        policy=policy(style),
        style=Markup(style),
    )
    # A name may hold half a surrogate pair, which no encoding can write.
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _sources(arrival: Arrival, parks: Parks) -> Sequence[Source]:
    """The boundary files, those of the parks near first."""
    near = parks.frame[PARK_ID].isin([park.park for park in arrival.checked.parks])
    first = set(parks.frame.loc[near, SOURCE])
    return [parks.sources[k] for k in sorted(range(len(parks.sources)), key=lambda k: (k not in first, k))]


def _short(text: str, most: int = _LONGEST) -> str:
    """Text from data on one line, cut where it is very long."""
    text = " ".join(printable(text).split())
    return text if len(text) <= most else text[: most - 1] + "…"


@cache
def _templates() -> jinja2.Environment:
    templates = environment(__package__)
    words = (wording.bearing, wording.metres, wording.percent, wording.plural)
    templates.filters.update({word.__name__: word for word in words}, short=_short)
    return templates
