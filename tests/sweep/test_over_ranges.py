"""A sweep over the ranges of its scenario: the draws of `growth.sample`, joined with chance."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest
from scipy.stats import qmc
from sweep_tools import BASE

import growth
from growth.errors import GrowthError
from growth.sweep import comparison_html, range_draws
from growth.sweep.design import design_of
from growth.sweep.evaluate import check_points, mrr_by_month, scenario_at
from growth.sweep.influence import influences, points_of
from growth.sweep.load_sweep import load_sweep
from growth.sweep.results import sweep_key
from growth.uncertainty import mixture_of

RANGED = (
    BASE.replace("monthly_visitors: 100", "monthly_visitors: {low: 60, likely: 100, high: 150}")
    .replace("monthly_price: 20", "monthly_price: {low: 18, likely: 20, high: 23}")
    .replace("monthly_price: 40", "monthly_price: {low: 30, likely: 40, high: 50}")
)


def over_ranges(workplace, **parts):
    (workplace.path / "base.yaml").write_text(RANGED)
    return design_of(load_sweep(workplace.sweep(axes="ranges", **parts)))


def said(file) -> str:
    with pytest.raises(GrowthError) as caught:
        check_points(design_of(load_sweep(file)))
    return str(caught.value)


def test_the_points_are_the_draws_that_sample_gives(workplace):
    design = over_ranges(workplace, points={"size": 256, "seed": 5})
    drawn = growth.sample(growth.load_scenario(workplace.path / "base.yaml"), draws=256, seed=5)
    block = design.rows(np.arange(256))
    assert [part.tolist() for part in block.values()] == [
        drawn.arrive.channels[0].monthly_visitors.tolist(),
        drawn.pay.plans[0].monthly_price.tolist(),
        drawn.pay.plans[1].monthly_price.tolist(),
    ]
    assert points_of(design)["closing_mrr"].to_numpy() == pytest.approx(
        growth.forecast(drawn).closing_mrr[:, -1], rel=1e-12
    )


def test_ranges_that_go_together_do_so_in_the_points(workplace):
    both = "{of: [arrive.channels.0.monthly_visitors, pay.plans.0.monthly_price], correlation: -0.8}"
    (workplace.path / "base.yaml").write_text(RANGED.rstrip() + f"\n  correlations: [{both}]\n")
    design = design_of(load_sweep(workplace.sweep(axes="ranges", points={"size": 256, "seed": 5})))
    drawn = growth.sample(growth.load_scenario(workplace.path / "base.yaml"), draws=256, seed=5)
    block = design.rows(np.arange(256))
    assert block["Price, Studio"].tolist() == drawn.pay.plans[0].monthly_price.tolist()
    assert np.corrcoef(block["Visitors a month"], block["Price, Studio"])[0, 1] < -0.7


def test_one_word_is_enough_and_asks_for_no_reports(workplace):
    design = over_ranges(workplace)
    assert (design.count, design.sampled, design.chosen().tolist()) == (1024, True, [])


def test_an_axis_is_called_by_its_label_and_by_its_item_where_two_have_the_same(workplace):
    titles = list(over_ranges(workplace).levels)
    assert titles == ["Visitors a month", "Price, Studio", "Price, Kiln v1.2"]


def test_a_latin_hypercube_has_one_draw_in_each_part_of_every_range(workplace):
    design = over_ranges(workplace, points={"method": "latin_hypercube", "size": 100})
    prices = np.sort(design.rows(np.arange(100))["Price, Studio"])
    assert np.searchsorted(prices, [18, 20, 23]).tolist() == [5, 50, 95]  # the 5%, 50% and 95% points


@pytest.mark.parametrize(
    ("base", "parts", "message"),
    [
        (BASE, {"axes": "ranges"}, "axes: base.yaml to have ranges; it has none. Write a number there as {low:"),
        (RANGED, {"axes": "range"}, "axes: a list of axes, or ranges (found range)"),
        (
            RANGED,
            {"axes": "ranges", "points": {"method": "grid"}},
            "sobol or latin_hypercube where the axes are ranges",
        ),
        (RANGED, {"axes": "ranges", "points": {"size": 0}}, "points.size"),
        (RANGED, {"axes": "ranges", "scenario": 3}, "scenario: "),
    ],
)
def test_what_cannot_be_swept_is_named_with_a_mend(workplace, base, parts, message):
    (workplace.path / "base.yaml").write_text(base)
    assert message in said(workplace.sweep(**parts))


def test_the_comparison_says_how_wide_it_is_with_chance(workplace):
    design = over_ranges(workplace)
    points = points_of(design)
    drawn = mixture_of(growth.forecast(growth.sample(growth.load_scenario(workplace.path / "base.yaml"))))
    heading = re.sub(r"<[^>]*>", "", comparison_html.heading(design, points).html)
    low, high = (float(text.replace(",", "")) for text in re.findall(r"€([\d,]+)", heading)[:2])
    assert [low, high] == pytest.approx([end[-1] for end in drawn.band(0.9)], rel=0.01)
    assert "In 9 of 10 cases Fernhollow ends month 12 between" in heading
    assert f"is reached in {100 * drawn.reach(400)[-1]:.0f} of 100 cases" in heading
    # wider than the draws alone, which are without chance
    assert low < np.quantile(points["closing_mrr"], 0.05) < np.quantile(points["closing_mrr"], 0.95) < high


def test_chance_is_one_row_beside_the_ranges_and_all_shares_are_of_the_whole_spread(workplace):
    design = over_ranges(workplace)
    page = comparison_html.which_moves_most(design, points_of(design)).html
    rows = dict(re.findall(r'<th scope="row">([^<]*)</th><td>.*?</span>(\d+)%', page))
    assert list(rows) == ["Visitors a month", "Price, Kiln v1.2", "Price, Studio", "chance"]
    assert 90 <= sum(map(int, rows.values())) <= 101  # what they do together is the rest
    assert int(rows["chance"]) == round(100 * range_draws.share_of_chance(design))


def test_the_fan_is_that_of_ranges_and_chance(workplace):
    design = over_ranges(workplace)
    page = comparison_html.small_multiples(design, points_of(design)).html
    assert "your ranges and chance" in page
    edges = range_draws.edges(design)
    ranges_alone = np.percentile(mrr_by_month(design, np.arange(1024)), 95, axis=0)
    assert np.all(edges[-1][1:] > ranges_alone[1:]) and edges[0][0] == edges[-1][0]


def test_a_range_that_no_axis_sets_stays_in_the_report_of_a_point(workplace):
    (workplace.path / "base.yaml").write_text(RANGED)
    design = design_of(load_sweep(workplace.sweep()))  # over churn
    handed = json.loads(json.dumps(scenario_at(design, 0)))
    assert handed["pay"]["plans"][0]["monthly_price"] == {"low": 18, "likely": 20, "high": 23}
    assert growth.load_scenario(handed).pay.plans[0].monthly_price.high == 23


def test_another_range_is_another_sweep(workplace):
    notebook = workplace.notebook()
    first = sweep_key(design_of(load_sweep(workplace.sweep())), notebook)  # over churn
    (workplace.path / "base.yaml").write_text(RANGED)
    assert sweep_key(design_of(load_sweep(workplace.sweep())), notebook) != first


def test_shares_of_a_sample_are_those_of_the_ishigami_function():
    """f = sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1, each x uniform between -pi and pi.

    Ishigami and Homma (1990), "An importance quantification technique in uncertainty analysis for computer models",
    ISUMA '90; its variances in closed form (from memory): V = a^2 / 8 + b pi^4 / 5 + b^2 pi^8 / 18 + 1/2,
    V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8, V3 = 0.
    """
    a, b, pi = 7.0, 0.1, np.pi
    whole = a**2 / 8 + b * pi**4 / 5 + b**2 * pi**8 / 18 + 0.5
    exact = {"x1": (1 + b * pi**4 / 5) ** 2 / 2 / whole, "x2": a**2 / 8 / whole, "x3": 0.0}
    assert exact == pytest.approx({"x1": 0.3139, "x2": 0.4424, "x3": 0.0}, abs=5e-5)  # as printed, from memory
    for size, within in ((1024, 0.06), (8192, 0.02)):
        x = pi * (2 * qmc.Sobol(3, rng=1).random(size) - 1)
        values = np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])
        points = pd.DataFrame(
            {"point": range(size), "x1": x[:, 0], "x2": x[:, 1], "x3": x[:, 2], "closing_mrr": values}
        )
        found = {one.levels.title: one for one in influences(points, "closing_mrr", sampled=True)}
        assert {name: one.share for name, one in found.items()} == pytest.approx(exact, abs=within)
        assert found["x3"].share <= found["x3"].chance  # no more than chance would give
