"""The input cells: every number of a scenario that can change the workbook, read from the table of assumptions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.calculator.as_said import as_said
from growth.calculator.language import LOCALE, label_and_help, messages, said
from growth.scenario import Assumption, Scenario
from growth.scenario.address import Field, fields, find
from growth.scenario.dated_change import DatedChange
from growth.spreadsheet.formula import Formula, as_formula
from growth.spreadsheet.texts import input_name, item_words, workbook_words

_MARK = "\x00"  # in a label, where a month goes that has a cell of its own


@dataclass(frozen=True, slots=True, eq=False)
class Input:
    """One input cell: where its value stands in the scenario, its entry in the table, its words, and the value.

    about: the place of the number itself, also for what a change makes of it and for the month of that.
    around: the parts of the label before and after a month that has a cell of its own; None where it names none such.
    month: the place of that cell.
    title: the label without a month.
    """

    place: str
    about: str
    entry: Assumption
    label: str
    help: str
    value: float
    around: tuple[str, str] | None = None
    month: str = ""
    title: str = ""

    @property
    def name(self) -> str:
        """The name of the cell in formulas."""
        return input_name(self.place)

    @property
    def part(self) -> str:
        """The part of the scenario, and so of a customer's life, that it belongs to; "" for the aim."""
        head, _, rest = self.about.partition(".")
        return head if rest else ""


class Inputs:
    """The input cells of a scenario, in the order of a customer's life, and a formula for each of its numbers.

    >>> scenario = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> inputs = Inputs(scenario)
    >>> inputs["pay.plans.0.monthly_price"].text, inputs["pay.plans.0.share"].text  # a sole plan has all
    ('plan_1_monthly_price', '1')
    """

    def __init__(self, scenario: Scenario, *, locale: str = LOCALE):
        standing = (field for field in fields(scenario, always_first=True) if _stands(field, scenario))
        self.live = live_changes(scenario)
        found = [_input(field, scenario, locale) for field in standing]
        order = list(messages(locale)["stages"])
        self.cells = sorted(found, key=lambda one: order.index(one.part))
        self._scenario, self._names = scenario, {one.place: one.name for one in self.cells}
        self.changed = changed_fields(scenario)

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


def changed_fields(scenario: Scenario) -> dict[str, tuple[Field, dict[int, int]]]:
    """The numbers that change within the forecast, by place: each with the positions of its changes, by their months.

    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> later = Scenario(business="Fernhollow", months=9, pay={"plans": plans}, changes=[
    ...     {"from_month": month, "field": "bill.monthly_fixed_costs", "becomes": 500} for month in (7, 10)])
    >>> [(place, positions) for place, (_, positions) in changed_fields(later).items()]
    [('bill.monthly_fixed_costs', {7: 0})]
    """
    found: dict[str, tuple[Field, dict[int, int]]] = {}
    for position, change in enumerate(scenario.changes):
        field = find(scenario, change.field)
        if isinstance(field, Field) and change.from_month <= scenario.months:
            found.setdefault(field.path, (field, {}))[1][change.from_month] = position
    return found


def live_changes(scenario: Scenario) -> frozenset[int]:
    """The positions of the changes whose month is a cell.

    That of the others is fixed: rates by age stand in rows of their own for each stretch of months, wherever a plan's
    cohorts are told apart, and pieces keep the fade of the month in which they came out.
    """
    aged = any(by_age(scenario, number) for number in range(len(scenario.pay.plans)))
    return frozenset(
        position
        for place, (_, positions) in changed_fields(scenario).items()
        if not place.endswith(".monthly_fade_rate") and not (aged and is_rate_by_age(place))
        for position in positions.values()
    )


def is_rate_by_age(place: str) -> bool:
    """Whether a number says who leaves, renews or grows at each age."""
    return place.startswith(("stay.churn.", "grow.")) or ".churn." in place or place.endswith(".renewal_rate")


def _input(field: Field, scenario: Scenario, locale: str) -> Input:
    """Build an input cell with its words."""
    about, since, month = field.changed or field, "", ""
    if field.place[0] == "changes":
        position = int(field.place[1])
        month = f"changes.{position}.from_month" if position in live_changes(scenario) else ""
        of = find(scenario, scenario.changes[position].field)
        about = of if isinstance(of, Field) else field
    if field.changed is not None:
        words = messages(locale)["whose"]["times" if field.name == "times" else "since"]
        since = said(words, month=_MARK if month else str(_from_month(field)))
    label, help = label_of(about, locale, since=since)
    around = None
    if field.path == month:
        entry = _label_and_help(field.path, field.kind, field.assumption, locale)[0]
        label, help, month = said(messages(locale)["whose"]["one"], label=entry, whose=label), "", ""
    elif month:
        before, _, after = label.partition(_MARK)
        around, label = (before, after), label.replace(_MARK, str(_from_month(field)))
    told = as_said(field.value, field.assumption.unit, scenario.currency, locale)
    help = f"{help} {told}".strip()
    title = label if around is None else label_of(about, locale)[0]
    return Input(field.path, about.path, field.assumption, label, help, float(field.value), around, month, title)


def _from_month(field: Field) -> int:
    """The month of the change that a field belongs to."""
    return field.section.from_month if isinstance(field.section, DatedChange) else 1


def label_of(field: Field, locale: str, *, since: str = "") -> tuple[str, str]:
    """The label of a number, with its owner, and its line of help."""
    in_list = isinstance(field.place[-1], int)
    of = field.path.rpartition(".")[0] if in_list else field.path
    label, help = _label_and_help(of, field.kind, field.assumption, locale)
    which = [_whose(field, workbook_words(locale)["parts"])]
    if in_list:
        which.append(item_words(field.name, int(field.place[-1]), locale))
    whose = ", ".join(text for text in (*which, since) if text)
    return said(messages(locale)["whose"]["one"], label=label, whose=whose) if whose else label, help


def _label_and_help(place: str, kind: str, entry: Assumption, locale: str) -> tuple[str, str]:
    """The words of an assumption: those without a control on the page have theirs among the workbook's own."""
    own = workbook_words(locale)["own_assumptions"]
    steps = [step for step in place.split(".") if not step.isdigit()]
    found = next((own[key] for key in (".".join(steps[-2:]), steps[-1]) if key in own), None)
    return (found["label"], "") if found else label_and_help(place, kind, entry.label, entry.help, locale)


def _whose(field: Field, words: dict[str, str]) -> str:
    """The owner of a number: the channel or plan if there are several, the launch or change."""
    whose = ""
    for item in field.items:
        name, several = getattr(item.section, "name", None), item.count > 1
        if name is not None:
            whose = str(name) if several or item.of == "channels" else ""
        elif several or item.of in ("ages", "launches"):
            own = words[item.of].replace("{n}", str(item.position + 1))
            whose = f"{whose}, {own}" if whose else own
    return whose


def _stands(field: Field, scenario: Scenario) -> bool:
    """Whether it has a cell: its value can change the workbook, whose months and structure are fixed.

    The conversion rate can as soon as the referral rate beside it is no longer 0.
    """
    if field.value is None or field.place == ("months",):
        return False
    if field.place[0] == "changes" and field.name == "from_month":
        return field.place[1] in live_changes(scenario)
    if field.place[0] == "changes" and (field.changed is None or _from_month(field) > scenario.months):
        return False
    return field.matters(scenario) or field.path == "pay.conversion_rate"


def by_age(scenario: Scenario, number: int) -> bool:
    """Whether anything about a plan depends on age, so that its cohorts have to be told apart."""
    plan = scenario.pay.plans[number]
    curve = plan.churn or scenario.stay.churn
    return plan.billing == "yearly" or curve.curve != "constant" or scenario.grow.last_age_months is not None
