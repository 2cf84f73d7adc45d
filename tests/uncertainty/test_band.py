"""Bands against draws of the ranges, and against laws that hold exactly."""

from __future__ import annotations

import numpy as np
import plain
import pytest
import whole_customers
from scipy import stats

import growth
from growth.scenario.range import Range, Scale
from growth.uncertainty import sample, spread_of
from growth.uncertainty.band import ceiling_band
from growth.uncertainty.sample import ranges_of


def business(*, customers=40, churn, visitors=800, **sections):
    return growth.load_scenario(
        {
            "business": "Fernhollow",
            "invented": True,
            "months": 36,
            "opening": {"customers": customers, "mrr": 29 * customers},
            "arrive": {"channels": [{"name": "search", "monthly_visitors": visitors}]},
            "sign_up": {"signup_rate": 0.04},
            "pay": {"conversion_rate": 0.15, "plans": [{"name": "Studio", "monthly_price": 29}]},
            "stay": {"churn": {"curve": "constant", "monthly_churn_rate": churn}},
            **sections,
        }
    )


UNSURE = {"low": 0.03, "likely": 0.04, "high": 0.06}
VISITORS = {"low": 500, "likely": 800, "high": 1200}


def test_draws_have_the_three_points_of_their_range_as_quantiles():
    drawn = sample(business(churn=UNSURE), draws=4096, seed=3).stay.churn.monthly_churn_rate
    assert drawn.shape == (4096,)
    assert np.quantile(drawn, [0.05, 0.5, 0.95]) == pytest.approx([0.03, 0.04, 0.06], rel=2e-3)


def test_ranges_are_drawn_independently_of_each_other():
    drawn = sample(business(churn=UNSURE, visitors=VISITORS), draws=4096)
    together = stats.spearmanr(drawn.stay.churn.monthly_churn_rate, drawn.arrive.channels[0].monthly_visitors)
    assert abs(together.statistic) < 0.02


def test_a_seed_gives_the_same_draws_and_another_gives_others():
    one, same, other = (
        sample(business(churn=UNSURE), draws=64, seed=seed).stay.churn.monthly_churn_rate for seed in (0, 0, 1)
    )
    assert one.tolist() == same.tolist() != other.tolist()


def test_ranges_are_found_in_the_order_of_the_file():
    addresses = [unknown.address for unknown in ranges_of(business(churn=UNSURE, visitors=VISITORS))]
    assert addresses == ["arrive.channels.0.monthly_visitors", "stay.churn.monthly_churn_rate"]


@pytest.mark.parametrize(
    ("scenario", "within"),
    [
        (business(churn=UNSURE), 0.05),
        (business(churn=UNSURE, visitors=VISITORS), 0.05),
        (business(customers=4000, churn=UNSURE, visitors={"low": 60_000, "likely": 80_000, "high": 100_000}), 0.05),
        (business(churn=UNSURE, visitors=0), 0.1),
    ],
    ids=["one range", "two ranges", "large", "nobody joins"],
)
def test_the_quick_band_agrees_with_draws_of_ranges_and_chance(scenario, within):
    """The judge: 8,192 draws, each with its own variance by chance, as a mixture of gamma distributions."""
    spread = spread_of(scenario)
    drawn = growth.forecast(sample(scenario, draws=8192))
    mean, variance = drawn.closing_mrr[:, -1], drawn.chance.closing_mrr[:, -1]
    cases = stats.gamma.rvs(mean**2 / variance, scale=variance / mean, random_state=1)
    shares = [0.05, 0.25, 0.5, 0.75, 0.95]
    off = np.array([spread.quantile(share)[-1] for share in shares]) - np.quantile(cases, shares)
    assert np.abs(off / np.median(cases)).max() <= within


EXPANSION = {"monthly_expansion_rate": {"low": 0.01, "likely": 0.03, "high": 0.06}}


@pytest.mark.parametrize(
    "scenario",
    [
        business(churn={"low": 0.05, "likely": 0.08, "high": 0.12}, customers=100, visitors=200),
        business(churn={"low": 0.03, "likely": 0.05, "high": 0.08}, customers=12, visitors=0),
        business(churn={"low": 0.03, "likely": 0.05, "high": 0.08}, visitors=0, months=60),
        business(churn={"low": 0.02, "likely": 0.05, "high": 0.12}, customers=400, visitors=0, months=60),
        business(churn={"low": 0.01, "likely": 0.02, "high": 0.04}, customers=100, grow=EXPANSION, months=60),
    ],
    ids=["shrinks", "nearly gone", "gone", "shrinks, wide", "net negative churn"],
)
def test_nine_of_ten_cases_are_that_many_where_a_business_shrinks_or_grows_by_itself(scenario):
    """The hardest for the quick method; the judge is the mixture of 1,024 draws with the chance within each."""
    from growth.uncertainty import mixture_of

    drawn, (low, high) = mixture_of(growth.forecast(sample(scenario, draws=1024))), spread_of(scenario).band(0.9)
    assert drawn.below(high)[-1] - (drawn.below(low)[-1] if low[-1] else 0) == pytest.approx(0.9, abs=0.06)
    off = np.abs(np.array([low[-1], high[-1]]) - [end[-1] for end in drawn.band(0.9)])
    assert off.max() <= 0.17 * drawn.quantile(0.5)[-1]  # 0.1 where more than three customers are left


def test_the_lower_end_is_nothing_where_nobody_may_be_left():
    """Each of 5 customers stays with probability s: nobody is left with (1 - s)^5. Joiners, N expected: e^-N."""
    spread = spread_of(business(customers=5, churn=0.3, visitors=0, months=6))
    assert spread.nobody == pytest.approx((1 - 0.7 ** np.arange(1, 7)) ** 5)
    assert (spread.quantile(0.05) == 0).tolist() == (spread.nobody >= 0.05).tolist()
    # 500 visitors, a 25th sign up, 15% of those pay: 3 join a month
    assert spread_of(business(customers=0, churn=0.04, visitors=500, months=1)).nobody == pytest.approx(np.exp(-3))


def test_forty_customers_and_four_thousand_with_the_same_rates_look_as_different_as_they_are():
    # chance alone: the relative width shrinks with the square root of the size, here of a hundred times the customers
    small, large = (spread_of(business(churn=0.04, customers=40 * k, visitors=800 * k)) for k in (1, 100))
    assert small.chance[-1] / large.chance[-1] == pytest.approx(10, rel=0.02)


def test_without_ranges_the_band_is_chance_alone():
    spread = spread_of(business(churn=0.04))
    assert spread.up == spread.down == {}
    assert spread.sigma(above=True).tolist() == spread.sigma(above=False).tolist() == spread.chance.tolist()


def test_the_chance_of_the_goal_never_falls_and_is_a_half_where_the_middle_meets_it():
    spread = spread_of(business(churn=UNSURE))
    reach = spread.reach(float(spread.quantile(0.5)[20]))
    assert np.all(np.diff(reach) >= 0)
    assert reach[20] == pytest.approx(0.5, abs=1e-12)


def test_a_business_that_is_empty_has_no_spread_and_never_reaches_anything():
    spread = spread_of(growth.load_scenario({"business": "F", "pay": {"plans": [{"name": "S", "monthly_price": 29}]}}))
    assert spread.quantile(0.95).tolist() == [0.0] * 36
    assert spread.reach(100.0).tolist() == [0.0] * 36


def test_a_range_moves_with_its_middle_as_wide_as_it_was_on_its_scale():
    churn = Range(0.03, 0.04, 0.06).around(0.08, Scale(0, 1))
    # as wide on the scale ln(x / (1 - x)): odds of 0.03, 0.04, 0.06 times those of 0.08 over those of 0.04
    odds = [p / (1 - p) * (0.08 / 0.92) / (0.04 / 0.96) for p in (0.03, 0.06)]
    assert [churn.low, float(churn), churn.high] == pytest.approx(
        [odds[0] / (1 + odds[0]), 0.08, odds[1] / (1 + odds[1])]
    )


def test_the_ceiling_lies_between_its_values_at_the_ends_of_the_one_range():
    # 4.8 join a month at 29: the ceiling is 139.2 / churn, its ends those at the range's own
    low, high = ceiling_band(business(churn=UNSURE))
    assert (low, high) == (pytest.approx(139.2 / 0.06), pytest.approx(139.2 / 0.03))
    assert ceiling_band(business(churn=0.04)) is None and ceiling_band(business(churn=UNSURE, visitors=0)) is None


def test_where_growth_goes_on_at_a_range_s_end_the_ceiling_has_no_upper_end():
    # those who stay add 2% to 5% a month: at 5% that outruns the 4% who leave, 0.96 x 1.05 > 1
    expansion = {"monthly_expansion_rate": {"low": 0.02, "likely": 0.03, "high": 0.05}}
    low, high = ceiling_band(business(churn=0.04, grow=expansion))
    assert (low, high) == (pytest.approx(139.2 / (1 - 0.96 * 1.02)), np.inf)


def test_the_shares_of_the_spread_add_up_and_a_known_number_leaves_the_rest():
    spread = spread_of(business(churn=UNSURE, visitors=VISITORS))
    shares = spread.shares()
    assert sum(shares.values()) == pytest.approx(1)
    assert set(shares) == {"arrive.channels.0.monthly_visitors", "stay.churn.monthly_churn_rate", "chance"}
    left = spread.known("stay.churn.monthly_churn_rate")
    assert left.quantile(0.95)[-1] == pytest.approx(
        spread_of(business(churn=0.04, visitors=VISITORS)).quantile(0.95)[-1]
    )


def test_a_range_in_a_list_of_numbers_is_drawn_like_any_other():
    season = [1.0] * 11 + [{"low": 1.2, "likely": 1.5, "high": 1.9}]
    channel = {"name": "search", "monthly_visitors": 800, "season": season}
    drawn = sample(business(churn=0.04, arrive={"channels": [channel]}), draws=8)
    assert np.shape(drawn.arrive.channels[0].season[11]) == (8,)


TOGETHER = {"of": ["stay.churn.monthly_churn_rate", "arrive.channels.0.monthly_visitors"], "correlation": 0.8}


def test_correlated_ranges_keep_their_points_and_have_the_stated_correlation():
    """A Gaussian copula: Spearman's rank correlation is (6 / pi) arcsin(r / 2) (Pearson, 1907; Kruskal, 1958)."""
    drawn = sample(business(churn=UNSURE, visitors=VISITORS, correlations=[TOGETHER]), draws=8192)
    churn, visitors = drawn.stay.churn.monthly_churn_rate, drawn.arrive.channels[0].monthly_visitors
    assert np.quantile(churn, [0.05, 0.5, 0.95]) == pytest.approx([0.03, 0.04, 0.06], rel=5e-3)
    assert np.quantile(visitors, [0.05, 0.5, 0.95]) == pytest.approx([500, 800, 1200], rel=5e-3)
    assert stats.spearmanr(churn, visitors).statistic == pytest.approx(6 / np.pi * np.arcsin(0.8 / 2), abs=0.01)


@pytest.mark.parametrize("correlation", [-0.9, -0.5, 0.5, 0.9])
def test_the_quick_band_agrees_with_draws_where_ranges_are_correlated(correlation):
    scenario = business(churn=UNSURE, visitors=VISITORS, correlations=[TOGETHER | {"correlation": correlation}])
    from growth.uncertainty import mixture_of

    drawn, spread = mixture_of(growth.forecast(sample(scenario, draws=2048))), spread_of(scenario)
    for share in (0.05, 0.5, 0.95):
        assert spread.quantile(share)[-1] == pytest.approx(
            drawn.quantile(share)[-1], abs=0.05 * drawn.quantile(0.5)[-1]
        )


def test_two_ranges_that_move_as_one_are_as_wide_as_both_together():
    """As the correlation goes to 1, ln(a b) has the sum of both spreads; to -1, their difference: sd of a sum."""
    pay = {"conversion_rate": {"low": 0.1, "likely": 0.15, "high": 0.22}}
    pay["plans"] = [{"name": "Studio", "monthly_price": 29}]
    paths = ["arrive.channels.0.monthly_visitors", "pay.conversion_rate"]

    def width(correlation):
        both = [{"of": paths, "correlation": correlation}]
        scenario = business(customers=0, churn=0.04, visitors=VISITORS, pay=pay, correlations=both, months=1)
        return [part[0] for part in spread_of(scenario).up.values()]

    alone = [abs(part) for part in width(0.0)]
    together, apart = (np.hypot(*width(r)) for r in (0.999, -0.999))
    assert together == pytest.approx(sum(alone), rel=0.02) and apart < 0.15 * together


def test_knowing_one_of_two_correlated_numbers_tells_of_the_other():
    """The variance left is 1 - rho^2 of what the other alone has, here where the first does nothing by itself."""
    idle = {"low": 0.01, "likely": 0.015, "high": 0.02}  # a fee: MRR does not see it
    bill = {"payment_fee_rate": idle}
    both = {"of": ["bill.payment_fee_rate", "stay.churn.monthly_churn_rate"], "correlation": 0.6}
    spread = spread_of(business(churn=UNSURE, bill=bill, correlations=[both]))
    alone = spread_of(business(churn=UNSURE)).shares()["stay.churn.monthly_churn_rate"]
    assert spread.shares()["bill.payment_fee_rate"] == pytest.approx(0.36 * alone, rel=0.1)
    known = spread.known("bill.payment_fee_rate").sigma(above=True)[-1] ** 2 - spread.chance[-1] ** 2
    whole = spread.sigma(above=True)[-1] ** 2 - spread.chance[-1] ** 2
    assert known == pytest.approx(0.64 * whole, rel=0.1)
    assert spread.known("stay.churn.monthly_churn_rate").sigma(above=True)[-1] == pytest.approx(
        spread.chance[-1], rel=0.05
    )


def test_a_correlation_is_silent_where_one_of_the_two_is_no_range():
    plain = spread_of(business(churn=UNSURE, correlations=[TOGETHER]))
    assert plain.quantile(0.95).tolist() == spread_of(business(churn=UNSURE)).quantile(0.95).tolist()


@pytest.mark.parametrize("joins", [0.5, 1, 2, 3, 4.8, 7, 10, 30, 100])
def test_nine_in_ten_single_months_lie_in_the_band_of_what_comes_in(joins):
    """Joins are a Poisson number, each of whom pays 20: its distribution function says how many months lie within."""
    scenario = plain.business(arrive={"channels": [{"name": "all", "monthly_visitors": joins}]})
    low, high = (end[-1] / 20 for end in spread_of(scenario, series="came_in").band(0.9))
    within = stats.poisson.cdf(np.floor(high), joins) - stats.poisson.cdf(np.ceil(low) - 1, joins)
    assert within >= 0.87 and stats.poisson.sf(np.ceil(high), joins) < 0.05


def test_the_band_of_what_is_lost_is_binomial_and_goes_down_to_nobody():
    """Of 40 customers at 20 a month 5% leave: two on average, nobody in 12.9% of months, more than five in 1.4%."""
    scenario = plain.business(months=1, churn=0.05, arrive=plain.NOBODY, opening={"customers": 40, "mrr": 800})
    low, high = (end[0] for end in spread_of(scenario, series="lost").band(0.9))
    assert low == 0 and 80 <= high <= 105


def test_nine_in_ten_single_months_lie_in_the_band_where_expansion_or_comebacks_are_what_comes_in(monkeypatch):
    """Whole customers, drawn one by one, are the judge: comebacks beside joins; expansion and nothing else."""
    monkeypatch.setattr(whole_customers, "RUNS", 3000)
    grow = {"monthly_expansion_rate": 0.02}
    fading = plain.business(
        months=24, churn=0.03, arrive=plain.NOBODY, opening={"customers": 40, "mrr": 800}, grow=grow
    )
    for scenario in (fading, whole_customers.CASES["comeback"]):
        drawn = whole_customers.draw(scenario, np.random.default_rng(1), fixed_opening=True)
        came_in = drawn["new_mrr"] + drawn["reactivation_mrr"] + drawn["expansion_mrr"]
        low, high = spread_of(scenario, series="came_in").band(0.9)
        within = ((came_in >= low[:, None]) & (came_in <= high[:, None])).mean(axis=1)
        assert 0.87 <= within.mean() <= 0.93
