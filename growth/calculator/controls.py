"""The calculator's controls, read from the table of assumptions: one line each, in the order of a customer's life."""

from __future__ import annotations

import math
import re
from typing import Any

from growth.calculator.as_said import as_said, written_in
from growth.calculator.language import LOCALE, label_and_help, messages, said
from growth.goals.lever_fields import lever_fields
from growth.scenario import Assumption, Scenario
from growth.scenario.address import Field, fields
from growth.scenario.dated_change import fixed_because
from growth.scenario.said import what_was_said

STAGES: dict[str, str] = messages()["stages"]  # part of the scenario -> its heading, in the order of the form
FLAGS = frozenset("share whole more lever cost unsure dated".split())  # of a line; one that is missing is false
MOST_UNFOLDED, FIRST = 6, 4  # a stage with more controls than this shows the first few, and folds the others


def controls(scenario: Scenario, locale: str = LOCALE) -> list[dict[str, Any]]:
    """The form's lines, in the order of a customer's life.

    An assumption has a line where it has a slider and is either always shown or set by the scenario. With several
    channels or plans the label says whose it is.

    Parameters
    ----------
    scenario : Scenario
        Single numbers, no arrays over draws.
    locale : str
        How labels, units and amounts are written.

    Returns
    -------
    list of dict
        path: the place in the scenario's JSON, list positions as numbers ("pay.plans.0.share"). stage, label, help:
        words. written: how a value stands in a text ("€{n} a month"), or its texts by plural category. low, high: the
        valid range. slider: lowest, highest, step (`slider_range`). share: a fraction, shown as per cent. whole: a
        whole number. more: folded, because its stage has many lines. lever: a number that the business can work on;
        cost: one that moves money left and not MRR. unsure: the reader can say how sure it is, because it moves MRR.
        dated: it may change from a month on.
    """
    found = [one for one in fields(scenario) if _shown(one, scenario)]
    order, position = list(STAGES), {one.path: number for number, one in enumerate(found)}
    found.sort(
        key=lambda one: (
            order.index(_part(_about(one).path)),
            position.get(_about(one).path, len(found)),
            one.place[0] == "changes",
        )
    )
    folded = {path for part in order for path in _folded([one for one in found if _part(_about(one).path) == part])}
    levers = {one.path for one in lever_fields(scenario, kind="cash")}
    costs = levers - {one.path for one in lever_fields(scenario)}
    flags = {"more": folded, "lever": levers, "cost": costs}
    return [
        line_of(one, scenario, locale) | {flag: one.path in paths for flag, paths in flags.items()} for one in found
    ]


def _about(field: Field) -> Field:
    """The number that a line is about: for what a change makes of one, that one."""
    return field.changed or field


def _part(path: str) -> str:
    head = path.split(".")[0]
    return head if head in STAGES else ""


def _folded(stage: list[Field]) -> list[str]:
    if len(stage) <= MOST_UNFOLDED:
        return []
    first = sorted(stage, key=lambda one: not one.assumption.always)[:FIRST]
    return [one.path for one in stage if one not in first]


def _whose(field: Field, locale: str) -> str:
    """Whose number it is where there are several: the channel's, the plan's, or that of a month."""
    if field.changed is not None:
        words = messages(locale)["whose"]["times" if field.name == "times" else "since"]
        since = said(words, month=str(getattr(field.section, "from_month", "")))
        return ", ".join(part for part in (_whose(field.changed, locale), since) if part)
    for item in reversed(field.items):
        if item.count > 1 and (name := getattr(item.section, "name", "")):
            return str(name)
        if month := getattr(item.section, "month", getattr(item.section, "from_month", None)):
            return said(messages(locale)["whose"]["month"], month=str(month))
    return ""


def _shown(field: Field, scenario: Scenario) -> bool:
    """Whether it has a control: a number in a list, and what changes nothing on the page, have none."""
    entry = field.entry
    if field.changed is not None and field.name == "times":
        return field.value is not None and field.matters(scenario)
    if entry is None or not entry.slider or field.value is None or isinstance(field.place[-1], int):
        return False
    return field.matters(scenario) and (entry.always or field.value != field.default or field.name == "share")


def line_of(one: Field, scenario: Scenario, locale: str = LOCALE) -> dict[str, Any]:
    """A number's words and ranges, as `controls` has them."""
    path, entry, said_of, whose = one.path, one.assumption, messages(locale), _whose(one, locale)
    label, help = label_and_help(_about(one).path, _about(one).kind, _about(one).assumption.label, entry.help, locale)
    plans = scenario.pay.plans
    unneeded = [f"pay.plans.{i}.monthly_price" for i, plan in enumerate(plans) if plan.billing == "monthly"]
    return {
        "path": path,
        "stage": said_of["stages"][_part(_about(one).path)],
        "label": said(said_of["whose"]["one"], label=label, whose=whose) if whose else label,
        "written": "{n}" if one.name == "times" else written_in(entry.unit, scenario.currency, locale),
        "help": " ".join(
            text
            for text in (
                "" if path in unneeded else help,
                *notes(path, scenario, locale),
                as_said(one.value, entry.unit, scenario.currency, locale),
            )
            if text
        ),
        "low": entry.low,
        "high": entry.high,
        "slider": list(slider_range(one.value, entry)),
        "share": entry.unit == "share",
        "whole": entry.whole,
        "unsure": entry.ranged and not entry.whole and _part(_about(one).path) not in ("bill", ""),
        "dated": one.changed is None and not fixed_because(one),
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


def slider_range(value: float, entry: Assumption) -> tuple[float, float, float]:
    """The slider's lowest and highest value and its step: from 0 to about four times the scenario's value.

    Where a value may be negative it reaches as far below 0 as above. A value of 0 takes the range of the table of
    assumptions. The step is the round number (1, 2 or 5 and zeros) next below a fortieth of the value, made finer
    where the value would otherwise lie between two steps.

    >>> slider_range(0.04, Assumption("Leaving", "share", 0, 1, slider=(0, 0.2, 0.001)))
    (0, 0.16, 0.001)
    """
    if value == 0:
        return entry.slider or (entry.low, entry.high, 1.0)
    step = round_down(abs(value) / 40)
    if entry.whole or (entry.unit in ("customers", "money", "money a month") and abs(value) >= 20):
        step = max(step, 1.0)
    finer = (step / divisor for divisor in (1, 2, 5, 10, 20, 50, 100, 1000))
    on_grid = (one for one in finer if abs(value / one - round(value / one)) < 1e-6)
    step = next(on_grid, step if what_was_said(value) else step / 1000)  # 2 of 63 lies on no grid
    high = min(_tidy(math.ceil(4 * abs(value) / step - 1e-9) * step), entry.high)
    if entry.low >= 0:
        return (min(_tidy(math.ceil(entry.low / step * (1 - 1e-9)) * step), value) or 0), max(high, value), step
    return max(-high, entry.low), high, step


def _tidy(value: float) -> float:
    return float(f"{value:.12g}")


def round_down(value: float) -> float:
    """The round number (1, 2 or 5 and zeros) at or below a value above 0.

    >>> round_down(13_000), round_down(0.00375)
    (10000.0, 0.002)
    """
    power = 10.0 ** math.floor(math.log10(value) + 1e-12)
    return _tidy(next(power * digit for digit in (5, 2, 1) if power * digit <= value * (1 + 1e-12)))
