"""Churn curves, changes of churn and comebacks; expansion and price changes; costs and cash."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import Field, model_validator

from growth.scenario.entry import Assumption, Number, amount, fraction, whole_months
from growth.scenario.relevance import curve_in_force, lifetime_value_alone, reaches_those_on_board
from growth.scenario.section import LONGEST, Name, Section, broken


class ConstantChurn(Section):
    """Constant churn at every age."""

    curve: Literal["constant"]
    monthly_churn_rate: Annotated[
        Number,
        fraction(
            "Customers leaving each month",
            slider=(0, 0.2, 0.001),
            always=True,
            matters=curve_in_force,
            help="Churn: the share of customers on board who cancel in a month.",
        ),
    ] = 0.04


class EarlyLateChurn(Section):
    """One churn rate at ages 1 to `early_months`, another after that."""

    curve: Literal["early_late"]
    early_monthly_churn_rate: Annotated[
        Number,
        fraction("New customers leaving each month", slider=(0, 0.4, 0.001), always=True, matters=curve_in_force),
    ]
    late_monthly_churn_rate: Annotated[
        Number,
        fraction(
            "Longer-standing customers leaving each month", slider=(0, 0.2, 0.001), always=True, matters=curve_in_force
        ),
    ]
    early_months: Annotated[
        int,
        whole_months(
            "Months in which a customer counts as new", low=1, high=LONGEST, slider=(1, 24, 1), matters=curve_in_force
        ),
    ] = 3


ALPHA = Assumption(
    "How readily new customers leave (alpha)",
    "number",
    1e-3,
    1e3,
    (0.05, 5, 0.01),
    always=True,
    matters=curve_in_force,
    help="Of new customers, alpha / (alpha + beta) leave in their first month: the larger alpha, the more.",
)
BETA = Assumption(
    "How firmly customers stay (beta)",
    "number",
    1e-3,
    1e3,
    (0.5, 60, 0.1),
    always=True,
    matters=curve_in_force,
    help="The larger beta, the fewer leave. Where both are small customers differ much, and churn falls fast.",
)


class ShiftedBetaGeometric(Section):
    """sBG: customers differ in their own churn rate, so churn falls with age. Churn at age 1 is
    alpha / (alpha + beta). Fader and Hardie (2007), Journal of Interactive Marketing 21(1), 76-90."""

    curve: Literal["sbg"]
    alpha: Annotated[Number, ALPHA]
    beta: Annotated[Number, BETA]


class BetaDiscreteWeibull(Section):
    """BdW: the sBG with a shape c. Each customer's own churn rises with age if c > 1 and falls if c < 1; c = 1 is sBG.
    S(a) = B(alpha, beta + a^c) / B(alpha, beta). Fader, Hardie, Liu, Davin and Steenburgh (2018)."""

    curve: Literal["bdw"]
    alpha: Annotated[Number, ALPHA]
    beta: Annotated[Number, BETA]
    shape: Annotated[
        Number,
        Assumption(
            "How each customer's churn moves with age (c)",
            "number",
            0.1,
            3,
            (0.2, 2.5, 0.01),
            matters=curve_in_force,
            help="Below 1 each customer is less ready to leave the longer they stay, above 1 more ready; 1 is neither.",
        ),
    ] = 1.0


Survivors = Annotated[Number, fraction("Share still on board", matters=curve_in_force, ranged=False)]


class MeasuredChurn(Section):
    """A measured survival curve at ages 1, 2, 3, ..., with constant churn after the last age."""

    curve: Literal["measured"]
    survival: Annotated[tuple[Survivors, ...], Field(min_length=1, max_length=LONGEST)]
    tail_monthly_churn_rate: Annotated[
        Number,
        fraction(
            "Leaving each month after the measured ages", slider=(0, 0.2, 0.001), always=True, matters=curve_in_force
        ),
    ]

    @model_validator(mode="after")
    def _falls(self) -> MeasuredChurn:
        for age, (before, after) in enumerate(zip((1.0, *self.survival), self.survival, strict=False), start=1):
            if np.any(np.asarray(after) > np.asarray(before)):
                raise broken(f"survival that never rises; at age {age} it does", after)
        return self


Churn = Annotated[
    ConstantChurn | EarlyLateChurn | ShiftedBetaGeometric | BetaDiscreteWeibull | MeasuredChurn,
    Field(discriminator="curve"),
]


class ChurnChange(Section):
    """From `from_month` on, churn is multiplied by `factor`, up to 1. Several changes multiply."""

    from_month: Annotated[int, whole_months("From month", low=1, high=LONGEST)]
    factor: Annotated[
        Number,
        Assumption(
            "Customers leaving from then on, against before",
            "times",
            0,
            5,
            (0, 2, 0.01),
            always=True,
            help="From that month on: 0.9 is a tenth fewer leaving, 1 changes nothing.",
        ),
    ]


class Comeback(Section):
    """A share of the customers who leave in a month come back `after_months` later, on the same plan and at the same
    MRR. Their age counts from their return."""

    comeback_rate: Annotated[Number, fraction("Leavers who come back", slider=(0, 0.5, 0.005), always=True)]
    after_months: Annotated[int, whole_months("Months until they come back", low=1, high=LONGEST, slider=(1, 24, 1))]


class Stay(Section):
    """Churn, changes to it over time, and comebacks."""

    churn: Churn = ConstantChurn(curve="constant")
    churn_changes: Annotated[tuple[ChurnChange, ...], Field(max_length=60)] = ()
    comeback: Comeback | None = None


class PriceChange(Section):
    """In `month` prices change by `change_rate` (0.1 is a 10% rise), for new customers only or for all. Existing
    customers of a yearly plan are affected at their next renewal. `provoked_churn_rate` is the share of affected
    customers who leave because of it, once; `lost_new_rate` the share of new customers of the plan who, from that month
    on, no longer come because of it."""

    month: Annotated[int, whole_months("Month of the price change", low=1, high=LONGEST)]
    change_rate: Annotated[Number, fraction("Price change", low=-0.99, high=10, slider=(-0.5, 1, 0.01), always=True)]
    applies_to: Literal["new", "all"] = "new"
    plan: Name | None = None
    provoked_churn_rate: Annotated[
        Number, fraction("Customers who leave because of it", slider=(0, 0.5, 0.005), matters=reaches_those_on_board)
    ] = 0.0
    lost_new_rate: Annotated[Number, fraction("New customers lost to it, from then on", slider=(0, 0.5, 0.005))] = 0.0

    @model_validator(mode="after")
    def _reaches(self) -> PriceChange:
        if self.applies_to == "new" and np.any(np.asarray(self.provoked_churn_rate) > 0):
            raise broken("provoked_churn_rate goes with applies_to: all", self.provoked_churn_rate)
        return self


class Grow(Section):
    """Monthly expansion and contraction, as shares of the MRR of customers who stay, at ages 1 to `last_age_months`."""

    monthly_expansion_rate: Annotated[
        Number,
        fraction(
            "Those who stay pay more, each month",
            slider=(0, 0.1, 0.001),
            always=True,
            help="Expansion: upgrades and added seats, as a share of what they paid.",
        ),
    ] = 0.0
    monthly_contraction_rate: Annotated[
        Number,
        fraction(
            "Those who stay pay less, each month",
            slider=(0, 0.1, 0.001),
            help="Contraction: downgrades, as a share of what they paid.",
        ),
    ] = 0.0
    last_age_months: Annotated[
        int | None, whole_months("Age after which they pay the same", low=1, high=LONGEST, slider=(1, 60, 1))
    ] = None
    price_changes: Annotated[tuple[PriceChange, ...], Field(max_length=60)] = ()


class Bill(Section):
    """Costs, opening cash and the discount rate."""

    payment_fee_rate: Annotated[
        Number, fraction("Payment fees", slider=(0, 0.1, 0.001), help="A share of what is charged.")
    ] = 0.0
    fee_per_payment: Annotated[Number, amount("Fee on each payment", high=1e4, slider=(0, 2, 0.01))] = 0.0
    monthly_cost_to_serve: Annotated[
        Number, amount("Cost to serve a customer", unit="money a month", high=1e6, slider=(0, 50, 0.1))
    ] = 0.0
    monthly_fixed_costs: Annotated[Number, amount("Fixed costs", unit="money a month", slider=(0, 20_000, 50))] = 0.0
    opening_cash: Annotated[Number, amount("Cash today", low=-1e9, slider=(-50_000, 100_000, 500))] = 0.0
    monthly_discount_rate: Annotated[
        Number,
        fraction(
            "Discount",
            slider=(0, 0.05, 0.001),
            matters=lifetime_value_alone,
            help="How much less money is worth a month later; used for lifetime value alone.",
        ),
    ] = 0.01

    @classmethod
    def cash_fields(cls) -> list[str]:
        """The names of the fields that affect cash: all but the discount rate."""
        return [name for name in cls.model_fields if name != "monthly_discount_rate"]
