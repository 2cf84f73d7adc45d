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
    arrivals = [channel_months(scenario, number) for number in range(len(scenario.arrive.channels))]
    referred = []  # sign-ups that customers on board sent, months 1, 2, ...
    lost_before = []  # by month: one (customers, mrr) per plan
    cash = scenario.bill.opening_cash
    for month in range(1, months + 1):
        on_board = sum(cohort["customers"] for cohort in cohorts)
        on_board_mrr = sum(cohort["mrr"] for cohort in cohorts)
        rate = changed(scenario, "sign_up.monthly_referral_rate", scenario.sign_up.monthly_referral_rate, month)
        referred.append(rate * on_board)
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

        returned = returned_mrr = new_mrr = new_joined = 0.0
        for number, plan in enumerate(plans):
            back, back_mrr = come_back(scenario, lost_before, month, number)
            joined = new * plan.share * comes_at_that_price(scenario, plan, month)
            joined_mrr = joined * price_for_new(scenario, plan, month)
            new_joined += joined
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
            "new_customers": new_joined,
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
    paid = [price(plan) if plan.opening_price is None else plan.opening_price for plan in plans]
    worth = [share * opening.customers * each for share, each in zip(shares, paid, strict=True)]
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


def changed(scenario, address: str, value: float, month: int, *, share: bool = False) -> float:
    """The number at an address, with positions in lists, as changes have made it by `month`; `share`: at most 1."""
    for change in sorted(scenario.changes, key=lambda change: change.from_month):
        if change.from_month <= month and position_address(scenario, change.field) == address:
            value = change.becomes if change.times is None else value * change.times
            value = min(value, 1.0) if share else value
    return value


def position_address(scenario, address: str) -> str:
    """Plans and channels by position, where the address has their names (in the tests without a dot)."""
    steps = address.split(".")
    for start, parts in ((["arrive", "channels"], scenario.arrive.channels), (["pay", "plans"], scenario.pay.plans)):
        if steps[:2] == start and not steps[2].isdigit():
            steps[2] = str([part.name for part in parts].index(steps[2]))
    return ".".join(steps)


def channel_months(scenario, number: int) -> dict:
    """What a channel brings, by month: visitors, sign-ups, spend; and what it brought before month 1."""
    channel = scenario.arrive.channels[number]
    visitors, sign_ups, customers, spend, conversion = {}, {}, {}, {}, {}
    for month in range(1, scenario.months + 1):
        usual = usual_flow(scenario, number, month)
        visitors[month] = sign_ups[month] = customers[month] = 0.0
        if channel.kind == "customers":
            customers[month] = usual
        elif channel.kind == "sign_ups":
            sign_ups[month] = usual
        else:
            visitors[month] = usual + launch_visitors(channel, month)
            sign_ups[month] = visitors[month] * signup_rate(scenario, number, month)
        spend[month] = 0.0
        if active(channel, month):
            spend[month] += of_channel(scenario, number, "monthly_cost", month)
            if channel.kind == "paid":
                spend[month] += level(scenario, number, "monthly_budget", None, month)
        if channel.kind != "customers":
            conversion[month] = conversion_rate(scenario, number, month)
    before = 0.0
    if channel.kind != "customers" and channel.running_before and channel.first_month == 1:
        before = usual_flow(scenario, number, 1)
        before *= 1 if channel.kind == "sign_ups" else signup_rate(scenario, number, 1)
    return {
        "visitors": visitors,
        "sign_ups": sign_ups,
        "customers": customers,
        "spend": spend,
        "before": before,
        "conversion": conversion,
    }


def of_channel(scenario, number: int, name: str, month: int) -> float:
    value = getattr(scenario.arrive.channels[number], name)
    share = name in ("signup_rate", "conversion_rate", "monthly_fade_rate", "monthly_growth_rate")
    value = changed(scenario, f"arrive.channels.{number}.{name}", value, month, share=share)
    return max(value, -0.9) if name == "monthly_growth_rate" else value


def signup_rate(scenario, number: int, month: int) -> float:
    if scenario.arrive.channels[number].signup_rate is not None:
        return of_channel(scenario, number, "signup_rate", month)
    return changed(scenario, "sign_up.signup_rate", scenario.sign_up.signup_rate, month, share=True)


def conversion_rate(scenario, number: int | None, month: int) -> float:
    if number is not None and scenario.arrive.channels[number].conversion_rate is not None:
        return of_channel(scenario, number, "conversion_rate", month)
    return changed(scenario, "pay.conversion_rate", scenario.pay.conversion_rate, month, share=True)


def active(channel, month: int) -> bool:
    return channel.first_month <= month and (channel.last_month is None or month <= channel.last_month)


def level(scenario, number: int, name: str, most: str | None, month: int) -> float:
    """A level that compounds from the channel's first month to `month`, one month after another."""
    channel = scenario.arrive.channels[number]
    reached = of_channel(scenario, number, name, channel.first_month)
    for then in range(channel.first_month + 1, month + 1):
        rate = of_channel(scenario, number, "monthly_growth_rate", then)
        if most is None or getattr(channel, most) is None or rate <= 0 or reached <= 0:
            reached = reached * (1 + rate)
        else:
            ceiling = of_channel(scenario, number, most, then)
            reached = ceiling / (1 + (ceiling / reached - 1) / (1 + rate))
        for change in scenario.changes:
            here = position_address(scenario, change.field) == f"arrive.channels.{number}.{name}"
            if here and change.from_month == then:
                reached = change.becomes if change.times is None else reached * change.times
    return reached


def usual_flow(scenario, number: int, month: int) -> float:
    """What a channel brings in a month (visitors, sign-ups or customers) with the season, without launches."""
    visitors = 0.0
    channel = scenario.arrive.channels[number]

    def of(name: str, when: int) -> float:
        return of_channel(scenario, number, name, when)

    if channel.kind == "content":
        if month >= channel.first_month:
            for published in range(channel.first_month, month + 1):
                if active(channel, published):
                    tail = of("tail_monthly_visits", published)
                    faded = (1 - of("monthly_fade_rate", published)) ** (month - published)
                    spread = of("peak_monthly_visits", published) - tail
                    visitors += of("monthly_pieces", published) * (tail + spread * faded)
            visitors += channel.earlier_pieces * of("tail_monthly_visits", channel.first_month)
    elif not active(channel, month):
        pass
    elif channel.kind == "paid":
        spent = level(scenario, number, "monthly_budget", None, month)
        doubles = channel.budget_that_doubles_cost
        dearer = 1.0 if doubles is None else 1 + spent / of("budget_that_doubles_cost", month)
        visitors = spent / (of("cost_per_visit", month) * dearer)
    else:
        names = {
            "steady": ("monthly_visitors", "visitor_ceiling"),
            "sign_ups": ("monthly_sign_ups", "sign_up_ceiling"),
            "customers": ("monthly_customers", "customer_ceiling"),
        }[channel.kind]
        visitors = level(scenario, number, *names, month)
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
            total += channel["conversion"].get(month, 0.0) * share * sign_ups
        total += conversion_rate(scenario, None, month) * share * referred[max(then, 1) - 1]
    return total


def price_for_new(scenario, plan, month: int) -> float:
    number = scenario.pay.plans.index(plan)
    if plan.monthly_price is None:
        now = changed(scenario, f"pay.plans.{number}.yearly_price", plan.yearly_price, month) / 12
    else:
        now = changed(scenario, f"pay.plans.{number}.monthly_price", plan.monthly_price, month)
    for change in scenario.grow.price_changes:
        if change.month <= month and change.plan in (None, plan.name):
            now *= 1 + change.change_rate
    return now


def comes_at_that_price(scenario, plan, month: int) -> float:
    kept = 1.0
    for change in scenario.grow.price_changes:
        if change.month <= month and change.plan in (None, plan.name):
            kept *= 1 - change.lost_new_rate
    return kept


# --- stay and grow ----------------------------------------------------------------------------------------------------


def age_one_month(scenario, cohort: dict, month: int) -> dict:
    """Moves a cohort from the close of the month before to the close of `month`; says what was lost and gained."""
    plan = scenario.pay.plans[cohort["plan"]]
    age = month - cohort["month"]
    rise, provoked = price_change(scenario, plan, age, month)
    churn = churn_at(scenario, plan, age, month)
    churn = 1 - (1 - churn) * (1 - provoked) if provoked else churn
    lost, churned = cohort["customers"] * churn, cohort["mrr"] * churn
    more, less = growth_at(scenario, plan, age, month)
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


def growth_at(scenario, plan, age: int, month: int) -> tuple[float, float]:
    """Expansion and contraction at an age, as shares of the MRR of those who stay."""
    more, less = (
        changed(scenario, f"grow.{name}", getattr(scenario.grow, name), month, share=True)
        for name in ("monthly_expansion_rate", "monthly_contraction_rate")
    )
    last = scenario.grow.last_age_months
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
    number = scenario.pay.plans.index(plan)
    curve, where = (scenario.stay.churn, "stay") if plan.churn is None else (plan.churn, f"pay.plans.{number}")
    names = [name for name in type(curve).model_fields if name not in ("curve", "survival", "early_months")]
    now = {
        name: changed(scenario, f"{where}.churn.{name}", getattr(curve, name), month, share="rate" in name)
        for name in names
    }
    curve = curve.model_copy(update=now)
    factor = 1.0
    for change in scenario.stay.churn_changes:
        if change.from_month <= month:
            factor *= change.factor
    if plan.billing == "monthly":
        return min(factor * curve_at(curve, age), 1.0)
    if age % 12:
        return 0.0
    if plan.renewal_rate is not None:
        renewed = changed(scenario, f"pay.plans.{number}.renewal_rate", plan.renewal_rate, month, share=True)
        return min(factor * (1 - renewed), 1.0)
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
    rate = changed(scenario, "stay.comeback.comeback_rate", back.comeback_rate, month, share=True)
    return rate * customers, rate * mrr


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

    def cost(name: str) -> float:
        return changed(scenario, f"bill.{name}", getattr(scenario.bill, name), month, share=name == "payment_fee_rate")

    fees = cost("payment_fee_rate") * cash_in + cost("fee_per_payment") * payments
    serve = cost("monthly_cost_to_serve") * sum(cohort["customers"] for cohort in cohorts)
    spend = sum(channel["spend"][month] for channel in arrivals)
    return {
        "cash_in": cash_in,
        "payments": payments,
        "deferred_revenue": deferred,
        "payment_fees": fees,
        "cost_to_serve": serve,
        "fixed_costs": cost("monthly_fixed_costs"),
        "acquisition_spend": spend,
        "net_cash": cash_in - fees - serve - cost("monthly_fixed_costs") - spend,
    }
