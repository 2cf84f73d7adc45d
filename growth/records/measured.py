"""The results of measuring: each rate with its interval and what it was measured from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.bridge import Movements, Spells
from growth.records.churn_fit import Fit
from growth.records.paid_months import PaidMonths
from growth.records.survival import RiskTable, Survival


@dataclass(frozen=True, slots=True)
class Rate:
    """A measured number with its 95% interval. source: what it was measured from, and the method, in words."""

    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class KindMeasures:
    """What was measured of one plan with one way of billing.

    customers, mrr: in the last month. share: of those who joined in the last 12 months. churn: lost / on board, over
    all months. renewal: of customers whose year ended; None for monthly plans. price: mean first MRR of those who
    joined in the last 12 months; None if nobody did. fits, chosen, why: the churn curves, for monthly plans.
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
    """Everything measured. Rates are fractions a month; money is in major units of the records' currency.

    kinds: by plan and billing. monthly_table, fits, chosen, why: the churn curves of all monthly plans together.
    joins: new customers by month, from the second month on. new_customers: their mean over the last 12 months. growth:
    their monthly growth; None with too few of them. expansion_draws: bootstrap samples of the expansion and the
    contraction rate, shape (2, draws). comeback, comeback_after: the share of leavers who return within 12 months, and
    the median wait in months. conversion, delays: the share of sign-ups (customers whose first row has amount 0) that
    pays, and the shares of those by months from sign-up to payment. unknown_ages: customers on board in month 0 whose
    age is not in the records; they are left out of the curves.
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
