"""What a visit says in a log: the values of the station's own fields."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scout.errors import InputError
from scout.locator import encode
from scout.stamp.location import adjacent, choices, degrees_of, grid_list, location
from scout.tally import grids_of
from scout.visits import Visit

__all__ = ["GROUPS", "PLACE", "SIGNATURE", "Claim", "agrees", "claim_of", "fine_enough"]

SIGNATURE = ("MY_SIG", "MY_SIG_INFO")
PLACE = ("MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT", "MY_VUCC_GRIDS", "MY_LAT", "MY_LON")
# Fields that say one thing together: a conflict in one leaves all of its group alone.
GROUPS = (("STATION_CALLSIGN", "OPERATOR"), PLACE, SIGNATURE)

# Letters, digits and strokes with a digit among them: what a call sign may look like anywhere.
_CALL = re.compile(r"(?=.*\d)(?=.*[A-Za-z])[A-Za-z0-9/]{3,}")
_THOUSANDTH_DEG = 1 / 60_000  # of a minute: the last figure of a Location
# Half the least side of a cell of the fourth and fifth pair: 15 and 0.625 seconds of latitude.
_HALF_CELL_M = {4: 230.0, 5: 9.6}


@dataclass(frozen=True, slots=True)
class Claim:
    """Values by field. ``absent`` must not stand in a contact beside them."""

    values: dict[str, str]
    names: frozenset[str]  # lower case: locators of the claimed cells and, finer, of those at the station
    absent: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def fine_enough(error_m: float | None) -> int:
    """Pairs of the locator that a position's error allows: 3, 4 or 5.

    Examples
    --------
    >>> fine_enough(4.9), fine_enough(30.0), fine_enough(None)
    (5, 4, 4)
    """
    if error_m is None:
        return 4
    return max((level for level, half_m in _HALF_CELL_M.items() if error_m <= half_m), default=3)


def claim_of(visit: Visit, sig: str = "", reference: str = "", grids: Sequence[str] | None = None) -> Claim:
    """The fields of a visit.

    Parameters
    ----------
    visit : Visit
    sig, reference : str
        Name of the programme as the user gives it, and the park's reference in it; neither or both.
    grids : sequence of str, optional
        Those of the visit's grids that are claimed; all otherwise.

    Raises
    ------
    InputError
        Three grids, or another number that ADIF has no form for; grids that are not the visit's; a text
        that ADI cannot hold.
    """
    claimed = _claimed(visit, grids)
    values: dict[str, str] = {}
    notes: list[str] = []
    locator = _locator(visit, claimed)
    values["MY_GRIDSQUARE"] = locator[:8]
    if len(locator) > 8:
        values["MY_GRIDSQUARE_EXT"] = locator[8:]
    squares = grid_list(claimed)
    if len(squares) > 1:
        values["MY_VUCC_GRIDS"] = ",".join(squares)
    elif len(claimed) > 1 and not squares:
        notes.append("MY_VUCC_GRIDS is not set: it takes squares or subsquares, and the visit claims fields.")
    values["MY_LAT"], values["MY_LON"] = location(visit.lat, "lat"), location(visit.lon, "lon")
    if visit.call:
        values["STATION_CALLSIGN"] = visit.call.upper()
    if visit.operator and _CALL.fullmatch(visit.operator):
        values["OPERATOR"] = visit.operator.upper()
    elif visit.operator:
        notes.append(f"OPERATOR is not set: it takes a call sign, and {visit.operator!r} is none.")
    if sig:
        values |= dict(zip(SIGNATURE, (sig, reference), strict=True))
    for name, value in values.items():
        if not (value.isascii() and value.isprintable()):
            raise InputError(
                f"{name} {value!r}", "ADI holds plain ASCII characters only", "spell it out without accents"
            )
    absent = () if len(squares) > 1 else ("MY_VUCC_GRIDS",)
    here = replace(visit, locators=claimed or (locator,))
    names = frozenset(text.lower() for level in range(1, 5) for text in grids_of(here, level))
    return Claim(values, names, absent, tuple(notes))


def _claimed(visit: Visit, grids: Sequence[str] | None) -> tuple[str, ...]:
    there = {text.upper(): text for text in visit.locators}
    if grids is None:
        claimed = visit.locators
    else:
        strange = [text for text in grids if text.upper() not in there]
        if strange:
            raise InputError(
                f"grid {strange[0]}", "the visit does not claim it", f"it has {' '.join(visit.locators)}"
            )
        claimed = tuple(dict.fromkeys(there[text.upper()] for text in grids))
    squares = grid_list(claimed)
    if len(squares) == 3:
        pairs = ", ".join(",".join(pair) for pair in choices(squares))
        raise InputError(
            " ".join(squares),
            "ADIF takes two or four grids, and has no form for three",
            f"choose with --grids: one of them, or {pairs}",
        )
    if len(squares) > 4 or (len(squares) > 1 and not adjacent(squares)):
        raise InputError(
            " ".join(squares), "ADIF takes two or four grids that meet", "choose with --grids which to claim"
        )
    return claimed


def _locator(visit: Visit, claimed: Sequence[str]) -> str:
    """Locator of the position, as fine as it is known, or of the claimed ground nearest to it."""
    here = encode(visit.lon, visit.lat, fine_enough(visit.error_m))
    if not claimed or any(here.startswith(text) or text.startswith(here) for text in claimed):
        return here
    return grids_of(replace(visit, locators=tuple(claimed[:1])), fine_enough(visit.error_m))[0]


def agrees(name: str, said: str, claim: Claim) -> bool:
    """Whether what a log says of a field already is what the visit says, if less or more exactly.

    Parameters
    ----------
    name : str
        A field of the claim.
    said : str
        The log's value, not empty.
    claim : Claim
    """
    value = claim.values[name]
    if name in ("MY_LAT", "MY_LON"):
        one, other = degrees_of(said), degrees_of(value)
        return one is not None and other is not None and abs(one - other) <= 1.01 * _THOUSANDTH_DEG
    if name == "MY_GRIDSQUARE":
        low, whole = said.lower(), value + claim.values.get("MY_GRIDSQUARE_EXT", "")
        return low in claim.names or (len(low) % 2 == 0 and whole.lower().startswith(low))
    if name == "MY_VUCC_GRIDS":
        return {part.strip().lower() for part in said.split(",")} == set(value.lower().split(","))
    if name in SIGNATURE:
        return said == value
    return said.lower() == value.lower()
