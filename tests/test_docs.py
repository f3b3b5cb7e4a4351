"""The pages keep their word: commands run as printed, help shown is help given, what is named exists."""

import doctest
import importlib
import os
import pkgutil
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tools.write_reference import HEAD, get_help, list_commands

import scout

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROSE, _, REFERENCE = DEVELOPERS.partition(HEAD)
SHOWN = re.compile(r"<!-- help: scout (.*?) -->\n```text\n(.*?)```", re.DOTALL)
DAY = re.findall(r"<!-- day -->\n```sh\n(.*?)```", README, re.DOTALL)
PACKAGES = {path.parent.name for path in (ROOT / "scout").glob("*/__init__.py")}


def test_the_reference_has_every_command_and_those_inside_them():
    assert [words for words, _ in SHOWN.findall(REFERENCE)] == [" ".join(words) for words in list_commands()]
    assert {"visit add", "desk", "find"} <= {words for words, _ in SHOWN.findall(REFERENCE)}


@pytest.mark.parametrize(("words", "text"), SHOWN.findall(REFERENCE), ids=lambda v: v[:12])
def test_help_shown_is_help_given(words, text):
    assert text == get_help(words.split()), "run tests/tools/write_reference.py"


def test_the_readme_opens_with_the_job_and_has_the_two_commands():
    assert README.startswith("# scout\n\n`scout` finds places for a portable amateur-radio station.")
    plain = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert [line.rsplit("/", 1)[1] for line in plain] == ["scout demo", "pytest"]


def test_the_readme_can_be_read_at_one_go():
    assert len(README.splitlines()) <= 300


def test_options_named_in_the_pages_exist():
    given = set(re.findall(r"--[a-z-]+", " ".join(map(get_help, list_commands()))))
    foreign = {"--extra"}  # uv's
    named = set(re.findall(r"(?<=[` ])--[a-z-]+", README))
    # DEVELOPERS.md names options of the tests' tools and of others as well: only those in backticks, alone
    named |= set(re.findall(r"`(--[a-z-]+)", PROSE[PROSE.index("## The house") :]))
    assert named - foreign - given == set()


@pytest.mark.parametrize("text", [README, PROSE], ids=["README", "DEVELOPERS"])
def test_every_table_has_its_head(text):
    lines = text.splitlines()
    tops = [k for k, line in enumerate(lines) if line.startswith("|") and not lines[k - 1].startswith("|")]
    assert tops
    assert not [lines[k] for k in tops if not re.fullmatch(r"[|-]+", lines[k + 1])]


@pytest.mark.parametrize("text", [README, PROSE], ids=["README", "DEVELOPERS"])
def test_files_of_the_tree_that_are_named_exist(text):
    shown = re.findall(r'\]\(([^)]+)\)|src="([^"]+)"', text)
    named = {a or b for a, b in shown} | set(re.findall(r"\b(?:data_demo|tests)/[\w./-]*\w", text))
    assert named
    assert not [name for name in named if not (ROOT / name).exists()]
    tests = set(re.findall(r"`(test_\w+\.py)`", text))
    assert not [name for name in tests if not list((ROOT / "tests").rglob(name))]


def test_modules_named_for_contributors_exist():
    named = re.findall(r"`([a-z_]+)/([\w.]+)`", PROSE)
    missing = [
        f"{package}/{name}"
        for package, name in named
        if package in PACKAGES and not exists(ROOT / "scout" / package / name)
    ]
    assert missing == []
    assert sum(package in PACKAGES for package, _ in named) > 20


def exists(path):
    return path.exists() or path.with_name(f"{path.name}.py").exists()


def test_the_table_of_the_house_names_packages_and_modules_that_exist():
    table = PROSE[PROSE.index("| package | holds |") :].partition("\n\n")[0]
    rows = [re.findall(r"`([^`]+)`", line.split("|")[1]) for line in table.splitlines()[2:]]
    assert {name.strip("/") for names in rows for name in names} == PACKAGES | {
        path.stem for path in (ROOT / "scout").glob("[a-z]*.py")
    }
    for names, line in zip(rows, table.splitlines()[2:], strict=True):
        for module in re.findall(r"`([a-z_]+)/?`", line.split("|")[2]):
            homes = [ROOT / "scout" / name / module for name in names] + [ROOT / "scout" / module]
            assert any(exists(home) for home in homes), f"{names[0]} has no {module}"


def test_functions_named_for_contributors_exist():
    homes = {}
    for name in modules():
        homes.setdefault(name.rpartition(".")[2], []).append(name)
    named = [
        (module, name)
        for module, name in re.findall(r"`([a-z_]+)\.(\w+)", PROSE)
        if module in homes and name not in ("gpkg", "html", "py", "c", "compiled", "npz")
    ]
    assert len(named) > 5
    for module, name in named:
        assert any(hasattr(importlib.import_module(home), name) for home in homes[module]), name


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    folder = tmp_path_factory.mktemp("copy")
    shutil.copytree(ROOT / "data_demo", folder / "data_demo", ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def run(words, folder):
    return subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
        timeout=900,
    )


RUNNING = "import sys, scout.__main__; sys.exit(scout.__main__.main(sys.argv[1:]))"


def test_the_day_in_the_readme_runs_as_printed(copy, forks):
    lines = [shlex.split(line) for block in DAY for line in block.splitlines()]
    named = ["prepare", "find", "check", "card", "pack", "arrive", "trip", "visit", "stamp", "tally"]
    assert [words[1] for words in lines] == named
    said = {}
    for words in lines:
        assert words[0] == "scout"
        done = forks.run(RUNNING, words[1:], copy, timeout=900)
        assert (done.returncode, done.stderr) == (0, ""), words
        said[words[1]] = done.stdout
        for option in ("--out", "--map", "--save", "--sheet"):
            if option in words:
                assert (copy / words[words.index(option) + 1]).exists()
    # What is told around the commands.
    assert re.search(r"^1 +corner +4 x 2 = 8 +firm .* 34 min, ", said["find"], re.MULTILINE)
    assert re.search(r"^ +firm, .*: DE39 x 2 parks", said["check"], re.MULTILINE)
    assert re.search(r"^ +better: .* then 4 grids, 2 parks", said["check"], re.MULTILINE)
    assert "Verdict: firm." in said["arrive"]
    assert "Visit 1," in said["visit"]
    assert {path.name for path in (copy / "stamped").iterdir()} == {"log-heron-1.adi", "log-kestrel-3.adi"}
    assert re.search(r"^2026 +1 +6 +4 \(4 new\) +2 \(2 new\)", said["tally"], re.MULTILINE)
    assert "not yet visited" in said["tally"]


def test_the_library_in_the_readme_runs_as_printed(copy):
    (code,) = re.findall(r"<!-- library -->\n```python\n(.*?)```", README, re.DOTALL)
    done = run(["-c", code], copy)
    assert (done.returncode, done.stderr) == (0, "")
    (promised,) = re.findall(r"# <\.\.\.(: .*>)", code)
    assert promised in done.stdout
    assert "spots.gpkg" in {path.name for path in copy.iterdir()}


def modules():
    return [m.name for m in pkgutil.walk_packages(scout.__path__, "scout.")]


@pytest.mark.parametrize("name", modules())
def test_examples_in_docstrings_run(name):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0
