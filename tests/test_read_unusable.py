"""Files and layers that cannot be used, among others that can."""

import geopandas as gpd
import pytest
import shapely

from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.io.unusable import Unusable
from scout.parks.indexed import ParkReading, open_indexed

READING = ParkReading(None, None, None, None, None, (), True)


def parks(path, number, crs="EPSG:4326", **more):
    box = shapely.box(9.9 + number, 44.9, 10.1 + number, 45.1)
    frame = gpd.GeoDataFrame({"code": [f"Q-{number}"]}, geometry=[box], crs=crs)
    frame.to_file(path, **more)
    return str(path)


@pytest.fixture
def folder(tmp_path):
    """Two sound files, a damaged one, an empty one."""
    files = [parks(tmp_path / "a.geojson", 0), parks(tmp_path / "b.gpkg", 1)]
    for name, content in (("c.geojson", '{"type": "FeatureColl'), ("d.geojson", "")):
        (tmp_path / name).write_text(content, encoding="utf-8")
        files.append(str(tmp_path / name))
    return files


def test_what_can_be_used_is_used_and_the_rest_is_told(folder, capsys):
    assert main(["find", *folder]) == 0
    said = capsys.readouterr()
    assert "Q-0" in said.out
    assert "Q-1" in said.out
    assert "Note: 2 files or layers could not be used" in said.out
    assert "Refused: " in said.out
    assert "c.geojson" in said.out
    assert "d.geojson: the file is empty" in said.out
    assert said.err == ""


def test_strict_ends_at_the_first(folder, capsys):
    assert main(["find", *folder, "--strict"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "c.geojson" in said.err or "d.geojson" in said.err


def test_nothing_left_is_refused_with_a_count(folder):
    with pytest.raises(InputError, match="nor can 1 more be used"):
        read_layers(folder[2:], unusable=Unusable(strict=False))


def test_a_slip_is_refused_whatever_else_there_is(folder, tmp_path, capsys):
    for slip, what in (("gone.geojson", "no such file"), ("x.txt", "suffix")):
        (tmp_path / "x.txt").write_text("x", encoding="utf-8")
        assert main(["find", *folder, str(tmp_path / slip)]) == 2
        assert what in capsys.readouterr().err
    assert main(["find", *folder, "--layer", "no-such"]) == 2
    assert "has no layer 'no-such'" in capsys.readouterr().err


def test_a_damaged_layer_leaves_the_others_of_its_file(tmp_path):
    """A layer that names no coordinate system, beside one that does."""
    path = tmp_path / "two.gpkg"
    parks(path, 0, layer="sound")
    bare = gpd.GeoDataFrame({"code": ["Q-9"]}, geometry=[shapely.box(5e5, 5e6, 6e5, 5.1e6)])
    with pytest.warns(UserWarning, match="crs"):
        bare.to_file(path, layer="bare")
    out = Unusable(strict=False)
    layers = read_layers([path], unusable=out)
    assert [layer.source.layer for layer in layers] == ["sound"]
    assert [error.where for error in out.errors] == [f"{path} (layer bare)"]


def test_by_index_the_same_is_left_out(folder):
    out = Unusable(strict=False)
    source = open_indexed(folder, READING, least=1, unusable=out)
    assert source is not None
    assert sorted(source.ids) == ["Q-0", "Q-1"]
    assert sorted(error.where.rsplit("/", 1)[-1] for error in out.errors) == ["c.geojson", "d.geojson"]
    assert source.report.notes[0] == "2 files or layers could not be used"
    with pytest.raises(InputError):
        open_indexed(folder, READING, least=1)
