"""What is a park by OpenStreetMap's tags, and whether the public may enter it.

Keys and values are those of the OpenStreetMap wiki (Map features, boundary=protected_area, Key:access), from
memory. Where it leaves a choice:

- `leisure=park`, `nature_reserve` and `common`, `boundary=national_park` and `protected_area` are parks;
  forests (`landuse=forest`, `natural=wood`, `boundary=forest`) are if they are asked for.
- A protected area whose `protect_class` stands for the protection of a resource or for social purposes (8 and
  10 to 29: water, soil, culture, indigenous land) is no park; classes of nature (1 to 7, 97 to 99) are, and
  one without a class is.
- What is only proposed is no park.
- `foot` is stronger than `access`, as for ways: those are whom the question is about.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from scout.model import OPENING_HOURS

Access = Literal["", "closed", "restricted"]

# Tags that make a park, the more telling first, and what such a park is called.
PARK_TAGS = {
    ("boundary", "national_park"): "national park",
    ("boundary", "protected_area"): "protected area",
    ("leisure", "nature_reserve"): "nature reserve",
    ("leisure", "park"): "park",
    ("leisure", "common"): "common",
}
FOREST_TAGS = {("boundary", "forest"): "forest", ("landuse", "forest"): "forest", ("natural", "wood"): "wood"}

_CLOSED = frozenset(("no", "private", "military"))
_RESTRICTED = frozenset(
    ("permit", "customers", "members", "residents", "employees", "official", "restricted")
)
_NATURE = frozenset(("1", "1a", "1b", "2", "3", "4", "5", "6", "7", "97", "98", "99"))
_NAMES = ("name", "official_name", "name:en", "int_name", "loc_name", "short_name")  # the first there is
# Columns of a park beside id, name and kind: the tags of these keys as they are.
_KEPT = (
    *("operator", "access", "protect_class", "protection_title", "ref", "short_protection_title"),
    OPENING_HOURS,
)


class ParkRecord(NamedTuple):
    """One park as its tags have it."""

    kind: str
    name: str
    access: Access
    columns: Mapping[str, str]  # of tags, `name:*` among them


def list_park_tags(forests: bool) -> dict[tuple[str, str], str]:
    """Tags that make a park, and what it is called."""
    return PARK_TAGS | (FOREST_TAGS if forests else {})


def judge_park(tags: Mapping[str, str], forests: bool) -> ParkRecord | None:
    """Return the park that something is by its tags, or None.

    Examples
    --------
    >>> judge_park({"leisure": "park", "name": "Tern Common", "access": "private"}, False)[:3]
    ('park', 'Tern Common', 'closed')
    >>> judge_park({"boundary": "protected_area", "protect_class": "12"}, False) is None
    True
    """
    kinds = list_park_tags(forests)
    kind = next((word for (key, value), word in kinds.items() if tags.get(key) == value), "")
    if not kind or tags.get("proposed") == "yes":
        return None
    plain = kind == "protected area" and tags.get("leisure") != "nature_reserve"
    if plain and tags.get("protect_class", "").strip().lower() not in {"", *_NATURE}:
        return None
    value = (tags.get("foot") or tags.get("access") or "").strip().lower()
    access: Access = "closed" if value in _CLOSED else "restricted" if value in _RESTRICTED else ""
    name = next((tags[key] for key in _NAMES if tags.get(key)), "")
    name = name or min((tags[key] for key in tags if key.startswith("name:")), default="")
    kept = {key: text for key, text in tags.items() if key in _KEPT or key.startswith("name:")}
    return ParkRecord(kind, name, access, kept)
