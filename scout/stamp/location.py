"""Places as ADIF has them: the types Location, GridSquare, GridSquareExt and GridSquareList (ADIF 3.1.7)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import combinations

from scout.errors import InputError
from scout.geodesy import wrap_lon
from scout.locator import columns, parse

__all__ = ["adjacent", "choices", "degrees_of", "grid_list", "location"]

_LOCATION = re.compile(r"([EWNS])(\d{3}) (\d{2}\.\d{3})", re.IGNORECASE)


def location(degrees: float, axis: str) -> str:
    """A latitude or longitude as a Location, ``XDDD MM.MMM``; a thousandth of a minute is 1.85 m.

    Parameters
    ----------
    degrees : float
    axis : str
        ``lat`` or ``lon``.

    Examples
    --------
    >>> location(48.14666, "lat"), location(-56.21166, "lon"), location(44.99999999, "lat")
    ('N048 08.800', 'W056 12.700', 'N045 00.000')
    """
    if axis == "lon":
        degrees = float(wrap_lon(degrees))
    thousandths = round(abs(degrees) * 60_000)
    letter = {"lat": "NS", "lon": "EW"}[axis][degrees < 0 and thousandths > 0]
    whole, rest = divmod(thousandths, 60_000)
    return f"{letter}{whole:03d} {rest // 1000:02d}.{rest % 1000:03d}"


def degrees_of(text: str) -> float | None:
    """Degrees of a Location; None for a text that is none.

    Examples
    --------
    >>> degrees_of("W056 12.700"), degrees_of("56.2 W")
    (-56.211666666666666, None)
    """
    found = _LOCATION.fullmatch(text)
    if found is None:
        return None
    minutes = float(found[3])
    degrees = int(found[2]) + minutes / 60
    if minutes >= 60 or degrees > (90 if found[1].upper() in "NS" else 180):
        return None
    return -degrees if found[1].upper() in "SW" else degrees


def grid_list(locators: Sequence[str]) -> tuple[str, ...]:
    """Locators as a GridSquareList takes them: four or six characters each, no more than there are cells.

    Finer locators are cut to six characters; a field (two characters) has no form there and is left out.

    Examples
    --------
    >>> grid_list(["JO22ab11", "JO22ab12", "JO22bb02"])
    ('JO22ab', 'JO22bb')
    """
    return tuple(dict.fromkeys(text[:6] for text in locators if len(text) >= 4))


def adjacent(locators: Sequence[str]) -> bool:
    """Whether two locators share an edge or a corner, or four share one corner.

    Examples
    --------
    >>> adjacent(["EM98", "FM08", "EM97", "FM07"]), adjacent(["EM98", "EM78"])
    (True, False)
    """
    if len({len(text) for text in locators}) != 1:
        return False
    cells = [parse(text) for text in locators]
    round_ = columns(cells[0][2])
    # Steps east from the first, the shorter way round the globe.
    east = [(int(i) - int(cells[0][0]) + round_ // 2) % round_ - round_ // 2 for i, _, _ in cells]
    north = [int(j) for _, j, _ in cells]
    return max(east) - min(east) <= 1 and max(north) - min(north) <= 1 and len(set(locators)) == len(locators)


def choices(locators: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The pairs that may be claimed of three cells: those that share an edge come first.

    Raises
    ------
    InputError
        The locators are no three.
    """
    if len(locators) != 3:
        raise InputError(" ".join(locators), "these are not three cells")
    cells = {text: parse(text)[:2] for text in locators}
    round_ = columns(parse(locators[0])[2])

    def apart(pair: tuple[str, ...]) -> int:
        (i, j), (k, m) = (cells[text] for text in pair)
        east = abs(int(i) - int(k))
        return min(east, round_ - east) + abs(int(j) - int(m))

    return tuple(sorted(combinations(locators, 2), key=apart))
