"""The page's engine against the Python engine, the reference: every series of generated scenarios, Node and Chromium.

A series agrees where |a - b| <= 1e-9 max(|a|, |b|) + 1e-15 x the largest amount of its kind in that scenario (people,
money). The second term is a few roundings of a float: what is left when large amounts cancel (cash in less costs) is
not known better. Ratios have no such floor; NaN equals NaN alone.
"""

from __future__ import annotations

import functools
import json
import threading
from collections.abc import Callable, Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from generated import random_scenario, simple_scenario
from how_many import few_or_many
from library import LIBRARY
from page_engine import apart, in_node, needs_node, unpacked

import growth
from growth.calculator.bundle import script
from growth.engine import SERIES
from growth.measures import customer_ceiling, goal_month, growth_ceiling, lifetime_value, payback_months
from growth.scenario.entries import TAGS, entries

HERE = Path(__file__).parent
RATIOS = {"arpa", "monthly_customer_churn_rate", "monthly_gross_revenue_churn_rate"}
PEOPLE = {"visitors", "sign_ups", "referred_sign_ups", "payments"} | {
    name for name in SERIES if name.endswith("_customers")
}
MONEY = set(SERIES) - PEOPLE - RATIOS
EVERY = few_or_many(150, 2000)
Engine = Callable[[list[dict[str, Any]]], list[dict[str, Any]]]


@pytest.fixture
def in_chromium(browser: Any) -> Iterator[Engine]:
    """The engine in a page on loopback, from the one script that published pages carry; questions go in chunks."""

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=HERE.parents[1]))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    module = "/" + (HERE / "answer.mjs").relative_to(HERE.parents[1]).as_posix()
    page = browser.new_page()
    try:
        for part in ("engine", "chance", "band", "long_run", "how_sure"):
            page.route(f"**/{part}.js", lambda route: route.fulfill(body=script(), content_type="text/javascript"))
        page.goto(f"http://127.0.0.1:{server.server_port}{module}")
        ask = f"async (questions) => JSON.stringify(questions.map((await import('{module}')).answer))"
        yield lambda questions: [
            answer
            for start in range(0, len(questions), 250)
            for answer in json.loads(page.evaluate(ask, questions[start : start + 250]))
        ]
    finally:
        page.close()
        server.shutdown()
        server.server_close()


# ------------------------------------------------------------------------------------------------------- comparing


def question(scenario: growth.Scenario, *, cohorts: bool = False) -> dict[str, Any]:
    return {"scenario": scenario.model_dump(mode="json"), "cohorts": cohorts}


def differences(forecast: growth.Forecast, answer: dict[str, Any]) -> list[str]:
    """The names of the series, measures and cohorts in which the page's answer is not the Python engine's."""
    assert sorted(answer["names"]) == sorted(SERIES)
    page = dict(zip(answer["names"], unpacked(answer["series"], (len(SERIES), forecast.months)), strict=True))
    python = {name: getattr(forecast, name) for name in SERIES}
    people, money = (max(np.abs(python[name]).max() for name in names) for names in (PEOPLE, MONEY))
    scale = {name: 0.0 if name in RATIOS else people if name in PEOPLE else money for name in SERIES}
    found = [name for name in SERIES if apart(python[name], page[name], scale[name])]

    ceiling = growth_ceiling(forecast)
    expected = {
        "goal_month": goal_month(forecast).value,
        "ceiling_mrr": ceiling.value,
        "ceiling_customers": customer_ceiling(forecast).value,
        "ceiling_reason": ceiling.code,
    }
    if answer["cohorts"] is not None:
        expected |= {"lifetime_value": lifetime_value(forecast).value, "payback_months": payback_months(forecast).value}
    for name, value in expected.items():
        given = answer["measures"][name]
        near = (
            abs(given - value) <= 1e-9 * abs(value)
            if isinstance(value, float) and given is not None
            else given == value
        )
        if not near:
            found.append(f"{name} (Python {value}, page {given})")

    # a variance is a difference of sums of squares, not known better than some roundings of those
    size = max(python["closing_customers"].max(), python["opening_customers"][0])
    pays = np.nanmax(np.append(python["arpa"], python["opening_mrr"][0] / max(python["opening_customers"][0], 1e-9)))
    names = ("closing_customers", "closing_mrr", "new_mrr", "churned_mrr")
    spreads = unpacked(answer["chance"], (4, forecast.months))
    for name, spread, floor in zip(names, spreads, (size, *[size * pays**2] * 3), strict=True):
        found += [f"chance of {name}"] * apart(getattr(forecast.chance, name), spread, 1e3 * floor)

    if answer["cohorts"] is not None:
        customers, mrr = forecast.cohort_customers, forecast.cohort_mrr
        page_cohorts = unpacked(answer["cohorts"], (2, *customers.shape))
        found += ["cohort_customers"] * apart(customers, page_cohorts[0], people)
        found += ["cohort_mrr"] * apart(mrr, page_cohorts[1], money)
    return found


def agree(engine: Engine, scenarios: dict[Any, growth.Scenario]) -> None:
    """Asks the engine for every scenario (by seed or file); for one in ten the cohorts too."""
    wanted = [question(scenario, cohorts=i % 10 == 0) for i, scenario in enumerate(scenarios.values())]
    answers = engine(wanted)
    wrong = {
        key: found
        for (key, scenario), answer in zip(scenarios.items(), answers, strict=True)
        if (found := differences(growth.forecast(scenario), answer))
    }
    assert not wrong, f"{len(wrong)} of {len(scenarios)} scenarios differ; the first: {dict(list(wrong.items())[:5])}"


def generated(seeds: range, generate: Callable[..., dict] = random_scenario) -> dict[int, growth.Scenario]:
    return {seed: growth.Scenario(**generate(np.random.default_rng(seed))) for seed in seeds}


# ----------------------------------------------------------------------------------------------------------- tests


@needs_node
def test_every_series_agrees_in_node():
    agree(in_node, generated(range(EVERY)))


def test_every_series_agrees_in_chromium(in_chromium: Engine):
    agree(in_chromium, generated(range(EVERY, EVERY + few_or_many(50, 250))))


@needs_node
def test_the_narrow_model_and_the_library_of_scenarios_agree():
    library = {path.name: growth.load_scenario(path) for path in LIBRARY}
    assert library
    agree(in_node, {**library, **generated(range(few_or_many(50, 300)), simple_scenario)})


@needs_node
def test_the_worked_examples_come_out_of_the_page_itself():
    """Expected numbers worked by hand. A: price 20, 10 new a month, churn 10%. B: A with 5% expansion. C: one customer
    in month 1 on a yearly plan of 100 a month, 80% renew: 1,200 billed in month 1 and 960 in month 13, revenue even,
    deferred 1,100 at the close of month 1 and 0 at that of month 12."""

    def example(
        *, months: int, channel: dict, plan: dict, churn: float = 0.1, expansion: float = 0.0
    ) -> growth.Scenario:
        return growth.Scenario(
            business="worked by hand",
            months=months,
            arrive={"channels": [{"name": "all", **channel}]},
            sign_up={"signup_rate": 1},
            pay={"conversion_rate": 1, "plans": [{"name": "one", **plan}]},
            stay={"churn": {"curve": "constant", "monthly_churn_rate": churn}},
            grow={"monthly_expansion_rate": expansion},
        )

    ten, once = {"monthly_visitors": 10}, {"monthly_visitors": 1, "last_month": 1, "running_before": False}
    yearly = {"monthly_price": 100, "billing": "yearly", "renewal_rate": 0.8}
    a, b, c = in_node(
        [
            question(example(months=3, channel=ten, plan={"monthly_price": 20})),
            question(example(months=3, channel=ten, plan={"monthly_price": 20}, expansion=0.05), cohorts=True),
            question(example(months=13, channel=once, plan=yearly, churn=0.0)),
        ]
    )

    def series(answer: dict, months: int) -> dict[str, np.ndarray]:
        return dict(zip(answer["names"], unpacked(answer["series"], (len(SERIES), months)), strict=True))

    exactly = functools.partial(np.testing.assert_allclose, rtol=1e-12, atol=1e-12)
    exactly(series(a, 3)["closing_customers"], [10, 19, 27.1])
    exactly(series(a, 3)["closing_mrr"], [200, 380, 542])
    exactly(series(a, 3)["churned_mrr"], [0, 20, 38])
    exactly(a["measures"]["ceiling_customers"], 10 / 0.10)
    exactly(a["measures"]["ceiling_mrr"], 2000)
    exactly(series(b, 3)["closing_mrr"], [200, 389, 567.605])
    exactly(series(b, 3)["expansion_mrr"], [0, 9, 17.505])
    exactly(series(b, 3)["churned_mrr"], [0, 20, 38.9])
    exactly(unpacked(b["cohorts"], (2, 3, 4))[1, 2, 1], 200 * (0.9 * 1.05) ** 2)  # month 3, the cohort of month 1
    exactly(b["measures"]["ceiling_mrr"], 200 / (1 - 0.9 * 1.05))
    exactly(series(c, 13)["closing_mrr"], [100] * 12 + [80])
    exactly(series(c, 13)["cash_in"], [1200] + [0] * 11 + [960])
    exactly(series(c, 13)["deferred_revenue"], [100 * left for left in range(11, -1, -1)] + [880])


@needs_node
def test_a_price_off_by_one_in_a_hundred_million_is_told():
    """The comparison itself can fail: the page gets a price a hundred-millionth higher than Python's."""
    scenario = growth.load_scenario(HERE.parents[1] / "scenarios" / "fernhollow.yaml")
    asked = question(scenario)
    asked["scenario"]["pay"]["plans"][0]["monthly_price"] *= 1 + 1e-8
    found = differences(growth.forecast(scenario), in_node([asked])[0])
    assert "new_mrr" in found and "closing_mrr" in found and "new_customers" not in found


def test_the_generated_scenarios_use_every_assumption():
    """Each entry of the table has, among the scenarios compared above, a value that is not its default."""
    used = set()
    for seed in range(EVERY):
        used |= {place for place, value in _values(random_scenario(np.random.default_rng(seed)), "")}
    table = {entry.place for entry in entries(growth.Scenario)}
    assert table <= used, f"never used: {sorted(table - used)}"


def _values(part: Any, place: str) -> Iterator[tuple[str, Any]]:
    """Every number of a mapping with its place, as growth.scenario.entries writes places."""
    if isinstance(part, dict):
        for name, value in part.items():
            yield from _values(
                value, f"{place}{_tag(value)}" if name in TAGS else f"{place}.{name}{_tag(value)}".lstrip(".")
            )
    elif isinstance(part, list):
        for value in part:
            yield from _values(value, place + (_tag(value) or "[]"))
    else:
        yield place, part


def _tag(part: Any) -> str:
    """[sbg] of a churn curve; [steady] of a channel."""
    if not isinstance(part, dict):
        return ""
    if "curve" in part:
        return f"[{part['curve']}]"
    return f"[{part.get('kind', 'steady')}]" if {"kind", "running_before"} & part.keys() else ""
