"""Cohorts as figures: who is on board, by month of joining, and how much of each cohort is left."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import (
    INK,
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
    one_scenario,
    shade,
)
from growth.engine import Forecast
from growth.errors import MeasureError, Problem


def cohort_chart(forecast: Forecast, *, what: str = "mrr") -> go.Figure:
    """Customers or MRR as layers by time of joining: today's customers at the bottom, then a layer for each half-year.

    Parameters
    ----------
    forecast : without draws. Longer than five years, it has a layer for each year.
    what : "mrr" or "customers".

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
    values, opening = _cohorts(forecast, what)
    unit = "customers" if what == "customers" else f"{forecast.scenario.currency} a month"
    figure = figure_of(forecast, f"{'MRR' if what == 'mrr' else 'Customers'} by when they joined", unit)
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
    values, opening = _cohorts(forecast, what)
    title = "of each cohort still on board" if what == "customers" else "of each cohort's first MRR still paid"
    figure = figure_of(forecast, f"Share {title}", "a row for each month of joining")
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
    one_scenario(forecast)
    if what not in ("mrr", "customers"):
        raise MeasureError([Problem("what", 'one of "mrr", "customers"', repr(what))])
    values = forecast.cohort_mrr if what == "mrr" else forecast.cohort_customers
    return values, values.shape[1] - forecast.months
