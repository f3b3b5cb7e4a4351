"""Findings for the outputs, with walks, hostile texts and a park over the antimeridian; and a large lot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import builders
import pandas as pd
import shapely
from hypothesis import strategies as st

from scout.model import ATTRIBUTES, PARK_ID, PARK_NAME, Credit, Findings, Ranked, Route
from scout.parks import sources

# What stands where a name is expected, in no reader's interest.
HOSTILE = (
    '<img src=x onerror="alert(1)">',
    "</name></Placemark><script>alert(1)</script>",
    "]]><![CDATA[ & &amp; &#0; <!-- --",
    "quotes \" ' ` and back\\slash ${7*7} {{7*7}} $[name]",
    "right \u202eot left\u202c, \u200fmark, \u2067isolate",
    "null \x00 bell \x07 escape \x1b[31m delete \x7f next \x85 \ufffe\uffff",
    "lone \ud83d and \ude00 surrogates",
    "in pieces \ud83d\ude00",
    "公園 Ёлка Ä 🏞️👨‍👩‍👧",
    '=HYPERLINK("x")',
    "\t=1+1",
    "\r@SUM(A1)",
    "\ufeff+1",
    "'); DROP TABLE spots; --",
    "one\r\ntwo\n\nthree",
    "long " * 2000,
    "",
)

# Anything Python takes for text: controls and lone surrogates too.
texts = st.text(st.characters(exclude_categories=()), max_size=60)

# Anywhere, with a liking for the edges of the world.
_LONS = st.one_of(st.floats(-180, 180), st.sampled_from([-180.0, 180.0, 179.9999999999, -179.9999999999]))
_LATS = st.one_of(st.floats(-90, 90), st.sampled_from([-90.0, 90.0, 0.0, -0.0]))
places = st.lists(st.tuples(_LONS, _LATS), min_size=1, max_size=6)

WALKED = Route(
    "walked",
    out_min=12.34,
    back_min=10.21,
    length_m=812.06,
    climb_m=31.0,
    off_path_m=120.0,
    start=(-20.006, 45.001),
    start_kind="parking",
    start_name="Gull car park",
    straight_m=500.0,
    line=((-20.006, 45.001), (-20.003, 45.002), (-20.0, 45.0)),
    on_path=(True, False),
)
BLOCKED = Route("out of reach", "more than 120 min", start=(-20.4, 45.2), start_kind="trailhead")
CREDITS = (Credit((), "Quiet Bay mapping club", "https://licence.example/by/4.0/", "2026-01-31"),)


def walked(findings: Findings) -> Findings:
    """The same spots: the first with a walk, a slope and warnings, the second out of reach."""
    spots = list(findings.spots)
    spots[0] = replace(spots[0], route=WALKED, slope_deg=7.26, warnings=("Power line 30 m north", "Cliff"))
    spots[1] = replace(spots[1], route=BLOCKED)
    return replace(findings, spots=tuple(spots), credits=CREDITS, author="Quiet Bay club")


def bay() -> Findings:
    """The bay of the builders, with walks."""
    return walked(builders.bay())


def named(text: str, attribute: str = "") -> Findings:
    """The bay, where everything that comes from data reads like this."""
    findings = bay()
    route = replace(WALKED, start_name=text)
    spots = tuple(_renamed(ranked, text, route) for ranked in findings.spots)
    columns = {PARK_ID: text or "-", PARK_NAME: text, ATTRIBUTES: {attribute or text: text}}
    rows = range(len(findings.parks))
    # As objects: a column of pandas' own text type takes no lone surrogates.
    parks = findings.parks.assign(
        **{name: pd.Series([value for _ in rows], dtype=object) for name, value in columns.items()}
    )
    return replace(
        findings,
        spots=spots,
        named=sources.name_parks(parks),
        title=text,
        author=text,
        remarks=(text,),
        credits=(Credit((text,), text, text, text),),
    )


def named_in_turn(texts: Sequence[str]) -> Findings:
    """The bay once for each text, one list; what there is once has all of them."""
    each = [named(text) for text in texts]
    spots = [ranked for findings in each for ranked in findings.spots]
    parks = pd.concat([findings.parks for findings in each], ignore_index=True)
    return replace(
        each[0],
        spots=tuple(replace(ranked, rank=rank) for rank, ranked in enumerate(spots, 1)),
        named=sources.name_parks(parks),
        title=" ".join(texts),
        author=" ".join(texts),
        remarks=tuple(texts),
        credits=tuple(credit for findings in each for credit in findings.credits),
    )


def _renamed(ranked: Ranked, text: str, route: Route) -> Ranked:
    spot = ranked.spot
    near = spot.near and replace(spot.near, park=text, park_name=text)
    texts = (text,) * len(spot.verdict.parks)
    stretches = tuple(replace(s, parks=(text,) * len(s.parks)) for s in spot.stretches)
    spot = replace(
        spot,
        verdict=replace(spot.verdict, parks=texts),
        park_names=texts,
        near=near,
        stretches=stretches,
        notes=(text,),
    )
    return replace(ranked, spot=spot, route=route, warnings=(text,))


def at(places: list[tuple[float, float]]) -> Findings:
    """Findings of overlap spots at these places, in this order."""
    park = builders.QUIET_COVE
    spots = [builders.overlap_spot(lon, lat, "IN05", [park]) for lon, lat in places]
    return builders.findings(spots, builders.parks_frame((park, builders.box(-20.2, 44.9, -19.9, 45.1))))


def seam() -> Findings:
    """A park, a stretch and a walk over the antimeridian, and a polar cap drawn from -200 to 200."""
    isle, cap = ("QX-010", "Date Isle"), ("QX-011", "Polar Cap")
    holed = builders.box(179.5, -10.5, 180.5, -9.5).difference(builders.box(179.9, -10.1, 180.1, -9.9))
    parks = builders.parks_frame((isle, holed), (cap, shapely.box(-200, 85, 200, 90)))
    spot = builders.corner_spot(180.0, -10.0, ["RI90", "AI00", "RH99", "AH09"], [isle])
    along = builders.line_spot(-179.8, -10.2, ["AH09", "AI00"], isle)
    crossing = replace(along.stretches[0], line="parallel", start=(179.6, -10.2), end=(-179.6, -10.2))
    findings = builders.findings([spot, replace(along, stretches=(crossing,))], parks)
    route = replace(WALKED, start=(179.99, -10.0), line=((179.99, -10.0), (-179.99, -10.01), (-180.0, -10.0)))
    first, *rest = findings.spots
    return replace(findings, spots=(replace(first, route=route), *rest))
