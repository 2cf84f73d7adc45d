"""One month of every cohort: the step that the whole forecast is made of.

The state holds customers and their MRR, shape (plans, 2, cohorts, draws); index 0 of the second axis is customers, 1 is
MRR. The cohort that joined in month j stands in row T - j, so that in any month the rows of those on board, from the
newest to the oldest, meet the ages 1, 2, 3, ... in order. A pooled state has one row. Customers are heads, MRR is money
a month, both >= 0; `life` holds the rates (`growth.engine.life`). Nothing is checked here and nothing raised.

>>> from growth.engine.life import life_of
>>> from growth.scenario import Scenario
>>> small = Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 200},
...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
>>> life = life_of(small, read=np.atleast_1d, pooled=True)
>>> state = opening_state(small, life=life, read=np.atleast_1d, draws=1)
>>> left, expansion, contraction = advance(state, life=life, month=1)
>>> left.ravel().tolist(), expansion
([1.0, 20.0], 0.0)
>>> join(state, np.array([[[3.0], [60.0]]]), life=life, month=1).ravel().tolist()
[12.0, 240.0]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from growth.engine.draws import Array, Read, stack
from growth.engine.life import Life, oldest_age

if TYPE_CHECKING:
    from growth.scenario import Scenario

CUSTOMERS, MRR = 0, 1
_BLOCK = 1 << 16  # plans x cohorts x draws that one block of state holds: about 1 MB
_FEWEST, _MOST = 256, 8192  # draws a block
_POOLED = 1 << 17  # plans x draws a block where nothing depends on age: the state is small, and fresh memory costs most


def block_size(scenario: Scenario, *, pooled: bool) -> int:
    """How many draws to take at a time, so that their state stays in a processor's cache."""
    if pooled:
        return max(_POOLED // len(scenario.pay.plans), _FEWEST)
    cohorts = scenario.months + oldest_age(scenario) + 1
    return min(max(_BLOCK // (cohorts * len(scenario.pay.plans)), _FEWEST), _MOST)


def opening_state(scenario: Scenario, *, life: Life, read: Read, draws: int) -> Array:
    """Customers and MRR at the close of month 0, shape (plans, 2, cohorts, draws).

    Customers are split over plans by opening_share (else share), MRR in proportion to customers x opening_price (to
    customers where that is 0 throughout), both over ages as `opening` says.
    """
    plans, opening = scenario.pay.plans, scenario.opening
    shares = [plan.share if plan.opening_share is None else plan.opening_share for plan in plans]
    by_plan = stack([read(share) for share in shares]) * read(opening.customers)
    prices = [plan.price if plan.opening_price is None else plan.opening_price for plan in plans]
    value = by_plan * stack([read(price) for price in prices])
    value = np.where(value.sum(axis=0) > 0, value, by_plan)
    total = value.sum(axis=0)
    mrr = read(opening.mrr) * value / np.where(total > 0, total, 1.0)
    state = np.zeros((len(plans), 2, 1 if life.pooled else life.months + life.oldest + 1, draws))
    ages = np.ones((1, 1, 1)) if life.pooled else _age_weights(scenario, life.oldest, read)
    first = 0 if life.pooled else life.months
    state[:, CUSTOMERS, first:] = by_plan[:, None] * ages
    state[:, MRR, first:] = mrr[:, None] * ages
    return state


def _age_weights(scenario: Scenario, oldest: int, read: Read) -> Array:
    """The share of a plan's opening customers at each age 0..oldest, shape (1 or plans, oldest + 1, 1 or draws)."""
    opening = scenario.opening
    if opening.ages:
        counts = {entry.age_months: read(entry.customers) for entry in opening.ages}
        weights = stack([counts.get(age, np.zeros(1)) for age in range(oldest + 1)])
        shares: Array = weights / weights.sum(axis=0)
        return shares[None]
    even = np.full(oldest + 1, 1 / (oldest + 1))
    if opening.mean_age_months is not None:
        return even[None, :, None]
    new = np.eye(1, oldest + 1)[0]  # nothing is known of their age
    return np.stack([even if plan.billing == "yearly" else new for plan in scenario.pay.plans])[:, :, None]


def advance(state: Array, *, life: Life, month: int) -> tuple[Array, Array | float, Array | float]:
    """Takes the cohorts on board at the close of month - 1 to `month`, in place: first some leave, then the rest grow.

    lost = on board x h; MRR of those who stay x (1 + e - k) (1 + d), d the change in price that reaches them.
    month: 1..T, one after another. Returns what left, shape (plans, 2, draws), and expansion and contraction, shape
    (plans, draws) or 0.0.
    """
    churn, keep, price_rate = leaving(life, month)
    cohorts = on_board(state, life=life, month=month)
    left = np.einsum("pkcd,pcd->pkd", cohorts, churn)
    cohorts *= keep[:, None]
    expansion, contraction = _grow(cohorts[:, MRR], life, month, price_rate)
    return left, expansion, contraction


def leaving(life: Life, month: int) -> tuple[Array, Array, Array | None]:
    """Who leaves in `month` (1..T), by plan and age of those on board, newest cohort first.

    Returns the share that leaves, the share that stays, and the change in price that reaches those who stay (None where
    no price changes): shape (plans, cohorts on board or 1, 1 or draws) each, as fractions.
    """
    aged = _aged(life, month)
    stretch = life.stretch[month - 1]
    churn, keep, price_rate = life.churn[stretch][:, aged], life.keep[stretch][:, aged], None
    if life.price_rate is not None and np.any(life.price_rate[:, month - 1] != 0):
        price_rate = life.price_rate[:, month - 1, None] * life.renews[:, aged]
    if life.provoked is not None and np.any(life.provoked[:, month - 1] != 0):
        churn = churn + (1 - churn) * (life.provoked[:, month - 1, None] * life.renews[:, aged])
        keep = 1 - churn
    return churn, keep, price_rate


def growing(life: Life, month: int, price_rate: Array | None) -> Array:
    """What the MRR of those who stay is multiplied by in `month`: (1 + e - k) (1 + d); shapes as in `leaving`."""
    growth = np.ones((1, 1, 1))
    if life.expansion is not None and life.contraction is not None:
        stretch = life.stretch[month - 1]
        up, down = life.expansion[stretch], life.contraction[stretch]
        aged = slice(None) if up.shape[1] == 1 else _aged(life, month)
        growth = 1 + up[:, aged] - down[:, aged]
    return growth if price_rate is None else growth * (1 + price_rate)


def _aged(life: Life, month: int) -> slice:
    return slice(0, 1) if life.pooled else slice(0, month + life.oldest)


def _grow(mrr: Array, life: Life, month: int, price_rate: Array | None) -> tuple[Any, Any]:
    """Expansion, contraction, price changes on the MRR of those who stayed, shape (plans, cohorts, draws), in place."""
    expansion = contraction = 0.0
    if life.expansion is not None and life.contraction is not None:
        stretch, aged = life.stretch[month - 1], _aged(life, month)
        up, down = life.expansion[stretch], life.contraction[stretch]
        if up.shape[1] == 1:  # the same at every age
            stayed = mrr.sum(axis=1)
            expansion, contraction = up[:, 0] * stayed, down[:, 0] * stayed
        else:
            up, down = up[:, aged], down[:, aged]
            expansion, contraction = np.einsum("pcd,pcd->pd", mrr, up), np.einsum("pcd,pcd->pd", mrr, down)
        mrr *= 1 + up - down
    if price_rate is not None:
        expansion = expansion + np.einsum("pcd,pcd->pd", mrr, np.maximum(price_rate, 0))
        contraction = contraction - np.einsum("pcd,pcd->pd", mrr, np.minimum(price_rate, 0))
        mrr *= 1 + price_rate
    return expansion, contraction


def on_board(state: Array, *, life: Life, month: int) -> Array:
    """The rows of the cohorts that joined before `month`, newest first: a view, shape (plans, 2, cohorts, draws)."""
    return state if life.pooled else state[:, :, life.months - month + 1 :]


def join(state: Array, newcomers: Array, *, life: Life, month: int) -> Array:
    """Adds the newcomers of `month`, shape (plans, 2, draws), in place, at age 0.

    Returns all on board at its close, summed over cohorts, shape (plans, 2, draws).
    """
    row = 0 if life.pooled else life.months - month
    state[:, :, row] += newcomers
    aboard: Array = state[:, :, row:].sum(axis=2)
    return aboard
