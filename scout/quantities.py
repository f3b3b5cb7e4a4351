"""Lengths, shares, bearings and counts as people read them, in metres and kilometres or feet and miles.

The core words a few of them itself (a warning, a reason), so they lie below it; `scout.output.text` offers
them with everything else that people read. ``page/wording.js`` is the same for the page, and
``tests/vectors/words.json`` holds the two together.

Numbers are rounded as school has it: a half goes up, the sign aside, and the exact value of the double
decides. What is no such quantity (not finite, a length below zero) reads "unknown".
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal, NamedTuple, TypeAlias

from scout.errors import SettingName
from scout.model import Units

# The international foot and mile, exact: NIST Special Publication 811 (2008), appendix B.6.
FOOT_M = 0.3048
MILE_M = 1609.344

UNKNOWN = "unknown"
_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_MILES_FROM_FT = 2640.0  # half a mile; shorter is given in feet (common practice)
_FINE_BELOW_M = 99.95  # what rounds to less than 100.0 m

LengthForm: TypeAlias = Literal["plain", "fine", "stated"]


def format_fixed(value: float, digits: int = 0) -> str:
    """Size of a number with so many decimals, thousands grouped; its sign is left to the caller.

    Examples
    --------
    >>> format_fixed(0.5), format_fixed(-1234.25, 1)
    ('1', '1,234.3')
    """
    scaled = abs(value) * 10**digits
    if scaled < 2**52 and scaled % 1 != 0.5:
        return f"{abs(value):,.{digits}f}"
    # An exact tie goes up, as JavaScript's toFixed has it (ECMA-262, Number.prototype.toFixed).
    rounded = Decimal(abs(value)).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
    return f"{rounded:,f}"


def format_length(length_m: float, units: Units = "metric") -> str:
    """A length to three digits or so, in the unit that suits it.

    Metres to 0.1 below ten and whole below a kilometre; feet likewise, below half a mile; then kilometres or
    miles to 0.01 below ten, to 0.1 below a hundred, then whole.

    Examples
    --------
    >>> [format_length(m) for m in (3.24, 412.3, 9960.0, 48_210.0, 1_234_567.0)]
    ['3.2 m', '412 m', '9.96 km', '48.2 km', '1,235 km']
    >>> [format_length(m, "imperial") for m in (1.0, 412.3, 9960.0, 48_210.0)]
    ['3.3 ft', '1,353 ft', '6.19 mi', '30.0 mi']
    """
    if not 0 <= length_m < math.inf:
        return UNKNOWN
    if units == "imperial":
        return _format_near(length_m / FOOT_M, "ft", _MILES_FROM_FT) or _format_far(length_m / MILE_M, "mi")
    return _format_near(length_m, "m", 1000.0) or _format_far(length_m / 1000.0, "km")


def format_fine_length(length_m: float, units: Units = "metric") -> str:
    """A length that a verdict or a step hangs on: to 0.1 m or 0.1 ft below 100 m, else as any other.

    Examples
    --------
    >>> format_fine_length(12.34), format_fine_length(240.2), format_fine_length(12.34, "imperial")
    ('12.3 m', '240 m', '40.5 ft')
    """
    if not 0 <= length_m < _FINE_BELOW_M:
        return format_length(length_m, units)
    feet = units == "imperial"
    return f"{format_fixed(length_m / FOOT_M if feet else length_m, 1)} {'ft' if feet else 'm'}"


def format_stated_length(length_m: float, units: Units = "metric") -> str:
    """A length that somebody set, such as a radius: as it was given, without zeros that say nothing.

    Metres and kilometres to three decimals, feet and miles to three digits, for most come from metres.

    Examples
    --------
    >>> [format_stated_length(m) for m in (5.0, 4.9, 30.48, 3000.0, 80_000.0)]
    ['5 m', '4.9 m', '30.48 m', '3 km', '80 km']
    >>> [format_stated_length(m, "imperial") for m in (5.0, 30.48, 80_000.0)]
    ['16.4 ft', '100 ft', '49.7 mi']
    """
    if not 0 <= length_m < math.inf:
        return UNKNOWN
    if units == "metric":
        near = length_m < 999.9995
        return f"{_trim(format_fixed(length_m if near else length_m / 1000.0, 3))} {'m' if near else 'km'}"
    near = length_m / FOOT_M < _MILES_FROM_FT
    value = length_m / (FOOT_M if near else MILE_M)
    digits = 3 if value < 1 else 2 if value < 10 else 1 if value < 100 else 0
    return f"{_trim(format_fixed(value, digits))} {'ft' if near else 'mi'}"


def format_verdict(word: str, if_true: object = False) -> str:
    """The word of a verdict; where an outline is in doubt, what counts does so if that is true.

    Examples
    --------
    >>> format_verdict("firm"), format_verdict("firm", True), format_verdict("not counted", True)
    ('firm', 'firm if the outline is true', 'not counted')
    """
    return f"{word} if the outline is true" if if_true and word in ("firm", "doubtful") else word


def format_height(height_m: float, units: Units = "metric") -> str:
    """A height or a climb, whole metres or feet; below sea level with a minus.

    Examples
    --------
    >>> format_height(1234.5), format_height(-12.0), format_height(100.0, "imperial")
    ('1,235 m', '-12 m', '328 ft')
    """
    if not math.isfinite(height_m):
        return UNKNOWN
    text = format_fixed(height_m / FOOT_M if units == "imperial" else height_m)
    return f"{'-' if height_m < 0 and text != '0' else ''}{text} {'ft' if units == 'imperial' else 'm'}"


def _format_near(value: float, unit: str, end: float) -> str:
    """In the small unit, or nothing where it would round to ``end``."""
    if value < 9.95:
        return f"{format_fixed(value, 1)} {unit}"
    return f"{format_fixed(value)} {unit}" if value < end - 0.5 else ""


def _format_far(value: float, unit: str) -> str:
    digits = 2 if value < 9.995 else 1 if value < 99.95 else 0
    return f"{format_fixed(value, digits)} {unit}"


def _trim(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


_FORMS = {"plain": format_length, "fine": format_fine_length, "stated": format_stated_length}


class Length(NamedTuple):
    """A length inside a sentence, and how it is to be read."""

    metres: float
    form: LengthForm = "plain"

    def format(self, units: Units) -> str:
        """The length as text."""
        return _FORMS[self.form](self.metres, units)


class MeasuredText(str):
    """A sentence of the core that knows the lengths in it, and the settings it names.

    As a string it is in metres and kilometres and names options; `format_text` gives it in the reader's
    units and, for those who see no options, with the settings by their labels.

    Examples
    --------
    >>> near = MeasuredText("a line ", Length(12.0), " away")
    >>> near, format_text(MeasuredText("Mind ", near, "."), "imperial")
    ('a line 12 m away', 'Mind a line 39 ft away.')
    """

    parts: tuple[str | Length, ...]

    def __new__(cls, *parts: str | Length) -> MeasuredText:
        """Join texts and lengths; the parts of another such text become its own."""
        flat: list[str | Length] = []
        for part in parts:
            flat += part.parts if isinstance(part, MeasuredText) else [part]
        text = super().__new__(cls, "".join(p.format("metric") if isinstance(p, Length) else p for p in flat))
        text.parts = tuple(flat)
        return text

    def __getnewargs__(self) -> tuple[str | Length, ...]:  # type: ignore[override]
        return self.parts


def format_text(text: str, units: Units = "metric", *, labels: bool = False) -> str:
    """A text in the reader's units; one without lengths and settings as it is.

    Examples
    --------
    >>> advice = MeasuredText("leave them out with ", SettingName("min-grids", 2))
    >>> format_text(advice), format_text(advice, labels=True)
    ('leave them out with --min-grids 2', 'leave them out with “Least grids” 2')
    """
    parts = text.parts if isinstance(text, MeasuredText) else (text,)
    return "".join(_format_part(part, units, labels=labels) for part in parts)


def _format_part(part: str | Length, units: Units, *, labels: bool) -> str:
    if isinstance(part, Length):
        return part.format(units)
    return part.label if labels and isinstance(part, SettingName) else str(part)


def format_probability(share: float) -> str:
    """A probability, rounded down so that it never looks better than its verdict; never certain.

    Examples
    --------
    >>> format_probability(0.9499), format_probability(1.0), format_probability(0.0)
    ('94.9 %', 'over 99.9 %', 'under 0.1 %')
    """
    if not 0 <= share <= 1 + 1e-9:
        return UNKNOWN
    tenths = math.floor(share * 1000 + 1e-9)
    if share > 0.999:
        return "over 99.9 %"
    return f"{tenths / 10:.1f} %" if tenths else "under 0.1 %"


def format_bearing(bearing_deg: float) -> str:
    """A bearing in words and degrees from true north.

    Examples
    --------
    >>> format_bearing(134.6), format_bearing(359.6)
    ('south-east (135°)', 'north (0°)')
    """
    if not math.isfinite(bearing_deg):
        return UNKNOWN
    return f"{_WINDS[math.floor(bearing_deg / 45 + 0.5) % 8]} ({math.floor(bearing_deg + 0.5) % 360}°)"


def format_angle(angle_deg: float) -> str:
    """An angle over or under the level, to a tenth of a degree.

    Examples
    --------
    >>> format_angle(7.25), format_angle(-0.31), format_angle(-0.01)
    ('7.3°', '-0.3°', '0.0°')
    """
    if not math.isfinite(angle_deg):
        return UNKNOWN
    text = format_fixed(angle_deg, 1)
    return f"{'-' if angle_deg < 0 and float(text) else ''}{text}°"


def format_share_of_sky(share: float, at_most: bool = False) -> str:
    """How much of the sky's half sphere is in sight, whole hundredths.

    Examples
    --------
    >>> format_share_of_sky(0.9951), format_share_of_sky(0.874, at_most=True)
    ('99 %', '87 % at most')
    """
    if not 0 <= share <= 1:
        return UNKNOWN
    return f"{math.floor(100 * share + 1e-9)} %{' at most' if at_most else ''}"


def format_share_of_zone(share: float) -> str:
    """Clearance as a part of a Fresnel zone's radius, signed, to a hundredth; large ones whole.

    Examples
    --------
    >>> format_share_of_zone(0.613), format_share_of_zone(-1.2), format_share_of_zone(48.3)
    ('0.61', '-1.20', '48')
    """
    if not math.isfinite(share):
        return UNKNOWN
    return f"{'-' if share < 0 else ''}{format_fixed(share, 2 if abs(share) < 10 else 0)}"


def format_slope(slope_deg: float) -> str:
    """A slope of the ground, whole degrees.

    Examples
    --------
    >>> format_slope(22.5)
    '23°'
    """
    return f"{format_fixed(slope_deg)}°" if math.isfinite(slope_deg) else UNKNOWN


def format_off_paths(off_m: float, length_m: float) -> str:
    """How much of a walk is off paths, whole hundredths, one at the least; half a metre is none.

    Examples
    --------
    >>> format_off_paths(0.2, 900.0), format_off_paths(402.0, 1312.0), format_off_paths(1.0, 900.0)
    ('on paths', '31 % off paths', '1 % off paths')
    """
    if not (off_m >= 0 and length_m > 0 and math.isfinite(off_m) and math.isfinite(length_m)):
        return UNKNOWN
    if off_m < 0.5:
        return "on paths"
    return f"{min(max(math.floor(100 * off_m / length_m + 0.5), 1), 100)} % off paths"


def format_count(count: int, one: str, many: str = "") -> str:
    """A count and its noun.

    Examples
    --------
    >>> format_count(1, "spot"), format_count(1200, "spot"), format_count(2, "near miss", "near misses")
    ('1 spot', '1,200 spots', '2 near misses')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def format_minutes(minutes: float) -> str:
    """A time on foot to the nearest minute, one at the least.

    Examples
    --------
    >>> format_minutes(24.4), format_minutes(0.2), format_minutes(59.6), format_minutes(84.0)
    ('24 min', '1 min', '1 h 00 min', '1 h 24 min')
    """
    if not 0 <= minutes < math.inf:
        return UNKNOWN
    return format_span(max(math.floor(minutes + 0.5), 1))


def format_span(minutes: int) -> str:
    """A span of time of whole minutes.

    Examples
    --------
    >>> format_span(0), format_span(45), format_span(125)
    ('0 min', '45 min', '2 h 05 min')
    """
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60:,} h {minutes % 60:02d} min"
