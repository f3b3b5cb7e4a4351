"""KML 2.2 (OGC 07-147r2): folders of spots, stretches, parks and walks, in colours of our own.

Nothing in it is fetched: no picture, no style, no link. The order of elements is the schema's.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from html import escape
from typing import Any
from xml.etree import ElementTree as ET

import shapely

from scout.cautions import ALWAYS
from scout.exports.antimeridian import cut, path, place
from scout.exports.styles import add_styles, style_of
from scout.exports.text import cleaned, one_line
from scout.exports.words import about, credit_lines, facts, heading, number, walk_line
from scout.model import ATTRIBUTES, GEOMETRY, PARK_ID, PARK_NAME, Findings, Ranked

__all__ = ["to_kml"]

_SPOT_FOLDERS = {
    "corner": "Corners",
    "line": "Lines",
    "overlap": "Overlaps",
    "place": "Places",
    "near-miss": "Near misses",
}
# A globe draws the shortest way between two points, which leaves a parallel by 0.3 m in the middle of this.
_LONGEST_EDGE_DEG = 0.05


def to_kml(findings: Findings) -> bytes:
    """KML 2.2 in UTF-8; folders that would be empty are left out."""
    findings = replace(findings, spots=tuple(findings.spots))  # made once: every folder looks at them
    root = ET.Element("kml", {"xmlns": "http://www.opengis.net/kml/2.2"})
    document = ET.SubElement(root, "Document")
    _text(document, "name", one_line(findings.title) or "Spots")
    _text(document, "open", "1")
    if author := one_line(findings.author):
        root.set("xmlns:atom", "http://www.w3.org/2005/Atom")
        _text(ET.SubElement(document, "atom:author"), "atom:name", author)
    _describe(document, about(findings))
    add_styles(document)
    for kind, name in _SPOT_FOLDERS.items():
        _folder(document, name, (_spot(r, findings) for r in findings.spots if r.spot.kind == kind))
    _folder(document, "Stretches", _stretches(findings))
    _folder(document, "Parks", _parks(findings))
    _folder(document, "Walks", _walks(findings))
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))


def _folder(document: ET.Element, name: str, placemarks: Iterable[ET.Element]) -> None:
    folder = ET.Element("Folder")
    _text(folder, "name", name)
    for placemark in placemarks:
        placemark.tail = "\n"
        folder.append(placemark)
    if len(folder) > 1:
        folder.tail = "\n"
        document.append(folder)


def _placemark(name: str, lines: Iterable[str], style: str, geometry: Any) -> ET.Element:
    placemark = ET.Element("Placemark")
    _text(placemark, "name", name)
    _describe(placemark, lines)
    _text(placemark, "styleUrl", f"#{style}")
    _geometry(placemark, geometry)
    return placemark


def _spot(ranked: Ranked, findings: Findings) -> ET.Element:
    point = shapely.Point(place(ranked.spot.lon, ranked.spot.lat))
    return _placemark(heading(ranked, findings), [*facts(ranked), *ALWAYS], style_of(ranked.spot), point)


def _stretches(findings: Findings) -> Iterable[ET.Element]:
    for ranked in findings.spots:
        for stretch in ranked.spot.stretches:
            name = f"{number(ranked.rank, findings)} {stretch.line} {' '.join(stretch.locators)}"
            lines = [
                f"{stretch.length_m:,.0f} m along a {stretch.line}.",
                f"Parks: {'; '.join(one_line(park) for park in stretch.parks)}.",
            ]
            yield _placemark(name, lines, "stretch", _drawn([path((stretch.start, stretch.end))])[0])


def _parks(findings: Findings) -> Iterable[ET.Element]:
    frame = findings.parks
    if not len(frame):
        return
    attributes = frame[ATTRIBUTES] if ATTRIBUTES in frame else [{}] * len(frame)
    credits = credit_lines(findings)
    shapes = _drawn(frame[GEOMETRY])
    for park, name, more, shape in zip(frame[PARK_ID], frame[PARK_NAME], attributes, shapes, strict=True):
        title = f"{one_line(park)} {one_line(name)}".strip()
        told = [f"{one_line(key)}: {one_line(str(value), 1000)}" for key, value in (more or {}).items()]
        yield _placemark(title, [*told, *credits, ALWAYS[0]], "park", shape)


def _walks(findings: Findings) -> Iterable[ET.Element]:
    for ranked in findings.spots:
        if ranked.route is not None and len(ranked.route.line) > 1:
            name = f"{number(ranked.rank, findings)} walk"
            line = cut([path(ranked.route.line)])[0]
            yield _placemark(name, [walk_line(ranked.route), *ALWAYS], "walk", line)


def _drawn(geometries: Iterable[Any]) -> Any:
    """Shapes cut at 180, their long edges split, outer rings counterclockwise."""
    whole = shapely.segmentize(cut(geometries), _LONGEST_EDGE_DEG)
    return shapely.orient_polygons(whole)


def _describe(parent: ET.Element, lines: Iterable[str]) -> None:
    """A description is HTML inside XML: text from data is escaped for one here, for the other on writing."""
    _text(parent, "description", "<br/>\n".join(escape(cleaned(line)) for line in lines))


def _geometry(parent: ET.Element, geometry: Any) -> None:
    kind = geometry.geom_type
    if kind == "Point":
        _text(ET.SubElement(parent, "Point"), "coordinates", _tuples(geometry, 8))
    elif kind == "LineString":
        line = ET.SubElement(parent, "LineString")
        _text(line, "tessellate", "1")
        _text(line, "coordinates", _tuples(geometry))
    elif kind == "Polygon":
        polygon = ET.SubElement(parent, "Polygon")
        _text(polygon, "tessellate", "1")
        for tag, rings in (("outerBoundaryIs", [geometry.exterior]), ("innerBoundaryIs", geometry.interiors)):
            for ring in rings:
                _text(ET.SubElement(ET.SubElement(polygon, tag), "LinearRing"), "coordinates", _tuples(ring))
    else:
        together = ET.SubElement(parent, "MultiGeometry")
        for part in shapely.get_parts(geometry):
            _geometry(together, part)


def _tuples(geometry: Any, digits: int = 7) -> str:
    return " ".join(f"{x:.{digits}f},{y:.{digits}f}" for x, y in shapely.get_coordinates(geometry).tolist())


def _text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = cleaned(text)
