"""The scripts of the page and the desk: joined rightly, linted, and their own tests run in Node."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from browser.conftest import must_have

from scout.output.templates import read_text_of
from scout.page.bundle import BundleError, Module, bundle, link_modules, parse_module

ROOT = Path(__file__).parents[1]
JS = ROOT / "tests" / "js"
PACKAGES = ("scout.page", "scout.desk")


@pytest.fixture(scope="module")
def node() -> str:
    return must_have(shutil.which("node"), "node", "nodejs npm")


@pytest.fixture(scope="module")
def packages(node: str) -> Path:
    """Where npm has put the linter."""
    folder = JS / "node_modules"
    found = str(folder) if (folder / "eslint").exists() else None
    return Path(must_have(found, "linter (npm ci in tests/js)", "npm"))


def modules_of(package: str) -> list[Module]:
    return link_modules(partial(read_text_of, package), "start.js")


def link(files: dict[str, str]) -> list[Module]:
    return link_modules(files.__getitem__, "start.js")


# In Node


def test_units_in_node(node: str) -> None:
    done = subprocess.run([node, "--test"], cwd=JS, capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stdout + done.stderr
    passed = re.search(r"^(?:#|ℹ) pass (\d+)", done.stdout, re.MULTILINE)
    assert passed is not None
    assert int(passed[1]) > 30


def lint(node: str, packages: Path, *words: str, text: str | None = None) -> Any:
    eslint = packages / "eslint" / "bin" / "eslint.js"
    given = ["--config", str(JS / "eslint.config.mjs"), "--format", "json", "--max-warnings", "0", *words]
    done = subprocess.run(
        [node, str(eslint), *given], cwd=ROOT, input=text, capture_output=True, text=True, encoding="utf-8"
    )
    assert done.returncode in (0, 1), done.stderr
    return json.loads(done.stdout)


def test_the_linter_finds_nothing(node: str, packages: Path) -> None:
    reports = lint(node, packages, "scout", "tests/js")
    told = [(r["filePath"], m["line"], m["message"]) for r in reports for m in r["messages"]]
    assert told == []
    seen = {Path(report["filePath"]).name for report in reports}
    scripts = {path.name for package in ("page", "desk") for path in (ROOT / "scout" / package).glob("*.js")}
    assert scripts <= seen


FAULTS = """import { formatNothing, formatLength } from "./wording.js";
import { gone } from "./gone.js";
import "./wording.js";
leaked = gone(formatNothing);
if (leaked == 1) eval("1");
document.body.innerHTML = leaked;
var unused = undefinedName;
"""


def test_the_linter_knows_a_fault_when_it_sees_one(node: str, packages: Path) -> None:
    (report,) = lint(node, packages, "--stdin", "--stdin-filename", "scout/page/faulty.js", text=FAULTS)
    found = {(message["ruleId"], message["line"]) for message in report["messages"]}
    assert found >= {
        ("import-x/named", 1),
        ("no-unused-vars", 1),
        ("import-x/no-unresolved", 2),
        ("import-x/no-duplicates", 3),
        ("no-undef", 4),
        ("eqeqeq", 5),
        ("no-eval", 5),
        ("no-restricted-properties", 6),
        ("no-var", 7),
        ("no-undef", 7),
    }


TRICKY = r"""
// import { a } from "./b.js";
/* export const no = 1; */
export const texts = ['import { a } from "./b.js";', "// no comment", `export
    const kept  =  ${ `in ${ { a: "}" }.a } a   template` } /* kept */`]; // dropped
const pattern = /["'`/*]{2,} (?:\/|[/"]) +/u;
export function half(x) {
  const one = 4 / 2 / x, two = x++ / 2; /* between */ let i = 0
  if (x) return /  {2,}, => /.test(x) ? { import: 1, export: 2 } : `a , b`;
  for (const c of "a = b") i += - -c.length + +1;
  return typeof /;/ / 2 < one - -two
}
export class Pair { static a = [ 1, 2 ]; get b () { return this . a } }
const [first, second] = Pair.a;
export const { a: [], ...rest } = {}
"""


def test_the_bundle_is_the_same_program(node: str, packages: Path) -> None:
    tricky = TRICKY.rsplit("\n", 2)[0]  # the last pattern is refused, see below
    given = [{"name": "tricky", "text": tricky, "script": parse_module("tricky", tricky).script}]
    for package in PACKAGES:
        given += [
            {"name": module.name, "text": read_text_of(package, module.name), "script": module.script}
            for module in modules_of(package)
        ]
    # That a difference would be seen.
    given.append({"name": "other", "text": 'f("a  b");', "script": 'f("a b");'})
    done = subprocess.run(
        [node, str(JS / "same_program.mjs")],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    assert json.loads(done.stdout) == ["other"]


# The bundler


def test_a_module_comes_after_those_it_needs_once_and_in_the_order_of_imports() -> None:
    found = link(
        {
            "start.js": 'import "./c.js";\nimport { a } from "./a.js";\na();',
            "a.js": 'import { b } from "./b.js";\nexport function a() { return b; }',
            "b.js": "export const b = 1;",
            "c.js": 'import { b } from "./b.js";\nexport const c = b;',
        }
    )
    assert [module.name for module in found] == ["b.js", "c.js", "a.js", "start.js"]
    script = "\n".join(module.script for module in found)
    assert "import" not in script
    assert "export" not in script


def test_names_of_a_module() -> None:
    found = parse_module(
        "a.js",
        """import { x, y, } from './b.js';
        import {
          z, // last
        } from "./c.js";
        export const one = (a, b) => { const inner = 1; return inner; };
        let two = 2;
        export async function three({ four }, [five]) { let six; class Seven {} }
        export class Eight { get() { return this.export + this.import; } }
        export const [nine, ten] = [9, { const: 10 }];
        const { eleven, twelve } = x;
        function* thirteen() {}
        for (const fourteen of y) z(fourteen);
        await one();""",
    )
    assert found.imports == {"b.js": ["x", "y"], "c.js": ["z"]}
    exported = ["one", "three", "Eight", "nine", "ten"]
    assert found.exported == set(exported)
    assert found.declared == ["one", "two", "three", "Eight", "nine", "ten", "eleven", "twelve", "thirteen"]


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ({"start.js": 'import { a } from "./a.js";'}, "start.js: there is no file a.js"),
        (
            {"start.js": 'import { a, b } from "./a.js";', "a.js": "const a = 1; export const b = 2;"},
            "start.js: a.js does not export a",
        ),
        (
            {"start.js": 'import "./a.js"; function f() {}', "a.js": "const f = 1;"},
            "start.js: f is declared in a.js too",
        ),
        (
            {"start.js": 'import { f } from "./a.js"; let f = 1;', "a.js": "export const f = 1;"},
            "start.js: f is declared in a.js too",
        ),
        (
            {
                "start.js": 'import "./a.js";',
                "a.js": 'import { b } from "./b.js"; export const a = b;',
                "b.js": 'import { c } from "./c.js"; export const b = c;',
                "c.js": 'import { a } from "./a.js"; export const c = a;',
            },
            "imports go round: a.js -> b.js -> c.js -> a.js",
        ),
        ({"start.js": 'import "./start.js";'}, "imports go round: start.js -> start.js"),
        ({"start.js": "import a from './a.js';"}, "start.js: import must stand at the top"),
        ({"start.js": "import * as a from './a.js';"}, "start.js: import must stand at the top"),
        ({"start.js": "import { a as b } from './a.js';"}, "start.js: import must stand at the top"),
        ({"start.js": "import { a } from '../a.js';"}, "start.js: import must stand at the top"),
        ({"start.js": "import { a } from 'a';"}, "start.js: import must stand at the top"),
        ({"start.js": "f(() => import('./a.js'));"}, "start.js: import must stand at the top"),
        ({"start.js": "f(import.meta.url);"}, "start.js: import must stand at the top"),
        ({"start.js": "export default 1;"}, "start.js: export must stand before"),
        ({"start.js": "const a = 1; export { a };"}, "start.js: export must stand before"),
        ({"start.js": 'export * from "./a.js";'}, "start.js: export must stand before"),
        ({"start.js": "const a = 1, b = 2;"}, "start.js: a: one declaration a statement"),
        ({"start.js": TRICKY}, "start.js: a pattern at the top"),
        ({"start.js": "f(`${1}"}, "start.js: line 1: what ` begins has no end"),
        ({"start.js": "\nf('a);"}, "start.js: line 2: what ' begins has no end"),
        ({"start.js": "\n\nf(/a"}, "start.js: line 3: a regular expression has no end"),
        ({"start.js": "if (a) /b/.test(c);"}, "start.js: line 1: write a blank behind the slash"),
        ({"start.js": "const a = 1\nexport const b = 2;"}, "start.js: export: end the statement before"),
        ({"start.js": "f()\nfunction g() {}"}, "start.js: function: end the statement before"),
        ({"start.js": "f(() => {"}, "start.js: its brackets do not match"),
    ],
)
def test_what_cannot_be_joined_is_refused_with_the_file_and_why(files: dict[str, str], told: str) -> None:
    with pytest.raises(BundleError) as caught:
        link(files)
    assert str(caught.value).startswith(told)


@pytest.mark.parametrize("sign", ["</script>", "<!--", "-->"])
def test_a_script_that_would_leave_its_element_is_refused(
    tmp_path: Path, sign: str, monkeypatch: Any
) -> None:
    (tmp_path / "marked").mkdir()
    (tmp_path / "marked" / "__init__.py").touch()
    (tmp_path / "marked" / "start.js").write_text(f'f("{sign}");', encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(__import__("sys").modules, "marked", raising=False)
    with pytest.raises(BundleError, match="would end the script"):
        bundle("marked", "start.js")


# The scripts


@pytest.mark.parametrize("package", PACKAGES)
def test_a_bundle_is_one_strict_function_in_lean_lines(package: str) -> None:
    lines = bundle(package, "start.js", "function before() {}").splitlines()
    assert lines[:3] == ["(async () => {", '"use strict";', "function before() {}"]
    assert lines[-1] == "})();"
    assert not [
        line for line in lines if not line or line != line.strip() or line.startswith(("//", "import"))
    ]


@pytest.mark.parametrize("package", PACKAGES)
def test_every_script_of_the_folder_is_in_the_bundle_and_no_export_is_idle(package: str) -> None:
    modules = modules_of(package)
    folder = ROOT.joinpath(*package.split("."))
    assert {path.name for path in folder.glob("*.js")} == {module.name for module in modules}
    wanted = {(file, name) for module in modules for file, names in module.imports.items() for name in names}
    tests = " ".join(path.read_text(encoding="utf-8") for path in JS.glob("*.test.mjs"))
    idle = [
        (module.name, name)
        for module in modules
        for name in module.exported
        if (module.name, name) not in wanted and not re.search(rf"\b{name}\b", tests)
    ]
    assert idle == []


@pytest.mark.parametrize("package", PACKAGES)
def test_no_module_hides_a_name_of_the_browser_from_the_others(package: str) -> None:
    """They share one scope: a function called `fetch` would be everybody's."""
    config = (JS / "eslint.config.mjs").read_text(encoding="utf-8")
    browser = set(re.findall(r'^ {2}"(\w+)",$', config, re.MULTILINE))
    assert {"document", "fetch", "window"} <= browser
    assert {name for module in modules_of(package) for name in module.declared} & {*browser, "L"} == (
        {"L"} if package == "scout.desk" else set()
    )
