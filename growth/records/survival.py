"""Survival of customers of whom many are still on board: Kaplan-Meier with Greenwood's variance, and late entry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.bridge import Spells
from growth.records.intervals import Z95, wilson
from growth.records.read.values import NONE


@dataclass(frozen=True, slots=True, eq=False)
class RiskTable:
    """Customers by age, ages 1, 2, 3, ... months. at_risk: reached age a - 1 and were watched to age a; left: left at
    age a.

    All that the fits need: right censoring and late entry are in the numbers at risk.
    """

    at_risk: np.ndarray
    left: np.ndarray

    @property
    def ages(self) -> np.ndarray:
        """1, 2, 3, ..."""
        return np.arange(1, self.at_risk.size + 1)


@dataclass(frozen=True, slots=True, eq=False)
class Survival:
    """Share still on board at ages 1, 2, 3, ..., with its standard error and 95% interval."""

    table: RiskTable
    survival: np.ndarray
    standard_error: np.ndarray
    low: np.ndarray
    high: np.ndarray


def risk_table(*, entry: np.ndarray, duration: np.ndarray, left: np.ndarray) -> RiskTable:
    """Counts by age from single customers.

    entry:    age at which a customer came under watch, 0 for those watched from the start; at risk from entry + 1 on.
    duration: age at which it left, or the last age it was seen on board. left: whether it left. All of shape (n,).

    >>> table = risk_table(entry=np.array([0, 0, 2]), duration=np.array([1, 3, 3]), left=np.array([True, False, True]))
    >>> table.at_risk.tolist()
    [2, 1, 2]
    """
    longest = int(duration.max(initial=0))
    come = np.bincount(np.minimum(entry, duration), minlength=longest + 1)
    gone = np.bincount(duration, minlength=longest + 1)
    at_risk = np.cumsum(come)[:-1] - np.cumsum(gone)[:-1] if longest else np.zeros(0, int)
    return RiskTable(at_risk, np.bincount(duration[np.flatnonzero(left)], minlength=longest + 1)[1:])


def spell_risk(runs: Spells, *, chosen: np.ndarray | None = None) -> RiskTable:
    """The RiskTable of spells (of those `chosen`); spells of unknown age are left out."""
    use = np.flatnonzero((runs.entry != NONE) & (True if chosen is None else chosen))
    entry, left = runs.entry[use], runs.left[use]
    return risk_table(entry=entry, duration=entry + runs.length[use] - 1 + left, left=left)


def kaplan_meier(table: RiskTable) -> Survival:
    """S(a) = product over ages i <= a of (1 - d(i) / n(i)); Greenwood: var S = S^2 x sum of d / (n (n - d)).

    Intervals on the log(-log) scale, where they stay within 0 and 1; where nobody has left yet, Wilson's for 0 of n.
    From an age with nobody at risk on, survival is NaN: the records cannot tell. Sources: Kaplan and Meier (1958), J.
    Amer. Statist. Assoc. 53, 457-481; Greenwood (1926); Kalbfleisch and Prentice, "The Statistical Analysis of
    Failure Time Data" (2nd ed. 2002), section 1.4.

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
