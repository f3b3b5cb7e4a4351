"""Settings that hold while files are read, and no longer: no network, fine arcs, nothing on the terminal."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import pyogrio
import pyproj.network

__all__ = ["GDAL_OFFLINE", "collected_warnings", "offline"]

# A proxy that cannot exist: whatever a file makes GDAL fetch ends there. The drivers are forced or checked
# before GDAL sees a file (formats.py), so this is the second lock.
_NOWHERE = "socks5://0.0.0.0:0"
GDAL_OFFLINE = {
    "GDAL_HTTP_PROXY": _NOWHERE,
    "GDAL_HTTPS_PROXY": _NOWHERE,
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "/none",
    "PROJ_NETWORK": "OFF",
    # Degrees of arc per edge when curves become lines: an arc of 1 km radius is kept to 4 cm.
    "OGR_ARC_STEPSIZE": "1",
    # What GDAL says in a thread of its own reaches no handler of ours and would go to the terminal.
    "CPL_LOG": os.devnull,
}

# Documented there, though not marked as exported.
_is_networked = pyproj.network.is_network_enabled  # type: ignore[attr-defined]
_set_networked = pyproj.network.set_network_enabled  # type: ignore[attr-defined]

# What GDAL says about rings is said record by record in our own words; heights and measures are not used.
_SAID_ELSEWHERE = (
    "Non closed ring",
    "organizePolygons",
    "winding order",
    "Simple Geometry",
    "Measured",
    "invalid value encountered",
    "Best transformation is not available",
)


@contextmanager
def offline() -> Iterator[None]:
    """No network for GDAL and PROJ inside; the process's own settings come back afterwards."""
    before = {key: pyogrio.get_gdal_config_option(key) for key in GDAL_OFFLINE}
    networked = _is_networked()
    # The list of hosts that need no proxy would open the lock; libcurl reads both spellings.
    direct = {key: os.environ.pop(key) for key in ("no_proxy", "NO_PROXY") if key in os.environ}
    pyogrio.set_gdal_config_options(GDAL_OFFLINE)
    _set_networked(False)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)
        _set_networked(networked)
        os.environ.update(direct)


@contextmanager
def collected_warnings() -> Iterator[list[str]]:
    """What the libraries warn of inside, as texts without repeats, filled in at the end."""
    texts: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        yield texts
    for text in dict.fromkeys(" ".join(str(w.message).split()) for w in caught):
        if not any(known in text for known in _SAID_ELSEWHERE):
            texts.append(text)
