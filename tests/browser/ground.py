"""Where things lie on the map, worked out from two marks: no word of the page's own projection is used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Page

MARK_TIP = "circle.tip"


def mercator(lon: float, lat: float) -> tuple[float, float]:
    """Web Mercator (EPSG:3857) in radians: x = lon, y = asinh(tan(lat))."""
    return math.radians(lon), math.asinh(math.tan(math.radians(lat)))


@dataclass(frozen=True)
class Ground:
    """Pixels of the window per radian of Mercator, and where its origin is."""

    scale: float
    left: float
    top: float

    def pixel(self, lon: float, lat: float) -> tuple[float, float]:
        x, y = mercator(lon, lat)
        return self.left + self.scale * x, self.top - self.scale * y

    def place(self, x: float, y: float) -> tuple[float, float]:
        lon = math.degrees((x - self.left) / self.scale)
        lat = math.degrees(math.atan(math.sinh((self.top - y) / self.scale)))
        return lon, lat


def tips(page: Page) -> dict[int, tuple[float, float]]:
    """Window pixels of the point each mark stands on, by rank."""
    found: dict[str, Any] = page.evaluate(
        """() => Object.fromEntries([...document.querySelectorAll(".mark")].map((mark) => {
            const frame = mark.getBoundingClientRect();
            return [mark.dataset.rank, [frame.left + 17, frame.top + 45]];
        }))"""
    )
    return {int(rank): (at[0], at[1]) for rank, at in found.items()}


def ground_of(
    one: tuple[float, float], at: tuple[float, float], other: tuple[float, float], then: tuple[float, float]
) -> Ground:
    """The map's placing from two places and their pixels; the two must differ in longitude."""
    (x1, y1), (x2, _) = mercator(*one), mercator(*other)
    scale = (then[0] - at[0]) / (x2 - x1)
    return Ground(scale, at[0] - scale * x1, at[1] + scale * y1)


def names(page: Page) -> list[tuple[str, float, float]]:
    """Locator names in the view with the window pixels of their middles."""
    found: list[list[Any]] = page.evaluate(
        """() => [...document.querySelectorAll(".cell-name")].map((name) => {
            const frame = name.getBoundingClientRect();
            return [name.textContent, frame.left + frame.width / 2, frame.top + frame.height / 2];
        })"""
    )
    return [(text, x, y) for text, x, y in found]
