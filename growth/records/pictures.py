"""Plotly figures of what was measured, for the notebooks: labels on the lines, no legend."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from growth.charts.customers import MOVES
from growth.charts.sheet import GAIN, GOAL, INK, LOSS, PAPER, SHADES, sheet
from growth.records.backtest import RIVALS, Backtest
from growth.records.bridge import bridge_columns, lapse_columns, triangles
from growth.records.churn_fit import Fit
from growth.records.estimate import Measured
from growth.records.forecast_band import ForecastBand
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
        if column not in table:
            continue
        marker = {"color": colour, "pattern": {"shape": pattern, "fgcolor": PAPER, "fillmode": "overlay"}}
        figure.add_bar(
            x=months,
            y=np.round(sign * table[column], 2),
            marker=marker,
            hovertemplate=f"{name} %{{y:,.0f}}<extra></extra>",
        )
    if unpaid.any():
        figure.add_scatter(
            x=months,
            y=np.round(-unpaid, 2),
            mode="markers",
            marker={"symbol": "diamond-open", "size": 8, "color": GOAL},
            hovertemplate="on board, never paid %{y:,.0f}<extra></extra>",
        )
        below += "; diamonds: on board, never paid"
    figure.update_layout(barmode="relative", bargap=0.15)
    notes = (
        ("above the line: new, came back (dotted), expansion (crossed)", 1.0, GAIN),
        (below, 0.0, LOSS),
    )
    for text, height, colour in notes:
        figure.add_annotation(
            x=0,
            y=height,
            xref="paper",
            yref="paper",
            text=text,
            showarrow=False,
            xanchor="left",
            font={"color": colour},
        )
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
        hovertemplate="joined %{y}, age %{x} months: %{z:.0%}<extra></extra>",
    )
    figure.update_xaxes(title_text="age in months", showgrid=False)
    figure.update_yaxes(autorange="reversed", showgrid=False, nticks=12)
    return figure


def survival_picture(
    survival: Survival, fits: tuple[Fit, ...], *, chosen: Fit | None = None, title: str = ""
) -> go.Figure:
    """Draw Kaplan-Meier survival as steps with its 95% band, and the fitted curves, the chosen one thick."""
    figure = _sheet(title or "Still on board by age", "share of customers")
    seen = np.isfinite(survival.survival)
    ages = np.concatenate([[0], survival.table.ages[seen]])
    low, high, middle = (
        np.round(np.concatenate([[1.0], part[seen]]), 5) for part in (survival.low, survival.high, survival.survival)
    )
    _band(figure, ages, low, high, tint="rgba(31,95,139,0.15)", edge={"width": 0, "shape": "hv"})
    figure.add_scatter(
        x=ages,
        y=middle,
        mode="lines",
        line={"color": GAIN, "width": 2, "shape": "hv"},
        hovertemplate="age %{x}: %{y:.1%}<extra></extra>",
    )
    dashes = {"constant": "dot", "early_late": "dashdot", "sbg": "solid", "bdw": "dash"}
    labels = []
    for fit in fits:
        line = np.round(np.concatenate([[1.0], fit.survival(ages[1:])]), 5) if ages.size > 1 else np.ones(1)
        colour, width = (LOSS, 3) if chosen is not None and fit.curve == chosen.curve else (INK, 1)
        figure.add_scatter(
            x=ages,
            y=line,
            mode="lines",
            line={"color": colour, "width": width, "dash": dashes[fit.curve]},
            hovertemplate=fit.curve + " %{y:.1%}<extra></extra>",
        )
        labels.append((float(line[-1]), fit.curve, colour))
    _label_ends(figure, [*labels, (float(middle[-1]), "Kaplan-Meier", GAIN)], gap=0.05)
    figure.update_xaxes(title_text="age in months")
    figure.update_yaxes(tickformat=".0%", rangemode="tozero")
    return figure


def compared_picture(
    lines: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]], *, title: str, unit: str, along: str, steps: bool
) -> go.Figure:
    """Draw shares with their 95% bands. lines: by name (middle, low, high), each at 0, 1, 2, ... along the axis."""
    figure, labels = _sheet(title, unit), []
    styles = zip(("solid", "dash", "dot", "dashdot"), (GAIN, LOSS, GOAL, INK), strict=True)
    for (name, parts), (dash, colour) in zip(lines.items(), styles, strict=False):
        middle, low, high = (np.round(part[np.isfinite(part)], 5) for part in parts)
        x, shape = np.arange(middle.size), "hv" if steps else "linear"
        _band(figure, x, low, high, tint=_faint(colour), edge={"width": 0, "shape": shape})
        line = {"color": colour, "width": 2, "shape": shape, "dash": dash}
        hovered = name + " %{y:.1%}<extra></extra>"
        figure.add_scatter(x=x, y=middle, mode="lines", line=line, hovertemplate=hovered)
        labels.append((float(middle[-1]), name, colour))
    _label_ends(figure, labels, gap=0.05)
    figure.update_xaxes(title_text=along)
    figure.update_yaxes(tickformat=".0%", rangemode="tozero")
    return figure


def error_picture(test: Backtest) -> go.Figure:
    """Draw the mean error by months ahead, of the forecast and of its rivals."""
    figure = _sheet("How far off, by months ahead", "mean error, share of what happened")
    ahead = np.arange(1, test.actual.shape[1] + 1)
    dashes = dict(zip(RIVALS, ("dot", "dash", "dashdot"), strict=True))
    labels = []
    for name in ("", *RIVALS):
        error, colour = np.round(test.error(name), 5), INK if name else GAIN
        figure.add_scatter(
            x=ahead,
            y=error,
            mode="lines",
            line={"color": colour, "width": 1 if name else 3, "dash": dashes.get(name, "solid")},
            hovertemplate=(name or "this workbook") + " %{y:.1%}<extra></extra>",
        )
        labels.append((float(error[-1]), name or "this workbook", colour))
    _label_ends(figure, labels, gap=0.06 * max(height for height, _, _ in labels))
    figure.update_xaxes(title_text="months ahead", dtick=1)
    figure.update_yaxes(tickformat=".0%", rangemode="tozero")
    return figure


def backtest_picture(test: Backtest, measured: Measured, *, every: int = 6) -> go.Figure:
    """Draw what happened, and the forecasts with their bands from every `every`-th origin."""
    figure = sheet("Forecast from the past beside what happened", f"{measured.book.rows.currency} of MRR")
    for row in range(0, test.origins.size, every):
        use = np.isfinite(test.actual[row])
        months = _calendar(test.origins[row], 1 + np.flatnonzero(use))
        _draw_forecast(figure, months, test.forecast[row][use], (test.low[row][use], test.high[row][use]))
    _draw_past(figure, measured)
    _note(figure, "thick: what happened; dashed: forecasts, each from where its band begins")
    return figure


def forecast_picture(ahead: ForecastBand, measured: Measured) -> go.Figure:
    """Draw the MRR of the records, continued by the forecast with its 95% band."""
    book = measured.book
    figure = sheet("MRR by month", f"{book.rows.currency} a month")
    now = float(measured.moves.closing_mrr[-1].sum())
    months = _calendar(book.first_month, np.arange(book.months - 1, book.months + ahead.mrr.size))
    expected, low, high = (np.concatenate([[now], part]) for part in (ahead.mrr, *ahead.band()))
    _draw_forecast(figure, months, expected, (low, high))
    _draw_past(figure, measured)
    _note(figure, "thick: the records; dashed: the forecast, with its 95% band")
    return figure


def _draw_forecast(
    figure: go.Figure, months: list[str], expected: np.ndarray, band: tuple[np.ndarray, np.ndarray]
) -> None:
    digits = 0 if expected.max(initial=0) >= 1000 else 2  # more would mean nothing, and differ between machines
    low, high, expected = (np.round(part, digits) for part in (*band, expected))
    _band(figure, months, low, high, tint="rgba(91,74,138,0.15)", edge={"width": 0})
    figure.add_scatter(
        x=months,
        y=expected,
        mode="lines",
        line={"color": GOAL, "width": 2, "dash": "dash"},
        hovertemplate="forecast %{y:,.0f}<extra></extra>",
    )


def _draw_past(figure: go.Figure, measured: Measured) -> None:
    book = measured.book
    figure.add_scatter(
        x=_calendar(book.first_month, np.arange(book.months)),
        y=np.round(measured.moves.closing_mrr.sum(axis=1), 2),
        mode="lines",
        line={"color": GAIN, "width": 3},
        hovertemplate="%{x}: %{y:,.0f}<extra></extra>",
    )
    figure.update_yaxes(rangemode="tozero")


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.15)"


def _note(figure: go.Figure, text: str) -> None:
    place = {"x": 0, "y": 1, "xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}
    figure.add_annotation(**place, showarrow=False, font={"color": INK}, text=text)


def _sheet(title: str, unit: str) -> go.Figure:
    """Return an empty figure with room for labels on the right."""
    figure = sheet(title, unit)
    figure.update_layout(margin={"r": 150})
    return figure


def _calendar(first: np.datetime64, later: np.ndarray) -> list[str]:
    """Name the months so many months after one."""
    return (first + later.astype("m8[M]")).astype(str).tolist()


def _label_ends(figure: go.Figure, labels: list[tuple[float, str, str]], *, gap: float) -> None:
    height_before = -np.inf
    for height, text, colour in sorted(labels):
        height_before = max(height, height_before + gap)
        figure.add_annotation(
            x=1.01,
            xref="paper",
            y=round(height_before, 4),
            text=text,
            showarrow=False,
            xanchor="left",
            font={"color": colour},
        )


def _band(
    figure: go.Figure, x: np.ndarray | list[str], low: np.ndarray, high: np.ndarray, *, tint: str, edge: dict
) -> None:
    """Tint the space between two lines."""
    figure.add_scatter(x=x, y=high, mode="lines", line=edge, hoverinfo="skip")
    figure.add_scatter(x=x, y=low, mode="lines", line=edge, hoverinfo="skip", fill="tonexty", fillcolor=tint)
