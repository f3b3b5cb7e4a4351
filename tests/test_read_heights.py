"""Heights from GeoTIFFs that rasterio writes, their values known by formula."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
from conftest import REPOSITORY

from scout.errors import CrsError, InputError
from scout.io.local_files import GDAL_OFFLINE
from scout.io.rasters import read_heights
from scout.model import Relief

rasterio = pytest.importorskip("rasterio", reason="heights need the extra `heights`")
from rasterio.transform import Affine  # noqa: E402

UTM = "EPSG:32631"  # metres; its middle meridian is 3 E
EAST, NORTH = 500_000.0, 5_000_000.0
HERE = (2.999, 45.140, 3.012, 45.1535)  # around that corner and some 1 km east and north
GRID = Affine(20, 0, EAST, 0, -20, NORTH + 1600)


def slope(x: Any, y: Any) -> Any:
    """A plane that tells where one is."""
    return 100 + (x - EAST) / 10 + (y - NORTH) / 5


def plane(transform: Affine, rows: int = 80, cols: int = 60) -> Any:
    col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    a, b, c, d, e, f = tuple(transform)[:6]
    return slope(a * col + b * row + c, d * col + e * row + f)


def tif(path: Path, values: Any, transform: Affine = GRID, crs: str | None = UTM, **more: Any) -> Path:
    """One raster; ``more`` are properties to set after opening and options of the driver."""
    after = {
        key: more.pop(key) for key in ("units", "scales", "offsets", "colorinterp", "mask") if key in more
    }
    values = np.atleast_3d(values) if values.ndim == 2 else values
    bands = values.transpose(2, 0, 1) if values.shape[2] <= 4 else values
    count, rows, cols = bands.shape
    shape = {"count": count, "height": rows, "width": cols, "dtype": bands.dtype}
    with rasterio.open(
        path, "w", driver=more.pop("driver", "GTiff"), crs=crs, transform=transform, **shape, **more
    ) as out:
        mask = after.pop("mask", None)
        for key, value in after.items():
            setattr(out, key, value)
        out.write(bands)
        if mask is not None:
            out.write_mask(mask)
    return path


def height_at(relief: Relief, lon: float, lat: float) -> float:
    """Bilinear by the published convention, written apart: cell middles at half numbers."""
    x, y = pyproj.Transformer.from_crs("EPSG:4326", relief.crs, always_xy=True).transform(lon, lat)
    a, b, c, d, e, f = relief.to_pixel
    col, row = a * x + b * y + c - 0.5, d * x + e * y + f - 0.5
    i, j = int(np.floor(row)), int(np.floor(col))
    v, u = row - i, col - j
    block = relief.heights_m[i : i + 2, j : j + 2].astype(float)
    return float(np.array([1 - v, v]) @ block @ np.array([1 - u, u]))


def expected(lon: float, lat: float) -> float:
    return float(slope(*pyproj.Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(lon, lat)))


PLACES = [(3.001, 45.1525), (3.006, 45.1580), (3.0102, 45.1600)]
BOXES = [(lon - 0.0008, lat - 0.0006, lon + 0.0008, lat + 0.0006) for lon, lat in PLACES]
# Turned by 30 degrees about a corner that lies west and north of the places.
COS, SIN = 20 * np.cos(np.pi / 6), 20 * np.sin(np.pi / 6)
TURNED = Affine(COS, SIN, EAST - 1100, SIN, -COS, NORTH + 1100)


@pytest.mark.parametrize(
    "options", [{}, {"tiled": True, "blockxsize": 16, "blockysize": 16}, {"driver": "COG"}]
)
@pytest.mark.parametrize("turned", [False, True])
def test_heights_lie_where_the_raster_has_them(turned: bool, options: dict[str, Any], tmp_path: Path) -> None:
    transform = TURNED if turned else GRID
    found = read_heights(
        [tif(tmp_path / "a.tif", plane(transform, 200, 200).astype("float32"), transform, **options)], BOXES
    )
    assert found.notes == []
    for lon, lat in PLACES:
        heights = [height_at(r, lon, lat) for r in found.reliefs if covers(r, lon, lat)]
        assert heights
        assert heights == pytest.approx([expected(lon, lat)] * len(heights), abs=0.01)
    assert sum(relief.heights_m.size for relief in found.reliefs) < 200 * 200 / 2, "windows, not all of it"


def covers(relief: Relief, lon: float, lat: float) -> bool:
    x, y = pyproj.Transformer.from_crs("EPSG:4326", relief.crs, always_xy=True).transform(lon, lat)
    a, b, c, d, e, f = relief.to_pixel
    rows, cols = relief.heights_m.shape
    return 1 <= a * x + b * y + c <= cols - 1 and 1 <= d * x + e * y + f <= rows - 1


def only(path: Path, **more: Any) -> Relief:
    (relief,) = read_heights([path], [HERE2], **more).reliefs
    return relief


HERE2 = (2.99, 45.14, 3.03, 45.18)  # all of the grid


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        ("", 1.0), ("m", 1.0), ("metre", 1.0), ("ft", 0.3048), ("foot", 0.3048), ("us-ft", 1200 / 3937),
        ("US survey foot", 1200 / 3937), ("ftUS", 1200 / 3937), ("cm", 0.01),
    ],
)  # fmt: skip
def test_units_become_metres(unit: str, metres: float, tmp_path: Path) -> None:
    """The yard and pound agreement of 1959, and the US survey foot of 1893: M."""
    path = tif(tmp_path / "a.tif", np.full((80, 60), 1000, "float32"), units=(unit,))
    assert np.nanmax(only(path).heights_m) == pytest.approx(1000 * metres, rel=1e-6)


def test_a_vertical_system_in_feet_is_understood(tmp_path: Path) -> None:
    """EPSG:8228 is NAVD88 height in feet, EPSG:6360 in US survey feet (EPSG registry, R by pyproj)."""
    for vertical, metres in (("EPSG:8228", 0.3048), ("EPSG:6360", 1200 / 3937), ("EPSG:5703", 1.0)):
        both = f"{UTM}+{vertical.split(':')[1]}"
        relief = only(tif(tmp_path / f"{vertical[5:]}.tif", np.full((80, 60), 1000, "float32"), crs=both))
        assert np.nanmax(relief.heights_m) == pytest.approx(1000 * metres, rel=1e-6)
        assert not pyproj.CRS(relief.crs).is_compound


def test_positions_in_feet_without_a_unit_of_height_are_spoken_of(tmp_path: Path) -> None:
    transform = Affine(66, 0, 1_000_000, 0, -66, 700_000)
    path = tif(tmp_path / "a.tif", np.full((80, 60), 10, "float32"), transform, "EPSG:2263")
    box = pyproj.Transformer.from_crs("EPSG:2263", "EPSG:4326", always_xy=True).transform_bounds(
        1e6, 695e3, 1.003e6, 7e5
    )
    found = read_heights([path], [box])
    assert (
        "does not say in what the heights are (positions: US survey foot); metres are assumed"
        in found.notes[0]
    )
    assert np.nanmax(found.reliefs[0].heights_m) == 10


def test_scale_and_offset_are_applied(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", np.full((80, 60), 1234, "int16"), scales=(0.1,), offsets=(50.0,))
    assert np.nanmax(only(path).heights_m) == pytest.approx(173.4)


@pytest.mark.parametrize("how", ["nodata", "nan", "mask", "alpha", "undeclared", "too high"])
def test_what_is_not_known_is_nan(how: str, tmp_path: Path) -> None:
    values = plane(GRID).astype("float32")
    hole = np.zeros(values.shape, dtype=bool)
    hole[30:40, 20:30] = True
    more: dict[str, Any] = {}
    if how == "mask":
        more["mask"] = np.where(hole, 0, 255).astype("uint8")
    elif how == "alpha":
        values = np.dstack([values.astype("uint16"), np.where(hole, 0, 65535).astype("uint16")])
        more["alpha"] = "unspecified"
        more["colorinterp"] = (rasterio.enums.ColorInterp.gray, rasterio.enums.ColorInterp.alpha)
    else:
        values[hole] = {"nodata": -77, "nan": np.nan, "undeclared": -9999, "too high": 3.4e38}[how]
        more |= {"nodata": -77} if how == "nodata" else {}
    found = read_heights([tif(tmp_path / "a.tif", values, **more)], [HERE2])
    unknown = np.isnan(found.reliefs[0].heights_m)
    assert unknown.sum() == 100
    assert found.reliefs[0].heights_m[~unknown] == pytest.approx(
        plane(GRID)[~hole], abs=1 if how == "alpha" else 0.01
    )
    assert any("no land" in note for note in found.notes) == (how in ("undeclared", "too high"))


def test_fine_rasters_are_averaged_over_what_is_known(tmp_path: Path) -> None:
    fine = Affine(1, 0, EAST, 0, -1, NORTH + 1600)
    values = plane(fine, 800, 600).astype("float32")
    values[0:15, 0:15] = -9999
    relief = only(tif(tmp_path / "a.tif", values, fine))
    assert relief.heights_m.shape == (80, 60)
    assert relief.to_pixel[0] == pytest.approx(0.1)
    assert np.isnan(relief.heights_m[0, 0])
    assert relief.heights_m[1, 1] == pytest.approx(
        values[15:20, 10:20].sum() / 75 + values[10:15, 15:20].sum() / 75, abs=0.01
    )
    assert relief.heights_m[2:, 2:] == pytest.approx(
        plane(Affine(10, 0, EAST, 0, -10, NORTH + 1600))[2:, 2:], abs=0.01
    )


def test_more_cells_than_memory_holds_are_averaged_and_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("scout.io.rasters._MOST_CELLS", 1000)
    found = read_heights([tif(tmp_path / "a.tif", plane(GRID).astype("float32"))], [HERE2])
    assert found.reliefs[0].heights_m.size <= 1000
    assert "averaged to cells of 60 m" in found.notes[0]
    assert height_at(found.reliefs[0], 3.006, 45.158) == pytest.approx(expected(3.006, 45.158), abs=0.01)


def test_degrees_over_the_antimeridian_are_found_from_both_sides(tmp_path: Path) -> None:
    for west, name in ((-180.0, "a.tif"), (179.0, "b.tif")):
        tif(
            tmp_path / name,
            np.full((100, 100), 5, "float32"),
            Affine(0.01, 0, west, 0, -0.01, 1),
            "EPSG:4326",
        )
    for box in ((179.8, 0.2, 180.2, 0.4), (-180.2, 0.2, -179.8, 0.4)):
        found = read_heights([tmp_path / "a.tif", tmp_path / "b.tif"], [box])
        assert [relief.path for relief in found.reliefs] == [str(tmp_path / n) for n in ("a.tif", "b.tif")]
        assert all(relief.heights_m.shape[1] < 30 for relief in found.reliefs)


def test_a_raster_elsewhere_is_noted_and_not_fatal(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(GRID).astype("float32"))
    assert read_heights([path], [(20, 10, 20.1, 10.1)]) == ([], [f"{path}: covers none of the places"])
    found = read_heights([path], [(20, 10, 20.1, 10.1), BOXES[1]])
    assert len(found.reliefs) == 1
    assert found.notes == [f"{path}: covers 1 of 2 regions around the places"]
    assert read_heights([], [HERE]) == ([], [])
    assert read_heights([path], []).reliefs == []


def picture(path: Path) -> Path:
    return tif(path, np.full((80, 60, 3), 9, "uint8"), photometric="RGB")


def palette(path: Path) -> Path:
    tif(path, np.full((80, 60), 1, "uint8"), photometric="PALETTE")
    with rasterio.open(path, "r+") as raster:
        raster.write_colormap(1, {0: (0, 0, 0, 255), 1: (9, 9, 9, 255)})
    return path


def written_as(content: bytes) -> Callable[[Path], Path]:
    def write(path: Path) -> Path:
        path.write_bytes(content)
        return path

    return write


FLAT = np.full((80, 60), 1, "float32")
RECIPE = b"<VRTDataset><SourceFilename>/vsicurl/http://127.0.0.1:1/x.tif</SourceFilename></VRTDataset>"


@pytest.mark.parametrize(
    ("name", "make", "kind", "what"),
    [
        ("a.tif", picture, InputError, "is a picture, not heights"),
        ("a.tif", palette, InputError, "is a picture, not heights"),
        ("a.tif", lambda p: tif(p, FLAT.astype("complex64")), InputError, "complex numbers"),
        ("a.tif", lambda p: tif(p, FLAT, crs=None), CrsError, "does not name its coordinate system"),
        ("a.tif", lambda p: tif(p, FLAT, units=("fathom",)), InputError, "heights in 'fathom' are not"),
        ("a.tif", written_as(b"II*\0 and no more"), InputError, "cannot be read"),
        ("a.tif", written_as(b""), InputError, "the file is empty"),
        ("a.tif", written_as(RECIPE), InputError, "no TIFF"),
        ("a.tif", written_as(b"\x89PNG"), InputError, "no TIFF"),
        ("a.vrt", written_as(RECIPE), InputError, "is not that of a GeoTIFF"),
        ("a.asc", written_as(b"ncols 3"), InputError, "is not that of a GeoTIFF"),
    ],
)  # fmt: skip
def test_what_holds_no_heights_gets_one_line(
    name: str, make: Any, kind: type, what: str, tmp_path: Path
) -> None:
    path = make(tmp_path / name)
    with pytest.raises(kind, match=what) as caught:
        read_heights([path], [HERE])
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


@pytest.mark.filterwarnings("ignore:Dataset has no geotransform", "ignore:The given matrix is equal")
def test_a_raster_without_a_place_is_refused(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", FLAT, Affine.identity())
    with pytest.raises(InputError, match="is not placed on the map"):
        read_heights([path], [HERE])


def leading_elsewhere(path: Path, port: int, beside: str) -> Path:
    """A raster whose overviews are said to be on a server; GDAL follows that."""
    tif(path, plane(GRID).astype("float32"))
    address = f"/vsicurl/http://127.0.0.1:{port}/{path.stem}.tif"
    if beside == ".ovr":
        source = f"<SimpleSource><SourceFilename>{address}</SourceFilename></SimpleSource>"
        band = f'<VRTRasterBand dataType="Float32" band="1">{source}</VRTRasterBand>'
        text = f'<VRTDataset rasterXSize="30" rasterYSize="40">{band}</VRTDataset>'
    else:
        item = f'<MDI key="OVERVIEW_FILE">{address}</MDI>'
        text = f'<PAMDataset><Metadata domain="OVERVIEWS">{item}</Metadata></PAMDataset>'
    path.with_name(path.name + beside).write_text(text)
    return path


@pytest.mark.parametrize("beside", [".ovr", ".aux.xml"])
def test_what_lies_beside_a_raster_leads_nowhere(beside: str, tmp_path: Path) -> None:
    plain = {key: value for key, value in os.environ.items() if "proxy" not in key.lower()}
    look = "import rasterio, sys; raster = rasterio.open(sys.argv[1]); raster.overviews(1)"
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(0.1)
        port = listener.getsockname()[1]
        path = leading_elsewhere(tmp_path / "a.tif", port, beside)
        # Left to itself, in a process of its own since it waits for an answer, GDAL does call.
        subprocess.run(
            [sys.executable, "-c", look, path], env=plain | {"GDAL_HTTP_TIMEOUT": "1"}, check=False
        )
        listener.accept()[0].close()
        with contextlib.suppress(TimeoutError):
            while True:
                listener.accept()[0].close()
        with contextlib.suppress(InputError):
            read_heights([leading_elsewhere(tmp_path / "b.tif", port, beside)], [HERE2])
        # The settings that hold while it reads, put to the question that did call.
        locked = leading_elsewhere(tmp_path / "c.tif", port, beside)
        with (
            contextlib.suppress(rasterio.errors.RasterioError),
            rasterio.Env(**GDAL_OFFLINE),
            rasterio.open(locked) as raster,
        ):
            raster.overviews(1)
        with pytest.raises(TimeoutError):
            listener.accept()


def test_a_recipe_beside_a_raster_is_refused(tmp_path: Path) -> None:
    path = leading_elsewhere(tmp_path / "a.tif", 1, ".ovr")
    with pytest.raises(InputError, match=r"a\.tif\.ovr beside it is no TIFF; remove that file"):
        read_heights([path], [HERE2])


@pytest.mark.parametrize(
    "path",
    [
        "http://127.0.0.1:1/a.tif",
        "/vsicurl/http://127.0.0.1:1/a.tif",
        "/vsizip/a.zip/a.tif",
        "s3://q/a.tif",
    ],
)
def test_only_local_files_are_opened(path: str) -> None:
    with pytest.raises(InputError, match="is not a local file"):
        read_heights([path], [HERE])


def test_a_file_cut_short_gets_one_line(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(GRID, 400, 300).astype("float32"), compress="deflate")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 9])
    with pytest.raises(InputError, match=r"cannot be read.*export it as GeoTIFF again") as caught:
        read_heights([path], [HERE2])
    assert "\n" not in str(caught.value)


def test_without_rasterio_one_line_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tif(tmp_path / "a.tif", FLAT)
    monkeypatch.setitem(sys.modules, "rasterio", None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(
        InputError, match=r"needs rasterio; install it with: pip install lattice-scout\[heights\]"
    ):
        read_heights([path], [HERE])


def test_an_assumed_system_serves_where_none_is_named(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(GRID).astype("float32"), crs=None)
    assert height_at(only(path, assume_crs=UTM), 3.006, 45.158) == pytest.approx(
        expected(3.006, 45.158), abs=0.01
    )
    with pytest.raises(InputError, match="is named twice"):
        read_heights([path, path], [HERE])


def test_bytes_and_several_bands_are_spoken_of(tmp_path: Path) -> None:
    found = read_heights([tif(tmp_path / "a.tif", np.full((80, 60), 200, "uint8"))], [HERE2])
    assert "check that it is no picture" in found.notes[0]
    found = read_heights([tif(tmp_path / "b.tif", np.dstack([FLAT * 7, FLAT * 9]))], [HERE2])
    assert "the first of 2 bands is taken" in found.notes[0]
    assert np.nanmax(found.reliefs[0].heights_m) == 7


def test_the_demos_heights_are_those_of_the_file() -> None:
    path = REPOSITORY / "data_demo" / "heights.tif"
    found = read_heights([path], [(-112.05, -41.02, -111.98, -40.99)])
    with rasterio.open(path) as raster:
        x, y = pyproj.Transformer.from_crs("EPSG:4326", raster.crs, always_xy=True).transform(-112.0, -41.0)
        a, b, c, d, e, f = found.reliefs[0].to_pixel
        here = found.reliefs[0].heights_m[int(d * x + e * y + f), int(a * x + b * y + c)]
        assert here == next(raster.sample([(x, y)]))[0]
    assert found.notes == []
