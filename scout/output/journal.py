"""Visits as CSV, GeoJSON and a page to read.

The journal: visits as one page to read and print, with a map, that loads nothing and runs no script.

All text from data goes through an escaping template.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import PurePath
from typing import Any, NamedTuple

import jinja2
import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from scout import __version__
from scout.errors import OutputError, make_printable
from scout.geo.geodesy import wrap_lon
from scout.geo.locator import LEVELS, count_rows, decode, get_edge_lat, get_edge_lon, make_locator
from scout.io.plain_text import clean_text
from scout.model import Horizon, Units, Visit
from scout.output import text as wording
from scout.output.base_geography import AREAS, BaseGeography, clip_layer, has_land, load_base
from scout.output.features import as_data
from scout.output.sight_pictures import draw_polar
from scout.output.templates import make_environment, make_page_policy, read_text_of
from scout.sight.outlook import describe_horizon
from scout.visits.tally import count_by_year, list_grids_at

_TEXTS = ("call", "operator", "antenna", "radio", "power_w", "bands", "contacts")
_TOLD = ("weather", "conditions", "went_well", "went_badly", "sheet")


def make_visit_properties(visit: Visit) -> dict[str, Any]:
    """All of a visit but its position; lists stay lists, what is not known is None."""
    return {
        "visit": visit.number,
        "start": _format_time(visit.start),
        "end": _format_time(visit.end),
        "error_m": visit.error_m,
        "level": visit.level,
        "locators": list(visit.locators),
        "parks": [clean_text(park.park) for park in visit.parks],
        "park_names": [clean_text(park.name) for park in visit.parks],
        "clearances_m": [park.clearance_m for park in visit.parks],
        "park_confidences": [park.confidence for park in visit.parks],
        "confidence": visit.confidence,
        **{name: _tidy_value(getattr(visit, name)) for name in (*_TEXTS, *_TOLD)},
    }


def format_visits_csv(visits: Sequence[Visit]) -> str:
    """A row per visit, latitude before longitude; locators are joined by blanks, other lists by ``; ``."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    names = list(make_visit_properties(Visit(0.0, 0.0, datetime(2000, 1, 1, tzinfo=UTC))))[1:]
    table.writerow(["visit", "latitude", "longitude", *names])
    for visit in visits:
        values = make_visit_properties(visit)
        place = (f"{visit.lat:.8f}", f"{float(wrap_lon(visit.lon)):.8f}")
        table.writerow([visit.number, *place, *(_make_visit_cell(name, values[name]) for name in names)])
    return out.getvalue()


def format_visits_geojson(visits: Sequence[Visit]) -> str:
    """A feature collection of points."""
    features = [
        {
            "type": "Feature",
            "id": visit.number,
            "geometry": {
                "type": "Point",
                "coordinates": [round(float(wrap_lon(visit.lon)), 8), round(visit.lat, 8)],
            },
            "properties": make_visit_properties(visit),
        }
        for visit in visits
    ]
    collection = {"type": "FeatureCollection", "features": features}
    return json.dumps(collection, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _format_time(time: datetime | None) -> str | None:
    return None if time is None else f"{time.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _tidy_value(value: Any) -> Any:
    return clean_text(value) if isinstance(value, str) else value


def _make_visit_cell(name: str, value: Any) -> Any:
    """A cell a spreadsheet takes as data: text that would start a formula is led by an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, list):
        texts = ["" if item is None else f"{item:g}" if isinstance(item, float) else item for item in value]
        value = (" " if name == "locators" else "; ").join(texts)
    return as_data(value) if isinstance(value, str) else value


# The journal's map: visits and the grids they claimed, on the lattice over the base geography; picture units.
_WIDE, _TALL = 760.0, 460.0  # the picture's largest sides
_LEAST_DEG = 3.0  # of latitude shown, however near the visits are to each other
_FIELDS_FROM_DEG = 24.0  # latitude shown from which only fields are ruled
_LABEL = (36.0, 18.0)  # the least room for a locator
_TOUCHING = 22.0  # marks nearer than this become one
_STRAY = 0.6  # of a line of the base, at most
# Latitude shown, and the highest rank of each layer up to that.
_RANKS = (
    (12.0, {"land": 9, "lakes": 9, "rivers": 9, "countries": 9, "states": 9}),
    (40.0, {"land": 9, "lakes": 3, "rivers": 3, "countries": 9, "states": 2}),
    (math.inf, {"land": 9, "lakes": 1, "rivers": 1, "countries": 9, "states": -1}),
)
_MOST_TOWNS, _TOWN_SIZE = 16, 11.0


@dataclass(frozen=True, slots=True)
class JournalPicture:
    """Everything drawn; x runs east and y south."""

    wide: float
    tall: float
    level: int
    shaded: tuple[tuple[float, float, float, float], ...]  # x, y, width, height
    across: tuple[float, ...]  # y of the parallels
    upright: tuple[float, ...]  # x of the meridians
    labels: tuple[tuple[float, float, str], ...]
    marks: tuple[tuple[float, float, str], ...]  # "4 +2": visit 4 and two more there
    base: dict[str, str]  # of each layer a path; land is "" where the base has none under most visits
    towns: tuple[tuple[float, float, str], ...]
    sea: bool  # whether what is no land may be told for sea


class _JournalView(NamedTuple):
    """What part of the globe is shown, and at what scale."""

    west: float
    north: float
    wide: float  # degrees of longitude
    high: float  # degrees of latitude
    x_scale: float  # units per degree
    y_scale: float

    def at(self, lon: float, lat: float) -> tuple[float, float]:
        """Degrees to units of the picture."""
        return round((lon - self.west) * self.x_scale, 1), round((self.north - lat) * self.y_scale, 1)


def draw_journal(visits: Sequence[Visit]) -> JournalPicture | None:
    """The map of some visits; None without any."""
    if not visits:
        return None
    lon = _unwrap_lon([visit.lon for visit in visits])
    lat = np.array([visit.lat for visit in visits])
    view = _choose_view(lon, lat)
    level = 1 if view.high > _FIELDS_FROM_DEG else 2
    size = view.at(view.west + view.wide, view.north - view.high)
    i, j = _list_columns(view, level), _list_rows(view, level)
    places = [view.at(float(x), float(y)) for x, y in zip(lon, lat, strict=True)]
    base = load_base()
    labels, marks = _label_cells(view, level), _place_marks(visits, places)
    # Small islands that the base lacks matter where it is close up only.
    sea = view.high > _FIELDS_FROM_DEG or has_land(base, np.column_stack([lon, lat]))
    return JournalPicture(
        *size,
        level,
        shaded=_shade_cells(visits, lon, level, view),
        across=tuple(view.at(0.0, float(y))[1] for y in get_edge_lat(np.array([*j, j[-1] + 1]), level)),
        upright=tuple(view.at(float(x), 0.0)[0] for x in get_edge_lon(np.array([*i, i[-1] + 1]), level)),
        labels=labels,
        marks=marks,
        base=_draw_base(base, view, sea),
        towns=_choose_towns(base, view, size, (*labels, *marks)),
        sea=sea,
    )


def _draw_base(base: BaseGeography, view: _JournalView, sea: bool) -> dict[str, str]:
    """Paths of the base's layers in view."""
    box = (view.west, view.north - view.high, view.west + view.wide, view.north)
    ranks = next(ranks for most, ranks in _RANKS if view.high <= most)
    return {
        name: "".join(
            _format_path(line, view, name in AREAS)
            for line in clip_layer(layer, box, name in AREAS, _STRAY / view.y_scale, ranks[name])
        )
        for name, layer in base.layers.items()
        if name != "land" or sea
    }


def _format_path(line: NDArray[np.float64], view: _JournalView, closed: bool) -> str:
    xy = np.round((line - [view.west, view.north]) * [view.x_scale, -view.y_scale], 1) + 0.0
    xy = xy[:-1] if closed else xy
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in xy.tolist()) + ("Z" if closed else "")


def _choose_towns(
    base: BaseGeography,
    view: _JournalView,
    size: tuple[float, float],
    taken: Sequence[tuple[float, float, str]],
) -> tuple[tuple[float, float, str], ...]:
    """Towns in view, the largest first, whose names lie on no other name."""
    boxes = [(x - 8.0, y - 16.0, x + 8.5 * len(text) + 8.0, y + 22.0) for x, y, text in taken]
    found: list[tuple[float, float, str]] = []
    east = (base.towns[:, 0] - view.west) % 360.0
    for k in np.flatnonzero(
        (east < view.wide) & (np.abs(base.towns[:, 1] - view.north + view.high / 2) < view.high / 2)
    ):
        x, y = view.at(view.west + float(east[k]), float(base.towns[k, 1]))
        name = base.town_names[k]
        box = (x - 5.0, y - _TOWN_SIZE, x + 6.0 + 0.62 * _TOWN_SIZE * len(name), y + 6.0)
        if box[0] < 0 or box[1] < 0 or box[2] > size[0] or box[3] > size[1]:
            continue
        if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in boxes):
            continue
        boxes.append(box)
        found.append((x, y, name))
        if len(found) == _MOST_TOWNS:
            break
    return tuple(found)


def _choose_view(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> _JournalView:
    middle = float((lat.min() + lat.max()) / 2)
    narrow = max(math.cos(math.radians(middle)), 0.05)
    high = max(float(np.ptp(lat)) * 1.25, _LEAST_DEG)
    wide = max(float(np.ptp(lon)) * 1.25, 1.4 * _LEAST_DEG / narrow)
    scale = min(_WIDE / (wide * narrow), _TALL / high)
    # What is free beside them is shown as well: the picture has its full width.
    wide = min(_WIDE / (scale * narrow), 360.0)
    west = float((lon.min() + lon.max()) / 2) - wide / 2
    return _JournalView(west, middle + high / 2, wide, high, scale * narrow, scale)


def _unwrap_lon(lon: Sequence[float]) -> NDArray[np.float64]:
    """Longitudes made continuous: the widest empty part of the globe lies outside them."""
    values = np.array(lon) % 360.0
    ordered = np.sort(values)
    gaps = np.diff(np.concatenate([ordered, [ordered[0] + 360.0]]))
    first = ordered[(int(np.argmax(gaps)) + 1) % len(ordered)]
    turned: NDArray[np.float64] = (values - first) % 360.0 + first
    return turned - 360.0 if turned.min() >= 180.0 else turned


def _list_columns(view: _JournalView, level: int) -> range:
    """Numbers of the columns of cells in view, unwrapped."""
    per = count_rows(level) / 360
    return range(math.floor((view.west + 180) * per), math.ceil((view.west + view.wide + 180) * per))


def _list_rows(view: _JournalView, level: int) -> range:
    per = count_rows(level) / 180
    low, top = (view.north - view.high + 90) * per, (view.north + 90) * per
    return range(max(math.floor(low), 0), min(math.ceil(top), count_rows(level)))


def _shade_cells(
    visits: Sequence[Visit], lon: NDArray[np.float64], level: int, view: _JournalView
) -> tuple[tuple[float, float, float, float], ...]:
    boxes = {}
    for visit, x in zip(visits, lon.tolist(), strict=True):
        for text in list_grids_at(visit, level):
            cell = decode(text)
            turn = round((x - cell.lon) / 360.0) * 360.0
            left, top = view.at(cell.west + turn, cell.north)
            right, bottom = view.at(cell.east + turn, cell.south)
            boxes[text, turn] = (left, top, round(right - left, 1), round(bottom - top, 1))
    return tuple(boxes.values())


def _label_cells(view: _JournalView, level: int) -> tuple[tuple[float, float, str], ...]:
    found = []
    for j in _list_rows(view, level):
        for i in _list_columns(view, level):
            x, y = view.at(float(get_edge_lon(i, level)), float(get_edge_lat(j, level)))
            (end, top), foot = (
                view.at(float(get_edge_lon(i + 1, level)), float(get_edge_lat(j + 1, level))),
                y,
            )
            x, foot = max(x, 0.0), min(foot, round(view.high * view.y_scale, 1))
            end = min(end, round(view.wide * view.x_scale, 1))
            if end - x >= _LABEL[0] and foot - max(top, 0.0) >= _LABEL[1]:
                # Over its south edge: the number of a visit at a corner hangs below.
                found.append((x + 5, foot - 6, str(make_locator(i, j, level))))
    return tuple(found)


def _place_marks(
    visits: Sequence[Visit], places: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float, str], ...]:
    groups: list[tuple[float, float, list[int]]] = []
    for visit, (x, y) in zip(visits, places, strict=True):
        near = next((g for g in groups if math.hypot(g[0] - x, g[1] - y) < _TOUCHING), None)
        if near is None:
            groups.append((x, y, [visit.number]))
        else:
            near[2].append(visit.number)
    return tuple(
        (x, y, str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]} +{len(numbers) - 1}")
        for x, y, numbers in groups
    )


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
class JournalParticulars:
    """What the journal says besides the visits."""

    title: str = ""
    made_by: str = ""  # the command line
    made_on: str = ""  # ISO date, given by the front end
    level: int = 2  # at which grids are counted
    left_out: tuple[int, ...] = ()  # numbers of the notebook's rows that are no visits
    units: Units = "metric"
    horizons: Mapping[int, Horizon] = field(default_factory=dict)  # by number of the visit, where known


def build_journal_page(visits: Sequence[Visit], particulars: JournalParticulars) -> str:
    """The journal as one HTML file; the same visits give the same bytes."""
    style = read_text_of(__package__, "journal.css")
    text = (
        _load_templates()
        .get_template("journal.html")
        .render(
            visits=sorted(visits, key=lambda visit: (visit.start, visit.number), reverse=True),
            p=particulars,
            units=particulars.units,
            years=count_by_year(visits, particulars.level),
            level=LEVELS[particulars.level - 1],
            map=draw_journal(visits),
            map_level=LEVELS,
            facts=_FACTS,
            note=_NOTE,
            numbers_shown=_NUMBERS_SHOWN,
            views={
                number: _describe_view(one, particulars.units) for number, one in particulars.horizons.items()
            },
            version=__version__,
            policy=make_page_policy(style),
            style=Markup(style),
        )
    )
    # A name may hold half a surrogate pair, which no encoding can write.
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _describe_view(horizon: Horizon, units: Units) -> tuple[Any, list[str]]:
    """The picture of a horizon, and its sentences."""
    lines = [wording.format_text(line, units) for line in describe_horizon(horizon, brief=True)]
    return draw_polar(horizon), lines


def _format_clock(time: datetime, day: bool = True) -> str:
    return f"{time.astimezone(UTC):{'%Y-%m-%d ' if day else ''}%H:%M}"


def _format_stay(visit: Visit) -> str:
    """When it was, in one line."""
    if visit.end is None:
        return f"{_format_clock(visit.start)} UTC, end not noted"
    end = _format_clock(visit.end, visit.end.date() != visit.start.date())
    return f"{_format_clock(visit.start)} to {end} UTC"


def _clean_text(text: str) -> str:
    return make_printable(text)


@cache
def _load_templates() -> jinja2.Environment:
    templates = make_environment(__package__)
    words = (
        wording.format_angle,
        wording.format_clearance,
        wording.format_count,
        wording.format_fine_length,
        wording.format_position,
        wording.format_probability,
    )
    templates.filters.update({word.__name__: word for word in words}, stay=_format_stay, clean=_clean_text)
    templates.globals.update(geo_uri=wording.format_geo_uri)
    return templates


# Visits to the text of a file: a table, points for a GIS, a journal to read.
FORMATS: dict[str, Callable[[Sequence[Visit], JournalParticulars], str]] = {
    ".csv": lambda visits, _: format_visits_csv(visits),
    ".geojson": lambda visits, _: format_visits_geojson(visits),
    ".html": build_journal_page,
}


def export_visits(visits: Sequence[Visit], path: str, particulars: JournalParticulars) -> str:
    """Text of the visits in the format of a path's suffix.

    Raises
    ------
    OutputError
        When no format goes by that suffix.
    """
    check_format(path)
    return FORMATS[PurePath(path).suffix.lower()](visits, particulars)


def check_format(path: str) -> None:
    """Refuse a path whose suffix no format goes by."""
    suffix = PurePath(path).suffix.lower()
    if suffix not in FORMATS:
        raise OutputError(path, f"no format goes by {suffix or 'no suffix'}", f"use {' or '.join(FORMATS)}")
