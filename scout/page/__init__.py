"""The self-contained HTML map: ``Findings`` in, the text of one file out."""

from scout.page.document import build

__all__ = ["build"]
