"""GeoTIFFs and height tiles written byte by byte, also such as no library writes."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 12: 8}
_FORMS = {1: "B", 3: "H", 4: "I", 12: "d"}
DEGREES = (1, 1, 0, 2, 1024, 0, 1, 2, 2048, 0, 1, 4326)  # geo keys: a geographic model, EPSG:4326


def tiff_bytes(
    wide: int = 64,
    high: int = 64,
    *,
    rows: int | None = None,
    packing: int = 1,
    samples: int = 1,
    data: bytes | None = None,
    cell_deg: float = 0.001,
    corner: tuple[float, float] = (-20.032, 45.032),
    keys: tuple[int, ...] | None = DEGREES,
    doubles: tuple[float, ...] = (),
    ascii_: bytes = b"",
    more: tuple[tuple[int, int, Any], ...] = (),
) -> bytes:
    """A little-endian TIFF of 32-bit floats in strips, its tags as given (TIFF 6.0; OGC 19-008r4).

    ``data`` stands for every strip; what is left out is a sound raster of 64 by 64 heights of 5 m.
    """
    data = struct.pack("<f", 5.0) * wide * high if data is None else data
    rows = high if rows is None else rows
    strips = min(-(-high // max(rows, 1)), 100_000)

    def tags(at: int) -> list[tuple[int, int, Any]]:
        found = [
            (256, 4, [wide]), (257, 4, [high]), (258, 3, [32] * samples), (259, 3, [packing]), (262, 3, [1]),
            (273, 4, [at] * strips), (277, 3, [samples]), (278, 4, [rows]), (279, 4, [len(data)] * strips),
            (339, 3, [3] * samples), (33550, 12, [cell_deg] * 2 + [0.0]), (33922, 12, [0, 0, 0, *corner, 0]),
            *more,
        ]  # fmt: skip
        found += [(34735, 3, list(keys))] if keys is not None else []
        found += [(34736, 12, list(doubles))] if doubles else []
        return found + ([(34737, 2, ascii_)] if ascii_ else [])

    return _laid_out(tags(len(_laid_out(tags(0))))) + data


def _laid_out(tags: list[tuple[int, int, Any]]) -> bytes:
    entries, tail = [], b""
    base = 8 + 2 + 12 * len(tags) + 4
    for tag, kind, value in sorted(tags, key=lambda one: one[0]):
        raw = value if isinstance(value, bytes) else struct.pack(f"<{len(value)}{_FORMS[kind]}", *value)
        head = struct.pack("<HHI", tag, kind, len(raw) // _SIZES[kind])
        if len(raw) <= 4:
            entries.append(head + raw.ljust(4, b"\0"))
        else:
            entries.append(head + struct.pack("<I", base + len(tail)))
            tail += raw
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + b"".join(entries) + struct.pack("<I", 0) + tail


def hgt_bytes(rows: int = 1201, slope: int = 2) -> bytes:
    """A tile that rises by ``slope`` metres a row southward from 100 m; one cell of its row 5 is unknown."""
    heights = np.tile(100 + slope * np.arange(rows)[:, None] % 3000, (1, rows)).astype(">i2")
    heights[5, 7] = -32768
    return heights.tobytes()
