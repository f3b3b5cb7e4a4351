import csv
import io
import json

import builders
import pytest
import shapely

from scout.errors import OutputError
from scout.exports import export, to_csv, to_geojson
from scout.find import Options, find
from scout.model import ParkReport, Parks

EVIL = '=HYPERLINK("x") <img src=x onerror=alert(1)>\n"quoted", Ж公園\u202e'


@pytest.fixture(scope="module")
def findings():
    frame = builders.parks_frame(
        (("a-1", EVIL), shapely.box(9.9, -45.1, 10.1, -44.9)),
        (("b-2", ""), shapely.box(10.3, -44.9982, 10.4, -44.8)),
    )
    return find(Parks(frame, (), ParkReport()), Options(home=(10.0, -45.5)))


def test_geojson_holds_every_spot_with_the_agreed_properties(findings):
    data = json.loads(to_geojson(findings))
    assert len(data["features"]) == len(findings.spots)
    first = data["features"][0]["properties"]
    assert first["rank"] == 1
    assert first["kind"] == "corner"
    assert first["corner"] == [10.0, -45.0]
    assert first["locators"] == ["JE45", "JE55", "JE44", "JE54"]
    assert first["park_names"] == [EVIL]
    assert first["yield"] == first["n_grids"] * first["n_parks"] == 4
    assert first["verdict"] == "firm"
    assert first["home_km"] == pytest.approx(55.57, abs=0.01)
    assert set(first) >= {"clearance_m", "confidence", "stretch_m", "notes", "n_grids", "n_parks", "parks"}


def test_a_near_miss_has_no_parks_but_names_the_one_it_misses(findings):
    misses = [
        f["properties"]
        for f in json.loads(to_geojson(findings))["features"]
        if f["properties"]["kind"] == "near-miss"
    ]
    assert [m["near_park"] for m in misses] == ["b-2"]
    assert misses[0]["parks"] == []
    assert misses[0]["yield"] == 0
    assert misses[0]["clearance_m"] == pytest.approx(-misses[0]["near_m"])


def test_geojson_opens_in_gdal_with_the_same_places(findings, tmp_path):
    """An independent reader: GDAL through pyogrio."""
    import pyogrio

    path = tmp_path / "spots.geojson"
    path.write_text(to_geojson(findings), encoding="utf-8")
    frame = pyogrio.read_dataframe(path)
    assert len(frame) == len(findings.spots)
    assert frame.geometry.x.to_list() == pytest.approx([r.spot.lon for r in findings.spots], abs=1e-7)
    assert frame.geometry.y.to_list() == pytest.approx([r.spot.lat for r in findings.spots], abs=1e-7)


def test_csv_keeps_text_as_text_in_a_spreadsheet(findings):
    rows = list(csv.DictReader(io.StringIO(to_csv(findings), newline="")))
    assert len(rows) == len(findings.spots)
    assert rows[0]["park_names"] == f"'{EVIL}"
    assert float(rows[0]["latitude"]) == pytest.approx(findings.spots[0].spot.lat, abs=1e-8)
    assert rows[0]["locators"] == "JE45 JE55 JE44 JE54"


def test_an_unknown_suffix_is_refused(findings):
    with pytest.raises(OutputError, match=r"no format goes by \.xlsx; use \.geojson or \.csv"):
        export(findings, "out.xlsx")
