"""Reading both shapes, and saying what cannot be read: nothing is dropped in silence."""

from __future__ import annotations

import os

import numpy as np
import pyarrow as pa
import pytest
from how_many import few_or_many
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from growth.records.paid_months import spread_payments
from growth.records.read import csv_file, load_columns, read_records, tables
from growth.records.read.records_file import MOST_PLANS
from growth.records.read.rows import RecordsError, Rows
from growth.records.read.values import NONE

HEAD = "customer,date,amount,months,plan,currency\n"


def charges(tmp_path, text: str | bytes, name: str = "charges.csv"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(tmp_path, text, **more):
    return read_records(charges(tmp_path, text), **more)


def test_charges_are_read(tmp_path):
    rows = read(
        tmp_path,
        HEAD
        + "ann,2024-01-31,29.00,1,Studio,EUR\nbob,2024-02-01,290,12,Studio,EUR\nann,2024-02-03,-9.5,1,Studio,EUR\n",
    )
    assert rows.charges and rows.currency == "EUR" and rows.plans == ("Studio",)
    assert rows.customer.tolist() == [0, 1, 0] and rows.amount.tolist() == [29, 290, -9.5]
    assert months(rows.month) == ["2024-01", "2024-02", "2024-02"]
    assert rows.span.tolist() == [1, 12, 1] and rows.yearly.tolist() == [False, True, False]


def test_months_are_read(tmp_path):
    rows = read(tmp_path, "month;mrr;customer;billing\n2024-01;29;ann;monthly\n2024-02-01;24.5;bob;yearly\n")
    assert not rows.charges
    assert rows.amount.tolist() == [29, 24.5] and rows.yearly.tolist() == [False, True]
    assert months(rows.month) == ["2024-01", "2024-02"]


def test_other_names_units_and_currencies_by_a_file(tmp_path):
    mapping = tmp_path / "names.yaml"
    mapping.write_text(
        "columns: {customer: Client, date: Paid on, amount: Total, period_start: From, period_end: To}\n"
        "amounts: minor\ncurrency: EUR\nrates: {USD: 0.5}\n"
    )
    text = (
        "Total,Client,Paid on,currency,From,To\n"
        "2900,a,2024-01-15,EUR,2024-02-01,2024-02-29\n12000,b,2024-01-15,USD,2024-01-15,2025-01-14\n"
    )
    rows = read(tmp_path, text, columns=load_columns(mapping))
    assert rows.amount.tolist() == [29, 60] and rows.currency == "EUR"
    assert rows.span.tolist() == [1, 12]
    assert months(rows.month) == ["2024-02", "2024-01"] and months(rows.made) == ["2024-01", "2024-01"]


def months(numbers: np.ndarray) -> list[str]:
    return (numbers + np.datetime64("1970-01")).astype(str).tolist()


def same(one: Rows, other: Rows) -> None:
    """Both hold the same rows and the same counts of unreadable ones."""
    for name in ("customer", "month", "span", "made", "amount", "plan", "yearly", "joined"):
        left, right = getattr(one, name), getattr(other, name)
        assert np.array_equal(left, right) and getattr(left, "dtype", None) == getattr(right, "dtype", None), name
    for name in ("plans", "currency", "customers", "charges", "last_day"):
        assert getattr(one, name) == getattr(other, name), name
    assert str(one.unreadable) == str(other.unreadable)


def demo_files(tmp_path, *names: str) -> list:
    from growth.records.demo import DemoBusiness, write_demo

    for name in names:
        write_demo(DemoBusiness(months=12), tmp_path / name, seed=3)
    return [tmp_path / name for name in names]


def always_careful(monkeypatch) -> None:
    """From here on every record of a CSV file is parsed by itself."""
    parse = csv_file._parse

    def never_at_once(content, begins, ends, plain, layout):
        if plain.any():
            raise pa.ArrowInvalid("not now")
        return parse(content, begins, ends, plain, layout)

    monkeypatch.setattr(csv_file, "_parse", never_at_once)


def test_parquet_gives_the_same_rows_as_csv(tmp_path):
    same(*(read_records(path) for path in demo_files(tmp_path, "demo.csv", "demo.parquet")))


def test_record_by_record_gives_what_whole_blocks_give(tmp_path, monkeypatch):
    (path,) = demo_files(tmp_path, "demo.csv")
    at_once = read_records(path)
    always_careful(monkeypatch)
    same(at_once, read_records(path))


def test_only_odd_records_are_parsed_by_themselves(tmp_path, monkeypatch):
    lines = [f"c{n % 97},2024-01-{1 + n % 28:02},{n % 13},1,Studio,EUR\n" for n in range(30_000)]
    whole = read(tmp_path, HEAD + "".join(lines))
    for place, odd in {
        5: ",2024-01-01,1,1,Studio,EUR\n",
        17_000: "\n",
        29_999: 'c1,2024-01-01,1,1,"Stu\ndio",EUR\n',
    }.items():
        lines.insert(place, odd)
    careful = []
    monkeypatch.setattr(csv_file, "_record", lambda *more, record=csv_file._record: careful.append(1) or record(*more))
    rows = read(tmp_path, HEAD + "".join(lines), leave_out=2)
    assert np.array_equal(rows.customer, whole.customer) and np.array_equal(rows.amount, whole.amount)
    assert rows.unreadable.lines == {
        "no customer": [7],
        "a line break within a value, as after a quotation mark that is not closed": [30_001],
    }
    assert len(careful) == 2  # the header and the one with marks


@pytest.mark.parametrize("block", [1 << 24, 450_000, 1 << 14])
def test_more_plans_than_can_be_told_apart_are_refused(tmp_path, monkeypatch, block):
    monkeypatch.setattr(csv_file, "BLOCK_SIZE", block)
    lines = [f"ann,2024-01-01,29,1,plan {n},EUR\n" for n in range(2 * MOST_PLANS)]
    assert len(read(tmp_path, HEAD + "".join(lines[:MOST_PLANS])).plans) == MOST_PLANS
    with pytest.raises(RecordsError, match=r"charges.csv: plan: at most 30,000"):
        read(tmp_path, HEAD + "".join(lines[: MOST_PLANS + 1]))
    with pytest.raises(RecordsError, match=r"charges.csv: plan: at most 30,000"):
        read(tmp_path, HEAD + "".join(lines))


ODD_CSV = st.lists(
    st.sampled_from(
        [f"{who},2024-0{month}-01,{amount},1,Studio,EUR" for who in "abc" for month in (1, 2) for amount in (1, 2.5)]
        + ["", "a", ",2024-01-01,1,1,Studio,EUR", "a,2024-02-30,1,1,Studio,EUR", 'a,2024-01-01,1,1,"Studio,EUR']
        + [
            '"a",2024-01-01,1,1,Studio,"EUR"',
            'b,2024-01-01,1,1,"Stu\ndio",EUR',
            'a,2024-01-01,1,1,5" pot,EUR',
            "a\rb",
            '"',
        ]
        + ['""\n"",2024-01-01,1,1,Studio,EUR', 'a,2024-01-01,1,1,"a""b",EUR', "a,2024-01-01T10:00:00Z,1,1,Studio,EUR"]
    ),
    max_size=40,
)


@settings(max_examples=few_or_many(40, 150), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ODD_CSV, st.sampled_from([16, 64, 200, 1 << 20]), st.sampled_from(["\n", "\r\n", "\r"]))
def test_where_a_file_is_cut_into_blocks_does_not_matter(tmp_path, lines, block, end):
    path = charges(tmp_path, HEAD + "a,2024-01-01,29,1,Studio,EUR" + end + end.join(lines))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_file, "BLOCK_SIZE", block)
        in_blocks = read_records(path, leave_out=99)
        patch.setattr(csv_file, "BLOCK_SIZE", 1 << 20)
        always_careful(patch)
        same(in_blocks, read_records(path, leave_out=99))


FAULTS = {
    "no customer": ",2024-01-01,29,1,Studio,EUR",
    "no date": "ann,,29,1,Studio,EUR",
    "a date that is not written year-month-day": "ann,31/01/2024,29,1,Studio,EUR",
    "a date that is not in the calendar": "ann,2024-02-30,29,1,Studio,EUR",
    "a date outside the years 1970 to 2199": "ann,9999-12-31,29,1,Studio,EUR",
    "no amount": "ann,2024-01-01,,1,Studio,EUR",
    "an amount that is not a plain number": 'ann,2024-01-01,"1,029.00",1,Studio,EUR',
    "an amount beyond a million million": "ann,2024-01-01,1e13,1,Studio,EUR",
    "months that are not a whole number from 1 to 60": "ann,2024-01-01,29,0,Studio,EUR",
    "a currency that is not three letters": "ann,2024-01-01,29,1,Studio,euro",
    "not as many values as there are columns": "ann,2024-01-01,29",
    "a line break within a value": 'ann,2024-01-01,29,1,"Stu\ndio",EUR',
}


@pytest.mark.parametrize("kind", FAULTS)
def test_each_fault_is_named_with_its_line_and_stops_the_run(tmp_path, kind):
    text = HEAD + "bob,2024-01-01,29,1,Studio,EUR\n" + FAULTS[kind] + "\ncat,2024-01-01,31,1,Studio,EUR\n"
    with pytest.raises(RecordsError) as error:
        read(tmp_path, text)
    assert kind in str(error.value) and "line 3" in str(error.value) and "--leave-out 1" in str(error.value)
    assert "ann" not in str(error.value)  # no value of a row is ever shown
    rows = read(tmp_path, text, leave_out=1)
    assert rows.total == 60 and rows.unreadable.total == 1


def test_year_0_is_refused_too(tmp_path):
    with pytest.raises(RecordsError, match="outside the years"):
        read(tmp_path, HEAD + "ann,0000-01-01,29,1,Studio,EUR\n")


def test_counts_and_first_lines_of_each_kind(tmp_path):
    bad = "".join("ann,soon,29,1,Studio,EUR\n" for _ in range(8)) + ",2024-01-01,29,1,Studio,EUR\n"
    with pytest.raises(
        RecordsError, match=r"8 rows, first in lines 2, 3, 4, 5, 6\n.*no customer: 1 row, first in line 10"
    ):
        read(tmp_path, HEAD + bad)


def test_an_open_quotation_mark_cannot_swallow_rows(tmp_path):
    text = HEAD + 'ann,2024-01-01,29,1,Studio,"EUR\nbob,2024-01-01,29,1,Studio,EUR\ncat,2024-01-01,29,1,Studio,EUR\n'
    with pytest.raises(RecordsError, match="line 2"):
        read(tmp_path, text)


@pytest.mark.parametrize("before", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_byte_order_mark_and_line_ends_change_nothing(tmp_path, before, end):
    text = (
        before
        + end.join([HEAD.strip().encode(), b"ann,2024-01-01,29,1,Studio,EUR", b"bob,2024-01-01,29,1,Studio,EUR"])
        + end
    )
    assert read(tmp_path, text).total == 58


def test_mixed_encodings_are_named(tmp_path):
    text = (
        HEAD.encode()
        + "café,2024-01-01,29,1,Studio,EUR\n".encode()
        + "café,2024-01-01,29,1,Studio,EUR\n".encode("latin-1")
    )
    with pytest.raises(RecordsError, match=r"not UTF-8.*line 3"):
        read(tmp_path, text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "columns customer, date, amount"),
        (b"\n\n", "columns customer, date, amount"),
        (b"customer,date\nann,2024-01-01\n", "columns customer, date, amount"),
        (b"customer,customer,date,amount\n", "once"),
        (b",".join(b"c%d" % n for n in range(1_000_000)), "64 KB"),
        (HEAD.encode(), "at least one row"),
        (HEAD.encode() + b"ann,2024-01-01,29,1,Studio,EUR\nbob,2024-01-01,29,1,Studio,USD\n", "one currency, or rates"),
        (b"PAR1\x00\xff" * 50, "a CSV file is needed"),
    ],
)
def test_files_that_are_no_records(tmp_path, text, said):
    with pytest.raises(RecordsError, match=said):
        read(tmp_path, text)


@pytest.mark.parametrize("place", ["start", "pages", "footer", "end"])
def test_a_damaged_parquet_file_is_refused_or_read_with_every_fault_named(tmp_path, place):
    """Bytes are set at random, one at a time: no other error than ours, and no sum that says nothing of it."""
    whole = parquet(tmp_path).read_bytes()
    parts = {"start": (0, 4), "pages": (4, len(whole) // 3), "footer": (len(whole) // 3, len(whole) - 8)}
    low, high = parts.get(place, (len(whole) - 8, len(whole)))
    random = np.random.default_rng(1)
    count = few_or_many(100, 500)
    for at, value in zip(random.integers(low, high, count), random.integers(0, 256, count), strict=True):
        damaged = bytearray(whole)
        damaged[at] = value
        try:
            rows = read_records(charges(tmp_path, bytes(damaged), "y.parquet"), leave_out=3)
        except RecordsError as error:
            assert str(error)
        else:
            assert rows.size + rows.unreadable.total == 3


def test_text_in_parquet_that_is_not_utf8_is_named(tmp_path):
    names = pa.StringArray.from_buffers(3, pa.py_buffer(np.array([0, 4, 5, 6], np.int32)), pa.py_buffer(b"caf\xe9bc"))
    with pytest.raises(RecordsError, match=r"not UTF-8: 1 row, first in line 2"):
        read_records(parquet(tmp_path, customer=names))
    assert read_records(tmp_path / "x.parquet", leave_out=1).customers == 2


def test_a_spreadsheet_is_called_one(tmp_path):
    import zipfile

    with zipfile.ZipFile(tmp_path / "x.xlsx", "w") as file:
        file.writestr("xl/workbook.xml", "")
    with pytest.raises(RecordsError, match=r"a workbook \(.xlsx\) that can be read"):
        read_records(tmp_path / "x.xlsx")
    (tmp_path / "x.xlsx").rename(tmp_path / "x.csv")
    with pytest.raises(RecordsError, match=r"found a spreadsheet .*Save the sheet as CSV"):
        read_records(tmp_path / "x.csv")


def test_folders_and_pipes_are_refused_before_they_are_opened(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path, said in ((tmp_path, "directory"), (tmp_path / "pipe", "pipe"), (tmp_path / "none.csv", "no such file")):
        for reader in (read_records, load_columns):
            with pytest.raises(RecordsError, match=said):
                reader(path)


def test_a_mapping_of_endless_length_is_refused(tmp_path):
    (tmp_path / "names.yaml").write_text("#" * (1 << 20) + "\n")
    with pytest.raises(RecordsError, match="at most 1,024 KB"):
        load_columns(tmp_path / "names.yaml")


def test_odd_rows_cost_no_second_reading_of_those_beside_them(tmp_path, monkeypatch):
    """One row in a hundred has one of five faults: only the fifth of them with a line break is parsed by itself."""
    faults = [",2024-05-01,29,1,x,EUR", "odd,soon,29,1,x,EUR", "odd,2024-05-01,n/a,1,x,EUR", "odd,2024-05-01"]
    faults.append('odd,2024-05-01,29,1,"Stu\ndio",EUR')
    lines = []
    for n in range(10_000):
        lines.append(f"c{n % 97},2024-01-{1 + n % 28:02},{n % 13},1,Studio,EUR")
        if n % 100 == 50:
            lines.append(faults[n // 100 % 5])
    careful = []
    monkeypatch.setattr(csv_file, "_record", lambda *more, record=csv_file._record: careful.append(1) or record(*more))
    rows = read(tmp_path, HEAD + "\n".join(lines), leave_out=100)
    assert rows.size == 10_000 and set(rows.unreadable.counts.values()) == {20} and len(rows.unreadable.counts) == 5
    assert len(careful) == 1 + 20  # the header, and those


def test_a_parquet_file_with_faults_counts_them_by_row(tmp_path):
    import pyarrow.parquet as pq

    table = pa.table({"customer": [1, 2, None], "date": ["2024-01-01", "soon", "2024-01-01"], "amount": [1, 2, 3]})
    pq.write_table(table, tmp_path / "x.parquet")
    with pytest.raises(RecordsError) as error:
        read_records(tmp_path / "x.parquet")
    assert "no customer: 1 row, first in line 4" in str(error.value) and "first in line 3" in str(error.value)


DAYS = ["2024-01-31", "2024-02-01", "2024-02-03"]


def parquet(tmp_path, **columns):
    import pyarrow.parquet as pq

    pq.write_table(
        pa.table({"customer": ["a", "b", "a"], "date": DAYS, "amount": [29, 30, -9.5]} | columns),
        tmp_path / "x.parquet",
    )
    return tmp_path / "x.parquet"


def arrow_dates(kind):

    return pa.array(np.array(DAYS, "M8[D]")).cast(kind)


@pytest.mark.parametrize("kind", ["date32", "date64", "timestamp[s]", "timestamp[ns]", "string", "dictionary"])
def test_dates_of_any_type_in_parquet(tmp_path, kind):

    dates = pa.array(DAYS).dictionary_encode() if kind == "dictionary" else arrow_dates(pa.type_for_alias(kind))
    rows = read_records(parquet(tmp_path, date=dates))
    assert sorted(months(rows.month)) == ["2024-01", "2024-02", "2024-02"]
    assert rows.last_day == np.datetime64("2024-02-03").astype(int)


def test_amounts_months_and_customers_of_any_type_in_parquet(tmp_path):
    from datetime import date
    from decimal import Decimal

    path = parquet(
        tmp_path,
        customer=pa.array([1.0, 2.0, 1.0]),
        amount=pa.array([Decimal("29.00"), Decimal("30.00"), Decimal("-9.50")]),
        months=pa.array([1, None, 12], pa.int8()),
        plan=pa.array(["Studio", None, "Studio"]).dictionary_encode(),
        joined=pa.array([None, date(2023, 5, 1), None]),
    )
    rows = read_records(path)
    assert rows.customer.tolist() == [0, 1, 0] and rows.amount.tolist() == [29, 30, -9.5]
    assert rows.span.tolist() == [1, 1, 12]
    assert rows.plans == ("Studio", "all") and rows.plan.tolist() == [0, 1, 0]
    assert rows.joined[0] == NONE and months(rows.joined[1:]) == ["2023-05"]


def test_an_odd_row_of_parquet_is_named_and_the_others_are_read(tmp_path, monkeypatch):

    monkeypatch.setattr(tables, "PARQUET_ROWS", 256)
    count = 2_000
    names = pa.array([None if n == 1_234 else f"c{n % 50}" for n in range(count)])
    rows = read_records(
        parquet(tmp_path, customer=names, date=["2024-01-01"] * count, amount=np.ones(count)), leave_out=1
    )
    assert rows.size == count - 1 and rows.customers == 50
    assert rows.unreadable.lines == {"no customer": [1_236]}


@pytest.mark.parametrize("name", [" ", "\u00a0", "\u2003 "])
def test_a_blank_name_is_no_customer(tmp_path, name):
    with pytest.raises(RecordsError, match="no customer"):
        read(tmp_path, HEAD + f"{name},2024-01-01,29,1,Studio,EUR\n")


@pytest.mark.parametrize(
    "text",
    ["columns: {kunde: x}\n", "columns: {customer: nowhere}\n", "rates: {USD: -1}\n", "amounts: cents\n", "- 1\n", ""],
)
def test_a_wrong_mapping_is_refused(tmp_path, text):
    (tmp_path / "names.yaml").write_text(text)
    with pytest.raises(RecordsError):
        read(tmp_path, HEAD + "ann,2024-01-01,29,1,Studio,EUR\n", columns=load_columns(tmp_path / "names.yaml"))


def test_formulas_as_identifiers_are_identifiers(tmp_path):
    rows = read(tmp_path, HEAD + '"=HYPERLINK(""x"")",2024-01-01,29,1,Studio,EUR\n@SUM(A1),2024-01-01,29,1,=1+1,EUR\n')
    assert rows.customers == 2
    assert spread_payments(rows).mrr.sum() == 58
