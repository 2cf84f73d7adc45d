"""The commands `growth solve` and `growth levers`: what it would take, and which number moves most."""

from __future__ import annotations

import argparse
from typing import Any


def add_command(subparsers: Any) -> None:
    """Hand the commands in."""
    solve = subparsers.add_parser("solve", help="say what it would take to reach a goal, number by number")
    solve.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    solve.add_argument("--goal", type=float, metavar="AMOUNT", help="the amount; without it the scenario's own goal")
    solve.add_argument("--by", type=int, metavar="MONTH", help="the month by which; without it the last")
    solve.add_argument("--kind", choices=("mrr", "customers", "cash", "profit"), help="of what; without it of MRR")
    solve.add_argument("--lever", metavar="ADDRESS", help="one number alone, such as stay.churn.monthly_churn_rate")
    solve.add_argument("--chance", type=float, metavar="SHARE", help="in this share of cases, such as 0.8")
    solve.set_defaults(run=_solve)

    levers = subparsers.add_parser("levers", help="say which number moves the forecast most")
    levers.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    levers.add_argument(
        "--effort",
        type=float,
        default=0.1,
        metavar="SHARE",
        help="how much better each gets for which the file states nothing under efforts (0.1)",
    )
    levers.set_defaults(run=_levers)


def _solve(arguments: argparse.Namespace) -> None:
    from growth.calculator.what_it_takes import takes
    from growth.scenario.file import load_scenario

    options = {name: getattr(arguments, name) for name in ("goal", "by", "kind", "lever", "chance")}
    found = takes(load_scenario(arguments.scenario), **options)
    print("\n".join([found.lead, *(f"  {change}" for change in found.changes), *found.rest, "", _caution()]))


def _levers(arguments: argparse.Namespace) -> None:
    from growth.calculator.number_words import money, percent
    from growth.goals import levers
    from growth.scenario.file import load_scenario

    scenario = load_scenario(arguments.scenario)
    found = levers(scenario, effort=arguments.effort)
    effort, last = percent(arguments.effort), scenario.months
    print(f"Each {effort} better, with all else as it is: what it adds to MRR in month {last}")
    for one in found.effects:
        gain, share = money(one.gain, scenario.currency), percent(round(one.share, 4))
        month = "" if one.goal_month is None else f"; the goal in month {one.goal_month}"
        own = "" if one.effort == arguments.effort else f", {percent(one.effort)} better"
        print(f"  {' or '.join(one.labels)}{own}: +{gain} (+{share}){month}")
    for words, value in (
        ("One point less churn a month adds", found.point_of_churn),
        ("A sign-up is worth, over its lifetime,", found.sign_up),
        ("So a visitor may cost at most", found.visitor),
    ):
        if value is not None:
            print(f"{words} {money(value, scenario.currency)}.")
    if found.price_loss is not None:
        lost = percent(round(found.price_loss, 3))
        print(f"Prices {effort} higher pay as long as they cost fewer than {lost} of new customers.")
    print(f"\n{_caution()}")


def _caution() -> str:
    from growth.calculator.language import messages

    return str(messages()["pictures"]["caution"])
