"""Gaps in payment that are no departures: paid late, never charged, and not known yet at the end of the records."""

from __future__ import annotations

import numpy as np
import pytest

from growth.records import bridge_frame, measure, movements, read_records, spells, spread_payments
from growth.records.paid_months import PaidMonths
from growth.records.survival import spell_risk
from growth.records.unpaid_months import LATE, PAID, PENDING, UNPAID, choose_grace


def book(tmp_path, *paid: str, price: float = 20.0, **options) -> PaidMonths:
    """Customers by what they paid, a digit a month: "1102" paid the price twice, nothing, and then twice at once."""
    rows = [
        f"c{customer},{np.datetime64('2024-01') + month}-05,{price}"
        for customer, months in enumerate(paid)
        for month, times in enumerate(months)
        for _ in range(int(times))
    ]
    (tmp_path / "rows.csv").write_text("\n".join(["customer,date,amount", *rows]) + "\n")
    last = np.datetime64("2024-01") + max(map(len, paid)) - 1
    return spread_payments(read_records(tmp_path / "rows.csv"), until=str(last), **options)


def of(made: PaidMonths, customer: int = 0) -> tuple[list[float], list[int]]:
    """MRR in prices, and states, of one customer's months on board."""
    mine = made.customer == customer
    return (made.mrr[mine] / 20).tolist(), made.state[mine].tolist()


STEADY = "111111"


@pytest.mark.parametrize(
    ("paid", "mrr", "states"),
    [
        ("110111", [1, 1, 1, 1, 1, 1], [PAID, PAID, UNPAID, PAID, PAID, PAID]),  # never charged
        ("110211", [1, 1, 1, 1, 1, 1], [PAID, PAID, LATE, PAID, PAID, PAID]),  # paid a month late
        ("101211", [1, 1, 1, 1, 1, 1], [PAID, LATE, PAID, PAID, PAID, PAID]),  # two late ones in a row
        ("102021", [1, 1, 1, 1, 1, 1], [PAID, LATE, PAID, LATE, PAID, PAID]),  # the month before a gap makes up itself
        ("100311", [1, 1, 1, 1, 1, 1], [PAID, LATE, LATE, PAID, PAID, PAID]),  # longer than the grace, but made up for
        ("100221", [1, 1, 1, 1, 1, 1], [PAID, LATE, LATE, PAID, PAID, PAID]),  # two in a row, each two months late
        ("110222", [1, 1, 1, 2, 2, 2], [PAID, PAID, UNPAID, PAID, PAID, PAID]),  # a dearer plan, nothing late
        ("211111", [1, 1, 1, 1, 1, 1], [PAID] * 6),  # late for a month before the first
        ("202111", [1, 1, 1, 1, 1, 1], [PAID, LATE, PAID, PAID, PAID, PAID]),  # the same, and late at once again
        ("120211", [1, 1, 1, 1, 1, 1], [PAID, PAID, LATE, PAID, PAID, PAID]),  # late for one before, then late again
        ("120121", [1, 1, 1, 1, 1, 1], [PAID, PAID, LATE, PAID, PAID, PAID]),  # the same, made up a month later
    ],
)
def test_a_lapse_is_no_departure_and_a_late_charge_no_contraction(tmp_path, paid, mrr, states):
    made = book(tmp_path, paid, STEADY, grace=1)
    assert of(made) == (pytest.approx(mrr), states)
    moves = movements(made, spells(made))
    assert not moves.lost.any() and not moves.contraction_mrr.any()
    assert made.mrr.sum() - made.mrr_in(UNPAID, PENDING) + made.set_apart == pytest.approx(made.rows.total)


@pytest.mark.parametrize(
    ("paid", "plans", "mrr"),
    [
        ((36, 20, 20, 20), "SSSS", [20, 20, 20, 20]),  # 16, the price before it rose, was due before the records
        ((20, 45, 20, 20), "SSSS", [20, 20, 20, 20]),  # 25 for a month at another price
        ((20, 29, 20, 20), "SSSS", [20, 29, 20, 20]),  # less than half as much again: up and down
        ((36, 20, 20, 20), "LSSS", [36, 20, 20, 20]),  # a smaller plan: contraction
        ((20, 36, 36, 20), "SSSS", [20, 36, 36, 20]),  # two months are no single one
    ],
)
def test_a_single_month_that_also_holds_another_months_charge_is_no_change(tmp_path, paid, plans, mrr):
    """Only where there are lapses, as of the second customer here."""
    rows = [f"a,2024-0{n}-05,{amount},{plan}" for n, (amount, plan) in enumerate(zip(paid, plans, strict=True), 1)]
    rows += [f"b,2024-0{n}-05,20,S" for n in (1, 3, 4)]
    (tmp_path / "rows.csv").write_text("\n".join(["customer,date,amount,plan", *rows]) + "\n")
    made = spread_payments(read_records(tmp_path / "rows.csv"), grace=1)
    assert made.mrr[made.customer == 0].tolist() == mrr
    assert made.set_apart == pytest.approx(sum(paid) - sum(mrr))
    unlapsed = spread_payments(read_records(tmp_path / "rows.csv"), grace=0)
    assert unlapsed.mrr[unlapsed.customer == 0].tolist() == list(paid)


def test_late_charges_at_a_price_that_rose_meanwhile_are_no_contraction(tmp_path):
    """Two in a row, each two months late, and dearer since: 20, 0, 0, 40, 40, 25. Late at the new price: 20, 0, 50."""
    for paid, mrr in (((20, 0, 0, 40, 40, 25, 25), [20] * 5 + [25] * 2), ((20, 0, 50, 0, 25, 25), [20, 20] + [25] * 4)):
        rows = [f"a,2024-0{n}-05,{amount}" for n, amount in enumerate(paid, 1) if amount]
        rows += [f"b,2024-0{n}-05,20" for n in range(1, 8)]
        (tmp_path / "rows.csv").write_text("\n".join(["customer,date,amount", *rows]) + "\n")
        made = spread_payments(read_records(tmp_path / "rows.csv"), grace=1)
        assert made.mrr[made.customer == 0][: len(mrr)].tolist() == mrr
        assert not movements(made, spells(made)).contraction_mrr.any()


def test_a_gap_beyond_the_grace_is_a_departure(tmp_path):
    made = book(tmp_path, "110011", STEADY, grace=1)
    moves = movements(made, spells(made))
    assert moves.lost.sum() == 1 and moves.returned.sum() == 1
    longer = book(tmp_path, "110011", STEADY, grace=2)
    assert not movements(longer, spells(longer)).lost.any()


def test_another_plan_after_a_gap_is_a_return(tmp_path):
    (tmp_path / "rows.csv").write_text(
        "customer,month,mrr,plan\na,2024-01,20,Small\na,2024-03,20,Large\nb,2024-01,5,Small\nb,2024-04,5,Small\n"
    )
    made = spread_payments(read_records(tmp_path / "rows.csv"), grace=1)
    assert movements(made, spells(made)).returned.sum() == 2


def test_no_grace_takes_every_gap_for_a_departure(tmp_path):
    made = book(tmp_path, "110211", STEADY, grace=0)
    moves = movements(made, spells(made))
    assert moves.lost.sum() == 1 and moves.contraction_mrr.sum() == 20 and made.settled == made.months


def test_the_data_choose_the_grace(tmp_path):
    """Four of ten who miss a month pay again at once: a grace of one month. One of ten does: none."""
    late, gone = "110111111", "110000000"
    assert book(tmp_path, *[late] * 4, *[gone] * 6).grace.months == 1
    few = book(tmp_path, late, *[gone] * 9)
    assert few.grace.months == 0 and few.grace.by_data and few.grace.returned[0] == 1 and few.grace.missing[0] == 10


def test_at_the_end_as_many_stay_as_came_back_before(tmp_path):
    """Half of those who missed a month paid in the next one. Of four who miss the last month, two count as on board."""
    made = book(tmp_path, *["110111"] * 5, *["110000"] * 5, *["111110"] * 4)
    assert made.grace.months == 1 and (made.grace.pending, made.grace.kept) == (4, 2)
    assert (made.state == PENDING).sum() == 2 and (made.month == 5).sum() == 5 + 2
    # the last month tells nothing of churn: five left of those watched up to the fifth month
    risk = spell_risk(spells(made), chosen=np.ones(spells(made).start.size, bool))
    assert measure(made).churn.source.startswith("5 left in 46 customer-months")  # 14 + 14 + 3 x 9 - 5 - ... by hand
    assert risk.left.sum() == 0  # all were there before the records begin: nobody's age is known


def test_unpaid_months_have_their_own_line_in_the_bridge(tmp_path):
    frame = bridge_frame(made := book(tmp_path, "110111", "102111", STEADY, grace=1), movements(made, spells(made)))
    assert frame.unpaid_mrr.tolist() == [0, 20, 0, 0, 0] and frame.late_mrr.tolist() == [20, 0, 0, 0, 0]
    assert frame.closing_mrr.tolist() == [60] * 5


def test_it_is_said_what_counts_as_a_lapse(tmp_path):
    made = book(tmp_path, *["110111"] * 5, *["110211"] * 5, *["110000"] * 5, *["111110"] * 3)
    said = " ".join(made.notes)
    assert (
        "a payment missing for up to 1 month is no departure" in said
        and "of 15 customers who missed a month, 10" in said
    )
    assert "16.67 EUR of MRR a month was paid late" in said and "16.67 EUR a month was never paid" in said
    assert "3 customers have not paid" in said and "2 of them count as on board" in said


def test_the_grace_that_is_chosen_finds_late_payers_among_many():
    from growth.records.unpaid_months import Entries

    random = np.random.default_rng(1)
    customer, month = np.divmod(np.arange(500 * 24), 24)
    stays = month < random.geometric(0.04, 500)[customer]
    paid = stays & (random.random(customer.size) > 0.05)
    nothing = np.zeros(paid.sum(), int)
    entries = Entries(customer[paid], month[paid], np.ones(paid.sum()), nothing, nothing)
    assert choose_grace(entries, 24).months == 1


def test_customers_late_in_the_first_month_are_no_newcomers(tmp_path):
    """Five of thirty pay for the first month in the second, when nobody joins; one a month joins after that."""
    joined = ["0" * month + "1" * (14 - month) for month in range(2, 14)]
    made = book(tmp_path, *["1" * 14] * 23, *["1110" + "1" * 10] * 2, *["02" + "1" * 12] * 5, *joined)
    measured = measure(made)
    assert made.grace.months == 1 and measured.moves.new[1].sum() == 5
    assert measured.joining.joins.tolist() == [1.0] * 12
