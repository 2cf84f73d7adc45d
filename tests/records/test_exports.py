"""Exports as they come: statuses, refunds in a column, spellings, other notations; nothing is silently wrong."""

from __future__ import annotations

import pytest

from growth.records import RecordsError, load_columns, read_records, spread_payments


def rows_of(tmp_path, text: str, columns: str = "", **options):
    (tmp_path / "rows.csv").write_text(text)
    if columns:
        (tmp_path / "columns.yaml").write_text(columns)
        options["columns"] = load_columns(tmp_path / "columns.yaml")
    return read_records(tmp_path / "rows.csv", **options)


FAILED = "customer,date,amount,status\na,2024-01-05,20,Paid\na,2024-02-05,20,failed\na,2024-02-08,20,succeeded\n"


def test_charges_that_failed_do_not_count_and_it_is_said(tmp_path):
    rows = rows_of(tmp_path, FAILED)
    assert rows.total == 40 and rows.size == 2
    assert rows.notes == ("1 row has a status that says that the charge was not paid: they do not count",)
    assert rows.notes[0] in spread_payments(rows).notes


def test_a_status_that_nobody_explained_is_refused_or_said_in_the_file(tmp_path):
    german = FAILED.replace("succeeded", "erledigt")
    with pytest.raises(RecordsError, match="a status of which nobody said") as error:
        rows_of(tmp_path, german)
    assert "erledigt" not in str(error.value)  # no value of a row is shown
    assert rows_of(tmp_path, german, "paid: [paid, erledigt]").total == 40
    assert rows_of(tmp_path, german, "paid: any").total == 60


def test_refunds_in_a_column_of_their_own_are_taken_off(tmp_path):
    rows = rows_of(
        tmp_path, "customer,date,amount,refunded\na,2024-01-05,20,5\na,2024-02-05,20,\na,2024-03-05,20,-20\n"
    )
    assert rows.total == 35 and spread_payments(rows).mrr.tolist() == [15, 20]


def test_columns_that_sound_like_refunds_or_a_status_are_pointed_at(tmp_path):
    text = "customer,date,amount,Amount Refunded,Payment status,note\na,2024-01-05,20,5,failed,x\n"
    said = rows_of(tmp_path, text).notes
    assert len(said) == 2 and 'the column "Amount Refunded" is not read' in said[0] and "status: ..." in said[1]
    read = rows_of(tmp_path, text, "columns: {refunded: Amount Refunded, status: Payment status}\npaid: any")
    assert read.total == 15 and not read.notes


def test_a_column_that_says_paid_or_not_is_pointed_at_and_read_as_a_status(tmp_path):
    text = "customer,date,amount,Paid?\na,2024-01-05,20,Yes\na,2024-02-05,20,no\n"
    assert '"Paid?" is not read: if it tells charges that failed' in rows_of(tmp_path, text).notes[0]
    assert rows_of(tmp_path, text, 'columns: {status: "Paid?"}').total == 20


TWICE = "customer,date,amount,plan\nCUS-Q7Z,2024-01-05,20,Studio\ncus-q7z ,2024-02-05,20,studio\nb,2024-02-05,20,Team\n"


def test_customers_spelled_in_two_ways_get_a_note_or_are_joined(tmp_path):
    rows = rows_of(tmp_path, TWICE)
    assert rows.customers == 3 and rows.notes[0].startswith(
        "1 customer differs from another one by upper and lower case"
    )
    assert "q7z" not in " ".join(rows.notes).lower()
    joined = rows_of(tmp_path, TWICE, "letter_case: ignored")
    assert joined.customers == 2 and len(joined.notes) == 1


def test_plans_spelled_in_two_ways_are_one(tmp_path):
    rows = rows_of(tmp_path, TWICE)
    assert rows.plans == ("Studio", "Team") and rows.plan.tolist() == [0, 0, 1]
    assert rows.notes[1] == "1 plan differs from another by upper and lower case alone: they are read as one"


@pytest.mark.parametrize(
    ("columns", "good", "bad"),
    [
        ('decimal: ","\nthousands: "."', "1.240,50", "1240.50"),
        ('thousands: ","', "1,240.50", "1,24.50"),
        ('decimal: ","', "1240,5", "1.240,5"),
    ],
)
def test_numbers_in_another_notation(tmp_path, columns, good, bad):
    text = 'customer;date;amount\na;2024-01-05;"{}"\n'
    assert rows_of(tmp_path, text.format(good), columns).total == 1240.5
    with pytest.raises(RecordsError, match="not a plain number"):
        rows_of(tmp_path, text.format(bad), columns)


def workbook(path, *rows):
    from openpyxl import Workbook

    book = Workbook()
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def test_a_workbook_is_read_like_a_csv_file(tmp_path):
    """Dates and numbers as cells of their own kind, a number as identifier, a blank row, texts among numbers."""
    import datetime

    head = ("customer", "date", "amount", "plan")
    cells = [(1001, datetime.datetime(2024, 1, 5), 29.0, "Studio"), (None, None, None, None)]
    cells += [(1001, datetime.date(2024, 2, 5), 12.5, "Studio"), ("b", "2024-02-07", "20", None)]
    read = read_records(workbook(tmp_path / "rows.xlsx", head, *cells))
    text = "customer,date,amount,plan\n1001,2024-01-05,29,Studio\n1001,2024-02-05,12.5,Studio\nb,2024-02-07,20,\n"
    same = rows_of(tmp_path, text)
    assert (
        (read.total, read.customers, read.plans)
        == (same.total, same.customers, same.plans)
        == (61.5, 2, ("Studio", "all"))
    )
    assert read.month.tolist() == same.month.tolist() and read.customer.tolist() == [0, 0, 1]


def test_unreadable_rows_of_a_workbook_are_named_by_their_line(tmp_path):
    path = workbook(tmp_path / "rows.xlsx", ("customer", "date", "amount"), ("a", "soon", 1), ("a", "2024-01-05", 2))
    with pytest.raises(RecordsError, match="first in line 2"):
        read_records(path)
    assert read_records(path, leave_out=1).total == 2


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 broken", b"customer,date,amount\n"])
def test_what_is_no_workbook_is_refused_in_one_line(tmp_path, content):
    (tmp_path / "rows.xlsx").write_bytes(content)
    with pytest.raises(RecordsError, match="a workbook"):
        read_records(tmp_path / "rows.xlsx")
