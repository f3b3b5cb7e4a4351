"""Names of files that are brought: plain names of known suffixes, and the part each file plays."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from scout.errors import InputError
from scout.read.formats import BOUNDARY_SUFFIXES, SHAPEFILE_PARTS, TAGGED_SUFFIXES
from scout.read.heights import HEIGHT_SUFFIXES

__all__ = ["LOADED", "NOTEBOOK", "OUTING", "ROLES", "checked_name", "is_part", "named"]

ROLES = ("parks", "access", "barriers", "hazards", "heights")  # the outing file's keys
# What the desk itself writes into the folder.
LOADED, OUTING, NOTEBOOK = "loaded.toml", "outing.toml", "visits.gpkg"
_SUFFIXES = {
    "parks": (*BOUNDARY_SUFFIXES, *SHAPEFILE_PARTS),
    "heights": HEIGHT_SUFFIXES,
    "notebook": (".gpkg",),
}
_GROUND = (*BOUNDARY_SUFFIXES, *TAGGED_SUFFIXES, *SHAPEFILE_PARTS)
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
        raise InputError(
            shown, what, f"bring {', '.join(one for one in known if one not in SHAPEFILE_PARTS)}"
        )
    return name


def is_part(name: str, shapefile: str) -> bool:
    """Whether it only lies beside that Shapefile."""
    part, whole = PurePath(name), PurePath(shapefile)
    lies_beside = part.suffix.lower() in SHAPEFILE_PARTS and whole.suffix.lower() == ".shp"
    return lies_beside and part.stem.lower() == whole.stem.lower()


def named(names: Sequence[str]) -> list[str]:
    """Those files that a command is given: not the parts of a Shapefile."""
    return [name for name in names if not any(is_part(name, other) for other in names)]
