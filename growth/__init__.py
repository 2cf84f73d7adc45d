"""A growth forecasting workbook for subscription software.

>>> import growth
>>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]}, months=3)
>>> growth.forecast(scenario).new_customers.round(6).tolist()
[10.0, 10.0, 10.0]
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # so that an editor knows what each name is; at run time each is imported when first asked for
    from growth.comparison import Comparison, compare
    from growth.engine import Forecast, forecast
    from growth.errors import GrowthError, MeasureError, PublishError, ScenarioError
    from growth.goals import levers, solve
    from growth.scenario import Scenario
    from growth.scenario.file import load_scenario, save_scenario
    from growth.table import table_of_measures, to_frame
    from growth.uncertainty import sample, spread_of

__version__ = "0.1.0"

_HOMES = {
    "Comparison": "growth.comparison",
    "Forecast": "growth.engine",
    "GrowthError": "growth.errors",
    "MeasureError": "growth.errors",
    "PublishError": "growth.errors",
    "Scenario": "growth.scenario",
    "ScenarioError": "growth.errors",
    "compare": "growth.comparison",
    "forecast": "growth.engine",
    "levers": "growth.goals",
    "load_scenario": "growth.scenario.file",
    "sample": "growth.uncertainty",
    "save_scenario": "growth.scenario.file",
    "solve": "growth.goals",
    "spread_of": "growth.uncertainty",
    "table_of_measures": "growth.table",
    "to_frame": "growth.table",
}

__all__ = [
    "Comparison",
    "Forecast",
    "GrowthError",
    "MeasureError",
    "PublishError",
    "Scenario",
    "ScenarioError",
    "compare",
    "forecast",
    "levers",
    "load_scenario",
    "sample",
    "save_scenario",
    "solve",
    "spread_of",
    "table_of_measures",
    "to_frame",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
