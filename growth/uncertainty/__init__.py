"""What is not known, and chance: draws from a scenario's ranges, and the bands of its forecast."""

from growth.uncertainty.band import Spread, spread_of
from growth.uncertainty.mixture import Mixture, mixture_of
from growth.uncertainty.sample import sample

__all__ = ["Mixture", "Spread", "mixture_of", "sample", "spread_of"]
