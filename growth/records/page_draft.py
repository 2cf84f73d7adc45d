"""A first draft of a page's words from what was measured: the `giveaway` part of the file."""

from __future__ import annotations

from typing import Any

from growth.records.estimate import RECENT
from growth.records.goodness_of_fit import NO_FIT, misfit
from growth.records.intervals import wilson
from growth.records.measured import Measured

ABOUT = (
    "The words of the page, drafted from what was measured. Make them yours: a sentence somebody said, an invitation."
)


def page_words(measured: Measured, *, business: str) -> dict[str, Any]:
    """Return the `giveaway` part as plain values: question, byline, the reader's case, and open questions."""
    slug = "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in business.lower()).split())
    return {
        "name": slug[:50].strip("-") or "forecast",
        "question": _question(measured, business),
        "byline": "Measured from the business's own billing records.",
        "case": {"details": _details()},
        "cautions": _cautions(measured),
    }


def _question(measured: Measured, business: str) -> str:
    customers = int(measured.moves.closing[-1].sum())
    if not customers:
        return f"How big can {business} get?"
    lost = measured.moves.lost.sum(axis=1)[1:][-RECENT:]
    lose = f"lose about {lost.mean():,.0f} a month" if lost.size and lost.mean() >= 0.95 else "lose one now and then"
    return f"I have {customers:,} customer{'s' if customers > 1 else ''} and {lose}: how big can this get?"


def _details() -> list[str]:
    return [
        "You know every invoice you ever sent. What share of your customers leaves, and what that does to the years "
        "ahead, stands on none of them.",
        "So it was counted, from every charge: {opening_customers} customers pay {opening_mrr} a month today. How they "
        "came, stayed and left until now is what the sentence below goes on with.",
    ]


def _cautions(measured: Measured) -> list[str]:
    pays = "" if measured.conversion else ", nor which share of sign-ups pays"
    room, months = _room(measured), measured.book.months
    said = [f"Counting leaves room. {room} These are 95% intervals: they hold chance, not what will change."]
    said = [
        *(said if room else []),
        f"Billing records do not tell how many visitors come and how many of them sign up{pays}. Usual values stand in "
        "for that: trust the number who join, and put in your own.",
        "Nor do they tell costs and cash: nothing here says what is left to live from.",
        f"The records reach back {months} month{'s' if months > 1 else ''}. How customers older than that leave is the "
        "curve's guess, and so is how large this gets in the end.",
    ]
    off = misfit(measured.chosen, measured.monthly_table)
    if off and off.p < NO_FIT:
        said.append(
            "No churn curve fits these records well: at some ages more leave, or fewer, than the one taken here says. "
            "What it makes of the later months is a rough guess."
        )
    growth = measured.growth
    if growth and growth.low <= 0 <= growth.high:
        said.append(
            "Whether more join each month than the month before, the records do not tell for sure. What it adds here "
            "grows with every month you look ahead."
        )
    return said


def _room(measured: Measured) -> str:
    """State what was counted, with its interval, a sentence each."""
    joins, constant, said = measured.new_customers, measured.fits[0], []
    if measured.joins.size:
        low, high = (f"{end:,.0f}" if joins.high >= 10 else f"{end:.1f}" for end in (joins.low, joins.high))
        said.append(f"By these records {low} to {high} might join in a month.")
    if measured.monthly_table.at_risk.sum():
        least, most = constant.low["monthly_churn_rate"], constant.high["monthly_churn_rate"]
        said.append(f"Of those who pay by the month {least:.1%} to {most:.1%} might leave.")
    yearly = [kind.table for kind in measured.kinds if kind.renewal]
    if due := sum(int(table.at_risk[11::12].sum()) for table in yearly):
        ends = wilson(due - sum(int(table.left[11::12].sum()) for table in yearly), due)
        said.append(f"Of those whose year ends {ends[0]:.0%} to {ends[1]:.0%} might renew.")
    return " ".join(said)
