"""The loop closed: what the pieces measured, written into a scenario, so that the model forecasts the next ones."""

from __future__ import annotations

from typing import Any

import numpy as np

from growth.earned.interval import Interval, share
from growth.earned.worth import Report
from growth.errors import MeasureError, Problem
from growth.scenario import Scenario

MONTH = 365.25 / 12  # days


def measured(report: Report) -> dict[str, Interval]:
    """What all the pieces of a report together say: signup_rate (of the views) and conversion_rate (of the sign-ups, in
    the end).
    """
    views, sign_ups = (sum(getattr(one.piece, name) for one in report.pieces) for name in ("viewers", "sign_ups"))
    if not sign_ups:
        raise MeasureError(
            [
                Problem(
                    "",
                    "at least one sign-up, to take a rate of",
                    "0",
                    "Wait for the first, or keep the rates you have.",
                )
            ]
        )
    mean = [
        sum(getattr(one.final_buyer_share, end) * one.piece.sign_ups for one in report.pieces if one.piece.sign_ups)
        / sign_ups
        for end in ("value", "low", "high")
    ]
    return {"signup_rate": share(count=sign_ups, of=views), "conversion_rate": Interval(*mean)}


def fades(report: Report) -> float:
    """The share by which a piece's visits fade each month: 1 - 2^(-month / half-life), the pieces' half-lives weighed
    by sign-ups.

    Visits are taken to fade as sign-ups do.
    """
    weights = np.array([one.piece.sign_ups for one in report.pieces], dtype=float)
    half_lives = np.array([one.half_life.value or np.inf for one in report.pieces])
    return float(1 - 2.0 ** -(MONTH * (weights @ (1 / half_lives)) / weights.sum())) if weights.sum() else 0.0


def into_channel(
    report: Report, scenario: Scenario, *, channel: str, pieces: float | None = None, months: int = 6
) -> Scenario:
    """The scenario with the measured rates in its content channel of that name.

    signup_rate and conversion_rate are set to what was measured. pieces: how many are to come out in all over `months`
    months from the channel's first; None leaves its publishing plan, its peak and its fading as they are. With pieces,
    the visits of a piece in its first month and how they fade are measured too. Raises MeasureError for a channel that
    is not there or is of another kind.
    """
    data = scenario.model_dump(mode="json")
    found = next((one for one in data["arrive"]["channels"] if one["name"] == channel), None)
    if found is None or found["kind"] != "content":
        names = [one["name"] for one in data["arrive"]["channels"] if one["kind"] == "content"]
        fix = f"There is {', '.join(names)}." if names else "Add a channel with kind: content to the scenario."
        raise MeasureError([Problem("channel", "the name of a content channel of the scenario", channel, fix)])
    found.update({name: float(rate.value) for name, rate in measured(report).items()})
    if pieces is not None:
        found.update(_publishing(report, found, pieces, months))
    return Scenario.model_validate(data)


def _publishing(report: Report, channel: dict[str, Any], pieces: float, months: int) -> dict[str, Any]:
    fade = fades(report)
    peaks = []
    for one in report.pieces:
        seen = len(one.piece.sign_ups_by_day) / MONTH
        drawn = seen if fade == 0 else (1 - (1 - fade) ** max(seen, 1)) / fade
        peaks.append(one.piece.viewers / max(drawn, 1.0))
    return {
        "monthly_pieces": pieces / months,
        "last_month": channel["first_month"] + months - 1,
        "peak_monthly_visits": float(np.mean(peaks)),
        "tail_monthly_visits": 0.0,
        "monthly_fade_rate": fade,
    }
