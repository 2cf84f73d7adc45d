"""What must be true of every forecast, whatever its numbers."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable

import numpy as np
import pytest
from generated import scenarios
from how_many import few_or_many
from hypothesis import given, settings
from hypothesis import strategies as st
from plain import NOBODY, business, plan

import growth
from growth.engine import SERIES
from growth.engine.curves import LIFETIME, settled_ages
from growth.engine.draws import single
from growth.engine.long_run import FINITE, lifetime, lifetime_sum
from growth.measures import customer_ceiling, gross_revenue_retention, growth_ceiling, net_revenue_retention

CURVES = {
    "constant": {"curve": "constant", "monthly_churn_rate": 0.07},
    "early_late": {
        "curve": "early_late",
        "early_monthly_churn_rate": 0.2,
        "late_monthly_churn_rate": 0.02,
        "early_months": 15,
    },
    "sbg": {"curve": "sbg", "alpha": 0.7, "beta": 8.0},
    "bdw": {"curve": "bdw", "alpha": 0.7, "beta": 8.0, "shape": 1.4},
    "measured": {"curve": "measured", "survival": [0.9, 0.85, 0.84], "tail_monthly_churn_rate": 0.03},
}


def run(mapping: dict) -> growth.Forecast:
    return growth.forecast(growth.Scenario(**mapping))


def keep_changes(mapping: dict, kept: Callable[[str], bool]) -> None:
    """Drop the changes over time of numbers that a test takes out or sets itself."""
    mapping["changes"] = [change for change in mapping.get("changes", ()) if kept(change["field"])]


def same(one: growth.Forecast, other: growth.Forecast, *, rtol: float = 1e-9) -> None:
    """Equal series; beside rtol, a 1e-12 part of the largest value, for what is left where sums cancel."""
    cash = (
        1e-12
        * np.abs(np.stack([one.cash, one.cash_in, one.cost_to_serve, one.payment_fees, one.acquisition_spend])).max()
    )
    for name in SERIES:
        a, b = getattr(one, name), getattr(other, name)
        floor = len(a) * cash if name in ("cash", "net_cash") else 1e-12 * np.nanmax(np.abs(a), initial=0)
        np.testing.assert_allclose(a, b, rtol=rtol, atol=floor, err_msg=name)


@settings(max_examples=few_or_many(50, 200))
@given(scenarios(), st.floats(1, 5), st.integers(1, 60))
def test_more_churn_never_raises_mrr(mapping, factor, from_month):
    """Without comebacks, that is: who comes back starts anew, at age 0 and at the old price, and may then stay longer
    and pay more than if they had never left."""
    mapping["stay"].pop("comeback", None)
    keep_changes(mapping, lambda field: not field.startswith("stay.comeback"))
    more = copy.deepcopy(mapping)
    more["stay"].setdefault("churn_changes", []).append({"from_month": from_month, "factor": factor})
    usual, worse = run(mapping), run(more)
    for name in ("closing_mrr", "closing_customers"):
        before, after = getattr(usual, name), getattr(worse, name)
        assert (after <= before * (1 + 1e-9) + 1e-12 * before.max()).all(), name


@pytest.mark.parametrize("opening", [0, 50])
def test_without_churn_and_growth_mrr_is_a_straight_line(opening):
    result = growth.forecast(business(months=60, churn=0, opening={"customers": opening, "mrr": opening * 17}))
    np.testing.assert_allclose(result.closing_mrr, opening * 17 + 200 * np.arange(1, 61), rtol=1e-12)
    np.testing.assert_allclose(result.closing_customers, opening + 10 * np.arange(1, 61), rtol=1e-12)


HALVED = (
    "monthly_visitors visitor_ceiling monthly_pieces earlier_pieces monthly_budget "
    "budget_that_doubles_cost monthly_cost monthly_sign_ups sign_up_ceiling monthly_customers customer_ceiling"
).split()


@settings(max_examples=few_or_many(40, 150))
@given(scenarios())
def test_a_channel_split_in_two_halves_changes_nothing(mapping):
    split = copy.deepcopy(mapping)
    split["arrive"]["channels"] = [
        {
            **channel,
            **{name: channel[name] / 2 for name in HALVED if name in channel},
            **(
                {"launches": [{**launch, "visitors": launch["visitors"] / 2} for launch in channel["launches"]]}
                if "launches" in channel
                else {}
            ),
            "name": f"{channel['name']}, {half} half",
        }
        for channel in mapping["arrive"]["channels"]
        for half in ("first", "second")
    ]
    split["changes"] = [
        {**change, "field": field, **({"becomes": change["becomes"] / 2} if halved and "becomes" in change else {})}
        for change in mapping.get("changes", ())
        for halved in [change["field"].rsplit(".", 1)[-1] in HALVED]
        for field in halves(change["field"], [channel["name"] for channel in mapping["arrive"]["channels"]])
    ]
    same(run(mapping), run(split))


def halves(field, channels):
    """The addresses of a number in both halves of its channel, which is named or said by its position."""
    for position, name in enumerate(channels):
        for start in (f"arrive.channels.{name}.", f"arrive.channels.{position}."):
            if field.startswith(start):
                ends = [f"{name}, {half} half" for half in ("first", "second")]
                return [f"arrive.channels.{end}.{field.removeprefix(start)}" for end in ends]
    return [field]


@settings(max_examples=few_or_many(40, 150))
@given(scenarios())
def test_doubling_every_price_doubles_every_amount_of_revenue(mapping):
    double = copy.deepcopy(mapping)
    double["opening"]["mrr"] = 2 * growth.Scenario(**mapping).opening.mrr
    for each in double["pay"]["plans"]:
        each["monthly_price" if "monthly_price" in each else "yearly_price"] *= 2
    for change in double.get("changes", ()):
        if change["field"].startswith("pay.plans") and change["field"].endswith("_price") and "becomes" in change:
            change["becomes"] *= 2
    one, two = run(mapping), run(double)
    for name in SERIES:
        a, b = getattr(one, name), getattr(two, name)
        if name.endswith("_mrr") or name in ("arr", "arpa", "revenue", "cash_in", "deferred_revenue"):
            np.testing.assert_array_equal(2 * a, b, err_msg=name)  # exactly: a factor of two costs a double nothing
        elif name not in ("payment_fees", "net_cash", "cash", "monthly_gross_revenue_churn_rate"):
            np.testing.assert_array_equal(a, b, err_msg=name)


@settings(max_examples=few_or_many(25, 100))
@given(scenarios(), st.floats(0, 0.9))
def test_a_churn_factor_from_month_1_on_is_the_same_as_writing_the_scaled_rate(mapping, factor):
    """For every plan, whatever its billing: what an owner means by "churn is 0.7 of what it was"."""
    keep_changes(mapping, lambda field: not field.startswith("stay.") and not re.search("churn|renewal", field))
    changed, written = copy.deepcopy(mapping), copy.deepcopy(mapping)
    for each in (changed, written):
        each["stay"] = {"churn": {"curve": "constant", "monthly_churn_rate": 0.07}}
        for one in each["pay"]["plans"]:
            one.pop("churn", None)
            if "renewal_rate" in one:
                one["renewal_rate"] = 0.7
    changed["stay"]["churn_changes"] = [{"from_month": 1, "factor": factor}]
    written["stay"]["churn"]["monthly_churn_rate"] *= factor
    for one in written["pay"]["plans"]:
        if "renewal_rate" in one:
            one["renewal_rate"] = 1 - 0.3 * factor
    one, two = run(changed), run(written)
    for name in ("closing_customers", "closing_mrr", "cash_in"):
        np.testing.assert_allclose(getattr(one, name), getattr(two, name), rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.parametrize("name", CURVES)
def test_a_yearly_plan_keeps_as_many_at_its_renewals_as_a_monthly_one(name):
    opening = {"customers": 1000, "mrr": 20_000, "mean_age_months": 0}
    monthly, yearly = (
        growth.forecast(
            business(months=40, churn=CURVES[name], arrive=NOBODY, opening=opening, pay={"plans": [plan(billing=each)]})
        )
        for each in ("monthly", "yearly")
    )
    for age in (12, 24, 36):
        assert yearly.closing_customers[age - 1] == pytest.approx(monthly.closing_customers[age - 1], rel=1e-12)
    assert yearly.closing_customers[10] == 1000  # and none leaves before


@settings(max_examples=few_or_many(50, 200))
@given(scenarios())
def test_grr_never_exceeds_nrr_nor_one(mapping):
    result = run(mapping)
    gross, net = (
        rate(result, over=min(12, result.months)).value for rate in (gross_revenue_retention, net_revenue_retention)
    )
    assert (gross is None) == (net is None)
    if gross is not None:
        assert 0 <= gross <= min(net, 1) * (1 + 1e-12)


@pytest.mark.parametrize(
    "parts",
    [
        {},
        {"grow": {"monthly_expansion_rate": 0.1, "monthly_contraction_rate": 0.03}},
        {"grow": {"monthly_expansion_rate": 0.2, "last_age_months": 3}},
        {"sign_up": {"signup_rate": 1, "monthly_referral_rate": 0.1}},
        {"pay": {"delay_shares": [0.5, 0.25, 0.25]}, "opening": {"customers": 900, "mrr": 9}},
        {"stay": {"comeback": {"comeback_rate": 0.3, "after_months": 4}}},
        {"stay": {"churn_changes": [{"from_month": 30, "factor": 1.3}]}},
        {
            "grow": {
                "price_changes": [
                    {"month": 9, "change_rate": 0.5},
                    {"month": 20, "change_rate": 0.2, "applies_to": "all"},
                ]
            }
        },
        {
            "pay": {
                "plans": [
                    plan(share=0.5),
                    plan(name="b", share=0.5, monthly_price=70, churn=CURVES["constant"] | {"monthly_churn_rate": 0.5}),
                ]
            },
            "sign_up": {"signup_rate": 1, "monthly_referral_rate": 0.05},
            "stay": {"comeback": {"comeback_rate": 0.2, "after_months": 2}},
            "grow": {"monthly_expansion_rate": 0.05},
        },
    ],
)
def test_with_constant_inputs_and_churn_the_forecast_tends_to_the_ceiling(parts):
    """Churn of 0.4 leaves 0.6^120 = 2e-27 of a cohort at the end, and (0.6 + 0.1)^120 = 3e-19 where each customer sends
    a tenth of another a month; the other feedbacks fade well below 1e-9 too."""
    parts = copy.deepcopy(parts)
    stay = {"churn": {"curve": "constant", "monthly_churn_rate": 0.4}, **parts.pop("stay", {})}
    result = growth.forecast(business(months=120, stay=stay, **parts))
    assert growth_ceiling(result).value == pytest.approx(result.closing_mrr[-1], rel=1e-9)
    assert customer_ceiling(result).value == pytest.approx(result.closing_customers[-1], rel=1e-9)


@settings(max_examples=few_or_many(50, 200))
@given(scenarios())
def test_a_lifetime_may_be_cut_once_churn_and_growth_have_settled(mapping):
    """The sum over all 1,200 ages is that over the settled ones and a geometric tail; so is whether there is one."""
    scenario = growth.Scenario(**mapping)
    sums = []
    for ages in (LIFETIME, settled_ages(scenario)):
        life = lifetime(scenario, month=scenario.months, read=single, ages=ages)
        pairs = ((life.alive, np.zeros_like(life.growth)), (life.worth, life.growth))
        sums.append([lifetime_sum(terms, life, growth=growth) for terms, growth in pairs])
    for whole, cut in zip(*sums, strict=True):
        np.testing.assert_array_equal(whole.kind, cut.kind)
        finite = whole.kind == FINITE
        np.testing.assert_allclose(cut.total[finite], whole.total[finite], rtol=1e-9)


def test_a_yearly_plan_tends_to_its_ceiling():
    # 0.2 renew: 0.2^10 = 1e-7 of a cohort outlive the forecast
    result = growth.forecast(business(months=120, pay={"plans": [plan(billing="yearly", renewal_rate=0.2)]}))
    assert growth_ceiling(result).value == pytest.approx(result.closing_mrr[-1], rel=2e-7)
    # ten a month for twelve months; 0.2 of them for twelve more, and so on
    assert customer_ceiling(result).value == pytest.approx(10 * 12 / (1 - 0.2), rel=1e-9)


@settings(max_examples=few_or_many(25, 100))
@given(scenarios())
def test_whether_cohorts_share_a_row_makes_no_difference(mapping):
    """Constant churn lets the engine add all cohorts up; the same churn written as two equal rates by age does not."""
    mapping["stay"]["churn"] = {"curve": "constant", "monthly_churn_rate": 0.05}
    mapping["grow"].pop("last_age_months", None)
    for each in mapping["pay"]["plans"]:
        each.pop("churn", None), each.pop("renewal_rate", None)
        each["billing"] = "monthly"
        each["monthly_price"] = each.pop("yearly_price", 12 * each.get("monthly_price", 0)) / 12
    keep_changes(mapping, lambda field: not field.startswith(("stay.", "pay.plans.")))
    by_age = copy.deepcopy(mapping)
    by_age["stay"]["churn"] = {"curve": "early_late", "early_monthly_churn_rate": 0.05, "late_monthly_churn_rate": 0.05}
    same(run(mapping), run(by_age))
    kept, kept_by_age = (net_revenue_retention(run(each), over=1).value for each in (mapping, by_age))
    assert kept is kept_by_age is None or kept == pytest.approx(kept_by_age, rel=1e-9, abs=1e-300)
