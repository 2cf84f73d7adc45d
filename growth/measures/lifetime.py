"""What a new customer is worth over a lifetime, and when the cost of winning one is paid back."""

from __future__ import annotations

import numpy as np

from growth.engine import Forecast
from growth.engine.draws import Read, by_block, stack
from growth.engine.life import new_prices
from growth.engine.retention import LIFETIME, lifetime, lifetime_sum, settled_ages
from growth.measures.measure import Measure, month_of
from growth.measures.month import customer_acquisition_cost


def margin_multiple(*, retention_rate: float, discount_rate: float, first_payment: bool = False) -> float:
    """What a margin of 1 a period is worth over a lifetime at constant retention.

    r / (1 + i - r) without the payment made on joining; 1 more, (1 + i) / (1 + i - r), with it. retention_rate r and
    discount_rate i are fractions a period, 0 <= r < 1 + i; periods are of any length, the same for both. Not checked:
    beyond that range the formula has no meaning.
    Source: Gupta, S. and Lehmann, D. R. (2003), "Customers as Assets", Journal of Interactive Marketing 17(1), 9-24,
    the margin multiple.

    >>> round(margin_multiple(retention_rate=0.8, discount_rate=0.12), 2)
    2.5
    """
    return retention_rate / (1 + discount_rate - retention_rate) + first_payment


def lifetime_value(forecast: Forecast, *, month: int | None = 1, first_payment: bool = True) -> Measure:
    """LTV: the discounted gross margin of a customer who joins in `month`, over the fitted survival curve.

    Sum over ages a of (W(a) p (1 - fee rate) - S(a) (cost to serve + fee per payment x payments a month)) / (1 + i)^a,
    over the plans by their shares; S is survival, W the MRR kept of the price p (both with the churn of that month,
    later price changes left out), i the monthly_discount_rate. Ages 0..1199 are summed and the rest goes on as the last
    two years do. At constant churn c without costs this is p (1 + i) / (i + c).

    month: 1..T (None: the last), MeasureError otherwise. first_payment: whether age 0 counts. Money a customer;
    negative where serving one costs more than it brings. Undefined where the sum has no limit: growth of those who stay
    outruns churn and discount.
    Source: discounted margin over a survival curve is common practice; at constant retention it is `margin_multiple`.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 22}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}}, bill={"monthly_discount_rate": 0.01})
    >>> round(lifetime_value(growth.forecast(scenario)).value, 6)  # 22 x 1.01 / 0.11
    202.0
    """
    month = month_of(forecast, month)
    scenario = forecast.scenario

    def block(read: Read, draws: int) -> np.ndarray:
        income, cost = _margin_terms(scenario, month, read, settled_ages(scenario))
        discount = (1 + read(scenario.bill.monthly_discount_rate)) ** -np.arange(income.shape[1])[:, None]
        (gained, _, sure), (spent, _, sure_too) = (lifetime_sum(part * discount) for part in (income, cost))
        share = stack([read(plan.share) for plan in scenario.pay.plans])
        at_once = 0.0 if first_payment else income[:, 0] - cost[:, 0]
        value = np.where(share > 0, share * (gained - spent - at_once), 0.0).sum(axis=0)
        return np.where((sure & sure_too | (share == 0)).all(axis=0), value, np.nan)

    reason = "no limit: those who stay pay more faster than others leave"
    return Measure.of(forecast, by_block(scenario, block), reason)


def payback_months(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """Months of a new customer's margin that pay back CAC: margin adjusted, survival counted, not discounted.

    The first m at which the margin of ages 0..m - 1, as in `lifetime_value`, adds up to `customer_acquisition_cost`.
    month: 1..T (None: the last); over: months of CAC up to it, 1 or more; MeasureError otherwise. 0 where winning a
    customer costs nothing; undefined where nobody joined, or never paid back within 1,200 months.
    Source: common practice, no source.

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
    scenario = forecast.scenario

    def block(read: Read, draws: int) -> np.ndarray:
        income, cost = _margin_terms(scenario, month, read, LIFETIME)
        share = stack([read(plan.share) for plan in scenario.pay.plans])[:, None]
        earned = np.cumsum((share * (income - cost)).sum(axis=0), axis=0)
        paid = earned >= read(cost_of_one.value)
        months = np.where(paid.any(axis=0), paid.argmax(axis=0) + 1.0, np.nan)
        return np.where(read(cost_of_one.value) == 0, 0.0, months)

    return Measure.of(forecast, by_block(scenario, block), "never paid back, or nobody joined", whole=True)


def _margin_terms(scenario: object, month: int, read: Read, ages: int) -> tuple[np.ndarray, np.ndarray]:
    """Income after the fee rate, and cost, of a new customer by plan and age, shape (plans, ages, 1 or draws)."""
    alive, worth, _ = lifetime(scenario, month=month, read=read, ages=ages)
    price = new_prices(scenario, read=read)[:, month - 1, None]
    payments = np.array([1 / 12 if plan.billing == "yearly" else 1.0 for plan in scenario.pay.plans])[:, None, None]
    bill = scenario.bill
    income = worth * price * (1 - read(bill.payment_fee_rate))
    return income, alive * (read(bill.monthly_cost_to_serve) + read(bill.fee_per_payment) * payments)
