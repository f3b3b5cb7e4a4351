"""What is prepared once gives the same spots as the files it was made from, and other programs read it."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pytest
import shapely
from pyarrow import parquet
from test_read_shelf import SEARCHES, country, shelved, whole, written

from scout.app.outputs import export_findings
from scout.app.sources import ParkFiles, read_parks
from scout.cli import main
from scout.parks.indexed import ParkReading, open_indexed


def prepare(*words: str | Path) -> None:
    assert main(["prepare", *map(str, words)]) == 0


def same_spots(one, other) -> None:
    assert list(one.spots) == list(other.spots)
    assert one.left_out == other.left_out
    assert export_findings(one, "a.geojson") == export_findings(other, "a.geojson")
    columns = ["park_id", "park_name", "park_kind", "datum_error_m", "geometry"]
    assert one.parks[columns].equals(other.parks[columns])


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> list[Path]:
    """Two layers that share ids, on different datums, and a cap round the pole drawn as a plain strip."""
    folder = tmp_path_factory.mktemp("two")
    cap = gpd.GeoDataFrame(
        {"code": ["cap"], "name": ["Polar Cap"]},
        geometry=[shapely.box(-180, 85.2, 180, 90)],
        crs=4326,
    )
    return [
        written(folder / "old.gpkg", country(count=200).set_crs(4269, allow_override=True)),
        written(folder / "new.geojson", country(seed=3, count=120)),
        written(folder / "cap.geojson", cap),
    ]


@pytest.mark.parametrize("options", SEARCHES, ids=["lines", "overlaps", "home", "area"])
def test_the_same_spots_are_found(files, tmp_path, options):
    ready = tmp_path / "ready.parquet"
    prepare(*files, ready)
    expected = whole(files, options)
    assert len(expected.spots) > 20
    same_spots(whole([ready], options), expected)
    same_spots(shelved([ready], options), expected)
    same_spots(shelved([ready], options, most=40), expected)


def test_what_was_prepared_can_be_prepared_again(files, tmp_path):
    first, second = tmp_path / "one.parquet", tmp_path / "two.parquet"
    prepare(*files, first)
    prepare(first, second)
    options = SEARCHES[1]
    same_spots(whole([second], options), whole([first], options))


def test_corridors_and_columns_are_carried_along(tmp_path):
    lines = gpd.GeoDataFrame(
        {"ref": ["t1", "t2"], "permit": ["=1+1", None]},
        geometry=shapely.linestrings([[(9.9, 44.99), (10.1, 45.01)], [(11, 45), (13, 45.1)]]),
        crs=4326,
    )
    plain, ready = written(tmp_path / "trails.geojson", lines), tmp_path / "trails.parquet"
    prepare(plain, ready, "--corridor", "30", "--keep", "permit")
    expected = whole([plain], SEARCHES[0], corridor_m=30.0, keep=("permit",))
    found = whole([ready], SEARCHES[0], keep=("permit",))
    same_spots(found, expected)
    assert found.parks.park_kind.tolist() == ["corridor"] * len(found.parks)
    assert found.parks.attributes.tolist() == expected.parks.attributes.tolist()


def test_other_programs_read_it(files, tmp_path):
    ready = tmp_path / "ready.parquet"
    prepare(*files, ready)
    frame = gpd.read_parquet(ready)
    assert frame.crs == "OGC:CRS84"
    assert frame.geometry.is_valid.all()
    geo = json.loads(parquet.read_schema(ready).metadata[b"geo"])
    assert geo["version"] == "1.1.0"  # GeoParquet 1.1.0, section "Covering": named columns hold the bounds
    boxes = parquet.read_table(ready, columns=["bbox"])["bbox"].to_pylist()
    sides = [[box[side] for side in ("xmin", "ymin", "xmax", "ymax")] for box in boxes]
    assert np.array_equal(sides, frame.bounds.to_numpy())
    near = gpd.read_parquet(ready, bbox=(178, -1, 179, 1))
    assert 0 < len(near) < len(frame)


def test_near_parks_lie_together(tmp_path, monkeypatch):
    monkeypatch.setattr("scout.app.prepare._ROWS", 50)
    ready = tmp_path / "ready.parquet"
    prepare(written(tmp_path / "isles.gpkg", country(count=600)), ready)
    file = parquet.ParquetFile(ready)
    assert file.num_row_groups > 5
    sizes = []
    for group in range(file.num_row_groups):
        boxes = file.read_row_group(group, ["bbox"])["bbox"].to_pylist()
        sizes.append(max(box["ymax"] for box in boxes) - min(box["ymin"] for box in boxes))
    assert np.median(sizes) < 4.0  # of the six degrees that all of them span


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--parks", "only.parquet"], "--out: no file to write is named; add --out OUT.parquet"),
        (["isles.gpkg", "out.gpkg"], "out.gpkg: what is prepared is GeoParquet; name it .parquet"),
        (["isles.gpkg", "nowhere/out.parquet"], "there is no folder nowhere"),
        (["missing.gpkg", "out.parquet"], "missing.gpkg: there is no such file"),
        (["isles.gpkg", "out.parquet", "--keep", "hours"], "there is no column 'hours'"),
    ],
)
def test_one_line_and_nothing_written(tmp_path, monkeypatch, capsys, words, line):
    written(tmp_path / "isles.gpkg", country(count=30))
    monkeypatch.chdir(tmp_path)
    assert main(["prepare", *words]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 1
    assert line in told[0]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["isles.gpkg"]


def test_what_was_repaired_is_told(tmp_path, capsys):
    prepare(written(tmp_path / "isles.gpkg", country(count=60)), tmp_path / "out.parquet")
    assert "made valid" in capsys.readouterr().out


@pytest.mark.parametrize("text", ["[1]", '{"Manager": 1}', "{"])
def test_details_that_are_damaged_are_one_line(tmp_path, capsys, text):
    ready = tmp_path / "ready.parquet"
    prepare(written(tmp_path / "isles.gpkg", country(count=30)), ready)
    table = parquet.read_table(ready)
    at = table.schema.get_field_index("scout:details")
    told = pa.array([text] * len(table), pa.string())
    parquet.write_table(table.set_column(at, table.schema.field(at), told), ready)
    capsys.readouterr()
    assert main(["find", "--parks", str(ready)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.endswith("its column scout:details is damaged; prepare it again")


@pytest.mark.parametrize(
    ("words", "asked", "parks", "compared"),
    [
        ((), {}, 2, False),
        ((), {"same_ground": 0.95}, 2, False),
        (("--same-ground", "0.999"), {}, 2, True),
        (("--keep", "other"), {}, 3, False),
        (("--keep", "other"), {"name_column": "other"}, 2, True),
        (("--same-ground", "0"), {}, 2, True),
        (("--same-ground", "0"), {"same_ground": 0.0}, 3, False),
        (("--pieces", "apart"), {}, 2, True),
        (("--pieces", "apart"), {"join_pieces": False}, 3, False),
    ],
)
def test_what_was_compared_when_it_was_prepared_is_not_compared_again(
    tmp_path, words, asked, parks, compared
):
    """A park told twice; or one of two pieces, whose ids are a database's."""
    if "--pieces" in words:
        table = {"objectid": [1, 2, 3], "name": ["Long Fen", "Long Fen", "Dune"]}
        shapes = [shapely.box(0, 45, 1, 46), shapely.box(1, 45, 2, 46), shapely.box(9, 45, 10, 46)]
    else:
        second = "Moor" if "--keep" in words else "Dune"
        table = {"code": ["Q-F", "Q-D", "Q-E"], "name": ["Long Fen", "Dune", second], "other": [*"abb"]}
        shapes = [shapely.box(0, 45, 1, 46), shapely.box(9, 45, 10, 46), shapely.box(9, 45, 10, 46.01)]
    plain, ready = tmp_path / "parks.geojson", tmp_path / "ready.parquet"
    prepare(
        "--parks", written(plain, gpd.GeoDataFrame(table, geometry=shapes, crs=4326)), "--out", ready, *words
    )
    said: list[str] = []
    found = open_indexed([ready], ParkReading(**asked), said.append, least=1)
    assert found is not None
    assert len(found.ids) == parks
    assert any(line.startswith("comparing") for line in said) == compared
    whole_parks = read_parks(ParkFiles((str(ready),), **asked), lambda _: None)
    assert whole_parks.frame["park_name"].tolist() == list(found.names)
    told = [note for note in found.report.notes if "under different names" in note]
    assert told == [note for note in whole_parks.report.notes if "under different names" in note]
    assert len(told) == ("--keep" in words and not asked)
