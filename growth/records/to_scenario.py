"""The values of a scenario from what was measured, each with its interval and source, or marked as a default."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from growth.errors import count_of
from growth.records.churn_fit import FEW_LEAVERS, Fit
from growth.records.estimate import KindMeasures, Measured
from growth.records.intervals import Rate
from growth.records.read.values import NONE

MOST_PLANS = 40
FEW_PLANS = 3  # up to so many plans keep their names, however few customers there are
OWN_CURVE = 3 * FEW_LEAVERS  # leavers that a monthly plan needs for a churn curve of its own
DEFAULT = "not in the records: a default"
CURVES = {
    "constant": "the same share leaves at every age",
    "early_late": "one share leaves early, another later",
    "sbg": "customers differ, so fewer leave the longer they have stayed",
    "bdw": "customers differ, and each changes with age",
}


@dataclass(slots=True)
class Value:
    """One value of the file, and the comment beside it.

    measured: what tells how unsure it is: its rate or, of the name of a curve, the fit.
    """

    value: Any
    comment: str
    measured: Rate | Fit | None = None

    @classmethod
    def of(cls, rate: Rate) -> Value:
        """A measured rate, with its interval and source."""
        return cls(number(rate.value), interval(rate), rate)


def assumptions(measured: Measured, *, business: str, invented: bool = False, months: int = 36) -> dict[str, Any]:
    """Return the `scenario` part of a file as nested dicts and lists, whose leaves are `Value` or plain values.

    business: its name in the file, which the records do not have. months: how far the scenario looks ahead, 1 to 120.
    """
    book = measured.book
    top = {"business": business, **({"invented": True} if invented else {}), "currency": book.rows.currency}
    top |= {
        "first_month": str(book.calendar_month(book.months)),
        "months": Value(months, "not measured: how far to look ahead"),
    }
    return top | {
        "opening": _opening(measured),
        **_arrivals(measured),
        "pay": _pay(measured),
        "stay": _stay(measured),
        "grow": _grow(measured),
        "bill": {
            "payment_fee_rate": Value(0, DEFAULT),
            "monthly_cost_to_serve": Value(0, DEFAULT),
            "monthly_fixed_costs": Value(0, DEFAULT),
            "opening_cash": Value(0, DEFAULT),
        },
    }


def plain_values(part: Any) -> Any:
    """Return nested values without their comments, as `Scenario` takes them."""
    if isinstance(part, Value):
        return part.value
    if isinstance(part, dict):
        return {key: plain_values(value) for key, value in part.items()}
    return [plain_values(value) for value in part] if isinstance(part, list) else part


def leaves(part: Any, address: str = "") -> Iterator[tuple[str, Value]]:
    """Go through the values that have a comment, each with its address in the scenario, such as pay.plans.0.share."""
    if isinstance(part, Value):
        yield address, part
    elif isinstance(part, (dict, list)):
        for key, one in part.items() if isinstance(part, dict) else enumerate(part):
            yield from leaves(one, f"{address}.{key}".lstrip("."))


def interval(rate: Rate) -> str:
    """Return a rate's interval and source as a comment puts them.

    >>> interval(Rate(0.25, 0.2, 0.3, "25 of 100; Wilson"))
    '95%: 0.2 to 0.3; 25 of 100; Wilson'
    >>> interval(Rate(29.0, 29.0, 29.0, "mean first MRR of 7; normal"))
    'no interval, all are the same; mean first MRR of 7'
    """
    if why := no_interval(rate):
        return f"no interval, {why}; {rate.source.rsplit('; ', 1)[0]}"
    return f"95%: {number(rate.low):.12g} to {number(rate.high):.12g}; {rate.source}"


def no_interval(rate: Rate) -> str:
    """Say why an interval without width is none (that nothing varied makes no value certain); "" for others."""
    if abs(rate.high - rate.low) > 1e-9 * abs(rate.value):
        return ""
    return "all are the same" if rate.value else "none was seen"


def number(value: float) -> float:
    """Round a measured value to four significant digits, from 100 on to six."""
    digits = 4 if abs(value) < 100 else 6
    return float(f"{value:.{digits}g}")


def _opening(measured: Measured) -> dict[str, Any]:
    book, runs = measured.book, measured.runs
    customers, mrr = int(measured.moves.closing[-1].sum()), float(measured.moves.closing_mrr[-1].sum())
    values: dict[str, Any] = {
        "customers": Value(customers, f"counted in {book.last_month}"),
        "mrr": Value(round(mrr, 2), "summed in the same month"),
    }
    if not customers:
        return values
    unknown, yearly = runs.entry == NONE, book.yearly[runs.kind]
    then = np.where(unknown, np.where(yearly, 12, measured.unknown_age), runs.entry)  # a renewal ends a first year
    age = (then + runs.length - 1)[~runs.left]
    ages, counts = np.unique(np.minimum(age, 120), return_counts=True)
    note = ""
    if earlier := int((unknown & ~runs.left).sum()):
        note = f"; {earlier:,} were there before the records begin: {unknown_age_text(measured)}"
    values["ages"] = Value(
        [{"age_months": int(a), "customers": int(n)} for a, n in zip(ages, counts, strict=True)],
        f"months on board, counted in the same month{note}",
    )
    return values


def unknown_age_text(measured: Measured) -> str:
    """Say how customers of unknown age count."""
    if measured.chosen.curve == "constant":
        return "the age does not matter, since the same share leaves at every age"
    age = measured.unknown_age
    months = "new" if not age else f"about {count_of(age, 'month')} old"
    return f"they have left since as customers do who were {months} at the beginning, and count as such"


def _arrivals(measured: Measured) -> dict[str, Any]:
    """Choose visitors, whom billing records do not show, so that the measured number of customers joins."""
    joining = measured.joining
    signup, new, growth = 0.05, joining.level, joining.growth
    conversion = _conversion(measured).value
    rate = number(joining.steady_growth[0])
    visitors = float(f"{float(joining.first(rate)) / signup / conversion:.3g}")
    told = f"nobody joins: {new.source}"
    if visitors:
        told = (
            f"not in the records: so many that with the shares below {number(visitors * signup * conversion):.12g} "
            f"customers join in month 1{' times its season' if joining.season else ''}; "
            f"measured {number(new.value):.12g} a month ({interval(new)})"
        )
    elif not joining.joins.size:
        told = "not in the records: a single month does not tell who joins"
    channel: dict[str, Any] = {
        "name": "everyone who joins",
        "kind": "steady",
        "monthly_visitors": Value(visitors, told),
    }
    if growth is None:
        channel["monthly_growth_rate"] = Value(0, "too few months or customers to tell: no growth")
    else:
        unsure = "not told apart from none, and " if growth.low <= 0 <= growth.high else ""
        note = (
            f"measured {number(growth.value):.12g} ({interval(growth)}): {unsure}drawn towards 0 as far as it is unsure"
            f" (that there is growth at all is {joining.sure:.0%} likely)"
        )
        channel["monthly_growth_rate"] = Value(rate, note)
    if joining.season:
        channel["season"] = Value(
            list(joining.season), "January to December; one wave of a year, by Poisson regression"
        )
    return {"arrive": {"channels": [channel]}, "sign_up": {"signup_rate": Value(signup, DEFAULT)}}


def _conversion(measured: Measured) -> Value:
    if not measured.conversion:
        return Value(0.2, DEFAULT)
    return Value(number(measured.conversion.value) or 0.2, interval(measured.conversion))


def _pay(measured: Measured) -> dict[str, Any]:
    found: dict[str, Any] = {"conversion_rate": _conversion(measured)}
    if len(measured.delays) > 1:
        shares = _adding_to_one(measured.delays)
        found["delay_shares"] = Value(shares, "months from the sign-up to the first payment, of those who paid")
    shown = shown_plans(measured)
    shares = _adding_to_one([kind.share.value for kind in shown.values()])
    openings = _adding_to_one([kind.customers for kind in shown.values()])
    plans = []
    for (name, kind), share, opening in zip(shown.items(), shares, openings, strict=True):
        taken = {
            "share": Value(share, interval(kind.share)),
            "opening_share": Value(opening, f"{count_of(kind.customers, 'customer')} in the last month"),
        }
        plans.append(_plan(name, kind, taken if len(shown) > 1 else {}, measured))
    return found | {"plans": plans}


def shown_plans(measured: Measured) -> dict[str, KindMeasures]:
    """Return the kinds of plan for the scenario by name: those with customers now or lately, at most 40, largest first.

    Named by plan, and by billing too where a plan is sold both ways; numbered where names may be those of customers.
    """
    used = [kind for kind in measured.kinds if kind.customers or kind.share.value]
    used = used or sorted(measured.kinds, key=lambda kind: -kind.table.at_risk.sum())[:1]
    kinds = sorted(used, key=lambda kind: (-kind.customers, kind.plan, kind.billing))[:MOST_PLANS]
    if might_be_customers(kinds):
        return {f"plan {place}": kind for place, kind in enumerate(kinds, start=1)}
    plans = [kind.plan for kind in kinds]
    return {kind.plan if plans.count(kind.plan) == 1 else f"{kind.plan}, {kind.billing}": kind for kind in kinds}


def might_be_customers(kinds: Collection[KindMeasures]) -> bool:
    """Return whether there are so many plans for so few customers that plans may be named after customers."""
    plans = len({kind.plan for kind in kinds})
    return plans > FEW_PLANS and 2 * plans > sum(kind.customers for kind in kinds)


def _plan(name: str, kind: KindMeasures, taken: dict[str, Value], measured: Measured) -> dict[str, Any]:
    """One plan. taken: by which shares of customers, if it is not the only one."""
    price = kind.price or kind.arpa or Rate(0.0, 0.0, 0.0, "nobody has it")
    price = price if kind.price else replace(price, source=f"nobody joined lately: ARPA of {price.source}")
    plan: dict[str, Any] = {"name": name, "monthly_price": Value.of(price), **taken, "billing": kind.billing}
    if kind.billing == "yearly":
        plan["renewal_rate"] = Value.of(kind.renewal) if kind.renewal else Value(0.8, DEFAULT)
    elif fit := own_curve(kind, measured):
        plan["churn"] = churn(fit, kind.why, seen=kind.fitted.at_risk.size)
    return plan


def own_curve(kind: KindMeasures, measured: Measured) -> Fit | None:
    """Return a plan's own churn curve: of one of several monthly plans, with enough leavers; None for others."""
    monthly = [other for other in shown_plans(measured).values() if other.billing == "monthly"]
    return kind.chosen if len(monthly) > 1 and kind.fitted.left.sum() >= OWN_CURVE else None


def churn(fit: Fit, why: str, *, seen: int) -> dict[str, Any]:
    """Return a fitted curve as a section with intervals. seen: the oldest age in the records, in months."""
    beyond = f"; seen to an age of {seen} months, the curve goes on from there" if seen else ""
    section: dict[str, Any] = {"curve": Value(fit.curve, f"{CURVES[fit.curve]}; {why}{beyond}", fit)}
    how = "Wilson" if fit.curve in ("constant", "early_late") else "normal in the logarithm"
    for name, value in fit.values.items():
        if name not in fit.low:
            section[name] = Value(int(value), "the split that fits best")
        elif (fit.low[name], fit.high[name]) == (0, 1):
            section[name] = Value(number(value), DEFAULT)
        else:
            section[name] = Value(number(value), interval(Rate(value, fit.low[name], fit.high[name], how)))
    return section


def _stay(measured: Measured) -> dict[str, Any]:
    seen = measured.fitted.at_risk.size
    stay: dict[str, Any] = {"churn": churn(measured.chosen, f"monthly plans: {measured.why}", seen=seen)}
    if measured.comeback and number(measured.comeback.value) > 0:
        stay["comeback"] = {
            "comeback_rate": Value.of(measured.comeback),
            "after_months": Value(max(measured.comeback_after, 1), "the median wait"),
        }
    return stay


def _grow(measured: Measured) -> dict[str, Any]:
    rates = {"monthly_expansion_rate": measured.expansion, "monthly_contraction_rate": measured.contraction}
    return {name: Value(min(number(rate.value), 1.0), interval(rate), rate) for name, rate in rates.items()}


def _adding_to_one(shares: Any) -> list[float]:
    """Round shares to four digits so that they add up to one; equal shares if all are 0."""
    shares = np.asarray(shares, float)
    shares = shares / shares.sum() if shares.sum() > 0 else np.full(shares.size, 1 / shares.size)
    rounded = np.round(shares, 4)
    rounded[np.argmax(rounded)] += 1 - rounded.sum()
    return [float(f"{share:.10g}") for share in rounded]
