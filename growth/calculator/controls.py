"""The calculator's controls, read from the table of assumptions: one line each, in the order of a customer's life."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from babel.numbers import get_currency_symbol
from pydantic import BaseModel

from growth.calculator.words import LOCALE
from growth.engine.life import ageless
from growth.scenario import Assumption, Scenario
from growth.scenario.entries import assumption_of

STAGES = {
    "opening": "Today",
    "arrive": "Arrive",
    "sign_up": "Try",
    "pay": "Pay",
    "stay": "Stay",
    "grow": "Grow",
    "bill": "Costs",
    "": "Aim",
}


def controls(scenario: Scenario, locale: str = LOCALE) -> list[dict[str, Any]]:
    """One entry a control: path, stage, label, suffix, help, low, high, slider (low, high, step), share, whole.

    A control stands for every assumption with a slider that is always shown or that the scenario sets. `path` is the
    place in the scenario's JSON, list positions as numbers ("arrive.channels.0.monthly_visitors"). The slider is
    widened where the scenario's value lies beyond it. With several channels or plans the label says whose it is.
    """
    found = [
        _control(path, value, entry, whose, scenario, locale)
        for path, value, entry, default, whose in _walk(scenario)
        if _shown(path, value, entry, default, scenario)
    ]
    order = list(STAGES.values())
    return sorted(found, key=lambda control: order.index(control["stage"]))


def _walk(section: BaseModel, path: str = "", whose: str = "") -> Iterator[tuple[str, Any, Assumption, Any, str]]:
    for name, info in type(section).model_fields.items():
        value, place = getattr(section, name), f"{path}.{name}".lstrip(".")
        entry = assumption_of(info)
        if isinstance(value, BaseModel):
            yield from _walk(value, place, whose)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for index, part in enumerate(value):
                named = getattr(part, "name", "") if len(value) > 1 else ""
                month = getattr(part, "month", getattr(part, "from_month", None))
                yield from _walk(part, f"{place}.{index}", named or (f"month {month}" if month else whose))
        elif entry and not isinstance(value, tuple):
            yield place, value, entry, None if info.is_required() else info.default, whose


def _shown(path: str, value: Any, entry: Assumption, default: Any, scenario: Scenario) -> bool:
    """Whether it has a control: a sole plan's share and what moves nothing on the page have none."""
    if not entry.slider or value is None or not _matters(path, scenario):
        return False
    return entry.always or value != default or path.endswith(".share")


def _matters(path: str, scenario: Scenario) -> bool:
    """Whether moving it can change what the page shows."""
    plans, channels = scenario.pay.plans, scenario.arrive.channels
    if path == "opening.mean_age_months":
        return scenario.opening.ages is None and not ageless(scenario)
    if path.endswith(".share"):
        return len(plans) > 1
    if path.startswith("stay.churn."):
        return any(plan.churn is None and plan.renewal_rate is None for plan in plans)
    if path.startswith("pay.plans.") and ".churn." in path:
        return plans[int(path.split(".")[2])].renewal_rate is None
    if path == "sign_up.signup_rate":
        return any(channel.signup_rate is None for channel in channels)
    if path == "pay.conversion_rate":
        referred = scenario.sign_up.monthly_referral_rate > 0
        return referred or any(channel.conversion_rate is None for channel in channels)
    return path != "bill.monthly_discount_rate"  # lifetime value alone


def _control(path: str, value: float, entry: Assumption, whose: str, scenario: Scenario, locale: str) -> dict[str, Any]:
    plans = scenario.pay.plans
    unneeded = [f"pay.plans.{i}.monthly_price" for i, plan in enumerate(plans) if plan.billing == "monthly"]
    head = path.split(".")[0]
    return {
        "path": path,
        "stage": STAGES.get(head, STAGES[""]),
        "label": f"{entry.label}: {whose}" if whose else entry.label,
        "suffix": _suffix(entry.unit, scenario.currency, locale),
        "help": "" if path in unneeded else entry.help,
        "low": entry.low,
        "high": entry.high,
        "slider": list(_slider(value, entry)),
        "share": entry.unit == "share",
        "whole": entry.whole,
    }


def _slider(value: float, entry: Assumption) -> tuple[float, float, float]:
    """The slider's lowest and highest value and its step, widened where the value lies beyond them."""
    low, high, step = entry.slider
    steps = (step / divisor for divisor in (1, 2, 5, 10, 20, 50, 100, 1000))  # the thumb stands where the number is
    step = next((one for one in steps if abs(value / one - round(value / one)) < 1e-6), step)
    if value > high:
        high = min(_round_up(value * 1.5), entry.high)
    elif value < 0 and value < low:
        low = max(-_round_up(-value * 1.5), entry.low)
    elif value == 0 and value < low:
        low = 0.0
    elif value < low:  # small and above zero: in steps small enough to reach it
        low = step = 1.0 if entry.whole else min(step, _round_up(value / 2))
    return low, high, step


def _suffix(unit: str, currency: str, locale: str) -> str:
    symbol = get_currency_symbol(currency, locale=locale.replace("-", "_"))
    return {
        "share": "%",
        "money": symbol,
        "money a month": f"{symbol} a month",
        "visitors a month": "a month",
        "sign-ups": "a month",
        "times": "times",
        "number": "",
    }.get(unit, unit)


def _round_up(value: float) -> float:
    """The next of 1, 2, 5 x 10^k.

    >>> _round_up(13_000)
    20000.0
    """
    power = 10.0 ** math.floor(math.log10(value))
    return next(power * digit for digit in (1, 2, 5, 10) if power * digit >= value)
