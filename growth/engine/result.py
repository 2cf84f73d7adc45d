"""The forecast: its read-only series by month, for one scenario or for all of its draws.

Draws are taken in blocks small enough to stay in a processor's cache, so that memory beyond the result does not grow
with them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from growth.engine.chance import Chance, chance_of
from growth.engine.cohorts import cohorts
from growth.engine.draws import Array, blocks, by_month, read_only, reader, single
from growth.engine.life import ageless
from growth.engine.run import run
from growth.engine.step import block_size

if TYPE_CHECKING:
    from growth.scenario import Scenario


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Forecast:
    """The months of one scenario, or of every draw of it. Made by `growth.forecast`.

    Every series has shape (months,), or (draws, months) where the scenario holds arrays over draws; month 1 first.
    Money is in the scenario's currency, major units; customers are expected values; rates are fractions a month. Arrays
    are read-only. A ratio whose denominator is 0 is NaN. The month's bridge, for MRR and for customers:

    opening + new + reactivation + expansion - contraction - churned = closing MRR
    opening + new + returned - lost = closing customers

    >>> from growth.engine import forecast
    >>> from growth.scenario import Scenario
    >>> result = forecast(Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}}))
    >>> result.closing_customers.tolist(), result.arr.tolist()
    ([7.5, 5.625], [1800.0, 1350.0])
    """

    scenario: Scenario
    visitors: Array
    sign_ups: Array
    referred_sign_ups: Array
    opening_customers: Array
    new_customers: Array
    returned_customers: Array
    lost_customers: Array
    closing_customers: Array
    opening_mrr: Array
    new_mrr: Array
    reactivation_mrr: Array
    expansion_mrr: Array
    contraction_mrr: Array
    churned_mrr: Array
    closing_mrr: Array
    cash_in: Array
    payments: Array
    deferred_revenue: Array
    acquisition_spend: Array

    @classmethod
    def of(cls, scenario: Scenario, stored: dict[str, Array], *, draws: int | None) -> Forecast:
        """From the engine's series, time first and month 0 in front of the closing ones."""
        customers, mrr = stored.pop("customers"), stored.pop("mrr")
        series = {
            **stored,
            "opening_customers": customers[:-1],
            "closing_customers": customers[1:],
            "opening_mrr": mrr[:-1],
            "closing_mrr": mrr[1:],
        }
        series.setdefault("cash_in", series["closing_mrr"])  # every plan monthly: all pay every month
        series.setdefault("payments", series["closing_customers"])
        return cls(scenario, **{name: _by_draw(values, draws) for name, values in series.items()})

    @property
    def months(self) -> int:
        """How many months are forecast."""
        return self.scenario.months

    @property
    def arr(self) -> Array:
        """Annual recurring revenue: 12 x closing MRR."""
        return read_only(12 * self.closing_mrr)

    @property
    def arpa(self) -> Array:
        """Average revenue per account: closing MRR / closing customers."""
        return ratio(self.closing_mrr, self.closing_customers)

    @property
    def monthly_customer_churn_rate(self) -> Array:
        """Customers lost / customers at the month's opening."""
        return ratio(self.lost_customers, self.opening_customers)

    @property
    def monthly_gross_revenue_churn_rate(self) -> Array:
        """(Churned + contraction MRR) / MRR at the month's opening."""
        return ratio(self.churned_mrr + self.contraction_mrr, self.opening_mrr)

    @property
    def revenue(self) -> Array:
        """Revenue recognised: the closing MRR, since a yearly plan counts a twelfth of its price each month.

        Source: IFRS 15 and ASC 606: a service rendered evenly over the contract is recognised evenly.
        """
        return self.closing_mrr

    @property
    def payment_fees(self) -> Array:
        """payment_fee_rate x cash in + fee_per_payment x payments."""
        rate, fee = self._bill("payment_fee_rate"), self._bill("fee_per_payment")
        return read_only(rate * self.cash_in + fee * self.payments)

    @property
    def cost_to_serve(self) -> Array:
        """monthly_cost_to_serve x closing customers."""
        return read_only(self._bill("monthly_cost_to_serve") * self.closing_customers)

    @property
    def fixed_costs(self) -> Array:
        """The fixed costs of every month."""
        costs = self._bill("monthly_fixed_costs")
        return np.broadcast_to(costs, np.broadcast_shapes(np.shape(costs), self.closing_mrr.shape))

    @property
    def net_cash(self) -> Array:
        """Cash in less fees, cost to serve, fixed costs and acquisition spend."""
        out = self.payment_fees + self.cost_to_serve + self.fixed_costs + self.acquisition_spend
        return read_only(self.cash_in - out)

    @property
    def cash(self) -> Array:
        """Cash at the close of each month: opening_cash + net cash so far."""
        return read_only(_by_month(self.scenario.bill.opening_cash) + np.cumsum(self.net_cash, axis=-1))

    @property
    def chance(self) -> Chance:
        """The variances of its series from chance alone: single customers come and go. Computed anew."""
        return chance_of(self)

    @property
    def cohort_customers(self) -> Array:
        """Customers by month (rows) and cohort (columns), shape (months, opening + months), or with draws in front.

        The first columns are the opening customers, oldest first; then the cohorts of months 1, 2, ... Computed anew.
        """
        return self._cohorts()[0]

    @property
    def cohort_mrr(self) -> Array:
        """MRR by month and cohort; like `cohort_customers`."""
        return self._cohorts()[1]

    def _bill(self, name: str) -> Any:
        """A number of the bill: one, or by month where it changes, with draws in front."""
        if not self.scenario.later:
            return _by_month(getattr(self.scenario.bill, name))
        read = reader(slice(None))
        values = by_month(self.scenario, lambda now: getattr(now.bill, name), read=read)
        return values[:, 0] if self.scenario.draws is None else values.T

    def _cohorts(self) -> tuple[Array, Array]:
        customers, mrr = cohorts(self.scenario)
        return read_only(customers), read_only(mrr)


# the month's bridge, of customers and of MRR, in its order
BRIDGE = tuple(
    "opening_customers new_customers returned_customers lost_customers closing_customers "
    "opening_mrr new_mrr reactivation_mrr expansion_mrr contraction_mrr churned_mrr closing_mrr".split()
)

# the series that a table shows, in its order
_RATES = "arr arpa monthly_customer_churn_rate monthly_gross_revenue_churn_rate"
_MONEY = "revenue cash_in payments deferred_revenue payment_fees cost_to_serve fixed_costs acquisition_spend"
SERIES = ["visitors", "sign_ups", "referred_sign_ups", *BRIDGE, *f"{_RATES} {_MONEY} net_cash cash".split()]


def ratio(part: Array, whole: Array) -> Array:
    """part / whole, NaN where whole is 0; read-only. Both of the same shape, or such that broadcast.

    >>> ratio(np.array([1.0, 1.0]), np.array([4.0, 0.0]))
    array([0.25,  nan])
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return read_only(np.where(whole != 0, part / whole, np.nan))


def _by_month(value: Any) -> Any:
    """A number, or an array over draws as a column against the months."""
    return value[:, None] if isinstance(value, np.ndarray) else value


def _by_draw(values: Array, draws: int | None) -> Array:
    """From time first to (months,) or (draws, months), without a copy."""
    values = values[:, 0] if draws is None else np.broadcast_to(values.T, (draws, len(values)))
    return read_only(values)


def forecast(scenario: Scenario) -> Forecast:
    """Forecast a validated scenario; see model.md beside this file for every equation.

    Parameters
    ----------
    scenario : Scenario
        A `growth.Scenario`. Its numbers may be arrays over draws, shape (draws,).

    Returns
    -------
    Forecast
        Frozen; its series have shape (months,), or (draws, months). A valid scenario raises nothing.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> example = Scenario(business="example A", months=3, sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "one", "monthly_price": 20}]}, stay={"churn": {"curve": "constant",
    ...     "monthly_churn_rate": 0.1}}, arrive={"channels": [{"name": "all", "monthly_visitors": 10}]})
    >>> forecast(example).closing_mrr.round(9).tolist()
    [200.0, 380.0, 542.0]
    """
    draws = scenario.draws
    pooled = ageless(scenario)
    if draws is None:
        return Forecast.of(scenario, run(scenario, read=single, draws=1, pooled=pooled), draws=None)
    size = block_size(scenario, pooled=pooled)
    if draws <= size:
        return Forecast.of(scenario, run(scenario, read=reader(slice(None)), draws=draws, pooled=pooled), draws=draws)
    whole: dict[str, Array] = {}
    for block in blocks(draws, size=size):
        for name, part in run(scenario, read=reader(block), draws=block.stop - block.start, pooled=pooled).items():
            if part.shape[-1] == 1:
                whole.setdefault(name, part)  # the same in every draw
                continue
            if name not in whole:
                whole[name] = np.empty((*part.shape[:-1], draws))
            whole[name][..., block] = part
    return Forecast.of(scenario, whole, draws=draws)
