"""Plotly figures of what was measured, for the notebooks: labels on the lines, no legend."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from growth.charts.customers import MOVES
from growth.charts.sheet import GAIN, GOAL, INK, LOSS, PAPER, SHADES, Label, apart, hover, sheet
from growth.records.backtest import RIVALS, Backtest
from growth.records.bridge import bridge_columns, lapse_columns, triangles
from growth.records.churn_fit import Fit
from growth.records.estimate import Measured
from growth.records.measured_forecast import ForecastBand
from growth.records.survival import Survival

_FAILED = ("churned after a failed payment", "churned_by_failure_mrr", -1, INK, "-")


def bridge_picture(measured: Measured) -> go.Figure:
    """Draw what came in above the line and what was lost below it, month by month."""
    book = measured.book
    figure = sheet("The bridge of the records", f"{book.rows.currency} of MRR")
    months = _calendar(book.first_month, np.arange(1, book.months))
    beside = lapse_columns(book, measured.moves)
    failed, unpaid = beside.get("churned_by_failure_mrr"), beside["unpaid_mrr"]
    table = bridge_columns(measured.moves)
    below = "below it: contraction, churned (hatched)"
    if failed is not None:
        table |= {"churned_mrr": table["churned_mrr"] - failed, "churned_by_failure_mrr": failed}
        below += ", churned after a failed payment (dark)"
    for name, column, sign, colour, pattern in (*MOVES, _FAILED):
        if column in table:
            marker = {"color": colour, "pattern": {"shape": pattern, "fgcolor": PAPER, "fillmode": "overlay"}}
            bars = np.round(sign * table[column], 2)
            figure.add_bar(x=months, y=bars, marker=marker, hovertemplate=hover(f"{name} %{{y:,.0f}}"))
    if unpaid.any():
        diamond = {"symbol": "diamond-open", "size": 8, "color": GOAL}
        hovered = hover("on board, never paid %{y:,.0f}")
        figure.add_scatter(x=months, y=np.round(-unpaid, 2), mode="markers", marker=diamond, hovertemplate=hovered)
        below += "; diamonds: on board, never paid"
    figure.update_layout(barmode="relative", bargap=0.15)
    _note(figure, "above the line: new, came back (dotted), expansion (crossed)", GAIN, y=1.0)
    _note(figure, below, LOSS, y=0.0)
    return figure


def cohort_picture(measured: Measured) -> go.Figure:
    """Draw the share of each cohort still on board by age, a row for each month of joining but the first."""
    customers, _ = triangles(measured.book, measured.runs)
    size = measured.book.months
    shares = np.full((size - 1, size), np.nan)
    for row in range(1, size):
        if customers[row, 0]:
            shares[row - 1, : size - row] = np.round(customers[row, : size - row] / customers[row, 0], 4)
    figure = sheet("Share of each cohort still on board", "a row a month of joining")
    figure.add_heatmap(
        z=shares,
        x=np.arange(size),
        y=_calendar(measured.book.first_month, np.arange(1, size)),
        colorscale=SHADES,
        zmin=0,
        zmax=1,
        xgap=1,
        ygap=1,
        colorbar={"tickformat": ".0%", "outlinewidth": 0, "thickness": 12},
        hovertemplate=hover("joined %{y}, age %{x} months: %{z:.0%}"),
    )
    figure.update_xaxes(title_text="age in months", showgrid=False)
    figure.update_yaxes(autorange="reversed", showgrid=False, nticks=12)
    return figure


def survival_picture(
    survival: Survival, fits: tuple[Fit, ...], *, chosen: Fit | None = None, title: str = ""
) -> go.Figure:
    """Draw Kaplan-Meier survival as steps with its 95% band, and the fitted curves, the chosen one thick."""
    figure = sheet(title or "Still on board by age", "share of customers")
    seen = np.isfinite(survival.survival)
    ages = np.append(0, survival.table.ages[seen])
    middle, low, high = (np.append(1.0, part[seen]) for part in (survival.survival, survival.low, survival.high))
    end = _draw(figure, ages, middle, "age %{x}: %{y:.1%}", colour=GAIN, shape="hv", band=(low, high))
    labels = [(end, "Kaplan-Meier", GAIN)]
    dashes = {"constant": "dot", "early_late": "dashdot", "sbg": "solid", "bdw": "dash"}
    for fit in fits:
        line = np.append(1.0, fit.survival(ages[1:]) if ages.size > 1 else [])
        colour, width = (LOSS, 3) if chosen is not None and fit.curve == chosen.curve else (INK, 1)
        end = _draw(figure, ages, line, fit.curve + " %{y:.1%}", colour=colour, width=width, dash=dashes[fit.curve])
        labels.append((end, fit.curve, colour))
    _shares(figure, labels, along="age in months", gap=0.05)
    return figure


def compared_picture(
    lines: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]], *, title: str, unit: str, along: str, steps: bool
) -> go.Figure:
    """Draw shares with their 95% bands. lines: by name (middle, low, high), each at 0, 1, 2, ... along the axis."""
    figure, labels = sheet(title, unit), []
    styles = zip(("solid", "dash", "dot", "dashdot"), (GAIN, LOSS, GOAL, INK), strict=True)
    for (name, parts), (dash, colour) in zip(lines.items(), styles, strict=False):
        middle, low, high = (part[np.isfinite(part)] for part in parts)
        x, shape = np.arange(middle.size), "hv" if steps else "linear"
        end = _draw(figure, x, middle, name + " %{y:.1%}", colour=colour, dash=dash, shape=shape, band=(low, high))
        labels.append((end, name, colour))
    _shares(figure, labels, along=along, gap=0.05)
    return figure


def error_picture(test: Backtest) -> go.Figure:
    """Draw the mean error by months ahead, of the forecast and of its rivals."""
    figure, labels = sheet("How far off, by months ahead", "mean error, share of what happened"), []
    ahead = np.arange(1, test.actual.shape[1] + 1)
    for name, dash in zip(("", *RIVALS), ("solid", "dot", "dash", "dashdot"), strict=True):
        said, colour, width = name or "this workbook", INK if name else GAIN, 1 if name else 3
        end = _draw(figure, ahead, test.error(name), said + " %{y:.1%}", colour=colour, width=width, dash=dash)
        labels.append((end, said, colour))
    _shares(figure, labels, along="months ahead", gap=0.06 * max(height for height, _, _ in labels))
    figure.update_xaxes(dtick=1)
    return figure


def backtest_picture(test: Backtest, measured: Measured, *, every: int = 6) -> go.Figure:
    """Draw what happened, and the forecasts with their bands from every `every`-th origin."""
    figure = sheet("Forecast from the past beside what happened", f"{measured.book.rows.currency} of MRR")
    for row in range(0, test.origins.size, every):
        use = np.isfinite(test.actual[row])
        months = _calendar(test.origins[row], 1 + np.flatnonzero(use))
        _draw_forecast(figure, months, *(part[row][use] for part in (test.forecast, test.low, test.high)))
    _draw_past(figure, measured)
    _note(figure, "thick: what happened; dashed: forecasts, each from where its band begins", yanchor="bottom")
    return figure


def forecast_picture(ahead: ForecastBand, measured: Measured) -> go.Figure:
    """Draw the MRR of the records, continued by the forecast with its 95% band."""
    book = measured.book
    figure = sheet("MRR by month", f"{book.rows.currency} a month")
    now = measured.moves.closing_mrr[-1].sum()
    months = _calendar(book.first_month, np.arange(book.months - 1, book.months + ahead.mrr.size))
    _draw_forecast(figure, months, *(np.append(now, part) for part in (ahead.mrr, *ahead.band())))
    _draw_past(figure, measured)
    _note(figure, "thick: the records; dashed: the forecast, with its 95% band", yanchor="bottom")
    return figure


def _draw_forecast(
    figure: go.Figure, months: list[str], expected: np.ndarray, low: np.ndarray, high: np.ndarray
) -> None:
    digits = 0 if expected.max(initial=0) >= 1000 else 2  # more would mean nothing, and differ between machines
    hovered = "forecast %{y:,.0f}"
    _draw(figure, months, expected, hovered, colour=GOAL, dash="dash", digits=digits, band=(low, high))


def _draw_past(figure: go.Figure, measured: Measured) -> None:
    months = _calendar(measured.book.first_month, np.arange(measured.book.months))
    mrr = measured.moves.closing_mrr.sum(axis=1)
    _draw(figure, months, mrr, "%{x}: %{y:,.0f}", colour=GAIN, width=3, digits=2)
    figure.update_yaxes(rangemode="tozero")


def _draw(
    figure: go.Figure,
    x: np.ndarray | list[str],
    y: np.ndarray,
    hovered: str,
    *,
    colour: str,
    width: int = 2,
    dash: str | None = None,
    shape: str | None = None,
    digits: int = 5,
    band: tuple[np.ndarray, np.ndarray] | None = None,
) -> float:
    """Draw a line and, below it, the band between two others in a tint of its colour; return where the line ends."""
    if band:
        low, high = (np.round(end, digits) for end in band)
        edge = {"x": x, "mode": "lines", "line": {"width": 0, "shape": shape}, "hoverinfo": "skip"}
        red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
        figure.add_scatter(**edge, y=high)
        figure.add_scatter(**edge, y=low, fill="tonexty", fillcolor=f"rgba({red},{green},{blue},0.15)")
    line = {"color": colour, "width": width, "dash": dash, "shape": shape}
    y = np.round(y, digits)
    figure.add_scatter(x=x, y=y, mode="lines", line=line, hovertemplate=hover(hovered))
    return float(y[-1]) if len(y) else 0.0


def _shares(figure: go.Figure, labels: list[Label], *, along: str, gap: float) -> None:
    """Label the ends of lines of shares in the margin, at least `gap` apart, and dress their axes."""
    for height, text, colour in apart(labels, gap=gap, top=np.inf):
        place = {"x": 1.01, "xref": "paper", "xanchor": "left", "y": round(height, 4)}
        figure.add_annotation(**place, text=text, showarrow=False, font={"color": colour})
    figure.update_layout(margin={"r": 150})
    figure.update_xaxes(title_text=along)
    figure.update_yaxes(tickformat=".0%", rangemode="tozero")


def _note(figure: go.Figure, text: str, colour: str = INK, *, y: float = 1, yanchor: str | None = None) -> None:
    place = {"x": 0, "y": y, "xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": yanchor}
    figure.add_annotation(**place, showarrow=False, font={"color": colour}, text=text)


def _calendar(first: np.datetime64, later: np.ndarray) -> list[str]:
    """Name the months so many months after one."""
    return (first + later.astype("m8[M]")).astype(str).tolist()
