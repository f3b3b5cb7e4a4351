"""Cards of spots made by hand, for the tests of the card: plain, crowded, hostile."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import exported
import numpy as np
import zxingcpp
from builders import corner_spot, findings, parks_frame, ranked, verdict
from shapely import box

from scout.model import Credit, Findings, Spot
from scout.output.card import CardParticulars

SAID = CardParticulars("Q1AAA", "Q0CLUB", date(2026, 6, 21), ZoneInfo("Pacific/Auckland"))
CORNER = ("JN45", "JN55", "JN44", "JN54")


def grove(count: int, name: str = "Grove", reference: str = "QX-{:03d}") -> Findings:
    """One firm corner inside so many parks."""
    parks = [(reference.format(k), f"{name} {k}" if name else "") for k in range(count)]
    spot = corner_spot(10.0, 45.0, CORNER, parks)
    return findings([spot], parks_frame(*((park, box(9.9, 44.9, 10.1, 45.1)) for park in parks)))


def at(lon: float, lat: float, locators: tuple[str, ...] = CORNER, level: int = 2) -> Findings:
    """A spot somewhere, in one park; the locators are as given."""
    spot = Spot("place", lon, lat, None, verdict(locators, [("QX-1", "Moor")]), ("Moor",))
    return replace(findings([spot], grove(1).parks), level=level)


def full(text: str = "", count: int = 30, notes: int = 7) -> Findings:
    """Everything a card may have to say at once, all of it long; a warning more than notes."""
    text = text or "Long words about a wood by the water where the ground is soft in winter " * 5
    base = exported.bay()
    parks = [(f"QX-{k:03d} {text}", text) for k in range(count)]
    spot = corner_spot(
        10.0,
        45.0,
        ["JN45xa90xa", "JN55aa00aa", "JN44xx99xx", "JN54ax09ax"],
        parks,
        corner=(10.00001, 45.00001),
        offset_m=12.3,
        offset_deg=225.0,
        notes=(text,) * notes,
    )
    route = replace(exported.WALKED, start_name=text, start_kind="trailhead")
    (only,) = ranked([spot], [321.0])
    only = replace(only, route=route, slope_deg=31.0, warnings=(f"Cliff: {text}",) * (notes + 1))
    return replace(
        base,
        level=5,
        spots=(only,),
        title=text,
        author=text,
        made_on="2026-03-01",
        credits=tuple(Credit((), text, text, "2026") for _ in range(5)),
    )


def read_code(picture: np.ndarray) -> str:
    """The text of the one QR code in a grey picture, by another program than the one that drew it."""
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return str(found.text)
