"""Invoices with lines as billing systems give them; the MRR of each month is worked by hand.

Ben pays 29 a month for Studio from 1 January and takes Team, at 58, in the middle of March. Whatever lines that gives,
it is one upgrade: MRR goes from 29 to 58 once.
"""

from __future__ import annotations

import numpy as np
import pytest

from growth.records import RecordsError, load_columns, read_records, spread_payments
from growth.records.bridge import movements, spells

HEAD = "customer,date,plan,kind,amount,period_start,period_end\n"
BEFORE = (
    "ben,2024-01-01,Studio,plan,29,2024-01-01,2024-02-01\nben,2024-02-01,Studio,plan,29,2024-02-01,2024-03-01\n"
    "ben,2024-03-01,Studio,plan,29,2024-03-01,2024-04-01\n"
)
AFTER = "ben,2024-05-01,Team,plan,58,2024-05-01,2024-06-01\n"
APRIL = "ben,2024-04-01,Team,plan,58,2024-04-01,2024-05-01\n"
WAYS = {
    "billed at once": "ben,2024-03-16,Studio,proration,-14.97,2024-03-16,2024-04-01\n"
    "ben,2024-03-16,Team,proration,29.94,2024-03-16,2024-04-01\n" + APRIL,
    "billed with the next invoice": "ben,2024-04-01,Studio,credit,-14.97,2024-03-16,2024-04-01\n"
    "ben,2024-04-01,Team,proration,29.94,2024-03-16,2024-04-01\n" + APRIL,
    "a new period begins": "ben,2024-03-16,Studio,credit,-14.97,2024-03-16,2024-04-01\n"
    "ben,2024-03-16,Team,plan,58,2024-03-16,2024-04-16\nben,2024-04-16,Team,plan,58,2024-04-16,2024-05-16\n",
}


def read(tmp_path, text: str, columns: str = ""):
    (tmp_path / "rows.csv").write_text(text)
    (tmp_path / "columns.yaml").write_text(columns or "amounts: major\n")
    return read_records(tmp_path / "rows.csv", columns=load_columns(tmp_path / "columns.yaml"))


def bridge(rows):
    book = spread_payments(rows)
    return movements(book, spells(book))


def without(text: str, *names: str) -> str:
    """The same table without some columns."""
    lines = [line.split(",") for line in text.splitlines()]
    kept = [place for place, name in enumerate(lines[0]) if name not in names]
    return "\n".join(",".join(line[place] for place in kept) for line in lines) + "\n"


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("left_out", [(), ("period_start", "period_end"), ("kind",), ("plan",)])
def test_an_upgrade_in_the_middle_of_a_month_is_one_upgrade(tmp_path, way, left_out):
    moves = bridge(read(tmp_path, without(HEAD + BEFORE + WAYS[way] + AFTER, *left_out)))
    months = 29 * np.ones(5)
    months[(2 if way == "a new period begins" else 3) :] = 58
    assert moves.closing_mrr.sum(axis=1).tolist() == pytest.approx(months.tolist())
    assert moves.contraction_mrr.sum() == 0 and moves.expansion_mrr.sum() == 29
    assert moves.closing.sum(axis=1).max() == 1 and moves.lost.sum() == 0


def test_a_downgrade_with_a_credit_is_one_downgrade(tmp_path):
    text = HEAD + BEFORE.replace("Studio,plan,29", "Team,plan,58")
    text += "ben,2024-03-16,Team,credit,-29.94,2024-03-16,2024-04-01\n"
    text += "ben,2024-03-16,Studio,proration,14.97,2024-03-16,2024-04-01\n"
    moves = bridge(read(tmp_path, text + APRIL.replace("Team,plan,58", "Studio,plan,29")))
    assert moves.closing_mrr.sum(axis=1).tolist() == [58, 58, 58, 29]
    assert moves.expansion_mrr.sum() == 0 and moves.contraction_mrr.sum() == 29


def test_yearly_upgrades_are_spread_over_what_is_left_of_the_year(tmp_path):
    """348 a year is 29 a month; from 1 July six months of 696 a year: -174 and +348, so 58 a month."""
    text = HEAD + "a,2024-01-01,Studio,plan,348,2024-01-01,2025-01-01\n"
    text += (
        "a,2024-07-01,Studio,credit,-174,2024-07-01,2025-01-01\na,2024-07-01,Team,proration,348,2024-07-01,2025-01-01\n"
    )
    text += "b,2024-12-01,Team,plan,5,2024-12-01,2025-01-01\n"
    book = spread_payments(read(tmp_path, text))
    assert book.mrr[book.customer == 0].tolist() == pytest.approx([29.0] * 6 + [58.0] * 6)


def test_a_yearly_plan_in_place_of_a_monthly_one_with_a_credit(tmp_path):
    text = HEAD + BEFORE + "ben,2024-03-16,Studio,credit,-14.97,2024-03-16,2024-04-01\n"
    text += "ben,2024-03-16,Studio,plan,288,2024-03-16,2025-03-16\nc,2024-04-02,Studio,plan,1,2024-04-02,2024-05-02\n"
    book = spread_payments(read(tmp_path, text))
    assert book.mrr[book.customer == 0].tolist() == [29, 29, 24, 24]


LINES = (
    "customer,date,kind,amount\na,2024-01-05,Subscription,29\na,2024-01-05,Setup fee,199\na,2024-01-05,add-on,5\n"
    "a,2024-01-05,VAT,44.27\na,2024-02-05,subscription,29\na,2024-02-05,add-on,5\na,2024-02-05,discount,-4\n"
    "a,2024-02-05,VAT,5.70\n"
)


def test_lines_of_one_invoice_become_one_amount_a_month(tmp_path):
    rows = read(tmp_path, LINES)
    assert spread_payments(rows).mrr.tolist() == [34, 30]
    said = " ".join(rows.notes)
    assert "1 row is set aside (199.00 EUR): one-off lines" in said
    assert "2 rows are set aside (49.97 EUR): lines of tax" in said


def test_kinds_of_lines_take_words_of_your_own_and_unknown_ones_are_named(tmp_path):
    odd = LINES.replace("Setup fee", "Workshop")
    with pytest.raises(
        RecordsError, match="a kind of line of which nobody said what it is, .*: 1 row, first in line 3"
    ) as e:
        read(tmp_path, odd)
    assert "Workshop" not in str(e.value)
    assert spread_payments(read(tmp_path, odd, "kinds: {once: [workshop]}\n")).mrr.tolist() == [34, 30]
    with pytest.raises(RecordsError, match="at least one line that recurs"):
        read(tmp_path, "customer,date,kind,amount\na,2024-01-05,tax,29\n")


TAXED = "customer,date,amount,tax\na,2024-01-05,119,19\na,2024-02-05,119,19\na,2024-02-06,-11.90,-1.90\n"


@pytest.mark.parametrize(("columns", "mrr"), [("tax: included", [100, 90]), ("tax: added", [119, 107.1])])
def test_tax_in_a_column_is_in_the_amount_or_beside_it(tmp_path, columns, mrr):
    assert spread_payments(read(tmp_path, TAXED, columns)).mrr.tolist() == pytest.approx(mrr)


def test_a_refund_of_an_amount_with_tax_gives_the_tax_back_too(tmp_path):
    """Half of 119 is half of the 100 without tax. A charge paid back whole is none; that of nothing is a trial's."""
    text = "customer,date,amount,tax,refunded\na,2024-01-05,119,19,59.50\nb,2024-01-05,119,19,119\nc,2024-01-05,0,0,\n"
    assert read(tmp_path, text, "tax: included").amount.tolist() == pytest.approx([50, 0])
    assert read(tmp_path, without(text, "tax"), "tax: included\ntax_rate: 0.19").amount.tolist() == pytest.approx(
        [50, 0]
    )


def test_tax_that_nobody_explained_is_asked_for(tmp_path):
    with pytest.raises(RecordsError, match="Write `tax: included` or `tax: added`"):
        read(tmp_path, TAXED)


def test_tax_at_a_rate_is_taken_off_amounts_that_include_it(tmp_path):
    text = "customer,date,amount\na,2024-01-05,119\n"
    assert read(tmp_path, text, "tax: included\ntax_rate: 0.19\n").amount.tolist() == [pytest.approx(100)]


def test_credits_that_nothing_explains_are_pointed_at(tmp_path):
    text = "customer,date,amount\na,2024-01-05,29\na,2024-01-20,-14\na,2024-01-20,29\nb,2024-01-20,-3\n"
    text += "c,2024-01-20,29\nc,2024-01-20,29\nc,2024-01-20,-29\n"  # charged twice and refunded
    assert any(note.startswith("1 credit stands on a day with a charge") for note in read(tmp_path, text).notes)
