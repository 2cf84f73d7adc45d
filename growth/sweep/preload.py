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
    """Forecast, tabulate and draw once, as every report does."""
    import growth
    from growth import charts

    plans = [{"name": "one", "monthly_price": 1}]
    scenario = growth.load_scenario({"business": "rehearsal", "months": 12, "pay": {"plans": plans}})
    forecast = growth.forecast(scenario)
    growth.to_frame(forecast).to_html()
    growth.table_of_measures(forecast).to_html()
    charts.use_in_notebooks()
    for chart in (charts.mrr_chart, charts.bridge_chart, charts.cohort_chart, charts.cash_chart):
        chart(forecast).to_json()


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
