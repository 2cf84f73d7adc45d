"""Plotly figures of what pieces earned, in the workbook's own sober look. Labels stand on the lines, there is no
legend.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from itertools import cycle

import numpy as np
import plotly.graph_objects as go

from growth.charts.panels import panels
from growth.charts.sheet import FAINT, GAIN, GOAL, INK, LOSS, sheet
from growth.earned import fading, late
from growth.earned.interval import Interval
from growth.earned.worth import PieceReport, Report

_LOOKS = ((GAIN, "solid"), (LOSS, "dash"), (GOAL, "dot"), (INK, "dashdot"))


def range_chart(report: Report, *, what: str, title: str, percent: bool = False) -> go.Figure:
    """One row a piece: the estimate as a dot, its interval as a line. what: the name of an Interval of PieceReport."""
    figure = _figure(title, height=120 + 52 * len(report.pieces))
    for row, one in enumerate(reversed(report.pieces)):
        interval = _drawn(getattr(one, what))
        if not np.isfinite(interval.high):
            figure.add_annotation(
                x=0, y=row, text="cannot be told yet", showarrow=False, xanchor="left", font={"color": FAINT}
            )
            continue
        figure.add_scatter(
            x=[interval.low, interval.high],
            y=[row, row],
            mode="lines",
            line={"color": GAIN, "width": 7},
            opacity=0.35,
            hoverinfo="skip",
        )
        if interval.value is not None:
            figure.add_scatter(
                x=[interval.value], y=[row], mode="markers", marker={"color": GAIN, "size": 11}, hoverinfo="skip"
            )
        words = "{:.1%} to {:.1%}" if percent else "{:,.0f} to {:,.0f}"
        figure.add_annotation(
            x=interval.high,
            y=row,
            text=words.format(interval.low, interval.high),
            showarrow=False,
            xanchor="left",
            xshift=8,
        )
    names = [one.piece.name for one in reversed(report.pieces)]
    figure.update_yaxes(
        tickvals=list(range(len(names))), ticktext=names, range=[-0.6, len(names) - 0.4], showgrid=False, ticks=""
    )
    figure.update_xaxes(rangemode="tozero", tickformat=".0%" if percent else ",.0f", gridcolor="#e6dece", showgrid=True)
    tops = [_drawn(getattr(one, what)).high for one in report.pieces]
    figure.update_xaxes(range=[0, round(1.3 * max((top for top in tops if np.isfinite(top)), default=1.0), 5)])
    figure.update_layout(margin={"l": 250})
    return figure


def fading_chart(reports: Sequence[PieceReport]) -> go.Figure:
    """Sign-ups a week since each piece came out, and the fitted fading as a line: a panel a piece, on one scale."""
    told = [one for one in reports if one.half_life.value is not None and len(one.piece.sign_ups_by_day) >= 7]
    if not told:
        return _figure("Sign-ups a week since publishing: too few days to tell", height=120)
    names = [one.piece.name for one in told]
    figure, places = panels("Sign-ups a week", "weeks since publishing", names, beside=3, height=210, room=90)
    for one, (row, column), (colour, dash) in zip(told, places, cycle(_LOOKS), strict=False):
        counts = one.piece.sign_ups_by_day
        weeks = np.arange(len(counts) // 7)
        seen = counts[: 7 * len(weeks)].reshape(-1, 7).sum(axis=1)
        q = 2 ** (-1 / one.half_life.value)
        first = counts.sum() / fading.total(one.half_life.value, len(counts))
        fitted = first * q ** (7 * weeks) * (1 - q**7) / (1 - q)
        dots = {"color": colour, "size": 5}
        line = {"color": colour, "dash": dash, "width": 2}
        where = {"row": row, "col": column}
        figure.add_scatter(x=weeks, y=seen, mode="markers", marker=dots, hoverinfo="skip", **where)
        figure.add_scatter(x=weeks, y=fitted.round(3), mode="lines", line=line, hoverinfo="skip", **where)
    figure.update_yaxes(matches="y", rangemode="tozero", nticks=4)
    figure.update_xaxes(nticks=5)
    return figure


def waiting_chart(report: Report) -> go.Figure:
    """How late buyers come: the share of all sign-ups who had bought so many days after signing up (Kaplan-Meier)."""
    figure = _figure("Share of sign-ups who have bought, by days since the sign-up", height=340)
    delays = np.concatenate([one.piece.delays for one in report.pieces])
    waiting: dict[int, int] = {}
    for one in report.pieces:
        for days, count in one.piece.waiting.items():
            waiting[days] = waiting.get(days, 0) + count
    days, shares = late.bought_by(delays, waiting)
    figure.add_scatter(
        x=days, y=shares.round(5), mode="lines", line={"color": GAIN, "width": 3, "shape": "hv"}, hoverinfo="skip"
    )
    last = f"{shares[-1]:.1%} after {days[-1]:.0f} days"
    figure.add_annotation(
        x=days[-1], y=shares[-1].round(5), text=last, showarrow=False, xanchor="right", yshift=14, font={"color": GAIN}
    )
    figure.update_xaxes(title="days since the sign-up")
    figure.update_yaxes(rangemode="tozero", tickformat=".0%")
    return figure


def payback_chart(reports: Sequence[PieceReport]) -> go.Figure:
    """What each piece's buyers have paid in all since it came out, less what it cost to make."""
    figure = _figure("Earned so far, less the cost of making", height=360)
    for one, (colour, dash) in zip(reports, _LOOKS, strict=False):
        published = datetime.date.fromisoformat(one.piece.published)
        days = [
            0,
            *((datetime.date.fromisoformat(day) - published).days for day, _ in one.piece.payments),
            len(one.piece.sign_ups_by_day),
        ]
        paid = np.cumsum([0, *(amount / 1_000 for _, amount in one.piece.payments), 0]) - one.cost
        figure.add_scatter(
            x=days,
            y=paid,
            mode="lines",
            line={"color": colour, "dash": dash, "width": 2.5, "shape": "hv"},
            hoverinfo="skip",
        )
        figure.add_annotation(
            x=days[-1],
            y=paid[-1],
            text=one.piece.name,
            showarrow=False,
            xanchor="right",
            yshift=12,
            font={"color": colour},
        )
    figure.add_hline(y=0, line={"color": INK, "width": 1})
    figure.update_xaxes(title="days since publishing")
    return figure


def _drawn(interval: Interval) -> Interval:
    """To as many digits as are drawn, so that a figure is the same on every machine."""
    value = None if interval.value is None else float(f"{interval.value:.5g}")
    return Interval(value, float(f"{interval.low:.5g}"), float(f"{interval.high:.5g}"))


def _figure(title: str, *, height: int) -> go.Figure:
    """The workbook's sheet, of a height of its own."""
    figure = sheet(title)
    figure.update_layout(height=height, hovermode=False)
    return figure.update_yaxes(zeroline=False)
