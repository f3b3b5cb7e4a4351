"""Places judged with the parks near them alone, taken by the index of a file: the same answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_read_shelf import country, written

from scout.geo.locator import encode
from scout.io.layers import read_layers
from scout.parks.build import build_parks
from scout.parks.indexed import ParkReading, open_indexed
from scout.parks.sources import InMemoryParks
from scout.search.check import CheckOptions, check_places
from scout.search.places import load_parks_near
from scout.visits.tally import Done, find_missing


@pytest.fixture(scope="module")
def isles(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("near") / "isles.gpkg", country())


@pytest.mark.parametrize("spread_deg", [0.2, 5.0])
def test_answers_are_those_of_all_parks(isles: Path, spread_deg: float) -> None:
    """Points, and locators of three sizes, on both sides of 180."""
    rng = np.random.default_rng(4)
    lon, lat = 180 + rng.uniform(-spread_deg, spread_deg, 60), rng.uniform(-spread_deg, spread_deg, 60) / 2
    lon = (lon + 180.0) % 360.0 - 180.0
    codes = [encode(x, y, level) for x, y, level in zip(lon[:15], lat[:15], [2, 3, 4] * 5, strict=True)]
    cells = [*codes, *[None] * 45]
    whole = build_parks(read_layers([isles]))
    shelf = open_indexed([isles], ParkReading(), least=1)
    assert shelf is not None
    near = load_parks_near(shelf, lon, lat, CheckOptions().near_m, cells)
    found = list(check_places(near, lon, lat, CheckOptions(), cells))
    assert found == list(check_places(whole, lon, lat, CheckOptions(), cells))
    assert sum(len(one.parks) for one in found) > 20
    if spread_deg < 1:
        assert 0 < len(near.frame) < len(whole.frame) / 2


def test_parks_at_hand_are_all_taken(isles: Path) -> None:
    whole = build_parks(read_layers([isles]))
    assert load_parks_near(InMemoryParks(whole), 0.0, 0.0, 1000.0) is whole


def test_far_from_all_parks_there_are_none(isles: Path) -> None:
    shelf = open_indexed([isles], ParkReading(), least=1)
    assert shelf is not None
    (far,) = check_places(load_parks_near(shelf, 10.0, 45.0, 1000.0), [10.0], [45.0], CheckOptions())
    assert far.parks == ()


@pytest.mark.parametrize("within_km", [30.0, 250.0, 3000.0])
def test_what_is_missing_is_that_of_all_parks(isles: Path, within_km: float) -> None:
    home, done = (179.8, 0.3), Done(2)
    whole = build_parks(read_layers([isles]))
    shelf = open_indexed([isles], ParkReading(), least=1)
    assert shelf is not None
    near = load_parks_near(shelf, *home, 1010.0 * within_km)
    found = find_missing(near, done, home, within_km)
    assert found == find_missing(whole, done, home, within_km)
    assert len(found) > 3
