"""Whatever stands in the file: a clear error or a right answer. Right is what `plain_records` reads, row by row."""

from __future__ import annotations

import csv
import io
import math
from contextlib import suppress
from fractions import Fraction

import numpy as np
import plain_records
import pytest
from how_many import few_or_many
from hypothesis import example, given, settings
from hypothesis import strategies as st

from growth.errors import GrowthError
from growth.records.bridge import bridge_columns, movements, spells, triangles
from growth.records.estimate import measure
from growth.records.paid_months import spread_payments
from growth.records.read import load_columns, read_records
from growth.records.report import markdown, summary
from growth.records.scenario_file import scenario_text
from growth.scenario.file import parse, scenario_of

MARK = "Q7Z"  # in every identifier: it must turn up nowhere
NEVER = 10**9
# mostly sound values, so that many files are read and their sums checked; see the odd ones beside them
CUSTOMERS = st.sampled_from(
    [f"{MARK}-000{letter}" for letter in "abcd"] * 7
    + [f"=cmd(){MARK}", "", " ", f"ünï{MARK}", f'say "{MARK}"', f"{MARK};b", f"{MARK},b", f"{MARK}\x00", f"-1+{MARK}"]
    + [f"two\n{MARK}", f"@SUM({MARK})", MARK * 99]
)
DAYS = ["2024-01-01", "2024-02-29", "2024-11-30", "2025-03-31T10:00:00Z", "2023-12-05", "2026-07-09"]
ODD_DAYS = ["0000-01-01", "9999-12-31", "2023-02-29", "1/2/24", "", "2024-05", "1969-12-31", "２０２４-01-01"]
ODD_DAYS += [" 2024-01-01", "2024-01-01 "]
DATES = st.sampled_from(DAYS * 5 + ODD_DAYS)
AMOUNTS = st.one_of(
    st.integers(-3000, 9000).map(lambda cents: f"{cents / 100:.2f}"),
    st.sampled_from(["29", "29.00", "0", "-29", "7.5"] * 4 + ["nan", "inf", "1e400", "1,5", "", "€3", "1_0", "1e12"]),
)
COLUMNS = {
    "customer": CUSTOMERS,
    "date": DATES,
    "month": st.sampled_from(["2024-01", "2024-02", "2024-03-15"] * 8 + ["2024-13", "", "0000-01"]),
    "amount": AMOUNTS,
    "mrr": AMOUNTS,
    "months": st.sampled_from(["1"] * 9 + ["007", " 5", "0x5", "12", "12.0", "3", "60", "", "0", "61", "-1", "1.5"]),
    "period_start": st.sampled_from(["", "", "2024-01-01", "2023-06-15", "soon"]),
    "period_end": st.sampled_from(["", "", "2024-03-31", "2025-01-01", "2023-01-01"]),
    "plan": st.sampled_from(["Studio"] * 6 + ["Big", "", "=1+1", "x" * 81, "\x07", ': {"', "#"]),
    "currency": st.sampled_from(["EUR"] * 9 + ["", "eur"]),
    "billing": st.sampled_from(["monthly"] * 5 + ["yearly", "", "weekly"]),
    "joined": st.sampled_from(["", "2023-01-05", "2024-01", "then"]),
}
SHAPES = (
    ("customer", "date", "amount"),
    ("customer", "date", "amount", "months", "plan", "currency"),
    ("amount", "joined", "period_end", "customer", "period_start", "date"),
    ("customer", "month", "mrr"),
    ("plan", "mrr", "month", "customer", "billing", "joined"),
)


@st.composite
def tables(draw):
    """A header and rows of text, some of them twice."""
    header = draw(st.sampled_from(SHAPES))
    rows = draw(st.lists(st.tuples(*(COLUMNS[name] for name in header)), max_size=25))
    rows += rows[: draw(st.integers(0, 3))]
    return header, [dict(zip(header, row, strict=True)) for row in rows]


def check(path, *, rows: list[dict] | None = None, lost: int = 0):
    """Read the file and hold it against the plain reading, of `rows` or of the file itself. The ledger, or None."""
    try:
        read = read_records(path, leave_out=NEVER)
    except GrowthError as error:
        assert str(error) and MARK not in str(error)
        assert not rows or not plain_records.charges(rows)[0]  # what can be read is not refused
        return None
    assert MARK not in str(read.unreadable)
    if rows is None:
        rows, lost = plain_records.csv_rows(path)
    good, bad = plain_records.charges(rows)
    assert (read.size, read.unreadable.total) == (len(good), bad + lost)
    assert read.customers == len({row[0] for row in good})
    scale = float(sum(abs(row[3]) for row in good)) + 1
    assert math.isclose(read.total, float(sum(row[3] for row in good)), abs_tol=1e-12 * scale)
    try:
        made = spread_payments(read, grace=0)
    except GrowthError as error:
        all_ahead = min(row[1] for row in good) > max(row[4] for row in good)
        assert ("the month of the latest date" if all_ahead else "600 months") in str(error)
        return None
    size, mrr, ahead, unmatched = plain_records.book(good)
    assert made.months == size
    assert math.isclose(made.mrr.sum(), float(sum(mrr.values())), abs_tol=1e-9 * scale)
    assert math.isclose(made.paid_ahead, float(ahead), abs_tol=1e-9 * scale)
    assert math.isclose(made.unmatched_refunds, float(unmatched), abs_tol=1e-9 * scale)
    runs = spells(made)
    table, plainly = bridge_columns(movements(made, runs)), plain_records.bridge(size, mrr)
    for name, values in table.items():
        np.testing.assert_allclose(values, np.array(plainly[name], float), rtol=0, atol=1e-9 * scale, err_msg=name)
    assert math.isclose(triangles(made, runs)[1].sum(), made.mrr.sum(), abs_tol=1e-9 * scale)
    return made


@settings(max_examples=few_or_many(40, 150))
@given(tables(), st.sampled_from(",;\t|"), st.booleans(), st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_csv_files_give_the_plain_answer(tmp_path_factory, table, sign, mark, end, quoted):
    header, rows = table
    text = io.StringIO()
    quoting = csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL
    writer = csv.writer(text, delimiter=sign, lineterminator=end, quoting=quoting)
    writer.writerow(header)
    writer.writerows(row.values() for row in rows)
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    path.write_bytes((("\ufeff" if mark else "") + text.getvalue()).encode())
    broken = [row for row in rows if "\n" in row["customer"]]
    check(path, rows=[row for row in rows if row not in broken], lost=len(broken))


@settings(max_examples=few_or_many(20, 60))
@given(tables(), st.sampled_from(["text", "large_text", "dictionary", "own types"]))
def test_parquet_files_give_the_plain_answer(tmp_path_factory, table, kind):
    import pyarrow as pa
    import pyarrow.parquet as pq

    header, rows = table
    columns = {name: pa.array([row[name] for row in rows], pa.string()) for name in header}
    if kind == "large_text":
        columns = {name: column.cast(pa.large_string()) for name, column in columns.items()}
    elif kind == "dictionary":
        columns = {name: column.dictionary_encode() for name, column in columns.items()}
    elif kind == "own types":
        own = {"amount": pa.float64(), "mrr": pa.float64(), "months": pa.int64(), "date": pa.date32()}
        for name in own.keys() & columns.keys():
            with suppress(pa.ArrowInvalid):  # a column with an odd value in it stays text
                columns[name] = columns[name].cast(own[name])
    texts = pa.table({name: column.cast(pa.string()) for name, column in columns.items()})
    rows = [{name: value or "" for name, value in row.items()} for row in texts.to_pylist()]
    path = tmp_path_factory.mktemp("fuzz") / "rows.parquet"
    pq.write_table(pa.table(columns), path, row_group_size=7)
    check(path, rows=rows)


GOOD = b"customer,date,amount,months,plan\n" + b"".join(
    f"{MARK}{n % 7},2024-{1 + n % 12:02}-1{n % 10},{20 + n % 3},{12 if n % 5 == 0 else 1},Studio\n".encode()
    for n in range(40)
)
PIECES = st.one_of(
    st.binary(max_size=4),
    st.sampled_from(
        [b'"', b'""', b",", b"\n", b"\r", b"\r\n", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\xe9", b"-", b"\xc2\x85"]
    ),
)


@settings(max_examples=few_or_many(60, 250))
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 6), PIECES), min_size=1, max_size=4))
@example([(60, 0, b'"')])
@example([(40, 3, b"\xff\xfe")])
def test_damaged_files_are_refused_or_give_the_plain_answer(tmp_path_factory, damages):
    content = GOOD
    for place, cut, put in damages:
        content = content[:place] + put + content[place + cut :]
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    path.write_bytes(content)
    check(path)


@settings(max_examples=few_or_many(20, 80))
@given(st.binary(max_size=300))
def test_any_bytes_are_refused_or_give_the_plain_answer(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("fuzz") / "rows.csv"
    path.write_bytes(content)
    check(path)


MAPPING = (
    b"columns: {customer: Client, date: Paid on, amount: Total}\namounts: minor\ncurrency: EUR\nrates: {USD: 0.5}\n"
)


@settings(max_examples=few_or_many(20, 80))
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(MAPPING)),
            st.integers(0, 8),
            st.sampled_from(
                [b"", b"{", b"}", b"&a ", b"*a", b"!!python/name:os ", b"<<: ", b".nan", b"1e999", b"\xff", b"\t"]
            ),
        ),
        max_size=2,
    )
)
def test_mapping_files_are_refused_or_used(tmp_path_factory, damages):
    content = MAPPING
    for place, cut, put in damages:
        content = content[:place] + put + content[place + cut :]
    folder = tmp_path_factory.mktemp("fuzz")
    (folder / "names.yaml").write_bytes(content)
    (folder / "rows.csv").write_text(
        f"Client,Paid on,Total,currency\n{MARK},2024-01-01,2900,EUR\n{MARK},2024-02-01,1000,USD\n"
    )
    try:
        rows = read_records(folder / "rows.csv", columns=load_columns(folder / "names.yaml"))
    except GrowthError as error:
        assert str(error) and MARK not in str(error)
    else:
        assert np.isfinite(rows.total) and rows.size == 2
        assert damages or rows.total == 29 + 10 / 2


@settings(max_examples=few_or_many(20, 40))
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
    lines = [f"{MARK}{who},{np.datetime64('2024-01') + month}-03,{amount},{span}" for who, month, amount, span in rows]
    path.write_text("\n".join(["customer,date,amount,months", *lines]))
    try:
        measured = measure(spread_payments(read_records(path)))
        written = scenario_text(measured, business="Fuzz")
        scenario_of(parse(written, file="fuzz"))
    except GrowthError as error:
        assert str(error) and MARK not in str(error)
        return
    assert MARK not in written + markdown(measured) + "\n".join(summary(measured))


# --- what the long campaigns found ---


def test_a_huge_refund_swallows_nobody_elses_months(tmp_path):
    """Dust left by cancelling refunds was once told from money by the largest amount of the whole ledger."""
    path = tmp_path / "rows.csv"
    path.write_text("customer,date,amount\na,2024-01-01,311\nb,2024-02-01,-1e12\nc,2024-03-01,690\n")
    made = check(path)
    assert made.mrr.tolist() == [311, 690] and made.unmatched_refunds == -1e12


@pytest.mark.parametrize("amount", [" 29", "29\t", "2.9e+001", "1e-205"])
def test_an_amount_is_read_alike_whatever_stands_in_other_rows(tmp_path, amount):
    path = tmp_path / "rows.csv"
    for other, lost in (("b,2024-01-01,5", 0), ("b,soon,5", 1)):
        path.write_text(f"customer,date,amount\na,2024-01-01,{amount}\n{other}\n")
        rows = read_records(path, leave_out=lost)
        assert rows.amount[0] == float(amount) and rows.unreadable.total == lost


@pytest.mark.parametrize(
    ("column", "value"),
    [("months", text) for text in ("05", "007", " 5", "5\t", "+5", "0x5", "5.0", "60", "61")]
    + [("date", text) for text in (" 2024-01-01", "2024-01-01 ", "20240101", "2024-01-01T00:00:00Z", "2024-1-1")],
)
def test_a_row_is_read_or_not_whatever_stands_in_other_rows(tmp_path, column, value):
    path, known = tmp_path / "rows.csv", []
    row = {"customer": "studio-1", "date": "2024-01-01", "amount": "29", "months": "1"}
    for other in ("2024-02-01", "soon"):
        rows = [row, row, row, row | {"date": other}, row | {column: value}]
        path.write_text("\n".join(",".join(part) for part in (row, *(one.values() for one in rows))) + "\n")
        read = read_records(path, leave_out=2)
        known.append((read.size + (other == "soon"), read.unreadable.total - (other == "soon")))
    assert known[0] == known[1]


def test_a_column_that_is_not_read_may_hold_anything(tmp_path):
    path = tmp_path / "rows.csv"
    path.write_bytes(b"customer,date,amount,remark\na,2024-01-01,29,caf\xe9\nb,soon,29,\n")
    rows = read_records(path, leave_out=1)
    assert rows.total == 29 and rows.unreadable.total == 1


@pytest.mark.parametrize(("price", "months"), [("29.99", 3), ("49.9", 4), ("0.1", 3), ("12.34", 6)])
def test_a_customer_refunded_in_full_was_never_there(tmp_path, price, months):
    """Cents that no sum of floats hits exactly are cleared where a refund is carried back, too."""
    path = tmp_path / "rows.csv"
    paid = [f"a,2024-0{month}-01,{price}" for month in range(1, months + 1)]
    path.write_text(
        "\n".join(
            ["customer,date,amount", *paid, f"a,2024-09-01,-{float(Fraction(price) * months):.2f}", "b,2024-12-01,5"]
        )
    )
    made = check(path)
    assert made.mrr.tolist() == [5] and made.unmatched_refunds == 0 and not any("refund" in note for note in made.notes)


def test_a_byte_order_mark_within_the_file_belongs_to_the_name(tmp_path, monkeypatch):
    path = tmp_path / "rows.csv"
    path.write_bytes("customer,date,amount\nbob,2024-01-01,1\n\ufeffann,2024-01-01,2\nann,2024-01-01,3\n".encode())
    monkeypatch.setattr("growth.records.read.csv_file.BLOCK_SIZE", 16)
    assert read_records(path).customers == 3


@pytest.mark.parametrize("months", [21, 60])
def test_a_refund_over_many_months_is_set_against_each_of_them_once(tmp_path, months):
    """Carried back month by month at once, it, or what it was held against, was once doubled at each step."""
    path = tmp_path / "rows.csv"
    path.write_text(f"customer,date,amount,months\na,2024-02-03,-9.5,{months}\nb,2031-01-01,29,1\n")
    assert check(path).unmatched_refunds == pytest.approx(-9.5)
