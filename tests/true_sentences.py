"""Which clauses of an answer are false: each is tied to a plain fact of the series, or of the hundred years after them.

The English text is taken apart again and every clause is held against what it says. The facts come from the series,
which other tests hold against `naive.py`, and from `long_run.py`; nothing is shared with the code that chose the words.
"""

from __future__ import annotations

import re

import numpy as np
from long_run import hundred_years, level_of_channels, little, positions, rates

import growth
from growth.calculator import answer
from growth.calculator.number_words import minor_digits

SAME = 1e-6
AMOUNT = r"-?€[\d,.]*\d"
COUNT = r"[\d,.]*\d"
LEAD = re.compile(
    rf"With (?:(?P<nobody>nobody joining)|(?P<new>{COUNT}) new (?P<noun>customers?) a month"
    rf"(?P<average> on average)?(?: in the first twelve months and (?P<new_last>{COUNT}) in the last twelve,)?"
    rf"(?:, (?P<new_way>rising|falling) to (?P<new_end>{COUNT}),)?)"
    rf"(?: and (?:(?P<nobody_leaves>nobody leaving)(?: in these (?P<horizon>\d+) months?, with yearly renewals still "
    rf"to come)?|(?P<churn>{COUNT})% leaving(?:, (?P<churn_way>rising|falling) to (?P<churn_end>{COUNT})%)?))?,? "
)
GOAL = re.compile(
    rf"you (?:reach (?P<reached>{AMOUNT}) a month in month (?P<month>[\d,]+) \(\w+ \d+\)"
    rf"|are past (?P<past>{AMOUNT}) a month already|are at (?P<at>{AMOUNT}) a month already"
    rf"|do not reach (?P<never>{AMOUNT}) a month within \d+ months?"
    rf"|make (?P<closing>{AMOUNT}) a month after \d+ months?)"
    r"(?: but are below it from month (?P<lost>\d+) on|, fall below it and are back from month (?P<back>\d+) on)?, "
)
LEVEL = re.compile(
    rf"and (?P<way>growth levels off near|it shrinks towards|it stays near|in the long run it settles near) "
    rf"(?P<level>{AMOUNT})(?P<average> on average)?(?P<then> if joining stays as it is by then)?\."
)
CASH = re.compile(
    rf" Over the last (?P<span>\d+) months? of this forecast, "
    rf"(?:(?P<left>{AMOUNT}) a month more cash (?P<left_way>comes in than goes out|goes out than comes in)"
    r"|(?P<even>as much cash comes in as goes out))"
    rf"(?:; counting revenue only as it is earned, (?P<earned>{AMOUNT}) a month is (?P<earned_way>left|missing))?\. "
    rf"(?:Cash is lowest in month (?P<low_month>\d+), at (?P<low>{AMOUNT})"
    rf"|Cash never falls below (?:today's (?P<never>{AMOUNT})|where it starts))\."
)
LEFT = re.compile(
    rf" (?:At least (?P<already>{AMOUNT}) is left every month, from the first on"
    rf"|From month (?P<month>[\d,]+) \(\w+ \d+\) on, at least (?P<kept>{AMOUNT}) is left every month"
    rf"|At least (?P<lost>{AMOUNT}) is left for the first time in month (?P<first>[\d,]+) \(\w+ \d+\) and for the "
    "last time "
    rf"in month (?P<last>[\d,]+), so not for good"
    rf"|At least (?P<once>{AMOUNT}) is left in month (?P<alone>[\d,]+) \(\w+ \d+\) alone"
    rf"|Within \d+ months?, (?P<never>{AMOUNT}) is never left: (?:the most is (?P<most>{AMOUNT}) in a month"
    rf"|(?P<short>in no month does more cash come in than goes out)))\."
    rf"(?P<lumps> Yearly payments come in lumps: counting revenue only as it is earned, this much is (?:"
    rf"left every month from (?:the first|month (?P<earned>[\d,]+)) on"
    rf"|(?P<earned_never>not left for good within \d+ months?))\.)?"
    rf"(?: (?P<even>Even where|Where) (?P<off>growth levels off|it settles in the long run), (?P<level>{AMOUNT}) a "
    "month is "
    rf"(?P<level_way>left|missing)\.)?"
)
NO_LEVEL = {
    "and these numbers set no level at which it settles.": "open",
    "and no level is known at which it settles.": "not known",
    "and customers bring in about as many as leave.": "hold",
    "and everyone who leaves comes back.": "all back",
    "and in the long run it levels off.": "levels off",
}
ENDLESS = "and nothing in these numbers stops growth: "


def untrue(scenario: growth.Scenario, said: str | None = None) -> list[str]:
    """The false clauses of a scenario's answer in English, or of what another engine said."""
    forecast = growth.forecast(scenario)
    text = (answer(forecast) if said is None else said).replace("\N{NO-BREAK SPACE}", " ")
    if text.startswith("Nobody is on board"):
        empty = not forecast.opening_mrr.any() and not forecast.closing_mrr.any() and not forecast.new_customers.any()
        return [] if empty else ["nobody"]
    lead = LEAD.match(text)
    goal = GOAL.match(text, lead.end()) if lead else None
    if not lead or not goal:
        return [f"not understood: {text}"]
    false = [*_lead(forecast, lead), *_goal(forecast, goal)]
    rest = text[goal.end() :]
    left = LEFT.search(rest)
    if (left is None) != (scenario.goal_left is None):
        return [f"not understood: {text}"]
    end = left.start() if left else rest.find(". Over the last") + 1 or len(rest)
    false += _future(forecast, rest[:end])
    if left:
        false += _left(forecast, left)
        end = left.end()
    if rest[end:]:
        cash = CASH.fullmatch(rest[end:])
        false += _cash(forecast, cash) if cash else [f"not understood: {rest[end:]}"]
    return false


def _number(text: str) -> float:
    return float(text.replace(",", "").replace("€", ""))


def _shown(text: str, value: float) -> bool:
    """Whether an amount or a count is the value, rounded as written."""
    decimals = len(text.partition(".")[2])
    unit = 10.0**-decimals if decimals or abs(value) >= 100 else 0.1 if not text.startswith(("€", "-€")) else 1
    return abs(_number(text) - value) <= 0.5001 * unit + 1e-9 * abs(value)


def _lead(forecast: growth.Forecast, lead: re.Match[str]) -> list[str]:
    scenario = forecast.scenario
    season = any(channel.season for channel in scenario.arrive.channels)
    yearly = any(plan.billing == "yearly" for plan in scenario.pay.plans)
    new, lost, aboard = forecast.new_customers, forecast.lost_customers, forecast.opening_customers
    span = 12 if season else 1
    first, last = new[:span].mean(), new[-span:].mean()
    false = []
    if lead["nobody"]:
        false += ["nobody joins"] * bool(new.any())
    else:
        false += ["new"] * bool(not _shown(lead["new"], first))
        false += ["singular or plural"] * bool((lead["noun"] == "customer") != (lead["new"] == "1"))
        end = lead["new_end"] or lead["new_last"]
        if end:
            false += ["new at the end"] * bool(not _shown(end, last))
        elif abs(last - first) > 0.05 * max(first, last) and not _shown(lead["new"], last):
            false += ["new changes"]
        if lead["new_way"]:
            false += ["new's way"] * bool((lead["new_way"] == "rising") != (last > first))
    there = np.flatnonzero(aboard > 0)
    span = 12 if yearly else 1
    if lead["nobody_leaves"]:
        false += ["nobody leaves"] * bool(lost.any())
        false += ["renewals to come"] * bool(lead["horizon"] is not None and not forecast.deferred_revenue[-1] > 0)
        false += ["no word of renewals"] * bool(lead["horizon"] is None and bool(forecast.deferred_revenue[-1] > 0))
    elif lead["churn"]:
        first, last = (100 * lost[part].sum() / aboard[part].sum() for part in (there[:span], there[-span:]))
        false += ["churn"] * bool(abs(_number(lead["churn"]) - first) > 0.0051)
        if lead["churn_end"]:
            false += ["churn at the end"] * bool(abs(_number(lead["churn_end"]) - last) > 0.0051)
            false += ["churn's way"] * bool((lead["churn_way"] == "rising") != (last > first))
        elif abs(last - first) > 0.05 * max(first, last) and abs(_number(lead["churn"]) - last) > 0.0051:
            false += ["churn changes"]
    elif there.size:
        false += ["no word of those who leave"]
    return false


def _goal(forecast: growth.Forecast, clause: re.Match[str]) -> list[str]:
    mrr, goal = _mrr(forecast), forecast.scenario.goal_mrr
    if clause["closing"]:
        return ["closing"] * bool(goal is not None or not _shown(clause["closing"], mrr[-1]))
    named = clause["reached"] or clause["past"] or clause["at"] or clause["never"]
    if goal is None or not _shown(named, goal):
        return ["goal"]
    there, false = mrr >= goal * (1 - SAME), []
    if clause["never"]:
        return ["never"] * bool(there.any())
    month = int(clause["month"].replace(",", "")) if clause["reached"] else 0
    false += ["reached"] * bool(not there[month] or bool(there[:month].any()))
    false += ["past"] * bool(clause["past"] is not None and not mrr[0] > goal)
    false += ["at"] * bool(clause["at"] is not None and abs(mrr[0] - goal) > 1.01 * SAME * goal)
    if clause["lost"]:
        lost = int(clause["lost"])
        false += ["lost"] * bool(bool(there[lost:].any()) or not there[lost - 1])
    elif clause["back"]:
        back = int(clause["back"])
        false += ["back"] * bool(not there[back:].all() or bool(there[back - 1]))
    else:
        false += ["kept"] * bool(not there[month:].all())
    return false


def _cash(forecast: growth.Forecast, clause: re.Match[str]) -> list[str]:
    span, false = int(clause["span"]), []
    left, revenue, came = (part[-span:].mean() for part in (forecast.net_cash, forecast.revenue, forecast.cash_in))
    earned = left + revenue - came
    false += ["span"] * bool(span != min(12, forecast.months))
    if clause["even"]:
        false += ["even"] * bool(abs(left) > max(0.0051, 1e-6 * came))
    else:
        sign = 1 if clause["left_way"].startswith("comes") else -1
        false += ["left"] * bool(not _shown(clause["left"], abs(left)) or sign * left <= 0)
    if clause["earned"]:
        sign = 1 if clause["earned_way"] == "left" else -1
        false += ["earned"] * bool(not _shown(clause["earned"], abs(earned)) or sign * earned < 0)
    else:
        false += ["no word of what is earned"] * bool(abs(earned - left) > 0.021 * max(abs(earned), abs(left)) + 0.01)
    cash = np.concatenate([[forecast.scenario.bill.opening_cash], forecast.cash])
    small = 1e-9 * (abs(cash[0]) + forecast.cash_in[: cash.argmin()].sum())
    if clause["low_month"]:
        month = int(clause["low_month"])
        low = _shown(clause["low"], cash[month]) and cash[month] <= cash.min() + small
        false += ["lowest"] * bool(not low)
    else:
        false += ["never lower"] * bool(cash.min() < cash[0] - small)
        if clause["never"]:
            false += ["today's"] * bool(not _shown(clause["never"], cash[0]))
    return false


def _left(forecast: growth.Forecast, clause: re.Match[str]) -> list[str]:
    """What is left, month by month, against what is said of it."""
    goal, false = float(forecast.scenario.goal_left), []
    came = forecast.cash_in
    net = forecast.net_cash
    at_least = goal - SAME * np.maximum(goal, came)
    there, earned = net >= at_least, net - came + forecast.closing_mrr >= at_least
    named = next(filter(None, map(clause.group, ("already", "kept", "lost", "once", "never"))))
    false += ["what should be left"] * bool(not _shown(named, goal))
    if clause["already"]:
        false += ["left already"] * bool(not there.all())
    elif clause["kept"]:
        month = int(clause["month"])
        false += ["left from"] * bool(not there[month - 1 :].all() or there[month - 2])
    elif clause["never"]:
        false += ["never left"] * bool(there.any())
        false += ["most left"] * bool(clause["most"] is not None and not _shown(clause["most"], net.max()))
        false += ["none left"] * bool(clause["short"] is not None and net.max() > 0)
    else:
        first, last = (int(clause[name]) for name in (("alone", "alone") if clause["once"] else ("first", "last")))
        told = np.flatnonzero(there) + 1
        false += ["left for a while"] * bool(there[-1] or told.size == 0 or (told[0], told[-1]) != (first, last))
    yearly = any(plan.billing == "yearly" for plan in forecast.scenario.pay.plans)
    false += ["lumps"] * bool(yearly != bool(clause["lumps"]))
    if clause["earned_never"]:
        false += ["earned never"] * bool(earned[-1])
    elif clause["lumps"]:
        month = int(clause["earned"] or 1)
        false += ["earned from"] * bool(not earned[month - 1 :].all() or (month > 1 and earned[month - 2]))
    if clause["level"]:  # its amount is worked by hand in answer_cases.py and test_left.py
        level = _number(clause["level"]) * (1 if clause["level_way"] == "left" else -1)
        false += ["even where"] * bool(clause["even"] == "Even where" and level > goal * 1.006)
        false += ["already enough in the end"] * bool(there[-1] and level > goal * 1.006)
    return false


def _mrr(forecast: growth.Forecast) -> np.ndarray:
    return np.concatenate([forecast.opening_mrr[:1], forecast.closing_mrr])


# --- after the forecast


def _future(forecast: growth.Forecast, clause: str) -> list[str]:
    scenario, mrr = forecast.scenario, _mrr(forecast)
    periodic = any(channel.season for channel in scenario.arrive.channels)
    periodic |= any(plan.billing == "yearly" for plan in scenario.pay.plans)
    way = _order(mrr[-1], mrr[max(len(mrr) - 1 - (12 if periodic else 1), 0)])
    years = hundred_years(scenario).reshape(-1, 12).mean(axis=1)
    if found := LEVEL.fullmatch(clause):
        return _level(scenario, found, way, float(mrr[-1]), years)
    if clause.startswith(ENDLESS):
        return _endless(scenario, clause.removeprefix(ENDLESS), way, float(mrr[-1]), years)
    kind = NO_LEVEL.get(clause)
    if kind is None:
        return [f"not understood: {clause}"]
    steady = bool(np.isfinite(years[99]) and abs(years[99] - years[89]) <= 5e-4 * years[99])
    if kind == "open":
        return [f"open, but {years[89]:.6g} then {years[99]:.6g}"] * bool(steady and np.isfinite(little(scenario)))
    if kind == "hold":
        return ["hold"] * bool(not abs(years[99] - years[49]) <= 0.05 * years[99])
    if kind == "all back":
        return ["all back"] * bool(not scenario.stay.comeback or scenario.stay.comeback.comeback_rate < 1 - 1e-5)
    if kind == "levels off":
        level = abs(years[99] - years[89]) <= 0.05 * years.max() + SAME
        calmer = np.ptp(years[50:]) <= 0.99 * np.ptp(years[:50])  # waves of customers who come back
        return [f"levels off, but {years[89]:.6g} then {years[99]:.6g}"] * bool(not level and not calmer)
    return []


def _order(a: float, b: float) -> int:
    return 0 if abs(a - b) <= SAME * max(abs(a), abs(b)) else 1 if a > b else -1


def settled(years: np.ndarray) -> bool:
    """Whether the last fifty years change less than a thousandth, and the last ten hardly at all."""
    return bool(abs(years[99] - years[49]) <= 1e-3 * years[99] and abs(years[99] - years[89]) <= 1e-4 * years[99])


def fades(years: np.ndarray) -> bool:
    """Whether a distance goes to 0: as the time doubles they fall by a share that does not become less."""
    first, middle, last = years[24], years[49], years[99]
    if last < 1e-6 * first or last < 0.55 * middle:  # nearly halved as the time doubles, like 1 / t
        return True
    return bool(last < 0.995 * middle and last / middle <= 1.01 * (middle / first))


def _level(scenario: growth.Scenario, clause: re.Match[str], way: int, closing: float, years: np.ndarray) -> list[str]:
    said, false = _number(clause["level"]), []
    goes = little(scenario)
    if np.isnan(goes):  # the limit is not known here, but it is approached, or above what there is by then
        known = fades(np.abs(years - said)) or said >= 0.945 * years[99] - 0.006
        return [f"level {said:g}, but already {years[99]:.6g}"] * bool(not known)
    goes = float(years[99]) if settled(years) else goes
    small = 0.006 if clause["level"].partition(".")[2] or said < 10 else 0.6
    near = abs(said - goes) <= 0.055 * goes + small
    if not near and not fades(np.abs(years - said)):
        false.append(f"level {said:g}, but {years[49]:.6g}, {years[99]:.6g} -> {goes:.6g}")
    goes = goes if said else 0.0
    side = 0 if abs(goes - closing) <= 0.01 * closing else _order(goes, closing)
    wanted = {"growth levels off near": 1, "it shrinks towards": -1, "it stays near": 0}.get(clause["way"])
    if wanted is not None:
        false += [f"way {way}"] * bool(way != wanted)
        false += [f"side {closing:.6g} to {goes:.6g}"] * bool(side not in (wanted, 0))
    named = closing if scenario.goal_mrr is None else scenario.goal_mrr
    coin = 10.0 ** -minor_digits(scenario.currency)  # a level and a goal less than that apart are written alike
    far = abs(goes - named) > 0.02 * max(goes, named) and abs(goes - named) >= coin
    false += ["order"] * bool(far and (goes - named) * (said - named) <= 0)
    season = any(channel.season for channel in scenario.arrive.channels)
    false += ["average"] * bool(season != (clause["average"] is not None))
    return false


def _endless(scenario: growth.Scenario, reason: str, way: int, closing: float, years: np.ndarray) -> list[str]:
    grows = years[99] > closing * (1 + SAME) and (years[99] > years[89] or not np.isfinite(years[99]))
    false = [f"endless, but {closing:.6g}, {years[49]:.6g}, {years[89]:.6g}, {years[99]:.6g}"] * bool(not grows)
    false += [f"endless, but its way is {way}"] * bool(way <= 0)
    _, aboard = positions(scenario)
    end = scenario.in_force(scenario.months)
    sent = end.sign_up.monthly_referral_rate * end.pay.conversion_rate > 0
    joined = level_of_channels(scenario) > 1e-9 or sent
    plans = [
        plan
        for number, plan in enumerate(scenario.pay.plans)
        if (joined and plan.share > 0) or aboard[0, number].sum() > 1e-9
    ]
    lives = [rates(scenario, plan, 1200) for plan in plans]
    stays = [bool((keep == 1).all()) for keep, _ in lives]
    more = [bool(grow[-12:].prod() > 1) for _, grow in lives]
    if reason == "nobody leaves.":
        false += [reason] * bool(not all(stays))
    elif reason == "nobody leaves, and those who stay pay more and more.":
        false += [reason] * bool(not all(stays) or not any(more))
    elif reason == "those who stay add at least as much as those who leave take away.":
        outruns = [keep[-12:].prod() * grow[-12:].prod() >= 1 - 1e-9 for keep, grow in lives]
        false += [reason] * bool(not any(one and up for one, up in zip(outruns, more, strict=True)))
    elif reason == "some customers never leave.":
        false += [reason] * bool(not any((keep[-12:] == 1).all() for keep, _ in lives))
    elif reason == "the most loyal customers hardly ever leave.":
        late = [(1 - keep[-120:].prod()) < 0.5 and keep[-120:].prod() < 1 for keep, _ in lives]
        false += [reason] * bool(not any(late))
    elif reason == "those who come back make up for those who leave.":
        false += [reason] * bool(not scenario.stay.comeback or not _settles_without(scenario, "comeback"))
    elif reason == "customers bring in new ones at least as fast as they leave.":
        false += [reason] * bool(not _settles_without(scenario, "referrals"))
    else:
        false += [f"not understood: {reason}"]
    return false


def _settles_without(scenario: growth.Scenario, cause: str) -> bool:
    """Whether growth ends, or is at least far slower, once comebacks or referrals are taken away."""
    other = scenario.model_dump(mode="json")
    if cause == "comeback":
        other["stay"]["comeback"] = None
    else:
        other["sign_up"]["monthly_referral_rate"] = 0.0
    other["changes"] = [
        one for one in other["changes"] if ("comeback" if cause == "comeback" else "referral") not in one["field"]
    ]
    with_it, without = hundred_years(scenario)[-1], hundred_years(type(scenario)(**other))[-1]
    return bool(without < 0.9 * with_it or np.isinf(without))  # both grow beyond measure: a second cause is as true
