"""What the fork server imports before it forks: all that a report needs, used once so that first uses are over.

Named to `multiprocessing.set_forkserver_preload`; importing it does the work. Nothing else imports it.
"""

from __future__ import annotations

import builtins
import gc
from contextlib import suppress
from importlib import import_module
from types import SimpleNamespace

MODULES = (
    *("numpy", "pandas", "pydantic", "ruamel.yaml", "plotly.graph_objects", "plotly.io"),
    *("growth.engine", "growth.measures", "growth.table", "growth.charts", "growth.scenario.file"),
    *("ipykernel.kernelapp", "ipykernel.ipkernel", "ipykernel.zmqshell"),
    *("IPython.core.completer", "IPython.core.magics"),
    *("papermill.execute", "nbclient", "jupyter_client.asynchronous", "mistune"),
    *("growth.sweep.parallel_reports", "growth.sweep.notebook_page"),
)


def _rehearse() -> None:
    """Forecast and show once what a report shows."""
    import growth
    from growth import charts
    from growth.sweep import report_html

    unsure = {"low": 1, "likely": 2, "high": 3}
    plans = [{"name": "one", "monthly_price": unsure}]
    scenario = growth.load_scenario({"business": "rehearsal", "months": 12, "goal_mrr": 9, "pay": {"plans": plans}})
    forecast = growth.forecast(scenario)
    growth.to_frame(forecast).to_html()
    growth.table_of_measures(forecast).to_html()
    charts.use_in_notebooks()
    report_html.title(forecast, {})
    for piece in (report_html.mrr, report_html.in_and_out, report_html.cash):
        piece(forecast)._repr_mimebundle_()
    for table in (report_html.bridge_table, report_html.measures):
        table(forecast)
    charts.cohort_chart(forecast).to_json()


def _import_all() -> None:
    from growth.lazy import put_off_grammar

    put_off_grammar()
    # pandas asks for a shell as it is imported, and shows tables by the answer
    builtins.get_ipython = lambda: SimpleNamespace(kernel=True)  # type: ignore[attr-defined]
    for name in MODULES:
        with suppress(ImportError):
            import_module(name)
    del builtins.get_ipython  # type: ignore[attr-defined]
    with suppress(Exception):  # a report will say what is wrong
        _rehearse()
    gc.collect()
    gc.freeze()  # forked processes share these pages instead of copying them


_import_all()
