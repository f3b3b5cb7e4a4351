"""Numbers and places of the page as people read them."""

from __future__ import annotations

import math

from scout.model import Ranked, Spot
from scout.surroundings import Route

__all__ = [
    "bearing",
    "clearance",
    "degrees_minutes",
    "distance",
    "kind_word",
    "metres",
    "percent",
    "plural",
    "span",
    "verdict_class",
    "walk",
    "where_to_stand",
]

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_KINDS = {
    "corner": "corner",
    "line": "line",
    "overlap": "overlap",
    "near-miss": "near miss",
    "place": "place",
}
_MILE_KM = 1.609344
# Minutes to 4 decimals, 0.19 m of latitude: a thousandth would move a station by up to 0.9 m.
_MINUTE_PARTS = 10_000


def percent(share: float) -> str:
    """A probability, rounded down so that it never looks better than its verdict; never certain.

    Examples
    --------
    >>> percent(0.9499), percent(1.0), percent(0.0)
    ('94.9 %', 'over 99.9 %', 'under 0.1 %')
    """
    tenths = math.floor(share * 1000 + 1e-9)
    if share > 0.999:
        return "over 99.9 %"
    return f"{tenths / 10:.1f} %" if tenths else "under 0.1 %"


def metres(length_m: float) -> str:
    """A length in the unit that suits it.

    Examples
    --------
    >>> metres(3.24), metres(412.3), metres(1530.0), metres(48210.0)
    ('3.2 m', '412 m', '1.53 km', '48.2 km')
    """
    if length_m < 9.95:
        return f"{length_m:.1f} m"
    if length_m < 999.5:
        return f"{length_m:.0f} m"
    return f"{length_m / 1000:.2f} km" if length_m < 9995 else f"{length_m / 1000:,.1f} km"


def clearance(clearance_m: float) -> str:
    """A signed distance to a boundary in words.

    Examples
    --------
    >>> clearance(240.0), clearance(-12.0)
    ('240 m inside', '12 m outside')
    """
    if math.isnan(clearance_m):
        return "no park near"
    return f"{metres(abs(clearance_m))} {'inside' if clearance_m >= 0 else 'outside'}"


def distance(length_km: float) -> str:
    """A road-map distance, kilometres and miles."""
    digits = 1 if length_km < 100 else 0
    return f"{length_km:,.{digits}f} km ({length_km / _MILE_KM:,.{digits}f} mi)"


def bearing(bearing_deg: float) -> str:
    """A bearing in words and degrees from true north.

    Examples
    --------
    >>> bearing(134.6)
    'south-east (135°)'
    """
    return f"{_WINDS[round(bearing_deg / 45) % 8]} ({round(bearing_deg) % 360}°)"


def degrees_minutes(lon: float, lat: float) -> str:
    """Latitude first, degrees and decimal minutes; 60 minutes never show.

    Examples
    --------
    >>> degrees_minutes(-116.5, 33.99999999)
    "34° 00.0000' N, 116° 30.0000' W"
    """
    return f"{_minutes(lat, 'N', 'S', 2)}, {_minutes(lon, 'E', 'W', 3)}"


def _minutes(degrees: float, plus: str, minus: str, width: int) -> str:
    parts = round(abs(degrees) * 60 * _MINUTE_PARTS)
    whole, rest = divmod(parts, 60 * _MINUTE_PARTS)
    side = minus if degrees < 0 and parts else plus
    return f"{whole:0{width}d}° {rest / _MINUTE_PARTS:07.4f}' {side}"


def plural(count: int, one: str, many: str = "") -> str:
    """A count and its noun.

    Examples
    --------
    >>> plural(1, "spot"), plural(1200, "spot"), plural(2, "near miss", "near misses")
    ('1 spot', '1,200 spots', '2 near misses')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def span(minutes: float) -> str:
    """A time on foot, to the minute.

    Examples
    --------
    >>> span(24.4), span(0.2), span(84.0)
    ('24 min', '1 min', '1 h 24 min')
    """
    whole = max(math.floor(minutes + 0.5), 1)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def walk(route: Route) -> str:
    """A walk in one line.

    Examples
    --------
    >>> walk(Route("unknown", "no way in"))
    'walking time not worked out: no way in'
    """
    if route.state == "walked" and route.out_min is not None and route.back_min is not None:
        return f"walk {span(route.out_min)} out, {span(route.back_min)} back"
    lead = "out of reach on foot" if route.state == "out of reach" else "walking time not worked out"
    return f"{lead}: {route.reason}" if route.reason else lead


def kind_word(spot: Spot) -> str:
    """The kind of a spot, as text."""
    return _KINDS[spot.kind]


def verdict_class(ranked: Ranked) -> str:
    """One word per look of a mark: firm, doubtful, uncounted, near."""
    if ranked.spot.kind == "near-miss":
        return "near"
    return "uncounted" if ranked.spot.verdict.word == "not counted" else ranked.spot.verdict.word


def where_to_stand(spot: Spot) -> str:
    """Where the station's centre goes, seen from the lattice."""
    away = spot.offset_m >= 0.05
    step = f"{metres(spot.offset_m)} {bearing(spot.offset_deg)} of"
    line = spot.stretches[0].line if spot.stretches else "lattice line"
    if spot.kind == "near-miss":
        place = "corner" if spot.corner else line
        return f"No place to stand yet: the {place} lies outside every park."
    if spot.kind == "place":
        return "This is the place that was asked about."
    if spot.kind == "overlap":
        return "Centre the station on this point; the parks overlap here, inside one cell."
    if spot.kind == "corner":
        return (
            f"Centre the station {step} the corner." if away else "Centre the station on the corner itself."
        )
    return f"Centre the station {step} the {line}." if away else f"Centre the station on the {line}."
