"""A range for a number that is not known: low, likely and high, and the distribution between and beyond them.

`low` and `high` are the 5% and 95% points: one chance in twenty that the number is lower, one that it is higher;
`likely` is the middle. The distribution through the three is the three-term metalog on a scale that keeps the field's
bounds.

Source: Keelin, T. W. (2016), "The Metalog Distributions", Decision Analysis 13(4), 243-277: the symmetric-percentile
triplet (SPT). From memory; the tests hold it to the identities of the closed form.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

TAIL = 0.05  # of the distribution below `low`, and as much above `high`
_K = float(np.log((1 - TAIL) / TAIL))


class Scale(NamedTuple):
    """The scale on which a range is drawn, ln((x - low) / (high - x)): it takes the field's bounds to infinity, so that
    no draw leaves them. Far below `high`, as amounts are, it is as good as ln(x - low).

    >>> share = Scale(low=0, high=1)
    >>> share.to(0.5), share.back(np.array([0.0, 2.0])).round(4).tolist()
    (0.0, [0.5, 0.8808])
    """

    low: float
    high: float

    def to(self, value: float) -> float:
        """From a number of the field, between its bounds, to the unbounded scale."""
        return float(np.log((value - self.low) / (self.high - value)))

    def back(self, point: np.ndarray) -> np.ndarray:
        """From the unbounded scale to numbers of the field."""
        value: np.ndarray = self.low + (self.high - self.low) / (1 + np.exp(-point))
        return value


def metalog(low: float, likely: float, high: float, chance: np.ndarray) -> np.ndarray:
    """Quantiles of the three-term metalog through its 5%, 50% and 95% points, low < high, on an unbounded scale.

    chance: cumulative probabilities y, each above 0 and below 1, of any shape, which the result has too. With
    L = ln(y / (1 - y)), K = ln(0.95 / 0.05), r = (likely - low) / (high - low), they are
    likely + (high - low) L / (2 K) + (1 - 2 r) (high - low) (y - 1/2) L / (0.9 K).

    >>> metalog(1.0, 2.0, 4.0, np.array([0.05, 0.5, 0.95])).round(12).tolist()
    [1.0, 2.0, 4.0]
    """
    width, r = high - low, (likely - low) / (high - low)
    logit = np.log(chance) - np.log1p(-chance)
    quantiles: np.ndarray = (
        likely + width / (2 * _K) * logit + (1 - 2 * r) * width / ((1 - 2 * TAIL) * _K) * (chance - 0.5) * logit
    )
    return quantiles


# How near an end `likely` may stand, as (likely - low) / (high - low) on the range's scale: from this to 1 less this.
# Nearer, the quantiles would not rise everywhere. Keelin (2016), the feasibility of the SPT triplet; from memory, held
# in the tests against the sign of the slope.
NEAREST = (1 - 1.66711 * (0.5 - TAIL)) / 2


class Range(float):
    """A number that is not known: it counts as its `likely` value wherever a single number is used.

    Attributes
    ----------
    low, high : one chance in twenty that the number is lower, one in twenty that it is higher.
    likely : the middle, as likely too low as too high; float(range) is this.

    Examples
    --------
    >>> churn = Range(0.03, 0.04, 0.06)
    >>> churn + 0, churn
    (0.04, Range(0.03, 0.04, 0.06))
    """

    __slots__ = ("high", "low")
    low: float
    high: float

    def __new__(cls, low: float, likely: float, high: float) -> Range:
        self = super().__new__(cls, likely)
        self.low, self.high = float(low), float(high)
        return self

    @property
    def likely(self) -> float:
        return float(self)

    def points(self) -> dict[str, float]:
        """Its three points by name, as a file holds them."""
        return {"low": self.low, "likely": self.likely, "high": self.high}

    def __reduce__(self) -> tuple[type[Range], tuple[float, float, float]]:
        return Range, (self.low, self.likely, self.high)

    def __eq__(self, other: object) -> bool:
        if isinstance(other, Range):
            return (self.low, self.likely, self.high) == (other.low, other.likely, other.high)
        return float(self) == other

    __hash__ = float.__hash__

    def __repr__(self) -> str:
        return f"Range({self.low!r}, {self.likely!r}, {self.high!r})"

    def quantiles(self, chance: np.ndarray, scale: Scale) -> np.ndarray:
        """The numbers below which it lies with these chances, each above 0 and below 1; on the field's `scale`."""
        return scale.back(metalog(scale.to(self.low), scale.to(self.likely), scale.to(self.high), chance))

    def nearest_likely(self, scale: Scale) -> float:
        """The middle nearest to `likely` for which there is such a distribution; `likely` itself where it will do."""
        low, likely, high = scale.to(self.low), scale.to(self.likely), scale.to(self.high)
        share = (likely - low) / (high - low)
        if NEAREST <= share <= 1 - NEAREST:
            return self.likely
        inside = NEAREST + 0.005 if share < 0.5 else 1 - NEAREST - 0.005  # so that it will still do when rounded
        return float(scale.back(np.array(low + inside * (high - low))))

    def around(self, likely: float, scale: Scale) -> Range | float:
        """The range about another middle, as wide as this one on its scale; the bare number at an end of the scale.

        >>> Range(24, 30, 36).around(30, Scale(0, 1e6)), Range(0.01, 0.02, 0.04).around(0, Scale(0, 1))
        (Range(24.0, 30.0, 36.0), 0.0)
        """
        if likely == self.likely:
            return self
        if not scale.low < likely < scale.high:
            return float(likely)
        shift = scale.to(likely) - scale.to(self.likely)
        low, high = (float(scale.back(np.array(scale.to(end) + shift))) for end in (self.low, self.high))
        return Range(low, likely, high) if scale.low < low < likely < high < scale.high else float(likely)


def likely_values(values: Any) -> Any:
    """Plain values of a scenario, nested dicts and lists, with each range replaced by its `likely`.

    >>> likely_values({"stay": {"monthly_churn_rate": {"low": 0.03, "likely": 0.04, "high": 0.06}}, "months": 36})
    {'stay': {'monthly_churn_rate': 0.04}, 'months': 36}
    """
    if isinstance(values, dict):
        if set(values) == {"low", "likely", "high"}:
            return values["likely"]
        return {key: likely_values(part) for key, part in values.items()}
    return [likely_values(part) for part in values] if isinstance(values, list) else values
