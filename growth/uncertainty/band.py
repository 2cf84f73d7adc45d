"""Bands: between which values a forecast lies in so many cases, from its ranges and from chance.

The quick method, the same in the page: one forecast at the likely values, and for each of K ranges one at its low and
one at its high end, 2K + 1 in all. With R the likely path, V its variance by chance, R' the path at one end of range k,
and 1.645 the 95% point of the standard normal:

    b_k = ln(R' / R) / 1.645         what range k does to ln R, downwards at one of its ends, upwards at the other
    c^2 = ln(1 + V / R^2)            what chance does
    sigma^2 = c^2 + sum of b_k^2     of those downwards for the lower half, of those upwards for the upper half
    quantile with standard normal z: exp(ln R - c^2 / 2 + z sigma); 0 up to the chance that nobody is on board

It adds up the effects of independent ranges on ln R (common practice: the delta method, here with the two halves apart,
since a range's own ends are met exactly). Of two ranges with correlation r, the second moves along when the first goes
to an end: r of the way to its own end on its scale (the opposite end where r < 0). On its own it then goes
sqrt(1 - r^2) of the way. The two effects are independent, as with a Cholesky factor. Draws (`growth.sample`) are the
judge of this; the tests say how near it comes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import erf, sqrt
from statistics import NormalDist

import numpy as np

from growth.engine import Forecast, forecast
from growth.engine.chance import Chance
from growth.measures import growth_ceiling
from growth.scenario import Scenario
from growth.scenario.range import TAIL
from growth.uncertainty.sample import at_points, pairs_of, ranges_of

_NORMAL = NormalDist()
_END = _NORMAL.inv_cdf(1 - TAIL)  # how many standard deviations from the middle a range's ends stand

FLOWS = {  # what comes in and what is lost in a month: its parts
    "came_in": ("new_mrr", "reactivation_mrr", "expansion_mrr"),
    "lost": ("churned_mrr", "contraction_mrr"),
}
_NOISE = 1e-14  # a variance of the logarithm below this is what rounding leaves of none


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How far a series may lie from its likely path, month by month; made by `spread_of`. Arrays have shape (months,).

    Attributes
    ----------
    likely : the path at the likely values.
    middle : the logarithm of the value that is as likely too high as too low.
    down, up : the address of each range -> what it takes from the logarithm at one of its ends, and adds at
        the other, in standard deviations; negative where a higher value of the number lowers the series.
    chance : the standard deviation of the logarithm that comes from chance.
    nobody : the chance that no customer is on board, or of a flow that none joins or leaves; the series is 0 then.
    pairs : the ranges that are correlated, as (address, address, correlation). The effect of the first holds that of
        the second moving along; the effect of the second is what is left of it.
    half : of a flow, half of what one customer brings or takes along: it moves in whole customers, so its quantiles
        lie that much further out (continuity correction).
    """

    likely: np.ndarray
    middle: np.ndarray
    down: dict[str, np.ndarray]
    up: dict[str, np.ndarray]
    chance: np.ndarray
    nobody: np.ndarray
    pairs: tuple[tuple[str, str, float], ...] = ()
    half: np.ndarray | float = 0.0

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
        path: np.ndarray = np.exp(self.middle + z * self.sigma(above=z > 0)) + np.sign(z) * self.half
        return np.where(share <= self.nobody, 0.0, np.maximum(path, 0.0))

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

        What knowing the number would take off the variance of the logarithm, below and above the middle together. They
        add up to 1 where no ranges are correlated. All are 0 where there is no spread.
        """
        total = float(sum(self.sigma(above=side)[-1] ** 2 for side in (False, True)))
        squares = {
            name: float(sum(self._told(parts, name)[-1] ** 2 for parts in (self.down, self.up))) for name in self.down
        }
        squares["chance"] = float(2 * self.chance[-1] ** 2)
        return {name: square / total if total > 0 else 0.0 for name, square in squares.items()}

    def known(self, address: str) -> Spread:
        """The spread that would be left if the number at this address were known to be its likely value."""
        down, up = ({**parts} for parts in (self.down, self.up))
        for parts in (down, up):
            told = self._told(parts, address)
            for name, weight in self._weights(address).items():
                parts[name] = parts[name] - weight * told
        if not any(address == second for _, second, _ in self.pairs):
            del down[address], up[address]
        pairs = tuple(pair for pair in self.pairs if pair[0] != address)
        return replace(self, down=down, up=up, pairs=pairs)

    def _told(self, parts: dict[str, np.ndarray], address: str) -> np.ndarray:
        """What one standard deviation of this number tells of the logarithm; shape (months,)."""
        told: np.ndarray = sum(
            (weight * parts[name] for name, weight in self._weights(address).items()), np.zeros(self.chance.size)
        )
        return told

    def _weights(self, address: str) -> dict[str, float]:
        """Of which independent effects this number is made: address -> weight; their squares add up to 1."""
        for first, second, correlation in self.pairs:
            if second == address:
                return {first: correlation, second: sqrt(1 - correlation**2)}
        return {address: 1.0}


def spread_of(scenario: Scenario, *, series: str = "closing_mrr") -> Spread:
    """How far a series lies from its likely path, from the scenario's ranges and from chance.

    Parameters
    ----------
    scenario : a scenario without draws; where it has no range, chance alone.
    series : "closing_mrr", "closing_customers", or of single months "came_in" (new, reactivation and expansion MRR) or
        "lost" (churned and contraction MRR).

    Returns
    -------
    Spread

    Examples
    --------
    Ten customers at 20 a month, a quarter leave: after a month 150, with variance 20^2 x 10 x 0.75 x 0.25 = 750.

    >>> small = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> [end.round(1).item() for end in spread_of(small).band(0.9)]
    [109.6, 198.8]
    """
    return spreads_of(scenario, series)[0]


def spreads_of(scenario: Scenario, *series: str) -> list[Spread]:
    """The spread of several series, each as `spread_of` gives it, from one set of forecasts."""
    one = forecast(scenario)
    ends = forecast(at_points(scenario, _one_at_a_time(scenario))) if ranges_of(scenario) else None
    varied = one.chance  # computed anew each time it is asked for
    return [_spread(one, varied, ends, name) for name in series]


def _spread(one: Forecast, varied: Chance, ends: Forecast | None, series: str) -> Spread:
    """varied: the variances of `one`. ends: the forecast with each range at its two ends in turn, as draws, or None."""
    likely, half = named_series(one, series), np.zeros(one.months)
    if series in FLOWS:
        variance, whole, people = _chance_of_flow(one, varied, series)
        nobody = np.where(likely > whole, 0.0, np.exp(-people))
        np.divide(whole, 2 * people, out=half, where=people > 0)
    else:
        variance, nobody = getattr(varied, series), _nobody(one.closing_customers, varied.closing_customers)
    below, above = {}, {}
    if ends is not None:
        moved = named_series(ends, series)
        for k, unknown in enumerate(ranges_of(one.scenario)):
            low, high = (_log_ratio(moved[2 * k + side], likely) / _END for side in (0, 1))
            way = np.where(high >= low, 1.0, -1.0)
            below[unknown.address] = way * np.maximum(-np.minimum(low, high), 0)
            above[unknown.address] = way * np.maximum(np.maximum(low, high), 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.where(likely > 0, np.log1p(variance / likely**2), 0.0)
        chance[chance < _NOISE] = 0.0
        pairs = tuple(pairs_of(one.scenario))
        return Spread(likely, np.log(likely) - chance / 2, below, above, np.sqrt(chance), nobody, pairs, half)


def _chance_of_flow(one: Forecast, varied: Chance, series: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A flow's variance by chance, how much of it moves in whole customers, and how many those are; shape (months,).

    Comebacks are a Poisson number. Expansion and contraction are a share of what was on board before and stays, and
    vary with it. The parts of a flow are taken as independent of one another: an approximation.
    """
    back = _over(one.reactivation_mrr**2, one.returned_customers)
    staying = one.closing_mrr - one.new_mrr - one.reactivation_mrr
    by_staying = np.maximum(varied.closing_mrr - varied.new_mrr - back, 0.0)
    if series == "lost":
        variance = varied.churned_mrr + _over(one.contraction_mrr, staying) ** 2 * by_staying
        return variance, one.churned_mrr, one.lost_customers
    variance = varied.new_mrr + back + _over(one.expansion_mrr, staying) ** 2 * by_staying
    return variance, one.new_mrr + one.reactivation_mrr, one.new_customers + one.returned_customers


def _over(value: np.ndarray, by: np.ndarray) -> np.ndarray:
    part: np.ndarray = np.divide(value, by, out=np.zeros(value.size), where=by > 0)
    return part


def named_series(result: Forecast, name: str) -> np.ndarray:
    """A series by its name, or by that of a flow (`FLOWS`), which is the sum of its parts."""
    total: np.ndarray = sum(getattr(result, part) for part in FLOWS.get(name, (name,)))
    return total


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
    """For each range its values in 2K draws: likely, but low in one draw of its own and high in the next.

    Of a correlated pair the second moves along in the first's draws, and in its own goes as far as it may by itself.
    """
    ranges = ranges_of(scenario)
    points = {unknown.address: np.full(2 * len(ranges), unknown.range.likely) for unknown in ranges}
    place = {unknown.address: k for k, unknown in enumerate(ranges)}

    def move(address: str, draws: int, share: float) -> None:
        unknown = ranges[place[address]]
        ends = (unknown.range.low, unknown.range.high)[:: 1 if share > 0 else -1]
        points[address][2 * draws : 2 * draws + 2] = [unknown.towards(end, abs(share)) for end in ends]

    for address, k in place.items():
        move(address, k, 1)
    for first, second, correlation in pairs_of(scenario):
        move(second, place[first], correlation)
        move(second, place[second], sqrt(1 - correlation**2))
    return points


def _nobody(mean: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """The chance of none, of a count with this mean and variance: q^(mean / (1 - q)), q = variance / mean.

    That of a binomial where q < 1, of a negative binomial where q > 1, and between them e^-mean, Poisson's.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        q = np.maximum(variance, 0) / mean
        exponent = np.where(np.abs(q - 1) < 1e-6, -1.0, np.log(q) / (1 - q))
        return np.where(mean > 0, np.exp(mean * exponent), 1.0)


def _log_ratio(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((part > 0) & (whole > 0), np.log(part / whole), 0.0)
