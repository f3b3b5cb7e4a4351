import math
from dataclasses import replace

import numpy as np
import pytest
from builders import line_spot, near_miss, ranked

from scout.model import Route
from scout.search.found import grade_confidence
from scout.search.rank import PLENTY, Filters, RankTerms, edge_m, filter_rows, has_plenty, sort_rows


def terms(**columns):
    n = len(columns["n_grids"])
    base = {
        "n_parks": np.ones(n, dtype=int),
        "confidence": np.full(n, 0.99),
        "inside_p": np.full(n, 0.99),
        "clearance_m": np.full(n, 100.0),
        "edge_m": np.full(n, np.nan),
        "is_corner": np.zeros(n, dtype=bool),
        "is_near_miss": np.zeros(n, dtype=bool),
        "in_area": np.ones(n, dtype=bool),
        "in_parks": np.ones(n, dtype=bool),
        "home_km": np.full(n, np.nan),
        "new_pairs": np.zeros(n, dtype=int),
        "walk_min": np.full(n, np.nan),
        "lon": np.arange(n, dtype=float),
        "lat": np.zeros(n),
        "claim": np.zeros((3, n), dtype=int),
    }
    return RankTerms(**{k: np.asarray(v) for k, v in (base | columns).items()})


def rank(these, filters):
    rows, left_out = filter_rows(these, filters)
    return sort_rows(these, rows), left_out


def test_pairs_then_grids_then_verdict_decide_the_order():
    rows, left = rank(
        terms(
            n_grids=[2, 4, 2, 2, 1],
            n_parks=[1, 1, 1, 3, 2],
            confidence=[0.99, 0.6, 0.7, 0.96, 0.99],
            clearance_m=[50.0, 10.0, 999.0, 1.0, 40.0],
        ),
        Filters(),
    )
    assert rows.tolist() == [3, 1, 0, 2, 4]
    assert left == ()


def test_near_misses_come_last_the_nearest_first():
    rows, _ = rank(
        terms(
            n_grids=[4, 4, 1],
            confidence=[0.0, 0.0, 0.9],
            clearance_m=[-300.0, -20.0, 5.0],
            is_near_miss=[True, True, False],
        ),
        Filters(),
    )
    assert rows.tolist() == [2, 1, 0]


def test_each_row_left_out_is_counted_once_by_the_first_reason():
    rows, left = rank(
        terms(
            n_grids=[1, 2, 2, 2, 4],
            n_parks=[1, 1, 2, 2, 2],
            confidence=[0.1, 0.1, 0.1, 0.9, 0.1],
            is_corner=[False, False, False, False, True],
            home_km=[90.0, 1.0, 1.0, 1.0, 1.0],
        ),
        Filters(min_grids=2, min_parks=2, within_km=50.0),
    )
    assert rows.tolist() == [4, 3]
    assert [(x.count, x.reason.split(":")[0]) for x in left] == [
        (1, "over 50 km from home"),
        (1, "fewer than 2 parks"),
        (1, "with a confidence under 50 %"),
    ]


def test_equal_terms_are_ordered_by_place_so_that_runs_agree():
    rows, _ = rank(terms(n_grids=[2, 2, 2], lon=[3.0, 1.0, 2.0], lat=[0.0, 0.0, -1.0]), Filters())
    assert rows.tolist() == [2, 1, 0]


def test_nothing_found_gives_nothing():
    rows, left = rank(terms(n_grids=np.empty(0, dtype=int)), Filters())
    assert len(rows) == 0
    assert left == ()


def test_the_shorter_walk_wins_within_a_verdict_and_unknown_walks_come_after_known_ones():
    rows, _ = rank(
        terms(
            n_grids=[2, 2, 2, 2, 2],
            confidence=[0.99, 0.99, 0.99, 0.7, 0.99],
            inside_p=[1.0, 1.0, 1.0, 1.0, 1.0],
            clearance_m=[900.0, 10.0, 50.0, 80.0, 500.0],
            edge_m=[900.0, 10.0, 50.0, 80.0, 500.0],
            walk_min=[30.0, 12.0, np.nan, 1.0, np.nan],
        ),
        Filters(),
    )
    assert rows.tolist() == [1, 0, 2, 4, 3]


def test_what_is_out_of_reach_comes_last_of_all():
    rows, _ = rank(
        terms(
            n_grids=[4, 1, 4],
            confidence=[0.99, 0.6, 0.0],
            walk_min=[np.inf, 60.0, np.nan],
            is_near_miss=[False, False, True],
        ),
        Filters(),
    )
    assert rows.tolist() == [1, 2, 0]


def test_what_is_still_missing_comes_before_the_whole_yield():
    rows, _ = rank(
        terms(
            n_grids=[4, 2, 2, 2],
            n_parks=[2, 1, 1, 3],
            new_pairs=[0, 1, 2, 0],
        ),
        Filters(),
    )
    assert rows.tolist() == [2, 1, 0, 3]


# The order as it is defined: a term a line, with what is better and what is worse in it.
KEYS = (
    ("in reach", {"walk_min": 50.0}, {"walk_min": math.inf}),
    ("no near miss", {"is_near_miss": False}, {"is_near_miss": True}),
    ("new pairs", {"new_pairs": 2}, {"new_pairs": 1}),
    ("pairs", {"n_grids": 1, "n_parks": 5}, {"n_grids": 2, "n_parks": 2}),
    ("grids", {"n_grids": 4, "n_parks": 1}, {"n_grids": 2, "n_parks": 2}),
    ("verdict", {"confidence": 0.96}, {"confidence": 0.94}),
    ("plenty", {"inside_p": 0.999, "clearance_m": 20.0}, {"inside_p": 0.998, "clearance_m": 25.0}),
    ("clearance", {"clearance_m": 21.0}, {"clearance_m": 20.0}),
    ("walked", {"walk_min": 50.0}, {"walk_min": math.nan}),
    ("walk", {"walk_min": 8.0}, {"walk_min": 9.0}),
    ("home", {"home_km": 116.0}, {"home_km": 350.0}),
    ("edge", {"edge_m": 26.0}, {"edge_m": 26_600.0}),
    ("confidence", {"confidence": 0.98}, {"confidence": 0.97}),
    ("latitude", {"lat": -1.0}, {"lat": 1.0}),
    ("longitude", {"lon": -1.0}, {"lon": 1.0}),
    ("claim", {"claim": (0, 0, 1)}, {"claim": (0, 0, 2)}),
)
# What both rows hold but for the terms at stake.
ALIKE = {
    **{
        "n_grids": 2,
        "n_parks": 1,
        "new_pairs": 0,
        "is_near_miss": False,
        "confidence": 0.96,
        "inside_p": 0.99,
    },
    **{"clearance_m": 20.0, "walk_min": math.nan, "home_km": math.nan, "edge_m": 20.0},
    **{"lat": 0.0, "lon": 0.0, "claim": (0, 0, 1)},
}


@pytest.mark.parametrize("at", range(len(KEYS)), ids=[name for name, *_ in KEYS])
@pytest.mark.parametrize("first", [0, 1])
def test_each_term_decides_before_all_that_come_after_it(at, first):
    """One row is better in one term alone, the other in every term after it."""
    _, better, worse = KEYS[at]
    for _, good, bad in KEYS[at + 1 :]:
        better, worse = bad | better, good | worse
    if KEYS[at][0] == "edge":
        better, worse = better | {"home_km": math.nan}, worse | {"home_km": math.nan}
    if KEYS[at][0] == "home":
        better, worse = better | {"walk_min": math.nan}, worse | {"walk_min": math.nan}
    rows = [ALIKE | row for row in ((better, worse) if first == 0 else (worse, better))]
    columns = {key: [row[key] for row in rows] for key in ALIKE}
    columns["claim"] = np.transpose(columns["claim"])
    assert sort_rows(terms(**columns), np.arange(2))[0] == first, columns


# Grids, parks, confidence, least clearance, inside, furthest edge, home, walk: best first, worked by hand.
TABLE = [
    (2, 3, 0.96, 19.0, 0.970, 19.0, 90.0, math.nan),  # 6 pairs
    (4, 1, 0.99, 40.0, 0.9999, 40.0, 80.0, 55.0),  # 4 pairs, 4 grids, plenty; 55 min
    (4, 1, 0.96, 26.6e3, 1.0, 26.6e3, 116.0, math.nan),  # no walk known; 116 km
    (4, 1, 0.99, 30.0e3, 1.0, 30.0e3, 350.0, math.nan),  # 350 km, though deeper and surer
    (4, 1, 0.97, 22.0, 0.990, 22.0, 10.0, 1.0),  # no plenty
    (4, 1, 0.94, 900.0, 1.0, 900.0, 5.0, 1.0),  # doubtful
    (2, 2, 0.99, 500.0, 1.0, 9e3, 70.0, 20.0),  # 4 pairs of 2 grids
    (3, 1, 0.99, 500.0, 1.0, 500.0, 70.0, 10.0),  # 3 pairs: as a sum it would be 4, as is 2 and 2
    (1, 3, 0.99, 500.0, 1.0, 500.0, 70.0, 10.0),  # 3 pairs of 1 grid
]
TABLE_COLUMNS = (
    "n_grids",
    "n_parks",
    "confidence",
    "clearance_m",
    "inside_p",
    "edge_m",
    "home_km",
    "walk_min",
)


@pytest.mark.parametrize("seed", range(20))
def test_the_table_worked_by_hand_comes_out_from_any_order(seed):
    shuffled = np.random.default_rng(seed).permutation(len(TABLE))
    columns = dict(zip(TABLE_COLUMNS, np.array(TABLE, dtype=float)[shuffled].T, strict=True))
    columns |= {key: columns[key].astype(int) for key in ("n_grids", "n_parks")}
    assert shuffled[sort_rows(terms(**columns), np.arange(len(TABLE)))].tolist() == list(range(len(TABLE)))


def test_pairs_are_a_product():
    """3 x 3 = 9 and 4 x 2 = 8 and 1 x 7 = 7; as sums they would be 6, 6 and 8."""
    rows, _ = rank(terms(n_grids=[1, 4, 3], n_parks=[7, 2, 3]), Filters())
    assert rows.tolist() == [2, 1, 0]


def test_what_is_plenty_is_alike_down_to_the_bound():
    rows, _ = rank(
        terms(
            n_grids=[2, 2, 2, 2],
            inside_p=[1.0, PLENTY, math.nextafter(PLENTY, 0.0), 0.99],
            clearance_m=[26_600.0, 33.0, 90_000.0, 90.0],
            home_km=[350.0, 116.0, 1.0, 2.0],
        ),
        Filters(),
    )
    assert rows.tolist() == [1, 0, 2, 3]


def test_without_home_or_walk_the_nearer_edge_comes_first_and_a_depth_counts_nothing():
    rows, _ = rank(
        terms(
            n_grids=[2, 2, 2],
            inside_p=[1.0, 1.0, 1.0],
            clearance_m=[26_600.0, 40.0, 500.0],
            edge_m=[26_600.0, 9_000.0, 500.0],  # the second lies by the edge of one park, deep in another
        ),
        Filters(),
    )
    assert rows.tolist() == [2, 1, 0]


def test_known_walks_come_first_and_distance_from_home_does_not_part_them():
    rows, _ = rank(
        terms(
            n_grids=[2, 2, 2, 2],
            home_km=[1.0, 90.0, 80.0, 70.0],
            walk_min=[math.nan, 10.0, 11.0, math.nan],
        ),
        Filters(),
    )
    assert rows.tolist() == [1, 2, 0, 3]


def test_near_misses_are_ordered_by_the_grids_they_miss_then_their_distance_then_home():
    rows, _ = rank(
        terms(
            n_grids=[2, 4, 4, 4],
            confidence=[0.0, 0.0, 0.0, 0.0],
            inside_p=[0.0, 0.0, 0.0, 0.0],
            clearance_m=[-1.0, -300.0, -20.0, -20.0],
            home_km=[1.0, 1.0, 9.0, 8.0],
            is_near_miss=[True, True, True, True],
        ),
        Filters(),
    )
    assert rows.tolist() == [3, 2, 1, 0]


def test_verdict_classes_are_firm_from_0_95_and_doubtful_from_0_5():
    """Within a class the shorter walk comes first, whatever the confidence."""
    rows, _ = rank(
        terms(
            n_grids=[4] * 6,
            confidence=[0.4, 0.4999, 0.5, 0.9499, 0.95, 0.9999],
            inside_p=[1.0] * 6,
            is_corner=[True] * 6,
            walk_min=[1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
        ),
        Filters(),
    )
    assert rows.tolist() == [4, 5, 2, 3, 0, 1]


def test_a_bound_itself_is_within_it():
    """50 km is not over 50 km, and a confidence of 0.5 is doubtful, not under it."""
    rows, left = rank(
        terms(
            n_grids=[2] * 4,
            confidence=[0.5, math.nextafter(0.5, 0.0), 0.9, 0.9],
            home_km=[1.0, 1.0, 50.0, math.nextafter(50.0, 51.0)],
        ),
        Filters(within_km=50.0),
    )
    assert sorted(rows.tolist()) == [0, 2]
    assert [x.count for x in left] == [1, 1]


def test_what_lies_outside_the_area_or_in_other_parks_is_counted_as_that():
    _, left = rank(
        terms(n_grids=[2, 2, 2, 2], in_area=[True, False, False, True], in_parks=[False, False, True, True]),
        Filters(),
    )
    assert [(x.reason, x.count) for x in left] == [
        ("outside the area asked for", 2),
        ("in none of the parks asked for", 1),
    ]


@pytest.mark.parametrize("seed", range(50))
def test_the_order_does_not_depend_on_the_order_in_which_places_were_found(seed):
    """Places differ in a few terms only, some of them unknown, as in a real search."""
    rng = np.random.default_rng(seed)
    n = 12
    varied = {
        "walk_min": [math.nan, math.inf, 10.0],
        "home_km": [math.nan, 5.0],
        "edge_m": [math.nan, 100.0, 200.0],
        "new_pairs": [0, 1],
        "confidence": [0.4, 0.6, 0.99],
    }
    chosen = rng.choice(list(varied), 2, replace=False)
    columns = {"n_grids": np.full(n, 2)} | {name: rng.choice(varied[name], n) for name in chosen}
    columns |= {"lat": rng.permutation(n).astype(float), "lon": np.zeros(n)}
    shuffled = rng.permutation(n)
    before = sort_rows(terms(**columns), np.arange(n))
    after = sort_rows(terms(**{name: column[shuffled] for name, column in columns.items()}), np.arange(n))
    assert shuffled[after].tolist() == before.tolist()


def in_park(clearances_m, parks_p):
    """A listed spot with these numbers for its parks."""
    (one,) = ranked([line_spot(-20.0, 45.2, ["HN95", "IN05"], ("Q-1", "Quiet Cove"))])
    verdict = replace(one.spot.verdict, clearances_m=clearances_m, parks_p=parks_p)
    return replace(one, spot=replace(one.spot, verdict=verdict))


def test_plenty_is_shown_from_its_bound_on_and_never_outside_a_park():
    assert has_plenty(in_park((90.0,), (PLENTY,)))
    assert has_plenty(in_park((90.0,), (1.0,)))
    assert not has_plenty(in_park((90.0,), (math.nextafter(PLENTY, 0.0),)))
    (miss,) = ranked([near_miss(-22.0, 44.0, ["HN95"], ("Q-1", "Quiet Cove"), 120.0, 225.0)])
    assert has_plenty(miss) is False


def test_the_furthest_edge_is_told_only_where_neither_walk_nor_home_stands_for_it():
    spot = in_park((40.0, 9_000.0), (1.0, 1.0))
    assert edge_m(spot) == 9_000.0
    assert edge_m(replace(spot, route=Route("unknown", "too far"))) == 9_000.0
    assert edge_m(replace(spot, route=Route("walked", out_min=4.0))) is None
    assert edge_m(replace(spot, route=Route("out of reach", "water all round"))) is None
    assert edge_m(replace(spot, home_km=3.0)) is None
    assert edge_m(replace(spot, home_km=3.0, route=Route("walked", out_min=4.0))) is None
    (miss,) = ranked([near_miss(-22.0, 44.0, ["HN95"], ("Q-1", "Quiet Cove"), 120.0, 225.0)])
    assert edge_m(miss) is None


def test_a_confidence_has_the_class_of_its_verdict():
    """Firm from 0.95, doubtful from 0.5, both bounds included: the words of the verdict."""
    below_firm, below_doubtful = math.nextafter(0.95, 0.0), math.nextafter(0.5, 0.0)
    confidence = np.array([1.0, 0.95, below_firm, 0.5, below_doubtful, 0.0])
    grades = grade_confidence(confidence)
    assert (grades.tolist(), grades.dtype.kind) == ([0, 0, 1, 1, 2, 2], "i")
