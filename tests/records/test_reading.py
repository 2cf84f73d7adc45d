"""Reading both shapes, and saying what cannot be read: nothing is dropped in silence."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plain_records import flat

from growth.records import csv_blocks, part, table_blocks
from growth.records.cells import Bad
from growth.records.columns import load_columns
from growth.records.ledger import ledger
from growth.records.part import MOST_PLANS
from growth.records.reading import read_records
from growth.records.rows import NOT_SAID, Rows
from growth.records.unreadable import RecordsError

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
    customer, records = flat(rows)
    assert customer.tolist() == [0, 0, 1] and records["amount"].tolist() == [29, -9.5, 290]
    assert months(records["month"]) == ["2024-01", "2024-02", "2024-02"]
    assert records["span"].tolist() == [1, 1, 12] and records["yearly"].tolist() == [False, False, True]


def test_months_are_read(tmp_path):
    rows = read(tmp_path, "month;mrr;customer;billing\n2024-01;29;ann;monthly\n2024-02-01;24.5;bob;yearly\n")
    assert not rows.charges
    _, records = flat(rows)
    assert records["amount"].tolist() == [29, 24.5] and records["yearly"].tolist() == [False, True]
    assert months(records["month"]) == ["2024-01", "2024-02"]


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
    _, records = flat(rows)
    assert records["amount"].tolist() == [29, 60] and rows.currency == "EUR"
    assert records["span"].tolist() == [1, 12]
    assert months(records["month"]) == ["2024-02", "2024-01"] and months(records["made"]) == ["2024-01", "2024-01"]


def months(numbers: np.ndarray) -> list[str]:
    return (numbers + np.datetime64("1970-01")).astype(str).tolist()


def same(one: Rows, other: Rows) -> None:
    """Both hold the same rows and the same counts of unreadable ones."""
    for left, right in zip((*flat(one), one.joined), (*flat(other), other.joined), strict=True):
        assert np.array_equal(left, right) and getattr(left, "dtype", None) == getattr(right, "dtype", None)
    for name in ("plans", "currency", "charges", "first_month", "last_day"):
        assert getattr(one, name) == getattr(other, name), name
    assert str(one.unreadable) == str(other.unreadable)


def demo_files(tmp_path, *names: str) -> list:
    from growth.records.demo import DemoBusiness, write_demo

    for name in names:
        write_demo(DemoBusiness(months=12), tmp_path / name, seed=3)
    return [tmp_path / name for name in names]


def never_quick(monkeypatch) -> None:
    """From here on every row is read by itself."""

    def odd(*_, **__):
        raise Bad("odd")

    monkeypatch.setattr(csv_blocks, "part_of_columns", odd)
    monkeypatch.setattr(table_blocks, "part_of_columns", odd)


def test_parquet_gives_the_same_rows_as_csv(tmp_path):
    same(*(read_records(path) for path in demo_files(tmp_path, "demo.csv", "demo.parquet")))


@pytest.mark.parametrize("name", ["demo.csv", "demo.parquet"])
def test_row_by_row_gives_what_the_quick_way_gives(tmp_path, monkeypatch, name):
    (path,) = demo_files(tmp_path, name)
    quick = read_records(path)
    never_quick(monkeypatch)
    same(quick, read_records(path))


def test_only_rows_beside_an_odd_one_are_read_by_themselves(tmp_path, monkeypatch):
    lines = [f"c{n % 97},2024-01-{1 + n % 28:02},{n % 13},1,Studio,EUR\n" for n in range(30_000)]
    whole = read(tmp_path, HEAD + "".join(lines))
    for place, odd in {
        5: ",2024-01-01,1,1,Studio,EUR\n",
        17_000: "\n",
        29_999: 'c1,2024-01-01,1,1,"Stu\ndio",EUR\n',
    }.items():
        lines.insert(place, odd)
    one_by_one = []
    monkeypatch.setattr(part, "meant_by", lambda row, meant_by=part.meant_by: one_by_one.append(1) or meant_by(row))
    rows = read(tmp_path, HEAD + "".join(lines), leave_out=2)
    assert all((left == right).all() for left, right in zip(flat(rows), flat(whole), strict=True))
    assert rows.unreadable.lines == {
        "no customer": [7],
        "a line break within a value, as after a quotation mark that is not closed": [30_001],
    }
    assert 0 < sum(one_by_one) < 1_000


def test_texts_of_one_length_are_read_as_those_of_many_are(tmp_path, monkeypatch):
    """In small blocks all names and dates have one length, which is quicker; in a large one they have many."""
    alike = [f"studio-{n % 97:04},2024-01-{1 + n % 28:02},{n % 13},1,Studio,EUR\n" for n in range(3_000)]
    others = [f"studio {n % 397},2024-02-01T08:00:00Z,{n % 13},,Studio,EUR\n" for n in range(3_000)]
    monkeypatch.setattr(part, "meant_by", None)  # so that no row can be read by itself
    found = read(tmp_path, HEAD + "".join(alike + others))
    monkeypatch.setattr(csv_blocks, "BLOCK", 1 << 14)
    same(found, read(tmp_path, HEAD + "".join(alike + others)))
    assert found.size == 6_000 and found.customers == 97 + 397


@pytest.mark.parametrize("block", [1 << 22, 450_000, 1 << 14])
def test_more_plans_than_can_be_told_apart_are_refused(tmp_path, monkeypatch, block):
    monkeypatch.setattr(csv_blocks, "BLOCK", block)
    lines = [f"ann,2024-01-01,29,1,plan {n},EUR\n" for n in range(2 * MOST_PLANS)]
    assert len(read(tmp_path, HEAD + "".join(lines[:MOST_PLANS])).plans) == MOST_PLANS
    with pytest.raises(RecordsError, match=r"charges.csv: plan: at most 30,000"):
        read(tmp_path, HEAD + "".join(lines[: MOST_PLANS + 1]))
    with pytest.raises(RecordsError, match=r"charges.csv: plan: at most 30,000"):
        read(tmp_path, HEAD + "".join(lines))


def test_threads_that_read_never_bring_arrow_to_import_pandas(tmp_path):
    """Two that did so at one moment would wait for each other for ever; and it takes longer than a small file."""
    paths = demo_files(tmp_path, "demo.csv", "demo.parquet")
    odd = charges(tmp_path, HEAD + "ann,2024-01-01T10:00:00Z,29,,Studio,EUR\n,2024-01-01,1,1,x,EUR\n", "odd.csv")
    code = "import sys\nfrom growth.records.reading import read_records\n" + "".join(
        f"read_records({str(path)!r}, leave_out=1)\n" for path in (*paths, odd)
    )
    done = subprocess.run([sys.executable, "-c", code + "sys.exit('pandas' in sys.modules)"], timeout=60)
    assert done.returncode == 0


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


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    ODD_CSV, st.sampled_from([16, 64, 200, 1 << 20]), st.sampled_from([1, 40, 4096]), st.sampled_from(["\n", "\r\n"])
)
def test_where_a_file_is_cut_into_blocks_does_not_matter(tmp_path, lines, block, smallest, end):
    path = charges(tmp_path, HEAD + "a,2024-01-01,29,1,Studio,EUR" + end + end.join(lines))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_blocks, "BLOCK", block)
        patch.setattr(csv_blocks, "SMALLEST", smallest)
        in_blocks = read_records(path, leave_out=99)
        patch.setattr(csv_blocks, "BLOCK", 1 << 20)
        never_quick(patch)
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
    "a currency that is not three capital letters": "ann,2024-01-01,29,1,Studio,euro",
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
        (b"PAR1\x00\xff" * 50, "columns customer"),
    ],
)
def test_files_that_are_no_records(tmp_path, text, said):
    with pytest.raises(RecordsError, match=said):
        read(tmp_path, text)


def test_a_broken_parquet_file(tmp_path):
    with pytest.raises(RecordsError, match="Parquet file that can be read"):
        read_records(charges(tmp_path, b"PAR1 nothing", "x.parquet"))


def test_a_parquet_file_with_faults_counts_them_by_row(tmp_path):
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pa.table({"customer": [1, 2, None], "date": ["2024-01-01", "soon", "2024-01-01"], "amount": [1, 2, 3]})
    pq.write_table(table, tmp_path / "x.parquet")
    with pytest.raises(RecordsError) as error:
        read_records(tmp_path / "x.parquet")
    assert "no customer: 1 row, first in line 4" in str(error.value) and "first in line 3" in str(error.value)


DAYS = ["2024-01-31", "2024-02-01", "2024-02-03"]


def parquet(tmp_path, **columns):
    import pyarrow as pa
    import pyarrow.parquet as pq

    pq.write_table(
        pa.table({"customer": ["a", "b", "a"], "date": DAYS, "amount": [29, 30, -9.5]} | columns),
        tmp_path / "x.parquet",
    )
    return tmp_path / "x.parquet"


def arrow_dates(kind):
    import pyarrow as pa

    return pa.array(np.array(DAYS, "M8[D]")).cast(kind)


@pytest.mark.parametrize("kind", ["date32", "date64", "timestamp[s]", "timestamp[ns]", "string", "dictionary"])
def test_dates_of_any_type_in_parquet(tmp_path, kind):
    import pyarrow as pa

    dates = pa.array(DAYS).dictionary_encode() if kind == "dictionary" else arrow_dates(pa.type_for_alias(kind))
    rows = read_records(parquet(tmp_path, date=dates))
    assert sorted(months(flat(rows)[1]["month"])) == ["2024-01", "2024-02", "2024-02"]
    assert rows.last_day == np.datetime64("2024-02-03").astype(int)


def test_amounts_months_and_customers_of_any_type_in_parquet(tmp_path, monkeypatch):
    from datetime import date
    from decimal import Decimal

    import pyarrow as pa

    path = parquet(
        tmp_path,
        customer=pa.array([1.0, 2.0, 1.0]),
        amount=pa.array([Decimal("29.00"), Decimal("30.00"), Decimal("-9.50")]),
        months=pa.array([1, None, 12], pa.int8()),
        plan=pa.array(["Studio", None, "Studio"]).dictionary_encode(),
        joined=pa.array([None, date(2023, 5, 1), None]),
    )
    rows = read_records(path)
    customer, records = flat(rows)
    assert customer.tolist() == [0, 0, 1] and records["amount"].tolist() == [29, -9.5, 30]
    assert records["span"].tolist() == [1, 12, 1]
    assert rows.plans == ("Studio", "all") and records["plan"].tolist() == [0, 0, 1]
    assert rows.joined[0] == NOT_SAID and months(rows.joined[1:]) == ["2023-05"]
    never_quick(monkeypatch)
    same(rows, read_records(path))


def test_an_odd_row_of_parquet_is_named_and_the_others_are_read(tmp_path, monkeypatch):
    import pyarrow as pa

    monkeypatch.setattr(table_blocks, "BLOCK", 256)
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
    assert ledger(rows).mrr.sum() == 58
