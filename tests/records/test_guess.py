"""A client's export as it comes: what it most likely means is shown, and used after a yes or from a file kept."""

from __future__ import annotations

import io

import pytest

import growth
from growth.cli import main
from growth.records import ColumnNames, RecordsError, load_columns, read_records, spread_payments, understand

GERMAN = (  # two customers at 25 and 1,240 a month, from 3 February to 3 April 2025
    "Kundennummer;Datum;Betrag;Tarif;Notiz\nQ7Z-1;03.02.2025;25,00;Studio;x\nQ7Z-2;04.02.2025;1.240,00;Team;x\n"
    "Q7Z-1;03.03.2025;25,00;Studio;x\nQ7Z-2;04.03.2025;1.240,00;Team;x\n"
    "Q7Z-1;03.04.2025;25,00;Studio;x\nQ7Z-2;04.04.2025;1.240,00;Team;x\n"
)


def export(tmp_path, text: str):
    (tmp_path / "export.csv").write_text(text)
    return tmp_path / "export.csv"


def test_without_a_yes_the_command_shows_what_it_guessed_and_stops(tmp_path, capsys):
    to = tmp_path / "x.yaml"
    assert main(["measure", str(export(tmp_path, GERMAN)), "--to", str(to)]) == 2
    said = capsys.readouterr()
    for told in (
        "columns: customer from “Kundennummer”, date from “Datum”, amount from “Betrag”",
        "read as charges (a guess)",
        "not read: Notiz",
        "dates: day before month, so 03/02/2025 is 3 February; the dates alone do not tell (a guess)",
        "amounts: a decimal comma, a point between thousands, whole units, not cents (a guess)",
        "currency: EUR, as nobody said another",
        "months that a payment may be missing: chosen from the data",
    ):
        assert told in " ".join(said.out.split()), told
    assert "Add --yes if what is listed above is right" in said.err and "Traceback" not in said.err
    assert "dates: day-month-year" in said.err and 'decimal: ","' in said.err
    assert "Q7Z" not in said.out + said.err and not to.exists()


def test_with_a_yes_it_is_read_and_kept_for_next_month(tmp_path, capsys):
    file, to, kept = export(tmp_path, GERMAN), tmp_path / "x.yaml", tmp_path / "kept.yaml"
    assert main(["measure", str(file), "--to", str(to), "--yes", "--remember", str(kept)]) == 0
    assert growth.load_scenario(to).opening.mrr == 1265 and growth.load_scenario(to).opening.customers == 2
    first = capsys.readouterr().out
    names = load_columns(kept)
    assert names.columns == {"customer": "Kundennummer", "date": "Datum", "amount": "Betrag", "plan": "Tarif"}
    assert (names.dates, names.decimal, names.thousands) == ("day-month-year", ",", ".")
    assert main(["measure", str(file), "--to", str(tmp_path / "y.yaml"), "--columns", str(kept)]) == 0
    again = capsys.readouterr().out
    assert "(a guess)" in first and "(a guess)" not in again and (tmp_path / "y.yaml").read_text() == to.read_text()


def test_without_a_scenario_to_write_it_only_remembers(tmp_path, capsys):
    words = ["measure", str(export(tmp_path, GERMAN)), "--yes"]
    assert main(words) == 2 and "--to: a scenario file to write" in capsys.readouterr().err
    assert main([*words, "--remember", str(tmp_path / "kept.yaml")]) == 0
    assert load_columns(tmp_path / "kept.yaml").dates == "day-month-year"
    assert "customers leaving a month" not in capsys.readouterr().out


def test_somebody_at_a_terminal_is_asked(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", terminal := io.StringIO("no\nyes\n"))
    monkeypatch.setattr(terminal, "isatty", lambda: True, raising=False)
    words = ["measure", str(export(tmp_path, GERMAN)), "--to", str(tmp_path / "x.yaml")]
    assert main(words) == 2 and main(words) == 0


def test_a_table_in_our_words_asks_nothing(tmp_path, capsys):
    file = export(tmp_path, "customer,date,amount\na,2025-01-03,29\na,2025-02-03,29\n")
    assert main(["measure", str(file), "--to", str(tmp_path / "x.yaml")]) == 0
    out = capsys.readouterr().out
    assert "columns: customer, date, amount; read as charges\n" in out and "(a guess)" not in out


@pytest.mark.parametrize(
    ("dates", "order", "told"),
    [
        (("03/02/2025", "25/02/2025"), "day-month-year", True),
        (("03/02/2025", "03/25/2025"), "month-day-year", True),
        (("01/02/2025", "01/03/2025", "01/04/2025"), "day-month-year", False),  # billed on the first of a month
        (("02/01/2025", "03/01/2025", "04/01/2025"), "month-day-year", False),
        (("3.2.25 10:15", "25.2.25 9:00"), "day-month-year", True),
        (("2025/02/03", "2025/02/25"), "year-month-day", True),
        (("Feb 3, 2025", "25 March 2025"), "year-month-day", True),
        (("2025-02-03", "2025-02-25T10:00:00Z"), None, True),
        (("2025-02-03", "soon"), None, True),
    ],
)
def test_the_order_of_day_and_month(tmp_path, dates, order, told):
    file = export(tmp_path, "customer,date,amount\n" + "".join(f'a,"{date}",20\n' for date in dates))
    found = understand(file)
    assert found.columns.dates == order and ("dates alone do not tell" in " ".join(found.told)) is not told
    if "soon" not in dates:
        assert read_records(file, columns=found.columns).size == len(dates)


def test_dates_are_read_in_the_order_that_was_agreed_and_others_are_named(tmp_path):
    file = export(tmp_path, "customer,date,amount\na,03/02/2025,20\na,25/12/2025,20\na,12/25/2025,20\n")
    with pytest.raises(RecordsError, match="a date that is not in the calendar: 1 row, first in line 4"):
        read_records(file, columns=ColumnNames(dates="day-month-year"))
    rows = read_records(file, columns=ColumnNames(dates="day-month-year"), leave_out=1)
    assert (rows.month + 1 - 55 * 12).tolist() == [2, 12]


def test_a_german_export_of_invoices(tmp_path):
    """29 net a month; a set-up line is set aside, one payment failed, and 19% stands beside the amounts."""
    text = "Kundennummer;Rechnungsdatum;Betrag;MwSt;Zahlungsstatus;Line type\n"
    for month, status in ((1, "bezahlt"), (2, "fehlgeschlagen"), (3, "Bezahlt"), (4, "offen")):
        text += f"Q7Z;05.{month:02}.2025;29,00;5,51;{status};Abo\n"
    text += "Q7Z;05.01.2025;1.490,00;283,10;bezahlt;Einrichtung\n"
    found = understand(export(tmp_path, text))
    rows = read_records(tmp_path / "export.csv", columns=found.columns)
    assert rows.amount.tolist() == [29, 29] and rows.failed.shape == (1, 2) and found.columns.tax == "added"


def test_names_of_columns_as_programs_write_them(tmp_path):
    text = "customerId,Created (UTC),Amount (EUR),Amount_Refunded,PaymentStatus\na,2025-01-05,20,5,paid\n"
    found = understand(export(tmp_path, text))
    assert set(found.columns.columns) == {"customer", "date", "amount", "refunded", "status"}
    assert read_records(tmp_path / "export.csv", columns=found.columns).total == 15


@pytest.mark.parametrize(
    ("amounts", "settings", "total"),
    [
        (("1,240.00", "25.50"), {"thousands": ","}, 1265.5),
        (("25,00", "3,50"), {"decimal": ","}, 28.5),
        (("€25", "€1,240"), {"thousands": ",", "signs": ("€",), "currency": "EUR"}, 1265),
        (("25 €", "1.240,50 €"), {"decimal": ",", "thousands": ".", "signs": ("€",), "currency": "EUR"}, 1265.5),
        (("$25.00", "-$5.00"), {"signs": ("$",), "currency": "USD"}, 20),
        (("25 GBP", "GBP 5"), {"signs": ("GBP",), "currency": "GBP"}, 30),
        (("1'240.00", "25"), {"thousands": "'"}, 1265),
        (("1240.00", "25"), {}, 1265),
    ],
)
def test_the_notation_of_amounts(tmp_path, amounts, settings, total):
    file = export(tmp_path, "customer;date;amount\n" + "".join(f'a;2025-01-05;"{one}"\n' for one in amounts))
    found = understand(file)
    assert {name: getattr(found.columns, name) for name in settings} == settings
    assert set(found.guessed) == set(settings)
    assert read_records(file, columns=found.columns).total == total


def test_two_currency_signs_without_a_column_are_not_added_up(tmp_path):
    file = export(tmp_path, "customer,date,amount\na,2025-01-05,€25\nb,2025-01-05,$25\n")
    with pytest.raises(RecordsError, match="not a plain number"):
        read_records(file, columns=understand(file).columns)


@pytest.mark.parametrize(("rows", "tax"), [(("119,19", "238,38"), "included"), (("100,19", "29,5.51"), "added")])
def test_whether_amounts_include_tax_shows_in_the_rate(tmp_path, rows, tax):
    """19 of 119 is 19/119, no round rate, of the 100 without it; 19% of 100 and of 29 is."""
    file = export(tmp_path, "customer,date,amount,tax\n" + "".join(f"a,2025-01-05,{row}\n" for row in rows))
    found = understand(file)
    assert found.columns.tax == tax and found.guessed == ("tax",)


def test_lower_case_currencies_are_those_currencies(tmp_path):
    rows = read_records(export(tmp_path, "customer,date,amount,currency\na,2025-01-05,20,eur\nb,2025-01-05,20,EUR\n"))
    assert rows.currency == "EUR" and rows.total == 40


def test_a_column_that_is_called_something_unheard_of_is_asked_for(tmp_path):
    file = export(tmp_path, "Client;When;Betrag\nQ7Z-1;2025-01-05;25,00\n")
    with pytest.raises(RecordsError, match=r"columns that tell date \(found only customer, amount\)") as error:
        understand(file)
    assert "columns: {date: ...}" in str(error.value) and "Q7Z" not in str(error.value)
    assert read_records(file, columns=understand(file, ColumnNames(columns={"date": "When"})).columns).total == 25


def test_columns_of_no_shape_are_refused_as_before_and_show_nothing_of_the_first_line(tmp_path):
    file = export(tmp_path, "Q7Z-1,03.02.2025,25\nQ7Z-2,03.02.2025,25\n")
    with pytest.raises(RecordsError, match=r"subscriptions") as error:
        understand(file)
    assert "Q7Z" not in str(error.value)


@pytest.mark.parametrize(("zone", "month"), [(None, 1), ("Europe/Berlin", 2), ("America/New_York", 1), ("UTC", 1)])
def test_a_charge_belongs_to_the_month_of_the_stated_zone(tmp_path, zone, month):
    """23:30 in UTC on 31 January is half past midnight on 1 February in Berlin, which is then an hour ahead."""
    file = export(tmp_path, "customer,date,amount\na,2025-01-31T23:30:00Z,20\n")
    rows = read_records(file, columns=ColumnNames(zone=zone))
    assert (rows.month - 55 * 12 + 1).tolist() == [month]
    told = " ".join(understand(file, ColumnNames(zone=zone)).told)
    assert ("as written, whatever their time zone" in told) is (zone is None)


def test_a_zone_that_does_not_exist_is_refused(tmp_path):
    (tmp_path / "columns.yaml").write_text("zone: Atlantis\n")
    with pytest.raises(RecordsError, match="a time zone such as Europe/Berlin"):
        load_columns(tmp_path / "columns.yaml")


def test_subscriptions_are_understood_too(tmp_path, capsys):
    text = "Client,Product,Started on,Cancelled on,Fee,Interval,Discount\n"
    text += "Q7Z-1,Studio,01/13/2024,,$29.00,month,20\nQ7Z-2,Studio,02/13/2024,05/20/2024,$29.00,month,\n"
    file = export(tmp_path, text)
    assert main(["measure", str(file), "--to", str(tmp_path / "x.yaml"), "--yes", "--until", "2024-06"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "columns: customer from “Client”, start from “Started on”, price from “Fee”" in out
    assert "read as subscriptions" in out and "a percentage (a guess)" in out
    assert "months that a payment may be missing: none, since the table says who left" in out
    assert growth.load_scenario(tmp_path / "x.yaml").opening.mrr == pytest.approx(23.2)


def test_customers_in_two_spellings_are_taken_for_one_after_a_yes(tmp_path):
    """Read as two, each would seem to leave and come back all the time."""
    rows = "".join(f"{'CUS_19' if m % 2 else 'cus_19'},2025-0{m}-05,20\n" for m in range(1, 7))
    file = export(tmp_path, "customer,date,amount\n" + rows)
    found = understand(file)
    assert found.guessed == ("letter_case",) and read_records(file, columns=found.columns).customers == 1
    assert "customers: those that differ by upper and lower case or blanks alone are one (a guess)" in found.told
    said = understand(file, ColumnNames(letter_case="matters"))
    assert not said.guessed and read_records(file, columns=said.columns).customers == 2


def test_a_charge_paid_back_in_full_is_no_trial(tmp_path):
    file = export(tmp_path, "customer,date,amount,refunded\na,2025-01-05,20,20\na,2025-02-05,20,\nb,2025-02-05,0,\n")
    book = spread_payments(read_records(file))
    assert (book.signed_up >= 0).sum() == 1 and book.mrr.tolist() == [20]
