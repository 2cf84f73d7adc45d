"""Whatever stands in the file: a clear error or a right answer, and totals that add up."""

from __future__ import annotations

import csv
import io
import math

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from growth.errors import GrowthError
from growth.records.bridge import bridge, movements, spells, triangles
from growth.records.ledger import ledger
from growth.records.measuring import measure
from growth.records.reading import read_records
from growth.records.summary import summary
from growth.records.writing import scenario_text

GOOD = b"customer,date,amount,months,plan\n" + b"".join(
    f"c{n % 7},2024-{1 + n % 12:02}-1{n % 10},{20 + n % 3},{12 if n % 5 == 0 else 1},Studio\n".encode()
    for n in range(40)
)
# mostly sound values, so that many files are read and their sums checked; see the odd ones beside them
CUSTOMERS = st.sampled_from(
    ["ann", "bob", "cat"] * 8 + ["=cmd()", "", " ", "ünï", 'say "hi"', "two\nlines", "a;b", "0", "\x00"]
)
DATES = st.sampled_from(
    ["2024-01-01", "2024-02-29", "2024-03-31T10:00:00Z"] * 8
    + ["0000-01-01", "9999-12-31", "2023-02-29", "1/2/24", "", "2024-05"]
)
AMOUNTS = st.one_of(
    st.floats(-50, 90).map(lambda x: f"{x:.2f}"),
    st.floats(-1e13, 1e13).map(lambda x: f"{x:.2f}"),
    st.sampled_from(["29"] * 20 + ["-29", "0", "nan", "inf", "1e400", "1,5", "", "€3", "1_0"]),
)
MONTHS = st.sampled_from(["1", "1", "12", "3"] * 5 + ["", "0", "61", "-1", "1.5"])
ROWS = st.lists(st.tuples(CUSTOMERS, DATES, AMOUNTS, MONTHS), max_size=25)


def check(path, *, leave_out: int = 10**9):
    """Read and measure; returns the rows, or None where the file was refused with a clear error."""
    try:
        rows = read_records(path, leave_out=leave_out)
        made = ledger(rows)
    except GrowthError as error:
        assert str(error)
        return None
    total = made.mrr.sum() + made.paid_ahead + made.unmatched_refunds
    scale = float(np.abs(rows.amount).sum()) + 1
    assert math.isclose(total, rows.total, abs_tol=1e-9 * scale)
    runs = spells(made)
    moves = bridge(movements(made, runs))
    balance = (
        moves["opening_mrr"]
        + moves["new_mrr"]
        + moves["reactivation_mrr"]
        + moves["expansion_mrr"]
        - moves["contraction_mrr"]
        - moves["churned_mrr"]
        - moves["closing_mrr"]
    )
    assert np.all(np.abs(balance) <= 1e-9 * scale)
    assert math.isclose(triangles(made, runs)[1].sum(), made.mrr.sum(), abs_tol=1e-9 * scale)
    return rows


@settings(max_examples=150)
@given(ROWS, st.booleans(), st.sampled_from(["\n", "\r\n"]))
def test_odd_values_add_up_or_are_counted(tmp_path_factory, rows, mark, end):
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    text = io.StringIO()
    writer = csv.writer(text, lineterminator=end)
    writer.writerow(["customer", "date", "amount", "months"])
    writer.writerows(rows)
    path.write_bytes((("\ufeff" if mark else "") + text.getvalue()).encode())
    read = check(path)
    if read is not None:
        assert read.amount.size + read.unreadable.total == len(rows)


@settings(max_examples=300)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 6), st.binary(max_size=4)), min_size=1, max_size=4))
@example([(60, 0, b'"')])
@example([(40, 3, b"\xff\xfe")])
def test_damaged_files_are_refused_or_add_up(tmp_path_factory, damages):
    content = GOOD
    for place, cut, put in damages:
        content = content[:place] + put + content[place + cut :]
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    path.write_bytes(content)
    check(path)


@settings(max_examples=100)
@given(st.binary(max_size=300))
def test_any_bytes_are_refused_or_add_up(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    path.write_bytes(content)
    check(path)


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.sampled_from("abcde"),
            st.integers(0, 20),
            st.sampled_from([0, 5, 20, -20, 1e11, 0.01]),
            st.sampled_from([1, 12]),
        ),
        min_size=1,
    )
)
def test_a_scenario_comes_of_any_rows_or_a_clear_error(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    lines = [f"{who},{np.datetime64('2024-01') + month}-03,{amount},{months}" for who, month, amount, months in rows]
    path.write_text("\n".join(["customer,date,amount,months", *lines]))
    try:
        measured = measure(ledger(read_records(path)))
        from growth.records.writing import scenario_of
        from growth.scenario.document import parse

        scenario_of(parse(scenario_text(measured, business="Fuzz"), file="fuzz"))
    except GrowthError as error:
        assert str(error)
        return
    assert summary(measured)
