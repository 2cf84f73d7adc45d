"""What it would take to reach a goal, and which lever moves most, in words: the rules of `takes.js`."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape

from growth.calculator.controls import controls, line_of
from growth.calculator.language import LOCALE, messages, said
from growth.calculator.light import light_list
from growth.calculator.number_words import in_text, money, month_labels, near, number, percent, roughly
from growth.engine import Forecast
from growth.goals import KINDS, Goal, Solution, levers, solve
from growth.goals.goal import SURE
from growth.goals.lever_fields import with_values
from growth.goals.price import break_even_loss_of
from growth.goals.rank import EFFORT
from growth.measures.measure import SAME
from growth.scenario import Scenario
from growth.scenario.address import Field, find


@dataclass(frozen=True)
class Takes:
    """The words of an answer.

    Attributes
    ----------
    lead : where the scenario stands, and what is wanted.
    changes : one sentence a lever that reaches the goal alone, the smallest change first.
    rest : what cannot reach it, and which halves do; "" where there is nothing to say.
    """

    lead: str
    changes: list[str] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)


def takes(
    scenario: Scenario,
    *,
    locale: str = LOCALE,
    goal: float | None = None,
    by: int | None = None,
    lever: str | None = None,
    kind: str | None = None,
    chance: float | None = None,
) -> Takes:
    """Say what it would take to reach an amount.

    Parameters
    ----------
    scenario : Scenario
        Without draws.
    locale : str
        For words, numbers and money.
    goal, by, lever, kind, chance : optional
        As for `growth.solve`. Without a kind: money left where the scenario has a goal for that alone, else MRR.
        Without a goal: the scenario's own, or twice what it comes to where it has none or reaches it.

    Returns
    -------
    Takes
        The sentences.

    Raises
    ------
    MeasureError
        As `growth.solve` does.

    Examples
    --------
    >>> scenario = Scenario(business="Fernhollow", months=24, opening={"customers": 0}, sign_up={"signup_rate": 0.05},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.05}})
    >>> found = takes(scenario, goal=4000)
    >>> found.lead.split(" For")[0], found.changes[0]
    ('As things stand it is €2,832 in Dec 2028.', 'Visitors a month: 1,420 a month instead of 1,000 a month')
    """
    words = messages(locale)["takes"]
    lines = {line["path"]: line for line in controls(scenario, locale)}
    if kind is None:
        kind = "cash" if scenario.goal_mrr is None and scenario.goal_left is not None else "mrr"
    if goal is None:
        goal = _usual_goal(scenario, kind, by, chance)
    field_of = find(scenario, lever) if lever is not None else None
    if isinstance(field_of, Field) and field_of.entry:
        lines.setdefault(field_of.path, line_of(field_of, scenario, locale))
    found = solve(scenario, goal=goal, by=by, lever=lever, kind=kind, chance=chance)
    wanted = found.goal
    labels = month_labels(scenario.first_month, scenario.months, locale)

    def shown(value: float) -> str:
        return number(value, locale) if wanted.kind == "customers" else money(value, scenario.currency, locale)

    def named(path: str) -> str:
        return str(lines[path]["label"])

    def valued(path: str, value: float) -> str:
        line = lines[path]
        amount = value * (100 if line["share"] else 1)
        return in_text(line["written"], float(f"{amount:.12g}"), scenario.currency, locale)

    values = {"goal": shown(wanted.amount), "now": shown(found.now), "calendar": labels[wanted.by]}
    sure = "" if chance is None else "_in"
    if chance is not None:
        values["cases"] = in_cases(chance, locale)
    if found.reached:
        return Takes(said(words["reached" + sure], **values))
    able = [one for one in found.solutions if one.reached and one.lever in lines]
    unable = [
        one
        for one in found.solutions
        if not one.reached and one.lever in lines and one.comes_to > found.now * (1 + 1e-6)
    ]
    changes = [
        said(
            words["one"],
            label=named(one.lever),
            needed=valued(one.lever, written(scenario, wanted, one)),
            now=valued(one.lever, one.now),
        )
        for one in able
    ]
    rest = []
    if unable:
        most = [said(words["most"], label=named(one.lever), most=shown(one.comes_to)) for one in unable]
        rest.append(said(words["not_alone"], list="; ".join(most)))
    pairs = [words["and"].join(map(named, pair)) for pair in found.pairs if all(path in lines for path in pair)]
    if pairs:
        rest.append(said(words["half"], pairs="; ".join(pairs)))
    return Takes(said(words["as_it_is" + sure] + words["alone" if able else "never"], **values), changes, rest)


def in_cases(chance: float, locale: str = LOCALE) -> str:
    """A chance in whole cases: of ten where that is what it is, else of a hundred or a thousand.

    >>> in_cases(0.5), in_cases(0.8), in_cases(0.85)
    ('in half of all cases', 'in 8 of 10 cases', 'in 85 of 100 cases')
    """
    words = messages(locale)["takes"]
    if chance == 0.5:
        return str(words["half_of_cases"])
    whole = next((all_ for all_ in (10, 100) if abs(chance * all_ - round(chance * all_)) < 1e-9), 1000)
    return said(words["cases"], n=number(round(chance * whole, 6), locale), all=number(whole, locale))


def takes_html(result: Forecast, *, locale: str = LOCALE) -> str:
    """The section as it stands where scripts are off: the scenario's goal, and a bar a lever."""
    scenario, words = result.scenario, messages(locale)["takes"]
    found = takes(scenario, locale=locale)
    changes = "".join(f"<li><span>{escape(text)}</span></li>" for text in found.changes)
    paragraphs = "".join(f"<p>{escape(text)}</p>" for text in found.rest)
    return (
        f'<div class="growth-takes"><h2>{escape(words["title"])}</h2><p>{escape(found.lead)}</p>'
        f"{light_list(f'<ul>{changes}</ul>')}{paragraphs}{_bars(result, locale)}</div>"
    )


def _bars(result: Forecast, locale: str) -> str:
    scenario, words = result.scenario, messages(locale)["takes"]
    lines = {line["path"]: line["label"] for line in controls(scenario, locale)}
    rows = []
    for one in levers(scenario).effects:
        names = words["or"].join(lines[path] for path in one.levers if path in lines)
        if names and one.effort != EFFORT:
            names = said(words["better"], label=names, effort=percent(one.effort, locale))
        share = percent(float(f"{one.share:.2g}"), locale) if math.isfinite(one.share) else ""
        gain = said(words["gain"], gain=roughly(one.gain, scenario.currency, locale), share=share)
        if names:
            rows.append(f"<p><span>{escape(names)}</span><strong>{escape(gain)}</strong>")  # the next ends it (HTML)
    if not rows:
        return ""
    calendar = month_labels(scenario.first_month, scenario.months, locale)[scenario.months]
    lead = said(words["lever_lead_own" if scenario.efforts else "lever_lead"], calendar=calendar)
    loss = break_even_loss_of(scenario)
    price = said(words["price_loss"], **lost(loss, locale)) if loss else ""
    return (
        f'<h3>{escape(words["lever"])}</h3><p class="growth-help">{escape(lead)}</p>'
        f'<div class="growth-bars">{"".join(rows)}</div>{f"<p>{escape(price)}</p>" if price else ""}'
    )


def lost(share: float, locale: str = LOCALE) -> dict[str, str]:
    """A share of customers in words: to a tenth of a per cent, and as one in so many.

    >>> lost(1 / 11)
    {'lost': '9.1%', 'in': '11'}
    """
    return {"lost": percent(round(share, 3), locale), "in": number(round(1 / share), locale)}


def written(scenario: Scenario, goal: Goal, one: Solution) -> float:
    """The value with as few digits as reach the goal still, three at least, away from what it is now."""
    if one.nearest is None:
        raise ValueError("no value reaches the goal")
    value = one.nearest
    away: Callable[[float], int] = math.ceil if value > one.now else math.floor
    nudge = -1e-9 if value > one.now else 1e-9
    for digits in (3, 4, 5, 6):
        unit = 10.0 ** (math.floor(math.log10(abs(value) or 1)) + 1 - digits)
        rounded = float(f"{away(value / unit + nudge) * unit:.12g}")
        changed = with_values(scenario, {one.lever: rounded})
        if changed is not None and goal.is_reached(goal.reached_by(changed)):
            return rounded
    return value


def _usual_goal(scenario: Scenario, kind: str, by: int | None, chance: float | None) -> float:
    """The scenario's own where it is not reached, else twice what the likely path comes to."""
    if kind not in KINDS:
        return 1.0  # `solve` says what is wrong
    month = scenario.months if by is None or not 1 <= by <= scenario.months else by
    sure = chance if kind in SURE and chance is not None and 0 < chance < 1 else None
    goals = {"mrr": scenario.goal_mrr, "cash": scenario.goal_left}
    goal = goals.get(kind)
    if goal is not None and Goal(1.0, month, kind, sure).reached_by(scenario) < float(goal) * (1 - SAME):
        return float(goal)
    likely = Goal(1.0, month, kind).reached_by(scenario)
    return near(2 * likely) if likely > 0 else 1000.0
