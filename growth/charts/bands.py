"""A band around a line: how far the truth may lie from it, nine in ten light and one in two darker."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import plotly.graph_objects as go

from growth.charts.sheet import FAINT, GAIN, label_beside
from growth.engine import Forecast
from growth.errors import MeasureError, Problem
from growth.uncertainty import mixture_of, spread_of
from growth.uncertainty.sample import ranges_of

_SHARES = (0.05, 0.25, 0.75, 0.95)
_TINTS = ("#dfe6ea", "#b9cfdd")  # nine in ten, one in two; a line in GAIN and text in INK stand clear of both


@dataclass(frozen=True, slots=True, eq=False)
class LineBand:
    """Quantiles of what a line shows, at the points of the line.

    Parameters
    ----------
    nine_in_ten
        The 5% and the 95% quantile, each of shape (points,), in the line's unit.
    one_in_two
        The 25% and the 75% quantile, within the other two.
    rests_on
        What the band carries, such as "your ranges and chance". It is shown with the band.

    Raises
    ------
    MeasureError
        The quantiles differ in length, or are not in their order.

    Examples
    --------
    >>> band = LineBand(nine_in_ten=(np.array([1.0]), np.array([9.0])), one_in_two=(np.array([3.0]), np.array([6.0])),
    ...     rests_on="chance alone")
    >>> band.points
    1
    """

    nine_in_ten: tuple[np.ndarray, np.ndarray]
    one_in_two: tuple[np.ndarray, np.ndarray]
    rests_on: str

    def __post_init__(self) -> None:
        edges = (self.nine_in_ten[0], *self.one_in_two, self.nine_in_ten[1])
        if len({np.shape(edge) for edge in edges}) > 1:
            lengths = ", ".join(str(len(edge)) for edge in edges)
            raise MeasureError([Problem("band", "four quantiles of one length", lengths)])
        if any(np.any(low > high) for low, high in pairwise(edges)):
            raise MeasureError([Problem("band", "quantiles in their order: 5%, 25%, 75%, 95%", "another order")])

    @property
    def points(self) -> int:
        """How many points of the line it covers."""
        return len(self.nine_in_ten[0])

    @property
    def top(self) -> float:
        """The highest value of the band."""
        return float(np.max(self.nine_in_ten[1]))

    @property
    def bottom(self) -> float:
        """The lowest value of the band."""
        return float(np.min(self.nine_in_ten[0]))


def band_of(forecast: Forecast) -> LineBand:
    """The band of a forecast's MRR, from the ranges of its scenario and from chance.

    Parameters
    ----------
    forecast : without draws, its ranges count by the quick method of `growth.spread_of`. With draws, as `growth.sample`
        makes them, the draws and the chance within each of them do.

    Returns
    -------
    LineBand
        At months 0 to T, T + 1 points; at month 0 it is as narrow as what is known of today.

    Examples
    --------
    >>> import growth
    >>> small = growth.Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> band = band_of(growth.forecast(small))
    >>> [end.round(1).tolist() for end in band.nine_in_ten], band.rests_on
    ([[200.0, 109.6], [200.0, 198.8]], 'chance alone')
    """
    drawn = forecast.scenario.draws is not None
    found = mixture_of(forecast) if drawn else spread_of(forecast.scenario)
    today = np.quantile(np.atleast_2d(forecast.opening_mrr)[:, 0], _SHARES)
    low, lower, upper, high = (
        np.concatenate([[opening], found.quantile(share)]) for opening, share in zip(today, _SHARES, strict=True)
    )
    rests_on = "your ranges and chance" if drawn or ranges_of(forecast.scenario) else "chance alone"
    return LineBand((low, high), (lower, upper), rests_on)


def add_band(figure: go.Figure, x: np.ndarray, band: LineBand, *, top: float = 0.0) -> None:
    """Draw a band on a figure, below what is drawn after it, with its ends as labels and a caption of what it rests on.

    Parameters
    ----------
    figure : changed in place.
    x : where the line's points are, shape (points,).
    band : of as many points.
    top : the highest level that the figure also shows, such as a ceiling above the band.

    Raises
    ------
    MeasureError
        The band has another number of points than the line.

    Examples
    --------
    >>> figure = go.Figure()
    >>> low, high = np.array([1.0, 1.0]), np.array([2.0, 4.0])
    >>> add_band(figure, np.arange(2), LineBand((low, high), (low, high), "chance alone"))
    >>> [trace.name for trace in figure.data if trace.fill]
    ['9 in 10', '1 in 2']
    """
    if band.points != len(x):
        raise MeasureError([Problem("band", f"{len(x)} points, as the line has", str(band.points))])
    parts = ((band.nine_in_ten, "9 in 10"), (band.one_in_two, "1 in 2"))
    for ((low, high), name), tint in zip(parts, _TINTS, strict=True):
        edge = {"x": x, "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
        figure.add_scatter(**edge, y=_written(low), name=f"{name}, low")
        figure.add_scatter(**edge, y=_written(high), name=name, fill="tonexty", fillcolor=tint)
    ends = [(_written(high[-1:])[0], f"{_brief(high[-1])}, {name}", GAIN) for (_, high), name in parts]
    ends += [(_written(low[-1:])[0], _brief(low[-1]), GAIN) for (low, _), _ in parts]
    label_beside(figure, ends, low=min(0.0, band.bottom), high=max(band.top, top), x=x[-1])
    corner = {"x": 1, "y": 1.02, "xref": "paper", "yref": "paper", "xanchor": "right", "yanchor": "bottom"}
    text = f"9 in 10 and 1 in 2 cases; rests on {band.rests_on}"
    figure.add_annotation(text=text, font={"color": FAINT}, showarrow=False, **corner)
    figure.update_layout(margin={"r": 130})
    figure.update_xaxes(range=[x[0], x[-1]])  # so that the labels stand beside the plot


def _written(values: np.ndarray) -> list[float]:
    """To twelve digits: the last ones of a logarithm may differ between machines, and a saved notebook would too."""
    return [float(f"{value:.12g}") for value in values]


def _brief(value: float) -> str:
    """A number with no more digits than a band is good for: three."""
    return f"{float(f'{value:.3g}'):,.0f}" if abs(value) >= 100 else f"{value:,.3g}"
