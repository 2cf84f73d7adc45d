"""The points of a sweep, and what the one pass says of them."""

import numpy as np
import pandas as pd
import pytest

import growth
from growth.sweep.design import design_of
from growth.sweep.evaluate import scenario_at, table
from growth.sweep.influence import influences, leaders, points_of
from growth.sweep.load_sweep import load_sweep

CHURN, PRICE = "stay.churn.monthly_churn_rate", "pay.plans.Studio.monthly_price"
TWO = [
    {"name": "churn", "field": CHURN, "values": [0.02, 0.04]},
    {"name": "price", "field": PRICE, "from": 10, "to": 30, "steps": 3},
]


def design(workplace, **parts):
    return design_of(load_sweep(workplace.sweep(**parts)))


def test_a_grid_holds_every_combination_the_last_axis_fastest(workplace):
    points = design(workplace, axes=TWO)
    assert [tuple(points.point(n).values()) for n in range(points.count)] == [
        (churn, price) for churn in (0.02, 0.04) for price in (10, 20, 30)
    ]


def test_listed_points_are_those_listed_in_their_order(workplace):
    listed = [{"churn": 0.03, "price": 25}, {"churn": 0.01, "price": 25}]
    points = design(workplace, axes=TWO, points={"method": "listed", "listed": listed})
    assert [points.point(n) for n in range(points.count)] == listed


@pytest.mark.parametrize("method", ["latin_hypercube", "sobol"])
def test_a_sample_of_n_has_one_point_in_each_nth_of_every_axis(workplace, method):
    """What makes a Latin hypercube; the first 2^m points of a Sobol sequence share it (a net in base 2)."""
    axes = [
        {"name": "churn", "field": CHURN, "from": 0.02, "to": 0.06},
        {"name": "price", "field": PRICE, "from": 10, "to": 30},
    ]
    points = design(workplace, axes=axes, points={"method": method, "size": 16, "seed": 0})
    block = points.rows(np.arange(16))
    for title, low, high in (("churn", 0.02, 0.06), ("price", 10, 30)):
        cells = np.floor((block[title] - low) / (high - low) * 16)
        assert sorted(cells) == list(range(16))
    again = design(workplace, axes=axes, points={"method": method, "size": 16, "seed": 0})
    np.testing.assert_array_equal(again.rows(np.arange(16))["churn"], block["churn"])


def test_the_one_pass_says_of_each_point_what_a_forecast_of_it_alone_says(workplace):
    """Numbers as arrays, whole numbers, words and variants in groups: all in one sweep."""
    axes = [
        *TWO,
        {"name": "look", "field": "months", "values": [6, 12]},
        {"name": "bill", "field": "pay.plans.Kiln v1.2.billing", "values": ["monthly", "yearly"]},
        {
            "name": "stay",
            "variants": [
                {"name": "as it is", "set": {"sign_up.signup_rate": 0.1}},
                {"name": "mix", "set": {"pay.plans.0.share": 0.2, "pay.plans.Kiln v1.2.share": 0.8}},
            ],
        },
    ]
    points = design(workplace, axes=axes)
    for size in (7, 1000):
        rows = pd.concat([pd.DataFrame(part) for part in table(points, size=size)], ignore_index=True)
        assert rows["point"].tolist() == list(range(48))
        for number in range(points.count):
            forecast = growth.forecast(growth.load_scenario(scenario_at(points, number)))
            assert rows["closing_mrr"][number] == pytest.approx(forecast.closing_mrr[-1], rel=1e-12)
            assert rows["closing_customers"][number] == pytest.approx(forecast.closing_customers[-1], rel=1e-12)
            reached = np.flatnonzero(forecast.closing_mrr >= 400)
            assert rows["goal_month"][number] == pytest.approx(reached[0] + 1 if reached.size else np.nan, nan_ok=True)
    assert scenario_at(points, 47)["pay"]["plans"][1] == {
        **scenario_at(points, 0)["pay"]["plans"][1],
        "billing": "yearly",
        "share": 0.8,
    }


def test_reports_go_to_the_points_that_match(workplace):
    points = design(
        workplace, axes=TWO, reports={"choose": "matching", "matching": [{"price": 20}, {"churn": 0.02, "price": 30}]}
    )
    assert points.chosen().tolist() == [1, 2, 4]


def test_what_moves_the_answer_most_adds_up_for_an_answer_that_is_a_sum():
    """Y = 3 a + b on a full grid of -1, 0, 1: variances 9 x 2/3 and 2/3, so shares 0.9 and 0.1."""
    grid = pd.DataFrame([(a, b, 3 * a + b) for a in (-1, 0, 1) for b in (-1, 0, 1)], columns=["a", "b", "closing_mrr"])
    found = influences(grid.assign(point=0), "closing_mrr")
    assert [(one.levels.title, round(one.share, 12), one.low, one.high) for one in found] == [
        ("a", 0.9, -3, 3),
        ("b", 0.1, -1, 1),
    ]


def test_a_level_counts_by_its_points():
    """By hand: Y is 0, 2, 4 at a = 0 and 10 at a = 1: mean 4, variance 14, of which 12 between levels."""
    points = pd.DataFrame({"point": range(4), "a": [0, 0, 0, 1], "closing_mrr": [0.0, 2, 4, 10]})
    [one] = influences(points, "closing_mrr")
    assert one.share == pytest.approx(12 / 14)


def test_axes_that_move_the_answer_alike_are_not_ranked():
    """Y = a + b and noise: which is ahead in a sample is chance. Y = 3 a + b: it is not."""
    ranked = {1: 0, 3: 0}
    for seed in range(40):
        a, b, noise = np.random.default_rng(seed).uniform(size=(3, 400))
        for factor in ranked:
            points = pd.DataFrame({"point": range(400), "a": a, "b": b, "closing_mrr": factor * a + b + 0.3 * noise})
            ranked[factor] += len(leaders(influences(points, "closing_mrr", sampled=True))) == 1
    assert ranked[1] <= 5 and ranked[3] == 40  # one in twenty is meant; 6 of 40 or more would come up in 1 of 50 then


def test_an_axis_that_moves_nothing_leads_nothing():
    a, noise = np.random.default_rng(0).uniform(size=(2, 400))
    nothing = pd.DataFrame({"point": range(400), "a": a, "closing_mrr": noise})
    assert leaders(influences(nothing, "closing_mrr", sampled=True)) == []


def test_the_demo_sweep_is_valid_and_its_two_trials_differ():
    points = points_of(design_of(load_sweep("scenarios/sweep-churn-and-price.yaml")))
    assert len(points) == 50 and points.groupby("trial")["closing_mrr"].mean().nunique() == 2
