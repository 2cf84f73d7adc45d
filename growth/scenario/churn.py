"""Churn curves: the share of customers leaving at each age."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import Field, model_validator

from growth.scenario.entry import Assumption, Number, fraction, whole_months
from growth.scenario.relevance import curve_in_force
from growth.scenario.section import LONGEST, Section, broken


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
