"""Bands: between which values a forecast lies in so many cases, from its ranges and from chance.

The quick method, the same in the page: one forecast at the likely values, and for each of K ranges one at its low and
one at its high end, 2K + 1 in all. With R the likely path, V its variance by chance, R' the path at one end of range k,
and 1.645 the 95% point of the standard normal:

    b_k = ln(R' / R) / 1.645         what range k does to ln R, downwards at one of its ends, upwards at the other
    c^2 = ln(1 + V / R^2)            what chance does
    sigma^2 = c^2 + sum of b_k^2     of those downwards for the lower half, of those upwards for the upper half
    quantile with standard normal z: exp(ln R - c^2 / 2 + z sigma)

It takes the ranges as independent of each other, and adds up their effects on ln R (common practice: the delta method,
here with the two halves apart, since a range's own ends are met exactly). Draws (`growth.sample`) are the judge of it;
the tests say how near it comes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import erf, sqrt
from statistics import NormalDist

import numpy as np

from growth.engine import forecast
from growth.measures import growth_ceiling
from growth.scenario import Scenario
from growth.scenario.range import TAIL
from growth.uncertainty.sample import at_points, ranges_of

_NORMAL = NormalDist()
_END = _NORMAL.inv_cdf(1 - TAIL)  # how many standard deviations from the middle a range's ends stand

_NOISE = 1e-14  # a variance of the logarithm below this is what rounding leaves of none


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How far a series may lie from its likely path, month by month; made by `spread_of`. Arrays have shape (months,).

    Attributes
    ----------
    likely : the path at the likely values.
    middle : the logarithm of the value that is as likely too high as too low.
    down, up : the address of each range -> what it takes from the logarithm at one of its ends, and adds at
        the other, each >= 0, in standard deviations.
    chance : the standard deviation of the logarithm that comes from chance.
    """

    likely: np.ndarray
    middle: np.ndarray
    down: dict[str, np.ndarray]
    up: dict[str, np.ndarray]
    chance: np.ndarray

    def sigma(self, *, above: bool) -> np.ndarray:
        """The standard deviation of the logarithm above or below the middle, ranges and chance together."""
        parts = (self.up if above else self.down).values()
        together: np.ndarray = np.sqrt(sum((part**2 for part in parts), self.chance**2))
        return together

    @property
    def varies(self) -> bool:
        """Whether there is any spread at all."""
        return bool(self.sigma(above=True).any() or self.sigma(above=False).any())

    def quantile(self, share: float) -> np.ndarray:
        """The value below which the series lies in this share of cases, 0 < share < 1."""
        z = _NORMAL.inv_cdf(share)
        path: np.ndarray = np.exp(self.middle + z * self.sigma(above=z > 0))
        return path

    def band(self, share: float) -> tuple[np.ndarray, np.ndarray]:
        """The two ends between which the series lies in this share of cases, with as many below as above."""
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)

    def above(self, goal: float) -> np.ndarray:
        """The chance that the series stands at or above `goal` (> 0) at the close of each month."""
        sigma = self.sigma(above=False)
        short = np.log(goal) - self.middle  # how far the middle is short of the goal
        sigma = np.where(short > 0, self.sigma(above=True), sigma)
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(sigma > 0, -short / sigma, np.where(short > 0, -np.inf, np.inf))
        return np.array([0.5 * (1 + erf(x / sqrt(2))) for x in z])

    def reach(self, goal: float) -> np.ndarray:
        """The chance that the series has reached `goal` (> 0) by the close of each month; it never falls.

        The running maximum of `above`: a little below the chance of a first passage.
        """
        return np.maximum.accumulate(self.above(goal))

    def shares(self) -> dict[str, float]:
        """How much of the last month's spread comes from each range, by its address, and from "chance".

        Shares of the variance of the logarithm, below and above the middle together; they add up to 1. All are 0 where
        there is no spread.
        """
        squares = {name: float(part[-1] ** 2 + self.up[name][-1] ** 2) for name, part in self.down.items()}
        squares["chance"] = float(2 * self.chance[-1] ** 2)
        total = sum(squares.values())
        return {name: square / total if total > 0 else 0.0 for name, square in squares.items()}

    def known(self, address: str) -> Spread:
        """The spread that would be left if the number at this address were known to be its likely value."""
        left = [{name: part for name, part in parts.items() if name != address} for parts in (self.down, self.up)]
        return replace(self, down=left[0], up=left[1])


def spread_of(scenario: Scenario, *, series: str = "closing_mrr") -> Spread:
    """How far a series lies from its likely path, from the scenario's ranges and from chance.

    Parameters
    ----------
    scenario : a scenario without draws; where it has no range, chance alone.
    series : "closing_mrr" or "closing_customers".

    Examples
    --------
    Ten customers at 20 a month, a quarter leave: after a month 150, with variance 20^2 x 10 x 0.75 x 0.25 = 750.

    >>> small = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> [end.round(1).item() for end in spread_of(small).band(0.9)]
    [109.6, 198.8]
    """
    ranges = ranges_of(scenario)
    one = forecast(scenario)
    likely, variance = getattr(one, series), getattr(one.chance, series)
    below, above = {}, {}
    if ranges:
        ends = getattr(forecast(at_points(scenario, _one_at_a_time(scenario))), series)
        for k, unknown in enumerate(ranges):
            moved = np.stack([_log_ratio(ends[2 * k + side], likely) for side in (0, 1)]) / _END
            below[unknown.address] = np.maximum(-moved.min(axis=0), 0)
            above[unknown.address] = np.maximum(moved.max(axis=0), 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.where(likely > 0, np.log1p(variance / likely**2), 0.0)
        chance[chance < _NOISE] = 0.0
        return Spread(likely, np.log(likely) - chance / 2, below, above, np.sqrt(chance))


def ceiling_band(scenario: Scenario, share: float = 0.9) -> tuple[float, float] | None:
    """The two ends between which the growth ceiling lies in this share of cases, from the scenario's ranges.

    Parameters
    ----------
    scenario : a scenario without draws.
    share : of the cases, 0 < share < 1, with as many below as above.

    Returns
    -------
    The two ends in money a month, the upper one infinite where nothing stops growth at the end of some range; None
    where there is no range, or no ceiling above 0 at the likely values, or at the lower ends.
    """
    ranges = ranges_of(scenario)
    level = growth_ceiling(forecast(scenario)).value
    if not ranges or not level:
        return None
    levels = growth_ceiling(forecast(at_points(scenario, _one_at_a_time(scenario)))).value
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.asarray(levels, float) / level).reshape(-1, 2) / _END
    logs = np.where(np.isnan(logs), np.inf, logs)  # no level there: growth goes on
    if not np.isfinite(logs.min()):
        return None
    z = _NORMAL.inv_cdf((1 + share) / 2)
    below, above = (np.maximum(moved, 0) for moved in (-logs.min(axis=1), logs.max(axis=1)))
    down, up = (float(level * np.exp(way * z * np.sqrt((part**2).sum()))) for way, part in ((-1, below), (1, above)))
    return down, up


def _one_at_a_time(scenario: Scenario) -> dict[str, np.ndarray]:
    """For each range its values in 2K draws: likely, but low in one draw of its own and high in the next."""
    ranges = ranges_of(scenario)
    points = {unknown.address: np.full(2 * len(ranges), unknown.range.likely) for unknown in ranges}
    for k, unknown in enumerate(ranges):
        points[unknown.address][2 * k : 2 * k + 2] = unknown.range.low, unknown.range.high
    return points


def _log_ratio(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((part > 0) & (whole > 0), np.log(part / whole), 0.0)
