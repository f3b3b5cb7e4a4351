"""The house of DEVELOPERS.md, read from the imports: rooms import from above, never from below."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "scout"

# From words to front; a room imports only from lines above its own.
LINES = [
    {"errors", "model", "surroundings", "visits", "cautions", "cores"},
    {"locator", "geodesy", "coordinates", "confidence", "outlines", "clearance", "lattice", "containment"},
    {"parks", "verdict", "access", "outing", "tally"},
    {"spots"},
    {"reach"},
    {"rank", "describe"},
    {"find", "check", "standstill"},
    {"arrive"},
    {"templates"},
    {"page", "exports", "sheet", "card", "stamp", "journal"},
    {"pack"},
    {"read", "write", "cluster"},
    {"notebook", "prepare"},
    {"cli", "desk"},
    {"__main__"},
]
# Within one line these arrows are allowed: the numbers build on each other in this order.
WITHIN = {
    ("coordinates", "locator"),
    ("outlines", "geodesy"),
    ("clearance", "geodesy"),
    ("clearance", "outlines"),
    ("lattice", "locator"),
    ("containment", "clearance"),
    ("containment", "outlines"),
    ("describe", "rank"),
    ("model", "errors"),
    ("card", "page"),  # its wording of numbers
    ("journal", "exports"),  # cells of a spreadsheet
    ("journal", "page"),
    ("sheet", "page"),
    ("cli", "desk"),  # the command that opens it
    ("desk", "cli"),  # everything else: the same words become the same work
}
# No room of the core knows of files or of the front.
NOT_IN_CORE = {"click", "pyogrio", "folium", "branca", "sqlite3", "pathlib", "tempfile", "io"}
CORE = {
    "errors", "model", "surroundings", "cautions",
    "locator", "geodesy", "coordinates", "confidence", "outlines", "clearance",
    "containment", "lattice", "parks", "verdict", "spots", "rank", "check", "describe", "find",
    "cores", "arrive", "access", "outing", "stamp", "reach", "visits", "tally",
}  # fmt: skip


def room_of(path):
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
            yield node.module


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_room_imports_from_lines_above_its_own(path):
    here = room_of(path)
    line = next(k for k, rooms in enumerate(LINES) if here in rooms)
    above = set().union(*LINES[:line])
    for module in imports(path):
        parts = module.split(".")
        if parts[0] != "scout" or len(parts) == 1 or parts[1] == here:
            continue
        assert parts[1] in above or (here, parts[1]) in WITHIN, f"{here} imports {module}"


@pytest.mark.parametrize(
    "path", [p for p in files() if room_of(p) in CORE], ids=lambda p: str(p.relative_to(ROOT))
)
def test_the_core_touches_no_file_and_prints_nothing(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
    assert not calls & {"open", "print", "input"}
    assert not {m.split(".")[0] for m in imports(path)} & NOT_IN_CORE


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_public_face_is_sorted_and_complete(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    faces = [
        ast.literal_eval(n.value)
        for n in tree.body
        if isinstance(n, ast.Assign) and getattr(n.targets[0], "id", "") == "__all__"
    ]
    assert len(faces) == 1, "every room says what it offers"
    face = list(faces[0])
    assert len(set(face)) == len(face)
    defined = {
        n.name
        for n in tree.body
        if isinstance(n, ast.ClassDef | ast.FunctionDef) and not n.name.startswith("_")
    }
    assert defined <= set(face), "a public name is missing from __all__"
