"""The growth ceiling: where customers and MRR settle if what comes in at the end of the forecast goes on for ever."""

from __future__ import annotations

import numpy as np

from growth.engine import Forecast
from growth.engine.draws import Read, by_block, stack
from growth.engine.life import new_prices
from growth.engine.pay import arrivals_of
from growth.engine.retention import EDGE, lifetime, lifetime_sum, settled_ages
from growth.measures.measure import Measure

REASONS = (
    "",
    "growth of those who stay outruns churn",
    "the most loyal hardly ever leave: churn keeps falling",
    "comebacks alone keep it growing",
    "referrals alone keep it growing",
)


def growth_ceiling(forecast: Forecast) -> Measure:
    """The MRR at which what is churned and contracted a month equals what comes in.

    New customers of the last month (the mean of the last twelve where a channel has a season) for ever, at the churn
    and prices then in force: new MRR x the sum over ages of the MRR kept. At constant churn c and growth g of those who
    stay that is new MRR / (1 - (1 - c)(1 + g)). Money a month, 0 or more. Undefined, with its reason (one of REASONS),
    where there is no such level: see model.md. Without any churn there is none.
    Source: Little's law, L = lambda W (Little, 1961, from memory), for customers; the weight by MRR is our own.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={"channels": [{"name": "all",
    ...     "monthly_visitors": 10}]}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> round(growth_ceiling(growth.forecast(scenario)).value, 6)
    2000.0
    """
    return _ceiling(forecast, 1)


def customer_ceiling(forecast: Forecast) -> Measure:
    """The number of customers at which as many leave a month as join; see `growth_ceiling`.

    New customers a month x mean lifetime in months; at constant churn c that is n / c. Undefined where MRR has no
    ceiling either.
    Source: Little's law, L = lambda W (Little, 1961, from memory).

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={"channels": [{"name": "all",
    ...     "monthly_visitors": 10}]}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> round(customer_ceiling(growth.forecast(scenario)).value, 6)
    100.0
    """
    return _ceiling(forecast, 0)


def _ceiling(forecast: Forecast, kind: int) -> Measure:
    values = by_block(forecast.scenario, lambda read, draws: _settle(forecast.scenario, read))
    first = int(values[2].max())
    return Measure.of(forecast, values[kind], REASONS[first])


def _settle(scenario: object, read: Read) -> np.ndarray:
    """Customers, MRR and the index of the reason, shape (3, 1 or draws); see model.md for the equations."""
    months, plans = scenario.months, scenario.pay.plans
    alive, worth, churn = lifetime(scenario, month=months, read=read, ages=settled_ages(scenario))
    share = stack([read(plan.share) for plan in plans])
    used = share > 0
    price = new_prices(scenario, read=read)[:, months - 1]
    new = arrivals_of(scenario, read=read)["new_customers"]
    seasonal = any(channel.season is not None for channel in scenario.arrive.channels)
    new = new[-12:].mean(axis=0) if seasonal else new[-1]
    comeback = read(scenario.stay.comeback.comeback_rate) if scenario.stay.comeback else np.zeros(1)
    referral = read(scenario.sign_up.monthly_referral_rate) * read(scenario.pay.conversion_rate)

    (life, life_ratio, life_sure), (value, value_ratio, value_sure) = lifetime_sum(alive), lifetime_sum(worth)
    again, again_value = (
        np.where(comeback > 0, np.maximum(comeback, 1e-300) * _leavers(kept, churn, ratio), 0.0)
        for kept, ratio in ((alive, life_ratio), (worth, value_ratio))
    )
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        per_newcomer = np.where(used, share * life / (1 - again), 0.0).sum(axis=0)
        customers = new * per_newcomer / (1 - referral * per_newcomer)
        joining = share * (new + referral * customers)
        mrr = np.where(used, joining * price * value / (1 - again_value), 0.0).sum(axis=0)
        growing = referral * per_newcomer >= EDGE

    outruns = (used & ((value_ratio >= EDGE) | (life_ratio >= EDGE))).any(axis=0)
    unsettled = (used & ~(life_sure & value_sure)).any(axis=0)
    comebacks = (used & ((again >= EDGE) | (again_value >= EDGE))).any(axis=0)
    loyal = (used & (life_ratio < EDGE) & ~life_sure).any(axis=0)  # said first: without it nothing would outrun churn
    reason = np.select([loyal, outruns, unsettled, comebacks, growing], [2, 1, 2, 3, 4], 0)
    customers, mrr = (np.where(reason > 0, np.nan, level) for level in (customers, mrr))
    return np.stack(np.broadcast_arrays(customers, mrr, reason.astype(float)))


def _leavers(kept: np.ndarray, churn: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """What leaves over a lifetime, per newcomer: the sum over ages a >= 1 of kept(a - 1) x churn(a)."""
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        terms = kept[:, :-1] * churn
        last = terms[:, -12:].sum(axis=1)
        return terms.sum(axis=1) + np.where(ratio < 1, last * ratio / (1 - ratio), np.inf)
