"""A small business whose months can be worked by hand; tests change one thing about it at a time."""

from __future__ import annotations

from typing import Any

import growth


def business(*, months: int = 3, churn: float | dict = 0.1, **sections: Any) -> growth.Scenario:
    """Ten new customers a month on one plan at 20 a month: every visitor signs up and pays at once. No opening
    customers.

    churn: a constant rate, or a whole curve. sections: the sections of a scenario; a key given in `pay`, `stay`, ...
    replaces that key alone.
    """
    curve = churn if isinstance(churn, dict) else {"curve": "constant", "monthly_churn_rate": churn}
    usual = {
        "business": "worked by hand",
        "arrive": {"channels": [{"name": "all", "monthly_visitors": 10}]},
        "sign_up": {"signup_rate": 1.0},
        "pay": {"conversion_rate": 1.0, "plans": [plan()]},
        "stay": {"churn": curve},
    }
    for name, section in sections.items():
        usual[name] = {**usual[name], **section} if isinstance(usual.get(name), dict) else section
    return growth.Scenario(months=months, **usual)


def plan(**changes: Any) -> dict:
    """One monthly plan at 20 a month, with changes."""
    return {"name": "one", "monthly_price": 20.0, **changes}


NOBODY = {"channels": []}  # for `arrive`: nobody new
