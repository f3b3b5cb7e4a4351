"""Places where Maidenhead grid squares and parks meet: found, judged, ranked, mapped.

>>> import scout
>>> scout.locator.encode(lat=48.14666, lon=11.60833, level=3)
'JN58td'

`scout.find` searches, `scout.check` judges a planned place, `scout.view` tells what an antenna sees,
`scout.map` draws; `scout.read_parks` reads boundary files or takes a GeoDataFrame. What is heavy is imported
when it is first used.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as in typing, which would be the first heavy import of all
if TYPE_CHECKING:
    from typing import Any

    from scout.api import (
        Answer,
        Outlook,
        Page,
        ParkFrame,
        SpotFrame,
        TripAnswer,
        arrive,
        card,
        check,
        find,
        map,
        pack,
        read_parks,
        save,
        trip,
        view,
    )
    from scout.errors import CrsError, InputError, OutputError, ScoutError
    from scout.geo import geodesy, locator
    from scout.geo.coordinates import parse_place
    from scout.model import Station
    from scout.visits.notebook import Notebook

__version__ = "0.1.0"
__all__ = [
    "Answer",
    "CrsError",
    "InputError",
    "Notebook",
    "Outlook",
    "OutputError",
    "Page",
    "ParkFrame",
    "ScoutError",
    "SpotFrame",
    "Station",
    "TripAnswer",
    "__version__",
    "arrive",
    "card",
    "check",
    "find",
    "geodesy",
    "locator",
    "map",
    "pack",
    "parse_place",
    "read_parks",
    "save",
    "trip",
    "view",
]

_HOMES = {
    **dict.fromkeys(("CrsError", "InputError", "OutputError", "ScoutError"), "scout.errors"),
    **dict.fromkeys(("geodesy", "locator"), "scout.geo"),
    "Notebook": "scout.visits.notebook",
    "Station": "scout.model",
    "parse_place": "scout.geo.coordinates",
}


def __getattr__(name: str) -> Any:
    """Import what is asked for when it is asked for."""
    if name not in __all__:
        raise AttributeError(f"module 'scout' has no attribute {name!r}")
    from importlib import import_module

    home = _HOMES.get(name, "scout.api")
    module = import_module(home)
    return import_module(f"{home}.{name}") if home == "scout.geo" else getattr(module, name)


def __dir__() -> list[str]:
    return sorted(__all__)
