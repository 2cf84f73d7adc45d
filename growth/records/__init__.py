"""From a business's own billing records to the assumptions of a scenario, each with its interval.

    rows = read_records("charges.csv")         # customers are numbers from here on
    measured = measure(spread_payments(rows))
    write_scenario(measured, "measured.yaml", business="Fernhollow Studio Planner")

What the records have to look like and how each number is measured stands in `records.md`, beside this file.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.records.backtest import RIVALS, Backtest, best, run_backtest, verdict
    from growth.records.bridge import Movements, Spells, bridge_frame, movements, spells, triangles
    from growth.records.churn_fit import Fit, fit_all, recommend
    from growth.records.estimate import measure
    from growth.records.forecast_band import ForecastBand, forecast_measured
    from growth.records.intervals import Rate
    from growth.records.joining import Joining
    from growth.records.measured import KindMeasures, Measured
    from growth.records.paid_months import PaidMonths, spread_payments
    from growth.records.read import (
        ColumnNames,
        RecordsError,
        Rows,
        Understood,
        load_columns,
        read_records,
        snapshot_table,
        understand,
    )
    from growth.records.report import markdown, notes, summary
    from growth.records.scenario_file import scenario_text, write_scenario
    from growth.records.survival import Misfit, RiskTable, Survival, kaplan_meier, misfit, risk_table, spell_risk
    from growth.records.to_scenario import CURVES

_MODULES = {
    "backtest": "Backtest RIVALS best run_backtest verdict",
    "bridge": "Movements Spells bridge_frame movements spells triangles",
    "churn_fit": "Fit fit_all recommend",
    "estimate": "measure",
    "forecast_band": "ForecastBand forecast_measured",
    "intervals": "Rate",
    "joining": "Joining",
    "measured": "KindMeasures Measured",
    "paid_months": "PaidMonths spread_payments",
    "read": "ColumnNames RecordsError Rows Understood load_columns read_records snapshot_table understand",
    "report": "markdown notes summary",
    "scenario_file": "scenario_text write_scenario",
    "survival": "Misfit RiskTable Survival kaplan_meier misfit risk_table spell_risk",
    "to_scenario": "CURVES",
}
_HOMES = {name: module for module, names in _MODULES.items() for name in names.split()}

__all__ = [
    "CURVES",
    "RIVALS",
    "Backtest",
    "ColumnNames",
    "Fit",
    "ForecastBand",
    "Joining",
    "KindMeasures",
    "Measured",
    "Misfit",
    "Movements",
    "PaidMonths",
    "Rate",
    "RecordsError",
    "RiskTable",
    "Rows",
    "Spells",
    "Survival",
    "Understood",
    "best",
    "bridge_frame",
    "fit_all",
    "forecast_measured",
    "kaplan_meier",
    "load_columns",
    "markdown",
    "measure",
    "misfit",
    "movements",
    "notes",
    "read_records",
    "recommend",
    "risk_table",
    "run_backtest",
    "scenario_text",
    "snapshot_table",
    "spell_risk",
    "spells",
    "spread_payments",
    "summary",
    "triangles",
    "understand",
    "verdict",
    "write_scenario",
]


def __getattr__(name: str) -> Any:
    """Load what is exported when it is first asked for, so that the command line starts without its libraries."""
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.records' has no attribute {name!r}")
    return getattr(import_module(f"growth.records.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
