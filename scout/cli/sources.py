"""The files that a command reads and how; parks from theirs, the same for every command."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from scout.errors import InputError
from scout.surroundings import Walking

if TYPE_CHECKING:
    from scout.find import Options
    from scout.model import Findings, Layer, Parks
    from scout.outing import TagReading
    from scout.parks.shelf import Shelf
    from scout.reach import Access, Box
    from scout.surroundings import Relief, Surroundings

__all__ = [
    "AccessFiles",
    "ParkFiles",
    "access_files",
    "access_from",
    "park_files",
    "parks_from",
    "parks_of",
    "searched",
    "shelf_from",
]

_HEIGHTS_ALONE = "--heights alone tells slopes and no walks: name roads and parking with --access"


@dataclass(frozen=True, slots=True)
class ParkFiles:
    """Boundary files and how to read them; None leaves it to the reader."""

    files: tuple[str, ...]
    corridor_m: float | None = None
    id_column: str | None = None
    name_column: str | None = None
    layer: str | None = None
    crs: str | None = None
    keep: tuple[str, ...] = ()  # columns of the files' own to carry along
    join_pieces: bool = True  # that touch and have one name
    strict: bool = False  # one file that cannot be used ends it all


@dataclass(frozen=True, slots=True)
class AccessFiles:
    """Files of the ground around spots, by what they were given as, and how walks are reckoned."""

    access: tuple[str, ...] = ()
    barriers: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    heights: tuple[str, ...] = ()
    tags: tuple[TagReading, ...] = ()  # how other schemas than OpenStreetMap's are read
    crs: str | None = None  # of files that name none
    walking: Walking = field(default_factory=Walking)
    power_line_m: float = 50.0  # overhead lines nearer than this are warned of

    @property
    def files(self) -> tuple[str, ...]:
        """All of them, each once; empty where no walks are asked for."""
        return tuple(dict.fromkeys((*self.access, *self.barriers, *self.hazards, *self.heights)))


def park_files(
    files: Sequence[str],
    keep: Sequence[str] = (),
    *,
    corridor: float | None,
    id_column: str | None,
    name_column: str | None,
    layer: str | None,
    crs: str | None,
    pieces: str = "join",
    strict: bool = False,
    **_: Any,
) -> ParkFiles:
    """Take the reading options from the words of a command line; other words may be among them."""
    return ParkFiles(
        tuple(files), corridor, id_column, name_column, layer, crs, tuple(keep), pieces == "join", strict
    )


def access_files(
    tags: Sequence[TagReading] = (),
    *,
    access: tuple[str, ...],
    barriers: tuple[str, ...],
    hazards: tuple[str, ...],
    heights: tuple[str, ...],
    crs: str | None,
    longest_walk: float,
    load: float,
    power_line: float,
    **_: Any,
) -> AccessFiles:
    """Take the access options from the words of a command line; other words may be among them."""
    walking = Walking(limit_min=longest_walk, load_kg=load)
    return AccessFiles(access, barriers, hazards, heights, tuple(tags), crs, walking, power_line)


def parks_from(sources: ParkFiles, show: Callable[[str], None]) -> Parks:
    """Read the boundary files and make parks of them."""
    from scout.read import read_layers
    from scout.read.unusable import Unusable

    out = Unusable(sources.strict)
    layers = read_layers(sources.files, sources.layer, show, assume_crs=sources.crs, unusable=out)
    parks = parks_of(sources, layers)
    return replace(parks, report=out.add_to(parks.report))


def parks_of(sources: ParkFiles, layers: Sequence[Layer]) -> Parks:
    """Parks of the layers that were read from the files."""
    from scout.parks import build_parks

    return build_parks(
        layers,
        corridor_m=sources.corridor_m,
        id_column=sources.id_column,
        name_column=sources.name_column,
        keep=sources.keep,
        join_pieces=sources.join_pieces,
    )


def shelf_from(sources: ParkFiles, show: Callable[[str], None]) -> Shelf:
    """The parks of the boundary files: left there where these have an index of use, else read."""
    from scout.parks.shelf import Held
    from scout.read.shelf import Reading, open_shelf
    from scout.read.unusable import Unusable

    reading = Reading(
        sources.layer,
        sources.crs,
        sources.id_column,
        sources.name_column,
        sources.corridor_m,
        sources.keep,
        sources.join_pieces,
    )
    filed = open_shelf(sources.files, reading, show, unusable=Unusable(sources.strict))
    return filed or Held(parks_from(sources, show))


def searched(
    parks: ParkFiles,
    options: Options,
    access: AccessFiles,
    show: Callable[[str], None],
    cluster: str | None = None,
    workers: int | None = None,
) -> Findings:
    """Read the files and search them, the same for every command that searches.

    ``cluster`` is a scheduler's address; without one, ``workers`` is a number of processes to start.
    """
    from scout.find import find

    if cluster is not None and workers is not None:
        raise InputError("--workers", "--cluster has workers of its own", "give one of the two")
    shelf = shelf_from(parks, show)
    around = access_from(access, show)
    if cluster is None and workers is None:
        return find(shelf, options, show, around)
    from scout.cluster import PARKS_IN_A_FIELD, spread_over

    show("starting workers" if cluster is None else f"asking for workers at {cluster}")
    with spread_over(cluster, workers) as spread:
        return find(shelf, options, show, around, spread, PARKS_IN_A_FIELD)


def access_from(files: AccessFiles, show: Callable[[str], None]) -> Access | None:
    """How the search gets at the ground near what it finds; None where no file of it is named."""
    if not files.files:
        return None
    from scout.access.readings import Reading
    from scout.access.ways import Tagged, sorted_out
    from scout.reach import Access
    from scout.read.heights import read_heights
    from scout.read.tagged import read_tagged

    readings = [Reading(**asdict(tag)) for tag in files.tags]
    keys = [reading.column for reading in readings if reading.column]

    def near(boxes: Sequence[Box]) -> tuple[Surroundings, Sequence[Relief]]:
        roles = (("access", files.access), ("barriers", files.barriers), ("hazards", files.hazards))
        tagged = [
            Tagged(read_tagged(paths, boxes, show, files.crs, keys), role) for role, paths in roles if paths
        ]
        around = sorted_out(tagged, readings)
        if not files.heights:
            return around, ()
        heights = read_heights(files.heights, boxes, show, files.crs)
        alone = () if tagged else (_HEIGHTS_ALONE,)
        return replace(around, notes=(*around.notes, *alone, *heights.notes)), heights.reliefs

    return Access(near, files.walking, files.power_line_m)
