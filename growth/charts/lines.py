"""Money over time as lines: MRR with its goal and ceiling, cash with its lowest point, scenarios side by side."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import plotly.graph_objects as go

from growth.charts.bands import LineBand, add_band
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


def mrr_chart(forecast: Forecast, *, band: LineBand | None = None) -> go.Figure:
    """MRR at the close of each month, from month 0, with the goal and the growth ceiling as labelled lines.

    A goal or ceiling more than three times as high as MRR ever gets is left out: it would flatten the curve.

    Parameters
    ----------
    forecast : without draws.
    band : drawn around the line, months 0 to T: T + 1 points.

    Returns
    -------
    plotly.graph_objects.Figure

    Raises
    ------
    MeasureError
        The forecast has draws, or the band another number of points.

    Examples
    --------
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
    when, mrr = months_of(forecast, opening=True), [float(forecast.opening_mrr[0]), *forecast.closing_mrr.tolist()]
    highest_mrr = max([*mrr, *([band.top] if band is not None else [])])
    levels: list[Label] = []
    for found, name, colour in (
        (forecast.scenario.goal_mrr, "goal", GOAL),
        (growth_ceiling(forecast).value, "ceiling", INK),
    ):
        if found is not None and float(found) <= 3 * highest_mrr:
            # to twelve digits: the last ones of a ceiling depend on the order of its sums
            levels.append((float(f"{float(found):.12g}"), name, colour))
    top = max([highest_mrr, *(level for level, _, _ in levels)])
    if band is not None:
        add_band(figure, when, band, top=top)
    figure.add_scatter(x=when, y=mrr, **_CURVE)
    room = top / LINES
    highest = np.inf
    for level, name, colour in sorted(levels, reverse=True):
        below = highest - level < room  # no room above it for its label
        highest = level
        left = abs(mrr[0] - level) >= abs(mrr[-1] - level)  # the label goes where the curve is farther away
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
    reached = int(goal_month(forecast).value or 0)
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


def cash_chart(forecast: Forecast, *, band: LineBand | None = None) -> go.Figure:
    """Cash at the close of each month from month 0, the scenario's opening_cash, with its lowest point marked.

    Parameters
    ----------
    forecast : without draws.
    band : drawn around the line, months 0 to T: T + 1 points.

    Returns
    -------
    plotly.graph_objects.Figure

    Raises
    ------
    MeasureError
        The forecast has draws, or the band another number of points.

    Examples
    --------
    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=2, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, bill={"monthly_fixed_costs": 100},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}})
    >>> figure = cash_chart(growth.forecast(small))
    >>> [float(value) for value in figure.data[0].y], figure.layout.annotations[0].text
    ([0.0, -20.0, -40.0], 'lowest: -40, month 2')
    """
    figure = figure_of(forecast, "Cash", forecast.scenario.currency)
    opening = float(forecast.scenario.bill.opening_cash)
    when, cash = months_of(forecast, opening=True), [opening, *forecast.cash.tolist()]
    month, low = int(lowest_cash_month(forecast).value or 0), float(lowest_cash(forecast).value or 0.0)
    if band is not None:
        add_band(figure, when, band)
    figure.add_scatter(x=when, y=cash, **_CURVE)
    figure.add_scatter(
        x=[when[month]],
        y=[low],
        mode="markers",
        marker={"color": LOSS, "size": 9},
        cliponaxis=False,
        hoverinfo="skip",
    )
    # the label stands above the curve, at the end of a line up from the point, where nothing is in its way
    bottom, top = min(0.0, low), max(0.0, *cash)
    if band is not None:
        bottom, top = min(bottom, band.bottom), max(top, band.top)
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

    Parameters
    ----------
    forecasts : name to show -> Forecast, without draws.

    Returns
    -------
    plotly.graph_objects.Figure

    Raises
    ------
    MeasureError
        There is no forecast, or one has draws.

    Examples
    --------
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
    labels: list[Label] = []
    longest, highest = max(forecast.months for forecast in forecasts.values()), 0.0
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
        words, end = _short(name), float(mrr[-1])
        if forecast.months < longest:  # beside the plot as well, where its label lies on no line
            words += f", to month {forecast.months}"
            lead = {"color": colour, "width": 1, "dash": "dot"}
            figure.add_shape(type="line", x0=forecast.months, x1=longest, y0=end, y1=end, line=lead, opacity=0.5)
        labels.append((end, words, colour))
        highest = max(highest, *mrr)
    label_beside(figure, labels, low=0.0, high=highest)
    figure.update_xaxes(title_text="month", range=[0, longest])
    figure.update_yaxes(rangemode="tozero")
    figure.update_layout(margin={"r": 40 + 7 * max(len(words) for _, words, _ in labels)})
    return figure


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1].rstrip() + "…"
