"""The files that a command reads and how; parks from theirs, the same for every command."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from scout.errors import InputError, SettingName
from scout.model import Walking
from scout.quantities import MeasuredText

if TYPE_CHECKING:
    from scout.app.find import SearchOptions
    from scout.app.outing import TagReading
    from scout.io.unusable import Unusable
    from scout.model import Findings, Layer, Parks, Relief, Surroundings
    from scout.parks.profiles import Profile
    from scout.parks.sources import ParkSource
    from scout.walk.reach import AccessSource, Box


_HEIGHTS_ALONE = MeasuredText(
    SettingName("heights"),
    " alone tells slopes and horizons, no walks: name roads and parking with ",
    SettingName("access"),
)


@dataclass(frozen=True, slots=True)
class ParkFiles:
    """Boundary files and how to read them; None leaves it to the reader."""

    files: tuple[str, ...]
    corridor_m: float | None = None
    id_column: str | None = None  # or several, with commas between them
    name_column: str | None = None
    where: str | None = None  # condition on columns
    profile: str | None = None  # of a schema, by name or file; "none" for none
    layer: str | None = None
    crs: str | None = None
    keep: tuple[str, ...] = ()  # columns of the files' own to carry along
    join_pieces: bool = True  # that touch and have one name
    same_ground: float = 0.9  # share of common ground from which parks of one name are one; 0: never
    strict: bool = False  # one file that cannot be used ends it all
    forests: bool = False  # of OpenStreetMap data are parks


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


def read_parks(sources: ParkFiles, show: Callable[[str], None]) -> Parks:
    """Read the boundary files and make parks of them."""
    from scout.io.unusable import Unusable

    out = Unusable(sources.strict)
    parks = build_read_parks(sources, read_file_layers(sources, show, out))
    return replace(parks, report=out.add_to(parks.report))


def read_file_layers(
    sources: ParkFiles, show: Callable[[str], None], unusable: Unusable | None = None
) -> list[Layer]:
    """Read all layers of the boundary files; ``unusable`` takes note of those that cannot be used."""
    from scout.io.layers import read_layers

    return read_layers(
        sources.files,
        sources.layer,
        show,
        assume_crs=sources.crs,
        unusable=unusable,
        forests=sources.forests,
    )


def build_read_parks(sources: ParkFiles, layers: Sequence[Layer]) -> Parks:
    """Parks of the layers that were read from the files."""
    from scout.parks.build import build_parks

    return build_parks(
        layers,
        corridor_m=sources.corridor_m,
        id_column=sources.id_column,
        name_column=sources.name_column,
        where=sources.where,
        keep=sources.keep,
        profiles=load_profiles(sources.profile),
        join_pieces=sources.join_pieces,
        same_ground=sources.same_ground,
    )


def load_profiles(asked: str | None = None) -> tuple[Profile, ...]:
    """The schemas that are recognised: those that come with scout, one of them, one of a file, or none.

    Raises
    ------
    InputError
        There is no such profile, or a file that is none.
    """
    from scout.io.toml import parse_toml, read_content
    from scout.parks.profiles import parse_profile

    own = _load_own_profiles()
    if asked is None:
        return tuple(own.values())
    if asked == "none":
        return ()
    if asked in own:
        return (own[asked],)
    if not asked.endswith(".toml"):
        known = ", ".join([*own, "none"])
        raise InputError(
            SettingName("profile"), f"there is no profile {asked!r}", f"give {known} or a .toml file"
        )
    return (parse_profile(parse_toml(read_content(asked), asked), asked),)


@cache
def _load_own_profiles() -> dict[str, Profile]:
    from scout.parks.profiles import parse_profile

    texts = {
        one.name.removesuffix(".toml"): one.read_text("utf-8")
        for one in files("scout.app").joinpath("schemas").iterdir()
    }
    return {name: parse_profile(tomllib.loads(text), name) for name, text in sorted(texts.items())}


def open_source(sources: ParkFiles, show: Callable[[str], None]) -> ParkSource:
    """The parks of the boundary files: left there where these have an index of use, else read."""
    from scout.io.unusable import Unusable
    from scout.parks.indexed import ParkReading, open_indexed
    from scout.parks.sources import InMemoryParks

    reading = ParkReading(
        sources.layer,
        sources.crs,
        sources.id_column,
        sources.name_column,
        sources.corridor_m,
        sources.keep,
        sources.join_pieces,
        sources.where,
        load_profiles(sources.profile),
        sources.same_ground,
        sources.forests,
    )
    indexed = open_indexed(sources.files, reading, show, unusable=Unusable(sources.strict))
    return indexed or InMemoryParks(read_parks(sources, show))


def search_files(
    parks: ParkFiles,
    options: SearchOptions,
    access: AccessFiles,
    show: Callable[[str], None],
    cluster: str | None = None,
) -> Findings:
    """Read the files and search them, the same for every command that searches.

    ``cluster`` is a scheduler's address, whose workers do the search.
    """
    from scout.app.find import find_spots

    source = open_source(parks, show)
    around = make_access(access, show)
    if cluster is None:
        return find_spots(source, options, show, around)
    from scout.search.workers import PARKS_IN_A_TILE, open_workers

    show(f"asking for workers at {cluster}")
    with open_workers(cluster) as spread:
        return find_spots(source, options, show, around, spread, PARKS_IN_A_TILE)


def make_access(files: AccessFiles, show: Callable[[str], None]) -> AccessSource | None:
    """How the search gets at the ground near what it finds; None where no file of it is named."""
    if not files.files:
        return None
    from scout.io.rasters import read_heights
    from scout.walk.reach import AccessSource
    from scout.walk.read import read_tagged
    from scout.walk.ways import TaggedLayers, TagMapping, classify_access

    readings = [TagMapping(**asdict(tag)) for tag in files.tags]
    keys = [reading.column for reading in readings if reading.column]

    def near(boxes: Sequence[Box]) -> tuple[Surroundings, Sequence[Relief]]:
        roles = (("access", files.access), ("barriers", files.barriers), ("hazards", files.hazards))
        tagged = [
            TaggedLayers(read_tagged(paths, boxes, show, files.crs, keys), role)
            for role, paths in roles
            if paths
        ]
        around = classify_access(tagged, readings)
        if not files.heights:
            return around, ()
        heights = read_heights(files.heights, boxes, show, files.crs)
        alone = () if tagged else (_HEIGHTS_ALONE,)
        notes = (*around.notes, *alone, *heights.notes)
        return replace(around, notes=notes, reliefs=heights.reliefs), heights.reliefs

    def heights_in(boxes: Sequence[Box], finest_m: float) -> tuple[Sequence[Relief], Sequence[str]]:
        found = read_heights(files.heights, boxes, show, files.crs, finest_m)
        return found.reliefs, found.notes

    return AccessSource(
        near, files.walking, {"power": files.power_line_m}, heights_in if files.heights else None
    )
