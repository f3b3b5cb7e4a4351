"""GPX 1.1: a waypoint per spot and a track per walk.

The walk is a track, not a route: it is a line of hundreds of points that is to be followed as drawn. The
points of a route are few, and receivers work out their own way between them.

The order of elements is the schema's (http://www.topografix.com/GPX/1/1/gpx.xsd), where it is compulsory.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from xml.etree import ElementTree as ET

from scout.cautions import ALWAYS
from scout.geo.antimeridian import round_place
from scout.io.plain_text import make_one_line
from scout.model import Findings, Ranked
from scout.output.text import (
    format_heading,
    format_number,
    format_text,
    format_walk_line,
    list_about,
    list_facts,
    name_kind,
    parse_day,
)
from scout.output.trip import ESTIMATED, describe_leg, name_visit
from scout.tours.day import Trip

_NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SYMBOL = "Flag"  # a plain word that receivers of many makes have a picture for
_LONGEST = 10_000
# The licence of GPX is an address; anything else goes into the description.
_ADDRESS = re.compile(r"https?://[A-Za-z0-9.-]+(:[0-9]+)?(/[A-Za-z0-9._~/-]*)?")


def to_gpx(findings: Findings) -> bytes:
    """GPX 1.1 in UTF-8: metadata with cautions and credits, waypoints in rank order, then walks as tracks."""
    root = ET.Element("gpx", {"xmlns": _NAMESPACE, "version": "1.1", "creator": "scout"})
    root.text = "\n"
    metadata = ET.SubElement(root, "metadata")
    places: list[tuple[float, float]] = []
    for ranked in findings.spots:
        at = round_place(ranked.spot.lon, ranked.spot.lat)
        places.append(at)
        _add_waypoint(root, at, ranked, findings)
    for ranked in findings.spots:
        if ranked.route is not None and len(ranked.route.line) > 1:
            name = f"{format_number(ranked.rank, findings)} walk"
            about = [format_walk_line(ranked.route, findings.units), *ALWAYS]
            places += _add_line(root, name, about, ranked.route.line)
    _add_metadata(metadata, findings, places)
    for element in root:
        element.tail = "\n"
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))


def to_trip_gpx(trip: Trip) -> bytes:
    """GPX 1.1 of the best tour: its places, a route through where the car stays, drives and walks as tracks.

    The route has the few points between which a receiver works out its own way by road; the tracks are to be
    followed as drawn.
    """
    findings, tour = trip.findings, trip.tours[0]
    root = ET.Element("gpx", {"xmlns": _NAMESPACE, "version": "1.1", "creator": "scout"})
    root.text = "\n"
    metadata = ET.SubElement(root, "metadata")
    places: list[tuple[float, float]] = []
    for visit in tour.visits:
        at = round_place(visit.ranked.spot.lon, visit.ranked.spot.lat)
        places.append(at)
        _add_waypoint(root, at, visit.ranked, findings)
    for number, day in enumerate(tour.days, start=1):
        route = ET.SubElement(root, "rte")
        _add_text(route, "name", f"Day {number}, by road")
        _add_text(route, "desc", " ".join([ESTIMATED, *ALWAYS]))
        stops = [
            ("start", trip.start),
            *((f"park, {name_visit(v)}", v.car_at) for v in day.visits),
            ("end", trip.end),
        ]
        for name, where in stops:
            point = ET.SubElement(route, "rtept", _make_position(round_place(*where)))
            _add_text(point, "name", name)
    for number, day in enumerate(tour.days, start=1):
        for k, leg in enumerate((*(visit.leg for visit in day.visits), day.back), start=1):
            places += _add_line(
                root, f"Day {number}, drive {k}", [format_text(describe_leg(leg)), ESTIMATED], leg.line
            )
        for visit in day.visits:
            walk = visit.ranked.route
            if walk is not None and len(walk.line) > 1:
                name = f"{format_number(visit.ranked.rank, findings)} walk"
                places += _add_line(root, name, [format_walk_line(walk, findings.units), *ALWAYS], walk.line)
    _add_metadata(metadata, findings, places)
    for element in root:
        element.tail = "\n"
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))


def _add_line(
    root: ET.Element, name: str, about: Iterable[str], line: Iterable[tuple[float, float]]
) -> list[tuple[float, float]]:
    """A track of one segment; gives its places as they are written."""
    places = [round_place(*at) for at in line]
    if len(places) > 1:
        track = ET.SubElement(root, "trk")
        _add_text(track, "name", name)
        _add_text(track, "desc", " ".join(about))
        segment = ET.SubElement(track, "trkseg")
        for at in places:
            ET.SubElement(segment, "trkpt", _make_position(at))
    return places


def _add_waypoint(root: ET.Element, at: tuple[float, float], ranked: Ranked, findings: Findings) -> None:
    point = ET.SubElement(root, "wpt", _make_position(at))
    _add_text(point, "name", format_heading(ranked, findings))
    _add_text(point, "desc", " ".join([*list_facts(ranked, findings.units, findings.aims), *ALWAYS]))
    _add_text(point, "sym", _SYMBOL)
    _add_text(point, "type", name_kind(ranked.spot))


def _add_metadata(element: ET.Element, findings: Findings, places: list[tuple[float, float]]) -> None:
    _add_text(element, "name", make_one_line(findings.title) or "Spots")
    _add_text(element, "desc", " ".join(list_about(findings)))
    if author := make_one_line(findings.author):
        _add_text(ET.SubElement(element, "author"), "name", author)
    _add_copyright(element, findings)
    if day := parse_day(findings.made_on):
        _add_text(element, "time", f"{day.isoformat()}T00:00:00Z")
    if places:
        lons, lats = zip(*places, strict=True)
        low, high = _make_position((min(lons), min(lats))), _make_position((max(lons), max(lats)))
        edges = {"minlat": low["lat"], "minlon": low["lon"], "maxlat": high["lat"], "maxlon": high["lon"]}
        ET.SubElement(element, "bounds", edges)


def _add_copyright(element: ET.Element, findings: Findings) -> None:
    """GPX has room for one holder, one year and one licence: the rest is in the description."""
    holders = [make_one_line(credit.text) for credit in findings.credits if credit.text]
    if not holders:
        return
    held = ET.SubElement(element, "copyright", {"author": "; ".join(dict.fromkeys(holders))})
    years = {f"{day.year:04d}" for credit in findings.credits if (day := parse_day(credit.date))}
    if len(years) == 1:
        _add_text(held, "year", years.pop())
    licences = {credit.licence.strip() for credit in findings.credits}
    if len(licences) == 1 and _ADDRESS.fullmatch(licence := licences.pop()):
        _add_text(held, "license", licence)


def _make_position(at: tuple[float, float]) -> dict[str, str]:
    return {"lat": f"{at[1]:.8f}", "lon": f"{at[0]:.8f}"}


def _add_text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = make_one_line(text, _LONGEST)
