"""Height rasters that are damaged, take all memory or point elsewhere: one line each; and .hgt tiles."""

from __future__ import annotations

import bz2
import contextlib
import gzip
import resource
import socket
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import REPOSITORY
from rasters import DEGREES, hgt_bytes, tiff_bytes

from scout.errors import CrsError, InputError
from scout.io.rasters import read_heights
from scout.walk.terrain import interpolate_heights

pytest.importorskip("rasterio", reason="heights need the extra `heights`")

HERE = [(-20.01, 44.99, -19.99, 45.01)]
FLAT = zlib.compress(bytes(10**6))


def refusal(path: Path, boxes: Any = HERE) -> str:
    """The one line that a raster is refused with."""
    with pytest.raises(InputError) as caught:
        read_heights([path], boxes)
    line = str(caught.value)
    assert line.startswith(str(path))
    assert "\n" not in line
    return line


def written(path: Path, content: bytes, beside: bytes | None = None) -> Path:
    path.write_bytes(content)
    if beside is not None:
        path.with_name(f"{path.name}.aux.xml").write_bytes(beside)
    return path


def test_the_sound_raster_that_the_others_are_made_of_is_read(tmp_path: Path) -> None:
    (relief,) = read_heights([written(tmp_path / "a.tif", tiff_bytes())], HERE).reliefs
    assert np.nanmax(relief.heights_m) == np.nanmin(relief.heights_m) == 5.0


@pytest.mark.parametrize(
    "made",
    [
        {"wide": 40_000, "high": 40_000, "packing": 8},
        {"wide": 40_000, "high": 20_000, "packing": 5, "data": b"\x80\0" * 20},
        {"wide": 40_000, "high": 20_000, "packing": 32773, "data": b"\x81\0" * 20},
        {"wide": 2000, "high": 2000, "packing": 8, "samples": 300},
        {"wide": 2**31 - 1, "high": 2**31 - 1, "packing": 8},
        {"wide": 30_000, "high": 30_000, "packing": 1, "data": bytes(100)},
    ],
)
def test_a_strip_that_unpacks_to_gigabytes_is_refused_before_it_is(
    made: dict[str, Any], tmp_path: Path
) -> None:
    path = written(tmp_path / "a.tif", tiff_bytes(**{"data": FLAT, **made}))
    assert path.stat().st_size < 10_000
    code = f"from scout.io.rasters import read_heights; read_heights({str(path)!r}, {HERE})"
    bound = 2 * 2**30
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=REPOSITORY,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (bound, bound)),
        capture_output=True,
        text=True,
    )
    assert "unpacks to" in done.stderr
    assert "GB; export it" in done.stderr


def test_strips_of_an_overview_or_a_mask_are_looked_at_too(tmp_path: Path) -> None:
    for suffix in (".ovr", ".msk"):
        path = written(tmp_path / f"a{suffix[1]}.tif", tiff_bytes())
        path.with_name(path.name + suffix).write_bytes(tiff_bytes(40_000, 40_000, packing=8, data=FLAT))
        with pytest.raises(InputError, match=r"unpacks to 6\.4 GB"):
            read_heights([path], HERE)


def test_one_large_strip_that_the_file_does_hold_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    with path.open("wb") as stream:
        stream.write(tiff_bytes(9000, 9000, cell_deg=0.0001, corner=(-20.45, 45.45), data=b""))
        stream.truncate(stream.tell() + 4 * 9000 * 9000)
    assert read_heights([path], HERE).reliefs


@pytest.mark.parametrize("cell_deg", [0.1 / 60_000, 1e-9])
def test_more_cells_than_can_be_read_are_refused(cell_deg: float, tmp_path: Path) -> None:
    data = zlib.compress(bytes(240_000))
    content = tiff_bytes(
        60_000, 60_000, rows=1, packing=8, data=data, cell_deg=cell_deg, corner=(-20.05, 45.05)
    )
    path = written(tmp_path / "a.tif", content)
    assert "3.6 thousand million cells lie around the places" in refusal(
        path, [(-20.06, 44.94, -19.94, 45.06)]
    )


def test_cells_of_a_hair_are_averaged_a_piece_at_a_time(tmp_path: Path) -> None:
    content = tiff_bytes(20_000, 20_000, rows=1, packing=8, data=zlib.compress(bytes(80_000)), cell_deg=1e-9,
                         corner=(-20.0, 45.0))  # fmt: skip
    (relief,) = read_heights([written(tmp_path / "a.tif", content)], HERE).reliefs
    assert relief.heights_m.shape == (9, 9)
    assert (relief.heights_m == 0).all()


USER = 32767  # a system of one's own
URL = b"http://127.0.0.1:%d/x|"
MOON = (
    1,
    1,
    0,
    6,
    1024,
    0,
    1,
    2,
    2048,
    0,
    1,
    32767,
    2050,
    0,
    1,
    32767,
    2056,
    0,
    1,
    32767,
    2057,
    34736,
    1,
    0,
    2058,
    34736,
    1,
    0,
)


@pytest.mark.parametrize(
    ("made", "what"),
    [
        ({"keys": None}, "does not name its coordinate system"),
        ({"keys": (1, 1)}, "does not name its coordinate system"),
        ({"keys": (1, 1, 0, 500, 1024, 0, 1, 2)}, "does not name its coordinate system"),
        ({"keys": (1, 1, 0, 2, 1024, 0, 1, 2, 2048, 0, 1, 9999)}, "EPSG:9999 is not known"),
        ({"keys": (1, 1, 0, 2, 1024, 0, 1, 1, 3072, 0, 1, 29999)}, "EPSG:29999 is not known"),
        ({"keys": (1, 1, 0, 2, 1024, 0, 1, 3, 2048, 0, 1, 4978)}, "not one of places on the Earth"),
        ({"keys": MOON, "doubles": (1737400.0,)}, ""),
        ({"keys": (1, 1, 0, 3, 1024, 0, 1, 2, 2049, 34737, 500, 900, 2048, 0, 1, 4326), "ascii_": b"a|"}, ""),
        ({"keys": (1, 1, 0, 3, 1024, 0, 1, 1, 3073, 34737, 2, 0, 3072, 0, 1, USER), "ascii_": b"\xff|"}, ""),
    ],
)  # fmt: skip
def test_damaged_keys_and_systems_of_other_bodies_get_one_line(made: Any, what: str, tmp_path: Path) -> None:
    assert what in refusal(written(tmp_path / "a.tif", tiff_bytes(**made)))


def test_a_system_nobody_knows_is_an_error_of_systems(tmp_path: Path) -> None:
    path = written(tmp_path / "a.tif", tiff_bytes(keys=(1, 1, 0, 2, 1024, 0, 1, 2, 2048, 0, 1, 9999)))
    with pytest.raises(CrsError):
        read_heights([path], HERE)


@pytest.mark.parametrize(
    "beside",
    [
        b'<PAMDataset><SRS>PROJCS["x",GEOGCS["y"]]</SRS></PAMDataset>',
        b"<PAMDataset><SRS>EPSG:999999</SRS></PAMDataset>",
        b"<PAMDataset><SRS>/etc/hostname</SRS></PAMDataset>",
        b"<PAMDataset><SRS>+proj=longlat +R=1737400</SRS></PAMDataset>",
        b"<PAMDataset><SRS>IAU_2015:30100</SRS></PAMDataset>",
        b"<PAMDataset><GeoTransform>nan,nan,nan,nan,nan,nan</GeoTransform></PAMDataset>",
        b'<PAMDataset><GCPList Projection="EPSG:99999"><GCP Id="1" Pixel="0" Line="0" X="a" Y="x"/></GCPList>'
        b"</PAMDataset>",
        b'<PAMDataset><PAMRasterBand band="1"><GDALRasterAttributeTable><Row index="9"><F>1</F></Row>'
        b"</GDALRasterAttributeTable></PAMRasterBand></PAMDataset>",
    ],
)  # fmt: skip
def test_what_is_damaged_beside_a_raster_gets_one_line(beside: bytes, tmp_path: Path) -> None:
    refusal(written(tmp_path / "a.tif", tiff_bytes(keys=None), beside))


def test_no_address_inside_a_raster_is_asked(tmp_path: Path) -> None:
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        server.setblocking(False)
        address = URL % server.getsockname()[1]
        long = len(address)
        overviews = b'<Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/vsicurl/%s</MDI></Metadata>'
        kinds = {
            "citation": ((1, 1, 0, 3, 1024, 0, 1, 2, 2049, 34737, long, 0, 2048, 0, 1, USER), None),
            "projected": ((1, 1, 0, 3, 1024, 0, 1, 1, 3073, 34737, long, 0, 3072, 0, 1, USER), None),
            "beside": (DEGREES, b"<PAMDataset><SRS>%s</SRS></PAMDataset>" % address[:-1]),
            "overviews": (DEGREES, b"<PAMDataset>%s</PAMDataset>" % (overviews % address[:-1])),
        }
        for name, (keys, beside) in kinds.items():
            path = written(tmp_path / f"{name}.tif", tiff_bytes(keys=keys, ascii_=address), beside)
            with contextlib.suppress(InputError):
                read_heights([path], HERE)
        with pytest.raises(BlockingIOError):
            server.accept()


# --- tiles of the radar mission: big-endian, 1201 or 3601 rows, placed by name (M; GDAL's driver, R)


def make_hgt(kind: str, folder: Path) -> Path:
    name, data = "N44W021.hgt", hgt_bytes()
    path = folder / f"{name}{kind}"
    if kind == ".zip":
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(f"L/{name}", data)
            archive.writestr("L/N44W022.hgt", data)
    else:
        path.write_bytes(gzip.compress(data) if kind == ".gz" else data)
    return path


@pytest.mark.parametrize("kind", ["", ".zip", ".gz"])
def test_a_tile_lies_where_its_name_says(kind: str, tmp_path: Path) -> None:
    """Rows run from 45 N down, columns from 21 W east; the first of each lie on those lines."""
    box = [(-20.8, 44.4, -20.7, 44.5)]
    found = read_heights([make_hgt(kind, tmp_path)], box)
    lon, lat = np.array([-20.75, -20.775]), np.array([44.45, 44.425])
    assert interpolate_heights(found.reliefs, lon, lat) == pytest.approx(
        100 + 2 * (45 - lat) * 1200, abs=0.01
    )


def test_its_unknown_cells_are_unknown_and_its_edges_are_shared(tmp_path: Path) -> None:
    path = make_hgt("", tmp_path)
    found = read_heights([path], [(-21.0, 44.9, -20.9, 45.0)])
    place = np.array([-21 + 7 / 1200]), np.array([45 - 5 / 1200])
    assert np.isnan(interpolate_heights(found.reliefs, *place)).all()
    assert interpolate_heights(found.reliefs, np.array([-21.0]), np.array([45.0])) == pytest.approx([100])


@pytest.mark.parametrize(
    ("name", "content", "what"),
    [
        ("mine.hgt", hgt_bytes(), "does not say where the tile lies; name it by its south-west corner"),
        ("N95W021.hgt", hgt_bytes(), "does not say where"),
        ("N44W021.hgt", hgt_bytes()[:-2], "are no square of 1201 or 3601 rows"),
        ("N44W021.hgt", b"\0", "are no square"),
        ("N44W021.hgt", b"", "is empty"),
        ("N44W021.hgt.gz", gzip.compress(hgt_bytes(), mtime=0)[:-9], "cannot be unpacked"),
        ("N44W021.hgt.gz", b"plain", "cannot be unpacked"),
        ("N44W021.tif.gz", gzip.compress(b"II*\0", mtime=0), "is no .hgt tile"),
        ("N44W021.hgt.bz2", bz2.compress(hgt_bytes()), "is not that of a GeoTIFF"),
        ("N44W021.hgt.zip", b"plain", "is no zip archive"),
    ],
)
def test_what_is_no_tile_gets_one_line(name: str, content: bytes, what: str, tmp_path: Path) -> None:
    assert what in refusal(written(tmp_path / name, content))


def test_a_tile_that_unpacks_to_too_much_gets_one_line(tmp_path: Path) -> None:
    content = gzip.compress(bytes(500_000_000), mtime=0)
    assert "is larger than 24 MiB" in refusal(written(tmp_path / "N44W021.hgt.gz", content))


def test_an_archive_without_a_tile_gets_one_line(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("a.txt", "b")
    assert "holds no .hgt tile" in refusal(tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "b.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("N44W021.hgt", bytes(2**28))
    assert "268,435,456 bytes are no square" in refusal(tmp_path / "b.zip")
