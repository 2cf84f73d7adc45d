"""Bars beside names: how much each of several things does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import GAIN, LOSS, hover, sheet

_ROOM = 0.14  # of the axis


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
    figure.add_bar(
        x=values,
        y=list(names)[::-1],
        orientation="h",
        marker={"color": [GAIN if value >= 0 else LOSS for value in values]},
        text=[f"{value:+.1%}" for value in values],
        textposition="outside",
        cliponaxis=False,
        hovertemplate=hover("%{y}: %{x:+.1%}"),
    )
    figure.update_xaxes(tickformat="+.0%", zeroline=True)
    low, high = (float(end(values, initial=0.0, where=np.isfinite(values))) for end in (np.min, np.max))
    if low < 0:  # room for what is written left of a bar, which would stand on the names
        figure.update_xaxes(range=[low - _ROOM * (high - low), high])
    figure.update_yaxes(automargin=True)
    figure.update_layout(showlegend=False, height=90 + 34 * len(values), margin={"r": 60})
    return figure
