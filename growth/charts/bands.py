"""A band around a line: how far the truth may lie from it, nine in ten light and one in two darker."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import plotly.graph_objects as go

from growth.errors import MeasureError, Problem

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


def add_band(figure: go.Figure, x: np.ndarray, band: LineBand) -> None:
    """Draw a band on a figure, below what is drawn after it, and say in a corner what it is.

    Parameters
    ----------
    figure
        Changed in place.
    x
        Where the line's points are, shape (points,).
    band
        Of as many points.

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
    for (low, high), name, tint in zip((band.nine_in_ten, band.one_in_two), ("9 in 10", "1 in 2"), _TINTS, strict=True):
        edge = {"x": x, "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
        figure.add_scatter(**edge, y=low, name=f"{name}, low")
        figure.add_scatter(**edge, y=high, name=name, fill="tonexty", fillcolor=tint)
    key = "  ".join(
        f"<span style='color:{tint}'>■</span> {name}" for name, tint in zip(("9 in 10", "1 in 2"), _TINTS, strict=True)
    )
    text = f"{key}: {band.rests_on}"
    corner = {"x": 1, "y": 1.02, "xref": "paper", "yref": "paper", "xanchor": "right", "yanchor": "bottom"}
    figure.add_annotation(text=text, showarrow=False, **corner)
