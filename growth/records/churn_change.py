"""Whether churn has changed lately: a log-rank test by age over calendar windows, and what churn is now.

Customers who pay by the month. Each of the last 4 to 12 months is tried as the time since which churn is another. The
largest statistic is compared with those of 1,000 histories drawn without any change, so that all windows together
raise a false alarm in 3 of 100 businesses. Customers of unknown age grow older together: where customers differ those
leave less and less, and only what goes beyond a steady drift tells a change of churn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import count_of
from growth.records.bridge import Spells
from growth.records.paid_months import PaidMonths
from growth.records.read.values import NONE

AGES = (1, 2, 3, 4, 7, 13, 25)  # the youngest of each group of ages; customers of unknown age are one more group
WINDOWS = range(4, 13)  # of the last months, in months
EARLIER = 6  # months that have to be known before a window
FALSE_ALARMS = 0.03
HISTORIES = 1_000  # drawn without a change
UNCHANGED = 0.5  # probability, before anything is seen, that churn did not change lately; our own choice
PRIOR = 2.0  # of a ratio of churn: gamma of this shape and mean 1, so half or double is nothing unusual
OUT_OF_LINE = 6.0  # standard errors by which the last month alone may exceed the others, and still count
DRIFT = 0.02  # usual change a month of the logarithm of churn, as customers of unknown age grow older; our own choice


@dataclass(frozen=True, slots=True)
class DetectedChurnChange:
    """A change of churn. since: the first month of the new churn, counted from that of the records. before, now: the
    shares leaving a month. p: how often chance shows as much.
    """

    since: int
    before: float
    now: float
    p: float


@dataclass(frozen=True, slots=True, eq=False)
class ChurnHistory:
    """Leavers by month, beside those expected if churn had never changed.

    at_risk, left: shape (transitions, groups of ages), the first group of unknown age; transition t is into month t + 1
    of the records. last: leavers of the last month and how many would be usual, where it is so far out of line that it
    was left out; else None.
    """

    at_risk: np.ndarray
    left: np.ndarray
    last: tuple[int, float] | None = None

    @property
    def hazard(self) -> np.ndarray:
        """Churn of each group of ages over the whole history, shape (groups,)."""
        return self.left.sum(axis=0) / np.maximum(self.at_risk.sum(axis=0), 1)

    @property
    def windows(self) -> np.ndarray:
        """How many of the last months may have a churn of their own, shape (windows,)."""
        most = len(self.at_risk) - EARLIER
        return np.array([window for window in WINDOWS if window <= most], int)

    @property
    def lately(self) -> tuple[np.ndarray, np.ndarray]:
        """Leavers of each window, and those to be expected had churn never changed; both of shape (windows,)."""
        seen, expected = self.left.sum(axis=1), self.at_risk @ self.hazard
        new, due = (np.cumsum(part[::-1])[self.windows - 1] for part in (seen, expected))
        return new, due

    def weights(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the probabilities of no change and of a change at each window, and the churn ratio of the latter.

        Both of shape (1 + windows,); the ratio is that of the leavers since to those expected, 1 for no change. The
        counts are Poisson with gamma priors for the ratios, so that everything has a closed form (Kass and Raftery,
        1995, J. Amer. Statist. Assoc. 90, 773-795, for such averages).
        """
        seen, expected = self.left.sum(), (self.at_risk @ self.hazard).sum()
        if not self.windows.size or not seen:
            return np.ones(1), np.ones(1)
        new, due = self.lately
        logs = _evidence(new, due) + _evidence(seen - new, expected - due)
        logs = np.append(_evidence(seen, expected), logs)
        prior = np.append(UNCHANGED, np.full(new.size, (1 - UNCHANGED) / new.size))
        weight = prior * np.exp(logs - logs.max())
        return weight / weight.sum(), np.append(1.0, (new + PRIOR) / (due + PRIOR))

    def draw(self, random: np.random.Generator, draws: int, *, changed: bool = False) -> np.ndarray:
        """Draw the ratio of churn now to that of the whole history, shape (draws,); 1 where it did not change.

        With `changed` it is taken for certain that it did.
        """
        weight, _ = self.weights()
        if weight.size == 1:
            return np.ones(draws)
        if changed:
            weight = np.append(0.0, weight[1:] / weight[1:].sum())
        which = random.choice(weight.size, draws, p=weight)
        new, due = self.lately
        some = np.maximum(which - 1, 0)
        return np.where(which > 0, random.gamma(new[some] + PRIOR) / (due[some] + PRIOR), 1.0)


def churn_history(book: PaidMonths, runs: Spells, *, monthly: np.ndarray) -> ChurnHistory:
    """Count who was at risk and who left, by month and group of ages. monthly: by kind of plan, shape (kinds,).

    A last month in which far more left than usual is left out: most likely it is not over.
    """
    entry = np.where(runs.entry == NONE, np.iinfo(np.int32).min, runs.entry)
    age = np.repeat(entry - runs.start, runs.length) + book.month + 1
    group = np.where(age < 0, 0, np.searchsorted(AGES, age, side="right"))
    use = np.flatnonzero(monthly[book.kind] & (book.month < book.settled - 1))
    shape = (max(book.settled - 1, 0), len(AGES) + 1)
    cell = book.month[use] * np.int64(shape[1]) + group[use]
    size = shape[0] * shape[1]
    at_risk = np.bincount(cell, minlength=size).reshape(shape)
    left = np.bincount(cell[~book.goes_on[use]], minlength=size).reshape(shape)
    if len(left) > EARLIER:
        usual = float(at_risk[-1] @ (left[:-1].sum(axis=0) / np.maximum(at_risk[:-1].sum(axis=0), 1)))
        lately = int(left[-1].sum())
        if lately - usual > OUT_OF_LINE * np.sqrt(usual + 1):
            return ChurnHistory(at_risk[:-1], left[:-1], (lately, usual))
    return ChurnHistory(at_risk, left)


def find_change(history: ChurnHistory, *, seed: int = 0) -> DetectedChurnChange | None:
    """Test whether churn changed in the last months; None where chance shows as much in 3 of 100 businesses or more.

    The log-rank test compares, within each group of ages, the leavers of a window with the share of all leavers that it
    would have by its customers at risk, and for those of unknown age by how they have left more or less all along.
    Sources: Mantel (1966), Cancer Chemotherapy Reports 50, 163-170; for the
    largest of several statistics Davison and Hinkley, "Bootstrap Methods and their Application" (1997), section 4.4.
    """
    windows, groups = history.windows, history.at_risk.sum(axis=0) > 0
    at_risk, left = history.at_risk[:, groups], history.left[:, groups]
    if not windows.size or left.sum() < 10:
        return None
    drift = DRIFT if groups[0] else 0.0
    seen = _statistics(at_risk, left[None], windows, drift=drift)[0]
    best = int(np.abs(seen).argmax())
    random = np.random.default_rng(seed)
    chance = random.binomial(at_risk, history.hazard[groups], (HISTORIES, *at_risk.shape))
    most = np.abs(_statistics(at_risk, chance, windows, drift=drift)).max(axis=1)
    p = (1 + (most >= abs(seen[best])).sum()) / (HISTORIES + 1)
    if p >= FALSE_ALARMS:
        return None
    new = slice(len(at_risk) - int(windows[best]), None)
    old = slice(0, new.start)
    before, now = (left[part].sum() / at_risk[part].sum() for part in (old, new))
    return DetectedChurnChange(new.start + 1, float(before), float(now), float(p))


def churn_now(history: ChurnHistory, *, lost: float, on_board: float, changed: bool, seed: int) -> tuple[float, float]:
    """Return the 95% interval of churn now, with what is not known of whether and since when it is another.

    lost, on_board: over the whole history, of all customers. A posterior of the rates without change, which has about
    the width of Wilson's interval, is averaged with those of a change at each window.
    """
    random, draws = np.random.default_rng(seed), 4_000
    ratio = history.draw(random, draws, changed=changed)
    rate = random.beta(lost + 0.5, max(on_board - lost, 0) + 0.5, draws)
    low, high = np.quantile(np.where(ratio == 1, rate, ratio * lost / on_board), [0.025, 0.975])
    return float(low), float(min(high, 1.0))


def churn_notes(change: DetectedChurnChange | None, history: ChurnHistory, book: PaidMonths) -> list[str]:
    """Say since when churn is another, and what to use; and that far more left in the last month than usual."""
    said = []
    if change:
        said.append(
            f"churn of monthly plans changed about {book.calendar_month(change.since)}: {change.before:.2%} left a "
            f"month before, {change.now:.2%} since then (log-rank test by age, p {change.p:.3f}; a false alarm in "
            f"{FALSE_ALARMS:.0%} of businesses). The months since then are what the scenario takes"
        )
    if history.last:
        said.append(
            f"{count_of(history.last[0], 'customer')} who pay by the month left in the last month, {book.last_month}, "
            f"where {history.last[1]:,.0f} would be usual: if that month is not over, --until takes the month before"
        )
    return said


def _statistics(at_risk: np.ndarray, left: np.ndarray, windows: np.ndarray, *, drift: float = 0.0) -> np.ndarray:
    """The standardised log-rank statistic of each window, shape (histories, windows).

    at_risk: shape (months, groups); left: shape (histories, months, groups). drift: standard deviation of the change a
    month of the logarithm of churn in the first group, normal around 0; what the leavers make most likely of it is
    taken out, and what it leaves unsure no longer counts as evidence.
    """
    new_risk = np.cumsum(at_risk[::-1], axis=0)[windows - 1]
    new_left = np.cumsum(left[:, ::-1], axis=1)[:, windows - 1]
    all_risk, all_left = at_risk.sum(axis=0), left.sum(axis=1)[:, None]
    share = new_risk / np.maximum(all_risk, 1)
    more = new_left - all_left * share
    spread = all_left * share * (1 - share) * (all_risk - all_left) / np.maximum(all_risk - 1, 1)
    if drift:
        first, gone = at_risk[:, 0], left[:, :, 0]
        time = np.arange(first.size) - np.average(np.arange(first.size), weights=first)
        rate = gone.sum(axis=1, keepdims=True) / first.sum()
        information = rate * (1 - rate)
        shared = information * np.cumsum((first * time)[::-1])[windows - 1]
        kept = drift**2 / (1 + drift**2 * information * (first * time**2).sum())
        more[:, :, 0] -= kept * shared * (gone @ time)[:, None]
        spread[:, :, 0] -= kept * shared**2
    error = np.sqrt(spread.sum(axis=2))
    return np.divide(more.sum(axis=2), error, out=np.zeros(error.shape), where=error > 0)


def _evidence(seen: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Log probability of Poisson counts whose ratio to the expected ones has the gamma prior, but for a constant."""
    from scipy.special import gammaln

    return gammaln(PRIOR + seen) - (PRIOR + seen) * np.log(PRIOR + expected) + PRIOR * np.log(PRIOR) - gammaln(PRIOR)
