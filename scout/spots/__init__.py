"""The search: corners, stretches of lines, overlaps and near misses, in arrays from end to end.

Only parks near a lattice line are looked at, and no cell polygon is ever built.
"""

from scout.spots.edges import Pieces, Window
from scout.spots.found import KINDS, Found
from scout.spots.results import Search, put_together
from scout.spots.scanning import search, window_of

__all__ = ["KINDS", "Found", "Pieces", "Search", "Window", "put_together", "search", "window_of"]
