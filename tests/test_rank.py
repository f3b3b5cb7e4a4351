import numpy as np

from scout.rank import Filters, Terms, listed, ordered


def terms(**columns):
    n = len(columns["n_grids"])
    base = {
        "n_parks": np.ones(n, dtype=int),
        "confidence": np.full(n, 0.99),
        "clearance_m": np.full(n, 100.0),
        "is_corner": np.zeros(n, dtype=bool),
        "is_near_miss": np.zeros(n, dtype=bool),
        "in_area": np.ones(n, dtype=bool),
        "in_parks": np.ones(n, dtype=bool),
        "home_km": np.full(n, np.nan),
        "new_pairs": np.zeros(n, dtype=int),
        "new_others": np.zeros(n, dtype=int),
        "walk_min": np.full(n, np.nan),
        "lon": np.arange(n, dtype=float),
        "lat": np.zeros(n),
        "claim": np.zeros((3, n), dtype=int),
    }
    return Terms(**{k: np.asarray(v) for k, v in (base | columns).items()})


def rank(these, filters):
    rows, left_out = listed(these, filters)
    return ordered(these, rows), left_out


def test_yield_then_verdict_then_clearance_decide_the_order():
    rows, left = rank(
        terms(
            n_grids=[2, 4, 2, 2, 1],
            n_parks=[1, 1, 1, 3, 2],
            confidence=[0.99, 0.6, 0.7, 0.96, 0.99],
            clearance_m=[50.0, 10.0, 999.0, 1.0, 40.0],
        ),
        Filters(),
    )
    assert rows.tolist() == [3, 1, 0, 4, 2]
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
        (1, "confidence under 0.5"),
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
            clearance_m=[900.0, 10.0, 50.0, 80.0, 500.0],
            walk_min=[30.0, 12.0, np.nan, 1.0, np.nan],
        ),
        Filters(),
    )
    assert rows.tolist() == [1, 0, 4, 2, 3]


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
            new_pairs=[0, 2, 2, 0],
            new_others=[0, 1, 2, 0],
        ),
        Filters(),
    )
    assert rows.tolist() == [2, 1, 0, 3]
