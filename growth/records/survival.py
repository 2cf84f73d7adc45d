"""Survival where many customers have not left yet: Kaplan-Meier with Greenwood's variance and late entry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.bridge import Spells
from growth.records.intervals import Z95, wilson
from growth.records.read.values import NONE


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


def spell_risk(runs: Spells, *, chosen: np.ndarray | None = None) -> RiskTable:
    """Count spells at risk and ended, by age.

    Parameters
    ----------
    runs : Spells
        Those of unknown age are left out.
    chosen : np.ndarray, optional
        Boolean mask, shape (spells,); without it all spells count.

    Returns
    -------
    RiskTable
    """
    use = np.flatnonzero((runs.entry != NONE) & (True if chosen is None else chosen))
    entry, left = runs.entry[use], runs.left[use]
    return risk_table(entry=entry, duration=entry + runs.length[use] - 1 + left, left=left)


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
