"""Parks and what lies around them from OpenStreetMap data.

Real extracts (ODbL) are put together by GDAL's OSM driver as well, an independent implementation: where the
two differ it is said why. Made extracts are written by pyosmium.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyogrio
import pytest
from conftest import REPOSITORY
from fuzz.damage_formats import change_blocks

from scout.app.settings import Settings
from scout.app.sources import make_access, open_source, read_parks
from scout.errors import InputError
from scout.io.crs import meets_boxes
from scout.io.layers import read_layers
from scout.io.park_tags import list_park_tags
from scout.model import DATUM_ERROR, PARK_ID, PARK_NAME, RECORD, Layer, Parks
from scout.walk.read import read_tagged
from scout.walk.tags import KEYS

osmium = pytest.importorskip("osmium", reason="reads OpenStreetMap data; pip install osmium")
from osmium.osm.mutable import Node, Relation, Way  # noqa: E402

REAL = REPOSITORY.parent / "shared/data/osm"
HELSINKI, LIECHTENSTEIN = REAL / "Helsinki.osm.pbf", REAL / "liechtenstein-2013-08-03.osm.pbf"
real = pytest.mark.skipif(not REAL.is_dir(), reason="no ../shared/data/osm")
NEVER = re.compile("(?!)")


# --- real extracts against GDAL's own assembly --------------------------------------------------------


class Seen(NamedTuple):
    name: str
    tags: dict[str, str]
    shape: Any


def by_gdal(path: Path, layer: str) -> dict[str, Seen]:
    """All of a layer by type and id; tags from columns and from the text that holds the others."""
    frame = pyogrio.read_dataframe(path, layer=layer, on_invalid="ignore")
    found = {}
    for row in frame.to_dict("records"):
        tags = {k: v for k, v in row.items() if isinstance(v, str) and k not in ("osm_id", "osm_way_id")}
        for key, value in re.findall(r'"((?:[^"\\]|\\.)*)"=>"((?:[^"\\]|\\.)*)"', tags.pop("other_tags", "")):
            tags.setdefault(key, value)
        way = row.get("osm_way_id")
        label = f"way/{way}" if isinstance(way, str) else f"relation/{row['osm_id']}"
        if layer != "multipolygons":
            label = f"{'way' if layer == 'lines' else 'node'}/{row['osm_id']}"
        found[label] = Seen(tags.get("name", ""), tags, row["geometry"])
    return found


def park_layers(path: Path, **more: Any) -> dict[str, Seen]:
    return {
        row.park_id: Seen(row.name, {}, row.geometry)
        for layer in read_layers(path, **more)
        for row in layer.frame.itertuples(index=False)
    }


# What only GDAL has and what only scout has, with forests; and why.
DIFFERENT = {
    HELSINKI: (
        # Nodes of these ways lie outside the extract: GDAL joins the ends that are there by a straight line.
        {"way/8042256", "way/122869924", "way/122887005", "way/123811631", "way/440426433", "way/585933677"},
        set(),
    ),
    LIECHTENSTEIN: (
        # The outline of relation/77, whose holes are not in the extract: GDAL fills them.
        {"way/385"},
        # The outline of a relation without tags, as was usual in 2013: GDAL gives it the way's tags, and
        # drops the way. Today such tags mean the way itself (OpenStreetMap wiki, Relation:multipolygon, M).
        {"way/246"},
    ),
}


@real
@pytest.mark.filterwarnings("ignore:Non closed ring", "ignore:organizePolygons", "ignore:Several features")
@pytest.mark.parametrize("forests", [False, True])
@pytest.mark.parametrize("path", DIFFERENT, ids=lambda path: path.name.split(".")[0])
def test_real_parks_are_those_that_gdal_puts_together(path: Path, forests: bool) -> None:
    wanted = list_park_tags(forests)
    gdal = {
        label: one
        for label, one in by_gdal(path, "multipolygons").items()
        if any(one.tags.get(key) == value for key, value in wanted)
    }
    found = park_layers(path, forests=forests)
    only_gdal, only_scout = DIFFERENT[path]
    assert set(gdal) - set(found) == only_gdal & set(gdal)
    assert set(found) - set(gdal) == only_scout & set(found)
    assert len(found) >= (60 if forests and path == LIECHTENSTEIN else 7)
    for label in set(found) & set(gdal):
        assert found[label].name == gdal[label].name
        assert found[label].shape.area == pytest.approx(gdal[label].shape.area, rel=1e-3), label


@real
def test_what_is_cut_at_the_edge_is_said_with_its_name() -> None:
    (told,) = [line for layer in read_layers(HELSINKI) for line in layer.source.warnings]
    assert "cut at the edge of the data" in told
    assert ": 5 (" in told
    assert "Tokoinranta, way/122869924" in told


@real
@pytest.mark.filterwarnings("ignore:Non closed ring", "ignore:organizePolygons", "ignore:Several features")
@pytest.mark.parametrize(
    ("path", "corner"),
    [(HELSINKI, (24.940, 60.168)), (LIECHTENSTEIN, (9.52, 47.14))],
    ids=["city", "country"],
)
def test_what_lies_near_places_is_what_gdal_finds_there(path: Path, corner: tuple[float, float]) -> None:
    """All of it, also the long and the large."""
    boxes = [(x - 0.004, y - 0.002, x + 0.004, y + 0.002) for x, y in (corner, np.add(corner, 0.01))]
    found = {
        f"{layer.source.layer[:-1]}/{number}": shape
        for layer in read_tagged([path], boxes)
        for number, shape in zip(layer.frame[RECORD], layer.frame.geometry, strict=True)
    }
    expected = {}
    for layer in ("points", "lines", "multipolygons"):
        for label, one in by_gdal(path, layer).items():
            keys = (
                KEYS - {"name"}
                if not label.startswith("relation")
                else KEYS - {"name", "ref", "layer", "area"}
            )
            if keys & set(one.tags) and one.shape is not None:
                expected[label] = one.shape
    shapes = np.array(list(expected.values()), dtype=object)
    near = {label for label, met in zip(expected, meets_boxes(shapes, boxes), strict=True) if met}
    assert len(near) > 100
    assert near - set(found) == set()
    for label in set(found) - near:  # tags of an area that GDAL has by another's name, or has not at all
        assert label not in expected or label.startswith("relation"), label
    assert len(set(found) - near) < 0.05 * len(near)


# --- made extracts ------------------------------------------------------------------------------------

X, Y, SIDE = -20.0, 45.0, 0.01
PLACED = {"type": "multipolygon"}


class Maker:
    """Draws squares and what is made of them, in grid units of a hundredth of a degree."""

    def __init__(self) -> None:
        self.nodes: list[tuple[float, float]] = []
        self.ways: list[tuple[list[int], dict[str, str]]] = []
        self.relations: list[tuple[list[tuple[str, int, str]], dict[str, str]]] = []

    def ring(self, x: float, y: float, side: float) -> list[int]:
        return [self.node(x + dx * side, y + dy * side) for dx, dy in ((0, 0), (1, 0), (1, 1), (0, 1))]

    def node(self, x: float, y: float) -> int:
        self.nodes.append((X + x * SIDE, Y + y * SIDE))
        return len(self.nodes)

    def way(self, nodes: list[int], **tags: str) -> int:
        self.ways.append((nodes, tags))
        return len(self.ways)

    def square(self, x: float, y: float, side: float = 1.0, **tags: str) -> int:
        ring = self.ring(x, y, side)
        return self.way([*ring, ring[0]], **tags)

    def halves(self, x: float, y: float, side: float = 1.0) -> tuple[int, int]:
        a, b, c, d = self.ring(x, y, side)
        return self.way([a, b, c]), self.way([c, d, a])

    def relation(self, members: list[tuple[int, str]], kind: str = "w", **tags: str) -> int:
        self.relations.append(([(kind, to, role) for to, role in members], {**PLACED, **tags}))
        return len(self.relations)

    def write(self, path: Path, without: tuple[set[int], set[int]] = (set(), set())) -> Path:
        """``without`` these nodes and ways."""
        with osmium.SimpleWriter(str(path), overwrite=True) as writer:
            for number, place in enumerate(self.nodes, 1):
                if number not in without[0]:
                    writer.add_node(Node(id=number, location=place, version=1))
            for number, (nodes, tags) in enumerate(self.ways, 1):
                if number not in without[1]:
                    writer.add_way(Way(id=number, nodes=nodes, tags=tags, version=1))
            for number, (members, tags) in enumerate(self.relations, 1):
                writer.add_relation(Relation(id=number, members=members, tags=tags, version=1))
        return path


def told(layers: list[Layer]) -> str:
    return "; ".join(line for layer in layers for line in layer.source.warnings)


def area(shape: Any) -> float:
    """In squares."""
    return round(shape.area / SIDE**2, 6)


def parks_of(path: Path, **more: Any) -> Parks:
    settings = Settings(**more)
    return read_parks(settings.make_park_files([str(path)]), lambda _: None)


def test_relations_are_put_together_with_holes_and_several_outlines(tmp_path: Path) -> None:
    made = Maker()
    first, second = made.halves(0, 0, 4), made.halves(6, 0, 2)
    hole, more = made.square(1, 1), made.square(6.5, 0.5)
    outer = [(way, "outer") for way in (*first, *second)]
    made.relation([*outer, (hole, "inner"), (more, "inner")], leisure="nature_reserve", name="Two Fens")
    # A way serves two relations: the hole of one is the outline of another.
    made.relation([(hole, "outer")], boundary="protected_area", name="Inner Fen")
    found = park_layers(made.write(tmp_path / "land.osm.pbf"))
    assert {one.name: area(one.shape) for one in found.values()} == {"Two Fens": 16 + 4 - 2, "Inner Fen": 1}
    assert set(found) == {"relation/1", "relation/2"}
    assert not found["relation/1"].shape.intersects(found["relation/2"].shape.buffer(-1e-6))


def test_the_columns_are_made_of_tags(tmp_path: Path) -> None:
    made = Maker()
    tags = {"name:de": "Möwenried", "ref": "Q-7", "operator": "Quarrel County", "protect_class": "4"}
    made.square(0, 0, boundary="national_park", name="Gull Fen", access="permit", **tags)
    made.square(2, 0, leisure="park", official_name="Common of Quarrel")
    made.square(4, 0, leisure="common", **{"name:fi": "Lokkisuo"})
    (ways,) = read_layers(made.write(tmp_path / "land.osm.pbf"))
    kept = ways.frame[["park_id", "name", "kind", "operator", "access", "protect_class", "ref", "name:de"]]
    assert kept.iloc[0].tolist() == [
        "way/1", "Gull Fen", "national park", "Quarrel County", "permit", "4", "Q-7", "Möwenried",
    ]  # fmt: skip
    assert ways.frame["name"].tolist() == ["Gull Fen", "Common of Quarrel", "Lokkisuo"]
    assert ways.frame["kind"].tolist() == ["national park", "park", "common"]
    assert "restricted access" in told([ways])
    assert "1 (Gull Fen, way/1)" in told([ways])
    frame = parks_of(tmp_path / "land.osm.pbf").frame
    assert frame["entry"].tolist() == ["restricted", "", ""], "marked at its spots, in check and on the map"
    assert frame["attributes"][0] == {"Manager": "Quarrel County", "Kind": "national park"}
    parks = parks_of(tmp_path / "land.osm.pbf")
    assert parks.frame[PARK_ID].tolist() == ["way/1", "way/2", "way/3"]
    assert parks.frame[PARK_NAME].tolist() == ["Gull Fen", "Common of Quarrel", "Lokkisuo"]
    assert parks.frame[DATUM_ERROR].tolist() == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("tags", "taken"),
    [
        ({"leisure": "park"}, True),
        ({"leisure": "nature_reserve"}, True),
        ({"leisure": "park", "access": "yes"}, True),
        ({"leisure": "park", "access": "permit"}, True),
        ({"leisure": "park", "access": "private", "foot": "yes"}, True),
        ({"boundary": "protected_area", "protect_class": "1a"}, True),
        ({"boundary": "protected_area", "protect_class": "12", "leisure": "nature_reserve"}, True),
        ({"leisure": "park", "access": "no"}, False),
        ({"leisure": "park", "access": "private"}, False),
        ({"leisure": "park", "foot": "no"}, False),
        ({"boundary": "protected_area", "protect_class": "12"}, False),
        ({"boundary": "protected_area", "protect_class": "24"}, False),
        ({"boundary": "national_park", "proposed": "yes"}, False),
        ({"leisure": "park", "area": "no"}, False),
        ({"leisure": "pitch"}, False),
        ({"landuse": "forest"}, False),
        ({"natural": "wood"}, False),
    ],
)
@pytest.mark.parametrize("as_relation", [False, True])
def test_what_is_a_park_and_open_by_its_tags(
    tags: dict[str, str], taken: bool, as_relation: bool, tmp_path: Path
) -> None:
    made = Maker()
    made.square(9, 9, leisure="park", name="another")
    if as_relation:
        made.relation([(made.square(0, 0), "outer")], **{key: tags[key] for key in tags if key != "area"})
    else:
        made.square(0, 0, **tags)
    found = park_layers(made.write(tmp_path / "land.osm.pbf"))
    assert len(found) - 1 == (taken or (as_relation and "area" in tags))
    if taken or "leisure" not in tags or "area" in tags:
        return
    closed = told(read_layers(tmp_path / "land.osm.pbf"))
    assert ("closed to the public" in closed) == (tags["leisure"] == "park")


def test_forests_are_parks_by_choice(tmp_path: Path) -> None:
    made = Maker()
    made.square(0, 0, leisure="park", name="Gull Fen")
    made.square(2, 0, landuse="forest", name="Long Wood")
    made.relation([(made.square(4, 0), "outer")], natural="wood", name="Old Wood")
    path = made.write(tmp_path / "land.osm.pbf")
    assert parks_of(path).frame[PARK_NAME].tolist() == ["Gull Fen"]
    assert set(parks_of(path, forests=True).frame[PARK_NAME]) == {"Gull Fen", "Long Wood", "Old Wood"}


def test_what_is_cut_is_left_out_and_named_and_loses_nothing_else(tmp_path: Path) -> None:
    made = Maker()
    made.square(0, 0, leisure="park", name="Whole Fen")
    cut_node = made.node(20, 0)
    ring = made.ring(20, 1, 1)
    made.way([*ring, cut_node, ring[0]], leisure="park", name="Edge Common")
    east, west = made.halves(30, 0, 3)
    made.relation([(east, "outer"), (west, "outer")], boundary="protected_area", name="Edge Reserve")
    outline, hole = made.square(40, 0, 3), made.square(41, 1)
    made.relation([(outline, "outer"), (hole, "inner")], leisure="nature_reserve", name="Holed Reserve")
    away = made.halves(60, 0)
    made.relation([(way, "outer") for way in away], leisure="nature_reserve", name="Far Reserve")
    gap, open_end = made.halves(80, 0)
    made.relation([(gap, "outer")], leisure="nature_reserve", name="Open Reserve")
    without = {cut_node}, {west, hole, *away, open_end}
    layers = read_layers(made.write(tmp_path / "land.osm.pbf", without))
    assert [row for layer in layers for row in layer.frame["name"]] == ["Whole Fen"]
    lines = [line for layer in layers for line in layer.source.warnings]
    cut, broken = (next(line for line in lines if word in line) for word in ("cut at the edge", "not close"))
    assert ": 3 (" in cut
    for name in ("Edge Common, way/2", "Edge Reserve, relation/1", "Holed Reserve, relation/2"):
        assert name in cut
    assert ": 1 (Open Reserve, relation/4)" in broken
    assert "Far Reserve" not in "".join(lines)  # nothing of it is in the data


def test_relations_of_relations_and_of_themselves_end(tmp_path: Path) -> None:
    made = Maker()
    made.square(0, 0, leisure="park", name="Whole Fen")
    for other in (2, 1, 3):  # two of each other, one of itself
        made.relation([(other, "outer")], "r", leisure="nature_reserve", name="Loop Fen")
    layers = read_layers(made.write(tmp_path / "land.osm.pbf"))
    assert [row for layer in layers for row in layer.frame["name"]] == ["Whole Fen"]
    assert ": 3 (Loop Fen, relation/1" in told(layers)


def test_a_park_drawn_twice_is_one(tmp_path: Path) -> None:
    made = Maker()
    outline, hole = made.square(0, 0, 4, leisure="nature_reserve", name="Gull Fen"), made.square(1, 1)
    members = [(outline, "outer"), (hole, "inner")]
    made.relation(members, leisure="nature_reserve", name="Gull Fen")
    bare = made.square(10, 0, 4, leisure="park")
    made.relation([(bare, "outer")], leisure="park", name="Tern Fen")
    other = made.square(20, 0, 4, leisure="park", name="Fen of another name")
    made.relation([(other, "outer")], leisure="nature_reserve", name="Kite Fen")
    parks = parks_of(made.write(tmp_path / "land.osm.pbf"))
    sizes = dict(zip(parks.frame[PARK_NAME], map(area, parks.frame.geometry), strict=True))
    assert sizes == {"Gull Fen": 15, "Tern Fen": 16, "Fen of another name": 16, "Kite Fen": 16}


def test_lines_and_points_with_the_tags_of_parks_are_counted(tmp_path: Path) -> None:
    made = Maker()
    made.square(0, 0, leisure="park", name="Whole Fen")
    made.way([made.node(1, 5), made.node(2, 5), made.node(3, 6)], leisure="park", name="Line")
    made.square(4, 0, leisure="park", area="no", name="Ring")
    assert "lines with the tags of a park, left out: 2" in told(
        read_layers(made.write(tmp_path / "land.osm.pbf"))
    )


def test_a_large_area_and_a_long_line_without_a_node_nearby_are_near(tmp_path: Path) -> None:
    """A range or a lake may hold a place while all of its nodes are far away."""
    made = Maker()
    made.square(-100, -100, 200, landuse="military", name="Range")
    made.way([made.node(-150, 0.01), made.node(150, 0.01)], power="line", name="Line")
    made.square(-0.2, -0.2, 0.4, building="hall", name="Hall")
    made.square(50, 50, 0.1, building="yes", name="Far hut")
    made.way([made.node(70, 70), made.node(70.1, 70)], highway="path", name="Far path")
    outline, hole = made.square(-120, -120, 240), made.square(60, 60)
    made.relation([(outline, "outer"), (hole, "inner")], natural="water", name="Lake")
    box = [(X - 1e-4, Y - 1e-4, X + 1e-4, Y + 1e-4)]
    layers = read_tagged([made.write(tmp_path / "land.osm.pbf")], box)
    assert {name for layer in layers for name in layer.frame["name"]} == {"Range", "Line", "Hall", "Lake"}


@pytest.mark.parametrize("turn", [0.0, -360.0])
def test_near_does_not_depend_on_the_turn_of_the_globe(turn: float, tmp_path: Path) -> None:
    with osmium.SimpleWriter(str(tmp_path / "land.osm.pbf")) as writer:
        for number, place in enumerate(
            [(179.999, 10.0), (179.9995, 10.0), (-179.999, 10.0), (-179.99, 10.0)], 1
        ):
            writer.add_node(Node(id=number, location=place, version=1))
        for number, (nodes, name) in enumerate([([1, 2], "west of it"), ([3, 4], "east of it")], 1):
            writer.add_way(Way(id=number, nodes=nodes, tags={"highway": "path", "name": name}, version=1))
    box = (179.99 + turn, 9.9, 180.01 + turn, 10.1)
    layers = read_tagged([tmp_path / "land.osm.pbf"], [box])
    assert {name for layer in layers for name in layer.frame.get("name", ())} == {"west of it", "east of it"}


def test_a_shore_of_a_lake_that_is_cut_stays_a_barrier(tmp_path: Path) -> None:
    made = Maker()
    east, west = made.halves(0, 0, 1)
    made.relation([(east, "outer"), (west, "outer")], natural="water", name="Cut Lake")
    path = made.write(tmp_path / "land.osm.pbf", (set(), {west}))
    (layer,) = read_tagged([path], [(X - 1, Y - 1, X + 1, Y + 1)])
    assert [shape.geom_type for shape in layer.frame.geometry] == ["MultiLineString"]
    assert "relations cut at the edge of the data, or that do not close, taken as lines: 1" in told([layer])


# --- one extract for everything -----------------------------------------------------------------------


def country(path: Path, **tags: str) -> Path:
    """A park over a corner of squares, roads to it, a lake, a power line and closed ground."""
    made = Maker()
    made.square(-5, -5, 10, leisure="nature_reserve", name="Corner Fen", **tags)
    made.way([made.node(-20, 0.3), made.node(20, 0.3)], highway="unclassified", name="Fen Road")
    made.way([made.node(0.02, 0.3), made.node(0.02, -3)], highway="path")
    made.way([made.node(-20, 0.1), made.node(20, 0.1)], power="line", name="Q1")
    made.square(0.5, -0.5, 0.3, natural="water", name="Fen Pool")
    made.square(-2, -2, 0.5, landuse="military", name="Range Q")
    return made.write(path)


def test_roads_water_and_lines_come_from_the_file_of_the_parks(tmp_path: Path) -> None:
    path = country(tmp_path / "land.osm.pbf")
    settings = Settings(home="45.02,-20.02", within_km=10.0, min_grids=2)
    assert settings.make_access_files(parks=["parks.gpkg"]).files == ()
    files = settings.make_access_files(parks=[str(path)])
    assert files.access == (str(path),)
    named = Settings(barriers=(str(path),)).make_access_files(parks=[str(path)])
    assert named.access == ()  # once is enough
    source = make_access(files, lambda _: None)
    assert source is not None
    around, _ = source.near([(X - 0.05, Y - 0.05, X + 0.05, Y + 0.05)])
    assert set(around.ways["what"]) == {"unclassified road", "path"}
    assert {"water", "military ground"} <= set(around.barriers["what"])
    assert set(around.hazards_of("power")["name"]) == {"Q1"}
    assert set(around.hazards_of("closed")["name"]) == {"Range Q"}


def run(*words: str, **more: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "scout", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        **more,
    )


def test_the_licence_is_on_every_output_by_itself(tmp_path: Path) -> None:
    path = country(tmp_path / "land.osm.pbf")
    outputs = [tmp_path / f"out.{suffix}" for suffix in ("geojson", "gpx", "kml", "html", "gpkg", "csv")]
    saved = [word for out in outputs if out.suffix != ".html" for word in ("--save", str(out))]
    done = run(
        "find", str(path), "--home", "45.02,-20.02", "--within", "20", "--map", str(outputs[3]), *saved
    )
    assert done.returncode == 0, done.stderr
    assert "walk" in done.stdout
    for out in outputs:
        text = out.read_bytes()
        assert b"OpenStreetMap contributors" in text, out.name
        assert b"ODbL" in text, out.name
    prepared = tmp_path / "parks.parquet"
    assert run("prepare", str(path), "--out", str(prepared)).returncode == 0
    (layer,) = read_layers(prepared)
    assert [credit.text for credit in layer.source.credits] == ["© OpenStreetMap contributors"]


def test_a_credit_of_the_users_own_is_not_said_again() -> None:
    from scout.model import Credit, Source, collect_credits

    osm = Credit((), "© OpenStreetMap contributors", "ODbL")
    sources = [
        Source(name, "ways", 1, "EPSG:4326", "none", 0.0, credits=(osm,)) for name in ("a.pbf", "b.pbf")
    ]
    assert [one.files for one in collect_credits((), sources)] == [("a.pbf", "b.pbf")]
    mine = Credit(("a.pbf",), "Made of data © OpenStreetMap contributors", "ODbL")
    assert [one.files for one in collect_credits((mine,), sources)] == [("a.pbf",), ("b.pbf",)]
    everything = Credit((), "© openstreetmap contributors")
    assert collect_credits((everything,), sources) == (everything,)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_a_file_cut_short_gets_one_line_and_status_two(share: float, tmp_path: Path) -> None:
    path = country(tmp_path / "land.osm.pbf")
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    done = run("find", str(path))
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert "land.osm.pbf" in line


def test_a_zero_byte_in_a_text_ends_nothing(tmp_path: Path) -> None:
    """libosmium takes texts for ended there, and reads what is none of its: the process is gone."""
    path = country(tmp_path / "land.osm.pbf")
    change_blocks(path, lambda block: block.replace(b"Corner Fen", b"Corner\0Fen"))
    done = run("find", str(path))
    assert done.returncode == 2
    assert done.stderr == f"scout: {path}: is damaged: a text in it has a zero byte; download it again\n"


@pytest.mark.parametrize("word", ["id", "lat", "version"])
def test_a_number_beyond_all_bounds_gets_one_short_line(word: str, tmp_path: Path) -> None:
    given = {"id": "1", "lat": "1", "version": "1", word: "9" * 3000}
    node = " ".join(f'{key}="{value}"' for key, value in given.items())
    path = tmp_path / "land.osm"
    path.write_text(f'<?xml version="1.0"?><osm version="0.6"><node lon="1" {node}/></osm>')
    with pytest.raises(InputError, match="cannot be read") as caught:
        read_layers(path)
    assert len(str(caught.value)) < 500


def test_without_pyosmium_one_line_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = country(tmp_path / "land.osm.pbf")
    monkeypatch.setitem(sys.modules, "osmium", None)
    with pytest.raises(
        InputError, match=r"needs pyosmium; install it with: pip install 'lattice-scout\[osm\]'"
    ):
        read_layers(path)
    with pytest.raises(InputError, match="needs pyosmium"):
        read_tagged([path], [(X, Y, X + 1, Y + 1)])


def test_parks_of_other_formats_and_of_an_extract_go_together(tmp_path: Path) -> None:
    path = country(tmp_path / "land.osm.pbf")
    beside = tmp_path / "more.geojson"
    beside.write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"id":"Q-1","name":"Fen"},'
        '"geometry":{"type":"Polygon","coordinates":[[[1,1],[2,1],[2,2],[1,1]]]}}]}'
    )
    source = open_source(Settings().make_park_files([str(path), str(beside)]), lambda _: None)
    assert set(source.ids) == {"way/1", "Q-1"}
