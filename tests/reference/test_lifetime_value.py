"""What a customer is worth, against published figures and numpy-financial."""

import math

import numpy as np
import numpy_financial as npf
import pytest
from plain import NOBODY, business, plan

import growth
from growth.measures import customer_acquisition_cost, lifetime_value, payback_months

# Gupta, S. and Lehmann, D. R. (2003), "Customers as Assets", Journal of Interactive Marketing 17(1), 9-24: the margin
# multiple r / (1 + i - r). The formula was read in the source; the table is from memory, recomputed to the printed
# digits.
MULTIPLES = {
    0.6: {0.10: 1.20, 0.12: 1.15, 0.14: 1.11, 0.16: 1.07},
    0.7: {0.10: 1.75, 0.12: 1.67, 0.14: 1.59, 0.16: 1.52},
    0.8: {0.10: 2.67, 0.12: 2.50, 0.14: 2.35, 0.16: 2.22},
    0.9: {0.10: 4.50, 0.12: 4.09, 0.14: 3.75, 0.16: 3.46},
}
CELLS = [(retention, rate, printed) for retention, row in MULTIPLES.items() for rate, printed in row.items()]


def margin_multiple(retention_rate: float, discount_rate: float, *, first_payment: bool = False) -> float:
    """What a margin of 1 a period is worth over a lifetime, without the payment made on joining or with it."""
    return retention_rate / (1 + discount_rate - retention_rate) + first_payment


def value_of(first_payment: bool = True, churn=0.1, bill=None, **parts) -> float:
    result = growth.forecast(business(churn=churn, bill=bill or {}, **parts))
    return lifetime_value(result, first_payment=first_payment).value


@pytest.mark.parametrize(("retention", "rate", "printed"), CELLS)
def test_margin_multiples(retention, rate, printed):
    assert round(margin_multiple(retention, rate), 2) == printed
    # and as the lifetime value of a customer who pays 1 a period
    pay = {"plans": [plan(monthly_price=1)]}
    value = value_of(first_payment=False, churn=1 - retention, bill={"monthly_discount_rate": rate}, pay=pay)
    assert round(value, 2) == printed
    assert value == pytest.approx(margin_multiple(retention, rate), rel=1e-9)


@pytest.mark.parametrize(("first_payment", "multiple", "value"), [(False, 66.33, 1191), (True, 67.33, 1209)])
def test_an_internet_service(first_payment, multiple, value):
    """Farris, Bendle, Pfeifer and Reibstein, "Marketing Metrics" (2nd ed. 2010), chapter 5: 19.95 a month, variable
    cost 1.50 a month, marketing 6.00 a year, attrition 0.5% a month, discount 1% a month: margin 17.95. The second
    form, with the first payment, as it is taught in a university course. The value is printed without decimals."""
    ours = margin_multiple(0.995, 0.01, first_payment=first_payment)
    assert round(ours, 2) == multiple
    bill = {"monthly_cost_to_serve": 1.50 + 6 / 12, "monthly_discount_rate": 0.01}
    got = value_of(first_payment, churn=0.005, bill=bill, pay={"plans": [plan(monthly_price=19.95)]})
    assert round(got) == value
    assert got == pytest.approx(17.95 * ours, rel=1e-9)


def test_the_value_of_a_prospect():
    """The same book (from memory): an advertisement costs 60,000 and reaches 75,000 (0.80 each); a new customer
    brings 10 at first and 100 over the rest of its life. At 1.2% won a prospect is worth 0.52; the break-even share
    is 0.727%."""
    # 10 a month, 10/11 stay, no discount: 10 at first and 10 x (10/11) / (1/11) = 100 later
    channel = {"name": "advertisement", "kind": "paid", "monthly_budget": 60_000, "cost_per_visit": 0.8}

    def prospects(share):
        pay = {"plans": [plan(monthly_price=10)], "conversion_rate": share}
        return growth.forecast(
            business(churn=1 / 11, arrive={"channels": [channel]}, pay=pay, bill={"monthly_discount_rate": 0})
        )

    result = prospects(0.012)
    assert result.visitors[0] == pytest.approx(75_000)
    worth, cost = lifetime_value(result).value, customer_acquisition_cost(result).value
    assert worth == pytest.approx(110, rel=1e-9)
    assert lifetime_value(result, first_payment=False).value == pytest.approx(100, rel=1e-9)
    assert 0.012 * (worth - cost) == pytest.approx(0.52, rel=1e-9)
    assert customer_acquisition_cost(prospects(0.8 / 110)).value == pytest.approx(110, rel=1e-9)
    assert round(100 * 0.8 / 110, 3) == 0.727


def test_yearly_contributions_and_a_promotion_at_mid_year():
    """Berger, P. D. and Nasr, N. I. (1998), "Customer Lifetime Value: Marketing Models and Applications", Journal of
    Interactive Marketing 12(1), 17-30, case 1 (from memory, recomputed): 260 gross contribution a year, a promotion
    of 50 at mid-year, 75% retained, discount 20% a year, 10 years: 568.78.

    One customer on a yearly plan of 260, paid in month 0 and at ten renewals; 50 for each customer on board at
    mid-year."""
    pay = {"plans": [plan(monthly_price=260 / 12, billing="yearly", renewal_rate=0.75)]}
    opening = {"customers": 1, "mrr": 260 / 12, "mean_age_months": 0}
    result = growth.forecast(business(months=120, arrive=NOBODY, opening=opening, pay=pay))
    contributions = np.concatenate([[260.0], result.cash_in])
    promotions = np.zeros(121)
    promotions[6::12] = 50 * result.closing_customers[5::12]
    monthly = 1.2 ** (1 / 12) - 1
    assert npf.npv(monthly, contributions - promotions) == pytest.approx(568.78, abs=0.005)


CURVES = {
    "constant": {"curve": "constant", "monthly_churn_rate": 0.08},
    "sbg": {"curve": "sbg", "alpha": 0.704, "beta": 1.182},
    "early_late": {
        "curve": "early_late",
        "early_monthly_churn_rate": 0.3,
        "late_monthly_churn_rate": 0.02,
        "early_months": 4,
    },
}


@pytest.mark.parametrize("name", CURVES)
def test_lifetime_value_is_the_net_present_value_of_one_cohort(name):
    """numpy-financial discounts what the forecast of one cohort brings in, less fees and cost. At 30% a month what
    comes after 120 months weighs 1.3^-120 = 2e-14."""
    costs = {"payment_fee_rate": 0.03, "fee_per_payment": 0.3, "monthly_cost_to_serve": 2}
    parts = {
        "churn": CURVES[name],
        "bill": costs | {"monthly_discount_rate": 0.3},
        "grow": {"monthly_expansion_rate": 0.01},
    }
    alone = growth.forecast(business(months=120, arrive=NOBODY, opening={"customers": 1, "mrr": 20}, **parts))
    margin = alone.cash_in - alone.payment_fees - alone.cost_to_serve
    at_once = 20 * 0.97 - 0.3 - 2
    assert lifetime_value(growth.forecast(business(**parts))).value == pytest.approx(
        npf.npv(0.3, np.concatenate([[at_once], margin])), rel=1e-9
    )


def test_payback_in_months():
    """A customer costs 50 and brings a margin of 20 x 0.9^a at age a: 20 + 18 = 38 after two months, 54.2 after
    three."""
    channel = {"name": "all", "monthly_visitors": 10, "monthly_cost": 500}
    assert payback_months(growth.forecast(business(arrive={"channels": [channel]}))).value == 3


@pytest.mark.parametrize("spent", [300, 500, 900, 1500])
@pytest.mark.parametrize("churn", [0, 0.02, 0.1])
def test_payback_is_numpy_financials_number_of_payments(churn, spent):
    """Whoever stays with chance s a month pays margin x s^a at age a: an annuity due at a rate of 1 / s - 1, which has
    brought the CAC after `nper` payments. 10 customers join a month, each brings 20 less fees and costs a month."""
    channel = {"name": "all", "monthly_visitors": 10, "monthly_cost": spent}
    bill = {"payment_fee_rate": 0.03, "fee_per_payment": 0.3, "monthly_cost_to_serve": 2}
    curve = {"curve": "constant", "monthly_churn_rate": churn}
    result = growth.forecast(business(arrive={"channels": [channel]}, bill=bill, churn=curve))
    payments = npf.nper(1 / (1 - churn) - 1, 20 * 0.97 - 0.3 - 2, -spent / 10, when="begin")
    assert payback_months(result).value == math.ceil(abs(payments))  # version 1.0 gives it negative at a rate of 0
