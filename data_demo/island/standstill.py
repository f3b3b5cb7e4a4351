"""A recording made while standing still on the corner: ten minutes of NMEA 0183, a fix a second.

The receiver's error wanders as real ones do: a fixed part, a slow part with the memory of two minutes
(first-order Gauss-Markov) and a little noise. A few fixes are thrown far off, as by a reflection.
"""

import math
import random
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import xor

import numpy as np

from . import ground
from .frame import CORNER_LAT, CORNER_LON, M_PER_DEG_LAT, M_PER_DEG_LON, XY

START = datetime(2026, 2, 14, 18, 5, 0, tzinfo=UTC)  # a summer morning there
SECONDS = 600
_FIXED_M = (0.9, -1.1)
_SLOW_M, _SLOW_S = 0.9, 120.0
_NOISE_M = 0.35
_THROWN = {97: (8.6, 41.0), 98: (9.4, 43.0), 231: (23.5, 118.0), 366: (10.2, 290.0), 367: (37.0, 296.0)}
_DATE_EVERY_S = 10
_SATELLITES = ("02", "05", "07", "13", "15", "18", "20", "24", "29", "30", "31", "36")
_GEOID_M = -17.0


def log() -> str:
    """The recording: GGA every second, RMC and GSA every ten; lines end as the standard has it."""
    height = float(ground.heights(np.zeros(1), np.zeros(1))[0])
    lines = []
    for second, (x, y) in enumerate(_walked()):
        time = START + timedelta(seconds=second)
        clock = f"{time:%H%M%S}.00"
        place = f"{_minutes(CORNER_LAT + y / M_PER_DEG_LAT, 'NS', 2)},"
        place += _minutes(CORNER_LON + x / M_PER_DEG_LON, "EW", 3)
        used, hdop = ((11, 0.9), (12, 0.8))[second // 150 % 2]
        lines.append(f"GNGGA,{clock},{place},1,{used},{hdop},{height:.1f},M,{_GEOID_M},M,,")
        if second % _DATE_EVERY_S == 0:
            lines.append(f"GNRMC,{clock},A,{place},0.0,,{time:%d%m%y},,,A")
            named = ",".join([*_SATELLITES[:used], *[""] * (12 - used)])
            lines.append(f"GNGSA,A,3,{named},1.6,{hdop},1.3")
    return "".join(f"${line}*{reduce(xor, line.encode('ascii')):02X}\r\n" for line in lines)


def _walked() -> list[XY]:
    """Metres east and north of the corner, a fix a second."""
    rng = random.Random("standstill")
    keep = math.exp(-1 / _SLOW_S)
    fresh = _SLOW_M * math.sqrt(1 - keep * keep)
    slow = [_SLOW_M * v for v in _normal(rng)]
    places = []
    for second in range(SECONDS):
        slow = [keep * old + fresh * new for old, new in zip(slow, _normal(rng), strict=True)]
        x, y = (f + s + _NOISE_M * n for f, s, n in zip(_FIXED_M, slow, _normal(rng), strict=True))
        far, bearing = _THROWN.get(second, (0.0, 0.0))
        places.append((x + far * math.sin(math.radians(bearing)), y + far * math.cos(math.radians(bearing))))
    return places


def _normal(rng: random.Random) -> XY:
    """Two normal values (Box and Muller 1958) of a generator whose plain numbers are the same everywhere."""
    size, turn = math.sqrt(-2 * math.log(1 - rng.random())), 2 * math.pi * rng.random()
    return size * math.cos(turn), size * math.sin(turn)


def _minutes(degrees: float, signs: str, width: int) -> str:
    """Degrees and minutes of a sentence, to 1e-5 minutes: 2 cm."""
    whole, rest = divmod(round(abs(degrees) * 6_000_000), 6_000_000)
    return f"{whole:0{width}d}{rest / 100_000:08.5f},{signs[degrees < 0]}"
