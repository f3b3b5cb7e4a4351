"""`scout view`, and what the search says of views: words, pages, columns, the filter, what is saved."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
import sights
from lxml import html as lxml_html

import scout
from scout.app.find import SearchOptions, find_spots
from scout.app.pack import build_pack
from scout.app.request import open_saved
from scout.app.sources import AccessFiles, make_access
from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_frame
from scout.model import Findings, Relief
from scout.output.card import build_card, make_particulars
from scout.output.saved import dump_findings, load_findings
from scout.output.view import build_view_page
from scout.page.data import make_page_data
from scout.page.document import build_map
from scout.parks.build import build_parks
from scout.sight.outlook import parse_aim, parse_open_to

HERE = "45.0, 10.0"


def valley(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A valley from west to east between two walls of 400 m, 2 km north and south; a knoll in the east."""
    walls = 400.0 / (1.0 + np.exp((2000.0 - np.abs(y)) / 60.0))
    return 100.0 + walls + 30.0 * np.exp(-((x - 4000.0) ** 2 + y**2) / 300.0**2)


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the valley, its wide surroundings, named peaks, and a park over the corner there."""
    monkeypatch.chdir(tmp_path)
    sights.write(tmp_path / "near.tif", sights.ground(valley, 8000.0, 25.0))
    far = sights.ground(lambda x, y: np.where(np.hypot(x, y) < 7000.0, np.nan, 100.0), 110_000.0, 500.0)
    sights.write(tmp_path / "far.tif", far)
    back = pyproj.Transformer.from_crs(sights.CRS, "EPSG:4326", always_xy=True)
    peaks = gpd.GeoDataFrame(
        {"natural": ["peak", "peak"], "name": ["Nab <Knoll>", "Nowhere Top"]},
        geometry=[shapely.Point(back.transform(4000.0, 0.0)), shapely.Point(back.transform(0.0, 6000.0))],
        crs="EPSG:4326",
    )
    peaks.to_file(tmp_path / "peaks.geojson", driver="GeoJSON")
    park = gpd.GeoDataFrame(
        {"id": ["Q-1", "Q-2"], "name": ["Fen", "Moor"]},
        geometry=[shapely.box(9.98, 44.985, 10.02, 45.0149), shapely.box(9.999, 44.99, 10.03, 45.002)],
        crs="EPSG:4326",
    )
    park.to_file(tmp_path / "parks.geojson", driver="GeoJSON")
    return tmp_path


def test_a_view_in_words(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["view", HERE, "--heights", "near.tif", "far.tif", "--access", "peaks.geojson"]
    assert main([*words, "--towards", "0", "--towards", "JN65", "--out", "v.html"]) == 0
    said = capsys.readouterr().out
    assert "From 45.0, 10.0 (45.000000, 10.000000), 5 m above the ground." in said
    assert re.search(r"Open from \d+° to \d+°, from \d+° to \d+° \(horizon up to 3.0°\)", said)
    assert re.search(r"Towards 0: north \(0°\), horizon 9\.\d°, closed", said)
    assert "On the skyline: Nab <Knoll> east (90°)." in said
    assert "Nowhere Top" not in said
    assert "Heights from 100 m to 500 m were read. Ground here 100 m." in said
    assert "Wrote v.html" in said
    assert "Unknown" not in said


def test_without_the_wide_surroundings_the_open_valley_is_unknown(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["view", HERE, "--heights", "near.tif", "--towards", "90"]) == 0
    said = capsys.readouterr().out
    # 400 m just beyond 8 km would stand at 2.8 degrees, and at 3.1 over the nearer edges.
    assert "not known for sure" not in said
    assert main(["view", "45.0, 10.06", "--heights", "near.tif", "--towards", "90"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"Towards 90: east \(90°\), horizon -?\d\.\d°, not known for sure", said)
    assert re.search(r"Unknown from \d+° to \d+°: heights end too soon there", said)


def test_the_page_says_it_without_pictures_too_and_loads_nothing(files: Path) -> None:
    words = ["view", HERE, "--heights", "near.tif", "--access", "peaks.geojson", "--towards", "270"]
    assert main([*words, "--date", "2026-06-21", "--zone", "UTC", "--out", "v.html"]) == 0
    text = (files / "v.html").read_text(encoding="utf-8")
    page = lxml_html.fromstring(text)
    assert not re.search(r"https?://(?!www\.w3\.org)", text)
    assert "<script" not in text
    assert "Nab &lt;Knoll&gt;" in text
    pictures = page.xpath("//svg[not(ancestor::svg)]")
    assert len(pictures) == 2
    assert all(one.get("role") == "img" and one.get("aria-label") for one in pictures)
    rows = page.xpath("//table//tbody/tr")
    assert len(rows) == 36
    assert all(len(row.xpath("./th|./td")) == 6 for row in rows)
    assert {row.xpath("string(./td[last()])") for row in rows} <= {"open", "closed", "unknown"}
    assert "Sun over the hills" in page.text_content()


def test_the_line_of_sight_to_another_place(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["view", HERE, "--heights", "near.tif", "--access", "peaks.geojson", "--to"]
    assert main([*words, "45.0, 10.08", "--antenna-height", "10", "--out", "p.html"]) == 1
    said = capsys.readouterr().out
    assert "Blocked by terrain." in said
    assert re.search(r"Least clearance at 4\.0\d km \(Nab <Knoll>\): the line runs \d+\.\d m under", said)
    text = (files / "p.html").read_text(encoding="utf-8")
    assert text.count("<tr>") > 15
    assert main([*words, "45.0, 9.95", "--antenna-height", "60", "--to-height", "60", "--mhz", "433"]) == 0
    assert "Free: " in capsys.readouterr().out
    assert main([*words, "45.0, 9.85", "--antenna-height", "60", "--to-height", "60"]) == 2
    assert "no height is known there" in capsys.readouterr().err


def test_a_line_over_ground_without_heights_is_not_free(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["view", "45.0, 9.95", "--heights", "near.tif", "far.tif", "--antenna-height", "80"]
    hole = sights.ground(lambda x, y: np.where(np.abs(x) < 500.0, np.nan, valley(x, y)), 8000.0, 25.0)
    sights.write(files / "near.tif", hole)
    assert main([*words, "--to", "45.0, 10.02", "--to-height", "80"]) == 1
    said = capsys.readouterr().out
    assert "Not known: heights are missing on the way" in said
    assert re.search(r"Without heights: (9\d\d m|1\.0\d km) of the way", said)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["nowhere", "--heights", "near.tif"], "nowhere"),
        (["45, 30", "--heights", "near.tif"], "the heights that were given do not cover it"),
        ([HERE, "--heights", "none.tif"], "none.tif: there is no such file"),
        ([HERE, "--heights", "near.tif", "--towards", "500"], "towards 500: is no place and no azimuth"),
        ([HERE, "--heights", "near.tif", "--to", HERE], "is where the antenna stands"),
        ([HERE, "--heights", "near.tif", "--to", "45,10.05", "--mhz", "0"], "--mhz: 0 is no frequency"),
        ([HERE, "--heights", "near.tif", "--antenna-height", "-1"], "--antenna-height: -1 is no height"),
        ([HERE, "--heights", "near.tif", "--out", "v.pdf"], "name it .html"),
        ([HERE, "--heights", "near.tif", "--date", "soon"], "--date soon: is no day"),
        ([HERE], "--heights"),
    ],
)
def test_a_bad_request_is_one_line(
    files: Path, capsys: pytest.CaptureFixture[str], words: list[str], says: str
) -> None:
    assert main(["view", *words]) == 2
    shown = capsys.readouterr()
    assert shown.err.count("\n") == 1
    assert says in shown.err
    assert not (files / "v.html").exists()


def test_the_library_says_the_same(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = scout.view(HERE, ["near.tif", "far.tif"], towards=["JN65"], access=["peaks.geojson"])
    assert (
        main(
            [
                "view",
                HERE,
                "--heights",
                "near.tif",
                "far.tif",
                "--towards",
                "JN65",
                "--access",
                "peaks.geojson",
            ]
        )
        == 0
    )
    said = capsys.readouterr().out
    assert all(f"  {line}\n" in said for line in seen.lines)
    assert 0.8 < seen.sky_view < 1.0
    assert re.fullmatch(r"\d+-\d+ \d+-\d+", seen.open_sectors)
    assert "</svg>" in seen.page().html
    path = scout.view(shapely.Point(10.0, 45.0), "near.tif", to="45.0, 9.95", antenna_m=60, to_antenna_m=60)
    assert (path.state, path.open_sectors) == ("free", "")
    assert build_view_page(path.seen).startswith("<!DOCTYPE html>")


# In a search.


@pytest.fixture
def search(files: Path) -> Callable[..., Findings]:
    """The search of the two parks with the valley's heights."""

    def run(**more: object) -> Findings:
        parks = build_parks([read_frame(gpd.read_file(files / "parks.geojson"), "parks")])
        heights = ("near.tif", "far.tif")
        access = make_access(AccessFiles(heights=more.pop("heights", heights)), lambda _: None)  # type: ignore[arg-type]
        return find_spots(parks, SearchOptions(**more), access=access)  # type: ignore[arg-type]

    return run


def test_spots_have_their_horizons_in_every_list_and_come_back_from_a_saved_file(
    search: Callable[..., Findings],
) -> None:
    found = search(aims=(parse_aim("90"),))
    assert len(found.spots) > 2
    assert all((one.horizon is not None) == (one.spot.near is None) for one in found.spots)
    again = load_findings(dump_findings(found), "plan.gpkg")
    assert tuple(again.spots) == tuple(found.spots)
    assert again.aims == found.aims
    assert dump_findings(again) == dump_findings(found)
    assert build_card(again, 1) == build_card(found, 1)


def test_saved_columns(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["find", "--parks", "parks.geojson", "--heights", "near.tif", "far.tif"]
    assert (
        main([*words, "--save", "s.csv", "--save", "s.geojson", "--save", "s.gpkg", "--save", "s.gpx"]) == 0
    )
    assert "horizon" in capsys.readouterr().out
    with (files / "s.csv").open(encoding="utf-8", newline="") as stream:
        first = next(csv.DictReader(stream))
    assert float(first["horizon_max_deg"]) == pytest.approx(11.0, abs=1.5)
    assert 0.8 < float(first["sky_view"]) < 1.0
    assert re.fullmatch(r"\d+-\d+ \d+-\d+", first["open_sectors"])
    row = json.loads((files / "s.geojson").read_text(encoding="utf-8"))["features"][0]["properties"]
    table = gpd.read_file(files / "s.gpkg", layer="spots").iloc[0]
    for key in ("horizon_max_deg", "sky_view", "open_sectors"):
        assert str(row[key]) == str(table[key]) == first[key]
    assert "Open from" in (files / "s.gpx").read_text(encoding="utf-8")
    assert open_saved("s.gpkg").spots[0].horizon is not None


def test_only_spots_known_to_be_open_are_listed_and_the_others_are_counted(
    search: Callable[..., Findings],
) -> None:
    everything = search()
    east, north = (search(open_to=(parse_open_to(text),)) for text in ("90", "0:5"))
    assert [one.spot for one in east.spots] == [
        one.spot for one in everything.spots if one.horizon is not None
    ]
    assert len(north.spots) == 0
    left = {str(one.reason): one.count for one in north.left_out}
    assert left["not open towards 0° (horizon over 5°)"] == len(east.spots)
    # Without the far raster nobody knows what stands in the east beyond the edge, seen from near it.
    short = search(open_to=(parse_open_to("90:2"),), heights=("near.tif",))
    assert len(short.spots) < len(search(open_to=(parse_open_to("90:2"),)).spots)
    assert any("not known to be open towards 90°" in str(one.reason) for one in short.left_out)
    assert sum(one.count for one in short.left_out) + len(short.spots) >= len(everything.spots)


def test_the_order_does_not_hang_on_the_view(search: Callable[..., Findings]) -> None:
    with_far, without = search(), search(heights=("near.tif",))
    assert [one.spot for one in with_far.spots] == [one.spot for one in without.spots]


def test_open_to_needs_heights(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "--parks", "parks.geojson", "--open-to", "90"]) == 2
    assert (
        "--open-to: there are no heights to tell a horizon from; add --heights FILE"
        in capsys.readouterr().err
    )


def test_the_map_has_the_horizon_in_a_kilobyte_a_spot(search: Callable[..., Findings]) -> None:
    found = search(aims=(parse_aim("90"), parse_aim("JN65")))
    data, _ = make_page_data(found)
    seen = [one["sight"] for one in data["spots"] if "sight" in one]
    assert len(seen) == sum(one.horizon is not None for one in found.spots)
    assert max(len(json.dumps(one, ensure_ascii=False, separators=(",", ":"))) for one in seen) <= 1024
    digits = "0123456789abcdefghijklmnopqrstuvwxyz"
    packed, horizon = seen[0]["deg"], found.spots[0].horizon
    assert horizon is not None
    deg = [
        (digits.index(a) * 36 + digits.index(b)) / 10 - 10
        for a, b in zip(packed[::2], packed[1::2], strict=True)
    ]
    assert len(deg) == 120
    for k, one in enumerate(deg):
        about = [horizon.deg[(3 * k + side) % 360] for side in (-1, 0, 1)]
        assert max(about) <= one + 1e-6 < max(about) + 0.1 + 2e-6
    assert "sight" in build_map(found)


def test_the_card_has_the_view_and_the_sun_over_the_hills(search: Callable[..., Findings]) -> None:
    found = search(aims=(parse_aim("90"),))
    card = lxml_html.fromstring(build_card(found, 1, make_particulars("Q1AAA", "", "2026-12-21", "UTC")))
    text = " ".join(card.text_content().split())
    assert "Getting there, and what the antenna sees" in text
    assert re.search(r"horizon ?up to 9\.\d°", text)
    assert re.search(r"Over the hills \d\d:\d\d to \d\d:\d\d", text)
    assert len(card.xpath("//svg[contains(@class, 'polar')]")) == 1
    bare = search(heights=())
    assert "what the antenna sees" not in build_card(bare, 1)


def test_a_pack_tells_the_sun_over_the_hills_of_its_day(search: Callable[..., Findings]) -> None:
    pack = build_pack(search(), [1], make_particulars("", "", "2026-12-21", "UTC"))
    with zipfile.ZipFile(io.BytesIO(pack)) as archive:
        summary = archive.read("summary.txt").decode()
    assert re.search(r"Sun on 2026-12-21, UTC, level horizon: .*sunrise 06:55, sunset 15:41", summary)
    # The walls in the south, 9 degrees high, hide the Sun, 21.6 degrees at noon, for an hour at both ends.
    (hills,) = re.findall(r"Sun over the hills (\d\d:\d\d) to (\d\d:\d\d)\.", summary)
    assert "07:15" < hills[0] < "08:30"
    assert "14:15" < hills[1] < "15:30"


def test_a_journal_shows_what_was_seen_where_heights_are_given(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for place in (HERE, "10 N 30 E"):
        words = ["visit", "add", "--notebook", "n.gpkg", "--place", place, "--start", "2026-02-14T18:05"]
        assert main([*words, "--call", "Q1AAA"]) == 0
    words = ["visit", "export", "j.html", "--notebook", "n.gpkg"]
    assert main(words) == 0
    assert "polar" not in (files / "j.html").read_text(encoding="utf-8").split("</style>")[1]
    assert main([*words, "--heights", "near.tif", "far.tif", "--antenna-height", "10"]) == 0
    assert "Wrote j.html" in capsys.readouterr().out
    first, second = lxml_html.parse(str(files / "j.html")).findall(".//article")
    seen, unseen = (first, second) if "45.000000" in first.text_content() else (second, first)
    assert len(seen.xpath(".//svg[@role='img'][contains(@aria-label, 'Horizon of visit')]")) == 1
    assert "Open from" in seen.text_content()
    assert not unseen.xpath(".//svg")


def test_heights_that_cannot_be_read_far_away_cost_the_horizons_and_not_the_search(files: Path) -> None:
    """Near the spots they can: a file too large for the wide surroundings is no reason to end a search."""
    parks = build_parks([read_frame(gpd.read_file(files / "parks.geojson"), "parks")])
    access = make_access(AccessFiles(heights=("near.tif",)), lambda _: None)
    assert access is not None

    def refuse(boxes: object, finest_m: float) -> tuple[list[Relief], list[str]]:
        raise InputError("near.tif", "5.2 thousand million cells lie around the places", "export it coarser")

    access = replace(access, heights=refuse)
    found = find_spots(parks, SearchOptions(), access=access)
    assert found.surroundings is not None
    (note,) = (note for note in found.surroundings.notes if "no horizons: " in note)
    assert "near.tif: 5.2 thousand million cells" in note
    assert found.spots
    assert all(one.horizon is None for one in found.spots)
    with pytest.raises(InputError, match="thousand million cells"):
        find_spots(parks, SearchOptions(open_to=(parse_open_to("90"),)), access=access)


def test_horizons_are_those_of_the_best_hundred(
    search: Callable[..., Findings], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("scout.app.find.MOST_HORIZONS", 2)
    found = search()
    assert [one.horizon is not None for one in found.spots].count(True) == 2
    assert found.spots[0].horizon is not None
    assert replace(found.spots[0], horizon=None) != found.spots[0]
