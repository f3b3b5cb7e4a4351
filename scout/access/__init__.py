"""Can it be reached? Access data understood, the walk to each place worked out, hazards named."""

from scout.access.relief import heights_at, slope_deg
from scout.access.walk import Targets, Walked, coarsest_m, farthest_m, walks

__all__ = ["Targets", "Walked", "coarsest_m", "farthest_m", "heights_at", "slope_deg", "walks"]
