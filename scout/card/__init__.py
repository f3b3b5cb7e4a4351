"""The card for the operating table: one spot in, one page out that prints on both sides of one sheet."""

from scout.card.document import Particulars, build, spot_of
from scout.card.front import call_sign
from scout.card.sun import FIRST_YEAR, LAST_YEAR, zone_of

__all__ = ["FIRST_YEAR", "LAST_YEAR", "Particulars", "build", "call_sign", "spot_of", "zone_of"]
