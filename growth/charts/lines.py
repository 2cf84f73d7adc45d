"""Money over time as lines: MRR with its goal and ceiling, cash with its lowest point, scenarios side by side."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import (
    GAIN,
    GOAL,
    INK,
    LINES,
    LOSS,
    PAPER,
    Label,
    figure_of,
    hover,
    label_beside,
    months_of,
    one_scenario,
    sheet,
)
from growth.engine import Forecast
from growth.errors import MeasureError, Problem
from growth.measures import goal_month, growth_ceiling, lowest_cash, lowest_cash_month

_CURVE = {"mode": "lines", "line": {"color": GAIN, "width": 3}, "hovertemplate": hover("%{x|%b %Y}: %{y:,.0f}")}
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
_LONGEST_NAME = 28  # characters of a name beside a figure


def mrr_chart(forecast: Forecast) -> go.Figure:
    """MRR at the close of each month, from month 0, with the goal and the growth ceiling as labelled lines.

    A line more than three times as high as MRR ever gets is left out, so that it does not flatten the curve.

    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=2, goal_mrr=100, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> figure = mrr_chart(growth.forecast(small))
    >>> [float(value) for value in figure.data[0].y]
    [80.0, 40.0, 20.0]
    >>> [note.text for note in figure.layout.annotations]
    ['goal 100', 'ceiling 0']
    """
    figure = figure_of(forecast, "MRR by month", f"{forecast.scenario.currency} a month")
    when, mrr = months_of(forecast, opening=True), [forecast.opening_mrr[0], *forecast.closing_mrr]
    figure.add_scatter(x=when, y=mrr, **_CURVE)
    levels = [(forecast.scenario.goal_mrr, "goal", GOAL), (growth_ceiling(forecast).value, "ceiling", INK)]
    # to twelve digits: the last ones of a ceiling change with the order in which a sum is made
    levels = [(float(f"{level:.12g}"), *rest) for level, *rest in levels if level is not None and level <= 3 * max(mrr)]
    room = max([*mrr, *(level for level, _, _ in levels)]) / LINES
    highest = np.inf
    for level, name, colour in sorted(levels, reverse=True):
        below = highest - level < room  # no room above it for its label
        highest = level
        left = abs(mrr[0] - level) >= abs(mrr[-1] - level)  # the label stands where the curve is farther away
        figure.add_hline(
            y=level,
            line={"color": colour, "width": 1, "dash": "dash"},
            annotation={
                "text": f"{name} {level:,.0f}",
                "font": {"color": colour},
                "bgcolor": PAPER,
                "xshift": 6 if left else -6,
            },
            annotation_position=f"{'bottom' if below else 'top'} {'left' if left else 'right'}",
        )
    reached = goal_month(forecast).value
    if reached:
        late = reached > 0.75 * forecast.months
        figure.add_scatter(
            x=[when[reached]],
            y=[mrr[reached]],
            mode="markers+text",
            text=[f"month {reached}"],
            textposition="top left" if late else "bottom right",  # a curve that rises past the goal is at neither
            marker={"color": GOAL, "size": 9},
            textfont={"color": GOAL},
            cliponaxis=False,
            hoverinfo="skip",
        )
    figure.update_yaxes(rangemode="tozero")
    return figure


def cash_chart(forecast: Forecast) -> go.Figure:
    """Cash at the close of each month from month 0 (the scenario's opening_cash), with its lowest point marked.

    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=2, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, bill={"monthly_fixed_costs": 100},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}})
    >>> figure = cash_chart(growth.forecast(small))
    >>> [float(value) for value in figure.data[0].y], figure.layout.annotations[0].text
    ([0.0, -20.0, -40.0], 'lowest: -40, month 2')
    """
    figure = figure_of(forecast, "Cash", forecast.scenario.currency)
    when, cash = months_of(forecast, opening=True), [forecast.scenario.bill.opening_cash, *forecast.cash]
    month, low = lowest_cash_month(forecast).value, lowest_cash(forecast).value
    figure.add_scatter(x=when, y=cash, **_CURVE)
    figure.add_scatter(
        x=[when[month]],
        y=[low],
        mode="markers",
        marker={"color": LOSS, "size": 9},
        cliponaxis=False,
        hoverinfo="skip",
    )
    # the label stands over the picture, at the end of a line up from the point: no curve passes above its own least
    bottom, top = min(0.0, low), max(0.0, *cash)
    edge = 0.06 * ((top - bottom) or 1.0)
    plumb = {"color": LOSS, "width": 1, "dash": "dot"}
    figure.add_shape(type="line", x0=when[month], x1=when[month], y0=low, y1=top + edge, line=plumb)
    figure.add_annotation(
        x=when[month],
        y=top + edge,
        yanchor="bottom",
        xanchor="left" if month <= forecast.months / 2 else "right",
        text=f"lowest: {low:,.0f}, {f'month {month}' if month else 'today'}",
        font={"color": LOSS},
        showarrow=False,
    )
    figure.update_yaxes(range=[bottom - edge, top + edge])
    figure.add_hline(y=0, line={"color": INK, "width": 1})
    return figure


def comparison_chart(forecasts: Mapping[str, Forecast]) -> go.Figure:
    """MRR by month since the opening of several scenarios, each labelled at its end.

    forecasts: name shown -> Forecast; MeasureError where there is none.

    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=1, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> [trace.name for trace in comparison_chart({"as it is": growth.forecast(small)}).data]
    ['as it is']
    """
    if not forecasts:
        raise MeasureError([Problem("forecasts", "at least one forecast, by the name to show", "none")])
    money = {forecast.scenario.currency for forecast in forecasts.values()}
    unit = f"{money.pop()} a month" if len(money) == 1 else "a month, each in its own currency"
    figure = sheet("MRR side by side", unit)
    ends: dict[int, list[Label]] = {}
    highest = 0.0
    for index, (name, forecast) in enumerate(forecasts.items()):
        one_scenario(forecast)
        mrr = [forecast.opening_mrr[0], *forecast.closing_mrr]
        colour = (GAIN, LOSS, GOAL, INK)[index % 4]
        figure.add_scatter(
            x=list(range(len(mrr))),
            y=mrr,
            name=name,
            mode="lines",
            line={"color": colour, "width": 2.5, "dash": _DASHES[index % len(_DASHES)]},
            hovertemplate=hover(name + ", month %{x}: %{y:,.0f}"),
        )
        ends.setdefault(forecast.months, []).append((mrr[-1], _short(name), colour))
        highest = max(highest, *mrr)
    for months, labels in ends.items():
        label_beside(figure, labels, low=0.0, high=highest, x=months)
    figure.update_xaxes(title_text="month", range=[0, max(ends)])
    figure.update_yaxes(rangemode="tozero")
    figure.update_layout(margin={"r": 40 + 7 * max(len(_short(name)) for name in forecasts)})
    return figure


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1].rstrip() + "…"
