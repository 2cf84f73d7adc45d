"""Customers as figures: the month's bridge, who is on board by month of joining, how much of each cohort is left."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import (
    GAIN,
    INK,
    LOSS,
    PAPER,
    SAND,
    SHADES,
    Label,
    figure_of,
    hover,
    keyed,
    label_beside,
    months_of,
    note,
    shade,
)
from growth.engine import Forecast
from growth.errors import MeasureError, Problem

# name, series, sign, colour, pattern of its bars
MOVES = (
    ("new", "new_mrr", 1, GAIN, ""),
    ("came back", "reactivation_mrr", 1, "#4f86ab", "."),
    ("expansion", "expansion_mrr", 1, "#8fb4cc", "x"),
    ("contraction", "contraction_mrr", -1, "#d9a066", "\\"),
    ("churned", "churned_mrr", -1, LOSS, "/"),
)


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
    gains, losses = np.zeros(forecast.months), np.zeros(forecast.months)
    labels: list[Label] = []
    for name, series, sign, colour, pattern in MOVES:
        values = sign * getattr(forecast, series)
        if not np.any(values):
            continue
        hatched = {"shape": pattern, "fgcolor": PAPER, "fillmode": "overlay"}
        bar = {"color": colour, "pattern": hatched}
        figure.add_bar(x=months, y=values, name=name, marker=bar, hovertemplate=hover(f"{name} %{{y:,.0f}}"))
        pile, ink = (gains, GAIN) if sign > 0 else (losses, LOSS)
        labels.append((pile[-1] + values[-1] / 2, keyed(colour, name), ink))
        pile += values
    net = forecast.closing_mrr - forecast.opening_mrr
    dots = {"color": INK, "size": 7, "line": {"color": PAPER, "width": 1.5}}
    figure.add_scatter(x=months, y=net, name="net", mode="markers", marker=dots, hovertemplate=hover("net %{y:,.0f}"))
    labels.append((net[-1], "● net", INK))
    label_beside(figure, labels, low=losses.min(), high=gains.max())
    figure.update_layout(barmode="relative", bargap=0.15, margin={"r": 120})
    return figure


def cohort_chart(forecast: Forecast, *, what: str = "mrr") -> go.Figure:
    """Customers or MRR as layers by time of joining: today's customers at the bottom, then a layer for each half-year.

    Parameters
    ----------
    forecast : without draws. Longer than five years, it has a layer for each year.
    what : "mrr" or "customers".

    Returns
    -------
    plotly.graph_objects.Figure

    Raises
    ------
    MeasureError
        The forecast has draws, or `what` is something else.

    Examples
    --------
    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=2, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> {layer.name: layer.y.tolist() for layer in cohort_chart(growth.forecast(small)).data}
    {"today's customers": [40.0, 20.0], 'months 1 to 2': [0.0, 0.0]}
    """
    unit = "customers" if what == "customers" else f"{forecast.scenario.currency} a month"
    figure = figure_of(forecast, f"{'MRR' if what == 'mrr' else 'Customers'} by when they joined", unit)
    values, opening = _cohorts(forecast, what)
    layers = []
    if values[:, :opening].any():
        layers.append(("today's customers", values[:, :opening].sum(axis=1), SAND))
    width = 6 if forecast.months <= 60 else 12
    for start in range(0, forecast.months, width):
        last = min(start + width, forecast.months)
        when = f"months {start + 1} to {last}" if last > start + 1 else f"month {last}"
        colour = shade(start / max(forecast.months - 1 - (forecast.months - 1) % width, 1))
        layers.append((when, values[:, opening + start : opening + last].sum(axis=1), colour))
    labels: list[Label] = []
    top = np.zeros(forecast.months)
    for name, layer, colour in layers:
        figure.add_scatter(
            x=months_of(forecast),
            y=layer,
            stackgroup="all",
            name=name,
            mode="lines" if forecast.months > 1 else "markers",  # one month has no lines: a dot on top of each layer
            marker={"color": colour, "size": 9} if forecast.months == 1 else None,
            fillcolor=colour,
            line={"width": 0.6, "color": PAPER},
            hovertemplate=hover(f"{name} %{{y:,.1f}}"),
        )
        if layer.any():
            labels.append((top[-1] + layer[-1] / 2, keyed(colour, name), INK))
        top += layer
    label_beside(figure, labels, low=0.0, high=top.max())
    if not labels:
        note(figure, "nobody is on board in these months")
    figure.update_yaxes(rangemode="tozero")
    figure.update_layout(margin={"r": 165})
    return figure


def retention_triangle(forecast: Forecast, *, what: str = "customers") -> go.Figure:
    """The share of each cohort still on board, or of its first MRR still paid, by age: a row for each month of joining.

    Parameters
    ----------
    forecast : without draws.
    what : "customers" or "mrr".

    Returns
    -------
    plotly.graph_objects.Figure
        A heatmap of shape (months, ages). Empty cohorts and months beyond the forecast are NaN and left blank.

    Raises
    ------
    MeasureError
        The forecast has draws, or `what` is something else.

    Examples
    --------
    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=2,
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> retention_triangle(growth.forecast(small)).data[0].z.tolist()
    [[1.0, 0.75], [1.0, nan]]
    """
    title = "of each cohort still on board" if what == "customers" else "of each cohort's first MRR still paid"
    figure = figure_of(forecast, f"Share {title}", "a row for each month of joining")
    values, opening = _cohorts(forecast, what)
    months = forecast.months
    shares = np.full((months, months), np.nan)
    for joined in range(months):
        column = values[joined:, opening + joined]
        if column[0] > 0:
            shares[joined, : months - joined] = column / column[0]
    gap = 1 if months <= 36 else 0
    figure.add_heatmap(
        z=shares,
        x=np.arange(months),
        y=[f"{month:%b %Y}" for month in months_of(forecast).astype(object)],
        colorscale=SHADES,
        zmin=0,
        zmax=max(1.0, float(np.nanmax(shares, initial=0))),
        xgap=gap,
        ygap=gap,
        colorbar={"tickformat": ".0%", "outlinewidth": 0, "thickness": 12},
        hovertemplate=hover("joined %{y}, age %{x} months: %{z:.1%}"),
        hoverongaps=False,
    )
    if np.isnan(shares).all():
        note(figure, "nobody joins in these months")
    figure.update_xaxes(title_text="age in months", showgrid=False, zeroline=False, range=[-0.5, months - 0.5])
    figure.update_xaxes(tickformat="d", dtick=1 if months <= 12 else None)
    figure.update_yaxes(autorange="reversed", showgrid=False, nticks=14)
    return figure


def _cohorts(forecast: Forecast, what: str) -> tuple[np.ndarray, int]:
    """Customers or MRR by cohort, and how many of the columns are opening customers."""
    if what not in ("mrr", "customers"):
        raise MeasureError([Problem("what", 'one of "mrr", "customers"', repr(what))])
    values = forecast.cohort_mrr if what == "mrr" else forecast.cohort_customers
    return values, values.shape[1] - forecast.months
