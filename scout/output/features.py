"""Places found as GeoJSON, CSV and GeoPackage, under names that all three share."""

from __future__ import annotations

import csv
import io
import json
import math
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain, islice
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cautions import ALWAYS
from scout.geo.antimeridian import cut_geometries, make_path, round_place
from scout.io.geopackage import FeatureTable, build_geopackage
from scout.io.plain_text import clean_text
from scout.model import (
    ATTRIBUTES,
    DATUM_ERROR,
    GEOMETRY,
    KIND,
    PARK_ID,
    PARK_NAME,
    Findings,
    Horizon,
    Ranked,
    Route,
)
from scout.output.saved import SAVED_URI, dump_findings
from scout.output.text import list_about, list_credits, parse_day
from scout.search.describe import SpotColumns, StretchColumns, tabulate_spots
from scout.sight.outlook import format_sectors, measure_sky_view

PROPERTIES = (
    "rank",
    "kind",
    "corner",
    "locators",
    "parks",
    "park_names",
    "n_grids",
    "n_parks",
    "yield",
    "clearance_m",
    "confidence",
    "verdict",
    "outline_error_m",
    "stretch_m",
    "home_km",
    "notes",
    "near_park",
    "near_park_name",
    "near_m",
    "near_deg",
    "offset_m",
    "offset_deg",
    "walk_min",
    "back_min",
    "walk_m",
    "climb_m",
    "off_path_m",
    "parking",
    "walk_note",
    "slope_deg",
    "warnings",
    "new_grids",
    "new_parks",
    "new_yield",
    "horizon_max_deg",
    "sky_view",
    "open_sectors",
)


def make_properties(ranked: Ranked) -> dict[str, Any]:
    """Values of one spot by the names of ``PROPERTIES``; see `list_properties`."""
    (some,) = tabulate_spots((ranked,))
    return {name: values[0] for name, values in list_properties(some).items()}


def list_properties(spots: SpotColumns) -> dict[str, list[Any]]:
    """Values of spots by the names of ``PROPERTIES``, in that order; None where nothing is known.

    ``corner`` and ``parking`` are ``[lon, lat]``; ``parking`` is where the walk begins, or the nearest such
    place when there is no walk, and ``walk_note`` then says why. ``open_sectors``
    are degrees of azimuth with a horizon up to 3. Text is cleaned, not escaped.
    """
    near, routes = spots.near, spots.route
    columns = (
        spots.rank,
        spots.kind,
        list_places(*spots.corner),
        [*map(list, spots.locators)],
        _clean_lists(spots.parks),
        _clean_lists(spots.park_names),
        spots.n_grids,
        spots.n_parks,
        spots.grid_park_pairs,
        round_values(spots.clearance_m, 2),
        round_values(spots.confidence, 4),
        spots.word,
        [_round_value(max(one.error_m for one in some), 1) if some else None for some in spots.coarse],
        _sum_stretches(spots),
        round_values(spots.home_km, 3),
        _clean_texts([" ".join(some) for some in spots.notes]),
        [None if one is None else clean_text(one.park) for one in near],
        [None if one is None else clean_text(one.park_name) for one in near],
        [None if one is None else _round_value(one.distance_m, 2) for one in near],
        [None if one is None else _round_value(one.bearing_deg, 1) for one in near],
        round_values(spots.offset_m, 2),
        round_values(spots.offset_deg, 1),
        *_list_walk_values(routes),
        [None if slope is None else _round_value(slope, 1) for slope in spots.slope_deg],
        _clean_lists(spots.warnings),
        *([None if new is None else getattr(new, kind) for new in spots.new] for kind in _NEW),
        *_list_sight_values(spots.horizon),
    )
    return dict(zip(PROPERTIES, columns, strict=True))


_NEW = ("grids", "parks", "pairs")


def _list_sight_values(horizons: Sequence[Horizon | None]) -> Iterator[list[Any]]:
    """The highest angle of each horizon, the share of the sky over it, what is open."""
    yield [None if one is None else _round_value(max(one.deg), 1) for one in horizons]
    yield [None if one is None else _round_value(measure_sky_view(one), 3) for one in horizons]
    yield [None if one is None else format_sectors(one) for one in horizons]


def _sum_stretches(spots: SpotColumns) -> list[float | None]:
    """Length of the stretches of each spot; a whole 0 without any."""
    count = len(spots.rank)
    length_m = np.bincount(spots.stretch_row, spots.stretches.length_m, count).astype(float)
    some = np.bincount(spots.stretch_row, minlength=count).tolist()
    return [one if k else 0 for one, k in zip(round_values(length_m, 1), some, strict=True)]


def _list_walk_values(routes: Sequence[Route | None]) -> Iterator[list[Any]]:
    if not any(routes):
        yield from ([None] * len(routes) for _ in range(7))
        return
    for key in ("out_min", "back_min", "length_m", "climb_m", "off_path_m"):
        yield [None if one is None else _round_value(getattr(one, key), 1) for one in routes]
    yield [None if one is None or one.start is None else list(round_place(*one.start)) for one in routes]
    yield [
        None if one is None or one.state == "walked" else clean_text(one.reason or one.state)
        for one in routes
    ]


def _clean_texts(texts: Sequence[str]) -> list[str]:
    """Each text cleaned; most come again and again."""
    clean = {text: clean_text(text) for text in set(texts)}
    return [clean[text] for text in texts]


def _clean_lists(lists: Sequence[Sequence[str]]) -> list[list[str]]:
    texts = iter(_clean_texts([*chain(*lists)]))
    return [[*islice(texts, len(some))] for some in lists]


def _round_value(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def round_values(values: NDArray[np.float64], digits: int) -> list[float | None]:
    """Round numbers as `round` does; None for what is not finite.

    The double nearest to a decimal fraction is that of its digits over a power of ten, while both are exact;
    where the last digit is in doubt, `round` decides.
    """
    with np.errstate(invalid="ignore", over="ignore"):
        scaled = values * 10.0**digits
        whole = np.rint(scaled)
        doubt = ~(np.abs(np.abs(scaled - whole) - 0.5) > 1e-6 + 1e-15 * np.abs(scaled))
    rounded: list[float | None] = (whole / 10.0**digits).tolist()
    for k in np.flatnonzero(doubt | ~(np.abs(whole) < 2.0**53)).tolist():
        rounded[k] = _round_value(float(values[k]), digits)
    return rounded


def list_places(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> list[list[float] | None]:
    """Positions as `round_place` gives them, a list each; None where there is none."""
    x, y = round_values(lon, 8), round_values(lat, 8)
    over = np.flatnonzero(~((lon > -179.9) & (lon < 179.9)) & np.isfinite(lon))
    places = [None if a is None or b is None else [a, b] for a, b in zip(x, y, strict=True)]
    for k in over.tolist():
        places[k] = list(round_place(float(lon[k]), float(lat[k])))
    return places


# CSV that a spreadsheet opens as data: no cell becomes a formula.
_FIRST = ("rank", "kind", "latitude", "longitude", "corner_latitude", "corner_longitude")
_REST = tuple(key for key in PROPERTIES if key not in ("rank", "kind", "corner"))
# The full-width forms too: some spreadsheets read them as the plain ones.
_FORMULA = tuple("=+-@＝＋－＠")
_LINE_LED = ("\t", "\r", "\n")


def to_csv(findings: Findings) -> str:
    """One row per spot with latitude and longitude first; lists are joined by blanks or ``; ``.

    Credits, where there are any, are a column: a table has no other place that survives a spreadsheet.
    """
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    credits = [" ".join(list_credits(findings))] if findings.credits else []
    columns = [name for key in _REST for name in _name_columns(key)]
    table.writerow([*_FIRST, *columns, *(["credits"] if credits else [])])
    for spots in tabulate_spots(findings.spots):
        values = list_properties(spots)
        cells = [
            values["rank"],
            values["kind"],
            *_list_swapped(list_places(spots.lon, spots.lat)),
            *_list_swapped(values["corner"]),
        ]
        for key in _REST:
            cells += _list_swapped(values[key]) if key == "parking" else [_make_cells(key, values[key])]
        cells += [[as_data(one)] * len(spots.rank) for one in credits]
        table.writerows(zip(*cells, strict=True))
    return out.getvalue()


def _name_columns(key: str) -> tuple[str, ...]:
    return ("parking_latitude", "parking_longitude") if key == "parking" else (key,)


def _list_swapped(places: Sequence[Any]) -> list[list[str]]:
    """Latitudes, then longitudes, as people expect."""
    return [["" if one is None else f"{one[k]:.8f}" for one in places] for k in (1, 0)]


def _make_cells(key: str, values: list[Any]) -> list[Any]:
    """Cells a spreadsheet takes as data: text that would start a formula is led by an apostrophe."""
    between = " " if key == "locators" else "; "
    texts = [between.join(one) if isinstance(one, list) else one for one in values]
    safe = {text: as_data(text) for text in set(texts) if isinstance(text, str)}
    return ["" if one is None else safe.get(one, one) for one in texts]


def as_data(text: str) -> str:
    """A text that a spreadsheet takes as data: an apostrophe leads what would start a formula.

    What follows a semicolon as well, for in many countries spreadsheets part cells there.

    Examples
    --------
    >>> as_data("=1+1"), as_data("Quiet Cove;=1+1"), as_data("a=b; c")
    ("'=1+1", "Quiet Cove;'=1+1", 'a=b; c')
    """
    return ";".join(f"'{part}" if _starts_formula(part) else part for part in text.split(";"))


def _starts_formula(text: str) -> bool:
    """Whether a spreadsheet may compute a text, once it has dropped what nobody sees at its start."""
    if text.startswith(_LINE_LED):
        return True
    seen = next((c for c in text if not c.isspace() and unicodedata.category(c) not in ("Cc", "Cf")), "")
    return seen in _FORMULA


# GeoJSON as RFC 7946 has it: a point per spot.
def to_geojson(findings: Findings) -> str:
    """RFC 7946 points, one per spot, in rank order; coordinates to 1e-8 deg (a millimetre).

    Credits, where there are any, are a foreign member of the collection (section 6.1).
    """
    row = ", ".join(f"{json.dumps(key)}: %s" for key in PROPERTIES)
    row = (
        f'{{"type": "Feature", "geometry": {{"type": "Point", "coordinates": %s}}, "properties": {{{row}}}}}'
    )
    lines = []
    for spots in tabulate_spots(findings.spots):
        columns = (list_places(spots.lon, spots.lat), *list_properties(spots).values())
        lines += [row % values for values in zip(*map(_encode_column, columns), strict=True)]
    credits = json.dumps(list_credits(findings), ensure_ascii=False)
    more = f', "credits": {credits}' if findings.credits else ""
    whole = ",\n".join(lines)
    return f'{{"type": "FeatureCollection"{more}, "features": [\n{whole}\n]}}\n'


def _encode_column(values: list[Any]) -> list[str]:
    """Each value as JSON: all at once, for no text in JSON has a line end in it."""
    if not isinstance(next((one for one in values if one is not None), None), list):
        whole = json.dumps(values, ensure_ascii=False, allow_nan=False, separators=("\n", ":"))
        return whole[1:-1].split("\n") if values else []
    texts = iter(_encode_column([*chain(*(one for one in values if one is not None))]))
    return ["null" if one is None else f"[{', '.join(islice(texts, len(one)))}]" for one in values]


# GeoPackage: the layers spots, stretches, parks and routes.
_NO_DAY = "1970-01-01"  # where the findings have none: a file needs one
_WHOLE = ("rank", "n_grids", "n_parks", "yield")
_TEXTS = (
    "kind",
    "locators",
    "parks",
    "park_names",
    "verdict",
    "notes",
    "near_park",
    "near_park_name",
    "walk_note",
    "warnings",
    "open_sectors",
)
_PLACES = ("corner", "parking")  # two columns each


def to_gpkg(findings: Findings) -> bytes:
    """A GeoPackage in WGS 84; a layer without rows is there all the same. Lists are joined by ``; ``.

    As metadata it carries the best of the findings themselves, for cards and packs without another search.
    """
    day = parse_day(findings.made_on)
    spots, stretches, routes = _make_spot_tables(findings)
    changed = f"{day.isoformat() if day else _NO_DAY}T00:00:00.000Z"
    tables = [spots, stretches, _make_parks_table(findings), routes]
    return build_geopackage(tables, changed, (SAVED_URI, dump_findings(findings)))


def _make_spot_tables(findings: Findings) -> tuple[FeatureTable, FeatureTable, FeatureTable]:
    """Spots, stretches and routes: what is looked up to describe a spot is looked up once."""
    spots, stretches, routes = _Rows(), _Rows(), _Rows()
    for some in tabulate_spots(findings.spots):
        values = list_properties(some)
        columns = [column for key in PROPERTIES for column in _list_columns(key, values[key])]
        places = np.array(list_places(some.lon, some.lat), dtype=float)
        spots.add(shapely.points(places.reshape(-1, 2)), columns)
        stretches.add(_make_paths(some.stretches), _list_stretch_columns(some))
        walked = [k for k, one in enumerate(some.route) if one is not None and len(one.line) > 1]
        lines = [one for one in some.route if one is not None and len(one.line) > 1]
        measured = [[values[key][k] for k in walked] for key in _MEASURED]
        kinds, names = [one.start_kind for one in lines], [clean_text(one.start_name) for one in lines]
        routes.add([make_path(one.line) for one in lines], [*measured, kinds, names])
    about = "Parts of grid lines along which one set of parks holds; rank is the spot's they belong to."
    return (
        spots.make_table("spots", "POINT", "\n".join(list_about(findings)), _SPOT_COLUMNS),
        stretches.make_table("stretches", "MULTILINESTRING", about, _STRETCH_COLUMNS),
        routes.make_table("routes", "MULTILINESTRING", "\n".join(ALWAYS), _ROUTE_COLUMNS),
    )


class _Rows:
    """Rows of a layer as they come, some columns of them at a time."""

    def __init__(self) -> None:
        self.rows: list[tuple[Any, ...]] = []
        self.shapes: list[Any] = []

    def add(self, shapes: Iterable[Any], columns: Sequence[Sequence[Any]]) -> None:
        self.rows += zip(*columns, strict=True)
        self.shapes.extend(shapes)

    def make_table(self, name: str, kind: str, about: str, columns: Mapping[str, str]) -> FeatureTable:
        shapes = self.shapes if kind == "POINT" else [*map(_make_multi, cut_geometries(self.shapes))]
        return FeatureTable(name, kind, about, columns, self.rows, shapes)


def _names_of_geopackage(key: str) -> tuple[str, ...]:
    return (f"{key}_latitude", f"{key}_longitude") if key in _PLACES else (key,)


_SPOT_COLUMNS = {
    name: "INTEGER" if key in _WHOLE else "TEXT" if key in _TEXTS else "REAL"
    for key in PROPERTIES
    for name in _names_of_geopackage(key)
}
_STRETCH_COLUMNS = {
    "rank": "INTEGER",
    "line": "TEXT",
    "locators": "TEXT",
    "parks": "TEXT",
    "length_m": "REAL",
}
_MEASURED = ("rank", "walk_min", "back_min", "walk_m", "climb_m", "off_path_m")
_ROUTE_COLUMNS = {
    "rank": "INTEGER",
    **dict.fromkeys(_MEASURED[1:], "REAL"),
    "start_kind": "TEXT",
    "start_name": "TEXT",
}


def _list_columns(key: str, values: list[Any]) -> list[list[Any]]:
    if key in _PLACES:
        return [[None if one is None else one[k] for one in values] for k in (1, 0)]
    between = " " if key == "locators" else "; "
    return [[between.join(one) if isinstance(one, list) else one for one in values]]


def _list_stretch_columns(spots: SpotColumns) -> list[Sequence[Any]]:
    stretches = spots.stretches
    return [
        [spots.rank[row] for row in spots.stretch_row.tolist()],
        stretches.line,
        [" ".join(some) for some in stretches.locators],
        _clean_texts(["; ".join(some) for some in stretches.parks]),
        round_values(stretches.length_m, 1),
    ]


def _make_paths(stretches: StretchColumns) -> NDArray[np.object_]:
    """A line for each, its longitudes running on across the antimeridian."""
    lon, lat = np.stack([stretches.start, stretches.end], axis=-1)
    lines: NDArray[np.object_] = shapely.linestrings(
        np.stack([np.unwrap(lon, period=360, axis=1), lat], axis=-1)
    )
    return lines


def _make_parks_table(findings: Findings) -> FeatureTable:
    columns = {"park": "TEXT", "name": "TEXT", "kind": "TEXT", "datum_error_m": "REAL", "attributes": "TEXT"}
    frame = findings.parks
    about = "\n".join([*list_credits(findings), ALWAYS[0]])
    if not len(frame):
        return FeatureTable("parks", "MULTIPOLYGON", about, columns, [], [])
    attributes = frame[ATTRIBUTES] if ATTRIBUTES in frame else [None] * len(frame)
    rows = [
        (clean_text(park), clean_text(name), kind, float(error_m), _format_json(more))
        for park, name, kind, error_m, more in zip(
            *(frame[column] for column in (PARK_ID, PARK_NAME, KIND, DATUM_ERROR)), attributes, strict=True
        )
    ]
    shapes = [_make_multi(shape) for shape in cut_geometries(frame[GEOMETRY])]
    return FeatureTable("parks", "MULTIPOLYGON", about, columns, rows, shapes)


def _format_json(attributes: Mapping[str, str] | None) -> str | None:
    """The park's own columns that were asked for; JSON, because their names come from data."""
    texts = {clean_text(name): clean_text(str(value)) for name, value in (attributes or {}).items()}
    return json.dumps(texts, ensure_ascii=False) if texts else None


def _make_multi(geometry: Any) -> Any:
    if geometry.geom_type.startswith("Multi"):
        return geometry
    several = shapely.multipolygons if geometry.geom_type == "Polygon" else shapely.multilinestrings
    return several([geometry])
