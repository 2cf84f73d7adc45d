"""Whatever an export holds in columns of any name: a clear error or a scenario, and no identifier anywhere."""

from __future__ import annotations

import csv
import io

from how_many import few_or_many
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from growth.errors import GrowthError
from growth.records import read_records, spread_payments, understand
from growth.records.bridge import movements, spells
from growth.records.failed_payments import failed_note
from growth.records.read.guess import settings_text

MARK = "Q7Z"  # in every identifier
DATES = [
    "2025-01-31",
    "31/01/2025",
    "1.2.25",
    "02/13/2025",
    "Feb 3, 2025",
    "2025-01-31T23:30:00Z",
    "",
    "soon",
    "99/99/9999",
]
MONEY = ["29", "29.00", "1,240.00", "1.240,00", "25,00", "€25", "$1", "-14.50", "0", "", "x", "1e3", "EUR 3", "12'000"]
COLUMNS = {
    "Client": [f"{MARK}-1", f"{MARK}-2", f"{MARK}-3", "", f"{MARK}\n4"],
    "customer": [f"{MARK}-1", f"{MARK}-2", f" {MARK}-1"],
    "Created (UTC)": DATES,
    "date": DATES,
    "Amount": MONEY,
    "amount": MONEY,
    "Fee": MONEY,
    "Start date": DATES,
    "Ended on": DATES,
    "month": ["2025-01", "02/2025", "Jan 2025", ""],
    "mrr": MONEY,
    "Product": ["Studio", "studio", "", "Team"],
    "Interval": ["month", "Yearly", "quarterly", "weekly", ""],
    "Discount": ["20%", "20", "0.2", "", "lots"],
    "qty": ["1", "3", "", "-1"],
    "currency": ["eur", "EUR", "usd", ""],
    "status": ["paid", "failed", "past_due", "open", "?"],
    "kind": ["plan", "credit", "VAT", "setup", "", "?"],
    "tax": ["19", "4.63", "", "-1"],
    "period_start": DATES,
    "period_end": DATES,
    "reason": ["payment failed", "too dear", ""],
    "Note": [MARK, "x"],
}
NEEDED = (
    ("Client", "Created (UTC)", "Amount"),
    ("customer", "date", "amount"),
    ("Client", "Start date", "Fee"),
    ("customer", "month", "mrr"),
)


@st.composite
def exports(draw):
    """A table as text: the columns of one shape, others beside them, rows mostly alike."""
    needed = draw(st.sampled_from(NEEDED))
    more = draw(st.lists(st.sampled_from([name for name in COLUMNS if name not in needed]), max_size=6, unique=True))
    header = [*needed, *more]
    usual = {name: draw(st.sampled_from(COLUMNS[name][:6])) for name in header}
    out = io.StringIO()
    write = csv.writer(out, delimiter=draw(st.sampled_from(",;\t")))
    write.writerow(header)
    for _ in range(draw(st.integers(0, 12))):
        odd = draw(st.sampled_from([None, None, *header]))
        write.writerow(
            [draw(st.sampled_from(COLUMNS[name])) if name in (odd, needed[0]) else usual[name] for name in header]
        )
    return out.getvalue()


@settings(max_examples=few_or_many(40, 150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=exports())
def test_an_export_is_read_or_refused_and_shows_nobody(tmp_path, text):
    """What is read adds up: the MRR of all months with what is left over is the sum of the rows that count."""
    (tmp_path / "export.csv").write_text(text)
    try:
        found = understand(tmp_path / "export.csv")
        assert MARK not in " ".join(found.told) + settings_text(found.columns)
        rows = read_records(tmp_path / "export.csv", columns=found.columns, leave_out=99)
        book = spread_payments(rows, grace=0)
    except GrowthError as error:
        assert MARK not in str(error)
        return
    assert MARK not in " ".join([*rows.notes, *book.notes, *failed_note(book), str(rows.unreadable)])
    moves = movements(book, spells(book))
    added = moves.closing_mrr.sum() + book.paid_ahead + book.unmatched_refunds + book.set_apart
    assert abs(added - rows.total) <= 1e-6 * max(1, abs(rows.amount).sum())
