"""The ledger: a file twice is a file once, a correction keeps what was there, and nothing is ever half taken in."""

from __future__ import annotations

import signal
import subprocess
import sys
import textwrap
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from growth.earned.columns import LedgerError, guarded, parse_csv, read_csv, unguarded
from growth.earned.export import export
from growth.earned.ledger import Ledger

PIECES = "piece,title,published,hours,hourly_rate\none,The first,2026-01-05,10,60\ntwo,The second,2026-03-02,8,60\n"
DAYS = "piece,day,views,sign_ups\none,2026-02-27,40,2\none,2026-03-01,50,3\none,2026-03-02,30,1\ntwo,2026-03-02,80,4\n"
BUYERS = "buyer,piece,signed_up,bought,amount,launch,named,words\n"
BUYERS += "b1,one,2026-03-01,2026-04-01,99.50,spring,one;two,It fitted\n"
HOSTILE = [
    '=HYPERLINK("https://example.org","x")',
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    "'); DROP TABLE pieces; --",
    "'=1",
    "'",
    '"quoted", with commas\nand a second line',
    "\u202ereversed",
]


def batch(text: str):
    return parse_csv(text, file="file.csv")


@pytest.fixture
def ledger(tmp_path):
    with Ledger(tmp_path / "ledger.db", create=True) as opened:
        opened.record([batch(PIECES), batch(DAYS), batch(BUYERS)], on="2026-05-01")
        yield opened


def test_a_file_taken_twice_counts_once(ledger):
    before = ledger.rows("days")
    again = ledger.record([batch(DAYS), batch(BUYERS)], on="2026-05-02")
    assert (again.number, again.added, again.unchanged) == (None, 0, 5)
    assert ledger.rows("days") == before and len(ledger.history()) == 1


def test_a_row_that_differs_is_refused_and_says_how_to_correct(ledger):
    with pytest.raises(LedgerError, match=r"line 2: views.*50.*found 55.*--correct 2026-03"):
        ledger.record([batch("piece,day,views,sign_ups\none,2026-03-01,55,3\none,2026-03-09,1,0\n")], on="2026-05-02")
    assert len(ledger.rows("days")) == 4  # the new row of the refused file is not there either


def test_a_month_is_corrected_and_what_was_there_stays(ledger):
    before = ledger.rows("days")
    done = ledger.record([batch("piece,day,views,sign_ups\none,2026-03-01,55,3\n")], on="2026-05-02", correct="2026-03")
    assert (done.number, done.corrected, done.withdrawn) == (2, 1, 1)
    # the corrected day, one's withdrawn second of March; February and the other piece untouched
    assert ledger.rows("days") == [
        ("one", "2026-02-27", 40, 0, 2),
        ("one", "2026-03-01", 55, 0, 3),
        ("two", "2026-03-02", 80, 0, 4),
    ]
    assert ledger.rows("days", as_of=1) == before
    assert ledger.history()[1] == (2, "2026-05-02", "file.csv", "2026-03")


def test_a_piece_that_is_not_known_is_refused(ledger):
    with pytest.raises(LedgerError, match=r"line 2: piece: a piece of the ledger \(found three\)"):
        ledger.record([batch("piece,day,views\nthree,2026-03-01,5\n")], on="2026-05-02")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("piece,day\none,2026-02-30\n", "line 2: day: a day as year-month-day.*found '2026-02-30'"),
        ("piece,day,views\none,2026-02-03,-4\n", "line 2: views: a whole number"),
        ("piece,day,views\none,2026-02-03\n", "line 2: 3 cells in every row"),
        ("piece,day,views\none,2026-02-03,1\none,2026-02-03,2\n", "line 3: piece: each piece and day once"),
        ("buyer,bought,amount\nb,2026-02-03,1.2345\n", "line 2: amount: an amount such as"),
        (
            "buyer,piece,signed_up,bought,amount\nb,one,2026-02-03,2026-02-01,5\n",
            "line 2: bought: not before signed_up",
        ),
        ("name,colour\na,b\n", "line 1: the columns of one kind of file"),
        ("", "an empty file"),
        ('piece,day\n"one,2026-02-03\n', "not a CSV file"),
    ],
)
def test_what_is_wrong_with_a_file_is_said_with_its_line(text, says):
    with pytest.raises(LedgerError, match=says):
        batch(text)


def test_notes_on_top_semicolons_and_a_byte_order_mark_are_read(tmp_path):
    file = tmp_path / "days.csv"
    file.write_bytes("\ufeff# Invented.\n# More.\npiece;day;views\none;2026-02-03;7\n".encode())
    found = read_csv(file)
    assert found.rows == [("one", "2026-02-03", 7, 0, 0)] and list(found.lines) == [4]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_comes_back_as_it_was_and_is_no_formula(ledger, tmp_path, text):
    assert unguarded(guarded(text)) == text
    quoted = text.replace('"', '""')
    ledger.record([batch(f'buyer,bought,amount,words\n"{quoted}",2026-04-02,5,"{quoted}"\n')], on="2026-05-03")
    stored = unguarded(text)  # a file's '=1 is taken as the guarded form of =1
    assert [row for row in ledger.rows("buyers") if row[0] == stored and row[7] == stored]
    paths = export(ledger, to=tmp_path)
    import csv

    with paths[2].open(newline="", encoding="utf-8") as stream:
        cells = [cell for row in csv.reader(stream) for cell in row]
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    assert (
        ledger.record([read_csv(path) for path in paths], on="2026-05-04").number is None
    )  # nothing changed on the way


def test_two_processes_that_write_at_once_lose_nothing(tmp_path):
    with Ledger(tmp_path / "ledger.db", create=True) as ledger:
        ledger.record([batch(PIECES)], on="2026-05-01")
    code = """
        import sys
        from growth.earned.columns import parse_csv
        from growth.earned.ledger import Ledger
        for n in range(15):
            with Ledger(sys.argv[1]) as ledger:
                row = f"piece,day,views\\n{sys.argv[2]},2026-03-{n + 1:02d},{n}\\n"
                ledger.record([parse_csv(row, file="days.csv")], on="2026-05-01")
    """

    def writes(piece: str) -> subprocess.CompletedProcess:
        command = [sys.executable, "-c", textwrap.dedent(code), str(tmp_path / "ledger.db"), piece]
        return subprocess.run(command, capture_output=True, text=True, timeout=60)

    with ThreadPoolExecutor() as pool:
        for done in pool.map(writes, ["one", "two"]):
            assert done.returncode == 0, done.stderr
    with Ledger(tmp_path / "ledger.db") as ledger:
        assert len(ledger.rows("days")) == 30
        assert [number for number, *_ in ledger.history()] == list(range(1, 32))


def test_a_killed_import_leaves_the_ledger_as_it_was(tmp_path):
    file = tmp_path / "ledger.db"
    with Ledger(file, create=True) as ledger:
        ledger.record([batch(PIECES)], on="2026-05-01")
    code = """
        import os, signal, sys
        from growth.earned.columns import KINDS, Batch
        from growth.earned.ledger import Ledger

        class Rows(list):
            def __iter__(self):
                for n in range(20_000):
                    if n == 15_000:
                        os.kill(os.getpid(), signal.SIGKILL)
                    yield ("one", f"{2000 + n // 300}-{n // 25 % 12 + 1:02d}-{n % 25 + 1:02d}", n, 0, 0)

        with Ledger(sys.argv[1]) as ledger:
            rows = Rows(range(20_000))
            ledger.record([Batch(KINDS["days"], rows, range(20_000), "days.csv")], on="2026-05-01")
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code), str(file)], capture_output=True, timeout=60)
    assert done.returncode == -signal.SIGKILL, done.stderr
    with Ledger(file) as ledger:
        assert ledger.rows("days") == [] and len(ledger.history()) == 1
        assert ledger.record([batch(DAYS)], on="2026-05-02").added == 4  # and it can be written


def test_a_file_that_is_no_ledger_is_left_alone(tmp_path):
    import sqlite3

    other = tmp_path / "other.db"
    with sqlite3.connect(other) as base:
        base.execute("CREATE TABLE something (a)")
    base.close()
    text = tmp_path / "text.db"
    text.write_text("not a database at all, but a text of some length " * 20)
    for path in (other, text):
        before = path.read_bytes()
        with pytest.raises(LedgerError):
            Ledger(path, create=True)
        assert path.read_bytes() == before
    with pytest.raises(LedgerError, match="there is no such ledger"):
        Ledger(tmp_path / "none.db")
    assert not Path(tmp_path / "none.db").exists()


def test_a_ledger_keeps_its_currency(tmp_path):
    with Ledger(tmp_path / "l.db", create=True, currency="GBP") as ledger:
        assert ledger.currency == "GBP"
    with pytest.raises(LedgerError, match="the ledger's own, GBP"):
        Ledger(tmp_path / "l.db", currency="EUR")
