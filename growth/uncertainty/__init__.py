"""What is not known, and chance: draws from a scenario's ranges, and the bands of its forecast."""

from growth.uncertainty.band import FLOWS, Spread, ceiling_band, named_series, spread_of, spreads_of
from growth.uncertainty.mixture import Mixture, mixture_of
from growth.uncertainty.sample import Unknown, at_points, correlated, pairs_of, ranges_of, sample

__all__ = [
    "FLOWS",
    "Mixture",
    "Spread",
    "Unknown",
    "at_points",
    "ceiling_band",
    "correlated",
    "mixture_of",
    "named_series",
    "pairs_of",
    "ranges_of",
    "sample",
    "spread_of",
    "spreads_of",
]
