"""The commands as a user types them, each in a process of its own where the process matters."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import shapely

from scout.cli import main

ROOT = Path(__file__).resolve().parents[1]


def scout(*arguments, cwd=None):
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from scout.cli import main; sys.exit(main())",
            *map(str, arguments),
        ],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
        timeout=120,
    )


def park_file(path, *boxes):
    features = [
        {
            "type": "Feature",
            "properties": {"id": f"{path.stem}-{k}", "name": name},
            "geometry": shapely.geometry.mapping(box),
        }
        for k, (name, box) in enumerate(boxes)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


@pytest.fixture
def corner_park(tmp_path):
    return park_file(tmp_path / "parks.geojson", ("Ёлка <b>公園</b>", shapely.box(9.9, 44.9, 10.1, 45.1)))


def test_find_prints_the_ranking_and_writes_what_was_asked_for(corner_park, tmp_path):
    done = scout(
        "find", corner_park, "--home", "-45.5,10", "--map", tmp_path / "m.html",
        "--save", tmp_path / "s.geojson", "--save", tmp_path / "s.csv",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "corner" in done.stdout
    assert "4 x 1 = 4" in done.stdout
    assert "Ёлка" in done.stdout
    assert "id from column id" in done.stdout
    assert "permission" in done.stdout
    assert {p.name for p in tmp_path.iterdir()} == {"parks.geojson", "m.html", "s.geojson", "s.csv"}
    assert json.loads((tmp_path / "s.geojson").read_text(encoding="utf-8"))["features"]


def test_top_cuts_the_list_and_not_what_is_saved(corner_park, tmp_path):
    both = park_file(
        tmp_path / "two.geojson",
        ("One", shapely.box(9.9, 44.9, 10.1, 45.1)),
        ("Two", shapely.box(11.9, 44.9, 12.1, 45.1)),
    )
    done = scout("find", both, "--top", 1, "--save", tmp_path / "all.geojson")
    assert "ranked below the best 1" in done.stdout
    assert len(json.loads((tmp_path / "all.geojson").read_text())["features"]) == 2
    scout("find", both, "--top", 1, "--save-listed", "--save", tmp_path / "one.geojson")
    assert len(json.loads((tmp_path / "one.geojson").read_text())["features"]) == 1


def test_nothing_found_is_status_1(tmp_path):
    quiet = park_file(tmp_path / "q.geojson", ("Quiet", shapely.box(10.3, 45.3, 10.4, 45.4)))
    done = scout("find", quiet)
    assert done.returncode == 1
    assert (
        "Nothing found: no line of the square grid runs through or within 500 m of the 1 park searched"
        in (done.stdout)
    )


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--level", "cell"], "use one of field, square, subsquare, extended, fifth"),
        (["--home", "-116,34"], "latitude comes first"),
        (["--within", "10"], "add --home LAT,LON"),
        (["--station-radius", "0"], "give a radius over 0"),
        (["--fix-error", "-1"], "is not a length"),
        (["--fix-error", "nan"], "is not a length"),
        (["--save", "x.xlsx"], "use .geojson or .csv"),
        (["--map", "x.pdf"], "name it .html"),
        (["--map", "nowhere/x.html"], "there is no folder nowhere"),
        (["--id-column", "idd"], "id"),
        (["--no-such-option"], "no-such-option"),
        (["--top", "0"], "top"),
        (["--area", "1,2,3"], "SOUTH,WEST,NORTH,EAST"),
    ],
)
def test_a_bad_argument_is_one_line_and_status_2(corner_park, arguments, says, capsys, monkeypatch):
    monkeypatch.chdir(corner_park.parent)
    assert main(["find", "parks.geojson", *arguments]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    assert says in shown.err
    assert [p.name for p in corner_park.parent.iterdir()] == ["parks.geojson"]


@pytest.mark.parametrize(
    ("words", "line"),
    [([], "\n  grid     Show the cell of a locator,"), (["visit"], "\n  add     Write a visit down.\n")],
    ids=["scout", "visit"],
)
def test_a_missing_command_shows_the_help_with_its_line_breaks(words, line, capsys):
    assert main(words) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith(f"Usage: {' '.join(['scout', *words])} [OPTIONS] COMMAND [ARGS]...\n\n")
    assert line in shown.err
    assert main([*words, "--help"]) == 0
    assert capsys.readouterr().out == shown.err


def test_an_output_over_an_input_is_refused(corner_park, capsys):
    before = corner_park.read_bytes()
    assert main(["find", str(corner_park), "--save", str(corner_park)]) == 2
    assert "one of the files to read" in capsys.readouterr().err
    assert corner_park.read_bytes() == before


def test_a_missing_file_is_one_line_and_an_old_map_stays_whole(tmp_path, capsys):
    old = tmp_path / "m.html"
    old.write_text("old")
    assert main(["find", str(tmp_path / "none.geojson"), "--map", str(old)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert old.read_text() == "old"


def test_control_characters_of_data_do_not_reach_the_terminal(tmp_path):
    park = park_file(tmp_path / "p.geojson", ("Red\x1b[31m Hill\x07", shapely.box(9.9, 44.9, 10.1, 45.1)))
    done = scout("find", park)
    assert done.returncode == 0, done.stderr
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", done.stdout)


def test_grid_goes_both_ways():
    """JN58td and its 8 characters: QST January 1989 (R2), recomputed."""
    done = scout("grid", "48.14666,11.60833", "jn58TD")
    assert done.returncode == 0
    assert "JN58td25" in done.stdout
    assert "south-west corner  48.125000, 11.583333" in done.stdout
    south = scout("grid", "-34.91,-56.21166")
    assert south.returncode == 0
    assert "GF15vc41" in south.stdout


def test_grid_gives_the_size_in_metres():
    """Subsquare at 45 N: references 3, computed from WGS 84 (R): 6570.57 m x 4630.49 m at its foot."""
    done = scout("grid", "JN45aa")
    width, height = re.search(r"size at the centre ([\d,.]+) m east-west, ([\d,.]+) m", done.stdout).groups()
    assert float(width.replace(",", "")) == pytest.approx(6570.57, rel=1e-3)
    assert float(height.replace(",", "")) == pytest.approx(4630.49, rel=1e-4)


@pytest.mark.parametrize("bad", ["JO2!ab", "91,0", "hello world", "45,5,-89,2"])
def test_grid_refuses_what_is_no_place(bad, capsys):
    assert main(["grid", bad]) == 2
    assert capsys.readouterr().err.startswith("scout: ")


def test_help_needs_no_geometry_library():
    code = (
        "import sys\nfrom scout.cli import main\nmain(['--help'])\n"
        "heavy = {'numpy', 'shapely', 'geopandas', 'pyproj', 'folium', 'scipy'} & set(sys.modules)\n"
        "sys.exit(' '.join(sorted(heavy)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert done.returncode == 0, done.stderr


def test_check_is_status_0_only_when_all_places_are_firm(corner_park):
    firm = scout("check", "45,10", "45.05,10.05", "--parks", corner_park)
    assert firm.returncode == 0, firm.stderr
    assert firm.stderr == ""
    assert "firm, confidence 95.5 %: JN45 JN55 JN44 JN54 x 1 park = 4" in firm.stdout
    assert "2 places: 2 firm." in firm.stdout
    assert "permission" in firm.stdout
    off = scout("check", "45.00004,10", "--parks", corner_park)
    assert off.returncode == 1
    assert "doubtful" in off.stdout
    assert re.search(
        r"better: 4\.\d m to the south \(180°\), at 45\.0000\d\d, 1?\d\.\d+: then 4 grids", off.stdout
    )


def test_check_takes_files_after_parks_and_places_that_begin_with_a_sign(corner_park, tmp_path):
    south = park_file(tmp_path / "south.geojson", ("South", shapely.box(9.9, -45.1, 10.1, -44.9)))
    done = scout("check", "-45,10", "--parks", corner_park, south, "--level", "square")
    assert done.returncode == 0, done.stderr
    assert "South (south-0)" in done.stdout


def test_check_gives_json_and_reads_places_from_a_file(corner_park, tmp_path):
    places = tmp_path / "places.csv"
    places.write_text(
        "name,place\nCorner,45 00 N 10 00 E\nFar,10 20 N 30 40 E\nCell,JN55aa\n", encoding="utf-8"
    )
    done = scout("check", "--from", places, "--parks", corner_park, "--json")
    assert done.returncode == 1
    corner, far, cell = json.loads(done.stdout)
    assert (corner["place"], corner["verdict"], corner["n_grids"], corner["yield"]) == (
        "Corner",
        "firm",
        4,
        4,
    )
    assert corner["near_parks"][0]["inside"]
    assert corner["lines"][2]["distance_m"] == 0.0
    assert far["near_parks"] == []
    assert cell["cell"] == "JN55aa"
    assert cell["near_parks"][0]["cell_share"] == 1.0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["45,5 -89,2"], "decimal commas"),
        (["95,10"], "90"),
        ([], "add a PLACE, or --from"),
        (["45,10", "--from", "none.csv"], "there is no such file"),
        (["45,10", "--fix-error", "-2"], "is not a length"),
    ],
)
def test_check_refuses_in_one_line(corner_park, arguments, says, capsys):
    assert main(["check", *arguments, "--parks", str(corner_park)]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    assert says in shown.err


def test_check_draws_its_places_on_a_map(corner_park, tmp_path):
    target = tmp_path / "places.html"
    done = scout("check", "45,10", "45.00004,10", "--parks", corner_park, "--map", target)
    assert done.returncode == 1, done.stderr
    assert f"Wrote {target}" in done.stdout
    page = target.read_text(encoding="utf-8")
    assert "Places checked" in page
    assert "Asked for as 45.00004,10." in page
    assert "Ёлка &lt;b&gt;公園&lt;/b&gt;" in page
    assert "<b>公園" not in page


def test_check_refuses_a_map_that_is_no_web_page(corner_park, capsys):
    assert main(["check", "45,10", "--parks", str(corner_park), "--map", "x.pdf"]) == 2
    assert "name it .html" in capsys.readouterr().err
