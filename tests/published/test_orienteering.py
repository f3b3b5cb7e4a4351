"""Published orienteering instances through the model of a trip: a prize is as many pairs of one stop.

T. Tsiligirides, Heuristic methods applied to orienteering, J. Oper. Res. Soc. 35 (1984) 797-809: places,
prizes and lengths of its problems of 21 and 32 places. Best scores as later work gives them (Chao, Golden and
Wasil, Eur. J. Oper. Res. 88 (1996) 475-489, for one). M: places and scores are from memory. They bear
each other out: a wrong place would hardly leave 28 best scores as they are, each proved. The problem
of 33 places is not here: nobody remembered it well enough.
"""

import os

import numpy as np
import pytest

from scout.tours.plan import Problem, Stop
from scout.tours.solve import find_tours

# x, y, prize; the first is the start, the last the end.
PLACES_32 = """
10.5 14.4 0; 18.0 15.9 10; 18.3 13.3 10; 16.5 9.3 10; 15.4 11.0 10; 14.9 13.2 5; 16.3 13.3 5; 16.4 17.8 5;
15.0 17.9 5; 16.1 19.6 10; 15.7 20.6 10; 13.2 20.1 10; 14.3 15.3 5; 14.0 5.1 10; 11.4 6.7 15; 8.3 5.0 15;
7.9 9.8 10; 11.4 12.0 5; 11.2 17.6 5; 10.1 18.7 5; 11.7 20.3 10; 10.2 22.1 10; 9.7 23.8 10; 10.1 26.4 15;
7.4 24.0 15; 8.2 19.9 15; 8.7 17.7 10; 8.9 13.6 10; 5.6 11.1 10; 4.9 18.9 10; 7.3 18.8 10; 11.2 14.1 0
"""
PLACES_21 = """
4.6 7.1 0; 5.7 11.4 20; 4.4 12.3 20; 2.8 14.3 30; 3.2 10.3 15; 3.5 9.8 15; 4.4 8.4 10; 7.8 11.0 20;
8.8 9.8 20; 7.7 8.2 20; 6.3 7.9 15; 5.4 8.2 10; 5.8 6.8 10; 6.7 5.8 25; 13.8 13.1 40; 14.1 14.2 40;
11.2 13.6 30; 9.7 16.4 30; 9.5 18.8 50; 4.7 16.8 30; 5.0 5.6 0
"""
# Length to best score.
BEST_32 = {15: 45, 30: 110}
MORE_32 = {
    10: 15,
    20: 65,
    25: 90,
    35: 135,
    40: 155,
    46: 175,
    50: 190,
    55: 205,
    60: 225,
    65: 240,
    70: 260,
    73: 265,
    75: 270,
    80: 280,
    85: 285,
}
BEST_21 = {15: 120, 25: 230, 45: 450}
MORE_21 = {20: 200, 23: 210, 27: 230, 30: 265, 32: 300, 35: 320, 38: 360, 40: 395}
SCALE = 1000  # to whole numbers


def make_problem(text, length):
    rows = np.array([[float(word) for word in row.split()] for row in text.split(";")])
    at = rows[[0, -1, *range(1, len(rows) - 1)], :2]
    drive = np.rint(SCALE * np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))).astype(np.int64)
    stops = tuple(
        Stop(frozenset((str(i), str(unit)) for unit in range(int(prize))), 0, (((0, length * SCALE),),))
        for i, prize in enumerate(rows[1:-1, 2])
    )
    return Problem(stops, drive, ((0, length * SCALE),), len(stops))


def draw_cases():
    """Yield places, length and best score; those that take minutes only where SOAK is set."""
    soak = bool(os.environ.get("SOAK"))
    for places, best, more in ((PLACES_32, BEST_32, MORE_32), (PLACES_21, BEST_21, MORE_21)):
        for length, score in {**best, **(more if soak else {})}.items():
            yield pytest.param(places, length, score, id=f"{places.count(';') + 1}-{length}")


@pytest.mark.parametrize(("places", "length", "best"), list(draw_cases()))
def test_a_trip_reaches_the_best_known_score(places, length, best):
    found = find_tours(make_problem(places, length), work=60.0).tours[0]
    assert found.worth.pairs == found.most_pairs == best
