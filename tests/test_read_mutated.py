"""Files changed at random give parks or one line, never a traceback; the seed is fixed."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from boundary_files import written

from scout.errors import ScoutError
from scout.io.layers import read_layers
from scout.parks.build import build_parks


def mutated(data: bytes, chance: random.Random) -> bytes:
    """Cut short, with a piece lost or put in, or with some bytes changed."""
    changed = bytearray(data)
    at = chance.randrange(len(changed))
    way = chance.random()
    if way < 0.15:
        del changed[at:]
    elif way < 0.3:
        del changed[at : at + chance.randrange(1, 200)]
    elif way < 0.4:
        changed[at:at] = chance.randbytes(chance.randrange(1, 30))
    else:
        for _ in range(chance.choice((1, 3, 20, 200))):
            changed[chance.randrange(len(changed))] = chance.choice(
                b'\x00\xff\x7f\x80"{<' + chance.randbytes(9)
            )
    return bytes(changed)


def outcome(path: Path) -> str:
    """The error in one line, or nothing where parks come out as they must be."""
    try:
        frame = build_parks(read_layers([path]), corridor_m=30).frame
    except ScoutError as error:
        return str(error)
    assert frame.geometry.is_valid.all()
    assert frame.geometry.bounds.minx.between(-200, 180, inclusive="left").all()
    return ""


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "shp", "zip", "fgb", "parquet", "kml", "kmz"])
def test_a_file_changed_at_random_gives_parks_or_one_line(suffix: str, tmp_path: Path) -> None:
    shapes = [shapely.Point(170 + n, 10).buffer(0.6) for n in range(20)]
    names = [f"Парк {n}" for n in range(20)]
    frame = gpd.GeoDataFrame({"ref": range(100, 120), "name": names}, geometry=shapes, crs="EPSG:4326")
    whole = written(tmp_path / f"whole.{suffix}", frame.to_crs(3832) if suffix in ("gpkg", "shp") else frame)
    chance = random.Random(suffix)
    for turn in range(25):
        path = tmp_path / f"{turn}.{suffix}"
        path.write_bytes(whole.read_bytes())
        parts = [path]
        if suffix == "shp":
            for part in (".shx", ".dbf", ".prj", ".cpg"):
                parts.append(Path(shutil.copy(whole.with_suffix(part), path.with_suffix(part))))
        hit = chance.choice(parts)
        hit.write_bytes(mutated(hit.read_bytes(), chance))
        assert "\n" not in outcome(path)
