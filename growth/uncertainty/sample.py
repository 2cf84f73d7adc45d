"""From a scenario's ranges to draws: what each range holds, and scenarios in which it takes many values at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.scenario import Scenario
from growth.scenario.about_numbers import pairs_by_path
from growth.scenario.address import fields, put
from growth.scenario.range import Range, Scale


@dataclass(frozen=True, slots=True)
class Unknown:
    """A range of a scenario, and where it stands.

    address : such as "stay.churn.monthly_churn_rate"; items of lists by position, "pay.plans.0.monthly_price".
    range : its three points.
    scale : the scale on which it is drawn, from the bounds of its field.
    """

    address: str
    range: Range
    scale: Scale

    def values_at(self, shares: np.ndarray) -> np.ndarray:
        """The values below which it lies in these shares of cases, 0 to 1, any shape."""
        return self.range.quantiles(np.clip(shares, 1e-9, 1 - 1e-9), self.scale)

    def towards(self, end: float, share: float) -> float:
        """The value this share of the way from likely to an end of the range, on its scale; share 0 to 1."""
        if share == 1:
            return end
        likely = self.scale.to(self.range.likely)
        return float(self.scale.back(np.array(likely + share * (self.scale.to(end) - likely))))


def ranges_of(scenario: Scenario) -> list[Unknown]:
    """The ranges of a scenario, in the order of its fields.

    >>> scenario = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio",
    ...     "monthly_price": {"low": 24, "likely": 29, "high": 35}}]})
    >>> [(unknown.address, unknown.range) for unknown in ranges_of(scenario)]
    [('pay.plans.0.monthly_price', Range(24.0, 29.0, 35.0))]
    """
    return [
        Unknown(field.path, field.value, field.assumption.scale)
        for field in fields(scenario)
        if isinstance(field.value, Range)
    ]


def pairs_of(scenario: Scenario) -> list[tuple[str, str, float]]:
    """The pairs of ranges that are correlated, as (address, address, correlation); each range is in one pair at most.

    >>> unsure = {"low": 0.1, "likely": 0.15, "high": 0.2}
    >>> pairs_of(Scenario(business="Fernhollow", sign_up={"signup_rate": unsure},
    ...     pay={"conversion_rate": unsure, "plans": [{"name": "Studio", "monthly_price": 29}]},
    ...     correlations=[{"of": ["sign_up.signup_rate", "pay.conversion_rate"], "correlation": -0.5}]))
    [('sign_up.signup_rate', 'pay.conversion_rate', -0.5)]
    """
    free = {unknown.address for unknown in ranges_of(scenario)}
    found = []
    for first, second, correlation in pairs_by_path(scenario):
        if first != second and {first, second} <= free:
            found.append((first, second, correlation))
            free -= {first, second}
    return found


def sample(scenario: Scenario, *, draws: int = 1024, seed: int = 0) -> Scenario:
    """The scenario with draws from its ranges: points that fill their cube evenly.

    Ranges are drawn independently of each other; the pairs in the scenario's `correlations` by a Gaussian copula.

    Parameters
    ----------
    scenario : a scenario whose numbers may be ranges; one without is handed back as it is.
    draws : how many, a power of two for even filling, at least 1.
    seed : of the scrambling, >= 0; the same seed gives the same draws.

    Returns
    -------
    A scenario whose ranges are arrays of shape (draws,); everything else as it was.

    Raises
    ------
    ModuleNotFoundError : where SciPy is not installed.

    Source: Sobol' points with Owen's scrambling, `scipy.stats.qmc.Sobol`.

    Examples
    --------
    >>> scenario = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio",
    ...     "monthly_price": {"low": 24, "likely": 29, "high": 35}}]})
    >>> prices = sample(scenario, draws=1024).pay.plans[0].monthly_price
    >>> np.quantile(prices, [0.05, 0.5, 0.95]).round(1).tolist()
    [24.0, 29.0, 35.0]
    """
    from scipy.stats import qmc

    unknowns = ranges_of(scenario)
    if not unknowns:
        return scenario
    points = qmc.Sobol(len(unknowns), scramble=True, rng=seed).random(draws)
    shares = correlated(scenario, {each.address: drawn for each, drawn in zip(unknowns, points.T, strict=True)})
    return at_points(scenario, {each.address: each.values_at(shares[each.address]) for each in unknowns})


def correlated(scenario: Scenario, shares: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Independent uniform points by the address of their range, made to follow the scenario's correlations.

    Parameters
    ----------
    scenario : a scenario without draws.
    shares : address -> points between 0 and 1, all of shape (draws,).

    Returns
    -------
    The same with the second of each correlated pair moved; a pair of which one range is missing is left as it is.
    """
    moved = dict(shares)
    for first, second, correlation in pairs_of(scenario):
        if first in shares and second in shares:
            moved[second] = _moved_along(shares[first], shares[second], correlation)
    return moved


def _moved_along(first: np.ndarray, second: np.ndarray, correlation: float) -> np.ndarray:
    """Uniform points `second` made to go with `first`, both of shape (draws,): a Gaussian copula.

    Source: Nelsen, "An Introduction to Copulas" (2nd ed. 2006), section 2.3; from memory.
    """
    from scipy.special import ndtr, ndtri

    one, other = (ndtri(np.clip(part, 1e-12, 1 - 1e-12)) for part in (first, second))
    together: np.ndarray = ndtr(correlation * one + np.sqrt(1 - correlation**2) * other)
    return together


def at_points(scenario: Scenario, points: dict[str, np.ndarray]) -> Scenario:
    """The scenario with an array of values in the place of each of its ranges: address -> shape (draws,)."""
    values = scenario.model_dump(mode="json")
    for address, drawn in points.items():
        put(values, address, drawn)
    return Scenario(**values)
