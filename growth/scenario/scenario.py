"""The table of assumptions: every number a forecast depends on, defined once with unit, range, default and label.

The sections follow a customer's life: opening, arrive, sign_up, pay, stay, grow, bill. A scenario is validated on
construction and immutable. Numbers may be arrays over draws, shape (draws,), all of one length; integers may not.

>>> scenario = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
>>> scenario.stay.churn.monthly_churn_rate
0.04
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Any

import numpy as np
from pydantic import AfterValidator, BaseModel, Field, PrivateAttr, StrictBool, model_validator

from growth.errors import Problem
from growth.scenario.about_numbers import Correlation, Effort, Source
from growth.scenario.address import find
from growth.scenario.arrive import Arrive
from growth.scenario.dated_change import LEVELS, DatedChange, later_scenarios
from growth.scenario.entry import Number, amount, quantity, whole_months
from growth.scenario.pay import Pay, SignUp
from growth.scenario.relevance import by_age, mean_age
from growth.scenario.section import LONGEST, Currency, Month, Name, Section, Text, broken
from growth.scenario.stay import Bill, Grow, Stay
from growth.scenario.what_if import WhatIf, check_names


class AgeCount(Section):
    """How many of the opening customers are of a given age in months."""

    age_months: Annotated[int, whole_months("Months on board", low=0, high=LONGEST, matters=by_age)]
    customers: Annotated[Number, quantity("Customers of that age", "customers", matters=by_age)]


class Opening(Section):
    """The position at the close of month 0.

    With `ages`, customers are spread over ages in proportion to the counts, which need not add up to `customers`. With
    `mean_age_months` alone, they are spread evenly over ages 0 to 2 x mean_age_months. With neither, customers of a
    yearly plan are spread evenly over ages 0 to 11, so that a twelfth of them renews each month, and all others have
    age 0. If `mrr` is left out, each customer pays the price of their plan.
    """

    customers: Annotated[
        Number,
        quantity(
            "Customers today", "customers", slider=(0, 500, 1), always=True, help="Paying customers on board now."
        ),
    ] = 0.0
    mrr: Annotated[
        Number,
        amount(
            "What they pay in all",
            unit="money a month",
            slider=(0, 20_000, 10),
            always=True,
            help="MRR, monthly recurring revenue: what today's customers pay a month, yearly plans counted a twelfth.",
        ),
    ] = 0.0
    mean_age_months: Annotated[
        int | None,
        whole_months(
            "How long they have been customers, on average", low=0, high=60, slider=(0, 60, 1), matters=mean_age
        ),
    ] = None
    ages: Annotated[tuple[AgeCount, ...] | None, Field(min_length=1, max_length=LONGEST + 1)] = None

    @model_validator(mode="after")
    def _agree(self) -> Opening:
        if np.any((np.asarray(self.customers) == 0) & (np.asarray(self.mrr) > 0)):
            raise broken("no customers pay nothing: with customers 0, mrr must be 0", f"mrr {self.mrr}")
        ages = [entry.age_months for entry in self.ages or ()]
        if len(set(ages)) != len(ages):
            raise broken("each age once in opening.ages", ages)
        counted = [np.asarray(entry.customers) for entry in self.ages or ()]
        if counted and np.any(sum(counted, np.zeros(1)) <= 0):
            raise broken("at least one customer in opening.ages", 0)
        return self


class Scenario(Section):
    """A business and its assumptions. The constructor raises pydantic's ValidationError; `growth.load_scenario` turns
    it into a ScenarioError with file and line."""

    _draws: int | None = PrivateAttr(default=None)

    business: Name
    owner: Text = ""
    invented: StrictBool = False
    teaches: Text = ""
    currency: Currency = "EUR"
    first_month: Month = "2027-01"
    months: Annotated[
        int, whole_months("Months to look ahead", low=1, high=LONGEST, slider=(12, LONGEST, 1), always=True)
    ] = 36
    goal_mrr: Annotated[
        Number | None,
        amount("The monthly revenue you want", unit="money a month", low=0.01, slider=(500, 50_000, 100), always=True),
    ] = None
    goal_left: Annotated[
        Number | None,
        amount(
            "What should be left each month",
            unit="money a month",
            low=0.01,
            slider=(500, 20_000, 100),
            always=True,
            help="Cash in less all that goes out, which is what you can pay yourself, before tax.",
        ),
    ] = None
    opening: Opening = Opening()
    arrive: Arrive = Arrive()
    sign_up: SignUp = SignUp()
    pay: Pay
    stay: Stay = Stay()
    grow: Grow = Grow()
    bill: Bill = Bill()
    changes: Annotated[tuple[DatedChange, ...], Field(max_length=60)] = ()
    what_ifs: Annotated[tuple[WhatIf, ...], Field(max_length=6), AfterValidator(check_names)] = ()
    sources: Annotated[tuple[Source, ...], Field(max_length=200)] = ()
    efforts: Annotated[tuple[Effort, ...], Field(max_length=60)] = ()
    correlations: Annotated[tuple[Correlation, ...], Field(max_length=40)] = ()

    @model_validator(mode="after")
    def _whole(self) -> Scenario:
        plans = {plan.name for plan in self.pay.plans}
        for change in self.grow.price_changes:
            if change.plan is not None and change.plan not in plans:
                raise broken(f"grow.price_changes: plan is one of {', '.join(sorted(plans))}, or left out", change.plan)
        self._draws = draw_count(self)
        if len(self.pay.plans) > 1:
            self.__dict__["pay"] = self.pay.model_copy()  # frozen to everyone else
            self.pay.__dict__["plans"] = tuple(plan.with_opening_price() for plan in self.pay.plans)
        if "mrr" not in self.opening.model_fields_set:
            self.__dict__["opening"] = self.opening.model_copy()  # frozen to everyone else
            self.opening.__dict__["mrr"] = self.mrr_at_todays_prices()  # without marking it as set
        later_scenarios(self)  # for what it raises
        return self

    @cached_property
    def _later(self) -> tuple[Scenario, tuple[tuple[int, Scenario], ...]]:
        return self, later_scenarios(self)

    @property
    def later(self) -> tuple[tuple[int, Scenario], ...]:
        """The months from which `changes` hold, in order, each with the scenario in force from then on."""
        if not self.changes:
            return ()
        if self._later[0] is not self:  # that of the scenario this one is a copy of
            del self.__dict__["_later"]
        return self._later[1]

    def level_changes(self, channel: int) -> dict[int, DatedChange]:
        """The changes of the level or budget of a channel (its position, from 0), by the month from which they hold.

        >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]}, arrive={
        ...     "channels": [{"name": "search"}]}, changes=[{"from_month": 7, "times": 2,
        ...     "field": "arrive.channels.search.monthly_visitors"}])
        >>> base.level_changes(0)[7].times
        2.0
        """
        by_month = {}
        for change in self.changes:
            if change.field.rsplit(".", 1)[-1] in LEVELS:
                field = find(self, change.field)
                if not isinstance(field, Problem) and field.place[2] == channel:
                    by_month[change.from_month] = change
        return by_month

    def in_force(self, month: int) -> Scenario:
        """The scenario whose numbers hold in `month`, 1..T: this one with all changes up to the month made.

        >>> plans = [{"name": "Studio", "monthly_price": 29}]
        >>> rising = Scenario(business="Fernhollow", pay={"plans": plans}, changes=[{"from_month": 4, "becomes": 39,
        ...     "field": "pay.plans.Studio.monthly_price"}])
        >>> [rising.in_force(month).pay.plans[0].price for month in (3, 4)]
        [29.0, 39.0]
        """
        return next((later for start, later in reversed(self.later) if start <= month), self)

    def mrr_at_todays_prices(self) -> Number:
        """MRR of the opening customers, in money a month, if each pays the opening price of their plan."""
        plans = self.pay.plans
        shares = [plan.share if plan.opening_share is None else plan.opening_share for plan in plans]
        prices = [plan.price if plan.opening_price is None else plan.opening_price for plan in plans]
        mrr = self.opening.customers * sum(share * price for share, price in zip(shares, prices, strict=True))
        mrr = np.minimum(np.round(mrr, 6), 1e9)
        return mrr if isinstance(mrr, np.ndarray) else float(mrr)

    def with_opening_stated(self) -> Scenario:
        """The scenario, without draws, with MRR and opening prices that followed from prices that have changed since
        marked as set, so that they are written out."""
        scenario = self
        if len(self.pay.plans) > 1:
            plans = tuple(plan.with_opening_price_stated() for plan in self.pay.plans)
            scenario = self.model_copy(update={"pay": self.pay.model_copy(update={"plans": plans})})
        opening = self.opening
        if "mrr" in opening.model_fields_set or opening.mrr == self.mrr_at_todays_prices():
            return scenario
        return scenario.model_copy(update={"opening": opening.model_copy(update={"mrr": opening.mrr})})

    def calendar(self, month: int) -> str:
        """The calendar month of month 1, 2, ... of the forecast, such as "2027-01"."""
        year, number = divmod(int(self.first_month[:4]) * 12 + int(self.first_month[5:]) + month - 2, 12)
        return f"{year}-{number + 1:02d}"

    @property
    def draws(self) -> int | None:
        """The number of draws in the scenario's arrays; None if it has none."""
        return self._draws


def numbers(section: Any) -> Iterator[np.ndarray]:
    """Iterate over the arrays over draws in a scenario or a part of it."""
    if isinstance(section, np.ndarray):
        yield section
    elif isinstance(section, BaseModel):
        for name in type(section).model_fields:
            yield from numbers(getattr(section, name))
    elif isinstance(section, tuple):
        for part in section:
            yield from numbers(part)


def draw_count(scenario: Scenario) -> int | None:
    """Count the draws in a scenario's arrays.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    int or None
        None if no number is an array.

    Raises
    ------
    PydanticCustomError
        The arrays differ in length.

    Examples
    --------
    >>> draw_count(Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]}, bill={
    ...     "payment_fee_rate": np.array([0.02, 0.03])}))
    2
    """
    sizes = {array.size for array in numbers(scenario)}
    if len(sizes) > 1:
        raise broken("arrays over draws of one length", sorted(sizes))
    return sizes.pop() if sizes else None
