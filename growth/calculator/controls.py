"""The calculator's controls, read from the table of assumptions: one line each, in the order of a customer's life."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from babel.numbers import get_currency_symbol
from pydantic import BaseModel

from growth.calculator.language import LOCALE, label_and_help, messages, said
from growth.engine.life import ageless
from growth.scenario import Assumption, Scenario
from growth.scenario.entries import assumption_of, tag_of

STAGES: dict[str, str] = messages()["stages"]  # part of the scenario -> its heading, in the order of the form
MOST_UNFOLDED, FIRST = 6, 4  # a stage with more controls than this shows the first few, and folds the others


def controls(scenario: Scenario, locale: str = LOCALE) -> list[dict[str, Any]]:
    """One entry a control: path, stage, label, suffix, help, low, high, slider (low, high, step), share, whole, more.

    A control stands for every assumption with a slider that is always shown or that the scenario sets. `path` is the
    place in the scenario's JSON, list positions as numbers ("arrive.channels.0.monthly_visitors"). The slider is
    widened where the scenario's value lies beyond it. With several channels or plans the label says whose it is. `more`
    marks those that stand folded: in a stage with many controls all but the first few that are always shown.
    """
    found = [one for one in _walk(scenario, locale) if _shown(one, scenario)]
    order = list(STAGES)
    found.sort(key=lambda one: order.index(_part(one.path)))
    folded = {path for part in order for path in _folded([one for one in found if _part(one.path) == part])}
    return [_control(one, scenario, locale) | {"more": one.path in folded} for one in found]


@dataclass(frozen=True, slots=True)
class _Field:
    """A field of the scenario: its place, its value, its entry, its default, the kind of its section, and whose it
    is.
    """

    path: str
    value: Any
    entry: Assumption
    default: Any
    kind: str
    whose: str


def _part(path: str) -> str:
    head = path.split(".")[0]
    return head if head in STAGES else ""


def _folded(stage: list[_Field]) -> list[str]:
    if len(stage) <= MOST_UNFOLDED:
        return []
    first = sorted(stage, key=lambda one: not one.entry.always)[:FIRST]
    return [one.path for one in stage if one not in first]


def _walk(section: BaseModel, locale: str, path: str = "", whose: str = "") -> Iterator[_Field]:
    of_month = messages(locale)["whose"]["month"]
    for name, info in type(section).model_fields.items():
        value, place = getattr(section, name), f"{path}.{name}".lstrip(".")
        entry = assumption_of(info)
        if isinstance(value, BaseModel):
            yield from _walk(value, locale, place, whose)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for index, part in enumerate(value):
                named = getattr(part, "name", "") if len(value) > 1 else ""
                month = getattr(part, "month", getattr(part, "from_month", None))
                own = named or (said(of_month, month=str(month)) if month else whose)
                yield from _walk(part, locale, f"{place}.{index}", own)
        elif entry and not isinstance(value, tuple):
            default = None if info.is_required() else info.default
            yield _Field(place, value, entry, default, tag_of(type(section)), whose)


def _shown(one: _Field, scenario: Scenario) -> bool:
    """Whether it has a control: a sole plan's share and what moves nothing on the page have none."""
    if not one.entry.slider or one.value is None or not _matters(one.path, scenario):
        return False
    return one.entry.always or one.value != one.default or one.path.endswith(".share")


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
        return any(getattr(channel, "signup_rate", 0) is None for channel in channels)
    if path == "pay.conversion_rate":
        referred = scenario.sign_up.monthly_referral_rate > 0
        return referred or any(getattr(channel, "conversion_rate", 0) is None for channel in channels)
    return path != "bill.monthly_discount_rate"  # lifetime value alone


def _control(one: _Field, scenario: Scenario, locale: str) -> dict[str, Any]:
    path, entry, said_of = one.path, one.entry, messages(locale)
    label, help = label_and_help(path, one.kind, entry.label, entry.help, locale)
    plans = scenario.pay.plans
    unneeded = [f"pay.plans.{i}.monthly_price" for i, plan in enumerate(plans) if plan.billing == "monthly"]
    return {
        "path": path,
        "stage": said_of["stages"][_part(path)],
        "label": said(said_of["whose"]["one"], label=label, whose=one.whose) if one.whose else label,
        "suffix": _suffix(entry.unit, scenario.currency, locale),
        "help": " ".join(text for text in ("" if path in unneeded else help, *notes(path, scenario, locale)) if text),
        "low": entry.low,
        "high": entry.high,
        "slider": list(_slider(one.value, entry)),
        "share": entry.unit == "share",
        "whole": entry.whole,
    }


def notes(path: str, scenario: Scenario, locale: str = LOCALE) -> list[str]:
    """What has to be said beside a number of this scenario, and not of every one: what was taken for a number that the
    file does not state, and whom the number does not reach.

    >>> plans = [{"name": "Studio", "yearly_price": 240, "billing": "yearly"}]
    >>> notes("opening.mrr", Scenario(business="Fernhollow", opening={"customers": 63}, pay={"plans": plans}))
    ["Not stated, so each of today's customers is taken to pay the price of their plan."]
    """
    said_of, opening, plans = messages(locale)["notes"], scenario.opening, scenario.pay.plans
    yearly = [plan for plan in plans if plan.billing == "yearly"]
    aboard = opening.customers > 0
    found = []
    if path == "opening.mrr" and aboard and "mrr" not in opening.model_fields_set:
        found.append("mrr")
    if path == "opening.customers" and aboard and yearly and opening.ages is None and opening.mean_age_months is None:
        found.append("ages")
    if re.fullmatch(r"pay\.plans\.\d+\.(monthly|yearly)_price", path) and aboard:
        found.append("price")
    if path.startswith("stay.churn.") and path.endswith("monthly_churn_rate"):
        followers = [plan for plan in yearly if plan.churn is None and plan.renewal_rate is None]
        found += ["churn_yearly"] if followers else []
        found += ["churn_renewal"] if any(plan.renewal_rate is not None for plan in yearly) else []
    return [said_of[name] for name in found]


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
    return said(messages(locale)["units"][unit], symbol=symbol)


def _round_up(value: float) -> float:
    """The next of 1, 2, 5 x 10^k.

    >>> _round_up(13_000)
    20000.0
    """
    power = 10.0 ** math.floor(math.log10(value))
    return next(power * digit for digit in (1, 2, 5, 10) if power * digit >= value)
