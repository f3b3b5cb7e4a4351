"""Findings as text that comes back as it was: what a saved GeoPackage carries for cards and packs.

Values go by the fields of their dataclasses, so that a new field needs nothing here; outlines as WKB, numbers
with all their digits.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout import model
from scout.errors import InputError
from scout.model import Findings, ParkReport
from scout.parks.sources import NamedParks, name_parks
from scout.quantities import Length, MeasuredText

SAVED_URI = "urn:scout:findings"  # of the metadata in a GeoPackage
MOST_SPOTS = 2000  # the best: as many as a map shows
_VERSION = 1
_NAMES = {
    **vars(model),
    "gpd": gpd,
    "np": np,
    "shapely": shapely,
    "Sequence": Sequence,
    "NamedParks": NamedParks,
    "NDArray": NDArray,
}


def dump_findings(findings: Findings) -> str:
    """The best of the findings as JSON text, with the outlines of the parks they name.

    Left out are home and the command line, which name places and folders of the user's own.
    """
    best = tuple(findings.spots[:MOST_SPOTS])
    named = {park for one in best for park in one.spot.verdict.parks}
    named |= {one.spot.near.park for one in best if one.spot.near is not None}
    report = ParkReport(**{one.name: getattr(findings.report, one.name) for one in fields(ParkReport)})
    some = replace(
        findings,
        spots=best,
        named=findings.named.only(named),
        cut=findings.cut + len(findings.spots) - len(best),
        report=report,
        home=None,
        made_by="",
    )
    return json.dumps({"scout": _VERSION, "findings": _dump(some)})  # ASCII, so that any text fits


def load_findings(text: str, where: str) -> Findings:
    """The findings of `dump_findings`.

    Raises
    ------
    InputError
        The text is none of it, or of a later version.
    """
    try:
        stored = json.loads(text)
        if stored["scout"] > _VERSION:
            raise InputError(where, "was saved by a later version", "use a later scout")
        found: Findings = _load(Findings, stored["findings"])
    except (ValueError, KeyError, TypeError, AttributeError, shapely.errors.ShapelyError) as error:
        raise InputError(where, "what it carries of the search is damaged", "save it again") from error
    return found


def _dump(value: Any) -> Any:
    if isinstance(value, MeasuredText):
        return {"measured": [_dump(list(one)) if isinstance(one, Length) else one for one in value.parts]}
    if isinstance(value, NamedParks):
        return _dump(value.frame)
    if isinstance(value, gpd.GeoDataFrame):
        columns = {str(name): _dump(value[name].tolist()) for name in value.columns if name != "geometry"}
        kinds = {name: _name_dtype(value[name].dtype) for name in columns}
        return {"columns": columns, "kinds": kinds, "geometry": _dump(value.geometry.tolist())}
    if isinstance(value, shapely.Geometry):
        return shapely.to_wkb(value, hex=True)
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: _dump(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, dict):
        return {str(key): _dump(one) for key, one in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)) or (
        isinstance(value, Sequence) and not isinstance(value, str)
    ):
        return [_dump(one) for one in value]
    return value.item() if isinstance(value, np.generic) else value


def _name_dtype(dtype: Any) -> str:
    """Of numbers and yes or no the kind and size; all else are objects."""
    return str(dtype.str) if isinstance(dtype, np.dtype) and dtype.kind in "biuf" else "O"


def _load(hint: Any, value: Any) -> Any:
    """The value of a type from what `_dump` made of it."""
    origin, of = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        rest = [one for one in of if one is not type(None)]
        return None if value is None else _load(rest[0], value)
    if origin is tuple:
        kinds = [of[0]] * len(value) if of[1:] == (Ellipsis,) else of
        return tuple(_load(kind, one) for kind, one in zip(kinds, value, strict=True))
    if isinstance(origin, type) and issubclass(origin, Sequence):
        return tuple(_load(of[0], one) for one in value)
    if origin is np.ndarray:
        return np.array(value, dtype=typing.get_args(of[1])[0])
    if hint is str and isinstance(value, dict):
        return MeasuredText(*(one if isinstance(one, str) else Length(*one) for one in value["measured"]))
    if hint is NamedParks:
        return name_parks(_load_frame(value))
    if hint is gpd.GeoDataFrame:
        return _load_frame(value)
    if hint is shapely.Geometry:
        return shapely.from_wkb(value)
    if isinstance(hint, type) and is_dataclass(hint):
        hints = typing.get_type_hints(hint, globalns=_NAMES)
        return hint(**{name: _load(hints[name], one) for name, one in value.items()})
    return value


def _load_frame(value: dict[str, Any]) -> gpd.GeoDataFrame:
    columns = {name: pd.Series(some, dtype=value["kinds"][name]) for name, some in value["columns"].items()}
    geometry = shapely.from_wkb(np.array(value["geometry"], dtype=object))
    return gpd.GeoDataFrame(columns, geometry=geometry, crs="EPSG:4326")
