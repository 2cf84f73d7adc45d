"""Ranges: what a file may say, the distribution through three points, and what keeps a range when numbers are kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import growth
from growth.scenario.range import NEAREST, Range, Scale, likely_values, metalog

LEVELS = np.linspace(1e-4, 1 - 1e-4, 4001)


def test_the_metalog_passes_through_its_three_points():
    # Keelin (2016), the SPT construction (from memory); put y = alpha, 1/2, 1 - alpha into the closed form
    assert metalog(1.0, 2.5, 6.0, np.array([0.05, 0.5, 0.95])) == pytest.approx([1.0, 2.5, 6.0], rel=1e-13)


def test_a_symmetric_triplet_is_the_logistic_distribution():
    # with likely in the middle the third term is 0: z(y) = m + s ln(y / (1 - y)), s = (h - l) / (2 ln 19)
    scale = (7 - 3) / (2 * np.log(19))
    assert metalog(3.0, 5.0, 7.0, LEVELS) == pytest.approx(5 + scale * np.log(LEVELS / (1 - LEVELS)), rel=1e-12)


@pytest.mark.parametrize(("share", "rises"), [(NEAREST + 1e-4, True), (NEAREST - 1e-3, False)])
def test_the_nearest_middle_is_where_quantiles_stop_rising_everywhere(share, rises):
    levels = np.linspace(0.5, 1, 400_001)[:-1]  # the slope is least above the middle for a low `likely`
    both = [metalog(0.0, part, 1.0, levels) for part in (share, 1 - share)]
    falls = [np.diff(quantiles).min() < 0 for quantiles in both]
    levels = 1 - levels[::-1][:-1]
    falls += [np.diff(metalog(0.0, part, 1.0, levels)).min() < 0 for part in (share, 1 - share)]
    assert any(falls) is not rises


@given(
    bounds=st.sampled_from([(0.0, 1.0), (-0.99, 10.0), (0.0, 1e9), (0.0, 5.0), (-1e9, 1e9)]),
    points=st.lists(st.floats(0.01, 0.99), min_size=3, max_size=3, unique=True).map(sorted),
)
def test_draws_rise_and_stay_within_the_bounds_of_their_field(bounds, points):
    scale = Scale(*bounds)
    low, middle, high = (bounds[0] + (min(bounds[1], 100.0) - bounds[0]) * point for point in points)
    likely = Range(low, middle, high).nearest_likely(scale)
    drawn = Range(low, likely, high).quantiles(LEVELS, scale)
    assert np.all((drawn >= scale.low) & (drawn <= scale.high))
    assert np.all(np.diff(drawn) >= -1e-12 * np.abs(scale.high))


def business(**churn):
    return {
        "business": "Fernhollow",
        "opening": {"customers": 40, "mrr": 1160},
        "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]},
        "stay": {"churn": {"curve": "constant", **churn}},
    }


def test_a_range_counts_as_its_likely_value_wherever_a_single_number_is_used():
    ranged = growth.load_scenario(business(monthly_churn_rate={"low": 0.03, "likely": 0.04, "high": 0.06}))
    plain = growth.load_scenario(business(monthly_churn_rate=0.04))
    assert ranged.stay.churn.monthly_churn_rate == Range(0.03, 0.04, 0.06)
    assert growth.forecast(ranged).closing_mrr.tolist() == growth.forecast(plain).closing_mrr.tolist()
    assert likely_values(ranged.model_dump(mode="json")) == plain.model_dump(mode="json")
    assert growth.load_scenario({"scenario": ranged.model_dump(mode="json")}) == ranged


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ({"low": 0.06, "likely": 0.04, "high": 0.03}, "Write low below likely below high."),
        ({"low": 0.03, "likely": 0.04}, "A range has low, likely and high."),
        ({"low": 0, "likely": 0.04, "high": 0.06}, "A range ends short of 0: write one just within it."),
        ({"low": 0.03, "likely": 0.04, "high": 4}, "a share from 0 to 1"),
        ({"low": 0.03, "likely": 0.0301, "high": 0.06}, "0.03286 would do."),
    ],
    ids=["order", "parts", "bound", "outside", "too near an end"],
)
def test_a_range_that_is_none_is_one_clear_error(written, said):
    with pytest.raises(growth.ScenarioError) as error:
        growth.load_scenario(business(monthly_churn_rate=written))
    assert said in str(error.value)
    assert "monthly_churn_rate" in str(error.value)


def test_the_middle_that_would_do_does():
    assert growth.load_scenario(business(monthly_churn_rate={"low": 0.03, "likely": 0.03286, "high": 0.06}))


def test_whole_numbers_take_no_range():
    with pytest.raises(growth.ScenarioError, match="whole number"):
        growth.load_scenario({**business(monthly_churn_rate=0.04), "months": {"low": 6, "likely": 12, "high": 24}})


def test_a_saved_scenario_keeps_its_ranges_and_the_file_its_comments(tmp_path):
    ranged = growth.load_scenario(business(monthly_churn_rate={"low": 0.03, "likely": 0.04, "high": 0.06}))
    new = growth.save_scenario(ranged, tmp_path / "new.yaml")
    assert "monthly_churn_rate: {low: 0.03, likely: 0.04, high: 0.06}" in new.read_text()
    assert growth.load_scenario(new).stay.churn.monthly_churn_rate == Range(0.03, 0.04, 0.06)
    old = tmp_path / "old.yaml"
    old.write_text(
        "scenario:\n  business: Fernhollow\n  opening: {customers: 40, mrr: 1160}\n"
        "  pay:\n    plans:\n      - name: Studio\n        monthly_price: 29  # as on the site\n"
        "  stay:\n    churn:\n      curve: constant\n      monthly_churn_rate: 0.05  # a guess\n"
    )
    growth.save_scenario(ranged, old)
    text = old.read_text()
    assert "monthly_churn_rate: {low: 0.03, likely: 0.04, high: 0.06}  # a guess" in text
    assert "29  # as on the site" in text
