"""A table of subscriptions, as a billing system lists them; the months behind each number are counted by hand."""

from __future__ import annotations

import pytest

import growth
from growth.cli import main
from growth.records import RecordsError, load_columns, measure, read_records, spread_payments
from growth.records.bridge import bridge_frame, movements, spells

HEAD = "customer,plan,start,end,price,billing,discount\n"
UGLY = HEAD + (
    "ann,Studio,2024-01-10,,29,monthly,\n"
    "ben,Studio,2024-02-01,2024-03-15,29,monthly,\n"  # changes plan on 15 March
    "ben,Team,2024-03-15,,58,monthly,\n"
    "cam,Studio,2024-01-31,2024-04-30,29,monthly,\n"  # on board on the last day of April
    "dot,Studio,2024-03-01,,348,yearly,25%\n"
    "eve,Team,2024-02-10,,58,monthly,\n"  # two at once
    "eve,Storage,2024-03-10,2024-05-02,5,monthly,\n"
    "fay,Studio,2024-05-03,2024-05-20,29,monthly,\n"  # within one month
    "gus,Studio,2024-05-01,2199-01-01,29,monthly,\n"  # an end still to come
)


def rows_of(tmp_path, text: str, columns: str = "", **options):
    (tmp_path / "rows.csv").write_text(text)
    if columns:
        (tmp_path / "columns.yaml").write_text(columns)
        options["columns"] = load_columns(tmp_path / "columns.yaml")
    return read_records(tmp_path / "rows.csv", **options)


def test_the_bridge_of_subscriptions_counted_by_hand(tmp_path):
    """Closing months, January to May: who runs on the last day, at what a month (yearly: 348 x 0.75 / 12 = 21.75)."""
    book = spread_payments(rows_of(tmp_path, UGLY))
    frame = bridge_frame(book, movements(book, spells(book)))
    assert [str(month) for month in (book.first_month, book.last_month)] == ["2024-01", "2024-05"]
    # Jan ann cam; Feb + ben 29, eve 58; Mar ben 58, dot, eve 63; Apr the same; May cam gone, eve 58, gus
    closing = [
        29 + 29,
        29 + 29 + 29 + 58,
        29 + 58 + 29 + 21.75 + 63,
        29 + 58 + 29 + 21.75 + 63,
        29 + 58 + 21.75 + 58 + 29,
    ]
    assert movements(book, spells(book)).closing_mrr.sum(axis=1).tolist() == pytest.approx(closing)
    assert frame["expansion_mrr"].tolist() == pytest.approx([0, 29 + 5, 0, 0])
    assert frame["contraction_mrr"].tolist() == pytest.approx([0, 0, 0, 5])
    assert frame["churned_mrr"].tolist() == pytest.approx([0, 0, 0, 29])
    assert frame["lost_customers"].tolist() == [0, 0, 0, 1]
    assert book.grace.months == 0 and book.settled == book.months


def test_what_is_assumed_of_subscriptions_is_said(tmp_path):
    said = " ".join(rows_of(tmp_path, UGLY).notes)
    assert "without an end are taken to run until 2024-05" in said
    assert "1 subscription began and ended within one month" in said
    assert "ann" not in said.split() and "no subscription has ended" not in said


def test_a_list_of_those_on_board_says_that_it_cannot_tell_churn(tmp_path):
    said = rows_of(tmp_path, "customer,start,price\na,2024-01-05,20\nb,2024-03-05,20\n").notes
    assert said[0].startswith("no subscription has ended: if the table lists only those still on board")


def test_until_is_the_month_of_the_export(tmp_path):
    text = "customer,start,end,price\na,2024-01-05,,20\nb,2024-01-05,2024-02-03,20\n"
    assert spread_payments(rows_of(tmp_path, text)).months == 2
    rows = rows_of(tmp_path, text, until="2024-06")
    book = spread_payments(rows, until="2024-06")
    assert book.months == 6 and book.mrr.sum() == 6 * 20 + 20
    assert not any("are taken to run until" in note for note in rows.notes)


def test_a_customer_whose_subscription_ended_and_who_came_back_left_in_between(tmp_path):
    text = "customer,start,end,price\na,2024-01-05,2024-03-05,20\na,2024-04-05,,20\nb,2024-01-02,,20\n"
    text += "c,2024-01-05,2024-03-05,20\nc,2024-04-05,,20\n"
    book = spread_payments(rows_of(tmp_path, text))
    moves = movements(book, spells(book))
    assert moves.lost.sum(axis=1).tolist() == [0, 0, 2, 0] and moves.returned.sum(axis=1).tolist() == [0, 0, 0, 2]


@pytest.mark.parametrize(
    ("line", "columns", "mrr"),
    [
        ("30,monthly,3,10%", "", 81),  # three seats
        ("30,Quarterly,,", "", 10),
        ("360,annual,,0.5", "", 15),
        ("30,month,,20", "discount: percent", 24),
        ("30,month,,20", "discount: amount", 10),
        ("3000,monthly,2,", "amounts: minor", 60),
        ("0,monthly,,", "", 0),
    ],
)
def test_what_a_subscription_pays_a_month(tmp_path, line, columns, mrr):
    rows = rows_of(tmp_path, f"customer,start,price,billing,quantity,discount\na,2024-01-05,{line}\n", columns)
    assert rows.amount.tolist() == [pytest.approx(mrr)]


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("a,2024-01-05,2023-12-01,20,", "a period that ends before it begins"),
        ("a,2024-01-05,,20,20", "a discount that is neither"),
        ("a,2024-01-05,,-20,", "a negative MRR"),
        ("a,,,20,", "no date"),
    ],
)
def test_a_subscription_that_cannot_be_read_is_named_by_its_line(tmp_path, line, wrong):
    with pytest.raises(RecordsError, match=wrong):
        rows_of(tmp_path, f"customer,start,end,price,discount\n{line}\n")


def test_subscriptions_with_names_of_their_own_become_a_scenario(tmp_path):
    """Forty customers, ten of whom left: 30 on board at 20, so 600 of MRR."""
    lines = ["Client;From;To;Fee;Cycle"]
    lines += [
        f"c{n};2024-{1 + n % 12:02}-03;{f'2025-{1 + n % 9:02}-20' if n % 4 == 0 else ''};20;Monthly" for n in range(40)
    ]
    (tmp_path / "subs.csv").write_text("\n".join(lines))
    (tmp_path / "names.yaml").write_text(
        "columns: {customer: Client, start: From, end: To, price: Fee, billing: Cycle}\n"
    )
    to = tmp_path / "x.yaml"
    words = ["measure", str(tmp_path / "subs.csv"), "--to", str(to), "--columns", str(tmp_path / "names.yaml")]
    assert main([*words, "--until", "2025-12"]) == 0
    assert growth.load_scenario(to).opening.mrr == 600 and growth.load_scenario(to).opening.customers == 30
    rows = read_records(tmp_path / "subs.csv", columns=load_columns(tmp_path / "names.yaml"), until="2025-12")
    measured = measure(spread_payments(rows, until="2025-12"))
    assert measured.moves.lost.sum() == 10


RATES = "currency: EUR\nrates: {USD: {2024-01: 0.5, 2024-02: 0.25}}\n"
DOLLARS = "customer,date,amount,currency\na,2024-01-05,20,usd\na,2024-02-05,20,USD\nb,2024-02-05,20,eur\n"


def test_rates_by_month_in_the_columns_file_or_beside_it(tmp_path):
    assert rows_of(tmp_path, DOLLARS, RATES).amount.tolist() == [10, 5, 20]
    (tmp_path / "rates.csv").write_text("month,currency,rate\n2024-01,USD,0.5\n2024-02,usd,0.25\n")
    assert rows_of(tmp_path, DOLLARS, "currency: EUR\nrates: rates.csv\n").amount.tolist() == [10, 5, 20]


@pytest.mark.parametrize(
    ("rates", "wrong"),
    [
        ("month,currency,rate\n2024-01,USD,0.5\n", "a rate of USD for 2024-02"),
        ("month,currency\n2024-01,USD\n", "the columns month, currency, rate"),
        ("month,currency,rate\n1/2024,USD,0.5\n", "a month such as 2025-01"),
        ("month,currency,rate\n2024-01,USD,0\n", "a number above 0"),
        ("month,currency,rate\n2024-01,USD," + "9" * 140_000 + "\n", "line 2: rows of a CSV file"),
        ("9" * 140_000, "line 1: rows of a CSV file"),
    ],
)
def test_rates_that_are_missing_or_wrong_are_named(tmp_path, rates, wrong):
    (tmp_path / "rates.csv").write_text(rates)
    with pytest.raises(RecordsError, match=wrong):
        rows_of(tmp_path, DOLLARS, "currency: EUR\nrates: rates.csv\n")
