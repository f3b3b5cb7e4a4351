"""Access data near some places, from OpenStreetMap's own formats and from exports of it.

A small map is written by hand as OSM XML 0.6 (OpenStreetMap wiki, M) and turned into PBF by libosmium, an
independent implementation; what GDAL makes of both must be what the plain exports say.
"""

from __future__ import annotations

import bz2
import gzip
import itertools
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.sax.saxutils import quoteattr

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from boundary_files import geojson, written
from hypothesis import given
from hypothesis import strategies as st

from scout.errors import CrsError, InputError
from scout.io.crs import meets_boxes, merge_boxes, merge_boxes_to_few
from scout.io.layers import read_layers
from scout.model import RECORD
from scout.walk.read import read_tagged
from scout.walk.ways import TaggedLayers, classify_access

HERE = (-20.01, 44.99, -19.97, 45.03)
SQUARE = [(-20.0, 45.0), (-19.999, 45.0), (-19.999, 45.001), (-20.0, 45.001), (-20.0, 45.0)]


def moved(points: Any, east: float, north: float) -> list[tuple[float, float]]:
    return [(round(x + east, 7), round(y + north, 7)) for x, y in points]


OPERATOR = 'Q "Light" \\ & "foot"=>"no", "tunnel"=>"yes"'
# What is drawn, and its tags: one of each kind, names with what formats have to escape.
DRAWN: list[tuple[list[tuple[float, float]], dict[str, str]]] = [
    ([(-20.0, 45.01), (-19.99, 45.01)], {"highway": "path", "name": 'Quote " and \\ => "k"=>"v", end'}),
    ([(-19.99, 45.01), (-19.98, 45.01)], {"highway": "track", "access": "private", "foot": "yes"}),
    (
        [(-19.98, 45.01), (-19.98, 45.02)],
        {"highway": "unclassified", "bridge": "yes", "name": "Höhe & <Tal>"},
    ),
    ([(-20.0, 45.02), (-19.99, 45.02)], {"highway": "footway", "access": "no"}),
    ([(-20.0, 45.021), (-19.99, 45.021)], {"waterway": "river", "name": "Sallow"}),
    ([(-20.0, 45.022), (-19.99, 45.022)], {"waterway": "river", "tunnel": "culvert"}),
    ([(-20.0, 45.023), (-19.99, 45.023)], {"power": "line", "operator": OPERATOR}),
    ([(-20.0, 45.024), (-19.99, 45.024)], {"power": "minor_line"}),
    (moved(SQUARE, 0, 0), {"natural": "water", "name": "Pool"}),
    (moved(SQUARE, 0.002, 0), {"amenity": "parking", "name": "Gate field"}),
    (moved(SQUARE, 0.004, 0), {"landuse": "military", "military": "range", "name": "Fort Q"}),
    (moved(SQUARE, 0.006, 0), {"waterway": "riverbank"}),
    (moved(SQUARE, 0.008, 0), {"barrier": "fence"}),
    (moved(SQUARE, 0.010, 0), {"natural": "cliff"}),
    (moved(SQUARE, 0.012, 0), {"leisure": "nature_reserve", "access": "no", "name": "Tern bank"}),
    (moved(SQUARE, 0.014, 0), {"natural": "coastline"}),
    (moved(SQUARE, 0.016, 0), {"shop": "yes"}),
    ([(-20.0, 45.015)], {"barrier": "gate"}),
    ([(-19.999, 45.015)], {"barrier": "gate", "access": "private"}),
    ([(-19.998, 45.015)], {"amenity": "parking", "access": "customers", "name": "Inn"}),
    ([(-19.997, 45.015)], {"highway": "trailhead", "name": "Start"}),
    ([(-19.996, 45.015)], {"ford": "yes"}),
]
RING = {"type": "multipolygon", "natural": "water", "name": "Lake with an island"}
OUTER, INNER = (
    moved(SQUARE, 0, -0.002),
    [(round(x / 4 - 14.9998, 7), round(y / 4 + 33.7482, 7)) for x, y in SQUARE],
)
FAR = ([(30.0, 10.0), (30.01, 10.0)], {"highway": "path", "name": "far away"})


def osm(path: Path, sign: int = 1) -> Path:
    """The map as OSM XML; ids below zero are those of an editor that has not uploaded."""
    ids: dict[Any, int] = {}
    nodes, ways = list[str](), list[str]()
    tags_of = {tuple(points[0]): tags for points, tags in DRAWN if len(points) == 1}

    def tagged(tags: dict[str, str]) -> str:
        return "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items())

    def node(point: tuple[float, float]) -> int:
        if point not in ids:
            ids[point] = sign * (len(ids) + 1)
            x, y = point
            inner = tagged(tags_of.get(point, {}))
            nodes.append(f'<node id="{ids[point]}" lat="{y}" lon="{x}" version="1">{inner}</node>')
        return ids[point]

    lines = [(points, tags) for points, tags in [*DRAWN, FAR] if len(points) > 1]
    for point in tags_of:
        node(point)
    for number, (points, tags) in enumerate([*lines, (OUTER, {}), (INNER, {})], start=1):
        refs = "".join(f'<nd ref="{node(point)}"/>' for point in points)
        ways.append(f'<way id="{sign * number}" version="1">{refs}{tagged(tags)}</way>')
    members = "".join(
        f'<member type="way" ref="{sign * (len(lines) + k)}" role="{role}"/>'
        for k, role in ((1, "outer"), (2, "inner"))
    )
    relation = f'<relation id="{sign * 1}" version="1">{members}{tagged(RING)}</relation>'
    if sign < 0:
        nodes.sort(key=lambda text: int(text.split('"')[1]), reverse=True)
    body = "".join([*nodes, *ways, relation])
    path.write_text(
        f'<?xml version="1.0" encoding="UTF-8"?>\n<osm version="0.6">{body}</osm>', encoding="utf-8"
    )
    return path


def frame() -> gpd.GeoDataFrame:
    """The map as an export has it: closed ways still lines, holes in areas."""
    shapes = [
        shapely.Point(*points[0]) if len(points) == 1 else shapely.LineString(points)
        for points, _ in [*DRAWN, FAR]
    ]
    tags = [tags for _, tags in [*DRAWN, FAR]]
    lake = {key: value for key, value in RING.items() if key != "type"}
    columns = sorted({key for one in [*tags, lake] for key in one})
    table = {key: [one.get(key) for one in [*tags, lake]] for key in columns}
    return gpd.GeoDataFrame(table, geometry=[*shapes, shapely.Polygon(OUTER, [INNER])], crs="EPSG:4326")


def pbf(path: Path, tmp_path: Path) -> Path:
    osmium = pytest.importorskip("osmium", reason="writes PBF; pip install osmium")
    with osmium.SimpleWriter(str(path)) as writer:
        for thing in osmium.FileProcessor(str(osm(tmp_path / "source.osm"))):
            writer.add(thing)
    return path


def make(kind: str, tmp_path: Path) -> Path:
    path = tmp_path / f"land.{kind}"
    if kind == "negative.osm":
        return osm(path, -1)
    if kind == "osm":
        return osm(path)
    if kind in ("osm.gz", "osm.bz2"):
        text = osm(tmp_path / "text.osm").read_bytes()
        path.write_bytes(gzip.compress(text, mtime=0) if kind == "osm.gz" else bz2.compress(text))
        return path
    return pbf(path, tmp_path) if kind.endswith("pbf") else written(path, frame())


def told(path: Path) -> dict[str, list[Any]]:
    """All that is understood of a file, in an order of its own."""
    around = classify_access([TaggedLayers(read_tagged([path], [HERE]), "access")])
    found = {}
    frames = {name: getattr(around, name) for name in ("ways", "starts", "barriers", "openings")}
    frames |= {kind: around.hazards_of(kind) for kind in ("closed", "power")}
    for name, rows in frames.items():
        plain = rows.geometry.normalize().set_precision(1e-7).to_wkt(rounding_precision=6)
        found[name] = sorted(map(tuple, rows.drop(columns="geometry").assign(at=plain).to_numpy().tolist()))
    return found


def test_the_map_by_hand_says_what_is_there(tmp_path: Path) -> None:
    found = told(osm(tmp_path / "land.osm"))
    assert [(row[0], row[2:5]) for row in found["ways"]] == [
        ("path", (True, False, False)),
        ("track", (True, False, False)),
        ("unclassified road", (True, False, True)),
    ]
    assert {row[1] for row in found["ways"]} == {'Quote " and \\ => "k"=>"v", end', "", "Höhe & <Tal>"}
    assert [row[:2] for row in found["starts"]] == [("parking", "Gate field"), ("trailhead", "Start")]
    assert [row[:2] for row in found["barriers"]] == [
        ("cliff", ""), ("coast", ""), ("fence", ""), ("military range", "Fort Q"),
        ("nature reserve without access", "Tern bank"), ("river", "Sallow"), ("water", ""),
        ("water", "Lake with an island"), ("water", "Pool"),
    ]  # fmt: skip
    assert [row[0] for row in found["openings"]] == ["ford", "gate"]
    assert [row[:2] for row in found["closed"]] == [
        ("military range", "Fort Q"), ("nature reserve without access", "Tern bank"),
    ]  # fmt: skip
    assert [row[0] for row in found["power"]] == ["minor power line", "power line"]
    lake = next(row[-1] for row in found["barriers"] if row[1] == "Lake with an island")
    assert shapely.get_num_interior_rings(shapely.from_wkt(lake)) == 1


@pytest.mark.parametrize(
    "kind",
    ["negative.osm", "osm.gz", "osm.bz2", "osm.pbf", "pbf", "geojson", "gpkg", "fgb"],
)
def test_every_form_of_the_map_says_the_same(kind: str, tmp_path: Path) -> None:
    assert told(make(kind, tmp_path)) == told(osm(tmp_path / "plain.osm"))


def test_records_of_openstreetmap_bear_their_ids_and_say_something(tmp_path: Path) -> None:
    layers = {layer.source.layer: layer for layer in read_tagged([osm(tmp_path / "land.osm")], [HERE])}
    assert set(layers) == {"nodes", "ways", "relations"}
    ways = layers["ways"].frame
    assert ways[ways["highway"] == "path"][RECORD].tolist() == [1]
    assert not any("shop" in layer.frame for layer in layers.values())
    assert all(layer.source.records == len(layer.frame) for layer in layers.values())


def test_more_tags_are_kept_when_asked_for_and_texts_come_out_as_written(tmp_path: Path) -> None:
    path = osm(tmp_path / "land.osm")
    layers = {layer.source.layer: layer.frame for layer in read_tagged([path], [HERE], keys=["operator"])}
    power = layers["ways"]["power"] == "line"
    assert layers["ways"]["operator"][power].tolist() == [OPERATOR]
    assert layers["ways"]["tunnel"][power].isna().all()
    assert not any("operator" in layer.frame for layer in read_tagged([path], [HERE]))


def test_only_what_meets_a_box_is_kept(tmp_path: Path) -> None:
    two = [(-20.0005, 45.0005, -19.9995, 45.0006), (29.9, 9.9, 30.1, 10.1)]
    names = {
        name
        for layer in read_tagged([osm(tmp_path / "land.osm")], two)
        for name in layer.frame["name"].dropna()
    }
    assert names == {"Pool", "far away"}


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "osm"])
def test_a_file_with_nothing_near_gives_one_empty_layer(kind: str, tmp_path: Path) -> None:
    path = make(kind, tmp_path)
    (layer,) = read_tagged([path], [(100.0, -50.0, 101.0, -49.0)])
    assert len(layer.frame) == 0
    assert layer.source.path == str(path)
    around = classify_access([TaggedLayers([layer], "barriers")])
    assert f"{path}: holds nothing near the places" in around.notes


def test_many_boxes_read_an_indexed_file_as_one_box_each_would(tmp_path: Path) -> None:
    grid = [(x / 2, y / 2) for x in range(-40, 40) for y in range(-40, 40)]
    path = written(
        tmp_path / "points.gpkg", gpd.GeoDataFrame(geometry=[shapely.Point(p) for p in grid], crs="EPSG:4326")
    )
    boxes = [(x - 0.1, y - 0.1, x + 0.1, y + 0.1) for x, y in grid[::37]]
    (layer,) = read_tagged([path], boxes)
    assert sorted((p.x, p.y) for p in layer.frame.geometry) == sorted(grid[::37])


def test_data_over_the_antimeridian_is_found_from_either_side(tmp_path: Path) -> None:
    path = geojson(
        tmp_path / "a.geojson", [shapely.Point(179.99, 1), shapely.Point(-179.99, 1), shapely.Point(0, 1)]
    )
    for box in ((179.9, 0.9, 180.1, 1.1), (-180.1, 0.9, -179.9, 1.1)):
        (layer,) = read_tagged([path], [box])
        assert layer.frame[RECORD].tolist() == [1, 2]
    text = osm(tmp_path / "b.osm").read_text("utf-8").replace('lon="-20.0"', 'lon="179.99"')
    (tmp_path / "b.osm").write_text(text, "utf-8")
    found = read_tagged([tmp_path / "b.osm"], [(179.9, 44.9, 180.1, 45.1)])
    assert sum(len(layer.frame) for layer in found)


def test_nothing_is_left_behind_and_no_table_of_tags_from_outside_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, scratch = osm(tmp_path / "land.osm"), tmp_path / "scratch"
    plain = told(path)
    scratch.mkdir()
    (tmp_path / "odd.ini").write_text(
        "closed_ways_are_polygons=highway\n[points]\nother_tags=no\n[lines]\nother_tags=no\n"
    )
    monkeypatch.setenv("OSM_CONFIG_FILE", str(tmp_path / "odd.ini"))
    monkeypatch.setenv("CPL_TMPDIR", str(scratch))
    assert told(path) == plain
    assert os.listdir(scratch) == []


@pytest.mark.parametrize(
    ("name", "content", "what"),
    [
        ("a.osm", b"<osmChange version='0.6'/>", "the outermost element is not osm"),
        ("a.osm", b"<OGRVRTDataSource><osm/></OGRVRTDataSource>", "the outermost element is not osm"),
        ("a.osm", b"<!-- <OGRVRTDataSource> --><osm/>", "the outermost element is not osm"),
        ("a.osm", b"plain words", "the outermost element is not osm"),
        ("a.osm.pbf", b"\0\0\0\x0dplain words, many", "no OpenStreetMap PBF"),
        ("a.pbf", b"<OGRVRTDataSource/>", "no OpenStreetMap PBF"),
        ("a.pbf", b"", "the file is empty"),
        ("a.osm.bz2", b"BZh9", "cannot be unpacked"),
        ("a.osm.gz", gzip.compress(b"<osm/>" * 99, mtime=0)[:-8], "cannot be unpacked"),
        ("a.osm.gz", gzip.compress(b"plain words", mtime=0), "the outermost element is not osm"),
        ("a.osm.gz", b"", "the file is empty"),
        ("a.geojson.gz", gzip.compress(b"{}", mtime=0), "are read as .osm.gz and .osm.bz2 only"),
        ("a.vrt", b"<OGRVRTDataSource/>", "is not that of a known format"),
    ],
)
def test_a_file_that_is_not_what_it_says_gets_one_line(
    name: str, content: bytes, what: str, tmp_path: Path
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=what) as caught:
        read_tagged([tmp_path / name], [HERE])
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("suffix", "pack", "most"), [("gz", gzip.compress, 2), ("bz2", bz2.compress, 1)])
def test_a_file_that_unpacks_to_too_much_gets_one_line(
    suffix: str, pack: Callable[[bytes], bytes], most: int, tmp_path: Path
) -> None:
    path = tmp_path / f"a.osm.{suffix}"
    path.write_bytes(pack(bytes(50_000_000)))
    with pytest.raises(InputError, match=f"is larger than {most} MiB; unpack it first"):
        read_tagged([path], [HERE])


@pytest.mark.parametrize("kind", ["osm", "osm.gz", "osm.pbf"])
def test_a_map_whose_only_park_is_closed_holds_no_parks(kind: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no parks by its tags .* closed .* 1 \(Tern bank, way/15\)"):
        read_layers([make(kind, tmp_path)])


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize("kind", ["osm", "osm.gz", "osm.pbf"])
def test_a_file_cut_short_gets_one_line_or_what_is_left(kind: str, share: float, tmp_path: Path) -> None:
    path = make(kind, tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    said = []
    try:
        said = [text for layer in read_tagged([path], [HERE]) for text in layer.source.warnings]
    except InputError as error:
        said = [str(error)]
    assert said, "a loss must not pass in silence"
    assert not any("\n" in text for text in said)


def test_wrong_systems_are_said_as_for_parks(tmp_path: Path) -> None:
    metres = geojson(tmp_path / "m.geojson", [shapely.LineString([(500000, 5e6), (500100, 5e6)])])
    with pytest.raises(InputError, match="looks like metres or feet"):
        read_tagged([metres], [HERE])
    nowhere = written(tmp_path / "n.gpkg", gpd.GeoDataFrame(geometry=[shapely.Point(1, 1)]))
    with pytest.raises(CrsError, match="does not name its coordinate system"):
        read_tagged([nowhere], [HERE])
    assert read_tagged([nowhere], [(0, 0, 2, 2)], assume_crs="EPSG:4326")[0].frame[RECORD].tolist() == [1]
    with pytest.raises(InputError, match="is named twice"):
        read_tagged([metres, metres], [HERE])


BOXES = st.lists(
    st.tuples(st.floats(-180, 179), st.floats(-80, 79), st.floats(0.01, 1), st.floats(0.01, 1)).map(
        lambda b: (b[0], b[1], b[0] + b[2], b[1] + b[3])
    ),
    min_size=1,
    max_size=60,
)


@given(BOXES, st.integers(1, 8))
def test_few_boxes_hold_the_many_and_do_not_meet(boxes: list[Any], most: int) -> None:
    few = merge_boxes_to_few(boxes, most)
    assert 1 <= len(few) <= most
    shapes = shapely.box(*np.array(few).T)
    for box in boxes:
        assert shapely.covers(shapes, shapely.box(*box)).any()
    assert not any(shapely.intersects(a, b) for a, b in itertools.combinations(shapes, 2))


@given(BOXES)
def test_thrifty_boxes_hold_all_and_are_no_larger_together(boxes: list[Any]) -> None:
    few = merge_boxes([*boxes, *boxes])
    shapes, given_ones = shapely.box(*np.array(few).T), shapely.box(*np.array(boxes).T)
    assert all(shapely.covers(shapes, one).any() for one in given_ones)
    assert shapely.area(shapes).sum() <= shapely.area(given_ones).sum() * (1 + 1e-9)


def test_no_boxes_are_no_boxes() -> None:
    assert merge_boxes([]) == merge_boxes_to_few([]) == []


@given(BOXES, st.sampled_from([-360.0, 0.0, 360.0]))
def test_meeting_a_box_does_not_depend_on_the_turn(boxes: list[Any], turn: float) -> None:
    shapes, few = shapely.box(*np.array(boxes).T), np.array(boxes[:3])
    turned = np.add(few, [turn, 0, turn, 0])
    either = [shapely.box(*np.add(few, [t, 0, t, 0]).T) for t in (-360, 0, 360)]
    expected = [bool(shapely.intersects(shape, either).any()) for shape in shapes]
    assert meets_boxes(shapes, [tuple(box) for box in turned.tolist()]).tolist() == expected


# --- records that cannot be used lose nothing else ----------------------------------------------------

BOXES = [(-20.01, 44.99, -19.99, 45.0005), (-20.01, 45.01, -19.99, 45.02)]  # two: asked for by their union


def with_bad_rings(path: Path) -> Path:
    """The map, a closed way of which an extract has one node, and relations of what is not there."""
    text = osm(path).read_text("utf-8")
    node = '<node id="9001" lat="44.9999" lon="-20.0001" version="1"/>'
    refs = "".join(f'<nd ref="{k}"/>' for k in (9001, 9998, 9999, 9001))
    water = '<tag k="natural" v="water"/>'
    way = f'<way id="9100" version="1">{refs}{water}</way>'
    members = {9201: ("way", 9100), 9202: ("way", 9999), 9203: ("relation", 9203)}
    relations = "".join(
        f'<relation id="{k}" version="1"><member type="{kind}" ref="{to}" role="outer"/>'
        f'<tag k="type" v="multipolygon"/>{water}</relation>'
        for k, (kind, to) in members.items()
    )
    text = text.replace("<way", f"{node}<way", 1).replace("<relation", f"{way}<relation", 1)
    path.write_text(text.replace("</osm>", f"{relations}</osm>"), "utf-8")
    return path


def counts(layers: list[Any]) -> dict[str, int]:
    return {layer.source.layer: len(layer.frame) for layer in layers}


def test_one_bad_ring_loses_no_other_record(tmp_path: Path) -> None:
    sound = read_tagged([osm(tmp_path / "land.osm")], BOXES)
    layers = read_tagged([with_bad_rings(tmp_path / "land.osm")], BOXES)
    assert counts(layers) == counts(sound)


def test_a_bad_ring_far_away_is_not_spoken_of(tmp_path: Path) -> None:
    path = with_bad_rings(tmp_path / "land.osm")
    layers = read_tagged([path], [(29.9, 9.9, 30.1, 10.1), (31.0, 9.9, 31.1, 10.1)])
    assert [layer.refused for layer in layers] == [()]


@pytest.mark.parametrize("driver", ["GPKG", "FlatGeobuf", "ESRI Shapefile"])
def test_a_ring_of_two_points_loses_nothing_in_other_formats_either(driver: str, tmp_path: Path) -> None:
    ring = np.array([[-20.1, 44.9], [-19.9, 45.1]], "<f8")
    bad = b"\1" + np.array([3, 1, 2], "<u4").tobytes() + ring.tobytes()
    wkb = np.array([bad, shapely.Polygon(SQUARE).wkb], dtype=object)
    path = tmp_path / {"GPKG": "land.gpkg", "FlatGeobuf": "land.fgb", "ESRI Shapefile": "land.shp"}[driver]
    options = {"geometry_type": "Polygon", "crs": "EPSG:4326", "driver": driver}
    water = np.array(["water", "water"], dtype=object)
    pyogrio.raw.write(path, wkb, [water], ["natural"], **options)
    layers = read_tagged([path], [(-20.003, 44.997, -20.002, 44.998), (-20.0005, 44.9995, -19.999, 45.001)])
    assert [len(layer.frame) for layer in layers] == [1]
    assert sum(len(layer.refused) for layer in layers) == 1
