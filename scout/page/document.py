"""The page put together: folium's map inside our own document, everything inlined.

folium escapes nothing and loads ten files from outside, so only its map and its tile layer are used, each
under a fixed name (the bytes then repeat). All text from data goes through an escaping template or into one
block of JSON that the script reads with ``textContent``.
"""

from __future__ import annotations

import hashlib
from base64 import b64encode
from functools import cache
from typing import Any

import folium
import jinja2
from branca.element import Figure
from markupsafe import Markup

from scout import __version__
from scout.cautions import ALWAYS, HAZARDS, NOT_A_SURVEY, warn_of_outline
from scout.geo.locator import LEVELS
from scout.model import Findings, Units
from scout.output import text as wording
from scout.output.templates import make_environment, read_text_of
from scout.output.trip import TELL, describe_day, describe_worth, format_proof, list_cautions, list_day
from scout.page import leaflet
from scout.page.around import AROUND_KM
from scout.page.bundle import bundle
from scout.page.data import WALK_TOLERANCE_M, format_script_json, make_page_data
from scout.page.outlines import FULL_DETAIL_KM
from scout.page.packing import MAP_EDGE_LAT
from scout.quantities import LengthForm
from scout.search.rank import edge_m, has_plenty
from scout.tours.day import Trip

BACKGROUND_HOST = "https://tile.openstreetmap.org"
_BACKGROUND_CREDIT = (
    '<a href="https://www.openstreetmap.org/copyright" rel="noopener">© OpenStreetMap contributors</a>'
)
_STYLES = ("page.css", "spots.css", "walks.css", "check.css", "live.css", "map.css", "paper.css")
# What folium writes to make the map, as the function that `map.js` calls: the scripts' own names stay theirs.
_MAKE_MAP = """function makeMap(motion) {{
{folium}
return {{ scoutMap: scout_map, backgroundTiles: background_tiles }};
}}"""
DEFAULT_TITLE = "Where grids and parks meet"
_HEAD_SCRIPT = 'document.documentElement.classList.add("scripted");'
_LINES_SHOWN = 200  # of each list of records; the rest is counted

# What the page's templates write numbers and places with.
_WORDS = (
    wording.format_bearing,
    wording.format_clearance,
    wording.format_count,
    wording.format_fine_length,
    wording.format_geo_uri,
    wording.format_length,
    wording.format_minutes,
    wording.format_position,
    wording.format_probability,
    wording.format_text,
    wording.format_verdict,
    wording.format_walk,
    wording.name_kind,
    wording.name_verdict_class,
    wording.describe_standing,
    wording.list_coarse,
    warn_of_outline,
)


class ScoutMap(folium.Map):  # type: ignore[misc]
    """A Leaflet map that loads nothing from outside and is named the same in every build."""

    default_js: tuple[()] = ()
    default_css: tuple[()] = ()

    def __init__(self) -> None:
        super().__init__(tiles=None)
        self._name, self._id = "scout", "map"
        self._template = _load_templates().get_template("map.html")
        background = folium.TileLayer(
            tiles=f"{BACKGROUND_HOST}/{{z}}/{{x}}/{{y}}.png",
            attr=_BACKGROUND_CREDIT,
            max_zoom=21,
            max_native_zoom=19,
            show=False,
        )
        background._name, background._id = "background", "tiles"
        self.add_child(background)


class MapDocument(Figure):  # type: ignore[misc]
    """The document around the map: one file, or the page of a site that is installed."""

    def __init__(self, findings: Findings, *, site: bool, trip: Trip | None = None) -> None:
        super().__init__()
        self.trip = trip
        self.findings = findings
        self.site = site

    def render(self, **kwargs: Any) -> str:
        """The whole file as text."""
        for child in self._children.values():
            child.render(**kwargs)
        make_map = _MAKE_MAP.format(folium=self.script.render(**kwargs).strip())
        script = bundle(__package__, "start.js", make_map)
        style = (
            leaflet.load_style()
            + "\n"
            + "\n".join(_strip_comments(read_text_of(__package__, name)) for name in _STYLES)
        )
        data, drawn = make_page_data(self.findings, self.trip)
        facts = {
            "any_place": any(ranked.spot.kind == "place" for ranked in self.findings.spots),
            "any_walk": any(ranked.route is not None for ranked in self.findings.spots),
            "around_km": AROUND_KM,
            "hazards": HAZARDS,
            "background_host": BACKGROUND_HOST.removeprefix("https://"),
            "cautions": ALWAYS,
            "ground_left": _list_ground_left(data["around"]),
            "hatched": drawn.hatched,
            "full_detail_km": FULL_DETAIL_KM,
            "levels": LEVELS,
            "lines_shown": _LINES_SHOWN,
            "map_edge": MAP_EDGE_LAT,
            "not_a_survey": NOT_A_SURVEY,
            "narrowest_m": drawn.narrowest_m,
            "tolerance_m": drawn.tolerance_m,
            "version": __version__,
            "walk_tolerance_m": WALK_TOLERANCE_M,
            "walk_most": _find_longest_walk(self.findings),
            "shaded": bool(data["shading"]),
            "contour_steps": sorted({step for step, _ in data["contours"]}),
            "any_new": any(ranked.new is not None for ranked in self.findings.spots),
        }
        page = _load_templates().get_template("page.html")
        return str(
            page.render(
                f=self.findings,
                units=self.findings.units,
                level=LEVELS[self.findings.level - 1],
                title=self.findings.title or DEFAULT_TITLE,
                page=facts,
                trip=None if self.trip is None else _word_trip(self.trip),
                site=self.site,
                policy=_make_policy(style, (_HEAD_SCRIPT, leaflet.load_script(), script), site=self.site),
                map=Markup(self.html.render(**kwargs).strip()),
                style=Markup(style),
                head_script=Markup(_HEAD_SCRIPT),
                leaflet=Markup(leaflet.load_script()),
                script=Markup(script),
                data=Markup(format_script_json(data)),
            )
        )


def build_map(findings: Findings, *, site: bool = False, trip: Trip | None = None) -> str:
    """The map of a search as one HTML file.

    Parameters
    ----------
    findings : Findings
        What was searched and found.
    site : bool
        It stands beside the other files of a site (`scout.page.site`), and names them.
    trip : Trip, optional
        Tours over places of these findings, to be drawn and told.

    Returns
    -------
    str
        A page that opens from disk and asks no network for anything until its reader switches on an
        online background. The same findings give the same bytes.
    """
    sheet = MapDocument(findings, site=site, trip=trip)
    sheet.add_child(ScoutMap())
    # A name may hold half a surrogate pair, which no encoding can write.
    return sheet.render().encode("utf-8", "replace").decode("utf-8")


def _list_ground_left(drawn: dict[str, Any]) -> list[tuple[str, int]]:
    """What of the surroundings had no room in the page, in words, and how many shapes."""
    words = {"roads": "roads and paths", "woods": "woods", "barriers": "water", "walls": "barriers"}
    words |= {kind.key: kind.title for kind in HAZARDS}
    left = [(word, drawn[name]["left"]) for name, word in words.items() if name in drawn]
    return [
        (word, count) for word, count in [*left, ("places for cars", drawn.get("startsLeft", 0))] if count
    ]


def _word_trip(trip: Trip) -> dict[str, Any]:
    """The tours of a trip in the words of the template."""
    tours = [
        {
            "worth": describe_worth(tour),
            "proof": format_proof(tour, number),
            "ranks": [visit.ranked.rank for visit in tour.visits],
            "ends": " and ".join(f"from {day.start:%H:%M} to {day.end:%H:%M}" for day in tour.days),
            "days": [
                {"head": describe_day(day), "lines": list_day(trip, day), "cautions": list_cautions(day)}
                for day in tour.days
            ],
        }
        for number, tour in enumerate(trip.tours, start=1)
    ]
    return {"tours": tours, "notes": [*trip.notes, TELL]}


def _find_longest_walk(findings: Findings) -> int:
    """The end of the slider for the longest walk, minutes; 0 without walks."""
    times = [r.route.out_min for r in findings.spots if r.route is not None and r.route.out_min is not None]
    return 5 * (int(max(times)) // 5 + 1) if times else 0


@cache
def _load_templates() -> jinja2.Environment:
    templates = make_environment(__package__)
    templates.filters.update({word.__name__: word for word in _WORDS})
    templates.filters.update(
        has_plenty=has_plenty, edge_m=edge_m, mark_length=_mark_length, mark_text=_mark_text
    )
    return templates


def _mark_length(length_m: float, units: Units, form: LengthForm = "plain") -> Markup:
    """A length that the page's switch of units words anew."""
    text = wording.Length(length_m, form).format(units)
    return Markup('<span data-metres="{}" data-form="{}">{}</span>').format(repr(float(length_m)), form, text)


def _mark_text(text: str, units: Units) -> Markup:
    """A sentence whose lengths the page's switch of units words anew."""
    parts = text.parts if isinstance(text, wording.MeasuredText) else (text,)
    return Markup("").join(
        _mark_length(part.metres, units, part.form)
        if isinstance(part, wording.Length)
        else wording.format_text(part, units, labels=True)
        for part in parts
    )


def _strip_comments(text: str) -> str:
    """A style without indentation and lines of comment."""
    lines = (line.strip() for line in text.split("\n"))
    return "\n".join(line for line in lines if line and not line.startswith(("//", "/*")))


def _make_policy(style: str, scripts: tuple[str, ...], *, site: bool) -> str:
    """Content security policy: our own script and style by their hashes, pictures from one host.

    A site has its icons, its manifest and its worker beside the page, and nothing else.
    """
    own = "'self' " if site else ""
    return "; ".join(
        [
            "default-src 'none'",
            "script-src " + " ".join(_hash_text(script) for script in scripts),
            f"style-src {_hash_text(style)}",
            f"img-src {own}data: {BACKGROUND_HOST}",
            *(("manifest-src 'self'", "worker-src 'self'") if site else ()),
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def _hash_text(text: str) -> str:
    return f"'sha256-{b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"
