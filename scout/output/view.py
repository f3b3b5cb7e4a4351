"""What is seen from a place: in lines for a terminal, and as a page with pictures that loads nothing.

All text from data goes through an escaping template. Angles in pictures stand for radio.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from functools import cache
from itertools import pairwise
from typing import NamedTuple

import jinja2
import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from scout import __version__
from scout.cautions import NOT_A_SURVEY
from scout.io.places import NamedPlace
from scout.model import Horizon, Units
from scout.output import text as wording
from scout.output.sight_pictures import draw_panorama, draw_polar, draw_profile
from scout.output.sun import DayLight, choose_zone
from scout.output.templates import make_environment, make_page_policy, read_text_of
from scout.sight.outlook import (
    OPEN_DEG,
    AimSeen,
    PeakSeen,
    describe_aim,
    describe_horizon,
    judge_directions,
)
from scout.sight.path import SightPath, describe_path

_SUN_CAUTION = "Trees and buildings are in no heights: they make the horizon higher and dusk earlier."
_STATES = {1: "open", 0: "closed", -1: "unknown"}

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class View:
    """What is seen. Of a line of sight ``path`` and ``other`` are there, else ``horizon``."""

    place: NamedPlace
    antenna_m: float
    heights_m: tuple[float, float]  # the lowest and the highest that were read
    notes: tuple[str, ...]
    horizon: Horizon | None = None
    aims: tuple[AimSeen, ...] = ()
    peaks: tuple[PeakSeen, ...] = ()
    light: DayLight | None = None
    day: date | None = None
    zone: tzinfo | None = None
    other: NamedPlace | None = None
    other_antenna_m: float = 0.0
    path: SightPath | None = None
    obstacle: str = ""


# In lines.
def format_view(view: View, units: Units = "metric") -> Iterator[str]:
    """What is seen, in sentences for a terminal."""
    where = wording.format_position(view.place.lon, view.place.lat)
    height = wording.format_stated_length(view.antenna_m, units)
    if view.path is not None and view.other is not None:
        there = wording.format_position(view.other.lon, view.other.lat)
        other = wording.format_stated_length(view.other_antenna_m, units)
        yield f"From {view.place.name} ({where}), antenna {height} above the ground"
        yield f"to {view.other.name} ({there}), antenna {other} above the ground."
    else:
        yield f"From {view.place.name} ({where}), {height} above the ground."
    for line in list_view_lines(view, units):
        yield f"  {line}"
    for note in view.notes:
        yield f"  Note: {note}"


def list_view_lines(view: View, units: Units = "metric", *, with_aims: bool = True) -> list[str]:
    """Everything that is said of a view, a sentence each."""
    lines: list[str] = []
    if view.horizon is not None:
        lines += describe_horizon(view.horizon)
        lines += [describe_aim(aim) for aim in view.aims if with_aims]
        if view.peaks:
            named = [f"{peak.name} {wording.format_bearing(peak.azimuth_deg)}" for peak in view.peaks]
            lines.append(f"On the skyline: {', '.join(named)}.")
    if view.path is not None:
        lines += describe_path(view.path, view.obstacle)
    texts = [wording.format_text(line, units) for line in lines]
    texts += list_light_lines(view.light, view.day, view.zone, view.place.lon)
    low, high = (wording.format_height(one, units) for one in view.heights_m)
    ground = view.horizon
    here = "" if ground is None else f" Ground here {wording.format_height(ground.ground_m, units)}."
    return [*texts, f"Heights from {low} to {high} were read.{here} {_SUN_CAUTION}"]


def list_light_lines(light: DayLight | None, day: date | None, zone: tzinfo | None, lon: float) -> list[str]:
    """The Sun of a day in sentences: at a level horizon, and over the hills."""
    if light is None or day is None:
        return []
    zone = zone or choose_zone(lon)
    level = [f"{event.kind} {format_clock(event.at, day, zone)}" for event in light.level.events]
    if light.level.always:
        level.append(f"the Sun stays {'up' if light.level.always == 'up' else 'below the horizon'} all day")
    lines = [f"Sun on {day}, {zone}, level horizon: {', '.join(level)}."]
    if light.hills:
        spans = [f"{format_clock(a, day, zone)} to {format_clock(b, day, zone)}" for a, b in light.direct]
        over = f"over the hills {' and '.join(spans)}" if spans else "behind the hills all day"
        unsure = ", perhaps less: heights end too soon there" if light.unsure else ""
        lines.append(f"Sun {over}{unsure}.")
    return lines


def format_clock(at: datetime, day: date, zone: tzinfo) -> str:
    """Hours and minutes of a zone, and how many days off where the date is another."""
    at = at.astimezone(zone)
    minute = at.replace(second=0) if at.second < 30 else at.fromtimestamp(at.timestamp() + 30, zone)
    days = (minute.date() - day).days
    return f"{minute:%H:%M}" + (f" ({days:+d} day)".replace("-", "\u2212") if days else "")


# The page.
class TableRow(NamedTuple):
    """One row of a table beside a picture."""

    where: str
    cells: tuple[str, ...]


def build_view_page(view: View, units: Units = "metric", made_on: str = "") -> str:
    """The view as one HTML file that asks no network for anything; the same values give the same bytes."""
    style = read_text_of(__package__, "view.css")
    horizon, path = view.horizon, view.path
    text = (
        _load_templates()
        .get_template("view.html")
        .render(
            view=view,
            units=units,
            lines=list_view_lines(view, units, with_aims=False),
            polar=None if horizon is None else draw_polar(horizon, view.aims),
            panorama=None if horizon is None else draw_panorama(horizon, view.aims, view.peaks),
            horizon_rows=[] if horizon is None else _list_horizon_rows(horizon, units),
            aim_texts=[wording.format_text(describe_aim(aim), units) for aim in view.aims],
            profile=None if path is None else draw_profile(path, units),
            path_rows=[] if path is None else _list_path_rows(path, units),
            limit=OPEN_DEG,
            made_on=made_on,
            not_a_survey=NOT_A_SURVEY,
            version=__version__,
            policy=make_page_policy(style),
            style=Markup(style),
        )
    )
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _list_horizon_rows(horizon: Horizon, units: Units) -> list[TableRow]:
    """Of every ten degrees the highest, what makes it, how far heights reach, whether it is open."""
    deg, states = np.array(horizon.deg), judge_directions(horizon)
    rows = []
    for first in range(0, 360, 10):
        at = first + int(deg[first : first + 10].argmax())
        some = states[first : first + 10]
        word = "closed" if (some == 0).any() else _STATES[int(some.min())]
        rows.append(
            TableRow(
                f"{first}° to {first + 9}°",
                (
                    wording.format_angle(horizon.deg[at]),
                    wording.format_angle(horizon.error_deg[at]),
                    wording.format_length(horizon.at_m[at], units),
                    wording.format_length(min(horizon.reach_m[first : first + 10]), units),
                    word,
                ),
            )
        )
    return rows


def _list_path_rows(path: SightPath, units: Units) -> list[TableRow]:
    """Of every twentieth part of the way the place with the least clearance."""
    rows, count = [], len(path.at_m)
    cuts = np.linspace(0, count, min(20, count - 1) + 1).astype(np.int64)
    share = np.where(np.isnan(path.share), np.inf, path.share)
    for a, b in pairwise(cuts.tolist()):
        k = a + int(share[a:b].argmin())
        known = not np.isnan(path.ground_m[k])
        clearance = float(path.clearance_m[k]) if known else 0.0
        side = "over" if clearance >= 0 else "under"
        cells = (
            wording.format_height(float(path.ground_m[k]), units) if known else wording.UNKNOWN,
            f"{wording.format_fine_length(abs(clearance), units)} {side}" if known else wording.UNKNOWN,
            wording.format_fine_length(float(path.zone_m[k]), units),
            wording.format_share_of_zone(float(path.share[k])) if known and path.zone_m[k] > 0 else "",
        )
        rows.append(TableRow(wording.format_length(float(path.at_m[k]), units), cells))
    return rows


@cache
def _load_templates() -> jinja2.Environment:
    templates = make_environment(__package__)
    words = (
        wording.format_angle,
        wording.format_bearing,
        wording.format_length,
        wording.format_position,
        wording.format_stated_length,
    )
    templates.filters.update({word.__name__: word for word in words})
    return templates


def format_day(made_on: datetime) -> str:
    """The day of a time, UTC, as pages give it."""
    return made_on.astimezone(UTC).strftime("%Y-%m-%d")
