"""The search against brute force on random park sets: all corners, stretches and overlaps, and no others.

Regions are everywhere, the southern and western hemispheres, the antimeridian, the last rows before a pole
and the origin; parks are boxes, stars, holed, multi-part and sliver-thin, with sides on lines and vertices
on corners.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching
from strategies import as_parks, park_sets, without_shrinking

from oracles import answers, arrangement, claims, exact, metric
from scout.app.find import SearchOptions, find_spots
from scout.model import Findings, Spot

pytestmark = pytest.mark.usefixtures("two_threads")
patient = without_shrinking(40)


CROSSING = [  # drawn: the crossings of the outlines are rounded, and leave slivers between twins
    "POLYGON ((0.5 -2.0002694933524974, 5 -2, 4 -1.105934854, 0.0001257635644987 2, -0.625094882 1, 0 0.01, "
    "-4 1.0000224577793748, -0.04489807 -0.09949213, 0.5 -2.0002694933524974))",
    "POLYGON ((-4 1.9999775422206252, 4 1, 4 -0.953063281, 1.0451887603443413 0.1376464959517878, "
    "2.5000112288896874 0.5013521130881243, -0.4999663133309378 1.001486859764373, "
    "-0.4999603742968279 0.7080075550217121, -4 1.9999775422206252))",
]


GRADES = {"firm": 0, "doubtful": 1, "not counted": 2}


def searched(parks: list[shapely.Geometry], level: int, **options) -> Findings:
    chosen = {"near_m": 0.0, "min_confidence": 0.0, **options}
    findings = find_spots(as_parks(parks), SearchOptions(level=level, **chosen))
    return replace(findings, spots=tuple(findings.spots))  # made once: every check looks at them


def check_corners(parks: list[shapely.Geometry], level: int, findings: Findings) -> None:
    found = {}
    for spot in answers.of_kind(findings, "corner"):
        node = answers.node(spot.corner, level)
        assert node not in found, f"corner {spot.corner} comes twice"
        found[node] = spot
        claims.claimed(spot.verdict.locators, node, level)
    for node in arrangement.corners(parks, level).keys() | found.keys():
        held, hair = arrangement.holding(node, parks, level)
        if node not in found:
            assert not held, f"corner {node} in parks {set(held)} is missing"
            continue
        named = answers.park_numbers(found[node].verdict.parks)
        assert named <= held | hair, f"corner {node} is not inside {set(named - held - hair)}"
        if found[node].verdict.word == "not counted":
            assert named >= held, f"corner {node} lies in {set(held)}, not only in {set(named)}"


def check_stretches(parks: list[shapely.Geometry], level: int, findings: Findings) -> None:
    lone, grouped = [], []
    for spot in answers.of_kind(findings, "line"):
        (own,) = spot.stretches
        lone.append(answers.as_interval(own, level))
        assert set(spot.verdict.locators) == set(own.locators)
        assert answers.park_numbers(spot.verdict.parks) == lone[-1].parks
    for spot in answers.of_kind(findings, "corner"):
        for stretch in spot.stretches:
            grouped.append(answers.as_interval(stretch, level))
            check_grouped(grouped[-1], spot, level)
    for spot in (*answers.of_kind(findings, "line"), *answers.of_kind(findings, "corner")):
        for stretch in spot.stretches:
            check_stretch(stretch, level)
    expected = arrangement.intervals(parks, level)
    words = [spot.verdict.word for spot in answers.of_kind(findings, "line")]
    long = [n for n, own in enumerate(lone) if not is_one_of(own, expected, parks, level)]
    for n in long:
        check_long(n, lone, words, expected, parks, level)
    for interval in (i for i in expected if not answers.hugged(i, parks, level)):
        alone = sum(answers.same_interval(other, interval, parks, level) for other in lone)
        under = sum(answers.same_interval(other, interval, parks, level) for other in grouped)
        if not alone + under:
            taken_in = any(lies_in(interval, lone[n]) and lone[n].parks == interval.parks for n in long)
            assert taken_in, f"{interval} is missing"
            continue
        assert (alone, under) in {(1, 0), (0, 1), (0, 2)}, f"{interval}: {alone} alone, {under} under corners"
    for got in grouped:
        assert is_one_of(got, expected, parks, level), f"no such stretch: {got}"


def is_one_of(got, expected, parks, level: int) -> bool:
    return answers.hugged(got, parks, level) or any(
        answers.same_interval(got, interval, parks, level) for interval in expected
    )


def lies_in(one, other) -> bool:
    """Whether one interval lies in another on the same edge of a cell."""
    same = (one.meridian, one.line, one.cell) == (other.meridian, other.line, other.cell)
    return same and other.start_deg - 1e-8 < one.start_deg and one.end_deg < other.end_deg + 1e-8


def check_long(n: int, lone, words, expected, parks, level: int) -> None:
    """A stretch over pieces that more parks hold: as long as its parks hold, and surer than any in it."""
    got = lone[n]
    runs = arrangement.runs(expected, got)
    assert any(answers.same_interval(got, run, parks, level) for run in runs), f"no such stretch: {got}"
    for other, word in zip(lone, words, strict=True):
        if other is not got and lies_in(other, got) and other.parks >= got.parks:
            assert GRADES[word] > GRADES[words[n]], f"{got} is no surer than {other}"


def check_grouped(interval: arrangement.Interval, corner, level: int) -> None:
    """A stretch under a corner ends there and has the same parks."""
    assert answers.park_numbers(corner.verdict.parks) == interval.parks
    lon, lat = corner.corner
    at = lat if interval.meridian else lon
    gaps = [abs((end - at + 180) % 360 - 180) for end in (interval.start_deg, interval.end_deg)]
    assert min(gaps) < 3e-9
    i, j = answers.node(corner.corner, level)
    assert interval.line == (i if interval.meridian else j)


def check_stretch(stretch, level: int) -> None:
    """Cells on both sides, and a length that metres confirm."""
    interval = answers.as_interval(stretch, level)
    cells = answers.sides(interval.meridian, interval.line, interval.cell, level)
    assert len(stretch.locators) == 2
    assert all(any(exact.same(text, cell) for cell in cells) for text in stretch.locators)
    span = interval.end_deg - interval.start_deg
    if interval.meridian:
        expected = metric.distance_m(0, interval.start_deg, 0, interval.end_deg)
    else:
        expected = span * metric.degree_lengths(exact.edge_lat(interval.line, level))[0]
    assert stretch.length_m == pytest.approx(expected, rel=1e-3, abs=0.1)


def check_overlaps(parks: list[shapely.Geometry], level: int, findings: Findings) -> None:
    """One spot for each face, in it, but for those that a wider piece takes in, which has to be surer."""
    spots = answers.of_kind(findings, "overlap")
    thick = [face for face in arrangement.faces(parks) if not face.thin]
    faces = arrangement.faces(parks)
    near = [[int(is_for(spot, face)) for spot in spots] for face in faces]
    met = np.full(len(faces), -1)
    if faces and spots:
        met = maximum_bipartite_matching(csr_array(near), perm_type="column")
    wide = [spot for n, spot in enumerate(spots) if n not in set(met.tolist())]
    for face, n in zip(faces, met.tolist(), strict=True):
        if n < 0 and not face.thin:
            taken_in = any(
                is_in(spot, piece)
                for spot in spots
                for piece in [piece_of(face, parks)]
                if answers.park_numbers(spot.verdict.parks) == face.parks
            )
            assert taken_in, f"no spot for {(set(face.parks), face.polygon.wkt)}"
    assert len(thick) <= len(spots) + len(faces)
    for spot in wide:
        check_wide(spot, spots, parks)
    for spot in spots:
        (cell,) = spot.verdict.locators
        allowed = {exact.text(i, j, level) for i, j in exact.cells_allowed(spot.lon, spot.lat, level)}
        assert any(exact.same(cell, text) for text in allowed)


def is_in(spot: Spot, piece: shapely.Geometry) -> bool:
    lon = metric.turned(piece, spot.lon)
    return bool(piece.distance(shapely.Point(lon, spot.lat)) < 1e-9)


def piece_of(face: arrangement.Face, parks: list[shapely.Geometry]) -> shapely.Geometry:
    """The connected part of what the face's parks share that the face is in."""
    pieces = arrangement.shared(parks, face.parks)
    x, y = shapely.maximum_inscribed_circle(face.polygon).coords[0]
    return min(pieces, key=lambda piece: piece.distance(shapely.Point(x, y)))


def check_wide(spot: Spot, spots: list[Spot], parks: list[shapely.Geometry]) -> None:
    """A spot for no face of its own: in what its parks share, and surer than all that is listed there."""
    held = answers.park_numbers(spot.verdict.parks)
    pieces = [piece for piece in arrangement.shared(parks, held) if is_in(spot, piece)]
    assert pieces, f"{spot} is not inside"
    for other in spots:
        if (
            other is not spot
            and answers.park_numbers(other.verdict.parks) >= held
            and is_in(other, pieces[0])
        ):
            assert GRADES[other.verdict.word] > GRADES[spot.verdict.word], f"{spot} is no surer than {other}"


def is_for(spot: Spot, face: arrangement.Face) -> bool:
    """Whether a spot can be the one of a face: the same parks, and in it."""
    if answers.park_numbers(spot.verdict.parks) != face.parks:
        return False
    lon = metric.turned(face.polygon, spot.lon)
    return bool(face.polygon.distance(shapely.Point(lon, spot.lat)) < 1e-9)


@pytest.mark.parametrize("level", exact.LEVELS)
def test_the_search_finds_all_and_only_what_brute_force_finds(level):
    @given(park_sets(level))
    @patient
    def agrees(parks):
        findings = searched(parks, level)
        check_corners(parks, level, findings)
        check_stretches(parks, level, findings)
        check_overlaps(parks, level, findings)

    agrees()


@pytest.mark.parametrize("level", [2, 3])
def test_what_is_not_listed_for_its_confidence_is_counted(level):
    @given(park_sets(level), st.sampled_from([0.5, 0.95]))
    @without_shrinking(15)
    def adds_up(parks, least):
        everything = searched(parks, level)
        some = searched(parks, level, min_confidence=least)
        left_out = sum(reason.count for reason in some.left_out)
        assert len(some.spots) + left_out == len(everything.spots)
        for ranked in some.spots:
            assert ranked.spot.kind == "corner" or ranked.spot.verdict.confidence >= least

    adds_up()


def test_parks_that_overlap_and_also_share_a_border_keep_all_their_regions():
    """What the two share is then an area and a line, and a third park divides the area."""
    one = shapely.box(0.1, 0.1, 0.5, 0.5)
    other = shapely.union_all([shapely.box(0.3, 0.34, 0.7, 0.46), shapely.box(0.5, 0.1, 0.7, 0.46)])
    third = shapely.box(0.34, 0.36, 0.4, 0.6)
    assert shapely.intersection(one, other).geom_type == "GeometryCollection"
    parks = [one, other, third]
    findings = searched(parks, 2)
    held = sorted(sorted(s.verdict.parks) for s in answers.of_kind(findings, "overlap"))
    assert held == [["P0", "P1"], ["P0", "P1", "P2"], ["P0", "P2"]]
    check_overlaps(parks, 2, findings)


def test_a_park_that_comes_twice_is_never_named_alone():
    """Two files may hold the same park under two ids: no region lies in the one and not in the other."""

    @given(park_sets(2, ("anywhere", "antimeridian"), most=3))
    @example(list(shapely.from_wkt(CROSSING)))
    @without_shrinking(25)
    def together(parks):
        spots = answers.of_kind(searched([*parks, parks[0]], 2), "overlap")
        for spot in spots:
            held = answers.park_numbers(spot.verdict.parks)
            assert (0 in held) == (len(parks) in held), f"{spot}"

    together()


def test_an_overlap_spot_stays_inside_its_own_region():
    """A region 8 m wide inside both parks; ten metres on, a third park joins in."""
    metre = 1 / 111_000
    one = shapely.box(0.2, 0.2, 0.4, 0.4)
    other = shapely.box(0.3, 0.3, 0.6, 0.6)
    third = shapely.box(0.3 + 8 * metre, 0.1, 0.7, 0.7)
    check_overlaps([one, other, third], 2, searched([one, other, third], 2))


def listed(findings: Findings) -> set[tuple]:
    return {
        (r.spot.kind, r.spot.lon, r.spot.lat, r.spot.verdict.locators, r.spot.verdict.parks)
        for r in findings.spots
    }


def test_a_filtered_search_lists_what_sifting_the_whole_list_leaves():
    @given(park_sets(2, most=3), st.sampled_from([20.0, 90.0, 250.0]))
    @without_shrinking(20)
    def sifts(parks, within_km):
        home = parks[0].exterior.coords[0] if parks[0].geom_type == "Polygon" else parks[0].centroid.coords[0]
        home = ((home[0] + 180) % 360 - 180, home[1])
        whole = searched(parks, 2)
        keep = {
            "min_grids": (2, lambda r: r.n_grids >= 2),
            "min_parks": (2, lambda r: r.n_parks >= 2),
            "park_ids": (("P0",), lambda r: "P0" in r.spot.verdict.parks),
            "within_km": (
                within_km,
                lambda r: metric.distance_m(*home, r.spot.lon, r.spot.lat) <= within_km * 1000,
            ),
        }
        for name, (value, fits) in keep.items():
            some = searched(parks, 2, home=home, **{name: value})
            assert listed(some) == listed(replace(whole, spots=[r for r in whole.spots if fits(r)])), name

    sifts()


def test_a_region_with_a_sliver_of_rounding_at_its_side_is_not_lost():
    """Drawn: two outlines run along each other but for the last bits, where a point may fall."""
    parks = shapely.from_wkt(
        [
            "POLYGON ((-131.10833333333332 -30.32502601763359, "
            "-131.0937480773539 -30.325046831740462, "
            "-131.0897838244 -30.3208437403868, -131.09168748077354 -30.31875, "
            "-131.10833333333332 -30.32502601763359))",
            "POLYGON ((-131.11041666666665 -30.325, -131.1124759471333 -30.320288787229167, "
            "-131.10075588707144 -30.324681580159115, -131.1002625959124 -30.325, "
            "-131.11041666666665 -30.325))",
            "POLYGON ((-131.11041666666665 -30.325, -131.09990633651907 -30.325, "
            "-131.1124759471333 -30.320288787229167, -131.11041666666665 -30.325))",
        ]
    )
    check_overlaps(list(parks), 4, searched(list(parks), 4))


def test_a_face_is_not_asked_about_at_a_place_in_a_hair_along_it():
    """Drawn: a hole ends where another does but for the last bits; the hair between them is no face."""
    parks = shapely.from_wkt(
        [
            "POLYGON ((165 -50, 219.38217394 -50, 219.38217394 -89.99993433784584, "
            "165 -89.99993433784584, 165 -50), (175 -60, 195.93245812 -75, 203.048 -69.9999995, "
            "175 -60))",
            "POLYGON ((160.0001146321192 -60.30905982651156, 159.9998853678808 -60.30876623348845, "
            "199.9998853678808 -52.49985320348845, 200.0001146321192 -52.50014679651155, "
            "160.0001146321192 -60.30905982651156))",
            "POLYGON ((165 -50, 219.38217394 -50, 219.38217394 -89.99993433784584, "
            "165 -89.99993433784584, 165 -50), (210 -77.5, 200 -72.767172165, "
            "199.57725703907428 -72.43884629939514, 203.048 -69.9999995, "
            "190.8268091261838 -65.6427582483041, 189.99921205415015 -65, "
            "189.81923358476968 -65.28352568589845, 175 -60, 187.49114528209577 -68.95103566706368, "
            "179.99981614596837 -80.752359675, 200 -80, 210 -77.5))",
        ]
    )
    check_overlaps(list(parks), 1, searched(list(parks), 1))
