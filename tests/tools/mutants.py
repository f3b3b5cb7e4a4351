"""Ask whether the tests notice a fault: mutants of the core, made and run by mutmut.

`python tests/tools/mutants.py [--folder PATH] [MODULE ...]`, in an environment that has mutmut 3 beside what
the tests need. Each module is mutated in a copy of the tree, and the tests that are meant to notice are run
for every mutant. Printed are the survivors, what changed in them and the counts. With a folder that stays,
what was killed there is not run again.
"""

import argparse
import collections
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]

# Quick tests that state what a module is for; what is slow or looks at the module from far away is left out.
TESTS = {
    "scout/search/rank.py": ["tests/test_rank.py"],
    "scout/visits/tally.py": [
        "tests/test_tally.py",
        "--deselect=tests/test_tally.py::test_what_is_missing_is_what_looking_at_every_cell_finds",
    ],
    "scout/geo/locator.py": [
        "tests/test_locator.py",
        "tests/published/test_iaru_handbook_locator.py",
        "tests/published/test_qst_1989_examples.py",
    ],
    "scout/geo/lattice.py": ["tests/test_lattice.py"],
    "scout/search/found.py": ["tests/test_rank.py", "tests/test_find.py"],
    "scout/visits/stamp.py": ["tests/test_stamp.py"],
    "scout/geo/geodesy.py": ["tests/published/test_wgs84_tables.py", "tests/oracles/test_geodesics.py"],
    "scout/recording/standstill.py": [
        "tests/test_standstill.py",
        "tests/test_standstill_moving.py",
        "tests/test_standstill_numbers.py",
    ],
}
SETTINGS = """
[tool.mutmut]
source_paths = ["scout"]
only_mutate = [{module}]
also_copy = ["data_demo", "README.md", "quick_first.py"]
pytest_add_cli_args = [
    "-o", "addopts=", "-p", "_hypothesis_pytestplugin", "--hypothesis-profile=mutants",
    "-p", "quick_first", "-p", "no:cacheprovider", "-p", "no:unraisableexception", "-p", "no:threadexception",
]
pytest_add_cli_args_test_selection = {tests}
timeout_constant = 300.0
use_git_change_detection = false
"""
# A plugin for pytest: mutmut hands it the tests in any order, and most mutants fall to the quick ones.
QUICK_FIRST = """
import json, pathlib

def pytest_collection_modifyitems(items):
    known = pathlib.Path("mutmut-stats.json")
    took = json.loads(known.read_text())["duration_by_test"] if known.exists() else {}
    items.sort(key=lambda item: took.get(item.nodeid, 0.0))
"""
# Without plugins that are not needed and without collecting garbage, a run takes a quarter of the time.
QUICK = os.environ | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
SHOW = "import sys; from mutmut.__main__ import show; [show.callback(name) for name in sys.argv[1:]]"
NOTICED = {1: "killed", 3: "killed", 0: "survived", 33: "not run", 5: "not run", None: "not run"}


def copy_tree(folder):
    """Bring the copy up to date; what did not change keeps its time, so that its results stay."""
    skip = shutil.ignore_patterns("__pycache__", "node_modules", ".hypothesis", "browser", "bench")
    for name in ("scout", "tests", "data_demo"):
        shutil.copytree(REPOSITORY / name, folder / name, dirs_exist_ok=True, ignore=skip)
    shutil.copy2(REPOSITORY / "README.md", folder)


def run_mutants(module, folder):
    """Run all mutants of a module; counts by what became of them, and the diffs of those not noticed."""
    copy_tree(folder)
    tests = json.dumps(TESTS[module])
    settings = SETTINGS.format(module=json.dumps(module), tests=tests)
    (folder / "pyproject.toml").write_text((REPOSITORY / "pyproject.toml").read_text() + settings)
    (folder / "quick_first.py").write_text(QUICK_FIRST)
    mutmut = [sys.executable, "-m", "mutmut"]
    results = folder / "mutants" / f"{module}.meta"
    if results.exists():  # what survived is asked again, for tests may be new
        known = json.loads(results.read_text())
        codes = known["exit_code_by_key"]
        known["exit_code_by_key"] = {name: code if code in (1, 3) else None for name, code in codes.items()}
        results.write_text(json.dumps(known))
    subprocess.run(
        [*mutmut, "run", "--max-children", "2"], cwd=folder, check=True, stdout=sys.stderr, env=QUICK
    )
    codes = json.loads(results.read_text())["exit_code_by_key"]
    counts = collections.Counter(NOTICED.get(code, "timeout or crash") for code in codes.values())
    left = [name for name, code in codes.items() if NOTICED.get(code) in ("survived", "not run")]
    show = [sys.executable, "-c", SHOW, *left]
    shown = subprocess.run(show, cwd=folder, check=True, capture_output=True, text=True).stdout
    diffs = [line for line in shown.splitlines() if line[:1] in "#-+" and line[:3] not in ("---", "+++")]
    return counts, diffs


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="*", metavar="MODULE", default=list(TESTS))
    parser.add_argument("--folder", type=Path, help="keep copies and results here")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        for module in asked.modules:
            folder = (asked.folder or Path(passing)).resolve() / Path(module).stem
            folder.mkdir(parents=True, exist_ok=True)
            counts, diffs = run_mutants(module, folder)
            print(*diffs, sep="\n")
            kinds = ("killed", "timeout or crash", "survived", "not run")
            print(
                module, counts.total(), *(f"{kind}: {counts[kind]}" for kind in kinds), sep=" | ", flush=True
            )


if __name__ == "__main__":
    main()
