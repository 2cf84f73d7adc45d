"""Cases of the answer, each with its true sentence worked by hand: for Python, the page and the workbook alike."""

from __future__ import annotations

from plain import NOBODY, business, plan

OPENING = {"customers": 40, "mrr": 800}
TEN = "With 10 new customers a month and 10% leaving, "
FALLING = {"curve": "early_late", "early_monthly_churn_rate": 0.2, "late_monthly_churn_rate": 0.1, "early_months": 1}
COSTS = "Over the last 3 months of this forecast, "
NEW = {"ages": [{"age_months": 0, "customers": 1}]}  # all of them joined in month 0

FIVE = {"channels": [{"name": "all", "monthly_visitors": 5}]}
THREE = {"channels": [{"name": "all", "monthly_visitors": 3}]}


def sbg(alpha: float, beta: float) -> dict:
    return {"curve": "sbg", "alpha": alpha, "beta": beta}


def launch(month: int, visitors: float, fade: float = 1.0) -> dict:
    """Ten a month, and a one-off."""
    one_off = {"month": month, "visitors": visitors, "monthly_fade_rate": fade}
    return {"channels": [{"name": "all", "monthly_visitors": 10, "launches": [one_off]}]}


CASES = {
    # Ten a month at 20, 10% leaving: ceiling 10 / 0.10 x 20 = 2,000; MRR 200, 180 + 200 = 380, 342 + 200 = 542.
    "reached": (
        business(goal_mrr=380),
        TEN + "you reach €380 a month in month 2 (Feb 2027), and growth levels off near €2,000.",
    ),
    "not reached": (
        business(goal_mrr=5000),
        TEN + "you do not reach €5,000 a month within 3 months, and growth levels off near €2,000.",
    ),
    "no goal": (business(), TEN + "you make €542 a month after 3 months, and growth levels off near €2,000."),
    "already": (
        business(goal_mrr=700, opening=OPENING),
        TEN + "you are past €700 a month already, and growth levels off near €2,000.",
    ),
    "shrinking": (
        business(opening={"customers": 400, "mrr": 8000}),  # 8,000 x 0.9^3 + 200 x (0.81 + 0.9 + 1) = 6,374
        TEN + "you make €6,374 a month after 3 months, and it shrinks towards €2,000.",
    ),
    "nobody new": (
        business(arrive=NOBODY, opening=OPENING),  # 800 x 0.9^3 = 583.20
        "With nobody joining and 10% leaving, you make €583 a month after 3 months, and it shrinks towards €0.",
    ),
    "nobody at all": (
        business(arrive=NOBODY),
        "Nobody is on board and nobody joins, so there is nothing to forecast.",
    ),
    "no ceiling": (
        business(grow={"monthly_expansion_rate": 0.2}),  # 0.9 x 1.2 > 1; closing 200 x (1 + 1.08 + 1.08^2) = 649.28
        TEN + "you make €649 a month after 3 months, and nothing in these numbers stops growth: those who stay add at "
        "least as much as those who leave take away.",
    ),
    "past the goal, and below it later": (
        business(goal_mrr=700, arrive=NOBODY, opening=OPENING),  # 800 x 0.9 = 720, x 0.9 = 648
        "With nobody joining and 10% leaving, "
        "you are past €700 a month already but are below it from month 2 on, and it shrinks towards €0.",
    ),
    # --- what used to be called growth without end
    "sBG(1, 20) and nobody joining": (
        # S(36) = B(1, 56) / B(1, 20) = 20 / 56, and S goes on to 0: a mean lifetime without limit keeps nobody for ever
        business(months=36, churn=sbg(1, 20), arrive=NOBODY, opening={"customers": 40, "mrr": 800, **NEW}),
        "With nobody joining and 4.76% leaving, falling to 1.79%, "  # 1 / 21 and 1 / 56
        "you make €286 a month after 36 months, and it shrinks towards €0.",
    ),
    "sBG(0.9, 12), heavy tail, and MRR falling": (
        # S(a) = prod (11 + i) / (11.9 + i), i = 1..a: 20,000 S(36) + 60 (S(0) + ... + S(35)) = 6,818 and still falling;
        # no mean lifetime at alpha 0.9, so no level; below 6,818 for more than a hundred years
        business(months=36, churn=sbg(0.9, 12), arrive=THREE, opening={"customers": 1000, "mrr": 20_000, **NEW}),
        "With 3 new customers a month and 6.98% leaving, falling to 2.2%, "
        "you make €6,818 a month after 36 months, and no level is known at which it settles.",
    ),
    "churn 0 and nobody joining": (
        business(churn=0, arrive=NOBODY, opening=OPENING),
        "With nobody joining and nobody leaving, you make €800 a month after 3 months, and it stays near €800.",
    ),
    "comeback rate 1 and nobody joining": (
        # 720, 720 x 0.9 = 648, then 583.2 and the 80 of month 1 back: 663.2
        business(arrive=NOBODY, opening=OPENING, stay={"comeback": {"comeback_rate": 1, "after_months": 2}}),
        "With nobody joining and 10% leaving, "
        "you make €663 a month after 3 months, and everyone who leaves comes back.",
    ),
    "sBG(3, 400) has a mean lifetime": (
        # (3 + 400 - 1) / (3 - 1) = 201 months, five joiners at 20: 20,100. MRR 100 x (1 + 400/403 + 400/403 x 401/404)
        business(churn=sbg(3, 400), arrive=FIVE),
        "With 5 new customers a month and 0.74% leaving, "
        "you make €298 a month after 3 months, and growth levels off near €20,000.",
    ),
    "some never leave, nobody joins": (
        # a fifth are gone by age 2, the rest stay: 800 x 0.8 = 640 at the end, if all were new
        business(
            churn={"curve": "measured", "survival": [0.9, 0.8], "tail_monthly_churn_rate": 0},
            arrive=NOBODY,
            opening={"customers": 40, "mrr": 800, **NEW},
        ),
        "With nobody joining and 10% leaving, falling to 0%, "
        "you make €640 a month after 3 months, and in the long run it levels off.",
    ),
    "referrals replace those who leave": (
        # 4 of 40 leave a month and 4 are sent: neither growth nor decline
        business(arrive=NOBODY, opening=OPENING, sign_up={"signup_rate": 1, "monthly_referral_rate": 0.1}),
        "With 4 new customers a month and 10% leaving, "
        "you make €800 a month after 3 months, and customers bring in about as many as leave.",
    ),
    # --- direction at the end, not from the start
    "a launch that fades": (
        # month 1 brings 10 + 350 and the rest 10: 7,200, then x 0.9 + 200; it falls, though it began at 0
        business(arrive=launch(1, 350)),
        "With 360 new customers a month, falling to 10, and 10% leaving, "
        "you make €6,212 a month after 3 months, and it shrinks towards €2,000 if joining stays as it is by then.",
    ),
    "down and up again": (
        # 2,000 falls with 40% leaving to 1,400 and 1,040, then churn is 10% and it rises: 1,136; ceiling 200 / 0.1
        business(
            churn=0.4,
            opening={"customers": 100, "mrr": 3000},
            stay={"churn_changes": [{"from_month": 3, "factor": 0.25}]},
        ),
        "With 10 new customers a month and 40% leaving, falling to 10%, "
        "you make €1,460 a month after 3 months, and growth levels off near €2,000.",
    ),
    "shrinking now, level above in the long run": (
        # half of the newcomers leave at once, then nobody: each adds 0.5 x 20 a month for ever
        business(
            months=2,
            churn={**FALLING, "early_monthly_churn_rate": 0.5, "late_monthly_churn_rate": 0.001},
            opening={"customers": 100, "mrr": 2000, **NEW},
        ),  # 2,000 x 0.5 + 200 = 1,200; 999 + 100 + 200 = 1,299, of 60 on board 5.05 leave: it rises in the last month
        "With 10 new customers a month and 50% leaving, falling to 8.42%, "
        "you make €1,299 a month after 2 months, and growth levels off near €100,000.",
    ),
    # --- reached, then lost
    "reached, then lost": (
        # 360 at 20 in month 1: 7,200; 6,680; 6,212
        business(goal_mrr=7000, arrive=launch(1, 350)),
        "With 360 new customers a month, falling to 10, and 10% leaving, you reach €7,000 a month in month 1 "
        "(Jan 2027) but are below it from month 2 on, and it shrinks towards €2,000 if joining stays as it is by then.",
    ),
    "reached, lost and reached again": (
        # launches of 40 in month 1 and 30 in month 3: 1,000; 1,100; then 990 + 200 + 600 = 1,790, less and less
        business(
            months=4,
            churn=0.3,
            goal_mrr=900,
            arrive={
                "channels": [
                    {
                        "name": "all",
                        "monthly_visitors": 10,
                        "launches": [
                            {"month": 1, "visitors": 40, "monthly_fade_rate": 1},
                            {"month": 4, "visitors": 30, "monthly_fade_rate": 1},
                        ],
                    }
                ]
            },
        ),  # 1,000; 700 + 200 = 900; 630 + 200 = 830; 581 + 800 = 1,381, of which the ceiling makes 40 x 20 / 0.3
        "With 50 new customers a month, falling to 40, and 30% leaving, you reach €900 a month in month 1 (Jan 2027), "
        "fall below it and are back from month 4 on, and growth levels off near €2,700 if joining stays as it is by "
        "then.",
    ),
    # --- rounding noise
    "steady, at the goal": (
        # 100 customers, 10% leave, 10 join: 2,000 for ever
        business(goal_mrr=2000, months=36, opening={"customers": 100, "mrr": 2000}),
        TEN + "you are at €2,000 a month already, and it stays near €2,000.",
    ),
    "steady where floats do not add up": (
        # 0.3 of 7 leave and 2.1 join at 20: 140 for ever, but 140 x 0.7 + 42 is not 140 to the last bit
        business(
            goal_mrr=140,
            months=120,
            churn=0.3,
            arrive={"channels": [{"name": "all", "monthly_visitors": 2.1}]},
            opening={"customers": 7, "mrr": 140},
        ),
        "With 2.1 new customers a month and 30% leaving, you are at €140 a month already, and it stays near €140.",
    ),
    # --- reasons
    "nobody leaves, for a single month": (
        business(months=1, churn=0.0, opening=OPENING),
        "With 10 new customers a month and nobody leaving, "
        "you make €1,000 a month after 1 month, and nothing in these numbers stops growth: nobody leaves.",
    ),
    "nobody leaves and those who stay pay more": (
        # 800 x 1.1 + 200 = 1,080; 1,388; 1,726.8
        business(churn=0.0, opening=OPENING, grow={"monthly_expansion_rate": 0.1}),
        "With 10 new customers a month and nobody leaving, you make €1,727 a month after 3 months, and nothing in "
        "these numbers stops growth: nobody leaves, and those who stay pay more and more.",
    ),
    # --- the order of ceiling and goal
    "the ceiling above the goal stays above it": (
        # 10.3 / 0.1 x 20 = 2,060: to two digits 2,100, above 2,035; the goal is never reached in 3 months
        business(goal_mrr=2035, arrive={"channels": [{"name": "all", "monthly_visitors": 10.3}]}),
        "With 10.3 new customers a month and 10% leaving, "
        "you do not reach €2,035 a month within 3 months, and growth levels off near €2,100.",
    ),
    "the ceiling below the goal stays below it": (
        # 9.8 / 0.1 x 20 = 1,960: to two digits 2,000, which would be the goal
        business(goal_mrr=2000, arrive={"channels": [{"name": "all", "monthly_visitors": 9.8}]}),
        "With 9.8 new customers a month and 10% leaving, "
        "you do not reach €2,000 a month within 3 months, and growth levels off near €1,960.",
    ),
    "the ceiling by the goal": (
        # 10.2 / 0.1 x 20 = 2,040 is the goal's 2,035 to a half of a hundredth
        business(goal_mrr=2035, arrive={"channels": [{"name": "all", "monthly_visitors": 10.2}]}),
        "With 10.2 new customers a month and 10% leaving, "
        "you do not reach €2,035 a month within 3 months, and growth levels off near €2,035.",
    ),
    # --- small numbers, other currencies
    "four in a hundred of a customer": (
        business(arrive={"channels": [{"name": "all", "monthly_visitors": 0.04}]}),  # 0.8 x 2.71 = 2.168; 0.04 / 0.1
        "With 0.04 new customers a month and 10% leaving, "
        "you make €2.17 a month after 3 months, and growth levels off near €8.00.",
    ),
    "yen have no smaller unit": (
        business(currency="JPY", arrive={"channels": [{"name": "all", "monthly_visitors": 1}]}),
        "With 1 new customer a month and 10% leaving, "
        "you make JP¥54 a month after 3 months, and growth levels off near JP¥200.",
    ),
    "dinars have a thousand": (
        business(currency="KWD", arrive={"channels": [{"name": "all", "monthly_visitors": 1}]}),
        "With 1 new customer a month and 10% leaving, "
        "you make KWD\N{NO-BREAK SPACE}54.200 a month after 3 months, and growth levels off near "
        "KWD\N{NO-BREAK SPACE}200.",
    ),
    # --- shorter than a year
    "six months of a yearly plan": (
        # the first renew in month 13; ten a month for 12 months, then 7, 4.9, ...: 10 x 12 / 0.3 x 20
        business(months=6, pay={"plans": [plan(billing="yearly", renewal_rate=0.7)]}),
        "With 10 new customers a month and nobody leaving in these 6 months, with yearly renewals still to come, "
        "you make €1,200 a month after 6 months, and growth levels off near €8,000.",
    ),
    # --- who joins and who leaves, at first and in the end
    "rising": (
        business(
            arrive={"channels": [{"name": "all", "monthly_visitors": 10, "monthly_growth_rate": 0.5}]}
        ),  # 10, 15, 22.5
        # 20 (8.1 + 13.5 + 22.5) = 882, and 22.5 / 0.10 x 20 = 4,500
        "With 10 new customers a month, rising to 22.5, and 10% leaving, "
        "you make €882 a month after 3 months, and growth levels off near €4,500 if joining stays as it is by then.",
    ),
    "falling churn": (
        business(
            churn=FALLING,
            arrive=NOBODY,
            opening={"customers": 100, "mrr": 2000, **NEW},
        ),  # all of age 0 in month 0: 2,000 x 0.8 x 0.9 x 0.9 = 1,296
        "With nobody joining and 20% leaving, falling to 10%, "
        "you make €1,296 a month after 3 months, and it shrinks towards €0.",
    ),
    # --- cash
    "more goes out than comes in": (
        business(bill={"monthly_fixed_costs": 600}),  # 200, 380, 542 less 600: -400, -220, -58, mean -226
        TEN
        + "you make €542 a month after 3 months, and growth levels off near €2,000. "
        + COSTS
        + "€226 a month more cash goes out than comes in. Cash is lowest in month 3, at -€678.",
    ),
    "costs": (
        business(bill={"monthly_fixed_costs": 300, "opening_cash": 1000}),  # net cash -100, 80, 242: mean 74
        TEN
        + "you make €542 a month after 3 months, and growth levels off near €2,000. "
        + COSTS
        + "€74.00 a month more cash comes in than goes out. Cash is lowest in month 1, at €900.",
    ),
    "cash never lower": (
        business(bill={"opening_cash": 1000}),  # 200, 380, 542: mean 374
        TEN
        + "you make €542 a month after 3 months, and growth levels off near €2,000. "
        + COSTS
        + "€374 a month more cash comes in than goes out. Cash never falls below today's €1,000.",
    ),
    "no cash stated": (
        business(bill={"monthly_fixed_costs": 100}),
        TEN
        + "you make €542 a month after 3 months, and growth levels off near €2,000. "
        + COSTS
        + "€274 a month more cash comes in than goes out. Cash never falls below where it starts.",
    ),
    "as much comes in as goes out": (
        # 100 customers for ever at 20, costs of 2,000
        business(opening={"customers": 100, "mrr": 2000}, bill={"monthly_fixed_costs": 2000}),
        TEN
        + "you make €2,000 a month after 3 months, and it stays near €2,000. "
        + COSTS
        + "as much cash comes in as goes out. Cash never falls below where it starts.",
    ),
    "prepaid for a year": (
        # cash 12 x 200 a month less 300; as earned 200, 400, 600 less 300, on average 100
        business(pay={"plans": [plan(billing="yearly", renewal_rate=0.7)]}, bill={"monthly_fixed_costs": 300}),
        "With 10 new customers a month and nobody leaving in these 3 months, with yearly renewals still to come, "
        "you make €600 a month after 3 months, and growth levels off near €8,000. "
        + COSTS
        + "€2,100 a month more cash comes in than goes out; counting revenue only as it is earned, €100 a month is "
        "left. Cash never falls below where it starts.",
    ),
    # What is left each month. Without costs it is the MRR: 200, 380, 542; and where growth levels off 2,000.
    "enough left from month 2 on": (
        business(goal_left=380),
        TEN + "you make €542 a month after 3 months, and growth levels off near €2,000. "
        "From month 2 (Feb 2027) on, at least €380 is left every month.",
    ),
    "enough left from the first month on": (
        business(goal_left=200),
        TEN + "you make €542 a month after 3 months, and growth levels off near €2,000. "
        "At least €200 is left every month, from the first on.",
    ),
    "never enough left, but some day": (
        business(goal_mrr=380, goal_left=1500),
        TEN + "you reach €380 a month in month 2 (Feb 2027), and growth levels off near €2,000. Within 3 months, "
        "€1,500 is "
        "never left: the most is €542 in a month. Where growth levels off, €2,000 a month is left.",
    ),
    "never enough left": (  # 542 - 1 = 541 at most, 2,000 - 1 = 1,999 in the long run
        business(goal_left=3000, bill={"monthly_fixed_costs": 1}),
        TEN + "you make €542 a month after 3 months, and growth levels off near €2,000. Within 3 months, €3,000 is "
        "never left: "
        "the most is €541 in a month. Even where growth levels off, €2,000 a month is left. " + COSTS + "€373 a "
        "month more cash "
        "comes in than goes out. Cash never falls below where it starts.",
    ),
    "nothing left, and too little in the long run": (  # 542 - 1,900 = -1,358; 2,000 - 1,900 = 100
        business(goal_left=500, bill={"monthly_fixed_costs": 1900}),
        TEN + "you make €542 a month after 3 months, and growth levels off near €2,000. Within 3 months, €500 is "
        "never left: in no "
        "month does more cash come in than goes out. Even where growth levels off, €100 a month is left. "
        + COSTS
        + "€1,526 "
        "a month more cash goes out than comes in. Cash is lowest in month 3, at -€4,578.",
    ),
    "enough left for two months": (  # 800 x 0.9 = 720, 648, 583.20
        business(goal_left=600, arrive=NOBODY, opening=OPENING),
        "With nobody joining and 10% leaving, you make €583 a month after 3 months, and it shrinks towards €0. At "
        "least €600 is "
        "left for the first time in month 1 (Jan 2027) and for the last time in month 2, so not for good.",
    ),
    "enough left for a month": (
        business(goal_left=650, arrive=NOBODY, opening=OPENING),
        "With nobody joining and 10% leaving, you make €583 a month after 3 months, and it shrinks towards €0. At "
        "least €650 is "
        "left in month 1 (Jan 2027) alone.",
    ),
    "enough left, and less in the long run": (  # 8,000 x 0.9^3 + 542 = 6,374, towards 2,000
        business(goal_left=3000, opening={"customers": 400, "mrr": 8000}),
        TEN + "you make €6,374 a month after 3 months, and it shrinks towards €2,000. At least €3,000 is left every "
        "month, from "
        "the first on. Where it settles in the long run, €2,000 a month is left.",
    ),
    "lumps": (  # one who pays 240 in month 1 and renews in month 13: 240 then, nothing else; as earned 20 a month
        business(
            months=14,
            goal_left=15,
            arrive={"channels": [{"name": "all", "monthly_visitors": 1, "last_month": 1, "running_before": False}]},
            pay={"plans": [plan(billing="yearly", renewal_rate=1.0)]},
        ),
        "With 1 new customer a month, falling to 0, and nobody leaving in these 14 months, with yearly renewals "
        "still to come, "
        "you make €20.00 a month after 14 months, and it stays near €20.00 if joining stays as it is by then. At "
        "least €15.00 is left for the first time in month 1 "
        "(Jan 2027) and for the last time in month 13, so not for good. Yearly payments come in lumps: counting "
        "revenue only as "
        "it is earned, this much is left every month from the first on. Where it settles in the long run, €20 a "
        "month is left.",
    ),
}
