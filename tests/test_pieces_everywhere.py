"""Pieces joined, ids parted and records counted alike, whichever way the parks are read."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from clusters import local_cluster
from test_prepare import prepare, same_spots
from test_read_shelf import SUFFIXES, country, same, shelved, whole, written

from scout.app.find import SearchOptions, find_spots
from scout.cli import main
from scout.io.layers import read_layers
from scout.model import PARK_ID, Findings
from scout.parks.build import OWN_ERROR, build_parks
from scout.parks.indexed import ParkReading, open_indexed
from scout.parks.spilled import SpilledLayer
from scout.search.workers import open_workers

OVERLAPS, LINES = SearchOptions(level=2), SearchOptions(level=2, min_grids=2)
SEARCHES = [OVERLAPS, LINES]
NAMES = ("Otter Wood", "OTTER-WOOD", "Tern Marsh", "Térn Marsh", "Elm Hill", "Wildlife Area", "", "Brae")


def alike(columns: str) -> gpd.GeoDataFrame:
    """Islands on both sides of 180 that share a few names, many of them touching."""
    frame = country()
    frame["name"] = [NAMES[k % len(NAMES)] for k in range(len(frame))]
    if columns == "codes":  # nearly 200 that stand for several names each
        frame["code"] = [f"X-{k % 198}" for k in range(len(frame))]
        return frame
    frame["OBJECTID"] = np.arange(len(frame)) + 17
    return frame.drop(columns="code")


@pytest.fixture(scope="module", params=["pieces", "codes"])
def folder(request, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp(request.param)
    frame = alike(request.param)
    for suffix in SUFFIXES:
        written(folder / f"isles{suffix}", frame)
    written(folder / "isles.geojson", frame)
    written(folder / "metres.gpkg", frame.to_crs(3832))
    return folder


@cache
def whole_once(path: Path, options: SearchOptions) -> Findings:
    """What several tests compare with, searched once."""
    return whole([path], options)


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    with local_cluster() as cluster:
        yield cluster.scheduler_address


def test_there_is_something_to_join(folder):
    parks = build_parks(read_layers([folder / "isles.gpkg"]))
    assert len(parks.frame) < 390
    pieces = "that touch" in "".join(parks.report.notes)
    parted = "kept apart, such as" in "".join(parks.report.notes)
    assert pieces != parted


@pytest.mark.parametrize("options", SEARCHES, ids=["overlaps", "lines"])
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_the_index_and_in_fields(folder, suffix, options):
    path = [folder / f"isles{suffix}"]
    expected = whole_once(*path, options)
    assert len(expected.spots) > 20
    for found in (shelved(path, options), shelved(path, options, most=50)):
        same(found, expected)
        assert set(expected.report.notes) <= set(found.report.notes)
        assert found.report.id_column == expected.report.id_column


def test_apart_as_well(folder):
    path = [folder / "isles.gpkg"]
    expected = whole(path, OVERLAPS, join_pieces=False)
    same(shelved(path, OVERLAPS, join_pieces=False), expected)
    assert not any("pieces" in note for note in expected.report.notes)


@pytest.mark.parametrize("name", ["isles.geojson", "metres.gpkg", "isles.shp"])
def test_laid_aside(folder, name):
    expected = whole_once(folder / name, OVERLAPS)
    shelf = open_indexed([folder / name], ParkReading(), least=10**9, large=1)
    assert all(isinstance(one.layer, SpilledLayer) for one in shelf.layers)
    found = find_spots(shelf, OVERLAPS)
    same(found, expected)
    same(find_spots(shelf, OVERLAPS, most=50), expected)
    assert set(expected.report.notes) <= set(found.report.notes)


def test_across_layers_read_in_different_ways(folder, tmp_path):
    other = alike("pieces").iloc[:200]
    paths = [folder / "isles.gpkg", written(tmp_path / "more.geojson", other), folder / "isles.fgb"]
    same(shelved(paths, OVERLAPS), whole(paths, OVERLAPS))


def test_prepared(folder, tmp_path):
    ready = tmp_path / "ready.parquet"
    prepare(folder / "isles.gpkg", ready)
    for options in SEARCHES:
        expected = whole_once(folder / "isles.gpkg", options)
        same_spots(whole([ready], options), expected)
        same_spots(shelved([ready], options), expected)
        same_spots(shelved([ready], options, most=40), expected)
    apart = tmp_path / "apart.parquet"
    prepare(folder / "isles.gpkg", apart, "--pieces", "apart")
    same_spots(whole([apart], OVERLAPS), whole([folder / "isles.gpkg"], OVERLAPS, join_pieces=False))
    assert OWN_ERROR in read_layers([ready])[0].frame


def test_on_workers(folder, scheduler):
    with open_workers(scheduler) as spread:
        shelf = open_indexed([folder / "isles.gpkg"], ParkReading(), least=1)
        found = find_spots(shelf, OVERLAPS, spread=spread, most=60)
    same(found, whole_once(folder / "isles.gpkg", OVERLAPS))


def test_corridors_that_meet_beside_a_layer_with_an_index(folder, tmp_path):
    x = np.linspace(177.9, 178.1, 41)
    lines = [shapely.LineString([(a, 0.5), (b, 0.5)]) for a, b in pairwise(x)]
    trail = gpd.GeoDataFrame({"name": ["Otter Greenway"] * 40}, geometry=lines, crs=4326)
    paths = [folder / "isles.gpkg", written(tmp_path / "trail.geojson", trail)]
    expected = whole(paths, OVERLAPS, corridor_m=30.0)
    same(shelved(paths, OVERLAPS, corridor_m=30.0), expected)
    assert (build_parks(read_layers(paths), corridor_m=30.0).frame[PARK_ID] == "trail:1").sum() == 1


def test_a_corridor_beside_the_bounds_of_its_line_overlaps_all_the_same(tmp_path):
    """The ground 30 m beside a line reaches a park that the line's own bounds do not."""
    park = shapely.box(10.3, 45.3, 10.4, 45.4)
    line = shapely.LineString([(10.3, 45.29985), (10.4, 45.29985)])  # 17 m south of it
    far = [shapely.box(20 + k, 45.3, 20.1 + k, 45.4) for k in range(5)]
    areas = gpd.GeoDataFrame({"code": list("abcdef")}, geometry=[park, *far], crs=4326)
    trail = gpd.GeoDataFrame({"code": ["t"]}, geometry=[line], crs=4326)
    paths = [written(tmp_path / "areas.gpkg", areas), written(tmp_path / "trail.geojson", trail)]
    options = SearchOptions(level=2, min_parks=2, min_confidence=0.0)
    expected = whole(paths, options, corridor_m=30.0)
    assert len(expected.spots) == 1
    same(shelved(paths, options, corridor_m=30.0), expected)


def test_what_is_counted_when_all_parks_are_taken(tmp_path):
    """Of 60 records 7 have no ground; the index knows of all, and each is counted once in many tiles."""
    frame = country(count=60)[["name", "geometry"]]
    frame["code"] = [f"k{k}" for k in range(60)]
    flat = shapely.Polygon([(179, 0), (179.1, 0.1), (179.2, 0.2), (179, 0)])
    frame.loc[10:16, "geometry"] = flat
    path = [written(tmp_path / "isles.gpkg", frame)]
    expected = build_parks(read_layers(path)).report
    assert (expected.parks, expected.used, expected.refused_records) == (53, 53, 7)
    options = SearchOptions(level=2, near_m=40_000.0)
    for most in (10**9, 10):
        report = shelved(path, options, most=most).report
        assert report.counts == expected.counts
    shelf = open_indexed(path, ParkReading(), least=1)
    assert shelf.report.counts == "60 parks from 60 records"


def test_the_terminal_and_the_map_say_how_many(tmp_path, capsys):
    frame = country(count=60)[["name", "geometry"]]
    frame["code"] = [f"k{k}" for k in range(60)]
    frame.loc[10:16, "geometry"] = shapely.Polygon([(179, 0), (179.1, 0.1), (179.2, 0.2), (179, 0)])
    path = written(tmp_path / "isles.gpkg", frame)
    page = tmp_path / "m.html"
    main(["find", str(path), "--map", str(page)])
    counts = "53 parks from 53 of 60 records, 1 repaired, 7 refused"
    assert f"{counts}." in capsys.readouterr().out
    assert f"<p>{counts}.</p>" in page.read_text(encoding="utf-8")
