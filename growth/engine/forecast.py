"""The forecast: every month of one scenario, or of all its draws.

Where numbers of the scenario are arrays over draws, the draws are taken in blocks small enough to stay in a processor's
cache, so that memory beyond the result does not grow with them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import Array, blocks, reader, single
from growth.engine.life import ageless
from growth.engine.result import Forecast
from growth.engine.run import run
from growth.engine.step import block_size

if TYPE_CHECKING:
    from growth.scenario import Scenario


def forecast(scenario: Scenario) -> Forecast:
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
    whole: dict[str, Array] = {}
    for block in blocks(draws, size=block_size(scenario, pooled=pooled)):
        for name, part in run(scenario, read=reader(block), draws=block.stop - block.start, pooled=pooled).items():
            if part.shape[-1] == 1 and draws > 1:
                whole.setdefault(name, part)  # the same in every draw
                continue
            if name not in whole:
                whole[name] = np.empty((*part.shape[:-1], draws))
            whole[name][..., block] = part
    return Forecast.of(scenario, whole, draws=draws)
