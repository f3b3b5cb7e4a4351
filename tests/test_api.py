"""The library as a notebook uses it: frames in, frames out, the same answers as the command line."""

import json
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

import scout
from scout.cli import main
from scout.quantities import format_probability

ROOT = Path(__file__).resolve().parents[1]
NATURAL_EARTH = ROOT.parent / "shared" / "data" / "ne_10m_parks_area.geojson"


def two_parks(crs="EPSG:4326"):
    """Two parks over the lattice corner 45 N 10 E, the smaller inside the larger."""
    frame = gpd.GeoDataFrame(
        {"code": ["Q-1", "Q-2"], "name": ["Quiet Fen", "Quill Wood"]},
        geometry=[shapely.box(9.9, 44.9, 10.1, 45.1), shapely.box(9.95, 44.95, 10.05, 45.05)],
        crs="EPSG:4326",
    )
    return frame.to_crs(crs)


def test_every_name_of_the_face_is_there_and_sorted():
    assert scout.__all__ == sorted(scout.__all__)
    for name in scout.__all__:
        assert getattr(scout, name) is not None
    assert set(scout.__all__) <= set(dir(scout))
    with pytest.raises(AttributeError):
        scout.nothing  # noqa: B018


def test_importing_scout_imports_nothing_heavy():
    heavy = "{'numpy', 'pandas', 'shapely', 'geopandas', 'click'}"
    code = f"import sys, scout; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert done.stdout.strip() == "[]", done.stderr


def test_find_gives_the_corner_with_four_grids_in_two_parks():
    spots = scout.find(two_parks())
    first = spots.iloc[0]
    assert isinstance(spots, gpd.GeoDataFrame)
    assert spots.crs == "EPSG:4326"
    assert (first["kind"], first["n_grids"], first["n_parks"], first["yield"]) == ("corner", 4, 2, 8)
    assert first["parks"] == ["Q-1", "Q-2"]
    assert first.geometry.distance(shapely.Point(10, 45)) < 1e-4


def test_a_frame_in_another_system_gives_the_same_places():
    plain, moved = scout.find(two_parks()), scout.find(two_parks("EPSG:32632"))
    assert plain["kind"].tolist() == moved["kind"].tolist()
    away = shapely.distance(plain.geometry.to_numpy(), moved.geometry.to_numpy())
    assert away.max() < 1e-6


def test_a_frame_without_a_system_is_refused_with_what_to_call():
    bare = gpd.GeoDataFrame(two_parks(), crs=None).set_crs(None, allow_override=True)
    with pytest.raises(scout.CrsError, match="set_crs"):
        scout.find(bare)


def as_command(tmp_path, *words):
    out = tmp_path / "command.geojson"
    assert main(["find", *map(str, words), "--save", str(out)]) in (0, 1)
    return out.read_bytes()


def test_saved_places_equal_the_commands_to_the_last_byte(tmp_path, capsys):
    path = tmp_path / "parks.geojson"
    two_parks().to_file(path, driver="GeoJSON")
    command = as_command(tmp_path, path, "--home", "45.2,10.1", "--within", 60)
    for number, parks in enumerate((path, [path], gpd.read_file(path), scout.read_parks(path))):
        spots = scout.find(parks, home="45.2, 10.1", within_km=60)
        saved = scout.save(spots, tmp_path / f"library{number}.geojson")
        assert saved.read_bytes() == command
    capsys.readouterr()


@pytest.mark.skipif(not NATURAL_EARTH.exists(), reason="the real boundaries are not here")
def test_real_boundaries_give_the_commands_bytes(tmp_path, capsys):
    command = as_command(tmp_path, NATURAL_EARTH)
    saved = scout.save(scout.find(gpd.read_file(NATURAL_EARTH)), tmp_path / "library.geojson")
    assert saved.read_bytes() == command
    capsys.readouterr()


def test_the_map_shows_itself_and_saves_and_follows_a_filter(tmp_path):
    spots = scout.find(two_parks())
    page = scout.map(spots, title="Two parks")
    assert page._repr_html_().startswith("<iframe srcdoc=")
    assert "Two parks" in page.save(tmp_path / "map.html").read_text(encoding="utf-8")
    corners = scout.map(spots[spots["kind"] == "corner"])
    assert len(corners.html) < len(page.html)
    with pytest.raises(scout.InputError, match=r"scout\.find"):
        scout.map(gpd.GeoDataFrame(spots))


def test_check_answers_for_one_place_and_for_many():
    one = scout.check("45.0, 10.0", two_parks())
    assert (one.verdict, one.parks) == ("firm", ("Q-1", "Q-2"))
    assert len(one.locators) == 4
    assert (
        repr(one)
        == f"<45.0, 10.0: firm {format_probability(one.confidence)}, {' '.join(one.locators)} in Q-1 Q-2>"
    )
    assert "<td>firm, " in one._repr_html_()
    many = scout.check(None, two_parks(), lat=np.array([45.0, 44.0]), lon=np.array([10.0, 10.0]))
    assert [answer.verdict for answer in many] == ["firm", "not counted"]
    assert scout.check([shapely.Point(10, 45)], two_parks())[0].confidence == one.confidence


def test_the_check_equals_the_commands(tmp_path, capsys):
    path = tmp_path / "parks.geojson"
    two_parks().to_file(path, driver="GeoJSON")
    capsys.readouterr()
    main(["check", "45.0003, 10.0002", "--parks", str(path), "--json"])
    said = json.loads(capsys.readouterr().out)[0]
    answer = scout.check("45.0003, 10.0002", path)
    assert (answer.verdict, list(answer.locators), list(answer.parks)) == (
        said["verdict"],
        said["locators"],
        said["parks"],
    )
    assert answer.confidence == pytest.approx(said["confidence"], abs=1e-6)


def test_a_bare_pair_is_refused_with_the_reason():
    with pytest.raises(scout.InputError, match="which comes first"):
        scout.find(two_parks(), home=(45.0, 10.0))
    with pytest.raises(scout.InputError, match="which comes first"):
        scout.check([(45.0, 10.0)], two_parks())


def test_card_and_pack_come_from_the_same_frame():
    spots = scout.find(two_parks())
    assert "Q0DEMO" in scout.card(spots, 1, call="Q0DEMO").html
    assert scout.pack(spots, [1])[:2] == b"PK"


def test_progress_is_told_to_the_callback_and_never_printed(capsys):
    told = []
    scout.find(two_parks(), progress=told.append)
    assert told
    said = capsys.readouterr()
    assert said.out == said.err == ""
