"""The arrival sheet: a judged recording in, one printable page out, as evidence of where a station stood."""

from scout.sheet.document import Particulars, build

__all__ = ["Particulars", "build"]
