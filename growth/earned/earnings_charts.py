"""Plotly figures of what pieces earned, in the workbook's own look. Labels stand on the lines, there is no legend."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle

import numpy as np
import plotly.graph_objects as go

from growth.charts.panels import panels
from growth.charts.sheet import FAINT, GAIN, GOAL, INK, LOSS, months_of, sheet
from growth.earned.buyers import days_between
from growth.earned.conversion import bought_by
from growth.earned.interval import Interval
from growth.earned.piece_report import EarningsReport, PieceReport
from growth.engine import Forecast

_LOOKS = ((GAIN, "solid"), (LOSS, "dash"), (GOAL, "dot"), (INK, "dashdot"))


def range_chart(report: EarningsReport, *, what: str, title: str, percent: bool = False) -> go.Figure:
    """A row for each piece, with the estimate as a dot and its interval as a line.

    what: the name of an Interval of `PieceReport`; where it is None or has no end, the row says so. percent: the values
    are fractions.
    """
    figure = _figure(title, height=120 + 52 * len(report.pieces))
    found = [_drawn(getattr(one, what)) for one in reversed(report.pieces)]
    for row, interval in enumerate(found):
        if interval is None:
            figure.add_annotation(
                x=0, y=row, text="cannot be told yet", showarrow=False, xanchor="left", font={"color": FAINT}
            )
            continue
        ends, level = [interval.low, interval.high], [row, row]
        line = {"color": GAIN, "width": 7}
        figure.add_scatter(x=ends, y=level, mode="lines", line=line, opacity=0.35, hoverinfo="skip")
        if interval.value is not None:
            dot = {"color": GAIN, "size": 11}
            figure.add_scatter(x=[interval.value], y=[row], mode="markers", marker=dot, hoverinfo="skip")
        words = "{:.1%} to {:.1%}" if percent else "{:,.0f} to {:,.0f}"
        text = words.format(interval.low, interval.high)
        figure.add_annotation(x=interval.high, y=row, text=text, showarrow=False, xanchor="left", xshift=8)
    names = [one.piece.name for one in reversed(report.pieces)]
    rows = {"tickvals": list(range(len(names))), "ticktext": names, "range": [-0.6, len(names) - 0.4]}
    figure.update_yaxes(**rows, showgrid=False, ticks="")
    top = max((interval.high for interval in found if interval), default=1.0)
    form = ".0%" if percent else ",.0f"
    figure.update_xaxes(tickformat=form, gridcolor="#e6dece", showgrid=True, range=[0, round(1.3 * top, 5)])
    figure.update_layout(margin={"l": 250})
    return figure


def fading_chart(reports: Sequence[PieceReport]) -> go.Figure:
    """Sign-ups a week since each piece came out, and what the mix of fitted shapes expects: a panel a piece."""
    told = [one for one in reports if one.fading is not None and one.piece.sign_ups]
    if not told:
        return _figure("Sign-ups a week since publishing: too few days to tell", height=120)
    names = [one.piece.name for one in told]
    figure, places = panels("Sign-ups a week", "weeks since publishing", names, beside=3, height=210, room=90)
    for one, (row, column), (colour, dash) in zip(told, places, cycle(_LOOKS), strict=False):
        counts = one.piece.sign_ups_by_day
        weeks = np.arange(len(counts) // 7)
        seen = counts[: 7 * len(weeks)].reshape(-1, 7).sum(axis=1)
        fitted = one.fading.expected(7.0 * np.arange(len(weeks) + 1)) if one.fading else np.zeros(len(weeks))
        dots, line = {"color": colour, "size": 5}, {"color": colour, "dash": dash, "width": 2}
        where = {"row": row, "col": column}
        figure.add_scatter(x=weeks, y=seen, mode="markers", marker=dots, hoverinfo="skip", **where)
        figure.add_scatter(x=weeks, y=fitted.round(2), mode="lines", line=line, hoverinfo="skip", **where)
    figure.update_yaxes(matches="y", rangemode="tozero", nticks=4)
    figure.update_xaxes(nticks=5)
    return figure


def waiting_chart(report: EarningsReport) -> go.Figure:
    """How late buyers come: the share of all sign-ups who had bought so many days after signing up (Kaplan-Meier)."""
    delays = np.concatenate([one.seen.delay for one in report.pieces])
    watched = np.concatenate([np.repeat(one.seen.watched, one.seen.count.astype(int)) for one in report.pieces])
    if not delays.size + watched.size:
        return _figure("Share of sign-ups who have bought: there is no sign-up yet", height=120)
    figure = _figure("Share of sign-ups who have bought, by days since the sign-up", height=340)
    days, shares = bought_by(delays, watched)
    line = {"color": GAIN, "width": 3, "shape": "hv"}
    figure.add_scatter(x=days, y=shares.round(5), mode="lines", line=line, hoverinfo="skip")
    last = f"{shares[-1]:.1%} after {days[-1]:.0f} days"
    end = {"x": days[-1], "y": shares[-1].round(5), "text": last, "font": {"color": GAIN}}
    figure.add_annotation(**end, showarrow=False, xanchor="right", yshift=14)
    figure.update_xaxes(title="days since the sign-up")
    figure.update_yaxes(rangemode="tozero", tickformat=".0%")
    return figure


def payback_chart(reports: Sequence[PieceReport]) -> go.Figure:
    """What each piece's buyers have paid since it came out, less what it cost to make."""
    figure = _figure("Earned so far, less the cost of making", height=360)
    for one, (colour, dash) in zip(reports, cycle(_LOOKS), strict=False):
        payments = sorted((payment.day, payment.amount) for buyer in one.piece.buyers for payment in buyer.payments)
        days = [0, *(days_between(one.piece.published, day) for day, _ in payments), one.piece.seen]
        balance = np.cumsum([0, *(amount / 1_000 for _, amount in payments), 0]) - one.piece.cost
        line = {"color": colour, "dash": dash, "width": 2.5, "shape": "hv"}
        figure.add_scatter(x=days, y=balance, mode="lines", line=line, hoverinfo="skip")
        end = {"x": days[-1], "y": balance[-1], "text": one.piece.name, "font": {"color": colour}}
        figure.add_annotation(**end, showarrow=False, xanchor="right", yshift=12)
    figure.add_hline(y=0, line={"color": INK, "width": 1})
    figure.update_xaxes(title="days since publishing")
    return figure


def sales_chart(forecast: Forecast) -> go.Figure:
    """The sales of each month of a forecast in which a sale counts once: bars, no goal and no ceiling.

    >>> import growth
    >>> plan = {"name": "Course", "monthly_price": 20}
    >>> scenario = growth.Scenario(business="A list", months=2, opening={"customers": 4, "mrr": 80},
    ...     pay={"plans": [plan]}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> sales_chart(growth.forecast(scenario)).data[0].y.tolist()
    [40.0, 20.0]
    """
    figure = sheet("Sales by month", forecast.scenario.currency)
    figure.add_bar(x=months_of(forecast), y=forecast.revenue.round(2), marker={"color": GAIN}, hoverinfo="skip")
    figure.update_layout(hovermode=False, bargap=0.3)
    return figure.update_yaxes(rangemode="tozero")


def _drawn(interval: Interval | None) -> Interval | None:
    """To as many digits as are drawn, so that a figure is the same on every machine; None where it has no end."""
    if interval is None or not np.isfinite(interval.high):
        return None
    value = None if interval.value is None else float(f"{interval.value:.4g}")
    return Interval(value, float(f"{interval.low:.4g}"), float(f"{interval.high:.4g}"))


def _figure(title: str, *, height: int) -> go.Figure:
    figure = sheet(title)
    figure.update_layout(height=height, hovermode=False)
    return figure.update_yaxes(zeroline=False)
