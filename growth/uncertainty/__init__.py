"""What is not known, and chance: draws from a scenario's ranges, and the bands of its forecast."""

from growth.uncertainty.band import Spread, spread_of
from growth.uncertainty.mixture import Mixture, mixture_of
from growth.uncertainty.sample import Unknown, at_points, json_values, ranges_of, sample, with_ranges

__all__ = [
    "Mixture",
    "Spread",
    "Unknown",
    "at_points",
    "json_values",
    "mixture_of",
    "ranges_of",
    "sample",
    "spread_of",
    "with_ranges",
]
