"""What is measured of billing records: each rate with its interval and what it was measured from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.bridge import Movements, Spells
from growth.records.churn_fit import Fit
from growth.records.paid_months import PaidMonths
from growth.records.survival import RiskTable, Survival


@dataclass(frozen=True, slots=True)
class Rate:
    """A measured number with its 95% interval, and in words what it was measured from."""

    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class KindMeasures:
    """One plan at one way of billing. churn: lost / on board, over all months; for yearly plans see renewal as well.

    price: mean first MRR of those who joined lately; None where nobody did. renewal: of those whose year ended; None
    for monthly plans. fits, chosen and why: the curves (monthly plans with known ages alone).
    """

    plan: str
    billing: str
    customers: int
    mrr: float
    share: Rate
    churn: Rate
    renewal: Rate | None
    arpa: Rate | None
    price: Rate | None
    expansion: Rate
    contraction: Rate
    table: RiskTable
    survival: Survival
    fits: tuple[Fit, ...]
    chosen: Fit | None
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What the records tell. Rates are fractions a month; money is in the records' currency, major units.

    joins: new customers by month, from the second month on; growth: their monthly growth where it is told apart from
    none. comeback and comeback_after: share of leavers who return within 12 months, and after how many months at the
    median. conversion and delays: of sign-ups (rows of amount 0 before any paid one), and the spread over the months
    after. expansion_draws: bootstrap draws of the expansion and contraction rate, shape (2, draws). unknown_ages:
    customers on board in the first month whose age the records do not say; left out of the curves.
    """

    book: PaidMonths
    runs: Spells
    moves: Movements
    kinds: tuple[KindMeasures, ...]
    monthly_table: RiskTable
    fits: tuple[Fit, ...]
    chosen: Fit
    why: str
    new_customers: Rate
    joins: np.ndarray
    growth: Rate | None
    churn: Rate
    revenue_churn: Rate
    expansion: Rate
    contraction: Rate
    expansion_draws: np.ndarray
    arpa: Rate | None
    comeback: Rate | None
    comeback_after: int
    conversion: Rate | None
    delays: tuple[float, ...]
    unknown_ages: int
