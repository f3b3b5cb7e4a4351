"""Pages from templates: how they are filled, and what a page without scripts may load."""

from __future__ import annotations

import hashlib
from base64 import b64encode
from functools import cache, partial
from importlib.resources import files

import jinja2


@cache
def read_text_of(package: str, name: str) -> str:
    """Text of a file that lies in a package."""
    return (files(package) / name).read_text(encoding="utf-8").replace("\r\n", "\n").rstrip()


def make_environment(package: str) -> jinja2.Environment:
    """Templates of a package: all text escaped, a missing name an error."""
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(partial(read_text_of, package)),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def make_page_policy(style: str) -> str:
    """Content security policy: our own style by its hash, the empty icon, no script, no network."""
    digest = b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    rest = "img-src data:; base-uri 'none'; form-action 'none'"
    return f"default-src 'none'; style-src 'sha256-{digest}'; {rest}"
