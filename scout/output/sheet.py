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
from scout.cautions import ON_ARRIVAL
from scout.errors import make_printable
from scout.geo.locator import LEVELS
from scout.model import PARK_ID, SOURCE, Parks, Source, Station, Units
from scout.output import text as wording
from scout.output.sheet_plan import SheetGround, draw_around, draw_close_up
from scout.output.templates import make_environment, make_page_policy, read_text_of
from scout.recording import arrive
from scout.recording.arrive import Arrival
from scout.recording.values import FLOOR_M
from scout.search.check import CheckOptions, list_outline_warnings

_LONGEST = 160  # letters of a name or path; the recording and the boundary files have the whole
# What two pages hold; the rest is counted.
_MOST = {"parks": 6, "outlines": 2, "sources": 4}
_CROWDED = {"parks": 3, "outlines": 2, "sources": 1}  # where outlines are warned of
_MOST_DROPPED, _LEAST_DROPPED = 12, 3
_NOTE_LINES, _NOTE_LETTERS = 11, 42  # of the column that the notes stand in


@dataclass(frozen=True, slots=True)
class SheetParticulars:
    """What the sheet says besides the answer."""

    title: str = ""
    call: str = ""
    operator: str = ""
    made_by: str = ""  # the command line
    made_on: str = ""  # ISO date, given by the front end
    recording_sha256: str = ""
    units: Units = "metric"


def build_sheet(arrival: Arrival, parks: Parks, particulars: SheetParticulars) -> str:
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
    units = particulars.units
    ground = SheetGround(found.lon, found.lat, arrival.level, arrival.checked.parks, parks)
    notes = _choose_notes(arrival.notes, units)
    outlines = list_outline_warnings(arrival.checked)
    style = read_text_of(__package__, "sheet.css")
    page = _load_templates().get_template("sheet.html")
    text = page.render(
        a=arrival,
        p=particulars,
        found=found,
        verdict=arrival.checked.verdict,
        names={park.park: park.park_name for park in arrival.checked.parks},
        level=LEVELS[arrival.level - 1],
        facts=arrive,
        floor_m=FLOOR_M,
        near=draw_close_up(arrival, ground, units),
        wide=draw_around(arrival, ground, units),
        sources=_sort_sources(arrival, parks),
        near_m=CheckOptions().near_m,
        units=units,
        usual=Station(),
        outlines=outlines,
        notes=notes,
        dropped=max(_LEAST_DROPPED, _MOST_DROPPED - sum(map(_count_lines, notes))),
        cautions=ON_ARRIVAL,
        most=_CROWDED if outlines else _MOST,
        version=__version__,
        policy=make_page_policy(style),
        style=Markup(style),
    )
    # A name may hold half a surrogate pair, which no encoding can write.
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _choose_notes(notes: Sequence[str], units: Units) -> list[str]:
    """The notes in words, as many as have room; one is shown whatever its length."""
    shown: list[str] = []
    room = _NOTE_LINES
    for note in notes:
        text = _shorten(wording.format_text(note, units))
        room -= _count_lines(text)
        if room < 0 and shown:
            break
        shown.append(text)
    return shown


def _count_lines(note: str) -> int:
    return -(-len(note) // _NOTE_LETTERS)


def _sort_sources(arrival: Arrival, parks: Parks) -> Sequence[Source]:
    """The boundary files, those of the parks near first."""
    near = parks.frame[PARK_ID].isin([park.park for park in arrival.checked.parks])
    first = set(parks.frame.loc[near, SOURCE])
    return [parks.sources[k] for k in sorted(range(len(parks.sources)), key=lambda k: (k not in first, k))]


def _shorten(text: str, most: int = _LONGEST) -> str:
    """Text from data on one line, cut where it is very long."""
    text = " ".join(make_printable(text).split())
    return text if len(text) <= most else text[: most - 1] + "…"


@cache
def _load_templates() -> jinja2.Environment:
    templates = make_environment(__package__)
    words = (
        wording.format_bearing,
        wording.format_clearance,
        wording.format_count,
        wording.format_fine_length,
        wording.format_length,
        wording.format_move,
        wording.format_probability,
        wording.format_stated_length,
        wording.format_text,
        wording.format_verdict,
    )
    templates.filters.update({word.__name__: word for word in words}, short=_shorten)
    return templates
