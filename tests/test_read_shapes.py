"""Records that a Shapefile holds and its index or table leaves out: written by hand from bytes.

ESRI Shapefile Technical Description (1998): headers of 100 bytes, lengths in words of two bytes, big-endian.
"""

from __future__ import annotations

import struct
import zipfile
from pathlib import Path

import pytest

from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_layers

COUNT = 6


def content(k: int) -> bytes:
    """A square polygon of type 5: its bounds, one part, five points."""
    ring = [(k, 0.0), (k, 0.5), (k + 0.5, 0.5), (k + 0.5, 0.0), (k, 0.0)]
    points = b"".join(struct.pack("<2d", *point) for point in ring)
    return struct.pack("<i4d3i", 5, k, 0.0, k + 0.5, 0.5, 1, 5, 0) + points


def record(number: int, k: int) -> bytes:
    return struct.pack(">2i", number, len(content(k)) // 2) + content(k)


def with_header(body: bytes) -> bytes:
    words = (100 + len(body)) // 2
    return (
        struct.pack(">7i", 9994, 0, 0, 0, 0, 0, words)
        + struct.pack("<2i8d", 1000, 5, 0, 0, 9, 9, 0, 0, 0, 0)
        + body
    )


def table(rows: int) -> bytes:
    field = struct.pack("<11sc4xBB14x", b"name", b"C", 4, 0)
    head = struct.pack("<4BIHH20x", 3, 126, 1, 1, rows, 32 + 32 + 1, 5)
    return head + field + b"\r" + b"".join(b" Q%-3d" % k for k in range(rows)) + b"\x1a"


def shapefile(
    path: Path, shapes: list[bytes], entries: list[int], rows: int | None = None, more: bytes = b""
) -> Path:
    """``entries`` are the shapes that the index points to, in its order."""
    places, at = [], 100
    for shape in shapes:
        places.append(struct.pack(">2i", at // 2, len(shape) // 2 - 4))
        at += len(shape)
    path.write_bytes(with_header(b"".join(shapes) + more))
    path.with_suffix(".shx").write_bytes(with_header(b"".join(places[k] for k in entries)))
    path.with_suffix(".dbf").write_bytes(table(len(entries) if rows is None else rows))
    path.with_suffix(".prj").write_text(
        'GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],'
        'PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]'
    )
    return path


WHOLE = [record(k + 1, k) for k in range(COUNT)]
ALL = list(range(COUNT))
EDITED = [WHOLE[0], record(2, 1), *WHOLE[2:], record(2, 1)]  # moved to the end, as an editor of shapes does
SOUND = {
    "whole": (WHOLE, ALL, None, b""),
    "edited": (EDITED, [0, 6, 2, 3, 4, 5], None, b""),
    "of another order": (WHOLE[::-1], ALL[::-1], None, b""),
    "numbered from 0": ([record(k, k) for k in range(COUNT)], ALL, None, b""),
    "not numbered": ([record(0, k) for k in range(COUNT)], ALL, None, b""),
    "with zeros behind": (WHOLE, ALL, None, bytes(300)),
    "with noise behind": (WHOLE, ALL, None, b"\x7f" * 300),
}
LOST = {
    "the last two": (WHOLE, ALL[:4], None, "its .shx leaves out record 5 of the .shp"),
    "the first": (WHOLE, ALL[1:], None, "its .shx leaves out record 1 of the .shp"),
    "one between": (WHOLE, [0, 1, 3, 4, 5], None, "its .shx leaves out record 3 of the .shp"),
    "one for another": (WHOLE, [0, 0, 2, 3, 4, 5], None, "its .shx has two records at one place"),
    "rows": (WHOLE, ALL, 4, "its .dbf has 4 records and its .shx 6"),
    "no row": (WHOLE, ALL, 0, "its .dbf has 0 records and its .shx 6"),
    "all but rows": (WHOLE, ALL[:4], 6, "its .dbf has 6 records and its .shx 4"),
    "of an edited": (EDITED, [0, 6, 2, 3, 4], None, "its .shx leaves out record 6 of the .shp"),
}


def packed(path: Path) -> Path:
    archive = path.with_suffix(".zip")
    with zipfile.ZipFile(archive, "w") as made:
        for part in sorted(path.parent.glob("parks.*")):
            if part != archive:
                made.write(part, f"./some folder/{part.name}")
    return archive


@pytest.mark.parametrize("zipped", [False, True])
@pytest.mark.parametrize("name", SOUND)
def test_sound_shapefiles_are_read(name, zipped, tmp_path):
    shapes, entries, rows, more = SOUND[name]
    path = shapefile(tmp_path / "parks.shp", shapes, entries, rows, more)
    (layer,) = read_layers(packed(path) if zipped else path)
    assert layer.frame["name"].tolist() == [f"Q{k}" for k in range(COUNT)]
    assert layer.frame.geometry.bounds["minx"].tolist() == list(range(COUNT))


@pytest.mark.parametrize("zipped", [False, True])
@pytest.mark.parametrize("name", LOST)
def test_records_left_out_are_not_lost_in_silence(name, zipped, tmp_path):
    shapes, entries, rows, told = LOST[name]
    path = shapefile(tmp_path / "parks.shp", shapes, entries, rows)
    with pytest.raises(InputError) as raised:
        read_layers(packed(path) if zipped else path)
    assert f"{told}: records would be lost; export it again" in str(raised.value)


def test_the_command_ends_with_the_line(tmp_path, capsys):
    path = shapefile(tmp_path / "parks.shp", WHOLE, ALL[:4])
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    assert main(["find", str(path), "--save", str(tmp_path / "out.csv")]) == 2
    told = "its .shx leaves out record 5 of the .shp: records would be lost; export it again"
    assert capsys.readouterr().err == f"scout: {path}: {told}\n"
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before
