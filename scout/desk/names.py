"""Names of files that are brought: plain names of known suffixes, and the part each file plays."""

from __future__ import annotations

from pathlib import PurePath

from scout.errors import InputError

__all__ = ["LOADED", "NOTEBOOK", "OUTING", "PARTS", "ROLES", "checked_name", "is_part"]

ROLES = ("parks", "access", "barriers", "hazards", "heights")  # the outing file's keys
LOADED, OUTING, NOTEBOOK = (
    "loaded.toml",
    "outing.toml",
    "visits.gpkg",
)  # what the desk itself writes into the folder
PARTS = (".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix")  # what lies beside a .shp
_BOUNDARIES = (
    ".geojson",
    ".json",
    ".gpkg",
    ".shp",
    ".zip",
    ".fgb",
    ".parquet",
    ".geoparquet",
    ".kml",
    ".kmz",
)
_SUFFIXES = {
    "parks": (*_BOUNDARIES, *PARTS),
    "heights": (".tif", ".tiff"),
    "notebook": (".gpkg",),
    "recording": (".nmea", ".log", ".txt", ".gpx"),
}
_GROUND = (*_BOUNDARIES, *PARTS, ".osm", ".pbf")
_LONGEST = 120
_UNFIT = frozenset('/\\:*?"<>|')
# Windows takes these for devices, whatever their suffix.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def checked_name(name: str, role: str) -> str:
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
    if PurePath(name).suffix.lower() not in known:
        what = f"files of the kind {PurePath(name).suffix[:20] or '(none)'} are not read here"
        raise InputError(shown, what, f"bring {', '.join(one for one in known if one not in PARTS)}")
    return name


def is_part(name: str, names: list[str]) -> bool:
    """Whether it only lies beside a Shapefile of these."""
    path = PurePath(name)
    if path.suffix.lower() not in PARTS:
        return False
    stems = {PurePath(one).stem.lower() for one in names if one.lower().endswith(".shp")}
    return path.stem.lower() in stems
