"""What every format to save has in common; a file per format beside this one holds the rest."""

import builders
import exported
import pytest
import shapely

from scout.app.find import SearchOptions, find_spots
from scout.app.outputs import FORMATS, export_findings
from scout.errors import OutputError
from scout.model import ParkReport, Parks


@pytest.fixture(scope="module")
def found():
    frame = builders.parks_frame(
        (("a-1", exported.HOSTILE[0]), shapely.box(9.9, -45.1, 10.1, -44.9)),
        (("b-2", ""), shapely.box(10.3, -44.9982, 10.4, -44.8)),
    )
    return find_spots(Parks(frame, (), ParkReport()), SearchOptions(home=(10.0, -45.5)))


def test_an_unknown_suffix_is_refused(found):
    with pytest.raises(OutputError, match=r"no format goes by \.xlsx; use \.geojson or \.csv or \.gpx"):
        export_findings(found, "out.xlsx")


@pytest.mark.parametrize("suffix", FORMATS)
def test_a_search_as_it_comes_is_saved_and_its_bytes_repeat(found, suffix):
    first = export_findings(found, f"plan{suffix.upper()}")
    assert isinstance(first, bytes)
    assert export_findings(found, f"elsewhere/other{suffix}") == first


@pytest.mark.parametrize("suffix", FORMATS)
def test_findings_are_not_changed_by_saving_them(suffix):
    findings = exported.seam()
    before = findings.parks.copy(deep=True)
    export_findings(findings, f"plan{suffix}")
    assert findings.parks.equals(before)


@pytest.mark.parametrize("suffix", FORMATS)
@pytest.mark.parametrize("text", exported.HOSTILE, ids=range(len(exported.HOSTILE)))
def test_no_text_from_data_stops_a_format(suffix, text):
    assert export_findings(exported.named(text), f"plan{suffix}")


@pytest.mark.parametrize("suffix", FORMATS)
def test_nothing_found_is_saved_as_nothing(suffix):
    assert export_findings(exported.at([]), f"plan{suffix}")
