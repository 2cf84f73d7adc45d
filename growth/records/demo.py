"""Billing records of an invented business, generated from known parameters so that measuring can be checked.

Fernhollow Studio Planner and all its customers are invented. The same seed gives the same rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from growth.records.paid_months import PaidMonths, spread_payments
from growth.records.read import Rows, Unreadable
from growth.records.read.rows import months_of
from growth.records.unpaid_months import positions

COLUMNS = ("customer", "date", "amount", "months", "plan", "currency")


@dataclass(frozen=True, slots=True)
class DemoBusiness:
    """The parameters that rows are generated from; rates are fractions a month.

    signups: mean sign-ups a month (Poisson), growing by monthly_growth_rate. conversion_rate: share of them that pays,
    spread by delay_shares over the month of the sign-up and those after. yearly_share: of payers, on the yearly plan,
    of whom renewal_rate renew each year. alpha, beta: of the sBG curve by which monthly customers leave; with alpha 0,
    beta is a constant churn rate. rise, fall: probability that a customer's price goes up by a quarter, or down by a
    fifth. comeback_rate: share of monthly leavers who return after comeback_months. refund_rate: share of monthly
    charges that are made twice by mistake and refunded once.
    """

    months: int = 36
    first_month: str = "2024-01"
    signups: float = 25.0
    monthly_growth_rate: float = 0.0
    conversion_rate: float = 0.4
    delay_shares: tuple[float, ...] = (0.6, 0.4)
    yearly_share: float = 0.25
    renewal_rate: float = 0.8
    alpha: float = 0.8
    beta: float = 12.0
    price: float = 29.0
    yearly_price: float = 290.0
    rise: float = 0.02
    fall: float = 0.01
    comeback_rate: float = 0.1
    comeback_months: int = 2
    refund_rate: float = 0.005

    @property
    def monthly_expansion_rate(self) -> float:
        """Expected share of the MRR of those who stay that is gained in a month."""
        return self.rise * 0.25

    @property
    def monthly_contraction_rate(self) -> float:
        """Expected share of the MRR of those who stay that is given up in a month."""
        return self.fall * 0.2


def demo_rows(business: DemoBusiness, *, seed: int) -> dict[str, np.ndarray]:
    """Generate charge rows as columns of equal length, in the order of their dates.

    customer: whole numbers from 0; date: datetime64[D]; amount: major units, negative for refunds, 0 for a trial;
    months: how many are paid for; plan: text. All charges of a customer fall on the same day of the month.

    >>> rows = demo_rows(DemoBusiness(months=6), seed=1)
    >>> sorted(rows)
    ['amount', 'customer', 'date', 'months', 'plan']
    """
    random = np.random.default_rng(seed)
    last = business.months - 1
    expected = business.signups * (1 + business.monthly_growth_rate) ** np.arange(business.months)
    signed_up = np.repeat(np.arange(business.months), random.poisson(expected))
    day = random.integers(0, 28, signed_up.size)
    delay = random.choice(len(business.delay_shares), signed_up.size, p=business.delay_shares)
    pays = (random.random(signed_up.size) < business.conversion_rate) & (signed_up + delay <= last)
    customer = np.flatnonzero(pays)
    yearly = random.random(customer.size) < business.yearly_share
    start = (signed_up + delay)[customer]
    parts = [
        _part(np.arange(signed_up.size), signed_up, np.zeros(signed_up.size)),
        _yearly(business, random, customer[yearly], start[yearly]),
        *_monthly(business, random, customer[~yearly], start[~yearly]),
    ]
    rows = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    rows["plan"] = np.full(rows["month"].size, "Studio")
    order = np.lexsort((rows["customer"], day[rows["customer"]], rows["month"]))
    rows = {name: values[order] for name, values in rows.items()}
    month = np.datetime64(business.first_month, "M") + rows.pop("month").astype("m8[M]")
    rows["date"] = month.astype("M8[D]") + day[rows["customer"]].astype("m8[D]")
    return rows


def demo_table(business: DemoBusiness, *, seed: int) -> Any:
    """Return the rows as a pyarrow Table with identifiers as text: what `growth records-demo` writes."""
    import pyarrow as pa
    import pyarrow.compute as pc

    rows = demo_rows(business, seed=seed)
    numbers = np.arange(rows["customer"].max(initial=0) + 1)
    names = pa.array([f"studio-{number:07d}" for number in numbers.tolist()])
    return pa.table(
        {
            "customer": names.take(pa.array(rows["customer"])),
            "date": pa.array(rows["date"]),
            "amount": pc.round(pa.array(rows["amount"]), 2),
            "months": pa.array(rows["months"].astype(np.int16)),
            "plan": pa.array(rows["plan"]),
            "currency": pa.array(np.full(rows["date"].size, "EUR")),
        }
    )


def _yearly(business: DemoBusiness, random: np.random.Generator, customer: np.ndarray, start: np.ndarray) -> dict:
    years = random.geometric(max(1 - business.renewal_rate, 1e-9), customer.size)
    who, age = _runs(np.minimum(years, (business.months - 1 - start) // 12 + 1))
    change = _steps(random, age, 12 * business.rise, 12 * business.fall)
    return _part(customer[who], start[who] + 12 * age, business.yearly_price * change, months=12)


def _monthly(
    business: DemoBusiness, random: np.random.Generator, customer: np.ndarray, start: np.ndarray
) -> list[dict]:
    parts = []
    price = np.full(customer.size, business.price)
    while customer.size:
        leaving = random.beta(business.alpha, business.beta, customer.size) if business.alpha else business.beta
        stay = random.geometric(np.clip(leaving, 1e-9, 1), customer.size)
        seen = np.minimum(stay, business.months - start)
        who, age = _runs(seen)
        amount = price[who] * _steps(random, age, business.rise, business.fall)
        parts.append(_part(customer[who], start[who] + age, amount))
        twice = random.random(who.size) < business.refund_rate  # charged twice by mistake, and the second one refunded
        for sign in (1, -1):
            parts.append(_part(customer[who][twice], (start[who] + age)[twice], sign * amount[twice]))
        back = start + stay + business.comeback_months
        again = (random.random(customer.size) < business.comeback_rate) & (back < business.months)
        price = amount[np.cumsum(seen) - 1][again]
        customer, start = customer[again], back[again]
    return parts


def _runs(lengths: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return, for runs of these lengths, which run each element belongs to and its position in it, from 0."""
    who = np.repeat(np.arange(lengths.size), lengths)
    return who, positions(lengths)


def _steps(random: np.random.Generator, age: np.ndarray, rise: float, fall: float) -> np.ndarray:
    """Return the factor on the first price at each age of each run: 1 at age 0, then up 1/4, down 1/5 or equal."""
    draw = random.random(age.size)
    up = (draw < rise).astype(int) - ((draw >= rise) & (draw < rise + fall))
    up[age == 0] = 0
    total = np.cumsum(up)
    starts = np.flatnonzero(age == 0)
    return 1.25 ** (total - np.repeat(total[starts], np.diff([*starts, age.size])))


def _part(customer: np.ndarray, month: np.ndarray, amount: np.ndarray, months: int = 1) -> dict[str, np.ndarray]:
    paid_for = np.full(customer.size, months)
    return {"customer": customer, "month": month, "amount": np.round(amount, 2), "months": paid_for}


def demo_book(business: DemoBusiness, *, seed: int) -> PaidMonths:
    """Return the paid months of generated rows without writing a file: for tests over many businesses."""
    rows = demo_rows(business, seed=seed)
    days = rows["date"].astype("M8[D]").astype(np.int64)
    month, span = months_of(days), rows["months"].astype(np.int8)
    last = np.datetime64(business.first_month, "M") + np.timedelta64(business.months - 1, "M")
    generated = Rows(
        customer=rows["customer"].astype(np.int32),
        month=month,
        span=span,
        made=month,
        amount=rows["amount"],
        plan=np.zeros(days.size, np.int16),
        yearly=span >= 12,
        joined=None,
        plans=("Studio",),
        currency="EUR",
        customers=int(rows["customer"].max()) + 1,
        charges=True,
        last_day=int(days.max()),
        unreadable=Unreadable(),
    )
    return spread_payments(generated, until=str(last))


def write_demo(business: DemoBusiness, path: str | Path, *, seed: int, replace: bool = False) -> int:
    """Write generated rows to a CSV file, or to Parquet if the name ends in .parquet; return how many there are.

    Raises FileError where the file is there already and `replace` is not set.
    """
    import io

    import pyarrow.csv as arrow
    import pyarrow.parquet as pq

    from growth.output import check_output, write_output

    check_output(path, suffixes=[".csv", ".parquet"], replace=replace)
    table, content = demo_table(business, seed=seed), io.BytesIO()
    if Path(path).suffix.lower() == ".parquet":
        pq.write_table(table, content)
    else:
        content.write((",".join(COLUMNS) + "\n").encode())
        arrow.write_csv(table, content, arrow.WriteOptions(include_header=False, quoting_style="none"))
    write_output(path, content.getvalue(), replace=replace)
    return table.num_rows
