"""From rows to months to the bridge, worked by hand; money is never lost on the way."""

from __future__ import annotations

import numpy as np
import pytest

from growth.records.bridge import bridge_columns, bridge_frame, movements, spells, triangles
from growth.records.demo import DemoBusiness, write_demo
from growth.records.paid_months import spread_payments
from growth.records.read import read_records
from growth.records.read.rows import RecordsError
from growth.records.read.values import NONE
from growth.records.survival import spell_risk


def book(tmp_path, *lines: str, head: str = "customer,date,amount,months", until: str | None = None):
    path = tmp_path / "rows.csv"
    path.write_text("\n".join([head, *lines]) + "\n")
    return spread_payments(read_records(path), until=until)


def table(made):
    return bridge_columns(movements(made, spells(made)))


def test_the_worked_bridge(tmp_path):
    # a pays 20, 20, 25; b 20 and leaves; c joins in March; b is back in May at 30; a pays 15 from April on
    made = book(
        tmp_path,
        "a,2024-01-03,20,1",
        "b,2024-01-09,20,1",
        "a,2024-02-03,20,1",
        "a,2024-03-03,25,1",
        "c,2024-03-20,40,1",
        "a,2024-04-03,15,1",
        "c,2024-04-20,40,1",
        "a,2024-05-03,15,1",
        "b,2024-05-09,30,1",
        "c,2024-05-20,40,1",
    )
    expected = {
        "opening_customers": [2, 1, 2, 2],
        "new_customers": [0, 1, 0, 0],
        "returned_customers": [0, 0, 0, 1],
        "lost_customers": [1, 0, 0, 0],
        "closing_customers": [1, 2, 2, 3],
        "opening_mrr": [40, 20, 65, 55],
        "new_mrr": [0, 40, 0, 0],
        "reactivation_mrr": [0, 0, 0, 30],
        "expansion_mrr": [0, 5, 0, 0],
        "contraction_mrr": [0, 0, 10, 0],
        "churned_mrr": [20, 0, 0, 0],
        "closing_mrr": [20, 65, 55, 85],
    }
    assert {name: values.tolist() for name, values in table(made).items()} == expected
    assert made.mrr.sum() == made.rows.total == 265
    customers, mrr = triangles(made, spells(made))
    assert customers[0].tolist() == [2, 1, 1, 1, 1] and customers[2].tolist() == [1, 1, 1, 0, 0]
    assert mrr[0].tolist() == [40, 20, 25, 15, 15] and mrr[4].tolist() == [30, 0, 0, 0, 0]


def test_the_bridge_has_the_columns_of_a_forecast(tmp_path):
    import growth.engine

    made = book(tmp_path, "a,2024-01-03,20,1", "a,2024-02-03,20,1")
    frame = bridge_frame(made, movements(made, spells(made)))
    assert set(frame.columns) - {"paid_mrr", "late_mrr", "unpaid_mrr", "pending_mrr"} <= set(growth.engine.SERIES)
    assert frame.index.astype(str).tolist() == ["2024-02"]


def test_a_yearly_charge_is_spread_over_twelve_months_and_the_rest_is_paid_ahead(tmp_path):
    made = book(tmp_path, "a,2024-01-15,120,12", "b,2024-03-01,10,1")
    assert made.mrr.tolist() == [10, 10, 10, 10] and made.paid_ahead == 90
    assert table(made)["closing_mrr"].tolist() == [10, 20]


def test_the_yearly_renewal_is_no_movement(tmp_path):
    made = book(tmp_path, "a,2023-01-15,120,12", "a,2024-01-14,120,12", until="2024-12")
    moves = table(made)
    assert not moves["lost_customers"].any() and not moves["expansion_mrr"].any()


def test_a_refund_lowers_the_month_it_is_for_and_then_the_months_before(tmp_path):
    made = book(tmp_path, "a,2024-01-01,20,1", "a,2024-02-01,20,1", "a,2024-03-02,-30,1", "b,2024-03-01,5,1")
    assert made.customer.tolist() == [0, 1] and made.mrr.tolist() == [10, 5]
    assert made.unmatched_refunds == 0


def test_a_refund_over_many_months_loses_nothing(tmp_path):
    made = book(tmp_path, "a,2024-01-01,24,12", "a,2024-03-02,-36,12", "b,2024-12-01,5,1", "b,2025-02-01,5,1")
    # twelve months of 2 from January, twelve of -3 from March: 24 - 36 = -12 is left over at the start
    assert made.mrr.tolist() == [5, 5] and made.unmatched_refunds == pytest.approx(-12)


def test_a_refund_made_later_is_not_known_before(tmp_path):
    lines = ("a,2024-01-01,20,", "a,2024-02-01,20,", "a,2024-03-01,20,", "a,2024-03-09,-20,2024-01-01")
    known = book(tmp_path, *lines, head="customer,date,amount,period_start", until="2024-02")
    assert known.mrr.tolist() == [20, 20] and known.paid_ahead == 20 - 20  # March's charge, and the refund
    assert book(tmp_path, *lines, head="customer,date,amount,period_start").mrr.tolist() == [20, 20]


def test_refunds_beyond_all_that_was_paid_are_set_apart(tmp_path):
    made = book(tmp_path, "a,2024-01-01,20,1", "a,2024-02-02,-50,1", "b,2024-03-01,5,1")
    assert made.unmatched_refunds == -30 and made.mrr.sum() + made.unmatched_refunds == made.rows.total
    assert any("match no charge" in note for note in made.notes)


def test_trials_count_as_sign_ups_and_pay_nothing(tmp_path):
    made = book(
        tmp_path, "a,2024-01-01,0,1", "a,2024-02-01,20,1", "b,2024-02-01,0,1", "c,2024-02-01,20,1", "c,2024-03-01,0,1"
    )
    assert made.signed_up.tolist() == [0, 1, NONE]
    assert made.converted.tolist() == [1, NONE, 1]


def test_ages_of_those_on_board_before_the_records_begin(tmp_path):
    head = "customer,month,mrr,joined"
    made = book(
        tmp_path,
        "a,2024-01,10,2023-10-05",
        "b,2024-01,10,",
        "a,2024-02,10,2023-10-05",
        "c,2024-02,10,",
        "c,2024-03,10,",
        head=head,
    )
    runs = spells(made)
    assert runs.entry.tolist() == [3, NONE, 0]
    risk = spell_risk(runs)  # a comes under watch at age 3, is seen at 4, gone at 5; c is seen at age 1; b is left out
    assert risk.at_risk.tolist() == [1, 0, 0, 1, 1] and risk.left.tolist() == [0, 0, 0, 0, 1]


@pytest.mark.parametrize("lines", [["a,2024-01-01,20,1"], ["a,2024-01-01,-20,1"], ["a,2024-01-01,0,1"]])
def test_one_row_is_enough_to_balance(tmp_path, lines):
    made = book(tmp_path, *lines)
    assert made.mrr.sum() + made.unmatched_refunds + made.paid_ahead == made.rows.total
    assert all(values.size == 0 for values in table(made).values())


def test_two_plans_and_a_change_between_them(tmp_path):
    head = "customer,month,mrr,plan"
    made = book(
        tmp_path, "a,2024-01,10,Small", "b,2024-01,10,Small", "a,2024-02,30,Large", "b,2024-02,10,Small", head=head
    )
    moves = movements(made, spells(made))
    assert made.kinds == (("Small", "monthly"), ("Large", "monthly"))
    assert moves.expansion_mrr[1].tolist() == [20, 0] and moves.closing_mrr[1].tolist() == [10, 30]


def test_order_of_the_rows_does_not_matter(tmp_path):
    import pyarrow.csv as arrow

    from growth.records.demo import DemoBusiness, demo_table

    rows = demo_table(DemoBusiness(months=24), seed=5)
    arrow.write_csv(rows, tmp_path / "a.csv")
    arrow.write_csv(rows.take(np.random.default_rng(0).permutation(rows.num_rows)), tmp_path / "b.csv")
    one, other = (table(spread_payments(read_records(tmp_path / name))) for name in ("a.csv", "b.csv"))
    for name in one:
        np.testing.assert_allclose(one[name], other[name], rtol=1e-12, atol=1e-9, err_msg=name)


def test_every_reading_gives_the_same_to_the_last_digit(tmp_path):
    write_demo(DemoBusiness(months=24), tmp_path / "rows.csv", seed=5)
    said = set()
    for _ in range(3):
        made = spread_payments(read_records(tmp_path / "rows.csv"), until="2025-03")
        arrays = (made.customer, made.month, made.mrr, made.signed_up, made.converted)
        said.add((made.paid_ahead, made.unmatched_refunds, made.rows.total, *(one.tobytes() for one in arrays)))
    assert len(said) == 1


def test_records_of_more_than_fifty_years_are_refused(tmp_path):
    with pytest.raises(RecordsError, match="at most 600 months"):
        book(tmp_path, "a,1971-01-01,20,1", "a,2150-01-01,20,1")


def test_until_before_the_records_is_refused(tmp_path):
    with pytest.raises(RecordsError, match="not before the first"):
        book(tmp_path, "a,2024-01-01,20,1", until="2023-05")
