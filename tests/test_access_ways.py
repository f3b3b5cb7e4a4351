"""Tags understood. What values mean is the OpenStreetMap wiki's (Map features, Access restrictions): M."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
import shapely
from boundary_files import geojson, layer
from conftest import REPOSITORY

from scout.errors import InputError
from scout.model import (
    CROSSING,
    DRIVE,
    GEOMETRY,
    HAZARD,
    NAME,
    OPENING_HOURS,
    WALK,
    WHAT,
    Layer,
    Surroundings,
)
from scout.walk.read import read_tagged
from scout.walk.ways import TaggedLayers, TagMapping, classify_access

LINE = shapely.LineString([(0, 0), (0.001, 0)])
POINT = shapely.Point(0.5, 0.5)
AREA = shapely.box(0, 0, 0.001, 0.001)
LOOP = shapely.LineString(AREA.exterior.coords)
DEMO = ("access", "barriers", "hazards")


def tagged(*records: tuple[Any, dict[str, Any]], role: str = "access", called: str = "land") -> TaggedLayers:
    keys = sorted({key for _, tags in records for key in tags})
    columns = {key: [tags.get(key) for _, tags in records] for key in keys}
    return TaggedLayers([layer([shape for shape, _ in records], called=called, **columns)], role)


def of(text: str) -> dict[str, str]:
    """Tags from a short text: "highway=path foot=no"."""
    return dict(word.split("=") for word in text.split())


def understood(shape: Any, text: str, **more: Any) -> Surroundings:
    return classify_access([tagged((shape, of(text)), **more)])


def named(rows: Any) -> list[tuple[str, str]]:
    return sorted(map(tuple, rows[[WHAT, NAME]].to_numpy().tolist()))


def sizes(around: Surroundings) -> dict[str, int]:
    names = ("ways", "starts", "barriers", "openings")
    counts = {name: len(getattr(around, name)) for name in names}
    counts |= {kind: len(around.hazards_of(kind)) for kind in ("closed", "power")}
    return {name: count for name, count in counts.items() if count}


@pytest.mark.parametrize(
    ("text", "uses"),
    [
        *((f"highway={kind}", "walk") for kind in ("path", "footway", "steps", "bridleway", "pedestrian")),
        ("highway=cycleway", "walk"),
        ("highway=cycleway foot=no", ""),
        ("highway=track", "walk"),
        ("highway=track motor_vehicle=permissive", "walk drive"),
        ("highway=track motorcar=yes motor_vehicle=no", "walk drive"),
        ("highway=track tracktype=grade1", "walk drive"),
        ("highway=track tracktype=grade1 motor_vehicle=no", "walk"),
        ("highway=track tracktype=grade2", "walk"),
        *((f"highway={kind}", "walk drive") for kind in ("service", "residential", "tertiary", "secondary")),
        *((f"highway={kind}", "walk drive") for kind in ("unclassified", "living_street", "road")),
        ("highway=service service=driveway", "walk"),
        ("highway=primary", "walk"),
        ("highway=tertiary_link", "walk"),
        *((f"highway={kind}", "") for kind in ("motorway", "motorway_link", "trunk", "proposed", "raceway")),
        *((f"highway={kind}", "") for kind in ("construction", "abandoned", "corridor", "via_ferrata", "")),
        ("highway=trunk foot=yes", "walk"),
        ("highway=trunk sidewalk=both", "walk"),
        ("highway=primary motorroad=yes", ""),
        ("highway=residential access=private", ""),
        ("highway=residential access=no foot=yes", "walk"),
        ("highway=residential access=destination", "walk drive"),
        ("highway=residential vehicle=no", "walk"),
        ("highway=residential access=no motor_vehicle=yes", "drive"),
        ("highway=path access=yes foot=private", ""),
        ("highway=path access=customers", ""),
        ("highway=path sac_scale=mountain_hiking", "walk"),
        ("highway=path sac_scale=difficult_alpine_hiking", ""),
        ("highway=path;footway", "walk"),
        ("highway=PATH", "walk"),
        ("highway=path bridge=yes", "walk crossing"),
        ("highway=path bridge=boardwalk", "walk crossing"),
        ("highway=path bridge=no", "walk"),
        ("highway=path bridge=collapsed", "walk"),
        ("highway=path ford=stepping_stones", "walk crossing"),
        ("highway=path tunnel=yes", "walk crossing"),
        ("highway=secondary bridge=yes", "walk crossing"),
        ("route=ferry foot=yes", ""),
        ("man_made=pipeline", ""),
    ],
)
def test_ways_are_used_as_their_tags_say(text: str, uses: str) -> None:
    found = understood(LINE, text).ways
    told = {WALK: "walk", DRIVE: "drive", CROSSING: "crossing"}
    assert [{told[key] for key in told if row[key]} for _, row in found.iterrows()] == (
        [set(uses.split())] if uses else []
    )


@pytest.mark.parametrize(
    ("shape", "text", "what"),
    [
        *((shape, "amenity=parking", "parking") for shape in (POINT, LINE, AREA, LOOP)),
        (POINT, "amenity=parking fee=yes access=yes", "parking"),
        (POINT, "amenity=parking access=permissive", "parking"),
        *((AREA, f"amenity=parking access={who}", "") for who in ("private", "no", "customers", "residents")),
        (POINT, "amenity=parking access=permit", ""),
        (POINT, "amenity=parking access=no motorcar=yes", "parking"),
        (POINT, "amenity=bicycle_parking", ""),
        (POINT, "highway=trailhead", "trailhead"),
        (POINT, "tourism=information information=trailhead", "trailhead"),
        (POINT, "tourism=information information=board", ""),
        (POINT, "amenity=ferry_terminal", ""),
    ],
)
def test_walks_start_where_anyone_may_park(shape: Any, text: str, what: str) -> None:
    found = understood(shape, text).starts
    assert found[WHAT].tolist() == ([what] if what else [])
    assert all(point.geom_type == "Point" and shape.envelope.intersects(point) for point in found.geometry)
    if shape is AREA and what:
        assert AREA.contains(found.geometry.iloc[0])


@pytest.mark.parametrize(
    ("shape", "text", "what", "kind"),
    [
        (AREA, "natural=water water=lake", "water", "Polygon"),
        (LOOP, "natural=water", "water", "Polygon"),
        (LINE, "natural=water", "water", "LineString"),
        (AREA, "natural=water intermittent=yes", "water", "Polygon"),
        (AREA, "natural=water tunnel=culvert", "", ""),
        (AREA, "waterway=riverbank", "water", "Polygon"),
        (AREA, "waterway=river", "river", "Polygon"),
        (AREA, "landuse=reservoir", "water", "Polygon"),
        (LINE, "waterway=river", "river", "LineString"),
        (LOOP, "waterway=canal", "canal", "LineString"),
        (LINE, "waterway=canal bridge=aqueduct", "", ""),
        (LINE, "waterway=river tunnel=yes", "", ""),
        *((LINE, f"waterway={kind}", "", "") for kind in ("stream", "ditch", "drain", "dam")),
        (AREA, "natural=wetland wetland=bog", "", ""),
        (AREA, "natural=glacier", "glacier", "Polygon"),
        (LINE, "natural=coastline", "coast", "LineString"),
        (AREA, "natural=coastline", "coast", "LineString"),
        (LINE, "natural=cliff", "cliff", "LineString"),
        (LOOP, "natural=cliff", "cliff", "LineString"),
        *((LINE, f"barrier={kind}", kind, "LineString") for kind in ("fence", "wall", "hedge")),
        (LINE, "barrier=retaining_wall", "retaining wall", "LineString"),
        (LINE, "barrier=city_wall", "city wall", "LineString"),
        (LINE, "barrier=yes", "barrier", "LineString"),
        (AREA, "barrier=wall", "wall", "LineString"),
        (AREA, "barrier=hedge area=yes", "hedge", "Polygon"),
        *((LINE, f"barrier={kind}", "", "") for kind in ("kerb", "handrail", "guard_rail", "ditch", "no")),
        (LINE, "highway=motorway", "motorway", "LineString"),
        (LINE, "highway=motorway bridge=yes", "", ""),
        (LINE, "railway=rail", "railway", "LineString"),
        (LINE, "railway=rail tunnel=yes", "", ""),
        (LINE, "railway=abandoned", "", ""),
        (AREA, "building=yes", "", ""),
    ],
)  # fmt: skip
def test_barriers_are_what_nobody_walks_across(shape: Any, text: str, what: str, kind: str) -> None:
    found = understood(shape, text, role="barriers").barriers
    assert found[WHAT].tolist() == ([what] if what else [])
    assert found.geom_type.tolist() == ([kind] if kind else [])


@pytest.mark.parametrize(
    ("shape", "text", "what"),
    [
        *(
            (POINT, f"barrier={kind}", kind.replace("_", " "))
            for kind in ("gate", "stile", "kissing_gate", "entrance")
        ),
        (POINT, "barrier=lift_gate access=private foot=yes", "lift gate"),
        (LINE, "barrier=gate", "gate"),
        (POINT, "barrier=gate locked=no", "gate"),
        (POINT, "barrier=gate locked=yes", ""),
        (POINT, "barrier=gate access=private", ""),
        (POINT, "barrier=gate access=no", ""),
        (POINT, "barrier=gate foot=no", ""),
        (POINT, "ford=yes", "ford"),
        (POINT, "highway=ford", "ford"),
        (LINE, "highway=path ford=yes", ""),
        (POINT, "railway=level_crossing", "level crossing"),
        (POINT, "barrier=kerb", ""),
        (POINT, "barrier=fence", ""),
    ],
)
def test_openings_are_gates_that_open_and_fords(shape: Any, text: str, what: str) -> None:
    assert understood(shape, text).openings[WHAT].tolist() == ([what] if what else [])
    assert len(understood(shape, text).barriers) == 0


@pytest.mark.parametrize(
    ("shape", "text", "what"),
    [
        (AREA, "landuse=military", "military ground"),
        (LOOP, "landuse=military military=danger_area", "military danger area"),
        (AREA, "military=airfield", "military airfield"),
        (AREA, "military=bunker", ""),
        (AREA, "landuse=military military=bunker", "military bunker"),
        (AREA, "access=private", "private ground"),
        (LOOP, "leisure=park access=no", "ground without access"),
        (AREA, "leisure=nature_reserve access=no", "nature reserve without access"),
        (AREA, "leisure=nature_reserve", ""),
        (AREA, "leisure=golf_course access=private foot=yes", ""),
        (AREA, "leisure=park access=customers", ""),
        (AREA, "access=military", "military ground"),
        (AREA, "power=substation", "electric substation"),
        (LOOP, "highway=footway access=private", ""),
        (LOOP, "barrier=fence access=private", ""),
        (LOOP, "highway=track military=range", ""),
        (LINE, "highway=track military=range access=no", ""),
        (POINT, "landuse=military", ""),
    ],
)
def test_closed_ground_is_a_barrier_too(shape: Any, text: str, what: str) -> None:
    around = understood(shape, text)
    assert around.hazards_of("closed")[WHAT].tolist() == ([what] if what else [])
    if what:
        assert around.barriers[WHAT].tolist() == [what]
        assert around.barriers.geom_type.tolist() == ["Polygon"]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("power=line voltage=33000", "power line"),
        ("power=minor_line", "minor power line"),
        ("power=line location=underground", ""),
        ("power=cable", ""),
        ("power=cable location=overhead", "power line"),
        ("railway=rail electrified=contact_line", "contact line of a railway"),
        ("railway=rail electrified=rail", ""),
        ("railway=rail electrified=no", ""),
        ("man_made=pipeline", ""),
    ],
)
def test_overhead_lines_are_told_from_cables(text: str, what: str) -> None:
    assert understood(LINE, text).hazards_of("power")[WHAT].tolist() == ([what] if what else [])


def test_a_public_path_stays_open_through_private_ground_and_not_through_a_range() -> None:
    path = shapely.LineString([(-0.001, 0.0005), (0.002, 0.0005)])
    for text, parts in (("access=private", 2), ("landuse=military", 1)):
        around = classify_access([tagged((AREA, of(text)), (path, of("highway=path foot=designated")))])
        assert len(around.barriers) == parts
        assert around.hazards_of("closed").geometry.iloc[0].equals(AREA)
        unsaid = classify_access([tagged((AREA, of(text)), (path, of("highway=path")))])
        assert len(unsaid.barriers) == 1
    lost = shapely.area(AREA) - shapely.area(around.barriers.geometry.to_numpy()).sum()
    assert lost == 0


def test_islands_stay_and_broken_areas_are_mended_and_counted() -> None:
    lake = shapely.MultiPolygon(
        [shapely.box(0, 0, 4, 4) - shapely.box(1, 1, 2, 2), shapely.box(9, 9, 10, 10)]
    )
    bow = shapely.Polygon([(20, 0), (22, 2), (22, 0), (20, 2)])
    flat = shapely.LineString([(5, 5), (5, 5)])
    water = of("natural=water")
    around = classify_access(
        [tagged((lake, water), (bow, water), (flat, water), (None, water), (shapely.Point(), water))]
    )
    assert shapely.area(around.barriers.geometry.to_numpy()).sum() == pytest.approx(15 + 1 + 2)
    assert around.barriers.geometry.is_valid.all()
    assert "land.gpkg: areas repaired: 1" in around.notes
    assert "land.gpkg: records without a shape that can be used: 3" in around.notes


def test_several_parts_and_collections_are_taken_apart() -> None:
    both = shapely.GeometryCollection([POINT, shapely.MultiLineString([LINE, [(5, 5), (6, 6)]])])
    around = classify_access([tagged((both, of("highway=path")))])
    assert around.ways.geom_type.tolist() == ["LineString"] * 2
    assert around.starts[WHAT].tolist() == []


def test_what_a_file_leaves_unsaid_follows_from_its_option() -> None:
    records = ((LINE, {"sort": "hedge"}), (AREA, {"sort": "pond"}), (POINT, {"sort": "post"}))
    around = classify_access([tagged(*records, role="barriers")])
    assert around.barriers[WHAT].tolist() == ["barrier"] * 2
    assert any("taken for barriers: 2" in note for note in around.notes)
    assert any("known, not used: 1" in note for note in around.notes)
    around = classify_access([tagged(*records, role="hazards")])
    assert around.hazards_of("power")[WHAT].tolist() == ["overhead line"]
    assert sizes(around) == {"power": 1}
    assert any("taken for overhead lines: 1" in note for note in around.notes)
    around = classify_access([tagged(*records)])
    assert sizes(around) == {}
    assert any("known, not used: 3" in note for note in around.notes)
    for role in ("access", "barriers", "hazards"):
        assert any("[[tags]]" in note for note in classify_access([tagged(*records, role=role)]).notes)


def test_a_known_thing_of_no_interest_is_no_barrier_and_not_spoken_of() -> None:
    around = understood(LINE, "waterway=stream", role="barriers")
    assert sizes(around) == {}
    assert [note for note in around.notes if "parking" not in note] == []


def test_a_file_given_as_several_things_is_read_once_and_nothing_made_up() -> None:
    one = tagged((LINE, of("highway=path")), (LINE, {"sort": "x"}))
    around = classify_access([one, TaggedLayers(one.layers, "barriers"), TaggedLayers(one.layers, "hazards")])
    assert sizes(around) == {"ways": 1}
    assert len(around.sources) == 1


def test_ground_without_parking_and_road_is_said_so() -> None:
    said = "the access data holds no parking and no drivable road near the places"
    assert said in understood(LINE, "highway=path").notes
    assert said not in understood(LINE, "highway=residential").notes
    assert said not in understood(POINT, "amenity=parking").notes
    assert classify_access([]).notes == ()


def test_frames_have_their_columns_and_kinds_even_when_empty() -> None:
    around = classify_access([])
    for name in ("ways", "starts", "barriers", "openings", "hazards"):
        found = getattr(around, name)
        uses = [WALK, DRIVE, CROSSING] if name == "ways" else []
        kinds = {"hazards": [HAZARD], "starts": [OPENING_HOURS]}.get(name, [])
        assert list(found.columns) == [WHAT, NAME, *uses, *kinds, GEOMETRY]
        assert found.crs == "EPSG:4326"
        assert all(found[use].dtype == bool for use in uses)


def test_layers_given_are_not_written_into() -> None:
    one = tagged((LINE, of("highway=path name=X")), (AREA, of("natural=water")))
    before = one.layers[0].frame.copy(deep=True)
    classify_access([one], [TagMapping("land.gpkg", all="access=no")])
    assert one.layers[0].frame.equals(before)


TRAILS = (
    (LINE, {"KIND": "Trail", "class": 1, "NAME": "Ridge"}),
    (LINE, {"KIND": "Road", "class": 2}),
    (LINE, {"KIND": "Rail"}),
)


def test_other_schemas_are_read_by_the_outing_files_mapping() -> None:
    reading = TagMapping(
        "land.gpkg", column="KIND", values={"Trail": "highway=path", "Road": "highway=track; motorcar=yes"}
    )
    around = classify_access([tagged(*TRAILS)], [reading])
    assert around.ways[[WHAT, NAME, WALK, DRIVE]].to_numpy().tolist() == [
        ["path", "Ridge", True, False],
        ["track", "", True, True],
    ]
    assert "land.gpkg: [[tags]] say nothing of these values of KIND: 'Rail'" in around.notes
    assert any("known, not used: 1" in note for note in around.notes)


def test_numbers_serve_as_values_and_all_stands_for_every_record() -> None:
    by_number = classify_access(
        [tagged(*TRAILS)], [TagMapping("land.gpkg", column="class", values={"1": "highway=path"})]
    )
    assert by_number.ways[NAME].tolist() == ["Ridge"]
    every = classify_access(
        [tagged(*TRAILS, role="barriers")], [TagMapping("folder/../land.gpkg", all="natural=cliff")]
    )
    assert any("nothing of it was read" in note for note in every.notes)
    every = classify_access(
        [tagged(*TRAILS, role="barriers")], [TagMapping("land.gpkg", layer="land", all="natural=cliff")]
    )
    assert every.barriers[WHAT].tolist() == ["cliff"] * 3
    other = classify_access([tagged(*TRAILS)], [TagMapping("land.gpkg", layer="else", all="natural=cliff")])
    assert any(note.startswith("land.gpkg (layer else): named in [[tags]]") for note in other.notes)


def test_a_mapping_of_a_column_that_is_not_there_says_what_is() -> None:
    around = classify_access(
        [tagged(*TRAILS)], [TagMapping("land.gpkg", column="KINDS", values={"Trail": "highway=path"})]
    )
    assert any("has no column 'KINDS'" in note and "did you mean 'KIND'?" in note for note in around.notes)
    with pytest.raises(InputError, match=r"'path' is no tag; write key=value"):
        classify_access([tagged(*TRAILS)], [TagMapping("land.gpkg", column="KIND", values={"Trail": "path"})])


def test_texts_from_data_are_names_and_never_kinds() -> None:
    odd = "<script>"
    assert named(understood(LINE, f"barrier={odd} name={odd}").barriers) == [("barrier", odd)]
    assert named(understood(AREA, f"military={odd} name={odd}").hazards_of("closed")) == [
        ("military ground", odd)
    ]
    assert sizes(understood(LINE, f"highway={odd}")) == {}


def demo() -> Surroundings:
    box = [(-112.3, -41.2, -111.7, -40.8)]
    files = [
        TaggedLayers(read_tagged([REPOSITORY / "data_demo" / f"{name}.geojson"], box), name) for name in DEMO
    ]
    return classify_access(files)


def test_the_demo_is_understood_to_the_last_record() -> None:
    """As data_demo/README.md tells it."""
    around = demo()
    assert named(around.starts) == [
        *(("parking", name) for name in (
            "Crumbdale", "Glimmerwater North", "Last Lamp", "Moor Gate", "Sandrevel", "Scarp Foot",
            "Tarrow Quay",
        )),
        ("trailhead", "The Cairnwalk, west end"),
    ]  # fmt: skip
    assert named(around.openings) == [("kissing gate", "Moor Gate"), ("stile", "")]
    assert ("military range", "Dullmoor Range") in named(around.hazards_of("closed"))
    walked = set(around.ways[around.ways[WALK]][NAME])
    assert {"The Ladder", "Green Way", "Estate track", "Fen boardwalk", "Island Road"} <= walked
    assert not walked & {"Farm track", "Range track", "Fort walk", "Moor bypass"}
    assert set(around.ways[around.ways[DRIVE]][NAME]) == {
        "Island Road", "Moor Road", "Valley Lane", "Lake Road", "Lamp Road", "Dale Lane",
    }  # fmt: skip
    assert sorted(around.ways[around.ways[CROSSING]][NAME]) == [
        "Ford Way", "Ford Way", "Island Road", "Lake Round", "Lake Round", "Moor Road",
        "The Cairnwalk", "Valley Lane",
    ]  # fmt: skip
    kinds = [what for what, _ in named(around.barriers)]
    assert {kind: kinds.count(kind) for kind in kinds} == {
        "cliff": 2, "coast": 4, "electric substation": 1, "fence": 1, "ground without access": 1,
        "military range": 1, "river": 1, "wall": 2, "water": 2,
    }  # fmt: skip
    assert [what for what, _ in named(around.hazards_of("power"))] == ["minor power line", "power line"]
    told = "\n".join(around.notes)
    assert "parking that is not for everyone, not taken: 3 (Upper Crumb, Range, Ombrewick inn)" in told
    assert "gates that are locked or closed to walkers, not taken for openings: 2" in told
    assert "wetland, not taken for a barrier: look how wet it is: 1 (Ysmölt Fen)" in told
    assert "known" not in told


def test_refused_records_are_passed_on(tmp_path: Any) -> None:
    path = geojson(tmp_path / "a.geojson", [LINE, shapely.LineString([(0, 0), (900, 0.1)])])
    layers: Sequence[Layer] = read_tagged([path], [(-1, -1, 1, 1)])
    (note,) = [
        note for note in classify_access([TaggedLayers(layers, "access")]).notes if "cannot be used" in note
    ]
    assert note.startswith(f"{path}: records that cannot be used: 1, such as: ")
    assert all(layer.refused for layer in layers)
