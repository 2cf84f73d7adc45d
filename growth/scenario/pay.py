"""From visitor to sign-up, and from sign-up to paying customer on a plan."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import Field, model_validator

from growth.scenario.entry import Number, amount, fraction, quantity
from growth.scenario.relevance import common_conversion_rate, common_signup_rate, several_lags, several_plans
from growth.scenario.section import Name, Section, broken, unique_names
from growth.scenario.stay import Churn


class SignUp(Section):
    """From visitor to sign-up, for a free trial or a waiting list. Current customers refer further sign-ups."""

    signup_rate: Annotated[
        Number,
        fraction(
            "Visitors who sign up",
            slider=(0, 0.3, 0.001),
            always=True,
            matters=common_signup_rate,
            help="A free trial or a place on the list.",
        ),
    ] = 0.05
    monthly_referral_rate: Annotated[
        Number,
        quantity(
            "Sign-ups each customer sends a month",
            "sign-ups",
            high=10,
            slider=(0, 0.5, 0.005),
            help="Referrals: growth that compounds.",
        ),
    ] = 0.0


MONTHLY_PRICE = amount(
    "Price",
    unit="money a month",
    high=1e6,
    slider=(0, 500, 1),
    always=True,
    help="For a yearly plan a twelfth of its yearly price.",
)


class Plan(Section):
    """A price plan, priced by the month or the year. A yearly plan is paid twelve months in advance; its customers
    leave, and their price changes, only at renewal, at ages 12, 24, 36, ...

    Today's customers of the plan pay its `opening_price`: where it is left out, the price that the plan has when the
    scenario is made. Changing the price afterwards, as a slider, a what-if or a search does, leaves it as it is.
    """

    name: Name
    share: Annotated[
        Number, fraction("New customers who choose it", slider=(0, 1, 0.01), matters=several_plans, ranged=False)
    ] = 1.0
    monthly_price: Annotated[Number | None, MONTHLY_PRICE] = None
    yearly_price: Annotated[
        Number | None, amount("Price for a year", unit="money a year", high=1.2e7, slider=(0, 6_000, 10), always=True)
    ] = None
    billing: Literal["monthly", "yearly"] = "monthly"
    renewal_rate: Annotated[
        Number | None, fraction("Customers who renew after a year", slider=(0, 1, 0.01), always=True)
    ] = None
    churn: Churn | None = None
    opening_share: Annotated[
        Number | None, fraction("Of today's customers, have it", matters=several_plans, ranged=False)
    ] = None
    opening_price: Annotated[
        Number | None,
        amount("Price that today's customers pay", unit="money a month", high=1e6, matters=several_plans, ranged=False),
    ] = None

    @model_validator(mode="after")
    def _billing(self) -> Plan:
        for name in ("yearly_price", "renewal_rate"):
            if getattr(self, name) is not None and self.billing == "monthly":
                raise broken(f"{name} goes with billing: yearly", getattr(self, name))
        if self.monthly_price is None and self.yearly_price is None:
            raise broken(f"needed: {MONTHLY_PRICE.rule}", key="monthly_price")
        if self.monthly_price is not None and self.yearly_price is not None:
            raise broken("one price: monthly_price or yearly_price", fix="Leave one of them out.")
        return self

    @property
    def price(self) -> Number:
        """The price for a new customer, in money a month: the monthly price, or a twelfth of the yearly one."""
        if self.monthly_price is not None:
            return self.monthly_price
        return 0.0 if self.yearly_price is None else self.yearly_price / 12  # _billing makes sure that one is set

    def with_opening_price(self) -> Plan:
        """The plan with what its customers pay today filled in, without marking it as set.

        >>> Plan(name="Studio", yearly_price=240, billing="yearly").with_opening_price().opening_price
        20.0
        """
        if self.opening_price is not None:
            return self
        plan = self.model_copy()
        plan.__dict__["opening_price"] = self.price if isinstance(self.price, np.ndarray) else float(self.price)
        return plan

    def with_opening_price_stated(self) -> Plan:
        """The plan, without draws, with what its customers pay today marked as set if the price is another one now."""
        plan = self.with_opening_price().model_copy()
        if plan.opening_price == float(plan.price):
            plan.model_fields_set.discard("opening_price")
        else:
            plan.model_fields_set.add("opening_price")
        return plan


class Pay(Section):
    """From sign-up to paying customer, and the plans. `delay_shares` says when converts start paying: the first share
    in the month of the sign-up, the second a month later, and so on; the shares add up to one."""

    conversion_rate: Annotated[
        Number,
        fraction("Sign-ups who become customers", slider=(0, 1, 0.005), always=True, matters=common_conversion_rate),
    ] = 0.2
    delay_shares: Annotated[
        tuple[Annotated[float, fraction("Share paying so many months later", matters=several_lags, ranged=False)], ...],
        Field(min_length=1, max_length=25),
    ] = (1.0,)
    plans: Annotated[tuple[Plan, ...], Field(min_length=1, max_length=40)]

    @model_validator(mode="after")
    def _add_up(self) -> Pay:
        unique_names("plans", self.plans)
        if abs(sum(self.delay_shares) - 1) > 1e-9:
            raise broken("delay_shares adding to 1", f"{sum(self.delay_shares):.10g}")
        for name in ("share", "opening_share"):
            given = [getattr(plan, name) for plan in self.plans]
            if name == "opening_share" and all(value is None for value in given):
                continue
            if any(value is None for value in given):
                raise broken(f"{name} on every plan or on none")
            total = sum(np.asarray(value) for value in given)
            if np.any(np.abs(total - 1) > 1e-9):
                raise broken(f"{name} of all the plans adding to 1", f"{np.asarray(total).flat[0]:.10g}")
        return self
