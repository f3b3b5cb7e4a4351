"""What the value of an option may be; each refuses, with one line, what it is not."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from scout.errors import InputError

if TYPE_CHECKING:
    ParamType = click.ParamType[Any]
else:
    ParamType = click.ParamType  # generic in late releases of click only

__all__ = [
    "AREA",
    "FILE",
    "GRIDS",
    "LENGTH",
    "LEVEL",
    "OVER_0",
    "PARKS",
    "PLACE",
    "RADIUS",
    "SHARE",
    "Count",
    "Number",
    "Words",
]


class Number(ParamType):
    """A number between two others; NaN is none."""

    name = "number"

    def __init__(self, what: str, remedy: str, highest: float = 1e6, *, over_0: bool = False) -> None:
        self.what, self.remedy, self.highest, self.over_0 = what, remedy, highest, over_0

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Take the text or number of an option."""
        number = float(click.FLOAT.convert(value, param, ctx))
        if not 0 <= number <= self.highest:
            raise InputError(_named(param), f"{number:g} {self.what}", self.remedy)
        if self.over_0 and number == 0:
            raise InputError(_named(param), f"0 {self.what}", self.remedy)
        return number


class Count(click.types.IntParamType):
    """A whole number between two others."""

    def __init__(self, what: str, remedy: str, least: int, most: int) -> None:
        self.what, self.remedy, self.least, self.most = what, remedy, least, most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Take the text or number of an option."""
        number = int(super().convert(value, param, ctx))
        if not self.least <= number <= self.most:
            raise InputError(_named(param), f"{number} {self.what}", self.remedy)
        return number


class Words(ParamType):
    """Text that a function of the core understands; it is handed on as it was written."""

    name = "text"

    def __init__(self, check: Callable[[str], None]) -> None:
        self.check = check

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Take the text of an option."""
        self.check(str(value))
        return str(value)


class _FilePath(ParamType):
    """A path; whoever opens it says what is wrong with it."""

    name = "file"


def _named(param: click.Parameter | None) -> str:
    return "value" if param is None else param.opts[0]


def _check_level(text: str) -> None:
    from scout.locator import level_number

    level_number(text)


def _check_place(text: str) -> None:
    from scout.coordinates import parse_place

    parse_place(text)


def _check_area(text: str) -> None:
    from scout.coordinates import parse_area

    parse_area(text)


FILE = _FilePath()
LEVEL, PLACE, AREA = Words(_check_level), Words(_check_place), Words(_check_area)
LENGTH = Number("is not a length", "give a number from 0 up")
GRIDS = Count("is no number of grids that meet at a spot", "give one from 1 to 4", 1, 4)
PARKS = Count("is no number of parks that hold a spot", "give one from 1 up", 1, 10**6)
OVER_0 = Number("is not a length", "give a number over 0", over_0=True)
RADIUS = Number("is no radius: a station takes up some ground", "give a radius over 0", over_0=True)
SHARE = Number("is no probability", "give a number from 0 to 1", 1.0)
