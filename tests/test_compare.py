"""Two versions of boundaries compared: each class of change, saved results, visits, and what is written."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import exported
import lxml.html
import pytest
import shapely
from builders import corner_spot, line_spot, near_miss, overlap_spot, ranked

from scout.app.request import open_saved
from scout.cli import main
from scout.geo.geodesy import move_point
from scout.geo.probability import choose_word
from scout.model import Checked, ParkAt, ParkVisited, Spot, Verdict, Visit
from scout.output.features import to_gpkg
from scout.output.saved import MOST_SPOTS
from scout.parks.names import find_other_parks
from scout.search.compare import Comparison, SpotChange, compare_spots, judge_claim, settle_places
from scout.visits.review import review_visit

Park = tuple[str, str, Any]
FEN, MOOR, MARSH = ("Q-1", "Quiet Fen"), ("Q-2", "Tern Moor"), ("Q-3", "Otter Marsh")
CELLS = ["JN45", "JN55", "JN44", "JN54"]
LINE = ["JN55", "JN65"]

OLD: tuple[Park, ...] = (
    ("Q-1", "Quiet Fen", shapely.box(9.9, 44.9, 10.1, 45.1)),  # round the corner at 45 N 10 E
    ("Q-2", "Tern Moor", shapely.box(9.95, 44.95, 10.05, 45.05)),
    ("Q-3", "Otter Marsh", shapely.box(11.9, 45.9, 11.99999, 45.95)),  # 0.8 m from the line at 12 E
    ("Q-4", "Long Bog", shapely.box(13.9, 44.5, 14.1, 44.6)),
    ("Q-5", "Heron Wood", shapely.box(15.9, 44.5, 16.1, 44.6)),
    ("Q-6", "Lost Hill", shapely.box(17.9, 44.5, 18.1, 44.6)),
    ("Q-7", "Reed Bank", shapely.box(19.9, 44.5, 20.1, 44.6)),
    ("Q-8", "Thin Strand", shapely.box(21.9, 44.5, 22.0005, 44.6)),
)
NEW: tuple[Park, ...] = (
    OLD[0],
    ("Q-2", "Tern Moor", shapely.box(9.95, 44.95, 10.05, 44.99)),  # no longer at the corner
    ("Q-3", "Otter Marsh", shapely.box(11.9, 45.9, 12.1, 45.95)),  # over the line now
    ("Q-4", "Long Bog", shapely.box(13.9, 44.7, 14.1, 44.8)),  # 22 km further north
    ("Q-50", "HERON-WOOD", OLD[4][2]),  # the same under another id
    ("Q-6", "Lost Hill", shapely.box(17.9, 44.5, 17.9999, 44.6)),  # 7.9 m short of the line
    # Reed Bank is gone
    ("Q-8", "Thin Strand", shapely.box(21.9, 44.5, 22.00012, 44.6)),  # 9.5 m beyond the line, not 40
)


def write(path: Path, parks: Sequence[Park]) -> str:
    features = [
        {
            "type": "Feature",
            "properties": {"id": park, "name": name},
            "geometry": shapely.geometry.mapping(shape),
        }
        for park, name, shape in parks
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return str(path)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write(tmp_path / "old.geojson", OLD)
    write(tmp_path / "new.geojson", NEW)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main(["compare", *words])
    said = capsys.readouterr()
    return status, said.out, said.err


def changes_of(path: str) -> list[dict[str, Any]]:
    features = json.loads(Path(path).read_text(encoding="utf-8"))["features"]
    return [feature["properties"] | {"at": feature["geometry"]["coordinates"]} for feature in features]


def compared(old: Sequence[Spot], new: Sequence[Spot], **more: Any) -> Comparison:
    return compare_spots(ranked(old), ranked(new), 24.0, **{"ids_hold": True, **more})


def test_each_class_of_change_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, said, _ = run(capsys, "old.geojson", "new.geojson", "--save", "c.geojson")
    assert status == 0
    found = {
        (one["change"], one["kind"], tuple(one["locators_before"] or one["locators"])): one
        for one in changes_of("c.geojson")
    }
    corner = found.pop(("other grids or parks", "corner", tuple(CELLS)))
    assert (corner["parks_before"], corner["parks"], corner["lost"]) == (["Q-1", "Q-2"], ["Q-1"], ["Q-2"])
    appeared = found.pop(("appeared", "line", ("JN55", "JN65")))
    assert (appeared["kind_before"], appeared["verdict"], appeared["parks"]) == ("near-miss", "firm", ["Q-3"])
    moved = found.pop(("moved", "line", ("JN64", "JN74")))
    # 0.2 degrees of a meridian at 45 N: 22,227 m (WGS 84, geodesic by hand from 111,132.1 m per degree).
    assert moved["moved_m"] == pytest.approx(22_227, abs=5)
    assert moved["moved_deg"] in (0.0, 360.0)
    vanished = found.pop(("vanished", "line", ("JN84", "JN94")))
    assert (vanished["kind_now"], vanished["verdict_before"], vanished["parks_before"]) == (
        "near-miss",
        "firm",
        ["Q-6"],
    )
    assert vanished["at"] == [18.0, 44.55]
    gone = found.pop(("vanished", "line", ("JN94", "KN04")))
    assert (gone["kind_now"], gone["verdict"], gone["parks"]) == ("place", "not counted", [])
    weaker = found.pop(("other verdict", "line", ("KN04", "KN14")))
    assert (weaker["verdict_before"], weaker["verdict"]) == ("firm", "doubtful")
    assert weaker["confidence"] < 0.95 < weaker["confidence_before"]
    overlap = found.pop(("vanished", "overlap", ("JN55",)))
    assert overlap["parks_before"] == ["Q-1", "Q-2"]
    assert not found
    assert "3 vanished, 1 other verdict, 1 other grids or parks, 1 moved, 1 appeared" in said
    assert "near miss, 7.9 m away" in said
    assert "This is a plan, not a survey" in said


def test_the_same_data_has_no_difference(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for level in ("square", "subsquare"):
        status, said, _ = run(capsys, "old.geojson", "old.geojson", "--level", level, "--save", "c.geojson")
        assert status == 1
        assert "Spots: no difference, " in said
        assert changes_of("c.geojson") == []


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--level", "subsquare"),
        ("--home", "45,10", "--within", "300"),
        ("--min-grids", "2", "--near", "0", "--fix-error", "3", "--station-radius", "8"),
        ("--area", "JN", "--min-confidence", "0.9", "--park", "Q-1", "--boundary-error", "2"),
    ],
)
def test_a_saved_result_and_its_own_files_have_no_difference(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    assert main(["find", "old.geojson", *words, "--save", "saved.gpkg"]) == 0
    home = words[:2] if "--home" in words else ()
    status, said, err = run(capsys, "saved.gpkg", "old.geojson", *home)
    assert (status, err) == (1, "")
    assert "Spots: no difference, " in said
    status, again, _ = run(capsys, "saved.gpkg", "old.geojson", *words)
    assert (status, again) == (1, said)


def test_a_saved_result_tells_what_its_files_tell(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "old.geojson", "--save", "saved.gpkg"]) == 0
    run(capsys, "old.geojson", "new.geojson", "--save", "files.geojson")
    run(capsys, "saved.gpkg", "new.geojson", "--save", "saved.geojson")
    by_files, by_saved = changes_of("files.geojson"), changes_of("saved.geojson")
    for one in (*by_files, *by_saved):
        del one["note"]
    assert by_saved == by_files


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--level", "subsquare"), "--level: the saved result was searched at level square"),
        (("--fix-error", "3"), "--fix-error: the saved result was searched with 4.9"),
        (("--min-parks", "2"), "--min-parks: the saved result was searched with 1"),
        (("--area", "JN45"), "--area: the saved result was searched without it"),
        (("--within", "20", "--home", "45,10"), "--within: the saved result was searched without it"),
        (("--access", "old.geojson"), "--access: the saved result was searched without roads"),
    ],
)
def test_other_settings_than_those_of_a_saved_result_are_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], line: str
) -> None:
    assert main(["find", "old.geojson", "--save", "saved.gpkg"]) == 0
    status, _, err = run(capsys, "saved.gpkg", "new.geojson", *words)
    assert status == 2
    assert err.startswith(f"scout: {line}")
    assert err.count("\n") == 1


def test_a_radius_needs_the_home_of_the_saved_result(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["find", "old.geojson", "--home", "45,10", "--within", "300", "--save", "saved.gpkg"]) == 0
    status, _, err = run(capsys, "saved.gpkg", "new.geojson")
    assert (status, "reaches 300 km from a home" in err) == (2, True)
    status, _, err = run(capsys, "saved.gpkg", "new.geojson", "--home", "45,10.01")
    assert (status, "searched from another home" in err) == (2, True)
    assert run(capsys, "saved.gpkg", "new.geojson", "--home", "45,10")[0] == 0


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ((), "compare: it takes the boundaries before and those now"),
        (("old.geojson",), "compare: it takes the boundaries before and those now"),
        (("old.geojson", "new.geojson", "old.geojson"), "compare: it takes the boundaries before"),
        (("a", "--old", "b", "--parks", "c"), "compare: it takes the boundaries before and those now"),
        (("old.geojson", "none.geojson"), "none.geojson: there is no such file"),
        (("new.geojson", "saved.gpkg"), "saved.gpkg: is a result of scout find, and what is compared"),
        (("--old", "old.geojson", "saved.gpkg", "--parks", "new.geojson"), "saved.gpkg: is a result of"),
        (("old.geojson", "new.geojson", "--save", "c.csv"), "--save c.csv: what changed is written as"),
        (("old.geojson", "new.geojson", "--save", "old.geojson"), "old.geojson: this is one of the files"),
        (("old.geojson", "new.geojson", "--map", "c.gpkg"), "--map c.gpkg: this is a web page"),
        (("old.geojson", "new.geojson", "--notebook", "no.gpkg"), "no.gpkg: there is no such notebook"),
    ],
)
def test_bad_input_gets_one_line_and_nothing_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], line: str
) -> None:
    assert main(["find", "old.geojson", "--save", "saved.gpkg"]) == 0
    before = {path: path.read_bytes() for path in folder.iterdir()}
    status, _, err = run(capsys, *words)
    assert status == 2
    assert err.startswith(f"scout: {line}")
    assert err.count("\n") == 1
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_several_files_are_named_by_options(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, parks in (("a", OLD[:3]), ("b", OLD[3:]), ("c", NEW[:3]), ("d", NEW[3:])):
        write(folder / f"{name}.geojson", parks)
    run(capsys, "old.geojson", "new.geojson", "--save", "one.geojson")
    several = ("--old", "a.geojson", "b.geojson", "--parks", "c.geojson", "d.geojson")
    assert run(capsys, *several, "--save", "two.geojson")[0] == 0
    one, two = changes_of("one.geojson"), changes_of("two.geojson")
    for change in (*one, *two):
        del change["note"]
    assert one == two
    assert run(capsys, "old.geojson", "--parks", "c.geojson", "d.geojson")[0] == 0
    assert run(capsys, "new.geojson", "--old", "c.geojson", "d.geojson")[0] == 1


def test_what_goes_over_to_a_corner_is_no_change(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without the small park the lines of the large one are the corner's; their places count as before."""
    write(folder / "large.geojson", OLD[:1])
    write(folder / "both.geojson", OLD[:2])
    _, said, _ = run(capsys, "both.geojson", "large.geojson")
    assert (
        "1 vanished, 1 other grids or parks, 0 the same, 4 listed otherwise, their places count as before"
        in said
    )
    _, said, _ = run(capsys, "large.geojson", "both.geojson")
    assert "1 other grids or parks, 1 appeared, 0 the same, 4 listed otherwise" in said


def test_another_place_is_no_change_where_the_one_before_counts_as_it_did(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The spot of a strip goes with its middle, 1.1 km further north in the longer one."""
    write(folder / "short.geojson", [("Q-1", "Fen", shapely.box(9.9, 44.5, 10.1, 44.6))])
    write(folder / "long.geojson", [("Q-1", "Fen", shapely.box(9.9, 44.5, 10.1, 44.62))])
    status, said, _ = run(capsys, "short.geojson", "long.geojson", "--near", "0")
    assert (status, "Spots: no difference, 0 the same, 1 listed otherwise" in said) == (1, True)
    write(folder / "north.geojson", [("Q-1", "Fen", shapely.box(9.9, 44.56, 10.1, 44.62))])
    _, said, _ = run(capsys, "short.geojson", "north.geojson", "--near", "0", "--save", "c.geojson")
    (one,) = changes_of("c.geojson")
    assert (one["change"], one["verdict"], one["verdict_there"]) == ("moved", "firm", "not counted")
    assert one["moved_m"] == pytest.approx(0.04 * 111_132, rel=1e-3)


def test_a_weak_park_more_does_not_make_the_others_weaker() -> None:
    """The claim alone is judged: 0.98 for the grids, 1.0 and 0.99 for its parks, whatever a third adds."""
    line = line_spot(12, 45.5, LINE, FEN)
    claim = replace(
        line,
        verdict=Verdict(tuple(LINE), ("Q-1", "Q-2"), (90.0, 90.0), 0.98, (1.0, 1.0), 0.98, "firm"),
        park_names=(FEN[1], MOOR[1]),
    )
    parks = ("Q-3", "Q-20", "Q-1")
    place = replace(
        line,
        kind="place",
        verdict=Verdict(tuple(LINE), parks, (3.0, 9.0, 90.0), 0.9, (0.6, 0.99, 1.0), 0.53, "doubtful"),
        park_names=(MARSH[1], "TERN-MOOR", FEN[1]),
    )
    (there, mine) = ranked([place, claim])
    judged = judge_claim(there, mine, ids_hold=True)
    assert judged is not None
    assert judged.spot.verdict.parks == ("Q-20", "Q-1")
    assert judged.spot.verdict.confidence == pytest.approx(0.98 * 0.99)
    assert (judged.spot.verdict.word, judged.grid_park_pairs) == ("firm", 4)
    assert judge_claim(mine, there, ids_hold=True) is None


# Spots by hand: what is matched with what.
def test_ids_that_are_given_anew_do_not_tell_parks_apart() -> None:
    old, new = [line_spot(12, 45.5, LINE, ("1", "Fen"))], [line_spot(12, 45.5, LINE, ("1", "Moor"))]
    assert compared(old, new).changes == ()
    (change,) = compared(old, new, ids_hold=False).changes
    assert (change.change, change.lost, change.gained) == (
        "other grids or parks",
        (("1", "Fen"),),
        (("1", "Moor"),),
    )
    renumbered = [line_spot(12, 45.5, LINE, ("7", "FEN"))]
    assert compared(old, renumbered, ids_hold=False).changes == ()


def test_the_nearest_of_the_same_parks_is_the_same_line() -> None:
    def at(north_m: float, park: tuple[str, str]) -> Spot:
        return line_spot(*move_point(12.0, 45.5, 0.0, north_m), LINE, park)

    old = [at(0, FEN), at(3000, FEN)]
    new = [at(2900, FEN), at(2990, MOOR), at(20, FEN)]
    found = {one.change: one for one in compared(old, new).changes}
    assert set(found) == {"moved", "appeared"}
    assert found["moved"].moved_m == pytest.approx(100, abs=1e-6)
    assert found["appeared"].now is not None
    assert found["appeared"].now.spot.verdict.parks == ("Q-2",)
    # What lies within the reach is the same place, of whatever parks, if nothing else has its own.
    (other,) = compared([at(0, FEN)], [at(10, MOOR)]).changes
    assert (other.change, other.lost, other.gained) == ("other grids or parks", (FEN,), (MOOR,))
    two = [one.change for one in compared([at(0, FEN)], [at(10, MOOR), at(500, FEN)]).changes]
    assert two == ["moved", "appeared"]
    # Further away another park is another spot.
    assert [one.change for one in compared([at(0, FEN)], [at(30, MOOR)]).changes] == ["vanished", "appeared"]


def test_of_two_parks_of_one_name_each_keeps_its_own() -> None:
    before, now = [("1", "Fen"), ("2", "Fen")], [("2", "FEN"), ("3", "Moor")]
    assert find_other_parks(before, now, ids_hold=True) == ([("1", "Fen")], [("3", "Moor")])


def test_near_misses_are_told_where_a_spot_becomes_or_was_one() -> None:
    miss = near_miss(10, 45, CELLS, FEN, 12.0, 90.0)
    spot = corner_spot(10, 45, CELLS, [FEN])
    other = near_miss(12, 45, CELLS, FEN, 12.0, 90.0)
    assert compared([miss, other], [miss]).changes == ()
    assert compared([], [miss]).changes == ()
    (gone,) = compared([spot], [miss]).changes
    assert (gone.change, gone.now and gone.now.spot) == ("vanished", miss)
    (here,) = compared([miss], [spot]).changes
    assert (here.change, here.before and here.before.spot) == ("appeared", miss)


def test_what_still_counts_for_a_park_is_no_near_miss() -> None:
    before = ranked([line_spot(12, 45.5, LINE, FEN)])[0]
    (miss, other, nothing) = ranked(
        [
            replace(near_miss(12, 45.5, LINE, FEN, 12.0, 90.0), corner=None),
            replace(line_spot(12, 45.5, LINE, MOOR), kind="place"),
            replace(near_miss(12, 45.5, LINE, FEN, 12.0, 90.0), kind="place"),
        ]
    )
    found = Comparison((SpotChange("vanished", before, miss),), 0)
    (here,) = settle_places(found, {0: other}, {}, ids_hold=True).changes
    assert (here.change, here.now, here.there) == ("vanished", None, other)
    (gone,) = settle_places(found, {0: nothing}, {}, ids_hold=True).changes
    assert (gone.change, gone.now, gone.there) == ("vanished", miss, nothing)


def test_verdict_and_cells_of_a_corner() -> None:
    firm, doubtful = (corner_spot(10, 45, CELLS, [FEN], word) for word in ("firm", "doubtful"))
    assert [one.change for one in compared([firm], [doubtful]).changes] == ["other verdict"]
    three = corner_spot(10, 45, CELLS[:3], [FEN])
    assert [one.change for one in compared([firm], [three]).changes] == ["other grids or parks"]


def test_what_a_cut_result_leaves_out_is_not_told_as_new() -> None:
    """What ranks above a spot that stayed would have been in the result: it is new or has risen."""
    places = [overlap_spot(10 + k / 100, 45.5, "JN55", [FEN, MOOR]) for k in range(6)]
    old, new = [places[1], places[3]], [places[0], places[1], places[2], places[3], places[4], places[5]]
    found = compared(old, new, cut=True)
    assert [(one.change, one.now and one.now.rank) for one in found.changes] == [
        ("new or risen", 1),
        ("new or risen", 3),
    ]
    assert (found.same, found.unknown) == (2, 2)
    nothing = compared([places[1]], [places[0], overlap_spot(10.5, 45.5, "JN55", [FEN, MARSH])], cut=True)
    assert [one.change for one in nothing.changes] == ["moved"]
    assert nothing.unknown == 1


def test_a_saved_result_of_the_best_alone_says_what_it_leaves_out(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Over 2,000 narrow overlaps, of which the saved result holds the best."""
    strips = [("A", "Long Reach", shapely.box(10.0, 45.2, 13.0, 45.3))]
    strips += [
        (f"B{k}", f"Strip {k}", shapely.box(x, 45.25, x + 0.0008, 45.35))
        for k, x in enumerate(10.1 + 0.001 * k for k in range(MOST_SPOTS + 40))
    ]
    write(folder / "many.geojson", strips)
    write(folder / "more.geojson", [*strips, ("C", "Late", shapely.box(9.5, 44.5, 9.9, 44.6))])
    assert main(["find", "many.geojson", "--save", "saved.gpkg"]) == 0
    status, said, _ = run(capsys, "saved.gpkg", "many.geojson", "--save", "c.geojson")
    assert (status, changes_of("c.geojson")) == (1, [])
    assert (
        "saved.gpkg holds only the best 2,000 spots of its search: 41 spots of now are not among them" in said
    )
    assert main(["find", "many.geojson", "--top", "5", "--save-listed", "--save", "five.gpkg"]) == 0
    status, said, _ = run(capsys, "five.gpkg", "many.geojson")
    assert status == 1
    assert "five.gpkg holds only the best 5 spots of its search: 2,036 spots of now are not" in said


def test_a_result_of_an_earlier_version_says_that_its_limits_are_not_known(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["find", "old.geojson", "--save", "saved.gpkg"]) == 0
    earlier = replace(open_saved("saved.gpkg"), limits=None)
    Path("earlier.gpkg").write_bytes(to_gpkg(earlier))
    status, said, _ = run(capsys, "earlier.gpkg", "old.geojson")
    assert (status, "earlier.gpkg was saved by an earlier version" in said) == (1, True)
    # What the other search leaves out counts as before, and is not told as vanished.
    status, said, _ = run(capsys, "earlier.gpkg", "old.geojson", "--min-parks", "2")
    assert (status, "Spots: no difference, 2 the same" in said) == (1, True)
    assert run(capsys, "earlier.gpkg", "old.geojson", "--level", "field")[0] == 2


def test_a_park_that_is_asked_for_may_be_in_one_version_only(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, said, _ = run(capsys, "old.geojson", "new.geojson", "--park", "Q-7")
    assert (status, "Spots: 1 vanished, 0 the same" in said) == (0, True)
    status, said, _ = run(capsys, "new.geojson", "old.geojson", "--park", "Q-7")
    assert (status, "Spots: 1 appeared, 0 the same" in said) == (0, True)
    # Under another id the park is still there.
    status, said, _ = run(capsys, "old.geojson", "new.geojson", "--park", "Q-5")
    assert (status, "Spots: no difference, 0 the same, 1 listed otherwise" in said) == (1, True)
    status, _, err = run(capsys, "old.geojson", "new.geojson", "--park", "Q-77")
    assert (status, err) == (2, "scout: --park Q-77: no park has this id, before or now; look at the ids\n")


def test_nothing_before_or_nothing_now(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder / "none.geojson", [("Q-9", "Small Green", shapely.box(10.5, 44.5, 10.51, 44.51))])
    assert main(["find", "none.geojson", "--save", "none.gpkg"]) == 1
    for before in ("none.geojson", "none.gpkg"):
        status, said, _ = run(capsys, before, "old.geojson", "--map", "c.html")
        assert (status, "0 spots of none" in said, "vanished" in said) == (0, True, False)
    status, said, _ = run(capsys, "old.geojson", "none.geojson", "--map", "c.html")
    assert (status, "appeared" in said, "0 the same" in said) == (0, False, True)


def test_an_outing_names_what_is_new(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'parks = "new.geojson"\nlevel = "subsquare"\nnotebook = "no.gpkg"\nmap = "m.html"\n'
    Path("trip.toml").write_text(text, encoding="utf-8")
    status, said, _ = run(capsys, "old.geojson", "--outing", "trip.toml")
    assert (status, "Level subsquare" in said) == (0, True)
    assert not Path("m.html").exists()
    assert main(["find", "old.geojson", "--save", "saved.gpkg"]) == 0
    status, _, err = run(capsys, "saved.gpkg", "--outing", "trip.toml")
    assert (status, "searched at level square" in err) == (2, True)


def test_what_is_dangerous_is_told_of_what_changed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = {
        "type": "Feature",
        "properties": {"power": "line"},
        "geometry": {"type": "LineString", "coordinates": [[11.9, 45.925], [12.1, 45.9251]]},
    }
    text = json.dumps({"type": "FeatureCollection", "features": [line]})
    Path("power.geojson").write_text(text, encoding="utf-8")
    _, said, _ = run(capsys, "old.geojson", "new.geojson", "--hazards", "power.geojson")
    assert "#7 WARNING: " in said


def test_a_spot_that_is_too_unsure_for_the_list_has_another_verdict(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--min-confidence", "0.95", "--map", "c.html", "--save", "c.geojson")
    run(capsys, "old.geojson", "new.geojson", *words)
    (one,) = [change for change in changes_of("c.geojson") if change["change"] == "other verdict"]
    assert (one["kind_before"], one["kind_now"], one["verdict_before"], one["verdict"]) == (
        "line",
        "place",
        "firm",
        "doubtful",
    )
    assert one["parks"] == one["parks_before"] == ["Q-8"]
    run(capsys, "new.geojson", "old.geojson", *words)
    (one,) = [change for change in changes_of("c.geojson") if change["change"] == "other verdict"]
    assert (one["kind_before"], one["verdict_before"], one["verdict"]) == ("place", "doubtful", "firm")


# Visits.
def visit(parks: Sequence[tuple[tuple[str, str], float | None]], confidence: float | None) -> Visit:
    held = tuple(ParkVisited(park, name, 10.0, p) for (park, name), p in parks)
    start = datetime(2026, 2, 14, 18, 5, tzinfo=UTC)
    return Visit(12.0, 45.5, start, parks=held, confidence=confidence, number=1)


def judged_today(parks: Sequence[tuple[tuple[str, str], float]], grids_p: float = 1.0) -> Checked:
    near = tuple(
        ParkAt(park, name, 10.0, (12.0, 45.5), 10.0, 90.0, at_inholding=False, p=p, word=choose_word(p))
        for (park, name), p in parks
    )
    counted = [one for one in near if one.p >= 0.5]
    confidence = grids_p * math.prod(one.p for one in counted)
    verdict = Verdict(
        tuple(LINE),
        tuple(one.park for one in counted),
        tuple(10.0 for _ in counted),
        grids_p,
        tuple(one.p for one in counted),
        confidence,
        choose_word(confidence) if counted else "not counted",
    )
    return Checked(12.0, 45.5, verdict, near, (), "")


@pytest.mark.parametrize(
    ("noted", "confidence", "today", "told"),
    [
        # A hair's breadth at the edge of a word is the rounding of the notebook.
        ([(FEN, 0.9502)], 0.9502, [(FEN, 0.9495)], None),
        ([(FEN, 0.97)], 0.97, [(FEN, 0.93)], ("firm", (), ())),
        ([(FEN, 0.501)], 0.501, [(FEN, 0.499)], None),
        ([(FEN, 0.9), (MOOR, 0.505)], 0.455, [(FEN, 0.9), (MOOR, 0.495)], None),
        ([(FEN, 0.99)], 0.99, [(FEN, 0.99), (MOOR, 0.505)], None),
        ([(FEN, 0.99), (MOOR, 0.6)], 0.594, [(FEN, 0.8), (MOOR, 0.6)], ("doubtful", (), ())),
        ([(FEN, 0.9)], 0.9, [(FEN, 0.4)], ("doubtful", (FEN,), ())),
        ([(FEN, 0.99)], 0.99, [(FEN, 0.99), (MOOR, 0.99)], ("firm", (), (MOOR,))),
        ([(FEN, None)], 0.98, [(FEN, 0.6)], None),
        ([(FEN, None)], 0.98, [], ("", (FEN,), ())),
        ([], 0.98, [], None),
        ([], 0.98, [(FEN, 0.3)], None),
        ([(("Q-1", "QUIET-FEN"), 0.99)], 0.99, [(("Q-9", "Quiet Fen"), 0.99)], None),
    ],
)
def test_a_visit_beside_its_place_today(
    noted: Sequence[tuple[tuple[str, str], float | None]],
    confidence: float,
    today: Sequence[tuple[tuple[str, str], float]],
    told: tuple[str, tuple[Any, ...], tuple[Any, ...]] | None,
) -> None:
    change = review_visit(visit(noted, confidence), judged_today(today), ids_hold=True)
    assert (change and (change.word, change.lost, change.gained)) == told


def test_a_visit_is_compared_by_all_of_its_conditions_at_once() -> None:
    """Parks that are lost together: 0.97 times 0.97 is under 0.95, both at once are not."""
    today = judged_today([(FEN, 0.97), (MOOR, 0.97)])
    today = replace(today, verdict=replace(today.verdict, confidence=0.965, word="firm"))
    assert review_visit(visit([(FEN, 0.97), (MOOR, 0.97)], 0.965), today, ids_hold=True) is None


def test_a_visit_is_judged_with_its_own_error_and_at_its_own_level(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the error of the station, 4.9 m, the first would be firm today, and the second claims a corner."""
    note(capsys, "45.0,10.0", "--parks", "old.geojson", "--fix-error", "9")
    note(capsys, "44.55,22.00005", "--parks", "old.geojson", "--fix-error", "1", "--level", "extended")
    _, said, _ = run(capsys, "old.geojson", "old.geojson", "--notebook", "v.gpkg")
    assert "Visits judged the same: 2." in said


def note(capsys: pytest.CaptureFixture[str], place: str, *words: str) -> None:
    given = ("--notebook", "v.gpkg", "--place", place, "--start", "2026-02-14T18:05", *words)
    assert main(["visit", "add", *given]) == 0


def test_visits_that_would_be_judged_otherwise(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for place in ("44.55,18.0", "45.0,10.0", "45.0,9.92", "44.55,22.0"):
        note(capsys, place, "--parks", "old.geojson")
    note(capsys, "60,60", "--parks", "old.geojson")
    note(capsys, "45.08,9.92", "--in-park", "Q-1=Quiet Fen")
    note(capsys, "44.55,20.0", "--in-park", "Q-7=Reed Bank")
    note(capsys, "45.925,12.0", "--parks", "old.geojson")
    _, said, _ = run(capsys, "old.geojson", "new.geojson", "--notebook", "v.gpkg")
    lines = said[said.index("Visits that would be judged otherwise today: 5") :].splitlines()
    rows = {row.split()[0]: row for row in lines[2:7]}
    assert set(rows) == {"1", "2", "4", "7", "8"}
    # Off the line and towards the park is the same error: 0.0157 by quadrature, the product would be 0.0161.
    assert " ".join(rows["1"].split()[2:]) == "Lost Hill (Q-6) firm 98.7 % not counted 1.5 % Lost Hill (Q-6)"
    assert rows["2"].rstrip().endswith("Tern Moor (Q-2)")
    assert rows["4"].index("firm") < rows["4"].index("doubtful")
    assert rows["7"].index("noted by hand") < rows["7"].rindex("Reed Bank (Q-7)")
    assert rows["8"].rstrip().endswith("Otter Marsh (Q-3)")
    assert "Visits judged the same: 2." in said
    assert (
        "Not judged, for it lies outside the data: visit 5, 2026-02-14, 60.000000, 60.000000, no park."
        in said
    )
    _, said, _ = run(capsys, "old.geojson", "old.geojson", "--notebook", "v.gpkg")
    assert "No visit would be judged otherwise today." in said
    assert "Visits judged the same: 7." in said


def test_a_visit_where_all_data_is_gone_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The new data ends before it; the old one held its park."""
    note(capsys, "44.55,22.0", "--parks", "old.geojson")
    write(folder / "west.geojson", OLD[:2])
    status, said, _ = run(capsys, "old.geojson", "west.geojson", "--notebook", "v.gpkg")
    assert status == 0
    assert "Visits that would be judged otherwise today: 1" in said
    assert "Thin Strand (Q-8)" in said


def test_a_changed_visit_alone_is_a_change(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No spot is listed in this area, and a visit there counted."""
    note(capsys, "44.57,16.05", "--parks", "old.geojson")
    write(folder / "less.geojson", [park for park in OLD if park[0] != "Q-5"])
    words = ("--area", "IN", "--notebook", "v.gpkg")
    status, said, _ = run(capsys, "old.geojson", "less.geojson", *words)
    assert (status, "Spots: no difference" in said, "Heron Wood (Q-5)" in said) == (0, True, True)


# What is written.
def test_the_map_shows_what_changed_and_where_spots_were(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "old.geojson", "new.geojson", "--map", "c.html", "--save", "c.geojson")
    page = lxml.html.fromstring(Path("c.html").read_text(encoding="utf-8"))
    text = " ".join(page.text_content().split())
    assert "What changed since old.geojson" in text
    assert "here was a line, 2 grids x 1 park, firm (98.7 %), in Lost Hill (Q-6)" in text
    assert "lost Tern Moor (Q-2)" in text
    assert "3 vanished, 1 other verdict" in text
    assert len(changes_of("c.geojson")) == 7


def test_hostile_names_come_out_as_text(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = [*exported.HOSTILE, "\x1b[31mred", "\u202eturned", "</script><script>alert(1)</script>", "'=1+1"]
    old, new = [], []
    for k, name in enumerate(names):
        west = 8.0 + 0.01 * k
        old.append((f"{name}{k}", name, shapely.box(west, 44.99, west + 0.005, 45.01)))
        new.append((f"{name}{k}", name, shapely.box(west, 44.99, west + 0.005, 45.01 if k % 2 else 44.999)))
    write(folder / "old.geojson", old)
    write(folder / "new.geojson", new)
    status, said, err = run(
        capsys, "old.geojson", "new.geojson", "--map", "c.html", "--save", "c.geojson", "--near", "0"
    )
    assert (status, err) == (0, "")
    assert "\x1b" not in said
    assert "vanished" in said
    assert len(changes_of("c.geojson")) >= len(names) // 2
    page = lxml.html.fromstring(Path("c.html").read_text(encoding="utf-8"))
    write(folder / "old.geojson", [("Q-1", "Fen", old[0][2])])
    write(folder / "new.geojson", [("Q-1", "Fen", new[0][2])])
    run(capsys, "old.geojson", "new.geojson", "--map", "plain.html", "--near", "0")
    plain = lxml.html.fromstring(Path("plain.html").read_text(encoding="utf-8"))
    assert len(page.findall(".//script")) == len(plain.findall(".//script"))


def test_imperial_units(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, said, _ = run(capsys, "old.geojson", "new.geojson", "--units", "imperial")
    assert "13.8 mi to the north" in said
    assert "near miss, 26.0 ft away" in said
