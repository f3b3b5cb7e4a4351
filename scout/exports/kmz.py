"""KMZ: the KML in a zip archive, under the name that KML 2.2 recommends."""

from __future__ import annotations

import io
import zipfile

from scout.exports.kml import to_kml
from scout.model import Findings

__all__ = ["to_kmz"]

_ANY_DAY = (1980, 1, 1, 0, 0, 0)  # the first that a zip archive knows: the same findings, the same bytes


def to_kmz(findings: Findings) -> bytes:
    """A zip archive that holds ``doc.kml`` and nothing else."""
    entry = zipfile.ZipInfo("doc.kml", date_time=_ANY_DAY)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3  # its permissions are Unix ones, wherever this runs
    entry.external_attr = 0o644 << 16
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(entry, to_kml(findings))
    return out.getvalue()
