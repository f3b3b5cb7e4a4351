"""From one file to its layers: which are offered and wanted, and what is said where none can be used."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pyogrio
import shapely

from scout.errors import ArgumentError, InputError
from scout.model import GEOMETRY, Layer
from scout.read.folders import cut_layers
from scout.read.formats import KML, Opening, open_file
from scout.read.globe import CAUSES
from scout.read.layers import Request, read_layer
from scout.read.offline import collected_warnings, offline
from scout.read.tables import Box
from scout.read.unusable import Unusable

Chosen = tuple[Opening, str | int | None, str]  # what to open, which layer to ask for, what to call it

__all__ = ["Wanted", "check_twice", "named", "read_file", "requests", "useful"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to take of files."""

    layer: str | None = None  # only the layer of that name
    boxes: tuple[Box, ...] | None = None  # only records whose bounds meet one of them, in degrees
    assume_crs: str | None = None  # for files that name no system
    tagged: bool = False  # OpenStreetMap's own formats are welcome too


def check_twice(paths: Sequence[Path | str]) -> None:
    """Refuse a file that is named twice."""
    count = Counter(Path(path).absolute() for path in paths)
    for path in paths:
        if count[Path(path).absolute()] > 1:
            raise InputError(str(path), "is named twice", "name each file once")


def requests(path: Path | str, layer: str | None, assume_crs: str | None) -> list[Request]:
    """The layers of one file, each to be read whole.

    Raises
    ------
    InputError
        The file cannot be used, or has no layer of that name.
    """
    with offline():
        chosen = _chosen(str(path), open_file(path), layer)
    return [Request(str(path), opening, asked, name, None, assume_crs) for opening, asked, name in chosen]


def read_file(
    path: Path | str,
    wanted: Wanted,
    progress: Callable[[str], None] | None = None,
    unusable: Unusable | None = None,
) -> list[Layer]:
    """The layers of one file; those without records are left out, and told to ``unusable`` if damaged."""
    found, causes = [], Counter[str]()
    out = unusable or Unusable()
    before = len(out.errors)
    chosen = _chosen(str(path), open_file(path, wanted.tagged), wanted.layer)
    for opening, asked, name in chosen:
        if progress is not None:
            progress(f"reading {path}" if name == opening.stem else f"reading {path} (layer {name})")
        with out.guard(), named(name, len(chosen) > 1):
            one, why = read_layer(Request(str(path), opening, asked, name, wanted.boxes, wanted.assume_crs))
            found.append(one)
            causes += why
    if not found and len(out.errors) > before:
        return []
    if wanted.boxes is None or any(len(one.frame) or one.refused for one in found):
        return useful(str(path), found, causes)
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


def useful(path: str, layers: Sequence[Layer], causes: Counter[str]) -> list[Layer]:
    """The layers of a file that have records; ``causes`` are why some were refused.

    Raises
    ------
    InputError
        There are none, or none that can be used.
    """
    full = [one for one in layers if len(one.frame) or one.refused]
    if not full:
        raise InputError(path, "holds no records")
    if causes and not any(_some_there(one) for one in full):
        raise _all_refused(path, full, causes)
    return full


def _some_there(layer: Layer) -> bool:
    """Whether a layer has shapes; one whose outlines are elsewhere has if it has records."""
    frame = layer.frame
    return bool(len(frame)) if GEOMETRY not in frame.columns else not shapely.is_missing(frame.geometry).all()


def _chosen(path: str, openings: list[Opening], layer: str | None) -> list[Chosen]:
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
    chosen = [one for one in offered if one[2] == layer]
    if not chosen:
        near = difflib.get_close_matches(layer, names, 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise ArgumentError(path, f"has no layer {layer!r}", f"{hint}its layers are: {', '.join(names)}")
    return chosen


def _layers_in(path: str, opening: Opening) -> list[Chosen]:
    listed = _listed(path, opening)
    if opening.drivers == KML and len(listed) > 1:
        cut = cut_layers(opening, [name for _, name in listed])
        if cut is not None:
            return [(own, asked, name) for (own, asked), (_, name) in zip(cut, listed, strict=True)]
    return [(opening, asked, name) for asked, name in listed]


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
        if shape is not None and (not opening.layers or name in opening.layers):
            found.append((number, opening.stem if made_up else name))
    return found


def _all_refused(path: str, layers: list[Layer], causes: Counter[str]) -> InputError:
    cause = causes.most_common(1)[0][0]
    what, remedy = CAUSES[cause]
    total = sum(one.source.records for one in layers)
    first = next(line for one in layers for line in one.refused if line.endswith(what))
    facts = first.split(": record ", 1)[1].removesuffix(f": {what}").replace(": ", " ")
    return InputError(path, f"none of its records can be used ({total}): {what} (record {facts})", remedy)
