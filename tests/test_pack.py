"""The pack: what is in it, the same bytes every time, safe names; its site; and its command."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import re
import time
import zipfile
from base64 import b64encode
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import cards
import exported
import gpxpy
import pytest
import shapely
from page_reader import Reader, words
from test_cli import park_file, scout

from scout.app.pack import SUFFIXES, build_pack, choose_spots
from scout.cautions import ALWAYS
from scout.cli import main
from scout.errors import InputError
from scout.output.card import build_card
from scout.page.document import build_map
from scout.page.site import NAMES as SITE
from scout.page.site import build_site

NAMES = ["card-0001.html", "card-0003.html", "map.html", "spots.csv", "spots.gpx", "spots.kml", "summary.txt"]


def opened(content: bytes) -> zipfile.ZipFile:
    archive = zipfile.ZipFile(io.BytesIO(content))
    assert archive.testzip() is None
    return archive


def text_of(archive: zipfile.ZipFile, name: str) -> str:
    return archive.read(name).decode("utf-8")


def test_it_holds_map_cards_lists_and_summary_of_the_chosen_spots() -> None:
    archive = opened(build_pack(exported.bay(), [3, 1], cards.SAID))
    assert archive.namelist() == NAMES
    ranks = [spot["rank"] for spot in Reader(text_of(archive, "map.html")).data()["spots"]]
    assert ranks == [1, 3]
    assert text_of(archive, "spots.csv").count("\n") == 3
    points = gpxpy.parse(text_of(archive, "spots.gpx")).waypoints
    places = {(round(point.latitude, 6), round(point.longitude, 6)) for point in points}
    assert {(45.0, -20.0), (45.05, -19.95)} <= places
    assert (45.2, -20.0) not in places
    ElementTree.fromstring(archive.read("spots.kml"))
    assert "Q1AAA" in words(text_of(archive, "card-0003.html"))


def test_a_card_in_it_is_the_card_by_itself() -> None:
    archive = opened(build_pack(exported.bay(), [3], cards.SAID))
    alone = build_card(choose_spots(exported.bay(), [3]), 3, cards.SAID)
    assert text_of(archive, "card-0003.html") == alone == build_card(exported.bay(), 3, cards.SAID)


def test_the_summary_names_place_parks_walk_warnings_and_cautions() -> None:
    summary = text_of(opened(build_pack(exported.bay(), [1, 3])), "summary.txt")
    for said in (
        "Spots round the bay", "HN95 IN05 HN94 IN04", "card-0001.html", "45.000000, -20.000000",
        "geo:45.000000,-20.000000", "QX-001", "Tern Marsh", "12 min out", "Power line 30 m north",
        "card-0003.html", "Quiet Bay mapping club",
    ):  # fmt: skip
        assert said in summary, said
    assert all(caution in summary for caution in ALWAYS)


def test_spots_that_stay_behind_are_counted_and_their_parks_left_out() -> None:
    part = choose_spots(exported.bay(), [2])
    assert [ranked.rank for ranked in part.spots] == [2]
    assert list(part.parks["park_id"]) == ["QX-002"]
    assert (part.left_out[-1].reason, part.left_out[-1].count) == ("not chosen for this pack", 4)
    assert choose_spots(exported.at([(10.0, 45.0)]), [1]).left_out == exported.at([(10.0, 45.0)]).left_out


@pytest.mark.parametrize("ranks", [[0], [1, 9], [5]])
def test_what_is_not_listed_or_a_near_miss_is_refused(ranks: list[int]) -> None:
    with pytest.raises(InputError, match="spot"):
        build_pack(exported.bay(), ranks)


def test_the_same_findings_give_the_same_bytes_at_another_time(monkeypatch: pytest.MonkeyPatch) -> None:
    first = build_pack(exported.bay(), [1, 2, 3, 2], cards.SAID)
    later = time.time() + 400 * 86_400
    monkeypatch.setattr(time, "time", lambda: later)
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(later))
    assert build_pack(exported.bay(), [3, 2, 1], cards.SAID) == first
    assert build_pack(replace(exported.bay(), title="Other"), [1, 2, 3], cards.SAID) != first


def test_entries_carry_no_clock_no_folder_and_no_letter_outside_ascii() -> None:
    archive = opened(build_pack(exported.named("../Ёлка\x00/=1"), [1, 2, 3, 4]))
    assert archive.namelist() == sorted(archive.namelist())
    for entry in archive.infolist():
        assert entry.date_time == (1980, 1, 1, 0, 0, 0)
        assert (entry.create_system, entry.external_attr >> 16) == (3, 0o100644)
        assert re.fullmatch(r"[a-z0-9-]+\.[a-z]+", entry.filename)


@pytest.mark.parametrize("text", exported.HOSTILE)
def test_a_hostile_name_breaks_no_part_of_it(text: str) -> None:
    archive = opened(build_pack(exported.named(text), [1]))
    for name in archive.namelist():
        text_of(archive, name)
    summary = text_of(archive, "summary.txt")
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", summary)
    assert len(summary) < 4000


def test_every_list_of_it_is_a_format_that_is_saved_too() -> None:
    assert SUFFIXES == (".csv", ".gpx", ".kml")


@pytest.fixture
def corner_parks(tmp_path: Path) -> Path:
    boxes = [shapely.box(lon - 0.1, 44.9, lon + 0.1, 45.1) for lon in (10, 12, 14)]
    return park_file(tmp_path / "parks.geojson", *((f"Heath {k}", box) for k, box in enumerate(boxes)))


def test_another_name_another_process_and_another_zone_give_the_same_file(
    corner_parks: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    for name, order, zone in (("one.zip", "1", "UTC"), ("two.zip", "2", "Pacific/Kiritimati")):
        monkeypatch.setenv("PYTHONHASHSEED", order)
        monkeypatch.setenv("TZ", zone)
        out = f"--out={name}" if name == "one.zip" else "--out"
        done = scout(
            "pack", "1", "2-3", "--parks", corner_parks, out, *[name] * (out == "--out"), cwd=tmp_path
        )
        assert (done.returncode, done.stderr) == (0, "")
        assert [line[:2] for line in done.stdout.splitlines()] == ["#1", "#2", "#3", "Wr"]
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    page = text_of(opened(made[0]), "map.html")
    assert f"{datetime.now(UTC):%Y-%m-%d}" not in page


@pytest.mark.parametrize(
    ("spots", "line"),
    [
        (["0"], "spot 0: is no number; write numbers and spans: 1 3 5-7"),
        (["3-1"], "spot 3-1: is no number"),
        (["one"], "spot one: is no number"),
        (["1-101"], "spot 1-101: makes more than 100; make two packs"),
        (["1-90", "91-110"], "spot 91-110: makes more than 100"),
        (["1-999999999"], "makes more than 100"),
        (["99"], "spot 99: is not in the list"),
    ],
)
def test_bad_numbers_give_one_line_and_write_nothing(
    corner_parks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], spots: list[str], line: str
) -> None:
    target = tmp_path / "p.zip"
    assert main(["pack", *spots, "--parks", str(corner_parks), "--out", str(target)]) == 2
    said = capsys.readouterr()
    assert line in said.err
    assert said.err.count("\n") == 1
    assert not target.exists()


def test_an_archive_is_named_so_and_overwrites_no_input(
    corner_parks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["pack", "1", "--parks", str(corner_parks), "--out", str(tmp_path / "p.tar")]) == 2
    assert "this is an archive; name it .zip" in capsys.readouterr().err
    whole = tmp_path / "parks.zip"
    with zipfile.ZipFile(whole, "w") as archive:
        archive.write(corner_parks, "parks.geojson")
    before = whole.read_bytes()
    assert main(["pack", "1", "--parks", str(whole), "--out", str(whole)]) == 2
    assert "this is one of the files to read" in capsys.readouterr().err
    assert whole.read_bytes() == before


def test_what_is_dangerous_at_a_chosen_spot_is_printed_in_the_units_asked_for(
    corner_parks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = shapely.LineString([(9.99, 45.0002), (10.01, 45.0002)])
    wires = {
        "type": "Feature",
        "properties": {"power": "line"},
        "geometry": json.loads(shapely.to_geojson(line)),
    }
    access = tmp_path / "access.geojson"
    access.write_text(json.dumps({"type": "FeatureCollection", "features": [wires]}))
    given = ["--parks", str(corner_parks), "--access", str(access), "--out", str(tmp_path / "pack.zip")]
    warned = {}
    for units in ("metric", "imperial"):
        assert main(["pack", "1-3", *given, "--units", units]) == 0
        (warned[units],) = [x for x in capsys.readouterr().out.splitlines() if "WARNING: Overhead line" in x]
    assert re.search(r"line \d\d m away", warned["metric"])
    assert re.search(r"line \d\d ft away", warned["imperial"])


# The site


def manifest_of(site: dict[str, bytes]) -> dict[str, object]:
    read: dict[str, object] = json.loads(site["manifest.webmanifest"])
    return read


def test_a_site_has_a_page_a_manifest_two_icons_and_a_worker_that_knows_them_by_their_bytes() -> None:
    site = build_site(exported.bay())
    assert tuple(site) == SITE
    manifest = manifest_of(site)
    assert manifest["name"] == "Spots round the bay"
    assert (manifest["display"], manifest["start_url"], manifest["scope"]) == (
        "standalone",
        "./index.html",
        "./",
    )
    worker = site["worker.js"].decode()
    for name in SITE[:-1]:
        digest = b64encode(hashlib.sha256(site[name]).digest()).decode()
        assert re.search(rf'"{re.escape(name)}": \[\s*"[^"]+",\s*"sha256-{re.escape(digest)}"', worker), name


def test_the_page_of_a_site_may_have_its_own_worker_and_manifest_and_one_file_may_not() -> None:
    alone, site = build_map(exported.bay()), build_site(exported.bay())["index.html"].decode()
    parts = [set(Reader(text).policy().split("; ")) for text in (alone, site)]
    gained = {"manifest-src 'self'", "worker-src 'self'"}
    assert gained <= parts[1] - parts[0]
    (pictures,) = parts[1] - parts[0] - gained
    assert parts[0] - parts[1] == {pictures.replace("'self' ", "")}
    assert "manifest" not in str([tag for tag in Reader(alone).elements if tag[0] == "link"])


@pytest.mark.parametrize("text", exported.HOSTILE)
def test_a_hostile_title_breaks_no_part_of_a_site(text: str) -> None:
    site = build_site(replace(exported.bay(), title=text))
    name = manifest_of(site)["name"]
    assert isinstance(name, str)
    assert 0 < len(name) <= 100
    assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", name)


def test_another_pack_has_another_version_and_the_same_the_same() -> None:
    def version(title: str) -> str:
        found = re.search(
            r'VERSION = "(\w{16})"', build_site(replace(exported.bay(), title=title))["worker.js"].decode()
        )
        assert found is not None
        return found[1]

    assert version("One") == version("One") != version("Two")


def folder_of(path: Path) -> dict[str, bytes]:
    return {entry.name: entry.read_bytes() for entry in path.iterdir()}


def test_the_command_writes_a_site_and_replaces_an_older_one(
    corner_parks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site, archive = tmp_path / "site", tmp_path / "day.zip"
    given = ["--parks", str(corner_parks)]
    assert main(["pack", "1", *given, "--web", str(site), "--out", str(archive)]) == 0
    assert f"Wrote {site}: put its 5 files on a web space" in capsys.readouterr().out
    first = folder_of(site)
    assert set(first) == set(SITE)
    assert archive.exists()
    assert str(site) not in first["index.html"].decode()
    assert main(["pack", "1-3", *given, "--web", str(site)]) == 0
    second = folder_of(site)
    assert set(second) == set(SITE)
    assert second["index.html"] != first["index.html"]
    assert second["worker.js"] != first["worker.js"]
    assert main(["pack", "1", *given, f"--web={site}"]) == 0
    assert folder_of(site) == first


@pytest.mark.parametrize(
    ("made", "line"),
    [
        ({"notes.txt": ""}, "it holds other files (notes.txt); name a new or an empty folder"),
        ({"index.html": "<h1>mine</h1>"}, "it holds other files (index.html); name a new or an empty folder"),
        ({"worker.js": "self.mine = 1"}, "it holds other files (worker.js); name a new or an empty folder"),
        (None, "this is no folder; name a folder"),
    ],
)
def test_what_is_not_an_older_site_is_left_alone(
    corner_parks: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    made: dict[str, str] | None,
    line: str,
) -> None:
    site = tmp_path / "site"
    if made is None:
        site.write_text("mine")
    else:
        site.mkdir()
        for name, text in made.items():
            (site / name).write_text(text)
    assert main(["pack", "1", "--parks", str(corner_parks), "--web", str(site)]) == 2
    said = capsys.readouterr()
    assert said.err == f"scout: --web {site}: {line}\n"
    if made is not None:
        assert {name: content.decode() for name, content in folder_of(site).items()} == made


def test_a_site_is_written_whole_or_not_at_all(
    corner_parks: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    given = ["--parks", str(corner_parks)]
    older, newer = tmp_path / "older", tmp_path / "newer"
    assert main(["pack", "1", *given, "--web", str(older)]) == 0
    before, count = folder_of(older), iter(range(100))
    flush = os.fsync

    def full(handle: int) -> None:
        if next(count) % 5 == 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        flush(handle)

    monkeypatch.setattr(os, "fsync", full)
    for site in (older, newer):
        assert main(["pack", "1-3", *given, "--web", str(site)]) == 2
    assert "cannot be written (No space left on device)" in capsys.readouterr().err
    assert folder_of(older) == before
    assert not newer.exists()


def test_it_must_be_said_where_a_pack_goes(corner_parks: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["pack", "1", "--parks", str(corner_parks)]) == 2
    assert "it is not said where it goes; add --out OUT.zip or --web FOLDER" in capsys.readouterr().err
