"""Billing records of invented businesses whose truth is known, as they happen in real ones: fourteen kinds.

Everything is invented, and nothing here uses the project's model. Unless its kind says otherwise a business is 30
months old when its records begin. About 8 customers join a month, 4% leave at any age, prices rise by a quarter for 2%
of customers a month and fall by a fifth for 0.5%, and 5% of those who leave come back after one to eight months without
paying. Records span 24 months.

    steady            as above
    small             2 join a month
    large             60 join a month
    differing         each customer has a churn of its own: beta(1, 18)
    late payers       5% of charges are paid a month late
    never charged     3% of months are never charged, and the customer stays
    failed cards      6% of charges fail: 60% are paid a month later, 20% two months later, 20% of the customers leave
    churn halved      from 6% to 3%, eight months ago
    bursts            4 join a month, and one month in six brings 24 more
    growth            8% more join each month
    season            joining varies by half over the year
    price rise        15% more for everybody, ten months ago
    yearly            40% pay by the year, many of whom did so before the records begin; 80% renew
    moving plans      prices rise for 4% of customers a month and fall for 4%
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

KNOWN, AHEAD, BEFORE = 24, 12, 30  # months in the records, after them, and before them
FIRST = np.datetime64("2023-04")
HALVED, RAISED = KNOWN - 8, KNOWN - 10  # the first month of the new churn and of the new prices


@dataclass(frozen=True)
class World:
    """What a business is made from; rates are fractions a month, and `growth` is that of joining."""

    joins: float = 8.0
    churn: float = 0.04
    beta: tuple[float, float] | None = None  # of each customer's own churn
    churn_before: float | None = None
    up: float = 0.02
    down: float = 0.005
    growth: float = 0.0
    season: float = 0.0
    burst: float = 0.0  # more who join, in one month of six
    late: float = 0.0
    skipped: float = 0.0
    failed: float = 0.0
    returned: float | None = None  # of failed charges, how many are tried again; all show as charged and paid back
    price_rise: float = 0.0
    yearly: float = 0.0
    renewal: float = 0.8

    def joining(self, month: int) -> float:
        """Expected customers who join in a month; 0 is the first of the records."""
        season = 1 + self.season * np.sin(2 * np.pi * month / 12)
        return (self.joins * season + self.burst / 6) * (1 + self.growth) ** (month - KNOWN + 1)


WORLDS = {
    "steady": World(),
    "small": World(joins=2.0),
    "large": World(joins=60.0),
    "differing": World(beta=(1.0, 18.0)),
    "late payers": World(late=0.05),
    "never charged": World(skipped=0.03),
    "failed cards": World(failed=0.06),
    "churn halved": World(churn=0.03, churn_before=0.06),
    "bursts": World(joins=4.0, burst=24.0),
    "growth": World(joins=20.0, growth=0.08),
    "season": World(season=0.5),
    "price rise": World(price_rise=0.15),
    "yearly": World(yearly=0.4),
    "moving plans": World(up=0.04, down=0.04),
}

# as "failed cards", by debits that the bank returns: charged and paid back, and 80% of them tried up to twice more. Of
# those who leave by will 15% have their last charge paid back, and 3% two of them: our own assumptions
RETURNED = World(failed=0.06, returned=0.8)


@dataclass
class Truth:
    """MRR by month, from the first of the records to 12 months after the last, and the rates behind it.

    churn: the share leaving a month now. joins: expected, on average over the last 12 months. expansion, contraction:
    expected, of the MRR of those who stay. growth: of joining.
    """

    mrr: np.ndarray
    churn: float
    joins: float
    expansion: float
    contraction: float
    growth: float


@dataclass
class Charges:
    """The rows of an export, as columns of equal length."""

    customer: list[int] = field(default_factory=list)
    month: list[int] = field(default_factory=list)
    amount: list[float] = field(default_factory=list)
    months: list[int] = field(default_factory=list)
    plan: list[str] = field(default_factory=list)
    ended: dict[tuple[int, int], bool] = field(default_factory=dict)  # customer, last month paid: by failed payment

    @property
    def columns(self) -> tuple[list, ...]:
        """Customer, month, amount, months, plan."""
        return self.customer, self.month, self.amount, self.months, self.plan

    def add(self, customer: int, month: int, amount: float, months: int, plan: str) -> None:
        """Add a row."""
        for column, value in zip(self.columns, (customer, month, amount, months, plan), strict=True):
            column.append(value)

    def charge_in_vain(self, customer: int, month: int, price: float, plan: str, times: int) -> None:
        """Charge and pay back so many times, as for a debit that the bank returns."""
        for _ in range(times):
            self.add(customer, month, price, 1, plan)
            self.add(customer, month, -price, 1, plan)

    def csv(self, random: np.random.Generator) -> str:
        """The rows of the records as CSV, in any order; each customer is charged on a day of its own."""
        day = random.integers(1, 29, max(self.customer, default=0) + 1)
        lines = ["customer,date,amount,months,plan"]
        for customer, month, amount, months, plan in zip(*self.columns, strict=True):
            if 0 <= month < KNOWN:
                date = f"{FIRST + month}-{day[customer]:02}"
                lines.append(f"shop-{customer},{date},{amount:.2f},{months},{plan}")
        return "\n".join(lines) + "\n"


def business(world: World, seed: list[int]) -> tuple[str, Truth]:
    """Make a business; return its records as CSV, and the truth."""
    charges, random, truth = live(world, seed)
    return charges.csv(random), truth


def live(world: World, seed: list[int]) -> tuple[Charges, np.random.Generator, Truth]:
    """Live the lives of all customers; return charges, the generator for what is left to chance, and truth."""
    random = np.random.default_rng(seed)
    charges, mrr = Charges(), np.zeros(KNOWN + AHEAD)
    at_risk, leaving = np.zeros(2)
    customer = 0
    for month in range(-BEFORE, KNOWN + AHEAD):
        came = (
            random.poisson(world.joining(month) - world.burst / 6)
            if world.burst
            else random.poisson(world.joining(month))
        )
        if world.burst and random.random() < 1 / 6:
            came += random.poisson(world.burst)
        for _ in range(came):
            risk = one_customer(world, customer, month, random, charges, mrr)
            at_risk, leaving = at_risk + risk[0], leaving + risk[1]
            customer += 1
    since = [world.joining(month) for month in range(KNOWN - 12, KNOWN)]
    truth = Truth(mrr, leaving / at_risk, float(np.mean(since)), world.up * 0.25, world.down * 0.2, world.growth)
    return charges, random, truth


def one_customer(
    world: World, customer: int, start: int, random: np.random.Generator, charges: Charges, mrr: np.ndarray
) -> tuple[int, float]:
    """Live one customer's life; return its months at risk in the last ones known, and the churn in them, summed."""
    plan, price = ("Solo", 19.0) if random.random() < 0.7 else ("Team", 49.0)
    yearly = random.random() < world.yearly
    own = random.beta(*world.beta) if world.beta else world.churn
    months, churn = 0, 0.0
    window = range(HALVED if world.churn_before else KNOWN - 12, KNOWN)
    if world.price_rise and start >= RAISED:
        price *= 1 + world.price_rise
    month, leave = start, False
    while month < KNOWN + AHEAD:
        if world.price_rise and month == RAISED and month > start:
            price *= 1 + world.price_rise
        if month > start and not (yearly and (month - start) % 12):
            step = random.random()
            factor = 12 if yearly else 1
            price *= 1.25 if step < world.up * factor else 0.8 if step > 1 - world.down * factor else 1.0
        if month >= 0:
            mrr[month] += price
        if not yearly:
            leave = pay(world, customer, month, price, plan, random, charges)
        elif (month - start) % 12 == 0:
            charges.add(customer, month, 12 * price, 12, plan)
        rate = world.churn_before if world.churn_before and month + 1 < HALVED else own
        if yearly:
            rate = 1 - world.renewal if (month + 1 - start) % 12 == 0 else 0.0
        if month + 1 in window:
            months, churn = months + 1, churn + rate + (1 - rate) * (not yearly) * world.failed * 0.2
        month += 1
        if leave or random.random() < rate:
            if world.returned is not None:
                charges.ended[customer, month - 1 - leave] = leave
                times = 0 if leave else int(np.searchsorted([0.82, 0.97], random.random()))  # none, one, two
                charges.charge_in_vain(customer, month, price, plan, times)
            if random.random() >= 0.05:
                break
            month += int(random.integers(1, 9))  # comes back, at the price it had
            start = month
    return months, churn


def pay(
    world: World, customer: int, month: int, price: float, plan: str, random: np.random.Generator, charges: Charges
) -> bool:
    """Charge a month; return whether the customer leaves because the charge failed for good."""
    luck = random.random()
    if luck < world.skipped:
        return False
    if luck < world.failed:
        outcome = random.random()
        if world.returned is not None:
            again = 1 + int(random.integers(1, 3)) if random.random() < world.returned else 1
            charges.charge_in_vain(customer, month, price, plan, again)
        if outcome < 0.8:
            charges.add(customer, month + (1 if outcome < 0.6 else 2), price, 1, plan)
        return outcome >= 0.8
    charges.add(customer, month + (luck > 1 - world.late), price, 1, plan)
    return False


def with_size(world: World, times: float) -> World:
    """The same world with so many times the customers."""
    return replace(world, joins=world.joins * times, burst=world.burst * times)
