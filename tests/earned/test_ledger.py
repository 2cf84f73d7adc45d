"""The ledger: a file twice is a file once, a correction keeps what was there, and nothing is ever half taken in."""

from __future__ import annotations

import os
import re
import signal
import sqlite3
import subprocess
import sys
import textwrap
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from growth.cli import main
from growth.earned.buyers import own_words
from growth.earned.column_names import guess, load_names
from growth.earned.ledger import Ledger
from growth.earned.ledger_csv import export, guarded, parse_csv, read_csv, unguarded
from growth.earned.ledger_format import LedgerError

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
    assert [row for row in ledger.rows("buyers") if row[7] == stored]
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
        from growth.earned.ledger_csv import parse_csv
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
        from growth.earned.ledger_format import KINDS, FileRows
        from growth.earned.ledger import Ledger

        class Rows(list):
            def __iter__(self):
                for n in range(20_000):
                    if n == 15_000:
                        os.kill(os.getpid(), signal.SIGKILL)
                    yield ("one", f"{2000 + n // 300}-{n // 25 % 12 + 1:02d}-{n % 25 + 1:02d}", n, 0, 0)

        with Ledger(sys.argv[1]) as ledger:
            rows = Rows(range(20_000))
            ledger.record([FileRows(KINDS["days"], rows, range(20_000), "days.csv")], on="2026-05-01")
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


# --- what a file may be -----------------------------------------------------------------------------------------------


def test_a_folder_a_pipe_a_workbook_and_endless_input_are_refused_at_once(tmp_path):
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "days.csv").write_bytes(b"PK\x03\x04 and the rest of a workbook")
    for path, says in (
        (tmp_path / "folder", "found a directory"),
        (tmp_path / "pipe", "found a device or pipe"),
        (Path("/dev/zero"), "found a device or pipe"),
        (tmp_path / "days.csv", "found a workbook or an archive"),
        (tmp_path / "none.csv", "there is no such file"),
    ):
        with pytest.raises(LedgerError, match=says):
            read_csv(path)
    with pytest.raises(LedgerError, match="found a folder, a pipe or a device"):
        Ledger(tmp_path / "pipe", create=True)


def test_an_import_that_would_keep_nothing_is_refused_and_leaves_no_file(tmp_path, monkeypatch, capsys):
    pieces, days = tmp_path / "pieces.csv", tmp_path / "days.csv"
    pieces.write_text(PIECES)
    days.write_text(DAYS)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s3:" / "bucket").mkdir(parents=True)  # what an address would be, taken for a path
    new = tmp_path / "new.db"
    for arguments, says in (
        (["", str(pieces)], "the name of a file is needed"),
        (["s3://bucket/new.db", str(pieces)], "a file of this machine is needed"),
        ([":memory:", str(pieces)], "would be lost at once"),
        ([str(new), str(pieces), "--currency", "E1"], "three letters, such as EUR (found E1)"),
        ([str(new), str(days)], "a piece of the ledger (found one)"),  # the pieces are not there
    ):
        assert main(["earned", "import", *arguments]) == 2
        told = capsys.readouterr()
        assert says in told.err and "added" not in told.out and "Traceback" not in told.err
    assert not list(tmp_path.rglob("new.db*"))
    assert main(["earned", "import", str(new), str(pieces), "--currency", "gbp"]) == 0
    with Ledger(new) as ledger:
        assert ledger.currency == "GBP"


@pytest.mark.parametrize("name", ["file:x?mode=memory", "file:x", "x?mode=memory", "x%20y#z", " x", "é\udcff"])
def test_a_name_with_a_meaning_to_the_database_is_only_a_name(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("pieces.csv").write_text(PIECES)
    assert main(["earned", "import", name, "pieces.csv"]) == 0, capsys.readouterr().err
    assert sorted(os.listdir()) == sorted([name, "pieces.csv"])
    assert main(["earned", "history", name]) == 0


def test_what_columns_are_called_is_kept_only_where_the_import_was_done(tmp_path, capsys):
    (tmp_path / "days.csv").write_text(DAYS)  # of pieces that the ledger does not have
    command = ["earned", "import", str(tmp_path / "new.db"), str(tmp_path / "days.csv")]
    assert main([*command, "--remember", str(tmp_path / "names.yaml")]) == 2
    assert os.listdir(tmp_path) == ["days.csv"]


@pytest.mark.parametrize("end", ["", "-wal", "-shm", "-journal"])
def test_files_beside_a_new_ledger_that_the_database_would_remove_are_kept(end, tmp_path, capsys):
    """An empty file is the user's too."""
    (tmp_path / "pieces.csv").write_text(PIECES)
    mine = tmp_path / f"ledger{end}"
    mine.write_text("mine" if end else "")
    assert main(["earned", "import", str(tmp_path / "ledger"), str(tmp_path / "pieces.csv")]) == 2
    said = capsys.readouterr().err
    assert "Choose another name" in said and len(said.splitlines()) == 1
    assert mine.read_text() == ("mine" if end else "") and len(os.listdir(tmp_path)) == 2


def test_a_link_to_nothing_becomes_a_ledger_where_it_points(tmp_path, capsys):
    (tmp_path / "pieces.csv").write_text(PIECES)
    (tmp_path / "link").symlink_to("there.db")
    assert main(["earned", "import", str(tmp_path / "link"), str(tmp_path / "pieces.csv")]) == 0
    assert (tmp_path / "link").is_symlink() and (tmp_path / "there.db").is_file()


# --- buyers are known by pseudonyms -----------------------------------------------------------------------------------

MAILS = "buyer,piece,signed_up,bought,amount\nAnn@example.org,one,2026-03-01,2026-04-01,99\n"
MAILS += "bob@example.org,,,2026-04-02,5\n"


def everything_in(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())


def test_no_address_is_stored_exported_or_told(tmp_path, capsys):
    with Ledger(tmp_path / "ledger.db", create=True) as ledger:
        ledger.record([batch(PIECES), batch(MAILS)], on="2026-05-01")
        assert ledger.record([batch(MAILS.replace("Ann", "ann"))], on="2026-05-02").unchanged == 2  # the same buyers
        export(ledger, to=tmp_path / "out")
        with pytest.raises(LedgerError) as refused:
            ledger.record([batch(MAILS.replace(",99", ",98"))], on="2026-05-03")
    assert "what the ledger holds already, 99 (found 98)" in str(refused.value)
    with pytest.raises(LedgerError) as twice:
        batch(MAILS + "bob@example.org,,,2026-04-02,6\n")
    with pytest.raises(LedgerError) as odd:
        batch(MAILS.replace("bob@", "bob\x07@"))
    for told in (refused, twice, odd):
        assert "example.org" not in str(told.value)
    assert b"example.org" not in everything_in(tmp_path) + everything_in(tmp_path / "out")


WITH_WORDS = "buyer,piece,signed_up,bought,amount,launch,words\n"
WITH_WORDS += 'b1,one,2026-03-01,2026-04-01,99,spring,"Ask Ann <ann.lee+x@mail.example.org>, or me@example.org."\n'


def test_an_address_in_a_buyers_words_is_blacked_out(tmp_path):
    with Ledger(tmp_path / "ledger.db", create=True) as ledger:
        ledger.record([batch(PIECES), batch(WITH_WORDS)], on="2026-05-01")
        assert ledger.record([batch(WITH_WORDS)], on="2026-05-02").unchanged == 1  # the same row
        export(ledger, to=tmp_path / "out")
        assert own_words(ledger, piece="one") == ["Ask Ann <[e-mail address]>, or [e-mail address]."]
    assert everything_in(tmp_path / "out").count(b"[e-mail address]") == 2
    assert b"example.org" not in everything_in(tmp_path) + everything_in(tmp_path / "out")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (WITH_WORDS.replace("spring", "ann@example.org"), "launch: the name of the launch"),
        (WITH_WORDS.replace(",one,", ",ann@example.org,"), "piece: lower-case letters"),  # columns that have moved
        (WITH_WORDS.replace("2026-04-01", "ann@example.org"), "bought: a day"),
        (
            WITH_WORDS.split("\n", 1)[1].replace("b1", "ann@example.org"),
            "the columns of one kind of file",
        ),  # no line of headings
    ],
)
def test_an_address_where_none_belongs_is_refused_and_not_told(text, said):
    with pytest.raises(LedgerError, match=said) as refused:
        batch(text)
    assert "example.org" not in str(refused.value) and "e-mail address" in str(refused.value)


def test_two_ledgers_know_a_buyer_by_different_names():
    names = []
    for _ in range(2):
        with Ledger(":memory:", create=True) as ledger:
            ledger.record([batch(PIECES), batch(MAILS)], on="2026-05-01")
            names.append({row[0] for row in ledger.rows("buyers")})
    assert not names[0] & names[1]


def first_format(path: Path) -> None:
    """A ledger as the first format was: codes as they came, no key, no instalments. Written out by hand."""
    with sqlite3.connect(path) as base:
        base.executescript(
            """
            PRAGMA journal_mode = WAL; PRAGMA application_id = 0x47524C31; PRAGMA user_version = 1;
            CREATE TABLE about (currency TEXT NOT NULL); INSERT INTO about VALUES ('EUR');
            CREATE TABLE imports (number INTEGER PRIMARY KEY, day TEXT NOT NULL, files TEXT NOT NULL, correct TEXT);
            INSERT INTO imports VALUES (1, '2026-05-01', 'all.csv', NULL);
            CREATE TABLE pieces (id INTEGER PRIMARY KEY, piece TEXT NOT NULL, title TEXT NOT NULL, published TEXT NOT
                NULL, hours REAL NOT NULL, hourly_rate INTEGER NOT NULL, other_cost INTEGER NOT NULL, import INTEGER NOT
                NULL, replaced INTEGER);
            CREATE UNIQUE INDEX pieces_now ON pieces (piece) WHERE replaced IS NULL;
            INSERT INTO pieces VALUES (1, 'one', 'The first', '2026-01-05', 10, 60000, 0, 1, NULL);
            CREATE TABLE days (id INTEGER PRIMARY KEY, piece TEXT NOT NULL, day TEXT NOT NULL, views INTEGER NOT NULL,
                shares INTEGER NOT NULL, sign_ups INTEGER NOT NULL, import INTEGER NOT NULL, replaced INTEGER);
            CREATE UNIQUE INDEX days_now ON days (piece, day) WHERE replaced IS NULL;
            CREATE TABLE buyers (id INTEGER PRIMARY KEY, buyer TEXT NOT NULL, piece TEXT NOT NULL, signed_up TEXT NOT
                NULL, bought TEXT NOT NULL, amount INTEGER NOT NULL, launch TEXT NOT NULL, named TEXT NOT NULL, words
                TEXT NOT NULL, import INTEGER NOT NULL, replaced INTEGER);
            CREATE UNIQUE INDEX buyers_now ON buyers (buyer, bought) WHERE replaced IS NULL;
            INSERT INTO buyers VALUES
                (1, 'Ann@example.org', 'one', '2026-03-01', '2026-04-01', 99000, '', '', '', 1, NULL),
                (2, 'ann@example.org', 'one', '2026-03-01', '2026-04-01', 7000, '', '', '', 1, NULL),
                (3, 'bob@example.org', '', '', '2026-04-02', 5000, '', '', '', 1, NULL);
            """
        )
    base.close()


def test_a_ledger_of_the_first_format_is_changed_over_and_its_addresses_are_gone(tmp_path):
    first_format(tmp_path / "ledger.db")
    assert b"example.org" in everything_in(tmp_path)
    with Ledger(tmp_path / "ledger.db") as ledger:
        rows = ledger.rows("buyers")
        assert sorted(row[4] for row in rows) == [5_000, 7_000, 99_000] and {row[-1] for row in rows} == {1}
        assert ledger.history() == [(1, "2026-05-01", "all.csv", None)]
        again = batch("buyer,bought,amount\nbob@example.org,2026-04-02,5\n")
        assert ledger.record([again], on="2026-05-02").unchanged == 1
    assert b"example.org" not in everything_in(tmp_path)


def test_a_ledger_of_a_later_version_is_left_alone(tmp_path):
    with Ledger(tmp_path / "ledger.db", create=True):
        pass
    base = sqlite3.connect(tmp_path / "ledger.db")
    base.execute("PRAGMA user_version = 9")
    base.close()
    with pytest.raises(LedgerError, match="A later version wrote it"):
        Ledger(tmp_path / "ledger.db")


# --- columns with names of the user's own -----------------------------------------------------------------------------

THEIRS = "Post,Date,Page views,New Subscribers,Bounce rate\none,2026-03-02,40,2,0.4\n"


def test_other_headings_are_taken_only_with_a_yes_and_remembered(tmp_path, capsys):
    (tmp_path / "pieces.csv").write_text(PIECES)
    (tmp_path / "export.csv").write_text(THEIRS)
    ledger, names = str(tmp_path / "l.db"), str(tmp_path / "columns.yaml")
    files = [str(tmp_path / "pieces.csv"), str(tmp_path / "export.csv")]
    assert main(["earned", "import", ledger, *files, "--remember", names]) == 2
    told = capsys.readouterr()
    shown = " ".join(told.out.split())
    assert "days: piece from “Post”, day from “Date”, views from “Page views”, sign_ups from “New Subscribers”" in shown
    assert "not read: Bounce rate" in shown and "Add --yes" in told.err
    assert not Path(ledger).exists() and not Path(names).exists()
    assert main(["earned", "import", ledger, *files, "--remember", names, "--yes"]) == 0
    assert main(["earned", "import", ledger, files[1], "--columns", names]) == 0  # remembered: no yes needed
    assert "Nothing new" in capsys.readouterr().out
    with Ledger(ledger) as opened:
        assert opened.rows("days") == [("one", "2026-03-02", 40, 0, 2)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("days: [1, 2]", "days: columns and their headings"),
        ("weeks: {piece: Post}", "one of pieces, days, buyers"),
        ("days: {post: Post}", "one of piece, day, views, shares, sign_ups"),
        ("days: {piece: Post, day: Post}", "a heading for one column only"),
        ("days: {piece: 3}", "days.piece: the heading in your file"),
        ("days: {piece: [", "a YAML file such as"),
        ("- days", "kinds of files"),
    ],
)
def test_what_is_wrong_with_a_columns_file_is_said(tmp_path, text, says):
    (tmp_path / "columns.yaml").write_text(text)
    with pytest.raises(LedgerError, match=re.escape(says)):
        load_names(tmp_path / "columns.yaml")


def test_a_guess_never_takes_a_heading_that_is_the_name_of_another_column():
    found = guess(["email", "date", "price", "launch", "named"])
    assert found and found.kind == "buyers"
    assert found.columns == {
        "buyer": "email",
        "bought": "date",
        "amount": "price",
        "launch": "launch",
        "named": "named",
    }
    assert guess(["colour", "size"]) is None
