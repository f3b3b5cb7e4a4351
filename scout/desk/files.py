"""Files that were brought: their names, and what was read of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path, PurePath

from scout.app.sources import ParkFiles, build_read_parks, open_source
from scout.errors import InputError
from scout.io.formats import BOUNDARY_SUFFIXES, PARTS
from scout.io.layers import check_twice, read_layers
from scout.io.rasters import HEIGHT_SUFFIXES
from scout.model import Layer, Parks
from scout.parks.sources import InMemoryParks, ParkSource

ROLES = ("parks", "access", "barriers", "hazards", "heights")  # the outing file's keys
OTHER_ROLES = ("old", "recording", "log", "places", "list")  # boundaries of before, and what one job reads
BEFORE = "before"  # folder of the older boundaries: they may have the names of those now
# What the desk itself writes into the folder.
LOADED, OUTING, NOTEBOOK = "loaded.toml", "outing.toml", "visits.gpkg"
_PARTS = tuple(part for parts in PARTS.values() for part in parts)
_SUFFIXES = {
    "parks": (*BOUNDARY_SUFFIXES, *_PARTS),
    "heights": HEIGHT_SUFFIXES,
    "notebook": (".gpkg",),
    "recording": (".nmea", ".nme", ".log", ".txt", ".gpx"),
    "log": (".adi", ".adif", ".txt", ".log"),
    "list": (".gpkg",),
    "places": (".csv", ".gpx", ".geojson", ".json"),
}
_GROUND = (*BOUNDARY_SUFFIXES, *_PARTS)
_LONGEST = 120
_UNFIT = frozenset('/\\:*?"<>|')
# Windows takes these for devices, whatever their suffix.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def check_name(name: str, role: str) -> str:
    """The name, if a file of it may lie in the workspace and play that part.

    Raises
    ------
    InputError
        A path, a hidden file, letters that a disk refuses, a suffix that nothing reads, or a name of ours.
    """
    shown = name[:60] or "(no name)"
    plain = name and len(name) <= _LONGEST and len(name.encode("utf-8", "replace")) <= 2 * _LONGEST
    if not plain or not name.isprintable() or _UNFIT & set(name) or name[0] in ".-" or name[-1] in ". ":
        raise InputError(shown, "this is no plain file name", "rename the file")
    if name.split(".")[0].strip().lower() in _DEVICES:
        raise InputError(shown, "some systems take this name for a device", "rename the file")
    if name.lower() in (LOADED, OUTING, NOTEBOOK) and role != "notebook":
        raise InputError(shown, "the desk writes a file of this name itself", "rename the file")
    known = _SUFFIXES.get(role, _GROUND)
    if PurePath(name).suffix.lower() == ".gdb":
        raise InputError(shown, "a geodatabase is a folder, which a page cannot bring", "bring it zipped")
    if PurePath(name).suffix.lower() not in known:
        what = f"files of the kind {PurePath(name).suffix[:20] or '(none)'} are not read here"
        raise InputError(shown, what, f"bring {', '.join(one for one in known if one not in _PARTS)}")
    return name


def is_part(name: str, other: str) -> bool:
    """Whether it only lies beside that other file, a Shapefile or one of MapInfo."""
    part, whole = PurePath(name), PurePath(other)
    if part.parent != whole.parent:
        return False
    lies_beside = part.suffix.lower() in PARTS.get(whole.suffix.lower(), ())
    return lies_beside and part.stem.lower() == whole.stem.lower()


def list_named(names: Sequence[str]) -> list[str]:
    """Those files that a command is given: not the parts of others."""
    return [name for name in names if not any(is_part(name, other) for other in names)]


_LARGE_BYTES = 30_000_000  # read as a whole they take some seconds and a tenth of a gigabyte


def is_large(files: Sequence[str]) -> bool:
    """Whether files are too large together to be read as a whole each time something is asked of them."""
    return sum(Path(file).stat().st_size for file in files if Path(file).is_file()) > _LARGE_BYTES


# Files that were read stay read: the next search of the same parks begins at once.
State = tuple[tuple[str, int, int], ...]


class LayerCache:
    """Layers by file, and the last parks made of them; large files are left where they are."""

    def __init__(self) -> None:
        self._layers: dict[tuple[str, str | None, str | None, bool], tuple[State, list[Layer]]] = {}
        self._parks: tuple[ParkFiles, State, Parks] | None = None
        self._sources: dict[ParkFiles, tuple[State, ParkSource]] = {}

    def layers(self, file: str, sources: ParkFiles, show: Callable[[str], None]) -> list[Layer]:
        """Layers of one boundary file."""
        key, state = (file, sources.layer, sources.crs, sources.forests), _get_file_state(file)
        kept = self._layers.get(key)
        if kept is None or kept[0] != state:
            read = read_layers([file], sources.layer, show, assume_crs=sources.crs, forests=sources.forests)
            kept = (state, read)
            self._layers[key] = kept
        return kept[1]

    def parks(self, sources: ParkFiles, show: Callable[[str], None]) -> Parks:
        """Parks of the boundary files, as `scout.app.sources.read_parks` reads them."""
        check_twice(sources.files)
        state = tuple(one for file in sources.files for one in _get_file_state(file))
        if self._parks is None or self._parks[:2] != (sources, state):
            layers = [layer for file in sources.files for layer in self.layers(file, sources, show)]
            self._parks = (sources, state, build_read_parks(sources, layers))
        return self._parks[2]

    def source(self, sources: ParkFiles, show: Callable[[str], None]) -> ParkSource:
        """Parks of the boundary files; of large files, as the commands do, only what a job needs is read."""
        if not is_large(sources.files):
            return InMemoryParks(self.parks(sources, show))
        check_twice(sources.files)
        state = tuple(one for file in sources.files for one in _get_file_state(file))
        kept = self._sources.get(sources)
        if kept is None or kept[0] != state:
            kept = (state, open_source(sources, show))
            self._sources[sources] = kept
        return kept[1]

    def keep_only(self, files: list[str]) -> None:
        """Forget files that were put away."""
        self._layers = {key: kept for key, kept in self._layers.items() if key[0] in files}
        self._sources = {key: kept for key, kept in self._sources.items() if set(key.files) <= set(files)}
        if self._parks is not None and not set(self._parks[0].files) <= set(files):
            self._parks = None


def _get_file_state(file: str) -> State:
    """Name, time and size of the file and of what lies beside it under the same stem."""
    path = Path(file)
    beside = sorted(one for one in path.parent.iterdir() if one.stem == path.stem and one.is_file())
    return tuple((one.name, one.stat().st_mtime_ns, one.stat().st_size) for one in beside)
