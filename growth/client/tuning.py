"""What stands around the calculator in its notebook: a library to start from, pictures that follow the sliders."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd
import plotly.io as pio

from growth.calculator import Calculator
from growth.charts import (
    band_of,
    bridge_chart,
    cash_chart,
    cohort_chart,
    comparison_chart,
    mrr_chart,
    retention_triangle,
    use_in_notebooks,
)
from growth.engine import forecast
from growth.scenario.file import load_scenario
from growth.table import table_of_measures


class Tuning:
    """A calculator with a library of businesses to start from and to set beside the tuned one.

    Parameters
    ----------
    scenario
        A scenario file, or the mapping that papermill hands in.
    keep_as
        Where "Keep these numbers" writes them.
    library
        A folder of scenario files.

    Attributes
    ----------
    calculator
        The calculator; its `scenario` is always the tuned one.
    """

    def __init__(self, scenario: Any, keep_as: str | Path, *, library: str | Path = "../scenarios") -> None:
        use_in_notebooks()
        self._given = scenario
        files = sorted(Path(library).glob("*.yaml"))
        self._library = {path.stem: path for path in files if "\nscenario:" in path.read_text("utf-8")}
        self.calculator = Calculator(scenario, path=keep_as)

    def choice(self) -> widgets.VBox:
        """A list of the library's businesses, and what the chosen one teaches."""
        chosen = widgets.Dropdown(
            options=["(as given)", *self._library], description="Start from", layout={"width": "24rem"}
        )
        lesson = widgets.HTML()

        def tell() -> None:
            lesson.value = f'<p style="max-width: 46rem">{escape(self.calculator.scenario.teaches)}</p>'

        def start(change: dict[str, Any]) -> None:
            self.calculator.scenario = self._library.get(change["new"], self._given)
            tell()

        tell()
        chosen.observe(start, "value")
        return widgets.VBox([chosen, lesson])

    def pictures(self) -> widgets.Output:
        """The pictures and the measures of the tuned scenario; they follow the sliders."""

        def drawn() -> list[Any]:
            tuned = forecast(self.calculator.scenario)
            money = [mrr_chart(tuned, band=band_of(tuned)), bridge_chart(tuned)]
            kept = [cohort_chart(tuned), retention_triangle(tuned), cash_chart(tuned)]
            return [*money, *kept, table_of_measures(tuned)]

        return self._following(drawn)

    def side_by_side(self) -> widgets.VBox:
        """The picked businesses beside the tuned one, as a picture and a table."""
        names = list(self._library)
        picked = widgets.SelectMultiple(options=names, value=names[:3], rows=min(len(names), 8), description="Compare")

        def drawn() -> list[Any]:
            forecasts = {name: forecast(load_scenario(self._library[name])) for name in picked.value}
            forecasts = {"tuned": forecast(self.calculator.scenario), **forecasts}
            measures = {name: table_of_measures(one)["value"] for name, one in forecasts.items()}
            return [comparison_chart(forecasts), pd.concat(measures, axis=1)]

        return widgets.VBox([picked, self._following(drawn, picked)])

    def _following(self, drawn: Callable[[], list[Any]], *also: widgets.Widget) -> widgets.Output:
        """A place that shows what is drawn now, and anew when the tuned scenario or another widget's value changes.

        Its outputs are set at once, so that nothing flickers.
        """
        place = widgets.Output()

        def again(_change: object = None) -> None:
            place.outputs = tuple(output_of(one) for one in drawn())

        self.calculator.observe(again, "scenario")
        for one in also:
            one.observe(again, "value")
        again()
        return place


def output_of(shown: Any) -> dict[str, Any]:
    """A Plotly figure, a pandas frame or HTML as what an output widget shows. It is set as the widget's value: one that
    captures what a cell prints keeps nbconvert waiting."""
    if isinstance(shown, str):
        data = {"text/html": shown, "text/plain": shown}
    elif isinstance(shown, pd.DataFrame):
        data = {"text/html": shown.to_html(), "text/plain": str(shown)}
    else:
        data = pio.renderers["plotly_mimetype"].to_mimebundle(shown.to_dict())
    return {"output_type": "display_data", "data": data, "metadata": {}}
