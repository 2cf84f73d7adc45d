"""How many customers a higher price may cost before it costs money."""

from __future__ import annotations

from growth.engine.draws import YEAR
from growth.scenario import Scenario


def break_even_loss(price: float, rise: float, *, cost: float = 0.0) -> float | None:
    """The share of customers who may be lost to a higher price before less is left than without it.

    Parameters
    ----------
    price : float
        What a customer pays a month today, 0 or more.
    rise : float
        How much more it is to be, in the same money, above 0.
    cost : float
        What a customer costs a month: fees, hosting, support.

    Returns
    -------
    float or None
        rise / (price + rise - cost), a share up to 1; None where even the higher price does not pay for the customer.

    Notes
    -----
    The standard break-even formula of pricing (change in contribution over new contribution); from memory.

    Examples
    --------
    >>> break_even_loss(20, 4), break_even_loss(20, 4, cost=8)  # 4 / 24, 4 / 16
    (0.16666666666666666, 0.25)
    """
    left = price + rise - cost
    return min(rise / left, 1.0) if left > 0 else None


def break_even_loss_of(scenario: Scenario, *, effort: float = 0.1) -> float | None:
    """The same for new customers of a scenario, all prices `effort` higher (0.1 is a tenth), after its fees and costs.

    None where nothing is left of the higher prices, or where nobody pays.
    """
    plans, bill = scenario.pay.plans, scenario.bill
    kept = 1 - float(bill.payment_fee_rate)
    price = sum(float(plan.share) * float(plan.price) for plan in plans) * kept
    payments = sum(float(plan.share) / (YEAR if plan.billing == "yearly" else 1) for plan in plans)
    cost = float(bill.monthly_cost_to_serve) + float(bill.fee_per_payment) * payments
    return break_even_loss(price, effort * price, cost=cost) if price > 0 else None
