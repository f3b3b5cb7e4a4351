"""The back of a card: the sketch map of the way, to scale, and how much of everything else there is room for.

The sketch is north up, in thousandths of its side; lengths on paper are millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import NamedTuple

import numpy as np

from scout.geo.boundaries import Floats
from scout.geo.geodesy import LocalFrame, measure_geodesic
from scout.model import DRIVE, GEOMETRY, HAZARD, PARK_ID, WALK, Findings, Ranked, Units
from scout.output.sheet_plan import SIDE, SheetGround, SheetPicture, draw_ground
from scout.output.text import Length, MeasuredText, format_bearing

_STRIP = 1.5  # below the sketch, in sizes of its type: the scale bar and north
_LEAST_HALF_M, _MOST_HALF_M = 150.0, 5000.0
_ROOM = 1.3  # between what must be seen and the rim
_WIDER = (1.0, 1.4, 2.0, 2.8)  # tried in turn until a boundary is seen


@dataclass(frozen=True, slots=True)
class Sketch:
    """The ground about a spot and the walk; places in units, y downwards."""

    ground: SheetPicture
    spot: tuple[float, float]
    start: tuple[float, float] | None  # where the car stays, if it is in the picture
    walk: str  # the walk as a path, "" for none
    straight: str  # from the start to the spot where there is no walk to draw
    roads: str
    paths: str
    barriers: str
    hazards: str


class FromStart(NamedTuple):
    """The spot as seen from where the car stays."""

    distance_m: float
    bearing_deg: float


class ParkBeside(NamedTuple):
    """A park that counts at the spot."""

    park: str
    park_name: str
    clearance_m: float


def measure_from_start(ranked: Ranked) -> FromStart | None:
    """Distance and bearing, by a geodesic, from where the car stays to the spot."""
    route = ranked.route
    if route is None or route.start is None:
        return None
    return FromStart(*measure_geodesic(*route.start, ranked.spot.lon, ranked.spot.lat))


def describe_from_start(ranked: Ranked) -> MeasuredText | None:
    """The same in words."""
    away = measure_from_start(ranked)
    if away is None:
        return None
    return MeasuredText(Length(away.distance_m), f" straight, {format_bearing(away.bearing_deg)}")


def draw_sketch(findings: Findings, ranked: Ranked, units: Units, side_mm: float) -> Sketch:
    """The sketch map of one spot, so wide: it frames the spot, the walk and where that begins.

    A boundary is in it too where one is near.
    """
    spot, route = ranked.spot, ranked.route
    line = route.line if route is not None and route.state == "walked" else ()
    start = None if route is None else route.start
    framed = [(spot.lon, spot.lat), *line]
    away = measure_from_start(ranked)
    # What is out of reach may be far: then the spot's own surroundings say more.
    if start is not None and away is not None and away.distance_m < _MOST_HALF_M:
        framed.append(start)
    parks = [
        ParkBeside(*park)
        for park in zip(spot.verdict.parks, spot.park_names, spot.verdict.clearances_m, strict=True)
    ]
    known = set(findings.parks[PARK_ID])
    parks = [park for park in parks if park.park in known]
    here = LocalFrame(spot.lon, spot.lat)
    metres = np.column_stack(here.forward(*np.array(framed).T))
    middle = (metres.min(axis=0) + metres.max(axis=0)) / 2
    lon, lat = (float(v) for v in here.inverse(*middle))
    ground = SheetGround(lon, lat, findings.level, parks, findings.named)
    half = max(_ROOM * float(np.ptp(metres, axis=0).max()) / 2, _LEAST_HALF_M)
    sides = [wider * half for wider in _WIDER if wider == 1.0 or wider * half <= _MOST_HALF_M]
    half = float(np.ceil(next((side for side in sides if ground.has_boundary(side)), half)))
    scale = SIDE / 2 / half

    def place(places: Sequence[tuple[float, float]]) -> Floats:
        at = ground.locate(*np.array(places).T)
        return np.asarray(np.round(SIDE / 2 + at * scale * [1.0, -1.0], 1) + 0.0)

    drawn = place(framed)
    at = tuple(drawn[0].tolist())
    end = place([start])[0] if start is not None else None
    shown = end if end is not None and bool(np.all((end > 0) & (end < SIDE))) else None
    picture = draw_ground(
        ground,
        half,
        round(_NAMES_MM / side_mm * SIDE, 1),
        units,
        covered=_sample(np.vstack([drawn, drawn[:1]])),
    )
    around = findings.surroundings
    walk = _format_path(drawn[1 : 1 + len(line)]) if line else ""
    sketch = Sketch(
        picture,
        at,
        None if shown is None else tuple(shown.tolist()),
        walk,
        "" if walk or shown is None else _format_path(np.vstack([shown, drawn[0]])),
        *("",) * 4,
    )
    if around is None:
        return sketch
    ways, hazards = around.ways, around.hazards
    on_foot = ways[WALK].to_numpy(bool) & ~ways[DRIVE].to_numpy(bool)
    return replace(
        sketch,
        roads=_draw_some(ground, ways[~on_foot], half),
        paths=_draw_some(ground, ways[on_foot], half),
        barriers=_draw_some(ground, around.barriers, half),
        hazards=_draw_some(ground, hazards[hazards[HAZARD].isin(["power", "closed"])], half),
    )


def _draw_some(ground: SheetGround, frame: object, half_m: float) -> str:
    shapes = frame[GEOMETRY].to_numpy()  # type: ignore[index]
    return ground.draw_shapes(shapes, half_m) if len(shapes) else ""


def _format_path(points: Floats) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in points.tolist())


def _sample(points: Floats) -> Floats:
    """Places along a line, twenty units apart."""
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    along = np.arange(0.0, steps[-1] + 1.0, 20.0)
    return np.column_stack([np.interp(along, steps, points[:, axis]) for axis in (0, 1)])


# What fits: type from large to small, then less of what may be counted in place of told.
_SIZES = (4.2, 3.9, 3.6, 3.3, 3.1)  # the last is 8.8 points
LEAST_MM, _NAMES_MM = 3.0, 3.2  # 8.5 points: nothing on the back is smaller; names in the sketch
_LINE = 1.28
# Lines break between words, and another machine's letters may be wider than the bold ones that are measured.
_SPREAD, _BOLD_SPREAD = 1.2, 1.35
_GAP_MM = 1.8
_WRITE_MM, _CODE_MM = 7.6, 38.0  # a line to write on; a QR code
_SIDE_MM = 5.0  # between two columns
_POLAR_MM, _BESIDE_POLAR_MM = 27.0, 69.0  # the picture of the horizon; a sketch that leaves it room
_SKETCH_MM = (98.0, 74.0, 58.0)  # its side: at most; what it should have; at least


@dataclass(frozen=True, slots=True)
class BackText:
    """What the back has to say where that varies, in the words it will have."""

    title: str
    forms: int  # lines of coordinates and the like
    parks: int
    warnings: tuple[str, ...]
    entry: tuple[str, ...]  # who may enter: never left out
    notes: tuple[str, ...]
    getting: tuple[str, ...]  # of the way, a text for each term
    pictured: bool  # whether there is a horizon to draw beside the way
    sun: tuple[str, ...]  # its lines
    sun_words: str
    taken: str
    key: str  # below the sketch
    credits: int
    cautions: str


@dataclass(frozen=True, slots=True)
class BackFit:
    """How much is shown and how large."""

    size: float
    sketch: float
    parks: int
    warnings: int
    notes: int
    credits: int
    emergency_below: bool = False  # across the card in place of beside the sketch
    polar: float = 0.0  # side of the picture of the horizon; 0 for none

    @property
    def small(self) -> float:
        """Of what is said in passing."""
        return max(LEAST_MM, round(0.86 * self.size, 2))


def fit_back(
    text: BackText, wide: float, tall: float, measure: Callable[[str, float], float], most: dict[str, int]
) -> BackFit:
    """The largest type in which everything fits beside a sketch; if none, the smallest with less in it.

    ``measure`` gives the width of a text in type of a size; ``most`` how many of a kind are told at all.
    """
    wanted = BackFit(
        0.0,
        0.0,
        min(text.parks, most["parks"]),
        min(len(text.warnings), most["warnings"]),
        min(len(text.notes), most["notes"]),
        min(text.credits, most["credits"]),
    )
    shapes = [
        replace(wanted, size=size, emergency_below=below) for size, below in product(_SIZES, (False, True))
    ]
    # A picture of the horizon, beside the way, is worth a smaller sketch; nothing is left out for it.
    pictured = [replace(fit, polar=_POLAR_MM) for fit in shapes] if text.pictured else []
    tried = [replace(fit, sketch=side) for side in _SKETCH_MM[1:] for fit in pictured]
    tried += [replace(fit, sketch=_SKETCH_MM[1]) for fit in shapes]
    tried += [replace(fit, sketch=_SKETCH_MM[2]) for fit in (tried[-1], *_list_shorter(tried[-1]))]
    for fit in tried:
        room = tall - _measure_rest(text, fit, wide, measure)
        side = _BESIDE_POLAR_MM if fit.polar and fit.sketch == _SKETCH_MM[2] else _SKETCH_MM[0]
        for _ in range(3):  # a narrower sketch has a longer key
            lines = np.ceil(_SPREAD * measure(text.key, fit.small) / max(side, 1.0))
            side = min(side, room - _STRIP * _NAMES_MM - _LINE * fit.small * lines)
        if side >= fit.sketch and _measure_beside(text, fit, wide - _SIDE_MM - side, measure) <= room:
            return replace(fit, sketch=np.floor(10 * side) / 10)
    return tried[-1]


def _list_shorter(fit: BackFit) -> Iterable[BackFit]:
    """With less and less told: credits go first, then notes, parks, warnings down to two."""
    cuts = [
        ("credits", 1),
        ("notes", 1),
        ("notes", 0),
        ("parks", 3),
        ("warnings", 4),
        ("parks", 2),
        ("warnings", 2),
    ]
    for name, most in cuts:
        fit = replace(fit, **{name: min(getattr(fit, name), most)})
        yield fit


def _measure_rest(text: BackText, fit: BackFit, wide: float, measure: Callable[[str, float], float]) -> float:
    """Height of all but the sketch and what stands beside it."""
    line, small = _LINE * fit.size, _LINE * fit.small
    head = _head(fit)
    half = (wide - _SIDE_MM) / 2

    def lines(words: str, most: int, size: float = fit.size, spread: float = _SPREAD) -> int:
        return min(most, max(1, int(np.ceil(spread * measure(words, size) / half))))

    top = 1.2 * 1.35 * fit.size + (line if text.title else 0.0)
    place = max(head + 4.0 * fit.size + text.forms * line, _CODE_MM + 3 * 1.15 * fit.small)
    counted = 3 + fit.parks + (text.parks > fit.parks)  # with the table's head and the sum below it
    margins = head + line * counted + small * lines(text.taken, 9, fit.small)
    bold, plain = [*text.warnings[: fit.warnings], *text.entry], text.notes[: fit.notes]
    told = sum(lines(words, 3, spread=_BOLD_SPREAD) for words in bold) + sum(
        lines(words, 3) for words in plain
    )
    cut = len(text.warnings) > fit.warnings or len(text.notes) > fit.notes
    said = bool(text.warnings or text.entry or text.notes)
    mind = head + line * (told + cut)
    cautions = head + 1.25 * fit.small * np.ceil(_SPREAD * measure(text.cautions, fit.small) / wide)
    if not said:
        cautions = head + 1.25 * fit.small * 2 * text.cautions.count(".")
    pair = max(margins, mind if said else cautions)
    emergency = head + 2 * _WRITE_MM + _GAP_MM if fit.emergency_below else 0.0
    foot = small * (fit.credits + (text.credits > fit.credits) + 1)
    rest = top + place + pair + emergency + (cautions if said else 0.0) + foot
    return rest + 6 * _GAP_MM


def _measure_beside(
    text: BackText, fit: BackFit, column: float, measure: Callable[[str, float], float]
) -> float:
    """Height of the way, the Sun and the lines for an emergency, one below the other."""
    line, small = _LINE * fit.size, _LINE * fit.small
    term = 7.2 * fit.size  # the widest term's column
    beside = column - term - (fit.polar + _GAP_MM if fit.polar else 0.0)
    way = sum(
        min(3, max(1, int(np.ceil(_SPREAD * measure(words, fit.size) / max(beside, 1.0)))))
        for words in text.getting
    )
    sun = head = _head(fit)
    if text.sun_words:
        words = int(np.ceil(_SPREAD * measure(text.sun_words, fit.small) / column))
        rows = [1 + (_BOLD_SPREAD * measure(row, fit.size) + 8.0 > column) for row in text.sun]
        sun += line * (sum(rows) + 1) + small * words
    else:
        sun += _WRITE_MM
    emergency = 0.0 if fit.emergency_below else head + 4 * _WRITE_MM + _GAP_MM
    return head + max(line * way, fit.polar) + sun + emergency + _GAP_MM


def _head(fit: BackFit) -> float:
    return 1.35 * fit.size + 1.1
