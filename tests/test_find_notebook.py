"""A search with a notebook: what visits have not done yet counts first, and both yields are told."""

import itertools
import json
from datetime import UTC, datetime

import pytest
import shapely
from click.testing import CliRunner

from scout.cli import command
from scout.errors import InputError
from scout.model import ParkVisited, Visit
from scout.visits.notebook import Notebook

PLACES = {"wide": shapely.box(9.9, 44.9, 10.1, 45.1), "tall": shapely.box(9.95, 44.95, 12.05, 45.05)}


@pytest.fixture
def parks(tmp_path):
    features = [
        {
            "type": "Feature",
            "properties": {"id": name, "name": name},
            "geometry": shapely.geometry.mapping(shape),
        }
        for name, shape in PLACES.items()
    ]
    path = tmp_path / "parks.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def search(tmp_path, parks, *words):
    saved = tmp_path / "s.geojson"
    result = CliRunner().invoke(command, ["find", str(parks), "--near", "0", "--save", str(saved), *words])
    assert result.exit_code == 0, result.output
    features = json.loads(saved.read_text(encoding="utf-8"))["features"]
    return [f["properties"] for f in features], result.output


def noted(tmp_path, *visits):
    book = Notebook(tmp_path / "visits.gpkg")
    for lon, lat, locators, held in visits:
        start = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)
        claimed = tuple(ParkVisited(park) for park in held)
        book.add(Visit(lon, lat, start, level=2, locators=locators, parks=claimed, contacts=9))
    return ["--notebook", str(tmp_path / "visits.gpkg")]


def test_without_a_notebook_nothing_is_said_of_new(tmp_path, parks):
    spots, output = search(tmp_path, parks)
    assert all(s["new_yield"] is None for s in spots)
    assert " new " not in output.splitlines()[3]


def test_what_is_done_goes_down_and_both_yields_are_told(tmp_path, parks):
    before, _ = search(tmp_path, parks)
    best = before[0]
    assert (best["kind"], best["yield"]) == ("corner", 8)
    book = noted(tmp_path, (10.0, 45.0, tuple(best["locators"]), best["parks"]))
    after, output = search(tmp_path, parks, *book)
    assert after[0]["locators"] != best["locators"]
    same = next(s for s in after if s["kind"] == "corner" and s["locators"] == best["locators"])
    assert (same["yield"], same["new_yield"], same["new_grids"], same["new_parks"]) == (8, 0, 0, 0)
    assert "new" in output
    assert [s["new_yield"] for s in after] == sorted((s["new_yield"] for s in after), reverse=True)


def test_new_pairs_are_counted_as_by_hand(tmp_path, parks):
    visits = [(10.0, 45.0, ("JN45", "JN55"), ["wide"]), (12.0, 45.0, ("JN55", "JN65"), ["tall"])]
    spots, _ = search(tmp_path, parks, *noted(tmp_path, *visits))
    pairs = {(g, p) for _, _, grids, held in visits for g, p in itertools.product(grids, held)}
    grids = {g for _, _, own, _ in visits for g in own}
    for spot in spots:
        here = set(itertools.product(spot["locators"], spot["parks"]))
        assert spot["new_yield"] == len(here - pairs)
        assert spot["new_grids"] == len(set(spot["locators"]) - grids)
        assert spot["new_parks"] == 0


def test_a_notebook_that_is_not_there_is_one_line(tmp_path, parks):
    result = CliRunner().invoke(command, ["find", str(parks), "--notebook", str(tmp_path / "none.gpkg")])
    assert isinstance(result.exception, InputError)
    assert "none.gpkg" in str(result.exception)
