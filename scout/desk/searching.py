"""A search for the page: first without walks, then with them, each as the map that is shared."""

from __future__ import annotations

import ctypes
import gc
import secrets
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from scout.cli.outputs import MAP_SPOTS, dated
from scout.cli.sources import access_from
from scout.desk.names import OUTING
from scout.desk.settings import Asked
from scout.desk.shelf import Shelf
from scout.errors import InputError
from scout.exports import export
from scout.find import best, find
from scout.model import Findings, Ranked
from scout.page import build
from scout.write import write_file

__all__ = ["Search"]

_KEPT = 3  # the last ones stay: the page may still show one without walks
# With the outing file that the desk saves, this gives the same.
_COMMAND = f"scout find --outing {OUTING}"


class Search:
    """The findings of the last searches, by the name of their map: a page asks for what it shows."""

    def __init__(self, shelf: Shelf) -> None:
        self.shelf = shelf
        self._found: dict[str, Findings] = {}
        self._maps, self._own = 0, secrets.token_hex(4)  # another process must not use these names again

    def found(self, name: str | None = None) -> Findings:
        """What the map of that name shows, or the last one.

        Raises
        ------
        InputError
            There is none: nothing was searched for, or another process did it.
        """
        if not self._found:
            raise InputError("search", "nothing has been searched for yet", "search first")
        found = self._found.get(name or next(reversed(self._found)))
        if found is None:
            raise InputError("search", "the list has changed since", "search again")
        return found

    def run(
        self, asked: Asked, made: Path, show: Callable[[str], None], part: Callable[[Any], None]
    ) -> dict[str, Any]:
        """Search, and write the map into ``made``; what is known without walks goes to ``part``."""
        inputs = asked.inputs
        parks = self.shelf.parks(inputs.parks, show)
        access = access_from(inputs.access, show)
        quick = self._told(find(parks, inputs.options, show), asked, made, walked=access is None)
        if access is None:
            return quick
        part(quick)
        told = self._told(find(parks, inputs.options, show, access), asked, made, walked=True)
        _give_back()
        return told

    def _told(self, found: Findings, asked: Asked, made: Path, *, walked: bool) -> dict[str, Any]:
        outing = asked.inputs.outing
        found = dated(found, asked.inputs.title, outing.author, outing.credits, _COMMAND)
        self._maps += 1
        name = f"map-{self._own}-{self._maps}.html"
        write_file(made / name, build(best(found, MAP_SPOTS)))
        self._found[name] = found
        for old in list(self._found)[:-_KEPT]:
            del self._found[old]
            (made / old).unlink(missing_ok=True)
        around = found.surroundings
        return {
            "made": name,
            "walked": walked,
            "spots": [_row(ranked) for ranked in found.spots[:MAP_SPOTS]],
            "count": len(found.spots),
            "left_out": [{"count": one.count, "reason": one.reason} for one in found.left_out],
            "remarks": list(found.remarks),
            "notes": [] if around is None else list(around.notes),
        }

    def saved(self, suffix: str, name: str | None = None) -> tuple[str, bytes]:
        """Name and content of the spots in a format, as ``--save`` writes them."""
        return f"spots{suffix}", export(self.found(name), f"spots{suffix}")


def _row(ranked: Ranked) -> dict[str, Any]:
    """What the page says of a spot that was chosen on the map."""
    spot = ranked.spot
    return {
        "rank": ranked.rank,
        "kind": spot.kind,
        "verdict": spot.verdict.word,
        "lon": spot.lon,
        "lat": spot.lat,
        "locators": list(spot.verdict.locators),
        "parks": list(spot.verdict.parks),
        "names": [name or park for park, name in zip(spot.verdict.parks, spot.park_names, strict=True)],
        "near": spot.near is not None,
        "warnings": list(ranked.warnings),
    }


def _give_back() -> None:
    """Hand memory that is free again to the system; glibc keeps it otherwise."""
    gc.collect()
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)
