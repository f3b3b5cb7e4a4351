"""The values that leave the core and the columns of the frames inside it; lon before lat, degrees on WGS 84.

A visit: where a station stood, when, for which grids and parks, and how it went. Data only.

Years outside `YEARS` are slips of the keyboard or of a clock: neither satellite fixes nor the locators that
visits claim are older than 1980, and dates from 2100 on come of a digit too many or two in the wrong order.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import geopandas as gpd

    from scout.parks.sources import NamedParks


# Columns of a layer's frame (read -> parks): the file's own attributes, and
RECORD = "__record__"  # 1-based record number in its layer
# Columns of the parks frame (parks -> everything after).
PARK_ID = "park_id"  # str, never empty
PARK_NAME = "park_name"  # str, may be empty
KIND = "park_kind"  # "area" or "corridor"
SOURCE = "source"  # int, index into the sources
DATUM_ERROR = "datum_error_m"  # float, stated accuracy of the datum transformation, and the rounding error
ENTRY = "entry"  # an `Entry`, or "" where nothing is known; the column is there if it is of some park
ATTRIBUTES = "attributes"  # dict of the file's own columns that were asked for, text to text
GEOMETRY = "geometry"  # valid Polygon or MultiPolygon, longitudes continuous across 180
SpotKind = Literal["corner", "line", "overlap", "near-miss", "place"]  # place: asked for, not found
Entry = Literal["open", "restricted", "closed", "unknown"]  # who may enter, as the data say
VerdictWord = Literal["firm", "doubtful", "not counted"]
Units = Literal["metric", "imperial"]  # metres and kilometres, or feet and miles: in text only


@dataclass(frozen=True, slots=True)
class Station:
    """The disc that holds operator, rig and antenna, and what we know it by.

    Errors are 95 % radial: the receiver's (GPS.gov, taken as 95 %), the boundary data's (12.2 m at 90 %, US
    National Map Accuracy Standards 1947 at 1:24,000, is 13.9 m at 95 %).
    """

    radius_m: float = 5.0
    fix_error_m: float = 4.9
    boundary_error_m: float = 14.0


@dataclass(frozen=True, slots=True)
class Credit:
    """Whose data this is and under which licence, as the user states it or the format has it."""

    files: tuple[str, ...]  # names as given; empty: everything
    text: str
    licence: str = ""
    date: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """One layer of one file, as it was read."""

    path: str
    layer: str
    records: int
    crs: str  # e.g. "EPSG:4269 (NAD83)"
    operation: str  # the datum transformation PROJ used, "none" for WGS 84
    accuracy_m: float | None  # as PROJ states it; None when unknown
    warnings: tuple[str, ...] = ()  # ballpark fallback, missing grids, swapped axes ...
    credits: tuple[Credit, ...] = ()  # that the format brings along
    rounding_m: float = 0.0  # 95 % radial error of coordinates that are rounded; 0 where none was seen

    @property
    def where(self) -> str:
        """The file, and the layer where that says more: the start of every line about a record."""
        plain = self.path.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0] == self.layer
        return self.path if plain else f"{self.path} (layer {self.layer})"


def collect_credits(stated: Sequence[Credit], sources: Iterable[Source]) -> tuple[Credit, ...]:
    """Credits as the user states them, then those of the sources that none of these covers."""
    files: dict[Credit, dict[str, None]] = {}
    for source in sources:
        for credit in source.credits:
            files.setdefault(replace(credit, files=()), {})[source.path] = None
    made = []
    for credit, paths in files.items():
        said = [one for one in stated if credit.text.casefold() in one.text.casefold()]
        left = tuple(path for path in paths if not any(not one.files or path in one.files for one in said))
        made += [replace(credit, files=left)] if left else []
    return (*stated, *made)


@dataclass(frozen=True, slots=True)
class Layer:
    """Records of one layer in WGS 84: attributes, ``RECORD`` and geometry as read, not yet repaired."""

    frame: gpd.GeoDataFrame
    source: Source
    refused: tuple[str, ...] = ()  # one line per record or ring that could not be used
    repaired: tuple[tuple[int, str], ...] = ()  # (record, what was done): rings closed, edges across 180
    columns: tuple[str, ...] | None = None  # all that the file has, where the frame has but some of them


@dataclass(frozen=True, slots=True)
class ParkReport:
    """What became of the records; every line names file and record."""

    records: int = 0
    parks: int = 0
    id_column: tuple[str, ...] = ()  # per source: the column taken, "" when the record number serves
    name_column: tuple[str, ...] = ()
    merged: int = 0  # records used that were joined to another of the same park
    repaired: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()  # points, lines without a corridor, records without geometry
    notes: tuple[str, ...] = ()  # what was decided and may be decided otherwise by an option
    used: int = 0  # records that parks were made of
    refused_records: int = 0
    skipped_records: int = 0
    left_out_records: int = 0  # not chosen; with those used, refused and skipped: all of them
    repaired_records: int = 0  # of those used

    @property
    def counts(self) -> str:
        """What became of the records, in numbers."""
        counts = (
            (self.merged, "joined to another of the same park"),
            (self.repaired_records, "repaired"),
            (self.refused_records, "refused"),
            (self.skipped_records, "skipped"),
            (self.left_out_records, "left out"),
        )
        used = "" if self.used == self.records else f"{self.used:,} of "
        more = "".join(f", {count:,} {word}" for count, word in counts if count)
        of = f"{self.records:,} record{'' if self.records == 1 else 's'}"
        return f"{self.parks:,} park{'' if self.parks == 1 else 's'} from {used}{of}{more}"


@dataclass(frozen=True, slots=True)
class Parks:
    """All parks of one run: the frame, where it came from and what was done to it."""

    frame: gpd.GeoDataFrame
    sources: tuple[Source, ...]
    report: ParkReport


@dataclass(frozen=True, slots=True)
class CoarseOutline:
    """A park whose outline looks generalised, by more than the boundary error it is judged by."""

    park: str
    park_name: str
    spacing_m: float  # between the vertices of its curves
    error_m: float  # 95 %, how far the true boundary may run from the one drawn
    advised_m: float  # boundary error to state instead
    taken_m: float  # boundary error it is judged by


@dataclass(frozen=True, slots=True)
class Verdict:
    """One station position judged; ``confidence`` is the probability that all of its parts hold at once.

    One receiver error moves all of them (`scout.geo.joint`), so it is not their product. With
    ``coarse`` outlines among its parks the word holds if these are true; `scout.quantities` words that.
    """

    locators: tuple[str, ...]
    parks: tuple[str, ...]
    clearances_m: tuple[float, ...]  # per park, positive inside
    grids_p: float
    parks_p: tuple[float, ...]
    confidence: float
    word: VerdictWord
    coarse: tuple[CoarseOutline, ...] = ()

    @property
    def outline_error_m(self) -> float | None:
        """How far the coarsest outline may be off; None where none looks coarse."""
        return max((one.error_m for one in self.coarse), default=None)


@dataclass(frozen=True, slots=True)
class Stretch:
    """The part of one lattice line, between two corners, along which one set of parks holds."""

    line: Literal["meridian", "parallel"]
    start: tuple[float, float]
    end: tuple[float, float]
    length_m: float
    locators: tuple[str, ...]
    parks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NearMiss:
    """The park that a corner or line just misses."""

    park: str
    park_name: str
    distance_m: float
    bearing_deg: float  # from the spot to the nearest point of the park


@dataclass(frozen=True, slots=True)
class Spot:
    """A recommended station centre. ``corner`` is the exact lattice corner it serves, else None."""

    kind: SpotKind
    lon: float
    lat: float
    corner: tuple[float, float] | None
    verdict: Verdict
    park_names: tuple[str, ...]
    stretches: tuple[Stretch, ...] = ()  # its own, or those grouped under a corner
    offset_m: float = 0.0  # from the corner or the line to the centre
    offset_deg: float = 0.0  # bearing of that offset
    near: NearMiss | None = None
    notes: tuple[str, ...] = ()

    @property
    def clearance_m(self) -> float:
        """Least clearance over its parks; minus the distance to a park it misses; nan far from all."""
        if self.near is not None:
            return -self.near.distance_m
        return min(self.verdict.clearances_m, default=float("nan"))

    @property
    def stretch_m(self) -> float:
        """Summed length of its stretches."""
        return sum(s.length_m for s in self.stretches)


@dataclass(frozen=True, slots=True)
class Aim:
    """Where somebody wants to work: an azimuth, or a place."""

    label: str  # as it was written
    azimuth_deg: float | None = None
    lon: float | None = None
    lat: float | None = None


@dataclass(frozen=True, slots=True)
class Horizon:
    """How high the terrain stands around a place: a value for each whole degree of azimuth from north.

    What the heights do not tell may stand higher: see ``reach_m``, and `scout.sight.outlook`.
    """

    antenna_m: float  # of the eye over the ground
    ground_m: float  # height of the ground there
    highest_m: float  # in all the heights that were given around
    needed_m: float  # how far heights are needed: beyond, nothing as high stands over the curve of the Earth
    cell_m: float  # of the finest raster
    refraction: float  # curvature of a ray over that of the Earth: 0.25 for radio
    deg: tuple[float, ...]  # angle to the highest terrain; -90 where none is known
    at_m: tuple[float, ...]  # distance to it
    reach_m: tuple[float, ...]  # how far the heights reach without a gap
    error_deg: tuple[float, ...]  # 95 %, from the vertical error and the cells of the raster


@dataclass(frozen=True, slots=True)
class Ranked:
    """A spot with its place in the list and the terms it was sorted by."""

    rank: int
    spot: Spot
    n_grids: int
    n_parks: int
    grid_park_pairs: int  # the yield; 0 for a near miss
    home_km: float | None = None
    route: Route | None = None  # None where no access data was given
    slope_deg: float | None = None  # of the ground at the spot; None without heights
    warnings: tuple[str, ...] = ()  # what could hurt someone here: a line for each
    new: New | None = None  # of the yield, what is in no visit yet; None without a notebook
    horizon: Horizon | None = None  # None without heights, and for spots further down the list


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Places that were found and are not listed, and why."""

    reason: str
    count: int


@dataclass(frozen=True, slots=True)
class ParkAt:
    """One park as seen from one place."""

    park: str
    park_name: str
    clearance_m: float  # positive inside
    edge: tuple[float, float]  # nearest boundary point, lon, lat
    edge_m: float
    edge_deg: float  # bearing to it
    at_inholding: bool  # the nearest edge is a hole's
    p: float  # probability that the whole station lies inside
    word: VerdictWord
    cell_share: float | None = None  # of a place given as a locator: the share of its cell inside
    entry: str = ""  # an `Entry`, or "" where nothing is known
    coarse: CoarseOutline | None = None  # where its outline looks generalised


@dataclass(frozen=True, slots=True)
class LineAt:
    """The nearest meridian, parallel or corner of the level as seen from one place."""

    kind: Literal["meridian", "parallel", "corner"]
    lon: float  # the nearest point of it
    lat: float
    distance_m: float
    bearing_deg: float


@dataclass(frozen=True, slots=True)
class Move:
    """A better station centre nearby."""

    distance_m: float
    bearing_deg: float
    lon: float
    lat: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Checked:
    """One planned place judged. ``verdict`` names the grids touched and the parks that count there."""

    lon: float
    lat: float
    verdict: Verdict
    parks: tuple[ParkAt, ...]  # near ones, the surest first
    lines: tuple[LineAt, ...]  # meridian, parallel, corner
    driver: str  # what holds the confidence down
    move: Move | None = None


@dataclass(frozen=True, slots=True)
class SearchLimits:
    """What a search was asked for beside its level, its station and the way from home."""

    near_m: float
    area: tuple[float, float, float, float] | None  # west, south, east, north
    min_grids: int
    min_parks: int
    min_confidence: float
    park_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NothingFound:
    """Why a search found nothing, and the settings (their keys) of which another value may help."""

    why: str
    change: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Findings:
    """The whole answer of one search, ready for any output."""

    level: int  # pairs of the locator, 1 to 5
    station: Station
    spots: Sequence[Ranked]  # ranked, best first; near misses last
    left_out: tuple[LeftOut, ...]
    named: NamedParks  # the parks named by any spot or near miss
    sources: tuple[Source, ...]
    report: ParkReport
    remarks: tuple[str, ...] = ()  # what the user should know about the settings
    home: tuple[float, float] | None = None
    within_km: float | None = None
    title: str = ""
    made_by: str = ""  # the command line that made it
    made_on: str = ""  # ISO date, given by the front end; the core has no clock
    author: str = ""
    credits: tuple[Credit, ...] = ()
    searched: bool = True  # else its parks are only shown
    surroundings: Surroundings | None = None  # near the spots that are listed; None without access data
    walking: Walking | None = None
    limits: SearchLimits | None = (
        None  # None where nothing was searched, or by a version that did not keep them
    )
    nothing: NothingFound | None = None  # why, where a search lists no spot
    cut: int = 0  # spots that were listed, ranked below these and were taken out
    aims: tuple[Aim, ...] = ()  # where the spots are to look
    units: Units = (
        "metric"  # of all text that people read; numbers of GeoJSON, CSV and GeoPackage stay metric
    )

    @property
    def parks(self) -> gpd.GeoDataFrame:
        """The frame of the parks named."""
        return self.named.frame


# The values of the ground around spots: what access data becomes, heights, and the walk. Data only.
if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import numpy as np
    import shapely
    from numpy.typing import NDArray


RouteState = Literal["walked", "out of reach", "unknown"]
StartKind = Literal["", "parking", "trailhead", "roadside"]

# Columns of the frames of surroundings, beside `scout.model.GEOMETRY`.
WHAT = "what"  # in words: path, parking, water, power line ...
NAME = "name"  # str, may be empty
WALK = "walk"  # bool, ways only: may be walked
DRIVE = "drive"  # bool, ways only: a car may stop along it
CROSSING = "crossing"  # bool, ways only: mapped as crossing what lies under it (bridge, ford, tunnel)
OPENING_HOURS = "opening_hours"  # str, starts, and in the attributes of parks: in OpenStreetMap's notation
HAZARD = "hazard"  # str, hazards only: key of a `scout.cautions.HazardKind`


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Access data near the spots, its tags read: frames in WGS 84 with `GEOMETRY`, `WHAT` and `NAME`."""

    ways: gpd.GeoDataFrame  # lines, with WALK, DRIVE and CROSSING
    starts: gpd.GeoDataFrame  # points: parking, trailheads
    barriers: gpd.GeoDataFrame  # lines and areas nobody walks across
    openings: gpd.GeoDataFrame  # points where a barrier line may be passed: gates, stiles, fords
    hazards: gpd.GeoDataFrame  # lines and areas, with HAZARD: closed ground, overhead lines ...
    sources: tuple[Source, ...] = ()
    notes: tuple[str, ...] = ()  # what was not understood, not taken, or looks wrong
    # Polygons nobody walks through but along mapped ways, and busy roads along which no car is left, by name.
    # Apart from the frames above: a town has too many to draw.
    buildings: Sequence[shapely.Geometry] = ()
    busy_roads: Sequence[shapely.Geometry] = ()
    busy_names: Sequence[str] = ()
    # For the map alone: woods as areas, peaks and settlements by name as points; the light on the hills and
    # contour lines, and the heights they are drawn from, which are dropped once they are.
    landmarks: gpd.GeoDataFrame | None = None
    shading: tuple[Shading, ...] = ()
    contours: tuple[Contours, ...] = ()
    reliefs: Sequence[Relief] = ()

    def hazards_of(self, kind: str) -> gpd.GeoDataFrame:
        """Return the hazards of a kind."""
        return self.hazards[self.hazards[HAZARD] == kind]


@dataclass(frozen=True, slots=True)
class Shading:
    """A picture of the light on some ground, its rows evenly spaced on the web's Mercator projection."""

    bounds: tuple[float, float, float, float]  # west, south, east, north in degrees; east may pass 180
    picture: str  # a data URI


@dataclass(frozen=True, slots=True)
class Contours:
    """Lines of equal height on some ground, in degrees; longitudes may pass 180."""

    interval_m: float
    lines: Sequence[shapely.Geometry]
    heights_m: Sequence[float]  # of each line


@dataclass(frozen=True, slots=True)
class Relief:
    """Part of a height raster."""

    heights_m: NDArray[np.float32]  # rows from the top, NaN where nothing is known
    to_pixel: tuple[float, float, float, float, float, float]  # col = a x + b y + c, row = d x + e y + f
    crs: str  # WKT of the raster's own coordinate system, whose x and y go into to_pixel
    path: str


@dataclass(frozen=True, slots=True)
class Walking:
    """How far anyone will walk, and with what."""

    limit_min: float = 120.0  # one way; what takes longer is out of reach
    load_kg: float = 0.0
    reach_m: float = 3000.0  # starts further away are looked at only where none nearer leads to a spot
    cell_m: float = 10.0


@dataclass(frozen=True, slots=True)
class Route:
    """The walk from where the car stays to a spot, and back the same way.

    ``unknown`` says that nothing could be worked out; ``reason`` says why, also of ``out of reach``, and of
    what is ``walked`` how roughly, where that is less fine than usual.
    Only what is ``walked`` has times.
    """

    state: RouteState
    reason: str = ""
    out_min: float | None = None
    back_min: float | None = None
    length_m: float | None = None
    climb_m: float | None = None  # metres gained on the way out; None without heights
    off_path_m: float | None = None
    start: tuple[float, float] | None = None  # where the walk begins; else the nearest start, if any
    start_kind: StartKind = ""
    start_name: str = ""
    straight_m: float | None = None  # from the start to the spot as the crow flies
    line: tuple[tuple[float, float], ...] = ()  # lon, lat from start to spot
    on_path: tuple[bool, ...] = ()  # per segment of the line
    profile: tuple[tuple[float, float], ...] = ()  # metres along the line, height in metres


YEARS = range(1980, 2100)


@dataclass(frozen=True, slots=True)
class ParkVisited:
    """One park of a visit, as it was judged at the time; None where nothing was worked out."""

    park: str
    name: str = ""
    clearance_m: float | None = None  # positive inside
    confidence: float | None = None  # probability that the whole station lay inside


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay of one station. Times are UTC; texts may be empty.

    ``locators`` and ``parks`` are what was claimed: a park that did not count is not among them.
    """

    lon: float
    lat: float
    start: datetime
    end: datetime | None = None
    error_m: float | None = None  # of the position, 95 % radius
    level: int = 2  # pairs of the locators
    locators: tuple[str, ...] = ()
    parks: tuple[ParkVisited, ...] = ()
    confidence: float | None = None  # of grids and parks together
    call: str = ""
    operator: str = ""  # the operator's own call sign, or a name
    antenna: str = ""
    radio: str = ""
    power_w: float | None = None
    bands: str = ""
    contacts: int | None = None
    weather: str = ""
    conditions: str = ""
    went_well: str = ""
    went_badly: str = ""
    sheet: str = ""  # path of the arrival sheet
    number: int = 0  # given by the notebook; 0 before that


@dataclass(frozen=True, slots=True)
class BadVisit:
    """A row of a notebook that is no visit, as another program or an older version may have left it."""

    number: int
    why: str
    values: tuple[tuple[str, str], ...]  # of its columns, cut short; what is empty is left out

    def __str__(self) -> str:
        return f"visit {self.number} cannot be read: {self.why}"


@dataclass(frozen=True, slots=True)
class New:
    """What a spot would add to the visits so far."""

    grids: int
    parks: int
    pairs: int  # the yield of what is still missing
