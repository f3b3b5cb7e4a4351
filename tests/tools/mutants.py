"""Ask whether the tests notice a fault: mutants of the core, made and run by mutmut.

`python tests/tools/mutants.py [--folder PATH] [--every K] [MODULE ...]`, in an environment that has mutmut 3
beside what the tests need. Each module is mutated in a copy of the tree, and the tests that are meant to
notice are run for every mutant, or for every K-th in the order of the source. Printed are the survivors, what
changed in them and the counts. With a folder that stays, what was killed there is not run again.
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
    "scout/search/verdict.py": [
        "tests/test_verdict.py",
        "tests/oracles/test_joint.py",
        "tests/test_check.py",
    ],
    "scout/geo/probability.py": [
        "tests/published/test_normal_and_rice_tables.py",
        "tests/oracles/test_confidence_monte_carlo.py",
        "tests/oracles/test_containment.py",
        "--deselect=tests/oracles/test_containment.py::test_it_agrees_with_a_million_draws_within_three_thousandths",
    ],
    "scout/geo/joint.py": [
        "tests/oracles/test_joint.py",
        "--deselect=tests/oracles/test_joint.py::test_it_agrees_with_draws_of_the_same_errors",
    ],
    "scout/geo/boundaries.py": ["tests/test_boundaries.py", "tests/test_nearby.py"],
    "scout/walk/terrain.py": ["tests/published/test_walking_pace.py", "tests/test_access_relief.py"],
    "scout/walk/graph.py": ["tests/oracles/test_walk_graph.py", "tests/test_access_walk.py"],
    "scout/walk/routes.py": [
        "tests/test_routes.py",
        "tests/oracles/test_walk_graph.py",
        "tests/test_access_walk.py",
        "tests/test_kernels.py",
    ],
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
also_copy = ["data_demo", "README.md", "in_turn.py"]
use_git_change_detection = false
"""
GENERATE = """
from mutmut import __main__ as mutmut
mutmut.copy_src_dir(), mutmut.copy_also_copy_files(), mutmut.setup_source_paths(), mutmut.create_mutants(1)
"""
SHOW = "import sys; from mutmut.__main__ import show; [show.callback(name) for name in sys.argv[1:]]"
# A plugin for pytest: the tests are collected and run once, then for each mutant, in a fork, those that
# come to its function, the quickest first, up to the first that fails (mutmut collects
# them for every mutant).
IN_TURN = """
import json, os, pathlib, resource, time
from itertools import accumulate, pairwise
from _pytest.runner import runtestprotocol
from mutmut.mutation.trampoline import set_mutant_under_test
from mutmut.state import state
from mutmut.utils.format_utils import mangled_name_from_mutant_name

META = pathlib.Path(os.environ["MUTANTS_META"])
SECONDS, *asked = json.loads(pathlib.Path(os.environ["MUTANTS_ASKED"]).read_text())

def run(items, took):
    for item, following in pairwise([*items, None]):
        begin = time.process_time()
        failed = any(report.failed for report in runtestprotocol(item, log=False, nextitem=following))
        took[item.nodeid] = time.process_time() - begin
        if failed:
            return item.nodeid

def try_mutant(name, items, seconds):
    pid = os.fork()
    if not pid:
        set_mutant_under_test(name)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1), os.dup2(1, 2)
        limit = int(time.process_time() + 10 + 3 * seconds)
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 1))
        os._exit(1 if run(items, {}) else 0)
    end = time.monotonic() + 20 * (10 + 3 * seconds)
    while True:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > end:
            os.kill(pid, 9)
        time.sleep(0.003)

def pytest_runtestloop(session):
    set_mutant_under_test("stats")
    reached, took = {}, {}
    for item in session.items:
        if run([item], took):
            raise SystemExit(f"fails without a mutant: {item.nodeid}")
        for function in state()._stats:
            reached.setdefault(function, []).append(item)
        state()._stats.clear()
    for k, name in enumerate(asked):
        items = sorted(
            reached.get(mangled_name_from_mutant_name(name), []), key=lambda item: took[item.nodeid]
        )
        ends = accumulate(took[item.nodeid] for item in items)
        items = [item for item, end in zip(items, ends) if item is items[0] or end < SECONDS]
        code = try_mutant(name, items, sum(took[item.nodeid] for item in items)) if items else 33
        known = json.loads(META.read_text())
        known["exit_code_by_key"][name] = code
        META.write_text(json.dumps(known))
        print(k + 1, len(asked), name, code, flush=True)
    return True
"""
PYTEST = [
    *("-o", "addopts=", "-p", "_hypothesis_pytestplugin", "--hypothesis-profile=mutants"),
    *("-p", "no:cacheprovider", "-p", "no:unraisableexception", "-p", "no:threadexception", "-q", "-s"),
]
# Without plugins that are not needed, a run takes a quarter of the time.
QUICK = os.environ | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
NOT_RUN = 33
NOTICED = {1: "killed", 0: "survived", NOT_RUN: "not run", None: "not run"}


def copy_tree(folder):
    """Bring the copy up to date; what did not change keeps its time, so that its results stay."""
    skip = shutil.ignore_patterns("__pycache__", "node_modules", ".hypothesis", "browser", "bench")
    for name in ("scout", "tests", "data_demo"):
        shutil.copytree(REPOSITORY / name, folder / name, dirs_exist_ok=True, ignore=skip)
    shutil.copy2(REPOSITORY / "README.md", folder)


def run_mutants(module, folder, every, seconds):
    """Run each `every`-th mutant; how many there are, counts by their ends, diffs of those not killed."""
    copy_tree(folder)
    settings = SETTINGS.format(module=json.dumps(module))
    (folder / "pyproject.toml").write_text((REPOSITORY / "pyproject.toml").read_text() + settings)
    (folder / "in_turn.py").write_text(IN_TURN)
    inner = folder / "mutants"
    inner.mkdir(exist_ok=True)

    def run(*words, cwd=folder, env=QUICK, **how):
        return subprocess.run([sys.executable, *words], cwd=cwd, check=True, env=env, **how)

    def read_codes():
        return json.loads((inner / f"{module}.meta").read_text())["exit_code_by_key"]

    def write_code(name, code):
        known = json.loads((inner / f"{module}.meta").read_text())
        known["exit_code_by_key"][name] = code
        (inner / f"{module}.meta").write_text(json.dumps(known))

    run("-c", GENERATE, stdout=sys.stderr)
    codes = read_codes()
    asked = list(codes)[every - 1 :: every]
    left = [name for name in asked if NOTICED.get(codes[name]) != "killed"]
    if left:
        (inner / "asked").write_text(json.dumps([seconds, *left]))
        env = QUICK | {"MUTANTS_META": str(inner / f"{module}.meta"), "MUTANTS_ASKED": str(inner / "asked")}
        run("-m", "pytest", *PYTEST, "-p", "in_turn", *TESTS[module], cwd=inner, env=env, stdout=sys.stderr)
    # What runs while the module is imported takes a process of its own.
    alone = [name for name in left if read_codes()[name] == NOT_RUN]
    for name in alone:
        words = [sys.executable, "-m", "pytest", *PYTEST, "-x", *TESTS[module]]
        done = subprocess.run(words, cwd=inner, env=QUICK | {"MUTANT_UNDER_TEST": name}, stdout=sys.stderr)
        write_code(name, 1 if done.returncode else NOT_RUN)
    codes = read_codes()
    counts = collections.Counter(NOTICED.get(codes[name], "timeout or crash") for name in asked)
    left = [name for name in asked if NOTICED.get(codes[name]) != "killed"]
    shown = run("-c", SHOW, *left, capture_output=True, text=True).stdout
    diffs = [line for line in shown.splitlines() if line[:1] in "#-+" and line[:3] not in ("---", "+++")]
    return len(codes), counts, diffs


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="*", metavar="MODULE", default=list(TESTS))
    parser.add_argument("--folder", type=Path, help="keep copies and results here")
    parser.add_argument("--every", type=int, default=1, help="run each K-th mutant only", metavar="K")
    parser.add_argument("--seconds", type=float, default=2.0, help="of the quickest tests for a mutant")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        for module in asked.modules:
            folder = (asked.folder or Path(passing)).resolve() / Path(module).stem
            folder.mkdir(parents=True, exist_ok=True)
            made, counts, diffs = run_mutants(module, folder, asked.every, asked.seconds)
            print(*diffs, sep="\n")
            kinds = ("killed", "timeout or crash", "survived", "not run")
            told = (f"made: {made}", f"run: {counts.total()}", *(f"{kind}: {counts[kind]}" for kind in kinds))
            print(module, *told, sep=" | ", flush=True)


if __name__ == "__main__":
    main()
