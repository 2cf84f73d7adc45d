"""Who left because a payment failed, and who by will; counted by hand."""

from __future__ import annotations

import pytest

from growth.records import load_columns, measure, read_records, spread_payments
from growth.records.failed_payments import failed_note, failed_payments
from growth.records.report import notes, summary

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
    assert failed_payments(book) is None and failed_note(book) == []


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
