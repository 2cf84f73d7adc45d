"""The MRR bridge as a figure: what came in, what was lost, and the net of each month."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import GAIN, INK, LOSS, PAPER, Label, figure_of, hover, keyed, label_beside, months_of
from growth.engine import Forecast


def bridge_chart(forecast: Forecast) -> go.Figure:
    """Stacked bars for each month, gains above zero and losses below, with the net as dots.

    new + came back + expansion - contraction - churned = net, the change in MRR. A part that is 0 in every month is
    left out.

    Parameters
    ----------
    forecast : without draws.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace for each part, in the scenario's currency, and one called "net".

    Raises
    ------
    MeasureError
        The forecast has draws.

    Examples
    --------
    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=2, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> {trace.name: trace.y.tolist() for trace in bridge_chart(growth.forecast(small)).data}
    {'churned': [-40.0, -20.0], 'net': [-40.0, -20.0]}
    """
    figure = figure_of(forecast, "The month's bridge", f"{forecast.scenario.currency} of MRR")
    months = months_of(forecast)
    parts = (
        ("new", forecast.new_mrr, GAIN, ""),
        ("came back", forecast.reactivation_mrr, "#4f86ab", "."),
        ("expansion", forecast.expansion_mrr, "#8fb4cc", "x"),
        ("contraction", -forecast.contraction_mrr, "#d9a066", "\\"),
        ("churned", -forecast.churned_mrr, LOSS, "/"),
    )
    gains, losses = np.zeros(forecast.months), np.zeros(forecast.months)
    labels: list[Label] = []
    for name, values, colour, pattern in parts:
        if not np.any(values):
            continue
        hatched = {"shape": pattern, "fgcolor": PAPER, "fillmode": "overlay"}
        bar = {"color": colour, "pattern": hatched}
        figure.add_bar(x=months, y=values, name=name, marker=bar, hovertemplate=hover(f"{name} %{{y:,.0f}}"))
        gained = name in ("new", "came back", "expansion")
        pile = gains if gained else losses
        labels.append((pile[-1] + values[-1] / 2, keyed(colour, name), GAIN if gained else LOSS))
        pile += values
    net = forecast.closing_mrr - forecast.opening_mrr
    dots = {"color": INK, "size": 7, "line": {"color": PAPER, "width": 1.5}}
    figure.add_scatter(x=months, y=net, name="net", mode="markers", marker=dots, hovertemplate=hover("net %{y:,.0f}"))
    labels.append((net[-1], "● net", INK))
    label_beside(figure, labels, low=losses.min(), high=gains.max())
    figure.update_layout(barmode="relative", bargap=0.15, margin={"r": 120})
    return figure
