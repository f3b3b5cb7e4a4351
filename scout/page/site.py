"""The map as a small site that a phone installs: the page, a manifest, two icons and a service worker."""

from __future__ import annotations

import hashlib
import json
import struct
import zlib
from base64 import b64encode

import numpy as np

from scout.io.plain_text import make_one_line
from scout.model import Findings
from scout.output.templates import read_text_of
from scout.page.document import DEFAULT_TITLE, build_map

PAGE, MANIFEST, WORKER = "index.html", "manifest.webmanifest", "worker.js"
_ICONS = {"icon-192.png": 192, "icon-512.png": 512}
NAMES = (PAGE, MANIFEST, *_ICONS, WORKER)
MARK = "// Written by scout pack --web."  # begins the worker: a folder with it is ours to replace
_TYPES = {
    "html": "text/html; charset=utf-8",
    "webmanifest": "application/manifest+json",
    "png": "image/png",
}
_PAPER = "#faf8f3"  # as in page.css
# The icon in shares of its side: four cells of two blues, the lattice between them, a station on the corner.
# Launchers cut it to a circle of 0.4: everything that matters lies within.
_CELLS = ((15, 79, 125), (22, 98, 150))
_LINE, _DISC, _DISC_EDGE = (250, 248, 243), (242, 179, 61), (18, 24, 28)
_LINE_HALF, _DISC_RADIUS, _EDGE_WIDTH = 0.022, 0.15, 0.03


def build_site(findings: Findings) -> dict[str, bytes]:
    """The files of the site by their names; the worker, which says that the others are whole, last.

    The same findings give the same bytes. The worker is named after all the others' content: a browser that
    holds an older pack sees that it differs, and takes the new one whole or not at all.
    """
    files = {
        PAGE: build_map(findings, site=True).encode("utf-8"),
        MANIFEST: _make_manifest(make_one_line(findings.title) or DEFAULT_TITLE),
    }
    files |= {name: draw_icon(side) for name, side in _ICONS.items()}
    return {**files, WORKER: _make_worker(files)}


def _make_manifest(name: str) -> bytes:
    """Web application manifest (W3C): without a screen's frame, everything by addresses beside itself."""
    values = {
        "name": name.encode("utf-8", "replace").decode("utf-8"),
        "id": f"./{PAGE}",
        "start_url": f"./{PAGE}",
        "scope": "./",
        "display": "standalone",
        "background_color": _PAPER,
        "theme_color": _PAPER,
        "icons": [
            {"src": icon, "sizes": f"{side}x{side}", "type": "image/png", "purpose": purpose}
            for icon, side in _ICONS.items()
            for purpose in ("any", "maskable")
        ],
    }
    return json.dumps(values, ensure_ascii=False, indent=1).encode("utf-8")


def _make_worker(files: dict[str, bytes]) -> bytes:
    digests = {name: hashlib.sha256(content).digest() for name, content in files.items()}
    listed = {
        name: [_TYPES[name.rpartition(".")[2]], f"sha256-{b64encode(digest).decode('ascii')}"]
        for name, digest in digests.items()
    }
    version = hashlib.sha256(json.dumps(listed).encode("ascii")).hexdigest()[:16]
    script = read_text_of(__package__, "installed/worker.js")
    head = f"{MARK}\nconst VERSION = {json.dumps(version)};\nconst FILES = {json.dumps(listed, indent=1)};\n"
    return f"{head}{script}\n".encode()


def draw_icon(side: int) -> bytes:
    """A square PNG (ISO/IEC 15948) of so many pixels, 8 bits a channel; edges are softened over a pixel."""
    at = (np.arange(side) + 0.5) / side - 0.5
    east, north = np.meshgrid(at, -at)

    def cover(depth: np.ndarray) -> np.ndarray:
        """How much of a pixel lies within, by how deep inside its middle is."""
        return np.clip(depth * side + 0.5, 0, 1)[:, :, None]

    picture = np.where(((east > 0) == (north > 0))[:, :, None], _CELLS[0], _CELLS[1]).astype(float)
    away = np.hypot(east, north)
    for depth, colour in (
        (_LINE_HALF - np.minimum(abs(east), abs(north)), _LINE),
        (_DISC_RADIUS + _EDGE_WIDTH - away, _DISC_EDGE),
        (_DISC_RADIUS - away, _DISC),
    ):
        picture += cover(depth) * (np.array(colour) - picture)
    rows = np.rint(picture).astype(np.uint8).reshape(side, 3 * side)
    filtered = np.column_stack([np.zeros(side, dtype=np.uint8), rows])  # filter 0 before every row
    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(filtered.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        for kind, content in chunks
    )
