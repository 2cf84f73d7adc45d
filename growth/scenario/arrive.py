"""Channels, which bring visitors, sign-ups or customers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, StrictBool, Tag, model_validator

from growth.scenario.entry import Assumption, Number, amount, fraction, quantity, whole_months
from growth.scenario.section import LONGEST, Name, Section, broken, unique_names


class Launch(Section):
    """A one-off: visitors come in `month`, and each later month brings (1 - monthly_fade_rate) times as many."""

    month: Annotated[int, whole_months("Month of the launch", low=1, high=LONGEST)]
    visitors: Annotated[Number, quantity("Visitors in the launch month", "visitors a month")]
    monthly_fade_rate: Annotated[Number, fraction("Of them, fewer each month after")] = 0.5


Factor = Annotated[Number, Assumption("Factor of the calendar month", "times", 0, 100)]


class Channel(Section):
    """What all channels share. A channel is active from `first_month` to `last_month`, inclusive."""

    name: Name
    first_month: Annotated[int, whole_months("First month", low=1, high=LONGEST)] = 1
    last_month: Annotated[int | None, whole_months("Last month", low=1, high=LONGEST)] = None
    season: Annotated[tuple[Factor, ...] | None, Field(min_length=12, max_length=12)] = None  # January to December
    monthly_cost: Annotated[Number, amount("Cost of the channel", unit="money a month", slider=(0, 5_000, 10))] = 0.0

    @model_validator(mode="after")
    def _in_order(self) -> Channel:
        if self.last_month is not None and self.last_month < self.first_month:
            raise broken(f"last_month at or after first_month ({self.first_month})", self.last_month)
        return self


class ConvertingChannel(Channel):
    """A channel whose sign-ups convert at a rate and with a delay. If `running_before` is true and the channel is
    active in month 1, the months before had as many sign-ups as month 1."""

    running_before: StrictBool = True
    conversion_rate: Annotated[Number | None, fraction("Sign-ups who become customers", slider=(0, 1, 0.005))] = None


class VisitorChannel(ConvertingChannel):
    """A channel of visitors, who sign up at a rate."""

    launches: Annotated[tuple[Launch, ...], Field(max_length=60)] = ()
    signup_rate: Annotated[Number | None, fraction("Visitors who sign up", slider=(0, 0.3, 0.001))] = None


def _growth_in(
    what: str, *, always: bool = True, help: str = "Compounding: each month on top of the last."
) -> Assumption:
    return fraction(f"Growth in {what} each month", low=-0.9, slider=(-0.1, 0.2, 0.001), always=always, help=help)


class SteadyChannel(VisitorChannel):
    """Compounding visitors: a level in the first month, a growth rate, and optionally a ceiling."""

    kind: Literal["steady"] = "steady"
    monthly_visitors: Annotated[
        Number, quantity("Visitors a month", "visitors a month", slider=(0, 10_000, 10), always=True)
    ] = 0.0
    monthly_growth_rate: Annotated[Number, _growth_in("visitors")] = 0.0
    visitor_ceiling: Annotated[
        Number | None, quantity("Most visitors it can bring", "visitors a month", low=1e-6, slider=(100, 50_000, 100))
    ] = None


class ContentChannel(VisitorChannel):
    """Visitors from published pieces, published from first to last month. A piece keeps drawing visits after that."""

    kind: Literal["content"]
    monthly_pieces: Annotated[
        Number, quantity("Pieces published a month", "number", high=1000, slider=(0, 20, 0.5), always=True)
    ]
    peak_monthly_visits: Annotated[
        Number, quantity("Visits to a piece in its first month", "visitors a month", slider=(0, 5_000, 10), always=True)
    ]
    tail_monthly_visits: Annotated[
        Number, quantity("Visits to an old piece", "visitors a month", slider=(0, 500, 1), always=True)
    ] = 0.0
    monthly_fade_rate: Annotated[Number, fraction("How fast a piece fades each month", slider=(0, 1, 0.01))] = 0.5
    earlier_pieces: Annotated[
        Number, quantity("Old pieces already published", "number", high=1e6, slider=(0, 500, 1))
    ] = 0.0


class PaidChannel(VisitorChannel):
    """Bought visitors: a visit costs cost_per_visit x (1 + budget / budget_that_doubles_cost)."""

    kind: Literal["paid"]
    monthly_budget: Annotated[Number, amount("Budget", unit="money a month", slider=(0, 10_000, 10), always=True)]
    monthly_growth_rate: Annotated[Number, _growth_in("budget", always=False, help="")] = 0.0
    cost_per_visit: Annotated[
        Number, amount("Cost of a visit at a small budget", low=1e-6, slider=(0.05, 20, 0.05), always=True)
    ]
    budget_that_doubles_cost: Annotated[
        Number | None,
        amount(
            "Budget at which a visit costs double",
            unit="money a month",
            low=1e-6,
            slider=(100, 50_000, 100),
            help="The more is spent, the dearer a visit: at this budget, twice the cost at a small one.",
        ),
    ] = None


class SignUpChannel(ConvertingChannel):
    """Sign-ups counted directly, for a business that does not count visitors: a level, growth and a ceiling."""

    kind: Literal["sign_ups"]
    monthly_sign_ups: Annotated[
        Number,
        quantity("Sign-ups a month", "sign-ups", slider=(0, 200, 0.5), always=True, help="Trials begun, or names."),
    ]
    monthly_growth_rate: Annotated[Number, _growth_in("sign-ups")] = 0.0
    sign_up_ceiling: Annotated[
        Number | None, quantity("Most sign-ups it can bring", "sign-ups", low=1e-6, slider=(10, 2_000, 10))
    ] = None


class CustomerChannel(Channel):
    """New paying customers counted directly, without sign-ups: a level, growth and a ceiling."""

    kind: Literal["customers"]
    monthly_customers: Annotated[
        Number, quantity("New customers a month", "customers a month", slider=(0, 100, 0.5), always=True)
    ]
    monthly_growth_rate: Annotated[Number, _growth_in("new customers")] = 0.0
    customer_ceiling: Annotated[
        Number | None, quantity("Most customers it can bring", "customers a month", low=1e-6, slider=(5, 1_000, 5))
    ] = None


def _kind(value: Any) -> str:
    return value.get("kind", "steady") if isinstance(value, dict) else getattr(value, "kind", "steady")


AnyChannel = Annotated[
    Annotated[SteadyChannel, Tag("steady")]
    | Annotated[ContentChannel, Tag("content")]
    | Annotated[PaidChannel, Tag("paid")]
    | Annotated[SignUpChannel, Tag("sign_ups")]
    | Annotated[CustomerChannel, Tag("customers")],
    Discriminator(_kind),
]


class Arrive(Section):
    """The channels. Without any, new customers come by referral only."""

    channels: Annotated[tuple[AnyChannel, ...], Field(max_length=40)] = ()

    @model_validator(mode="after")
    def _unique(self) -> Arrive:
        unique_names("channels", self.channels)
        return self

    @property
    def counted(self) -> str:
        """The earliest stage counted by any channel: "visitors", "sign_ups" or "customers"."""
        kinds = {channel.kind for channel in self.channels}
        if not kinds or kinds - {"sign_ups", "customers"}:
            return "visitors"
        return "sign_ups" if "sign_ups" in kinds else "customers"
