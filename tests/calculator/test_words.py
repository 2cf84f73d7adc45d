"""The answer's sentences and their numbers: every case in Python, and word for word the same from the page's script."""

from __future__ import annotations

import json
import shutil
import subprocess

import numpy as np
import pytest
from answer_cases import CASES
from how_many import few_or_many
from library import LIBRARY
from plain import business, plan

import growth

pytest.importorskip("babel")
from growth.calculator import whole_answer
from growth.calculator.bundle import script
from growth.calculator.data import answer_html, page_data, table_html
from growth.calculator.language import languages, locale_of
from growth.calculator.number_words import column, minor_digits, money, near, number, percent
from growth.calculator.words import answer, headline
from growth.calculator.worked import worked


@pytest.mark.parametrize(("scenario", "expected"), CASES.values(), ids=CASES)
def test_the_answer_in_every_case(scenario, expected):
    assert answer(growth.forecast(scenario)) == expected


def test_single_months_say_little_with_yearly_plans_and_seasons():
    # 120 join in January alone, 10 a month on average; they pay by the year, a fifth leaves at the renewal in month 13.
    season = [12.0] + [0.0] * 11
    scenario = business(
        months=24,
        arrive={"channels": [{"name": "all", "monthly_visitors": 10, "season": season}]},
        pay={"plans": [plan(billing="yearly", renewal_rate=0.8)]},
    )
    # Lost: 24 of them in month 13. On board at the openings of months 2 to 13: 12 x 120; of months 13 to 24:
    # 120 + 11 x (96 + 120).
    expected = "With 10 new customers a month on average and 1.67% leaving, falling to 0.96%, "
    assert answer(growth.forecast(scenario)).startswith(expected)
    # half as many again each month: the sentence says which months are meant
    rising = business(
        months=24,
        arrive={
            "channels": [{"name": "all", "monthly_visitors": 10, "monthly_growth_rate": 0.5, "season": [1.0] * 12}]
        },
    )  # 10 (1.5^12 - 1) / 0.5 / 12 = 214.577, and 1.5^12 = 129.7463 times as many a year later
    expected = (
        "With 214.6 new customers a month on average in the first twelve months and 27,840.6 in the last twelve, "
    )
    assert answer(growth.forecast(rising)).startswith(expected + "and 10% leaving, ")


def test_numbers_round_half_away_from_zero_on_their_shortest_decimals():
    assert [number(value) for value in (0.05, 0.25, 1.005, -0.04, 1e6)] == [
        "0.1",
        "0.3",
        "1",
        "-0.04",
        "1,000,000",
    ]
    assert [percent(value) for value in (0.00005, 0.07, 1.0)] == ["0.01%", "7%", "100%"]
    assert [money(value, "EUR") for value in (1.005, 99.994, 100.5, -0.001, 0)] == [
        "€1.01",
        "€99.99",
        "€101",
        "€0.00",
        "€0",
    ]
    assert [near(value) for value in (1250, 1350, 0.0125, 99.6, 5178.3)] == [1300, 1400, 0.013, 100, 5200]


def test_html_escapes_and_marks_the_computed_numbers():
    html = answer_html(growth.forecast(business(goal_mrr=380)), given="a < b")
    assert '<p class="growth-answer"><strong>€380</strong> a month in <strong>February 2027</strong>' in html
    assert "<p>With <strong>10</strong> new customers" in html and "<p>a &lt; b</p>" in html


def test_the_table_without_scripts_has_a_row_a_month_and_leaves_out_what_is_zero_throughout():
    comeback = {"comeback_rate": 0.1, "after_months": 1}
    html = table_html(growth.forecast(business()))
    assert html.count("<tr>") == 4
    assert "came back" not in html
    assert "<td>€542<" in html
    assert "came back" in table_html(growth.forecast(business(stay={"comeback": comeback})))


# ------------------------------------------------------------------------------------------- the page's own words

SAY = """
import { readFileSync } from "node:fs";
const { numbers, columns, locales, pages } = JSON.parse(readFileSync(0, "utf8"));
const formatted = locales.map(([locale, currency, digits]) => {
  const show = formatter(locale, currency, digits);
  const all = (value) => [show.number(value), show.percent(value), show.money(value), show.money(show.near(value))];
  const both = (column) => [...show.column(column, "money"), ...show.column(column, "number")];
  return [...numbers.flatMap(all), ...columns.flatMap(both)];
});
const answers = pages.map((page) => {
  const { scenario: ranged, bounds, how_sure, words, month_names, locale, digits } = page;
  const { scenario, ranges } = parted(ranged);
  const result = forecast(scenario);
  const labels = monthLabels(scenario.first_month, month_names);
  const show = formatter(locale, scenario.currency, digits);
  const found = measures(scenario, result);
  const countOf = (count) => monthCount(count, words.months, show);
  const parts = answerParts(scenario, result, found, words, labels, show);
  const sure = sureness(bounds);
  sure.restart(ranges);
  const spread = spreadOf(scenario, result, sure.ends(scenario), bounds);
  parts.push(howSure(scenario, result, found, spread, how_sure, labels, show, countOf));
  const full = monthLabels(scenario.first_month, page.full_month_names);
  parts.unshift(headline(scenario, result, found, page.headline, full, show, countOf));
  const told = worked({ scenario, result, found }, page.worked, words.reasons, labels, show, false);
  const rows = told.rows.map((row) => row.join(" "));
  const steps = told.steps.map((step) => step.map(([text]) => text).join(""));
  parts.push([told.lead, ...steps, told.caption, ...rows, told.end].map((text) => [text + "|"]));
  const said = parts.filter((pieces) => pieces.length);
  return said.map((pieces) => pieces.map(([text]) => text).join("")).join(" ").trim();
});
process.stdout.write(JSON.stringify({ formatted, answers }));
"""


def awkward_numbers(count: int = few_or_many(400, 3000)) -> list[float]:
    """Numbers of every size, many of them halfway between two roundings, and negative ones."""
    rng = np.random.default_rng(7)
    spread = 10 ** rng.uniform(-4, 9, count)
    halves = (rng.integers(-4000, 4000, count) + 0.5) / rng.choice([1, 10, 100, 1000, 10_000], count)
    return [0.0, 99.995, 100.0, 99.5, -0.04, *spread.tolist(), *halves.tolist()]


def worked_text(forecast: growth.Forecast, locale: str) -> str:
    """The month by hand as one text."""
    told = worked(forecast, locale)
    steps = ["".join(piece for piece, _ in step) for step in told.steps]
    return "".join(f"{text}|" for text in (told.lead, *steps, told.caption, *map(" ".join, told.rows), told.end))


@pytest.mark.parametrize(
    ("locale", "count", "expected"),
    [  # CLDR 45: "one" is 1 alone in English, German and Spanish; 0 to below 2 in French and Portuguese
        ("en-GB", 1, "With 1 new customer a month"),
        ("en-GB", 1.04, "With 1 new customer a month"),
        ("en-GB", 1.5, "With 1.5 new customers a month"),
        ("en-GB", 0.5, "With 0.5 new customers a month"),
        ("es-ES", 1, "Con 1 cliente nuevo al mes"),
        ("es-ES", 0.5, "Con 0,5 clientes nuevos al mes"),
        ("fr-FR", 1.5, "Avec 1,5 nouveau client par mois"),
        ("fr-FR", 2, "Avec 2 nouveaux clients par mois"),
        ("pt-BR", 0.5, "Com 0,5 cliente novo por mês"),
        ("pt-BR", 3, "Com 3 clientes novos por mês"),
    ],
)
def test_a_count_stands_with_the_singular_or_the_plural_that_its_language_takes(locale, count, expected):
    channels = [{"name": "all", "monthly_visitors": count}]
    assert answer(growth.forecast(business(arrive={"channels": channels})), locale).startswith(f"{expected}")


def test_a_month_of_ones_is_worked_out_in_the_singular():
    """1 customer at 20, none leaving, 1 visitor who signs up and buys: 2 customers, 40."""
    channels = [{"name": "all", "monthly_visitors": 1}]
    scenario = business(
        arrive={"channels": channels},
        opening={"customers": 1, "mrr": 20},
        stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}},
    )
    told = worked_text(growth.forecast(scenario), "en-GB")
    assert "At the start 1 customer is on board and pays €20.00 a month. " in told
    assert "1 visitor comes and 1 signs up. 1 becomes a customer and pays €20.00." in told
    assert "The month ends with 2 customers." in told


@pytest.mark.skipif(not shutil.which("node"), reason="node is not installed")
def test_the_page_says_and_writes_exactly_what_python_does(tmp_path):
    scenarios = [scenario for scenario, _ in CASES.values()] + [growth.load_scenario(file) for file in LIBRARY]
    columns = [[98.5, 101.0, -3.0], [0.0, 0.004, 99.0], [0.0, 0.0]]
    locales = [
        ("en-GB", "EUR"),
        ("en-GB", "USD"),
        ("en-US", "USD"),
        ("de-DE", "EUR"),
        ("de-DE", "SEK"),
        ("en-GB", "JPY"),
        ("de-DE", "KWD"),
        ("en-GB", "HUF"),
        ("fr-FR", "EUR"),
        ("es-ES", "EUR"),
        ("pt-BR", "EUR"),
        ("pt-BR", "BRL"),
    ]
    every = [locale_of(language) for language in languages()]
    spoken = [  # in the usual run each scenario in two languages, in turn
        (one, locale)
        for turn, one in enumerate(scenarios)
        for locale in few_or_many([every[turn % len(every)], every[(turn + 2) % len(every)]], every)
    ]
    pages = [page_data(one, locale=locale) for one, locale in spoken]
    asked = {
        "numbers": awkward_numbers(),
        "columns": columns,
        "locales": [(locale, currency, minor_digits(currency)) for locale, currency in locales],
        "pages": pages,
    }
    program = tmp_path / "say.mjs"
    program.write_text(script() + SAY, encoding="utf-8")
    run = subprocess.run(
        ["node", program], input=json.dumps(asked), capture_output=True, text=True, check=True, encoding="utf-8"
    )
    said = json.loads(run.stdout)

    expected = [
        "".join(piece for piece, _ in headline(one, locale))
        + f" {whole_answer(one, locale)} {worked_text(one, locale)}"
        for one, locale in ((growth.forecast(scenario), locale) for scenario, locale in spoken)
    ]
    assert said["answers"] == expected
    for (locale, currency), texts in zip(locales, said["formatted"], strict=True):
        expected = []
        for value in asked["numbers"]:
            expected += [number(value, locale), percent(value, locale)]
            expected += [money(value, currency, locale), money(near(value), currency, locale)]
        for values in columns:
            expected += column(np.array(values), "money", currency, locale)
            expected += column(np.array(values), "number", currency, locale)
        assert texts == expected
