"""Recordings made by hand: fixes some metres from a place, and the sentences and points of files."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import reduce
from operator import xor

import numpy as np
from geographiclib.geodesic import Geodesic

from scout.recording.values import Fixes

START = 1_714_558_500.0
LON, LAT = -89.5, 45.0


def fixes_at(east, north, time=None, lon=LON, lat=LAT, **said) -> Fixes:
    """Fixes some metres from a place, put there by geodesics of `geographiclib`, one a second."""
    east, north = np.broadcast_arrays(np.asarray(east, dtype=float), np.asarray(north, dtype=float))
    ends = [
        Geodesic.WGS84.Direct(lat, lon, np.degrees(np.arctan2(e, n)), np.hypot(e, n))
        for e, n in zip(east, north, strict=True)
    ]
    size = len(ends)
    unsaid = np.full(size, np.nan)
    values = {
        "time_s": START + np.arange(size) if time is None else np.asarray(time, dtype=float),
        "hdop": unsaid,
        "satellites": unsaid,
        "quality": np.ones(size, dtype=np.int64),
        "dimensions": np.zeros(size, dtype=np.int64),
        "stated_error_m": unsaid,
    }
    where = {"lon": np.array([end["lon2"] for end in ends]), "lat": np.array([end["lat2"] for end in ends])}
    return Fixes("made.nmea", "NMEA 0183", **{**values, **where, **said})


def noise(size, sigma=1.0, seed=1):
    return sigma * np.random.default_rng(seed).standard_normal((2, size))


def off(found, lon=LON, lat=LAT) -> float:
    """Metres from a place, by an independent geodesic."""
    return Geodesic.WGS84.Inverse(lat, lon, found.lat, found.lon)["s12"]


def sentence(body: str) -> str:
    return f"${body}*{reduce(xor, body.encode('latin-1'), 0):02X}"


def gga(
    clock="101500", lat="4500.0000,N", lon="08930.0000,W", quality="1", sats="09", hdop="0.8", talker="GP"
):
    return sentence(f"{talker}GGA,{clock},{lat},{lon},{quality},{sats},{hdop},200.0,M,-30.0,M,,")


def rmc(clock="101500", date="010524", status="A", lat="4500.0000,N", lon="08930.0000,W", mode="A"):
    return sentence(f"GPRMC,{clock},{status},{lat},{lon},0.1,,{date},,,{mode}")


def gpx(points: str, version: str = "1.1", before: str = "") -> str:
    space = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    return f'{before}<gpx version="{version}" creator="hand" xmlns="{space}">\n{points}\n</gpx>'


def track(*points: str) -> str:
    return f"<trk><trkseg>{''.join(points)}</trkseg></trk>"


def trkpt(children: str = "", lat: str = "45", lon: str = "-89.5") -> str:
    return f'<trkpt lat="{lat}" lon="{lon}">{children}</trkpt>\n'


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()
