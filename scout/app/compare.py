"""Two versions of boundaries compared: both searched alike, their spots matched, visits judged anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from scout.app.find import SearchOptions, find_spots
from scout.app.request import SearchRequest, add_particulars, open_saved
from scout.app.settings import get_settings_by_key
from scout.app.sources import AccessFiles, make_access, open_source
from scout.errors import InputError, SettingName
from scout.geo.geodesy import measure_geodesic
from scout.geo.locator import LEVELS
from scout.io.geopackage import read_metadata
from scout.model import BadVisit, Findings, LeftOut, ParkReport, Parks, Ranked, Spot, Visit
from scout.output.compare import Changed, describe_change, describe_counts, describe_unknown
from scout.output.saved import MOST_SPOTS, SAVED_URI
from scout.parks.sources import InMemoryParks, NamedParks, ParkSource
from scout.quantities import MeasuredText, format_length, format_stated_length
from scout.search.check import CheckOptions, check_places, make_findings
from scout.search.compare import compare_spots, compute_reach_m, settle_places
from scout.search.describe import Listing
from scout.search.places import load_parks_near
from scout.visits.notebook import Notebook
from scout.visits.review import VisitChange, VisitReview, review_visit

Show = Callable[[str], None]
_FIND = SettingName("find", written="scout find")
_SAME_HOME_M = 1.0  # further apart two homes are not one
_LISTED = ("corner", "line", "overlap")


@dataclass(frozen=True, slots=True)
class CompareRequest:
    """What is compared with what; ``given`` names the settings that were asked for and not left alone."""

    old: tuple[str, ...]  # boundary files, or one saved result
    new: SearchRequest
    given: frozenset[str] = field(default=frozenset())
    notebook: str | None = None

    @property
    def files(self) -> tuple[str, ...]:
        """Everything that is read, which no output may overwrite."""
        return (*self.old, *self.new.files, *(() if self.notebook is None else (self.notebook,)))


def compare(request: CompareRequest, show: Show) -> Changed:
    """Search both, match what was found and judge visits anew.

    Raises
    ------
    InputError
        Something cannot be used, or a saved result was searched otherwise than is asked for.
    """
    saved = _open_old(request)
    wanted = request.new
    around = wanted.access_files
    old_source: ParkSource
    if saved is None:
        options = wanted.settings.make_options()
        show("the data before")
        old_source = open_source(replace(wanted, parks=request.old).park_files, show)
        old = _search(old_source, options, around, show)
    else:
        options, around = _adopt(saved, request), _check_walks(saved, around)
        old_source, old = InMemoryParks(Parks(saved.parks, saved.sources, saved.report)), saved
    show("the data now")
    source = open_source(wanted.park_files, show)
    _check_parks(options.park_ids, old_source, source, saved)
    new = add_particulars(_search(source, options, around, show), wanted)
    show("comparing")
    ids_hold = _has_ids(old.report) and _has_ids(new.report)
    reach_m = compute_reach_m(options.station)
    cut = saved is not None and _is_cut(saved)
    found = compare_spots(
        _take_bare(old.spots),
        _take_bare(new.spots),
        reach_m,
        ids_hold=ids_hold,
        cut=cut,
    )
    found = settle_places(
        found,
        _judge_places(found.list_left(reach_m), source, options),
        _judge_places(found.list_new(), old_source, options),
        ids_hold=ids_hold,
    )
    visits = None
    if request.notebook is not None:
        visits = _review_visits(request.notebook, source, old_source.bounds, options, show)
    return Changed(
        old_name=_name_files(request.old),
        new_name=_name_files(wanted.parks),
        old=old,
        new=new,
        found=found,
        visits=visits,
        cut=cut,
    )


def _search(source: ParkSource, options: SearchOptions, around: AccessFiles, show: Show) -> Findings:
    """Search one version; of the parks that are asked for it need not have all, or any."""
    known = _list_known(options.park_ids, source)
    found = find_spots(source, replace(options, park_ids=known), show, make_access(around, show))
    return replace(found, spots=()) if options.park_ids and not known else found


def _list_known(wanted: Sequence[str], source: ParkSource) -> tuple[str, ...]:
    known = set(source.ids) if wanted else set()
    return tuple(park for park in wanted if park in known)


def _check_parks(wanted: Sequence[str], old: ParkSource, new: ParkSource, saved: Findings | None) -> None:
    """Refuse an id that no park of either version bears; a saved result names but those with spots."""
    known = {*_list_known(wanted, old), *_list_known(wanted, new)}
    for park in wanted:
        if saved is None and park not in known:
            raise InputError(
                SettingName("park", park), "no park has this id, before or now", "look at the ids"
            )


def _is_cut(saved: Findings) -> bool:
    """Whether a saved result holds only the best; earlier versions did not say so."""
    return saved.cut > 0 or (saved.limits is None and len(saved.spots) >= MOST_SPOTS)


def _open_old(request: CompareRequest) -> Findings | None:
    """The saved result that the old version is, or None for boundary files."""
    for path in request.new.parks:
        if _is_saved(path):
            what = MeasuredText("is a result of ", _FIND, ", and what is compared with has to be boundaries")
            raise InputError(path, what, "name the boundary files that are new")
    saved = [path for path in request.old if _is_saved(path)]
    if not saved:
        return None
    if len(request.old) > 1:
        what = MeasuredText("is a result of ", _FIND, ", which stands by itself")
        raise InputError(saved[0], what, "name it alone")
    found = open_saved(saved[0])
    if not found.searched:
        raise InputError(saved[0], "holds no search", "save the spots of a search as .gpkg")
    return found


def _is_saved(path: str) -> bool:
    named = Path(path).suffix.lower() == ".gpkg"
    return named and Path(path).is_file() and read_metadata(path, SAVED_URI) is not None


def _adopt(saved: Findings, request: CompareRequest) -> SearchOptions:
    """The options of a saved search; others that are asked for are refused.

    They alone would make changes where the data has none.
    """
    settings = request.new.settings
    if saved.within_km is not None and settings.home is None:
        within = format_stated_length(1000 * saved.within_km)
        what = f"the saved result reaches {within} from a home that it does not keep"
        remedy = MeasuredText("add ", SettingName("home", written="--home LAT,LON"), ", the same as then")
        raise InputError(SettingName("home"), what, remedy)
    own = replace(
        settings, within_km=saved.within_km if "within_km" not in request.given else settings.within_km
    )
    asked = own.make_options()
    kept: dict[str, Any] = {"level": saved.level, "within_km": saved.within_km}
    if saved.limits is not None:
        limits = saved.limits
        kept |= {name: getattr(limits, name) for name in limits.__slots__ if name != "area"}
        kept["bbox"] = limits.area
    station = {name: getattr(saved.station, name) for name in saved.station.__slots__}
    keys = {one.name: key for key, one in get_settings_by_key().items()}
    for name in request.given & {*kept, *station, "area"}:
        field_name = "bbox" if name == "area" else name
        mine = getattr(settings, name) if name in station else getattr(asked, field_name)
        theirs = station[name] if name in station else kept.get(field_name, mine)
        if mine != theirs:
            what = f"the saved result was searched {_show_setting(name, theirs)}"
            raise InputError(SettingName(keys[name]), what, "leave this out, or compare the boundary files")
    _check_home(saved, asked)
    return replace(asked, station=saved.station, **kept)


def _show_setting(name: str, value: Any) -> str:
    if name == "level":
        return f"at level {LEVELS[value - 1]}"
    if value is None or value == ():
        return "without it"
    return f"with {' '.join(map(str, value)) if isinstance(value, tuple) else f'{value:g}'}"


def _check_home(saved: Findings, options: SearchOptions) -> None:
    """Refuse another home than that from which the spots of a saved result lie as far as they say."""
    one = next((one for one in saved.spots if one.home_km is not None), None)
    if options.home is None or saved.within_km is None or one is None or one.home_km is None:
        return
    away_m = measure_geodesic(*options.home, one.spot.lon, one.spot.lat)[0]
    if abs(float(away_m) - 1000 * one.home_km) > _SAME_HOME_M:
        away = format_length(1000 * one.home_km)
        what = f"the saved result was searched from another home, {away} from its best spot"
        raise InputError(SettingName("home"), what, "give the same as then")


def _check_walks(saved: Findings, around: AccessFiles) -> AccessFiles:
    """The files of the ground, walked as in a saved result."""
    if saved.walking is None:
        if around.files:
            what = "the saved result was searched without roads, barriers and hazards"
            raise InputError(SettingName("access"), what, "leave these out, or compare the boundary files")
        return around
    if not around.files:
        what = "the saved result was searched with roads or barriers, which leave spots out and move them"
        same = MeasuredText(
            "give the same ",
            SettingName("access"),
            ", ",
            SettingName("barriers"),
            ", ",
            SettingName("hazards"),
            " and ",
            SettingName("heights"),
        )
        raise InputError(SettingName("access"), what, same)
    return replace(around, walking=saved.walking)


def _take_bare(spots: Sequence[Ranked]) -> Sequence[Ranked]:
    return spots.bare() if isinstance(spots, Listing) else spots


def _has_ids(report: ParkReport) -> bool:
    """Whether every park has an id of the data's own, and none a record number."""
    return all(report.id_column)


def _name_files(paths: Sequence[str]) -> str:
    more = f" and {len(paths) - 1} more" if len(paths) > 1 else ""
    return f"{Path(paths[0]).name}{more}"


def _judge_places(
    spots: Mapping[int, Spot], source: ParkSource, options: SearchOptions
) -> Mapping[int, Ranked]:
    """The places of some spots, by their rows, with what counts there by other data."""
    if not spots:
        return {}
    lon, lat = [spot.lon for spot in spots.values()], [spot.lat for spot in spots.values()]
    judging = CheckOptions(options.level, options.station, moves=False)
    parks = load_parks_near(source, lon, lat, judging.near_m)
    results = list(check_places(parks, lon, lat, judging))
    places = make_findings(parks, [""] * len(results), results, judging).spots
    return dict(zip(spots, (_drop_asked(one) for one in places), strict=True))


def _drop_asked(place: Ranked) -> Ranked:
    """A place without the note that says what it was asked for as: nobody has asked."""
    return replace(place, spot=replace(place.spot, notes=place.spot.notes[1:]))


def _review_visits(
    notebook: str, source: ParkSource, old_bounds: Any, options: SearchOptions, show: Show
) -> VisitReview:
    """Every visit of a notebook judged anew, with its own error and at its own level."""
    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    near_m = CheckOptions().near_m
    inside: list[Visit] = []
    outside: list[Visit] = []
    covered = _Cover(np.concatenate([np.asarray(source.bounds, dtype=float), old_bounds]), near_m)
    for visit in visits:
        (inside if covered.has(visit) else outside).append(visit)
    groups: dict[tuple[int, float], list[Visit]] = {}
    for visit in inside:
        error_m = options.station.fix_error_m if visit.error_m is None else visit.error_m
        groups.setdefault((visit.level, error_m), []).append(visit)
    parks = load_parks_near(source, [v.lon for v in inside], [v.lat for v in inside], near_m)
    ids_hold = _has_ids(source.report)
    changes: list[VisitChange] = []
    show("judging the visits")
    for (level, error_m), some in groups.items():
        judging = CheckOptions(level, replace(options.station, fix_error_m=error_m), moves=False)
        checked = check_places(parks, [v.lon for v in some], [v.lat for v in some], judging)
        found = (review_visit(v, one, ids_hold=ids_hold) for v, one in zip(some, checked, strict=True))
        changes += [one for one in found if one is not None]
    changes.sort(key=lambda one: (one.visit.start, one.visit.number))
    return VisitReview(tuple(changes), len(inside) - len(changes), tuple(outside), tuple(left_out))


class _Cover:
    """The ground that the parks of both versions lie on: one box, which may run over the antimeridian."""

    def __init__(self, bounds: Any, near_m: float) -> None:
        self._near_deg = near_m / 110_574
        self._bounds = bounds[np.isfinite(bounds).all(axis=1)]
        if len(self._bounds):
            middle = float(self._bounds[0, [0, 2]].mean())
            west = (self._bounds[:, 0] - middle + 180.0) % 360.0 - 180.0
            self._middle, self._west = middle, float(west.min())
            self._east = float((west + self._bounds[:, 2] - self._bounds[:, 0]).max())
            self._south, self._north = float(self._bounds[:, 1].min()), float(self._bounds[:, 3].max())

    def has(self, visit: Visit) -> bool:
        """Whether a visit was made on it, or near enough."""
        if not len(self._bounds):
            return False
        high = self._near_deg
        wide = high / max(np.cos(np.radians(min(abs(visit.lat) + high, 89.9))), 1e-3)
        lon = (visit.lon - self._middle + 180.0) % 360.0 - 180.0
        across = any(self._west - wide <= lon + turn <= self._east + wide for turn in (-360.0, 0.0, 360.0))
        return across and self._south - high <= visit.lat <= self._north + high


def make_changed_findings(changed: Changed) -> Findings:
    """What has changed as findings for the map: the spots of now, then the places of those that vanished."""
    changes, new = changed.found.changes, changed.new
    rows = [k for k, one in enumerate(changes) if one.now is not None and one.now.spot.kind in _LISTED]
    places = [now.rank - 1 for k in rows if (now := changes[k].now) is not None]
    full = new.spots.take(places) if isinstance(new.spots, Listing) else [new.spots[p] for p in places]
    # Where one vanished its place is shown; a verdict may be another for want of a spot of its own.
    shown = [(k, one.there or one.now) for k, one in enumerate(changes)]
    spots = {k: one for k, one in shown if one is not None} | dict(zip(rows, full, strict=True))
    listed = []
    for number, k in enumerate(sorted(spots), start=1):
        ranked = spots[k]
        spot = replace(ranked.spot, notes=(describe_change(changes[k], changed.old_name), *ranked.spot.notes))
        listed.append(replace(ranked, rank=number, spot=spot))
    same = changed.found.same + changed.found.still
    unchanged = (LeftOut(f"the same as in {changed.old_name}", same),) if same else ()
    return replace(
        new,
        spots=tuple(listed),
        left_out=(*new.left_out, *unchanged),
        named=_name_parks(new, listed),
        title=new.title or f"What changed since {changed.old_name}",
        remarks=(describe_counts(changed), *describe_unknown(changed), *new.remarks),
    )


def _name_parks(new: Findings, listed: Sequence[Ranked]) -> NamedParks:
    source = new.named.source
    ids = {park for one in listed for park in one.spot.verdict.parks}
    ids |= {one.spot.near.park for one in listed if one.spot.near is not None}
    return NamedParks(source, np.flatnonzero(pd.Series(source.ids).isin(ids).to_numpy(dtype=bool)))
