"""The library of invented businesses: each valid and marked, and between them every feature is used."""

from __future__ import annotations

import inspect

import pytest
from library import LIBRARY, SCENARIOS
from pydantic import BaseModel

import growth
from growth.measures import growth_ceiling, net_revenue_retention
from growth.scenario import Scenario
from growth.scenario.entries import sections_in
from growth.scenario.file import load_document


def load(name: str) -> growth.Scenario:
    return growth.load_scenario(SCENARIOS / f"{name}.yaml")


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_each_is_valid_marked_as_invented_and_says_what_it_teaches(path):
    scenario = growth.load_scenario(path)
    assert scenario.invented
    assert "invented" in load_document(path).text.lower()
    assert len(scenario.teaches) > 150
    assert growth.forecast(scenario).closing_mrr.min() > 0


def owner(model: type[BaseModel], name: str) -> str:
    """The section that declares a field: what all channels share is one field, whatever their kind."""
    return next(one.__name__ for one in model.__mro__ if name in inspect.get_annotations(one))


def fields(model: type[BaseModel]) -> set[tuple[str, str]]:
    """Every (section, field) that a scenario file may hold."""
    found = {(owner(model, name), name) for name in model.model_fields}
    for info in model.model_fields.values():
        for section in sections_in(info):
            found |= fields(section)
    return found


def used(section: object) -> set[tuple[str, str]]:
    """The (section, field) pairs that a scenario sets to something other than their defaults."""
    if isinstance(section, tuple):
        return set().union(*(used(part) for part in section))
    if not isinstance(section, BaseModel):
        return set()
    found = set()
    for name, info in type(section).model_fields.items():
        value = getattr(section, name)
        if info.is_required() or value != info.default or name == "kind":
            found.add((owner(type(section), name), name))
        found |= used(value)
    return found


def test_between_them_they_use_every_field_of_a_scenario():
    assert set().union(*(used(growth.load_scenario(path)) for path in LIBRARY)) == fields(Scenario)


def test_the_seasonal_one_has_a_season():
    """New customers of a May are well above those of the December after, and below those of the next May."""
    new = growth.forecast(load("seasonal")).new_customers  # month 1 is March: May is month 3, December month 10
    assert new[2] > 2 * new[9] and new[14] > new[2]


def test_the_one_with_yearly_plans_has_money_it_still_owes():
    result = growth.forecast(load("yearly-plans"))
    assert result.deferred_revenue.min() > 0 and result.cash_in.std() > result.revenue.std()


def test_the_shrinking_one_shrinks_towards_a_ceiling_below_today():
    result = growth.forecast(load("shrinking"))
    assert (result.closing_mrr < result.opening_mrr).all()
    assert growth_ceiling(result).value < result.opening_mrr[0]


def test_the_one_with_net_negative_churn_keeps_more_than_all_its_revenue():
    assert net_revenue_retention(growth.forecast(load("net-negative-churn")), month=12).value > 1


def test_the_one_from_zero_starts_with_nobody_and_needs_cash_first():
    result = growth.forecast(load("from-zero"))
    assert result.opening_customers[0] == 0 and result.net_cash[0] < 0 < result.net_cash[-1]


def test_the_large_one_has_ten_thousand_customers():
    assert growth.forecast(load("ten-thousand")).opening_customers[0] == pytest.approx(10_000)
