"""How customers join: the level, its growth, the season, and how much more than by chance the months vary."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import count_of
from growth.records.bridge import Movements
from growth.records.intervals import Z95, Rate, count_interval
from growth.records.paid_months import PaidMonths
from growth.records.unpaid_months import BEFORE

RECENT = 12  # months over which levels (new customers, prices, shares of plans) are measured
LONGEST = 24  # months of which growth and season are measured, at most
LEVEL = 24  # months that tell the level a forecast starts from, at a given growth
LEAST_MONTHS, LEAST_JOINS = 12, 24  # with fewer, growth is not measured
SEASON_MONTHS = 18  # that a season needs
SURE = 0.05  # a season is taken where chance would show as much in fewer than one of twenty businesses
USUAL_GROWTH = 0.05  # a month: the usual spread of growth where there is any; common practice, no source
ODDS = 3.0  # that there is growth at all, before anything is seen: three to one, our own choice
BURSTS = 2.0  # dispersion above which months vary by more than chance would often make them
HALF_OF_ALL = 0.2  # bursts are named where a fifth of the months or fewer brought half of all who joined


@dataclass(frozen=True, slots=True, eq=False)
class Joining:
    """New customers by month, and what follows from them.

    joins: shape (months,), from the second month of the records on. level: their mean over the last 12 months. growth:
    by the month; None with fewer than 12 months or 24 customers. sure: the probability that there is growth at all.
    season: factors of January to December, of mean 1; None where none shows. dispersion: variance over mean, at least
    1; Poisson counts have 1. factor: of the season in each of the months, shape (months,).
    """

    joins: np.ndarray
    level: Rate
    growth: Rate | None
    sure: float
    season: tuple[float, ...] | None
    dispersion: float
    factor: np.ndarray

    @classmethod
    def nobody(cls, why: str) -> Joining:
        """Nobody joins, as far as is known."""
        return cls(np.zeros(1), Rate(0.0, 0.0, 0.0, why), None, 0.0, None, 1.0, np.ones(1))

    @property
    def steady_growth(self) -> tuple[float, float]:
        """The growth that a forecast takes, and the standard error of growth where there is some.

        The prior has a spike at none and, at odds of three to one, a normal of spread 5% a month around it; what is
        returned is the mean of the posterior. Source of the form: Mitchell and Beauchamp (1988), "Bayesian Variable
        Selection in Linear Regression", J. Amer. Statist. Assoc. 83, 1023-1032.
        """
        if self.growth is None:
            return 0.0, 0.0
        error = (self.growth.high - self.growth.low) / (2 * Z95)
        kept = USUAL_GROWTH**2 / (USUAL_GROWTH**2 + error**2)
        return self.sure * kept * self.growth.value, error * float(np.sqrt(kept))

    def first(self, rate: float | np.ndarray) -> np.ndarray:
        """New customers in the month after the records at this growth, in a month of average season.

        The counts of the last 12 months over what one of that month would have brought in them.
        """
        lately = self.joins[-LEVEL:]
        ago = np.arange(lately.size, 0, -1)
        weight = ((1 + np.asarray(rate, float)[..., None]) ** -ago * self.factor[-LEVEL:]).sum(axis=-1)
        return lately.sum() / weight if lately.size else np.zeros(np.shape(rate))

    def draw(self, random: np.random.Generator, draws: int) -> tuple[np.ndarray, np.ndarray]:
        """Draw new customers of the month after the records, and growth; both of shape (draws,)."""
        growth, error = np.zeros(draws), self.steady_growth[1]
        if self.growth is not None and error:
            middle = self.steady_growth[0] / self.sure if self.sure else 0.0
            some = random.random(draws) < self.sure
            growth = np.where(some, np.clip(random.normal(middle, error, draws), -0.5, 0.5), 0.0)
        seen = self.joins[-LEVEL:].sum() / self.dispersion
        luck = random.gamma(seen + 0.5, size=draws) / max(seen, 0.5)  # Jeffreys' prior for the mean of a count
        return self.first(growth) * luck, growth


def joins_of(book: PaidMonths, moves: Movements) -> tuple[np.ndarray, np.datetime64]:
    """Count new customers by month; return the first of these months too.

    In a first year of uncertain yearly customers the others tell. Who had not paid in month 0, and was on board, looks
    new afterwards: months within the grace of the beginning do not count.
    """
    joins = moves.new.sum(axis=1)[1:]
    if (book.state == BEFORE).any() and book.months > 12:
        others = moves.new[1:, ~book.yearly].sum(axis=1)
        share = others[11:].sum() / max(joins[11:].sum(), 1)
        joins = np.where(np.arange(joins.size) < 11, others / share, joins) if share > 0.2 else joins[11:]
    joins = joins[max(joins.size - max(book.months - 1 - book.grace.months, 0), 0) :]
    return joins, book.calendar_month(book.months - joins.size)


def measure_joining(joins: np.ndarray, first_month: np.datetime64) -> Joining:
    """Measure level, growth and season by Poisson regression on time, with errors widened for overdispersion.

    joins: new customers by month; first_month: the month of the first of them. A season is one wave of a year (a sine
    and a cosine), taken where an F test finds it and 18 months or more are known. Source: McCullagh and Nelder,
    "Generalized Linear Models" (2nd ed. 1989), section 6.2.
    """
    lately = joins[-LONGEST:]
    size, enough = lately.size, lately.size >= LEAST_MONTHS and lately.sum() >= LEAST_JOINS
    months = int(first_month.astype("M8[M]").astype(int)) + np.arange(joins.size)
    angle = 2 * np.pi * np.arange(12) / 12
    waves = np.stack([np.cos(angle), np.sin(angle)])
    time = np.arange(size) - (size - 1) / 2
    plain = np.stack([np.ones(size), time]) if enough else np.ones((1, size))
    beta, covariance, dispersion, deviance = _regress(plain, lately)
    season = None
    if enough and size >= SEASON_MONTHS:
        wavy = np.vstack([plain, waves[:, months[-LONGEST:] % 12]])
        fit = _regress(wavy, lately)
        if _by_chance((deviance - fit[3]) / 2 / fit[2], size - 4) < SURE:
            beta, covariance, dispersion, _ = fit
            factors = np.exp(beta[2:] @ waves)
            season = tuple((factors / factors.mean()).round(3).tolist())
    growth, sure = None, 0.0
    if enough:
        value, error = float(beta[1]), float(np.sqrt(covariance[1, 1]))
        low, middle, high = np.expm1(value + Z95 * error * np.array([-1, 0, 1])).tolist()
        told = ", with a season" if season else ""
        growth = Rate(middle, low, high, f"new customers of the last {size} months; Poisson regression{told}")
        sure = _there_is_growth(value, error)
    factor = np.ones(joins.size) if season is None else np.array(season)[months % 12]
    return Joining(
        joins, _level(joins[-RECENT:], dispersion, max(size - 2, 1)), growth, sure, season, dispersion, factor
    )


def joining_notes(joining: Joining) -> list[str]:
    """Name the bursts and the season, where there are any."""
    lately, said = joining.joins[-LONGEST:], []
    most = np.sort(lately)[::-1]
    if lately.sum() >= LEAST_JOINS:
        bursts = int(np.searchsorted(np.cumsum(most), 0.5 * lately.sum()) + 1)
        if bursts <= HALF_OF_ALL * lately.size and joining.dispersion > BURSTS:
            said.append(
                f"{bursts} of the last {lately.size} months brought half of all who joined in them: joining comes in "
                f"bursts (variance {joining.dispersion:.0f} times the mean), and intervals and bands widen by it"
            )
    if joining.season:
        high, low = int(np.argmax(joining.season)), int(np.argmin(joining.season))
        names = [str(month) for month in np.datetime_as_string(np.arange("2024-01", "2025-01", dtype="M8[M]"))]
        said.append(
            f"joining has a season: most in month {names[high][5:]} ({joining.season[high]:.2f} times the average), "
            f"fewest in month {names[low][5:]} ({joining.season[low]:.2f} times)"
        )
    return said


def _cautious(dispersion: float, freedom: int) -> float:
    """The upper end of an 80% one-sided interval (chi-squared) of a dispersion that is more than chance.

    Bursts are few, so the months seen hold too few of them more often than too many.
    """
    from scipy.special import gammaincinv

    return float(dispersion * freedom / (2 * gammaincinv(freedom / 2, 0.2))) if dispersion > BURSTS else dispersion


def _level(lately: np.ndarray, dispersion: float, freedom: int) -> Rate:
    if not lately.size:
        return Rate(0.0, 0.0, 0.0, "records of one month")
    low, high = count_interval(float(lately.sum()), _cautious(dispersion, freedom))
    varied = f", months vary {dispersion:.1f} times as much as by chance" if dispersion >= 1.5 else ""
    source = f"{lately.sum():,.0f} joined in the last {count_of(lately.size, 'month')}{varied}; Poisson"
    return Rate(float(lately.mean()), low / lately.size, high / lately.size, source)


def _there_is_growth(value: float, error: float) -> float:
    """The posterior probability of growth, from the odds of three to one and the two densities of the estimate."""
    spread = np.hypot(error, USUAL_GROWTH)
    odds = ODDS * error / spread * np.exp(min(0.5 * (value / error) ** 2 - 0.5 * (value / spread) ** 2, 100.0))
    return float(odds / (1 + odds))


def _regress(terms: np.ndarray, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Fit Poisson counts by Newton's method; return coefficients, covariance, dispersion (at least 1) and deviance.

    terms: shape (coefficients, months).
    """
    mean = counts.mean() if counts.size else 0.0
    if not mean:
        return np.zeros(len(terms)), np.full((len(terms), len(terms)), np.inf), 1.0, 0.0
    beta = np.zeros(len(terms))
    beta[0] = np.log(mean)
    for _ in range(30):
        expected = np.exp(np.clip(beta @ terms, -30, 30))
        step = np.linalg.solve((terms * expected) @ terms.T + 1e-9 * np.eye(len(terms)), terms @ (counts - expected))
        beta = beta + np.clip(step, -1, 1)
    expected = np.exp(np.clip(beta @ terms, -30, 30))
    freedom = counts.size - len(terms)
    dispersion = max(1.0, float(((counts - expected) ** 2 / expected).sum() / freedom)) if freedom > 1 else 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(counts > 0, counts * np.log(counts / expected), 0.0)
    deviance = 2 * float((logs - counts + expected).sum())
    return beta, dispersion * np.linalg.pinv((terms * expected) @ terms.T), dispersion, deviance


def _by_chance(ratio: float, freedom: int) -> float:
    """The probability of an F of 2 and `freedom` degrees at least as large; for 2 it has a closed form."""
    return float((1 + 2 * max(ratio, 0.0) / freedom) ** (-freedom / 2))
