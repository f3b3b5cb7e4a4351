"""GeoParquet: what it unpacks to is known first, and bounds columns are compared all through the file."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from scout.errors import InputError
from scout.io.layers import list_requests, read_layers
from scout.io.parquet import Budget, read_table
from scout.parks.build import build_parks
from scout.parks.indexed import open_index
from scout.search.tiles import check_repeated

pyarrow = pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
from pyarrow import parquet  # noqa: E402

SIDES = ("xmin", "ymin", "xmax", "ymax")


def squares(path: Path, count: int, **columns: list[str]) -> pyarrow.Table:
    """A written file of squares in rows of a hundred, and its table."""
    west, south = np.arange(count) % 100 / 10, np.arange(count) // 100 / 10
    shapes = shapely.box(west, south, west + 0.05, south + 0.05)
    values = columns or {"name": [f"Q{k}" for k in range(count)]}
    frame = gpd.GeoDataFrame(values, geometry=shapes, crs="EPSG:4326")
    frame.to_parquet(path, write_covering_bbox=True)
    return parquet.read_table(path)


def with_column(table: pyarrow.Table, name: str, column: pyarrow.Array) -> pyarrow.Table:
    return table.set_column(table.column_names.index(name), name, column)


def write_plain(path: Path, table: pyarrow.Table, **options: object) -> None:
    """Write without the note by which texts kept once are read as such."""
    with parquet.ParquetWriter(path, table.schema, store_schema=False, compression="zstd", **options) as out:
        out.write_table(table)
        out.add_key_value_metadata({"geo": table.schema.metadata[b"geo"].decode()})


def doubts_of(path: Path) -> tuple[object, list[str]]:
    said: list[str] = []
    return open_index(list_requests(path, None, None)[0], least=1, doubts=said.append), said


def with_boxes(path: Path, count: int, change, group: int, stated: bool = True) -> Path:
    """A file whose bounds columns are changed, as an array of shape (n, 4) that ``change`` is given."""
    table = squares(path, count)
    column = table.column("bbox").combine_chunks()
    sides = np.stack([column.field(side).to_numpy(zero_copy_only=False) for side in SIDES], axis=1).copy()
    change(sides)
    made = pyarrow.StructArray.from_arrays([pyarrow.array(side) for side in sides.T], SIDES)
    if not stated:
        geo = json.loads(table.schema.metadata[b"geo"])
        del geo["columns"]["geometry"]["bbox"]
        table = table.replace_schema_metadata({"geo": json.dumps(geo)})
    parquet.write_table(with_column(table, "bbox", made), path, row_group_size=group)
    return path


def all_to(value: list[float], rows: slice):
    def change(sides):
        sides[rows] = value

    return change


def moved(rows: slice, by: float):
    def change(sides):
        sides[rows] += by

    return change


SPOILT = {
    "zeros in the second half": all_to([0, 0, 0, 0], slice(1000, None)),
    "one box for many in the second half": all_to([1, 1, 1.5, 1.5], slice(1500, 1800)),
    "moved in the second half": moved(slice(1200, None), 0.3),
    "moved a little, in part of the second half": moved(slice(1500, 1600), 0.02),
    "one record at zero": all_to([0, 0, 0, 0], slice(1733, 1734)),
}


@pytest.mark.parametrize("kind", SPOILT)
@pytest.mark.parametrize("group", [2000, 700])
def test_finite_wrong_bounds_deep_in_a_row_group_are_not_believed(kind, group, tmp_path):
    path = with_boxes(tmp_path / "parks.parquet", 2000, SPOILT[kind], group, stated=False)
    found, said = doubts_of(path)
    assert found is None
    assert len(said) == 1
    assert "is not used" in said[0]


def test_a_whole_wrong_row_group_among_many_is_not_believed(tmp_path):
    def spoil(sides):
        sides[1750:1800] += 0.3

    found, said = doubts_of(with_boxes(tmp_path / "parks.parquet", 5000, spoil, 50, stated=False))
    assert found is None
    assert said


def test_bounds_other_than_the_file_states_are_not_believed(tmp_path):
    def spoil(sides):  # wider than the records, which is no contradiction of any of them
        sides[-1, 2:] += 30.0

    assert doubts_of(with_boxes(tmp_path / "a.parquet", 2000, spoil, 2000, stated=False))[0] is not None
    found, said = doubts_of(with_boxes(tmp_path / "b.parquet", 2000, spoil, 2000))
    assert found is None
    assert "other bounds than the file states" in said[0]


@pytest.mark.parametrize("group", [100, 2000])
def test_right_bounds_are_believed(group, tmp_path):
    path = with_boxes(tmp_path / "parks.parquet", 2000, lambda _: None, group)
    found, said = doubts_of(path)
    assert found is not None
    assert said == []
    assert found.compared >= 100


def test_a_broken_ring_whose_columns_say_nothing_is_not_left_out(tmp_path):
    path = tmp_path / "parks.parquet"

    def spoil(sides):
        sides[1500] = np.nan

    table = parquet.read_table(with_boxes(path, 2000, spoil, 2000))
    shapes = table.column("geometry").to_pylist()
    open_ring = np.array([[50.0, 5.0], [50.1, 5.0], [50.1, 5.1], [50.0, 5.1]])
    shapes[1500] = b"\1" + np.array([3, 1, 4], "<u4").tobytes() + open_ring.tobytes()
    parquet.write_table(with_column(table, "geometry", pyarrow.array(shapes)), path)
    assert doubts_of(path)[0] is None
    assert not read_layers(path)[0].frame.geometry.isna().any()


def repeated(count: int, size: int) -> pyarrow.Array:
    return pyarrow.DictionaryArray.from_arrays(np.zeros(count, np.int32), ["a" * size])


@pytest.mark.parametrize("name", ["name", "remark"])
def test_a_long_text_kept_once_for_many_records_is_not_unpacked(name, tmp_path, monkeypatch):
    path = tmp_path / "parks.parquet"
    table = squares(path, 3000, **{name: ["a"] * 3000})
    write_plain(path, with_column(table, name, repeated(3000, 5_000_000)))
    assert path.stat().st_size < 300_000
    sizes = []
    take = Budget.take
    monkeypatch.setattr(Budget, "take", lambda self, some: (sizes.append(some.nbytes), take(self, some)))
    with pytest.raises(InputError, match="unpack to more than"):
        read_layers(path)
    with pytest.raises(InputError, match="unpack to more than"):
        read_table(list_requests(path, None, None)[0].opening, [name])
    assert max(sizes) < 2**28 + 2**20


def test_one_text_of_hundreds_of_megabytes_is_refused_before_it_is_unpacked(tmp_path):
    path = tmp_path / "parks.parquet"
    table = squares(path, 3)
    text = pyarrow.array(["a", "b" * 600_000_000, "c"])
    parquet.write_table(with_column(table, "name", text), path, compression="zstd")
    del text
    assert path.stat().st_size < 1_000_000
    before = pyarrow.total_allocated_bytes()
    with pytest.raises(InputError, match="unpack to more than"):
        read_layers(path)
    assert pyarrow.total_allocated_bytes() <= before


def test_long_texts_that_share_their_beginnings_are_refused(tmp_path):
    path = tmp_path / "parks.parquet"
    table = squares(path, 1500, remark=["a"] * 1500)
    texts = pyarrow.array(["a" * 400_000 + str(k) for k in range(1500)])
    options = {"use_dictionary": False, "column_encoding": {"remark": "DELTA_BYTE_ARRAY"}}
    write_plain(path, with_column(table, "remark", texts), **options)
    with pytest.raises(InputError, match="unpack to more than"):
        read_layers(path)


def test_texts_of_a_usual_length_kept_once_are_read(tmp_path):
    path = tmp_path / "parks.parquet"
    table = squares(path, 3000, name=["a"] * 3000)
    write_plain(path, with_column(table, "name", repeated(3000, 10_000)))
    assert read_layers(path)[0].frame["name"].str.len().eq(10_000).all()
    assert len(read_table(list_requests(path, None, None)[0].opening, ["name"])[1]) == 3000


def test_a_record_over_and_over_is_one_park_of_that_many_records(tmp_path):
    path = tmp_path / "one.parquet"
    parquet.write_table(squares(path, 1).take([0] * 20_000), path, compression="zstd")
    assert path.stat().st_size < 30_000
    parks = build_parks(read_layers(path))  # took a pair for each two records: 200 million
    assert len(parks.frame) == 1
    assert parks.report.records == 20_000
    assert parks.report.merged == 19_999


def test_thousands_of_parks_on_one_place_are_refused_before_they_are_taken_in_pairs():
    bounds = np.tile([1.0, 1.0, 1.5, 1.5], (4001, 1))
    with pytest.raises(InputError, match="have the same bounds"):
        check_repeated(np.concatenate([bounds, [[2.0, 1.0, 2.5, 1.5]]]))
    check_repeated(bounds[:4000])
    check_repeated(np.full((9000, 4), np.nan))


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize(("kind", "deep"), [(7, 32), (7, 34), (7, 500_000), (1007, 500_000), (6, 500_000)])
def test_geometries_in_geometries_without_end_are_not_followed(kind, deep, order, tmp_path):
    """GEOS calls itself for each, and the process would end: GDAL takes 32, and so do we."""
    square = shapely.to_wkb(shapely.box(9.9, 44.9, 10.1, 45.1))
    nested = struct.pack(f"{order}BII", order == "<", kind, 1) * deep + square
    path = tmp_path / "parks.parquet"
    table = squares(path, 2)
    write_plain(path, with_column(table, "geometry", pyarrow.array([nested, square], pyarrow.binary())))
    (layer,) = read_layers(path)
    assert layer.frame.geometry.iloc[-1].equals(shapely.box(9.9, 44.9, 10.1, 45.1))
    assert len(layer.frame) == (2 if deep == 32 else 1)
    assert ["record 1: the geometry cannot be read" in line for line in layer.refused] == [True] * (deep > 32)
