"""Plotly figures of a forecast, for the notebooks, in the workbook's own sober look.

Every figure takes a Forecast without draws and gives a plotly Figure. What gains is blue, what is lost is ochre and hatched, so
that the two are told apart without colour; labels stand on the lines, there is no legend.
"""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go
import plotly.io as pio

from growth.engine import Forecast
from growth.errors import MeasureError, Problem
from growth.measures import goal_month, growth_ceiling

INK, FAINT, PAPER = "#2b2722", "#8a8175", "#fbf7ef"
GAIN, LOSS, GOAL = "#1f5f8b", "#b5651d", "#5b4a8a"
SHADES = [[0.0, "#f3ede1"], [0.35, "#b9cfdd"], [0.7, "#5b8fb3"], [1.0, "#123f5e"]]


def use_in_notebooks() -> None:
    """Figures as data that JupyterLab draws itself: a saved notebook holds no chart library, and no row of buttons shows."""
    pio.renderers.default = "plotly_mimetype"
    pio.renderers["plotly_mimetype"].config = {"displayModeBar": False, "responsive": True}


def mrr_chart(forecast: Forecast) -> go.Figure:
    """MRR at the close of each month, from month 0, with the goal and the growth ceiling as labelled lines."""
    _single(forecast)
    money = forecast.scenario.currency
    figure = _figure("MRR by month", f"{money} a month")
    mrr = [forecast.opening_mrr[0], *forecast.closing_mrr]
    figure.add_scatter(x=_months(forecast, opening=True), y=mrr, line={"color": GAIN, "width": 3}, hovertemplate="%{x|%b %Y}: %{y:,.0f}")
    ceiling = growth_ceiling(forecast).value
    for level, name, colour in ((forecast.scenario.goal_mrr, "goal", GOAL), (ceiling, "ceiling", INK)):
        if level is not None and level <= 3 * max(mrr):
            figure.add_hline(y=level, line={"color": colour, "width": 1, "dash": "dash"},
                             annotation={"text": f"{name} {level:,.0f}", "font": {"color": colour}}, annotation_position="top left")
    reached = goal_month(forecast).value
    if reached:
        figure.add_scatter(x=[_months(forecast)[reached - 1]], y=[mrr[reached]], mode="markers+text", text=[f"month {reached}"],
                           textposition="bottom right", marker={"color": GOAL, "size": 9}, textfont={"color": GOAL}, hoverinfo="skip")
    figure.update_yaxes(rangemode="tozero")
    return figure


def bridge_chart(forecast: Forecast) -> go.Figure:
    """What came in above the line, what was lost below it, month by month, with the net as dots."""
    _single(forecast)
    figure = _figure("The month's bridge", f"{forecast.scenario.currency} of MRR")
    months = _months(forecast)
    parts = (
        ("new", forecast.new_mrr, GAIN, ""),
        ("came back", forecast.reactivation_mrr, "#4f86ab", "."),
        ("expansion", forecast.expansion_mrr, "#8fb4cc", "x"),
        ("contraction", -forecast.contraction_mrr, "#d9a066", "\\"),
        ("churned", -forecast.churned_mrr, LOSS, "/"),
    )
    labels = []
    base = {True: 0.0, False: 0.0}
    for name, values, colour, pattern in parts:
        if not np.any(values):
            continue
        figure.add_bar(x=months, y=values, name=name, marker={"color": colour, "pattern": {"shape": pattern, "fgcolor": PAPER, "fillmode": "overlay"}},
                       hovertemplate=f"{name} %{{y:,.0f}}")
        gain = bool(values[-1] >= 0)
        labels.append((base[gain] + values[-1] / 2, name, colour))
        base[gain] += values[-1]
    net = forecast.closing_mrr - forecast.opening_mrr
    figure.add_scatter(x=months, y=net, mode="markers", marker={"color": INK, "size": 5}, hovertemplate="net %{y:,.0f}")
    for height, name, colour in _spread(labels, gap=(sum(abs(v) for v in base.values()) or 1) / 14):
        figure.add_annotation(x=1.01, xref="paper", y=height, text=name, showarrow=False, xanchor="left", font={"color": colour})
    figure.update_layout(barmode="relative", bargap=0.15, margin={"r": 100})
    return figure


def cohort_chart(forecast: Forecast, *, what: str = "mrr") -> go.Figure:
    """Customers or MRR in layers by the time of joining: the opening customers at the bottom, then each half-year's.

    what: "mrr" or "customers".
    """
    _single(forecast)
    values = {"mrr": forecast.cohort_mrr, "customers": forecast.cohort_customers}.get(what)
    if values is None:
        raise MeasureError([Problem("what", 'one of "mrr", "customers"', repr(what))])
    unit = "customers" if what == "customers" else f"{forecast.scenario.currency} a month"
    figure = _figure(f"{'MRR' if what == 'mrr' else 'Customers'} by when they joined", unit)
    opening = values.shape[1] - forecast.months
    groups = [("today's customers", values[:, :opening].sum(axis=1))] if opening and values[:, :opening].any() else []
    for start in range(0, forecast.months, 6):
        last = min(start + 6, forecast.months)
        groups.append((f"joined in months {start + 1}–{last}", values[:, opening + start : opening + last].sum(axis=1)))
    for index, (name, layer) in enumerate(groups):
        colour = "#c9b48f" if name.startswith("today") else _shade(index / max(len(groups) - 1, 1))
        figure.add_scatter(x=_months(forecast), y=layer, stackgroup="all", name=name, mode="lines", fillcolor=colour,
                           line={"width": 0.6, "color": PAPER}, hovertemplate=name + ": %{y:,.1f}")
    top = 0.0
    room = sum(layer[-1] for _, layer in groups) / 16
    labels = []
    for name, layer in groups:
        labels.append((top + layer[-1] / 2, name, INK))
        top += layer[-1]
    for height, name, colour in _spread([label for label, (_, layer) in zip(labels, groups, strict=True) if layer[-1] > room / 2], room):
        figure.add_annotation(x=1.01, xref="paper", y=height, text=name, showarrow=False, xanchor="left", font={"color": colour, "size": 12})
    figure.update_layout(margin={"r": 160})
    return figure


def retention_triangle(forecast: Forecast, *, what: str = "customers") -> go.Figure:
    """The share of each cohort still there (or of its first MRR still paid) by age: one row a joining month.

    what: "customers" or "mrr". Cohorts that nobody joined are left blank.
    """
    _single(forecast)
    values = {"mrr": forecast.cohort_mrr, "customers": forecast.cohort_customers}.get(what)
    if values is None:
        raise MeasureError([Problem("what", 'one of "mrr", "customers"', repr(what))])
    months, opening = forecast.months, values.shape[1] - forecast.months
    shares = np.full((months, months), np.nan)
    for joined in range(months):
        column = values[joined:, opening + joined]
        if column[0] > 0:
            shares[joined, : months - joined] = column / column[0]
    title = "Share of each cohort still on board" if what == "customers" else "Share of each cohort's first MRR still paid"
    figure = _figure(title, "joined in")
    figure.add_heatmap(z=shares, x=np.arange(months), y=[f"{month:%b %Y}" for month in _months(forecast).astype(object)],
                       colorscale=SHADES, zmin=0, zmax=max(1.0, float(np.nanmax(shares, initial=0))), xgap=1, ygap=1,
                       colorbar={"tickformat": ".0%", "outlinewidth": 0, "thickness": 12},
                       hovertemplate="joined %{y}, age %{x} months: %{z:.1%}<extra></extra>")
    figure.update_xaxes(title="age in months", showgrid=False)
    figure.update_yaxes(autorange="reversed", showgrid=False, nticks=14)
    figure.update_layout(margin={"l": 90})
    return figure


def cash_chart(forecast: Forecast) -> go.Figure:
    """Cash at the close of each month from month 0, with its lowest point marked."""
    _single(forecast)
    figure = _figure("Cash", forecast.scenario.currency)
    cash = [forecast.scenario.bill.opening_cash, *forecast.cash]
    when, low = _months(forecast, opening=True), int(np.argmin(cash))
    figure.add_scatter(x=when, y=cash, line={"color": GAIN, "width": 3}, hovertemplate="%{x|%b %Y}: %{y:,.0f}")
    figure.add_scatter(x=[when[low]], y=[cash[low]], mode="markers+text", text=[f"lowest: {cash[low]:,.0f}"], textposition="top right",
                       marker={"color": LOSS, "size": 9}, textfont={"color": LOSS}, hoverinfo="skip")
    figure.add_hline(y=0, line={"color": INK, "width": 1})
    return figure


def comparison_chart(forecasts: dict[str, Forecast]) -> go.Figure:
    """MRR by month since the opening of several scenarios, each labelled at its end. Keys are the names shown."""
    figure = _figure("MRR side by side", "a month")
    dashes = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot"]
    ends = []
    for index, (name, forecast) in enumerate(forecasts.items()):
        _single(forecast)
        mrr = [forecast.opening_mrr[0], *forecast.closing_mrr]
        colour = [GAIN, LOSS, GOAL, INK][index % 4]
        figure.add_scatter(x=list(range(len(mrr))), y=mrr, name=name, line={"color": colour, "width": 2.5, "dash": dashes[index % 6]},
                           hovertemplate=name + ", month %{x}: %{y:,.0f}<extra></extra>")
        ends.append((mrr[-1], name, colour))
    for height, name, colour in _spread(ends, gap=max((end[0] for end in ends), default=1) / 14):
        figure.add_annotation(x=1.01, xref="paper", y=height, text=name, showarrow=False, xanchor="left", font={"color": colour})
    figure.update_xaxes(title="month", tickformat="d")
    figure.update_layout(margin={"r": 180})
    return figure


def _figure(title: str, unit: str) -> go.Figure:
    figure = go.Figure()
    figure.update_layout(
        template="none",
        title={"text": f"{title} <span style='font-size:13px;color:{FAINT}'>({unit})</span>", "x": 0, "xanchor": "left", "font": {"size": 17}},
        font={"family": "system-ui, 'Segoe UI', 'Noto Sans', sans-serif", "size": 13, "color": INK},
        paper_bgcolor=PAPER, plot_bgcolor=PAPER, showlegend=False, hovermode="x", height=380,
        modebar={"remove": ["zoom", "pan", "select", "lasso", "zoomin", "zoomout", "autoscale", "resetscale", "toimage", "logo"]},
        margin={"l": 70, "r": 30, "t": 56, "b": 44},
    )
    figure.update_xaxes(showgrid=False, linecolor=FAINT, ticks="outside", tickcolor=FAINT)
    figure.update_yaxes(gridcolor="#e6dece", zerolinecolor=INK, zerolinewidth=1, separatethousands=True)
    return figure


def _months(forecast: Forecast, *, opening: bool = False) -> np.ndarray:
    first = np.datetime64(forecast.scenario.first_month)
    return np.arange(first - opening, first + forecast.months)


def _spread(labels: list[tuple[float, str, str]], gap: float) -> list[tuple[float, str, str]]:
    """Labels moved up where they would stand closer than `gap`."""
    placed: list[tuple[float, str, str]] = []
    for height, name, colour in sorted(labels):
        if placed and height - placed[-1][0] < gap:
            height = placed[-1][0] + gap
        placed.append((height, name, colour))
    return placed


def _shade(position: float) -> str:
    low, high = np.array([0x8F, 0xB4, 0xCC]), np.array([0x12, 0x3F, 0x5E])
    red, green, blue = (int(value) for value in low + position * (high - low))
    return f"rgb({red},{green},{blue})"


def _single(forecast: Forecast) -> None:
    if forecast.scenario.draws is not None:
        raise MeasureError([Problem("forecast", "one scenario: a figure draws no arrays over draws", f"{forecast.scenario.draws} draws")])
