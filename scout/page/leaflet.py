"""Leaflet, made to stand inside a page: no file is asked for, no map of its source is looked for."""

from __future__ import annotations

import re
from base64 import b64encode
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

_SOURCE_MAP = re.compile(r"^//# sourceMappingURL=.*$", re.MULTILINE)
_IMAGE = re.compile(r"url\((images/[\w.-]+)\)")


def _get_package_files() -> Traversable:
    # Only the data of the wheel is used; its Django part is never imported.
    return files("js_lib_leaflet") / "static" / "js_lib_leaflet"


@cache
def load_script() -> str:
    """Leaflet's script, its licence line included."""
    text = (_get_package_files() / "leaflet.js").read_text(encoding="utf-8")
    return _SOURCE_MAP.sub("", text.replace("\r\n", "\n")).strip()


@cache
def load_style() -> str:
    """Leaflet's style sheet, its images as data URIs."""
    text = (_get_package_files() / "leaflet.css").read_text(encoding="utf-8")
    return _IMAGE.sub(_inline_image, text.replace("\r\n", "\n")).strip()


def _inline_image(found: re.Match[str]) -> str:
    image = _get_package_files().joinpath(*found.group(1).split("/")).read_bytes()
    return f"url(data:image/png;base64,{b64encode(image).decode('ascii')})"
