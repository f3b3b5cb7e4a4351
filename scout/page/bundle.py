"""JavaScript modules joined to one script, for pages that open from a disk, where a browser loads no modules.

Only this is taken: ``import { a, b } from "./file.js";``, ``import "./file.js";`` and ``export`` before a
declaration. All modules share one function scope, in the order in which a browser would evaluate them, so a
name may stand at the top of one module only, and imports may not go round in a circle. The rest is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial
from typing import NoReturn

from scout.output.templates import read_text_of

_STRING = r""""(?>[^"\\\n]|\\.)*"|'(?>[^'\\\n]|\\.)*'"""
_COMMENT = r"//[^\n]*|/\*(?s:.*?)\*/"
_REGEX = re.compile(r"/(?>[^/\\\[\n]|\\.|\[(?>[^\]\\\n]|\\.)*\])+/[a-z]*")


def _make_template(depth: int) -> str:
    """Pattern of a template whose insertions hold templates, to a depth."""
    inner = "|" + _make_template(depth - 1) if depth else ""
    code = rf"""(?>[^`{{}}"']|{_STRING}{inner}|\{{(?>[^`{{}}"']|{_STRING}{inner})*\}})*"""
    return rf"`(?>[^`\\$]|\\(?s:.)|\$(?!\{{)|\$\{{{code}\}})*`"


_LITERAL_OR_COMMENT = re.compile(rf"(?P<held>{_STRING}|{_make_template(2)})|{_COMMENT}|(?P<open>[/`\"'])")
_HELD = re.compile("\0(\\d+)\0")  # a literal set aside, by its number
# Before a slash: a value is divided; behind one of these words, or a mark, a regular expression begins.
_VALUE = re.compile(r"[\w$\0)\]}]\Z|(?:\+\+|--)\Z")
_NO_VALUE = re.compile(r"\b(?:await|case|delete|do|else|in|of|return|throw|typeof|void|yield)\Z")
# The commonest blanks that part nothing.
_TIGHT = (" = ", " => ", " === ", ", ", ": ", ") ", " (", " {")
_BRACKETS_AND_WORDS = re.compile(
    r"[(){}\[\],;]|(?<![.\w$])(?:import|export|const|let|var|class|function)\b(?!:)"
)
_IMPORT = re.compile("import(?:\\s*{([\\w$,\\s]*)}\\s*from)?\\s*\0(\\d+)\0;\n?")
_FILE = re.compile(r"""["']\./([\w-]+\.js)["']""")
_NAME = re.compile(r"[\s*]*([\w$]+)")
_PATTERN = re.compile(r"\s*[\[{]([\w$,\s]*)[\]}]\s*=")
_LEAD = re.compile(r"(?:\A|[;}])\s*(export )?(?:async )?\Z")
_EXPORTABLE = re.compile(r"export (?:const|let|class|(?:async )?function)\b")
_DEPTHS = {"(": 1, "[": 1, "{": 1, ")": -1, "]": -1, "}": -1}
# Inside a script element these would end it or begin a comment.
_NOT_IN_HTML = ("</script", "<!--", "-->")


class BundleError(ValueError):
    """Modules that cannot be joined; a line that names the file and what is wrong."""


@dataclass
class Module:
    """One file: what it imports by file, what its top level declares, what of that it exports, its script."""

    name: str
    imports: dict[str, list[str]] = field(default_factory=dict)
    declared: list[str] = field(default_factory=list)
    exported: set[str] = field(default_factory=set)
    script: str = ""


def bundle(package: str, entry: str, preamble: str = "") -> str:
    """Join a module and all it imports to one strict script that leaves no global name.

    Parameters
    ----------
    package : str
        The Python package in whose folder the files lie.
    entry : str
        Name of the file to begin with.
    preamble : str
        Plain script before the modules, in the same scope.

    Returns
    -------
    str
        The script. It keeps lines, but neither comments nor indentation.

    Raises
    ------
    BundleError
        A file or an exported name is missing, a name is declared twice, or imports go round in a circle.
    """
    parts = ["(async () => {", '"use strict";', preamble, join_modules(package, entry), "})();"]
    return "\n".join(part for part in parts if part)


@cache
def join_modules(package: str, *entries: str) -> str:
    """Join modules of a package, and all they import, without a function around them."""
    modules = link_modules(partial(read_text_of, package), *entries)
    script = "\n".join(module.script for module in modules if module.script)
    for sign in _NOT_IN_HTML:
        if sign in script:
            raise BundleError(f"{sign} would end the script of a page, or begin a comment")
    return script


def link_modules(read: Callable[[str], str], *entries: str) -> list[Module]:
    """List modules and all they import, each after those it needs; ``read`` gives the text of a file."""
    done: dict[str, Module] = {}
    owners: dict[str, str] = {}
    under_way: list[str] = []

    def visit(name: str, wanted_by: str) -> Module:
        if name in under_way:
            circle = " -> ".join([*under_way[under_way.index(name) :], name])
            raise BundleError(f"imports go round: {circle}; move what they share to a file of its own")
        if name in done:
            return done[name]
        try:
            text = read(name)
        except (OSError, KeyError) as error:
            raise BundleError(f"{wanted_by}: there is no file {name}") from error
        under_way.append(name)
        module = parse_module(name, text)
        for source, wanted in module.imports.items():
            missing = sorted(set(wanted) - visit(source, name).exported)
            if missing:
                raise BundleError(f"{name}: {source} does not export {', '.join(missing)}")
        for declared in module.declared:
            if declared in owners:
                raise BundleError(f"{name}: {declared} is declared in {owners[declared]} too; rename one")
            owners[declared] = name
        under_way.pop()
        done[name] = module
        return module

    for entry in entries:
        visit(entry, "the page")
    return list(done.values())


def parse_module(name: str, text: str) -> Module:
    """Take one module apart: its imports, its top-level names, its script without either word."""
    try:
        return _parse(name, text)
    except BundleError as error:
        raise BundleError(f"{name}: {error}") from None


def _parse(name: str, text: str) -> Module:
    """Walk over brackets and declaring words; what stands inside brackets only counts for its depth."""
    module = Module(name)
    literals: list[str] = []
    code = _strip(text, literals)
    kept: list[str] = []
    depth = done = 0
    listing = False  # within the names of a declaration
    for found in _BRACKETS_AND_WORDS.finditer(code):
        word, at = found[0], found.start()
        if at < done or (depth and word in ",;"):
            continue
        if word in _DEPTHS:
            depth += _DEPTHS[word]
        elif word in ",;":
            if listing and word == ",":
                raise BundleError(f"{module.declared[-1]}: one declaration a statement")
            listing = False
        elif word == "import":
            kept.append(code[done:at])
            done = _read_import(module, code, at, literals) if depth == 0 else _refuse_import()
        elif depth == 0:
            lead = _LEAD.search(code, max(0, at - 24), at)
            if lead is None:
                if word in ("class", "function") and code[at - 1] != "\n":
                    continue  # an expression
                raise BundleError(f"{word}: end the statement before it with a semicolon")
            if word == "export":
                if not _EXPORTABLE.match(code, at):
                    raise BundleError("export must stand before const, let, class or a function")
                kept.append(code[done:at])
                done = at + len("export ")
                continue
            names = _read_names(code, found.end())
            module.declared += names
            module.exported.update(names if lead[1] else ())
            listing = word in ("const", "let", "var")
    if depth:
        raise BundleError("its brackets do not match")
    kept.append(code[done:])
    module.script = _HELD.sub(lambda held: literals[int(held[1])], "".join(kept)).strip()
    return module


def _strip(text: str, literals: list[str]) -> str:
    """Drop comments, indentation and blanks, and set literals aside, so that only code is left."""
    parts: list[str] = []
    at = 0
    while found := _LITERAL_OR_COMMENT.search(text, at):
        parts.append(text[at : found.start()])
        literal, at = found["held"], found.end()
        if found["open"]:
            literal = _read_slash(text, found.start(), "".join(parts[-4:])[-20:].rstrip())
            at = found.start() + len(literal)
        if literal == "/":
            parts.append(literal)
        elif literal:
            literals.append(literal)
            parts.append(f"\0{len(literals) - 1}\0")
    code = "".join([*parts, text[at:]])
    code = "\n".join(filter(None, map(str.strip, code.split("\n"))))
    for blanks in _TIGHT:
        code = code.replace(blanks, blanks.strip())
    return code


def _read_slash(text: str, at: int, before: str) -> str:
    """Tell a division, a slash, from a regular expression, whole, by the code before it."""
    line = f"line {text.count(chr(10), 0, at) + 1}"
    if text[at] != "/":
        raise BundleError(f"{line}: what {text[at]} begins has no end")
    if _VALUE.search(before) and not _NO_VALUE.search(before):
        if before[-1] in ")}" and text[at + 1] not in " =":
            raise BundleError(f"{line}: write a blank behind the slash of a division")
        return "/"
    found = _REGEX.match(text, at)
    if found is None:
        raise BundleError(f"{line}: a regular expression has no end")
    return found[0]


def _read_import(module: Module, code: str, at: int, literals: list[str]) -> int:
    """Take in one import; where it ends."""
    found = _IMPORT.match(code, at)
    source = _FILE.fullmatch(literals[int(found[2])]) if found else None
    names = [name.strip() for name in (found[1] or "").split(",")] if found else []
    names = [name for name in names if name]
    if found is None or source is None or not all(map(str.isidentifier, names)):
        _refuse_import()
    module.imports.setdefault(source[1], []).extend(names)
    return found.end()


def _refuse_import() -> NoReturn:
    raise BundleError('import must stand at the top and read: import { name, name } from "./file.js";')


def _read_names(code: str, at: int) -> list[str]:
    """Names that a declaration gives; of patterns only lists of plain names are taken."""
    if found := _NAME.match(code, at):
        return [found[1]]
    found = _PATTERN.match(code, at)
    names = [name.strip() for name in found[1].split(",")] if found else [""]
    if not all(map(str.isidentifier, names)):
        raise BundleError("a pattern at the top of a file must be a list of plain names")
    return names
