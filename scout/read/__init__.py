"""Reading: any file of boundaries, roads or barriers to layers in WGS 84, with what was done to them.

Only local files of the known formats are opened; nothing here touches a network.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from scout.errors import InputError
from scout.model import Layer
from scout.read.files import Wanted, check_twice, read_file
from scout.read.formats import check_named
from scout.read.offline import offline
from scout.read.tables import Box
from scout.read.unusable import Unusable

__all__ = ["read_layers"]


def read_layers(
    paths: Path | str | Sequence[Path | str],
    layer: str | None = None,
    progress: Callable[[str], None] | None = None,
    bounds: Box | None = None,
    assume_crs: str | None = None,
    unusable: Unusable | None = None,
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
    unusable : Unusable, optional
        Takes note of files and layers that are left out; without one the first such file ends the reading.

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
    wanted = Wanted(layer, None if bounds is None else (bounds,), assume_crs)
    out = unusable or Unusable()
    with offline():
        for path in paths:
            check_named(path)
        found: list[Layer] = []
        for path in paths:
            with out.guard():
                found += read_file(path, wanted, progress, out)
    out.check_some_left(found)
    return found
