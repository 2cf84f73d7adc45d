"""The forecast: every month of one scenario, or of all its draws.

Where numbers of the scenario are arrays over draws, the draws are taken in blocks small enough to stay in a processor's
cache, so that memory beyond the result does not grow with them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from growth.engine.draws import Read, blocks, reader, single
from growth.engine.life import ageless, oldest_age
from growth.engine.result import Forecast
from growth.engine.run import run
from growth.engine.step import CUSTOMERS, MRR

_BLOCK = 1 << 16  # plans x cohorts x draws that one block of state holds: about 1 MB
_FEWEST, _MOST = 256, 8192  # draws a block


def forecast(scenario: Any) -> Forecast:
    """Forecasts a validated scenario; see model.md beside this file for every equation.

    scenario: a growth.Scenario. Its numbers may be arrays over draws, shape (draws,). A valid one raises nothing.
    Returns a frozen Forecast whose series have shape (months,) or (draws, months).

    >>> from growth.scenario import Scenario
    >>> example = Scenario(business="example A", months=3, sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "one", "monthly_price": 20}]}, stay={"churn": {"curve": "constant",
    ...     "monthly_churn_rate": 0.1}}, arrive={"channels": [{"name": "all", "monthly_visitors": 10}]})
    >>> forecast(example).closing_mrr.round(9).tolist()
    [200.0, 380.0, 542.0]
    """
    draws = scenario.draws
    pooled = ageless(scenario)
    if draws is None:
        return Forecast.of(scenario, run(scenario, read=single, draws=1, pooled=pooled), draws=None)
    cohorts_of_a_plan = 1 if pooled else scenario.months + oldest_age(scenario) + 1
    size = min(max(_BLOCK // (cohorts_of_a_plan * len(scenario.pay.plans)), _FEWEST), _MOST)
    whole: dict[str, np.ndarray] = {}
    for block in blocks(draws, size=size):
        for name, part in run(scenario, read=reader(block), draws=block.stop - block.start, pooled=pooled).items():
            if part.shape[-1] == 1 and draws > 1:
                whole.setdefault(name, part)  # the same in every draw
                continue
            if name not in whole:
                whole[name] = np.empty((*part.shape[:-1], draws))
            whole[name][..., block] = part
    return Forecast.of(scenario, whole, draws=draws)


def cohorts(scenario: Any) -> tuple[np.ndarray, np.ndarray]:
    """Customers and MRR by cohort, each of shape (months, oldest + 1 + months) or (draws, months, oldest + 1 + months).

    Column j + oldest is the cohort that joined in month j; a column is 0 until its cohort joins. scenario: a valid
    growth.Scenario; all its draws at once, so memory grows with them.

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
    scenario: Any, *, months: Iterable[int], read: Read, draws: int, pooled: bool = False
) -> dict[int, np.ndarray]:
    """The whole state, by plan and cohort, at the close of each of `months` (0 is the opening).

    months: whole numbers 0..T. read, draws: see `growth.engine.draws`. pooled: all cohorts in one row; only where
    nothing depends on age. Returns by month shape (plans, 2, cohorts, draws), with 1 or T + oldest + 1 cohorts in the
    order of `growth.engine.step`.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200, "mean_age_months": 0},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> states_at(small, months=[1], read=single, draws=1)[1][0, CUSTOMERS, :, 0].tolist()
    [0.0, 9.0]
    """
    kept = dict.fromkeys(months)
    run(scenario, read=read, draws=draws, pooled=pooled, keep=kept)
    return kept
