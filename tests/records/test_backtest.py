"""Rolling-origin backtests: nothing of the future is seen, and the band holds what it promises."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from how_many import few_or_many

from growth.records.backtest import RIVALS, Backtest, best, rival_forecasts, run_backtest, verdict
from growth.records.bridge import movements, spells
from growth.records.demo import DemoBusiness, demo_book
from growth.records.estimate import measure
from growth.records.measured_forecast import forecast_measured
from growth.records.paid_months import spread_payments
from growth.records.read.rows import RecordsError, Rows


def known_until(rows: Rows, month: np.datetime64) -> Rows:
    """The rows for months up to this one."""
    keep = rows.month <= month.astype(int)
    arrays = {name: getattr(rows, name)[keep] for name in ("month", "span", "made", "amount", "plan", "yearly")}
    number, customer = np.unique(rows.customer[keep], return_inverse=True)
    return replace(rows, customer=customer.astype(np.int32), customers=number.size, **arrays)


def test_an_origin_sees_nothing_of_what_came_after():
    rows = demo_book(DemoBusiness(months=30), seed=1).rows
    origin = np.datetime64("2025-06")
    seen, all_rows = (measure(spread_payments(part, until=str(origin))) for part in (known_until(rows, origin), rows))
    assert forecast_measured(seen, months=6).mrr.tolist() == forecast_measured(all_rows, months=6).mrr.tolist()
    assert seen.expansion == all_rows.expansion and seen.conversion == all_rows.conversion


def test_what_happened_is_the_bridge_of_the_records():
    book = demo_book(DemoBusiness(months=32), seed=2)
    test = run_backtest(book.rows, until="2026-08", every=5, horizon=6)
    closing = movements(book, spells(book)).closing_mrr.sum(axis=1)
    assert test.origins[0] == np.datetime64("2025-06")
    np.testing.assert_allclose(test.actual[0], closing[18:24], rtol=1e-12)
    assert np.isfinite(test.actual[-1]).sum() == 32 - (18 + 5 * (len(test.origins) - 1))
    np.testing.assert_allclose(test.rivals["no change"][0], closing[17], rtol=1e-12)


def test_the_rivals_by_hand():
    past = np.array([50.0, 60, 10, 12, 14, 16, 18, 21])
    same, line, gained = rival_forecasts(past, 3)
    assert same.tolist() == [21, 21, 21]
    assert line == pytest.approx(np.polyval(np.polyfit(np.arange(6), past[2:], 1), [6, 7, 8]))  # the last six months
    assert gained.tolist() == [24, 27, 30]


def backtest_of(ours: float, *, same: float, line: float, gained: float) -> Backtest:
    """Two forecasts of 100, each off by the same."""
    off = {"no change": same, "straight line": line, "last net growth": gained}
    rivals = {name: np.full((2, 12), 100 * (1 + by)) for name, by in off.items()}
    actual = np.full((2, 12), 100.0)
    months = np.array(["2025-01", "2025-02"], "M8[M]")
    return Backtest(months, actual, actual * (1 + ours), actual * 0.9, actual * 1.1, rivals)


def test_the_rival_is_recommended_where_it_is_clearly_better():
    better = backtest_of(0.10, same=0.05, line=0.2, gained=0.3)
    assert best(better, 12).endswith(
        '"no change" was off by 5.0% and this forecast by 10.0%: for this business take the rule'
    )
    near = backtest_of(0.10, same=0.095, line=0.2, gained=0.3)
    assert best(near, 12).endswith('the best plain rule, "no change", by 9.5%: too near to prefer the rule')
    assert best(backtest_of(0.1, same=0.3, line=0.2, gained=0.3), 12).endswith("by 20.0%: take this forecast")
    assert verdict(near)[-1] == best(near, 12) + "." and "over 2 forecasts" in best(near, 12)
    assert "10.0%" in verdict(near)[2] and "100%" in verdict(near)[2]


def test_errors_and_coverage_by_hand():
    test = run_backtest(demo_book(DemoBusiness(months=30), seed=3).rows, until="2026-06", every=6)
    share = np.abs(test.forecast - test.actual) / test.actual
    assert test.error()[0] == pytest.approx(share[:, 0].mean())
    assert test.bias()[0] == pytest.approx(((test.forecast - test.actual) / test.actual)[:, 0].mean())
    assert test.counted.tolist() == [2] * 6 + [1] * 6  # origins after 18 and 24 months of 30
    assert test.coverage[0] == np.mean((test.low[:, 0] <= test.actual[:, 0]) & (test.actual[:, 0] <= test.high[:, 0]))


@pytest.mark.parametrize("growth", [0.0, 0.02])
def test_bands_hold_their_share_and_the_forecast_beats_no_change_and_last_net_growth(growth):
    """One origin of 24 months a business. For 30 independent trials at 95% two binomial errors are 8 points;
    the errors of the straight line are near the forecast's where new customers come steadily, so it is no rival to
    beat here.
    """
    tests = [
        run_backtest(
            demo_book(DemoBusiness(monthly_growth_rate=growth), seed=3000 + seed).rows,
            until="2026-12",
            shortest=24,
            every=100,
        )
        for seed in range(few_or_many(15, 30))
    ]
    assert 0.87 <= np.mean([test.coverage for test in tests]) <= 1
    errors = {name: np.mean([test.error(name) for test in tests], axis=0) for name in ("", *RIVALS)}
    for horizon in (6, 12):
        assert errors[""][horizon - 1] < 0.6 * errors["no change"][horizon - 1]
        assert errors[""][horizon - 1] < 0.6 * errors["last net growth"][horizon - 1]


def test_records_that_are_too_short_are_refused():
    with pytest.raises(RecordsError, match="at least 30 months"):
        run_backtest(demo_book(DemoBusiness(months=20), seed=1).rows)
