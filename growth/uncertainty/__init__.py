"""What is not known, and chance: draws from a scenario's ranges, and the bands of its forecast."""

from growth.uncertainty.band import Spread, ceiling_band, spread_of
from growth.uncertainty.mixture import Mixture, mixture_of
from growth.uncertainty.sample import Unknown, ranges_of, sample

__all__ = ["Mixture", "Spread", "Unknown", "ceiling_band", "mixture_of", "ranges_of", "sample", "spread_of"]
