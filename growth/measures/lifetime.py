"""What a new customer is worth over a lifetime, and when the cost of winning one is paid back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from growth.engine import Forecast
from growth.engine.curves import LIFETIME, settled_ages
from growth.engine.draws import Read, by_block
from growth.engine.long_run import FINITE, UNSETTLED, Lifetime, LifetimeSum, lifetime, lifetime_sum
from growth.engine.pay import joining_shares, new_prices
from growth.measures.measure import Measure, month_of
from growth.measures.month import customer_acquisition_cost
from growth.measures.reason import NO_REASON, Reason, first_reason, why_endless

if TYPE_CHECKING:
    from growth.scenario import Scenario


def lifetime_value(forecast: Forecast, *, month: int | None = None, first_payment: bool = True) -> Measure:
    """LTV: the discounted gross margin of a customer who joins in `month`, over the fitted survival curve.

    Sum over ages a of (W(a) p (1 - fee rate) - S(a) (cost to serve + fee per payment x payments a month)) / (1 + i)^a,
    over the plans by their shares; S is survival, W the MRR kept of the price p (both with the churn of that month,
    later price changes left out), i the monthly_discount_rate. Ages 0..1199 are summed and the rest as in
    `growth.engine.long_run.lifetime_sum`. At constant churn c without costs this is p (1 + i) / (i + c). The cost of
    winning the customer is not taken off.

    Parameters
    ----------
    forecast : of one scenario or of draws.
    month : the month of joining, 1..T; None: the last, as for CAC and payback.
    first_payment : whether age 0 counts.

    Returns
    -------
    Measure
        Money a customer; negative where serving one costs more than it brings. Undefined where the sum has no limit or
        it is not known, with the code of the reason.

    Raises
    ------
    MeasureError
        For a month outside the forecast.

    Notes
    -----
    Source: discounted margin over a survival curve is common practice; at constant retention it is the margin multiple
    of Gupta, S. and Lehmann, D. R. (2003), "Customers as Assets", Journal of Interactive Marketing 17(1), 9-24.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 22}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}}, bill={"monthly_discount_rate": 0.01})
    >>> round(lifetime_value(growth.forecast(scenario)).value, 6)  # 22 x 1.01 / 0.11
    202.0
    """
    month = month_of(forecast, month)
    scenario = forecast.scenario

    def block(read: Read, draws: int) -> np.ndarray:
        life, income, cost = _margin_terms(scenario, month, read, settled_ages(scenario))
        monthly = 1 + read(scenario.bill.monthly_discount_rate)
        discount = monthly ** -np.arange(income.shape[1])[:, None]
        share = _shares(scenario, month, read)
        value, number = -(0.0 if first_payment else income[:, 0] - cost[:, 0]), np.full(share.shape, NO_REASON)
        for part, growth, sign in ((income, life.growth, 1), (cost, np.zeros_like(life.growth), -1)):
            there = part[:, 0] > 0  # what costs nothing adds nothing, however long it lasts
            whole = lifetime_sum(part * discount, life, growth=(1 + growth) * monthly**-12.0 - 1)
            value = value + sign * np.where(there & whole.known, whole.total, 0.0)
            number = np.minimum(number, np.where(there, _why(whole, life), NO_REASON))
        number = np.where((share > 0) & (number < NO_REASON), number, 0)
        value, number = np.broadcast_arrays(np.where(share > 0, share * value, 0.0).sum(axis=0), number.max(axis=0))
        return np.stack([value, number])

    return Measure.by_number(forecast, *by_block(scenario, block))


def _why(whole: LifetimeSum, life: Lifetime) -> np.ndarray:
    """The number of the reason why a sum over ages has no known limit, or NO_REASON."""
    kind = np.where(whole.known, FINITE, whole.kind)
    return first_reason(*why_endless(kind, life.alive[:, -1] == 1), (kind == UNSETTLED, Reason.NOT_KNOWN))


def payback_months(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """Months of a new customer's margin that pay back CAC: margin adjusted, survival counted, not discounted.

    The first m at which the margin of ages 0..m - 1, as in `lifetime_value`, adds up to `customer_acquisition_cost`.

    Parameters
    ----------
    forecast : of one scenario or of draws.
    month : the month of joining, 1..T; None: the last.
    over : months of CAC up to it, 1 or more.

    Returns
    -------
    Measure
        Whole months, 0..1200; 0 where winning a customer costs nothing. Undefined where nobody joined, or never paid
        back within 1,200 months.

    Raises
    ------
    MeasureError
        For a month outside the forecast, or an `over` below 1.

    Notes
    -----
    Common practice, no source.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000, "monthly_cost": 500}]},
    ...     sign_up={"signup_rate": 0.05}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> payback_months(growth.forecast(scenario)).value  # CAC 50; 20 + 18 + 16.2 = 54.2
    3
    """
    month = month_of(forecast, month)
    cost_of_one = customer_acquisition_cost(forecast, month=month, over=over)
    if cost_of_one.value is None:
        return cost_of_one
    scenario, needed = forecast.scenario, cost_of_one.value

    def block(read: Read, draws: int) -> np.ndarray:
        _, income, cost = _margin_terms(scenario, month, read, LIFETIME)
        share = _shares(scenario, month, read)[:, None]
        earned = np.cumsum((share * (income - cost)).sum(axis=0), axis=0)
        paid = earned >= read(needed)
        months = np.where(paid.any(axis=0), paid.argmax(axis=0) + 1.0, np.nan)
        return np.where(read(needed) == 0, 0.0, months)

    return Measure.of(forecast, by_block(scenario, block), "never paid back, or nobody joined", whole=True)


def _shares(scenario: Scenario, month: int, read: Read) -> np.ndarray:
    """The shares of the plans among those who join in a month, shape (plans, 1 or draws)."""
    joining = joining_shares(scenario, read=read)
    if joining.shape[1] == 1 < scenario.months:
        return joining[:, 0]
    there = joining[:, month - 1]
    total = there.sum(axis=0)
    return np.where(total > 0, there / np.where(total > 0, total, 1.0), there)


def _margin_terms(scenario: Scenario, month: int, read: Read, ages: int) -> tuple[Lifetime, np.ndarray, np.ndarray]:
    """A new customer's life; income after the fee rate, and cost, by plan and age, shape (plans, ages, 1 or draws)."""
    life = lifetime(scenario, month=month, read=read, ages=ages)
    price = new_prices(scenario, read=read)[:, month - 1, None]
    payments = np.array([1 / 12 if plan.billing == "yearly" else 1.0 for plan in scenario.pay.plans])[:, None, None]
    bill = scenario.in_force(month).bill
    income = life.worth * price * (1 - read(bill.payment_fee_rate))
    return life, income, life.alive * (read(bill.monthly_cost_to_serve) + read(bill.fee_per_payment) * payments)
