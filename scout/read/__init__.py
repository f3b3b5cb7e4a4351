"""Reading: any file of boundaries, roads or barriers to layers in WGS 84, with what was done to them.

Only local files of the known formats are opened; nothing here touches a network.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

import pyogrio

from scout.errors import InputError
from scout.model import Layer
from scout.read.formats import Opening, open_file
from scout.read.globe import CAUSES
from scout.read.layers import Request, read_layer
from scout.read.offline import collected_warnings, offline
from scout.read.tables import Box

Chosen = tuple[Opening, str | int | None, str]  # what to open, which layer to ask for, what to call it

__all__ = ["read_layers"]


def read_layers(
    paths: Path | str | Sequence[Path | str],
    layer: str | None = None,
    progress: Callable[[str], None] | None = None,
    bounds: Box | None = None,
    assume_crs: str | None = None,
) -> list[Layer]:
    """Read all layers of some files.

    Parameters
    ----------
    paths : path or sequence of path
        GeoJSON, GeoPackage, Shapefile (plain or zipped), FlatGeobuf, GeoParquet, KML, KMZ.
    layer : str, optional
        Read only the layer of that name; every file must have it.
    progress : callable, optional
        Told one line before each layer.
    bounds : tuple of float, optional
        West, south, east, north in degrees; only records whose own bounds meet them are kept. East may
        exceed 180. Where the file has an index the rest is not even read.
    assume_crs : str, optional
        Coordinate system of the files that name none.

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
        A file cannot be used at all; the first such file ends the reading.
    CrsError
        A file names no coordinate system and none is assumed, or one that leads nowhere.
    """
    paths = [paths] if isinstance(paths, (str, Path)) else paths
    if not paths:
        raise InputError("input", "no file was named", "name one or more files of park boundaries")
    _check_twice(paths)
    with offline():
        return [found for path in paths for found in _read_file(path, layer, progress, bounds, assume_crs)]


def _check_twice(paths: Sequence[Path | str]) -> None:
    count = Counter(Path(path).absolute() for path in paths)
    for path in paths:
        if count[Path(path).absolute()] > 1:
            raise InputError(str(path), "is named twice", "name each file once")


def _read_file(
    path: Path | str,
    layer: str | None,
    progress: Callable[[str], None] | None,
    bounds: Box | None,
    assume_crs: str | None,
) -> list[Layer]:
    found, causes = [], Counter[str]()
    for opening, asked, name in _chosen(str(path), open_file(path), layer):
        if progress is not None:
            progress(f"reading {path}" if name == opening.stem else f"reading {path} (layer {name})")
        one, why = read_layer(Request(str(path), opening, asked, name, bounds, assume_crs))
        found.append(one)
        causes += why
    full = [one for one in found if len(one.frame) or one.refused]
    if not full and bounds is None:
        raise InputError(str(path), "holds no records")
    if full and causes and not any(one.frame.geometry.notna().any() for one in full):
        raise _all_refused(str(path), full, causes)
    return full


def _chosen(path: str, openings: list[Opening], layer: str | None) -> list[Chosen]:
    """The layers to read."""
    offered: list[Chosen] = []
    for opening in openings:
        if opening.many_layers:
            offered += [(opening, asked, name) for asked, name in _listed(path, opening)]
        else:
            offered.append((opening, None, opening.stem))
    names = [name for _, _, name in offered]
    if not offered:
        raise InputError(path, "holds no layer with geometry")
    if layer is None or names == [layer]:
        return offered
    chosen = [one for one in offered if one[2] == layer]
    if not chosen:
        near = difflib.get_close_matches(layer, names, 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise InputError(path, f"has no layer {layer!r}", f"{hint}its layers are: {', '.join(names)}")
    return chosen


def _listed(path: str, opening: Opening) -> list[tuple[int, str]]:
    try:
        with collected_warnings():
            rows = pyogrio.list_layers(opening.target).tolist()
    except pyogrio.errors.DataSourceError as error:
        raise InputError(path, f"cannot be opened ({error})", "export it again") from error
    found = []
    for number, (name, shape) in enumerate(rows):
        # Of bytes in memory GDAL makes up the name of a document without one.
        made_up = isinstance(opening.target, bytes) and name.startswith("pyogrio_")
        if shape is not None:
            found.append((number, opening.stem if made_up else name))
    return found


def _all_refused(path: str, layers: list[Layer], causes: Counter[str]) -> InputError:
    cause = causes.most_common(1)[0][0]
    what, remedy = CAUSES[cause]
    total = sum(one.source.records for one in layers)
    first = next(line for one in layers for line in one.refused if line.endswith(what))
    facts = first.split(": record ", 1)[1].removesuffix(f": {what}").replace(": ", " ")
    return InputError(path, f"none of its records can be used ({total}): {what} (record {facts})", remedy)
