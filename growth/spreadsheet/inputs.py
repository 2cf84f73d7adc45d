"""The input cells: every number of a scenario that can change the workbook, read from the table of assumptions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from growth.calculator.language import LOCALE, label_and_help, messages, said
from growth.scenario import Assumption, Scenario
from growth.scenario.entries import assumption_of, tag_of
from growth.spreadsheet.formula import Formula, as_formula
from growth.spreadsheet.names import input_name
from growth.spreadsheet.workbook_text import item_words, workbook_words


@dataclass(frozen=True, slots=True, eq=False)
class Input:
    """One input cell: where its value stands in the scenario, its entry in the table, its words, and the value."""

    place: str
    entry: Assumption
    label: str
    help: str
    value: float

    @property
    def name(self) -> str:
        """The name of the cell in formulas."""
        return input_name(self.place)

    @property
    def part(self) -> str:
        """The part of the scenario, and so of a customer's life, that it belongs to; "" for the aim."""
        head, _, rest = self.place.partition(".")
        return head if rest else ""


class Inputs:
    """The input cells of a scenario, in the order of a customer's life, and a formula for each of its numbers.

    >>> scenario = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> inputs = Inputs(scenario)
    >>> inputs["pay.plans.0.monthly_price"].text, inputs["pay.plans.0.share"].text  # a sole plan has all
    ('plan_1_monthly_price', '1')
    """

    def __init__(self, scenario: Scenario, *, locale: str = LOCALE):
        found = [one for one in _walk(scenario, locale) if _matters(one.place, scenario)]
        order = list(messages(locale)["stages"])
        self.cells = sorted(found, key=lambda one: order.index(one.part))
        self._scenario, self._names = scenario, {one.place: one.name for one in self.cells}

    def __getitem__(self, place: str) -> Formula:
        """The value at a place: the name of its input cell, or the plain number where it has none."""
        value: Any = self._scenario
        for step in place.split("."):
            value = value[int(step)] if isinstance(value, tuple) else getattr(value, step)
        return Formula(self._names[place], float(value)) if place in self._names else as_formula(value)

    def span(self, place: str) -> Formula:
        """The input cells of a list of numbers, which stand one below the other."""
        return Formula(input_name(place), np.array([one.value for one in self.list_at(place)]))

    def list_at(self, place: str) -> list[Input]:
        """The input cells of a list of numbers."""
        return [one for one in self.cells if one.place.rpartition(".")[0] == place]


def _walk(section: BaseModel, locale: str, place: str = "", whose: str = "") -> Iterator[Input]:
    fields = sorted(type(section).model_fields.items(), key=lambda item: _later(item[1]))
    for name, info in fields:
        value, where = getattr(section, name), f"{place}.{name}".lstrip(".")
        entry = assumption_of(info)
        if isinstance(value, BaseModel):
            yield from _walk(value, locale, where, whose)
        elif isinstance(value, tuple):
            for index, part in enumerate(value):
                if isinstance(part, BaseModel):
                    mine = _whose(name, part, index, len(value), whose, workbook_words(locale)["parts"])
                    yield from _walk(part, locale, f"{where}.{index}", mine)
                elif entry:
                    which = ", ".join(text for text in (whose, item_words(name, index, locale)) if text)
                    yield _input(f"{where}.{index}", where, entry, section, which, part, locale)
        elif entry and value is not None:
            yield _input(where, where, entry, section, whose, value, locale)


def _input(place: str, of: str, entry: Assumption, section: BaseModel, whose: str, value: float, locale: str) -> Input:
    """An input cell with its words; of: the place of the field it is, or of the list that it stands in."""
    label, help = _label_and_help(of, tag_of(type(section)), entry, locale)
    label = said(messages(locale)["whose"]["one"], label=label, whose=whose) if whose else label
    return Input(place, entry, label, help, float(value))


def _label_and_help(place: str, kind: str, entry: Assumption, locale: str) -> tuple[str, str]:
    """The words of an assumption: those without a control on the page have theirs among the workbook's own."""
    own = workbook_words(locale)["own_assumptions"]
    steps = [step for step in place.split(".") if not step.isdigit()]
    found = next((own[key] for key in (".".join(steps[-2:]), steps[-1]) if key in own), None)
    return (found["label"], "") if found else label_and_help(place, kind, entry.label, entry.help, locale)


def _later(info: FieldInfo) -> bool:
    """Within a section what is always shown comes first."""
    entry = assumption_of(info)
    return entry is not None and not entry.always


def _whose(name: str, part: BaseModel, index: int, of: int, whose: str, words: dict[str, str]) -> str:
    """Whose number it is: the channel's or the plan's where there are several, the launch's or the change's."""
    named = getattr(part, "name", None)
    if named is not None:
        return named if of > 1 or name == "channels" else ""
    own = words[name].replace("{n}", str(index + 1)) if of > 1 or name in ("ages", "launches") else ""
    return ", ".join(text for text in (whose, own) if text)


def _matters(place: str, scenario: Scenario) -> bool:
    """Whether another number there can change the workbook, within the structure it is exported with."""
    plans, channels, steps = scenario.pay.plans, scenario.arrive.channels, place.split(".")
    if place == "months" or place == "bill.monthly_discount_rate":  # fixed; lifetime value alone
        return False
    if place.startswith("opening.ages") or place == "opening.mean_age_months":
        return any(by_age(scenario, number) for number in range(len(plans))) and (
            place.startswith("opening.ages") or not scenario.opening.ages
        )
    if place.startswith("pay.delay_shares"):
        return len(scenario.pay.delay_shares) > 1
    if place.endswith((".share", ".opening_share")):
        return len(plans) > 1
    if place.startswith("stay.churn."):
        return any(plan.churn is None and plan.renewal_rate is None for plan in plans)
    if place.startswith("pay.plans.") and steps[3] == "churn":
        return plans[int(steps[2])].renewal_rate is None
    if place == "sign_up.signup_rate":
        return any(getattr(channel, "signup_rate", 0) is None for channel in channels)
    if place.endswith("provoked_churn_rate"):
        return scenario.grow.price_changes[int(steps[2])].applies_to == "all"
    return True


def by_age(scenario: Scenario, number: int) -> bool:
    """Whether anything about a plan depends on age, so that its cohorts have to be told apart."""
    plan = scenario.pay.plans[number]
    curve = plan.churn or scenario.stay.churn
    return plan.billing == "yearly" or curve.curve != "constant" or scenario.grow.last_age_months is not None
