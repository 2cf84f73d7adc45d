"""Who left because a payment failed, and who by will; counted by hand."""

from __future__ import annotations

import numpy as np
import pytest
from how_many import few_or_many
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from growth.records import bridge_frame, load_columns, measure, movements, read_records, spells, spread_payments
from growth.records.failed_payments import failed_departures, failed_note, failed_payments
from growth.records.pictures import bridge_picture
from growth.records.report import notes, summary
from growth.records.unpaid_months import PENDING, UNPAID

# ann stays; bob's card fails in March and pays again in April; cat's fails in March for good; dan leaves in March;
# eve's card failed at her first payment, so she was never on board; fay fails and pays within the same month
CHARGES = "customer,date,amount,status\n" + "".join(
    f"{who},2024-{month:02}-05,{price},{status}\n"
    for who, price, statuses in [
        ("ann", 20, "pppppp"),
        ("bob", 30, "ppfppp"),
        ("cat", 40, "ppff"),
        ("dan", 50, "pp"),
        ("eve", 60, " f"),
    ]
    for month, letter in enumerate(statuses, 1)
    if (status := {"p": "paid", "f": "failed", " ": ""}[letter])
)
CHARGES += "fay,2024-01-05,10,paid\n"
CHARGES += "".join(f"fay,2024-{m:02}-05,10,failed\nfay,2024-{m:02}-08,10,paid\n" for m in range(2, 7))


def book_of(tmp_path, text: str, columns: str = "amounts: major\n", **options):
    (tmp_path / "rows.csv").write_text(text)
    (tmp_path / "columns.yaml").write_text(columns)
    rows = read_records(tmp_path / "rows.csv", columns=load_columns(tmp_path / "columns.yaml"))
    return spread_payments(rows, **options)


def test_departures_by_failed_payment_counted_by_hand(tmp_path):
    """With a grace of a month: cat and dan left. Failed while on board: bob, cat and five times fay; cat's is lost."""
    found = failed_payments(book_of(tmp_path, CHARGES, grace=1))
    assert (found.left, found.of, found.mrr, found.of_mrr) == (1, 2, 40, 90)
    assert (found.tried, found.recovered, found.months) == (6, 5, 4)  # fay's of June is not settled yet


def test_the_report_says_what_failed_payments_cost(tmp_path):
    measured = measure(book_of(tmp_path, CHARGES, grace=1))
    said = " ".join(notes(measured))
    assert (
        "1 of 2 who left did so after a payment that failed and never recovered: 10.00 EUR of MRR lost a month" in said
    )
    assert "44% of all that was churned; of 6 months with a failed payment 5 recovered" in said
    line = next(line for line in summary(measured) if "leave after a failed payment" in line)
    assert "50.00%" in line and "1 of 2 who left; Wilson" in line
    assert not {"ann", "bob", "cat", "dan", "eve", "fay"} & set(said.split())


def test_without_a_status_nothing_is_said(tmp_path):
    book = book_of(tmp_path, "customer,date,amount\na,2024-01-05,20\nb,2024-01-05,20\na,2024-02-05,20\n", grace=0)
    assert failed_payments(book) is None and "churned_by_failure_mrr" not in bridge_frame(book, moves_of(book))
    assert (
        "cannot be told from who left by will" in failed_note(book)[0] and "a column `status`" in failed_note(book)[0]
    )


def moves_of(book):
    return movements(book, spells(book))


def test_the_bridge_shows_what_left_after_a_failed_payment_beside_what_was_never_paid(tmp_path):
    """Cat (40) left in March after a failed charge, dan (50) by will; gus (15) missed March and stays."""
    book = book_of(tmp_path, CHARGES + "".join(f"gus,2024-{m:02}-05,15,paid\n" for m in (1, 2, 4, 5, 6)), grace=1)
    measured = measure(book)
    frame = bridge_frame(book, measured.moves)
    assert frame.churned_mrr.tolist() == [0, 90, 0, 0, 0] and frame.churned_by_failure_mrr.tolist() == [0, 40, 0, 0, 0]
    assert frame.lost_customers.tolist() == [0, 2, 0, 0, 0] and frame.lost_by_failure.tolist() == [0, 1, 0, 0, 0]
    assert frame.unpaid_mrr.tolist() == [0, 45, 0, 0, 0]  # gus, and bob (30), whose card failed and who paid in April
    lines = [" ".join(line.split()) for line in summary(measured)]
    assert "- left after a failed payment 40.00" in lines and "- left otherwise 50.00" in lines
    assert "= closing 75.00" in lines
    paid = "MRR of these months: 420.00 paid when due + 45.00 never paid, though the customer stayed = 465.00"
    assert paid in " ".join(lines)
    drawn = bridge_picture(measured)
    assert sum(-sum(bar.y) for bar in drawn.data if bar.type == "bar") == 90
    assert [-min(dots.y) for dots in drawn.data if dots.type == "scatter"] == [45]


@settings(max_examples=few_or_many(20, 30), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lives=st.lists(st.text("0112fr", min_size=1, max_size=8), min_size=1, max_size=6),
    status=st.booleans(),
    grace=st.sampled_from([None, 0, 1, 2]),
)
def test_opening_and_flows_make_the_closing_and_its_parts_are_what_was_paid(tmp_path, lives, status, grace):
    """A letter a month: paid so many times, failed (without a status: nothing), or charged and returned twice."""
    lines = ["customer,date,amount,status"]
    for number, letters in enumerate(lives):
        for month, letter in enumerate(letters, 1):
            amounts = {"f": [], "r": [20, -20, 20, -20]}.get(letter) or [20] * int(letter.isdigit() and letter)
            lines += [f"c{number},2024-{month:02}-05,{amount},paid" for amount in amounts]
            lines += [f"c{number},2024-{month:02}-05,20,failed"] if letter == "f" else []
    text = "\n".join([*lines, "last,2024-08-05,5,paid", "last,2024-07-05,5,paid", ""])
    if not status:
        text = "\n".join(line.rpartition(",")[0] for line in text.splitlines() if "failed" not in line) + "\n"
    book = book_of(tmp_path, text, grace=grace)
    frame, moves = bridge_frame(book, moves_of(book)), moves_of(book)
    came = frame.new_mrr + frame.reactivation_mrr + frame.expansion_mrr
    np.testing.assert_allclose(
        frame.opening_mrr + came - frame.contraction_mrr - frame.churned_mrr, frame.closing_mrr, atol=1e-9
    )
    parts = frame.paid_mrr + frame.late_mrr + frame.unpaid_mrr + frame.pending_mrr
    np.testing.assert_allclose(parts, frame.closing_mrr, atol=1e-9)
    assert (frame[["paid_mrr", "late_mrr", "unpaid_mrr", "pending_mrr"]] >= -1e-9).all().all()
    received = book.mrr.sum() - book.mrr_in(UNPAID, PENDING) + book.paid_ahead + book.unmatched_refunds + book.set_apart
    assert received == pytest.approx(book.rows.total)
    if status or "churned_by_failure_mrr" in frame:
        assert (frame.churned_by_failure_mrr <= frame.churned_mrr + 1e-9).all()
        assert (frame.lost_by_failure <= frame.lost_customers).all()
    assert moves.unpaid_mrr.sum() == pytest.approx(book.mrr_in(UNPAID))


@pytest.mark.parametrize(
    ("after", "told"),
    [
        ([(3, 20), (3, -20), (3, 20), (3, -20)], True),  # returned, tried again, returned
        ([(3, 20), (4, -20), (4, 20), (4, -20)], True),  # the first one comes back in the next month
        ([(3, 20), (3, -20)], False),  # one alone may be a refund to somebody who asked to leave
        ([(3, 20), (4, 20), (4, -40)], False),  # two months paid back at once: a refund
        ([(6, 20), (6, -20), (6, 20), (6, -20)], False),  # long after
        ([], False),
    ],
)
def test_without_a_status_returned_debits_tell(tmp_path, after, told):
    rows = [("a", m, 20) for m in (1, 2)] + [("a", m, x) for m, x in after] + [("b", m, 30) for m in range(1, 9)]
    text = "customer,date,amount\n" + "".join(f"{who},2024-0{m}-05,{x}\n" for who, m, x in rows)
    book = book_of(tmp_path, text, grace=1)
    found = failed_departures(book)
    assert (found is not None) == told
    if told:
        assert book.month[found].tolist() == [1] and book.customer[found].tolist() == [0]
        assert failed_payments(book).share.source == "1 of 1 who left, by pattern; Wilson"
        assert "told by their pattern, 2 charges or more that were all paid back" in failed_note(book)[0]


SUBSCRIPTIONS = (
    "customer,start,end,price,reason\na,2024-01-05,,20,\nb,2024-01-05,2024-03-05,30,Payment failed\n"
    "c,2024-01-05,2024-04-05,50,asked to\nd,2024-01-05,2024-04-05,20,card dead\ne,2024-05-05,,20,\n"
)


@pytest.mark.parametrize(("columns", "left", "mrr"), [("amounts: major\n", 1, 30), ("failed: [Card dead]\n", 2, 50)])
def test_subscriptions_say_the_reason_of_their_end(tmp_path, columns, left, mrr):
    book = book_of(tmp_path, SUBSCRIPTIONS, columns)
    found = failed_payments(book)
    assert (found.left, found.of, found.mrr, found.of_mrr) == (left, 3, mrr, 100)
    assert "recovered;" not in failed_note(book)[0] and "months with a failed payment" not in failed_note(book)[0]


def test_customers_whose_every_payment_failed_are_none(tmp_path):
    rows = book_of(tmp_path, CHARGES, grace=0).rows
    assert rows.total == 6 * 20 + 5 * 30 + 2 * 40 + 2 * 50 + 6 * 10
    assert any(note.startswith("9 rows have a status that says that the charge was not paid") for note in rows.notes)
