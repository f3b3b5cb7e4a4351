"""`scout find --outing FILE`: the same search as by options, and the options that win over it."""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import Any

import click
import gpxpy
import pytest
import shapely
from click.testing import CliRunner

from scout.app.outing import TagReading
from scout.app.settings import Settings, list_settings
from scout.app.sources import AccessFiles
from scout.cli import command, main
from scout.cli.find import find
from scout.cli.options import FilesOption, ManyFiles, add_outing_option, add_settings
from scout.cli.trip import command as trip
from scout.model import Walking

ROOT = Path(__file__).resolve().parents[1]

# One value other than the default for every option of the search: in the file, and as words.
EVERY: dict[str, tuple[Any, list[str]]] = {
    "level": ("subsquare", ["subsquare"]),
    "station-radius": (8, ["8"]),
    "fix-error": (3.5, ["3.5"]),
    "boundary-error": (20, ["20"]),
    "home": ("45 N 10 E", ["45 N 10 E"]),
    "within": (60, ["60"]),
    "area": ("JN45", ["JN45"]),
    "near": (0, ["0"]),
    "min-grids": (2, ["2"]),
    "min-parks": (2, ["2"]),
    "min-confidence": (0.7, ["0.7"]),
    "notebook": ("v.gpkg", ["plan/v.gpkg"]),
    "park": (["a-1", "b-2"], ["a-1", "b-2"]),
    "corridor": (30.48, ["30.48"]),
    "id-column": ("ref", ["ref"]),
    "name-column": ("label", ["label"]),
    "where": ("kind = 'Fee'", ["kind = 'Fee'"]),
    "profile": ("own.toml", ["plan/own.toml"]),
    "pieces": ("apart", ["apart"]),
    "same-ground": (0.95, ["0.95"]),
    "layer": ("parks", ["parks"]),
    "strict": (True, []),
    "forests": (True, []),
    "crs": ("EPSG:26915", ["EPSG:26915"]),
    "access": (["a.osm", "b.osm"], ["plan/a.osm", "plan/b.osm"]),
    "barriers": (["b.osm"], ["plan/b.osm"]),
    "hazards": (["h.osm"], ["plan/h.osm"]),
    "heights": (["h.tif"], ["plan/h.tif"]),
    "longest-walk": (45, ["45"]),
    "load": (12.5, ["12.5"]),
    "power-line": (80, ["80"]),
    "antenna-height": (10, ["10"]),
    "towards": (["JN58", "240"], ["JN58", "240"]),
    "open-to": (["200:4", "90"], ["200:4", "90"]),
    "cluster": ("tcp://192.0.2.7:8786", ["tcp://192.0.2.7:8786"]),
    "map": ("m.html", ["plan/m.html"]),
    "save": (["s.csv", "../s.gpx"], ["plan/s.csv", "plan/../s.gpx"]),
    "top": (7, ["7"]),
    "save-listed": (True, []),
    "title": ("Sunday", ["Sunday"]),
    "units": ("imperial", ["imperial"]),
}

EVERY_OF_A_TRIP: dict[str, tuple[Any, list[str]]] = {
    "hours": ("08:00-18:00", ["08:00-18:00"]),
    "end": ("JN45", ["JN45"]),
    "most-places": (3, ["3"]),
    "set-up": (20, ["20"]),
    "operating": (60, ["60"]),
    "take-down": (12.5, ["12.5"]),
    "break": (30, ["30"]),
    "must": ([3, 1], ["3", "1"]),
    "between": (["3=14:00-"], ["3=14:00-"]),
    "days": (2, ["2"]),
    "doubtful": (True, []),
    "consider": (50, ["50"]),
}


def toml(values: dict[str, Any]) -> str:
    return "".join(f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in values.items())


def words(key: str) -> list[str]:
    given = (EVERY | EVERY_OF_A_TRIP)[key][1]
    return [f"--{key}"] if not given else [word for one in given for word in (f"--{key}", one)]


def parse(one: click.Command, arguments: list[str]) -> click.Context:
    """As a command of scout: alone it would keep a help option without -h for tests that follow."""
    return one.make_context(one.name, arguments, parent=click.Context(command, **command.context_settings))


def params(arguments: list[str]) -> dict[str, Any]:
    taken = parse(find, list(arguments)).params
    return {name: value for name, value in taken.items() if name != "outing"}


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a park on a corner of squares; the commands run in the one above it."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "plan"
    folder.mkdir()
    for name, west in (("parks", 9.9), ("more", 11.9)):
        shape = shapely.geometry.mapping(shapely.box(west, 44.9, west + 0.2, 45.1))
        feature = {"type": "Feature", "properties": {"id": name, "hours": "day"}, "geometry": shape}
        text = json.dumps({"type": "FeatureCollection", "features": [feature]})
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")
    return folder


def written(plan: Path, text: str) -> str:
    (plan / "o.toml").write_text(text, encoding="utf-8")
    return "plan/o.toml"


def test_every_option_can_be_in_it_and_means_the_same(plan: Path) -> None:
    keys = {max(p.opts, key=len)[2:] for p in find.params if isinstance(p, click.Option)} - {
        "outing",
        "parks",
    }
    trip = {one.key for one in list_settings("trip")}
    assert keys == set(EVERY) == {one.key for one in list_settings()} - trip
    assert trip == set(EVERY_OF_A_TRIP)
    path = written(plan, toml({key: value for key, (value, _) in EVERY.items()}))
    by_words = params(["p.kml", *(word for key in EVERY for word in words(key))])
    assert params(["p.kml", "--outing", path]) == by_words
    default = params(["p.kml"])
    assert all(by_words[name] != default[name] for name in by_words if name not in ("files", "more_files"))


def test_wishes_for_a_trip_can_be_in_it_too(plan: Path) -> None:
    path = written(plan, toml({key: value for key, (value, _) in EVERY_OF_A_TRIP.items()}))
    day = ["--date", "2026-06-20"]
    by_file, by_words, plain = (
        {name: value for name, value in parse(trip, given).params.items() if name != "outing"}
        for given in (
            [*day, "--outing", path],
            [*day, *(word for key in EVERY_OF_A_TRIP for word in words(key))],
            day,
        )
    )
    assert by_file == by_words
    settings = {one.name for one in list_settings("trip")}
    assert all(by_words[name] != plain[name] for name in settings)


@pytest.mark.parametrize("key", EVERY)
def test_an_option_wins_over_it(plan: Path, key: str) -> None:
    other = {
        "level": "field",
        "home": "44 N 9 E",
        "area": "JN46",
        "pieces": "join",
        "towards": "JO22",
        "open-to": "10",
        "units": "metric",
        "save-listed": False,
        "strict": False,
        "forests": False,
    }
    value = other.get(key, {str: "other", list: ["other"]}.get(type(EVERY[key][0]), 1))
    path = written(plan, toml({key: value}))
    assert params(["p.kml", "--outing", path]) != params(["p.kml", *words(key)])
    for arguments in (["--outing", path, *words(key)], [*words(key), "--outing", path]):
        assert params(["p.kml", *arguments]) == params(["p.kml", *words(key)])


def test_the_same_search_again(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--station-radius", "8", "--home", "45.5,10", "--save"]
    assert main(["find", "plan/parks.geojson", "plan/more.geojson", *options, "plan/words.csv"]) == 0
    by_words = capsys.readouterr().out
    values = {"parks": ["parks.geojson", "more.geojson"], "station-radius": 8, "home": "45.5,10"}
    path = written(plan, toml({**values, "save": ["file.csv"]}))
    assert main(["find", "--outing", path]) == 0
    assert capsys.readouterr().out.replace("file.csv", "words.csv") == by_words
    assert (plan / "file.csv").read_bytes() == (plan / "words.csv").read_bytes()


def test_files_on_the_command_line_win_over_its_parks(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(plan, toml({"parks": ["parks.geojson"]}))
    assert main(["find", "plan/more.geojson", "--outing", path]) == 0
    assert "plan/more.geojson [more]: 1 record," in (said := capsys.readouterr().out)
    assert "plan/parks.geojson" not in said


def test_what_it_says_of_author_and_data_is_in_the_saved_file(plan: Path) -> None:
    text = toml({"parks": ["parks.geojson"], "author": "Brindlesay <Field> Club", "show": ["Hours"]})
    text += '[[credits]]\ntext = "Forest office"\nlicence = "CC0 1.0"\nfiles = "parks.geojson"\n'
    path = written(plan, text)
    assert main(["find", "--outing", path, "--save", "s.gpx", "--save", "s.kml", "--title", "A & B"]) == 0
    track = gpxpy.parse(Path("s.gpx").read_text(encoding="utf-8"))
    assert (track.name, track.author_name) == ("A & B", "Brindlesay <Field> Club")
    assert "CC0 1.0" in Path("s.gpx").read_text(encoding="utf-8")
    assert "Hours: day" in Path("s.kml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('level = "cell"', "plan/o.toml: level: there is no such level; use one of field, square"),
        ("within = -5", "plan/o.toml: within: -5 is not a length; give a number over 0"),
        ("within = nan", "plan/o.toml: within: nan is not a length"),
        ("within = 60", "--within: there is no home to count from"),
        ('home = "-116,34"', "plan/o.toml: home: "),
        ("station-radius = 0", "plan/o.toml: station-radius: 0 is no radius"),
        ("min-confidence = 2", "plan/o.toml: min-confidence: 2 is no probability"),
        ("top = 0", "plan/o.toml: top: 0 is too few; give a whole number from 1 up"),
        ('area = "1,2,3"', "plan/o.toml: area: is not understood; write SOUTH"),
        ("lod = 4", 'plan/o.toml: there is no key "lod"; did you mean load?'),
        ('outing = "other.toml"', 'plan/o.toml: there is no key "outing"'),
        ('map = "m.pdf"', "plan/m.pdf: this is a web page"),
        ('map = "no/m.html"', "there is no folder plan/no"),
        ('save = "x.xlsx"', "plan/x.xlsx: no format goes by this suffix"),
        ('save = "parks.geojson"', "plan/parks.geojson: this is one of the files to read"),
        ('access = "a.csv"\nsave = "a.csv"', "plan/a.csv: this is one of the files to read"),
        ('show = ["hour"]', "there is no column 'hour' for the details to show; did you mean 'hours'?"),
    ],
)
def test_a_bad_value_is_one_line_that_names_the_file_and_writes_nothing(
    plan: Path, capsys: pytest.CaptureFixture[str], text: str, says: str
) -> None:
    path = written(plan, f'parks = "parks.geojson"\n{text}\n')
    before = sorted(p.name for p in plan.iterdir())
    assert main(["find", "--outing", path]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    assert says in shown.err
    assert sorted(p.name for p in plan.iterdir()) == before


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "add --parks FILE, or parks in an --outing file"),
        (["--access", "plan/parks.geojson"], "no boundary file is named"),
        (["--outing", "none.toml"], "none.toml: there is no such file"),
        (["--outing", "plan"], "plan: is a folder"),
        (["--outing", "plan/parks.geojson"], "plan/parks.geojson: is not TOML"),
        (["plan/parks.geojson", "--outing", "plan/o.toml", "--save", "plan/o.toml"], "no format goes by"),
        (["plan/parks.geojson", "--load", "-1"], "--load: -1 is no load; give kilograms from 0 to 200"),
        (["plan/parks.geojson", "--longest-walk", "0"], "give minutes over 0"),
        (["plan/parks.geojson", "--min-confidence", "nan"], "give a number from 0 to 1"),
    ],
)
def test_a_bad_command_line_is_one_line(
    plan: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    written(plan, "top = 3")
    assert main(["find", *arguments]) == 2
    shown = capsys.readouterr()
    assert shown.err.count("\n") == 1
    assert says in shown.err


def test_no_output_may_replace_it(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("plan/o.html").write_text('parks = "parks.geojson"\nmap = "o.html"\n', encoding="utf-8")
    assert main(["find", "--outing", "plan/o.html"]) == 2
    assert "plan/o.html: this is one of the files to read" in capsys.readouterr().err


def test_an_address_stays_one_and_is_refused_as_one(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(plan, 'parks = "https://example.org/parks.geojson"')
    assert main(["find", "--outing", path]) == 2
    assert "scout: https://example.org/parks.geojson: is not a local file" in capsys.readouterr().err


def test_help_is_given_beside_a_file_that_is_not_there() -> None:
    done = CliRunner().invoke(command, ["find", "--outing", "none.toml", "--help"])
    assert done.exit_code == 0
    assert "--outing FILE" in done.output


def test_absolute_paths_and_those_of_mapped_files_are_kept(plan: Path) -> None:
    text = toml({"access": [str(plan / "a.osm")], "parks": ["../p.kml"]})
    text += '[[tags]]\nfile = "roads.gpkg"\nall = "highway=path"\n'
    context = parse(find, ["--outing", written(plan, text)])
    outing = context.params["outing"]
    assert outing.parks == ("plan/../p.kml",)
    given = {
        name: context.params[name] for name in (one.name for one in list_settings() if one.group != "trip")
    }
    files = Settings(**given).make_access_files(outing.tags)
    assert files == AccessFiles(
        access=(str(plan / "a.osm"),),
        tags=(TagReading("plan/roads.gpkg", all="highway=path"),),
        walking=Walking(),
    )


def test_another_command_takes_what_means_the_same_there(plan: Path) -> None:
    @click.command()
    @add_outing_option
    @add_settings("station")
    @click.option("--map", "map_path", help="Another map.")
    def other(**taken: Any) -> None:
        click.echo(json.dumps([taken["level"], taken["station_radius_m"], taken["map_path"]]))

    path = written(plan, toml({"level": "field", "station-radius": 9, "map": "m.html", "top": 2}))
    done = CliRunner().invoke(other, ["--outing", path, "--level", "square"])
    assert json.loads(done.output) == ["square", 9.0, None]


@pytest.mark.parametrize(
    ("given", "first", "second", "rest"),
    [
        (["--first", "a", "b", "--second", "c"], ["a", "b"], ["c"], []),
        (["x", "--first", "a", "--second", "c", "d", "--first", "b"], ["a", "b"], ["c", "d"], ["x"]),
        (["--first", "a", "--", "x", "y"], ["a"], [], ["x", "y"]),
        (["--first=a", "b", "--plain", "p", "x"], ["a", "b"], [], ["x"]),
        (["x"], [], [], ["x"]),
    ],
)
def test_a_files_option_takes_words_up_to_the_next_option(
    given: list[str], first: list[str], second: list[str], rest: list[str]
) -> None:
    @click.command(cls=ManyFiles)
    @click.option("--first", cls=FilesOption)
    @click.option("--second", cls=FilesOption)
    @click.option("--plain")
    @click.argument("words", nargs=-1)
    def some(**taken: Any) -> None:
        click.echo(json.dumps([taken["first"], taken["second"], taken["words"]]))

    assert json.loads(CliRunner().invoke(some, given).output) == [first, second, rest]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """`scout demo` run in a folder, and what it said."""
    folder = tmp_path_factory.mktemp("demo")
    with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()) as said:
        assert main(["demo"]) == 0
    return folder, said.getvalue()


def test_the_demo_writes_its_map_where_it_says(demo: tuple[Path, str]) -> None:
    folder, said = demo
    assert (folder / "maps" / "demo.html").as_uri() in said
    assert "corner" in said
    page = (folder / "maps" / "demo.html").read_text(encoding="utf-8")
    assert "Brindlesay, the demo island" in page


def test_the_demo_is_the_search_of_its_outing_file(
    plan: Path, demo: tuple[Path, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["find", "--outing", str(ROOT / "data_demo/outing.toml"), "--map", "again.html"]) == 0
    again = capsys.readouterr().out
    assert demo[1].split("Wrote")[0] == again.split("Wrote")[0]
