"""Every folder of `cases/` is an input that must give one line: an error, or a line of the report.

A case needs no Python: the input files, and `expect.txt` with the line. Where the line names what a library
says, `...` stands for any text. `files.txt`, where there is one, lists the paths to read instead.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from scout.errors import ScoutError
from scout.io.layers import read_layers
from scout.parks.build import build_parks

CASES = sorted(path for path in (Path(__file__).parent / "cases").iterdir() if path.is_dir())
SIDECARS = {".shx", ".dbf", ".prj", ".cpg"}


def inputs(case: Path) -> list[str]:
    if (case / "files.txt").exists():
        return (case / "files.txt").read_text("utf-8").splitlines()
    files = [path for path in case.iterdir() if path.suffix != ".txt"]
    shapes = {path.stem for path in files if path.suffix == ".shp"}
    return sorted(p.name for p in files if p.suffix not in SIDECARS or p.stem not in shapes)


def lines_of(paths: list[str]) -> list[str]:
    try:
        parks = build_parks(read_layers(paths))
    except ScoutError as error:
        return [str(error)]
    report = parks.report
    warnings = [f"{source.where}: {text}" for source in parks.sources for text in source.warnings]
    return [*report.refused, *report.repaired, *report.skipped, *warnings]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_an_odd_input_gives_its_one_line(case: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(case)
    expected = (case / "expect.txt").read_text("utf-8").rstrip("\n")
    pattern = ".*".join(re.escape(part) for part in expected.split("..."))
    given = lines_of(inputs(case))
    assert any(re.fullmatch(pattern, line) for line in given), given
    assert all(line.isprintable() for line in given), given


def test_every_case_has_its_line() -> None:
    assert len(CASES) > 40
    for case in CASES:
        assert (case / "expect.txt").read_text("utf-8").count("\n") == 1, case.name
