"""What a trip writes: map, sheet of the day, GPX, calendar, and an archive with all of it and the cards."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import PurePath

from scout.app.outputs import Maker, check_page
from scout.app.pack import name_card, zip_texts
from scout.errors import OutputError, SettingName
from scout.output.card import CardParticulars
from scout.tours.day import Trip


def _to_gpx(trip: Trip) -> bytes:
    from scout.output.gpx import to_trip_gpx

    return to_trip_gpx(trip)


def _to_calendar(trip: Trip) -> bytes:
    from scout.output.calendar import to_calendar

    return to_calendar(trip)


TRIP_FORMATS: Mapping[str, Callable[[Trip], bytes]] = {".gpx": _to_gpx, ".ics": _to_calendar}


def check_trip_outputs(
    map_path: str | None, sheet_path: str | None, save_paths: Sequence[str], pack_path: str | None
) -> list[str]:
    """Refuse, before the work, outputs that cannot be written; give the paths of those that can."""
    check_page("map", map_path)
    check_page("sheet", sheet_path)
    for path in save_paths:
        suffix = PurePath(path).suffix.lower()
        if suffix not in TRIP_FORMATS:
            remedy = f"use {' or '.join(TRIP_FORMATS)}"
            raise OutputError(SettingName("save", path), "no format of a trip goes by this suffix", remedy)
    if pack_path is not None and PurePath(pack_path).suffix.lower() != ".zip":
        raise OutputError(SettingName("out", pack_path), "this is an archive", "name it .zip")
    return [path for path in (map_path, sheet_path, *save_paths, pack_path) if path is not None]


def make_trip_outputs(
    trip: Trip,
    particulars: CardParticulars,
    map_path: str | None,
    sheet_path: str | None,
    save_paths: Sequence[str],
    pack_path: str | None,
) -> dict[str, Maker]:
    """What makes every output of a trip, by its path."""
    makers: dict[str, Maker] = {
        path: partial(TRIP_FORMATS[PurePath(path).suffix.lower()], trip) for path in save_paths
    }
    if map_path is not None:
        makers[map_path] = partial(build_trip_map, trip)
    if sheet_path is not None:
        makers[sheet_path] = partial(_build_sheet, trip, particulars)
    if pack_path is not None:
        makers[pack_path] = partial(build_trip_pack, trip, particulars)
    return makers


def export_trip(trip: Trip, particulars: CardParticulars, path: str) -> bytes:
    """Bytes of a trip in the format of a path's suffix.

    Raises
    ------
    OutputError
        When no format goes by that suffix.
    """
    suffix = PurePath(path).suffix.lower()
    if suffix == ".zip":
        return build_trip_pack(trip, particulars)
    if suffix not in TRIP_FORMATS:
        remedy = f"use {' or '.join((*TRIP_FORMATS, '.zip'))}"
        raise OutputError(path, f"no format of a trip goes by {suffix or 'no suffix'}", remedy)
    return TRIP_FORMATS[suffix](trip)


def build_trip_map(trip: Trip) -> str:
    """The map of the places of a trip, its tours drawn and told."""
    from scout.page.document import build_map  # heavy

    return build_map(trip.findings, trip=trip)


def _build_sheet(trip: Trip, particulars: CardParticulars) -> str:
    from scout.output.day_sheet import build_day_sheet

    return build_day_sheet(trip, particulars)


def build_trip_pack(trip: Trip, particulars: CardParticulars) -> bytes:
    """Map, sheet, GPX, calendar and the cards of the best tour's places as a ZIP archive.

    Returns
    -------
    bytes
        The same trip gives the same bytes.
    """
    from scout.output.card import build_card

    texts: dict[str, str | bytes] = {
        "map.html": build_trip_map(trip),
        "day.html": _build_sheet(trip, particulars),
        "day.gpx": _to_gpx(trip),
        "day.ics": _to_calendar(trip),
    }
    for visit in trip.tours[0].visits:
        rank = visit.ranked.rank
        texts[name_card(rank)] = build_card(trip.findings, rank, particulars)
    return zip_texts(texts)
