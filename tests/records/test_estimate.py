"""Measuring: parameters that the rows were made from are found again, and intervals hold what they promise."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from how_many import few_or_many
from scipy.special import betaln
from scipy.stats import chi2

from growth.records.churn_fit import fit_all, fit_constant, fit_sbg, recommend
from growth.records.demo import DemoBusiness, demo_book
from growth.records.estimate import Measured, measure
from growth.records.intervals import Resampled
from growth.records.paid_months import spread_payments
from growth.records.read import read_records
from growth.records.survival import RiskTable, kaplan_meier, misfit, seen_curve

BUSINESSES = few_or_many(100, 200)


def test_95_per_cent_intervals_hold_the_truth_in_92_to_98_of_100_businesses(monkeypatch):
    """Businesses of known parameters: half leave by the sBG, half at a constant rate. All intervals together hold 92 to
    98%, each kind of them 95% +- 2 binomial errors; alpha, beta and the constant rate are met in half the businesses.
    The other two curves have no true parameters here, so they are not fitted.
    """
    monkeypatch.setattr("growth.records.estimate.fit_all", lambda table: (fit_constant(table), fit_sbg(table)))
    held, seen = Counter(), Counter()
    for seed in range(BUSINESSES):
        business = DemoBusiness(signups=40.0, **({"alpha": 0, "beta": 0.05} if seed % 2 else {}))
        measured = measure(demo_book(business, seed=seed), seed=seed)
        for name, (low, high, true) in intervals_and_truth(measured, business).items():
            held[name] += low <= true <= high
            seen[name] += 1
    coverage = {name: held[name] / seen[name] for name in seen}
    assert len(coverage) == 11
    for name, share in coverage.items():
        assert abs(share - 0.95) <= 2 * np.sqrt(0.95 * 0.05 / seen[name]), (name, share)
    assert 0.92 <= sum(held.values()) / sum(seen.values()) <= 0.98


def intervals_and_truth(measured: Measured, business: DemoBusiness) -> dict[str, tuple[float, float, float]]:
    """The two ends of each interval, and what it ought to hold."""
    by_billing = {kind.billing: kind for kind in measured.kinds}
    truth = {
        "renewal": (by_billing["yearly"].renewal, business.renewal_rate),
        "yearly share": (by_billing["yearly"].share, business.yearly_share),
        "conversion": (measured.conversion, business.conversion_rate),
        "expansion": (by_billing["monthly"].expansion, business.monthly_expansion_rate),
        "contraction": (by_billing["monthly"].contraction, business.monthly_contraction_rate),
        "new customers": (measured.joining.level, business.signups * business.conversion_rate),
        "growth": (measured.joining.growth, 0.0),
    }
    ends = {name: (rate.low, rate.high, true) for name, (rate, true) in truth.items()}
    fits = {fit.curve: fit for fit in measured.fits}
    curve, parameters, stay = "constant", {"monthly_churn_rate": business.beta}, (1 - business.beta) ** 12
    if business.alpha:  # S(12) = B(alpha, beta + 12) / B(alpha, beta): Fader and Hardie (2007), equation 7
        curve, parameters = "sbg", {"alpha": business.alpha, "beta": business.beta}
        stay = np.exp(betaln(business.alpha, business.beta + 12) - betaln(business.alpha, business.beta))
    fit, survival = fits[curve], kaplan_meier(measured.monthly_table)
    ends |= {f"{curve} {name}": (fit.low[name], fit.high[name], value) for name, value in parameters.items()}
    return ends | {"on board after a year": (survival.low[11], survival.high[11], stay)}


def test_the_curve_that_made_the_data_is_recommended_where_there_is_much_of_it():
    flat = measure(demo_book(DemoBusiness(signups=400, alpha=0, beta=0.05), seed=0))
    mixed = measure(demo_book(DemoBusiness(signups=400), seed=0))
    assert flat.chosen.curve == "constant" and "no curve is better" in flat.why
    assert mixed.chosen.curve == "sbg" and "below constant churn" in mixed.why


def test_too_little_data_falls_back_to_constant_churn_and_says_so():
    fit, why = recommend(fit_all(table := RiskTable(np.array([9, 8, 6]), np.array([1, 2, 0]))), table)
    assert fit.curve == "constant" and "too few" in why
    # nobody left: not 0, but the middle of Wilson's interval, (0 + z^2 / 2) / (n + z^2)
    fit, why = recommend(fit_all(table := RiskTable(np.array([12, 8]), np.array([0, 0]))), table)
    assert fit.values["monthly_churn_rate"] == pytest.approx(1.9207 / (20 + 3.8415), abs=1e-4) and "middle" in why
    assert fit.low["monthly_churn_rate"] == 0


def test_early_late_finds_its_split():
    fits = {
        fit.curve: fit
        for fit in fit_all(RiskTable(np.array([1000, 800, 640, 621, 602, 584]), np.array([200, 160, 19, 19, 18, 18])))
    }
    assert fits["early_late"].values["early_months"] == 2
    assert fits["early_late"].values["early_monthly_churn_rate"] == pytest.approx(0.2)
    assert (
        recommend(
            tuple(fits.values()),
            RiskTable(np.array([1000, 800, 640, 621, 602, 584]), np.array([200, 160, 19, 19, 18, 18])),
        )[0].curve
        == "early_late"
    )


def test_a_curve_that_does_not_fit_is_found_out():
    """Two ages, 30 and 10 of 100 left, a constant 20% fitted: (30 - 20)^2 / 16 twice is a chi-squared of 12.5 on 1."""
    table = RiskTable(np.array([100, 100]), np.array([30, 10]))
    off = misfit(fit_constant(table), table)
    assert off.p == pytest.approx(chi2.sf(12.5, 1)) and (off.seen, off.said) == pytest.approx((0.3, 0.2))
    assert misfit(fit_constant(few := RiskTable(np.array([9, 8]), np.array([1, 2]))), few) is None  # one group is left


def test_a_true_curve_is_called_unfit_as_seldom_as_it_should():
    """300 tables of 40 ages drawn from 5% a month: p is near uniform; 5% +- 2 binomial errors is 2.5 to 7.5%."""
    random, ages, found = np.random.default_rng(3), np.arange(40), []
    for _ in range(300):
        alive, left = 2000, []
        for _ in ages:
            left.append(random.binomial(alive - sum(left), 0.05))
        at_risk = alive - np.concatenate([[0], np.cumsum(left)[:-1]])
        table = RiskTable(at_risk, np.array(left))
        found.append(misfit(fit_constant(table), table).p)
    assert 0.025 <= np.mean(np.array(found) < 0.05) <= 0.075 and np.mean(found) == pytest.approx(0.5, abs=0.04)


def test_churn_as_it_was_seen_is_a_curve():
    """Kaplan-Meier by hand: 0.8, 0.8 x 0.9; beyond, all that left of all at risk. Its draws vary as a share does."""
    table = RiskTable(np.array([100, 80]), np.array([20, 8]))
    curve = seen_curve(table)
    assert curve["survival"] == pytest.approx([0.8, 0.72]) and curve["tail_monthly_churn_rate"] == pytest.approx(
        28 / 180
    )
    drawn = seen_curve(table, draws=4000, random=np.random.default_rng(1))
    assert np.std(drawn["survival"][0]) == pytest.approx(np.sqrt(0.8 * 0.2 / 100), rel=0.05)


def test_standard_errors_of_constant_churn_have_their_closed_form():
    fit = fit_constant(RiskTable(np.array([300, 100]), np.array([30, 10])))
    assert fit.standard_errors["monthly_churn_rate"] == pytest.approx(np.sqrt(0.1 * 0.9 / 400))
    assert fit.log_likelihood == pytest.approx(40 * np.log(0.1) + 360 * np.log(0.9))
    assert fit.aic == pytest.approx(2 - 2 * fit.log_likelihood)


def test_the_bootstrap_of_a_mean_agrees_with_its_standard_error():
    values = np.random.default_rng(1).gamma(3, 10, 400)
    mean = Resampled.of(np.ones(400, bool), seed=2).rate(np.arange(400), values, np.ones(400), "")
    assert mean.high - mean.low == pytest.approx(2 * 1.96 * values.std(ddof=1) / 20, rel=0.1)


def test_a_draw_without_anybody_who_counts_does_not_pull_the_interval_to_nought():
    """Of two customers one pays now: a quarter of the draws miss it, and tell nothing of what it pays."""
    mean = Resampled.of(np.ones(2, bool), seed=1).rate(np.array([0]), np.array([29.0]), np.array([1.0]), "")
    assert (mean.low, mean.high) == (29, 29)


def test_many_customers_are_resampled_in_groups_with_the_same_spread():
    values = np.random.default_rng(1).gamma(3, 10, 50_000)
    mean = Resampled.of(np.ones(50_000, bool), seed=2).rate(np.arange(50_000), values, np.ones(50_000), "")
    assert mean.high - mean.low == pytest.approx(2 * 1.96 * values.std(ddof=1) / np.sqrt(50_000), rel=0.12)


def test_the_same_seed_gives_the_same_numbers():
    one, same = (measure(demo_book(DemoBusiness(months=20), seed=1), seed=3) for _ in range(2))
    assert one.expansion == same.expansion and one.chosen.values == same.chosen.values


def test_comebacks_are_found_again():
    business = DemoBusiness(signups=400, comeback_rate=0.2, comeback_months=2, yearly_share=0)
    measured = measure(demo_book(business, seed=0))
    assert measured.comeback.low < 0.2 < measured.comeback.high and measured.comeback_after == 2


@pytest.mark.parametrize(("ahead", "chosen"), [(1.0, "constant"), (1.9, "constant"), (2.1, "sbg"), (5.0, "sbg")])
def test_a_curve_with_more_parameters_has_to_be_better_by_more_than_2_in_aic(ahead, chosen):
    """Within 2 of the lowest AIC a curve has as good as equal support: Burnham and Anderson, "Model Selection and
    Multimodel Inference" (2nd ed. 2002), section 2.6 (from memory). AIC = 2 k - 2 ln L.
    """
    table = RiskTable(np.full(24, 1000), np.full(24, 40))
    plain = fit_constant(table)
    better = replace(fit_sbg(table), log_likelihood=plain.log_likelihood + 1 + ahead / 2, at_edge=False)
    assert plain.aic - better.aic == pytest.approx(ahead)
    assert recommend((plain, better), table)[0].curve == chosen


def test_prices_are_those_of_the_last_twelve_months_no_more_and_no_fewer(tmp_path):
    """One customer joins each month and stays. Of 26 months the last twelve begin in the fifteenth, where the price is
    130; 1,000 is paid by who came the month before. (130 + 11 x 10) / 12 = 20.
    """
    prices = [10] * 13 + [1000, 130] + [10] * 11
    months = [np.datetime64("2024-01") + month for month in range(len(prices))]
    rows = [f"c{n},{month},{price}" for n, price in enumerate(prices) for month in months[n:]]
    (tmp_path / "rows.csv").write_text("\n".join(["customer,month,mrr", *rows]))
    (kind,) = measure(spread_payments(read_records(tmp_path / "rows.csv"))).kinds
    assert kind.price.value == pytest.approx(20) and "12 who joined in the last 12 months" in kind.price.source
