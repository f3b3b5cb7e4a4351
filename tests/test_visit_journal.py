"""The journal: names stay text, nothing is loaded, and it fits a phone and a desk in a real browser."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import cv2
import lxml.html
import numpy as np
import pytest
import shapely
from browser.conftest import chromium_path, must_have

from scout.model import ParkVisited, Visit
from scout.output.journal import JournalParticulars, build_journal_page, draw_journal, export_visits

START = datetime(2026, 2, 14, 18, 5, tzinfo=UTC)
CORNER = Visit(
    -112.0,
    -41.0,
    START,
    START + timedelta(hours=7),
    4.9,
    locators=("DE39", "DE49", "DE38", "DE48"),
    parks=(
        ParkVisited("QX-001", "Quiet Cove", 614.2, 0.9991),
        ParkVisited("QX-002", "Tern Marsh", -3.0, 0.4),
    ),
    confidence=0.949,
    call="Q1AAA",
    contacts=1234,
    power_w=5.0,
    went_well="two\nlines",
    number=1,
)
LINE = Visit(-112.0, -42.3, START.replace(year=2025), locators=("DE37", "DE47"), number=2)
HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</style><script>alert(2)</script>",
    "{{7*7}} ${8}",
    "\u202eback \x1b[31m",
)


def hostile() -> Visit:
    parks = tuple(ParkVisited(text, HOSTILE[0]) for text in HOSTILE)
    return Visit(
        10.0, 45.0, START, parks=parks, call=HOSTILE[1], weather=HOSTILE[2], sheet="javascript:alert(3)"
    )


def journal(*visits: Visit, title: str = "") -> lxml.html.HtmlElement:
    return lxml.html.fromstring(
        build_journal_page(visits, JournalParticulars(title, "scout visit export", "2026-03-01"))
    )


def words(element) -> str:
    return " ".join(" ".join(element.itertext()).split())


def test_every_visit_is_told_the_latest_first():
    articles = [words(a) for a in journal(LINE, CORNER).findall(".//article")]
    assert articles[0].startswith("Visit 1 2026-02-14 18:05 to 2026-02-15 01:05 UTC Q1AAA")
    assert "DE39 DE49 DE38 DE48 4 grids × 2 parks = 8, confidence 94.9 %" in articles[0]
    assert "Quiet Cove QX-001 : 614 m inside, over 99.9 %" in articles[0]
    assert "Tern Marsh QX-002 : 3.0 m outside, 40.0 %" in articles[0]
    assert "Contacts 1,234" in articles[0]
    assert "Power 5 W" in articles[0]
    assert articles[1].startswith("Visit 2 2025-02-14 18:05 UTC, end not noted")


def test_the_years_are_counted():
    rows = [words(row) for row in journal(LINE, CORNER).findall(".//tbody/tr")]
    assert rows == ["2025 1 0 2 (2 new) 0 0", "2026 1 1,234 4 (4 new) 2 (2 new) 8 (8 new)"]


def test_names_stay_text_and_the_page_may_load_and_run_nothing():
    text = build_journal_page([hostile()], JournalParticulars(HOSTILE[0]))
    tree = lxml.html.fromstring(text)
    assert not tree.findall(".//script")
    assert not tree.findall(".//img")
    assert "\x1b" not in text
    assert HOSTILE[2] in tree.text_content()
    assert {a.get("href").split(":")[0] for a in tree.findall(".//a")} == {"geo"}
    policy = tree.find(".//meta[@http-equiv]").get("content")
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert not re.search(r"https?://", text.replace("http-equiv", ""))


def test_the_same_visits_give_the_same_bytes_and_none_a_page_that_says_so():
    assert export_visits([CORNER], "a.html", JournalParticulars()) == export_visits(
        [CORNER], "A.HTML", JournalParticulars()
    )
    assert "holds no visit yet" in words(journal())


def test_the_map_puts_visits_and_grids_where_they_are():
    found = draw_journal([CORNER, LINE])
    (x, y, text), (x2, y2, _) = found.marks
    assert (text, x2) == ("1", x)
    assert x in found.upright  # 112 W is a lattice line
    assert min(abs(y - line) for line in found.across) < 0.11
    # 1.3 degrees further south at the scale of the lattice: lines a degree apart
    degree = found.across[0] - found.across[1]
    assert y2 - y == pytest.approx(1.3 * degree, abs=0.3)
    assert len(found.shaded) == 6
    widths = {round(wide / high, 2) for _, _, wide, high in found.shaded}
    assert max(widths) - min(widths) < 0.02
    assert all(0 <= mark[0] <= found.wide and 0 <= mark[1] <= found.tall for mark in found.marks)


def test_visits_on_both_sides_of_the_antimeridian_lie_side_by_side():
    pair = [
        Visit(lon, 0.5, START, locators=(text,), number=k)
        for k, (lon, text) in enumerate([(179.5, "RJ90"), (-179.5, "AJ00")])
    ]
    found = draw_journal(pair)
    assert abs(found.marks[0][0] - found.marks[1][0]) < found.wide / 3
    assert {text for _, _, text in found.labels} >= {"RJ90", "AJ00"}
    assert all(-found.wide < x < 2 * found.wide for x, *_ in found.shaded)


def test_near_visits_share_a_mark_and_the_whole_world_is_ruled_by_fields():
    near = [Visit(10.0 + k * 1e-4, 45.0, START, number=k + 1) for k in range(3)]
    assert [text for *_, text in draw_journal(near).marks] == ["1 +2"]
    world = [Visit(lon, lat, START, number=1) for lon, lat in ((-150.0, -60.0), (0.0, 70.0), (150.0, 0.0))]
    assert draw_journal(world).level == 1
    assert len(draw_journal(world).marks) == 3


LAND_AND_SEA = [  # common knowledge of the map (C)
    (10.0, 51.0, True),  # the middle of Germany
    (3.0, 56.0, False),  # the North Sea
    (19.0, 61.3, False),  # the Gulf of Bothnia
    (26.0, 61.3, True),  # Finland
    (19.0, 56.5, False),  # the Baltic
]


def europe() -> list[Visit]:
    return [Visit(lon, lat, START, number=k + 1) for k, (lon, lat) in enumerate([(8.0, 46.8), (24.9, 60.2)])]


@pytest.mark.parametrize("turn", [0.0, 360.0, -360.0])
def test_land_and_sea_lie_where_they_are(turn):
    visits = [replace(visit, lon=visit.lon + turn) for visit in europe()]
    found = draw_journal(visits)
    assert found.sea
    rings = [
        shapely.Polygon(np.array(re.findall(r"-?[\d.]+", ring), dtype=float).reshape(-1, 2))
        for ring in found.base["land"].split("Z")
        if ring
    ]
    (x0, y0, _), (x1, y1, _) = found.marks
    for lon, lat, land in LAND_AND_SEA:
        x = x0 + (lon - 8.0) / (24.9 - 8.0) * (x1 - x0)
        y = y0 + (lat - 46.8) / (60.2 - 46.8) * (y1 - y0)
        around = sum(ring.contains(shapely.Point(x, y)) for ring in rings)
        assert (around % 2 == 1) == land, (lon, lat)


def test_towns_are_named_where_they_are_off_marks_and_each_other():
    found = draw_journal(europe())
    (x0, y0, _), (x1, y1, _) = found.marks
    at = {name: (x, y) for x, y, name in found.towns}
    assert 3 < len(at) <= 16
    lon, lat = 13.40, 52.52  # Berlin (C)
    assert at["Berlin"] == pytest.approx(
        (x0 + (lon - 8.0) / 16.9 * (x1 - x0), y0 + (lat - 46.8) / 13.4 * (y1 - y0)), abs=2.0
    )
    boxes = [shapely.box(x, y - 9, x + 5 * len(name), y + 4) for x, y, name in found.towns]
    assert all(not a.intersects(b) for k, a in enumerate(boxes) for b in boxes[:k])
    assert all(0 <= x <= found.wide and 0 <= y <= found.tall for x, y, _ in found.towns)


def test_where_the_base_lacks_the_land_no_sea_is_claimed():
    assert not draw_journal([CORNER]).sea
    page = journal(CORNER)
    assert not page.findall(".//rect[@class='sea']")
    assert "lacks the land here" in words(page)
    assert "Natural Earth" in words(page)
    assert "lacks the land here" not in words(journal(*europe()))


def test_the_map_of_a_journal_has_its_bytes():
    """At most 120 KB, the world over: our own budget."""
    world = [Visit(lon, lat, START, number=1) for lon, lat in ((-150.0, -60.0), (20.0, 70.0), (150.0, 0.0))]
    for visits in (europe(), world, [CORNER]):
        assert len(build_journal_page(visits, JournalParticulars())) < 120_000


def test_paper_has_margins(page_of, tmp_path):
    """Every page has 12 mm of white on each side, printed as it stands; pixels by `pdftoppm` (R)."""
    browser, _, _ = page_of([replace(LINE, number=k) for k in range(40)])
    (tmp_path / "journal.pdf").write_bytes(browser.pdf(format="A4", print_background=True))
    if not shutil.which("pdftoppm"):
        pytest.skip("no pdftoppm on this machine; on Debian: apt install poppler-utils")
    subprocess.run(["pdftoppm", "-r", "50", "-png", "journal.pdf", "page"], cwd=tmp_path, check=True)
    made = sorted(tmp_path.glob("page*.png"))
    assert len(made) > 2
    for path in made:
        dark = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) < 250
        rim = round(12 / 25.4 * 50)
        assert dark.any()
        dark[rim:-rim, rim:-rim] = False
        assert not dark.any()


@pytest.fixture(scope="session")
def browser_type_launch_args():
    path = must_have(chromium_path(), "Chromium", "chromium")
    return {"executable_path": path, "args": ["--no-sandbox"]}


@pytest.fixture(params=[(1100, 900), (390, 844)], ids=["wide", "tall"])
def browser_context_args(request):
    wide, high = request.param
    return {"viewport": {"width": wide, "height": high}, "offline": True}


def test_in_a_browser_it_fits_the_screen_asks_for_nothing_and_says_nothing(page_of):
    browser, asked, said = page_of([hostile(), LINE, CORNER])
    assert asked == []
    assert said == []
    assert browser.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    boxes = [mark.bounding_box() for mark in browser.locator("svg .mark").all()]
    assert len(boxes) == 2  # at this scale two are one mark
    picture_box = browser.locator("svg").bounding_box()
    for box in boxes:
        assert picture_box["x"] <= box["x"] <= picture_box["x"] + picture_box["width"]
        assert box["width"] >= 8
    size = browser.evaluate(
        "[...document.querySelectorAll('svg text')].map(t => t.getBoundingClientRect().height)"
    )
    assert min(height for height in size if height) >= 9  # pixels: what is shown can be read on a phone
    assert browser.locator("article").count() == 3


@pytest.fixture
def page_of(page, tmp_path):
    def shown(visits):
        path = tmp_path / "journal.html"
        path.write_text(build_journal_page(visits, JournalParticulars("Journal")), encoding="utf-8")
        asked, said = [], []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.on("dialog", lambda dialog: said.append(dialog.message))
        page.goto(path.as_uri())
        return page, asked[1:], said

    return shown
