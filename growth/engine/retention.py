"""Following the customers of one month to a later one."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.cohorts import states_at
from growth.engine.draws import Array, Read, by_block
from growth.engine.life import ageless, life_of
from growth.engine.step import CUSTOMERS, MRR, advance

if TYPE_CHECKING:
    from growth.scenario import Scenario


def followed(scenario: Scenario, *, start: int, end: int) -> Array:
    """Follow the customers at the end of month `start` to the end of month `end`, with nobody joining.

    Parameters
    ----------
    scenario : Scenario
    start, end : int
        Months, 0 <= start <= end <= T.

    Returns
    -------
    array of shape (5, 1 or draws)
        Customers and MRR at the start; customers, MRR, and MRR without expansion and price rises at the end.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, grow={"monthly_expansion_rate": 0.25},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> followed(small, start=0, end=2).ravel().round(9).tolist()
    [10.0, 200.0, 2.5, 78.125, 50.0]
    """

    pooled = ageless(scenario)

    def block(read: Read, draws: int) -> Array:
        life = life_of(scenario, read=read, pooled=pooled)
        no_gain = replace(
            life,
            expansion=None if life.expansion is None else tuple(map(np.zeros_like, life.expansion)),
            price_rate=None if life.price_rate is None else np.minimum(life.price_rate, 0.0),
        )
        then = states_at(scenario, months=[start], read=read, draws=draws, pooled=pooled)[start]
        net, gross = then.copy(), then.copy()
        for month in range(start + 1, end + 1):
            advance(net, life=life, month=month)
            advance(gross, life=no_gain, month=month)
        then, net, gross = (state.sum(axis=(0, 2)) for state in (then, net, gross))
        return np.stack([then[CUSTOMERS], then[MRR], net[CUSTOMERS], net[MRR], gross[MRR]])

    return by_block(scenario, block)
