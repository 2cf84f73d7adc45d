"""A change of churn is found where there is one, seldom where there is none, and said with its month."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growth.records import measure, spread_payments
from growth.records.churn_change import ChurnHistory, _statistics, churn_notes, find_change
from growth.records.demo import DemoBusiness, demo_book
from growth.records.report import notes


def history(rates: np.ndarray, customers: int, seed: int) -> ChurnHistory:
    """So many customers at risk in each month, of one group of known ages, leaving at these rates."""
    at_risk = np.repeat([[0, customers]], rates.size, axis=0)
    return ChurnHistory(at_risk, np.random.default_rng(seed).binomial(at_risk, rates[:, None]))


def test_the_statistic_by_hand():
    """100 at risk in each of 20 months, 5 left in each of the first 16, 1 in each of the last 4: of all 84 leavers the
    window has a fifth at risk, so 16.8 are expected and 4 left; the variance is 84 x 0.2 x 0.8 x 1916 / 1999.
    """
    at_risk, left = np.full((20, 1), 100), np.array([[5]] * 16 + [[1]] * 4)
    found = _statistics(at_risk, left[None], np.array([4]))[0, 0]
    assert found == pytest.approx((4 - 16.8) / np.sqrt(84 * 0.2 * 0.8 * 1916 / 1999))


def test_a_change_is_found_and_dated():
    rates = np.array([0.06] * 16 + [0.03] * 8)
    found = [find_change(history(rates, 150, seed)) for seed in range(40)]
    assert np.mean([change is not None for change in found]) >= 0.75
    months = [change.since for change in found if change]
    assert np.median(months) == pytest.approx(17, abs=1)  # the transition into month 17 is the first of the new rate


def test_false_alarms_are_as_rare_as_stated():
    """300 histories without a change: 3% and three binomial errors are 6%."""
    found = [find_change(history(np.full(24, 0.05), 150, seed)) is not None for seed in range(300)]
    assert np.mean(found) <= 0.06


def test_old_customers_who_leave_less_and_less_are_no_change():
    """Of 300 customers of unknown age 30 leave a month in the beginning and 12 in the end; the others stay as they are.
    The same leavers of known age would be a change.
    """
    at_risk = np.stack([np.full(24, 300), np.full(24, 150)], axis=1)
    left = np.stack([np.linspace(30, 12, 24).round().astype(int), np.full(24, 7)], axis=1)
    assert find_change(ChurnHistory(at_risk, left)) is None
    assert find_change(ChurnHistory(at_risk[:, ::-1], left[:, ::-1])) is not None


def test_the_weights_are_those_of_bayes():
    """Without any sign of a change the posterior of none exceeds its prior."""
    weight, ratio = history(np.full(24, 0.05), 400, 1).weights()
    assert weight[0] > 0.6 and weight.sum() == pytest.approx(1) and ratio[0] == 1
    changed = history(np.array([0.08] * 16 + [0.02] * 8), 400, 1)
    weight, ratio = changed.weights()
    assert weight[0] < 1e-6 and ratio[1:][changed.windows == 8] == pytest.approx(0.02 / 0.06, rel=0.2)


def test_it_is_said_with_the_month_and_both_values_and_the_recent_one_is_taken():
    calm = demo_book(DemoBusiness(alpha=0, beta=0.03, yearly_share=0, signups=60), seed=4)
    plain = measure(calm)
    assert plain.churn_change is None and churn_notes(None, plain.history, calm) == []
    rows = calm.rows
    leave = np.random.default_rng(3).random(rows.customers) * 12 + rows.month.max() - 6  # half of all leave, one by one
    late = rows.month >= leave[rows.customer]
    names = ("customer", "month", "span", "made", "amount", "plan", "yearly")
    book = spread_payments(replace(rows, **{name: getattr(rows, name)[~late] for name in names}), until="2026-12")
    measured = measure(book)
    assert measured.churn_change is not None
    said = churn_notes(measured.churn_change, measured.history, book)[0]
    assert f"{measured.churn_change.now:.2%} since then" in said and "changed about 2026-" in said
    assert measured.why.startswith("since 2026-")


def test_a_last_month_that_is_not_over_is_no_change_and_is_pointed_at():
    """A third of the charges of the last month are not made yet."""
    rows = demo_book(DemoBusiness(alpha=0, beta=0.03, yearly_share=0, signups=60), seed=4).rows
    late = (rows.month == rows.month.max()) & (np.random.default_rng(3).random(rows.size) < 0.33)
    names = ("customer", "month", "span", "made", "amount", "plan", "yearly")
    book = spread_payments(replace(rows, **{name: getattr(rows, name)[~late] for name in names}), until="2026-12")
    measured = measure(book)
    assert measured.churn_change is None and measured.history.weights()[0][0] > 0.5
    assert any("if that month is not over" in note for note in notes(measured))


def test_what_is_said_of_unknown_ages_holds():
    """Where the same share leaves at every age, the age says nothing; else the likeliest one is named."""
    names = ("customer", "month", "span", "made", "amount", "plan", "yearly")
    for alpha, beta in ((0, 0.04), (0.5, 4.0)):
        rows = demo_book(DemoBusiness(months=48, alpha=alpha, beta=beta, yearly_share=0, signups=80), seed=2).rows
        later = rows.month >= rows.month.min() + 24  # the records begin in the middle of the business
        cut = replace(rows, **{name: getattr(rows, name)[later] for name in names})
        made = measure(spread_payments(cut, until="2027-12"))
        said = next(note for note in notes(made) if "nobody knows since when" in note)
        if made.chosen.curve == "constant":
            assert "the age does not matter" in said and alpha == 0
        else:
            assert f"who were about {made.unknown_age} months old at the beginning" in said and made.unknown_age > 3
