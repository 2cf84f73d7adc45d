"""Customers and MRR by cohort at the end of given months, and the customers of one month followed to a later one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import Array, Read, by_block, reader, single
from growth.engine.life import ageless, life_of
from growth.engine.run import run
from growth.engine.step import CUSTOMERS, MRR, advance

if TYPE_CHECKING:
    from growth.scenario import Scenario


def cohorts(scenario: Scenario) -> tuple[Array, Array]:
    """Customers and MRR by month and cohort: shape (months, oldest + 1 + months), with draws in front if there are any.

    Column j + oldest is the cohort that joins in month j, 0 until then; `oldest` is the largest opening age. All draws
    are computed at once, so memory grows with their number.

    >>> from growth.scenario import Scenario
    >>> example = Scenario(business="example A", months=3, sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "one", "monthly_price": 20}]}, stay={"churn": {"curve": "constant",
    ...     "monthly_churn_rate": 0.1}}, arrive={"channels": [{"name": "all", "monthly_visitors": 10}]})
    >>> cohorts(example)[0][:, -3:].round(9).tolist()
    [[10.0, 0.0, 0.0], [9.0, 10.0, 0.0], [8.1, 9.0, 10.0]]
    """
    read, draws = (single, 1) if scenario.draws is None else (reader(slice(None)), scenario.draws)
    states = states_at(scenario, months=range(1, scenario.months + 1), read=read, draws=draws)
    by_cohort = np.stack([state.sum(axis=0)[:, ::-1] for state in states.values()])  # months, 2, cohorts, draws
    customers, mrr = (np.moveaxis(by_cohort[:, kind], -1, 0) for kind in (CUSTOMERS, MRR))
    return (customers[0], mrr[0]) if scenario.draws is None else (customers, mrr)


def states_at(
    scenario: Scenario, *, months: Iterable[int], read: Read, draws: int, pooled: bool = False
) -> dict[int, Array]:
    """The state by plan and cohort at the end of each of `months`, 0..T; 0 is the opening.

    For `read` and `draws` see `growth.engine.draws`. `pooled` keeps all cohorts in one row, which is valid only if
    nothing depends on age. Returns arrays by month, of shape (plans, 2, cohorts, draws), with 1 or T + oldest + 1
    cohorts in the order of `growth.engine.step`.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200, "mean_age_months": 0},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> states_at(small, months=[1], read=single, draws=1)[1][0, CUSTOMERS, :, 0].tolist()
    [0.0, 9.0]
    """
    kept = dict.fromkeys(months, np.empty(0))
    run(scenario, read=read, draws=draws, pooled=pooled, keep=kept)
    return kept


def followed(scenario: Scenario, *, start: int, end: int) -> Array:
    """Follow the customers at the end of month `start` to the end of month `end`, with nobody joining.

    0 <= start <= end <= T. Returns customers and MRR at the start; customers, MRR, and MRR without expansion and price
    rises at the end: shape (5, 1 or draws).

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
