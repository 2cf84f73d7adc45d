"""Customers and MRR by cohort at the end of given months."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import Array, Read, reader, single
from growth.engine.run import run
from growth.engine.step import CUSTOMERS, MRR

if TYPE_CHECKING:
    from growth.scenario import Scenario


def cohorts(scenario: Scenario) -> tuple[Array, Array]:
    """Customers and MRR by month and cohort.

    All draws are computed at once, so memory grows with their number.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    customers, mrr : array of shape (months, oldest + 1 + months), with (draws, ...) in front if there are draws
        Column j + oldest is the cohort that joins in month j, 0 until then; `oldest` is the largest opening age.

    Examples
    --------
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
