"""Each fault that the fuzz suite found, small; and a few hundred of its cases in every run of the tests."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from boundary_files import geojson, layer, wkb_many, wkb_polygon
from fuzz.damage_shapes import written_shapes

from scout.app.find import SearchOptions, find_spots
from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.model import Visit
from scout.parks.build import build_parks
from scout.visits.notebook import Notebook

RUN = Path(__file__).parent / "fuzz" / "run.py"
PARK = shapely.box(9.9, 44.9, 10.1, 45.1)


@pytest.fixture
def refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """Types a command beside a sound park file; gives its one line, seen to be one with exit status 2."""
    monkeypatch.chdir(tmp_path)
    geojson(tmp_path / "parks.geojson", [PARK])

    def typed(*words: str) -> str:
        assert main([*words]) == 2
        (line,) = capsys.readouterr().err.splitlines()
        return line

    return typed


def test_two_hundred_damaged_files_give_a_result_or_one_line(tmp_path: Path) -> None:
    figures = tmp_path / "figures.json"
    words = [sys.executable, str(RUN), "--cases", "220", "--seed", "7", "--no-heavy", "--json", str(figures)]
    run = subprocess.run(words, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    told = json.loads(figures.read_text())
    assert (told["cases"], told["failed"]) == (220, 0)
    assert told["results"] > 40, "some damage is survived"
    assert told["refused"] > 40, "and some is not"


def test_a_link_to_itself_is_no_file(refused: Any, tmp_path: Path) -> None:
    (tmp_path / "round.geojson").symlink_to("round.geojson")
    assert "round.geojson" in refused("find", "round.geojson", "--save", "x.csv")


def test_a_name_that_no_file_can_have_is_told(refused: Any, tmp_path: Path) -> None:
    assert "cannot be read" in refused("find", "x" * 5000 + ".geojson")
    assert "cannot be read" in refused("find", "parks.geojson", "--access", "y" * 300 + ".osm")
    (tmp_path / "out.toml").write_text('parks = ["parks.geojson"]\nmap = "a\\u0000b.html"\n')
    assert "null character" in refused("find", "--outing", "out.toml")


@pytest.mark.parametrize("suffix", [".geojson", ".gpx"])
def test_a_recipe_named_as_places_is_not_followed(suffix: str, refused: Any, tmp_path: Path) -> None:
    recipe = '<OGRVRTDataSource><OGRVRTLayer name="waypoints"><SrcDataSource>parks.geojson</SrcDataSource>'
    (tmp_path / f"p{suffix}").write_text(f"{recipe}</OGRVRTLayer></OGRVRTDataSource>")
    assert f"p{suffix}: is " in refused("check", "--from", f"p{suffix}", "--parks", "parks.geojson")


def test_odd_places_are_one_line(refused: Any, tmp_path: Path) -> None:
    (tmp_path / "long.csv").write_text("place\n" + "x" * 300_000)
    assert "long.csv: cannot be read" in refused("check", "--from", "long.csv", "--parks", "parks.geojson")
    ring = "[" * 300 + "]" * 300
    geometry = f'{{"type": "Polygon", "coordinates": {ring}}}'
    (tmp_path / "deep.geojson").write_text(
        f'{{"type": "Feature", "properties": {{}}, "geometry": {geometry}}}'
    )
    line = refused("check", "--from", "deep.geojson", "--parks", "parks.geojson")
    assert "deep.geojson" in line
    assert len(line) < 1500


@pytest.mark.parametrize("encoding", ["UTF-7", "nonsense"])
def test_fixes_in_an_encoding_that_xml_does_not_take_are_one_line(
    encoding: str, refused: Any, tmp_path: Path
) -> None:
    (tmp_path / "a.gpx").write_text(f'<?xml version="1.0" encoding="{encoding}"?>\n<gpx version="1.1"/>')
    assert "a.gpx" in refused("arrive", "a.gpx", "--parks", "parks.geojson")


def test_a_log_that_is_no_file_is_not_waited_for(refused: Any, tmp_path: Path) -> None:
    start, end = datetime(2026, 2, 14, 18, tzinfo=UTC), datetime(2026, 2, 14, 20, tzinfo=UTC)
    Notebook(tmp_path / "visits.gpkg").add(Visit(10.0, 45.0, start, end, locators=("JN45",)))
    (tmp_path / "log.adi").symlink_to("/dev/zero")
    assert "log.adi: is no regular file" in refused("stamp", "log.adi", "--visit", "1", "--out", ".")


def test_a_position_that_is_cut_off_is_told_of_its_visit(refused: Any, tmp_path: Path) -> None:
    Notebook(tmp_path / "visits.gpkg").add(Visit(10.0, 45.0, datetime(2026, 2, 14, 18, tzinfo=UTC)))
    with closing(sqlite3.connect(tmp_path / "visits.gpkg", isolation_level=None)) as base:
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            base.create_function(name, 1, lambda _: 0)
        base.execute("UPDATE visits SET geom = substr(geom, 1, length(geom) - 3)")
        base.execute("INSERT INTO notebook_kept (made, what, before) VALUES ('x', 'edit', '{')")
    told = "visit 1 cannot be read: it has no position"
    assert told in refused("stamp", "log.adi", "--visit", "1", "--out", ".")
    assert told in refused("visit", "edit", "1", "--call", "Q1AAA")
    assert "what was kept of an edit cannot be read" in refused("visit", "undo")


def test_a_list_among_the_tags_of_a_file_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    geojson(tmp_path / "parks.geojson", [PARK])
    whole = json.loads(
        geojson(tmp_path / "a.geojson", [shapely.LineString([(9.99, 45), (10.01, 45)])]).read_text()
    )
    whole["features"][0]["properties"] = {"name": ["a", "b"], "highway": "path"}
    (tmp_path / "a.geojson").write_text(json.dumps(whole))
    words = ["find", "parks.geojson", "--near", "0", "--access", "a.geojson", "--longest-walk", "5"]
    assert main(words) == 0


def kmz(path: Path, **names: str) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for text in names.values():
            archive.writestr(zipfile.ZipInfo("x"), text)
    return path


def test_a_member_named_with_a_dot_is_read_by_its_own_name(tmp_path: Path) -> None:
    ring = "9.9,44.9 10.1,44.9 10.1,45.1 9.9,44.9"
    mark = (
        f"<Placemark><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
        "</outerBoundaryIs></Polygon></Placemark>"
    )
    with zipfile.ZipFile(tmp_path / "a.kmz", "w") as archive:
        archive.writestr(
            "./doc.kml", f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{mark}</Document></kml>'
        )
        archive.writestr("a//b.txt", "")
    (found,) = read_layers([tmp_path / "a.kmz"])
    assert len(found.frame) == 1


def test_an_archive_of_thousands_of_maps_is_refused_unread(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "many.kmz", "w") as archive:
        for number in range(201):
            archive.writestr(f"{number}.kml", "<kml/>")
    with pytest.raises(InputError, match=r"many\.kmz: holds 201 \.kml files"):
        read_layers([tmp_path / "many.kmz"])


def test_an_archive_that_swells_is_refused_unread(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "bomb.kmz", "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(3):
            with archive.open(f"{number}.kml", "w") as stream:
                for _ in range(60):
                    stream.write(b" " * 2**20)
    with pytest.raises(InputError, match=r"bomb\.kmz: what it holds is larger than 128 MiB"):
        read_layers([tmp_path / "bomb.kmz"])


def test_a_map_of_gigabytes_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "large.kml").open("wb") as stream:
        stream.write(b"<kml>")
        stream.truncate(2**29 + 1)  # takes up no room
    with pytest.raises(InputError, match=r"large\.kml: is larger than 512 MiB"):
        read_layers([tmp_path / "large.kml"])


@pytest.mark.parametrize(
    ("columns", "encoding", "says"),
    [
        (["name", "name", "shape"], "WKB", "several columns called 'name'"),
        (["name", "shape"], "polygon", "not laid out as the file says"),
        (["shape", "name"], "WKB", "not laid out as the file says"),
    ],
)
def test_odd_geoparquet_is_one_line(columns: list[str], encoding: str, says: str, tmp_path: Path) -> None:
    pyarrow = pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
    from pyarrow import parquet

    geo = {"version": "1.1.0", "primary_column": "shape", "columns": {"shape": {"encoding": encoding}}}
    values = [pyarrow.array([1])] * (len(columns) - 1) + [pyarrow.array([shapely.to_wkb(PARK)])]
    table = pyarrow.Table.from_arrays(values, names=columns)
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), tmp_path / "a.parquet")
    with pytest.raises(InputError, match=says):
        read_layers([tmp_path / "a.parquet"])


def test_the_same_ground_thousands_of_times_is_refused_before_the_work() -> None:
    parks = build_parks([layer([PARK] * 600)])
    with pytest.raises(InputError, match="pairs and more of the 600 parks overlap"):
        find_spots(parks, SearchOptions())
    assert len(find_spots(parks, SearchOptions(min_grids=2, near_m=0)).spots) == 1


@pytest.mark.parametrize("parts", [1, 2])
def test_a_hole_without_a_vertex_is_none(parts: int, tmp_path: Path) -> None:
    pyarrow = pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
    from pyarrow import parquet

    ring = [(9.9, 44.9), (10.1, 44.9), (10.1, 45.1), (9.9, 44.9)]
    holed = wkb_polygon(ring, [], [(10.0, 44.95), (10.01, 44.95), (10.0, 44.96), (10.0, 44.95)], [])
    binary = holed if parts == 1 else wkb_many(6, holed, wkb_polygon([(x + 1, y) for x, y in ring]))
    geo = {"version": "1.1.0", "primary_column": "shape", "columns": {"shape": {"encoding": "WKB"}}}
    table = pyarrow.table({"name": ["a"], "shape": pyarrow.array([binary], pyarrow.binary())})
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), tmp_path / "a.parquet")
    (found,) = read_layers([tmp_path / "a.parquet"])
    rings = shapely.get_rings(shapely.get_parts(found.frame.geometry.to_numpy()))
    assert not shapely.is_empty(rings).any()
    assert len(rings) == parts + 1
    # Area and length only: GEOS 3.14 crashes when it relates a shape with an empty hole to another.
    assert found.frame.geometry.iloc[0].area == shapely.from_wkb(binary).area
    assert main(["find", str(tmp_path / "a.parquet"), "--map", str(tmp_path / "a.html")]) == 0


@pytest.mark.parametrize("suffix", [".geojson", ".kml", ".fgb", ".parquet"])
def test_a_part_without_a_vertex_is_none(suffix: str, tmp_path: Path) -> None:
    if suffix == ".parquet":
        pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
    ring = [(9.9, 44.9), (10.1, 44.9), (10.1, 45.1), (9.9, 44.9)]
    shape = wkb_many(6, wkb_polygon(), wkb_polygon(ring), wkb_polygon())
    path = written_shapes(tmp_path / f"a{suffix}", [shape])
    (found,) = read_layers([path])
    parts = shapely.get_parts(found.frame.geometry.to_numpy())
    assert not shapely.is_empty(parts).any()
    assert len(parts) == 1
    # In this order: KML by GEOS 3.14 ended the process.
    for out in ("a.html", "a.kml"):
        option = "--map" if out == "a.html" else "--save"
        assert main(["find", str(path), option, str(tmp_path / f"out-{out}")]) == 0


def test_a_shapefile_is_not_read_beside_a_device(tmp_path: Path) -> None:
    import geopandas as gpd
    from boundary_files import written

    path = written(tmp_path / "a.shp", gpd.GeoDataFrame({"name": ["a"]}, geometry=[PARK], crs=4326))
    path.with_suffix(".dbf").unlink()
    path.with_suffix(".dbf").symlink_to("/dev/zero")
    with pytest.raises(InputError, match=r"a\.dbf beside it is no regular file"):
        read_layers([path])


def test_what_a_library_quotes_at_length_is_cut() -> None:
    line = str(InputError("a.json", "cannot be read (" + "9" * 10_000 + ")", "export it again"))
    assert len(line) < 600
    assert line.startswith("a.json: cannot be read (999")
    assert line.endswith("99); export it again")


def test_no_memory_is_one_line(refused: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any, **__: Any) -> None:
        raise np._core._exceptions._ArrayMemoryError((9**9,), np.dtype(float))

    monkeypatch.setattr("scout.app.find.make_tasks", full)
    assert "not enough memory" in refused("find", "parks.geojson")


def test_what_gdal_says_in_its_own_threads_stays_off_the_terminal(tmp_path: Path) -> None:
    """Bytes changed in thousands of records: GDAL printed "Unable to read geometry"."""
    import random

    from fuzz.damage_formats import MAKERS

    path = MAKERS[".gpkg"]["scattered bytes"](tmp_path / "a.gpkg", tmp_path, random.Random(7))
    code = "import sys; from scout.cli import main; sys.exit(main())"
    words = ["find", str(path), "--top", "1", "--min-grids", "2"]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=120)
    assert all(line.startswith("scout: ") for line in done.stderr.splitlines()), done.stderr


def test_a_notebook_whose_schema_is_no_text_is_one_line(refused: Any, tmp_path: Path) -> None:
    """Bytes that are no UTF-8 among the statements of its tables: sqlite3 could not say what is wrong."""
    assert main(["visit", "add", "--place=45,10", "--start", "2026-02-15T18:05", "--in-park", "P=x"]) == 0
    path = tmp_path / "visits.gpkg"
    data = path.read_bytes()
    at = data.index(b"CREATE TABLE")
    path.write_bytes(data[: at + 7] + b"\x8f\xcc\xff" + data[at + 10 :])
    assert "the file is damaged" in refused("visit", "list")


def test_a_name_of_thousands_of_characters_makes_no_line_of_thousands() -> None:
    """An outing may name such a file or address."""
    from scout.errors import InputError

    line = str(InputError(f"--cluster first{'9' * 5000}.last", "is not there", "name another"))
    assert len(line) < 700
    assert line.startswith("--cluster first9")
    assert line.endswith("9.last: is not there; name another")
