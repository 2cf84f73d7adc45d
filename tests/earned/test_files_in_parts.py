"""Exports that come apart: views from one place, sign-ups from another, costs later."""

from __future__ import annotations

from itertools import permutations

import pytest

from growth.earned import Ledger
from growth.earned.ledger_csv import parse_csv
from growth.earned.ledger_format import LedgerError

PIECES = "piece,title,published\na-piece,A piece,2026-03-01\n"
COSTS = "piece,title,published,hours,hourly_rate\na-piece,A piece,2026-03-01,16,60\n"
VIEWS = "piece,day,views\na-piece,2026-03-02,310\na-piece,2026-03-03,40\n"
SIGN_UPS = "piece,day,sign_ups\na-piece,2026-03-02,9\n"
WHOLE = [("a-piece", "2026-03-02", 310, 0, 9), ("a-piece", "2026-03-03", 40, 0, 0)]


def ledger(*imports: str) -> Ledger:
    made = Ledger(":memory:", create=True)
    for text in imports:
        made.record([parse_csv(text, file="x.csv")], on="2026-04-01")
    return made


@pytest.mark.parametrize("order", list(permutations([VIEWS, SIGN_UPS])), ids=["views first", "sign-ups first"])
def test_views_and_sign_ups_come_in_any_order_and_twice(order):
    assert ledger(PIECES, *order, *order).rows("days") == WHOLE


def test_both_in_one_import():
    made = ledger(PIECES)
    made.record([parse_csv(VIEWS, file="v.csv"), parse_csv(SIGN_UPS, file="s.csv")], on="2026-04-01")
    assert made.rows("days") == WHOLE


def test_what_was_completed_is_counted_and_history_keeps_how_it_was():
    made = ledger(PIECES, VIEWS)
    done = made.record([parse_csv(SIGN_UPS, file="s.csv")], on="2026-04-01")
    assert (done.completed, done.added, done.corrected) == (1, 0, 0)
    assert made.rows("days", as_of=2) == [("a-piece", "2026-03-02", 310, 0, 0), ("a-piece", "2026-03-03", 40, 0, 0)]


def test_costs_come_later_and_a_list_without_them_takes_nothing_away():
    assert ledger(PIECES, COSTS, PIECES).rows("pieces") == [("a-piece", "A piece", "2026-03-01", 16.0, 60_000, 0)]


def test_another_number_is_still_a_contradiction():
    with pytest.raises(LedgerError, match="310"):
        ledger(PIECES, VIEWS, VIEWS.replace("310", "311"))
    with pytest.raises(LedgerError, match="310"):  # a file that says 0 says so
        ledger(PIECES, VIEWS, "piece,day,views,sign_ups\na-piece,2026-03-02,0,9\n")


def test_a_month_corrected_from_two_files_keeps_days_that_only_one_has():
    made = ledger(PIECES, VIEWS, SIGN_UPS)
    files = [parse_csv(VIEWS.replace("310", "300"), file="v.csv"), parse_csv(SIGN_UPS, file="s.csv")]
    done = made.record(files, on="2026-04-02", correct="2026-03")
    assert (done.corrected, done.withdrawn) == (1, 0)
    assert made.rows("days") == [("a-piece", "2026-03-02", 300, 0, 9), ("a-piece", "2026-03-03", 40, 0, 0)]


def test_a_buyers_row_is_not_put_together_from_two_files():
    buyers = "buyer,bought,amount\nb1,2026-03-05,480\n"
    with pytest.raises(LedgerError):
        ledger(PIECES, buyers, "buyer,bought,amount,piece,signed_up\nb1,2026-03-05,480,a-piece,2026-03-02\n")
