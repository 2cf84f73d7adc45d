"""Bars: the MRR bridge of each month, and how much each of several things does."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import GAIN, INK, LOSS, PAPER, Label, figure_of, hover, keyed, label_beside, months_of, sheet
from growth.engine import Forecast

_ROOM = 0.14  # of the axis
_NAME = 36  # characters of a name in a row


def bars(names: Sequence[str], shares: Sequence[float], *, title: str, axis: str) -> go.Figure:
    """A horizontal bar for each name, the first on top, with its share written beside it.

    Parameters
    ----------
    names : the words beside the bars.
    shares : their lengths, as fractions; below zero to the left. One for each name.
    title, axis : the words above the figure and below its axis.

    Examples
    --------
    >>> figure = bars(["visitors", "churn"], [0.09, 0.06], title="A tenth better", axis="change")
    >>> list(figure.data[0].y), [round(x, 2) for x in figure.data[0].x]
    (['churn', 'visitors'], [0.06, 0.09])
    """
    figure = sheet(title, axis)
    values = list(shares)[::-1]
    wrapped = ["<br>".join(wrap(name, _NAME) or [""]) for name in names]
    figure.add_bar(
        x=values,
        y=wrapped[::-1],
        orientation="h",
        marker={"color": [GAIN if value >= 0 else LOSS for value in values]},
        text=[f"{value:+.1%}" for value in values],
        textposition="outside",
        cliponaxis=False,
        hovertemplate=hover("%{y}: %{x:+.1%}"),
    )
    figure.update_xaxes(tickformat="+.0%", zeroline=True)
    low, high = (float(end(values, initial=0.0, where=np.isfinite(values))) for end in (np.min, np.max))
    room = _ROOM * (high - low)  # for what is written beside a bar: it would stand on the names, or leave the figure
    if room:
        figure.update_xaxes(range=[low - room if low < 0 else 0, high + room if high > 0 else 0])
    figure.update_yaxes(automargin=True)
    figure.update_layout(showlegend=False, height=90 + sum(16 + 18 * (1 + name.count("<br>")) for name in wrapped))
    return figure


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
