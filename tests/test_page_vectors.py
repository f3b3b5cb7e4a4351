"""The numbers that the page's script must meet are those of Python; the script's half is in browser/."""

from __future__ import annotations

import json
import runpy
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from scout.errors import ScoutError
from scout.geo.coordinates.parse import read_place
from scout.output.templates import read_text_of
from scout.page import document
from scout.page.bundle import link_modules

VECTORS = Path(__file__).parent / "vectors"
MAKE = runpy.run_path(str(VECTORS / "make_vectors.py"))["FILES"]
PLACES = json.loads((VECTORS / "places.json").read_text(encoding="utf-8"))


def same(one: Any, other: Any) -> bool:
    """Equal, numbers to a part in a thousand million."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    return one == pytest.approx(other, rel=1e-9, abs=1e-9) if isinstance(one, float) else one == other


@pytest.mark.parametrize("name", MAKE)
def test_the_stored_numbers_are_those_that_python_gives(name: str):
    stored = json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))
    made = MAKE[name]()
    assert set(stored) == {"about", *made}
    for group, rows in made.items():
        for row, kept in zip(rows, stored[group], strict=True):
            assert same(row, kept), (group, row, kept)


@pytest.mark.parametrize("row", PLACES["read"], ids=lambda row: row["text"])
def test_the_command_reads_the_places_that_the_page_reads(row: dict[str, Any]):
    place = read_place(row["text"])
    assert (place.lat, place.lon) == pytest.approx((row["lat"], row["lon"]), abs=1e-12)
    assert place.cell == row.get("cell")


@pytest.mark.parametrize("row", PLACES["refused"], ids=lambda row: row["text"])
def test_the_command_refuses_what_the_page_refuses_but_for_forms_of_its_own(row: dict[str, Any]):
    if row.get("command only"):
        read_place(row["text"])
        return
    with pytest.raises(ScoutError):
        read_place(row["text"])


def test_every_script_and_style_of_the_folder_is_in_the_page():
    folder = Path(document.__file__).parent
    modules = link_modules(partial(read_text_of, document.__package__), "start.js")
    assert {path.name for path in folder.glob("*.js")} == {module.name for module in modules}
    assert {path.name for path in folder.glob("*.css")} == set(document._STYLES)


def test_no_comment_of_a_style_runs_over_lines():
    """The page drops lines of comment."""
    for style in document._STYLES:
        for line in read_text_of(document.__package__, style).splitlines():
            assert not line.lstrip().startswith("/*") or line.rstrip().endswith("*/"), (style, line)
