"""SQLite keeps any value in any column: none may end in a traceback, and what GDAL changes is told."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from boundary_files import written

from scout.cli import main
from scout.io.layers import read_layers
from scout.parks.indexed import ParkReading, open_indexed

VALUES = {
    "text": "'Q-7'",
    "digits": "'12abc'",
    "no UTF-8": "cast(x'80ff41' as text)",
    "bytes": "x'80ff41'",
    "letters as bytes": "x'41'",
    "no bytes": "x''",
    "empty": "''",
    "cut": "'a' || char(0) || 'b'",
    "whole": "7",
    "real": "1.5",
    "endless": "9e999",
    "huge": "9223372036854775807",
    "long": "replace(hex(zeroblob(500000)), '00', 'Qa')",
}
# Of each column the values that GDAL does not change; dates it tells of itself.
KEPT = {
    "code": {"text", "digits", "no UTF-8", "empty", "cut", "whole", "real", "endless", "huge", "long"},
    "number": {"whole", "huge"},
    "size": {"whole", "real", "endless", "huge"},
    "open": {"whole", "huge"},
}


def parks(path: Path, column: str, value: str) -> Path:
    west = np.arange(6.0)
    columns = {
        "code": [f"Q-{k}" for k in range(6)],
        "number": np.arange(6),
        "size": west / 2,
        "open": [True] * 6,
        "since": np.array(["2020-01-02"] * 6, dtype="datetime64[ms]"),
    }
    shapes = shapely.box(west - 0.1, -0.1, west + 0.1, 0.1)
    written(path, gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326"))
    with closing(sqlite3.connect(path)) as database:
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f'drop trigger "{name}"')
        database.execute(f"update parks set {column} = {VALUES[value]} where fid = 2")
        database.commit()
    return path


@pytest.mark.parametrize("value", VALUES)
@pytest.mark.parametrize("column", ["code", "number", "size", "open", "since"])
@pytest.mark.parametrize("role", ["--id-column", "--name-column"])
def test_any_value_in_any_column(role, column, value, tmp_path, capsys, recwarn):
    path = parks(tmp_path / "parks.gpkg", column, value)
    assert main(["find", str(path), role, column, "--min-grids", "2"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    if column == "since":
        return
    told = f"warning: column '{column}' is of type" in said.out
    assert told == (value not in KEPT[column]), said.out
    if told:
        assert "1 of its values are not (record 2 first)" in said.out


def test_the_same_is_told_by_the_index(tmp_path):
    path = parks(tmp_path / "parks.gpkg", "number", "text")
    (layer,) = read_layers(path)
    shelf = open_indexed([path], ParkReading(), least=1)
    assert shelf.sources == (layer.source,)
    (told,) = layer.source.warnings
    assert told.startswith("column 'number' is of type ")
    assert told.endswith(", but 1 of its values are not (record 2 first): they are read as 0 or cut short")
