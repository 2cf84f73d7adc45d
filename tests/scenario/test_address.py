"""One way to address a value: what is found, what is changed, what is named in an error, and what matters."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from generated import scenarios
from how_many import few_or_many
from hypothesis import given, settings
from library import LIBRARY
from plain import business, plan

import growth
from growth.engine import SERIES
from growth.errors import Problem, ScenarioError
from growth.scenario.address import Field, fields, find, in_words, put, value_at
from growth.scenario.what_if import Change, WhatIf, changed


@settings(max_examples=few_or_many(20, 60))
@given(scenarios())
def test_every_number_is_found_at_its_address_by_position_and_by_name(mapping):
    scenario = growth.Scenario(**mapping)
    values = scenario.model_dump(mode="json")
    for field in fields(scenario):
        names = {item.position: getattr(item.section, "name", None) for item in field.items[:1]}
        by_name = [names.get(step) or step if n == 2 else step for n, step in enumerate(field.place)]
        for address in (field.path, ".".join(map(str, by_name))):
            found = find(scenario, address)
            assert isinstance(found, Field), address
            assert (found.place, found.entry, found.kind) == (field.place, field.entry, field.kind)
            assert found.value is field.value or found.value == field.value
        assert value_at(values, field.path) == field.value


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_an_address_that_a_sweep_takes_is_one_that_a_what_if_takes(path):
    scenario = growth.load_scenario(path)
    for field in fields(scenario):
        if field.value is None or field.name in ("share", "opening_share", "delay_shares", "survival"):
            continue  # what has to add up, or to fall, cannot be changed alone
        first = field.items[0] if field.items else None
        named = getattr(first.section, "name", None) if first else None
        steps = [named if named and n == 2 else str(step) for n, step in enumerate(field.place)]
        address = ".".join(steps)
        assert not isinstance(find(scenario, address), Problem)
        same = WhatIf(name="same", changes=(Change(field=address, times=1),))
        assert changed(scenario, same) == growth.load_scenario(scenario.model_dump(mode="json"))


def test_a_name_may_hold_dots():
    scenario = business(pay={"plans": [plan(name="Studio 2.0")]})
    assert find(scenario, "pay.plans.Studio 2.0.monthly_price").place == ("pay", "plans", 0, "monthly_price")


@pytest.mark.parametrize(
    "address, told",
    [
        ("pay.plans.one.monthly_prise", "Did you mean pay.plans.one.monthly_price?"),
        ("pay.plans.two.monthly_price", "Known here: one, 0."),
        ("stay.comeback.comeback_rate", "Write stay.comeback into the base scenario first."),
        ("months.one", ""),
        ("", "Known here: business"),
    ],
)
def test_an_address_that_is_none_is_told_with_the_nearest(address, told):
    problem = find(business(), address)
    assert isinstance(problem, Problem) and problem.rule == "no such field in the base scenario"
    assert told in problem.fix


def test_a_what_if_of_a_word_is_refused():
    with pytest.raises(ScenarioError, match="address of a number"):
        changed(business(), WhatIf(name="yearly", changes=(Change(field="pay.plans.one.billing", becomes=1),)))


def test_a_place_in_words_names_items_of_lists():
    values = {"pay": {"plans": [{"name": "Studio"}, {"name": "  "}]}}
    assert in_words(("pay", "plans", 0, "share"), values) == "pay.plans[Studio].share"
    assert in_words(("pay", "plans", 1, "share"), values) == "pay.plans[1].share"
    assert in_words(("name\n",), {}, root="giveaway") == "giveaway.'name\\n'"


@settings(max_examples=few_or_many(20, 60), deadline=None)
@given(scenarios())
def test_a_number_that_does_not_matter_changes_no_month(mapping):
    scenario = growth.Scenario(**mapping)
    before, values = growth.forecast(scenario), scenario.model_dump(mode="json")
    for field in fields(scenario):
        if field.value is None or field.matters(scenario) or field.name in ("share", "opening_share", "delay_shares"):
            continue
        other = copy.deepcopy(values)
        low = field.assumption.low
        put(other, field.place, int(low) if field.assumption.whole else low if field.name != "customers" else 1.0)
        try:
            after = growth.forecast(growth.load_scenario(other))
        except ScenarioError:  # the lowest value is not one that goes with the others
            continue
        for name in SERIES:
            np.testing.assert_array_equal(getattr(before, name), getattr(after, name), err_msg=f"{field.path}: {name}")
