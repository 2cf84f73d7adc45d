"""Figures of arrays and names: bars, and small multiples on one scale with heat maps or lines by month.

A grid has shape (rows, columns), NaN where there is nothing; a line holds the values of
months 0, 1, 2, ...
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from growth.charts.sheet import FAINT, GAIN, GOAL, INK, LOSS, apart, hover, sheet
from growth.errors import MeasureError, Problem

_DASHES = ("solid", "dash", "dot")
_ROOM = 0.14  # of the axis
_NAME = 36  # characters of a name in a row
_TINTS = [[0.0, "#f3ede1"], [1.0, "#8fb4cc"]]  # light enough for numbers in ink


def bars(names: Sequence[str], shares: Sequence[float], *, title: str, axis: str) -> go.Figure:
    """A horizontal bar for each name, the first on top, with its share written beside it.

    Parameters
    ----------
    names : the words beside the bars.
    shares : their lengths, as fractions; below zero to the left. One for each name.
    title, axis : the words above the figure and below its axis.

    Returns
    -------
    plotly.graph_objects.Figure

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


def heat_panels(
    grids: Mapping[str, np.ndarray],
    *,
    title: str,
    unit: str,
    rows: tuple[str, Sequence[str]],
    columns: tuple[str, Sequence[str]],
) -> go.Figure:
    """A heat map with its numbers in each panel, all on one scale: the darker, the more.

    Parameters
    ----------
    grids : name of the panel -> grid of shape (rows, columns).
    title, unit : shown above.
    rows, columns : the name of the axis, and a word for each row or column.

    Returns
    -------
    plotly.graph_objects.Figure

    Raises
    ------
    MeasureError
        There is no grid.

    Examples
    --------
    >>> figure = heat_panels({"as it is": np.array([[1.0, 2000.0]])}, title="MRR", unit="EUR", rows=("price", ["19"]),
    ...     columns=("churn", ["0.02", "0.03"]))
    >>> list(figure.data[0].text[0])
    ['1', '2,000']
    """
    figure, places = panels(title, unit, list(grids), beside=2, height=100 + 28 * len(rows[1]), room=90)
    levels = np.concatenate([grid.ravel() for grid in grids.values()])
    for (row, column), grid in zip(places, grids.values(), strict=True):
        figure.add_heatmap(
            z=grid,
            x=list(columns[1]),
            y=list(rows[1]),
            text=[["–" if np.isnan(value) else f"{value:,.0f}" for value in line] for line in grid],
            texttemplate="%{text}",
            colorscale=_TINTS,
            zmin=np.nanmin(levels),
            zmax=np.nanmax(levels),
            showscale=False,
            xgap=2,
            ygap=2,
            hovertemplate=hover(f"{rows[0]} %{{y}}, {columns[0]} %{{x}}: %{{text}}"),
            row=row,
            col=column,
        )
    figure.update_xaxes(type="category", title_text=columns[0], ticks="", linecolor="rgba(0,0,0,0)")
    figure.update_yaxes(type="category", title_text=rows[0], autorange="reversed", showgrid=False)
    figure.update_layout(hovermode="closest")
    return figure


def line_panels(lines: Mapping[str, Mapping[str, np.ndarray]], *, title: str, unit: str) -> go.Figure:
    """A few lines by month in each panel, labelled at their ends.

    Parameters
    ----------
    lines : name of the panel -> name of the line -> values of months 0, 1, 2, ...
    title, unit : shown above.

    Returns
    -------
    plotly.graph_objects.Figure

    Raises
    ------
    MeasureError
        There is no panel.

    Examples
    --------
    >>> figure = line_panels({"churn 0.02": {"19": np.array([1.0, 2.0])}}, title="MRR by month", unit="EUR")
    >>> [(trace.name, trace.y.tolist()) for trace in figure.data]
    [('19', [1.0, 2.0])]
    """
    figure, places = panels(title, unit, list(lines), beside=3, height=190, room=90)
    top = max((float(values.max()) for part in lines.values() for values in part.values()), default=0.0) or 1.0
    for (row, column), part in zip(places, lines.values(), strict=True):
        ends = []
        for index, (name, values) in enumerate(part.items()):
            colour = (GAIN, LOSS, GOAL)[index % 3]
            figure.add_scatter(
                x=np.arange(len(values)),
                y=values,
                name=name,
                mode="lines",
                line={"color": colour, "width": 2, "dash": _DASHES[index % 3]},
                hovertemplate=hover(f"{name}, month %{{x}}: %{{y:,.0f}}"),
                row=row,
                col=column,
            )
            ends.append((float(values[-1]), name, colour))
        last = max((len(values) - 1 for values in part.values()), default=0)
        for height, name, colour in apart(ends, gap=top / 9, top=top):
            figure.add_annotation(
                x=last,
                y=height,
                text=name,
                font={"color": colour, "size": 12},
                xanchor="left",
                xshift=4,
                showarrow=False,
                row=row,
                col=column,
            )
    figure.update_yaxes(range=[0, 1.05 * top], nticks=4)
    months = max((len(values) - 1 for part in lines.values() for values in part.values()), default=1)
    figure.update_xaxes(nticks=5, range=[0, months], title_text="month")
    return figure


def panels(
    title: str, unit: str, names: list[str], *, beside: int, height: int, room: int
) -> tuple[go.Figure, list[tuple[int, int]]]:
    """A sheet of empty panels with their names above them.

    Parameters
    ----------
    title, unit : of the sheet.
    names : of the panels.
    beside : panels in a row, at most.
    height, room : of a row of panels, and of the space between two rows, in pixels.

    Returns
    -------
    figure, places
        The figure, and each panel's row and column, from 1.

    Raises
    ------
    MeasureError
        There is no name.

    Examples
    --------
    >>> panels("MRR by month", "EUR", ["one", "two", "three"], beside=2, height=200, room=90)[1]
    [(1, 1), (1, 2), (2, 1)]
    """
    if not names:
        raise MeasureError([Problem("panels", "at least one, by the name to show", "none")])
    across = min(beside, len(names))
    down = -(-len(names) // across)
    whole = down * height + (down - 1) * room + 120
    grid = make_subplots(
        rows=down,
        cols=across,
        subplot_titles=names,
        horizontal_spacing=0.12,
        vertical_spacing=room / (down * height + (down - 1) * room) if down > 1 else 0,
    )
    figure = sheet(title, unit, grid)
    figure.update_annotations(font={"color": INK, "size": 13})
    figure.update_layout(height=whole, margin={"l": 70, "r": 60, "t": 90, "b": 50})
    for axes in (figure.update_xaxes, figure.update_yaxes):
        axes(zeroline=False, title_font={"size": 12, "color": FAINT}, tickfont={"size": 12})
    return figure, [(index // across + 1, index % across + 1) for index in range(len(names))]
