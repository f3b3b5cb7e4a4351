"""Which records are one park, found again by brute force: ids and names told apart by how they were drawn."""

from __future__ import annotations

import itertools
import json
import uuid
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from boundary_files import layer
from hypothesis import given
from hypothesis import strategies as st
from strategies import without_shrinking

from scout.model import ATTRIBUTES, PARK_ID
from scout.parks.build import build_parks
from scout.parks.indexed import ParkReading, open_indexed

# Each row is one name, written in several ways; those of kind are no park's own.
NAMES = {
    "tern": ("Tern Marsh", "TERN MARSH", "Tern-Marsh", "Térn  marsh.", "tern_marsh"),
    "straße": ("Weiße Heide", "WEISSE HEIDE", "weisse heide"),
    "bog": ("Ødegård Mose", "odegard mose", "ØDEGÅRD-MOSE"),
    "か": ("かもめの森",),
    "が": ("がもめの森",),
    "one": ("Otter Wood 1", "Otter Wood (1)"),
    "two": ("Otter Wood 2",),
}
KINDS = {"area": ("Wildlife Area", "WILDLIFE AREA"), "park": ("Park",), "公園": ("公園",), "12": ("12",)}
NONE = ("", "  ", "Unnamed", "N/A", "?")
GAPS_M = (-40.0, 0.0, 0.4, 0.9, 1.2, 30.0)  # between neighbours: overlap, touch, sliver, apart
SCHEMES = ("none", "code", "asked", "OBJECTID", "GlobalID", "id", "way")


class Drawn(NamedTuple):
    """One record: its layer's scheme, id, and which name it has; ``who`` is its own."""

    scheme: str
    text: str
    name: str
    which: str  # the row of `NAMES` or `KINDS`, empty for no name
    box: Any
    who: str


@st.composite
def record_sets(draw: Any) -> list[list[Drawn]]:
    """One to three layers over one row of boxes, whose neighbours overlap, touch or lie apart."""
    lat = draw(st.sampled_from([0.0, 47.0, -65.0]))
    lon = draw(st.sampled_from([10.0, 179.9990]))
    per_lon, per_lat = 111_320.0 * np.cos(np.radians(lat)), 110_574.0 + 1_120.0 * np.sin(np.radians(lat)) ** 2
    per_lon *= 1 + 0.003353 * np.sin(np.radians(lat)) ** 2
    layers, number = [], 0
    for _ in range(draw(st.integers(1, 3))):
        scheme, x = draw(st.sampled_from(SCHEMES)), draw(st.sampled_from([0.0, 150.0, 5000.0]))
        nameless, records = draw(st.integers(0, 4)) == 0, []
        for k in range(draw(st.integers(1, 7))):
            which = "" if nameless else draw(st.sampled_from([*NAMES, *NAMES, *KINDS, ""]))
            name = draw(st.sampled_from({**NAMES, **KINDS, "": NONE}[which]))
            text = {
                "none": "",
                "code": draw(st.sampled_from(["A", "B", "C", "D", "E", ""])),
                "asked": draw(st.sampled_from(["A", "B", "C", "D", ""])),
                "OBJECTID": str(k + 5),
                "GlobalID": str(uuid.UUID(int=number + 1)),
                "id": str(4711 + 3 * number),
                "way": f"way/{900 + number}",
            }[scheme]
            wide, y = draw(st.sampled_from([50.0, 200.0])), draw(st.sampled_from([0.0, 0.0, 20.0]))
            west, east = lon + x / per_lon, lon + (x + wide) / per_lon
            south = lat + y / per_lat
            shape = shapely.box(west, south, east, south + 100.0 / per_lat)
            if east >= 180.0:  # as files have it: cut there, or beyond on the other side
                sides = [shapely.box(-180, -90, 180, 90), shapely.box(180, -90, 540, 90)]
                cut = [shapely.intersection(shape, side) for side in sides]
                turned = shapely.transform(cut[1], lambda points: points - [360.0, 0.0])
                shape = shapely.union_all([part for part in (cut[0], turned) if part.area > 0])
            records.append(Drawn(scheme, text, name, which, shape, f"r{number}"))
            number, x = number + 1, x + wide + draw(st.sampled_from(GAPS_M))
        layers.append(records)
    return layers


COLUMNS = {
    "code": "CODE",
    "asked": "told",
    "OBJECTID": "OBJECTID",
    "GlobalID": "GlobalID",
    "id": "id",
    "way": "ref",
}


def found(records: list[Drawn]) -> bool:
    """Whether the column is taken: filled for half of the records, half of these different."""
    filled = [one.text for one in records if one.text]
    if records[0].scheme == "asked":
        return True
    return bool(filled) and 2 * len(filled) >= len(records) and 2 * len(set(filled)) >= len(filled)


def distance_m(one: Any, other: Any) -> float:
    """In an azimuthal frame about the two."""
    lon, lat = shapely.get_coordinates(one)[0]
    frame = pyproj.Proj(proj="aeqd", lat_0=lat, lon_0=lon, ellps="WGS84")
    flat = [
        shapely.transform(shape, lambda p: np.column_stack(frame(p[:, 0], p[:, 1]))) for shape in (one, other)
    ]
    return float(shapely.distance(*flat))


def expected(layers: list[list[Drawn]], pieces: bool) -> set[frozenset[str]]:
    """The parks as sets of records."""
    every = [one for records in layers for one in records]
    taken = {one.who for records in layers if found(records) for one in records}
    own = [one for one in every if one.who in taken and one.text and one.scheme in ("code", "asked")]
    parks: list[set[str]] = []
    for text in dict.fromkeys(one.text for one in own):
        same = [one for one in own if one.text == text]
        told = [one for one in same if one.scheme == "asked"]
        lead = {one.which for one in told} - {""}
        if not lead:
            lead = {one.which for one in same if one.which} and {next(one.which for one in same if one.which)}
        first = {one.who for one in same if one in told or one.which in lead or not one.which}
        parks.append(first)
        rest = [one for one in same if one.who not in first]
        parks += [
            {one.who for one in rest if one.which == name} for name in dict.fromkeys(r.which for r in rest)
        ]
    loose = [one for one in every if one not in own]
    parks += [{one.who} for one in loose]
    if pieces:
        for one, other in itertools.combinations(loose, 2):
            if one.which == other.which and one.which in NAMES and distance_m(one.box, other.box) <= 1.0:
                a = next(park for park in parks if one.who in park)
                b = next(park for park in parks if other.who in park)
                if a is not b:
                    a |= b
                    parks.remove(b)
    return {frozenset(park) for park in parks if park}


def columns(records: list[Drawn]) -> dict[str, list[str]]:
    made = {"name": [one.name for one in records], "who": [one.who for one in records]}
    if records[0].scheme in COLUMNS:
        made[COLUMNS[records[0].scheme]] = [one.text for one in records]
    return made


def parks_of(frame: Any) -> set[frozenset[str]]:
    return {frozenset(texts["who"].split("; ")) for texts in frame[ATTRIBUTES]}


@pytest.mark.parametrize("pieces", [True, False], ids=["join", "apart"])
@given(st.data())
@without_shrinking(400)
def test_the_parks_are_those_of_brute_force(pieces: bool, data: Any) -> None:
    layers = data.draw(record_sets())
    made = [
        layer([one.box for one in records], called=f"l{k}", **columns(records))
        for k, records in enumerate(layers)
    ]
    asked = "told" if any(records[0].scheme == "asked" for records in layers) else None
    parks = build_parks(made, id_column=asked, keep=("who",), join_pieces=pieces, same_ground=0)
    assert parks_of(parks.frame) == expected(layers, pieces)
    assert parks.frame[PARK_ID].is_unique
    report = parks.report
    assert report.parks == len(parks.frame)
    assert report.used == report.records == sum(map(len, layers)) == report.parks + report.merged
    told = (frozenset(one["who"].split("; ")) for one in parks.frame[ATTRIBUTES])
    ids = dict(zip(told, parks.frame[PARK_ID], strict=True))
    for records in layers:
        for k, one in enumerate(records, start=1):
            (park,) = (park for park in ids if one.who in park)
            if min(park, key=lambda who: int(who[1:])) == one.who:  # a park is called by its first record
                text = one.text if found(records) else ""
                parts = ids[park].split("/") if "way/" not in text else [ids[park]]
                assert text in (parts[0], parts[-1]) if text else ids[park].endswith(f":{k}")


@given(st.data())
@without_shrinking(60)
def test_by_the_index_they_are_the_same(tmp_path_factory: Any, data: Any) -> None:
    layers = data.draw(record_sets())
    folder = tmp_path_factory.mktemp("drawn")
    paths: list[Path] = []
    for k, records in enumerate(layers):
        path = folder / f"l{k}.{data.draw(st.sampled_from(['fgb', 'gpkg', 'geojson']))}"
        features = [
            {
                "type": "Feature",
                "properties": {key: values[n] for key, values in columns(records).items()},
                "geometry": shapely.geometry.mapping(shapely.multipolygons(shapely.get_parts(one.box))),
            }
            for n, one in enumerate(records)
        ]
        text = folder / f"l{k}.json"
        text.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
        pyogrio.write_dataframe(pyogrio.read_dataframe(text), path, layer=f"l{k}", SPATIAL_INDEX="YES") if (
            path.suffix != ".geojson"
        ) else text.rename(path)
        paths.append(path)
    asked = "told" if any(records[0].scheme == "asked" for records in layers) else None
    shelf = open_indexed(paths, ParkReading(id_column=asked, keep=("who",), same_ground=0), least=1)
    if shelf is None:
        return
    taken = shelf.load(np.arange(len(shelf.ids)))
    assert parks_of(taken.frame) == expected(layers, True)
    assert taken.frame[PARK_ID].tolist() == list(shelf.ids)
