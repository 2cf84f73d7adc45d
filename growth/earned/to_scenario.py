"""What the pieces measured, written into a scenario's content channel, so that the model forecasts the next ones."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import optimize

from growth.earned import decay
from growth.earned.interval import Interval, share
from growth.earned.piece_report import EarningsReport
from growth.errors import MeasureError, Problem
from growth.scenario import Scenario

MONTH = 365.25 / 12  # days
MOST_PIECES = 1_000
PLAN_MONTHS = 6  # over which further pieces come out


def measured(report: EarningsReport) -> dict[str, Interval]:
    """The rates measured over all pieces of a report.

    Parameters
    ----------
    report : EarningsReport
        From `growth.earned.report`.

    Returns
    -------
    dict
        signup_rate: of the views, sign up. conversion_rate: of the sign-ups, buy in the end, the mean of the pieces
        weighted by sign-ups.

    Raises
    ------
    MeasureError
        There is no sign-up, or of no piece can be said how many buy.

    Examples
    --------
    >>> from growth.earned import Ledger, report
    >>> from growth.earned.ledger_csv import parse_csv
    >>> days = "piece,day,views,sign_ups\\n" + "".join(f"a,2026-03-{n:02d},90,9\\n" for n in range(1, 31))
    >>> buyers = "buyer,piece,signed_up,bought,amount\\n1,a,2026-03-01,2026-03-02,90\\n"
    >>> files = [parse_csv(text, file="x.csv") for text in ("piece,published\\na,2026-03-01\\n", days, buyers)]
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record(files, on="2026-04-01")
    ...     measured(report(ledger))["signup_rate"].value
    0.1
    """
    views, sign_ups = (sum(getattr(one.piece, name) for one in report.pieces) for name in ("viewers", "sign_ups"))
    if not sign_ups:
        raise _nothing("at least one sign-up, to take a rate of")
    told = [(one.final_share, one.piece.sign_ups) for one in report.pieces if one.final_share and one.piece.sign_ups]
    if not told:
        raise _nothing("a piece of which can be said how many of its sign-ups buy")
    weights = np.array([count for _, count in told]) / sum(count for _, count in told)
    value, low, high = (float(weights @ [getattr(found, end) for found, _ in told]) for end in ("value", "low", "high"))
    return {"signup_rate": share(count=sign_ups, of=views), "conversion_rate": Interval(value, low, high)}


def monthly_fade(report: EarningsReport) -> float:
    """The share of a piece's visits lost each month, 0 to 1, from how its sign-ups fade.

    With f, the first of twelve months has the share f / (1 - (1 - f)^12) of the year. f is chosen so that this is the
    share that the first month has of a first year's sign-ups, a mean over the pieces weighted by their sign-ups.
    """
    counts = [one.piece.sign_ups_by_day for one in report.pieces if one.piece.sign_ups and not one.too_early]
    if not counts:
        return 0.0
    grid = decay.shapes()
    posterior = np.average([decay.fit(one).weights for one in counts], axis=0, weights=[one.sum() for one in counts])
    month, year = (grid.total(age) for age in (MONTH, 12 * MONTH))
    first = float(month / year @ posterior)

    def off(fade: float) -> float:
        return fade / (1 - (1 - fade) ** 12) - first

    return float(optimize.brentq(off, 1e-9, 1.0)) if off(1e-9) < 0 else 0.0


def into_channel(report: EarningsReport, scenario: Scenario, *, channel: str, pieces: float | None = None) -> Scenario:
    """The scenario with the measured rates in its content channel of that name.

    Parameters
    ----------
    report : of the pieces that belong to the channel.
    scenario : the owner's list as a business.
    channel : the channel's name; its signup_rate and conversion_rate are set.
    pieces : how many are to come out over six months, from the channel's first month on. Then the visits of a piece in
        its first month and their fading are set too. None: the publishing plan stays as it is.

    Returns
    -------
    Scenario

    Raises
    ------
    MeasureError
        There is no content channel of that name, no rate to take, or `pieces` is out of range.

    Examples
    --------
    >>> import growth
    >>> from growth.earned import Ledger, report
    >>> from growth.earned.ledger_csv import parse_csv
    >>> days = "piece,day,views,sign_ups\\n" + "".join(f"a,2026-03-{n:02d},90,9\\n" for n in range(1, 31))
    >>> buyers = "buyer,piece,signed_up,bought,amount\\n1,a,2026-03-01,2026-03-02,90\\n"
    >>> files = [parse_csv(text, file="x.csv") for text in ("piece,published\\na,2026-03-01\\n", days, buyers)]
    >>> channel = {"name": "pieces", "kind": "content", "monthly_pieces": 1, "peak_monthly_visits": 9}
    >>> scenario = growth.Scenario(business="A list", arrive={"channels": [channel]},
    ...     pay={"plans": [{"name": "Course", "monthly_price": 90}]})
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record(files, on="2026-04-01")
    ...     into_channel(report(ledger), scenario, channel="pieces").arrive.channels[0].signup_rate
    0.1
    """
    if pieces is not None and not 0 <= pieces <= MOST_PIECES:
        raise MeasureError([Problem("pieces", f"a number from 0 to {MOST_PIECES:,}", f"{pieces:g}")])
    data = scenario.model_dump(mode="json")
    found = next((one for one in data["arrive"]["channels"] if one["name"] == channel), None)
    if found is None or found["kind"] != "content":
        names = [one["name"] for one in data["arrive"]["channels"] if one["kind"] == "content"]
        fix = f"There is {', '.join(names)}." if names else "Add a channel with kind: content to the scenario."
        raise MeasureError([Problem("channel", "the name of a content channel of the scenario", channel, fix)])
    found.update({name: rate.value for name, rate in measured(report).items()})
    if pieces is not None:
        found.update(_publishing(report, found, pieces))
    return Scenario.model_validate(data)


def _publishing(report: EarningsReport, channel: dict[str, Any], pieces: float) -> dict[str, Any]:
    fade = monthly_fade(report)
    peaks = []
    for one in report.pieces:
        seen = one.piece.counted_days / MONTH
        drawn = seen if fade == 0 else (1 - (1 - fade) ** max(seen, 1)) / fade
        peaks.append(one.piece.viewers / max(drawn, 1.0))
    return {
        "monthly_pieces": pieces / PLAN_MONTHS,
        "last_month": channel["first_month"] + PLAN_MONTHS - 1,
        "peak_monthly_visits": float(np.mean(peaks)),
        "tail_monthly_visits": 0.0,
        "monthly_fade_rate": fade,
    }


def _nothing(rule: str) -> MeasureError:
    return MeasureError([Problem("", rule, "none", "Wait for the first, or keep the rates you have.")])
