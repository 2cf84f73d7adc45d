"""Speed and size of the engine, side by side with the barest hand-written NumPy for the same series.

Run: python tests/benchmarks/engine.py   (a few minutes; prints ratios, asserts nothing)
The rivals are what one would write by hand for the one case, time first, no checks, no names: they are the floor.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

import growth

MONTHS = 60
BRIDGE = (
    "opening_customers",
    "new_customers",
    "lost_customers",
    "closing_customers",
    "opening_mrr",
    "new_mrr",
    "expansion_mrr",
    "contraction_mrr",
    "churned_mrr",
    "closing_mrr",
)


def seconds(function: Callable[[], object], runs: int) -> float:
    """The median of several runs after a warm-up."""
    function()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def paired(ours: Callable[[], object], rival: Callable[[], object], pairs: int) -> tuple[float, float, float]:
    """Medians of both in turn, A B A B ..., and the median of the ratios pair by pair."""
    ours(), rival()
    rows = [(seconds_once(ours), seconds_once(rival)) for _ in range(pairs)]
    a, b = np.array(rows).T
    return float(np.median(a)), float(np.median(b)), float(np.median(a / b))


def seconds_once(function: Callable[[], object]) -> float:
    start = time.perf_counter()
    function()
    return time.perf_counter() - start


def business(churn: dict, months: int = MONTHS, **more: object) -> growth.Scenario:
    return growth.Scenario(
        business="benchmark",
        months=months,
        opening={"customers": 40, "mrr": 1160},
        arrive={"channels": [{"name": "all", "monthly_visitors": 1000, "monthly_growth_rate": 0.02}]},
        sign_up={"signup_rate": 0.05},
        pay={"conversion_rate": 0.2, "plans": [{"name": "one", "monthly_price": 29}]},
        stay={"churn": churn},
        grow={"monthly_expansion_rate": 0.01, "monthly_contraction_rate": 0.003},
        **more,
    )


def fullest(
    draws: int | None, months: int = MONTHS, channels: int = 3, plans: int = 3, seed: int = 1
) -> growth.Scenario:
    """Every feature at once; where `draws` is given, the main numbers vary over draws."""
    random = np.random.default_rng(seed)

    def vary(low: float, high: float) -> float | np.ndarray:
        return (low + high) / 2 if draws is None else random.uniform(low, high, draws)

    kinds = [
        {"monthly_visitors": vary(500, 1500), "monthly_growth_rate": vary(0, 0.04), "visitor_ceiling": 5000},
        {"kind": "content", "monthly_pieces": 2, "peak_monthly_visits": vary(100, 400), "tail_monthly_visits": 20},
        {"kind": "paid", "monthly_budget": 500, "cost_per_visit": vary(0.5, 2), "budget_that_doubles_cost": 2000},
    ]
    shared = {
        "season": [1.2, 1.1, 1, 1, 0.9, 0.8, 0.7, 0.8, 1.1, 1.2, 1.1, 1.1],
        "launches": [{"month": 4, "visitors": 2000}],
        "monthly_cost": 50,
    }
    churn = {"curve": "sbg", "alpha": vary(0.5, 2), "beta": vary(10, 30)}
    billing = ("monthly", "monthly", "yearly")
    price_change = {"month": 18, "change_rate": 0.1, "applies_to": "all", "provoked_churn_rate": 0.02}
    return growth.Scenario(
        business="benchmark",
        months=months,
        goal_mrr=8000,
        opening={"customers": 40, "mrr": 1160, "mean_age_months": 6},
        arrive={"channels": [{"name": f"channel {i}", **shared, **kinds[i % 3]} for i in range(channels)]},
        sign_up={"signup_rate": vary(0.03, 0.07), "monthly_referral_rate": 0.02},
        pay={
            "conversion_rate": vary(0.1, 0.3),
            "delay_shares": [0.6, 0.3, 0.1],
            "plans": [
                {"name": f"plan {i}", "share": 1 / plans, "monthly_price": 19 + 10 * i, "billing": billing[i % 3]}
                for i in range(plans)
            ],
        },
        stay={
            "churn": churn,
            "churn_changes": [{"from_month": 13, "factor": 0.8}],
            "comeback": {"comeback_rate": 0.1, "after_months": 6},
        },
        grow={
            "monthly_expansion_rate": vary(0, 0.02),
            "monthly_contraction_rate": 0.003,
            "last_age_months": 24,
            "price_changes": [price_change],
        },
        bill={
            "payment_fee_rate": 0.03,
            "fee_per_payment": 0.25,
            "monthly_cost_to_serve": 2,
            "monthly_fixed_costs": 500,
        },
    )


def fill(scenario: growth.Scenario) -> list[np.ndarray]:
    forecast = growth.forecast(scenario)
    return [getattr(forecast, name) for name in BRIDGE]


def bare_recursion(churn: np.ndarray, new: np.ndarray, up: float, down: float, price: float) -> list[np.ndarray]:
    """The full bridge at constant churn: one state a draw, a month a row."""
    series = [np.empty((MONTHS, churn.size)) for _ in BRIDGE]
    open_c, new_c, lost_c, close_c, open_m, new_m, more_m, less_m, churned_m, close_m = series
    customers, mrr = np.full(churn.size, 40.0), np.full(churn.size, 1160.0)
    for t in range(MONTHS):
        open_c[t], open_m[t] = customers, mrr
        new_c[t], new_m[t] = new[t], new[t] * price
        np.multiply(customers, churn, out=lost_c[t])
        np.multiply(mrr, churn, out=churned_m[t])
        stayed = mrr - churned_m[t]
        np.multiply(stayed, up, out=more_m[t])
        np.multiply(stayed, down, out=less_m[t])
        close_c[t] = customers - lost_c[t] + new_c[t]
        close_m[t] = stayed + more_m[t] - less_m[t] + new_m[t]
        customers, mrr = close_c[t], close_m[t]
    return series


def bare_convolution(
    alpha: np.ndarray, beta: np.ndarray, new: np.ndarray, up: float, down: float, price: float
) -> list[np.ndarray]:
    """The full bridge with churn by age: sums over cohorts of arrivals x what is left of them, age by age.

    new: shape (months,), the same in every draw, so that a matrix product serves; or (months, draws), where none does.
    """
    draws = alpha.size
    total = np.dot if new.ndim == 1 else partial(np.einsum, "ad,ad->d")
    series = [np.empty((MONTHS, draws)) for _ in BRIDGE]
    open_c, new_c, lost_c, close_c, open_m, new_m, more_m, less_m, churned_m, close_m = series
    alive, worth, leaves = np.ones((MONTHS + 1, draws)), np.ones((MONTHS + 1, draws)), np.empty((MONTHS, draws))
    for a in range(1, MONTHS + 1):
        churn = alpha / (alpha + beta + (a - 1))
        np.multiply(worth[a - 1], churn, out=leaves[a - 1])
        np.multiply(alive[a - 1], 1 - churn, out=alive[a])
        np.multiply(worth[a - 1], (1 - churn) * (1 + up - down), out=worth[a])
    opening = np.ones((1, *new.shape[1:]))
    joined = np.concatenate([40.0 * opening, new])
    paid = np.concatenate([1160.0 * opening, new * price])
    open_c[0], open_m[0] = 40.0, 1160.0
    for t in range(1, MONTHS + 1):
        if t > 1:
            open_c[t - 1], open_m[t - 1] = close_c[t - 2], close_m[t - 2]
        new_c[t - 1], new_m[t - 1] = new[t - 1], new[t - 1] * price
        total(joined[t::-1], alive[: t + 1], out=close_c[t - 1])
        total(paid[t::-1], worth[: t + 1], out=close_m[t - 1])
        total(paid[t - 1 :: -1], leaves[:t], out=churned_m[t - 1])
        stayed = open_m[t - 1] - churned_m[t - 1]
        lost_c[t - 1] = open_c[t - 1] + new_c[t - 1] - close_c[t - 1]
        np.multiply(stayed, up, out=more_m[t - 1])
        np.multiply(stayed, down, out=less_m[t - 1])
    return series


def exponent(sizes: list[int], times: list[float]) -> float:
    """The slope of log time over log size."""
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])


def check_equal(ours: list[np.ndarray], rival: list[np.ndarray]) -> None:
    """The two must fill the same numbers, or the comparison means nothing."""
    for name, a, b in zip(BRIDGE, ours, rival, strict=True):
        np.testing.assert_allclose(a, b.T, rtol=1e-9, atol=1e-9, err_msg=name)


def speed(draws: int = 100_000) -> None:
    random = np.random.default_rng(0)
    alpha, beta = random.uniform(0.5, 2, draws), random.uniform(10, 30, draws)
    churn, rate = random.uniform(0.01, 0.1, draws), random.uniform(0.1, 0.3, draws)
    signups = 1000 * 1.02 ** np.arange(MONTHS) * 0.05
    money = (0.01, 0.003, 29.0)  # expansion, contraction, price: those of `business`

    def alone(scenario: growth.Scenario, runs: int) -> str:
        return f"{1e3 * seconds(lambda: fill(scenario), runs):.2f} ms"

    one = business({"curve": "constant", "monthly_churn_rate": 0.04})
    by_age = business({"curve": "sbg", "alpha": 1.0, "beta": 20.0})
    print(
        f"one forecast of {MONTHS} months: {alone(one, 200)} at constant churn, {alone(by_age, 200)} by age, "
        f"{alone(fullest(None), 50)} with every feature (limit 1 ms for the first two)"
    )

    def beside(name: str, scenario: growth.Scenario, rival: Callable[[], list[np.ndarray]], pairs: int) -> None:
        check_equal(fill(scenario), rival())
        ours, theirs, ratio = paired(lambda: fill(scenario), rival, pairs)
        print(f"{draws:,} draws x {MONTHS}, {name}: {ours:.3f} s; rival {theirs:.3f} s; ratio {ratio:.2f} (limit 2)")

    many = business({"curve": "constant", "monthly_churn_rate": churn})
    beside("constant churn; bare recursion", many, lambda: bare_recursion(churn, signups * 0.2, *money), 9)
    many = business({"curve": "sbg", "alpha": alpha, "beta": beta})
    name = "churn by age, one stream of arrivals; bare convolution, a matrix product"
    beside(name, many, lambda: bare_convolution(alpha, beta, signups * 0.2, *money), 7)
    many = many.model_copy(update={"pay": many.pay.model_copy(update={"conversion_rate": rate})})
    name = "churn by age, arrivals by draw; bare convolution"
    beside(name, many, lambda: bare_convolution(alpha, beta, signups[:, None] * rate, *money), 7)


def growth_of_cost() -> None:
    def timed(**sizes: int) -> float:
        scenario = fullest(**{"draws": 4000, **sizes})
        return seconds(lambda: growth.forecast(scenario), 3)

    for name, sizes, limit in (
        ("draws", [4000, 8000, 16000, 32000], 1),
        ("channels", [6, 12, 24, 40], 1),
        ("plans", [3, 6, 12, 24], 1),
        ("months", [15, 30, 60, 120], 2),
    ):
        times = [timed(**{name: size}) for size in sizes]
        print(f"cost grows with {name} to the power {exponent(sizes, times):.2f} (limit {limit})")


def memory(draws: int = 100_000) -> None:
    code = (
        "import sys, resource; sys.path.insert(0, sys.argv[1]); import engine, growth, time;"
        f"scenario = engine.fullest({draws}); start = time.perf_counter(); forecast = growth.forecast(scenario);"
        "print(round(time.perf_counter() - start, 2), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    command = [sys.executable, "-c", code, str(Path(__file__).parent)]
    took, peak = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    print(f"{draws:,} draws x {MONTHS} with every feature: {took} s, peak {int(peak) / 1e6:.2f} GB (limit 1.5 GB)")


def start_up() -> None:
    def whole(code: str) -> float:
        return seconds(lambda: subprocess.run([sys.executable, "-c", code], check=True), 7)

    floor = whole("import numpy, pydantic; pydantic.BaseModel")
    light, ours = whole("import growth"), whole("import growth; growth.Scenario; growth.forecast")
    print(
        f"numpy and pydantic {floor:.2f} s; import growth {light:.2f} s, ratio {light / floor:.2f} (limit 1.5); "
        f"and its scenario and engine, loaded when first asked for, {ours:.2f} s, ratio {ours / floor:.2f}"
    )


if __name__ == "__main__":
    speed()
    growth_of_cost()
    memory()
    start_up()
    print(f"this process peaked at {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")
