"""The questions about money per customer: lifetime value and payback."""

from __future__ import annotations

from collections.abc import Iterator

from growth.calculator.number_words import month_count
from growth.calculator.number_words import near as rounded
from growth.engine import forecast
from growth.exercises.closed_form import ClosedForm, with_spend
from growth.exercises.exercise import Exercise, Writer
from growth.measures import customer_acquisition_cost, lifetime_value, payback_months
from growth.measures.measure import SAME

LONGEST_TABLE = 12  # months of margin that one adds up on paper


def _margins(write: Writer, short: ClosedForm) -> tuple[float, float]:
    """Income after the fee rate, and cost, of a customer in the month of joining."""
    bill = write.forecast.scenario.bill
    income = short.price * (1 - float(bill.payment_fee_rate))
    return income, float(bill.monthly_cost_to_serve) + float(bill.fee_per_payment)


def _facts(write: Writer, short: ClosedForm) -> list[str]:
    fees, (_, cost) = float(write.forecast.scenario.bill.payment_fee_rate), _margins(write, short)
    return [
        *write.steady(short, "price"),
        *([write.fact("fee_rate", write.share(fees))] if fees else []),
        *([write.fact("cost", write.money(cost))] if cost else []),
        *write.steady(short, "churn", "growth"),
    ]


def lifetime_value_question(write: Writer, short: ClosedForm) -> Iterator[Exercise]:
    """The margin of a customer over a whole stay, in today's money."""
    result, (income, cost) = write.forecast, _margins(write, short)
    value = lifetime_value(result).value
    if value is None:
        return
    discount = float(result.scenario.bill.monthly_discount_rate)
    kept, stayed = short.kept / (1 + discount), (1 - short.churn) / (1 + discount)
    by_hand = income / (1 - kept) - cost / (1 - stayed)
    factor, plain = write.factor, write.plain
    fees = float(result.scenario.bill.payment_fee_rate)
    working = [
        f"{plain(short.price)} × (1 − {factor(fees)}) = {plain(income)}",
        f"(1 − {factor(short.churn)}) × (1 + {factor(short.growth)}) / (1 + {factor(discount)}) = {factor(kept)}",
        f"{plain(income)} / (1 − {factor(kept)}) = {plain(income / (1 - kept))}",
    ]
    if cost:
        working += [
            f"(1 − {factor(short.churn)}) / (1 + {factor(discount)}) = {factor(stayed)}",
            f"{plain(cost)} / (1 − {factor(stayed)}) = {plain(cost / (1 - stayed))}",
            f"{plain(income / (1 - kept))} − {plain(cost / (1 - stayed))} = {plain(by_hand)}",
        ]
    yield write.exercise(
        "ltv",
        given=[*_facts(write, short), write.fact("discount", write.share(discount))],
        working=working,
        answer=write.money(by_hand),
        by_hand=by_hand,
        code="growth.measures.lifetime_value(forecast).value",
        by_tool=float(value),
    )


def payback_question(write: Writer, short: ClosedForm) -> Iterator[Exercise]:
    """The months of margin that pay back what winning a customer costs; with a supposed cost where there is none."""
    result, code, given = write.forecast, "forecast", []
    cost_of_one = customer_acquisition_cost(result).value
    if not cost_of_one:
        first = result.scenario.arrive.channels[0]
        extra = float(rounded(4 * short.joining * short.price))
        if first.first_month != 1 or first.last_month is not None:
            return
        result = forecast(with_spend(result.scenario, extra))
        code = f"growth.forecast(growth.exercises.with_spend(scenario, {extra:g}))"
        given = [write.fact("suppose", write.money(extra))]
        cost_of_one = customer_acquisition_cost(result).value
    months = payback_months(result).value
    if not cost_of_one or not months or months > LONGEST_TABLE:
        return
    spent, won = (float(series[-12:].sum()) for series in (result.acquisition_spend, result.new_customers))
    income, cost = _margins(write, short)
    added, working = 0.0, [f"{write.plain(spent)} / {write.count(won)} = {write.plain(spent / won)}"]
    for age in range(LONGEST_TABLE):
        margin = income * short.kept**age - cost * (1 - short.churn) ** age
        added += margin
        working.append(f"{age + 1}: + {write.plain(margin)} = {write.plain(added)}")
        if added >= float(cost_of_one):
            break
    if abs(added - float(cost_of_one)) < SAME * added:  # on the edge, rounding decides
        return
    yield write.exercise(
        "payback",
        given=[
            *given,
            write.fact("spend", write.money(spent)),
            write.fact("won", write.count(won)),
            *_facts(write, short),
        ],
        working=working,
        answer=month_count(age + 1, write.locale),
        by_hand=age + 1,
        code=f"growth.measures.payback_months({code}).value",
        by_tool=float(months),
    )
