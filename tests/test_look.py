"""What files of boundaries hold, without a search."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from page_reader import Reader, words
from test_choice import national

from scout.app.look import look_into
from scout.app.sources import ParkFiles
from scout.cli import main

BOX = shapely.box(9.9, 44.9, 10.1, 45.1)


def test_layers_columns_and_values_are_told_and_what_would_be_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, page = national(tmp_path / "national.gpkg"), tmp_path / "look.html"
    gpd.GeoDataFrame({"note": ["a\tb " * 20]}, geometry=[shapely.Point(1, 2)], crs=4326).to_file(
        path, layer="posts"
    )
    assert main(["look", "--parks", str(path), "--map", str(page)]) == 0
    said = capsys.readouterr()
    lines = said.out.splitlines()
    assert said.err == ""
    assert lines[:4] == [
        f"{path} [national]: 6 records, EPSG:4326 (WGS 84)",
        "  6 areas",
        "  from 44.900000, 9.900000 to 45.100000, 20.100000",
        "  schema: PAD-US",
    ]
    table = {line.split()[0]: " ".join(line.split()[1:]) for line in lines[5:11]}
    assert table["Category"] == "100 % 3 Fee (4), Easement, Designation"
    assert table["State_Nm"] == "100 % 1 NE (6)"
    assert f"{path} [posts]: 1 record, EPSG:4326 (WGS 84)" in lines
    assert "  1 point" in lines
    assert "  schema: none that is known" in lines
    (note,) = [line for line in lines if line.startswith("  note ")]
    assert len(note) < 80
    assert "3 parks from 3 of 7 records, 1 skipped, 3 left out." in lines
    assert any("read as PAD-US" in line for line in lines)
    text = words(page.read_text(encoding="utf-8"))
    assert "Nothing was searched: these are the parks of the files that were looked into." in text
    assert "3 parks on the square lattice" in text
    assert "No spot was found" not in text
    assert len(Reader(page.read_text(encoding="utf-8")).data()["parks"]) == 3


def test_every_setting_of_reading_counts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = national(tmp_path / "national.gpkg")
    given = ["--where", "Pub_Access = 'OA'", "--profile", "none", "--id-column", "Unit_Nm,Mang_Name"]
    assert main(["look", "--parks", str(path), *given]) == 0
    out = capsys.readouterr().out
    assert "schema: none that is known" in out
    assert "id from column Unit_Nm, Mang_Name" in out
    assert "2 parks from 2 of 6 records, 4 left out." in out


def test_one_file_that_cannot_be_used_is_told_among_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = national(tmp_path / "national.gpkg")
    (tmp_path / "bad.geojson").write_text("{")
    assert main(["look", "--parks", str(path), str(tmp_path / "bad.geojson")]) == 0
    assert "bad.geojson" in capsys.readouterr().out
    assert main(["look", "--parks", str(tmp_path / "bad.geojson")]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1


def test_outlines_that_look_generalised_are_told(
    shared_data: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Natural Earth's areas, drawn for maps at 1:10 million."""
    assert main(["look", "--parks", str(shared_data("ne_10m_parks_area.geojson"))]) == 0
    warned = [line for line in capsys.readouterr().out.splitlines() if line.startswith("WARNING")]
    assert len(warned) == 6
    assert "or take a boundary error of" in warned[0]


def test_no_input_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = national(tmp_path / "national.gpkg")
    before = path.read_bytes()
    assert main(["look", "--parks", str(path), "--map", str(path)]) == 2
    assert path.read_bytes() == before
    assert capsys.readouterr().err.count("\n") == 1


def test_counts_of_values_are_those_of_the_column(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    sorts = ["x", "x", None, "y", "x", ""]
    gpd.GeoDataFrame({"sort": sorts, "n": [1, 1, 2, 2, 3, 3]}, geometry=[BOX] * 6, crs=4326).to_file(path)
    look = look_into(ParkFiles((str(path),), same_ground=0), lambda _: None)
    sort, number = look.layers[0].columns
    assert (sort.filled, sort.different, sort.values) == (4, 2, (("x", 3), ("y", 1)))
    assert (number.filled, number.different) == (6, 3)
