"""Month 0: today's customers, what they pay, and how long they have been customers."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field, model_validator

from growth.scenario.entry import Number, amount, quantity, whole_months
from growth.scenario.relevance import by_age, mean_age
from growth.scenario.section import LONGEST, Section, broken


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
