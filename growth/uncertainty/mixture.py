"""Bands from draws: a forecast over many draws, each with its own chance, as one distribution a month.

Each draw d says what the ranges may hold; chance then scatters about its mean m_d with the variance v_d of
`Forecast.chance`. Within a draw the scatter is taken as a gamma distribution of these two moments (common practice, no
source: never below 0, and near the normal where v is small against m^2), so that all draws together have the
distribution function F(x) = mean over d of F_d(x). Its quantiles are found between brackets.

This is slower than `spread_of` and takes no shortcut but the shape within a draw: it is the judge of the quick method.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.engine import Forecast


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """How far a series may lie over draws of a scenario and by chance; made by `mixture_of`.

    Attributes
    ----------
    mean : what each draw comes to on average, shape (draws, months).
    variance : of each draw, from chance alone, same shape, >= 0.
    """

    mean: np.ndarray
    variance: np.ndarray

    def below(self, values: np.ndarray) -> np.ndarray:
        """The share of cases in which the series lies at or below these values, one a month: shape (months,)."""
        return self._below(np.asarray(values, float), np.arange(self.mean.shape[1]))

    def quantile(self, share: float) -> np.ndarray:
        """The value below which the series lies in this share of cases, 0 < share < 1; shape (months,)."""
        from scipy.optimize.elementwise import find_root

        months = np.arange(self.mean.shape[1])
        top = np.max(self.mean + 40 * np.sqrt(self.variance), axis=0)  # past it lies less than 1 / 40^2: Chebyshev
        wanted: np.ndarray = np.where(top > 0, top, 0.0)
        some = months[top > 0]
        if some.size:
            found = find_root(
                lambda x, month: self._below(x, month) - share,
                (np.full(some.size, -1e-9 * top[some]), top[some]),
                args=(some,),
                tolerances={"xrtol": 1e-9, "fatol": 1e-9},
            )
            wanted[some] = np.maximum(found.x, 0)
        return wanted

    def band(self, share: float) -> tuple[np.ndarray, np.ndarray]:
        """The two ends between which the series lies in this share of cases, with as many below as above."""
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)

    def reach(self, goal: float) -> np.ndarray:
        """The chance that the series has reached `goal` (> 0) by the close of each month; it never falls.

        The running maximum of the chance to stand above it, as in `Spread.reach`.
        """
        short: np.ndarray = self.below(np.full(self.mean.shape[1], goal * (1 - 1e-9)))
        return np.maximum.accumulate(1 - short)

    def share_of_chance(self) -> np.ndarray:
        """The share of the variance that comes from chance, the rest from the ranges: shape (months,), 0 to 1.

        Law of total variance: Var = Var(m_d) + mean of v_d.
        """
        chance, ranges = self.variance.mean(axis=0), self.mean.var(axis=0)
        with np.errstate(invalid="ignore"):
            return np.where(chance > 0, chance / (chance + ranges), 0.0)

    def _below(self, values: np.ndarray, months: np.ndarray) -> np.ndarray:
        from scipy.special import gammainc

        mean, variance = self.mean[:, months], self.variance[:, months]
        with np.errstate(divide="ignore", invalid="ignore"):
            scattered = gammainc(mean**2 / variance, np.maximum(values, 0) * mean / variance)
        share: np.ndarray = np.where(variance > 0, scattered, mean <= values).mean(axis=0)
        return share


def mixture_of(forecast: Forecast, *, series: str = "closing_mrr") -> Mixture:
    """How far a series may lie, from a forecast over draws and the chance within each of them.

    Parameters
    ----------
    forecast : of a scenario with draws, as `growth.sample` makes it; of one without, chance alone.
    series : "closing_mrr" or "closing_customers".

    Returns
    -------
    Mixture

    Examples
    --------
    Ten customers at 20 a month, a quarter leave, or half of them do: after a month 150 or 100 on average.

    >>> from growth.engine import forecast
    >>> from growth.scenario import Scenario
    >>> churn = {"curve": "constant", "monthly_churn_rate": np.array([0.25, 0.5])}
    >>> small = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, stay={"churn": churn})
    >>> both = mixture_of(forecast(small))
    >>> both.mean.tolist(), both.variance.tolist()  # 400 x 10 x S (1 - S)
    ([[150.0], [100.0]], [[750.0], [1000.0]])
    >>> [end.round(1).item() for end in both.band(0.9)]
    [62.2, 187.9]
    """
    mean, variance = getattr(forecast, series), getattr(forecast.chance, series)
    return Mixture(np.atleast_2d(mean), np.atleast_2d(variance))
