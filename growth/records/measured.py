"""What is measured from billing records: of the whole business, and of each kind of plan."""

from __future__ import annotations

from dataclasses import dataclass

from growth.records.bridge import Movements, Spells
from growth.records.churn_change import ChurnHistory, DetectedChurnChange
from growth.records.churn_fit import Fit
from growth.records.intervals import Rate
from growth.records.joining import Joining
from growth.records.paid_months import PaidMonths
from growth.records.revenue_change import RevenueChange
from growth.records.survival import RiskTable, Survival


@dataclass(frozen=True, slots=True, eq=False)
class KindMeasures:
    """What was measured of one plan with one way of billing.

    customers, mrr: in the last month. share: of those who joined in the last 12 months. churn: lost / on board, since
    churn last changed. renewal: of customers whose year ended; None for monthly plans; due: how many these are. price:
    mean first MRR of those who joined in the last 12 months, at today's prices; None if nobody did. table, survival:
    leaving by age. fits, chosen, why: the churn curves, for monthly plans; fitted: what they were fitted to.
    """

    plan: str
    billing: str
    customers: int
    mrr: float
    share: Rate
    churn: Rate
    renewal: Rate | None
    due: int
    arpa: Rate | None
    price: Rate | None
    expansion: Rate
    contraction: Rate
    table: RiskTable
    survival: Survival
    fitted: RiskTable
    fits: tuple[Fit, ...]
    chosen: Fit | None
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Everything measured. Rates are fractions a month; money is in major units of the records' currency.

    kinds: by plan and billing. monthly_table: leaving by age, of all monthly plans together; fits, chosen, why: their
    churn curves; fitted: what these were fitted to, which is the months since churn last changed and includes customers
    of unknown age. history, churn_change: leaving by calendar month, and its last change. churn: now. joining: how
    customers join. changes: what customers who stay pay more or less. expansion_events, contraction_events: how many
    changes of equal size those rates count as. comeback, comeback_after: the share of leavers who return within 12
    months, and the median wait in months. conversion, delays: the share of sign-ups (customers whose first row has
    amount 0) that pays, and the shares of those by months from sign-up to payment. unknown_ages: customers on board in
    month 0 whose age is not in the records; unknown_age: what age, in months, their churn since then makes likeliest.
    """

    book: PaidMonths
    runs: Spells
    moves: Movements
    kinds: tuple[KindMeasures, ...]
    monthly_table: RiskTable
    fitted: RiskTable
    fits: tuple[Fit, ...]
    chosen: Fit
    why: str
    history: ChurnHistory
    churn_change: DetectedChurnChange | None
    joining: Joining
    changes: RevenueChange
    churn: Rate
    revenue_churn: Rate
    expansion: Rate
    contraction: Rate
    expansion_events: float
    contraction_events: float
    arpa: Rate | None
    comeback: Rate | None
    comeback_after: int
    conversion: Rate | None
    delays: tuple[float, ...]
    unknown_ages: int
    unknown_age: int
