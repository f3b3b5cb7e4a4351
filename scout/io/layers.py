"""Files and frames of boundaries, roads or barriers to layers in WGS 84, with what was done to their records.

Only local files of the known formats are opened; nothing here touches a network.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
import shapely

from scout.errors import ArgumentError, CrsError, InputError
from scout.io.formats import KML, Opening, check_named, open_file
from scout.io.gathering import LayerGathering, LayerRequest, read_layer
from scout.io.kml import cut_layers
from scout.io.local_files import collect_warnings, run_offline
from scout.io.openstreetmap import WantedThings
from scout.io.reproject import CAUSES
from scout.io.tables import Box, LayerStream, RecordBatch
from scout.io.unusable import Unusable
from scout.model import GEOMETRY, Layer

# From one file to its layers: which are offered and wanted, and what is said where none can be used.
Chosen = tuple[Opening, str | int | None, str]  # what to open, which layer to ask for, what to call it


@dataclass(frozen=True, slots=True)
class WantedLayers:
    """What to take of files."""

    layer: str | None = None  # only the layer of that name
    boxes: tuple[Box, ...] | None = None  # only records whose bounds meet one of them, in degrees
    assume_crs: str | None = None  # for files that name no system
    osm: WantedThings | None = None  # of OpenStreetMap's own formats


def check_twice(paths: Sequence[Path | str]) -> None:
    """Refuse a file that is named twice."""
    count = Counter(Path(path).absolute() for path in paths)
    for path in paths:
        if count[Path(path).absolute()] > 1:
            raise InputError(str(path), "is named twice", "name each file once")


def list_requests(
    path: Path | str, layer: str | None, assume_crs: str | None, osm: WantedThings | None = None
) -> list[LayerRequest]:
    """The layers of one file, each to be read whole.

    Raises
    ------
    InputError
        The file cannot be used, or has no layer of that name.
    """
    with run_offline():
        chosen = _choose_layers(str(path), open_file(path, osm), layer)
    return [_make_request(str(path), one, None, assume_crs) for one in chosen]


def _make_request(
    path: str, chosen: Chosen, boxes: tuple[Box, ...] | None, assume_crs: str | None
) -> LayerRequest:
    opening, asked, name = chosen
    return LayerRequest(path, opening, asked, name, boxes, assume_crs or opening.assumed)


def read_file(
    path: Path | str,
    wanted: WantedLayers,
    progress: Callable[[str], None] | None = None,
    unusable: Unusable | None = None,
) -> list[Layer]:
    """The layers of one file; those without records are left out, and noted in ``unusable`` if damaged."""
    found, causes = [], Counter[str]()
    out = unusable or Unusable()
    before = len(out.errors)
    chosen = _choose_layers(str(path), open_file(path, wanted.osm), wanted.layer)
    extract = chosen[0][0].extract
    if extract is not None:  # all layers in one go
        if progress is not None:
            progress(f"reading {path}")
        with out.guard():
            extract.read_all(wanted.boxes)
        if len(out.errors) > before:
            return []
    for choice in chosen:
        opening, _, name = choice
        if progress is not None and extract is None:
            progress(f"reading {path}" if name == opening.stem else f"reading {path} (layer {name})")
        with out.guard(), named(name, len(chosen) > 1):
            one, why = read_layer(_make_request(str(path), choice, wanted.boxes, wanted.assume_crs))
            found.append(one)
            causes += why
    if not found and len(out.errors) > before:
        return []
    if wanted.boxes is None or any(len(one.frame) or one.refused for one in found):
        return keep_useful(str(path), found, causes)
    return []


@contextmanager
def named(layer: str, several: bool) -> Iterator[None]:
    """Name the layer, too, in what is said of one of several."""
    try:
        yield
    except InputError as error:
        if not several:
            raise
        raise type(error)(f"{error.where} (layer {layer})", error.what, error.remedy) from error


def keep_useful(path: str, layers: Sequence[Layer], causes: Counter[str]) -> list[Layer]:
    """The layers of a file that have records; ``causes`` are why some were refused.

    Raises
    ------
    InputError
        There are none, or none that can be used.
    """
    full = [one for one in layers if len(one.frame) or one.refused]
    if not full:
        raise InputError(path, "holds no records")
    if causes and not any(_has_shapes(one) for one in full):
        raise _explain_all_refused(path, full, causes)
    return full


def _has_shapes(layer: Layer) -> bool:
    """Whether a layer has shapes; one whose outlines are elsewhere has if it has records."""
    frame = layer.frame
    return bool(len(frame)) if GEOMETRY not in frame.columns else not shapely.is_missing(frame.geometry).all()


def _choose_layers(path: str, openings: list[Opening], layer: str | None) -> list[Chosen]:
    """The layers to read."""
    offered: list[Chosen] = []
    for opening in openings:
        if opening.many_layers:
            offered += _layers_in(path, opening)
        else:
            offered.append((opening, None, opening.stem))
    names = [name for _, _, name in offered]
    if not offered:
        raise InputError(path, "holds no layer with geometry")
    if layer is None or names == [layer]:
        return offered
    # Of those that several archives in one have, told apart by the archive, the plain name means all.
    chosen = [one for one in offered if layer in (one[2], one[2].rpartition("/")[2])]
    if not chosen:
        near = difflib.get_close_matches(layer, names, 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise ArgumentError(path, f"has no layer {layer!r}", f"{hint}its layers are: {', '.join(names)}")
    return chosen


def _layers_in(path: str, opening: Opening) -> list[Chosen]:
    listed = _list_layers(path, opening)
    if opening.drivers == KML and len(listed) > 1:
        cut = cut_layers(opening, [name for _, name in listed])
        if cut is not None:
            return [(own, asked, name) for (own, asked), (_, name) in zip(cut, listed, strict=True)]
    return [(opening, asked, name) for asked, name in listed]


def _list_layers(path: str, opening: Opening) -> list[tuple[int | str, str]]:
    if opening.extract is not None:
        return [(name, name) for name in opening.layers]
    try:
        with collect_warnings():
            rows = pyogrio.list_layers(opening.target).tolist()
    except pyogrio.errors.DataSourceError as error:
        raise InputError(path, f"cannot be opened ({error})", "export it again") from error
    found: list[tuple[int | str, str]] = []
    for number, (name, shape) in enumerate(rows):
        # Of bytes in memory GDAL makes up the name of a document without one.
        made_up = isinstance(opening.target, bytes) and name.startswith("pyogrio_")
        if shape is not None and (not opening.layers or name in opening.layers):
            found.append((number, opening.stem if made_up else name))
    return found


def _explain_all_refused(path: str, layers: list[Layer], causes: Counter[str]) -> InputError:
    cause = causes.most_common(1)[0][0]
    what, remedy = CAUSES[cause]
    total = sum(one.source.records for one in layers)
    first = next(line for one in layers for line in one.refused if line.endswith(what))
    facts = first.split(": record ", 1)[1].removesuffix(f": {what}").replace(": ", " ")
    return InputError(path, f"none of its records can be used ({total}): {what} (record {facts})", remedy)


# Reading: any file of boundaries, roads or barriers to layers in WGS 84, with what was done to them.
def read_layers(
    paths: Path | str | Sequence[Path | str],
    layer: str | None = None,
    progress: Callable[[str], None] | None = None,
    bounds: Box | None = None,
    assume_crs: str | None = None,
    unusable: Unusable | None = None,
    forests: bool = False,
) -> list[Layer]:
    """Read all layers of some files.

    Parameters
    ----------
    paths : path or sequence of path
        GeoJSON (also as a sequence), GeoPackage, Shapefile and Esri file geodatabase (plain or zipped),
        FlatGeobuf, GeoParquet, KML, KMZ, EsriJSON, TopoJSON, GML, MapInfo, CSV with WKT; the parks of
        OpenStreetMap's own formats.
    layer : str, optional
        Read only the layer of that name; every file must have it.
    progress : callable, optional
        Called with a line before each layer.
    bounds : tuple of float, optional
        West, south, east, north in degrees; only records whose own bounds meet them are kept. East may
        exceed 180. Where the file has an index the rest is not even read.
    assume_crs : str, optional
        Coordinate system of the files that name none.
    unusable : Unusable, optional
        Takes note of files and layers that are left out; without one the first such file ends the reading.
    forests : bool
        Whether forests and woods of OpenStreetMap data are parks.

    Returns
    -------
    list of Layer
        In order of the files and of the layers in them. Frames have the file's attributes, `RECORD` and
        2-D geometry in WGS 84 longitude and latitude, as read: not repaired, and cut at the antimeridian or
        running past it as the file has it. Record numbers count from 1; in a GeoPackage they are the feature
        ids. Layers without records and tables without geometry are left out.

    Raises
    ------
    InputError
        A file is not there or of no known format; one that cannot be used, or nothing that can.
    CrsError
        A file names no coordinate system and none is assumed, or one that leads nowhere.
    """
    paths = [paths] if isinstance(paths, (str, Path)) else paths
    if not paths:
        raise InputError("input", "no file was named", "name one or more files of park boundaries")
    check_twice(paths)
    wanted = WantedLayers(
        layer, None if bounds is None else (bounds,), assume_crs, WantedThings(forests=forests)
    )
    out = unusable or Unusable()
    with run_offline():
        for path in paths:
            check_named(path)
        found: list[Layer] = []
        for path in paths:
            with out.guard():
                found += read_file(path, wanted, progress, out)
    out.check_some_left(found)
    return found


def read_frame(frame: gpd.GeoDataFrame, name: str) -> Layer:
    """Read the records of a GeoDataFrame as those of a file: checked, in WGS 84, numbered from 1.

    Raises
    ------
    CrsError
        A frame that names no coordinate system.
    """
    if frame.crs is None:
        what = "the frame names no coordinate system"
        raise CrsError(name, what, "call frame.set_crs(...) with the one that its coordinates are in")
    attributes = pd.DataFrame(frame.drop(columns=frame.geometry.name)).reset_index(drop=True)
    shapes = np.array(frame.geometry.array, dtype=object)
    batch = RecordBatch(attributes, np.arange(1, len(frame) + 1), shapes, made=True)
    gathering = LayerGathering(LayerRequest(name, Opening("", name, ()), None, name))
    with collect_warnings() as heard:
        gathering.take(LayerStream(frame.crs.to_wkt(), iter([batch]), pd.concat))
        made = gathering.frame()
    return gathering.layer(made, heard)
