"""What the workbook's Plotly figures share: paper, inks and type, and labels that do not collide."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go
import plotly.io as pio

from growth.engine import Forecast
from growth.errors import MeasureError, Problem

INK, FAINT, PAPER = "#2b2722", "#6f675c", "#fbf7ef"  # text in INK, FAINT, GAIN, LOSS, GOAL: 4.5:1 or better on PAPER
GAIN, LOSS, GOAL = "#1f5f8b", "#a35a18", "#5b4a8a"
SAND = "#c9b48f"  # the customers there are today
SHADES = [[0.0, "#f3ede1"], [0.35, "#b9cfdd"], [0.7, "#5b8fb3"], [1.0, "#123f5e"]]
LINES = 16  # lines of text that fit one above the other beside a figure

Label = tuple[float, str, str]  # height, text, colour


def use_in_notebooks() -> None:
    """Show figures as data that JupyterLab draws itself, without buttons: a saved notebook holds no chart library.

    Examples
    --------
    >>> use_in_notebooks()
    >>> pio.renderers.default
    'plotly_mimetype'
    """
    pio.renderers.default = "plotly_mimetype"
    pio.renderers["plotly_mimetype"].config = {"displayModeBar": False, "responsive": True}


def sheet(title: str, unit: str = "", figure: go.Figure | None = None) -> go.Figure:
    """An empty figure in the workbook's look.

    title: shown above; unit: behind it in smaller letters. figure: the one to dress, with all its panels; None: a new
    one.

    >>> sheet("Cash", "EUR").layout.title.text.startswith("Cash <span")
    True
    """
    figure = go.Figure() if figure is None else figure
    subtitle = f" <span style='font-size:13px;color:{FAINT}'>({unit})</span>" if unit else ""
    buttons = "zoom pan select lasso zoomin zoomout autoscale resetscale toimage logo"
    figure.update_layout(
        template="none",
        title={"text": f"{title}{subtitle}", "x": 0.01, "xanchor": "left", "font": {"size": 17}},
        font={"family": "system-ui, 'Segoe UI', 'Noto Sans', sans-serif", "size": 13, "color": INK},
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        showlegend=False,
        hovermode="x",
        height=380,
        margin={"l": 70, "r": 30, "t": 64, "b": 48},
        modebar={"remove": buttons.split()},
    )
    axis = {"title_font": {"size": 13}, "automargin": True}
    figure.update_xaxes(showgrid=False, linecolor=FAINT, ticks="outside", tickcolor=FAINT, **axis)
    figure.update_yaxes(gridcolor="#e6dece", zerolinecolor=INK, zerolinewidth=1, **axis)
    figure.update_yaxes(separatethousands=True, exponentformat="none")
    return figure


def figure_of(forecast: Forecast, title: str, unit: str) -> go.Figure:
    """An empty figure for one forecast; MeasureError where it has draws."""
    one_scenario(forecast)
    figure = sheet(title, unit)
    if forecast.months <= 6:
        figure.update_xaxes(dtick="M1", tickformat="%b %Y")  # no days or hours between the months
    return figure


def one_scenario(forecast: Forecast) -> None:
    """Raise MeasureError where a forecast has draws: a figure shows one scenario.

    >>> import growth, numpy
    >>> plans = [{"name": "Studio", "monthly_price": numpy.array([20.0, 25.0])}]
    >>> one_scenario(growth.forecast(growth.Scenario(business="Fernhollow", pay={"plans": plans})))
    Traceback (most recent call last):
    growth.errors.MeasureError: forecast: one scenario: a figure draws no arrays over draws (found 2 draws)
    """
    draws = forecast.scenario.draws
    if draws is not None:
        raise MeasureError([Problem("forecast", "one scenario: a figure draws no arrays over draws", f"{draws} draws")])


def months_of(forecast: Forecast, *, opening: bool = False) -> np.ndarray:
    """The calendar months 1..T, or 0..T with the opening, as NumPy months.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=2, first_month="2027-01",
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> months_of(growth.forecast(scenario), opening=True).astype(str).tolist()
    ['2026-12', '2027-01', '2027-02']
    """
    first = np.datetime64(forecast.scenario.first_month)
    return first + np.arange(-int(opening), forecast.months).astype("timedelta64[M]")


def hover(text: str) -> str:
    """A hover text without the second box, in which Plotly names the trace.

    >>> hover("%{y:,.0f}")
    '%{y:,.0f}<extra></extra>'
    """
    return text + "<extra></extra>"


def keyed(colour: str, text: str) -> str:
    """A label after a square in the colour of what it names, for labels that may stand away from it.

    >>> keyed("#1f5f8b", "new")
    "<span style='color:#1f5f8b'>■</span> new"
    """
    return f"<span style='color:{colour}'>■</span> {text}"


def note(figure: go.Figure, text: str) -> None:
    """Write a sentence in the middle of a figure that has nothing to show."""
    figure.add_annotation(x=0.5, y=0.5, xref="paper", yref="paper", text=text, showarrow=False, font={"color": FAINT})


def label_beside(figure: go.Figure, labels: list[Label], *, low: float, high: float, x: float | None = None) -> None:
    """Write labels beside what they name, moved apart where they would collide.

    labels: (height in the y axis' unit, text, colour). low, high: the span of the y axis. x: their place on the x axis;
    None: the right edge of the plot.
    """
    place: dict[str, float | str] = {"x": 1, "xref": "paper"} if x is None else {"x": x}
    span = (high - low) or 1.0
    for height, text, colour in apart(labels, gap=span / LINES, top=low + span):
        drawn = {"text": text, "font": {"color": colour}, "bgcolor": PAPER, "showarrow": False}
        figure.add_annotation(**place, y=height, xanchor="left", xshift=8, **drawn)


def apart(labels: list[Label], *, gap: float, top: float) -> list[Label]:
    """Labels in order of height, at least `gap` apart: moved up, and down again where that would pass `top`.

    >>> apart([(0.0, "a", INK), (0.5, "b", INK), (9.5, "c", INK)], gap=1.0, top=10.0)
    [(0.0, 'a', '#2b2722'), (1.0, 'b', '#2b2722'), (9.5, 'c', '#2b2722')]
    >>> [height for height, _, _ in apart([(9.5, "a", INK), (9.6, "b", INK)], gap=1.0, top=10.0)]
    [9.0, 10.0]
    """
    labels = sorted(labels)
    heights = np.array([height for height, _, _ in labels], dtype=float)
    steps = gap * np.arange(len(labels))
    heights = np.maximum.accumulate(heights - steps) + steps  # each at least a gap above the one before
    if len(labels) and heights[-1] > top:
        heights = np.minimum(heights, top - steps[::-1])
    return [(float(height), text, colour) for height, (_, text, colour) in zip(heights, labels, strict=True)]


def shade(position: float) -> str:
    """A blue from light (0) to dark (1).

    >>> shade(0.0)
    'rgb(143,180,204)'
    """
    light, dark = np.array([0x8F, 0xB4, 0xCC]), np.array([0x12, 0x3F, 0x5E])
    red, green, blue = (int(value) for value in light + position * (dark - light))
    return f"rgb({red},{green},{blue})"
