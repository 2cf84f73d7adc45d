"""Survival where many customers have not left yet: Kaplan-Meier with Greenwood's variance and late entry.

Also how many come back, whether a fitted churn curve agrees with what was seen, and what was seen as a curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from growth.errors import Problem
from growth.records.bridge import Spells
from growth.records.intervals import Z95, Rate, wilson
from growth.records.read.rows import RecordsError
from growth.records.read.values import NONE

if TYPE_CHECKING:
    from growth.records.churn_fit import Fit

LEAST = 5  # leavers, and stayers, expected in each group of ages: common practice, no source
TAIL = 12  # the last ages observed, whose churn is continued beyond them
FOLLOWED = 12  # months for which leavers are followed to see whether they return
NO_FIT = 0.001  # with a smaller p-value a curve is called unfit


@dataclass(frozen=True, slots=True, eq=False)
class RiskTable:
    """Counts of customers by age 1, 2, 3, ... in months; right censoring and late entry are in the numbers at risk.

    at_risk: reached age a - 1 and were observed up to age a. left: left at age a. Both integers of shape (ages,).
    """

    at_risk: np.ndarray
    left: np.ndarray

    @property
    def ages(self) -> np.ndarray:
        """1, 2, 3, ..."""
        return np.arange(1, self.at_risk.size + 1)


@dataclass(frozen=True, slots=True, eq=False)
class Survival:
    """Share still on board at ages 1, 2, 3, ..., with its standard error and 95% interval, each of shape (ages,)."""

    table: RiskTable
    survival: np.ndarray
    standard_error: np.ndarray
    low: np.ndarray
    high: np.ndarray


def risk_table(*, entry: np.ndarray, duration: np.ndarray, left: np.ndarray) -> RiskTable:
    """Count customers at risk and leaving, by age.

    Parameters
    ----------
    entry : np.ndarray
        Age in months at which observation of each customer began, shape (n,); 0 for those observed from the start. A
        customer is at risk from age entry + 1 on.
    duration : np.ndarray
        Age at which the customer left, or the last age at which it was seen on board, shape (n,).
    left : np.ndarray
        Boolean, shape (n,): whether it left.

    Returns
    -------
    RiskTable
        With as many ages as the longest duration.

    Examples
    --------
    >>> table = risk_table(entry=np.array([0, 0, 2]), duration=np.array([1, 3, 3]), left=np.array([True, False, True]))
    >>> table.at_risk.tolist()
    [2, 1, 2]
    """
    longest = int(duration.max(initial=0))
    come = np.bincount(np.minimum(entry, duration), minlength=longest + 1)
    gone = np.bincount(duration, minlength=longest + 1)
    at_risk = np.cumsum(come)[:-1] - np.cumsum(gone)[:-1] if longest else np.zeros(0, int)
    return RiskTable(at_risk, np.bincount(duration[np.flatnonzero(left)], minlength=longest + 1)[1:])


def spell_risk(
    runs: Spells, *, chosen: np.ndarray | None = None, unknown_age: int | None = None, since: int = 0
) -> RiskTable:
    """Count spells at risk and ended, by age, up to the last settled month.

    Parameters
    ----------
    runs : Spells
        From `spells`.
    chosen : np.ndarray, optional
        Boolean mask, shape (spells,); without it all spells count.
    unknown_age : int, optional
        The age in month 0, in months, that those of unknown age are taken to have; without it they are left out.
    since : int
        Count only leaving in this month of the records or later.

    Returns
    -------
    RiskTable

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> from growth.records.bridge import spells
    >>> table = spell_risk(spells(demo_book(DemoBusiness(months=24), seed=1)))
    >>> table.at_risk[:2].tolist(), table.left[:2].tolist()
    ([219, 200], [8, 11])
    """
    entry = runs.entry if unknown_age is None else np.where(runs.entry == NONE, unknown_age, runs.entry)
    unseen = np.maximum(since - 1 - runs.start, 0)
    use = np.flatnonzero((entry != NONE) & (runs.watched > unseen) & (True if chosen is None else chosen))
    entry, gone = entry[use] + unseen[use], runs.gone[use]
    return risk_table(entry=entry, duration=entry + runs.watched[use] - unseen[use] - 1 + gone, left=gone)


def kaplan_meier(table: RiskTable) -> Survival:
    """Estimate survival by age.

    S(a) = product over ages i <= a of (1 - d(i) / n(i)), with Greenwood's variance S^2 x sum of d / (n (n - d)).
    Intervals are taken on the log(-log) scale, which keeps them between 0 and 1; where nobody has left yet, Wilson's
    interval for 0 of n is used. Sources: Kaplan and Meier (1958), J. Amer. Statist. Assoc. 53, 457-481; Greenwood
    (1926); Kalbfleisch and Prentice, "The Statistical Analysis of Failure Time Data" (2nd ed. 2002), section 1.4.

    Parameters
    ----------
    table : RiskTable
        Customers at risk and leaving, by age.

    Returns
    -------
    Survival
        Shares from 0 to 1; NaN from the first age with nobody at risk on.

    Examples
    --------
    >>> kaplan_meier(RiskTable(np.array([10, 8]), np.array([1, 2]))).survival.round(3).tolist()
    [0.9, 0.675]
    """
    n, d = table.at_risk.astype(float), table.left.astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(np.where(n > 0, 1 - d / n, np.nan))
        total = np.cumsum(d / (n * (n - d)))
        error = np.where(survival > 0, survival * np.sqrt(total), np.where(survival == 0, 0.0, np.nan))
        inner = np.exp(Z95 * np.sqrt(total) / -np.log(survival))
        low, high = survival**inner, survival ** (1 / inner)
    whole, none = survival == 1, survival == 0
    low[none] = high[none] = 0.0
    if whole.any():
        low[whole] = 1 - wilson(np.zeros(whole.sum()), n[whole])[1]
        high[whole] = 1.0
    if none.any():
        high[none] = wilson(np.zeros(none.sum()), np.maximum(n[none], 1))[1]
    return Survival(table, survival, error, low, high)


def measure_comeback(runs: Spells, months: int) -> tuple[Rate | None, int]:
    """Estimate the share of leavers who return within 12 months (1 - Kaplan-Meier), and their median wait.

    months: of the records. None and 1 where nobody was seen to return.
    """
    gone = np.flatnonzero(runs.left)
    after = runs.start[gone] + runs.length[gone]  # the month in which it is missing
    following = np.minimum(gone + 1, runs.customer.size - 1)
    back = (runs.customer[following] == runs.customer[gone]) & (following > gone)
    wait = np.where(back, runs.start[following] - after, months - 1 - after)
    counted = back & (wait <= FOLLOWED)
    if not counted.any():
        return None, 1
    table = risk_table(entry=np.zeros(gone.size, int), duration=np.minimum(wait, FOLLOWED), left=counted)
    curve = kaplan_meier(table)
    source = f"{counted.sum():,} of {gone.size:,} who left came back within {FOLLOWED} months; Kaplan-Meier"
    last = np.flatnonzero(np.isfinite(curve.survival))[-1]
    share, low, high = (float(1 - part[last]) for part in (curve.survival, curve.high, curve.low))
    return Rate(share, low, high, source), int(np.median(wait[counted]))


@dataclass(frozen=True, slots=True)
class Misfit:
    """How far a curve is from what was observed.

    p: the probability of a distance at least as large if the curve were true. worst: first and last age, in months, of
    the group of ages that is farthest off. seen, said: the share leaving a month there, observed and by the curve.
    """

    p: float
    worst: tuple[int, int]
    seen: float
    said: float


def misfit(fit: Fit, table: RiskTable) -> Misfit | None:
    """Test a curve by Pearson's chi-squared of leavers by age.

    The statistic is the sum of (d - sum n h)^2 / sum n h (1 - h) over groups of neighbouring ages, joined until at
    least 5 leavers and 5 stayers are expected in each. Given the numbers at risk, deviations at different ages are
    uncorrelated. Source: Hjort (1990), Annals of Statistics 18, 1221-1258, from memory.

    Parameters
    ----------
    fit : Fit
        The curve.
    table : RiskTable
        What it was fitted to.

    Returns
    -------
    Misfit or None
        None if no degrees of freedom (groups less fitted parameters) are left.

    Examples
    --------
    >>> from growth.records.churn_fit import fit_constant
    >>> table = RiskTable(np.array([1000, 800, 780, 760]), np.array([200, 20, 20, 20]))
    >>> off = misfit(fit_constant(table), table)
    >>> off.p < 1e-6, off.worst, off.seen
    (True, (1, 1), 0.2)
    """
    from scipy.special import chdtrc

    expected = table.at_risk * fit.churn(table.ages)
    spread = expected * (1 - fit.churn(table.ages))
    starts: list[int] = []
    begun = np.zeros(2)
    for age, (leave, stay) in enumerate(zip(expected, table.at_risk - expected, strict=True)):
        if not starts or begun.min() >= LEAST:
            starts, begun = [*starts, age], np.zeros(2)
        begun = begun + np.array([leave, stay])
    if len(starts) > 1 and begun.min() < LEAST:
        starts.pop()  # too few at the end: they join the group before
    if len(starts) <= fit.parameters:
        return None
    d, e, v, n = (np.add.reduceat(part, starts) for part in (table.left, expected, spread, table.at_risk))
    apart = np.divide((d - e) ** 2, v, out=np.where(d == e, 0.0, np.inf), where=v > 0)
    worst = int(apart.argmax())
    ends = (*starts[1:], table.at_risk.size)
    return Misfit(
        float(chdtrc(len(starts) - fit.parameters, apart.sum())),
        (starts[worst] + 1, ends[worst]),
        float(d[worst] / n[worst]),
        float(e[worst] / n[worst]),
    )


def seen_curve(table: RiskTable, *, draws: int = 0, random: np.random.Generator | None = None) -> dict[str, Any]:
    """Return observed churn as a section `curve: measured`: survival by age, then the churn of the last ages.

    With `draws` and a generator `random`, its values are arrays of shape (draws,), the leavers of each age drawn anew
    from a binomial distribution. Raises RecordsError if nobody was observed from the first month on.

    >>> seen_curve(RiskTable(np.array([100, 80]), np.array([20, 8])))
    {'curve': 'measured', 'survival': [0.8, 0.72], 'tail_monthly_churn_rate': 0.15555555555555556}
    """
    known = int((np.cumprod(table.at_risk > 0)).sum())
    if not known:
        rule = "somebody whose first month is in the records, for churn as it was seen"
        raise RecordsError([Problem("", rule, "nobody", "Take the recommended curve.")])
    n, d = table.at_risk[:known], table.left[:known].astype(float)
    if random is not None and draws:
        d = random.binomial(n, d / n, size=(draws, known)).astype(float)
    survival = np.cumprod(1 - d / n, axis=-1)
    tail = d[..., -TAIL:].sum(axis=-1) / n[-TAIL:].sum()
    return {
        "curve": "measured",
        "survival": [share if draws else round(float(share), 12) for share in np.moveaxis(survival, -1, 0)],
        "tail_monthly_churn_rate": tail if draws else float(tail),
    }
