"""The house of DEVELOPERS.md, read from the imports: packages import from above, never from below."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "scout"

# From words to fronts; a package or file imports only from those before its own.
ORDER = [
    "errors",
    "threads",
    "kernels",
    "table",
    "model",
    "quantities",
    "cautions",
    "geo",
    "io",
    "parks",
    "visits",
    "search",
    "walk",
    "recording",
    "drive",
    "sight",
    "tours",
    "output",
    "page",
    "app",
    "api",
    "cli",
    "desk",
    "__main__",
]
# Neither front knows the other: only `__main__` puts them together.
APART = {("cli", "desk"), ("desk", "cli")}
# No package of the core knows of files, databases or of a front.
NOT_IN_CORE = {"click", "pyogrio", "folium", "branca", "sqlite3", "pathlib", "tempfile", "io"}
CORE = {"errors", "threads", "table", "model", "quantities", "cautions", "geo", "search"}


def home_of(path):
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def files():
    return sorted(p for p in ROOT.rglob("*.py") if p != ROOT / "__init__.py")


def imports(path):
    """Modules a file imports, but for those only a type checker sees."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    hidden = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in hidden:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def name_of(path):
    return ".".join(path.relative_to(ROOT.parent).with_suffix("").parts).removesuffix(".__init__")


def arrows():
    """Of every file, the files it imports."""
    names = {name_of(path): path for path in files()}
    found = {}
    for name, path in names.items():
        whole = {module if module in names else module.rpartition(".")[0] for module in imports(path)}
        found[name] = whole & set(names) - {name}
    return found


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_package_imports_from_those_before_its_own(path):
    here = home_of(path)
    for module in imports(path):
        parts = module.split(".")
        if parts[0] != "scout" or len(parts) < 2 or parts[1] in (here, "__version__"):
            continue
        assert ORDER.index(parts[1]) < ORDER.index(here), f"{here} imports {module}"
        assert (here, parts[1]) not in APART, f"{here} imports {module}"


def test_no_files_import_each_other_in_a_ring():
    found = arrows()

    def reached(start):
        seen, todo = set(), [start]
        while todo:
            for after in found.get(todo.pop(), ()):
                if after not in seen:
                    seen.add(after)
                    todo.append(after)
        return seen

    assert not [name for name in found if name in reached(name)]


@pytest.mark.parametrize(
    "path", [p for p in files() if home_of(p) in CORE], ids=lambda p: str(p.relative_to(ROOT))
)
def test_the_core_touches_no_file_and_prints_nothing(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
    assert not calls & {"open", "print", "input"}
    assert not {m.split(".")[0] for m in imports(path)} & NOT_IN_CORE


def test_every_package_is_in_the_order():
    assert {home_of(path) for path in files()} == set(ORDER)


@pytest.mark.parametrize("words", [["--help"], ["find", "--help"], ["grid", "JN58td", "48.1,11.6"]])
def test_help_and_locators_need_no_frames(words):
    """What is heavy to import is imported by what needs it."""
    code = (
        "import sys, scout.__main__; status = scout.__main__.main(sys.argv[1:]); "
        "print(sorted({'pandas', 'geopandas', 'pyarrow', 'scipy', 'pyogrio'} & set(sys.modules)), status)"
    )
    run = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False)
    assert run.stdout.splitlines()[-1] == "[] 0", run.stderr


def test_a_search_that_saves_nothing_imports_no_format():
    code = (
        "import sys, scout.cli.find, scout.app.outputs, scout.app.find, scout.parks.indexed; "
        "print(sorted({'scout.output.features', 'scout.output.kml', 'scipy.sparse', 'jinja2', 'folium'} "
        "& set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "[]\n"
