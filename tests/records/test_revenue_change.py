"""Expansion and contraction, apart from price changes for all; yearly customers; and those who paid before."""

from __future__ import annotations

import numpy as np
import pytest

from growth.records import bridge_frame, measure, read_records, spells, spread_payments
from growth.records.intervals import sum_interval
from growth.records.report import notes
from growth.records.unpaid_months import BEFORE


def measured(tmp_path, rows: list[str], head: str = "customer,month,mrr"):
    (tmp_path / "rows.csv").write_text("\n".join([head, *rows]) + "\n")
    return measure(spread_payments(read_records(tmp_path / "rows.csv")))


def test_a_price_change_for_all_is_no_expansion(tmp_path):
    """Ten customers pay 20, and 23 from the seventh month on; one goes up to 30 in the ninth month, which is 7 more."""
    months = [np.datetime64("2024-01") + month for month in range(12)]
    rows = [
        f"c{who},{month},{30 if who == 0 and place >= 8 else 20 if place < 6 else 23}"
        for who in range(10)
        for place, month in enumerate(months)
    ]
    made = measured(tmp_path, rows)
    (change,) = made.changes.price_changes
    assert (change.month, change.changed, change.of) == (6, 10, 10) and change.factor == pytest.approx(1.15)
    assert made.expansion.value == pytest.approx(7 / (10 * (20 * 6 + 23 * 5) + 3 * 7))
    assert any("prices changed by +15.0% in 2024-07: 10 of 10 customers" in note for note in notes(made))


def test_prices_of_new_customers_are_at_the_level_of_today(tmp_path):
    """Those who joined before the price rise paid 20, which is 23 today."""
    months = [np.datetime64("2024-01") + month for month in range(12)]
    rows = [
        f"c{who},{month},{20 if place < 6 else 23}"
        for who in range(12)
        for place, month in enumerate(months)
        if place >= max(who - 4, 0)
    ]
    (kind,) = measured(tmp_path, rows).kinds
    assert kind.price.value == pytest.approx(23)


def test_a_few_changes_by_different_shares_are_no_price_change(tmp_path):
    rows = [f"c{who},2024-0{month},{20 + who * (month > 2)}" for who in range(9) for month in range(1, 6)]
    made = measured(tmp_path, rows)
    assert not made.changes.price_changes and made.expansion.value > 0


def newcomers(first_price: float, until: int, *, of: int = 1, months: int = 24) -> list[str]:
    """20 customers who stay and pay 30, one of them 40 from month 8 on, and 3 more each month.

    Every `of`-th of those who join pays `first_price` until it is `until` months old.
    """
    calendar = np.datetime64("2024-01") + np.arange(months)
    rows = [
        f"old{who},{calendar[at]},{40 if who == 0 and at >= 8 else 30}" for who in range(20) for at in range(months)
    ]
    return rows + [
        f"new{start}-{who},{calendar[at]},{first_price if at - start < until and (3 * start + who) % of == 0 else 30}"
        for start in range(1, months)
        for who in range(3)
        for at in range(start, months)
    ]


@pytest.mark.parametrize(("price", "until", "of", "said"), [(15, 3, 1, "50%"), (15, 3, 3, "50%"), (27, 1, 1, "10%")])
def test_the_end_of_a_discount_for_newcomers_is_no_expansion(tmp_path, price, until, of, said):
    made = measured(tmp_path, newcomers(price, until, of=of))
    (discount,) = made.changes.discounts
    assert (discount.months, discount.stepped) == (until, discount.reached // of)
    assert made.expansion.value == pytest.approx(10 / made.changes.base.sum())  # of the one who pays 40
    assert made.contraction.value == 0
    (kind,) = made.kinds
    assert kind.price.value == pytest.approx(30, rel=1e-3)  # those who join now will pay it
    (note,) = [note for note in notes(made) if "discount" in note]
    assert f"paid {said} less until then" in note


def test_a_discount_of_the_first_year_ends_at_the_renewal(tmp_path):
    """Customers by the year pay 120 at first and 240 at each renewal; those who were there before renew at 240."""
    rows = [f"old{who},2022-{who + 1:02}-05,240,12,2020-{who + 1:02}-05" for who in range(12)]
    rows += [f"old{who},2023-{who + 1:02}-05,240,12,2020-{who + 1:02}-05" for who in range(12)]
    rows += [
        f"new{who},{2022 + who // 12 + year}-{who % 12 + 1:02}-09,{240 if year else 120},12,"
        for who in range(24)
        for year in range(3)
    ]
    made = measured(tmp_path, rows, "customer,date,amount,months,joined")
    (discount,) = made.changes.discounts
    assert (discount.months, discount.factor, discount.stepped) == (
        12,
        2,
        12,
    )  # those of the first year may have been there before
    assert made.expansion.value == 0


def test_upgrades_at_any_age_are_no_discount(tmp_path):
    """Each customer pays half as much again from an age of its own on; and a price that rises at every renewal."""
    calendar = np.datetime64("2024-01") + np.arange(24)
    rows = [
        f"c{start}-{who},{calendar[at]},{30 if at - start > (5 * start + who) % 12 else 20}"
        for start in range(24)
        for who in range(4)
        for at in range(start, 24)
    ]
    made = measured(tmp_path, rows)
    assert not made.changes.discounts and made.expansion.value > 0.02
    rows = [f"y{who},{2021 + year}-{who + 1:02}-09,{200 * 1.2**year:.2f},12" for who in range(12) for year in range(4)]
    made = measured(tmp_path, rows, "customer,date,amount,months")
    assert not made.changes.discounts and made.expansion.value == pytest.approx(0.2 / 12, rel=0.01)


def test_gamma_limits_hold_what_they_say():
    """Sums of few changes of different sizes, 1,000 times: 92% +- 2 of the intervals hold it."""
    random = np.random.default_rng(1)
    held = []
    for _ in range(1000):
        low, high, _ = sum_interval(random.exponential(5.0, random.poisson(12)))
        held.append(low <= 60 <= high)
    assert 0.9 <= np.mean(held) <= 0.98


def business(yearly_starts: list[int], months: int = 30) -> list[str]:
    """Twenty customers by the month who stay and one more each month; customers by the year who renew."""
    first, rows = np.datetime64("2024-01"), []
    for who in range(20 + months):
        rows += [f"m{who},{first + month}-03,20,1" for month in range(max(who - 19, 0), months)]
    for who, start in enumerate(yearly_starts):
        rows += [f"y{who},{first + month}-09,240,12" for month in range(start, months, 12)]
    return rows


def test_yearly_customers_who_paid_before_the_records_are_not_new(tmp_path):
    made = measured(tmp_path, business([1, 4, 7, 10, 14, 20]), "customer,date,amount,months")
    book = made.book
    assert (book.state == BEFORE).sum() == 1 + 4 + 7 + 10
    assert made.joining.joins[:11].sum() == pytest.approx(
        11 * 20 / 18, rel=0.05
    )  # scaled by the others: 18 and 2 later
    frame = bridge_frame(book, made.moves)
    assert frame.new_customers.iloc[:11].tolist() == [1] * 11
    assert book.mrr.sum() - book.mrr_in(BEFORE) + book.paid_ahead == pytest.approx(book.rows.total)
    assert any("4 customers of yearly plans first paid" in note for note in book.notes)
    yearly = spells(book).billed[spells(book).kind == 1]
    assert sorted(yearly.tolist()) == [1, 4, 7, 10, 14, 20]
    (renewal,) = [kind.renewal for kind in made.kinds if kind.renewal]
    assert renewal.value == 1 and renewal.source.startswith("7 of 7 renewals due")  # months 13, 16, 19, 22, 25, 26, 28


def test_who_joined_is_believed(tmp_path):
    rows = [f"{row},{'2024-05-01' if row.startswith('y0') else ''}" for row in business([4, 7])]
    made = measured(tmp_path, rows, "customer,date,amount,months,joined")
    assert (made.book.state == BEFORE).sum() == 7


def test_a_business_that_begins_with_its_records_has_no_earlier_customers(tmp_path):
    rows = [
        row for row in business([1, 4, 14, 16, 20, 25]) if not row.startswith("m") or int(row[1:].split(",")[0]) > 18
    ]
    assert not (measured(tmp_path, rows, "customer,date,amount,months").book.state == BEFORE).any()


def test_expansion_of_yearly_plans_counts_at_renewals(tmp_path):
    """Ten customers by the year; five renew at a quarter more. A month: 5 x 5 / (12 x 10 x 20), not over all months."""
    rows = [f"y{who},2024-01-09,240,12" for who in range(10)]
    rows += [f"y{who},2025-01-09,{300 if who < 5 else 240},12" for who in range(10)]
    made = measured(tmp_path, rows, "customer,date,amount,months")
    assert made.expansion.value == pytest.approx(25 / 2400) or made.changes.price_changes
