"""Random valid scenarios for the tests: every feature of model.md among them, and the edges of the ranges.

random_scenario(rng) draws from the whole model, simple_scenario(rng) from one channel, one plan and two curves. Both
give the plain mapping that growth.Scenario takes; the same generator state gives the same mapping. `scenarios()` is the
hypothesis strategy. Ranges are narrower than the validator's where compounding over 120 months would leave the range of
a float.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from hypothesis import strategies as st

import growth

LONGEST = 120


def scenarios(*, simple: bool = False) -> st.SearchStrategy[dict[str, Any]]:
    """Mappings from a drawn seed, so that a failing example is one number for `np.random.default_rng`."""
    generate = simple_scenario if simple else random_scenario
    return st.integers(0, 2**32 - 1).map(lambda seed: generate(np.random.default_rng(seed)))


def scenario_of(seed: int) -> growth.Scenario:
    """The scenario of a seed, from the whole model."""
    return growth.Scenario(**random_scenario(np.random.default_rng(seed)))


def random_scenario(rng: np.random.Generator) -> dict[str, Any]:
    """A mapping from the whole model. About one number in six stands at an end of its range."""
    months = _months(rng)
    plans = _plans(rng)
    mapping = {
        "business": "generated",
        "invented": True,
        "first_month": f"20{rng.integers(20, 40)}-{rng.integers(1, 13):02d}",
        "months": months,
        **_maybe(rng, 0.7, goal_mrr=lambda: _number(rng, 0.01, 50_000)),
        "opening": _opening(rng),
        "arrive": {"channels": [_channel(rng, f"channel {i}", months) for i in range(_count(rng, 4))]},
        "sign_up": {
            "signup_rate": _number(rng, 0, 1 if _chance(rng, 0.2) else 0.1),
            **_maybe(rng, 0.4, monthly_referral_rate=lambda: _number(rng, 0, 2 if _chance(rng, 0.1) else 0.15)),
        },
        "pay": {
            "conversion_rate": _number(rng, 0, 1 if _chance(rng, 0.2) else 0.4),
            **_maybe(rng, 0.6, delay_shares=lambda: _shares(rng, int(rng.integers(1, 26 if _chance(rng, 0.1) else 5)))),
            "plans": plans,
        },
        "stay": {
            "churn": _churn(rng),
            **_maybe(rng, 0.4, churn_changes=lambda: [_churn_change(rng, months) for _ in range(_count(rng, 3))]),
            **_maybe(
                rng,
                0.4,
                comeback=lambda: {
                    "comeback_rate": _number(rng, 0, 1 if _chance(rng, 0.2) else 0.3),
                    "after_months": _month(rng, months),
                },
            ),
        },
        "grow": _grow(rng, months, [plan["name"] for plan in plans]),
        **_maybe(rng, 0.7, bill=lambda: _bill(rng)),
    }
    _write_otherwise(rng, mapping)
    mapping |= _maybe(rng, 0.5, goal_left=lambda: _number(rng, 0.01, 20_000))
    _change_over_time(np.random.default_rng(rng.integers(2**32)), mapping, months)
    return mapping


def _change_over_time(rng: np.random.Generator, mapping: dict[str, Any], months: int) -> None:
    """Changes of some numbers that the scenario states, from a month on; in about half of the scenarios."""
    for change in mapping["grow"].get("price_changes", ()):
        change |= _maybe(rng, 0.3, lost_new_rate=lambda: _number(rng, 0, 1 if _chance(rng, 0.1) else 0.3))
    if _chance(rng, 0.5):
        return
    places = list(_changeable(mapping, ""))
    chosen = [places[i] for i in rng.choice(len(places), size=min(len(places), int(rng.integers(1, 6))), replace=True)]
    changes = {}
    for place, value in chosen:
        month = max(_month(rng, months), 2)
        kind, name = ("times" if _chance(rng, 0.5) else "becomes"), place.rsplit(".", 1)[-1]
        factor = _number(rng, 0.5, 1.5)
        if name in ("alpha", "beta", "shape"):
            kind, value, factor = "becomes", _spread(rng, 0.1, 3), 1.0
        if kind == "becomes" and name.endswith("_rate"):
            value = _number(rng, 0, 0.1 if "growth" in name or "referral" in name else 0.5)
        changes[month, place] = {
            "from_month": month,
            "field": place,
            kind: factor if kind == "times" else min(value * factor, 1e5) if value else 1.0,
        }
        if kind == "becomes" and name.endswith("_rate"):
            changes[month, place]["becomes"] = value
    mapping["changes"] = list(changes.values())


_NOT_CHANGED = (
    "share",
    "opening_share",
    "opening_price",
    "early_months",
    "monthly_discount_rate",
    "earlier_pieces",
    "opening_cash",
)


def _changeable(part: dict[str, Any], place: str) -> Iterator[tuple[str, float]]:
    """The numbers that a mapping states and that may change over time, with their addresses; channels and plans by name
    or by position."""
    for name, value in part.items():
        if isinstance(value, dict) and name not in ("opening",):
            yield from _changeable(value, f"{place}{name}.")
        elif name in ("channels", "plans"):
            for position, item in enumerate(value):
                at = item["name"] if position % 2 else position
                yield from _changeable(item, f"{place}{name}.{at}.")
        elif isinstance(value, float) and name not in _NOT_CHANGED and place:
            yield f"{place}{name}", value


def _write_otherwise(rng: np.random.Generator, mapping: dict[str, Any]) -> None:
    """Some of what a file may state in another way: a price for a year, no MRR, channels counted after the visit."""
    for plan in mapping["pay"]["plans"]:
        if plan.get("billing") == "yearly" and _chance(rng, 0.4):
            plan["yearly_price"] = round(12 * plan.pop("monthly_price"), 2)
    if _chance(rng, 0.1):
        del mapping["opening"]["mrr"]
    for channel in mapping["arrive"]["channels"]:
        if channel.get("kind", "steady") == "steady" and _chance(rng, 0.4):
            kind = str(rng.choice(["sign_ups", "customers"]))
            for name in (
                "launches",
                "signup_rate",
                *(("running_before", "conversion_rate") if kind == "customers" else ()),
            ):
                channel.pop(name, None)
            channel |= {"kind": kind, f"monthly_{kind}": channel.pop("monthly_visitors") / 100}
            if "visitor_ceiling" in channel:
                channel[f"{kind[:-1]}_ceiling"] = channel.pop("visitor_ceiling") / 100


def simple_scenario(rng: np.random.Generator) -> dict[str, Any]:
    """One growing channel, one monthly plan, constant churn or the sBG, expansion and contraction."""
    return {
        "business": "generated",
        "invented": True,
        "months": _months(rng),
        "goal_mrr": _number(rng, 0.01, 50_000),
        "opening": _opening_level(rng),
        "arrive": {
            "channels": [
                {
                    "name": "all",
                    "monthly_visitors": _number(rng, 0, 10_000),
                    "monthly_growth_rate": _number(rng, -0.1, 0.1),
                }
            ]
        },
        "sign_up": {"signup_rate": _number(rng, 0, 0.3)},
        "pay": {
            "conversion_rate": _number(rng, 0, 1),
            "plans": [{"name": "one", "monthly_price": _number(rng, 0, 500)}],
        },
        "stay": {"churn": _curve(rng, str(rng.choice(["constant", "sbg"])))},
        "grow": {"monthly_expansion_rate": _number(rng, 0, 0.1), "monthly_contraction_rate": _number(rng, 0, 0.1)},
    }


# ---------------------------------------------------------------------------------------------------- small choices


def _chance(rng: np.random.Generator, probability: float) -> bool:
    return bool(rng.random() < probability)


def _maybe(rng: np.random.Generator, probability: float, **makers: Any) -> dict[str, Any]:
    """Each key with what its maker gives, or without the key (so that the default stands)."""
    return {name: make() for name, make in makers.items() if _chance(rng, probability)}


def _number(rng: np.random.Generator, low: float, high: float) -> float:
    """A number as a person would write it, four digits; sometimes an end of the range."""
    edge = rng.random()
    if edge < 0.08:
        return float(low)
    if edge < 0.16:
        return float(high)
    return float(np.clip(float(f"{rng.uniform(low, high):.4g}"), low, high))


def _spread(rng: np.random.Generator, low: float, high: float) -> float:
    """A positive number, each size from low to high as likely as another."""
    return float(np.clip(float(f"{np.exp(rng.uniform(np.log(low), np.log(high))):.4g}"), low, high))


def _count(rng: np.random.Generator, most: int) -> int:
    return int(rng.integers(0, most + 1))


def _months(rng: np.random.Generator) -> int:
    return int(rng.choice([1, 2, 12, LONGEST])) if _chance(rng, 0.15) else int(rng.integers(1, 61))


def _month(rng: np.random.Generator, months: int) -> int:
    """A month from 1 on: mostly within the forecast, at times beyond it."""
    return int(rng.integers(1, LONGEST + 1 if _chance(rng, 0.1) else months + 1))


def _shares(rng: np.random.Generator, parts: int) -> list[float]:
    """Shares that add to one, some of them 0."""
    weights = rng.dirichlet(np.ones(parts))
    if _chance(rng, 0.15):
        weights = np.eye(parts)[rng.integers(parts)]
    return [int(count) / 1000 for count in rng.multinomial(1000, weights)]


# ------------------------------------------------------------------------------------------------- parts of a scenario


def _opening_level(rng: np.random.Generator) -> dict[str, Any]:
    customers = _number(rng, 0, 1000)
    return {"customers": customers, "mrr": _number(rng, 0, 30_000) if customers > 0 else 0.0}


def _opening(rng: np.random.Generator) -> dict[str, Any]:
    opening = _opening_level(rng)
    kind = rng.random()
    if kind < 0.3:
        return {**opening, "mean_age_months": int(rng.integers(0, 61 if _chance(rng, 0.2) else 13))}
    if kind < 0.6:
        oldest = LONGEST if _chance(rng, 0.2) else 30
        ages = rng.choice(oldest + 1, size=int(rng.integers(1, 9)), replace=False)
        counts = [_number(rng, 0, 50) for _ in ages]
        counts[0] = max(counts[0], 1.0)
        return {**opening, "ages": [{"age_months": int(a), "customers": n} for a, n in zip(ages, counts, strict=True)]}
    return opening


def _channel(rng: np.random.Generator, name: str, months: int) -> dict[str, Any]:
    kind = str(rng.choice(["steady", "content", "paid"]))
    first = 1 if _chance(rng, 0.6) else _month(rng, months)
    return {
        "name": name,
        **_KINDS[kind](rng),
        "first_month": first,
        **_maybe(
            rng,
            0.25,
            last_month=lambda: int(rng.integers(first, LONGEST + 1 if _chance(rng, 0.2) else max(months, first) + 1)),
        ),
        "running_before": _chance(rng, 0.6),
        **_maybe(
            rng,
            0.3,
            season=lambda: [_number(rng, 0, 2) for _ in range(12)],
            launches=lambda: [_launch(rng, months) for _ in range(_count(rng, 3))],
            signup_rate=lambda: _number(rng, 0, 0.2),
            conversion_rate=lambda: _number(rng, 0, 0.6),
            monthly_cost=lambda: _number(rng, 0, 2000),
        ),
    }


def _launch(rng: np.random.Generator, months: int) -> dict[str, Any]:
    return {"month": _month(rng, months), "visitors": _number(rng, 0, 20_000), "monthly_fade_rate": _number(rng, 0, 1)}


def _steady(rng: np.random.Generator) -> dict[str, Any]:
    return {
        **({} if _chance(rng, 0.3) else {"kind": "steady"}),  # the kind that stands where none is given
        "monthly_visitors": _number(rng, 0, 10_000),
        "monthly_growth_rate": _number(rng, -0.9, 0.2) if _chance(rng, 0.1) else _number(rng, -0.1, 0.1),
        **_maybe(rng, 0.4, visitor_ceiling=lambda: _spread(rng, 1, 50_000)),
    }


def _content(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "kind": "content",
        "monthly_pieces": _number(rng, 0, 20),
        "peak_monthly_visits": _number(rng, 0, 2000),
        **_maybe(
            rng,
            0.7,
            tail_monthly_visits=lambda: _number(rng, 0, 100),
            monthly_fade_rate=lambda: _number(rng, 0, 1),
            earlier_pieces=lambda: _number(rng, 0, 200),
        ),
    }


def _paid(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "kind": "paid",
        "monthly_budget": _number(rng, 0, 10_000),
        "cost_per_visit": _spread(rng, 0.05, 20),
        **_maybe(
            rng,
            0.5,
            monthly_growth_rate=lambda: _number(rng, -0.1, 0.1),
            budget_that_doubles_cost=lambda: _spread(rng, 100, 50_000),
        ),
    }


_KINDS = {"steady": _steady, "content": _content, "paid": _paid}


def _plans(rng: np.random.Generator) -> list[dict[str, Any]]:
    parts = int(rng.integers(1, 5))
    shares, opening = _shares(rng, parts), _shares(rng, parts) if _chance(rng, 0.4) else [None] * parts
    return [_plan(rng, f"plan {i}", share, there) for i, (share, there) in enumerate(zip(shares, opening, strict=True))]


def _plan(rng: np.random.Generator, name: str, share: float, opening_share: float | None) -> dict[str, Any]:
    plan = {"name": name, "share": share, "monthly_price": _number(rng, 0, 300)}
    if opening_share is not None:
        plan["opening_share"] = opening_share
        plan["opening_price"] = round(0.8 * plan["monthly_price"], 2)  # prices were raised since
    if _chance(rng, 0.35):
        plan |= {"billing": "yearly", **_maybe(rng, 0.5, renewal_rate=lambda: _number(rng, 0, 1))}
    return {**plan, **_maybe(rng, 0.3, churn=lambda: _churn(rng))}


def _churn(rng: np.random.Generator) -> dict[str, Any]:
    return _curve(
        rng, str(rng.choice(["constant", "early_late", "sbg", "bdw", "measured"], p=[0.3, 0.15, 0.2, 0.2, 0.15]))
    )


def _curve(rng: np.random.Generator, curve: str) -> dict[str, Any]:
    return {"curve": curve, **_CURVES[curve](rng)}


def _rate(rng: np.random.Generator) -> float:
    """A monthly churn rate: mostly as businesses have it, at times from the whole range, 0 and 1 among it."""
    return _number(rng, 0, 1) if _chance(rng, 0.15) else float(f"{rng.uniform(0.002, 0.15):.3g}")


def _early_late(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "early_monthly_churn_rate": _rate(rng),
        "late_monthly_churn_rate": _rate(rng),
        **_maybe(rng, 0.7, early_months=lambda: _month(rng, 24)),
    }


def _sbg(rng: np.random.Generator) -> dict[str, Any]:
    whole = _chance(rng, 0.2)
    alpha, beta = (_spread(rng, 1e-3, 1e3) if whole else _spread(rng, *usual) for usual in ((0.2, 5), (0.5, 60)))
    return {"alpha": alpha, "beta": beta}


def _bdw(rng: np.random.Generator) -> dict[str, Any]:
    return {
        **_sbg(rng),
        **_maybe(rng, 0.8, shape=lambda: _spread(rng, 0.1, 3) if _chance(rng, 0.2) else _spread(rng, 0.5, 1.6)),
    }


def _measured(rng: np.random.Generator) -> dict[str, Any]:
    keeps = 1 - rng.uniform(0, 0.25, int(rng.integers(1, LONGEST + 1 if _chance(rng, 0.1) else 25)))
    if _chance(rng, 0.15):
        keeps[rng.integers(keeps.size) :] = 0.0  # everyone gone before the last measured age
    return {"survival": [round(float(share), 4) for share in np.cumprod(keeps)], "tail_monthly_churn_rate": _rate(rng)}


_CURVES = {
    "constant": lambda rng: {"monthly_churn_rate": _rate(rng)},
    "early_late": _early_late,
    "sbg": _sbg,
    "bdw": _bdw,
    "measured": _measured,
}


def _churn_change(rng: np.random.Generator, months: int) -> dict[str, Any]:
    return {
        "from_month": _month(rng, months),
        "factor": _number(rng, 0, 5) if _chance(rng, 0.2) else _number(rng, 0.5, 1.5),
    }


def _grow(rng: np.random.Generator, months: int, plans: list[str]) -> dict[str, Any]:
    return {
        **_maybe(
            rng,
            0.6,
            monthly_expansion_rate=lambda: _number(rng, 0, 0.04),
            monthly_contraction_rate=lambda: _number(rng, 0, 1 if _chance(rng, 0.1) else 0.03),
        ),
        **_maybe(rng, 0.4, last_age_months=lambda: int(rng.integers(1, 61))),
        **_maybe(rng, 0.5, price_changes=lambda: [_price_change(rng, months, plans) for _ in range(_count(rng, 3))]),
    }


def _price_change(rng: np.random.Generator, months: int, plans: list[str]) -> dict[str, Any]:
    to_all = _chance(rng, 0.7)
    return {
        "month": _month(rng, months),
        "change_rate": _number(rng, -0.99, 2) if _chance(rng, 0.1) else _number(rng, -0.3, 0.4),
        "applies_to": "all" if to_all else "new",
        **_maybe(rng, 0.4, plan=lambda: str(rng.choice(plans))),
        **(
            _maybe(rng, 0.6, provoked_churn_rate=lambda: _number(rng, 0, 1 if _chance(rng, 0.1) else 0.1))
            if to_all
            else {}
        ),
    }


def _bill(rng: np.random.Generator) -> dict[str, Any]:
    return _maybe(
        rng,
        0.7,
        payment_fee_rate=lambda: _number(rng, 0, 0.1),
        fee_per_payment=lambda: _number(rng, 0, 1),
        monthly_cost_to_serve=lambda: _number(rng, 0, 20),
        monthly_fixed_costs=lambda: _number(rng, 0, 10_000),
        opening_cash=lambda: _number(rng, -20_000, 50_000),
        monthly_discount_rate=lambda: _number(rng, 0, 1),
    )
