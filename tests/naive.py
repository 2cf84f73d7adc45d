"""A second, deliberately naive computation of the model, to hold the engine against.

Written from `growth/engine/model.md` alone, in plain Python floats, dicts and lists; it shares no code with the
engine. Every cohort of every plan is followed month by month, one at a time. Slow and easy to check is the aim.
"""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from functools import cache


def simulate(scenario) -> dict:
    """Every series of model.md as a list of `months` floats, by name; and "cohort_customers", "cohort_mrr" as lists of
    rows by month. The scenario is a validated one without draws."""
    months, plans = scenario.months, scenario.pay.plans
    cohorts, oldest = open_cohorts(scenario)
    series = {name: [] for name in SERIES}
    rows = {"cohort_customers": [], "cohort_mrr": []}
    arrivals = [channel_months(scenario, channel) for channel in scenario.arrive.channels]
    referred = []  # sign-ups that customers on board sent, months 1, 2, ...
    lost_before = []  # by month: one (customers, mrr) per plan
    cash = scenario.bill.opening_cash
    for month in range(1, months + 1):
        on_board = sum(cohort["customers"] for cohort in cohorts)
        on_board_mrr = sum(cohort["mrr"] for cohort in cohorts)
        referred.append(scenario.sign_up.monthly_referral_rate * on_board)
        new = new_customers(scenario, arrivals, referred, month)

        lost, lost_mrr = [0.0] * len(plans), [0.0] * len(plans)
        expansion = contraction = 0.0
        for cohort in cohorts:
            moved = age_one_month(scenario, cohort, month)
            lost[cohort["plan"]] += moved["lost"]
            lost_mrr[cohort["plan"]] += moved["churned"]
            expansion += moved["expansion"]
            contraction += moved["contraction"]
        lost_before.append(list(zip(lost, lost_mrr, strict=True)))

        returned = returned_mrr = new_mrr = 0.0
        for number, plan in enumerate(plans):
            back, back_mrr = come_back(scenario, lost_before, month, number)
            joined = new * plan.share
            joined_mrr = joined * price_for_new(scenario, plan, month)
            new_mrr += joined_mrr
            returned += back
            returned_mrr += back_mrr
            cohorts.append({"plan": number, "month": month, "customers": joined + back, "mrr": joined_mrr + back_mrr})

        money = bill(scenario, cohorts, month, arrivals)
        cash += money["net_cash"]
        closing, closing_mrr = (sum(cohort[what] for cohort in cohorts) for what in ("customers", "mrr"))
        row = {
            "visitors": sum(channel["visitors"][month] for channel in arrivals),
            "sign_ups": sum(channel["sign_ups"][month] for channel in arrivals) + referred[-1],
            "referred_sign_ups": referred[-1],
            "opening_customers": on_board,
            "new_customers": new,
            "returned_customers": returned,
            "lost_customers": sum(lost),
            "closing_customers": closing,
            "opening_mrr": on_board_mrr,
            "new_mrr": new_mrr,
            "reactivation_mrr": returned_mrr,
            "expansion_mrr": expansion,
            "contraction_mrr": contraction,
            "churned_mrr": sum(lost_mrr),
            "closing_mrr": closing_mrr,
            "arr": 12 * closing_mrr,
            "arpa": divide(closing_mrr, closing),
            "monthly_customer_churn_rate": divide(sum(lost), on_board),
            "monthly_gross_revenue_churn_rate": divide(sum(lost_mrr) + contraction, on_board_mrr),
            "revenue": closing_mrr,
            **money,
            "cash": cash,
        }
        for name in SERIES:
            series[name].append(row[name])
        for name, what in (("cohort_customers", "customers"), ("cohort_mrr", "mrr")):
            columns = [0.0] * (oldest + 1 + months)
            for cohort in cohorts:
                columns[cohort["month"] + oldest] += cohort[what]
            rows[name].append(columns)
    return {**series, **rows}


SERIES = (
    "visitors sign_ups referred_sign_ups opening_customers new_customers returned_customers lost_customers "
    "closing_customers "
    "opening_mrr new_mrr reactivation_mrr expansion_mrr contraction_mrr churned_mrr closing_mrr arr arpa "
    "monthly_customer_churn_rate monthly_gross_revenue_churn_rate revenue cash_in payments deferred_revenue "
    "payment_fees "
    "cost_to_serve fixed_costs acquisition_spend net_cash cash"
).split()


def divide(top: float, bottom: float) -> float:
    return top / bottom if bottom else math.nan


# --- opening position -------------------------------------------------------------------------------------------------


def open_cohorts(scenario) -> tuple[list[dict], int]:
    """The customers of month 0 by plan and month joined (0, -1, ...), and the largest age among them."""
    opening, plans = scenario.opening, scenario.pay.plans
    age_shares = []
    for plan in plans:
        if opening.ages is not None:
            total = sum(entry.customers for entry in opening.ages)
            age_shares.append({entry.age_months: entry.customers / total for entry in opening.ages})
        elif opening.mean_age_months is not None:
            count = 2 * opening.mean_age_months + 1
            age_shares.append({age: 1 / count for age in range(count)})
        elif plan.billing == "yearly":
            age_shares.append({age: 1 / 12 for age in range(12)})
        else:
            age_shares.append({0: 1.0})
    oldest = max(max(shares) for shares in age_shares)
    shares = [plan.share if plan.opening_share is None else plan.opening_share for plan in plans]
    worth = [share * opening.customers * price(plan) for share, plan in zip(shares, plans, strict=True)]
    weights = worth if sum(worth) > 0 else shares
    cohorts = []
    for number in range(len(plans)):
        for age, part in age_shares[number].items():
            customers = opening.customers * shares[number] * part
            mrr = opening.mrr * weights[number] / sum(weights) * part
            cohorts.append({"plan": number, "month": -age, "customers": customers, "mrr": mrr})
    return cohorts, oldest


def price(plan) -> float:
    return plan.yearly_price / 12 if plan.monthly_price is None else plan.monthly_price


# --- arrive, try, pay -------------------------------------------------------------------------------------------------


def channel_months(scenario, channel) -> dict:
    """What a channel brings, by month: visitors, sign-ups, spend; and what it brought before month 1."""
    visitors, sign_ups, customers, spend = {}, {}, {}, {}
    for month in range(1, scenario.months + 1):
        usual = usual_flow(scenario, channel, month)
        visitors[month] = sign_ups[month] = customers[month] = 0.0
        if channel.kind == "customers":
            customers[month] = usual
        elif channel.kind == "sign_ups":
            sign_ups[month] = usual
        else:
            visitors[month] = usual + launch_visitors(channel, month)
            sign_ups[month] = visitors[month] * signup_rate(scenario, channel)
        spend[month] = 0.0
        if active(channel, month):
            spend[month] += channel.monthly_cost
            if channel.kind == "paid":
                spend[month] += budget(channel, month)
    before, pays = 0.0, 0.0
    if channel.kind != "customers":
        if channel.running_before and channel.first_month == 1:
            before = usual_flow(scenario, channel, 1)
            before *= 1 if channel.kind == "sign_ups" else signup_rate(scenario, channel)
        pays = scenario.pay.conversion_rate if channel.conversion_rate is None else channel.conversion_rate
    return {
        "visitors": visitors,
        "sign_ups": sign_ups,
        "customers": customers,
        "spend": spend,
        "before": before,
        "conversion": pays,
    }


def signup_rate(scenario, channel) -> float:
    return scenario.sign_up.signup_rate if channel.signup_rate is None else channel.signup_rate


def active(channel, month: int) -> bool:
    return channel.first_month <= month and (channel.last_month is None or month <= channel.last_month)


def budget(channel, month: int) -> float:
    return channel.monthly_budget * (1 + channel.monthly_growth_rate) ** (month - channel.first_month)


def usual_flow(scenario, channel, month: int) -> float:
    """What a channel brings in a month (visitors, sign-ups or customers) with the season, without launches."""
    visitors = 0.0
    since = month - channel.first_month
    if channel.kind == "content":
        if month >= channel.first_month:
            for published in range(channel.first_month, month + 1):
                if active(channel, published):
                    faded = (1 - channel.monthly_fade_rate) ** (month - published)
                    spread = channel.peak_monthly_visits - channel.tail_monthly_visits
                    visitors += channel.monthly_pieces * (channel.tail_monthly_visits + spread * faded)
            visitors += channel.earlier_pieces * channel.tail_monthly_visits
    elif not active(channel, month):
        pass
    elif channel.kind == "paid":
        spent = budget(channel, month)
        dearer = 1.0 if channel.budget_that_doubles_cost is None else 1 + spent / channel.budget_that_doubles_cost
        visitors = spent / (channel.cost_per_visit * dearer)
    else:
        level, ceiling = {
            "steady": lambda: (channel.monthly_visitors, channel.visitor_ceiling),
            "sign_ups": lambda: (channel.monthly_sign_ups, channel.sign_up_ceiling),
            "customers": lambda: (channel.monthly_customers, channel.customer_ceiling),
        }[channel.kind]()
        grown = (1 + channel.monthly_growth_rate) ** since
        if level > 0 and (ceiling is None or channel.monthly_growth_rate <= 0):
            visitors = level * grown
        elif level > 0:
            visitors = ceiling / (1 + (ceiling / level - 1) / grown)
    if channel.season is not None:
        visitors *= channel.season[(int(scenario.first_month[5:]) - 1 + month - 1) % 12]
    return visitors


def launch_visitors(channel, month: int) -> float:
    visitors = 0.0
    for launch in channel.launches:
        if month >= launch.month:
            visitors += launch.visitors * (1 - launch.monthly_fade_rate) ** (month - launch.month)
    return visitors


def new_customers(scenario, arrivals: list[dict], referred: list[float], month: int) -> float:
    """Sign-ups of this month and of the months before who pay for the first time now."""
    total = sum(channel["customers"][month] for channel in arrivals)
    for lag, share in enumerate(scenario.pay.delay_shares):
        then = month - lag
        for channel in arrivals:
            sign_ups = channel["sign_ups"][then] if then >= 1 else channel["before"]
            total += channel["conversion"] * share * sign_ups
        total += scenario.pay.conversion_rate * share * referred[max(then, 1) - 1]
    return total


def price_for_new(scenario, plan, month: int) -> float:
    now = price(plan)
    for change in scenario.grow.price_changes:
        if change.month <= month and change.plan in (None, plan.name):
            now *= 1 + change.change_rate
    return now


# --- stay and grow ----------------------------------------------------------------------------------------------------


def age_one_month(scenario, cohort: dict, month: int) -> dict:
    """Moves a cohort from the close of the month before to the close of `month`; says what was lost and gained."""
    plan = scenario.pay.plans[cohort["plan"]]
    age = month - cohort["month"]
    rise, provoked = price_change(scenario, plan, age, month)
    churn = churn_at(scenario, plan, age, month)
    churn = 1 - (1 - churn) * (1 - provoked) if provoked else churn
    lost, churned = cohort["customers"] * churn, cohort["mrr"] * churn
    more, less = growth_at(scenario, plan, age)
    stayed = cohort["mrr"] - churned
    expansion, contraction = stayed * more, stayed * less
    step = (stayed + expansion - contraction) * rise
    cohort["customers"] -= lost
    cohort["mrr"] = stayed + expansion - contraction + step
    return {
        "lost": lost,
        "churned": churned,
        "expansion": expansion + max(step, 0.0),
        "contraction": contraction + max(-step, 0.0),
    }


def price_change(scenario, plan, age: int, month: int) -> tuple[float, float]:
    """By what share prices of customers on board of that age change in `month`, and the churn it provokes."""
    price, stay = 1.0, 1.0
    for change in scenario.grow.price_changes:
        if change.applies_to != "all" or change.plan not in (None, plan.name):
            continue
        if plan.billing == "monthly":
            reached = change.month == month
        else:
            reached = age % 12 == 0 and month - 12 < change.month <= month
        if reached:
            price *= 1 + change.change_rate
            stay *= 1 - change.provoked_churn_rate
    return price - 1, 1 - stay


def growth_at(scenario, plan, age: int) -> tuple[float, float]:
    """Expansion and contraction at an age, as shares of the MRR of those who stay."""
    more, less, last = (
        scenario.grow.monthly_expansion_rate,
        scenario.grow.monthly_contraction_rate,
        scenario.grow.last_age_months,
    )
    last = math.inf if last is None else last
    if plan.billing == "monthly":
        return (more, less) if age <= last else (0.0, 0.0)
    if age % 12:
        return 0.0, 0.0
    count = sum(1 for earlier in range(age - 11, age + 1) if earlier <= last)
    kept = grown = 1.0
    for _ in range(count):
        kept *= 1 - less
        grown *= 1 + more
    return grown - 1, 1 - kept


def churn_at(scenario, plan, age: int, month: int) -> float:
    """Share of a plan's customers who leave on reaching an age in a month, before provoked churn."""
    curve = scenario.stay.churn if plan.churn is None else plan.churn
    factor = 1.0
    for change in scenario.stay.churn_changes:
        if change.from_month <= month:
            factor *= change.factor
    if plan.billing == "monthly":
        return min(factor * curve_at(curve, age), 1.0)
    if age % 12:
        return 0.0
    if plan.renewal_rate is not None:
        return min(factor * (1 - plan.renewal_rate), 1.0)
    kept = 1.0
    for earlier in range(age - 11, age + 1):
        kept *= 1 - min(factor * curve_at(curve, earlier), 1.0)
    return 1 - kept


def curve_at(curve, age: int) -> float:
    if curve.curve == "constant":
        return curve.monthly_churn_rate
    if curve.curve == "early_late":
        return curve.early_monthly_churn_rate if age <= curve.early_months else curve.late_monthly_churn_rate
    if curve.curve == "sbg":
        return curve.alpha / (curve.alpha + curve.beta + age - 1)
    if curve.curve == "bdw":
        return bdw_churn(curve.alpha, curve.beta, curve.shape, age)
    if age > len(curve.survival):
        return curve.tail_monthly_churn_rate
    before = 1.0 if age == 1 else curve.survival[age - 2]
    return 1 - curve.survival[age - 1] / before if before else 1.0


@cache
def bdw_churn(alpha: float, beta: float, shape: float, age: int) -> float:
    """1 - S(age) / S(age - 1) with S(a) = B(alpha, beta + a^shape) / B(alpha, beta), in 40 digits: differences of log
    gammas lose too many of the 16 that a float has."""
    with localcontext() as context:
        context.prec = 40
        here, there = (Decimal(beta) + (Decimal(a) ** Decimal(shape) if a else 0) for a in (age, age - 1))
        kept = log_gamma(here) - log_gamma(here + Decimal(alpha)) - log_gamma(there) + log_gamma(there + Decimal(alpha))
        return float(1 - kept.exp())


def log_gamma(z: Decimal) -> Decimal:
    """ln Gamma by Stirling's series after moving z beyond 30 (Abramowitz and Stegun 6.1.15 and 6.1.40)."""
    product = Decimal(1)
    while z < 30:
        product *= z
        z += 1
    bernoulli = (
        "1/6 -1/30 1/42 -1/30 5/66 -691/2730 7/6 -3617/510 43867/798 -174611/330 854513/138 -236364091/2730"
    ).split()
    total = (z - Decimal("0.5")) * z.ln() - z + HALF_LOG_TWO_PI
    for n, number in enumerate(bernoulli, start=1):
        top, bottom = number.split("/")
        total += Decimal(top) / Decimal(bottom) / (2 * n * (2 * n - 1) * z ** (2 * n - 1))
    return total - product.ln()


HALF_LOG_TWO_PI = Decimal("0.9189385332046727417803297364056176398614")


def come_back(scenario, lost_before: list[list], month: int, plan: int) -> tuple[float, float]:
    back = scenario.stay.comeback
    if back is None or month - back.after_months < 1:
        return 0.0, 0.0
    customers, mrr = lost_before[month - back.after_months - 1][plan]
    return back.comeback_rate * customers, back.comeback_rate * mrr


# --- bill -------------------------------------------------------------------------------------------------------------


def bill(scenario, cohorts: list[dict], month: int, arrivals: list[dict]) -> dict:
    """The money of a month, from the cohorts as they stand at its close."""
    cash_in = payments = deferred = 0.0
    for cohort in cohorts:
        yearly = scenario.pay.plans[cohort["plan"]].billing == "yearly"
        age = month - cohort["month"]
        if not yearly:
            cash_in += cohort["mrr"]
            payments += cohort["customers"]
        elif age % 12 == 0:
            cash_in += 12 * cohort["mrr"]
            payments += cohort["customers"]
        if yearly:
            deferred += cohort["mrr"] * (11 - age % 12)
    costs = scenario.bill
    fees = costs.payment_fee_rate * cash_in + costs.fee_per_payment * payments
    serve = costs.monthly_cost_to_serve * sum(cohort["customers"] for cohort in cohorts)
    spend = sum(channel["spend"][month] for channel in arrivals)
    return {
        "cash_in": cash_in,
        "payments": payments,
        "deferred_revenue": deferred,
        "payment_fees": fees,
        "cost_to_serve": serve,
        "fixed_costs": costs.monthly_fixed_costs,
        "acquisition_spend": spend,
        "net_cash": cash_in - fees - serve - costs.monthly_fixed_costs - spend,
    }
