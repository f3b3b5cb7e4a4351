"""What files of boundaries hold and what would be taken of it, without a search."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely

from scout.app.sources import ParkFiles, build_read_parks, load_profiles, read_file_layers
from scout.io.unusable import Unusable
from scout.model import CoarseOutline, Findings, Layer, Parks, Station, collect_credits
from scout.parks.choice import find_profile
from scout.parks.columns import convert_to_texts, list_attributes
from scout.parks.profiles import Profile
from scout.parks.sources import name_parks
from scout.search.describe import find_coarse_outlines

_SAMPLES = 4  # values of a column that are shown
_SAMPLED = 200_000  # records whose values are counted
_KINDS = {0: "point", 1: "line", 3: "area", 4: "point", 5: "line", 6: "area", 7: "collection"}


@dataclass(frozen=True, slots=True)
class ColumnLook:
    """One column: how full it is, how many different values it has and which are most frequent."""

    name: str
    filled: int
    different: int
    values: tuple[tuple[str, int], ...]  # with how often they come


@dataclass(frozen=True, slots=True)
class LayerLook:
    """One layer as it is in the file."""

    layer: Layer
    kinds: tuple[tuple[str, int], ...]  # of geometry, and how many records
    without: int  # records without geometry
    bounds: tuple[float, float, float, float] | None  # west, south, east, north in degrees
    columns: tuple[ColumnLook, ...]
    profile: str  # the schema that was recognised, or ""


@dataclass(frozen=True, slots=True)
class Look:
    """All that was seen, and the parks that a search would take."""

    layers: tuple[LayerLook, ...]
    parks: Parks
    coarse: tuple[CoarseOutline, ...]  # parks whose outlines look generalised


def look_into(sources: ParkFiles, show: Callable[[str], None]) -> Look:
    """Read files and say what they hold.

    Raises
    ------
    InputError
        Nothing of them can be used.
    """
    out = Unusable(sources.strict)
    layers = read_file_layers(sources, show, out)
    profiles = load_profiles(sources.profile)
    show("looking")
    looks = tuple(_look_at(layer, profiles) for layer in layers)
    parks = build_read_parks(sources, layers)
    coarse = tuple(one for one in find_coarse_outlines(parks.frame, Station()) if one is not None)
    return Look(looks, replace(parks, report=out.add_to(parks.report)), coarse)


def _look_at(layer: Layer, profiles: Sequence[Profile]) -> LayerLook:
    shapes = layer.frame.geometry.to_numpy()
    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    kinds = Counter(_KINDS.get(kind, "other shape") for kind in shapely.get_type_id(shapes[there]).tolist())
    bounds = shapely.total_bounds(shapes[there]).tolist() if there.any() else None
    profile = find_profile(layer, profiles)
    return LayerLook(
        layer,
        tuple(kinds.items()),
        int(np.count_nonzero(~there)),
        None if bounds is None else tuple(bounds),
        tuple(_look_at_column(name, layer.frame[name]) for name in list_attributes(layer)),
        "" if profile is None else profile.title,
    )


def count_values(column: pd.Series) -> pd.Series:
    """Count the values of a column as texts, those most frequent first; of very many records the first."""
    texts = pd.Series(np.asarray(convert_to_texts(column.iloc[:_SAMPLED]), dtype=object))
    return texts[texts != ""].value_counts()


def _look_at_column(name: str, column: pd.Series) -> ColumnLook:
    counts = count_values(column)
    values = tuple((str(value), int(count)) for value, count in counts.head(_SAMPLES).items())
    return ColumnLook(name, int(counts.sum()), len(counts), values)


def make_findings(look: Look, level: int, station: Station) -> Findings:
    """All parks and no spots, so that the map can show what was read."""
    parks = look.parks
    return Findings(
        level=level,
        station=station,
        spots=(),
        left_out=(),
        named=name_parks(parks.frame),
        sources=parks.sources,
        report=parks.report,
        remarks=("Nothing was searched: these are the parks of the files that were looked into.",),
        title="What the files hold",
        searched=False,
        credits=collect_credits((), parks.sources),
    )
