"""A saved GeoPackage carries the result: cards and packs come from it without the boundary files."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import exported
import geopandas as gpd
import numpy as np
import pytest
import shapely

from scout.app.pack import build_pack
from scout.app.request import open_saved
from scout.cli import main
from scout.errors import InputError
from scout.model import Relief, Surroundings
from scout.output.card import build_card
from scout.output.features import to_gpkg
from scout.output.saved import dump_findings, load_findings
from scout.quantities import Length, MeasuredText, format_text


@pytest.fixture
def saved(tmp_path, monkeypatch, capsys):
    """A folder with a result, whose boundary file is gone."""
    monkeypatch.chdir(tmp_path)
    shapes = {"Q-1": shapely.box(9.9, 44.9, 10.1, 45.1), "Q-2": shapely.box(9.95, 44.95, 10.05, 45.05)}
    features = [
        {
            "type": "Feature",
            "properties": {"id": key, "name": f"Fen {key}"},
            "geometry": shape.__geo_interface__,
        }
        for key, shape in shapes.items()
    ]
    path = tmp_path / "parks.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    assert main(["card", "1", "--parks", "parks.geojson", "--out", "searched.html"]) == 0
    assert main(["pack", "1", "--parks", "parks.geojson", "--out", "searched.zip"]) == 0
    assert main(["find", "--parks", "parks.geojson", "--save", "plan.gpkg"]) == 0
    path.unlink()
    capsys.readouterr()
    return tmp_path


@pytest.mark.parametrize("findings", [exported.bay(), exported.at([]), exported.at([(180.0, 0.0)])])
def test_findings_come_back_as_they_were(findings):
    again = load_findings(dump_findings(findings), "plan.gpkg")
    assert dump_findings(again) == dump_findings(findings)
    assert tuple(again.spots) == tuple(findings.spots)


def test_heights_near_the_spots_come_back_as_they_were():
    none = gpd.GeoDataFrame({"what": [], "name": []}, geometry=[], crs="EPSG:4326")
    heights = np.array([[471.25, np.nan, 12.0], [0.1, -3.5, 8848.0]], dtype=np.float32)
    relief = Relief(heights, (1.0, 0.0, -9.9, 0.0, -1.0, 45.1), "EPSG:4326", "heights.tif")
    around = Surroundings(none, none, none, none, none, reliefs=(relief,))
    again = load_findings(dump_findings(replace(exported.bay(), surroundings=around)), "plan.gpkg")
    (found,) = again.surroundings.reliefs
    assert np.array_equal(found.heights_m, heights, equal_nan=True)
    assert found.heights_m.dtype == heights.dtype
    assert found.to_pixel == relief.to_pixel


def test_cards_and_packs_are_those_of_the_findings_byte_for_byte():
    findings = replace(exported.bay(), home=None, made_by="")
    again = load_findings(dump_findings(findings), "plan.gpkg")
    ranks = [one.rank for one in findings.spots if one.spot.near is None]
    assert [build_card(again, rank) for rank in ranks] == [build_card(findings, rank) for rank in ranks]
    assert build_pack(again, ranks) == build_pack(findings, ranks)
    assert to_gpkg(again) == to_gpkg(findings)


def test_home_and_the_command_line_stay_at_home():
    text = dump_findings(replace(exported.bay(), home=(12.3456, 45.6789), made_by="scout find /home/q/parks"))
    assert "12.3456" not in text
    assert "/home/q" not in text


def test_lengths_in_sentences_are_still_known_as_lengths():
    told = (MeasuredText("a line ", Length(12.0), " away"),)
    findings = replace(exported.bay(), remarks=told)
    again = load_findings(dump_findings(findings), "plan.gpkg")
    assert format_text(again.remarks[0], "imperial") == "a line 39 ft away"


def test_the_commands_need_no_boundary_file_any_more(saved, capsys):
    assert main(["card", "1", "--result", "plan.gpkg", "--out", "card.html"]) == 0
    assert main(["pack", "1", "--result", "plan.gpkg", "--out", "pack.zip"]) == 0
    assert capsys.readouterr().out.count("#1 corner, firm") == 2
    # The two differ in the command that made them alone, which a card does not show.
    assert (saved / "card.html").read_bytes() == (saved / "searched.html").read_bytes()


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (
            ["--result", "plan.gpkg", "--level", "field"],
            "--result: what is saved was searched for with",
        ),
        (["--result", "gone.gpkg"], "gone.gpkg: there is no such file"),
        (["--result", "other.gpkg"], "other.gpkg: carries no result of scout find"),
        (["--result", "spoilt.gpkg"], "spoilt.gpkg: what it carries of the search is damaged"),
        (["--result", "later.gpkg"], "later.gpkg: was saved by a later version; use a later scout"),
        (["--result", "text.gpkg"], "text.gpkg: is no GeoPackage"),
    ],
)
def test_what_carries_no_result_is_one_line(saved, capsys, words, line):
    for name, statement in (
        ("other", "DROP TABLE gpkg_metadata"),
        ("spoilt", "UPDATE gpkg_metadata SET metadata = replace(metadata, '\"verdict\"', '\"x\"')"),
        ("later", "UPDATE gpkg_metadata SET metadata = '{\"scout\": 99}'"),
    ):
        (saved / f"{name}.gpkg").write_bytes((saved / "plan.gpkg").read_bytes())
        with closing(sqlite3.connect(saved / f"{name}.gpkg")) as database:
            database.execute("PRAGMA foreign_keys = OFF")
            database.execute(statement)
            database.commit()
    (saved / "text.gpkg").write_text("no database", encoding="utf-8")
    assert main(["card", "1", *words, "--out", "new.html"]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert line in told
    assert not (saved / "new.html").exists()


def test_numbers_that_are_not_numbers_are_refused():
    with pytest.raises(InputError, match="damaged"):
        load_findings('{"scout": "one", "findings": {}}', "plan.gpkg")


def test_a_folder_is_no_result(tmp_path):
    with pytest.raises(InputError):
        open_saved(str(tmp_path))
